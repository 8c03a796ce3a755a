//! Keeps records: what it acknowledges is on the disk, whole, and stays as it was.
//!
//! A record is a job's logs, the signed heads of those logs, and its blobs ([`ledger`] says what each is). [`Store`] is the
//! one seam: [`Sqlite`] keeps the site's records, [`Folder`] keeps them as plain files over any [`disk::Disk`], also one
//! that fails on purpose; another database is another implementation that passes the same [`suite`].
//!
//! What this crate never does: read a clock, look into a payload, change or remove an entry.

pub mod backup;
pub mod batch;
pub mod blobs;
pub mod bundle;
pub mod disk;
mod error;
pub mod files;
mod folder;
pub mod kind;
pub mod merge;
#[cfg(any(test, feature = "suite"))]
pub mod sim;
mod sqlite;
#[cfg(any(test, feature = "suite"))]
pub mod suite;
#[cfg(any(test, feature = "suite"))]
pub mod trials;
mod verify;
mod wanted;

pub use batch::{Batch, Line};
pub use error::{Error, Result};
pub use folder::Folder;
pub use kind::Kind;
use ledger::{Hash, Tree};
pub use sqlite::{Opening, Sqlite};
use std::io::Read;
pub use verify::{verify, verify_store};

/// A log as it stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LogState {
    /// The device whose log it is, or the job's id for the job log.
    pub log: String,
    /// Entries.
    pub size: u64,
    /// Root over them.
    pub root: Hash,
}

/// A blob as it is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Blob {
    /// Its name: SHA-256 of its bytes.
    pub hash: Hash,
    /// How many bytes.
    pub bytes: u64,
    /// What it is.
    pub kind: Kind,
}

/// What became of a [`Batch`].
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Appended {
    /// Entries that are new.
    pub added: u64,
    /// Entries that were there, byte for byte.
    pub known: u64,
    /// The logs it touched, as they are now.
    pub logs: Vec<LogState>,
    /// Blobs that its events name and that are not here yet.
    pub missing: Vec<Hash>,
}

/// How much [`Store::read`] gives back at once, at most; at least one entry when there is one.
#[derive(Clone, Copy, Debug)]
pub struct Page {
    /// Entries.
    pub entries: usize,
    /// Bytes.
    pub bytes: usize,
}

impl Default for Page {
    fn default() -> Self {
        Self { entries: 1_000, bytes: 4_000_000 }
    }
}

/// Jobs' records.
///
/// A job is named by its UUID and comes to be with the first thing that is added to it. Everything is asked for by job, so
/// that knowing a hash gives nobody another job's photograph. All methods may be called from many threads at once.
pub trait Store: Send + Sync {
    /// The jobs there are, sorted.
    fn jobs(&self) -> Result<Vec<String>>;

    /// The job's logs, sorted by name; none for a job that is not here.
    fn logs(&self, job: &str) -> Result<Vec<LogState>>;

    /// One log; of size 0 when there is none.
    fn log(&self, job: &str, log: &str) -> Result<LogState> {
        let found = self.logs(job)?.into_iter().find(|state| state.log == log);
        Ok(found.unwrap_or_else(|| LogState { log: log.into(), size: 0, root: Hash::of(b"") }))
    }

    /// Adds a batch, all of it or nothing, and returns when it is on the disk.
    ///
    /// Each entry must be the next of its log. One that is there already with the same bytes is passed over, so a batch may
    /// be sent again; one that differs is [`Error::Forked`]. A head must be signed rightly and fit the log.
    fn append(&self, job: &str, batch: Batch) -> Result<Appended>;

    /// The exact bytes of entries from place `from` on, as many as the page takes; none past the end.
    fn read(&self, job: &str, log: &str, from: u64, page: Page) -> Result<Vec<Vec<u8>>>;

    /// The leaf hashes of entries from place `from` on, as they were when the entries came.
    fn hashes(&self, job: &str, log: &str, from: u64, most: usize) -> Result<Vec<Hash>>;

    /// The signed heads kept of a log, each one line, by size and then by text.
    fn heads(&self, job: &str, log: &str) -> Result<Vec<Vec<u8>>>;

    /// Begins a blob. With its name, an upload that broke off goes on at [`PutBlob::at`], and other bytes than the name says
    /// are refused at the end.
    fn put_blob(&self, job: &str, name: Option<&Hash>) -> Result<Box<dyn PutBlob + '_>>;

    /// A blob of the job, if it is here.
    fn blob(&self, job: &str, hash: &Hash) -> Result<Option<Blob>>;

    /// A blob's bytes, to be read from any place.
    fn open_blob(&self, job: &str, hash: &Hash) -> Result<Box<dyn disk::ReadSeek>>;

    /// The job's blobs, sorted by name.
    fn blobs(&self, job: &str) -> Result<Vec<Blob>>;

    /// Blobs that the job's events name and that are not here, sorted.
    fn missing(&self, job: &str) -> Result<Vec<Hash>>;

    /// What is wrong with what the store keeps beside the record itself, such as its indexes; none when all is well.
    fn faults(&self, job: &str) -> Result<Vec<String>>;

    /// A log's tree, for proofs, from the hashes kept.
    fn tree(&self, job: &str, log: &str) -> Result<Tree> {
        let mut tree = Tree::new();
        loop {
            let leaves = self.hashes(job, log, tree.size(), 10_000)?;
            if leaves.is_empty() {
                return Ok(tree);
            }
            leaves.into_iter().for_each(|leaf| tree.push(leaf));
        }
    }
}

/// A blob being handed in. Dropped before [`PutBlob::finish`], it is gone, or, if it was begun with its name, waits to be gone
/// on with.
pub trait PutBlob: Send {
    /// Bytes that are here already.
    fn at(&self) -> u64;

    /// Adds bytes at the end; refuses what is of no kind that is taken as soon as that shows.
    fn add(&mut self, bytes: &[u8]) -> Result<()>;

    /// Returns when the blob is on the disk under its name.
    fn finish(self: Box<Self>) -> Result<Blob>;
}

/// Puts a blob that can be read whole; hands it on in pieces.
pub fn put_from(store: &(impl Store + ?Sized), job: &str, from: &mut dyn Read) -> Result<Blob> {
    let mut put = store.put_blob(job, None)?;
    let mut buffer = vec![0; 1 << 16];
    loop {
        match from.read(&mut buffer) {
            Ok(0) => return put.finish(),
            Ok(n) => put.add(&buffer[..n])?,
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => {}
            Err(error) => return Err(Error::Failed { path: "the blob handed in".into(), why: error.to_string() }),
        }
    }
}

/// Refuses what can't name a job.
fn check_job(job: &str) -> Result<()> {
    if ledger::id::is_uuid(job) { Ok(()) } else { Err(Error::refused("job", job, "names no job", "a UUID in lower case")) }
}
