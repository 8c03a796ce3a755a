//! Events: made, read back, and refused with everything that is wrong.
#![cfg(test)]

use ledger::event::{MOST_BYTES, Place};
use ledger::id::uuid_v7;
use ledger::{Clock, Draft, Event, EventBytes, Hash, payload};
use proptest::prelude::*;
use serde_json::json;
use std::collections::BTreeMap;

const DEVICE: &str = "00112233445566778899aabbccddeeff";
const OTHER: &str = "ffeeddccbbaa99887766554433221100";

fn draft() -> Draft {
    Draft {
        author: "M. Okafor".into(),
        at: "2026-11-25T09:30:00+11:00".into(),
        clock: Some(Clock { offset_ms: 1250.0, u_ms: 40.0 }),
        seen: BTreeMap::from([(OTHER.into(), 7)]),
        kind: "reading".into(),
        version: 1,
        payload: payload(&json!({"depth_mm": 1.5, "where": "beside the outlet"})).unwrap(),
        blobs: vec![Hash::of(b"a photograph")],
    }
}

fn made(draft: Draft) -> EventBytes {
    draft.make(uuid_v7(1_700_000_000_000, [7; 10]), Place { device: DEVICE.into(), seq: 3 }).unwrap()
}

#[test]
fn an_event_is_one_line_and_reads_back() {
    let bytes = made(draft());
    let text = std::str::from_utf8(bytes.as_bytes()).unwrap();
    assert_eq!(
        text,
        format!(
            r#"{{"v":1,"id":"018bcfe5-6800-7707-8707-070707070707","device":"{DEVICE}","seq":3,"author":"M. Okafor","at":"2026-11-25T09:30:00+11:00","clock":{{"offset_ms":1250.0,"u_ms":40.0}},"seen":{{"{OTHER}":7}},"kind":"reading","version":1,"payload":{{"depth_mm":1.5,"where":"beside the outlet"}},"blobs":["{}"]}}"#,
            Hash::of(b"a photograph")
        )
    );
    let event = bytes.event();
    assert_eq!((event.seq, event.kind.as_str(), event.seen[OTHER]), (3, "reading", 7));
    assert_eq!(event.payload.get(), r#"{"depth_mm":1.5,"where":"beside the outlet"}"#);
    assert_eq!(bytes.leaf(), Hash::leaf(text.as_bytes()));
}

#[test]
fn what_was_not_measured_or_seen_is_left_out() {
    let bytes = made(Draft { clock: None, seen: BTreeMap::new(), blobs: Vec::new(), ..draft() });
    let text = String::from_utf8(bytes.into_bytes()).unwrap();
    assert!(!text.contains("clock") && !text.contains("seen") && !text.contains("blobs"), "{text}");
}

#[test]
fn an_event_of_a_later_version_is_read_and_its_bytes_are_kept() {
    let text = String::from_utf8(made(draft()).into_bytes()).unwrap();
    let later = text.replacen(r#"{"v":1,"#, r#"{"v":2,"weather":{"rain":true},"#, 1);
    let kept = EventBytes::read(later.clone().into_bytes()).unwrap();
    assert_eq!(kept.event().v, 2);
    assert_eq!(kept.as_bytes(), later.as_bytes());
}

#[test]
fn everything_wrong_with_a_draft_is_named_at_once() {
    let wrong = Draft {
        author: " ".into(),
        at: "yesterday".into(),
        clock: Some(Clock { offset_ms: f64::INFINITY, u_ms: f64::NAN }),
        seen: BTreeMap::from([(DEVICE.into(), 1), ("phone".into(), u64::MAX)]),
        kind: "Room Edited".into(),
        version: 0,
        payload: payload(&[1, 2]).unwrap(),
        blobs: vec![Hash::of(b""); 1001],
    };
    let problems = wrong.make("1".into(), Place { device: "d".into(), seq: u64::MAX }).unwrap_err();
    let fields: Vec<&str> = problems.problems.iter().map(|problem| problem.field.as_str()).collect();
    let expected = [
        "id",
        "device",
        "seq",
        "author",
        "at",
        "kind",
        "version",
        "payload",
        "blobs",
        "seen",
        "seen.phone",
        "clock.offset_ms",
        "clock.u_ms",
    ];
    assert_eq!(fields, expected, "{problems}");
}

#[test]
fn everything_missing_from_a_line_is_named_at_once() {
    let problems = Event::read(br#"{"v":1,"seq":-1,"author":7}"#).unwrap_err().to_string();
    for field in ["id", "device", "seq", "author", "at", "kind", "version", "payload"] {
        assert!(problems.contains(field), "{field} in {problems}");
    }
}

#[test]
fn what_is_not_one_event_on_a_line_is_refused() {
    let line = String::from_utf8(made(draft()).into_bytes()).unwrap();
    let hostile = [
        String::new(),
        "{".into(),
        "{}".into(),
        "[]".into(),
        "null".into(),
        format!(" {line}"),
        format!("{line}\n"),
        format!("{line}{line}"),
        format!("\u{feff}{line}"),
        line.replace(r#""seq":3"#, r#""seq":3,"seq":4"#),
        line.replace(r#""seq":3"#, r#""seq":3,"s\u0065q":3"#),
        line.replace(r#""depth_mm":1.5"#, r#""depth_mm":1.5,"depth_mm":9"#),
        line.replace(r#""depth_mm":1.5"#, "\n\"depth_mm\":1.5"),
        line.replace(r#""depth_mm":1.5"#, &format!(r#""deep":{}{}"#, "[".repeat(70), "]".repeat(70))),
        line.replace(r#""depth_mm":1.5"#, r#""depth_mm":1e999"#),
        line.replace(r#""seq":3"#, r#""seq":3.5"#),
        line.replace(r#""seq":3"#, r#""seq":18446744073709551616"#),
        line.replace("reading", &"r".repeat(65)),
        line.replace("M. Okafor", &"x".repeat(MOST_BYTES)),
        line.replace("M. Okafor", r"M.\u0000"),
        line.replace("+11:00", ""),
        line.replace(OTHER, DEVICE),
        line.replace(DEVICE, &DEVICE.to_uppercase()),
    ];
    for text in hostile {
        let problems = Event::read(text.as_bytes()).map(|event| panic!("{event:?} of {text}")).unwrap_err();
        assert!(!problems.is_empty() && !problems.to_string().is_empty(), "{text}");
    }
    assert!(Event::read(&[b"{\"v\":\xff".as_slice(), line.as_bytes()].concat()).is_err());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn whatever_an_author_writes_reads_back(author in "\\PC{1,40}", text in ".{0,60}", seq in 0u64..1 << 40) {
        prop_assume!(!author.trim().is_empty() && !author.chars().any(char::is_control));
        let draft = Draft { author: author.clone(), payload: payload(&json!({"text": text})).unwrap(), ..draft() };
        let bytes = draft.make(uuid_v7(seq, [1; 10]), Place { device: DEVICE.into(), seq }).unwrap();
        let event = Event::read(bytes.as_bytes()).unwrap();
        prop_assert_eq!((event.author, event.seq), (author, seq));
        let back: serde_json::Value = serde_json::from_str(event.payload.get()).unwrap();
        prop_assert_eq!(back["text"].as_str(), Some(text.as_str()));
    }

    #[test]
    fn no_bytes_make_reading_panic(bytes in proptest::collection::vec(any::<u8>(), 0..200), at in any::<usize>()) {
        let _ = Event::read(&bytes);
        let mut line = made(draft()).into_bytes();
        let at = at % line.len();
        line.splice(at..(at + bytes.len()).min(line.len()), bytes);
        let _ = Event::read(&line);
    }
}
