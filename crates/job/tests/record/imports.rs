//! Files that are not plain UTF-8 text, or are written in another hand.

use crate::tell::{Record, device, problems};
use job::record::import::{By, Imported, Kept, import};
use job::record::state::Stands;
use job::record::{self, State};
use ledger::Hash;
use ledger::event::Place;
use std::collections::BTreeMap;

fn imported(files: &[(&str, &[u8])], kept: &BTreeMap<String, Kept>) -> (Record, Imported) {
    let files = files.iter().map(|(name, bytes)| (name.to_string(), bytes.to_vec())).collect();
    let by = By { author: "M. Okafor".into(), at: "2026-03-02T08:00:00+10:00".into(), clock: None, seen: BTreeMap::new() };
    let imported = import(&files, kept, &by).unwrap();
    let mut record = Record::default();
    for (seq, draft) in imported.drafts.iter().cloned().enumerate() {
        let place = Place { device: device('a'), seq: seq as u64 };
        record.events.push(draft.make(ledger::id::uuid_v7(seq as u64, [1; 10]), place).unwrap().event());
    }
    (record, imported)
}

/// The fold with the blobs at hand.
fn fold(record: &Record, blobs: &[(Hash, Vec<u8>)]) -> State {
    record::fold_with(&record.events, &|name| blobs.iter().find(|(hash, _)| hash.to_string() == name).map(|(_, bytes)| bytes.clone()))
}

fn utf16(text: &str) -> Vec<u8> {
    [vec![0xFF, 0xFE], text.encode_utf16().flat_map(u16::to_le_bytes).collect()].concat()
}

#[test]
fn a_table_in_utf_16_is_kept_as_a_blob_and_rows_are_added_in_its_encoding() {
    let table = utf16("hold_point\tdetail\tquantity\tvalue\r\nscreed\troom\tslope \u{b0}\t1,5\r\n");
    let (mut record, imported) = imported(&[("readings.csv", &table)], &BTreeMap::new());
    assert_eq!(imported.blobs, [(Hash::of(&table), table.clone())]);
    assert_eq!(fold(&record, &imported.blobs).files["readings.csv"], table);
    record.add_text('a', 600, "reading", 2, r#"{"rows":[{"hold_point":"screed","detail":"room","quantity":"q","value":2.25}]}"#);
    let state = fold(&record, &imported.blobs);
    assert_eq!(problems(&state), Vec::<String>::new());
    let text = intake::text::decode("readings.csv", &state.files["readings.csv"]).unwrap();
    let expected = "hold_point\tdetail\tquantity\tvalue\tby\tat\r\nscreed\troom\tslope \u{b0}\t1,5\t\t\r\n\
        screed\troom\tq\t2,25\tperson a\t2026-03-02T10:00:00+10:00\r\n";
    assert_eq!(text.trim_start_matches('\u{feff}'), expected);
    assert_eq!(state.files["readings.csv"], utf16(expected), "in the encoding it came in");
}

#[test]
fn a_file_kept_as_a_blob_waits_until_its_bytes_are_here() {
    let large = format!(r#"{{"format":"undertile room 1","name":"{}"}}"#, "x".repeat(950_000));
    let (mut record, imported) = imported(&[("room.json", large.as_bytes())], &BTreeMap::new());
    record.add('a', 600, "field", serde_json::json!({"file": "room.json", "at": "/height_mm", "value": 2400}));
    let without = record.fold();
    assert_eq!(without.not_here.len(), 1);
    assert!(!without.files.contains_key("room.json") && without.history.iter().all(|event| event.stands == Stands::Waits));
    let with = fold(&record, &imported.blobs);
    assert_eq!((with.not_here.len(), problems(&with)), (0, vec![]));
    let text = std::str::from_utf8(&with.files["room.json"]).unwrap();
    assert_eq!(text, format!("{}, \"height_mm\":2400}}", large.trim_end_matches('}')).replace(", \"", ",\""));
}

#[test]
fn a_photograph_is_held_by_its_hash_and_keeps_its_name() {
    let blob = Hash::of(b"the picture");
    let taken_at = photo::TakenAt { local: "2026-03-02T07:50:00".into(), offset: None };
    let facts = photo::Facts { taken_at: Some(taken_at), orientation: Some(6), ..photo::Facts::default() };
    let kept = Kept { blob, bytes: 11, media_type: "image/jpeg".into(), facts };
    let kept = [("drain.jpg".to_string(), kept)].into();
    let (record, imported) = imported(&[("drain.jpg", b""), ("voice.ogg", b"")], &kept);
    assert_eq!(imported.drafts.iter().map(|draft| draft.blobs.clone()).collect::<Vec<_>>(), [vec![blob]]);
    assert_eq!(imported.left, ["voice.ogg"], "nothing is known of it but its name");
    let state = record.fold();
    assert_eq!(problems(&state), Vec::<String>::new());
    let held = &state.photographs["drain.jpg"];
    assert_eq!((held.blob.as_str(), held.bytes, held.orientation), (blob.to_string().as_str(), 11, Some(6)));
    assert_eq!(held.taken_at.as_deref(), Some("2026-03-02T07:50:00"), "no offset is made up");
    assert_eq!(state.files["drain.jpg"], b"", "the folder has its name");
}

#[test]
fn a_level_goes_into_a_table_of_other_units_in_those_units() {
    let table = "name,x [m],y [m],level [cm]\n1,0.10,0.20,5.05\n";
    let (mut record, _) = imported(&[("levels-screed.csv", table.as_bytes())], &BTreeMap::new());
    record.add_text('a', 600, "level", 1, r#"{"layer":"screed","rows":[{"name":"2","x_mm":1500,"y_mm":840.5,"level_mm":52.5}]}"#);
    record.add_text('a', 601, "level", 1, r#"{"layer":"screed","rows":[{"name":"3","staff_mm":1000}]}"#);
    let state = record.fold();
    assert_eq!(std::str::from_utf8(&state.files["levels-screed.csv"]).unwrap(), format!("{table}2,1.5,0.8405,5.25\n"));
    assert_eq!(problems(&state).len(), 1, "a staff reading does not fit a table of levels: {:?}", problems(&state));
}
