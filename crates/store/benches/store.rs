//! How fast a store keeps events, opens and verifies, and against plain SQLite inserting the same bytes.

#![allow(clippy::unwrap_used)]

use divan::Bencher;
use divan::counter::ItemsCount;
use rusqlite::Connection;
use store::suite::{JOB, Pen, photograph};
use store::{Batch, Line, Sqlite, Store, put_from, verify_store};
use tempfile::TempDir;

fn main() {
    divan::main();
}

/// Events added durably, in batches of this many.
const BATCHES: [usize; 3] = [1, 100, 1_000];
/// Events of one run.
const EVENTS: usize = 5_000;

fn lines() -> Vec<Line> {
    Pen::new(1).events(EVENTS).into_iter().map(Line::from).collect()
}

#[divan::bench(args = BATCHES, sample_count = 5, sample_size = 1)]
fn events_kept(bencher: Bencher, batch: usize) {
    let lines = lines();
    let fresh = || {
        let folder = tempfile::tempdir().unwrap();
        (Sqlite::open(folder.path()).unwrap(), folder)
    };
    bencher.counter(ItemsCount::new(EVENTS)).with_inputs(fresh).bench_values(|(store, folder)| {
        for lines in lines.chunks(batch) {
            store.append(JOB, Batch { lines: lines.to_vec(), ..Batch::default() }).unwrap();
        }
        (store, folder)
    });
}

/// Plain SQLite: one table, the same bytes, the same commits, the same durability.
#[divan::bench(args = BATCHES, sample_count = 5, sample_size = 1)]
fn plain_sqlite(bencher: Bencher, batch: usize) {
    let lines = lines();
    let fresh = || {
        let folder = tempfile::tempdir().unwrap();
        let connection = Connection::open(folder.path().join("plain.sqlite")).unwrap();
        let setup =
            "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; CREATE TABLE entries (id INTEGER PRIMARY KEY, bytes BLOB NOT NULL)";
        connection.execute_batch(setup).unwrap();
        (connection, folder)
    };
    bencher.counter(ItemsCount::new(EVENTS)).with_inputs(fresh).bench_values(|(mut connection, folder)| {
        for lines in lines.chunks(batch) {
            let transaction = connection.transaction().unwrap();
            for line in lines {
                transaction.prepare_cached("INSERT INTO entries (bytes) VALUES (?1)").unwrap().execute([&line.bytes]).unwrap();
            }
            transaction.commit().unwrap();
        }
        (connection, folder)
    });
}

/// A job of 100,000 events in ten logs.
fn large() -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    let store = Sqlite::open(folder.path()).unwrap();
    for number in 0..10 {
        let mut pen = Pen::new(number);
        for _ in 0..10 {
            store.append(JOB, Batch::of(pen.events(1_000)).head(pen.head())).unwrap();
        }
    }
    folder
}

#[divan::bench(sample_count = 3, sample_size = 1)]
fn a_job_of_100_000_events_opened_and_verified(bencher: Bencher) {
    let folder = large();
    bencher.counter(ItemsCount::new(100_000_usize)).bench(|| {
        let store = Sqlite::open(folder.path()).unwrap();
        assert!(verify_store(&store, JOB, Vec::new()).unwrap().is_sound());
    });
}

#[divan::bench(sample_count = 3, sample_size = 1)]
fn a_job_of_100_000_events_opened(bencher: Bencher) {
    let folder = large();
    bencher.bench(|| Sqlite::open(folder.path()).unwrap());
}

#[divan::bench(sample_count = 10, sample_size = 5)]
fn a_photograph_of_3_mb_kept(bencher: Bencher) {
    let folder = tempfile::tempdir().unwrap();
    let store = Sqlite::open(folder.path()).unwrap();
    let mut number = 0;
    let next = || {
        number += 1;
        photograph(number, 3_000_000)
    };
    bencher.with_inputs(next).bench_local_values(|bytes| put_from(&store, JOB, &mut &bytes[..]).unwrap());
}
