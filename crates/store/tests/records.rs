//! Records out of a store and in again: folder, bundle, backup; what is damaged or hostile is refused with its reason.

#![allow(clippy::unwrap_used)]

use ledger::{Hash, Head, Key, Receipt, Tree};
use std::fs::{self, File};
use std::io::{Cursor, Read, Seek, SeekFrom, Write};
use std::path::Path;
use store::backup::{self, Opened};
use store::bundle::{self, Bundle};
use store::disk::StdDisk;
use store::files::{FolderFiles, StoreFiles, write_folder};
use store::merge::{Refusal, Take, merge};
use store::suite::{AT, JOB, OTHER_JOB, Pen, photograph, whole_log};
use store::{Batch, Error, Sqlite, Store, put_from, verify, verify_store};
use tempfile::{TempDir, tempdir};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

/// A store with two devices' logs, photographs, receipts and heads; the job log signed by the site's key.
fn filled(job: &str) -> (TempDir, Sqlite, [Pen; 2]) {
    let folder = tempdir().unwrap();
    let store = Sqlite::open(folder.path()).unwrap();
    let mut pens = [Pen::new(1), Pen::new(2)];
    let (site, mut job_log) = (Key::from_seed(&[9; 32]), Tree::new());
    for round in 0..4 {
        for (number, pen) in pens.iter_mut().enumerate() {
            let picture = photograph(round * 2 + number as u64, 3_000 + 7 * round as usize);
            let blob = put_from(&store, job, &mut &picture[..]).unwrap();
            let mut events = pen.events(5);
            events.push(pen.event("corner of the shower", vec![blob.hash]));
            let receipt = Receipt::of(&pen.head(), AT, None).unwrap();
            let batch = Batch::of(events).head(pen.head()).receipt(job, job_log.size(), &receipt);
            job_log.push(Hash::leaf(receipt.to_line().as_bytes()));
            store.append(job, batch.head(Head::of(job, &job_log, AT).sign(&site))).unwrap();
        }
    }
    (folder, store, pens)
}

fn zipped(store: &dyn Store, job: &str) -> Vec<u8> {
    let (bytes, left_out) = bundle::write(&mut StoreFiles::of(store, job, "1.0").unwrap(), Vec::new()).unwrap();
    assert_eq!(left_out, Vec::<String>::new());
    bytes
}

/// Lines without their breaks.
type Lines = Vec<Vec<u8>>;

/// Every log with its entries and heads.
fn logs(store: &dyn Store, job: &str) -> Vec<(String, Lines, Lines)> {
    let of = |state: store::LogState| {
        let heads = store.heads(job, &state.log).unwrap();
        (state.log.clone(), whole_log(store, job, &state.log), heads)
    };
    store.logs(job).unwrap().into_iter().map(of).collect()
}

fn empty() -> (TempDir, Sqlite) {
    let folder = tempdir().unwrap();
    let store = Sqlite::open(folder.path()).unwrap();
    (folder, store)
}

#[test]
fn a_store_is_sound_and_says_so() {
    let (_folder, store, pens) = filled(JOB);
    let report = verify_store(&store, JOB, Vec::new()).unwrap();
    assert!(report.is_sound(), "{report:#?}");
    assert_eq!(report.log(&pens[0].device).unwrap().proven, 24);
    assert_eq!((report.blobs.sound, report.blobs.unnamed, report.logs.len()), (8, 0, 3));
}

#[test]
fn a_bundle_goes_out_and_comes_in_the_same() {
    let (_folder, store, _) = filled(JOB);
    let bytes = zipped(&store, JOB);
    assert!(bytes == zipped(&store, JOB), "the same record gives the same bytes");
    let mut bundle = Bundle::read(Cursor::new(bytes.clone())).unwrap();
    assert!(verify(&mut bundle, Vec::new()).unwrap().is_sound());
    let (_other, second) = empty();
    let (merged, _) = merge(&mut bundle, &second, Take::Whole, Vec::new()).unwrap();
    assert_eq!((merged.job.as_str(), merged.added, merged.known, merged.blobs), (JOB, 56, 0, 8));
    assert_eq!(logs(&second, JOB), logs(&store, JOB));
    assert_eq!(second.blobs(JOB).unwrap(), store.blobs(JOB).unwrap());
    assert!(zipped(&second, JOB) == bytes);
    let (again, _) = merge(&mut bundle, &second, Take::Whole, Vec::new()).unwrap();
    assert_eq!((again.added, again.known, again.blobs), (0, 56, 0), "taken in again it changes nothing");
}

#[test]
fn a_folder_goes_out_and_comes_in_the_same() {
    let (_folder, store, _) = filled(JOB);
    let out = tempdir().unwrap();
    let to = out.path().join("record");
    write_folder(&mut StoreFiles::of(&store, JOB, "1.0").unwrap(), &StdDisk, &to).unwrap();
    let refused = write_folder(&mut StoreFiles::of(&store, JOB, "1.0").unwrap(), &StdDisk, &to);
    assert!(matches!(refused, Err(Error::Refused(_))), "never over something");
    let mut files = FolderFiles::of(&to).unwrap();
    let (bytes, _) = bundle::write(&mut files, Vec::new()).unwrap();
    assert!(bytes == zipped(&store, JOB));
    let (_other, second) = empty();
    merge(&mut files, &second, Take::Whole, Vec::new()).unwrap();
    assert_eq!(logs(&second, JOB), logs(&store, JOB));
}

#[test]
fn two_stores_become_one_by_union() {
    let (_a, first) = empty();
    let (_b, second) = empty();
    let (mut here, mut there) = (Pen::new(1), Pen::new(2));
    let events = here.events(6);
    first.append(JOB, Batch::of(events[..4].to_vec())).unwrap();
    second.append(JOB, Batch::of(events).head(here.head())).unwrap();
    first.append(JOB, Batch::of(there.events(3)).head(there.head())).unwrap();
    let (one, two) = (zipped(&first, JOB), zipped(&second, JOB));
    merge(&mut Bundle::read(Cursor::new(two)).unwrap(), &first, Take::Whole, Vec::new()).unwrap();
    merge(&mut Bundle::read(Cursor::new(one)).unwrap(), &second, Take::Whole, Vec::new()).unwrap();
    assert_eq!(logs(&first, JOB), logs(&second, JOB));
    assert_eq!(first.log(JOB, &here.device).unwrap().root, here.tree.root());
}

#[test]
fn another_history_of_a_device_is_refused_before_anything_is_written() {
    let (_a, first) = empty();
    let (_b, second) = empty();
    let (mut pen, mut twin, mut other) = (Pen::new(1), Pen::new(1), Pen::new(2));
    first.append(JOB, Batch::of(pen.events(3))).unwrap();
    twin.events(2);
    let changed = [Pen::new(1).events(2), vec![twin.event("other", Vec::new())]].concat();
    second.append(JOB, Batch::of(changed).head(twin.head())).unwrap();
    second.append(JOB, Batch::of(other.events(3)).head(other.head())).unwrap();
    let refused = merge(&mut Bundle::read(Cursor::new(zipped(&second, JOB))).unwrap(), &first, Take::Whole, Vec::new());
    assert!(matches!(refused, Err(Refusal::Error(Error::Forked { seq: 2, .. }))), "{refused:?}");
    assert_eq!(first.log(JOB, &other.device).unwrap().size, 0);
}

#[test]
fn a_damaged_bundle_is_refused_and_its_sound_part_can_be_taken() {
    let (_folder, store, pens) = filled(JOB);
    let mut bytes = zipped(&store, JOB);
    let mark = b"level 3: 12.5";
    let at = bytes.windows(mark.len()).position(|window| window == mark).unwrap();
    bytes[at + 6] = b'4';
    let out = tempdir().unwrap();
    // The zip's own checksum would stop the reading; a folder has none.
    write_folder(&mut StoreFiles::of(&store, JOB, "1.0").unwrap(), &StdDisk, &out.path().join("record")).unwrap();
    assert!(verify(&mut Bundle::read(Cursor::new(bytes)).unwrap(), Vec::new()).is_ok_and(|report| !report.is_sound()));
    let log = out.path().join(format!("record/logs/{}.jsonl", pens[0].device));
    let text = fs::read_to_string(&log).unwrap();
    let changed: Vec<String> =
        text.lines().enumerate().map(|(i, line)| if i == 7 { line.replace("12.5", "11.5") } else { line.into() }).collect();
    fs::write(&log, changed.join("\n") + "\n").unwrap();
    let mut files = FolderFiles::of(&out.path().join("record")).unwrap();
    let (_other, second) = empty();
    match merge(&mut files, &second, Take::Whole, Vec::new()) {
        Err(Refusal::Damaged(report)) => {
            let damage = report.log(&pens[0].device).unwrap().damage.clone().unwrap();
            assert_eq!((damage.at.from, damage.at.to), (7, 8), "{damage}");
        }
        other => panic!("{other:?}"),
    }
    assert_eq!(second.jobs().unwrap(), Vec::<String>::new());
    let (merged, _) = merge(&mut files, &second, Take::Sound, Vec::new()).unwrap();
    assert_eq!(merged.added, 7 + 24 + 8);
    assert_eq!(second.blobs(JOB).unwrap().len(), 8);
    let taken = verify_store(&second, JOB, Vec::new()).unwrap();
    let log = taken.log(&pens[0].device).unwrap();
    assert_eq!((log.entries, log.damage.as_ref().unwrap().at.from), (7, 7), "what was left out is still known to be missing");
    assert!(taken.log(&pens[1].device).unwrap().is_sound());
}

/// A zip with these files, made by hand.
fn zip_of(files: &[(&str, &[u8])]) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in files {
        zip.start_file(*name, SimpleFileOptions::default().compression_method(CompressionMethod::Stored)).unwrap();
        zip.write_all(bytes).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

const RECORD: (&str, &[u8]) =
    ("record.json", b"{\"format\":\"undertile record 1\",\"job\":\"0192f0c1-2b3a-7c4d-8e5f-0123456789ab\",\"made_by\":\"1\"}");

#[test]
fn hostile_bundles_are_refused_with_their_reasons() {
    let refusal = |bytes: Vec<u8>| Bundle::read(Cursor::new(bytes)).err().map(|error| error.to_string()).unwrap_or_default();
    for name in
        ["../../etc/passwd", "/etc/passwd", "logs/../record.json", "logs\\..\\x", "C:\\x", "blobs/aa/bb", "logs/x.jsonl", "LOGS/job.jsonl"]
    {
        let said = refusal(zip_of(&[RECORD, (name, b"x")]));
        assert!(said.contains("not the name of a file of a record"), "{name}: {said}");
    }
    assert!(refusal(zip_of(&[("logs/job.jsonl", b"")])).contains("is not in it"));
    let mut twice = zip_of(&[RECORD, ("logs/job.jsonl", b"a"), ("logs/job.xsonl", b"b")]);
    for at in 0..twice.len() - 14 {
        if &twice[at..at + 14] == b"logs/job.xsonl" {
            twice[at + 9] = b'j';
        }
    }
    assert!(refusal(twice).contains("twice"));
    let whole = zip_of(&[RECORD, ("logs/job.jsonl", &[b'x'; 5_000])]);
    for cut in [0, 10, 300, whole.len() - 30, whole.len() - 1] {
        assert_ne!(refusal(whole[..cut].to_vec()), "", "cut to {cut} bytes");
    }
    assert_ne!(refusal(b"no zip at all, but long enough to be looked at as one, one should think".to_vec()), "");
}

#[test]
fn a_zip_whose_files_share_bytes_is_refused() {
    let mut bytes = zip_of(&[RECORD, ("logs/job.jsonl", &[b'x'; 5_000]), ("logs/job.hashes", &[b'y'; 5_000])]);
    // The central directory's entry of the third file points at the header of the second.
    let of = |bytes: &[u8], name: &[u8], nth: usize| {
        bytes.windows(name.len()).enumerate().filter(|(_, window)| *window == name).map(|(at, _)| at).nth(nth).unwrap()
    };
    let second = of(&bytes, b"logs/job.jsonl", 0) - 30;
    let third = of(&bytes, b"logs/job.hashes", 1);
    bytes[third - 4..third].copy_from_slice(&u32::try_from(second).unwrap().to_le_bytes());
    let refused = Bundle::read(Cursor::new(bytes)).err().map(|error| error.to_string()).unwrap_or_default();
    assert!(refused.contains("share bytes"), "{refused}");
}

#[test]
fn a_restore_drill_compares_every_head() {
    let (folder, store, mut pens) = filled(JOB);
    let mut other = Pen::new(5);
    store.append(OTHER_JOB, Batch::of(other.events(9)).head(other.head())).unwrap();
    // While the store goes on being written, from another process as it were.
    let beside = Sqlite::open_to_read(folder.path()).unwrap();
    let file = tempdir().unwrap();
    let path = file.path().join("backup.zip");
    let mut made = None;
    bundle::write_file(&path, |out| {
        let (out, backup) = backup::write(&beside, "1.0", AT, out)?;
        made = Some(backup);
        Ok(out)
    })
    .unwrap();
    let made = made.unwrap();
    store.append(JOB, Batch::of(pens[0].events(2))).unwrap();
    assert_eq!(made.left_out, Vec::<String>::new());
    assert_eq!(made.manifest.jobs.iter().map(|job| (job.logs.len(), job.blobs)).collect::<Vec<_>>(), [(3, 8), (1, 0)]);
    let mut opened = Opened::open(&path).unwrap();
    assert!(opened.verify().unwrap().iter().all(|(_, report)| report.is_sound()));
    let (_new, second) = empty();
    opened.restore(&second, Take::Whole).unwrap();
    for job in &made.manifest.jobs {
        for log in &job.logs {
            let restored = second.log(&job.job, &log.log).unwrap();
            assert_eq!((restored.size, restored.root), (log.size, log.root));
        }
        assert!(verify_store(&second, &job.job, Vec::new()).unwrap().is_sound());
    }
    assert_eq!(second.log(JOB, &pens[0].device).unwrap().size, 24, "what came after the backup is not in it");
    assert!(matches!(opened.restore(&second, Take::Whole), Err(Refusal::Error(Error::Refused(_)))), "never into a folder with records");
}

#[test]
fn a_backup_cut_back_together_with_its_logs_is_found_by_its_heads() {
    let (_folder, store, pens) = filled(JOB);
    let (bytes, backup) = backup::write(&store, "1.0", AT, Vec::new()).unwrap();
    let (_short, shorter) = empty();
    let kept = whole_log(&store, JOB, &pens[0].device);
    let lines = kept[..12].iter().enumerate().map(|(seq, bytes)| store::Line {
        log: pens[0].device.clone(),
        seq: seq as u64,
        bytes: bytes.clone(),
    });
    shorter.append(JOB, Batch { lines: lines.collect(), blobs_follow: true, ..Batch::default() }).unwrap();
    let (short, _) = backup::write(&shorter, "1.0", AT, Vec::new()).unwrap();
    // The manifest of the long one over the records of the short one.
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    let mut from = zip::ZipArchive::new(Cursor::new(short)).unwrap();
    for i in 0..from.len() {
        let mut file = from.by_index(i).unwrap();
        zip.start_file(file.name().unwrap().into_owned(), SimpleFileOptions::default().compression_method(CompressionMethod::Stored))
            .unwrap();
        let mut content = Vec::new();
        file.read_to_end(&mut content).unwrap();
        if i == 0 {
            content = serde_json::to_vec(&backup.manifest).unwrap();
        }
        zip.write_all(&content).unwrap();
    }
    let mut opened = Opened::read(zip.finish().unwrap()).unwrap();
    assert!(opened.verify().unwrap().iter().any(|(_, report)| !report.is_sound()));
    let (_new, second) = empty();
    assert!(matches!(opened.restore(&second, Take::Whole), Err(Refusal::Damaged(_))));
    assert!(Opened::read(Cursor::new(bytes)).unwrap().verify().unwrap().iter().all(|(_, report)| report.is_sound()));
}

#[test]
fn a_blob_that_is_gone_or_changed_is_found_and_the_rest_goes_out() {
    let (folder, store, _) = filled(JOB);
    let blobs = store.blobs(JOB).unwrap();
    let path = |blob: &store::Blob| folder.path().join(store::blobs::name(&blob.hash));
    fs::remove_file(path(&blobs[0])).unwrap();
    flip(&path(&blobs[1]), 100);
    let report = verify_store(&store, JOB, Vec::new()).unwrap();
    assert_eq!(report.blobs.damaged, [blobs[1].hash]);
    assert!(report.files.iter().any(|problem| problem.to_string().contains(&blobs[0].hash.to_string())), "{:?}", report.files);
    let (bytes, left_out) = bundle::write(&mut StoreFiles::of(&store, JOB, "1.0").unwrap(), Vec::new()).unwrap();
    assert_eq!(left_out, [store::blobs::name(&blobs[0].hash)]);
    let (_other, second) = empty();
    let mut bundle = Bundle::read(Cursor::new(bytes)).unwrap();
    assert!(matches!(merge(&mut bundle, &second, Take::Whole, Vec::new()), Err(Refusal::Damaged(_))));
    let (merged, _) = merge(&mut bundle, &second, Take::Sound, Vec::new()).unwrap();
    assert_eq!((merged.added, merged.blobs), (56, 6));
    // Sent again, it is whole again.
    put_from(&store, JOB, &mut &picture_of(&blobs[1])[..]).unwrap();
    assert_eq!(verify_store(&store, JOB, Vec::new()).unwrap().blobs.damaged, []);
}

fn picture_of(blob: &store::Blob) -> Vec<u8> {
    (0..8).map(|number| photograph(number, blob.bytes as usize)).find(|bytes| Hash::of(bytes) == blob.hash).unwrap()
}

fn flip(path: &Path, at: u64) {
    let mut file = File::options().read(true).write(true).open(path).unwrap();
    let mut byte = [0];
    file.seek(SeekFrom::Start(at)).unwrap();
    file.read_exact(&mut byte).unwrap();
    file.seek(SeekFrom::Start(at)).unwrap();
    file.write_all(&[byte[0] ^ 1]).unwrap();
}
