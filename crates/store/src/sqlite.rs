//! The site's records in one SQLite file, their blobs as files beside it.

mod check;
mod schema;
mod writer;

use crate::batch::{Batch, Checked};
use crate::blobs::{self, BlobFiles};
use crate::disk::{Disk, ReadSeek, StdDisk};
use crate::{Appended, Blob, Error, Kind, LogState, Page, PutBlob, Result, Store, check_job};
use ledger::{Frontier, Hash};
use rusqlite::types::FromSql;
use rusqlite::{Connection, OptionalExtension, Row, ToSql, params};
use schema::{Access, failure};
use std::fs::{File, OpenOptions, TryLockError};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use writer::{Ask, Writer};

/// The database's name in the data folder.
pub const FILE: &str = "record.sqlite";
/// The file that is locked by the one process that writes.
const LOCK: &str = "lock";
/// Connections that wait for the next reader.
const MOST_IDLE: usize = 16;

/// What opening found.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Opening {
    /// Blobs whose writing had been cut off; nothing of them stays.
    pub cut_off: u64,
}

/// Records in a data folder: `record.sqlite`, `blobs/`, `incoming/`, `lock`.
///
/// One process at a time writes, with one thread and one transaction for all that waits; readers go beside it. SQLite runs
/// with a write-ahead log and syncs it before each commit returns.
pub struct Sqlite {
    path: PathBuf,
    access: Access,
    opening: Opening,
    files: Arc<BlobFiles>,
    idle: Mutex<Vec<Connection>>,
    writer: Option<Writer>,
    /// Held as long as this is open; the system lets go of it when the process ends, however it ends.
    _lock: Option<File>,
}

impl Sqlite {
    /// Opens the data folder to write, or makes it. Checks quickly that the tables are whole; [`crate::verify`] checks all.
    pub fn open(folder: &Path) -> Result<Self> {
        Self::open_on(folder, Arc::new(StdDisk))
    }

    /// The same with the blobs on another disk.
    pub fn open_on(folder: &Path, disk: Arc<dyn Disk>) -> Result<Self> {
        StdDisk.make_dir(folder).map_err(|error| Error::io(folder, &error))?;
        let lock = lock(folder)?;
        let path = folder.join(FILE);
        let mut connection = schema::connect(&path, Access::Write)?;
        schema::migrate(&mut connection, &path)?;
        schema::quick_check(&connection, &path)?;
        let (files, cut_off) = BlobFiles::open(disk, folder)?;
        let files = Arc::new(files);
        StdDisk.sync_dir(folder).map_err(|error| Error::io(folder, &error))?;
        let writer = Writer::start(connection, &path)?;
        let opening = Opening { cut_off };
        Ok(Self { path, access: Access::Read, opening, files, idle: Mutex::default(), writer: Some(writer), _lock: Some(lock) })
    }

    /// Opens a data folder that another process may be writing, or whose disk can't be written, only to read.
    pub fn open_to_read(folder: &Path) -> Result<Self> {
        let path = folder.join(FILE);
        if !path.is_file() {
            return Err(Error::NotHere(path.display().to_string()));
        }
        let log = path.with_extension("sqlite-wal");
        let still = std::fs::metadata(&log).map_or(true, |found| found.len() == 0);
        let (access, connection) = match schema::connect(&path, Access::Read).and_then(|connection| {
            schema::quick_check(&connection, &path)?;
            Ok(connection)
        }) {
            Ok(connection) => (Access::Read, connection),
            Err(Error::ReadOnly(_) | Error::Failed { .. }) if still => {
                let connection = schema::connect(&path, Access::Still)?;
                schema::quick_check(&connection, &path)?;
                (Access::Still, connection)
            }
            Err(error) => return Err(error),
        };
        let files = Arc::new(BlobFiles::to_read(Arc::new(StdDisk), folder));
        let opening = Opening::default();
        Ok(Self { path, access, opening, files, idle: Mutex::new(vec![connection]), writer: None, _lock: None })
    }

    /// What opening found.
    pub fn opening(&self) -> Opening {
        self.opening
    }

    fn ask(&self, ask: Ask) -> Result<Appended> {
        self.writer.as_ref().ok_or_else(|| Error::ReadOnly(self.path.clone()))?.ask(ask)
    }

    /// Lends a connection that reads.
    fn reading<T>(&self, with: impl FnOnce(&Connection) -> rusqlite::Result<T>) -> Result<T> {
        let waiting = self.idle.lock().unwrap_or_else(PoisonError::into_inner).pop();
        let connection = match waiting {
            Some(connection) => connection,
            None => schema::connect(&self.path, self.access)?,
        };
        let answer = with(&connection).map_err(|error| failure(&self.path, &error))?;
        let mut idle = self.idle.lock().unwrap_or_else(PoisonError::into_inner);
        if idle.len() < MOST_IDLE {
            idle.push(connection);
        }
        Ok(answer)
    }

    /// The rows of a question.
    fn rows<T>(&self, sql: &str, with: &[&dyn ToSql], read: impl FnMut(&Row<'_>) -> rusqlite::Result<T>) -> Result<Vec<T>> {
        self.reading(|connection| connection.prepare_cached(sql)?.query_map(with, read)?.collect())
    }

    /// The number of a log, if it is here.
    fn log_id(&self, job: &str, log: &str) -> Result<Option<i64>> {
        let sql = "SELECT logs.id FROM logs JOIN jobs ON jobs.id = logs.job WHERE jobs.job = ?1 AND logs.log = ?2";
        self.reading(|connection| connection.prepare_cached(sql)?.query_row([job, log], |row| row.get(0)).optional())
    }

    /// One column of the entries from a place on. They are handed out as they follow one another: where one is gone the log ends.
    fn entries<T: FromSql>(
        &self,
        job: &str,
        log: &str,
        from: u64,
        page: Page,
        column: &str,
        weight: impl Fn(&T) -> usize,
    ) -> Result<Vec<T>> {
        let Some(id) = self.log_id(job, log)? else { return Ok(Vec::new()) };
        let from = from.min(ledger::event::MOST_ENTRIES);
        self.reading(|connection| {
            let sql = format!("SELECT id, {column} FROM entries WHERE id >= ?1 AND id < ?2 ORDER BY id");
            let mut statement = connection.prepare_cached(&sql)?;
            let mut rows = statement.query(params![row_of(id, from), row_of(id + 1, 0)])?;
            let (mut entries, mut bytes) = (Vec::new(), 0);
            while let Some(row) = rows.next()? {
                if row.get::<_, i64>(0)? != row_of(id, from + entries.len() as u64) {
                    break;
                }
                let entry: T = row.get(1)?;
                bytes += weight(&entry);
                if !entries.is_empty() && bytes > page.bytes {
                    break;
                }
                entries.push(entry);
                if entries.len() >= page.entries {
                    break;
                }
            }
            Ok(entries)
        })
    }

    fn log_states(&self, job: &str, log: Option<&str>) -> Result<Vec<LogState>> {
        let sql = "SELECT logs.log, coalesce(trees.size, 0), coalesce(trees.subtrees, x'')
            FROM jobs JOIN logs ON logs.job = jobs.id LEFT JOIN trees ON trees.log = logs.id
            WHERE jobs.job = ?1 AND (?2 IS NULL OR logs.log = ?2) ORDER BY logs.log";
        let rows = self.rows(sql, params![job, log], |row| Ok((row.get::<_, String>(0)?, row.get(1)?, row.get::<_, Vec<u8>>(2)?)))?;
        let state = |(log, size, subtrees): (String, i64, Vec<u8>)| {
            let tree = frontier(&self.path, &log, size, &subtrees)?;
            Ok(LogState { log, size: tree.size(), root: tree.root() })
        };
        rows.into_iter().map(state).collect()
    }
}

/// Locks the folder for this process.
fn lock(folder: &Path) -> Result<File> {
    let path = folder.join(LOCK);
    let options = OpenOptions::new().write(true).create(true).truncate(false).open(&path);
    let file = options.map_err(|error| Error::io(&path, &error))?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(Error::Busy(format!(
            "{}: another undertile writes into this folder; stop that one, or name another folder",
            folder.display()
        ))),
        Err(TryLockError::Error(error)) => Err(Error::io(&path, &error)),
    }
}

/// A log's tree as it is stored.
fn frontier(path: &Path, log: &str, size: i64, subtrees: &[u8]) -> Result<Frontier> {
    let found = u64::try_from(size).ok().and_then(|size| Frontier::of(size, subtrees));
    found.ok_or_else(|| Error::damaged(path.display().to_string(), format!("the stored tree of log {log} is not one of {size} entries")))
}

/// The row number of an entry.
fn row_of(log: i64, seq: u64) -> i64 {
    // A sequence number is below 2^40 (`ledger` refuses others), a log's number below 2^23 (the table does).
    (log << 40) + seq as i64
}

fn blob_of(row: &Row<'_>) -> rusqlite::Result<Blob> {
    let kind: String = row.get(2)?;
    let kind = Kind::named(&kind).ok_or_else(|| rusqlite::Error::InvalidColumnName(format!("{kind}: no kind of blob")))?;
    Ok(Blob { hash: Hash(row.get(0)?), bytes: row.get::<_, i64>(1)?.unsigned_abs(), kind })
}

impl Store for Sqlite {
    fn jobs(&self) -> Result<Vec<String>> {
        self.rows("SELECT job FROM jobs ORDER BY job", &[], |row| row.get(0))
    }

    fn logs(&self, job: &str) -> Result<Vec<LogState>> {
        self.log_states(job, None)
    }

    fn log(&self, job: &str, log: &str) -> Result<LogState> {
        let found = self.log_states(job, Some(log))?.pop();
        Ok(found.unwrap_or_else(|| LogState { log: log.into(), size: 0, root: Hash::of(b"") }))
    }

    fn append(&self, job: &str, batch: Batch) -> Result<Appended> {
        self.ask(Ask::Append(Checked::of(job, batch)?))
    }

    fn read(&self, job: &str, log: &str, from: u64, page: Page) -> Result<Vec<Vec<u8>>> {
        self.entries(job, log, from, page, "bytes", |entry: &Vec<u8>| entry.len())
    }

    fn hashes(&self, job: &str, log: &str, from: u64, most: usize) -> Result<Vec<Hash>> {
        let page = Page { entries: most, bytes: usize::MAX };
        let leaves = self.entries(job, log, from, page, "leaf", |_: &[u8; 32]| 0)?;
        Ok(leaves.into_iter().map(Hash).collect())
    }

    fn heads(&self, job: &str, log: &str) -> Result<Vec<Vec<u8>>> {
        let Some(id) = self.log_id(job, log)? else { return Ok(Vec::new()) };
        self.rows("SELECT line FROM heads WHERE log = ?1 ORDER BY size, line", params![id], |row| row.get(0))
    }

    fn put_blob(&self, job: &str, name: Option<&Hash>) -> Result<Box<dyn PutBlob + '_>> {
        check_job(job)?;
        if self.writer.is_none() {
            return Err(Error::ReadOnly(self.path.clone()));
        }
        Ok(Box::new(Putting { store: self, job: job.into(), put: self.files.put(job, name)? }))
    }

    fn blob(&self, job: &str, hash: &Hash) -> Result<Option<Blob>> {
        let sql = "SELECT hash, bytes, kind FROM blobs WHERE job = (SELECT id FROM jobs WHERE job = ?1) AND hash = ?2";
        Ok(self.rows(sql, params![job, hash.0], blob_of)?.pop())
    }

    fn open_blob(&self, job: &str, hash: &Hash) -> Result<Box<dyn ReadSeek>> {
        if self.blob(job, hash)?.is_none() {
            return Err(Error::NotHere(format!("blob {hash}")));
        }
        match self.files.read(hash) {
            Err(Error::NotHere(path)) => Err(Error::damaged(path, "a blob that was kept is gone")),
            other => other,
        }
    }

    fn blobs(&self, job: &str) -> Result<Vec<Blob>> {
        let sql = "SELECT hash, bytes, kind FROM blobs WHERE job = (SELECT id FROM jobs WHERE job = ?1) ORDER BY hash";
        self.rows(sql, params![job], blob_of)
    }

    fn faults(&self, job: &str) -> Result<Vec<String>> {
        self.reading(|connection| check::faults(connection, job))
    }

    fn missing(&self, job: &str) -> Result<Vec<Hash>> {
        let sql = "SELECT DISTINCT hash FROM named WHERE job = (SELECT id FROM jobs WHERE job = ?1)
            AND NOT EXISTS (SELECT 1 FROM blobs WHERE blobs.job = named.job AND blobs.hash = named.hash) ORDER BY hash";
        self.rows(sql, params![job], |row| Ok(Hash(row.get(0)?)))
    }
}

/// A blob on its way: the file first, then its row.
struct Putting<'a> {
    store: &'a Sqlite,
    job: String,
    put: blobs::Put,
}

impl PutBlob for Putting<'_> {
    fn at(&self) -> u64 {
        self.put.at()
    }

    fn add(&mut self, bytes: &[u8]) -> Result<()> {
        self.put.add(bytes)
    }

    fn finish(self: Box<Self>) -> Result<Blob> {
        let blob = self.put.finish()?;
        self.store.ask(Ask::Blob { job: self.job, blob })?;
        Ok(blob)
    }
}
