//! A sample of each trial of reliability, and a planted fault for each checker. `cargo xtask reliability` runs all of them.

#![allow(clippy::unwrap_used)]

use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use store::disk::{Disk, DiskFile, ReadSeek};
use store::sim::SimDisk;
use store::trials::{crashes, flips, kills};
use store::{Folder, Store};

/// The child of the kill trial: this test program itself, asked for the one test that records.
fn child(folder: &Path, round: u64) -> Command {
    let mut command = Command::new(std::env::current_exe().unwrap());
    command.args(["--exact", "the_child_that_records", "--nocapture", "--test-threads=1"]);
    command.env("RECORD_INTO", folder).env("RECORD_ROUND", round.to_string());
    command
}

#[test]
fn the_child_that_records() {
    let Some(folder) = std::env::var_os("RECORD_INTO") else { return };
    let round = std::env::var("RECORD_ROUND").unwrap().parse().unwrap();
    kills::record(Path::new(&folder), round).unwrap();
}

#[test]
fn nothing_acknowledged_is_lost_to_a_kill() {
    let place = tempfile::tempdir().unwrap();
    let seen = kills::run(place.path(), 20, 1, &|round| child(place.path(), round)).unwrap();
    assert_eq!(seen.kills, 20);
    assert!(seen.acknowledged > 20 && seen.unanswered > 0, "{seen:?}");
}

#[test]
fn a_blob_taken_away_between_kills_is_noticed() {
    let place = tempfile::tempdir().unwrap();
    let forgetful = |round| {
        // Another round's child says what this one should have kept.
        let mut command = child(place.path(), round);
        command.env("RECORD_ROUND", (round + 1).to_string());
        command
    };
    let why = kills::run(place.path(), 6, 2, &forgetful).unwrap_err();
    assert!(why.contains("acknowledged"), "{why}");
}

#[test]
fn a_transaction_is_whole_or_absent_after_any_fault_at_any_operation() {
    for seed in 0..2 {
        let seen = crashes::run(seed, crashes::open_folder).unwrap();
        assert!(seen.operations > 60 && seen.trials == 3 * seen.operations, "{seen:?}");
        let happened = seen.happened;
        assert!(happened.lost > 0 && happened.torn > 0 && happened.names_lost > 0 && seen.unanswered > 0, "{seen:?}");
    }
}

/// A disk whose syncs do nothing.
struct Careless(SimDisk, What);

#[derive(Clone, Copy, PartialEq, Eq)]
enum What {
    Files,
    Folders,
}

struct CarelessFile(Box<dyn DiskFile>);

impl std::io::Write for CarelessFile {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.write(bytes)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        self.0.flush()
    }
}

impl DiskFile for CarelessFile {
    fn sync(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

impl Careless {
    fn file(&self, file: Box<dyn DiskFile>) -> Box<dyn DiskFile> {
        if self.1 == What::Files { Box::new(CarelessFile(file)) } else { file }
    }
}

impl Disk for Careless {
    fn create(&self, path: &Path) -> std::io::Result<Box<dyn DiskFile>> {
        Ok(self.file(self.0.create(path)?))
    }

    fn append(&self, path: &Path) -> std::io::Result<Box<dyn DiskFile>> {
        Ok(self.file(self.0.append(path)?))
    }

    fn open(&self, path: &Path) -> std::io::Result<Box<dyn ReadSeek>> {
        self.0.open(path)
    }

    fn size(&self, path: &Path) -> std::io::Result<Option<u64>> {
        self.0.size(path)
    }

    fn truncate(&self, path: &Path, bytes: u64) -> std::io::Result<()> {
        self.0.truncate(path, bytes)
    }

    fn rename(&self, from: &Path, to: &Path) -> std::io::Result<()> {
        self.0.rename(from, to)
    }

    fn remove(&self, path: &Path) -> std::io::Result<()> {
        self.0.remove(path)
    }

    fn make_dir(&self, path: &Path) -> std::io::Result<()> {
        self.0.make_dir(path)
    }

    fn list(&self, path: &Path) -> std::io::Result<Vec<String>> {
        self.0.list(path)
    }

    fn sync_dir(&self, path: &Path) -> std::io::Result<()> {
        if self.1 == What::Folders { Ok(()) } else { self.0.sync_dir(path) }
    }
}

fn open_careless(disk: &SimDisk, what: What) -> store::Result<Box<dyn Store>> {
    Ok(Box::new(Folder::open(Arc::new(Careless(disk.clone(), what)), Path::new("data"), "1.0")?))
}

#[test]
fn a_store_that_does_not_sync_is_caught() {
    let files = crashes::run(0, |disk| open_careless(disk, What::Files)).unwrap_err();
    let folders = crashes::run(0, |disk| open_careless(disk, What::Folders)).unwrap_err();
    for why in [files, folders] {
        assert!(why.contains("Crash at operation"), "{why}");
    }
}

#[test]
fn a_bit_turned_over_is_found_and_placed_or_harmless() {
    let place = tempfile::tempdir().unwrap();
    let (data, out) = (place.path().join("data"), place.path().join("record"));
    flips::reference(&data).unwrap();
    let seen = flips::store(&data, 3, 6_007).unwrap();
    assert!(seen.flips > 100 && seen.found > 20 && seen.placed > 5 && seen.harmless > 0, "{seen:?}");
    flips::export_folder(&data, &out).unwrap();
    let seen = flips::record(&out, 5, 811).unwrap();
    assert!(seen.found > 100 && seen.placed > 20 && seen.found + seen.harmless == seen.flips, "{seen:?}");
}
