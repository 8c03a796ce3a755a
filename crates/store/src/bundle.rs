//! A record as one file: a zip whose entries are the record's files, stored as they are.

use crate::files::{Files, MANIFEST, Part, pieces};
use crate::{Error, Result};
use std::fs::File;
use std::io::{BufWriter, Read, Seek, Write};
use std::path::{Path, PathBuf};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

/// Entries of one bundle.
pub const MOST_ENTRIES: usize = 2_000_000;

/// Writes the record's files as a zip, and gives back the names of files that could not be read and are left out. The same
/// record gives the same bytes. Streams: neither a file nor the zip is ever held whole, and the target need not be one that
/// can be gone back in.
pub fn write<W: Write>(files: &mut dyn Files, to: W) -> Result<(W, Vec<String>)> {
    let mut zip = ZipWriter::new_stream(BufWriter::with_capacity(1 << 18, to));
    let left_out = add(files, "", &mut zip)?;
    Ok((finish(zip)?, left_out))
}

pub(crate) type Stream<W> = ZipWriter<zip::write::StreamWriter<BufWriter<W>>>;

/// Adds a record's files below a folder of the zip; gives back the names of those that could not be read.
pub(crate) fn add<W: Write>(files: &mut dyn Files, below: &str, zip: &mut Stream<W>) -> Result<Vec<String>> {
    let mut left_out = Vec::new();
    for (name, bytes) in files.names()? {
        let within = format!("{below}{name}");
        let mut started = false;
        let read = files.read(&name, &mut |piece| {
            if !started {
                start(zip, &within, bytes)?;
                started = true;
            }
            zip.write_all(piece).map_err(|error| Error::io(Path::new("the zip"), &error))
        });
        match read {
            Ok(()) if started => {}
            Ok(()) => start(zip, &within, bytes)?,
            Err(Error::Damaged { .. } | Error::NotHere(_)) if !started => left_out.push(within),
            Err(error) => return Err(error),
        }
    }
    Ok(left_out)
}

/// Begins a file of the zip. Its time is the earliest a zip can say, so that it says nothing.
pub(crate) fn start<W: Write>(zip: &mut Stream<W>, name: &str, bytes: Option<u64>) -> Result<()> {
    // A log's size is not always known before, so it always has the long form; a blob has it if it needs it.
    let large = name.ends_with(".jsonl") || bytes.is_some_and(|bytes| bytes >= 0xffff_ffff);
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Stored)
        .last_modified_time(zip::DateTime::default())
        .unix_permissions(0o644)
        .large_file(large);
    zip.start_file(name, options).map_err(unreadable)
}

pub(crate) fn finish<W: Write>(zip: Stream<W>) -> Result<W> {
    let buffer = zip.finish().map_err(unreadable)?.into_inner();
    buffer.into_inner().map_err(|error| Error::io(Path::new("the zip"), error.error()))
}

/// Writes a file whole or not at all: beside its name, synced, then given its name.
pub fn write_file(path: &Path, write: impl FnOnce(File) -> Result<File>) -> Result<()> {
    let wrong = |error: &std::io::Error| Error::io(path, error);
    let mut part = path.as_os_str().to_owned();
    part.push(".part");
    let part = PathBuf::from(part);
    let file = File::create(&part).map_err(|error| wrong(&error))?;
    let written = write(file).and_then(|file| file.sync_all().map_err(|error| wrong(&error)));
    let named = written.and_then(|()| std::fs::rename(&part, path).map_err(|error| wrong(&error)));
    if named.is_err() {
        let _ = std::fs::remove_file(&part);
    }
    named?;
    let folder = path.parent().unwrap_or(Path::new(""));
    crate::disk::Disk::sync_dir(&crate::disk::StdDisk, folder).map_err(|error| wrong(&error))
}

/// A zip that holds one record, or, in folders of their jobs' names, those of a backup.
pub struct Bundle<R> {
    zip: ZipArchive<R>,
    below: String,
}

impl Bundle<File> {
    /// Opens a file.
    pub fn open(path: &Path) -> Result<Self> {
        Self::read(File::open(path).map_err(|error| Error::io(path, &error))?)
    }
}

impl<R: Read + Seek> Bundle<R> {
    /// Reads the zip's list of files. Refused with every reason: names that are not those of a record (so no path leads
    /// anywhere else), a name twice, files that share bytes or are compressed (so it unpacks to no more than it is), too many.
    pub fn read(from: R) -> Result<Self> {
        let mut bundle = Self { zip: ZipArchive::new(from).map_err(unreadable)?, below: String::new() };
        bundle.check(|name| Part::of(name).is_some(), MANIFEST)?;
        Ok(bundle)
    }

    /// The same for a zip with other files that `fits` names.
    pub(crate) fn of_many(from: R, fits: impl Fn(&str) -> bool, needed: &str) -> Result<Self> {
        let mut bundle = Self { zip: ZipArchive::new(from).map_err(unreadable)?, below: String::new() };
        bundle.check(fits, needed)?;
        Ok(bundle)
    }

    /// The record in a folder of it.
    pub(crate) fn below(&mut self, folder: &str) {
        self.below = folder.into();
    }

    /// One file of it.
    pub(crate) fn file(&mut self, name: &str) -> Result<impl Read> {
        self.zip.by_name(name).map_err(unreadable)
    }

    fn check(&mut self, fits: impl Fn(&str) -> bool, needed: &str) -> Result<()> {
        let mut wrong = measure::Problems::new();
        let mut refuse = |name: &str, what: &str, right: &str| {
            wrong.push(measure::Problem::at("zip", what, right).value(name));
        };
        if self.zip.len() > MOST_ENTRIES {
            refuse(&self.zip.len().to_string(), "too many files", &format!("at most {MOST_ENTRIES}"));
            return Err(wrong.into());
        }
        if self.zip.has_duplicate_names() {
            refuse("a name", "stands twice", "each file once");
        }
        if self.zip.has_overlapping_entries().map_err(unreadable)? {
            refuse("two files", "share bytes", "each file bytes of its own");
        }
        let mut found = false;
        for i in 0..self.zip.len() {
            let file = self.zip.by_index_raw(i).map_err(unreadable)?;
            let name = String::from_utf8_lossy(file.name_raw()).into_owned();
            found |= name == needed;
            // Folders stand in a zip that other programs made.
            let is_folder = file.is_dir() && file.size() == 0 && fits_folder(&name);
            if !fits(&name) && !is_folder {
                refuse(&name, "not the name of a file of a record", "the names of docs/format.md");
            } else if file.encrypted() {
                refuse(&name, "locked by a password", "a zip without one");
            } else if file.compression() != CompressionMethod::Stored || file.size() != file.compressed_size() {
                refuse(&name, "compressed", "files stored as they are; or unpack it and name the folder");
            }
        }
        if !found {
            refuse(needed, "is not in it", "a bundle of a record");
        }
        Ok(wrong.or(())?)
    }
}

/// Whether a folder may stand in the zip of a record or a backup.
fn fits_folder(name: &str) -> bool {
    name.split('/').all(|part| !part.starts_with('.') && part.bytes().all(|c| c.is_ascii_alphanumeric() || c == b'-'))
}

impl<R: Read + Seek> Files for Bundle<R> {
    fn names(&mut self) -> Result<Vec<(String, Option<u64>)>> {
        let mut names = Vec::new();
        for i in 0..self.zip.len() {
            let file = self.zip.by_index_raw(i).map_err(unreadable)?;
            let name = String::from_utf8_lossy(file.name_raw()).into_owned();
            if let Some(name) = name.strip_prefix(&self.below).filter(|name| Part::of(name).is_some()) {
                names.push((name.to_string(), Some(file.size())));
            }
        }
        names.sort_unstable_by(|a, b| {
            (a.0 != MANIFEST, a.0.starts_with("blobs/"), &a.0).cmp(&(b.0 != MANIFEST, b.0.starts_with("blobs/"), &b.0))
        });
        Ok(names)
    }

    fn read(&mut self, name: &str, each: &mut dyn FnMut(&[u8]) -> Result<()>) -> Result<()> {
        let name = format!("{}{name}", self.below);
        let mut file = self.zip.by_name(&name).map_err(unreadable)?;
        pieces(&mut file, &name, each)
    }
}

fn unreadable(error: zip::result::ZipError) -> Error {
    match error {
        zip::result::ZipError::Io(error) if error.kind() != std::io::ErrorKind::UnexpectedEof => Error::io(Path::new("the zip"), &error),
        other => Error::damaged("the zip", other.to_string()),
    }
}
