//! `compute` and `schema`.

use crate::files;
use engine::registry;
use measure::{Problem, Problems};
use std::path::Path;
use std::process::ExitCode;

/// Exit code for bad input.
const BAD_INPUT: u8 = 2;

/// Problems as JSON on standard error.
pub fn refuse(problems: &Problems) -> ExitCode {
    let text = serde_json::to_string_pretty(problems).expect("problems are plain text");
    eprintln!("{text}");
    ExitCode::from(BAD_INPUT)
}

/// Prints bytes, or says why it could not.
pub fn print(bytes: &[u8]) -> ExitCode {
    match files::print(bytes) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => refuse(&Problem::at("", format!("standard output cannot be written: {error}"), "room to write").into()),
    }
}

/// One computation.
pub fn run(name: &str, picture: Option<&Path>) -> ExitCode {
    let output = registry::find(name).and_then(|computation| {
        let input = files::read_stdin().map_err(|error| Problem::at("", format!("standard input cannot be read: {error}"), "JSON"))?;
        match picture {
            None => computation.run(&input),
            Some(path) => {
                let file = files::read(path, registry::PICTURE_BYTES).map_err(|error| {
                    Problem::at("picture", format!("cannot be read: {error}"), "a PNG or JPEG file").value(path.display().to_string())
                })?;
                computation.run_on_picture(&input, &file)
            }
        }
    });
    match output {
        Ok(bytes) => print(&bytes),
        Err(problems) => refuse(&problems),
    }
}

/// Names, help and sources.
pub fn list() -> ExitCode {
    let mut text = String::new();
    for computation in registry::ALL {
        text += &format!("{:<10} {}\n", computation.name, computation.help);
        for source in computation.sources {
            text += &format!("{:<10} source: {source}\n", "");
        }
    }
    print(text.as_bytes())
}

/// Schema of a computation or of a file of the job folder.
pub fn schema(name: &str) -> ExitCode {
    let schema = match engine::schemas::of_file(name) {
        Some(schema) => schema,
        None => match registry::find(name) {
            Ok(computation) => computation.schema(),
            Err(_) => {
                let names: Vec<_> = registry::ALL.iter().map(|c| c.name).chain(engine::schemas::FILES.iter().map(|f| f.name)).collect();
                return refuse(
                    &Problem::at("", "no computation or file of that name", format!("one of: {}", names.join(", "))).value(name).into(),
                );
            }
        },
    };
    let text = serde_json::to_string_pretty(&schema).expect("a schema is plain JSON") + "\n";
    print(text.as_bytes())
}
