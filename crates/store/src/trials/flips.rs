//! Bits of a reference store turned over one at a time: each is found and placed, or harmless.

use crate::disk::StdDisk;
use crate::files::{FolderFiles, StoreFiles, write_folder};
use crate::suite::{AT, JOB, Pen, photograph};
use crate::{Batch, Result, Sqlite, Store, bundle, put_from, verify, verify_store};
use ledger::verify::Report;
use ledger::{Hash, Head, Key, Receipt, Tree};
use std::fs::File;
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

/// What a run of flips saw.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Seen {
    /// Bits turned over.
    pub flips: u64,
    /// The store was not opened.
    pub refused: u64,
    /// The check found it.
    pub found: u64,
    /// Of those, flips within an event's bytes that were placed at that event.
    pub placed: u64,
    /// Nothing was found, and the store exports the same bytes.
    pub harmless: u64,
}

/// Writes the reference store, with logs, heads, receipts and photographs, and leaves it closed: all in one file, no log beside it.
pub fn reference(folder: &Path) -> Result<()> {
    let store = Sqlite::open(folder)?;
    let (site, mut job_log) = (Key::from_seed(&[9; 32]), Tree::new());
    for number in 1..=2 {
        let mut pen = Pen::new(number);
        for round in 0..3 {
            let blob = put_from(&store, JOB, &mut &photograph(u64::from(number) * 10 + round, 900)[..])?;
            let mut events = pen.events(4);
            events.push(pen.event("corner of the shower", vec![blob.hash]));
            let receipt = Receipt::of(&pen.head(), AT, None)?;
            let batch = Batch::of(events).head(pen.head()).receipt(JOB, job_log.size(), &receipt);
            job_log.push(Hash::leaf(receipt.to_line().as_bytes()));
            store.append(JOB, batch.head(Head::of(JOB, &job_log, AT).sign(&site)))?;
        }
    }
    Ok(())
}

/// Turns over every `step`-th bit of the reference store's database and blobs, from `from` on.
///
/// # Errors
///
/// The first flip that nobody found though the export differs, or that was placed at the wrong event.
pub fn store(folder: &Path, from: u64, step: u64) -> std::result::Result<Seen, String> {
    let before = export(folder).map_err(|error| format!("before any flip: {error}"))?;
    let mut files = vec![folder.join(crate::sqlite::FILE)];
    files.extend(blob_files(folder));
    let mut seen = Seen::default();
    let events = event_places(&files[0], folder)?;
    for (number, path) in files.iter().enumerate() {
        let bits = std::fs::metadata(path).map_err(|error| error.to_string())?.len() * 8;
        let mut bit = from;
        while bit < bits {
            flip(path, bit).map_err(|error| error.to_string())?;
            let event = events.iter().find(|event| number == 0 && event.holds(bit / 8));
            let looked = look(folder, &before, event, &mut seen);
            flip(path, bit).map_err(|error| error.to_string())?;
            looked.map_err(|why| format!("bit {bit} of {}: {why}", path.display()))?;
            bit += step;
        }
    }
    Ok(seen)
}

/// The same for the files of an exported record; in a log's file every event must be placed exactly.
pub fn record(folder: &Path, from: u64, step: u64) -> std::result::Result<Seen, String> {
    let mut seen = Seen::default();
    let mut names: Vec<String> = Vec::new();
    let mut record = FolderFiles::of(folder).map_err(|error| error.to_string())?;
    names.extend(crate::files::Files::names(&mut record).map_err(|error| error.to_string())?.into_iter().map(|(name, _)| name));
    for name in names {
        let path = folder.join(&name);
        let bytes = std::fs::read(&path).map_err(|error| error.to_string())?;
        let mut bit = from;
        while bit < bytes.len() as u64 * 8 {
            flip(&path, bit).map_err(|error| error.to_string())?;
            let report = FolderFiles::of(folder).and_then(|mut files| verify(&mut files, Vec::new()));
            flip(&path, bit).map_err(|error| error.to_string())?;
            seen.flips += 1;
            let report = report.map_err(|error| error.to_string())?;
            if !report.is_sound() {
                seen.found += 1;
                if name.ends_with(".jsonl") && !name.ends_with(".heads.jsonl") {
                    let line = bytes[..(bit / 8) as usize].iter().filter(|byte| **byte == b'\n').count() as u64;
                    let placed = report
                        .logs
                        .iter()
                        .filter_map(|log| log.damage.as_ref())
                        .any(|damage| (damage.at.from..damage.at.to.max(damage.at.from + 1)).contains(&line));
                    if !placed {
                        return Err(format!("bit {bit} of {name}: in entry {line}, placed elsewhere: {report:?}"));
                    }
                    seen.placed += 1;
                }
            } else if name == crate::files::MANIFEST {
                // `made_by` is a note that nothing covers.
                seen.harmless += 1;
            } else {
                return Err(format!("bit {bit} of {name}: not found"));
            }
            bit += step;
        }
    }
    Ok(seen)
}

/// Exports the reference store as a folder.
pub fn export_folder(store: &Path, to: &Path) -> Result<()> {
    let store = Sqlite::open_to_read(store)?;
    write_folder(&mut StoreFiles::of(&store, JOB, "1.0")?, &StdDisk, to)
}

/// Where in the database an event's bytes lie.
struct Event {
    log: String,
    seq: u64,
    from: u64,
    bytes: u64,
}

impl Event {
    fn holds(&self, byte: u64) -> bool {
        (self.from..self.from + self.bytes).contains(&byte)
    }
}

fn event_places(database: &Path, folder: &Path) -> std::result::Result<Vec<Event>, String> {
    let bytes = std::fs::read(database).map_err(|error| error.to_string())?;
    let store = Sqlite::open_to_read(folder).map_err(|error| error.to_string())?;
    let mut places = Vec::new();
    for state in store.logs(JOB).map_err(|error| error.to_string())? {
        for (seq, entry) in crate::suite::whole_log(&store, JOB, &state.log).iter().enumerate() {
            let found = bytes.windows(entry.len()).position(|window| window == &entry[..]);
            // One that lies over the edge of a page is not found in one piece.
            places.extend(found.map(|from| Event {
                log: state.log.clone(),
                seq: seq as u64,
                from: from as u64,
                bytes: entry.len() as u64,
            }));
        }
    }
    Ok(places)
}

fn blob_files(folder: &Path) -> Vec<PathBuf> {
    let store = Sqlite::open_to_read(folder).and_then(|store| store.blobs(JOB)).unwrap_or_default();
    store.iter().map(|blob| folder.join(crate::blobs::name(&blob.hash))).collect()
}

fn export(folder: &Path) -> Result<Vec<u8>> {
    let store = Sqlite::open_to_read(folder)?;
    Ok(bundle::write(&mut StoreFiles::of(&store, JOB, "1.0")?, Vec::new())?.0)
}

fn look(folder: &Path, before: &[u8], event: Option<&Event>, seen: &mut Seen) -> std::result::Result<(), String> {
    seen.flips += 1;
    let report: Report = match Sqlite::open_to_read(folder).and_then(|store| verify_store(&store, JOB, Vec::new())) {
        Ok(report) => report,
        Err(error) => {
            seen.refused += 1;
            return match error {
                crate::Error::Failed { .. } | crate::Error::Damaged { .. } | crate::Error::Newer { .. } | crate::Error::NotHere(_) => {
                    Ok(())
                }
                other => Err(format!("refused as {other:?}")),
            };
        }
    };
    if !report.is_sound() {
        seen.found += 1;
        let Some(event) = event else { return Ok(()) };
        let damage = report.log(&event.log).and_then(|log| log.damage.as_ref());
        if damage.is_some_and(|damage| (damage.at.from, damage.at.to) == (event.seq, event.seq + 1)) {
            seen.placed += 1;
            return Ok(());
        }
        return Err(format!("in event {} of log {}, placed at {damage:?}", event.seq, event.log));
    }
    if export(folder).is_ok_and(|after| after == before) {
        seen.harmless += 1;
        return Ok(());
    }
    Err("not found, and the export differs".into())
}

fn flip(path: &Path, bit: u64) -> std::io::Result<()> {
    let mut file = File::options().read(true).write(true).open(path)?;
    let mut byte = [0];
    file.seek(SeekFrom::Start(bit / 8))?;
    file.read_exact(&mut byte)?;
    file.seek(SeekFrom::Start(bit / 8))?;
    file.write_all(&[byte[0] ^ (1 << (bit % 8))])
}
