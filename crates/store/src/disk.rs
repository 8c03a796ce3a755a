//! The few things a record asks of a file system, so that the same code runs on a disk and on one that fails on purpose.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Seek, Write};
use std::path::Path;

/// A file being written.
pub trait DiskFile: Write + Send {
    /// Returns when all that was written is on the disk. After an error nothing written since the last success may be relied on,
    /// not even if a later call succeeds.
    fn sync(&mut self) -> io::Result<()>;
}

/// A file being read.
pub trait ReadSeek: Read + Seek + Send {}
impl<T: Read + Seek + Send> ReadSeek for T {}

/// A file system.
pub trait Disk: Send + Sync {
    /// A new file; an error when there is one of that name.
    fn create(&self, path: &Path) -> io::Result<Box<dyn DiskFile>>;
    /// An existing file, written on at its end.
    fn append(&self, path: &Path) -> io::Result<Box<dyn DiskFile>>;
    /// An existing file, read from its beginning.
    fn open(&self, path: &Path) -> io::Result<Box<dyn ReadSeek>>;
    /// Bytes of a file; `None` when there is none.
    fn size(&self, path: &Path) -> io::Result<Option<u64>>;
    /// Cuts a file off, durably only after its next sync.
    fn truncate(&self, path: &Path, bytes: u64) -> io::Result<()>;
    /// Gives a file another name, over a file of that name if there is one. Durable after [`Disk::sync_dir`].
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()>;
    /// Removes a file.
    fn remove(&self, path: &Path) -> io::Result<()>;
    /// Makes a folder and those above it, durably.
    fn make_dir(&self, path: &Path) -> io::Result<()>;
    /// Names in a folder, sorted; none when there is no such folder.
    fn list(&self, path: &Path) -> io::Result<Vec<String>>;
    /// Returns when the names in a folder are on the disk.
    fn sync_dir(&self, path: &Path) -> io::Result<()>;
}

/// The machine's file system.
#[derive(Clone, Copy, Debug, Default)]
pub struct StdDisk;

impl DiskFile for File {
    fn sync(&mut self) -> io::Result<()> {
        self.sync_all()
    }
}

impl Disk for StdDisk {
    fn create(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        Ok(Box::new(OpenOptions::new().write(true).create_new(true).open(path)?))
    }

    fn append(&self, path: &Path) -> io::Result<Box<dyn DiskFile>> {
        Ok(Box::new(OpenOptions::new().append(true).open(path)?))
    }

    fn open(&self, path: &Path) -> io::Result<Box<dyn ReadSeek>> {
        Ok(Box::new(File::open(path)?))
    }

    fn size(&self, path: &Path) -> io::Result<Option<u64>> {
        match fs::metadata(path) {
            Ok(found) if found.is_file() => Ok(Some(found.len())),
            Ok(_) => Err(io::Error::other("not a file")),
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(error) => Err(error),
        }
    }

    fn truncate(&self, path: &Path, bytes: u64) -> io::Result<()> {
        OpenOptions::new().write(true).open(path)?.set_len(bytes)
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        fs::rename(from, to)
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        fs::remove_file(path)
    }

    fn make_dir(&self, path: &Path) -> io::Result<()> {
        if path.is_dir() {
            return Ok(());
        }
        if let Some(above) = path.parent().filter(|above| !above.as_os_str().is_empty()) {
            self.make_dir(above)?;
        }
        match fs::create_dir(path) {
            Err(error) if error.kind() != io::ErrorKind::AlreadyExists => return Err(error),
            _ => {}
        }
        let synced = path.parent().map_or(Ok(()), |above| self.sync_dir(above));
        synced.inspect_err(|_| drop(fs::remove_dir(path)))
    }

    fn list(&self, path: &Path) -> io::Result<Vec<String>> {
        let entries = match fs::read_dir(path) {
            Ok(entries) => entries,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
            Err(error) => return Err(error),
        };
        let mut names = entries.map(|entry| Ok(entry?.file_name().to_string_lossy().into_owned())).collect::<io::Result<Vec<_>>>()?;
        names.sort_unstable();
        Ok(names)
    }

    /// Where folders can't be opened as files (Windows), the file system orders names by itself.
    fn sync_dir(&self, path: &Path) -> io::Result<()> {
        if cfg!(unix) {
            let path = if path.as_os_str().is_empty() { Path::new(".") } else { path };
            File::open(path)?.sync_all()?;
        }
        Ok(())
    }
}
