//! A job folder into a record, and back out of it.

use crate::{files, verify};
use ledger::Hash;
use measure::{Problem, Problems};
use server::record;
use std::fs::{self, File};
use std::io::Read;
use std::path::Path;
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
    Ok(text)
}

/// Writes what a job's record comes to as a job folder, new or empty.
pub fn write_out(store: &dyn Store, job: &str, to: &Path) -> Result<String, Error> {
    let state = record::state(store, job)?;
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
