//! What can go wrong while keeping a record, in words for the person who has to do something about it.

use ledger::Hash;
use measure::{Problem, Problems};
use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

/// What a store answers with.
pub type Result<T> = std::result::Result<T, Error>;

/// Why a store did not do what it was asked. Nothing of the request was kept, unless [`Error::Failed`] says otherwise.
#[derive(Clone, Debug)]
pub enum Error {
    /// What was handed in is not as it must be.
    Refused(Problems),
    /// There is a different entry at this place already: the log was continued twice.
    Forked {
        /// Log.
        log: String,
        /// Place in it.
        seq: u64,
        /// Leaf hash of the entry that is kept.
        kept: Hash,
        /// Leaf hash of the one handed in.
        sent: Hash,
    },
    /// Entries are missing in between.
    Gap {
        /// Log.
        log: String,
        /// Entries it has; the next one must have this place.
        size: u64,
        /// Place of the entry handed in.
        seq: u64,
    },
    /// No such job, log, entry or blob.
    NotHere(String),
    /// No room on the disk.
    Full(PathBuf),
    /// The folder or file may not be written.
    ReadOnly(PathBuf),
    /// Somebody else holds it.
    Busy(String),
    /// What is kept is not what was written.
    Damaged {
        /// Where.
        place: String,
        /// What is wrong there.
        what: String,
    },
    /// Made by a later version of this program.
    Newer {
        /// Version of what was found.
        found: u32,
        /// Latest version that this program reads.
        known: u32,
    },
    /// The disk failed. Whether the request was kept shows when the store is opened again; asking again is safe.
    Failed {
        /// File or folder.
        path: PathBuf,
        /// What the system said.
        why: String,
    },
}

impl Error {
    /// The error of a file operation.
    pub fn io(path: &Path, error: &io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded | io::ErrorKind::FileTooLarge => Self::Full(path.into()),
            io::ErrorKind::ReadOnlyFilesystem | io::ErrorKind::PermissionDenied => Self::ReadOnly(path.into()),
            io::ErrorKind::NotFound => Self::NotHere(path.display().to_string()),
            _ => Self::Failed { path: path.into(), why: error.to_string() },
        }
    }

    /// One thing that is wrong with what was handed in.
    pub(crate) fn refused(field: &str, value: impl fmt::Display, what: impl Into<String>, right: impl Into<String>) -> Self {
        Self::Refused(Problem::at(field, what, right).value(value).into())
    }

    /// Damage.
    pub(crate) fn damaged(place: impl Into<String>, what: impl Into<String>) -> Self {
        Self::Damaged { place: place.into(), what: what.into() }
    }
}

impl From<Problems> for Error {
    fn from(problems: Problems) -> Self {
        Self::Refused(problems)
    }
}

impl std::error::Error for Error {}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Refused(problems) => write!(f, "{problems}"),
            Self::Forked { log, seq, kept, sent } => write!(
                f,
                "entry {seq} of log {log} is there already and differs (kept {kept}, handed in {sent}); nothing is overwritten: \
                 the device's log was continued twice, from a copy or a backup, and must go on as a new device"
            ),
            Self::Gap { log, size, seq } => {
                write!(f, "log {log} has {size} entries, so the next one is number {size}, not {seq}; hand in those between first")
            }
            Self::NotHere(what) => write!(f, "{what}: not here"),
            Self::Full(path) => {
                write!(f, "{}: no room on the disk; nothing of this was saved. Make room and try again", path.display())
            }
            Self::ReadOnly(path) => write!(f, "{}: may not be written; nothing of this was saved", path.display()),
            Self::Busy(what) => f.write_str(what),
            Self::Damaged { place, what } => write!(f, "{place}: {what}; run `undertile verify` to see what is sound"),
            Self::Newer { found, known } => {
                write!(f, "the record has version {found}, this program reads up to {known}; use a later program")
            }
            Self::Failed { path, why } => write!(f, "{}: {why}; not known to be saved", path.display()),
        }
    }
}
