//! A small record, whole, as its files.

use ledger::event::Place;
use ledger::id::uuid_v7;
use ledger::verify::blob_path;
use ledger::{Clock, Draft, Hash, Head, Key, Manifest, Receipt, Report, SignedHead, Tree, Verifier, payload};
use serde_json::json;
use std::collections::BTreeMap;

pub type Files = BTreeMap<String, Vec<u8>>;

pub const JOB: &str = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f";
pub const PHOTOGRAPHS: [&[u8]; 2] = [b"first photograph", b"second photograph, somewhat longer"];

pub fn key(n: u8) -> Key {
    Key::from_seed(&[n; 32])
}

pub fn device(n: u8) -> String {
    key(n).public().device()
}

/// The name of one of a log's files.
pub fn file(log: &str, end: &str) -> String {
    format!("logs/{log}{end}")
}

/// An event of device `n`.
pub fn event(n: u8, seq: u64) -> Vec<u8> {
    let draft = Draft {
        author: "J. Ngata".into(),
        at: format!("2026-11-25T09:{:02}:00+11:00", seq % 60),
        clock: (n == 1).then_some(Clock { offset_ms: 1250.0, u_ms: 40.0 }),
        seen: if n == 1 { BTreeMap::new() } else { BTreeMap::from([(device(1), seq)]) },
        kind: "reading".into(),
        version: 1,
        payload: payload(&json!({"depth_mm": seq as f64 / 2.0, "where": "Jamb*, N"})).expect("JSON"),
        blobs: if seq == 1 { vec![Hash::of(PHOTOGRAPHS[usize::from(n == 2)])] } else { Vec::new() },
    };
    let id = uuid_v7(1_790_000_000_000 + seq, [n; 10]);
    draft.make(id, Place { device: device(n), seq }).expect("a sound event").into_bytes()
}

/// A log's three files, its heads at these sizes by key `n`.
pub fn log(files: &mut Files, name: &str, named: &str, n: u8, entries: &[Vec<u8>], sizes: &[u64]) -> Vec<SignedHead> {
    let tree = Tree::of(entries.iter().map(|entry| Hash::leaf(entry)));
    let heads: Vec<SignedHead> = sizes.iter().map(|size| head(named, &tree, n, *size)).collect();
    files.insert(file(name, ".jsonl"), lines(entries.iter().cloned()));
    files.insert(file(name, ".heads.jsonl"), lines(heads.iter().map(|head| head.to_line().into_bytes())));
    files.insert(file(name, ".hashes"), lines(tree.leaves().iter().map(|leaf| leaf.to_string().into_bytes())));
    heads
}

pub fn head(named: &str, tree: &Tree, n: u8, size: u64) -> SignedHead {
    let root = tree.root_at(size).expect("a size it had");
    Head { log: named.into(), size, root, at: "2026-11-25T10:00:00+11:00".into() }.sign(&key(n))
}

pub fn lines(each: impl IntoIterator<Item = Vec<u8>>) -> Vec<u8> {
    each.into_iter().flat_map(|line| [line, b"\n".to_vec()].concat()).collect()
}

/// Two devices, one with an event that no head covers yet, and the site record's job log with a receipt for each head.
pub fn record() -> Files {
    let mut files = Files::new();
    let site = Some(device(9));
    files.insert(
        "record.json".into(),
        Manifest { format: ledger::manifest::FORMAT.into(), job: JOB.into(), made_by: "0.1.0".into(), site }.to_bytes(),
    );
    let events = |n: u8, count: u64| (0..count).map(|seq| event(n, seq)).collect::<Vec<_>>();
    let first = log(&mut files, &device(1), &device(1), 1, &events(1, 5), &[2, 5]);
    let second = log(&mut files, &device(2), &device(2), 2, &events(2, 4), &[3]);
    let received = [&first[0], &second[0], &first[1]].map(|head| {
        let receipt = Receipt::of(head, "2026-11-25T10:05:00+11:00", Some(Clock { offset_ms: -3.0, u_ms: 40.0 }));
        receipt.expect("a sound head").to_line().into_bytes()
    });
    log(&mut files, "job", JOB, 9, &received, &[1, 3]);
    for photograph in PHOTOGRAPHS {
        files.insert(blob_path(&Hash::of(photograph)), photograph.to_vec());
    }
    files
}

pub fn verifier(files: &Files) -> Verifier {
    let mut verifier = Verifier::new();
    for (path, bytes) in files {
        assert!(verifier.feed(path, bytes), "{path} is no file of a record");
    }
    verifier
}

pub fn verify(files: &Files) -> Report {
    verifier(files).finish()
}

/// The lines of a file, without their breaks.
pub fn split(bytes: &[u8]) -> Vec<Vec<u8>> {
    let mut lines: Vec<Vec<u8>> = bytes.split(|byte| *byte == b'\n').map(<[u8]>::to_vec).collect();
    if lines.last().is_some_and(Vec::is_empty) {
        lines.pop();
    }
    lines
}
