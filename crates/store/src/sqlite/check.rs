//! Whether what the tables say beside the record agrees with it.

use super::frontier;
use ledger::{Event, Hash};
use rusqlite::{Connection, Result};
use std::collections::BTreeSet;
use std::path::Path;

/// Faults told of at most.
const MOST: usize = 100;

/// Every fault of the file and of the job's rows. The file's own check is of all jobs.
pub(super) fn faults(connection: &Connection, job: &str) -> Result<Vec<String>> {
    let mut faults = Vec::new();
    for (check, column) in [("integrity_check", 0), ("foreign_key_check", 0)] {
        let mut statement = connection.prepare(&format!("PRAGMA {check}"))?;
        let found: Vec<String> = statement.query_map([], |row| row.get(column))?.take(MOST).collect::<Result<_>>()?;
        faults.extend(found.into_iter().filter(|line| line != "ok").map(|line| format!("{check}: {line}")));
    }
    let mut statement = connection.prepare("SELECT logs.id, logs.log FROM logs JOIN jobs ON jobs.id = logs.job WHERE jobs.job = ?1")?;
    let logs: Vec<(i64, String)> = statement.query_map([job], |row| Ok((row.get(0)?, row.get(1)?)))?.collect::<Result<_>>()?;
    let mut names = BTreeSet::new();
    for (id, log) in &logs {
        faults.extend(tree_fault(connection, *id, log)?);
        names_of(connection, *id, &mut names)?;
    }
    let mut statement =
        connection.prepare("SELECT named.hash, named.entry FROM named JOIN jobs ON jobs.id = named.job WHERE jobs.job = ?1")?;
    let kept: BTreeSet<(Hash, i64)> = statement.query_map([job], |row| Ok((Hash(row.get(0)?), row.get(1)?)))?.collect::<Result<_>>()?;
    faults.extend(
        names
            .symmetric_difference(&kept)
            .take(MOST)
            .map(|(hash, entry)| format!("the table of blobs that events name is wrong about blob {hash} and row {entry}")),
    );
    Ok(faults)
}

/// Whether the stored tree is not that of the stored hashes.
fn tree_fault(connection: &Connection, id: i64, log: &str) -> Result<Option<String>> {
    let mut tree = ledger::Frontier::default();
    let mut statement = connection.prepare_cached("SELECT leaf FROM entries WHERE id >= ?1 << 40 AND id < (?1 + 1) << 40 ORDER BY id")?;
    let mut rows = statement.query([id])?;
    while let Some(row) = rows.next()? {
        tree.push(Hash(row.get(0)?));
    }
    let stored = connection
        .query_row("SELECT size, subtrees FROM trees WHERE log = ?1", [id], |row| Ok((row.get::<_, i64>(0)?, row.get::<_, Vec<u8>>(1)?)));
    let stored = match stored {
        Ok((size, subtrees)) => frontier(Path::new(""), log, size, &subtrees).ok(),
        Err(rusqlite::Error::QueryReturnedNoRows) => None,
        Err(error) => return Err(error),
    };
    Ok((stored.as_ref() != Some(&tree)).then(|| format!("the stored tree of log {log} is not that of its entries")))
}

/// Every blob that the log's events name, with the event's row.
fn names_of(connection: &Connection, id: i64, names: &mut BTreeSet<(Hash, i64)>) -> Result<()> {
    let sql = "SELECT id, bytes FROM entries WHERE id >= ?1 << 40 AND id < (?1 + 1) << 40 AND instr(bytes, CAST('\"blobs\"' AS BLOB))";
    let mut statement = connection.prepare_cached(sql)?;
    let mut rows = statement.query([id])?;
    while let Some(row) = rows.next()? {
        let entry: i64 = row.get(0)?;
        // A row that doesn't read as an event is the record's damage and told of there.
        if let Ok(event) = Event::read(row.get_ref(1)?.as_blob()?) {
            names.extend(event.blobs.into_iter().map(|hash| (hash, entry)));
        }
    }
    Ok(())
}
