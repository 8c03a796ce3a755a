//! `verify`: is a record what it was, and where is the first damage?

use crate::compute;
use clap::Args;
use ledger::SignedHead;
use ledger::verify::{Anchor, LogReport, Report};
use measure::{Problem, Problems};
use std::fmt::Write;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use store::bundle::Bundle;
use store::files::{Files, FolderFiles};
use store::{Sqlite, Store, backup};

/// What to check, and against what.
#[derive(Args)]
pub struct Request {
    /// A record: its folder, a bundle, a backup, or the data folder of the program
    path: PathBuf,
    /// Signed heads kept elsewhere, one a line, as a dossier or an e-mail has them: the record must have grown from each
    #[arg(long, value_name = "FILE")]
    heads: Option<PathBuf>,
    /// The whole report, as JSON
    #[arg(long)]
    json: bool,
}

/// Exit 0 sound, 1 damaged, 2 not readable.
pub fn run(request: &Request) -> ExitCode {
    let checked = anchors(request.heads.as_deref()).map_err(store::Error::from).and_then(|anchors| check(&request.path, anchors));
    let reports = match checked {
        Ok(reports) => reports,
        Err(error) => return compute::refuse(&problems(&request.path, error)),
    };
    let text = if request.json {
        serde_json::to_string_pretty(&reports.iter().map(|(_, report)| report).collect::<Vec<_>>()).unwrap_or_default() + "\n"
    } else {
        reports.iter().map(|(job, report)| describe(job, report)).collect()
    };
    let text = if reports.is_empty() && !request.json { "no records here yet\n".into() } else { text };
    let printed = compute::print(text.as_bytes());
    if reports.iter().all(|(_, report)| report.is_sound()) { printed } else { ExitCode::from(1) }
}

/// A store's error as problems with a file.
pub fn problems(path: &Path, error: store::Error) -> Problems {
    let problems = match error {
        store::Error::Refused(problems) => problems,
        other => Problem::at("", other.to_string(), right(&other)).into(),
    };
    problems.in_file(&path.display().to_string())
}

/// What would be right.
fn right(error: &store::Error) -> &'static str {
    use store::Error;
    match error {
        Error::Refused(_) | Error::Gap { .. } => "a record as docs/format.md describes it",
        Error::Forked { .. } => "the same history of the device",
        Error::NotHere(_) => "a record's folder, a bundle, a backup, or a data folder",
        Error::Full(_) => "room on the disk",
        Error::ReadOnly(_) => "a file and folder that may be read and written",
        Error::Busy(_) => "one program at a time",
        Error::Damaged { .. } => "a file that is whole",
        Error::Newer { .. } => "a later version of this program",
        Error::Failed { .. } => "a disk that works",
    }
}

/// Heads of a file, one a line.
fn anchors(path: Option<&Path>) -> Result<Vec<Anchor>, Problems> {
    let Some(path) = path else { return Ok(Vec::new()) };
    let shown = path.display().to_string();
    let text =
        fs::read(path).map_err(|error| Problem::at("", format!("cannot be read: {error}"), "a file of signed heads").file(&shown))?;
    let mut anchors = Vec::new();
    let mut wrong = Problems::new();
    for (i, line) in text.split(|byte| *byte == b'\n').enumerate().filter(|(_, line)| !line.trim_ascii().is_empty()) {
        let name = format!("{shown}:{}", i + 1);
        match SignedHead::read(line.trim_ascii()).and_then(|(signed, _)| Anchor::signed(&name, signed)) {
            Ok(anchor) => anchors.push(anchor),
            Err(problems) => wrong.extend(problems.in_file(&name)),
        }
    }
    wrong.or(anchors)
}

fn check(path: &Path, anchors: Vec<Anchor>) -> store::Result<Vec<(String, Report)>> {
    if path.is_dir() && !path.join(store::files::MANIFEST).exists() {
        return data(&Sqlite::open_to_read(path)?, anchors);
    }
    if path.is_dir() {
        return one(&mut FolderFiles::of(path)?, anchors);
    }
    match Bundle::open(path) {
        Ok(mut bundle) => one(&mut bundle, anchors),
        Err(of_bundle) => match backup::Opened::open(path) {
            Ok(mut backup) => backup.verify(),
            Err(_) => Err(of_bundle),
        },
    }
}

/// Every job of a data folder. A head says its log and not its job: it is held against the job it fits; one that fits none
/// against the first that has such a log.
fn data(store: &Sqlite, mut anchors: Vec<Anchor>) -> store::Result<Vec<(String, Report)>> {
    let jobs = store.jobs()?;
    let mut of_jobs: Vec<Vec<Anchor>> = vec![Vec::new(); jobs.len()];
    for (job, taken) in jobs.iter().zip(&mut of_jobs) {
        let mut left = Vec::new();
        for anchor in anchors {
            let fits = store.tree(job, &anchor.head.log)?.root_at(anchor.head.size) == Some(anchor.head.root);
            if fits { taken.push(anchor) } else { left.push(anchor) }
        }
        anchors = left;
    }
    for anchor in anchors {
        let mut has_log = Vec::new();
        for job in &jobs {
            has_log.push(store.log(job, &anchor.head.log)?.size > 0);
        }
        match of_jobs.get_mut(has_log.iter().position(|has| *has).unwrap_or(0)) {
            Some(taken) => taken.push(anchor),
            None => return Err(store::Error::NotHere(format!("a log for the head {}", anchor.name))),
        }
    }
    jobs.into_iter().zip(of_jobs).map(|(job, anchors)| Ok((job.clone(), store::verify_store(store, &job, anchors)?))).collect()
}

fn one(files: &mut dyn Files, anchors: Vec<Anchor>) -> store::Result<Vec<(String, Report)>> {
    let report = store::verify(files, anchors)?;
    Ok(vec![(report.job.clone().unwrap_or_else(|| "without a readable record.json".into()), report)])
}

/// The report in words.
pub fn describe(job: &str, report: &Report) -> String {
    let mut text = format!("job {job}: {}\n", if report.is_sound() { "sound" } else { "DAMAGED" });
    for log in &report.logs {
        describe_log(log, &mut text);
    }
    let blobs = &report.blobs;
    let _ = writeln!(text, "  blobs: {} sound ({:.1} MB)", blobs.sound, blobs.bytes as f64 / 1e6);
    for blob in &blobs.damaged {
        let _ = writeln!(text, "    damaged: {blob} is not what its name says");
    }
    for missing in &blobs.missing {
        let _ = writeln!(text, "    not here: {}, named by event {} of log {}", missing.blob, missing.seq, missing.log);
    }
    for anchor in &report.anchors {
        let _ = writeln!(text, "  head of {} entries from {}: {}", anchor.head.size, anchor.name, stands(anchor.stands));
    }
    for problem in &report.files {
        let _ = writeln!(text, "  damaged: {problem}");
    }
    text
}

fn describe_log(log: &LogReport, text: &mut String) {
    let _ = write!(text, "  log {}: {} entries, {} proven by a signed head", log.log, log.entries, log.proven);
    if log.unproven > 0 {
        let _ = write!(text, ", {} not covered by one yet", log.unproven);
    }
    if log.torn_bytes > 0 {
        let _ = write!(text, "; the last one was cut off while it was written and never acknowledged");
    }
    text.push('\n');
    if let Some(damage) = &log.damage {
        let _ = writeln!(text, "    first damage: {damage}");
        let _ = writeln!(text, "    sound: {} entries, {} of them before it", log.proven + log.unproven, damage.at.from);
    }
    for fault in &log.heads {
        let _ = writeln!(text, "    {:?}: {}", fault.origin, fault.what);
    }
}

fn stands(standing: ledger::verify::Standing) -> &'static str {
    use ledger::verify::Standing;
    match standing {
        Standing::Fits => "the record has grown from it",
        Standing::Below => "THE RECORD IS SHORTER: cut off or taken back to an earlier state",
        Standing::Differs => "THE RECORD IS ANOTHER ONE: entries were altered",
        Standing::NoLog => "THE RECORD HAS NO SUCH LOG",
        Standing::Forged => "its own signature does not hold",
    }
}
