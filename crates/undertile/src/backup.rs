//! `backup` and `restore`: all jobs in one file, and back.

use crate::{compute, verify};
use clap::Args;
use std::fmt::Write;
use std::fs::File;
use std::path::PathBuf;
use std::process::ExitCode;
use store::merge::{Refusal, Take};
use store::{Error, Sqlite, Store, backup, bundle};

/// Where from and where to.
#[derive(Args)]
pub struct BackupRequest {
    /// The program's data folder; the program may be running
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
    /// File to write, a zip
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
}

/// What to restore, and where to.
#[derive(Args)]
pub struct RestoreRequest {
    /// A backup
    file: PathBuf,
    /// A data folder, new or without records
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
    /// Of a damaged backup, take what is sound: each log up to its first damage
    #[arg(long)]
    sound_part: bool,
}

/// Exit 0 whole, 1 something damaged was left out, 2 not done.
pub fn backup(request: &BackupRequest) -> ExitCode {
    let made = Sqlite::open_to_read(&request.data).and_then(|store| {
        let mut done = None;
        let at = jiff::Timestamp::now().to_string();
        bundle::write_file(&request.output, |file: File| {
            let (file, made) = backup::write(&store, env!("CARGO_PKG_VERSION"), &at, file)?;
            done = Some(made);
            Ok(file)
        })?;
        done.ok_or_else(|| Error::NotHere("the backup".into()))
    });
    let made = match made {
        Ok(made) => made,
        Err(error) => return compute::refuse(&verify::problems(&request.data, error)),
    };
    let mut text = format!("{}: {} jobs\n", request.output.display(), made.manifest.jobs.len());
    for job in &made.manifest.jobs {
        let entries: u64 = job.logs.iter().map(|log| log.size).sum();
        let _ = writeln!(text, "  {}: {} logs, {entries} entries, {} blobs", job.job, job.logs.len(), job.blobs);
    }
    for name in &made.left_out {
        let _ = writeln!(text, "  LEFT OUT, cannot be read: {name}");
    }
    text.push_str("Its heads stand in backup.json; keep them elsewhere too. `undertile restore` into a new folder shows that it holds.\n");
    let printed = compute::print(text.as_bytes());
    if made.left_out.is_empty() { printed } else { ExitCode::from(1) }
}

/// Exit 0 restored and equal to the backup's heads, 1 damaged, 2 not done.
pub fn restore(request: &RestoreRequest) -> ExitCode {
    let take = if request.sound_part { Take::Sound } else { Take::Whole };
    match restored(request, take) {
        Ok(text) => compute::print(text.as_bytes()),
        Err(Refusal::Damaged(report)) => damaged(&report),
        Err(Refusal::Error(error)) => compute::refuse(&verify::problems(&request.file, error)),
    }
}

/// Says what is damaged, exit 1.
pub fn damaged(report: &ledger::verify::Report) -> ExitCode {
    let job = report.job.as_deref().unwrap_or_default();
    let text = verify::describe(job, report) + "Nothing of this job was taken in; --sound-part takes what is sound.\n";
    compute::print(text.as_bytes());
    ExitCode::from(1)
}

fn restored(request: &RestoreRequest, take: Take) -> Result<String, Refusal> {
    let mut opened = backup::Opened::open(&request.file)?;
    let store = Sqlite::open(&request.data)?;
    let reports = opened.restore(&store, take)?;
    let mut text: String = reports.iter().map(|(job, report)| verify::describe(job, report)).collect();
    let _ = writeln!(text, "{}: {} jobs restored from the backup of {}", request.data.display(), store.jobs()?.len(), opened.manifest.at);
    Ok(text)
}
