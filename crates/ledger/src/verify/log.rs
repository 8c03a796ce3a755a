//! One log while it streams by, and what it says of others.

use super::lines::{Line, Lines};
use super::report::{Damage, HeadFault, LogReport, Origin};
use super::resolve::{Claim, Entry, Known};
use super::{JOB, Span};
use crate::event::{MOST_BYTES, MOST_ENTRIES};
use crate::{Event, Hash, Head, Manifest, PublicKey, Receipt, SignedHead, Tree, id, line};
use measure::{Problem, Problems};
use serde::Deserialize;
use std::collections::BTreeMap;

/// The three files of a log.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Part {
    Entries,
    Heads,
    Hashes,
}

impl Part {
    /// The log's name and which of its files this is.
    pub fn of(file: &str) -> Option<(&str, Self)> {
        let parts = [(".heads.jsonl", Self::Heads), (".jsonl", Self::Entries), (".hashes", Self::Hashes)];
        parts.into_iter().find_map(|(end, part)| Some((file.strip_suffix(end)?, part)))
    }
}

/// What logs say of one another.
#[derive(Clone, Debug, Default)]
pub(super) struct Witness {
    /// The first event that names each blob.
    pub named: BTreeMap<Hash, (String, u64)>,
    /// Heads by the log they speak of; those of the job log by the job's id.
    claims: BTreeMap<String, Vec<Claim>>,
    /// Signed heads looked at before: a device's head often stands in its own file and in a receipt.
    checked: BTreeMap<SignedHead, Result<(Head, PublicKey), String>>,
}

impl Witness {
    /// Takes a signed head for the log it speaks of, if its signature holds.
    pub fn take(&mut self, signed: &SignedHead, origin: Origin) -> Result<(), String> {
        let known = self.checked.entry(signed.clone());
        let (head, key) = known.or_insert_with(|| signed.check().map_err(|problems| problems.to_string())).clone()?;
        self.claims.entry(head.log.clone()).or_default().push(Claim { head, origin, device: key.device() });
        Ok(())
    }

    /// Logs that heads speak of and that are not here. Call when the logs that are here have taken theirs.
    pub fn logs_without_file(self: &mut Witness) -> Vec<LogReport> {
        let left = std::mem::take(&mut self.claims).into_iter();
        let report = |(log, claims): (String, Vec<Claim>)| {
            let size = claims.iter().map(|claim| claim.head.size).max().filter(|size| *size > 0)?;
            let at = Span { from: 0, to: size };
            let damage = Some(Damage { at, what: format!("missing: a signed head covers {size} entries and the log is not here") });
            Some(LogReport { log, damage, damaged: vec![at], ..LogReport::default() })
        };
        left.filter_map(report).collect()
    }
}

/// What every version of an envelope keeps.
#[derive(Deserialize)]
struct Envelope {
    v: u32,
    device: String,
    seq: u64,
    #[serde(default)]
    blobs: Vec<Hash>,
}

/// One log while it streams by.
#[derive(Clone, Debug)]
pub(super) struct LogCheck {
    name: String,
    of_job: bool,
    lines: [Lines; 3],
    pub known: Known,
    heads: u64,
    report: LogReport,
    /// Blobs named and heads found since they were last handed on.
    named: Vec<(Hash, u64)>,
    signed: Vec<(SignedHead, Origin)>,
}

impl LogCheck {
    pub fn new(name: &str, of_job: bool) -> Self {
        let report = LogReport { log: name.into(), ..LogReport::default() };
        let (known, lines) = (Known::default(), Default::default());
        Self { name: name.into(), of_job, lines, known, heads: 0, report, named: Vec::new(), signed: Vec::new() }
    }

    /// The next piece of one of its files.
    pub fn feed(&mut self, part: Part, piece: &[u8]) {
        self.cut(part, |lines, each| lines.feed(piece, each));
    }

    /// All its files have ended.
    pub fn finish(&mut self) {
        for part in [Part::Entries, Part::Heads, Part::Hashes] {
            self.cut(part, |lines, each| lines.finish(each));
        }
    }

    fn cut(&mut self, part: Part, run: impl FnOnce(&mut Lines, &mut dyn FnMut(Line<'_>))) {
        let mut lines = std::mem::take(&mut self.lines[part as usize]);
        run(&mut lines, &mut |line| self.line(part, &line));
        self.lines[part as usize] = lines;
    }

    fn line(&mut self, part: Part, line: &Line<'_>) {
        let (bytes, ended) = match *line {
            Line::Ended(bytes) => (bytes, true),
            Line::Open(bytes) => (bytes, false),
        };
        // What stops in the midst of a line was being written when the writing stopped; a line that is whole, or is no
        // beginning of one, was not.
        match part {
            Part::Entries if !ended && line::cut_off(bytes) => self.report.torn_bytes = bytes.len() as u64,
            Part::Heads if !ended && line::cut_off(bytes) => {}
            Part::Hashes if !ended && bytes.len() < 64 => {}
            Part::Entries => self.entry(bytes),
            Part::Heads => self.head(bytes),
            Part::Hashes => self.known.hashes.push(std::str::from_utf8(bytes).ok().and_then(Hash::from_hex)),
        }
    }

    /// The next entry.
    pub fn entry(&mut self, bytes: &[u8]) {
        let place = self.known.entries.len() as u64;
        let read = if self.of_job { self.receipt(bytes, place) } else { self.event(bytes) };
        let (seq, fault) = match read {
            Ok(seq) => (seq, None),
            Err(problems) => (None, Some(problems.to_string().into_boxed_str())),
        };
        self.known.entries.push(Entry { leaf: Hash::leaf(bytes), seq, fault });
    }

    fn event(&mut self, bytes: &[u8]) -> Result<Option<u64>, Problems> {
        let (v, device, seq, blobs) = match Event::glance(bytes) {
            Ok(event) => (event.v, event.device, event.seq, event.blobs),
            Err(problems) => match line::glance::<Envelope>(bytes, MOST_BYTES) {
                Ok(later) if later.v > crate::event::VERSION && later.seq < MOST_ENTRIES => (later.v, later.device, later.seq, later.blobs),
                _ => return Err(problems),
            },
        };
        if device != self.name {
            return Err(Problem::at("device", "an event of another device", format!("events of {}", self.name)).value(device).into());
        }
        self.report.newer += u64::from(v > crate::event::VERSION);
        self.named.extend(blobs.into_iter().map(|blob| (blob, seq)));
        Ok(Some(seq))
    }

    /// A receipt says nothing of its own place; it speaks for the log of its device.
    fn receipt(&mut self, bytes: &[u8], place: u64) -> Result<Option<u64>, Problems> {
        let receipt = Receipt::glance(bytes)?;
        self.signed.push((receipt.signed_head(), Origin::Receipt { seq: place }));
        Ok(None)
    }

    /// The next signed head.
    pub fn head(&mut self, bytes: &[u8]) {
        let origin = Origin::Heads { line: self.heads };
        self.heads += 1;
        match SignedHead::glance(bytes) {
            Err(problems) => self.fault(origin, problems.to_string()),
            Ok((_, head)) if !self.of_job && head.log != self.name => {
                self.fault(origin, format!("a head of another log, {}", head.log));
            }
            Ok((_, head)) if self.of_job && !id::is_uuid(&head.log) => self.fault(origin, format!("a head of another log, {}", head.log)),
            Ok((signed, _)) => self.signed.push((signed, origin)),
        }
    }

    fn fault(&mut self, origin: Origin, what: String) {
        self.report.heads.push(HeadFault { origin, what });
    }

    /// Hands on what was found since the last time.
    pub fn testify(&mut self, witness: &mut Witness) {
        for (blob, seq) in self.named.drain(..) {
            witness.named.entry(blob).or_insert_with(|| (self.name.clone(), seq));
        }
        for (signed, origin) in std::mem::take(&mut self.signed) {
            let Err(what) = witness.take(&signed, origin) else { continue };
            match origin {
                Origin::Receipt { seq } => self.known.entries[seq as usize].fault = Some(what.into_boxed_str()),
                _ => self.fault(origin, what),
            }
        }
    }

    /// What the log comes to, and its tree.
    pub fn resolve(&mut self, witness: &mut Witness, manifest: Option<&Manifest>) -> (LogReport, Tree) {
        let mut claims =
            if self.of_job { self.of_the_job(witness, manifest) } else { witness.claims.remove(&self.name).unwrap_or_default() };
        claims.sort_by_key(|claim| claim.origin);
        self.known.claims = claims;
        let mut report = std::mem::take(&mut self.report);
        let tree = self.known.resolve(&mut report);
        (report, tree)
    }

    /// The heads of the job log: those of this job, signed by the site record's key.
    fn of_the_job(&mut self, witness: &mut Witness, manifest: Option<&Manifest>) -> Vec<Claim> {
        let logs: Vec<String> = witness.claims.keys().filter(|log| id::is_uuid(log)).cloned().collect();
        let mut claims: Vec<Claim> = logs.iter().filter_map(|log| witness.claims.remove(log)).flatten().collect();
        claims.sort_by_key(|claim| claim.origin);
        let job = manifest.map(|manifest| manifest.job.clone()).or_else(|| claims.first().map(|claim| claim.head.log.clone()));
        let site = manifest.and_then(|manifest| manifest.site.clone()).or_else(|| claims.first().map(|claim| claim.device.clone()));
        self.report.log = job.clone().unwrap_or_else(|| JOB.into());
        claims.retain(|claim| {
            let what = if Some(&claim.head.log) != job.as_ref() {
                format!("a head of another job, {}", claim.head.log)
            } else if Some(&claim.device) != site.as_ref() {
                format!("signed by {}, which is not the site record's key", claim.device)
            } else {
                return true;
            };
            if !matches!(claim.origin, Origin::Anchor { .. }) {
                self.report.heads.push(HeadFault { origin: claim.origin, what });
            }
            false
        });
        claims
    }
}
