//! Files in, files out: nothing half-written.

use job::photographs;
use measure::{Problem, Problems};
use std::collections::BTreeMap;
use std::fs;
use std::io::{self, Read, Write};
use std::path::Path;

/// Files of a job folder at most.
const FILES: usize = 1_000;

/// Every regular file directly in a job folder, by name: JSON and CSV with their bytes, and the pictures that
/// `photographs.json` names; of others (photographs to be looked at, notes) only the names.
pub fn read_folder(folder: &Path) -> Result<BTreeMap<String, Vec<u8>>, Problems> {
    let shown = folder.display().to_string();
    let entries = fs::read_dir(folder).map_err(|error| {
        Problem::at("", format!("the job folder cannot be read: {error}"), "a folder with room.json in it").file(&shown)
    })?;
    let mut files = BTreeMap::new();
    let mut problems = Problems::new();
    for entry in entries {
        match entry.and_then(|entry| read_entry(&entry)) {
            Ok(Some((name, bytes))) => {
                files.insert(name, bytes);
            }
            Ok(None) => {}
            Err(error) => {
                problems.push(Problem::at("", format!("a file of the folder cannot be read: {error}"), "a readable file").file(&shown))
            }
        }
        if files.len() > FILES {
            problems.push(Problem::at("", "the folder holds too many files", format!("at most {FILES}")).file(&shown));
            break;
        }
    }
    read_pictures(folder, &mut files, &mut problems);
    problems.or(files)
}

/// Bytes of the pictures that `photographs.json` names. The first that takes them over the bounds is read up to one byte more
/// than is allowed, so that it is refused by name; none after it is read.
fn read_pictures(folder: &Path, files: &mut BTreeMap<String, Vec<u8>>, problems: &mut Problems) {
    let names = files.get(photographs::FILE).map(|bytes| photographs::wanted(bytes)).unwrap_or_default();
    let mut left = photographs::PICTURES_BYTES;
    for name in names.into_iter().filter(|name| files.contains_key(name)).collect::<Vec<_>>() {
        match read(&folder.join(&name), left.min(photographs::PICTURE_BYTES)) {
            Ok(bytes) => {
                let over = bytes.len() > left;
                left = left.saturating_sub(bytes.len());
                files.insert(name, bytes);
                if over {
                    break;
                }
            }
            Err(error) => problems.push(Problem::at("", format!("the picture cannot be read: {error}"), "a readable file").file(name)),
        }
    }
}

/// Name and bytes of a JSON or CSV file; of other files the name.
fn read_entry(entry: &fs::DirEntry) -> io::Result<Option<(String, Vec<u8>)>> {
    let path = entry.path();
    if !fs::metadata(&path)?.is_file() {
        return Ok(None);
    }
    let Some(name) = entry.file_name().to_str().map(str::to_owned) else { return Ok(None) };
    let is_text = Path::new(&name).extension().is_some_and(|ext| ext.eq_ignore_ascii_case("json") || ext.eq_ignore_ascii_case("csv"));
    if !is_text {
        return Ok(Some((name, Vec::new())));
    }
    Ok(Some((name, read(&path, measure::bounds::DOCUMENT_BYTES)?)))
}

/// A file, up to one byte more than it may have.
pub fn read(path: &Path, most: usize) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    fs::File::open(path)?.take(most as u64 + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Standard input, up to one byte more than a document may have.
pub fn read_stdin() -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    io::stdin().lock().take(measure::bounds::DOCUMENT_BYTES as u64 + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Writes a file whole or not at all: beside it first, then renamed into place.
pub fn write(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let name = path.file_name().ok_or_else(|| io::Error::other("not a file name"))?;
    let beside = path.with_file_name(format!(".{}.part", name.to_string_lossy()));
    let mut file = fs::File::create(&beside)?;
    file.write_all(bytes)?;
    file.sync_all()?;
    fs::rename(&beside, path)
}

/// Prints to standard output; a reader that closed early (a pager, `head`) is not an error.
pub fn print(text: &[u8]) -> io::Result<()> {
    let mut out = io::stdout().lock();
    match out.write_all(text).and_then(|()| out.flush()) {
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        other => other,
    }
}
