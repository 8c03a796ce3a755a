//! The SQLite store passes the suite, and what only it has.

#![allow(clippy::unwrap_used)]

use rusqlite::Connection;
use store::suite::{JOB, Pen, Place, photograph};
use store::{Batch, Error, Sqlite, Store, put_from};
use tempfile::TempDir;

struct DataFolder(TempDir);

impl DataFolder {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }
}

impl Place for DataFolder {
    fn open(&self) -> Box<dyn Store> {
        Box::new(Sqlite::open(self.0.path()).unwrap())
    }
}

store::suite!(DataFolder::new);

#[test]
fn one_process_writes_and_others_read_beside_it() {
    let folder = DataFolder::new();
    let mut pen = Pen::new(1);
    let store = folder.open();
    store.append(JOB, Batch::of(pen.events(3))).unwrap();
    match Sqlite::open(folder.0.path()) {
        Err(Error::Busy(why)) => assert!(why.contains("another undertile writes into this folder"), "{why}"),
        other => panic!("{:?}", other.err()),
    }
    let reader = Sqlite::open_to_read(folder.0.path()).unwrap();
    assert_eq!(reader.log(JOB, &pen.device).unwrap().root, pen.tree.root());
    store.append(JOB, Batch::of(pen.events(1))).unwrap();
    assert_eq!(reader.log(JOB, &pen.device).unwrap().size, 4, "what came since is seen");
    assert!(matches!(reader.append(JOB, Batch::default()), Err(Error::ReadOnly(_))));
    assert!(matches!(reader.put_blob(JOB, None), Err(Error::ReadOnly(_))));
}

#[test]
fn the_file_itself_refuses_every_change() {
    let folder = DataFolder::new();
    let mut pen = Pen::new(1);
    let store = folder.open();
    let blob = put_from(&*store, JOB, &mut &photograph(1, 1_000)[..]).unwrap();
    store.append(JOB, Batch::of([pen.event("here", vec![blob.hash])]).head(pen.head())).unwrap();
    drop(store);
    let stranger = Connection::open(folder.0.path().join("record.sqlite")).unwrap();
    for table in ["jobs", "logs", "entries", "heads", "blobs", "named"] {
        let columns: String =
            stranger.query_row("SELECT group_concat(name) FROM pragma_table_info(?1)", [table], |row| row.get(0)).unwrap();
        let first = columns.split(',').next().unwrap();
        for change in [
            format!("UPDATE {table} SET {first} = {first}"),
            format!("DELETE FROM {table}"),
            format!("INSERT OR REPLACE INTO {table} ({columns}) SELECT {columns} FROM {table}"),
            format!("INSERT INTO {table} ({columns}) SELECT {columns} FROM {table} WHERE true ON CONFLICT DO UPDATE SET {first} = 0"),
        ] {
            let refused = stranger.execute(&change, []).unwrap_err().to_string();
            assert!(refused.contains("are never"), "{change}: {refused}");
        }
    }
    stranger.execute_batch("DROP TRIGGER entries_are_never_changed").unwrap();
    drop(stranger);
    let refused = Sqlite::open(folder.0.path()).err().map(|error| error.to_string()).unwrap_or_default();
    assert!(refused.contains("guards"), "a guard was taken away: {refused}");
}

#[test]
fn a_file_of_a_later_version_or_another_program_is_left_alone() {
    let folder = DataFolder::new();
    drop(folder.open());
    let file = folder.0.path().join("record.sqlite");
    Connection::open(&file).unwrap().execute_batch("PRAGMA user_version = 9").unwrap();
    assert!(matches!(Sqlite::open(folder.0.path()), Err(Error::Newer { found: 9, .. })));
    Connection::open(&file).unwrap().execute_batch("PRAGMA user_version = 1; PRAGMA application_id = 7").unwrap();
    assert!(matches!(Sqlite::open(folder.0.path()), Err(Error::Damaged { .. })));
    let other = DataFolder::new();
    Connection::open(other.0.path().join("record.sqlite")).unwrap().execute_batch("CREATE TABLE other (a)").unwrap();
    assert!(matches!(Sqlite::open(other.0.path()), Err(Error::Damaged { .. })));
    std::fs::write(other.0.path().join("record.sqlite"), b"not a database at all, but some text that is long enough").unwrap();
    assert!(matches!(Sqlite::open(other.0.path()), Err(Error::Damaged { .. })));
}

#[test]
fn a_log_that_lost_its_last_entry_is_not_opened() {
    let folder = DataFolder::new();
    folder.open().append(JOB, Batch::of(Pen::new(1).events(5))).unwrap();
    let stranger = Connection::open(folder.0.path().join("record.sqlite")).unwrap();
    let guard: String =
        stranger.query_row("SELECT sql FROM sqlite_schema WHERE name = 'entries_are_never_removed'", [], |row| row.get(0)).unwrap();
    stranger.execute_batch("DROP TRIGGER entries_are_never_removed; DELETE FROM entries WHERE id = (SELECT max(id) FROM entries)").unwrap();
    stranger.execute_batch(&guard).unwrap();
    drop(stranger);
    let refused = Sqlite::open(folder.0.path()).err().map(|error| error.to_string()).unwrap_or_default();
    assert!(refused.contains("has 4 entries where 5 were written"), "{refused}");
}
