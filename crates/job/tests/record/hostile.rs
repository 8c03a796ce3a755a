//! What nobody should write: listed as refused, and in no file.

use crate::tell::{Record, problems, text};
use job::record::state::Stands;
use serde_json::json;

/// A payload of a kind, and what the problem must speak of.
const REFUSED: &[(&str, &str, &str)] = &[
    ("document", r#"{"file":"../room.json","text":"{}"}"#, "../room.json"),
    ("document", r#"{"file":"a\\b.json","text":"{}"}"#, "another folder"),
    ("document", r#"{"file":"x.json"}"#, "either text or blob"),
    ("photograph", r#"{"file":"room.json","blob":"","bytes":1,"type":"image/jpeg"}"#, "data file"),
    ("field", r#"{"file":"room.json","at":"/walls/9/height_mm","value":1}"#, "nothing stands"),
    ("field", r#"{"file":"room.json","at":"height_mm","value":1}"#, "points nowhere"),
    ("field", r#"{"file":"room.json","at":"/height_mm","value":"high"}"#, "height_mm"),
    ("field", r#"{"file":"room.json","at":"/outline_mm","value":[[0,0]]}"#, "outline_mm"),
    ("field", r#"{"file":"readings.csv","at":"/a","value":1}"#, "only JSON files"),
    ("reading", r#"{"rows":[{"hold_point":"a","detail":"b","quantity":"c","value":"NaN"}]}"#, "rows[0].value"),
    ("reading", r#"{"rows":[{"hold_point":"a","detail":"b","quantity":"c","value":1e300}]}"#, "out of range"),
    ("reading", r#"{"rows":[{"hold_point":"a\nb","detail":"b","quantity":"c","value":1}]}"#, "not on one line"),
    ("reading", r#"{"rows":[]}"#, "rows"),
    ("climate-reading", r#"{"rows":[{"hold_point":"a","air_c":20,"rh":65,"surface_c":20}]}"#, "rh"),
    ("level", r#"{"layer":"screed","rows":[{"x_mm":1,"y_mm":1}]}"#, "either level_mm or staff_mm"),
    ("film-reading", r#"{"rows":[{"layer":"over-screed","detail":"a"}]}"#, "rows[0]"),
    ("look", r#"{"kind":"outcome","hold_point":"screed"}"#, ""),
    ("look", r#"{"hold_point":"a","details":["*"],"result":"splendid","grade":"seen","by":"x","at":"2026-03-02T10:00:00Z"}"#, "result"),
    ("pond", r#"{"layer":"tile","outline_mm":[[0,0]],"depth_mm":-1,"minutes":1,"by":"x","at":"2026-03-02T10:00:00Z"}"#, "depth_mm"),
    (
        "coat",
        r#"{"id":"c","layer":"over-screed","number":99,"by":"x","start":"2026-03-02T10:00:00Z","areas":[{"details":["*"]}]}"#,
        "number",
    ),
    ("rectification", r#"{"defect":"018bcfe5-6800-7707-8707-070707070707","words":"done","photographs":[]}"#, "photographs"),
    ("withdrawn", r#"{"event":"that one","why":"x"}"#, "UUID"),
];

#[test]
fn what_a_kind_may_not_say_is_named_and_reaches_no_file() {
    for (kind, payload, speaks_of) in REFUSED {
        let mut record = Record::default();
        let room = r#"{"format":"undertile room 1","outline_mm":[[0,0],[2400,0],[2400,1800]],"walls":[]}"#;
        record.add('a', 480, "room-edited", json!({"text": room}));
        let before = record.fold().files;
        let version = job::record::find(kind).unwrap().version;
        record.add_text('a', 500, kind, version, payload);
        let state = record.fold();
        assert_eq!(state.history[1].stands, Stands::Refused, "{kind} {payload}");
        assert_eq!(state.files, before, "{kind} {payload}");
        assert!(problems(&state).join("\n").contains(speaks_of), "{payload}: {:?}", problems(&state));
    }
}

#[test]
fn one_bad_change_among_good_ones_is_the_only_one_left_out() {
    let mut record = Record::default();
    record.add('a', 480, "room-edited", json!({"text": r#"{"format":"undertile room 1","outline_mm":[[0,0],[2400,0],[2400,1800]]}"#}));
    for minute in 500..600 {
        let (at, value) = if minute == 550 { ("/walls", json!("high")) } else { ("/height_mm", json!(minute)) };
        record.add('a', minute, "field", json!({"file": "room.json", "at": at, "value": value}));
    }
    let state = record.fold();
    assert_eq!(state.history.iter().filter(|event| event.stands == Stands::Refused).count(), 1);
    assert!(text(&state, "room.json").contains("599"));
}

#[test]
fn what_a_later_program_wrote_is_kept_and_not_understood() {
    let mut record = Record::default();
    record.add_text('a', 500, "weather", 1, r#"{"rain":true}"#);
    record.add_text('a', 501, "note", 9, r#"{"sung":"la"}"#);
    let state = record.fold();
    assert_eq!(state.not_understood().map(|event| event.kind.as_str()).collect::<Vec<_>>(), ["weather", "note"]);
}

#[test]
fn a_reading_of_version_1_reads_as_it_did() {
    let mut record = Record::default();
    let row = r#"{"hold_point":"screed","detail":"room","quantity":"q","value":1.50}"#;
    record.add_text('a', 600, "reading", 1, row);
    record.add_text('a', 600, "reading", 2, &format!(r#"{{"rows":[{row}]}}"#));
    let state = record.fold();
    let rows: Vec<&str> = text(&state, "readings.csv").lines().skip(1).collect();
    assert_eq!(rows[0], "screed,room,q,1.50,person a,2026-03-02T10:00:00+10:00");
    assert_eq!(rows[0], rows[1]);
}
