//! A job folder into a record, and back out of it.

use crate::{files, verify};
use job::record::import::{By, Kept, import};
use ledger::{Event, Hash, Head, Key, event, id};
use measure::{Problem, Problems};
use std::collections::BTreeMap;
use std::fs::{self, File};
use std::path::Path;
use store::merge::Refusal;
use store::{Batch, Error, Page, Store, put_from};

/// Events of one batch; each has at most a megabyte.
const BATCH: usize = 50;

/// Takes a job folder into a new job, written by a device of its own whose key is forgotten afterwards: nothing can be added to
/// what was imported as if it had been there.
pub fn take_in(folder: &Path, store: &dyn Store, author: &str) -> Result<String, Refusal> {
    let files = files::read_folder(folder).map_err(Error::Refused)?;
    let now = jiff::Timestamp::now();
    let by = By { author: author.into(), at: now.to_string(), clock: None, seen: BTreeMap::new() };
    let mut make = Maker { unix_ms: now.as_millisecond().unsigned_abs() };
    let job = make.id()?;
    // What can't be an event is said before anything is kept; what is left then is to be a blob.
    let blobs = import(&files, &BTreeMap::new(), &by).map_err(Error::Refused)?.left;
    let mut kept = BTreeMap::new();
    for name in &blobs {
        let mut file = File::open(folder.join(name)).map_err(|error| Error::io(Path::new(name), &error))?;
        match put_from(store, &job, &mut file) {
            Ok(blob) => {
                let media_type = blob.kind.media_type().into();
                kept.insert(name.clone(), Kept { blob: blob.hash, bytes: blob.bytes, media_type, taken_at: None, orientation: None });
            }
            Err(Error::Refused(_)) => {}
            Err(error) => return Err(error.into()),
        }
    }
    let imported = import(&files, &kept, &by).map_err(Error::Refused)?;
    for (_, bytes) in &imported.blobs {
        put_from(store, &job, &mut &bytes[..])?;
    }
    let key = Key::from_seed(&random()?);
    let device = key.public().device();
    let mut events = Vec::new();
    let mut tree = ledger::Tree::new();
    for draft in imported.drafts {
        let place = event::Place { device: device.clone(), seq: tree.size() };
        let made = draft.make(make.id()?, place).map_err(Error::Refused)?;
        tree.push(made.leaf());
        events.push(made);
    }
    let count = events.len();
    for batch in events.chunks(BATCH) {
        store.append(&job, Batch::of(batch.to_vec()))?;
    }
    store.append(&job, Batch::default().head(Head::of(device, &tree, by.at).sign(&key)))?;
    let mut text = format!("job {job}: {count} files of {} are in the record\n", folder.display());
    imported.left.iter().for_each(|name| text.push_str(&format!("  left out, of no kind that a record takes: {name}\n")));
    Ok(text)
}

struct Maker {
    unix_ms: u64,
}

impl Maker {
    fn id(&mut self) -> Result<String, Error> {
        Ok(id::uuid_v7(self.unix_ms, random()?))
    }
}

fn random<const N: usize>() -> Result<[u8; N], Error> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(|error| Error::Failed { path: "the system's randomness".into(), why: error.to_string() })?;
    Ok(bytes)
}

/// Writes what a job's record comes to as a job folder, new or empty.
pub fn write_out(store: &dyn Store, job: &str, to: &Path) -> Result<String, Error> {
    let blob = |hash: &str| {
        let mut bytes = Vec::new();
        store.open_blob(job, &Hash::from_hex(hash)?).ok()?.read_to_end(&mut bytes).ok()?;
        Some(bytes)
    };
    let state = job::record::fold_with(&events(store, job)?, &blob);
    let wrong = |error: std::io::Error| Error::io(to, &error);
    fs::create_dir_all(to).map_err(wrong)?;
    if fs::read_dir(to).map_err(wrong)?.next().is_some() {
        return Err(Error::Refused(Problem::at("folder", "is not empty", "a new folder").value(to.display()).into()));
    }
    let mut problems = Problems::new();
    for (name, bytes) in &state.files {
        let written = match state.photographs.get(name).and_then(|held| Hash::from_hex(&held.blob)) {
            None => files::write(&to.join(name), bytes),
            Some(hash) => match store.open_blob(job, &hash) {
                Ok(mut from) => {
                    File::create_new(to.join(name)).and_then(|mut file| std::io::copy(&mut from, &mut file).and_then(|_| file.sync_all()))
                }
                Err(error) => {
                    problems.extend(verify::problems(Path::new(name), error));
                    continue;
                }
            },
        };
        written.map_err(|error| Error::io(&to.join(name), &error))?;
    }
    let mut text = format!("{}: {} files of job {job}\n", to.display(), state.files.len() - problems.problems.len());
    for problem in problems.problems {
        text.push_str(&format!("  LEFT OUT: {problem}\n"));
    }
    for document in &state.not_here {
        text.push_str(&format!("  LEFT OUT, its bytes are not here: {}\n", document.file));
    }
    Ok(text)
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
