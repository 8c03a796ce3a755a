//! A job folder into a record and back.

use crate::tell::{Record, problems, text};
use job::record::import::{By, import};
use ledger::event::Place;
use serde_json::json;
use std::collections::BTreeMap;
use std::path::Path;

/// The files of the demo that stand in events; its picture is a blob.
fn demo() -> job::Files {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/heron-row-12");
    let read = |entry: std::fs::DirEntry| (entry.file_name().into_string().unwrap(), std::fs::read(entry.path()).unwrap());
    let files = std::fs::read_dir(folder).unwrap().map(|entry| read(entry.unwrap()));
    files.filter(|(name, _)| !job::photographs::is_picture(name)).collect()
}

fn recorded(files: &job::Files) -> Record {
    let by = By { author: "M. Okafor".into(), at: "2026-03-02T08:00:00+10:00".into(), clock: None, seen: BTreeMap::new() };
    let imported = import(files, &BTreeMap::new(), &by).unwrap();
    assert!(imported.blobs.is_empty());
    let mut record = Record::default();
    for (seq, draft) in imported.drafts.into_iter().enumerate() {
        let id = ledger::id::uuid_v7(seq as u64, [1; 10]);
        let place = Place { device: crate::tell::device('a'), seq: seq as u64 };
        record.events.push(draft.make(id, place).unwrap().event());
    }
    record
}

#[test]
fn a_folder_comes_back_byte_for_byte() {
    let files = demo();
    let state = recorded(&files).fold();
    assert_eq!(problems(&state), Vec::<String>::new());
    assert_eq!(state.files, files);
}

#[test]
fn rows_and_entries_are_added_in_the_hand_of_the_file() {
    let files = demo();
    let mut record = recorded(&files);
    record.add_text(
        'a',
        600,
        "reading",
        2,
        r#"{"rows":[{"hold_point":"upper-membrane","detail":"room","quantity":"depth, at the door","value":1.50,"plus_minus":1}]}"#,
    );
    record.add_text('a', 601, "level", 1, r#"{"layer":"screed","rows":[{"name":"99","x_mm":40.5,"y_mm":840,"staff_mm":1055.20}]}"#);
    record.add('a', 602, "trade-entered", json!({"trade": "electrician", "at": "2026-03-02T10:02:00+10:00"}));
    record.add('a', 603, "field", json!({"file": "room.json", "at": "/walls/north/height_mm", "value": 2410}));
    let state = record.fold();
    assert_eq!(problems(&state), Vec::<String>::new());
    let before = |file: &str| String::from_utf8(files[file].clone()).unwrap();
    let added = |file: &str| text(&state, file).strip_prefix(before(file).as_str()).map(str::to_string);
    assert_eq!(added("levels-screed.csv").as_deref(), Some("99;40,5;840;1055,20\n"));
    let readings = text(&state, "readings.csv");
    assert!(readings.starts_with(
        "# steel rule and tape, whole millimetres; one row a reading\nhold_point,detail,quantity,value,unit,datum,u,by,at,plus_minus\n"
    ));
    assert!(readings.ends_with("upper-membrane,room,\"depth, at the door\",1.50,,,,person a,2026-03-02T10:00:00+10:00,1\n"), "{readings}");
    let evidence = text(&state, "evidence.json");
    assert!(
        evidence.ends_with(",\n    {\"kind\":\"trade-entered\",\"trade\":\"electrician\",\"at\":\"2026-03-02T10:02:00+10:00\"}\n  ]\n}\n"),
        "{evidence}"
    );
    let room = before("room.json").replace(
        r#""substrate": "fibre-cement sheet" },
    { "id": "west""#,
        r#""substrate": "fibre-cement sheet", "height_mm": 2410 },
    { "id": "west""#,
    );
    assert_eq!(text(&state, "room.json"), room);
    assert_eq!(state.values.len(), 0, "a field that was empty has no earlier value");
}
