//! A simulated building site: devices, one site record, a network that loses, doubles, delays, overtakes and cuts, disks that
//! forget what was not kept, and clocks that are wrong. One seed, one course of events.
//!
//! What is simulated is the shell around the machines. A planted mistake ([`Plant`]) lives here, never in the product.

#![allow(clippy::unwrap_used, dead_code, reason = "shared by a test and an example; a simulation stops at what cannot be")]

mod check;
mod disk;
mod random;

use disk::{Disk, Write, Wrote};
use ledger::event::payload;
use ledger::{Draft, Hash, Key, id};
use random::Random;
use std::collections::{BTreeMap, BTreeSet};
use sync::device::{Effect, Handed};
use sync::{Answer, Ask, Device, NotKept, Notice, Now, PieceKept, Site, Step, Ticket, What, Wish};

pub const JOB: &str = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f";
const START_MS: i64 = 1_790_000_000_000;
const MINUTE: i64 = 60_000;
const HOUR: i64 = 60 * MINUTE;
const DAY: i64 = 24 * HOUR;

/// A mistake of the shell that the checks must find.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Plant {
    Nothing,
    /// The site's shell says that something is kept before it is.
    SiteSpeaksEarly,
    /// A device's shell does.
    DeviceSpeaksEarly,
    /// The site's disk writes what comes a second time again.
    NothingIsDeduplicated,
    /// The site's shell forgets after a restart who was revoked.
    RevocationForgotten,
    /// The site's disk comes back from a restart without the end of the job log.
    JobLogCutBack,
    /// The site's shell does not check a blob against its name, and its disk changes a byte.
    BlobUnchecked,
}

/// What a run came to.
#[derive(Debug)]
pub struct Outcome {
    /// Over everything that happened, in order.
    pub trace: Hash,
    /// How often each kind of fault fired.
    pub fired: BTreeMap<&'static str, u64>,
    /// Events in the site record at the end.
    pub events: usize,
    /// Blobs there.
    pub blobs: usize,
    /// Pairs of edits of one field that did not know of each other.
    pub conflicts: usize,
    /// Messages that were handed to a machine.
    pub messages: u64,
    /// Why the run failed.
    pub failure: Option<String>,
}

/// Each kind of fault.
pub const KINDS: [&str; 17] = [
    "message lost",
    "message doubled",
    "message delayed for minutes or hours",
    "message overtaken",
    "message cut off",
    "piece of a blob cut off",
    "push out of order",
    "device restarted",
    "site restarted",
    "write lost in a restart",
    "write kept, never reported",
    "device offline for days",
    "site disk full",
    "device disk full",
    "device revoked",
    "device clock set",
    "device copied back",
];

/// Whose.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum At {
    Site,
    Device(usize),
}

#[derive(Clone, Debug)]
enum Happens {
    Tick(usize),
    Work(usize),
    Arrives { to: At, device: usize, number: u64, bytes: Vec<u8> },
    Kept(u64),
    Online(usize, bool),
    Restart(At),
    SiteFull(bool),
    DeviceFull(usize, bool),
    Revoke(usize),
    SetClock(usize, i64),
    Copy(usize),
    CopyBack(usize),
}

/// Something a disk was asked to keep.
struct Pending {
    at: At,
    ticket: Option<Ticket>,
    write: Write,
    /// The device that waits for the site's answer.
    device: usize,
}

struct Phone {
    machine: Device,
    key: Key,
    disk: Disk,
    online: bool,
    full: bool,
    /// What its clock is ahead of the site's.
    ahead_ms: i64,
    drift: f64,
    booted_ms: i64,
    copy: Option<(Disk, u64)>,
    copied_back: bool,
    clock_set: Option<bool>,
    clock_set_told: bool,
    /// Events it said were kept here, and on the site.
    said_here: u64,
    said_on_site: u64,
    blobs_on_site: BTreeSet<Hash>,
}

impl Phone {
    fn id(&self) -> String {
        self.key.public().device()
    }

    fn now(&self, t: i64) -> Now {
        let run = |ms: i64| (ms as f64 * (1.0 + self.drift)) as i64;
        Now { wall_ms: START_MS + run(t) + self.ahead_ms, steady_ms: run(t - self.booted_ms).unsigned_abs() }
    }
}

struct World {
    random: Random,
    plant: Plant,
    t: i64,
    queue: BTreeMap<(i64, u64), Happens>,
    order: u64,
    pending: BTreeMap<u64, Pending>,
    site: Site,
    site_key: Key,
    site_disk: Disk,
    site_full: bool,
    phones: Vec<Phone>,
    latest: BTreeMap<(At, usize), u64>,
    healed: bool,
    trace: Hash,
    fired: BTreeMap<&'static str, u64>,
    messages: u64,
    failure: Option<String>,
}

/// Runs a seed.
pub fn run(seed: u64, plant: Plant) -> Outcome {
    let mut world = World::new(seed, plant);
    world.plan();
    world.go_on(|_| false);
    world.heal();
    check::all(&mut world);
    let conflicts = check::conflicts(&world);
    Outcome {
        trace: world.trace,
        fired: world.fired,
        events: world.site_disk.ids().len(),
        blobs: world.site_disk.blobs.len(),
        conflicts,
        messages: world.messages,
        failure: world.failure,
    }
}

impl World {
    fn new(seed: u64, plant: Plant) -> Self {
        let mut random = Random::new(seed);
        let site_key = Key::from_seed(&random.bytes());
        let count = 2 + random.below(5) as usize;
        let mut site = Site::new(site_key.clone(), JOB);
        let phones: Vec<Phone> = (0..count)
            .map(|_| {
                let key = Key::from_seed(&random.bytes());
                site.pair(key.public().device());
                Phone {
                    machine: Device::new(key.clone(), JOB, site_key.public(), random.next()),
                    key,
                    disk: Disk::default(),
                    online: false,
                    full: false,
                    ahead_ms: random.between(-20 * MINUTE, 20 * MINUTE),
                    drift: random.between(-50, 50) as f64 * 1e-6,
                    booted_ms: 0,
                    copy: None,
                    copied_back: false,
                    clock_set: None,
                    clock_set_told: false,
                    said_here: 0,
                    said_on_site: 0,
                    blobs_on_site: BTreeSet::new(),
                }
            })
            .collect();
        Self {
            random,
            plant,
            t: 0,
            queue: BTreeMap::new(),
            order: 0,
            pending: BTreeMap::new(),
            site,
            site_key,
            site_disk: Disk::default(),
            site_full: false,
            phones,
            latest: BTreeMap::new(),
            healed: false,
            trace: Hash::of(b""),
            fired: BTreeMap::new(),
            messages: 0,
            failure: None,
        }
    }

    fn fire(&mut self, kind: &'static str) {
        debug_assert!(KINDS.contains(&kind), "{kind}");
        *self.fired.entry(kind).or_default() += 1;
    }

    fn fail(&mut self, why: impl Into<String>) {
        self.failure.get_or_insert(why.into());
    }

    fn at(&mut self, t: i64, happens: Happens) {
        self.order += 1;
        self.queue.insert((t.max(self.t), self.order), happens);
    }

    /// What will happen besides what follows from it: work, sessions with reception, and accidents.
    fn plan(&mut self) {
        let days = self.random.between(3, 6);
        let some_time = |random: &mut Random| random.between(0, days * DAY);
        for d in 0..self.phones.len() {
            for _ in 0..self.random.between(2, 9) {
                let t = some_time(&mut self.random);
                self.at(t, Happens::Work(d));
            }
            self.plan_sessions(d, days);
            if self.random.chance(30) {
                let t = some_time(&mut self.random);
                self.at(t, Happens::Restart(At::Device(d)));
            }
            if self.random.chance(10) {
                let t = some_time(&mut self.random);
                let by = self.random.between(6, 90) * MINUTE * if self.random.chance(50) { 1 } else { -1 };
                self.at(t, Happens::SetClock(d, by));
            }
            if self.random.chance(8) {
                let (t, hours) = (some_time(&mut self.random), self.random.between(1, 20));
                self.at(t, Happens::DeviceFull(d, true));
                self.at(t + hours * HOUR, Happens::DeviceFull(d, false));
            }
        }
        for _ in 0..self.random.between(0, 3) {
            let t = some_time(&mut self.random);
            self.at(t, Happens::Restart(At::Site));
        }
        if self.random.chance(25) {
            let (t, hours) = (some_time(&mut self.random), self.random.between(5, 40));
            self.at(t, Happens::SiteFull(true));
            self.at(t + hours * HOUR, Happens::SiteFull(false));
        }
        let revoked = self.phones.len() > 2 && self.random.chance(40);
        if revoked {
            let t = some_time(&mut self.random);
            self.at(t, Happens::Revoke(0));
        }
        if self.random.chance(10) {
            let t = some_time(&mut self.random);
            let back = self.random.between(t, days * DAY);
            self.at(t, Happens::Copy(1));
            self.at(back, Happens::CopyBack(1));
        }
    }

    /// Minutes with reception between hours and days without.
    fn plan_sessions(&mut self, d: usize, days: i64) {
        let mut t = self.random.between(0, DAY);
        let mut last = 0;
        while t < days * DAY {
            if t - last > 2 * DAY {
                self.fire("device offline for days");
            }
            let minutes = self.random.between(1, 12);
            self.at(t, Happens::Online(d, true));
            for _ in 0..minutes * 2 {
                let tick = self.random.between(t, t + minutes * MINUTE);
                self.at(tick, Happens::Tick(d));
            }
            if self.random.chance(8) {
                let crash = self.random.between(t, t + minutes * MINUTE);
                let at = if self.random.chance(60) { At::Device(d) } else { At::Site };
                self.at(crash, Happens::Restart(at));
            }
            self.at(t + minutes * MINUTE, Happens::Online(d, false));
            last = t + minutes * MINUTE;
            t = last + if self.random.chance(25) { self.random.between(2 * DAY, 4 * DAY) } else { self.random.between(HOUR, DAY) };
        }
    }

    /// Goes on until nothing is left to happen, or until it is enough.
    fn go_on(&mut self, mut enough: impl FnMut(&Self) -> bool) {
        while self.failure.is_none() && !enough(self) {
            let Some(((t, _), happens)) = self.queue.pop_first() else { return };
            self.t = t;
            self.note(&happens);
            self.happen(happens);
        }
    }

    fn note(&mut self, happens: &Happens) {
        let line = match happens {
            Happens::Arrives { to, device, bytes, .. } => format!("{} {to:?} {device} {}", self.t, Hash::of(bytes)),
            other => format!("{} {other:?}", self.t),
        };
        self.trace = Hash::node(&self.trace, &Hash::of(line.as_bytes()));
    }

    fn happen(&mut self, happens: Happens) {
        match happens {
            Happens::Tick(d) => self.tick(d),
            Happens::Work(d) => self.work(d),
            Happens::Arrives { to, device, number, bytes } => self.arrives(to, device, number, &bytes),
            Happens::Kept(pending) => self.keep(pending),
            Happens::Online(d, online) => self.phones[d].online = online || self.healed,
            Happens::Restart(at) => self.restart(at),
            Happens::SiteFull(full) => self.site_full = full && !self.healed,
            Happens::DeviceFull(d, full) => self.phones[d].full = full && !self.healed,
            Happens::Revoke(d) => self.revoke(d),
            Happens::SetClock(d, by) => {
                self.fire("device clock set");
                let phone = &mut self.phones[d];
                phone.ahead_ms += by;
                phone.clock_set = Some(phone.machine.clock().is_some());
            }
            Happens::Copy(d) => {
                let phone = &mut self.phones[d];
                phone.copy = Some((phone.disk.clone(), phone.said_here));
            }
            Happens::CopyBack(d) => {
                self.fire("device copied back");
                let phone = &mut self.phones[d];
                let (disk, said_here) = phone.copy.take().expect("a copy was made before");
                (phone.disk, phone.said_here, phone.copied_back) = (disk, said_here, true);
                self.pending.retain(|_, pending| pending.at != At::Device(d));
                self.start(At::Device(d));
            }
        }
    }

    fn site_now(&self) -> Now {
        Now { wall_ms: START_MS + self.t, steady_ms: self.t.unsigned_abs() }
    }

    fn revoke(&mut self, d: usize) {
        let (device, now) = (self.phones[d].id(), self.site_now());
        match self.site.revoke(&device, now.text().unwrap(), "the telephone was lost") {
            Ok(revoked) => {
                self.fire("device revoked");
                self.site_disk.revoked.insert(device, revoked);
            }
            Err(_) => self.at(self.t + 100, Happens::Revoke(d)),
        }
    }

    /// A person adds something.
    fn work(&mut self, d: usize) {
        let count = self.random.between(1, 3);
        let drafts: Vec<_> = (0..count).map(|_| self.draft(d)).collect();
        let now = self.phones[d].now(self.t);
        match self.phones[d].machine.add(now, drafts) {
            Ok((ticket, events)) => {
                check::clock(self, d, now);
                let (from, log) = (events[0].event().seq, self.phones[d].id());
                let entries = events.into_iter().map(|event| event.into_bytes()).collect();
                let lines = sync::Lines { log, from, entries, head: None };
                self.write(At::Device(d), Some(ticket), Write::Lines(vec![lines]), d);
            }
            Err(_) => self.at(self.t + 1_000, Happens::Work(d)),
        }
    }

    fn draft(&mut self, d: usize) -> (String, Draft) {
        let now = self.phones[d].now(self.t);
        let mut blobs = Vec::new();
        if self.random.chance(30) {
            let bytes: Vec<u8> = (0..self.random.between(0, 300)).map(|_| self.random.below(256) as u8).collect();
            let hash = Hash::of(&bytes);
            self.phones[d].machine.load_blob(hash, bytes.len() as u64);
            self.phones[d].disk.blobs.insert(hash, bytes);
            blobs.push(hash);
        }
        let field = format!("/walls/{}/height_mm", self.random.below(3));
        let id = id::uuid_v7(now.wall_ms.unsigned_abs(), self.random.bytes());
        let draft = Draft {
            author: "J. Ngata".into(),
            at: now.text().unwrap(),
            clock: None,
            seen: BTreeMap::new(),
            kind: "field".into(),
            version: 1,
            payload: payload(&BTreeMap::from([("field", field), ("value", self.random.below(3_000).to_string())])).unwrap(),
            blobs,
        };
        (id, draft)
    }

    /// A device with reception asks for some of what it wishes.
    fn tick(&mut self, d: usize) {
        if !self.phones[d].online {
            return;
        }
        if self.random.chance(if self.healed { 0 } else { 15 }) {
            self.phones[d].machine.greet();
        }
        let wishes = self.phones[d].machine.wishes();
        if wishes.is_empty() {
            return;
        }
        for _ in 0..self.random.between(1, 3) {
            let wish = wishes[self.random.below(wishes.len() as u64) as usize].clone();
            self.wish(d, wish);
        }
    }

    fn wish(&mut self, d: usize, mut wish: Wish) {
        if let Wish::Push { from, count } = &mut wish
            && self.random.chance(20)
        {
            self.fire("push out of order");
            let end = *from + *count;
            *from = self.random.below(end);
            *count = end - *from;
        }
        let most = self.random.between(1, 6) as usize;
        let phone = &self.phones[d];
        let handed = match &wish {
            Wish::Push { from, .. } => {
                let entries = phone.disk.logs.get(&phone.id()).into_iter().flatten();
                Handed::Entries(entries.skip(*from as usize).take(most).cloned().collect())
            }
            Wish::PushBlob { hash, offset, .. } => {
                Handed::Bytes(phone.disk.blobs[hash][*offset as usize..].iter().take(64).copied().collect())
            }
            _ => Handed::Nothing,
        };
        let now = phone.now(self.t);
        match self.phones[d].machine.ask(now, &wish, handed) {
            Ok(ask) => self.send(At::Site, d, ask.to_bytes()),
            Err(problems) => self.fail(format!("device {d} could not ask {wish:?}: {problems}")),
        }
    }

    /// The network takes a message.
    fn send(&mut self, to: At, device: usize, bytes: Vec<u8>) {
        self.order += 1;
        let number = self.order;
        let mut delay = self.random.between(20, 2_000);
        if self.healed {
            return self.at(self.t + delay, Happens::Arrives { to, device, number, bytes });
        }
        if self.random.chance(8) {
            return self.fire("message lost");
        }
        if self.random.chance(6) {
            self.fire("message delayed for minutes or hours");
            delay = self.random.between(MINUTE, 30 * HOUR);
        }
        if self.random.chance(10) {
            self.fire("message doubled");
            let later = self.t + self.random.between(20, 10 * MINUTE);
            self.at(later, Happens::Arrives { to, device, number, bytes: bytes.clone() });
        }
        let bytes = if self.random.chance(6) { self.cut(bytes) } else { bytes };
        self.at(self.t + delay, Happens::Arrives { to, device, number, bytes });
    }

    /// Only the beginning arrives: of a message, or of a piece of a blob whose bytes are its body.
    fn cut(&mut self, bytes: Vec<u8>) -> Vec<u8> {
        if let Ok(mut ask) = Ask::read(&bytes)
            && let What::PushBlob(piece) = &mut ask.what
            && piece.bytes.len() > 1
        {
            self.fire("piece of a blob cut off");
            let keep = 1 + self.random.below(piece.bytes.len() as u64 - 1) as usize;
            piece.bytes.truncate(keep);
            return ask.to_bytes();
        }
        self.fire("message cut off");
        let keep = self.random.below(bytes.len() as u64) as usize;
        bytes[..keep].to_vec()
    }

    fn arrives(&mut self, to: At, device: usize, number: u64, bytes: &[u8]) {
        let latest = self.latest.entry((to, device)).or_default();
        let overtaken = number < *latest;
        *latest = number.max(*latest);
        if overtaken {
            self.fire("message overtaken");
        }
        self.messages += 1;
        match to {
            At::Site => {
                let (now, id) = (self.site_now(), self.phones[device].id());
                if let Ok(ask) = Ask::read(bytes) {
                    let step = self.site.ask(now, &id, ask);
                    self.step(device, step);
                }
            }
            At::Device(d) => {
                if let (true, Ok(answer)) = (self.phones[d].online, Answer::read(bytes)) {
                    let now = self.phones[d].now(self.t);
                    let effects = self.phones[d].machine.answer(now, &answer);
                    self.effects(d, effects);
                }
            }
        }
    }

    fn step(&mut self, device: usize, step: Step) {
        let now = self.site_now();
        let answer = match step {
            Step::Answer(answer) => answer,
            Step::Keep { ticket, logs } => return self.write(At::Site, Some(ticket), Write::Lines(logs), device),
            Step::KeepPiece { ticket, piece } => return self.write(At::Site, Some(ticket), Write::Piece(piece), device),
            Step::KeepEvidence { ticket, evidence } => return self.write(At::Site, Some(ticket), Write::Evidence(evidence), device),
            Step::ReadEntries(reading) => {
                let most = self.random.between(1, 8).min(reading.count as i64) as usize;
                let log = self.site_disk.logs.get(&reading.log);
                let entries = log.map(|log| log.iter().skip(reading.from as usize).take(most).cloned().collect());
                self.site.entries_read(now, reading, entries)
            }
            Step::ReadPiece(reading) => {
                let blob = self.site_disk.blobs.get(&reading.hash);
                let bytes = blob.map(|blob| blob.iter().skip(reading.offset as usize).take(64).copied().collect());
                self.site.piece_read(now, reading, bytes)
            }
        };
        self.send(At::Device(device), device, answer.to_bytes());
    }

    fn effects(&mut self, d: usize, effects: Vec<Effect>) {
        for effect in effects {
            match effect {
                Effect::KeepLog { ticket, lines } => self.write(At::Device(d), Some(ticket), Write::Lines(vec![lines]), d),
                Effect::KeepPiece { ticket, piece } => self.write(At::Device(d), Some(ticket), Write::Piece(piece), d),
                Effect::KeepReceipt { ticket, receipt, .. } => self.write(At::Device(d), Some(ticket), Write::Receipt(receipt), d),
                Effect::KeepKnown(head) => self.write(At::Device(d), None, Write::Known(head), d),
                Effect::Tell(notice) => self.told(d, notice),
            }
        }
    }

    fn told(&mut self, d: usize, notice: Notice) {
        let phone = &mut self.phones[d];
        match notice {
            Notice::KeptHere { size } => phone.said_here = phone.said_here.max(size),
            Notice::KeptOnSite { size } => phone.said_on_site = phone.said_on_site.max(size),
            Notice::BlobOnSite(hash) => {
                phone.blobs_on_site.insert(hash);
            }
            Notice::ClockSet { .. } => phone.clock_set_told = true,
            Notice::Wrong(_) | Notice::Forked { .. } | Notice::LogUnsound { .. } if phone.copied_back => {}
            Notice::Wrong(_) | Notice::Forked { .. } | Notice::LogUnsound { .. } | Notice::NotPaired => {
                self.fail(format!("device {d} was told {notice:?}"));
            }
            Notice::SiteRewrote(fault) => self.fail(format!("device {d}: {}", fault.what)),
            Notice::BlobUnsound(hash) => self.fail(format!("device {d}: {hash} is not what its name says")),
            Notice::CameIn { .. } | Notice::BlobHere(_) | Notice::NotKeptHere(_) | Notice::SiteFull | Notice::Revoked { .. } => {}
        }
    }

    /// A disk takes its time.
    fn write(&mut self, at: At, ticket: Option<Ticket>, write: Write, device: usize) {
        self.order += 1;
        let (number, delay) = (self.order, self.random.between(1, 400));
        let early = match at {
            At::Site => self.plant == Plant::SiteSpeaksEarly,
            At::Device(_) => self.plant == Plant::DeviceSpeaksEarly,
        };
        let promised = write.promised();
        let told = if early { None } else { ticket };
        self.pending.insert(number, Pending { at, ticket: told, write, device });
        self.at(self.t + delay, Happens::Kept(number));
        if !self.healed && self.random.chance(1) {
            let soon = self.t + self.random.between(0, delay);
            self.at(soon, Happens::Restart(at));
        }
        if let (true, Some(ticket)) = (early, ticket) {
            self.report(at, ticket, promised, device);
        }
    }

    /// A write is done, unless a restart came between.
    fn keep(&mut self, number: u64) {
        let Some(Pending { at, ticket, write, device }) = self.pending.remove(&number) else { return };
        let full = match at {
            At::Site => self.site_full,
            At::Device(d) => self.phones[d].full,
        };
        let wrote = if full {
            self.fire(if at == At::Site { "site disk full" } else { "device disk full" });
            write.refused(NotKept::Full)
        } else {
            match self.reach_disk(at, write) {
                Ok(wrote) => wrote,
                Err(why) => return self.fail(format!("{at:?}: {why}")),
            }
        };
        if let Some(ticket) = ticket {
            self.report(at, ticket, wrote, device);
        }
    }

    fn reach_disk(&mut self, at: At, write: Write) -> Result<Wrote, String> {
        match at {
            At::Device(d) => self.phones[d].disk.write(write, false),
            At::Site => {
                let doubling = self.plant == Plant::NothingIsDeduplicated && self.random.chance(5);
                let piece = if let Write::Piece(piece) = &write { Some(piece.hash) } else { None };
                let mut wrote = self.site_disk.write(write, doubling)?;
                if let (Plant::BlobUnchecked, Some(hash), Wrote::Piece(PieceKept::Whole)) = (self.plant, piece, &wrote)
                    && let Some(byte) = self.site_disk.blobs.get_mut(&hash).and_then(|bytes| bytes.first_mut())
                {
                    *byte ^= 1;
                    wrote = Wrote::Piece(PieceKept::Whole);
                }
                Ok(wrote)
            }
        }
    }

    fn report(&mut self, at: At, ticket: Ticket, wrote: Wrote, device: usize) {
        match at {
            At::Site => {
                let now = self.site_now();
                let answer = match wrote {
                    Wrote::Plain(outcome) => self.site.kept(now, ticket, outcome),
                    Wrote::Piece(outcome) => self.site.piece_kept(now, ticket, outcome),
                };
                if let Some(answer) = answer {
                    self.send(At::Device(device), device, answer.to_bytes());
                }
            }
            At::Device(d) => {
                let machine = &mut self.phones[d].machine;
                let effects = match wrote {
                    Wrote::Plain(outcome) => machine.kept(ticket, outcome),
                    Wrote::Piece(outcome) => machine.piece_kept(ticket, outcome),
                };
                self.effects(d, effects);
            }
        }
    }

    /// A machine loses what its disk does not hold; a write under way is kept or lost.
    fn restart(&mut self, at: At) {
        self.fire(if at == At::Site { "site restarted" } else { "device restarted" });
        let open: Vec<u64> = self.pending.iter().filter(|(_, pending)| pending.at == at).map(|(number, _)| *number).collect();
        for number in open {
            let pending = self.pending.remove(&number).expect("listed");
            if self.random.chance(50) {
                self.fire("write kept, never reported");
                if let Err(why) = self.reach_disk(at, pending.write) {
                    self.fail(format!("{at:?}: {why}"));
                }
            } else {
                self.fire("write lost in a restart");
            }
        }
        if self.plant == Plant::JobLogCutBack && at == At::Site {
            self.cut_job_log_back();
        }
        check::promises(self);
        self.start(at);
    }

    /// The last receipts are gone from the site's disk, with the head that covered them.
    fn cut_job_log_back(&mut self) {
        let Some(log) = self.site_disk.logs.get_mut(JOB).filter(|log| log.len() > 2) else { return };
        log.truncate(log.len() - 2);
        let tree = ledger::Tree::of(log.iter().map(|line| Hash::leaf(line)));
        let head = ledger::Head::of(JOB, &tree, self.site_now().text().unwrap()).sign(&self.site_key);
        self.site_disk.heads.insert(JOB.into(), head);
    }

    fn start(&mut self, at: At) {
        match at {
            At::Site => self.start_site(),
            At::Device(d) => self.start_device(d),
        }
    }

    fn start_site(&mut self) {
        let mut site = Site::new(self.site_key.clone(), JOB);
        self.phones.iter().for_each(|phone| site.pair(phone.id()));
        for (log, leaf, blobs) in self.site_disk.entries().filter(|(log, ..)| *log != JOB) {
            site.load_entry(log, leaf, &blobs);
        }
        for line in self.site_disk.logs.get(JOB).into_iter().flatten() {
            site.load_receipt(std::str::from_utf8(line).unwrap()).unwrap();
        }
        self.site_disk.heads.get(JOB).into_iter().for_each(|head| site.load_head(head).unwrap());
        for (device, revoked) in self.site_disk.revoked.iter().filter(|_| self.plant != Plant::RevocationForgotten) {
            site.load_revoked(device, revoked.clone());
        }
        self.site_disk.blobs.iter().for_each(|(hash, bytes)| site.load_blob(*hash, bytes.len() as u64));
        self.site_disk.parts.iter().for_each(|(hash, (bytes, of))| site.load_part(*hash, bytes.len() as u64, *of));
        self.site = site;
    }

    fn start_device(&mut self, d: usize) {
        let (random, site, t) = (self.random.next(), self.site_key.public(), self.t);
        let phone = &mut self.phones[d];
        let mut machine = Device::new(phone.key.clone(), JOB, site, random);
        phone.disk.entries().for_each(|(log, leaf, blobs)| machine.load_entry(log, leaf, &blobs));
        phone.disk.blobs.iter().for_each(|(hash, bytes)| machine.load_blob(*hash, bytes.len() as u64));
        phone.disk.parts.iter().for_each(|(hash, (bytes, _))| machine.load_part(*hash, bytes.len() as u64));
        phone.disk.known.iter().for_each(|head| machine.load_known(head.clone()).unwrap());
        phone.disk.receipts.iter().for_each(|line| machine.load_receipt(line).unwrap());
        phone.machine.clock().into_iter().for_each(|measured| machine.load_clock(measured));
        phone.machine = machine;
        phone.booted_ms = t;
    }

    /// Reception everywhere, no more accidents, until nothing is left to say.
    fn heal(&mut self) {
        self.healed = true;
        self.site_full = false;
        for phone in &mut self.phones {
            (phone.online, phone.full) = (true, false);
        }
        for _ in 0..20 {
            let before = self.sizes();
            self.phones.iter_mut().for_each(|phone| phone.machine.greet());
            self.until_quiet();
            if before == self.sizes() || self.failure.is_some() {
                return;
            }
        }
        self.fail("no rest after healing");
    }

    /// How much of everything is at the site and on each device.
    fn sizes(&self) -> Vec<(Vec<sync::message::LogSize>, usize)> {
        let phones = self.phones.iter().map(|phone| (phone.machine.sizes(), phone.disk.blobs.len()));
        phones.chain([(self.site.sizes(), self.site_disk.blobs.len())]).collect()
    }

    fn until_quiet(&mut self) {
        for _ in 0..3_000 {
            let busy: Vec<usize> = (0..self.phones.len()).filter(|d| !self.phones[*d].machine.wishes().is_empty()).collect();
            if busy.is_empty() && self.queue.is_empty() || self.failure.is_some() {
                return;
            }
            busy.into_iter().for_each(|d| self.tick(d));
            self.go_on(|_| false);
        }
        let wishes: Vec<_> = self.phones.iter().map(|phone| phone.machine.wishes()).collect();
        self.fail(format!("still asking after healing: {wishes:?}"));
    }
}
