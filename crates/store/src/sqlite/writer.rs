//! The one thread that writes. It takes what is waiting into one transaction, so that many callers share one sync.

use super::row_of;
use super::schema::{self, Access, failure};
use crate::batch::{self, Checked, CheckedHead, Entry};
use crate::wanted::RootsWanted;
use crate::{Appended, Blob, Error, LogState, Result};
use ledger::{Frontier, Hash};
use rusqlite::types::FromSql;
use rusqlite::{Connection, OptionalExtension, ToSql, TransactionBehavior, params};
use std::cmp::Ordering;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver, Sender, SyncSender};
use std::thread::{self, JoinHandle};

/// Requests of one transaction.
const MOST_REQUESTS: usize = 256;
/// Bytes of one transaction, about.
const MOST_BYTES: usize = 16_000_000;
/// Logs whose trees are kept at hand.
const MOST_LOGS: usize = 10_000;

/// What the writer is asked to keep.
pub(super) enum Ask {
    Append(Checked),
    Blob { job: String, blob: Blob },
}

struct Request {
    ask: Ask,
    answer: SyncSender<Result<Appended>>,
}

/// The thread, and the way to it.
pub(super) struct Writer {
    requests: Option<Sender<Request>>,
    thread: Option<JoinHandle<()>>,
    path: PathBuf,
}

impl Writer {
    /// Starts it on a connection that was opened to write.
    pub fn start(connection: Connection, path: &Path) -> Result<Self> {
        let (requests, waiting) = mpsc::channel();
        let mut desk = Desk { path: path.into(), connection: Some(connection), known: BTreeMap::new() };
        let thread = thread::Builder::new()
            .name("record writer".into())
            .spawn(move || desk.work(&waiting))
            .map_err(|error| Error::io(path, &error))?;
        Ok(Self { requests: Some(requests), thread: Some(thread), path: path.into() })
    }

    /// Returns when it is on the disk.
    pub fn ask(&self, ask: Ask) -> Result<Appended> {
        let gone = || Error::Failed { path: self.path.clone(), why: "the writer has stopped; start the program again".into() };
        let (answer, answered) = mpsc::sync_channel(1);
        self.requests.as_ref().ok_or_else(gone)?.send(Request { ask, answer }).map_err(|_| gone())?;
        answered.recv().map_err(|_| gone())?
    }
}

impl Drop for Writer {
    fn drop(&mut self) {
        self.requests = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

struct Known {
    id: i64,
    tree: Frontier,
}

struct Desk {
    path: PathBuf,
    /// None after a failure: what a connection holds then is not relied on.
    connection: Option<Connection>,
    /// Logs by job and name, as they are committed.
    known: BTreeMap<(String, String), Known>,
}

impl Desk {
    fn work(&mut self, waiting: &Receiver<Request>) {
        while let Ok(first) = waiting.recv() {
            let mut group = vec![first];
            let mut bytes = weight(&group[0]);
            while group.len() < MOST_REQUESTS && bytes < MOST_BYTES {
                let Ok(next) = waiting.try_recv() else { break };
                bytes += weight(&next);
                group.push(next);
            }
            let asks: Vec<&Ask> = group.iter().map(|request| &request.ask).collect();
            let answers = self.transact(&asks);
            for (i, request) in group.iter().enumerate() {
                let answer = answers.as_ref().map_err(Error::clone).and_then(|answers| answers[i].clone());
                // A caller that went away misses its answer; what it asked for is kept all the same.
                let _ = request.answer.send(answer);
            }
        }
    }

    /// One transaction of many requests; each is refused alone, but a failure of the disk is one of all.
    fn transact(&mut self, asks: &[&Ask]) -> Result<Vec<Result<Appended>>> {
        let mut connection = match self.connection.take() {
            Some(connection) => connection,
            None => schema::connect(&self.path, Access::Write)?,
        };
        if self.known.len() > MOST_LOGS {
            self.known.clear();
        }
        match self.all(&mut connection, asks) {
            Ok(answers) => {
                self.connection = Some(connection);
                Ok(answers)
            }
            Err(error) => {
                self.known.clear();
                Err(error)
            }
        }
    }

    fn all(&mut self, connection: &mut Connection, asks: &[&Ask]) -> Result<Vec<Result<Appended>>> {
        let path = self.path.clone();
        let wrong = |error| failure(&path, &error);
        let mut transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate).map_err(wrong)?;
        let mut answers = Vec::with_capacity(asks.len());
        for ask in asks {
            let savepoint = transaction.savepoint().map_err(wrong)?;
            let mut keeper = Keeper { connection: &savepoint, path: &path, known: &mut self.known };
            match keeper.keep(ask) {
                Ok(done) => {
                    savepoint.commit().map_err(wrong)?;
                    answers.push(Ok(done));
                }
                Err(error @ (Error::Refused(_) | Error::Forked { .. } | Error::Gap { .. })) => {
                    drop(savepoint);
                    self.forget(ask);
                    answers.push(Err(error));
                }
                Err(error) => return Err(error),
            }
        }
        transaction.commit().map_err(wrong)?;
        Ok(answers)
    }

    /// What a request that was refused had changed at hand is read again from the tables.
    fn forget(&mut self, ask: &Ask) {
        if let Ask::Append(batch) = ask {
            for log in batch.logs.keys() {
                self.known.remove(&(batch.job.clone(), log.clone()));
            }
        }
    }
}

fn weight(request: &Request) -> usize {
    match &request.ask {
        Ask::Append(batch) => batch.bytes(),
        Ask::Blob { .. } => 100,
    }
}

/// Writes one request within a transaction.
struct Keeper<'a> {
    connection: &'a Connection,
    path: &'a Path,
    known: &'a mut BTreeMap<(String, String), Known>,
}

impl Keeper<'_> {
    fn keep(&mut self, ask: &Ask) -> Result<Appended> {
        match ask {
            Ask::Append(batch) => self.append(batch),
            Ask::Blob { job, blob } => self.blob(job, blob),
        }
    }

    fn append(&mut self, batch: &Checked) -> Result<Appended> {
        let job = self.job(&batch.job)?;
        let mut done = Appended::default();
        for name in batch.names() {
            if !self.has("SELECT 1 FROM blobs WHERE job = ?1 AND hash = ?2", params![job, name.0])? {
                done.missing.push(name);
            }
        }
        if !batch.blobs_follow && !done.missing.is_empty() {
            return Err(batch::missing(&done.missing));
        }
        for (log, part) in &batch.logs {
            let key = (batch.job.clone(), log.clone());
            let mut known = match self.known.remove(&key) {
                Some(known) => known,
                None => self.open_log(job, log)?,
            };
            let mut roots = RootsWanted::of(&known.tree, &part.heads);
            for entry in &part.entries {
                match entry.seq.cmp(&known.tree.size()) {
                    Ordering::Less => self.compare(log, known.id, entry)?,
                    Ordering::Greater => return Err(Error::Gap { log: log.clone(), size: known.tree.size(), seq: entry.seq }),
                    Ordering::Equal => {
                        self.insert(job, known.id, entry)?;
                        known.tree.push(entry.leaf);
                        roots.grown(&known.tree);
                        done.added += 1;
                    }
                }
            }
            done.known += part.entries.len() as u64;
            self.heads(log, &known, &part.heads, roots)?;
            self.write("INSERT INTO trees (log, size, subtrees) VALUES (?1, ?2, ?3) ON CONFLICT (log) DO UPDATE SET size = excluded.size, subtrees = excluded.subtrees",
                params![known.id, known.tree.size() as i64, known.tree.to_bytes()])?;
            done.logs.push(LogState { log: log.clone(), size: known.tree.size(), root: known.tree.root() });
            self.known.insert(key, known);
        }
        done.known -= done.added;
        Ok(done)
    }

    fn blob(&self, job: &str, blob: &Blob) -> Result<Appended> {
        let job = self.job(job)?;
        if !self.has("SELECT 1 FROM blobs WHERE job = ?1 AND hash = ?2", params![job, blob.hash.0])? {
            let row = params![job, blob.hash.0, blob.bytes as i64, blob.kind.to_string()];
            self.write("INSERT INTO blobs (job, hash, bytes, kind) VALUES (?1, ?2, ?3, ?4)", row)?;
        }
        Ok(Appended::default())
    }

    fn insert(&self, job: i64, log: i64, entry: &Entry) -> Result<()> {
        let id = row_of(log, entry.seq);
        self.write("INSERT INTO entries (id, leaf, bytes) VALUES (?1, ?2, ?3)", params![id, entry.leaf.0, entry.bytes])?;
        for name in entry.names.iter().collect::<BTreeSet<_>>() {
            self.write("INSERT INTO named (job, hash, entry) VALUES (?1, ?2, ?3)", params![job, name.0, id])?;
        }
        Ok(())
    }

    /// An entry that is there must be there with the same bytes.
    fn compare(&self, log: &str, id: i64, entry: &Entry) -> Result<()> {
        let row = row_of(id, entry.seq);
        let kept: Vec<u8> = self
            .one("SELECT bytes FROM entries WHERE id = ?1", params![row])?
            .ok_or_else(|| Error::damaged(self.path.display().to_string(), format!("entry {} of log {log} is gone", entry.seq)))?;
        if kept == entry.bytes {
            return Ok(());
        }
        Err(Error::Forked { log: log.into(), seq: entry.seq, kept: Hash::leaf(&kept), sent: entry.leaf })
    }

    /// Keeps heads that fit the log at their size.
    fn heads(&self, log: &str, known: &Known, heads: &[CheckedHead], mut roots: RootsWanted) -> Result<()> {
        let mut new = Vec::new();
        for head in heads {
            let row = params![known.id, head.size as i64, head.line];
            if !self.has("SELECT 1 FROM heads WHERE log = ?1 AND size = ?2 AND line = ?3", row)? {
                new.push(head);
            }
        }
        if new.iter().any(|head| head.size <= known.tree.size() && !roots.has(head.size)) {
            self.earlier(known, &mut roots)?;
        }
        for head in new {
            roots.check(log, known.tree.size(), head)?;
            let row = params![known.id, head.size as i64, head.line];
            self.write("INSERT INTO heads (log, size, line) VALUES (?1, ?2, ?3)", row)?;
        }
        Ok(())
    }

    /// Works out roots of sizes that the log had before.
    fn earlier(&self, known: &Known, roots: &mut RootsWanted) -> Result<()> {
        let wrong = |error| failure(self.path, &error);
        let mut statement =
            self.connection.prepare_cached("SELECT leaf FROM entries WHERE id >= ?1 AND id < ?2 ORDER BY id").map_err(wrong)?;
        let mut rows = statement.query(params![row_of(known.id, 0), row_of(known.id, known.tree.size())]).map_err(wrong)?;
        let mut tree = Frontier::default();
        roots.grown(&tree);
        while let Some(row) = rows.next().map_err(wrong)? {
            tree.push(Hash(row.get(0).map_err(wrong)?));
            roots.grown(&tree);
        }
        Ok(())
    }

    fn job(&self, job: &str) -> Result<i64> {
        self.id("SELECT id FROM jobs WHERE job = ?1", "INSERT INTO jobs (job) VALUES (?1)", params![job])
    }

    fn open_log(&self, job: i64, log: &str) -> Result<Known> {
        let row = params![job, log];
        let id = self.id("SELECT id FROM logs WHERE job = ?1 AND log = ?2", "INSERT INTO logs (job, log) VALUES (?1, ?2)", row)?;
        let found: Option<i64> = self.one("SELECT size FROM trees WHERE log = ?1", params![id])?;
        let Some(size) = found else { return Ok(Known { id, tree: Frontier::default() }) };
        let subtrees: Vec<u8> = self.one("SELECT subtrees FROM trees WHERE log = ?1", params![id])?.unwrap_or_default();
        let tree = super::frontier(self.path, log, size, &subtrees)?;
        Ok(Known { id, tree })
    }

    /// The number of a row that is there or is put there.
    fn id(&self, select: &str, insert: &str, row: &[&dyn ToSql]) -> Result<i64> {
        if let Some(id) = self.one(select, row)? {
            return Ok(id);
        }
        self.write(insert, row)?;
        Ok(self.connection.last_insert_rowid())
    }

    fn has(&self, sql: &str, row: &[&dyn ToSql]) -> Result<bool> {
        Ok(self.one::<i64>(sql, row)?.is_some())
    }

    fn one<T: FromSql>(&self, sql: &str, row: &[&dyn ToSql]) -> Result<Option<T>> {
        let ask = || self.connection.prepare_cached(sql)?.query_row(row, |row| row.get(0)).optional();
        ask().map_err(|error| failure(self.path, &error))
    }

    fn write(&self, sql: &str, row: &[&dyn ToSql]) -> Result<()> {
        let ask = || self.connection.prepare_cached(sql)?.execute(row);
        ask().map(|_| ()).map_err(|error| failure(self.path, &error))
    }
}
