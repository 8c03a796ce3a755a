//! A record taken into a store by union: what is there stays, what is missing comes in.

use crate::batch::{self, Batch, Line};
use crate::files::{Files, JOB_LOG, MANIFEST, Part};
use crate::verify::verify;
use crate::{Error, Result, Store};
use ledger::verify::{Anchor, HeadFault, Origin, Report};
use ledger::{Hash, Manifest, SignedHead};
use std::collections::{BTreeMap, BTreeSet};

/// What came in.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Merged {
    /// The job.
    pub job: String,
    /// Entries that are new.
    pub added: u64,
    /// Entries that were there.
    pub known: u64,
    /// Blobs that are new.
    pub blobs: u64,
}

/// Why a record was not taken in.
#[derive(Debug)]
pub enum Refusal {
    /// It is damaged.
    Damaged(Box<Report>),
    /// Something else.
    Error(Error),
}

impl From<Error> for Refusal {
    fn from(error: Error) -> Self {
        Self::Error(error)
    }
}

/// How much of a damaged record is taken in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Take {
    /// None of it.
    Whole,
    /// Each log up to its first damage, and every sound blob.
    Sound,
}

/// Takes a record into a store, and gives back what the check of it said. It is checked first and refused if it is damaged
/// (but see [`Take`]) or if one of its logs is another history than the store's; may be done again after it broke off.
pub fn merge(files: &mut dyn Files, store: &dyn Store, take: Take, anchors: Vec<Anchor>) -> std::result::Result<(Merged, Report), Refusal> {
    let report = verify(files, anchors)?;
    if take == Take::Whole && !report.is_sound() {
        return Err(Refusal::Damaged(Box::new(report)));
    }
    let job = job_of(files)?;
    let names: Vec<String> = files.names()?.into_iter().map(|(name, _)| name).collect();
    let parts: BTreeMap<Part, &String> = names.iter().filter_map(|name| Some((Part::of(name)?, name))).collect();
    let mut coming = Coming { files, store, report: &report, merged: Merged { job, ..Merged::default() } };
    for (part, name) in &parts {
        if let Part::Entries(log) = part {
            coming.same_history(name, log)?;
        }
    }
    for (part, name) in &parts {
        if let Part::Blob(hash) = part {
            coming.blob(name, hash)?;
        }
    }
    // Events before receipts and heads, which speak of them.
    for (part, name) in &parts {
        if let Part::Entries(log) = part {
            coming.entries(name, log)?;
        }
    }
    for (part, name) in &parts {
        if let Part::Heads(log) = part {
            coming.heads(name, log)?;
        }
    }
    let merged = coming.merged;
    Ok((merged, report))
}

/// The job that a record is of.
pub fn job_of(files: &mut dyn Files) -> Result<String> {
    let mut bytes = Vec::new();
    files.read(MANIFEST, &mut |piece| {
        bytes.extend_from_slice(piece);
        if bytes.len() > 100_000 { Err(Error::refused(MANIFEST, bytes.len(), "too long", "at most 100000 bytes")) } else { Ok(()) }
    })?;
    Ok(Manifest::read(&bytes).map_err(|problems| problems.in_file(MANIFEST))?.job)
}

/// Hands on a file's lines; a last one that was cut off is left out.
fn lines(files: &mut dyn Files, name: &str, each: &mut dyn FnMut(&[u8]) -> Result<()>) -> Result<()> {
    let mut held: Vec<u8> = Vec::new();
    files.read(name, &mut |mut piece| {
        while let Some(end) = piece.iter().position(|byte| *byte == b'\n') {
            held.extend_from_slice(&piece[..end]);
            each(&held)?;
            held.clear();
            piece = &piece[end + 1..];
        }
        held.extend_from_slice(piece);
        if held.len() > ledger::event::MOST_BYTES {
            return Err(Error::refused(name, held.len(), "a line is too long", "at most 1000000 bytes"));
        }
        Ok(())
    })
}

/// A record on its way in.
struct Coming<'a> {
    files: &'a mut dyn Files,
    store: &'a dyn Store,
    report: &'a Report,
    merged: Merged,
}

impl Coming<'_> {
    fn log_of(&self, name: &str) -> String {
        if name == JOB_LOG { self.merged.job.clone() } else { name.into() }
    }

    /// How many entries of a log come before its first damage.
    fn sound(&self, log: &str) -> u64 {
        let found = self.report.log(log).or_else(|| self.report.log(JOB_LOG).filter(|_| log == self.merged.job));
        found.and_then(|log| log.damage.as_ref()).map_or(u64::MAX, |damage| damage.at.from)
    }

    /// Refuses a log that is another history than the store's, before anything is written.
    fn same_history(&mut self, name: &str, log: &str) -> Result<()> {
        let log = self.log_of(log);
        let sound = self.sound(&log);
        let mut kept = self.store.tree(&self.merged.job, &log)?.leaves().to_vec().into_iter();
        let mut seq = 0;
        lines(self.files, name, &mut |line| {
            let sent = Hash::leaf(line);
            match kept.next() {
                Some(kept) if kept != sent && seq < sound => Err(Error::Forked { log: log.clone(), seq, kept, sent }),
                _ => {
                    seq += 1;
                    Ok(())
                }
            }
        })
    }

    fn blob(&mut self, name: &str, hash: &Hash) -> Result<()> {
        let job = &self.merged.job;
        if self.report.blobs.damaged.contains(hash) || self.store.blob(job, hash)?.is_some() {
            return Ok(());
        }
        let mut put = self.store.put_blob(job, None)?;
        self.files.read(name, &mut |piece| put.add(piece))?;
        if put.finish()?.hash != *hash {
            return Err(Error::damaged(name, "changed while it was read"));
        }
        self.merged.blobs += 1;
        Ok(())
    }

    fn entries(&mut self, name: &str, log: &str) -> Result<()> {
        let log = self.log_of(log);
        let sound = self.sound(&log);
        let (store, merged) = (self.store, &mut self.merged);
        let mut held = Vec::new();
        let (mut seq, mut bytes) = (0, 0);
        let mut flush = |lines: &mut Vec<Line>| {
            let done = store.append(&merged.job, Batch { lines: std::mem::take(lines), blobs_follow: true, ..Batch::default() })?;
            merged.added += done.added;
            merged.known += done.known;
            Ok(())
        };
        lines(self.files, name, &mut |line| {
            if seq == sound {
                return Ok(());
            }
            held.push(Line { log: log.clone(), seq, bytes: line.to_vec() });
            (seq, bytes) = (seq + 1, bytes + line.len());
            if held.len() < 2_000 && bytes < batch::MOST_BYTES / 8 {
                return Ok(());
            }
            bytes = 0;
            flush(&mut held)
        })?;
        if held.is_empty() { Ok(()) } else { flush(&mut held) }
    }

    /// Takes in the heads that are sound and speak of no more than was taken in.
    fn heads(&mut self, name: &str, log: &str) -> Result<()> {
        let log = self.log_of(log);
        let size = self.store.log(&self.merged.job, &log)?.size;
        let of_file = |fault: &HeadFault| if let Origin::Heads { line } = fault.origin { Some(line) } else { None };
        let faulty: BTreeSet<u64> = self.report.log(&log).map(|log| log.heads.iter().filter_map(of_file).collect()).unwrap_or_default();
        let (store, job) = (self.store, &self.merged.job);
        let mut batch = Batch::default();
        let mut number = 0;
        lines(self.files, name, &mut |line| {
            number += 1;
            if faulty.contains(&(number - 1)) {
                return Ok(());
            }
            let (signed, head) = SignedHead::read(line)?;
            if head.size <= size {
                batch.heads.push(signed);
            }
            if batch.heads.len() < 2_000 { Ok(()) } else { store.append(job, std::mem::take(&mut batch)).map(|_| ()) }
        })?;
        store.append(job, batch).map(|_| ())
    }
}
