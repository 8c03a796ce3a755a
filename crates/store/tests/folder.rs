//! The store of plain files passes the suite, on a simulated disk and on the machine's; what it writes is a record.

#![allow(clippy::unwrap_used)]

use std::path::Path;
use std::sync::Arc;
use store::disk::StdDisk;
use store::files::FolderFiles;
use store::sim::SimDisk;
use store::suite::{JOB, Pen, Place, photograph};
use store::{Batch, Folder, Store, put_from, verify};
use tempfile::TempDir;

mod simulated {
    use super::*;

    struct InMemory(SimDisk);

    impl Place for InMemory {
        fn open(&self) -> Box<dyn Store> {
            Box::new(Folder::open(Arc::new(self.0.clone()), Path::new("data"), "1.0").unwrap())
        }
    }

    store::suite!(|| InMemory(SimDisk::new(1)));
}

mod on_disk {
    use super::*;

    struct InFolder(TempDir);

    impl Place for InFolder {
        fn open(&self) -> Box<dyn Store> {
            Box::new(Folder::open(Arc::new(StdDisk), self.0.path(), "1.0").unwrap())
        }
    }

    store::suite!(|| InFolder(tempfile::tempdir().unwrap()));
}

#[test]
fn a_job_s_folder_is_a_record() {
    let place = tempfile::tempdir().unwrap();
    let store = Folder::open(Arc::new(StdDisk), place.path(), "1.0").unwrap();
    let mut pen = Pen::new(1);
    let blob = put_from(&store, JOB, &mut &photograph(1, 3_000)[..]).unwrap();
    store.append(JOB, Batch::of(pen.events(4)).head(pen.head())).unwrap();
    store.append(JOB, Batch::of([pen.event("here", vec![blob.hash])]).head(pen.head())).unwrap();
    let report = verify(&mut FolderFiles::of(&place.path().join(JOB)).unwrap(), Vec::new()).unwrap();
    assert!(report.is_sound(), "{report:#?}");
    assert_eq!((report.logs[0].proven, report.blobs.sound), (5, 1));
}
