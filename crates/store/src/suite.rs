//! What every store must do, as tests that any implementation runs, and a pen to write records with.
//!
//! ```ignore
//! struct InMyDatabase(tempfile::TempDir);
//! impl store::suite::Place for InMyDatabase {
//!     fn open(&self) -> Box<dyn store::Store> { ... }
//! }
//! store::suite!(InMyDatabase::new);
//! ```
// Tests stand here as code that is called, so they may fail as tests do.
#![allow(clippy::unwrap_used, missing_docs)]

use crate::{Batch, Blob, Error, Page, Store, put_from};
use ledger::event::payload;
use ledger::{Draft, EventBytes, Hash, Key, Receipt, SignedHead, Tree, event, head, id};
use std::collections::BTreeMap;
use std::io::{Read, Seek, SeekFrom};

/// A job's id.
pub const JOB: &str = "0192f0c1-2b3a-7c4d-8e5f-0123456789ab";
/// Another job's id.
pub const OTHER_JOB: &str = "0192f0c1-2b3a-7c4d-8e5f-0123456789ac";
/// A time.
pub const AT: &str = "2026-11-25T09:30:00+11:00";

/// Where a store is: opened again it holds what it held.
pub trait Place {
    fn open(&self) -> Box<dyn Store>;
}

/// A device that writes events.
pub struct Pen {
    pub key: Key,
    pub device: String,
    pub tree: Tree,
    random: u64,
}

impl Pen {
    /// The device of this number; the same number is the same device, from its first event on.
    pub fn new(number: u8) -> Self {
        let key = Key::from_seed(&[number; 32]);
        Self { device: key.public().device(), key, tree: Tree::new(), random: u64::from(number) + 1 }
    }

    /// Its next event.
    pub fn event(&mut self, text: &str, blobs: Vec<Hash>) -> EventBytes {
        let draft = Draft {
            author: "A. Surveyor".into(),
            at: AT.into(),
            clock: None,
            seen: BTreeMap::new(),
            kind: "note".into(),
            version: 1,
            payload: payload(&BTreeMap::from([("text", text)])).unwrap(),
            blobs,
        };
        self.random = splitmix(self.random);
        let mut random = [0; 10];
        random[..8].copy_from_slice(&self.random.to_be_bytes());
        let place = event::Place { device: self.device.clone(), seq: self.tree.size() };
        let bytes = draft.make(id::uuid_v7(1_764_023_400_000 + self.tree.size(), random), place).unwrap();
        self.tree.push(bytes.leaf());
        bytes
    }

    /// Its next events.
    pub fn events(&mut self, count: usize) -> Vec<EventBytes> {
        (0..count).map(|i| self.event(&format!("level {i}: 12.5 mm below the benchmark"), Vec::new())).collect()
    }

    /// The signed head of all its events so far.
    pub fn head(&self) -> SignedHead {
        head::Head::of(self.device.clone(), &self.tree, AT).sign(&self.key)
    }
}

/// The next number of chance after this one (SplitMix64).
pub fn splitmix(seed: u64) -> u64 {
    let z = seed.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// Bytes that begin as a JPEG does, the same for the same number.
pub fn photograph(number: u64, bytes: usize) -> Vec<u8> {
    let mut photograph = b"\xff\xd8\xff\xe1".to_vec();
    let mut random = number;
    while photograph.len() < bytes {
        random = splitmix(random);
        photograph.extend(random.to_be_bytes());
    }
    photograph.truncate(bytes);
    photograph
}

/// Every entry of a log.
pub fn whole_log(store: &dyn Store, job: &str, log: &str) -> Vec<Vec<u8>> {
    let mut all = Vec::new();
    loop {
        let page = store.read(job, log, all.len() as u64, Page { entries: 7, bytes: 3_000 }).unwrap();
        if page.is_empty() {
            return all;
        }
        all.extend(page);
    }
}

fn bytes_of(events: &[EventBytes]) -> Vec<Vec<u8>> {
    events.iter().map(|event| event.as_bytes().to_vec()).collect()
}

fn blob_bytes(store: &dyn Store, job: &str, hash: &Hash) -> Vec<u8> {
    let mut bytes = Vec::new();
    store.open_blob(job, hash).unwrap().read_to_end(&mut bytes).unwrap();
    bytes
}

fn put(store: &dyn Store, job: &str, bytes: &[u8]) -> Blob {
    put_from(store, job, &mut &bytes[..]).unwrap()
}

/// Makes a test of each case, on a fresh place each.
#[macro_export]
macro_rules! suite {
    ($make:expr) => {
        $crate::suite! { $make,
            what_is_appended_is_there_after_opening_again
            a_batch_sent_again_changes_nothing
            another_event_at_the_same_place_is_refused
            an_event_that_skips_a_place_is_refused
            a_batch_is_kept_whole_or_not_at_all
            an_event_sent_for_another_log_is_refused
            heads_must_be_signed_and_fit
            heads_of_earlier_sizes_fit_too
            receipts_stand_in_the_job_log
            jobs_are_kept_apart
            photographs_come_back_as_they_were
            an_event_waits_for_its_photograph_unless_it_may_come_later
            a_blob_is_what_its_bytes_say
            an_upload_goes_on_where_it_broke_off
            many_threads_write_at_once
        }
    };
    ($make:expr, $($case:ident)+) => {
        $(#[test]
        fn $case() {
            $crate::suite::$case(&$make());
        })+
    };
}

pub fn what_is_appended_is_there_after_opening_again(place: &dyn Place) {
    let mut pen = Pen::new(1);
    let (first, second) = (pen.events(10), pen.events(3));
    let store = place.open();
    assert_eq!(store.jobs().unwrap(), Vec::<String>::new());
    assert_eq!(store.logs(JOB).unwrap(), []);
    store.append(JOB, Batch::of(first.clone())).unwrap();
    drop(store);
    let store = place.open();
    let done = store.append(JOB, Batch::of(second.clone()).head(pen.head())).unwrap();
    assert_eq!((done.added, done.known, done.logs[0].size, done.logs[0].root), (3, 0, 13, pen.tree.root()));
    drop(store);
    let store = place.open();
    assert_eq!(store.jobs().unwrap(), [JOB]);
    assert_eq!(whole_log(&*store, JOB, &pen.device), bytes_of(&[first, second].concat()));
    assert_eq!(store.logs(JOB).unwrap(), [store.log(JOB, &pen.device).unwrap()]);
    assert_eq!(store.tree(JOB, &pen.device).unwrap(), pen.tree);
    assert_eq!(store.heads(JOB, &pen.device).unwrap(), [pen.head().to_line().into_bytes()]);
    assert_eq!(store.log(JOB, "nobody").unwrap().size, 0);
    assert!(store.read(JOB, &pen.device, 13, Page::default()).unwrap().is_empty());
    assert!(store.read(JOB, &pen.device, u64::MAX, Page::default()).unwrap().is_empty());
}

pub fn a_batch_sent_again_changes_nothing(place: &dyn Place) {
    let mut pen = Pen::new(1);
    let events = pen.events(20);
    let store = place.open();
    store.append(JOB, Batch::of(events[..8].to_vec())).unwrap();
    let overlapping = store.append(JOB, Batch::of(events[5..].to_vec()).head(pen.head())).unwrap();
    assert_eq!((overlapping.added, overlapping.known), (12, 3));
    let again = store.append(JOB, Batch::of(events.clone()).head(pen.head())).unwrap();
    assert_eq!((again.added, again.known, again.logs[0].size), (0, 20, 20));
    let twice_in_one = events.iter().chain(&events).cloned();
    assert_eq!(store.append(JOB, Batch::of(twice_in_one)).unwrap().known, 40);
    assert_eq!(whole_log(&*store, JOB, &pen.device), bytes_of(&events));
    assert_eq!(store.heads(JOB, &pen.device).unwrap().len(), 1);
    assert_eq!(store.append(JOB, Batch::default()).unwrap().logs, []);
}

pub fn another_event_at_the_same_place_is_refused(place: &dyn Place) {
    let (mut pen, mut twin) = (Pen::new(1), Pen::new(1));
    let events = pen.events(5);
    twin.events(3);
    let other = twin.event("something else", Vec::new());
    let store = place.open();
    store.append(JOB, Batch::of(events.clone())).unwrap();
    match store.append(JOB, Batch::of([other.clone()])) {
        Err(Error::Forked { log, seq: 3, kept, sent }) => {
            assert_eq!((log, kept, sent), (pen.device.clone(), events[3].leaf(), other.leaf()));
        }
        other => panic!("{other:?}"),
    }
    assert_eq!(whole_log(&*store, JOB, &pen.device), bytes_of(&events));
}

pub fn an_event_that_skips_a_place_is_refused(place: &dyn Place) {
    let mut pen = Pen::new(1);
    let events = pen.events(5);
    let store = place.open();
    store.append(JOB, Batch::of(events[..2].to_vec())).unwrap();
    let refused = store.append(JOB, Batch::of(events[3..].to_vec()));
    assert!(matches!(refused, Err(Error::Gap { size: 2, seq: 3, .. })), "{refused:?}");
    assert_eq!(store.append(JOB, Batch::of(events[2..].to_vec())).unwrap().added, 3);
}

pub fn a_batch_is_kept_whole_or_not_at_all(place: &dyn Place) {
    let (mut pen, mut other) = (Pen::new(1), Pen::new(2));
    let (events, others) = (pen.events(5), other.events(4));
    let store = place.open();
    let batch = Batch::of(others.iter().chain(&events[..3]).chain(&events[4..]).cloned());
    assert!(matches!(store.append(JOB, batch), Err(Error::Gap { .. })));
    assert_eq!(store.log(JOB, &pen.device).unwrap().size + store.log(JOB, &other.device).unwrap().size, 0);
    store.append(JOB, Batch::of(others.into_iter().chain(events))).unwrap();
    let store = {
        drop(store);
        place.open()
    };
    assert_eq!(store.log(JOB, &pen.device).unwrap().root, pen.tree.root());
    assert_eq!(store.log(JOB, &other.device).unwrap().root, other.tree.root());
}

pub fn an_event_sent_for_another_log_is_refused(place: &dyn Place) {
    let (mut pen, other) = (Pen::new(1), Pen::new(2));
    let mut batch = Batch::of(pen.events(1));
    batch.lines[0].log.clone_from(&other.device);
    let store = place.open();
    assert!(matches!(store.append(JOB, batch.clone()), Err(Error::Refused(_))));
    batch.lines[0].log = "nobody".into();
    assert!(matches!(store.append(JOB, batch.clone()), Err(Error::Refused(_))));
    batch.lines[0] = crate::Line { log: pen.device.clone(), seq: 0, bytes: b"{}".to_vec() };
    assert!(matches!(store.append(JOB, batch), Err(Error::Refused(_))));
    assert!(matches!(store.append("no job", Batch::default()), Err(Error::Refused(_))));
}

pub fn heads_must_be_signed_and_fit(place: &dyn Place) {
    let mut pen = Pen::new(1);
    let events = pen.events(4);
    let store = place.open();
    let right = pen.head();
    let ahead = Batch::of(events[..3].to_vec()).head(right.clone());
    assert!(matches!(store.append(JOB, ahead), Err(Error::Refused(_))), "a head of more than is here");
    let mut forged = right.clone();
    forged.head = forged.head.replace("\"size\":4", "\"size\":3");
    assert!(matches!(store.append(JOB, Batch::of(events.clone()).head(forged)), Err(Error::Refused(_))), "a forged head");
    let mut twin = Pen::new(1);
    twin.events(3);
    twin.event("something else", Vec::new());
    assert!(matches!(store.append(JOB, Batch::of(events.clone()).head(twin.head())), Err(Error::Refused(_))), "another tree's head");
    assert_eq!(store.log(JOB, &pen.device).unwrap().size, 0);
    store.append(JOB, Batch::of(events).head(right.clone())).unwrap();
    assert_eq!(store.heads(JOB, &pen.device).unwrap(), [right.to_line().into_bytes()]);
}

pub fn heads_of_earlier_sizes_fit_too(place: &dyn Place) {
    let mut pen = Pen::new(1);
    let mut heads = vec![pen.head()];
    let mut events = Vec::new();
    for _ in 0..6 {
        events.extend(pen.events(3));
        heads.push(pen.head());
    }
    let store = place.open();
    store.append(JOB, Batch::of(events[..10].to_vec())).unwrap();
    let rest = Batch { heads: heads.iter().rev().cloned().collect(), ..Batch::of(events[10..].to_vec()) };
    store.append(JOB, rest).unwrap();
    let lines: Vec<Vec<u8>> = heads.iter().map(|head| head.to_line().into_bytes()).collect();
    assert_eq!(store.heads(JOB, &pen.device).unwrap(), lines);
    let mut twin = Pen::new(1);
    twin.event("something else", Vec::new());
    assert!(matches!(store.append(JOB, Batch::default().head(twin.head())), Err(Error::Refused(_))), "of an earlier size");
}

pub fn receipts_stand_in_the_job_log(place: &dyn Place) {
    let (mut pen, site) = (Pen::new(1), Key::from_seed(&[9; 32]));
    let events = pen.events(2);
    let receipt = Receipt::of(&pen.head(), AT, None).unwrap();
    let tree = Tree::of([Hash::leaf(receipt.to_line().as_bytes())]);
    let head = head::Head::of(JOB, &tree, AT).sign(&site);
    let store = place.open();
    let done = store.append(JOB, Batch::of(events).head(pen.head()).receipt(JOB, 0, &receipt).head(head.clone())).unwrap();
    assert_eq!(done.added, 3);
    assert_eq!(store.log(JOB, JOB).unwrap().root, tree.root());
    assert_eq!(whole_log(&*store, JOB, JOB), [receipt.to_line().into_bytes()]);
    assert_eq!(store.heads(JOB, JOB).unwrap(), [head.to_line().into_bytes()]);
    let other = head::Head::of(OTHER_JOB, &tree, AT).sign(&site);
    assert!(matches!(store.append(JOB, Batch::default().head(other)), Err(Error::Refused(_))));
}

pub fn jobs_are_kept_apart(place: &dyn Place) {
    let mut pen = Pen::new(1);
    let mut same_device = Pen::new(1);
    let store = place.open();
    let blob = put(&*store, JOB, &photograph(1, 5_000));
    store.append(JOB, Batch::of([pen.event("here", vec![blob.hash])])).unwrap();
    store.append(OTHER_JOB, Batch::of([same_device.event("there", Vec::new())])).unwrap();
    assert_eq!(store.jobs().unwrap(), [JOB, OTHER_JOB]);
    assert_eq!(store.log(JOB, &pen.device).unwrap().root, pen.tree.root());
    assert_eq!(store.log(OTHER_JOB, &pen.device).unwrap().root, same_device.tree.root());
    assert_eq!(store.blob(OTHER_JOB, &blob.hash).unwrap(), None);
    assert!(matches!(store.open_blob(OTHER_JOB, &blob.hash), Err(Error::NotHere(_))));
    let named = Batch::of([same_device.event("with a photograph of another job", vec![blob.hash])]);
    assert!(matches!(store.append(OTHER_JOB, named), Err(Error::Refused(_))));
}

pub fn photographs_come_back_as_they_were(place: &dyn Place) {
    let store = place.open();
    let photographs: Vec<Vec<u8>> = [4, 511, 512, 513, 70_000, 300_000].iter().map(|bytes| photograph(*bytes as u64, *bytes)).collect();
    let mut blobs: Vec<Blob> = photographs.iter().map(|bytes| put(&*store, JOB, bytes)).collect();
    for (blob, bytes) in blobs.iter().zip(&photographs) {
        assert_eq!((blob.hash, blob.bytes), (Hash::of(bytes), bytes.len() as u64));
    }
    assert_eq!(put(&*store, JOB, &photographs[4]), blobs[4], "put again");
    let store = {
        drop(store);
        place.open()
    };
    for (blob, bytes) in blobs.iter().zip(&photographs) {
        assert_eq!(store.blob(JOB, &blob.hash).unwrap(), Some(*blob));
        assert_eq!(blob_bytes(&*store, JOB, &blob.hash), *bytes);
    }
    let mut reader = store.open_blob(JOB, &blobs[4].hash).unwrap();
    let mut part = [0; 100];
    reader.seek(SeekFrom::Start(65_500)).unwrap();
    reader.read_exact(&mut part).unwrap();
    assert_eq!(part, photographs[4][65_500..65_600]);
    blobs.sort();
    assert_eq!(store.blobs(JOB).unwrap(), blobs);
    assert_eq!(store.blob(JOB, &Hash::of(b"never put")).unwrap(), None);
}

pub fn an_event_waits_for_its_photograph_unless_it_may_come_later(place: &dyn Place) {
    let mut pen = Pen::new(1);
    let bytes = photograph(1, 1_000);
    let name = Hash::of(&bytes);
    let event = pen.event("corner of the shower", vec![name, name]);
    let store = place.open();
    assert!(matches!(store.append(JOB, Batch::of([event.clone()])), Err(Error::Refused(_))));
    let done = store.append(JOB, Batch::of([event.clone()]).blobs_follow()).unwrap();
    assert_eq!((done.added, done.missing), (1, vec![name]));
    assert_eq!(store.missing(JOB).unwrap(), [name]);
    put(&*store, JOB, &bytes);
    assert_eq!(store.missing(JOB).unwrap(), []);
    assert_eq!(store.append(JOB, Batch::of([event])).unwrap().missing, []);
}

pub fn a_blob_is_what_its_bytes_say(place: &dyn Place) {
    let store = place.open();
    let svg = b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>".to_vec();
    let archive = [b"PK\x03\x04".to_vec(), vec![0; 600]].concat();
    let turns = [vec![b'a'; 70_000], b"\0\0".to_vec()].concat();
    for refused in [svg, archive, turns, Vec::new()] {
        assert!(matches!(put_from(&*store, JOB, &mut &refused[..]), Err(Error::Refused(_))));
    }
    assert_eq!(store.blobs(JOB).unwrap(), []);
    assert_eq!(put(&*store, JOB, b"%PDF-1.7\n...").kind, crate::Kind::Pdf);
    assert_eq!(put(&*store, JOB, b"x_mm,y_mm,z_mm\n0,0,12.5\n").kind, crate::Kind::Text);
}

pub fn an_upload_goes_on_where_it_broke_off(place: &dyn Place) {
    let bytes = photograph(3, 200_000);
    let name = Hash::of(&bytes);
    let store = place.open();
    let mut put = store.put_blob(JOB, Some(&name)).unwrap();
    put.add(&bytes[..150_000]).unwrap();
    assert!(matches!(store.put_blob(JOB, Some(&name)), Err(Error::Busy(_))), "two at once");
    drop(put);
    let store = {
        drop(store);
        place.open()
    };
    assert_eq!(store.blob(JOB, &name).unwrap(), None);
    let mut put = store.put_blob(JOB, Some(&name)).unwrap();
    let at = put.at() as usize;
    assert!((1..=150_000).contains(&at), "{at}");
    put.add(&bytes[at..]).unwrap();
    assert_eq!(put.finish().unwrap().hash, name);
    assert_eq!(blob_bytes(&*store, JOB, &name), bytes);
    let mut other = store.put_blob(JOB, Some(&Hash::of(b"other"))).unwrap();
    other.add(&bytes).unwrap();
    assert!(matches!(other.finish(), Err(Error::Refused(_))), "bytes that are not the name's");
    assert_eq!(store.put_blob(JOB, Some(&Hash::of(b"other"))).unwrap().at(), 0, "nothing stays of them");
}

pub fn many_threads_write_at_once(place: &dyn Place) {
    let store = place.open();
    let store = &*store;
    std::thread::scope(|scope| {
        for number in 0..6 {
            scope.spawn(move || {
                let mut pen = Pen::new(number);
                for i in 0..15 {
                    let blob = put(store, JOB, &photograph(u64::from(number) % 2, 2_000));
                    let event = pen.event(&format!("reading {i}"), vec![blob.hash]);
                    store.append(JOB, Batch::of([event]).head(pen.head())).unwrap();
                    assert_eq!(store.log(JOB, &pen.device).unwrap().root, pen.tree.root());
                }
            });
        }
    });
    assert_eq!(store.logs(JOB).unwrap().iter().map(|log| log.size).collect::<Vec<_>>(), [15; 6]);
    assert_eq!(store.blobs(JOB).unwrap().len(), 2);
}
