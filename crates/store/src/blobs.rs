//! Blobs as files, each written once: into a file beside, synced, given its name, the folder synced.

use crate::disk::{Disk, DiskFile, ReadSeek};
use crate::kind::{self, Kind, Text};
use crate::{Blob, Error, Result};
use ledger::Hash;
use sha2::{Digest, Sha256};
use std::collections::BTreeSet;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

const PART: &str = ".part";

/// The folders `blobs` and `incoming` below one path.
pub struct BlobFiles {
    disk: Arc<dyn Disk>,
    root: PathBuf,
    next: AtomicU64,
    /// Uploads under way that were begun with a name.
    busy: Mutex<BTreeSet<PathBuf>>,
}

/// A blob's name below the record's folder, in every layout: `blobs/<first two digits>/<all of them>`.
pub fn name(hash: &Hash) -> String {
    let hex = hash.to_string();
    format!("blobs/{}/{hex}", &hex[..2])
}

impl BlobFiles {
    /// Opens them for one process alone; removes what writing left that was cut off, and says how many.
    pub fn open(disk: Arc<dyn Disk>, root: &Path) -> Result<(Self, u64)> {
        let files = Self::to_read(disk, root);
        let incoming = files.incoming();
        files.disk.make_dir(&root.join("blobs")).map_err(|error| Error::io(root, &error))?;
        files.disk.make_dir(&incoming).map_err(|error| Error::io(&incoming, &error))?;
        let mut cut_off = 0;
        for left in files.disk.list(&incoming).map_err(|error| Error::io(&incoming, &error))? {
            if left.strip_suffix(PART).is_some_and(|number| number.parse::<u64>().is_ok()) {
                files.disk.remove(&incoming.join(&left)).map_err(|error| Error::io(&incoming, &error))?;
                cut_off += 1;
            }
        }
        Ok((files, cut_off))
    }

    /// Opens them only to read.
    pub fn to_read(disk: Arc<dyn Disk>, root: &Path) -> Self {
        Self { disk, root: root.into(), next: AtomicU64::new(0), busy: Mutex::default() }
    }

    fn incoming(&self) -> PathBuf {
        self.root.join("incoming")
    }

    /// Where a blob's bytes are.
    pub fn path(&self, hash: &Hash) -> PathBuf {
        self.root.join(name(hash))
    }

    /// A blob's bytes.
    pub fn read(&self, hash: &Hash) -> Result<Box<dyn ReadSeek>> {
        let path = self.path(hash);
        self.disk.open(&path).map_err(|error| Error::io(&path, &error))
    }

    /// How many bytes a blob has, if it is here.
    pub fn size(&self, hash: &Hash) -> Result<Option<u64>> {
        let path = self.path(hash);
        self.disk.size(&path).map_err(|error| Error::io(&path, &error))
    }

    /// Begins a blob; with a name it goes on where it broke off, in that job.
    pub fn put(self: &Arc<Self>, job: &str, name: Option<&Hash>) -> Result<Put> {
        let path = match name {
            Some(hash) => self.incoming().join(format!("{job}-{hash}{PART}")),
            None => self.incoming().join(format!("{}{PART}", self.next.fetch_add(1, Ordering::Relaxed))),
        };
        if name.is_some() && !self.busy.lock().unwrap_or_else(PoisonError::into_inner).insert(path.clone()) {
            return Err(Error::Busy("this blob is being sent already; wait for that to end".into()));
        }
        let mut put = Put { files: self.clone(), path, name: name.copied(), file: None, state: Progress::default() };
        put.begin()?;
        Ok(put)
    }
}

/// What is known of a blob so far.
#[derive(Default)]
struct Progress {
    hash: Sha256,
    bytes: u64,
    start: Vec<u8>,
    kind: Option<Kind>,
    text: Text,
}

impl Progress {
    /// Takes more of it in, or says why it is not taken.
    fn add(&mut self, bytes: &[u8]) -> Result<()> {
        self.hash.update(bytes);
        self.bytes += bytes.len() as u64;
        let (into_start, rest) = bytes.split_at(bytes.len().min(kind::LOOK - self.start.len()));
        self.start.extend_from_slice(into_start);
        if self.kind.is_none() && self.start.len() == kind::LOOK {
            self.decide()?;
        }
        let Some(kind) = self.kind else { return Ok(()) };
        if kind == Kind::Text && !self.text.takes(rest) {
            return Err(Error::refused("blob", "begins as text and goes on as something else", "of no kind that is taken", kind::TAKEN));
        }
        if self.bytes > kind.most_bytes() {
            return Err(Error::refused("blob", kind, "too large", format!("at most {} MB", kind.most_bytes() / 1_000_000)));
        }
        Ok(())
    }

    /// Its kind, from the beginning.
    fn decide(&mut self) -> Result<Kind> {
        let Some(kind) = Kind::of(&self.start) else {
            let start = String::from_utf8_lossy(&self.start[..self.start.len().min(16)]).escape_debug().to_string();
            return Err(Error::refused("blob", format!("begins with {start}"), "of no kind that is taken", kind::TAKEN));
        };
        if kind == Kind::Text {
            self.text.takes(&self.start);
        }
        self.kind = Some(kind);
        Ok(kind)
    }

    fn end(mut self) -> Result<Blob> {
        let kind = match self.kind {
            Some(kind) => kind,
            None => self.decide()?,
        };
        Ok(Blob { hash: Hash(self.hash.finalize().into()), bytes: self.bytes, kind })
    }
}

/// A blob being written. Dropped before [`Put::finish`], what was written is removed, or kept if it was begun with its name.
pub struct Put {
    files: Arc<BlobFiles>,
    path: PathBuf,
    name: Option<Hash>,
    /// None before the beginning, after the end and after a failure.
    file: Option<Box<dyn DiskFile>>,
    state: Progress,
}

impl Put {
    fn begin(&mut self) -> Result<()> {
        let disk = self.files.disk.clone();
        let there = self.name.is_some() && disk.size(&self.path).map_err(|error| self.failed(&error))?.is_some();
        if !there {
            self.file = Some(disk.create(&self.path).map_err(|error| self.failed(&error))?);
            return Ok(());
        }
        let mut reader = disk.open(&self.path).map_err(|error| self.failed(&error))?;
        let mut buffer = vec![0; 1 << 16];
        loop {
            match reader.read(&mut buffer) {
                Ok(0) => break,
                Ok(n) => self.state.add(&buffer[..n]).inspect_err(|_| self.discard())?,
                Err(error) => return Err(self.failed(&error)),
            }
        }
        self.file = Some(disk.append(&self.path).map_err(|error| self.failed(&error))?);
        Ok(())
    }

    fn failed(&self, error: &std::io::Error) -> Error {
        Error::io(&self.path, error)
    }

    /// Bytes so far.
    pub fn at(&self) -> u64 {
        self.state.bytes
    }

    /// Adds bytes. After an error nothing more can be added.
    pub fn add(&mut self, bytes: &[u8]) -> Result<()> {
        let Some(file) = &mut self.file else {
            return Err(Error::refused("blob", "more bytes", "came after a failure", "begin the blob again"));
        };
        let written = file.write_all(bytes).map_err(|error| Error::io(&self.path, &error));
        written.and_then(|()| self.state.add(bytes)).inspect_err(|_| self.discard())
    }

    /// Returns when it is on the disk under its name.
    pub fn finish(mut self) -> Result<Blob> {
        let done = self.settle();
        self.discard();
        done
    }

    fn settle(&mut self) -> Result<Blob> {
        let Some(mut file) = self.file.take() else {
            return Err(Error::refused("blob", "its end", "came after a failure", "begin the blob again"));
        };
        let blob = std::mem::take(&mut self.state).end()?;
        if let Some(name) = self.name.filter(|name| *name != blob.hash) {
            return Err(Error::refused("blob", blob.hash, "the bytes are not those of the name", name.to_string()));
        }
        file.sync().map_err(|error| self.failed(&error))?;
        drop(file);
        let (disk, path) = (&self.files.disk, self.files.path(&blob.hash));
        let folder = path.parent().expect("a blob's path has a folder");
        disk.make_dir(folder).map_err(|error| Error::io(folder, &error))?;
        let there = disk.size(&path).map_err(|error| Error::io(&path, &error))?.is_some();
        // Over a file that is there: the same bytes, or damaged ones that are whole again now.
        disk.rename(&self.path, &path).map_err(|error| Error::io(&path, &error))?;
        if let Err(error) = disk.sync_dir(folder) {
            // A name that may be in the cache alone must not be taken for a blob that is here.
            if !there {
                let _ = disk.remove(&path);
            }
            return Err(Error::io(folder, &error));
        }
        Ok(blob)
    }

    /// Nothing of it stays. A file that can't be removed is removed at the next opening.
    fn discard(&mut self) {
        self.file = None;
        let _ = self.files.disk.remove(&self.path);
    }
}

impl Drop for Put {
    fn drop(&mut self) {
        if self.file.is_some() && self.name.is_none() {
            self.discard();
        }
        if self.name.is_some() {
            self.files.busy.lock().unwrap_or_else(PoisonError::into_inner).remove(&self.path);
        }
    }
}
