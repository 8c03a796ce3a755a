//! A device's end: makes events, asks, and says what is kept where.

use crate::clock::{Exchange, Measured, Now};
use crate::limits::*;
use crate::log::Log;
use crate::message::{Answer, Ask, BlobThere, LogSize, PieceSent, Refusal, Said, What};
use crate::site::within;
use crate::{Lines, NotKept, Piece, PieceKept, Ticket};
use ledger::event::Place;
use ledger::tree::{Sized, is_consistent, is_included};
use ledger::{Draft, Event, EventBytes, Hash, Head, Key, PublicKey, Receipt, SignedHead, id};
use measure::{Problem, Problems};
use std::collections::{BTreeMap, BTreeSet};

/// One job's record on a device, as it stands on the disk: what the disk does not hold yet is not in here, and is neither
/// sent nor spoken of.
#[derive(Debug)]
pub struct Device {
    key: Key,
    me: String,
    job: String,
    site: PublicKey,
    /// My own log, the other devices' and, under the job's id, the job log.
    logs: BTreeMap<String, Log>,
    /// Events of my log that the site record has acknowledged, the receipt kept here.
    acknowledged: u64,
    /// The largest proven head of the job log.
    known: Option<(Sized, SignedHead)>,
    blobs: Blobs,
    /// What the site record said it has; what it says is believed only as a hint of what to ask for.
    there: BTreeMap<String, u64>,
    greeted: bool,
    /// Number of the first question since [`Device::greet`].
    first: u64,
    revoked: Option<u64>,
    forked: Option<u64>,
    fault: Option<Fault>,
    clock: Option<Measured>,
    asked: BTreeMap<u64, Now>,
    numbers: u64,
    tickets: u64,
    keeping: BTreeMap<Ticket, Keeping>,
}

/// Blobs as a device sees them.
#[derive(Debug, Default)]
struct Blobs {
    /// Whole here, with their bytes.
    here: BTreeMap<Hash, u64>,
    /// The beginning here.
    parts: BTreeMap<Hash, u64>,
    /// Named by my events, with the place of the first that names it.
    mine: BTreeMap<Hash, u64>,
    /// The blobs each of my events names.
    names: BTreeMap<u64, Vec<Hash>>,
    /// Mine, and whole at the site, as it said in this run.
    on_site: BTreeSet<Hash>,
    /// Mine, here, and not known to be whole at the site; with how much of it is there, once that is known.
    unsent: BTreeMap<Hash, Option<u64>>,
    /// Named by some event and not here.
    wanted: BTreeSet<Hash>,
    /// Wanted, and the site record did not have it when it was last asked.
    absent: BTreeSet<Hash>,
}

impl Blobs {
    fn name(&mut self, hash: Hash, mine: Option<u64>) {
        let here = self.here.contains_key(&hash);
        if !here {
            self.wanted.insert(hash);
        }
        if let Some(place) = mine {
            self.names.entry(place).or_default().push(hash);
        }
        if let Some(place) = mine
            && !self.mine.contains_key(&hash)
        {
            self.mine.insert(hash, place);
            if here {
                self.unsent.insert(hash, None);
            }
        }
    }

    fn came(&mut self, hash: Hash, bytes: u64) {
        self.parts.remove(&hash);
        self.wanted.remove(&hash);
        self.absent.remove(&hash);
        self.here.insert(hash, bytes);
    }
}

#[derive(Debug)]
enum Keeping {
    Mine(Vec<EventBytes>),
    Log { log: String, leaves: Vec<Hash>, named: Vec<(Hash, u64)>, head: (Sized, SignedHead) },
    Piece { hash: Hash, of: u64 },
    Receipt { size: u64 },
}

/// What a device would ask next.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Wish {
    /// How far the site record is.
    Hello,
    /// Send events of my log from here on: hand in at most `count` to [`Device::ask`].
    Push {
        /// Place of the first.
        from: u64,
        /// How many there are to send.
        count: u64,
    },
    /// Ask how much of these blobs is there.
    Offer {
        /// Names.
        blobs: Vec<Hash>,
    },
    /// Send a piece of a blob: hand in its bytes from `offset` on.
    PushBlob {
        /// Name.
        hash: Hash,
        /// Where it goes on.
        offset: u64,
        /// Bytes of the whole blob.
        of: u64,
    },
    /// Fetch entries of a log.
    Pull {
        /// Whose.
        log: String,
        /// From here on.
        from: u64,
    },
    /// Fetch a piece of a blob.
    PullBlob {
        /// Name.
        hash: Hash,
        /// Where it goes on.
        offset: u64,
    },
}

/// What the shell hands in with a wish.
#[derive(Clone, Debug)]
pub enum Handed {
    /// Nothing is needed.
    Nothing,
    /// The events for [`Wish::Push`].
    Entries(Vec<Vec<u8>>),
    /// The bytes for [`Wish::PushBlob`].
    Bytes(Vec<u8>),
}

/// What an answer leads to.
#[derive(Clone, Debug, PartialEq)]
pub enum Effect {
    /// Keep these entries and head, all or nothing; then [`Device::kept`].
    KeepLog {
        /// To be handed back.
        ticket: Ticket,
        /// They.
        lines: Lines,
    },
    /// Keep this piece, which begins where the kept part ends (at 0: anew). With its last piece check the blob against its
    /// name. Then [`Device::piece_kept`].
    KeepPiece {
        /// To be handed back.
        ticket: Ticket,
        /// It.
        piece: Piece,
    },
    /// Keep this receipt; then [`Device::kept`].
    KeepReceipt {
        /// To be handed back.
        ticket: Ticket,
        /// An entry of the job log.
        receipt: String,
        /// Its place there.
        index: u64,
    },
    /// Keep this head of the job log, in place of the one before: the site record can't go back behind it unnoticed.
    KeepKnown(SignedHead),
    /// Tell the person.
    Tell(Notice),
}

/// What the person is told.
#[derive(Clone, Debug, PartialEq)]
pub enum Notice {
    /// My events up to this size are kept on this device.
    KeptHere {
        /// Events.
        size: u64,
    },
    /// My events up to this size are kept on the site record, too.
    KeptOnSite {
        /// Events.
        size: u64,
    },
    /// A blob of mine is kept on the site record.
    BlobOnSite(Hash),
    /// Entries of a log came in and are kept here.
    CameIn {
        /// Whose.
        log: String,
        /// Its size here.
        size: u64,
    },
    /// A blob came in and is kept here.
    BlobHere(Hash),
    /// It could not be kept on this device.
    NotKeptHere(NotKept),
    /// The site record's disk is full; it will be asked again.
    SiteFull,
    /// The site record does not know this device.
    NotPaired,
    /// This device was revoked.
    Revoked {
        /// Its events that the site record keeps.
        kept: u64,
        /// When.
        at: String,
        /// Why.
        why: String,
    },
    /// This device's log was continued twice, from a copy or a backup. It must go on as a new device; what it made since is
    /// here and can be handed over as a bundle.
    Forked {
        /// Where.
        seq: u64,
    },
    /// The site record shows another history than the one it signed. Nothing is sent or believed until somebody decides.
    SiteRewrote(Fault),
    /// A log that came in is not what its device signed; it was not kept.
    LogUnsound {
        /// Whose.
        log: String,
        /// What is wrong.
        problems: Problems,
    },
    /// A blob that came in, or that was sent, is not what its name says.
    BlobUnsound(Hash),
    /// This device's clock was set by so much since it was last compared; times in between are uncertain by as much.
    ClockSet {
        /// Milliseconds.
        by_ms: f64,
    },
    /// An answer is not as it must be.
    Wrong(Problems),
}

/// How the site record's history fails, with what proves it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// In words.
    pub what: String,
    /// The head it had signed.
    pub known: SignedHead,
    /// The head it shows now, if any.
    pub shown: Option<SignedHead>,
}

/// Where an event of this device is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Standing {
    /// Not known to be on any disk.
    NotKept,
    /// On this device.
    OnThisDevice,
    /// On the site record too, but not yet all its blobs.
    WithoutBlobs,
    /// On the site record with all its blobs.
    OnSiteRecord,
}

impl Device {
    /// A device with nothing in it yet. `site` is the key that signs the job log, known from pairing; `random` keeps answers
    /// to questions of an earlier run apart from those of this one.
    pub fn new(key: Key, job: impl Into<String>, site: PublicKey, random: u64) -> Self {
        let (me, job) = (key.public().device(), job.into());
        Self {
            logs: BTreeMap::from([(me.clone(), Log::default()), (job.clone(), Log::default())]),
            key,
            me,
            job,
            site,
            acknowledged: 0,
            known: None,
            blobs: Blobs::default(),
            there: BTreeMap::new(),
            greeted: false,
            first: random,
            revoked: None,
            forked: None,
            fault: None,
            clock: None,
            asked: BTreeMap::new(),
            numbers: random,
            tickets: 0,
            keeping: BTreeMap::new(),
        }
    }

    /// Entry of a log that is on the disk, the next of that log: its leaf hash and the blobs it names.
    pub fn load_entry(&mut self, log: &str, leaf: Hash, blobs: &[Hash]) {
        let state = self.logs.entry(log.into()).or_default();
        let place = state.size();
        state.push(leaf);
        let mine = (log == self.me).then_some(place);
        blobs.iter().for_each(|hash| self.blobs.name(*hash, mine));
    }

    /// A blob that is whole on the disk: one that came in before, or a photograph just taken.
    pub fn load_blob(&mut self, hash: Hash, bytes: u64) {
        self.blobs.came(hash, bytes);
        if self.blobs.mine.contains_key(&hash) && !self.blobs.on_site.contains(&hash) {
            self.blobs.unsent.entry(hash).or_insert(None);
        }
    }

    /// The beginning of a blob on the disk.
    pub fn load_part(&mut self, hash: Hash, have: u64) {
        self.blobs.parts.insert(hash, have);
    }

    /// The head of [`Effect::KeepKnown`], from the disk.
    pub fn load_known(&mut self, signed: SignedHead) -> Result<(), Problems> {
        let head = signed.read_head()?;
        self.known = Some((Sized { size: head.size, root: head.root }, signed));
        Ok(())
    }

    /// A receipt of [`Effect::KeepReceipt`], from the disk; after the entries of my log.
    pub fn load_receipt(&mut self, line: &str) -> Result<(), Problems> {
        let receipt = Receipt::read(line.as_bytes())?;
        if receipt.device == self.me && self.mine().tree().root_at(receipt.size) == Some(receipt.root) {
            self.acknowledged = self.acknowledged.max(receipt.size);
        }
        Ok(())
    }

    /// The clock as it was measured in an earlier run.
    pub fn load_clock(&mut self, measured: Measured) {
        self.clock = Some(measured);
    }

    /// The device id.
    pub fn id(&self) -> &str {
        &self.me
    }

    /// Each log here with its size, by name.
    pub fn sizes(&self) -> Vec<LogSize> {
        self.logs.iter().map(|(log, state)| LogSize { log: log.clone(), size: state.size() }).collect()
    }

    /// How far the clock is off, once measured.
    pub fn clock(&self) -> Option<Measured> {
        self.clock
    }

    /// The largest proven head of the job log: an anchor to print in a dossier.
    pub fn known(&self) -> Option<&SignedHead> {
        self.known.as_ref().map(|(_, signed)| signed)
    }

    /// How the site record's history failed, if it did.
    pub fn fault(&self) -> Option<&Fault> {
        self.fault.as_ref()
    }

    /// Where my log was continued twice, as the site record found: nothing more of it is sent.
    pub fn forked(&self) -> Option<u64> {
        self.forked
    }

    /// Takes the site record as it is now, after a person decided so: it was restored from a backup, say. All of my events
    /// are sent again.
    pub fn trust_anew(&mut self) {
        self.fault = None;
        self.known = None;
        self.acknowledged = 0;
        self.there.clear();
        self.greet();
        self.blobs.on_site.clear();
        self.blobs.unsent = self.blobs.mine.keys().filter(|hash| self.blobs.here.contains_key(*hash)).map(|hash| (*hash, None)).collect();
    }

    fn mine(&self) -> &Log {
        &self.logs[&self.me]
    }

    /// Makes the next events of my log; they are to be kept, all or nothing, and [`Device::kept`] called. Clock and what was
    /// seen of other devices are filled in. One call is open at a time.
    ///
    /// `id` is a version 7 UUID for each ([`ledger::id::uuid_v7`]). The blobs an event names must be here.
    pub fn add(&mut self, now: Now, drafts: Vec<(String, Draft)>) -> Result<(Ticket, Vec<EventBytes>), Problems> {
        let mut wrong = Problems::new();
        let mine = |keeping: &Keeping| match keeping {
            Keeping::Log { log, .. } => *log == self.me,
            other => matches!(other, Keeping::Mine(_)),
        };
        if self.keeping.values().any(mine) {
            wrong.push(Problem::at("", "the events before are not kept yet", "one at a time"));
        }
        let mut events = Vec::with_capacity(drafts.len());
        for (i, (id, mut draft)) in drafts.into_iter().enumerate() {
            draft.clock = self.clock.map(|measured| measured.clock(now.wall_ms));
            draft.seen = self.seen();
            for hash in draft.blobs.iter().filter(|hash| !self.blobs.here.contains_key(hash)) {
                wrong.push(Problem::at(format!("events[{i}].blobs"), "not kept on this device", "keep the blob first").value(hash));
            }
            match draft.make(id, Place { device: self.me.clone(), seq: self.mine().size() + i as u64 }) {
                Ok(event) => events.push(event),
                Err(problems) => wrong.extend(within(&format!("events[{i}]"), problems)),
            }
        }
        let events = wrong.or(events)?;
        Ok((self.ticket(Keeping::Mine(events.clone())), events))
    }

    fn seen(&self) -> BTreeMap<String, u64> {
        let others = self.logs.iter().filter(|(log, state)| id::is_device(log) && **log != self.me && state.size() > 0);
        others.take(ledger::event::MOST_SEEN).map(|(log, state)| (log.clone(), state.size())).collect()
    }

    /// Where an event of mine is kept. After a start its blobs count as not there until the site record was asked again.
    pub fn standing(&self, seq: u64) -> Standing {
        if seq >= self.mine().size() {
            return Standing::NotKept;
        }
        if seq >= self.acknowledged {
            return Standing::OnThisDevice;
        }
        let open = self.blobs.names.get(&seq).into_iter().flatten().any(|hash| !self.blobs.on_site.contains(hash));
        if open { Standing::WithoutBlobs } else { Standing::OnSiteRecord }
    }

    /// The next question is how far the site record is: when reception comes back, and now and then.
    pub fn greet(&mut self) {
        self.greeted = false;
        self.first = self.numbers;
        self.blobs.absent.clear();
    }

    /// What would be asked next, the most useful first; nothing when device and site record are in step. The shell may take
    /// them in any order, several at once, and again after a failure.
    pub fn wishes(&self) -> Vec<Wish> {
        let mut wishes = Vec::new();
        if self.fault.is_some() {
            return wishes;
        }
        if !self.greeted && self.revoked.is_none() {
            wishes.push(Wish::Hello);
        }
        let to = self.revoked.unwrap_or(u64::MAX).min(self.mine().size());
        if self.acknowledged < to && self.forked.is_none() {
            let from = self.there.get(&self.me).copied().unwrap_or(self.acknowledged).min(to - 1);
            wishes.push(Wish::Push { from, count: (to - from).min(MOST_ENTRIES as u64) });
        }
        if self.revoked.is_none() {
            wishes.extend(self.behind());
        }
        wishes.extend(self.blobs_to_send());
        if self.revoked.is_none() {
            let wanted = self.blobs.wanted.difference(&self.blobs.absent).take(16);
            wishes.extend(wanted.map(|hash| Wish::PullBlob { hash: *hash, offset: self.blobs.parts.get(hash).copied().unwrap_or(0) }));
        }
        wishes
    }

    /// Logs of which the site record has more.
    fn behind(&self) -> impl Iterator<Item = Wish> {
        let size = |log: &String| self.logs.get(log).map_or(0, Log::size);
        let goes_on = |log: &String| self.forked.is_none() || *log != self.me;
        let more = self.there.iter().filter(move |(log, there)| **there > size(log) && goes_on(log));
        more.map(move |(log, _)| Wish::Pull { log: log.clone(), from: size(log) })
    }

    /// Blobs of mine, those of events that a revocation left out aside.
    fn blobs_to_send(&self) -> Vec<Wish> {
        let kept = self.revoked.unwrap_or(u64::MAX);
        let stays = |hash: &&Hash| self.blobs.mine.get(*hash).is_some_and(|place| *place < kept);
        let unasked = self.blobs.unsent.iter().filter(|(_, there)| there.is_none()).map(|(hash, _)| hash);
        let offer: Vec<Hash> = unasked.filter(stays).take(MOST_OFFERED).copied().collect();
        let mut wishes = Vec::new();
        if !offer.is_empty() {
            wishes.push(Wish::Offer { blobs: offer });
        }
        let open = self.blobs.unsent.iter().filter_map(|(hash, there)| Some((hash, (*there)?)));
        for (hash, offset) in open.filter(|(hash, _)| stays(hash)).take(16) {
            let of = self.blobs.here[hash];
            // More than there is: the part there is of something else and is begun anew.
            wishes.push(Wish::PushBlob { hash: *hash, offset: if offset < of { offset } else { 0 }, of });
        }
        wishes
    }

    /// The question for a wish. Events that are handed in must be those of the log; more than fit are left for the next time.
    pub fn ask(&mut self, now: Now, wish: &Wish, handed: Handed) -> Result<Ask, Problems> {
        let what = match (wish, handed) {
            (Wish::Hello, _) => What::Hello {},
            (Wish::Push { from, count }, Handed::Entries(entries)) => self.push(now, *from, *count, entries)?,
            (Wish::Offer { blobs }, _) => What::Offer { blobs: blobs.clone() },
            (Wish::PushBlob { hash, offset, of }, Handed::Bytes(mut bytes)) => {
                bytes.truncate(MOST_PIECE_BYTES);
                What::PushBlob(PieceSent { hash: *hash, offset: *offset, of: *of, bytes })
            }
            (Wish::Pull { log, from }, _) => What::Pull { log: log.clone(), from: *from },
            (Wish::PullBlob { hash, offset }, _) => What::PullBlob { hash: *hash, offset: *offset },
            (Wish::Push { .. } | Wish::PushBlob { .. }, _) => {
                return Err(Problem::at("handed", "not what is to be sent", "the events, or the bytes of the blob").into());
            }
        };
        let no = self.numbers;
        let since = self.known.as_ref().map_or(0, |(sized, _)| sized.size);
        let ask = Ask { v: VERSION, job: self.job.clone(), no, since, what };
        ask.check()?;
        self.numbers = self.numbers.wrapping_add(1);
        self.asked.insert(no, now);
        if self.asked.len() > MOST_ASKED {
            self.asked.pop_first();
        }
        Ok(ask)
    }

    fn push(&self, now: Now, from: u64, count: u64, mut entries: Vec<Vec<u8>>) -> Result<What, Problems> {
        entries.truncate(usize::try_from(count).unwrap_or(usize::MAX));
        fit(&mut entries);
        let leaves: Vec<Hash> = entries.iter().map(|entry| Hash::leaf(entry)).collect();
        let size = from + leaves.len() as u64;
        let unsound = self.mine().first_other(from, &leaves).or((size > self.mine().size()).then_some(self.mine().size()));
        if let Some(place) = unsound {
            let what = "not the event that was kept; it is not sent";
            return Err(Problem::at(format!("event {place}"), what, "the event as it was made; verify this device's record").into());
        }
        let root = self.mine().tree().root_at(size).expect("no more than the log has");
        let head = Head { log: self.me.clone(), size, root, at: now.text()? }.sign(&self.key);
        let text = |entry: Vec<u8>| String::from_utf8(entry).map_err(|_| Problem::at("events", "not UTF-8", "an event").into());
        let events = entries.into_iter().map(text).collect::<Result<_, Problems>>()?;
        Ok(What::Push { from, events, head, clock: self.clock.map(|measured| measured.clock(now.wall_ms)) })
    }

    /// An answer, also one that comes late or again.
    pub fn answer(&mut self, now: Now, answer: &Answer) -> Vec<Effect> {
        let mut effects = Vec::new();
        let wrong = answer
            .check()
            .err()
            .or_else(|| (answer.job != self.job).then(|| Problem::at("job", "another job", &self.job).value(&answer.job).into()));
        if let Some(problems) = wrong {
            return vec![Effect::Tell(Notice::Wrong(problems))];
        }
        if self.fault.is_some() {
            return effects;
        }
        let asked = self.asked.remove(&answer.no);
        if let Some(asked) = asked {
            self.compare_clocks(
                Exchange { asked, received_ms: answer.received_ms, answered_ms: answer.answered_ms, back: now },
                &mut effects,
            );
        }
        match self.follow(answer) {
            Followed::Late => return effects,
            Followed::Same => {}
            Followed::Grown(head) => effects.push(Effect::KeepKnown(head)),
            Followed::Wrong(problems) => effects.push(Effect::Tell(Notice::Wrong(problems))),
            Followed::Fault(fault) => {
                self.fault = Some(fault.clone());
                effects.push(Effect::Tell(Notice::SiteRewrote(fault)));
            }
        }
        if self.fault.is_none() && !matches!(effects.last(), Some(Effect::Tell(Notice::Wrong(_)))) {
            // What was asked before the last greeting may be answered late: that does not know what came in since.
            let fresh = asked.is_some() && answer.no.wrapping_sub(self.first) < u64::MAX / 2;
            self.hear(answer, fresh, &mut effects);
        }
        effects
    }

    fn compare_clocks(&mut self, exchange: Exchange, effects: &mut Vec<Effect>) {
        let Some(later) = exchange.measure() else { return };
        let Some(known) = self.clock else {
            self.clock = Some(later);
            return;
        };
        let (better, set) = known.then(later);
        self.clock = Some(better);
        effects.extend(set.map(|by_ms| Effect::Tell(Notice::ClockSet { by_ms })));
    }

    /// Whether the job log only grew since the head that is known. An answer to a question asked before that head was known
    /// proves nothing about it and is left; the question is asked again.
    fn follow(&mut self, answer: &Answer) -> Followed {
        let empty = Sized { size: 0, root: Hash::of(b"") };
        let known = self.known.as_ref().map_or(empty, |(sized, _)| *sized);
        let fault = |what: &str, shown: Option<&SignedHead>| match &self.known {
            Some((_, known)) => Followed::Fault(Fault { what: what.into(), known: known.clone(), shown: shown.cloned() }),
            None => Followed::Late,
        };
        if answer.since > known.size {
            return Followed::Late;
        }
        let Some(signed) = &answer.head else {
            return match (answer.since, known.size) {
                (0, 0) => Followed::Same,
                (0, _) => Followed::Late,
                _ => fault("the job log is empty and was not", None),
            };
        };
        if self.known().is_some_and(|head| head == signed) {
            return Followed::Same;
        }
        let head = match signed.check() {
            Ok((head, key)) if key == self.site && head.log == self.job => head,
            Ok(_) => {
                return Followed::Wrong(Problem::at("head", "not signed by this job's site record", "the key known from pairing").into());
            }
            Err(problems) => return Followed::Wrong(within("head", problems)),
        };
        let shown = Sized { size: head.size, root: head.root };
        if shown.size < answer.since {
            return fault("the job log is shorter than it was", Some(signed));
        }
        if shown.size == known.size && known.size > 0 {
            return if shown == known { Followed::Same } else { fault("two job logs of one size", Some(signed)) };
        }
        if shown.size < known.size || answer.since < known.size {
            return Followed::Late;
        }
        if !is_consistent(&known, &shown, &answer.proof) {
            return fault("the job log is not a continuation of what it was", Some(signed));
        }
        self.known = Some((shown, signed.clone()));
        Followed::Grown(signed.clone())
    }

    fn hear(&mut self, answer: &Answer, fresh: bool, effects: &mut Vec<Effect>) {
        match &answer.said {
            Said::Logs { logs } => {
                self.greeted |= fresh;
                self.there.entry(self.me.clone()).or_insert(0);
                for LogSize { log, size } in logs {
                    let there = self.there.entry(log.clone()).or_default();
                    *there = (*size).max(*there);
                }
            }
            Said::Acknowledged { receipt, index, inclusion } => match self.check_receipt(receipt, *index, inclusion) {
                Ok(size) => self.acknowledge(size, receipt, *index, effects),
                Err(problems) => effects.push(Effect::Tell(Notice::Wrong(problems))),
            },
            Said::Goon { size } => {
                self.there.insert(self.me.clone(), *size);
            }
            Said::Blobs { blobs } => blobs.iter().for_each(|blob| self.blob_there(blob, fresh, effects)),
            Said::Entries { log, from, entries, head, proof } => match self.came(log, *from, entries, head.as_ref(), proof) {
                Ok(lines) => effects.extend(lines),
                Err(problems) => effects.push(Effect::Tell(Notice::LogUnsound { log: log.clone(), problems })),
            },
            Said::Piece(piece) => effects.extend(self.piece_came(piece)),
            Said::Refused(refusal) => self.refused(refusal, effects),
        }
    }

    /// The size that a receipt acknowledges, if it stands in the proven job log and says what my log is.
    fn check_receipt(&self, line: &str, index: u64, inclusion: &[Hash]) -> Result<u64, Problems> {
        let receipt = Receipt::read(line.as_bytes())?;
        let wrong = |what: &str, right: &str| Err(Problem::at("receipt", what, right).value(line).into());
        let Some((known, _)) = &self.known else { return wrong("no head of the job log", "a signed head with each receipt") };
        if !is_included(&Hash::leaf(line.as_bytes()), index, known.size, inclusion, &known.root) {
            return wrong("does not stand in the job log", "a receipt with its proof");
        }
        if receipt.device != self.me {
            return wrong("another device's", "mine");
        }
        let mine = self.mine();
        if receipt.size <= mine.size() && mine.tree().root_at(receipt.size) != Some(receipt.root) {
            return wrong("says another log than mine", "the root of my log");
        }
        Ok(receipt.size)
    }

    fn acknowledge(&mut self, size: u64, receipt: &str, index: u64, effects: &mut Vec<Effect>) {
        self.there.entry(self.me.clone()).and_modify(|there| *there = size.max(*there)).or_insert(size);
        let open = self.keeping.values().any(|keeping| matches!(keeping, Keeping::Receipt { size: other } if *other >= size));
        if size <= self.acknowledged || size > self.mine().size() || open {
            return;
        }
        let ticket = self.ticket(Keeping::Receipt { size });
        effects.push(Effect::KeepReceipt { ticket, receipt: receipt.into(), index });
    }

    fn blob_there(&mut self, blob: &BlobThere, fresh: bool, effects: &mut Vec<Effect>) {
        let BlobThere { hash, have, whole } = blob;
        if *whole && self.blobs.unsent.remove(hash).is_some() {
            self.blobs.on_site.insert(*hash);
            effects.push(Effect::Tell(Notice::BlobOnSite(*hash)));
        } else if let Some(there) = self.blobs.unsent.get_mut(hash) {
            *there = Some(*have);
        } else if fresh && !whole && self.blobs.wanted.contains(hash) {
            self.blobs.absent.insert(*hash);
        }
    }

    /// Entries that go on where the log ends here, if they are what the head says; earlier and later ones are left.
    fn came(
        &mut self,
        name: &str,
        from: u64,
        entries: &[String],
        signed: Option<&SignedHead>,
        proof: &[Hash],
    ) -> Result<Option<Effect>, Problems> {
        let empty = Log::default();
        let log = self.logs.get(name).unwrap_or(&empty);
        let open = self.keeping.values().any(|keeping| match keeping {
            Keeping::Log { log, .. } => log == name,
            Keeping::Mine(_) => name == self.me,
            _ => false,
        });
        let (false, Some(signed)) = (open || entries.is_empty() || from != log.size(), signed) else { return Ok(None) };
        if !self.logs.contains_key(name) && self.logs.len() >= MOST_LOGS {
            return Err(Problem::at("log", "too many logs", format!("at most {MOST_LOGS}")).into());
        }
        let (head, key) = signed.check()?;
        let signer = if name == self.job { key == self.site } else { id::is_device(name) };
        if head.log != name || !signer {
            return Err(Problem::at("head", "another log's", name).value(&head.log).into());
        }
        let leaves: Vec<Hash> = entries.iter().map(|entry| Hash::leaf(entry.as_bytes())).collect();
        let sized = Sized { size: head.size, root: head.root };
        if !is_consistent(&log.with(&leaves), &sized, proof) {
            return Err(Problem::at("entries", "not those of the log that was signed", "entries that the head covers").into());
        }
        let named = self.read_entries(name, from, entries)?;
        let lines = Lines {
            log: name.into(),
            from,
            entries: entries.iter().map(|entry| entry.clone().into_bytes()).collect(),
            head: Some(signed.clone()),
        };
        let ticket = self.ticket(Keeping::Log { log: name.into(), leaves, named, head: (sized, signed.clone()) });
        Ok(Some(Effect::KeepLog { ticket, lines }))
    }

    /// The blobs that the entries name, with the place of the event, if each is what its log holds.
    fn read_entries(&self, name: &str, from: u64, entries: &[String]) -> Result<Vec<(Hash, u64)>, Problems> {
        let mut named = Vec::new();
        for (place, text) in (from..).zip(entries) {
            if name == self.job {
                Receipt::read(text.as_bytes())?;
                continue;
            }
            let event = Event::read(text.as_bytes())?;
            if (event.device.as_str(), event.seq) != (name, place) {
                let found = format!("event {} of {}", event.seq, event.device);
                return Err(Problem::at("entries", "another log or place", format!("event {place} of {name}")).value(found).into());
            }
            named.extend(event.blobs.into_iter().map(|hash| (hash, place)));
        }
        Ok(named)
    }

    fn piece_came(&mut self, piece: &PieceSent) -> Option<Effect> {
        let PieceSent { hash, offset, of, bytes } = piece;
        let have = self.blobs.parts.get(hash).copied().unwrap_or(0);
        let open = self.keeping.values().any(|keeping| matches!(keeping, Keeping::Piece { hash: other, .. } if other == hash));
        if open || *offset != have || !self.blobs.wanted.contains(hash) {
            return None;
        }
        let ticket = self.ticket(Keeping::Piece { hash: *hash, of: *of });
        let piece = Piece { hash: *hash, offset: *offset, of: *of, bytes: bytes.clone() };
        Some(Effect::KeepPiece { ticket, piece })
    }

    fn refused(&mut self, refusal: &Refusal, effects: &mut Vec<Effect>) {
        let notice = match refusal {
            Refusal::NotNow {} | Refusal::TooMany {} => return,
            Refusal::NotPaired {} => Notice::NotPaired,
            Refusal::Revoked { kept, at, why } => {
                if self.revoked.replace(*kept) == Some(*kept) {
                    return;
                }
                Notice::Revoked { kept: *kept, at: at.clone(), why: why.clone() }
            }
            Refusal::Forked { seq } => {
                if self.forked.replace(*seq).is_some() {
                    return;
                }
                Notice::Forked { seq: *seq }
            }
            Refusal::NoRoom {} => Notice::SiteFull,
            Refusal::NotItsName { hash } => {
                self.blobs.unsent.entry(*hash).and_modify(|there| *there = None);
                Notice::BlobUnsound(*hash)
            }
            Refusal::Wrong(problems) => Notice::Wrong(problems.clone()),
        };
        effects.push(Effect::Tell(notice));
    }

    /// What became of [`Device::add`], [`Effect::KeepLog`] or [`Effect::KeepReceipt`]. After [`NotKept::Unknown`] the device
    /// must be made anew from what the disk holds.
    pub fn kept(&mut self, ticket: Ticket, outcome: Result<(), NotKept>) -> Vec<Effect> {
        if matches!(self.keeping.get(&ticket), None | Some(Keeping::Piece { .. })) {
            return Vec::new();
        }
        let Some(keeping) = self.keeping.remove(&ticket) else { return Vec::new() };
        let notice = match (outcome, keeping) {
            (Err(why), _) => Notice::NotKeptHere(why),
            (Ok(()), Keeping::Mine(events)) => {
                let me = self.me.clone();
                for event in &events {
                    self.load_entry(&me, event.leaf(), &event.event().blobs);
                }
                Notice::KeptHere { size: self.mine().size() }
            }
            (Ok(()), Keeping::Log { log, leaves, named, head }) => {
                let state = self.logs.entry(log.clone()).or_default();
                leaves.iter().for_each(|leaf| state.push(*leaf));
                state.take_head(head.0, &head.1);
                let size = state.size();
                let mine = log == self.me;
                named.into_iter().for_each(|(hash, place)| self.blobs.name(hash, mine.then_some(place)));
                Notice::CameIn { log, size }
            }
            (Ok(()), Keeping::Receipt { size }) => {
                self.acknowledged = self.acknowledged.max(size);
                Notice::KeptOnSite { size: self.acknowledged }
            }
            (Ok(()), Keeping::Piece { .. }) => return Vec::new(),
        };
        vec![Effect::Tell(notice)]
    }

    /// What became of [`Effect::KeepPiece`].
    pub fn piece_kept(&mut self, ticket: Ticket, outcome: PieceKept) -> Vec<Effect> {
        let Some(Keeping::Piece { hash, of }) = self.keeping.get(&ticket) else { return Vec::new() };
        let (hash, of) = (*hash, *of);
        self.keeping.remove(&ticket);
        let notice = match outcome {
            PieceKept::Part(have) => {
                self.blobs.parts.insert(hash, have);
                return Vec::new();
            }
            PieceKept::Whole => {
                self.load_blob(hash, of);
                Notice::BlobHere(hash)
            }
            PieceKept::NotItsName => {
                self.blobs.parts.remove(&hash);
                // Not asked for again before the next greeting: the site record would send the same.
                self.blobs.absent.insert(hash);
                Notice::BlobUnsound(hash)
            }
            PieceKept::No(why) => Notice::NotKeptHere(why),
        };
        vec![Effect::Tell(notice)]
    }

    fn ticket(&mut self, keeping: Keeping) -> Ticket {
        self.tickets += 1;
        let ticket = Ticket(self.tickets);
        self.keeping.insert(ticket, keeping);
        ticket
    }
}

/// What an answer says about the job log.
enum Followed {
    /// It says nothing about the head that is known.
    Late,
    /// It is the head that is known.
    Same,
    /// It grew.
    Grown(SignedHead),
    /// No head of this job's site record.
    Wrong(Problems),
    /// It was rewritten.
    Fault(Fault),
}
