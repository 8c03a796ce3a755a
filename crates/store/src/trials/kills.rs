//! A process that records with photographs, killed again and again at moments drawn by chance.

use crate::suite::{JOB, Pen, photograph, whole_log};
use crate::{Batch, Sqlite, Store, put_from, verify_store};
use ledger::Hash;
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::Duration;

/// What a run of kills saw.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Seen {
    /// Kills.
    pub kills: u64,
    /// Events and blobs acknowledged over all of them.
    pub acknowledged: u64,
    /// Blobs whose writing was cut off.
    pub cut_off: u64,
    /// Events that were being added when the process died and were never acknowledged.
    pub unanswered: u64,
    /// Of those, how many are there all the same, whole.
    pub kept: u64,
}

/// Devices that one round of recording has; each kill is a new one.
fn pen(round: u64) -> Pen {
    // A device's key is a byte here, so its job changes every so often.
    Pen::new((round % 200) as u8)
}

/// The job of a round: a new one whenever the devices begin again.
fn job(round: u64) -> String {
    format!("{}{:04x}", &JOB[..32], (round / 200) % 0x1_0000)
}

fn picture(round: u64, number: u64) -> Vec<u8> {
    let number = round * 100_000 + number;
    photograph(number, 5_000 + (number.wrapping_mul(2_654_435_761) % 40_000) as usize)
}

/// What the child does: records until it is killed. It says of each thing that it begins, and when it was acknowledged.
pub fn record(folder: &Path, round: u64) -> Result<(), String> {
    let store = Sqlite::open(folder).map_err(|error| error.to_string())?;
    let (mut pen, job) = (pen(round), job(round));
    let mut out = std::io::stdout().lock();
    let mut say = |line: String| out.write_all(line.as_bytes()).and_then(|()| out.flush()).map_err(|error| error.to_string());
    say(format!("\nopen {}\n", store.opening().cut_off))?;
    for number in 0.. {
        say("begin\n".into())?;
        let blob = put_from(&store, &job, &mut &picture(round, number)[..]).map_err(|error| error.to_string())?;
        say(format!("blob {}\n", blob.hash))?;
        let mut events = pen.events((number % 4) as usize);
        events.push(pen.event("corner of the shower", vec![blob.hash]));
        store.append(&job, Batch::of(events).head(pen.head())).map_err(|error| error.to_string())?;
        say(format!("size {}\n", pen.tree.size()))?;
    }
    Ok(())
}

/// What a child said before it died.
#[derive(Default)]
struct Said {
    opened: bool,
    cut_off: u64,
    begun: u64,
    blobs: Vec<Hash>,
    size: u64,
    batches: u64,
}

/// Kills that many children, started by `child` for a round each, and checks the folder after each.
///
/// # Errors
///
/// The first thing that was acknowledged and is gone, or is not what it was.
pub fn run(folder: &Path, kills: u64, seed: u64, child: &dyn Fn(u64) -> Command) -> Result<Seen, String> {
    let mut seen = Seen::default();
    let mut random = seed;
    let mut promised: BTreeMap<u64, Said> = BTreeMap::new();
    for round in 0..kills {
        random = crate::suite::splitmix(random);
        let said = kill(child(round), Duration::from_micros(random % 60_000))?;
        seen.cut_off += said.cut_off;
        seen.acknowledged += said.blobs.len() as u64 + said.size;
        seen.unanswered += said.begun - said.batches;
        promised.insert(round, said);
        check(folder, round, &promised[&round], &mut seen).map_err(|why| format!("after kill {round}: {why}"))?;
        seen.kills += 1;
        if promised.len() > 50 {
            promised.pop_first();
        }
    }
    // At the end everything the last rounds promised, and the whole record of their jobs.
    let store = Sqlite::open(folder).map_err(|error| error.to_string())?;
    seen.cut_off += store.opening().cut_off;
    for (round, said) in &promised {
        there(&store, *round, said, &mut Seen::default())?;
    }
    for job in store.jobs().map_err(|error| error.to_string())? {
        let report = verify_store(&store, &job, Vec::new()).map_err(|error| error.to_string())?;
        if !report.is_sound() || !report.blobs.missing.is_empty() {
            return Err(format!("job {job} does not verify: {report:?}"));
        }
    }
    Ok(seen)
}

/// Starts a child and kills it that long after it has opened the store.
fn kill(mut command: Command, after: Duration) -> Result<Said, String> {
    let mut child: Child = command.stdout(Stdio::piped()).stderr(Stdio::inherit()).spawn().map_err(|error| error.to_string())?;
    let out = child.stdout.take().ok_or("the child has no output")?;
    let mut lines = BufReader::new(out).lines();
    let mut said = Said::default();
    // Whatever stands before the child's first word is not its own.
    for line in lines.by_ref() {
        let line = line.map_err(|error| error.to_string())?;
        if let Some(cut_off) = line.strip_prefix("open ") {
            said.opened = true;
            said.cut_off = cut_off.parse().map_err(|_| format!("the child says {line}"))?;
            break;
        }
    }
    let reader = thread::spawn(move || {
        for line in lines.map_while(std::io::Result::ok) {
            // A last line may be cut off; then what it says was not said.
            if let Some(hash) = line.strip_prefix("blob ").and_then(Hash::from_hex) {
                said.blobs.push(hash);
            } else if let Some(size) = line.strip_prefix("size ").and_then(|size| size.parse::<u64>().ok()) {
                said.size = size;
                said.batches += 1;
            } else if line == "begin" {
                said.begun += 1;
            }
        }
        said
    });
    thread::sleep(after);
    child.kill().map_err(|error| error.to_string())?;
    child.wait().map_err(|error| error.to_string())?;
    let said = reader.join().map_err(|_| "the reader broke down")?;
    if said.opened { Ok(said) } else { Err("the child did not open the store".into()) }
}

/// Opens the store to read as the next process would find it, and checks what the last child promised.
fn check(folder: &Path, round: u64, said: &Said, seen: &mut Seen) -> Result<(), String> {
    let store = Sqlite::open_to_read(folder).map_err(|error| format!("does not open: {error}"))?;
    there(&store, round, said, seen)
}

fn there(store: &Sqlite, round: u64, said: &Said, seen: &mut Seen) -> Result<(), String> {
    let (mut pen, job) = (pen(round), job(round));
    let device = pen.device.clone();
    let found = whole_log(store, &job, &device);
    if (found.len() as u64) < said.size {
        return Err(format!("{} of {} acknowledged events are there", found.len(), said.size));
    }
    let mut made = Vec::new();
    for number in 0..=said.begun {
        let blob = Hash::of(&picture(round, number));
        made.extend(pen.events((number % 4) as usize));
        made.push(pen.event("corner of the shower", vec![blob]));
        if made.len() == found.len() && found.len() as u64 > said.size {
            seen.kept += 1;
        }
    }
    if found.iter().zip(&made).any(|(found, made)| found != made.as_bytes()) {
        return Err("an event is not the one that was written".into());
    }
    let whole = found.is_empty() || made.iter().take(found.len()).next_back().is_some_and(|last| !last.event().blobs.is_empty());
    if !whole {
        return Err(format!("a batch is there in part: {} events", found.len()));
    }
    for hash in &said.blobs {
        let mut bytes = Vec::new();
        let mut reader = store.open_blob(&job, hash).map_err(|error| format!("an acknowledged blob: {error}"))?;
        std::io::Read::read_to_end(&mut reader, &mut bytes).map_err(|error| error.to_string())?;
        if Hash::of(&bytes) != *hash {
            return Err("an acknowledged blob is not the one that was written".into());
        }
    }
    Ok(())
}
