//! What a check of a record says.

use crate::{Hash, Head};
use measure::Problem;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::ops::Range;

/// A record, checked: what is sound, and what is damaged, where.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Report {
    /// The job, as `record.json` names it.
    pub job: Option<String>,
    /// Every log, by name; the job log is named by the job's id.
    pub logs: Vec<LogReport>,
    /// The blobs.
    pub blobs: BlobReport,
    /// The heads kept outside, in the order they were handed in.
    pub anchors: Vec<AnchorReport>,
    /// Files that are not what their name says.
    pub files: Vec<Problem>,
}

impl Report {
    /// Whether nothing is damaged. A blob that has not arrived is no damage, nor is a tail that an append left cut off.
    pub fn is_sound(&self) -> bool {
        self.logs.iter().all(LogReport::is_sound)
            && self.blobs.damaged.is_empty()
            && self.anchors.iter().all(|anchor| anchor.stands == Standing::Fits)
            && self.files.is_empty()
    }

    /// The log of that name.
    pub fn log(&self, name: &str) -> Option<&LogReport> {
        self.logs.iter().find(|log| log.log == name)
    }
}

/// One log, checked.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LogReport {
    /// Device id, or the job's id.
    pub log: String,
    /// Entries found.
    pub entries: u64,
    /// Sound entries that a signed head covers.
    pub proven: u64,
    /// Sound entries no fitting head covers: nothing shows that they are as they were written, and nothing that they are not.
    pub unproven: u64,
    /// Entries whose envelope is of a later version: proven like others, but not understood here.
    pub newer: u64,
    /// First damage, lowest place first.
    pub damage: Option<Damage>,
    /// Places that are damaged or missing, in order.
    #[schemars(with = "Vec<Span>")]
    pub damaged: Vec<Span>,
    /// Bytes of a last entry that an append left cut off; it was never acknowledged.
    pub torn_bytes: u64,
    /// Heads of this log that are no use, and lines of its hash file that are wrong.
    pub heads: Vec<HeadFault>,
    /// The largest head that fits.
    pub head: Option<Head>,
    /// Devices whose keys signed the heads that fit.
    pub signed_by: Vec<String>,
    /// Lines, from 0, of the entries that are sound, in the order of their places: what can be exported.
    #[serde(skip)]
    pub sound_lines: Vec<usize>,
}

impl LogReport {
    /// Whether neither an entry nor a head is damaged.
    pub fn is_sound(&self) -> bool {
        self.damage.is_none() && self.heads.is_empty()
    }
}

/// Places of a log: from, and up to but not with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Span {
    /// First.
    pub from: u64,
    /// After the last.
    pub to: u64,
}

impl From<Range<u64>> for Span {
    fn from(range: Range<u64>) -> Self {
        Self { from: range.start, to: range.end }
    }
}

/// Damage to entries of a log.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Damage {
    /// Where: one place, or the range within which it lies when heads alone can tell.
    pub at: Span,
    /// What is wrong.
    pub what: String,
}

impl fmt::Display for Damage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Span { from, to } = self.at;
        if to <= from + 1 { write!(f, "entry {from}: {}", self.what) } else { write!(f, "entries {from} to {}: {}", to - 1, self.what) }
    }
}

/// Something wrong beside the entries of a log.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct HeadFault {
    /// Where it stands.
    pub origin: Origin,
    /// What is wrong.
    pub what: String,
}

/// Where a head or hash was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "in", rename_all = "kebab-case")]
pub enum Origin {
    /// The log's file of heads.
    Heads {
        /// Line, from 0.
        line: u64,
    },
    /// The log's file of hashes.
    Hashes {
        /// Line, from 0.
        line: u64,
    },
    /// A receipt of the job log.
    Receipt {
        /// Its place.
        seq: u64,
    },
    /// A head kept outside.
    Anchor {
        /// Its number in the order they were handed in, from 0.
        number: u64,
    },
}

/// The blobs of a record, checked.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct BlobReport {
    /// Blobs found whose bytes are those their name says.
    pub sound: u64,
    /// Their bytes.
    pub bytes: u64,
    /// Blobs found whose bytes are not those their name says.
    #[schemars(with = "Vec<String>")]
    pub damaged: Vec<Hash>,
    /// Blobs that an event names and that are not here.
    pub missing: Vec<MissingBlob>,
    /// Sound blobs that no event names.
    pub unnamed: u64,
}

/// A blob that is not here.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct MissingBlob {
    /// Its name.
    #[schemars(with = "String")]
    pub blob: Hash,
    /// Log of the first event that names it.
    pub log: String,
    /// That event's place.
    pub seq: u64,
}

/// How the record stands to a head kept outside.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct AnchorReport {
    /// Where it was kept, as handed in.
    pub name: String,
    /// What it says.
    pub head: Head,
    /// How the record stands to it.
    pub stands: Standing,
}

/// How a record stands to a head kept outside.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// The log was what the head says, and has only grown.
    Fits,
    /// The log is shorter than it was: cut off or rolled back.
    Below,
    /// The log is another one: entries were altered.
    Differs,
    /// The record has no such log.
    NoLog,
    /// The head's own signature does not hold; it says nothing about the record.
    Forged,
}
