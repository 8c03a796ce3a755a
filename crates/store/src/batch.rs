//! What is added in one go, and what of it can be checked before anything is written.

use crate::{Error, Result, check_job};
use ledger::{Event, EventBytes, Hash, Receipt, SignedHead, id};
use measure::Problems;
use std::collections::{BTreeMap, BTreeSet};

/// Entries of one batch.
pub const MOST_LINES: usize = 10_000;
/// Bytes of one batch.
pub const MOST_BYTES: usize = 64_000_000;

/// One entry for a log, with its place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// The device whose log it is, or the job's id for the job log.
    pub log: String,
    /// Place in the log, from 0.
    pub seq: u64,
    /// An event, or a receipt in the job log, without line break.
    pub bytes: Vec<u8>,
}

impl From<EventBytes> for Line {
    fn from(bytes: EventBytes) -> Self {
        let event = bytes.event();
        Self { log: event.device, seq: event.seq, bytes: bytes.into_bytes() }
    }
}

/// What is added in one go: all of it or nothing.
#[derive(Clone, Debug, Default)]
pub struct Batch {
    /// Entries, those of one log in order.
    pub lines: Vec<Line>,
    /// Signed heads of these or earlier entries.
    pub heads: Vec<SignedHead>,
    /// Whether events may come before the blobs they name, as they do from afar; else such a batch is refused.
    pub blobs_follow: bool,
}

impl Batch {
    /// Events.
    pub fn of(events: impl IntoIterator<Item = EventBytes>) -> Self {
        Self { lines: events.into_iter().map(Line::from).collect(), ..Self::default() }
    }

    /// With a head.
    pub fn head(mut self, head: SignedHead) -> Self {
        self.heads.push(head);
        self
    }

    /// With a receipt at its place in the job log.
    pub fn receipt(mut self, job: &str, seq: u64, receipt: &Receipt) -> Self {
        self.lines.push(Line { log: job.into(), seq, bytes: receipt.to_line().into_bytes() });
        self
    }

    /// With events whose blobs may come later.
    pub fn blobs_follow(mut self) -> Self {
        self.blobs_follow = true;
        self
    }
}

/// An entry ready to be written.
#[derive(Debug)]
pub(crate) struct Entry {
    pub seq: u64,
    pub bytes: Vec<u8>,
    pub leaf: Hash,
    pub names: Vec<Hash>,
}

/// A head whose signature holds.
#[derive(Debug)]
pub(crate) struct CheckedHead {
    pub size: u64,
    pub root: Hash,
    pub line: Vec<u8>,
}

/// A log's part of a batch.
#[derive(Debug, Default)]
pub(crate) struct LogPart {
    pub entries: Vec<Entry>,
    /// By size.
    pub heads: Vec<CheckedHead>,
}

/// A batch of which all was checked that can be without the store.
#[derive(Debug)]
pub(crate) struct Checked {
    pub job: String,
    pub logs: BTreeMap<String, LogPart>,
    pub blobs_follow: bool,
}

impl Checked {
    pub fn of(job: &str, batch: Batch) -> Result<Self> {
        check_job(job)?;
        let bytes: usize = batch.lines.iter().map(|line| line.bytes.len()).sum();
        if batch.lines.len() > MOST_LINES || bytes > MOST_BYTES || batch.heads.len() > MOST_LINES {
            let found = format!("{} entries, {bytes} bytes, {} heads", batch.lines.len(), batch.heads.len());
            return Err(Error::refused("batch", found, "too large", format!("at most {MOST_LINES} entries and heads, {MOST_BYTES} bytes")));
        }
        let mut checked = Self { job: job.into(), logs: BTreeMap::new(), blobs_follow: batch.blobs_follow };
        let mut wrong = Problems::new();
        for (i, line) in batch.lines.into_iter().enumerate() {
            match entry(job, &line.log, line.seq, line.bytes) {
                Ok(entry) => checked.logs.entry(line.log).or_default().entries.push(entry),
                Err(problems) => wrong.extend(at(&format!("lines[{i}]"), problems)),
            }
        }
        for (i, head) in batch.heads.iter().enumerate() {
            match checked_head(job, head) {
                Ok((log, head)) => checked.logs.entry(log).or_default().heads.push(head),
                Err(problems) => wrong.extend(at(&format!("heads[{i}]"), problems)),
            }
        }
        checked.logs.values_mut().for_each(|part| part.heads.sort_by_key(|head| head.size));
        Ok(wrong.or(checked)?)
    }

    /// Every blob its events name.
    pub fn names(&self) -> BTreeSet<Hash> {
        self.logs.values().flat_map(|part| &part.entries).flat_map(|entry| entry.names.iter().copied()).collect()
    }

    /// Bytes of its entries.
    pub fn bytes(&self) -> usize {
        self.logs.values().flat_map(|part| &part.entries).map(|entry| entry.bytes.len()).sum()
    }
}

fn at(place: &str, mut problems: Problems) -> Problems {
    for problem in &mut problems.problems {
        problem.field = if problem.field.is_empty() { place.into() } else { format!("{place}.{}", problem.field) };
    }
    problems
}

/// An entry that is what its log holds: events of that device at that place, or receipts in the job log.
fn entry(job: &str, log: &str, seq: u64, bytes: Vec<u8>) -> std::result::Result<Entry, Problems> {
    let names = if log == job {
        Receipt::read(&bytes)?;
        Vec::new()
    } else {
        let event = Event::read(&bytes)?;
        if (event.device.as_str(), event.seq) != (log, seq) {
            let found = format!("{} of {}", event.seq, event.device);
            let right = format!("event {seq} of {log}");
            return Err(measure::Problem::at("", "the event says another log or place than it is sent for", right).value(found).into());
        }
        event.blobs
    };
    Ok(Entry { seq, leaf: Hash::leaf(&bytes), bytes, names })
}

fn checked_head(job: &str, signed: &SignedHead) -> std::result::Result<(String, CheckedHead), Problems> {
    let (head, _) = signed.check()?;
    if !id::is_device(&head.log) && head.log != job {
        return Err(measure::Problem::at("log", "the head of another job", job).value(head.log).into());
    }
    Ok((head.log, CheckedHead { size: head.size, root: head.root, line: signed.to_line().into_bytes() }))
}

/// What is said when events name blobs that are not here.
pub(crate) fn missing(names: &[Hash]) -> Error {
    let one = |name: &Hash| measure::Problem::at("blobs", "named by an event and not here", "put the blob first").value(name);
    Error::Refused(Problems { problems: names.iter().take(Problems::MOST).map(one).collect() })
}
