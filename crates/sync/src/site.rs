//! The site record's end: answers.

use crate::clock::Now;
use crate::limits::*;
use crate::log::Log;
use crate::message::{Answer, Ask, BlobThere, LogSize, PieceSent, Refusal, Said, What};
use crate::{Lines, NotKept, Piece, PieceKept, Ticket};
use ledger::tree::Sized;
use ledger::{Clock, Event, Hash, Head, Key, Receipt, SignedHead};
use measure::{Problem, Problems};
use std::collections::{BTreeMap, BTreeSet};

/// One job's record at the site, as it stands on the disk: what the disk does not hold yet is not in here.
#[derive(Debug)]
pub struct Site {
    key: Key,
    job: String,
    /// The devices' logs and, under the job's id, the job log.
    logs: BTreeMap<String, Log>,
    members: BTreeMap<String, Member>,
    /// Blobs that events name.
    named: BTreeSet<Hash>,
    /// Whole blobs with their bytes.
    blobs: BTreeMap<Hash, u64>,
    parts: BTreeMap<Hash, Part>,
    tickets: u64,
    keeping: BTreeMap<Ticket, (Question, Keeping)>,
    stale: bool,
}

/// A device of the job.
#[derive(Debug, Default)]
struct Member {
    revoked: Option<Revoked>,
    /// Its latest receipt: place in the job log, size of its log, the line.
    receipt: Option<(u64, u64, String)>,
    /// Heads that are kept as evidence of a fork.
    evidence: BTreeSet<String>,
}

/// A device was shut out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Revoked {
    /// Events of its log that were here then and stay.
    pub kept: u64,
    /// When, as RFC 3339.
    pub at: String,
    /// Why, in a person's words.
    pub why: String,
}

#[derive(Clone, Copy, Debug)]
struct Part {
    have: u64,
    of: u64,
}

/// What a question needs to be answered.
#[derive(Clone, Debug)]
struct Question {
    no: u64,
    since: u64,
    received_ms: i64,
}

#[derive(Debug)]
enum Keeping {
    Batch(Box<Batch>),
    Evidence { device: String, head: String, seq: u64 },
    Piece { hash: Hash, of: u64 },
}

#[derive(Debug)]
struct Batch {
    device: String,
    leaves: Vec<Hash>,
    named: Vec<Hash>,
    receipt: String,
    index: u64,
    size: u64,
    device_head: (Sized, SignedHead),
    job_head: (Sized, SignedHead),
}

/// What the shell does next.
#[derive(Debug)]
pub enum Step {
    /// Send this.
    Answer(Answer),
    /// Keep these entries and heads, all or nothing; then call [`Site::kept`]. One such step is open at a time.
    Keep {
        /// To be handed back.
        ticket: Ticket,
        /// New events of a device, and the receipt for them in the job log.
        logs: Vec<Lines>,
    },
    /// Keep this piece, which begins where the kept part ends; at offset 0 it begins the blob anew. With its last piece check
    /// the blob against its name. Then call [`Site::piece_kept`].
    KeepPiece {
        /// To be handed back.
        ticket: Ticket,
        /// The piece.
        piece: Piece,
    },
    /// Keep this beside the record: it shows that a device's log was continued twice. Then call [`Site::kept`].
    KeepEvidence {
        /// To be handed back.
        ticket: Ticket,
        /// What was sent.
        evidence: Evidence,
    },
    /// Read entries, as many as [`fit`], and call [`Site::entries_read`].
    ReadEntries(EntriesReading),
    /// Read a piece of at most [`MOST_PIECE_BYTES`] and call [`Site::piece_read`].
    ReadPiece(PieceReading),
}

/// A device's signed word for a log other than the one it was acknowledged.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Evidence {
    /// Device.
    pub device: String,
    /// First place known to differ, or the first that was sent when it lies before that.
    pub seq: u64,
    /// The events that were sent, the first at `from`.
    pub from: u64,
    /// Their exact text.
    pub events: Vec<String>,
    /// The head it signed over them.
    pub head: SignedHead,
}

/// Entries to be read.
#[derive(Clone, Debug)]
pub struct EntriesReading {
    question: Question,
    /// Whose log.
    pub log: String,
    /// Place of the first.
    pub from: u64,
    /// How many there are to read.
    pub count: u64,
}

/// A piece to be read.
#[derive(Clone, Debug)]
pub struct PieceReading {
    question: Question,
    /// The blob's name.
    pub hash: Hash,
    /// Where to begin.
    pub offset: u64,
    of: u64,
}

/// Keeping a batch is under way; try again when it is done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Busy;

impl Site {
    /// A record with nothing in it yet. `key` signs the job log.
    pub fn new(key: Key, job: impl Into<String>) -> Self {
        let job = job.into();
        Self {
            key,
            logs: BTreeMap::from([(job.clone(), Log::default())]),
            job,
            members: BTreeMap::new(),
            named: BTreeSet::new(),
            blobs: BTreeMap::new(),
            parts: BTreeMap::new(),
            tickets: 0,
            keeping: BTreeMap::new(),
            stale: false,
        }
    }

    /// Lets a device in.
    pub fn pair(&mut self, device: impl Into<String>) {
        self.members.entry(device.into()).or_default();
    }

    /// Shuts a device out: events beyond those here are refused from now on, those here stay, and their blobs may still come.
    /// The shell keeps what this returns before it says that it is done, and hands it to [`Site::load_revoked`] when it starts
    /// again.
    pub fn revoke(&mut self, device: &str, at: impl Into<String>, why: impl Into<String>) -> Result<Revoked, Busy> {
        let open = |keeping: &Keeping| matches!(keeping, Keeping::Batch(batch) if batch.device == device);
        if self.stale || self.keeping.values().any(|(_, keeping)| open(keeping)) {
            return Err(Busy);
        }
        let why = why.into().chars().take(MOST_WHY).collect();
        let kept = self.logs.get(device).map_or(0, Log::size);
        let revoked = Revoked { kept, at: at.into(), why };
        self.load_revoked(device, revoked.clone());
        Ok(revoked)
    }

    /// Entry of a device's log that is on the disk, the next of that log: its leaf hash and the blobs it names.
    pub fn load_entry(&mut self, device: &str, leaf: Hash, blobs: &[Hash]) {
        self.logs.entry(device.into()).or_default().push(leaf);
        self.named.extend(blobs);
    }

    /// Entry of the job log that is on the disk, the next of it.
    pub fn load_receipt(&mut self, line: &str) -> Result<(), Problems> {
        let receipt = Receipt::read(line.as_bytes())?;
        let sized = Sized { size: receipt.size, root: receipt.root };
        self.logs.entry(receipt.device.clone()).or_default().take_head(sized, &receipt.signed_head());
        let jobs = self.job_log();
        let index = jobs.size();
        jobs.push(Hash::leaf(line.as_bytes()));
        self.members.entry(receipt.device).or_default().receipt = Some((index, receipt.size, line.into()));
        Ok(())
    }

    /// A signed head that is on the disk, of any of its logs.
    pub fn load_head(&mut self, signed: &SignedHead) -> Result<(), Problems> {
        let head = signed.read_head()?;
        self.logs.entry(head.log).or_default().take_head(Sized { size: head.size, root: head.root }, signed);
        Ok(())
    }

    /// A device that was shut out.
    pub fn load_revoked(&mut self, device: &str, revoked: Revoked) {
        let member = self.members.entry(device.into()).or_default();
        // The first time counts: what came after that was refused.
        member.revoked.get_or_insert(revoked);
    }

    /// A whole blob on the disk.
    pub fn load_blob(&mut self, hash: Hash, bytes: u64) {
        self.parts.remove(&hash);
        self.blobs.insert(hash, bytes);
    }

    /// The beginning of a blob on the disk.
    pub fn load_part(&mut self, hash: Hash, have: u64, of: u64) {
        self.parts.insert(hash, Part { have, of });
    }

    /// The beginning of a blob was thrown away, because nobody went on with it.
    pub fn forget_part(&mut self, hash: &Hash) {
        self.parts.remove(hash);
    }

    /// Whether the disk's state is not known, so that this must be made anew from it; until then nothing is kept.
    pub fn is_stale(&self) -> bool {
        self.stale
    }

    /// Each log with its size, by name.
    pub fn sizes(&self) -> Vec<LogSize> {
        self.logs.iter().map(|(log, state)| LogSize { log: log.clone(), size: state.size() }).collect()
    }

    /// Blobs that events name and that are not here.
    pub fn missing(&self) -> impl Iterator<Item = &Hash> {
        self.named.iter().filter(|hash| !self.blobs.contains_key(hash))
    }

    fn job_log(&mut self) -> &mut Log {
        self.logs.get_mut(&self.job).expect("made with the job log")
    }

    /// A question of a device; who it is was proven by the shell.
    pub fn ask(&mut self, now: Now, device: &str, ask: Ask) -> Step {
        let question = Question { no: ask.no, since: ask.since, received_ms: now.wall_ms };
        let said = match self.admit(device, &ask) {
            Err(refusal) => Err(refusal),
            Ok(()) => match ask.what {
                What::Hello {} => Ok(Said::Logs { logs: self.sizes().into_iter().take(MOST_LOGS).collect() }),
                What::Push { from, events, head, clock } => {
                    return self.push(now, question, device, Pushed { from, events, head, clock });
                }
                What::Offer { blobs } => Ok(Said::Blobs { blobs: blobs.into_iter().map(|hash| self.there(hash)).collect() }),
                What::PushBlob(piece) => return self.push_piece(now, question, piece),
                What::Pull { log, from } => match self.readable(&log, from) {
                    0 => Ok(Said::Entries { log, from, entries: Vec::new(), head: None, proof: Vec::new() }),
                    count => return Step::ReadEntries(EntriesReading { question, log, from, count }),
                },
                What::PullBlob { hash, offset } => match self.blobs.get(&hash) {
                    Some(&of) if offset < of || offset == 0 => {
                        return Step::ReadPiece(PieceReading { question, hash, offset, of });
                    }
                    _ => Ok(Said::Blobs { blobs: vec![self.there(hash)] }),
                },
            },
        };
        Step::Answer(self.answer(now, &question, said.unwrap_or_else(Said::Refused)))
    }

    /// Whether the question is well-formed and the device may ask it. One that was shut out may only finish what is kept of
    /// it: the receipt of its events, and their blobs.
    fn admit(&self, device: &str, ask: &Ask) -> Result<(), Refusal> {
        ask.check().map_err(Refusal::Wrong)?;
        if ask.job != self.job {
            return Err(Refusal::Wrong(Problem::at("job", "another job", &self.job).value(&ask.job).into()));
        }
        let member = self.members.get(device).ok_or(Refusal::NotPaired {})?;
        let Some(Revoked { kept, at, why }) = member.revoked.clone() else { return Ok(()) };
        let awaited = |hash: &Hash| self.named.contains(hash);
        let finishes = match &ask.what {
            What::Push { from, events, .. } => from.saturating_add(events.len() as u64) <= kept,
            What::Offer { blobs } => blobs.iter().all(awaited),
            What::PushBlob(piece) => awaited(&piece.hash),
            What::Hello {} | What::Pull { .. } | What::PullBlob { .. } => false,
        };
        if finishes { Ok(()) } else { Err(Refusal::Revoked { kept, at, why }) }
    }

    fn push(&mut self, now: Now, question: Question, device: &str, pushed: Pushed) -> Step {
        let answer = match self.weigh(device, &pushed) {
            Err(refusal) => Said::Refused(refusal),
            Ok(Weighed::Gap(size)) => Said::Goon { size },
            Ok(Weighed::Known) => self.acknowledged(device),
            Ok(Weighed::Forked { seq }) => return self.forked(now, question, device, pushed, seq),
            Ok(Weighed::New { head, leaves, named }) => match self.batch(now, device, &pushed, head, leaves, named) {
                Ok((batch, logs)) => {
                    let ticket = self.ticket(question, Keeping::Batch(Box::new(batch)));
                    return Step::Keep { ticket, logs };
                }
                Err(refusal) => Said::Refused(refusal),
            },
        };
        Step::Answer(self.answer(now, &question, answer))
    }

    /// What is sent, held against what is here.
    fn weigh(&self, device: &str, pushed: &Pushed) -> Result<Weighed, Refusal> {
        let (head, _) = pushed.head.check().map_err(Refusal::Wrong)?;
        let end = pushed.from + pushed.events.len() as u64;
        if (head.log.as_str(), head.size) != (device, end) {
            let found = format!("size {} of {}", head.size, head.log);
            let right = format!("the head of {device} just after the last event, size {end}");
            return Err(Refusal::Wrong(Problem::at("head", "not the head of these events", right).value(found).into()));
        }
        let (leaves, named) = read_events(device, pushed)?;
        let empty = Log::default();
        let log = self.logs.get(device).unwrap_or(&empty);
        if pushed.from > log.size() {
            return Ok(Weighed::Gap(log.size()));
        }
        if let Some(seq) = log.first_other(pushed.from, &leaves) {
            return Ok(Weighed::Forked { seq });
        }
        let known = (log.size() - pushed.from).min(leaves.len() as u64) as usize;
        let sized = Sized { size: head.size, root: head.root };
        let root = if head.size <= log.size() { log.tree().root_at(head.size) } else { Some(log.with(&leaves[known..]).root) };
        if root != Some(head.root) {
            return Ok(Weighed::Forked { seq: pushed.from });
        }
        let receipted = self.members.get(device).and_then(|member| member.receipt.as_ref()).is_some_and(|(_, size, _)| *size >= end);
        if known == leaves.len() && receipted {
            return Ok(Weighed::Known);
        }
        Ok(Weighed::New { head: sized, leaves: leaves[known..].to_vec(), named })
    }

    /// The new events with their receipt, ready to be kept.
    fn batch(
        &mut self,
        now: Now,
        device: &str,
        pushed: &Pushed,
        sized: Sized,
        leaves: Vec<Hash>,
        named: Vec<Hash>,
    ) -> Result<(Batch, Vec<Lines>), Refusal> {
        if self.stale || self.keeping.values().any(|(_, keeping)| matches!(keeping, Keeping::Batch(_))) {
            return Err(Refusal::NotNow {});
        }
        if !self.logs.contains_key(device) && self.logs.len() >= MOST_LOGS {
            let problem = Problem::at("device", "too many devices in this job", format!("at most {MOST_LOGS} logs"));
            return Err(Refusal::Wrong(problem.into()));
        }
        let at = now.text().map_err(Refusal::Wrong)?;
        let receipt = Receipt::of(&pushed.head, at.clone(), pushed.clock).map_err(Refusal::Wrong)?.to_line();
        let jobs = &self.logs[&self.job];
        let index = jobs.size();
        let Sized { size, root } = jobs.with(&[Hash::leaf(receipt.as_bytes())]);
        let job_head = Head { log: self.job.clone(), size, root, at }.sign(&self.key);
        let first_new = pushed.events.len() - leaves.len();
        let events = Lines {
            log: device.into(),
            from: pushed.from + first_new as u64,
            entries: pushed.events[first_new..].iter().map(|event| event.clone().into_bytes()).collect(),
            head: Some(pushed.head.clone()),
        };
        let receipts =
            Lines { log: self.job.clone(), from: index, entries: vec![receipt.clone().into_bytes()], head: Some(job_head.clone()) };
        let batch = Batch {
            device: device.into(),
            leaves,
            named,
            receipt,
            index,
            size: sized.size,
            device_head: (sized, pushed.head.clone()),
            job_head: (Sized { size, root }, job_head),
        };
        Ok((batch, vec![events, receipts]))
    }

    fn forked(&mut self, now: Now, question: Question, device: &str, pushed: Pushed, seq: u64) -> Step {
        let Pushed { from, events, head, .. } = pushed;
        let kept = self.members.get(device).map_or(0, |member| member.evidence.len());
        let known = self.members.get(device).is_some_and(|member| member.evidence.contains(&head.head));
        if known || kept >= MOST_EVIDENCE {
            return Step::Answer(self.answer(now, &question, Said::Refused(Refusal::Forked { seq })));
        }
        let ticket = self.ticket(question, Keeping::Evidence { device: device.into(), head: head.head.clone(), seq });
        Step::KeepEvidence { ticket, evidence: Evidence { device: device.into(), seq, from, events, head } }
    }

    fn push_piece(&mut self, now: Now, question: Question, piece: PieceSent) -> Step {
        let PieceSent { hash, offset, of, bytes } = piece;
        let open = |keeping: &Keeping| matches!(keeping, Keeping::Piece { hash: other, .. } if *other == hash);
        // A part of another length was begun by somebody who meant another blob: it is begun anew.
        let have = self.parts.get(&hash).filter(|part| part.of == of).map_or(0, |part| part.have);
        let said = if self.blobs.contains_key(&hash) {
            Said::Blobs { blobs: vec![self.there(hash)] }
        } else if self.stale || self.keeping.values().any(|(_, keeping)| open(keeping)) {
            Said::Refused(Refusal::NotNow {})
        } else if !self.parts.contains_key(&hash) && self.parts.len() >= MOST_PARTS {
            Said::Refused(Refusal::TooMany {})
        } else if offset != have {
            Said::Blobs { blobs: vec![BlobThere { hash, have, whole: false }] }
        } else {
            let ticket = self.ticket(question, Keeping::Piece { hash, of });
            return Step::KeepPiece { ticket, piece: Piece { hash, offset, of, bytes } };
        };
        Step::Answer(self.answer(now, &question, said))
    }

    /// What became of [`Step::Keep`] or [`Step::KeepEvidence`]; `None` for a ticket that is not open.
    pub fn kept(&mut self, now: Now, ticket: Ticket, outcome: Result<(), NotKept>) -> Option<Answer> {
        if !matches!(self.keeping.get(&ticket), Some((_, Keeping::Batch(_) | Keeping::Evidence { .. }))) {
            return None;
        }
        let (question, keeping) = self.keeping.remove(&ticket)?;
        let said = match (outcome, keeping) {
            (Err(why), _) => self.not_kept(why),
            (Ok(()), Keeping::Batch(batch)) => {
                let device = batch.device.clone();
                self.take(*batch);
                self.acknowledged(&device)
            }
            (Ok(()), Keeping::Evidence { device, head, seq }) => {
                self.members.entry(device).or_default().evidence.insert(head);
                Said::Refused(Refusal::Forked { seq })
            }
            (Ok(()), Keeping::Piece { .. }) => return None,
        };
        Some(self.answer(now, &question, said))
    }

    /// A batch that is on the disk now.
    fn take(&mut self, batch: Batch) {
        let log = self.logs.entry(batch.device.clone()).or_default();
        batch.leaves.iter().for_each(|leaf| log.push(*leaf));
        log.take_head(batch.device_head.0, &batch.device_head.1);
        self.named.extend(batch.named);
        let jobs = self.job_log();
        jobs.push(Hash::leaf(batch.receipt.as_bytes()));
        jobs.take_head(batch.job_head.0, &batch.job_head.1);
        let member = self.members.entry(batch.device).or_default();
        member.receipt = Some((batch.index, batch.size, batch.receipt));
    }

    /// What became of [`Step::KeepPiece`]; `None` for a ticket that is not open.
    pub fn piece_kept(&mut self, now: Now, ticket: Ticket, outcome: PieceKept) -> Option<Answer> {
        let Some((_, Keeping::Piece { hash, of, .. })) = self.keeping.get(&ticket) else { return None };
        let (hash, of) = (*hash, *of);
        let (question, _) = self.keeping.remove(&ticket)?;
        let said = match outcome {
            PieceKept::Part(have) => {
                self.parts.insert(hash, Part { have, of });
                Said::Blobs { blobs: vec![self.there(hash)] }
            }
            PieceKept::Whole => {
                self.load_blob(hash, of);
                Said::Blobs { blobs: vec![self.there(hash)] }
            }
            PieceKept::NotItsName => {
                self.parts.remove(&hash);
                Said::Refused(Refusal::NotItsName { hash })
            }
            PieceKept::No(why) => self.not_kept(why),
        };
        Some(self.answer(now, &question, said))
    }

    fn not_kept(&mut self, why: NotKept) -> Said {
        self.stale |= why == NotKept::Unknown;
        Said::Refused(if why == NotKept::Full { Refusal::NoRoom {} } else { Refusal::NotNow {} })
    }

    /// How many entries of a log can be handed out from a place on: those that a head covers.
    fn readable(&self, log: &str, from: u64) -> u64 {
        let log = self.logs.get(log);
        let covered = log.and_then(|log| log.head.as_ref().map(|(head, _)| head.size.min(log.size()))).unwrap_or(0);
        covered.saturating_sub(from).min(MOST_ENTRIES as u64)
    }

    /// The entries that [`Step::ReadEntries`] asked for, or `None` when they could not be read. Entries that are not the ones
    /// that were logged are not handed on.
    pub fn entries_read(&self, now: Now, reading: EntriesReading, entries: Option<Vec<Vec<u8>>>) -> Answer {
        let EntriesReading { question, log, from, .. } = reading;
        let said = entries.and_then(|entries| self.page(&log, from, entries)).unwrap_or(Said::Refused(Refusal::NotNow {}));
        self.answer(now, &question, said)
    }

    fn page(&self, name: &str, from: u64, mut entries: Vec<Vec<u8>>) -> Option<Said> {
        fit(&mut entries);
        let log = self.logs.get(name)?;
        let (sized, head) = log.head.as_ref()?;
        let sound = (from..sized.size).zip(&entries).take_while(|(place, entry)| log.leaf(*place) == Some(Hash::leaf(entry)));
        let count = sound.count();
        entries.truncate(count);
        let entries: Vec<String> = entries.into_iter().map(String::from_utf8).collect::<Result<_, _>>().ok()?;
        let proof = log.tree().consistency(from + count as u64, sized.size).filter(|_| count > 0)?;
        Some(Said::Entries { log: name.into(), from, entries, head: Some(head.clone()), proof })
    }

    /// The bytes that [`Step::ReadPiece`] asked for, or `None` when they could not be read.
    pub fn piece_read(&self, now: Now, reading: PieceReading, bytes: Option<Vec<u8>>) -> Answer {
        let PieceReading { question, hash, offset, of } = reading;
        let fits = |bytes: &Vec<u8>| {
            let end = offset + bytes.len() as u64;
            bytes.len() <= MOST_PIECE_BYTES && end <= of && (!bytes.is_empty() || of == 0)
        };
        let said = match bytes.filter(fits) {
            Some(bytes) => Said::Piece(PieceSent { hash, offset, of, bytes }),
            None => Said::Refused(Refusal::NotNow {}),
        };
        self.answer(now, &question, said)
    }

    fn acknowledged(&self, device: &str) -> Said {
        let receipt = self.members.get(device).and_then(|member| member.receipt.as_ref());
        let jobs = &self.logs[&self.job];
        // The signed head may lag behind receipts that came in otherwise; a receipt it does not cover is not shown yet.
        let covered = jobs.head.as_ref().map_or(0, |(head, _)| head.size);
        let shown = receipt.and_then(|(index, _, line)| Some((*index, line, jobs.tree().inclusion(*index, covered)?)));
        match shown {
            Some((index, line, inclusion)) => Said::Acknowledged { receipt: line.clone(), index, inclusion },
            None => Said::Refused(Refusal::NotNow {}),
        }
    }

    fn there(&self, hash: Hash) -> BlobThere {
        match self.blobs.get(&hash) {
            Some(&of) => BlobThere { hash, have: of, whole: true },
            None => BlobThere { hash, have: self.parts.get(&hash).map_or(0, |part| part.have), whole: false },
        }
    }

    fn ticket(&mut self, question: Question, keeping: Keeping) -> Ticket {
        self.tickets += 1;
        let ticket = Ticket(self.tickets);
        self.keeping.insert(ticket, (question, keeping));
        ticket
    }

    fn answer(&self, now: Now, question: &Question, said: Said) -> Answer {
        let jobs = &self.logs[&self.job];
        let head = jobs.head.as_ref();
        let proof = head.and_then(|(head, _)| jobs.tree().consistency(question.since, head.size)).unwrap_or_default();
        Answer {
            v: VERSION,
            job: self.job.clone(),
            no: question.no,
            since: question.since,
            received_ms: question.received_ms,
            answered_ms: now.wall_ms,
            head: head.map(|(_, signed)| signed.clone()),
            proof,
            said,
        }
    }
}

/// A push taken apart.
struct Pushed {
    from: u64,
    events: Vec<String>,
    head: SignedHead,
    clock: Option<Clock>,
}

/// A push held against the log.
enum Weighed {
    Gap(u64),
    Known,
    Forked { seq: u64 },
    New { head: Sized, leaves: Vec<Hash>, named: Vec<Hash> },
}

/// The leaves of the events and the blobs they name, if each is an event of this device at its place.
fn read_events(device: &str, pushed: &Pushed) -> Result<(Vec<Hash>, Vec<Hash>), Refusal> {
    let mut wrong = Problems::new();
    let mut leaves = Vec::with_capacity(pushed.events.len());
    let mut named = Vec::new();
    for (i, text) in pushed.events.iter().enumerate() {
        let seq = pushed.from + i as u64;
        match Event::read(text.as_bytes()) {
            Ok(event) if (event.device.as_str(), event.seq) == (device, seq) => {
                leaves.push(Hash::leaf(text.as_bytes()));
                named.extend(event.blobs);
            }
            Ok(event) => {
                let found = format!("event {} of {}", event.seq, event.device);
                let right = format!("event {seq} of {device}");
                wrong.push(Problem::at(format!("events[{i}]"), "another log or place than it is sent for", right).value(found));
            }
            Err(problems) => wrong.extend(within(&format!("events[{i}]"), problems)),
        }
    }
    wrong.or((leaves, named)).map_err(Refusal::Wrong)
}

/// The same problems, said of a field of a larger message.
pub(crate) fn within(place: &str, mut problems: Problems) -> Problems {
    for problem in &mut problems.problems {
        problem.field = if problem.field.is_empty() { place.into() } else { format!("{place}.{}", problem.field) };
    }
    problems
}
