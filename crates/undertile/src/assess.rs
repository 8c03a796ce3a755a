//! `assess`: a job folder to an answer, and to drawings.

use crate::{Color, compute, draw, files};
use engine::assess::Options;
use engine::report;
use job::Job;
use measure::{Problem, Problems};
use std::io::IsTerminal;
use std::path::PathBuf;
use std::process::ExitCode;

/// What was asked on the command line.
pub struct Request {
    pub folder: PathBuf,
    pub hold_point: Option<String>,
    pub json: bool,
    pub all: bool,
    pub drawings: Option<PathBuf>,
    pub at: Option<String>,
    pub color: Color,
}

/// Reads, assesses, draws, prints; the exit code says what was found.
pub fn run(request: &Request) -> ExitCode {
    match answer(request) {
        Ok((text, exit_code)) => match files::print(text.as_bytes()) {
            Ok(()) => ExitCode::from(exit_code),
            Err(error) => compute::refuse(&Problem::at("", format!("standard output cannot be written: {error}"), "room to write").into()),
        },
        Err(problems) if request.json => compute::refuse(&problems),
        Err(problems) => {
            eprintln!("This job cannot be assessed yet. Put right:\n{problems}");
            ExitCode::from(2)
        }
    }
}

fn answer(request: &Request) -> Result<(String, u8), Problems> {
    let job = Job::read(&files::read_folder(&request.folder)?)?;
    let now = request.at.clone().unwrap_or_else(|| jiff::Timestamp::now().to_string());
    let options = Options { hold_point: request.hold_point.as_deref(), now: Some(&now), drawings: request.drawings.is_some() };
    let assessed = engine::assess::run(&job, &options)?;
    let mut drawn = String::new();
    if let Some(folder) = &request.drawings {
        let names = draw::write(&job, &assessed, folder)?;
        drawn = format!("\nDrawings in {}: {}\n", folder.display(), names.join(", "));
    }
    let text = if request.json {
        serde_json::to_string_pretty(&assessed.assessment).expect("an assessment is plain data") + "\n"
    } else {
        report::text(&assessed.assessment, &report::Style { color: wants_color(request.color), all: request.all }) + &drawn
    };
    Ok((text, u8::try_from(assessed.assessment.exit_code).expect("exit codes are 0, 1, 3 and 4")))
}

fn wants_color(color: Color) -> bool {
    match color {
        Color::Always => true,
        Color::Never => false,
        Color::Auto => std::io::stdout().is_terminal() && std::env::var_os("NO_COLOR").is_none(),
    }
}
