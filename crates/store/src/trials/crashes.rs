//! A simulated disk that stops, fills up or fails at every single operation of a piece of work, over many seeds.

use crate::sim::{FAULTS, Fault, Happened, SimDisk};
use crate::suite::{AT, JOB, Pen, photograph, whole_log};
use crate::{Batch, Error, Folder, Store, files, put_from, verify};
use ledger::{Hash, Key, Receipt, Tree, head};
use std::path::Path;
use std::sync::Arc;

/// What a run of trials saw.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Seen {
    /// Trials.
    pub trials: u64,
    /// Operations that one piece of work takes.
    pub operations: u64,
    /// Batches and blobs that were acknowledged, over all trials.
    pub acknowledged: u64,
    /// Transactions that were not acknowledged and are there whole all the same.
    pub unanswered: u64,
    /// What the disks did.
    pub happened: Happened,
}

/// What was acknowledged, and what was asked for last without an answer.
#[derive(Default)]
struct Promise {
    acknowledged: u64,
    events: u64,
    receipts: u64,
    blobs: Vec<(Hash, Vec<u8>)>,
}

/// How a store is opened on a disk; a fault may be planted here.
pub type Open = fn(&SimDisk) -> crate::Result<Box<dyn Store>>;

/// The store of plain files.
pub fn open_folder(disk: &SimDisk) -> crate::Result<Box<dyn Store>> {
    Ok(Box::new(Folder::open(Arc::new(disk.clone()), Path::new("data"), "1.0")?))
}

/// The batches of the work, each of a transaction: a photograph, events, a receipt, heads.
const ROUNDS: u64 = 3;

/// Runs the trials of one seed: for every operation of the work and every fault.
///
/// # Errors
///
/// The first thing that was acknowledged and is not there, the first transaction that is there in part, the first record that
/// does not verify.
pub fn run(seed: u64, open: Open) -> Result<Seen, String> {
    let quiet = SimDisk::new(seed);
    let mut pen = Work::new(seed);
    let store = open(&quiet).map_err(|error| error.to_string())?;
    let before = quiet.happened().operations;
    let mut promise = Promise::default();
    pen.all(&*store, &mut promise).map_err(|error| format!("without a fault: {error}"))?;
    let operations = quiet.happened().operations - before;
    let mut seen = Seen { operations, ..Seen::default() };
    for fault in FAULTS {
        for at in 0..operations {
            one(seed, at, fault, open, &mut seen)
                .map_err(|why| format!("seed {seed}, {fault:?} at operation {at} of {operations}: {why}"))?;
        }
    }
    Ok(seen)
}

fn one(seed: u64, at: u64, fault: Fault, open: Open, seen: &mut Seen) -> Result<(), String> {
    let disk = SimDisk::new(seed.wrapping_mul(1_000_003).wrapping_add(at));
    let mut work = Work::new(seed);
    let mut promise = Promise::default();
    let store = open(&disk).map_err(|error| error.to_string())?;
    disk.plan(at, fault);
    let done = work.all(&*store, &mut promise);
    if fault == Fault::Crash {
        let after_crash = work.all(&*store, &mut Promise::default());
        if !matches!(after_crash, Err(Error::Failed { .. })) {
            return Err(format!("a machine that has stopped answers {after_crash:?}"));
        }
    } else if let Err(error) = done {
        check_words(fault, &error)?;
        // There is room again: the same store goes on without being opened again.
        work.all(&*store, &mut promise).map_err(|error| format!("does not go on: {error}"))?;
    }
    drop(store);
    disk.restart();
    let store = open(&disk).map_err(|error| format!("does not open: {error}"))?;
    seen.unanswered += u64::from(kept(&*store, &work, &promise)?);
    sound(&disk, &promise)?;
    // And goes on from there.
    work.all(&*store, &mut promise).map_err(|error| format!("does not go on after restart: {error}"))?;
    kept(&*store, &work, &promise)?;
    seen.trials += 1;
    seen.acknowledged += promise.acknowledged;
    let now = disk.happened();
    seen.happened.operations += now.operations;
    seen.happened.lost += now.lost;
    seen.happened.torn += now.torn;
    seen.happened.reordered += now.reordered;
    seen.happened.names_lost += now.names_lost;
    Ok(())
}

/// What is said must fit what happened.
fn check_words(fault: Fault, error: &Error) -> Result<(), String> {
    let right = match fault {
        Fault::Full => matches!(error, Error::Full(_) | Error::Failed { .. }),
        _ => matches!(error, Error::Failed { .. }),
    };
    if right { Ok(()) } else { Err(format!("says {error:?}")) }
}

/// Whether all that was acknowledged is there and nothing is there in part; true when more is there than was acknowledged.
fn kept(store: &dyn Store, work: &Work, promise: &Promise) -> Result<bool, String> {
    let events = whole_log(store, JOB, &work.device);
    let receipts = whole_log(store, JOB, JOB);
    if (events.len() as u64) < promise.events || (receipts.len() as u64) < promise.receipts {
        return Err(format!(
            "{} of {} acknowledged events, {} of {} receipts",
            events.len(),
            promise.events,
            receipts.len(),
            promise.receipts
        ));
    }
    if !events.len().is_multiple_of(Work::EVENTS) || events.len() / Work::EVENTS != receipts.len() {
        return Err(format!("a transaction is there in part: {} events and {} receipts", events.len(), receipts.len()));
    }
    if events.iter().zip(&work.events).any(|(found, made)| found != made) {
        return Err("an event is not the one that was written".into());
    }
    let heads = store.heads(JOB, &work.device).map_err(|error| error.to_string())?.len();
    if heads != receipts.len() {
        return Err(format!("a transaction is there in part: {heads} heads and {} receipts", receipts.len()));
    }
    for (hash, bytes) in &promise.blobs {
        let mut found = Vec::new();
        let mut reader = store.open_blob(JOB, hash).map_err(|error| format!("an acknowledged blob: {error}"))?;
        reader.read_to_end(&mut found).map_err(|error| error.to_string())?;
        if found != *bytes {
            return Err("an acknowledged blob is not the one that was written".into());
        }
    }
    if store.missing(JOB).map_err(|error| error.to_string())?.is_empty() {
        Ok(events.len() as u64 > promise.events)
    } else {
        Err("an event is there and its photograph is not".into())
    }
}

/// Whether the files on the disk are a sound record, if there is one.
fn sound(disk: &SimDisk, promise: &Promise) -> Result<(), String> {
    let Ok(mut record) = files::FolderFiles::on(Arc::new(disk.clone()), &Path::new("data").join(JOB)) else {
        return if promise.events == 0 { Ok(()) } else { Err("no record.json".into()) };
    };
    let report = verify(&mut record, Vec::new()).map_err(|error| error.to_string())?;
    if report.is_sound() { Ok(()) } else { Err(format!("does not verify: {report:?}")) }
}

/// A device and a site record at work. It can be done over and over: what is there is passed by.
struct Work {
    device: String,
    batches: Vec<(Vec<u8>, Batch)>,
    events: Vec<Vec<u8>>,
}

impl Work {
    const EVENTS: usize = 3;

    fn new(seed: u64) -> Self {
        let mut pen = Pen::new((seed % 200) as u8);
        let (site, mut job_log) = (Key::from_seed(&[201; 32]), Tree::new());
        let mut work = Self { device: pen.device.clone(), batches: Vec::new(), events: Vec::new() };
        for round in 0..ROUNDS {
            let picture = photograph(seed + round, 1_500 + 700 * round as usize);
            let mut events = pen.events(Self::EVENTS - 1);
            events.push(pen.event("corner of the shower", vec![Hash::of(&picture)]));
            work.events.extend(events.iter().map(|event| event.as_bytes().to_vec()));
            let signed = pen.head();
            let receipt = Receipt::of(&signed, AT, None).expect("the pen's heads are sound");
            let batch = Batch::of(events).head(signed).receipt(JOB, job_log.size(), &receipt);
            job_log.push(Hash::leaf(receipt.to_line().as_bytes()));
            work.batches.push((picture, batch.head(head::Head::of(JOB, &job_log, AT).sign(&site))));
        }
        work
    }

    fn all(&mut self, store: &dyn Store, promise: &mut Promise) -> crate::Result<()> {
        for (round, (picture, batch)) in self.batches.iter().enumerate() {
            let blob = put_from(store, JOB, &mut &picture[..])?;
            promise.blobs.push((blob.hash, picture.clone()));
            store.append(JOB, batch.clone())?;
            promise.acknowledged += 2;
            promise.events = promise.events.max(((round + 1) * Self::EVENTS) as u64);
            promise.receipts = promise.receipts.max(round as u64 + 1);
        }
        Ok(())
    }
}
