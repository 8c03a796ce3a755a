//! A record gives the answer its job folder gives; a room like another one gets the verdicts of that one.
#![cfg(test)]

use engine::assess::{Line, Options, run};
use job::record::import::{By, Kept, import};
use job::record::offers::Pattern;
use job::{Files, Job, record};
use ledger::event::Place;
use ledger::{Draft, Event};
use room::like::{Laid, Turned};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::Path;

const NOW: &str = "2024-03-09T12:00:00+11:00";

fn demo() -> Files {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/heron-row-12");
    let read = |entry: std::fs::DirEntry| (entry.file_name().into_string().unwrap(), std::fs::read(entry.path()).unwrap());
    std::fs::read_dir(folder).unwrap().map(|entry| read(entry.unwrap())).collect()
}

fn files(texts: &[(&str, &str)]) -> Files {
    texts.iter().map(|(name, text)| (name.to_string(), text.as_bytes().to_vec())).collect()
}

/// A folder with coats, film and climate: one shower, one membrane.
fn small() -> Files {
    let room = json!({
        "format": "undertile room 1", "name": "small", "height_mm": 2400,
        "outline_mm": [[0, 0], [2400, 0], [2400, 1800], [0, 1800]],
        "walls": [{"id": "w1", "edge": 1}, {"id": "w2", "edge": 2}, {"id": "w3", "edge": 3}, {"id": "w4", "edge": 4}],
        "openings": [{"id": "door", "kind": "door", "wall": "w3", "from_mm": 200, "width_mm": 820, "height_mm": 2040}],
        "zones": [{"id": "shower", "kind": "shower", "polygon_mm": [[0, 0], [900, 0], [900, 900], [0, 900]]}],
        "outlets": [{"id": "waste", "kind": "point", "x_mm": 450, "y_mm": 450, "radius_mm": 50}],
        "membranes": [{"id": "m", "layer": "over-screed", "form": "liquid", "data_sheet": "sheet", "covers": [
            {"on": "floor"}, {"on": "w1", "from_mm": 0, "to_mm": 900, "top_mm": {"value": 1900, "u": 0}},
            {"on": "w4", "from_mm": 900, "to_mm": 1800, "top_mm": {"value": 1900, "u": 0}}]}]
    });
    let sheets = json!({"format": "undertile data-sheets 1", "sheets": [{"id": "sheet", "title": "made up", "form": "liquid", "coats": 2,
        "solids_by_volume": 0.55, "film_um_min": 800, "film_um_mean": 1000, "coat_um_dry": 500, "spread_m2_per_l": 1.1}]});
    let coat = |number: u32| {
        json!({"id": format!("c{number}"), "layer": "over-screed", "number": number, "by": "T. Applicator",
            "start": format!("2024-02-2{number}T08:00:00+11:00"), "areas": [{"details": ["*"]}], "colour": "grey"})
    };
    let coats = json!({"format": "undertile coats 1", "coats": [coat(1), coat(2)], "deliveries": [], "used": []});
    let look = json!({"kind": "look", "hold_point": "upper-membrane", "details": ["*"], "result": "right", "grade": "seen",
        "by": "M. Okafor", "at": "2024-02-24T10:00:00+11:00"});
    let evidence = json!({"format": "undertile evidence 1", "entries": [look]});
    let film = "layer,detail,kind,tool,value_um,u_um,grade,by,at\n".to_string()
        + &[1120, 1180, 1150, 1210, 760]
            .map(|um| format!("over-screed,floor/shower/over-screed,dry,gauge,{um},15,measured,me,2024-02-24T11:00:00+11:00\n"))
            .concat();
    let texts = [("room.json", room), ("data-sheets.json", sheets), ("coats.json", coats), ("evidence.json", evidence)];
    let mut all: Files = texts.into_iter().map(|(name, value)| (name.to_string(), value.to_string().into_bytes())).collect();
    all.insert("film.csv".into(), film.into_bytes());
    all
}

/// Junctions between block and timber frame, and how far they open.
fn movement() -> Files {
    let room = r#"{
      "format": "undertile room 1", "outline_mm": [[0, 0], [2000, 0], [2000, 1500], [0, 1500]], "height_mm": 2400,
      "walls": [{"id": "south", "edge": 1, "construction": "block"}, {"id": "east", "edge": 2, "construction": "block"},
                {"id": "north", "edge": 3, "construction": "timber-frame"}, {"id": "west", "edge": 4, "construction": "timber-frame"}],
      "openings": [{"id": "door", "kind": "door", "wall": "south", "from_mm": 1200, "width_mm": 700}],
      "outlets": [{"id": "waste", "kind": "point", "x_mm": 400, "y_mm": 1000, "radius_mm": 55}],
      "membranes": [{"id": "upper", "layer": "over-screed", "form": "liquid", "data_sheet": "liquid", "covers": [{"on": "floor"},
        {"on": "north", "top_mm": {"value": 1900, "u": 3}}, {"on": "west", "top_mm": {"value": 1900, "u": 3}}]}],
      "build_up": {"zones": [{"zone": "rest", "layers": [{"kind": "substrate"}, {"kind": "screed", "thickness_mm": {"value": 50, "u": 1}},
        {"kind": "over-screed-membrane"}]}]}
    }"#;
    let job = r#"{"format": "undertile job 1", "basis_date": "2024-02-12", "building_class": "1", "place": {"country": "AU", "state": "VIC"},
      "movement": {"floor": "timber", "temperature_k": 8, "humidity_change": 0.4, "screed_dried_d": 7, "floor_deflection_mm": 0.5}}"#;
    let sheets = r#"{"format": "undertile data-sheets 1", "sheets": [{"id": "liquid", "title": "Liquid", "elongation_percent": 180}]}"#;
    let readings = "hold_point,detail,quantity,value,u\nupper-membrane,junction/north/rest/over-screed,bond_breaker_width_mm,22,0.5\n";
    files(&[("room.json", room), ("job.json", job), ("data-sheets.json", sheets), ("readings.csv", readings)])
}

fn events(drafts: Vec<Draft>) -> Vec<Event> {
    let device = format!("{:032x}", 7);
    let made = |(seq, draft): (usize, Draft)| {
        let id = ledger::id::uuid_v7(seq as u64, [1; 10]);
        draft.make(id, Place { device: device.clone(), seq: seq as u64 }).unwrap().event()
    };
    drafts.into_iter().enumerate().map(made).collect()
}

fn by() -> By {
    By { author: "M. Okafor".into(), at: "2024-03-09T08:00:00+11:00".into(), clock: None, seen: BTreeMap::new() }
}

/// What a store says of the pictures of a folder.
fn kept(folder: &Files) -> BTreeMap<String, Kept> {
    let pictures = folder.iter().filter(|(name, _)| name.ends_with(".png"));
    let kept = |bytes: &[u8]| Kept {
        blob: ledger::Hash::of(bytes),
        bytes: bytes.len() as u64,
        media_type: "image/png".into(),
        facts: Default::default(),
    };
    pictures.map(|(name, bytes)| (name.clone(), kept(bytes))).collect()
}

fn drafts(folder: &Files) -> Vec<Draft> {
    import(folder, &kept(folder), &by()).unwrap().drafts
}

/// What events come to, with the bytes of its pictures, which a store holds beside them.
fn folded(drafts: Vec<Draft>, folder: &Files) -> Files {
    let mut files = record::fold(&events(drafts)).files;
    for name in kept(folder).into_keys() {
        assert_eq!(files[&name], b"", "a record knows the picture");
        files.insert(name.clone(), folder[&name].clone());
    }
    files
}

fn through_a_record(folder: &Files) -> Files {
    folded(drafts(folder), folder)
}

fn job(files: &Files) -> Job {
    Job::read(files).unwrap_or_else(|problems| panic!("{problems}"))
}

/// The whole answer at one hold point.
fn answer(files: &Files, hold_point: Option<&str>) -> Value {
    let assessed =
        run(&job(files), &Options { hold_point, now: Some(NOW), drawings: true }).unwrap_or_else(|problems| panic!("{problems}"));
    serde_json::to_value(&assessed.assessment).unwrap()
}

fn hold_points(answer: &Value) -> Vec<String> {
    answer["hold_points"].as_array().unwrap().iter().map(|hold| hold["id"].as_str().unwrap().to_string()).collect()
}

#[test]
fn a_record_gives_the_answer_of_the_folder_it_was_made_from() {
    for folder in [demo(), small(), movement()] {
        let recorded = through_a_record(&folder);
        let first = answer(&folder, None);
        assert_eq!(answer(&recorded, None), first);
        for hold_point in hold_points(&first) {
            assert_eq!(answer(&recorded, Some(&hold_point)), answer(&folder, Some(&hold_point)), "{hold_point}");
        }
    }
}

#[test]
fn a_reading_added_to_the_record_changes_the_answer_as_one_written_into_the_folder() {
    let mut folder = demo();
    let mut drafts = drafts(&folder);
    let row = r#"{"rows":[{"hold_point":"upper-membrane","detail":"junction/west/shower/over-screed","quantity":"bond_breaker_width_mm","value":12,"unit":"mm","u":0.5}]}"#;
    drafts.push(by().draft("reading", serde_json::from_str(row).unwrap(), Vec::new()));
    let recorded = folded(drafts, &folder);
    let before = answer(&folder, Some("upper-membrane"));
    let line = "upper-membrane,junction/west/shower/over-screed,bond_breaker_width_mm,12,mm,,0.5,M. Okafor,2024-03-09T08:00:00+11:00\n";
    folder.get_mut("readings.csv").unwrap().extend_from_slice(line.as_bytes());
    assert_eq!(answer(&recorded, Some("upper-membrane")), answer(&folder, Some("upper-membrane")));
    assert_ne!(answer(&recorded, Some("upper-membrane")), before, "and it is judged");
}

/// Lines as kinds and sizes of their details, verdict and value; names of corners change over in a mirror.
fn verdicts(files: &Files, hold_point: &str) -> Vec<String> {
    let job = job(files);
    let assessed = run(&job, &Options { hold_point: Some(hold_point), now: Some(NOW), drawings: false }).unwrap();
    let milli = |size: Option<f64>| size.map(|size| (size * 1e3).round() as i64);
    let detail = |id: &String| {
        let known = job.register.iter().find(|detail| detail.id == *id);
        known.map_or(id.clone(), |d| format!("{:?} {:?} m2 {:?} m", d.kind, milli(d.area_m2), milli(d.length_m)))
    };
    let line = |line: &Line| {
        let mut details: Vec<String> = line.details.iter().map(detail).collect();
        details.sort();
        format!("{} {}: {} {:?}", line.owed, details.join(", "), line.judgement.verdict, milli(line.judgement.value))
    };
    let mut lines: Vec<String> = assessed.assessment.groups.iter().flat_map(|group| &group.lines).map(line).collect();
    lines.sort();
    lines
}

#[test]
fn a_room_like_the_pattern_gets_its_verdicts_however_it_lies() {
    let turns = [Turned::Not, Turned::Quarter, Turned::Half, Turned::ThreeQuarters];
    let mut judged = 0;
    for folder in [small(), movement()] {
        let state = record::fold(&events(drafts(&folder)));
        let pattern = Pattern::of("018bcfe5-6800-7707-8707-070707070707", &state).unwrap();
        let expected: BTreeMap<String, Vec<String>> =
            hold_points(&answer(&folder, None)).into_iter().map(|hold| (hold.clone(), verdicts(&folder, &hold))).collect();
        for laid in turns.into_iter().flat_map(|turned| [false, true].map(|mirrored| Laid { mirrored, turned })) {
            let mut own = folder.clone();
            own.retain(|file, _| !record::like::SHARED.contains(&file.as_str()));
            let mut drafts = drafts(&own);
            drafts.insert(0, by().draft("like", ledger::payload(&pattern.like(laid, None)).unwrap(), Vec::new()));
            let room = record::fold(&events(drafts)).files;
            judged += expected.values().flatten().filter(|line| !line.contains(": not shown ")).count();
            for (hold_point, lines) in &expected {
                assert_eq!(&verdicts(&room, hold_point), lines, "{laid:?} {hold_point}");
            }
        }
    }
    assert!(judged > 80, "lines with a verdict: {judged}");
}
