//! A job's record as the job folder it comes to, and a job folder as the beginning of a record.

use job::folder::Files;
use job::photographs;
use job::record::State;
use job::record::import::{By, Kept, import};
use ledger::{Event, Hash, Head, Key, event, id};
use measure::Problems;
use std::collections::BTreeMap;
use std::io::Read;
use std::path::PathBuf;
use store::{Batch, Error, Page, Store, put_from};

/// Events of one batch; each has at most a megabyte.
const BATCH: usize = 50;

/// What was taken in.
pub struct TakenIn {
    /// The new job.
    pub job: String,
    /// Files that are in its record.
    pub files: usize,
    /// Files of no kind that a record takes.
    pub left: Vec<String>,
    /// What each file kept as a blob says of itself, under its name.
    pub facts: Vec<(String, photo::Facts)>,
}

/// Gives the bytes of a file of which only the name was handed in.
pub type Open<'o> = dyn FnMut(&str) -> Result<Box<dyn Read>, Error> + 'o;

/// Takes a job folder into a new job, written by a device of its own whose key is forgotten afterwards: nothing can be added to
/// what was imported as if it had been there.
pub fn take_in(files: &Files, open: &mut Open<'_>, store: &dyn Store, author: &str) -> Result<TakenIn, Error> {
    let now = jiff::Timestamp::now();
    let by = By { author: author.into(), at: now.to_string(), clock: None, seen: BTreeMap::new() };
    let new_id = || Ok::<_, Error>(id::uuid_v7(now.as_millisecond().unsigned_abs(), random()?));
    let job = new_id()?;
    // What can't be an event is said before anything is kept; what is left then is to be a blob.
    let blobs = import(files, &BTreeMap::new(), &by)?.left;
    let mut kept = BTreeMap::new();
    for name in &blobs {
        match put_from(store, &job, &mut *open(name)?) {
            Ok(blob) => {
                let media_type = blob.kind.media_type().into();
                let facts = photo::read(store.open_blob(&job, &blob.hash)?).map_err(|error| Error::io(name.as_ref(), &error))?;
                kept.insert(name.clone(), Kept { blob: blob.hash, bytes: blob.bytes, media_type, facts });
            }
            Err(Error::Refused(_)) => {}
            Err(error) => return Err(error),
        }
    }
    let imported = import(files, &kept, &by)?;
    for (_, bytes) in &imported.blobs {
        put_from(store, &job, &mut &bytes[..])?;
    }
    let key = Key::from_seed(&random()?);
    let device = key.public().device();
    let mut events = Vec::new();
    let mut tree = ledger::Tree::new();
    for draft in imported.drafts {
        let made = draft.make(new_id()?, event::Place { device: device.clone(), seq: tree.size() })?;
        tree.push(made.leaf());
        events.push(made);
    }
    for batch in events.chunks(BATCH) {
        store.append(&job, Batch::of(batch.to_vec()))?;
    }
    store.append(&job, Batch::default().head(Head::of(device, &tree, by.at).sign(&key)))?;
    let facts = kept.into_iter().map(|(name, kept)| (name, kept.facts)).collect();
    Ok(TakenIn { job, files: events.len(), left: imported.left, facts })
}

fn random<const N: usize>() -> Result<[u8; N], Error> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes)
        .map_err(|error| Error::Failed { path: PathBuf::from("the system's randomness"), why: error.to_string() })?;
    Ok(bytes)
}

/// What a job's record comes to now; photographs stand among the files without bytes.
pub fn state(store: &dyn Store, job: &str) -> Result<State, Error> {
    let blob = |hash: &str| {
        let mut bytes = Vec::new();
        store.open_blob(job, &Hash::from_hex(hash)?).ok()?.read_to_end(&mut bytes).ok()?;
        Some(bytes)
    };
    Ok(job::record::fold_with(&events(store, job)?, &blob))
}

/// The job folder with the pictures an assessment looks at; a picture that is not here yet stays without bytes, as on a folder.
pub fn folder(store: &dyn Store, job: &str) -> Result<Files, Error> {
    let State { mut files, photographs: held, .. } = state(store, job)?;
    let wanted = files.get(photographs::FILE).map(|bytes| photographs::wanted(bytes)).unwrap_or_default();
    let mut left = photographs::PICTURES_BYTES as u64;
    for name in wanted {
        let Some(hash) = held.get(&name).and_then(|held| Hash::from_hex(&held.blob)) else { continue };
        let Some(blob) = store.blob(job, &hash)? else { continue };
        // One byte more than is allowed is enough to be refused by name.
        let most = left.min(photographs::PICTURE_BYTES as u64) + 1;
        let mut bytes = Vec::new();
        let read = store.open_blob(job, &hash)?.take(most).read_to_end(&mut bytes);
        read.map_err(|error| Error::Failed { path: PathBuf::from(&name), why: error.to_string() })?;
        files.insert(name, bytes);
        if blob.bytes > left {
            break;
        }
        left -= blob.bytes;
    }
    Ok(files)
}

/// Every event of a job.
fn events(store: &dyn Store, job: &str) -> Result<Vec<Event>, Error> {
    let mut events = Vec::new();
    for log in store.logs(job)?.into_iter().filter(|log| log.log != job) {
        let mut at = 0;
        loop {
            let page = store.read(job, &log.log, at, Page::default())?;
            if page.is_empty() {
                break;
            }
            at += page.len() as u64;
            for bytes in page {
                events.push(Event::read(&bytes)?);
            }
        }
    }
    Ok(events)
}

/// Lines of events as they come over the wire, each with its place.
pub fn batch(lines: &[u8]) -> Result<Batch, Problems> {
    let mut batch = Batch::default().blobs_follow();
    let mut problems = Problems::new();
    for (i, line) in lines.split(|byte| *byte == b'\n').enumerate().filter(|(_, line)| !line.is_empty()) {
        match Event::read(line) {
            Ok(event) => batch.lines.push(store::Line { log: event.device, seq: event.seq, bytes: line.to_vec() }),
            Err(mut found) => {
                found.problems.iter_mut().for_each(|problem| problem.line = Some(i as u64 + 1));
                problems.extend(found);
            }
        }
    }
    problems.or(batch)
}
