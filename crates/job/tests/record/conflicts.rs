//! Two people who had not seen each other: both kept, both shown, until somebody who has seen both decides.

use crate::tell::{Record, problems, text};
use job::record::State;
use job::record::state::{About, Stands};
use serde_json::json;

fn height(mm: u32) -> serde_json::Value {
    json!({"file": "room.json", "at": "/walls/north/height_mm", "value": mm})
}

/// A room that devices a, b and c know.
fn room() -> Record {
    let mut record = Record::default();
    let room = json!({
        "format": "undertile room 1",
        "outline_mm": [[0, 0], [2400, 0], [2400, 1800], [0, 1800]],
        "walls": [{"id": "south", "edge": 1}, {"id": "north", "edge": 3, "height_mm": 2400}],
    });
    record.add('a', 480, "room-edited", json!({"text": room.to_string()}));
    record.sync('b');
    record.sync('c');
    record
}

/// Conflicts, one a line: what about, then who says what, `*` before what is shown.
fn conflicts(state: &State) -> Vec<String> {
    let line = |conflict: &job::record::state::Conflict| {
        let about = match &conflict.about {
            About::Field { file, at } => format!("{file} {at}"),
            About::Document { file } => file.clone(),
            About::Correction { .. } => "correction".into(),
            About::HoldPoint { hold_point } => hold_point.clone(),
            About::FileName { file } => format!("name {file}"),
        };
        let value = |v: &job::record::state::Contended| {
            let shown = if v.shown { "*" } else { "" };
            format!("{shown}{} says {}", v.author, v.value.as_deref().unwrap_or("nothing"))
        };
        format!("{about}: {}", conflict.values.iter().map(value).collect::<Vec<_>>().join(", "))
    };
    state.conflicts.iter().map(line).collect()
}

#[test]
fn a_field_changed_on_two_phones_shows_the_later_and_lists_both() {
    let mut record = room();
    record.add('b', 500, "field", height(2410));
    record.add('a', 510, "field", height(2390));
    let state = record.fold();
    assert_eq!(conflicts(&state), ["room.json /walls/north/height_mm: person b says 2410, *person a says 2390"]);
    assert!(text(&state, "room.json").contains("\"height_mm\":2390"));
    record.sync('c');
    record.add('c', 505, "field", height(2400));
    let state = record.fold();
    assert_eq!(conflicts(&state), Vec::<String>::new(), "who has seen both decides, whatever his clock says");
    assert!(text(&state, "room.json").contains("\"height_mm\":2400"));
    let values: Vec<_> = state.values[0].then.iter().map(|then| then.value.as_deref().unwrap()).collect();
    assert_eq!(values, ["2400", "2410", "2390", "2400"], "earlier values stay");
}

#[test]
fn the_same_value_twice_is_no_conflict_nor_are_two_fields() {
    let mut record = room();
    record.add('b', 500, "field", height(2410));
    record.add_text('a', 510, "field", 1, r#"{"file":"room.json","at":"/walls/1/height_mm","value":2410.0}"#);
    record.add('b', 520, "field", json!({"file": "room.json", "at": "/walls/south/height_mm", "value": 2300}));
    record.add('a', 530, "field", json!({"file": "room.json", "at": "/name", "value": "bath"}));
    let state = record.fold();
    assert_eq!((conflicts(&state), problems(&state)), (vec![], vec![]));
}

#[test]
fn a_wall_taken_away_on_one_phone_and_measured_on_another_is_a_conflict() {
    let mut record = room();
    record.add(
        'a',
        500,
        "field",
        json!({"file": "room.json", "at": "/walls/north", "value": {"id": "north", "edge": 3, "height_mm": 2500}}),
    );
    record.add('b', 510, "field", height(2410));
    let state = record.fold();
    assert_eq!(
        conflicts(&state),
        [r#"room.json /walls/north/height_mm: person a says {"edge":3,"height_mm":2500,"id":"north"}, *person b says 2410"#]
    );
}

#[test]
fn a_whole_drawing_handed_in_beside_a_field_edit_lists_both() {
    let mut record = room();
    record.add('b', 500, "field", height(2410));
    let again = json!({"format": "undertile room 1", "outline_mm": [[0, 0], [2500, 0], [2500, 1800], [0, 1800]],
                       "walls": [{"id": "north", "edge": 3, "height_mm": 2400}]});
    record.add('a', 510, "room-edited", json!({"text": again.to_string()}));
    let state = record.fold();
    assert_eq!(conflicts(&state), ["room.json /walls/north/height_mm: person b says 2410, *person a says 2400"]);
    record.sync('b');
    record.add('b', 520, "field", height(2410));
    let state = record.fold();
    assert_eq!(conflicts(&state), Vec::<String>::new());
    assert!(text(&state, "room.json").contains("2500") && text(&state, "room.json").contains("2410"));
}

#[test]
fn of_two_outcomes_the_stricter_holds_until_somebody_decides() {
    let mut record = room();
    record.release('a', 600, "screed", "not released", &[]);
    record.release('b', 610, "screed", "released", &[]);
    let state = record.fold();
    assert_eq!(conflicts(&state), ["screed: *person a says not released, person b says released"]);
    let evidence = text(&state, "evidence.json");
    assert!(evidence.contains("\"not released\"") && !evidence.contains("\"released\""), "{evidence}");
    assert_eq!(state.releases.iter().map(|decided| decided.holds).collect::<Vec<_>>(), [true, false]);
    record.sync('c');
    record.release('c', 620, "screed", "released", &[]);
    let state = record.fold();
    assert_eq!(conflicts(&state), Vec::<String>::new());
    assert_eq!(state.releases.iter().map(|decided| decided.holds).collect::<Vec<_>>(), [false, false, true]);
    assert!(text(&state, "evidence.json").contains("\"not released\""), "what was decided before stands in the file too");
}

#[test]
fn conditions_of_two_releases_hold_together() {
    let mut record = room();
    record.release('a', 600, "screed", "released with conditions", &["the drain is cleaned"]);
    record.release('b', 610, "screed", "released with conditions", &["the door is cut"]);
    let state = record.fold();
    assert_eq!(conflicts(&state).len(), 1);
    assert!(text(&state, "evidence.json").contains(r#"["the drain is cleaned","the door is cut"]"#));
}

#[test]
fn a_release_that_names_another_log_or_a_later_one_is_refused() {
    let mut record = room();
    let head = |log: char, size: u64| json!({"log": crate::tell::device(log), "size": size, "root": "0".repeat(64)});
    for head in [head('b', 0), head('a', 99)] {
        record.add('a', 600, "release", json!({"hold_point": "screed", "outcome": "released", "head": head}));
    }
    let state = record.fold();
    assert!(state.releases.is_empty() && !state.files.contains_key("evidence.json"));
    assert_eq!(problems(&state).len(), 2);
}

#[test]
fn a_reading_corrected_twice_is_a_conflict_and_stands_once() {
    let mut record = room();
    let row = |value: u32| json!({"hold_point": "screed", "detail": "room", "quantity": "q", "value": value});
    let first = record.add('a', 600, "reading", json!({"rows": [row(10)]}));
    record.sync('b');
    record.add('a', 610, "reading", json!({"rows": [row(11)], "replaces": first}));
    record.add('b', 620, "reading", json!({"rows": [row(12)], "replaces": first}));
    let state = record.fold();
    let rows: Vec<&str> = text(&state, "readings.csv").lines().skip(1).collect();
    assert_eq!(rows, ["screed,room,q,12,person b,2026-03-02T10:20:00+10:00"]);
    assert_eq!(conflicts(&state).len(), 1);
    assert!(state.history.iter().filter(|event| matches!(event.stands, Stands::Replaced { .. })).count() == 2);
}

#[test]
fn two_photographs_of_one_name_are_both_kept() {
    let mut record = room();
    let photograph = |blob: &str| json!({"file": "IMG_0001.jpg", "blob": blob.repeat(64), "bytes": 10, "type": "image/jpeg"});
    record.add('a', 600, "photograph", photograph("a"));
    record.add('b', 610, "photograph", photograph("b"));
    record.add('b', 611, "photograph", photograph("a"));
    let state = record.fold();
    assert_eq!(state.photographs.keys().collect::<Vec<_>>(), ["IMG_0001-bbbbbbbb.jpg", "IMG_0001.jpg"]);
    assert_eq!(conflicts(&state).len(), 1);
}
