//! The command line: a thin shell that reads files, calls the engine and prints.

mod assess;
mod backup;
mod compute;
mod demo;
mod draw;
mod files;
mod job_folder;
mod record;
mod serve;
mod verify;

use clap::{Parser, Subcommand};
use std::path::PathBuf;
use std::process::ExitCode;

/// May this layer be covered? Computes what a wet room's waterproofing needs at each hold point.
///
/// Results support a competent person's judgement; they do not replace the adopted code, the membrane maker's data sheet or
/// licensed practice.
#[derive(Parser)]
#[command(name = "undertile", version, about, long_about)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// One computation: JSON on standard input, JSON on standard output; problems as JSON on standard error, exit 2
    Compute {
        /// Name of the computation
        #[arg(required_unless_present = "list")]
        name: Option<String>,
        /// Photograph, PNG or JPEG, beside the JSON: for strokes
        #[arg(long, value_name = "FILE")]
        picture: Option<PathBuf>,
        /// Names, what each answers, and its sources
        #[arg(long)]
        list: bool,
    },
    /// Input and output schema of a computation, or the schema of a file of the job folder (room, job, data-sheets, plan, evidence, weights, pack)
    Schema {
        /// Name of the computation or file
        name: String,
    },
    /// May it be covered? Exit 2 bad input, 1 something falls short, 3 something is not shown, 4 only open departures, 0 all conforms
    Assess {
        /// Job folder
        job: PathBuf,
        /// Hold point; without it the first one not released
        #[arg(long)]
        hold_point: Option<String>,
        /// Everything, as JSON
        #[arg(long)]
        json: bool,
        /// Also what conforms, line by line
        #[arg(long)]
        all: bool,
        /// Write drawings of the unfolded room into this folder
        #[arg(long, value_name = "DIR")]
        drawings: Option<PathBuf>,
        /// Moment for which releases are judged (RFC 3339); now when left out
        #[arg(long, value_name = "TIME")]
        at: Option<String>,
        /// Colour: auto, always or never
        #[arg(long, default_value = "auto")]
        color: Color,
    },
    /// Writes the demo job and says what to try
    Demo {
        /// Folder to write it into
        #[arg(long, default_value = "heron-row-12")]
        dir: PathBuf,
    },
    /// Is a record what it was? Names the first damaged event and says what is sound. Exit 0 sound, 1 damaged, 2 not readable
    Verify(verify::Request),
    /// Takes a record into the program's data folder, or out of it
    #[command(subcommand)]
    Record(record::Request),
    /// Answers programs and browsers on this machine over HTTP until Ctrl-C; /api is a page that says how
    Serve(serve::Request),
    /// All jobs in one file, also while the program runs
    Backup(backup::BackupRequest),
    /// A backup into a new data folder, checked against the heads it names
    Restore(backup::RestoreRequest),
}

#[derive(Clone, Copy, clap::ValueEnum)]
enum Color {
    Auto,
    Always,
    Never,
}

fn main() -> ExitCode {
    match Cli::parse().command {
        Command::Compute { list: true, .. } => compute::list(),
        Command::Compute { name, picture, .. } => compute::run(&name.unwrap_or_default(), picture.as_deref()),
        Command::Schema { name } => compute::schema(&name),
        Command::Assess { job, hold_point, json, all, drawings, at, color } => {
            assess::run(&assess::Request { folder: job, hold_point, json, all, drawings, at, color })
        }
        Command::Demo { dir } => demo::run(&dir),
        Command::Verify(request) => verify::run(&request),
        Command::Record(request) => record::run(&request),
        Command::Serve(request) => serve::run(&request),
        Command::Backup(request) => backup::backup(&request),
        Command::Restore(request) => backup::restore(&request),
    }
}
