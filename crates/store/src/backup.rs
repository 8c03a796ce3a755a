//! All jobs of a store in one file, made while the store goes on, and the way back.
//!
//! A backup is a zip: `backup.json`, which names every log's head, and below each job's id its record in the layout of
//! `docs/format.md`. So it is no copy of database pages: any version reads it, and each record in it verifies by itself.

use crate::bundle::{self, Bundle};
use crate::files::{Part, StoreFiles, pieces};
use crate::merge::{Refusal, Take, merge};
use crate::{Error, Result, Store};
use ledger::verify::{Anchor, Report};
use ledger::{Hash, Head, SignedHead, id};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fs::File;
use std::io::{BufWriter, Read, Seek, Write};
use std::path::Path;
use zip::ZipWriter;

/// The file that says what a backup holds.
const MANIFEST: &str = "backup.json";
/// What it is.
const FORMAT: &str = "undertile backup 1";

/// What a backup holds: heads that anyone may keep elsewhere.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Manifest {
    /// `undertile backup 1`.
    pub format: String,
    /// Version that made it.
    pub made_by: String,
    /// When, RFC 3339.
    pub at: String,
    /// Its jobs, sorted.
    pub jobs: Vec<JobHeads>,
}

/// A job's logs as they were.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct JobHeads {
    /// The job.
    pub job: String,
    /// Its logs.
    pub logs: Vec<LogHead>,
    /// How many blobs.
    pub blobs: u64,
}

/// A log as it was.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct LogHead {
    /// Device id, or the job's id for the job log.
    pub log: String,
    /// Entries.
    pub size: u64,
    /// Root over them.
    #[schemars(with = "String")]
    pub root: Hash,
    /// Its newest signed head.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub signed: Option<SignedHead>,
}

/// What making one came to.
#[derive(Clone, Debug)]
pub struct Backup {
    /// What it holds.
    pub manifest: Manifest,
    /// Files that are damaged so that they could not be read, and are not in it.
    pub left_out: Vec<String>,
}

/// Writes a backup of all jobs. `made_by` is the version that makes it, `at` the time.
pub fn write<W: Write>(store: &dyn Store, made_by: &str, at: &str, to: W) -> Result<(W, Backup)> {
    let jobs = store.jobs()?;
    let mut records = jobs.iter().map(|job| StoreFiles::of(store, job, made_by)).collect::<Result<Vec<_>>>()?;
    let heads = jobs.iter().zip(&records).map(|(job, record)| heads(job, record)).collect();
    let manifest = Manifest { format: FORMAT.into(), made_by: made_by.into(), at: at.into(), jobs: heads };
    let mut zip = ZipWriter::new_stream(BufWriter::with_capacity(1 << 18, to));
    let text = serde_json::to_vec_pretty(&manifest).map_err(|error| Error::damaged(MANIFEST, error.to_string()))?;
    bundle::start(&mut zip, MANIFEST, Some(text.len() as u64))?;
    zip.write_all(&text).map_err(|error| Error::io(Path::new("the zip"), &error))?;
    let mut left_out = Vec::new();
    for (job, record) in jobs.iter().zip(&mut records) {
        left_out.extend(bundle::add(record, &format!("{job}/"), &mut zip)?);
    }
    Ok((bundle::finish(zip)?, Backup { manifest, left_out }))
}

fn heads(job: &str, record: &StoreFiles<'_>) -> JobHeads {
    let log = |(state, signed): (&crate::LogState, Option<SignedHead>)| LogHead {
        log: state.log.clone(),
        size: state.size,
        root: state.root,
        signed,
    };
    JobHeads { job: job.into(), logs: record.newest_heads().map(log).collect(), blobs: record.blobs() }
}

/// A backup that was opened.
pub struct Opened<R> {
    bundle: Bundle<R>,
    /// What it says it holds.
    pub manifest: Manifest,
}

impl Opened<File> {
    /// Opens a file.
    pub fn open(path: &Path) -> Result<Self> {
        Self::read(File::open(path).map_err(|error| Error::io(path, &error))?)
    }
}

impl<R: Read + Seek> Opened<R> {
    /// Reads what it holds; refused as [`Bundle::read`] refuses.
    pub fn read(from: R) -> Result<Self> {
        let fits = |name: &str| {
            let below_job = name.split_once('/').is_some_and(|(job, name)| id::is_uuid(job) && Part::of(name).is_some());
            name == MANIFEST || below_job
        };
        let mut bundle = Bundle::of_many(from, fits, MANIFEST)?;
        let mut text = Vec::new();
        pieces(&mut bundle.file(MANIFEST)?.take(100_000_000), MANIFEST, &mut |piece| {
            text.extend_from_slice(piece);
            Ok(())
        })?;
        let manifest: Manifest = serde_json::from_slice(&text).map_err(|error| Error::damaged(MANIFEST, error.to_string()))?;
        if manifest.format != FORMAT {
            return Err(Error::refused(MANIFEST, &manifest.format, "not a backup that this program reads", FORMAT));
        }
        Ok(Self { bundle, manifest })
    }

    /// Checks the record of each job against the backup's own heads.
    pub fn verify(&mut self) -> Result<Vec<(String, Report)>> {
        let mut reports = Vec::new();
        for job in self.manifest.jobs.clone() {
            self.bundle.below(&format!("{}/", job.job));
            reports.push((job.job.clone(), crate::verify(&mut self.bundle, anchors(&job, &self.manifest.at))?));
        }
        Ok(reports)
    }

    /// Takes every job into a store that has none. Each record is checked first; then every log in the store must be the one
    /// the backup names.
    pub fn restore(&mut self, store: &dyn Store, take: Take) -> std::result::Result<Vec<(String, Report)>, Refusal> {
        let there = store.jobs()?;
        if !there.is_empty() {
            let what = "the folder has records already; a backup goes into an empty one";
            return Err(Error::refused("data", format!("{} jobs", there.len()), what, "another folder").into());
        }
        let mut reports = Vec::new();
        for job in self.manifest.jobs.clone() {
            self.bundle.below(&format!("{}/", job.job));
            let (_, report) = merge(&mut self.bundle, store, take, anchors(&job, &self.manifest.at))?;
            if take == Take::Whole {
                compare(store, &job)?;
            }
            reports.push((job.job, report));
        }
        Ok(reports)
    }
}

/// A job's heads as a check takes them.
fn anchors(job: &JobHeads, at: &str) -> Vec<Anchor> {
    let anchor = |log: &LogHead| Anchor {
        name: "the backup's list of heads".into(),
        head: Head { log: log.log.clone(), size: log.size, root: log.root, at: at.into() },
        signed: None,
    };
    job.logs.iter().map(anchor).collect()
}

/// Whether the store has what the backup names.
fn compare(store: &dyn Store, job: &JobHeads) -> Result<()> {
    for log in &job.logs {
        let found = store.log(&job.job, &log.log)?;
        if (found.size, found.root) != (log.size, log.root) {
            let what = format!("has {} entries, root {}; the backup names {}, root {}", found.size, found.root, log.size, log.root);
            return Err(Error::damaged(format!("log {}", log.log), what));
        }
    }
    let blobs = store.blobs(&job.job)?.len() as u64;
    if blobs == job.blobs { Ok(()) } else { Err(Error::damaged("blobs", format!("{blobs} were restored, the backup names {}", job.blobs))) }
}
