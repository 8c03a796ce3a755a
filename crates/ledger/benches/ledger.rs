//! How long a log of 100,000 events takes. `cargo xtask bench ledger`.

use ledger::event::Place;
use ledger::id::uuid_v7;
use ledger::{Draft, Event, Hash, Head, Key, Manifest, Tree, Verifier, payload};
use std::collections::BTreeMap;
use std::hint::black_box;

const EVENTS: u64 = 100_000;
/// Events between two heads: a batch that is acknowledged at once.
const BATCH: usize = 100;

fn main() {
    divan::main();
}

fn key() -> Key {
    Key::from_seed(&[1; 32])
}

fn draft(seq: u64) -> Draft {
    Draft {
        author: "J. Ngata".into(),
        at: "2026-11-25T09:30:00+11:00".into(),
        clock: None,
        seen: BTreeMap::from([("ffeeddccbbaa99887766554433221100".into(), seq)]),
        kind: "reading".into(),
        version: 1,
        payload: payload(&serde_json::json!({"x_mm": seq % 2000, "y_mm": 430, "depth_mm": 1.5})).expect("JSON"),
        blobs: Vec::new(),
    }
}

fn events() -> Vec<Vec<u8>> {
    let device = key().public().device();
    let made = |seq| draft(seq).make(uuid_v7(seq, [7; 10]), Place { device: device.clone(), seq }).expect("sound").into_bytes();
    (0..EVENTS).map(made).collect()
}

/// Made, checked, written: what a device does before it stores them.
#[divan::bench(sample_count = 3)]
fn make_100_000(bencher: divan::Bencher) {
    bencher.bench_local(events);
}

/// Hashed and appended, the root known after each batch.
#[divan::bench(sample_count = 5)]
fn hash_and_append_100_000(bencher: divan::Bencher) {
    let events = events();
    bencher.bench_local(|| {
        let mut tree = Tree::new();
        for batch in events.chunks(BATCH) {
            batch.iter().for_each(|event| tree.push(Hash::leaf(event)));
            black_box(tree.root());
        }
        tree
    });
}

/// Read and nothing else.
#[divan::bench(sample_count = 5)]
fn read_100_000(bencher: divan::Bencher) {
    let events = events();
    bencher.bench_local(|| events.iter().filter(|event| Event::read(black_box(event)).is_ok()).count());
}

/// A whole log verified: events, file of hashes, a signed head for each batch.
#[divan::bench(sample_count = 5)]
fn verify_100_000(bencher: divan::Bencher) {
    let device = key().public().device();
    let (mut tree, mut log, mut heads, mut hashes) = (Tree::new(), Vec::new(), Vec::new(), Vec::new());
    for batch in events().chunks(BATCH) {
        for event in batch {
            let leaf = Hash::leaf(event);
            tree.push(leaf);
            hashes.extend_from_slice(format!("{leaf}\n").as_bytes());
            log.extend_from_slice(event);
            log.push(b'\n');
        }
        let head = Head::of(&*device, &tree, "2026-11-25T09:30:00+11:00").sign(&key());
        heads.extend_from_slice(head.to_line().as_bytes());
        heads.push(b'\n');
    }
    let job = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f".into();
    let manifest = Manifest { format: ledger::manifest::FORMAT.into(), job, made_by: "0.1.0".into(), site: None }.to_bytes();
    bencher.bench_local(|| {
        let mut verifier = Verifier::new();
        verifier.feed("record.json", &manifest);
        for (end, bytes) in [(".jsonl", &log), (".heads.jsonl", &heads), (".hashes", &hashes)] {
            bytes.chunks(1 << 16).for_each(|piece| assert!(verifier.feed(&format!("logs/{device}{end}"), piece)));
        }
        let report = verifier.finish();
        assert!(report.is_sound() && report.logs[0].proven == EVENTS);
        report
    });
}
