//! A disk that loses, reorders and tears what was not synced, and fails when it is told to.
//!
//! The fault model in words. A write goes to the cache and is read back from there. A sync carries a file's writes to the
//! disk. When the machine stops, of each file's writes since its last sync any may have reached the disk, in any order, each
//! perhaps only in part; where one is missing below a later one there are zeros. Names behave alike: of a folder's changes since
//! its last sync any may have reached the disk (a rename's two halves each by itself). A sync that fails loses what it should
//! have carried while the cache still shows it, and a later sync of that file succeeds without it. The disk may be full, fail, or
//! take half of a write.

use crate::disk::{Disk, DiskFile, ReadSeek};
use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, Cursor, Write};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Bytes that reach the disk together.
const SECTOR: usize = 512;

/// What goes wrong at one operation.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fault {
    /// The machine stops while it is done.
    Crash,
    /// No room; half of a write is taken.
    Full,
    /// The disk fails.
    Error,
}

/// Every kind.
pub const FAULTS: [Fault; 3] = [Fault::Crash, Fault::Full, Fault::Error];

/// What has happened on a disk.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Happened {
    /// Operations that change something.
    pub operations: u64,
    /// Writes lost when the machine stopped.
    pub lost: u64,
    /// Writes that reached the disk in part.
    pub torn: u64,
    /// Files whose writes reached it in another order.
    pub reordered: u64,
    /// Changes of names that were lost.
    pub names_lost: u64,
}

/// The disk. Clones are the same disk.
#[derive(Clone, Default)]
pub struct SimDisk(Arc<Mutex<State>>);

#[derive(Default)]
struct State {
    files: Vec<Inode>,
    names: BTreeMap<PathBuf, usize>,
    durable_names: BTreeMap<PathBuf, usize>,
    pending_names: BTreeMap<PathBuf, Vec<(PathBuf, Option<usize>)>>,
    folders: BTreeSet<PathBuf>,
    random: u64,
    plan: Option<(u64, Fault)>,
    stopped: bool,
    happened: Happened,
}

#[derive(Default)]
struct Inode {
    cache: Vec<u8>,
    disk: Vec<u8>,
    pending: Vec<Change>,
}

#[derive(Clone)]
enum Change {
    Write(usize, Vec<u8>),
    Cut(usize),
}

impl Change {
    fn apply(&self, to: &mut Vec<u8>) {
        match self {
            Self::Write(at, bytes) => {
                if to.len() < at + bytes.len() {
                    to.resize(at + bytes.len(), 0);
                }
                to[*at..at + bytes.len()].copy_from_slice(bytes);
            }
            Self::Cut(bytes) => to.resize(*bytes, 0),
        }
    }
}

impl SimDisk {
    /// An empty disk; all its chances come from the seed.
    pub fn new(seed: u64) -> Self {
        let disk = Self::default();
        disk.state().random = seed;
        disk
    }

    /// Plans a fault at the operation of this number, from 0, counted from now on.
    pub fn plan(&self, after: u64, fault: Fault) {
        let mut state = self.state();
        state.plan = Some((state.happened.operations + after, fault));
    }

    /// What has happened.
    pub fn happened(&self) -> Happened {
        self.state().happened
    }

    /// Whether the machine has stopped.
    pub fn stopped(&self) -> bool {
        self.state().stopped
    }

    /// Turns one bit of a file over, in cache and on the disk.
    pub fn flip(&self, path: &Path, bit: usize) {
        let mut state = self.state();
        if let Some(file) = state.names.get(path).copied() {
            let file = &mut state.files[file];
            for bytes in [&mut file.cache, &mut file.disk] {
                if let Some(byte) = bytes.get_mut(bit / 8) {
                    *byte ^= 1 << (bit % 8);
                }
            }
        }
    }

    /// Stops the machine, if it has not stopped, and starts it again: what is on the disk is all there is.
    pub fn restart(&self) {
        let mut state = self.state();
        for file in 0..state.files.len() {
            state.settle(file);
        }
        for (_, changes) in std::mem::take(&mut state.pending_names) {
            for (path, file) in changes {
                if state.chance(2) {
                    state.happened.names_lost += 1;
                } else {
                    set(&mut state.durable_names, path, file);
                }
            }
        }
        state.names = state.durable_names.clone();
        state.stopped = false;
        state.plan = None;
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn set(names: &mut BTreeMap<PathBuf, usize>, path: PathBuf, file: Option<usize>) {
    match file {
        Some(file) => names.insert(path, file),
        None => names.remove(&path),
    };
}

fn folder_of(path: &Path) -> PathBuf {
    path.parent().map(Path::to_path_buf).unwrap_or_default()
}

impl State {
    fn draw(&mut self, below: usize) -> usize {
        // SplitMix64, by Steele, Lea and Flood (2014).
        self.random = self.random.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.random ^ (self.random >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) % below as u64) as usize
    }

    fn chance(&mut self, one_in: usize) -> bool {
        self.draw(one_in) == 0
    }

    /// What of a file's unsynced writes is on the disk when the machine stops.
    fn settle(&mut self, file: usize) {
        let mut pending = std::mem::take(&mut self.files[file].pending);
        let order: Vec<usize> = {
            let mut order: Vec<usize> = (0..pending.len()).collect();
            if order.len() > 1 && self.chance(2) {
                for i in (1..order.len()).rev() {
                    order.swap(i, self.draw(i + 1));
                }
                self.happened.reordered += 1;
            }
            order
        };
        for i in order {
            match self.draw(3) {
                0 => self.happened.lost += 1,
                1 => {
                    let change = std::mem::replace(&mut pending[i], Change::Cut(0));
                    self.tear(file, change);
                }
                _ => {
                    let change = pending[i].clone();
                    change.apply(&mut self.files[file].disk);
                }
            }
        }
        self.files[file].cache = self.files[file].disk.clone();
    }

    /// Only some sectors of a write reach the disk, or, of the last, a part.
    fn tear(&mut self, file: usize, change: Change) {
        let Change::Write(at, bytes) = change else {
            change.apply(&mut self.files[file].disk);
            return;
        };
        self.happened.torn += 1;
        for (i, sector) in bytes.chunks(SECTOR).enumerate() {
            if self.chance(2) {
                let part = if self.chance(2) { self.draw(sector.len() + 1) } else { sector.len() };
                Change::Write(at + i * SECTOR, sector[..part].to_vec()).apply(&mut self.files[file].disk);
            }
        }
    }

    /// Counts an operation; the fault planned for it, if one is. After a crash everything fails.
    fn step(&mut self) -> io::Result<Option<Fault>> {
        if self.stopped {
            return Err(io::Error::other("the machine has stopped"));
        }
        let number = self.happened.operations;
        self.happened.operations += 1;
        let fault = self.plan.filter(|(at, _)| *at == number).map(|(_, fault)| fault);
        self.stopped = fault == Some(Fault::Crash);
        Ok(fault)
    }

    /// The error of a fault, if one is.
    fn fail(fault: Option<Fault>) -> io::Result<()> {
        match fault {
            None => Ok(()),
            Some(Fault::Crash) => Err(io::Error::other("the machine has stopped")),
            Some(Fault::Full) => Err(io::ErrorKind::StorageFull.into()),
            Some(Fault::Error) => Err(io::Error::other("the disk failed")),
        }
    }

    fn file(&self, path: &Path) -> io::Result<usize> {
        if self.stopped {
            return Err(io::Error::other("the machine has stopped"));
        }
        self.names.get(path).copied().ok_or_else(|| io::ErrorKind::NotFound.into())
    }

    fn name(&mut self, path: &Path, file: Option<usize>) {
        set(&mut self.names, path.into(), file);
        self.pending_names.entry(folder_of(path)).or_default().push((path.into(), file));
    }

    fn change(&mut self, file: usize, change: Change) {
        change.apply(&mut self.files[file].cache);
        self.files[file].pending.push(change);
    }
}

struct SimFile {
    disk: SimDisk,
    file: usize,
}

impl Write for SimFile {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let mut state = self.disk.state();
        let fault = state.step()?;
        let taken = match fault {
            Some(Fault::Full | Fault::Error) => bytes.len() / 2,
            _ => bytes.len(),
        };
        let at = state.files[self.file].cache.len();
        state.change(self.file, Change::Write(at, bytes[..taken].to_vec()));
        State::fail(fault)?;
        Ok(taken)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl DiskFile for SimFile {
    fn sync(&mut self) -> io::Result<()> {
        let mut state = self.disk.state();
        let fault = state.step()?;
        if fault == Some(Fault::Crash) {
            return State::fail(fault);
        }
        let pending = std::mem::take(&mut state.files[self.file].pending);
        State::fail(fault)?;
        pending.iter().for_each(|change| change.apply(&mut state.files[self.file].disk));
        Ok(())
    }
}

impl Disk for SimDisk {
    fn create(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        let mut state = self.state();
        if state.names.contains_key(path) {
            return Err(io::ErrorKind::AlreadyExists.into());
        }
        if !state.folders.contains(&folder_of(path)) {
            return Err(io::ErrorKind::NotFound.into());
        }
        let fault = state.step()?;
        if matches!(fault, None | Some(Fault::Crash)) {
            state.files.push(Inode::default());
            let file = state.files.len() - 1;
            state.name(path, Some(file));
        }
        State::fail(fault)?;
        Ok(Box::new(SimFile { disk: self.clone(), file: state.files.len() - 1 }))
    }

    fn append(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        Ok(Box::new(SimFile { disk: self.clone(), file: self.state().file(path)? }))
    }

    fn open(&self, path: &Path) -> io::Result<Box<dyn ReadSeek>> {
        let state = self.state();
        Ok(Box::new(Cursor::new(state.files[state.file(path)?].cache.clone())))
    }

    fn size(&self, path: &Path) -> io::Result<Option<u64>> {
        let state = self.state();
        match state.file(path) {
            Ok(file) => Ok(Some(state.files[file].cache.len() as u64)),
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(error) => Err(error),
        }
    }

    fn truncate(&self, path: &Path, bytes: u64) -> io::Result<()> {
        let mut state = self.state();
        let file = state.file(path)?;
        let fault = state.step()?;
        if matches!(fault, None | Some(Fault::Crash)) {
            state.change(file, Change::Cut(bytes as usize));
        }
        State::fail(fault)
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        let mut state = self.state();
        let file = state.file(from)?;
        let fault = state.step()?;
        if matches!(fault, None | Some(Fault::Crash)) {
            state.name(to, Some(file));
            state.name(from, None);
        }
        State::fail(fault)
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        let mut state = self.state();
        state.file(path)?;
        let fault = state.step()?;
        if matches!(fault, None | Some(Fault::Crash)) {
            state.name(path, None);
        }
        State::fail(fault)
    }

    fn make_dir(&self, path: &Path) -> io::Result<()> {
        let mut state = self.state();
        if state.folders.contains(path) {
            return Ok(());
        }
        let fault = state.step()?;
        State::fail(fault)?;
        state.folders.extend(path.ancestors().map(Path::to_path_buf));
        Ok(())
    }

    fn list(&self, path: &Path) -> io::Result<Vec<String>> {
        let state = self.state();
        if state.stopped {
            return Err(io::Error::other("the machine has stopped"));
        }
        let folders = state.folders.iter().filter(|folder| folder.parent() == Some(path));
        let files = state.names.keys().filter(|name| name.parent() == Some(path));
        let mut names: Vec<String> =
            folders.chain(files).filter_map(|path| Some(path.file_name()?.to_string_lossy().into_owned())).collect();
        names.sort_unstable();
        Ok(names)
    }

    fn sync_dir(&self, path: &Path) -> io::Result<()> {
        let mut state = self.state();
        let fault = state.step()?;
        if fault == Some(Fault::Crash) {
            return State::fail(fault);
        }
        let pending = state.pending_names.remove(path).unwrap_or_default();
        State::fail(fault)?;
        pending.into_iter().for_each(|(path, file)| set(&mut state.durable_names, path, file));
        Ok(())
    }
}
