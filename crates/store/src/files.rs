//! A record as the files of `docs/format.md`, wherever it lies: a folder, a bundle, a store.

use crate::disk::{Disk, StdDisk};
use crate::{Error, LogState, Page, Result, Store, blobs};
use ledger::{Hash, Manifest, SignedHead, id};
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The name of the file that says what a record is.
pub const MANIFEST: &str = "record.json";
/// The job log's name among the files.
pub const JOB_LOG: &str = "job";
/// Bytes handed on at once.
const PIECE: usize = 1 << 16;

/// The files of one record.
pub trait Files {
    /// Their names with their sizes where those are known: the manifest, the logs, the blobs, each sorted.
    fn names(&mut self) -> Result<Vec<(String, Option<u64>)>>;

    /// Hands on a file's bytes, in pieces.
    fn read(&mut self, name: &str, each: &mut dyn FnMut(&[u8]) -> Result<()>) -> Result<()>;
}

/// What a file of a record is, by its name.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Part {
    /// `record.json`.
    Manifest,
    /// Entries of a log.
    Entries(String),
    /// Hashes of a log.
    Hashes(String),
    /// Heads of a log.
    Heads(String),
    /// A blob.
    Blob(Hash),
}

impl Part {
    /// What the file of this name is; `None` when no file of a record has such a name.
    pub fn of(name: &str) -> Option<Self> {
        if name == MANIFEST {
            return Some(Self::Manifest);
        }
        if let Some(log) = name.strip_prefix("logs/") {
            let (log, part): (_, fn(String) -> Self) = if let Some(log) = log.strip_suffix(".heads.jsonl") {
                (log, Self::Heads)
            } else if let Some(log) = log.strip_suffix(".jsonl") {
                (log, Self::Entries)
            } else {
                (log.strip_suffix(".hashes")?, Self::Hashes)
            };
            return (log == JOB_LOG || id::is_device(log)).then(|| part(log.into()));
        }
        let hash = Hash::from_hex(name.strip_prefix("blobs/")?.get(3..)?)?;
        (blobs::name(&hash) == name).then_some(Self::Blob(hash))
    }
}

/// A store's record of one job, as it was when this was made: what is added later is left out.
pub struct StoreFiles<'a> {
    store: &'a dyn Store,
    job: String,
    made_by: String,
    logs: Vec<(LogState, Vec<Vec<u8>>)>,
    blobs: Vec<crate::Blob>,
}

impl<'a> StoreFiles<'a> {
    /// The job's record; `made_by` is the version that writes it.
    pub fn of(store: &'a dyn Store, job: &str, made_by: &str) -> Result<Self> {
        // Logs only grow, so their sizes at one moment hold them still. The job log first, heads before their logs: what one
        // file speaks of is then in the others.
        let job_log = store.log(job, job)?;
        let names: Vec<String> = store.logs(job)?.into_iter().map(|state| state.log).collect();
        let mut logs = Vec::with_capacity(names.len());
        for log in names {
            let heads = store.heads(job, &log)?;
            let state = if log == job { job_log.clone() } else { store.log(job, &log)? };
            logs.push((state, heads));
        }
        if let Some((state, heads)) = logs.iter_mut().find(|(state, _)| state.log == job) {
            let covered = |line: &Vec<u8>| SignedHead::read(line).map_or(true, |(_, head)| head.size <= state.size);
            heads.retain(covered);
        }
        let blobs = store.blobs(job)?;
        if logs.is_empty() && blobs.is_empty() {
            return Err(Error::NotHere(format!("job {job}")));
        }
        Ok(Self { store, job: job.into(), made_by: made_by.into(), logs, blobs })
    }

    /// The logs as they are held still here.
    pub fn logs(&self) -> impl Iterator<Item = &LogState> {
        self.logs.iter().map(|(state, _)| state)
    }

    /// How many blobs.
    pub fn blobs(&self) -> u64 {
        self.blobs.len() as u64
    }

    /// How each log stood, with its largest head.
    pub fn newest_heads(&self) -> impl Iterator<Item = (&LogState, Option<SignedHead>)> {
        self.logs.iter().map(|(state, heads)| (state, heads.last().and_then(|line| SignedHead::read(line).ok()).map(|(signed, _)| signed)))
    }

    fn manifest(&self) -> Manifest {
        let job_heads = self.logs.iter().find(|(state, _)| state.log == self.job).map(|(_, heads)| heads);
        let first = job_heads.and_then(|heads| heads.first()).and_then(|line| SignedHead::read(line).ok());
        let site = first.and_then(|(signed, _)| signed.check().ok()).map(|(_, key)| key.device());
        Manifest { format: ledger::manifest::FORMAT.into(), job: self.job.clone(), made_by: self.made_by.clone(), site }
    }

    fn log(&self, name: &str) -> Result<&(LogState, Vec<Vec<u8>>)> {
        let log = if name == JOB_LOG { &self.job } else { name };
        self.logs.iter().find(|(state, _)| state.log == log).ok_or_else(|| Error::NotHere(format!("log {name}")))
    }

    fn entries(&self, state: &LogState, each: &mut dyn FnMut(&[u8]) -> Result<()>) -> Result<()> {
        let mut at = 0;
        while at < state.size {
            let page = self.store.read(&self.job, &state.log, at, Page::default())?;
            if page.is_empty() {
                return Err(Error::damaged(format!("log {}", state.log), format!("ends at entry {at} of {}", state.size)));
            }
            for entry in page.into_iter().take(usize::try_from(state.size - at).unwrap_or(usize::MAX)) {
                each(&entry)?;
                each(b"\n")?;
                at += 1;
            }
        }
        Ok(())
    }

    fn hashes(&self, state: &LogState, each: &mut dyn FnMut(&[u8]) -> Result<()>) -> Result<()> {
        let mut at = 0;
        while at < state.size {
            let most = usize::try_from(state.size - at).unwrap_or(usize::MAX).min(10_000);
            let page = self.store.hashes(&self.job, &state.log, at, most)?;
            if page.is_empty() {
                return Ok(());
            }
            at += page.len() as u64;
            page.iter().try_for_each(|hash| each(format!("{hash}\n").as_bytes()))?;
        }
        Ok(())
    }
}

impl Files for StoreFiles<'_> {
    fn names(&mut self) -> Result<Vec<(String, Option<u64>)>> {
        let mut names = vec![(MANIFEST.into(), None)];
        for (state, heads) in &self.logs {
            let log = if state.log == self.job { JOB_LOG } else { &state.log };
            names.push((format!("logs/{log}.hashes"), Some(65 * state.size)));
            if !heads.is_empty() {
                names.push((format!("logs/{log}.heads.jsonl"), None));
            }
            names.push((format!("logs/{log}.jsonl"), None));
        }
        names[1..].sort_unstable();
        names.extend(self.blobs.iter().map(|blob| (blobs::name(&blob.hash), Some(blob.bytes))));
        Ok(names)
    }

    fn read(&mut self, name: &str, each: &mut dyn FnMut(&[u8]) -> Result<()>) -> Result<()> {
        match Part::of(name) {
            Some(Part::Manifest) => each(&self.manifest().to_bytes()),
            Some(Part::Entries(log)) => self.entries(&self.log(&log)?.0, each),
            Some(Part::Hashes(log)) => self.hashes(&self.log(&log)?.0, each),
            Some(Part::Heads(log)) => self.log(&log)?.1.iter().try_for_each(|line| each(line).and_then(|()| each(b"\n"))),
            Some(Part::Blob(hash)) => pieces(&mut *self.store.open_blob(&self.job, &hash)?, name, each),
            None => Err(Error::NotHere(name.into())),
        }
    }
}

/// A record that lies in a folder.
pub struct FolderFiles {
    disk: Arc<dyn Disk>,
    path: PathBuf,
    /// Names in it that are not of a record.
    pub strangers: Vec<String>,
}

impl FolderFiles {
    /// The folder, which must have a `record.json`.
    pub fn of(path: &Path) -> Result<Self> {
        Self::on(Arc::new(StdDisk), path)
    }

    /// The same on another disk.
    pub fn on(disk: Arc<dyn Disk>, path: &Path) -> Result<Self> {
        let manifest = path.join(MANIFEST);
        if disk.size(&manifest).map_err(|error| Error::io(&manifest, &error))?.is_none() {
            return Err(Error::NotHere(manifest.display().to_string()));
        }
        Ok(Self { disk, path: path.into(), strangers: Vec::new() })
    }

    /// Adds the files of a folder below that are of a record.
    fn list(&mut self, below: &str, names: &mut Vec<(String, Option<u64>)>) -> Result<()> {
        let path = self.path.join(below);
        for file in self.disk.list(&path).map_err(|error| Error::io(&path, &error))? {
            let name = format!("{below}/{file}");
            let path = path.join(&file);
            match Part::of(&name) {
                Some(_) => names.push((name, self.disk.size(&path).map_err(|error| Error::io(&path, &error))?)),
                None => self.strangers.push(name),
            }
        }
        Ok(())
    }
}

impl Files for FolderFiles {
    fn names(&mut self) -> Result<Vec<(String, Option<u64>)>> {
        let mut names = vec![(MANIFEST.into(), None)];
        self.strangers.clear();
        self.list("logs", &mut names)?;
        let blobs = self.path.join("blobs");
        for two in self.disk.list(&blobs).map_err(|error| Error::io(&blobs, &error))? {
            if two.len() == 2 && ledger::hash::from_hex::<1>(&two).is_some() {
                self.list(&format!("blobs/{two}"), &mut names)?;
            } else {
                self.strangers.push(format!("blobs/{two}"));
            }
        }
        Ok(names)
    }

    fn read(&mut self, name: &str, each: &mut dyn FnMut(&[u8]) -> Result<()>) -> Result<()> {
        let path = self.path.join(name);
        pieces(&mut *self.disk.open(&path).map_err(|error| Error::io(&path, &error))?, name, each)
    }
}

/// Hands a reader's bytes on in pieces.
pub(crate) fn pieces(from: &mut (impl Read + ?Sized), name: &str, each: &mut dyn FnMut(&[u8]) -> Result<()>) -> Result<()> {
    let mut buffer = vec![0; PIECE];
    loop {
        match from.read(&mut buffer) {
            Ok(0) => return Ok(()),
            Ok(n) => each(&buffer[..n])?,
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => {}
            Err(error) => return Err(Error::Failed { path: name.into(), why: error.to_string() }),
        }
    }
}

/// Writes a record's files into a folder that has none. `record.json` comes last: a folder without it is not a whole record.
pub fn write_folder(files: &mut dyn Files, disk: &dyn Disk, to: &Path) -> Result<()> {
    let wrong = |path: &Path| {
        let path = path.to_path_buf();
        move |error: std::io::Error| Error::io(&path, &error)
    };
    disk.make_dir(to).map_err(wrong(to))?;
    if !disk.list(to).map_err(wrong(to))?.is_empty() {
        return Err(Error::refused("folder", to.display(), "is not empty", "a new folder"));
    }
    let names = files.names()?;
    for (name, _) in names.iter().filter(|(name, _)| name != MANIFEST).chain(names.first()) {
        let path = to.join(name);
        let folder = path.parent().expect("a file's path has a folder");
        disk.make_dir(folder).map_err(wrong(folder))?;
        let mut file = disk.create(&path).map_err(wrong(&path))?;
        files.read(name, &mut |piece| file.write_all(piece).map_err(wrong(&path)))?;
        file.sync().map_err(wrong(&path))?;
        disk.sync_dir(folder).map_err(wrong(folder))?;
    }
    Ok(())
}
