//! The tables, how a connection is set up, and what SQLite's errors mean here.

use crate::{Error, Result};
use rusqlite::config::DbConfig;
use rusqlite::{Connection, ErrorCode, OpenFlags, TransactionBehavior};
use std::path::Path;
use std::time::Duration;

/// Each step takes the tables from one version to the next; a step that was released is never changed.
///
/// An entry's row number is its log's number times 2^40 plus its place (no log is longer), so that a log lies in the file in
/// its order and the one tree is also the index. `leaf` is the entry's hash as it was when the entry came. `trees` is worked out from `entries` and the only thing that is ever written
/// again.
const STEPS: [&str; 1] = ["
CREATE TABLE jobs (
    id INTEGER PRIMARY KEY,
    job TEXT NOT NULL UNIQUE
) STRICT;
CREATE TABLE logs (
    id INTEGER PRIMARY KEY CHECK (id BETWEEN 1 AND 8388607),
    job INTEGER NOT NULL REFERENCES jobs (id),
    log TEXT NOT NULL,
    UNIQUE (job, log)
) STRICT;
CREATE TABLE entries (
    id INTEGER PRIMARY KEY CHECK (id >= 1 << 40),
    log INTEGER NOT NULL GENERATED ALWAYS AS (id >> 40) VIRTUAL REFERENCES logs (id),
    leaf BLOB NOT NULL CHECK (length(leaf) = 32),
    bytes BLOB NOT NULL
) STRICT;
CREATE TABLE trees (
    log INTEGER PRIMARY KEY REFERENCES logs (id),
    size INTEGER NOT NULL,
    subtrees BLOB NOT NULL
) STRICT;
CREATE TABLE heads (
    log INTEGER NOT NULL REFERENCES logs (id),
    size INTEGER NOT NULL,
    line BLOB NOT NULL,
    PRIMARY KEY (log, size, line)
) STRICT, WITHOUT ROWID;
CREATE TABLE blobs (
    job INTEGER NOT NULL REFERENCES jobs (id),
    hash BLOB NOT NULL CHECK (length(hash) = 32),
    bytes INTEGER NOT NULL,
    kind TEXT NOT NULL,
    PRIMARY KEY (job, hash)
) STRICT, WITHOUT ROWID;
CREATE TABLE named (
    job INTEGER NOT NULL REFERENCES jobs (id),
    hash BLOB NOT NULL CHECK (length(hash) = 32),
    entry INTEGER NOT NULL REFERENCES entries (id),
    PRIMARY KEY (job, hash, entry)
) STRICT, WITHOUT ROWID;
"];

/// Tables whose rows stay as they were put in.
const KEPT: [(&str, &str); 6] = [
    ("jobs", "id = NEW.id OR job = NEW.job"),
    ("logs", "id = NEW.id OR (job = NEW.job AND log = NEW.log)"),
    ("entries", "id = NEW.id"),
    ("heads", "log = NEW.log AND size = NEW.size AND line = NEW.line"),
    ("blobs", "job = NEW.job AND hash = NEW.hash"),
    ("named", "job = NEW.job AND hash = NEW.hash AND entry = NEW.entry"),
];

/// Marks the file as one of these in its first page (`PRAGMA application_id`): the letters `undt`.
const APPLICATION: i32 = 0x756e_6474;

/// How a connection is opened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Access {
    Write,
    Read,
    /// A file that nothing writes, on a disk that can't be written.
    Still,
}

/// The triggers by which the file itself refuses changes, whoever asks: also `INSERT OR REPLACE`, which would pass by
/// a trigger on DELETE.
fn triggers() -> String {
    let one = |(table, same): &(&str, &str)| {
        format!(
            "CREATE TRIGGER {table}_are_never_changed BEFORE UPDATE ON {table} BEGIN SELECT RAISE(ABORT, '{table} are never changed'); END;
             CREATE TRIGGER {table}_are_never_removed BEFORE DELETE ON {table} BEGIN SELECT RAISE(ABORT, '{table} are never removed'); END;
             CREATE TRIGGER {table}_are_never_replaced BEFORE INSERT ON {table} WHEN EXISTS (SELECT 1 FROM {table} WHERE {same})
             BEGIN SELECT RAISE(ABORT, '{table} are never replaced'); END;\n"
        )
    };
    KEPT.iter().map(one).collect()
}

/// Opens a connection and sets it up.
pub(super) fn connect(path: &Path, access: Access) -> Result<Connection> {
    let wrong = |error| failure(path, &error);
    let (mode, name) = match access {
        Access::Write => (OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE, None),
        Access::Read => (OpenFlags::SQLITE_OPEN_READ_ONLY, None),
        Access::Still => (OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI, Some(still_name(path))),
    };
    let flags = mode | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = match name {
        Some(name) => Connection::open_with_flags(name, flags),
        None => Connection::open_with_flags(path, flags),
    }
    .map_err(wrong)?;
    connection.busy_timeout(Duration::from_secs(10)).map_err(wrong)?;
    // A file made to harm must not run anything; what reads as a page must be one.
    for (config, on) in [(DbConfig::SQLITE_DBCONFIG_DEFENSIVE, true), (DbConfig::SQLITE_DBCONFIG_TRUSTED_SCHEMA, false)] {
        connection.set_db_config(config, on).map_err(wrong)?;
    }
    connection.execute_batch("PRAGMA cell_size_check = ON; PRAGMA foreign_keys = ON; PRAGMA recursive_triggers = ON;").map_err(wrong)?;
    if access == Access::Write {
        connection
            .execute_batch(
                "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA fullfsync = ON; PRAGMA checkpoint_fullfsync = ON;
                 PRAGMA journal_size_limit = 16777216;",
            )
            .map_err(wrong)?;
    }
    Ok(connection)
}

/// A path as SQLite's file name with parameters.
fn still_name(path: &Path) -> String {
    let plain = path.display().to_string().replace('%', "%25").replace('?', "%3f").replace('#', "%23");
    format!("file:{plain}?immutable=1")
}

/// Brings the tables to the version of this program.
pub(super) fn migrate(connection: &mut Connection, path: &Path) -> Result<()> {
    let wrong = |error| failure(path, &error);
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate).map_err(wrong)?;
    let version = version(&transaction, path)?;
    if version < STEPS.len() {
        if version == 0 {
            let tables: u32 = transaction.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0)).map_err(wrong)?;
            if tables > 0 {
                return Err(Error::damaged(path.display().to_string(), "a database of something else"));
            }
            transaction.pragma_update(None, "application_id", APPLICATION).map_err(wrong)?;
        }
        for step in &STEPS[version..] {
            transaction.execute_batch(step).map_err(wrong)?;
        }
        if version == 0 {
            transaction.execute_batch(&triggers()).map_err(wrong)?;
        }
        transaction.pragma_update(None, "user_version", STEPS.len() as u32).map_err(wrong)?;
    }
    transaction.commit().map_err(wrong)
}

/// The version of the tables; an error when it is a later one, or of another program.
fn version(connection: &Connection, path: &Path) -> Result<usize> {
    let ask = |name: &str| connection.query_row(&format!("PRAGMA {name}"), [], |row| row.get::<_, i32>(0));
    let found = ask("user_version").map_err(|error| failure(path, &error))?;
    let application = ask("application_id").map_err(|error| failure(path, &error))?;
    if application != APPLICATION && (application, found) != (0, 0) {
        return Err(Error::damaged(path.display().to_string(), "not a file of this program, or its first page is damaged"));
    }
    let known = STEPS.len();
    match usize::try_from(found) {
        Ok(found) if found <= known => Ok(found),
        _ => Err(Error::Newer { found: found.unsigned_abs(), known: known as u32 }),
    }
}

/// Whether the tables and triggers are those of this version, and every log is as long as its tree says.
pub(super) fn quick_check(connection: &Connection, path: &Path) -> Result<()> {
    let place = || path.display().to_string();
    if version(connection, path)? != STEPS.len() {
        return Err(Error::damaged(place(), "not a record of this program's version"));
    }
    let right = Connection::open_in_memory().map_err(|error| failure(path, &error))?;
    right.execute_batch(&STEPS.concat()).and_then(|()| right.execute_batch(&triggers())).map_err(|error| failure(path, &error))?;
    let (there, right) = (definitions(connection, path)?, definitions(&right, path)?);
    if there != right {
        return Err(Error::damaged(place(), "its tables or the guards on them are not those this program makes"));
    }
    let shorter_or_longer = "SELECT logs.log, coalesce(trees.size, 0),
            coalesce((SELECT max(id) FROM entries WHERE id >= logs.id << 40 AND id < (logs.id + 1) << 40) - (logs.id << 40) + 1, 0) AS there
        FROM logs LEFT JOIN trees ON trees.log = logs.id WHERE coalesce(trees.size, 0) <> there LIMIT 1";
    let row = |row: &rusqlite::Row<'_>| Ok((row.get::<_, String>(0)?, row.get::<_, i64>(1)?, row.get::<_, i64>(2)?));
    match connection.query_row(shorter_or_longer, [], row) {
        Err(rusqlite::Error::QueryReturnedNoRows) => Ok(()),
        Err(error) => Err(failure(path, &error)),
        Ok((log, size, there)) => Err(Error::damaged(place(), format!("log {log} has {there} entries where {size} were written"))),
    }
}

fn definitions(connection: &Connection, path: &Path) -> Result<Vec<(String, Option<String>)>> {
    let ask = || {
        let mut statement = connection.prepare("SELECT name, sql FROM sqlite_schema ORDER BY name")?;
        statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?.collect::<rusqlite::Result<Vec<_>>>()
    };
    ask().map_err(|error| failure(path, &error))
}

/// What an error of SQLite means here.
pub(super) fn failure(path: &Path, error: &rusqlite::Error) -> Error {
    let rusqlite::Error::SqliteFailure(code, _) = error else {
        return match error {
            rusqlite::Error::QueryReturnedNoRows => Error::damaged(path.display().to_string(), "a row that was written is gone"),
            _ => Error::damaged(path.display().to_string(), error.to_string()),
        };
    };
    match code.code {
        ErrorCode::DiskFull => Error::Full(path.into()),
        ErrorCode::ReadOnly | ErrorCode::PermissionDenied => Error::ReadOnly(path.into()),
        ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked => {
            Error::Busy(format!("{}: another program holds it; close that, or try again", path.display()))
        }
        ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase | ErrorCode::ConstraintViolation => {
            Error::damaged(path.display().to_string(), error.to_string())
        }
        _ => Error::Failed { path: path.into(), why: format!("{error} (SQLite {})", code.extended_code) },
    }
}
