//! `record`: a job's record into the program's data folder, and out of it.

use crate::{backup, compute, job_folder, verify};
use clap::Subcommand;
use measure::{Problem, Problems};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use store::bundle::{self, Bundle};
use store::disk::StdDisk;
use store::files::{Files, FolderFiles, StoreFiles, write_folder};
use store::merge::{Refusal, Take, merge};
use store::{Error, Sqlite, Store};

/// Which way.
#[derive(Subcommand)]
pub enum Request {
    /// Takes in a record's folder or bundle; what is there already stays. A job folder becomes a new job. Exit 0 done, 1 damaged, 2 not done
    Import {
        /// Folder with record.json, bundle, or job folder with room.json
        source: PathBuf,
        /// The program's data folder
        #[arg(long, value_name = "DIR")]
        data: PathBuf,
        /// Of a damaged record, take what is sound: each log up to its first damage
        #[arg(long)]
        sound_part: bool,
        /// Who brings a job folder in
        #[arg(long, default_value = "imported from a job folder")]
        author: String,
    },
    /// Writes a job's record as one file (a name ending in .zip) or as a folder. Exit 0 whole, 1 something damaged was left out, 2 not done
    Export {
        /// The program's data folder; the program may be running
        #[arg(long, value_name = "DIR")]
        data: PathBuf,
        /// Which job; may be left out when there is one
        #[arg(long)]
        job: Option<String>,
        /// Bundle or folder to write
        #[arg(short, long, value_name = "FILE-OR-DIR")]
        output: PathBuf,
        /// Write what the record comes to as a job folder, which `assess` reads
        #[arg(long)]
        job_folder: bool,
        /// In a job folder, write copies of photographs that do not say where they were taken; their hashes are others. What
        /// cannot be cleaned is left out and named, exit 1
        #[arg(long)]
        strip_location: bool,
    },
}

/// Does it.
pub fn run(request: &Request) -> ExitCode {
    match request {
        Request::Import { source, data, sound_part, author } => {
            match import(source, data, if *sound_part { Take::Sound } else { Take::Whole }, author) {
                Ok(text) => compute::print(text.as_bytes()),
                Err(Refusal::Damaged(report)) => backup::damaged(&report),
                Err(Refusal::Error(error)) => compute::refuse(&verify::problems(source, error)),
            }
        }
        Request::Export { data, job, output, job_folder, strip_location } => {
            let form = match (job_folder, strip_location) {
                (true, strip_location) => Form::JobFolder { strip_location: *strip_location },
                (false, false) => Form::Record,
                (false, true) => return compute::refuse(&whole()),
            };
            match export(data, job.as_deref(), output, form) {
                Ok((text, whole)) => {
                    let printed = compute::print(text.as_bytes());
                    if whole { printed } else { ExitCode::from(1) }
                }
                Err(error) => compute::refuse(&verify::problems(output, error)),
            }
        }
    }
}

/// What an export is to be.
#[derive(Clone, Copy)]
enum Form {
    /// The record, whole.
    Record,
    /// What it comes to.
    JobFolder { strip_location: bool },
}

fn whole() -> Problems {
    let what = "a record keeps its photographs as they came: events name them by their hashes, which would no longer fit";
    Problem::at("--strip-location", what, "--job-folder with it, which writes copies").into()
}

fn import(source: &Path, data: &Path, take: Take, author: &str) -> Result<String, Refusal> {
    if source.join("room.json").is_file() && !source.join(store::files::MANIFEST).exists() {
        return job_folder::take_in(source, &Sqlite::open(data)?, author);
    }
    let mut files: Box<dyn Files> = if source.is_dir() { Box::new(FolderFiles::of(source)?) } else { Box::new(Bundle::open(source)?) };
    let (merged, report) = merge(&mut *files, &Sqlite::open(data)?, take, Vec::new())?;
    Ok(format!(
        "{}{} entries are new, {} were there; {} blobs are new\n",
        verify::describe(&merged.job, &report),
        merged.added,
        merged.known,
        merged.blobs
    ))
}

fn export(data: &Path, job: Option<&str>, output: &Path, form: Form) -> Result<(String, bool), Error> {
    let store = Sqlite::open_to_read(data)?;
    let job = which(&store, job)?;
    if let Form::JobFolder { strip_location } = form {
        let text = job_folder::write_out(&store, &job, output, strip_location)?;
        let whole = !text.contains("LEFT OUT");
        return Ok((text, whole));
    }
    let mut files = StoreFiles::of(&store, &job, env!("CARGO_PKG_VERSION"))?;
    let mut left_out = Vec::new();
    if output.extension().is_some_and(|ext| ext.eq_ignore_ascii_case("zip")) {
        bundle::write_file(output, |file| {
            let (file, names) = bundle::write(&mut files, file)?;
            left_out = names;
            Ok(file)
        })?;
    } else {
        write_folder(&mut files, &StdDisk, output)?;
    }
    let mut text = format!("{}: job {job}\n", output.display());
    left_out.iter().for_each(|name| text.push_str(&format!("  LEFT OUT, cannot be read: {name}\n")));
    Ok((text, left_out.is_empty()))
}

/// The job that is meant.
fn which(store: &Sqlite, job: Option<&str>) -> Result<String, Error> {
    let jobs = store.jobs()?;
    match (job, &jobs[..]) {
        (Some(job), _) if jobs.iter().any(|there| there == job) => Ok(job.into()),
        (None, [job]) => Ok(job.clone()),
        _ => {
            let found = job.map_or_else(|| format!("{} jobs", jobs.len()), Into::into);
            let right = if jobs.is_empty() { "a folder with a job".into() } else { format!("--job with one of {}", jobs.join(", ")) };
            Err(Error::Refused(Problem::at("job", "which job is not clear", right).value(found).into()))
        }
    }
}
