//! A job folder into a record, and back out of it.

use crate::{files, verify};
use ledger::Hash;
use measure::{Problem, Problems};
use server::record;
use std::fs::{self, File};
use std::io::{Read, Seek};
use std::path::Path;
use store::kind::{Kind, LOOK};
use store::merge::Refusal;
use store::{Error, Store};

/// Takes a job folder into a new job.
pub fn take_in(folder: &Path, store: &dyn Store, author: &str) -> Result<String, Refusal> {
    let files = files::read_folder(folder).map_err(Error::Refused)?;
    let mut open = |name: &str| match File::open(folder.join(name)) {
        Ok(file) => Ok(Box::new(file) as Box<dyn Read>),
        Err(error) => Err(Error::io(Path::new(name), &error)),
    };
    let taken = record::take_in(&files, &mut open, store, author)?;
    let mut text = format!("job {}: {} files of {} are in the record\n", taken.job, taken.files, folder.display());
    taken.left.iter().for_each(|name| text.push_str(&format!("  left out, of no kind that a record takes: {name}\n")));
    text.push_str(&told(&taken.facts));
    Ok(text)
}

/// What the photographs say of themselves, and what of it can't be so.
fn told(facts: &[(String, photo::Facts)]) -> String {
    let count = |says: fn(&photo::Facts) -> bool| facts.iter().filter(|(_, facts)| says(facts)).count();
    let pictures = count(|facts| facts.size_px.is_some());
    if pictures == 0 {
        return String::new();
    }
    let timed = count(|facts| facts.taken_at.is_some());
    let local = count(|facts| facts.taken_at.as_ref().is_some_and(|taken| taken.offset.is_none()));
    let placed = count(|facts| facts.place.is_some());
    let mut text = format!("  photographs: {pictures}, with the time {timed} ({local} without offset from UTC), with the place {placed}\n");
    for (name, facts) in facts {
        for problem in &facts.problems.problems {
            text.push_str(&format!("  {}\n", problem.clone().file(name)));
        }
    }
    text
}

/// Writes what a job's record comes to as a job folder, new or empty. Without location, photographs are copies that say no
/// place, and what can't be cleaned is left out by name.
pub fn write_out(store: &dyn Store, job: &str, to: &Path, strip_location: bool) -> Result<String, Error> {
    let state = record::state(store, job)?;
    let wrong = |error: std::io::Error| Error::io(to, &error);
    fs::create_dir_all(to).map_err(wrong)?;
    if fs::read_dir(to).map_err(wrong)?.next().is_some() {
        return Err(Error::Refused(Problem::at("folder", "is not empty", "a new folder").value(to.display()).into()));
    }
    let mut problems = Problems::new();
    for (name, bytes) in &state.files {
        let written = match state.photographs.get(name).and_then(|held| Hash::from_hex(&held.blob)) {
            None => files::write(&to.join(name), bytes).map_err(NotWritten::Failed),
            Some(hash) => write_blob(store, job, &hash, &to.join(name), strip_location),
        };
        match written {
            Ok(()) => {}
            Err(NotWritten::LeftOut(found)) => problems.extend(found.in_file(name)),
            Err(NotWritten::Failed(error)) => return Err(Error::io(&to.join(name), &error)),
        }
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

/// Why a file is not in the folder.
enum NotWritten {
    /// For a reason of its own; the others can be.
    LeftOut(Problems),
    /// Nothing more can be written.
    Failed(std::io::Error),
}

fn write_blob(store: &dyn Store, job: &str, hash: &Hash, to: &Path, strip_location: bool) -> Result<(), NotWritten> {
    let left_out = |error| NotWritten::LeftOut(verify::problems(Path::new(""), error));
    let mut from = store.open_blob(job, hash).map_err(left_out)?;
    let kind = if strip_location { content(&mut from).map_err(NotWritten::Failed)? } else { None };
    // Words are what their author wrote; they and the data files are not searched for places.
    let copies = strip_location && kind != Some(Kind::Text);
    let mut file = File::create_new(to).map_err(NotWritten::Failed)?;
    let written = if copies { photo::without_location(&mut from, &mut file) } else { copy(&mut from, &mut file) };
    match written.and_then(|()| Ok(file.sync_all()?)) {
        Ok(()) => Ok(()),
        Err(photo::Fault::Io(error)) => Err(NotWritten::Failed(error)),
        Err(photo::Fault::Wrong(problems)) => {
            fs::remove_file(to).map_err(NotWritten::Failed)?;
            Err(NotWritten::LeftOut(problems))
        }
    }
}

fn copy(from: &mut dyn Read, to: &mut File) -> Result<(), photo::Fault> {
    std::io::copy(from, to).map_err(photo::Fault::Io)?;
    Ok(())
}

/// What a blob is by its first bytes, and back to the first.
fn content(from: &mut (impl Read + Seek)) -> std::io::Result<Option<Kind>> {
    let mut start = Vec::new();
    from.take(LOOK as u64).read_to_end(&mut start)?;
    from.rewind()?;
    Ok(Kind::of(&start))
}
