//! A disk that is full, failing or not to be written: clear words, nothing acknowledged that is not there, on when it can go on.

#![allow(clippy::unwrap_used)]

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use std::time::Instant;
use store::sim::{Fault, SimDisk};
use store::suite::{JOB, Pen, photograph, whole_log};
use store::{Batch, Error, Sqlite, Store, put_from, verify_store};

/// A small file system of its own, where this machine allows one; unmounted when dropped.
struct Small(tempfile::TempDir);

impl Small {
    fn mounted(megabytes: u32) -> Option<Self> {
        let folder = tempfile::tempdir().unwrap();
        let size = format!("size={megabytes}m");
        let mount = Command::new("mount").args(["-t", "tmpfs", "-o", &size, "tmpfs"]).arg(folder.path()).output().ok()?;
        mount.status.success().then_some(Self(folder))
    }

    fn read_only(&self, on: bool) {
        let how = if on { "remount,ro" } else { "remount,rw" };
        assert!(Command::new("mount").args(["-o", how]).arg(self.0.path()).status().unwrap().success());
    }
}

impl Drop for Small {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(self.0.path()).status();
    }
}

/// Fills what room there is, and says with which file.
fn fill(folder: &Path, leave: u64) -> std::path::PathBuf {
    let path = folder.join("filler");
    let mut file = fs::File::create(&path).unwrap();
    let mut size = 0;
    while let Ok(written @ 1..) = file.write(&[1; 4_096]) {
        size += written as u64;
    }
    file.set_len(size.saturating_sub(leave)).unwrap();
    path
}

/// Records until the store says that it can't; gives back how much was acknowledged and what it said.
fn until_refused(store: &dyn Store, pen: &mut Pen, waiting: &mut Option<Batch>) -> Error {
    for number in 0..10_000 {
        if let Some(batch) = waiting.take()
            && let Err(error) = store.append(JOB, batch.clone())
        {
            *waiting = Some(batch);
            return error;
        }
        match put_from(store, JOB, &mut &photograph(number, 30_000)[..]) {
            Ok(blob) => *waiting = Some(Batch::of([pen.event("corner of the shower", vec![blob.hash])]).head(pen.head())),
            Err(error) => return error,
        }
    }
    panic!("never refused");
}

#[test]
fn a_full_disk_is_said_and_the_store_goes_on_when_there_is_room() {
    let Some(small) = Small::mounted(6) else {
        eprintln!("no file system can be mounted here; nothing was tried");
        return;
    };
    let data = small.0.path().join("data");
    let store = Sqlite::open(&data).unwrap();
    let (mut pen, mut waiting) = (Pen::new(1), None);
    store.append(JOB, Batch::of(pen.events(1))).unwrap();
    let mut refusals = 0;
    // Room for nothing, for a little, for some: the photograph or the event is what does not fit.
    for leave in [0, 8_192, 40_000, 70_000, 200_000] {
        let filler = fill(small.0.path(), leave);
        let began = Instant::now();
        let error = until_refused(&store, &mut pen, &mut waiting);
        assert!(matches!(error, Error::Full(_) | Error::Failed { .. }), "{error:?}");
        assert!(error.to_string().contains("no room") || error.to_string().contains("not known to be saved"), "{error}");
        refusals += u32::from(matches!(error, Error::Full(_)));
        assert!(began.elapsed().as_secs() < 5, "it is said soon");
        // Reading goes on.
        let kept = whole_log(&store, JOB, &pen.device).len() as u64;
        let acknowledged = pen.tree.size() - u64::from(waiting.is_some());
        assert!(kept >= acknowledged, "{kept} of {acknowledged}");
        assert!(store.blobs(JOB).is_ok());
        fs::remove_file(filler).unwrap();
        // And so does writing, without opening again.
        if let Some(batch) = waiting.take() {
            store.append(JOB, batch).unwrap();
        }
        store.append(JOB, Batch::of([pen.event("there is room again", Vec::new())]).head(pen.head())).unwrap();
    }
    assert!(refusals >= 4, "{refusals}");
    assert_eq!(store.log(JOB, &pen.device).unwrap().root, pen.tree.root());
    drop(store);
    let store = Sqlite::open(&data).unwrap();
    assert_eq!(store.log(JOB, &pen.device).unwrap().root, pen.tree.root());
    assert!(verify_store(&store, JOB, Vec::new()).unwrap().is_sound());
}

#[test]
fn a_disk_that_may_not_be_written_is_said_and_can_be_read() {
    let Some(small) = Small::mounted(6) else {
        eprintln!("no file system can be mounted here; nothing was tried");
        return;
    };
    let data = small.0.path().join("data");
    let mut pen = Pen::new(1);
    Sqlite::open(&data).unwrap().append(JOB, Batch::of(pen.events(5)).head(pen.head())).unwrap();
    small.read_only(true);
    match Sqlite::open(&data) {
        Err(error @ Error::ReadOnly(_)) => assert!(error.to_string().contains("may not be written"), "{error}"),
        other => panic!("{:?}", other.err()),
    }
    let store = Sqlite::open_to_read(&data).unwrap();
    assert_eq!(store.log(JOB, &pen.device).unwrap().root, pen.tree.root());
    assert!(verify_store(&store, JOB, Vec::new()).unwrap().is_sound());
    drop(store);
    small.read_only(false);
    let store = Sqlite::open(&data).unwrap();
    assert_eq!(store.append(JOB, Batch::of(pen.events(1))).unwrap().added, 1);
}

#[test]
fn a_photograph_whose_disk_fails_at_any_operation_is_not_acknowledged() {
    let picture = photograph(1, 5_000);
    for fault in [Fault::Full, Fault::Error] {
        for at in 0..20 {
            let (data, disk) = (tempfile::tempdir().unwrap(), SimDisk::new(at));
            let store = Sqlite::open_on(data.path(), Arc::new(disk.clone())).unwrap();
            disk.plan(at, fault);
            let put = put_from(&store, JOB, &mut &picture[..]);
            let kept = store.blobs(JOB).unwrap();
            assert_eq!(put.is_ok(), kept.len() == 1, "{fault:?} at {at}");
            match put {
                Ok(_) => return assert!(at > 4, "it takes more than {at} operations"),
                Err(Error::Full(_)) => assert_eq!(fault, Fault::Full),
                Err(Error::Failed { .. }) => assert_eq!(fault, Fault::Error),
                Err(other) => panic!("{other:?}"),
            }
            put_from(&store, JOB, &mut &picture[..]).unwrap();
            disk.restart();
            let mut bytes = Vec::new();
            store.open_blob(JOB, &store.blobs(JOB).unwrap()[0].hash).unwrap().read_to_end(&mut bytes).unwrap();
            assert!(bytes == picture, "{fault:?} at {at}: not the bytes that were acknowledged");
        }
    }
}
