//! Records as plain files over any disk: each job a folder in the layout of `docs/format.md`, written by transactions.
//!
//! A transaction is written into a file `journal` first: what is to stand in which file, from which byte on. The moment that
//! file has its name durably, the transaction has happened; carrying it over into the logs can be done again as often as it
//! takes. So a log never ends in half a line, whatever the disk does with what was not synced.

use crate::batch::{self, Batch, Checked, LogPart};
use crate::blobs::{self, BlobFiles, Put};
use crate::disk::{Disk, ReadSeek};
use crate::files::{self, FolderFiles, JOB_LOG, MANIFEST, Part};
use crate::kind::{self, Kind};
use crate::wanted::RootsWanted;
use crate::{Appended, Blob, Error, LogState, Page, PutBlob, Result, Store, check_job};
use ledger::{Event, Frontier, Hash, Manifest, SignedHead, id};
use serde::{Deserialize, Serialize};
use std::cmp::Ordering;
use std::collections::{BTreeMap, BTreeSet};
use std::io::{Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

const JOURNAL: &str = "journal";
const JOURNAL_PART: &str = "journal.part";

/// Records below one folder of a disk, for one process alone.
pub struct Folder {
    disk: Arc<dyn Disk>,
    root: PathBuf,
    made_by: String,
    jobs: Mutex<BTreeMap<String, Arc<Job>>>,
}

/// One job's folder.
struct Job {
    disk: Arc<dyn Disk>,
    path: PathBuf,
    blobs: Arc<BlobFiles>,
    /// None when a failure left it open what is on the disk: it is read again before it is used.
    known: Mutex<Option<Known>>,
}

/// What is known of a job's files.
#[derive(Default)]
struct Known {
    logs: BTreeMap<String, Log>,
    blobs: BTreeMap<Hash, Blob>,
    named: BTreeSet<Hash>,
    has_manifest: bool,
}

/// What is known of a log's files.
#[derive(Clone, Default)]
struct Log {
    tree: Frontier,
    leaves: Vec<Hash>,
    /// Where each entry ends, with its line break.
    ends: Vec<u64>,
    heads: BTreeSet<(u64, Vec<u8>)>,
    heads_bytes: u64,
}

/// The head of a journal: what is written from which byte of which file on, one after the other, and the hash of all of it.
#[derive(Serialize, Deserialize)]
struct Journal {
    files: Vec<Written>,
    sha256: Hash,
}

#[derive(Serialize, Deserialize)]
struct Written {
    name: String,
    at: u64,
    bytes: u64,
}

impl Folder {
    /// Opens the folder, or makes it. Transactions that had happened and were not carried over are now.
    pub fn open(disk: Arc<dyn Disk>, root: &Path, made_by: &str) -> Result<Self> {
        disk.make_dir(root).map_err(|error| Error::io(root, &error))?;
        let folder = Self { disk, root: root.into(), made_by: made_by.into(), jobs: Mutex::default() };
        for job in folder.disk.list(root).map_err(|error| Error::io(root, &error))? {
            if id::is_uuid(&job) {
                let opened = folder.open_job(&job)?;
                drop(opened.known()?);
            }
        }
        Ok(folder)
    }

    fn jobs_known(&self) -> MutexGuard<'_, BTreeMap<String, Arc<Job>>> {
        self.jobs.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn open_job(&self, job: &str) -> Result<Arc<Job>> {
        let mut jobs = self.jobs_known();
        if let Some(job) = jobs.get(job) {
            return Ok(job.clone());
        }
        let path = self.root.join(job);
        let (blobs, _) = BlobFiles::open(self.disk.clone(), &path)?;
        let logs = path.join("logs");
        self.disk.make_dir(&logs).map_err(|error| Error::io(&logs, &error))?;
        let opened = Arc::new(Job { disk: self.disk.clone(), path, blobs: Arc::new(blobs), known: Mutex::new(None) });
        jobs.insert(job.into(), opened.clone());
        Ok(opened)
    }

    /// Looks into a job, if it is here.
    fn with<T: Default>(&self, job: &str, look: impl FnOnce(&Job, &Known) -> Result<T>) -> Result<T> {
        let found = self.jobs_known().get(job).cloned();
        let Some(job) = found else { return Ok(T::default()) };
        let known = job.known()?;
        match &*known {
            Some(known) => look(&job, known),
            None => Ok(T::default()),
        }
    }
}

impl Job {
    fn io<T>(&self, name: &str, done: std::io::Result<T>) -> Result<T> {
        done.map_err(|error| Error::io(&self.path.join(name), &error))
    }

    /// What is known, read again from the disk if need be.
    fn known(&self) -> Result<MutexGuard<'_, Option<Known>>> {
        let mut known = self.known.lock().unwrap_or_else(PoisonError::into_inner);
        if known.is_none() {
            self.recover()?;
            *known = Some(self.read()?);
        }
        Ok(known)
    }

    /// Carries over a transaction that has happened; removes one that has not.
    fn recover(&self) -> Result<()> {
        let part = self.path.join(JOURNAL_PART);
        if self.io(JOURNAL_PART, self.disk.size(&part))?.is_some() {
            self.io(JOURNAL_PART, self.disk.remove(&part))?;
        }
        let journal = self.path.join(JOURNAL);
        if self.io(JOURNAL, self.disk.size(&journal))?.is_none() {
            return Ok(());
        }
        let bytes = self.whole(JOURNAL)?;
        let (journal, content) = Journal::read(&bytes)
            .ok_or_else(|| Error::damaged(self.path.join(JOURNAL).display().to_string(), "was written whole and is not whole now"))?;
        // Its name may be in the cache alone, after a sync that failed; syncing again would not carry it over, so it is written
        // again.
        self.happen(&bytes)?;
        self.carry(&journal, content)
    }

    /// Gives a journal its name durably: the moment a transaction happens.
    fn happen(&self, journal: &[u8]) -> Result<()> {
        let part = self.path.join(JOURNAL_PART);
        let write = || -> std::io::Result<()> {
            let mut file = self.disk.create(&part)?;
            file.write_all(journal)?;
            file.sync()
        };
        if let Err(error) = write() {
            let _ = self.disk.remove(&part);
            return Err(Error::io(&part, &error));
        }
        let named = self.disk.rename(&part, &self.path.join(JOURNAL)).and_then(|()| self.disk.sync_dir(&self.path));
        named.map_err(|error| self.undecided(error.to_string()))
    }

    /// What is said when a transaction may have happened.
    fn undecided(&self, why: String) -> Error {
        Error::Failed { path: self.path.clone(), why }
    }

    fn whole(&self, name: &str) -> Result<Vec<u8>> {
        let mut bytes = Vec::new();
        let mut file = self.io(name, self.disk.open(&self.path.join(name)))?;
        self.io(name, file.read_to_end(&mut bytes))?;
        Ok(bytes)
    }

    /// Writes what a journal holds to where it belongs, and forgets the journal.
    fn carry(&self, journal: &Journal, mut content: &[u8]) -> Result<()> {
        for written in &journal.files {
            let path = self.path.join(&written.name);
            let (bytes, rest) = content.split_at(written.bytes as usize);
            content = rest;
            let mut file = match self.io(&written.name, self.disk.size(&path))? {
                None if written.at > 0 => {
                    return Err(Error::damaged(path.display().to_string(), format!("is gone, and had {} bytes", written.at)));
                }
                None => self.io(&written.name, self.disk.create(&path))?,
                // Made by this transaction before it failed; its name may be in the cache alone.
                Some(_) if written.at == 0 => {
                    self.io(&written.name, self.disk.remove(&path))?;
                    self.io(&written.name, self.disk.create(&path))?
                }
                Some(size) if size < written.at => {
                    return Err(Error::damaged(path.display().to_string(), format!("has {size} bytes and had {}", written.at)));
                }
                Some(_) => {
                    self.io(&written.name, self.disk.truncate(&path, written.at))?;
                    self.io(&written.name, self.disk.append(&path))?
                }
            };
            self.io(&written.name, file.write_all(bytes))?;
            self.io(&written.name, file.sync())?;
        }
        self.io("logs", self.disk.sync_dir(&self.path.join("logs")))?;
        self.io("", self.disk.sync_dir(&self.path))?;
        self.io(JOURNAL, self.disk.remove(&self.path.join(JOURNAL)))
    }

    /// Makes a transaction happen and carries it over.
    fn commit(&self, changes: BTreeMap<String, (u64, Vec<u8>)>) -> Result<()> {
        let (head, content) = Journal::of(changes);
        self.happen(&[head.to_line(), content.clone()].concat())?;
        self.carry(&head, &content).map_err(|error| self.undecided(error.to_string()))
    }

    /// Reads the job's files.
    fn read(&self) -> Result<Known> {
        let mut known = Known::default();
        let manifest = self.path.join(MANIFEST);
        known.has_manifest = self.io(MANIFEST, self.disk.size(&manifest))?.is_some();
        for file in self.io("logs", self.disk.list(&self.path.join("logs")))? {
            let name = format!("logs/{file}");
            match Part::of(&name) {
                Some(Part::Entries(log)) => {
                    let bytes = self.whole(&name)?;
                    let of_job = log == JOB_LOG;
                    let log = known.logs.entry(log).or_default();
                    for line in lines(&self.path, &name, &bytes)? {
                        log.push(Hash::leaf(line), line.len());
                        if !of_job {
                            known.named.extend(Event::read(line).map(|event| event.blobs).unwrap_or_default());
                        }
                    }
                }
                Some(Part::Heads(log)) => {
                    let bytes = self.whole(&name)?;
                    let log = known.logs.entry(log).or_default();
                    for line in lines(&self.path, &name, &bytes)? {
                        let (_, head) = SignedHead::read(line).map_err(|error| Error::damaged(&name, error.to_string()))?;
                        log.heads.insert((head.size, line.to_vec()));
                        log.heads_bytes += line.len() as u64 + 1;
                    }
                }
                _ => {}
            }
        }
        for two in self.io("blobs", self.disk.list(&self.path.join("blobs")))? {
            for file in self.io("blobs", self.disk.list(&self.path.join("blobs").join(&two)))? {
                if let Some(Part::Blob(hash)) = Part::of(&format!("blobs/{two}/{file}")) {
                    known.blobs.extend(self.blob(hash)?.map(|blob| (hash, blob)));
                }
            }
        }
        Ok(known)
    }

    fn blob(&self, hash: Hash) -> Result<Option<Blob>> {
        let Some(bytes) = self.blobs.size(&hash)? else { return Ok(None) };
        let mut start = Vec::new();
        let name = blobs::name(&hash);
        self.io(&name, self.blobs.read(&hash)?.take(kind::LOOK as u64).read_to_end(&mut start))?;
        let kind = Kind::of(&start).ok_or_else(|| Error::damaged(name, "begins as nothing a record takes"))?;
        Ok(Some(Blob { hash, bytes, kind }))
    }

    fn append(&self, batch: &Checked, manifest: &Manifest) -> Result<Appended> {
        let mut guard = self.known()?;
        let known = guard.as_mut().expect("it was just read");
        let mut done =
            Appended { missing: batch.names().into_iter().filter(|name| !known.blobs.contains_key(name)).collect(), ..Appended::default() };
        if !batch.blobs_follow && !done.missing.is_empty() {
            return Err(batch::missing(&done.missing));
        }
        let mut changes = BTreeMap::new();
        let mut grown = BTreeMap::new();
        for (log, part) in &batch.logs {
            let name = if *log == batch.job { JOB_LOG } else { log };
            let mut of_log = known.logs.get(name).cloned().unwrap_or_default();
            let added = self.grow(log, name, &mut of_log, part, &mut changes)?;
            done.added += added;
            done.known += part.entries.len() as u64 - added;
            done.logs.push(LogState { log: log.clone(), size: of_log.tree.size(), root: of_log.tree.root() });
            grown.insert(name.to_string(), of_log);
        }
        if changes.is_empty() {
            return Ok(done);
        }
        if !known.has_manifest {
            changes.insert(MANIFEST.into(), (0, manifest.to_bytes()));
        }
        if let Err(error) = self.commit(changes) {
            *guard = None;
            return Err(error);
        }
        known.has_manifest = true;
        known.logs.extend(grown);
        known.named.extend(batch.names());
        Ok(done)
    }

    /// Adds a log's part of a batch to what is known of it and to what is to be written; says how many entries are new.
    fn grow(&self, log: &str, name: &str, known: &mut Log, part: &LogPart, changes: &mut BTreeMap<String, (u64, Vec<u8>)>) -> Result<u64> {
        let [entries, hashes, heads] = ["jsonl", "hashes", "heads.jsonl"].map(|part| format!("logs/{name}.{part}"));
        let (before, start) = (known.tree.size(), known.end());
        let mut roots = RootsWanted::of(&known.tree, &part.heads);
        let (mut lines, mut sums) = (Vec::new(), String::new());
        for entry in &part.entries {
            match entry.seq.cmp(&known.tree.size()) {
                Ordering::Greater => return Err(Error::Gap { log: log.into(), size: known.tree.size(), seq: entry.seq }),
                Ordering::Less => {
                    let kept = known.leaves[entry.seq as usize];
                    if kept != entry.leaf {
                        return Err(Error::Forked { log: log.into(), seq: entry.seq, kept, sent: entry.leaf });
                    }
                }
                Ordering::Equal => {
                    known.push(entry.leaf, entry.bytes.len());
                    roots.grown(&known.tree);
                    lines.extend_from_slice(&entry.bytes);
                    lines.push(b'\n');
                    sums += &format!("{}\n", entry.leaf);
                }
            }
        }
        let mut said = Vec::new();
        let head_start = known.heads_bytes;
        for head in &part.heads {
            if known.heads.contains(&(head.size, head.line.clone())) {
                continue;
            }
            if !roots.has(head.size) && head.size <= known.tree.size() {
                let mut tree = Frontier::default();
                roots.grown(&tree);
                for leaf in &known.leaves {
                    tree.push(*leaf);
                    roots.grown(&tree);
                }
            }
            roots.check(log, known.tree.size(), head)?;
            known.heads.insert((head.size, head.line.clone()));
            known.heads_bytes += head.line.len() as u64 + 1;
            said.extend_from_slice(&head.line);
            said.push(b'\n');
        }
        let added = known.tree.size() - before;
        if added > 0 {
            changes.insert(entries, (start, lines));
            changes.insert(hashes, (65 * before, sums.into_bytes()));
        }
        if !said.is_empty() {
            changes.insert(heads, (head_start, said));
        }
        Ok(added)
    }
}

impl Log {
    fn push(&mut self, leaf: Hash, bytes: usize) {
        self.ends.push(self.end() + bytes as u64 + 1);
        self.tree.push(leaf);
        self.leaves.push(leaf);
    }

    fn end(&self) -> u64 {
        self.ends.last().copied().unwrap_or(0)
    }
}

/// The lines of a file; a transaction writes whole ones, so half a line is damage.
fn lines<'a>(path: &Path, name: &str, bytes: &'a [u8]) -> Result<Vec<&'a [u8]>> {
    let mut lines: Vec<&[u8]> = bytes.split(|byte| *byte == b'\n').collect();
    match lines.pop() {
        Some([]) => Ok(lines),
        _ => Err(Error::damaged(path.join(name).display().to_string(), "ends in the middle of a line")),
    }
}

impl Journal {
    fn of(changes: BTreeMap<String, (u64, Vec<u8>)>) -> (Self, Vec<u8>) {
        let mut content = Vec::new();
        let mut files = Vec::new();
        for (name, (at, bytes)) in changes {
            files.push(Written { name, at, bytes: bytes.len() as u64 });
            content.extend(bytes);
        }
        (Self { files, sha256: Hash::of(&content) }, content)
    }

    fn to_line(&self) -> Vec<u8> {
        let mut line = serde_json::to_vec(self).expect("names, numbers and a hash are always JSON");
        line.push(b'\n');
        line
    }

    /// The journal and what it is to write, if it is whole and names files of a record.
    fn read(bytes: &[u8]) -> Option<(Self, &[u8])> {
        let end = bytes.iter().position(|byte| *byte == b'\n')?;
        let journal: Self = serde_json::from_slice(&bytes[..end]).ok()?;
        let content = &bytes[end + 1..];
        let total = journal.files.iter().try_fold(0_u64, |sum, file| sum.checked_add(file.bytes))?;
        let named = journal.files.iter().all(|file| Part::of(&file.name).is_some_and(|part| !matches!(part, Part::Blob(_))));
        (named && total == content.len() as u64 && Hash::of(content) == journal.sha256).then_some((journal, content))
    }
}

impl Store for Folder {
    fn jobs(&self) -> Result<Vec<String>> {
        let jobs: Vec<(String, Arc<Job>)> = self.jobs_known().iter().map(|(name, job)| (name.clone(), job.clone())).collect();
        let mut names = Vec::new();
        for (name, job) in jobs {
            if job.known()?.as_ref().is_some_and(|known| known.has_manifest || !known.blobs.is_empty()) {
                names.push(name);
            }
        }
        Ok(names)
    }

    fn logs(&self, job: &str) -> Result<Vec<LogState>> {
        self.with(job, |_, known| {
            let state = |(name, log): (&String, &Log)| {
                let name = if name == JOB_LOG { job } else { name };
                LogState { log: name.into(), size: log.tree.size(), root: log.tree.root() }
            };
            let mut logs: Vec<LogState> = known.logs.iter().map(state).collect();
            logs.sort_by(|a, b| a.log.cmp(&b.log));
            Ok(logs)
        })
    }

    fn append(&self, job: &str, batch: Batch) -> Result<Appended> {
        let checked = Checked::of(job, batch)?;
        let manifest = Manifest { format: ledger::manifest::FORMAT.into(), job: job.into(), made_by: self.made_by.clone(), site: None };
        self.open_job(job)?.append(&checked, &manifest)
    }

    fn read(&self, job: &str, log: &str, from: u64, page: Page) -> Result<Vec<Vec<u8>>> {
        let name = if log == job { JOB_LOG } else { log };
        self.with(job, |of_job, known| {
            let Some(log) = known.logs.get(name) else { return Ok(Vec::new()) };
            let first = usize::try_from(from).unwrap_or(usize::MAX).min(log.ends.len());
            let start = if first == 0 { 0 } else { log.ends[first - 1] };
            let fits = |end: &&u64| **end - start <= page.bytes as u64;
            let count = log.ends[first..].iter().take(page.entries).take_while(fits).count().max(1).min(log.ends.len() - first);
            if count == 0 {
                return Ok(Vec::new());
            }
            let file = format!("logs/{name}.jsonl");
            let mut bytes = vec![0; (log.ends[first + count - 1] - start) as usize];
            let mut reader = of_job.io(&file, of_job.disk.open(&of_job.path.join(&file)))?;
            of_job.io(&file, reader.seek(SeekFrom::Start(start)).and_then(|_| reader.read_exact(&mut bytes)))?;
            let cut = |i: usize| {
                let begin = if i == 0 { 0 } else { log.ends[first + i - 1] - start } as usize;
                bytes[begin..(log.ends[first + i] - start) as usize - 1].to_vec()
            };
            Ok((0..count).map(cut).collect())
        })
    }

    fn hashes(&self, job: &str, log: &str, from: u64, most: usize) -> Result<Vec<Hash>> {
        let name = if log == job { JOB_LOG } else { log };
        self.with(job, |_, known| {
            let leaves = known.logs.get(name).map_or(&[][..], |log| &log.leaves);
            let first = usize::try_from(from).unwrap_or(usize::MAX).min(leaves.len());
            Ok(leaves[first..].iter().take(most).copied().collect())
        })
    }

    fn heads(&self, job: &str, log: &str) -> Result<Vec<Vec<u8>>> {
        let name = if log == job { JOB_LOG } else { log };
        self.with(job, |_, known| {
            Ok(known.logs.get(name).map(|log| log.heads.iter().map(|(_, line)| line.clone()).collect()).unwrap_or_default())
        })
    }

    fn put_blob(&self, job: &str, name: Option<&Hash>) -> Result<Box<dyn PutBlob + '_>> {
        check_job(job)?;
        let of_job = self.open_job(job)?;
        let put = of_job.blobs.put(job, name)?;
        Ok(Box::new(Putting { job: of_job, put }))
    }

    fn blob(&self, job: &str, hash: &Hash) -> Result<Option<Blob>> {
        self.with(job, |_, known| Ok(known.blobs.get(hash).copied()))
    }

    fn open_blob(&self, job: &str, hash: &Hash) -> Result<Box<dyn ReadSeek>> {
        if self.blob(job, hash)?.is_none() {
            return Err(Error::NotHere(format!("blob {hash}")));
        }
        self.open_job(job)?.blobs.read(hash)
    }

    fn blobs(&self, job: &str) -> Result<Vec<Blob>> {
        self.with(job, |_, known| Ok(known.blobs.values().copied().collect()))
    }

    fn missing(&self, job: &str) -> Result<Vec<Hash>> {
        self.with(job, |_, known| Ok(known.named.iter().filter(|hash| !known.blobs.contains_key(hash)).copied().collect()))
    }

    fn faults(&self, job: &str) -> Result<Vec<String>> {
        // Beside the record itself nothing is kept: what is known at hand is read from it.
        self.with(job, |of_job, _| {
            let mut files = FolderFiles::on(of_job.disk.clone(), &of_job.path)?;
            files::Files::names(&mut files)?;
            Ok(files.strangers.into_iter().map(|name| format!("{name} is not a file of a record")).collect())
        })
    }
}

/// A blob on its way.
struct Putting {
    job: Arc<Job>,
    put: Put,
}

impl PutBlob for Putting {
    fn at(&self) -> u64 {
        self.put.at()
    }

    fn add(&mut self, bytes: &[u8]) -> Result<()> {
        self.put.add(bytes)
    }

    fn finish(self: Box<Self>) -> Result<Blob> {
        let blob = self.put.finish()?;
        if let Some(known) = self.job.known()?.as_mut() {
            known.blobs.insert(blob.hash, blob);
        }
        Ok(blob)
    }
}
