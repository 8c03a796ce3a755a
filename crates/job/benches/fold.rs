//! A long record folded. `cargo bench -p job --bench fold`

use ledger::event::Place;
use ledger::{Draft, Event};

fn main() {
    divan::main();
}

/// 100,000 events of four devices: readings, looks, field edits and notes.
fn events() -> Vec<Event> {
    let payloads = [
        ("reading", 2, r#"{"rows":[{"hold_point":"screed","detail":"room","quantity":"depth_mm","value":1.5,"plus_minus":1}]}"#),
        ("look", 1, r#"{"hold_point":"screed","details":["*"],"result":"right","grade":"seen","by":"a","at":"2026-03-02T10:00:00+10:00"}"#),
        ("field", 1, r#"{"file":"job.json","at":"/site","value":"north"}"#),
        ("note", 1, r#"{"words":"the drain is clean"}"#),
    ];
    let event = |i: u64| {
        let (device, seq) = (i % 4, i / 4);
        let (kind, version, payload) = payloads[(i / 4 % 4) as usize];
        let seen = (0..4).filter(|other| *other != device).map(|other| (format!("{other:032x}"), seq)).collect();
        let draft = Draft {
            author: "person".into(),
            at: format!("2026-03-{:02}T{:02}:{:02}:{:02}+10:00", 1 + i / 86_400, i / 3_600 % 24, i / 60 % 60, i % 60),
            clock: None,
            seen,
            kind: kind.into(),
            version,
            payload: serde_json::from_str(payload).expect("a payload is JSON"),
            blobs: Vec::new(),
        };
        let id = ledger::id::uuid_v7(i * 1_000, (i as u128).to_be_bytes()[6..].try_into().expect("ten bytes"));
        draft.make(id, Place { device: format!("{device:032x}"), seq }).expect("a sound event").event()
    };
    (0..100_000).map(event).collect()
}

#[divan::bench(sample_count = 5)]
fn hundred_thousand_events(bencher: divan::Bencher) {
    let events = events();
    bencher.bench(|| job::record::fold(&events));
}
