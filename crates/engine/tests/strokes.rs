//! Photographs in a job folder: what they show of the coats is said and drawn, and no verdict rests on it.

#[path = "../../strokes/tests/common/mod.rs"]
mod common;

use common::{Floor, Random};
use engine::assess::{Assessed, Options, run};
use job::Job;
use job::folder::Files;
use room::register::Face;
use serde_json::{Value, json};
use strokes::Class;

const SIDE: usize = 600;

/// A room of 2 by 1.6 m; walls w1 to w4 from the lower left corner round.
const ROOM: &str = r#"{ "format": "undertile room 1", "name": "small bathroom", "walls": [],
  "outline_mm": [[0, 0], [2000, 0], [2000, 1600], [0, 1600]],
  "openings": [{ "id": "door", "kind": "door", "wall": "w1", "from_mm": 1200, "width_mm": 720 }],
  "outlets": [{ "id": "waste", "kind": "point", "x_mm": 1500, "y_mm": 1150 }] }"#;

/// Laid along 20 degrees, and over all but the right third across it.
fn crossed_but_for_a_strip() -> Floor {
    let random = &mut Random(6);
    let first = Floor::plain(SIDE).coat(random, 20.0, 25.0);
    let both = first.clone().coat(random, 110.0, 25.0);
    let mut floor = first;
    for row in 0..SIDE {
        let left = row * SIDE..row * SIDE + 400;
        floor.grey[left.clone()].copy_from_slice(&both.grey[left]);
    }
    floor.noise(random, 3.0)
}

fn png(floor: &Floor) -> Vec<u8> {
    let mut file = Vec::new();
    let mut encoder = png::Encoder::new(&mut file, SIDE as u32, SIDE as u32);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.write_header().and_then(|mut writer| writer.write_image_data(&floor.bytes())).expect("pixels of this size");
    file
}

/// Corners of the picture and a fifth place, at these places of the face.
fn points(face_of: impl Fn(f64, f64) -> [f64; 2]) -> Value {
    let last = SIDE as f64;
    let point = |x: f64, y: f64| json!({ "x_px": x, "y_px": last - y, "x_mm": face_of(x, y)[0], "y_mm": face_of(x, y)[1] });
    json!([point(0.0, 0.0), point(last, 0.0), point(last, last), point(0.0, last), point(200.0, 300.0)])
}

fn assess(photographs: &[Value], pictures: &[(&str, Vec<u8>)]) -> Assessed {
    let sheet = json!({ "format": "undertile photographs 1", "photographs": photographs }).to_string();
    let texts = [("room.json", ROOM.as_bytes()), ("photographs.json", sheet.as_bytes())];
    let texts = texts.iter().map(|(name, bytes)| (name.to_string(), bytes.to_vec()));
    let files: Files = texts.chain(pictures.iter().map(|(name, bytes)| (name.to_string(), bytes.clone()))).collect();
    let job = Job::read(&files).unwrap_or_else(|problems| panic!("{problems}"));
    run(&job, &Options { hold_point: Some("upper-membrane"), ..Options::default() }).unwrap_or_else(|problems| panic!("{problems}"))
}

fn photograph(file: &str, on: &str, more: Value) -> Value {
    let mut photograph = json!({ "file": file, "on": on, "by": "x", "at": "2024-03-01T08:00:00+11:00" });
    more.as_object().expect("fields").iter().for_each(|(name, value)| photograph[name] = value.clone());
    photograph
}

#[test]
fn one_direction_only_is_placed_and_no_verdict_rests_on_it() {
    let file = png(&crossed_but_for_a_strip());
    // Its left tiles stand against the wall w4.
    let on_floor = points(|x, y| [x, y + 200.0]);
    let seen =
        assess(&[photograph("floor-1.png", "floor", json!({ "points": on_floor, "layer": "over-screed" }))], &[("floor-1.png", file)]);
    let strokes = &seen.strokes[0];
    assert_eq!((strokes.tiles.len(), &strokes.face), (9, &Face::Floor));
    for tile in &strokes.tiles {
        let x = tile.corners_mm[0][0];
        assert_eq!(tile.class, if x > 300.0 { Class::One } else { Class::Two }, "{tile:?}");
        assert_eq!(tile.junction, x < 1.0, "{tile:?}");
        assert!(tile.directions.iter().any(|d| (d.to_degrees() - 20.0).abs() < 5.0), "{tile:?}");
    }
    let note = seen.assessment.notes.iter().find(|note| note.starts_with("floor-1.png")).expect("a note");
    assert_eq!(note, &strokes.words);
    assert!(note.contains("two crossing directions in 50 % of 6 tiles"), "{note}");
    assert!(note.contains("one direction only near (500, 500) mm: look there again") && note.contains("never proof"), "{note}");

    let unseen = assess(&[], &[]);
    let lines = |assessed: &Assessed| serde_json::to_value(&assessed.assessment.groups).expect("plain data");
    assert_eq!(lines(&seen), lines(&unseen), "verdicts are the same without it");
}

#[test]
fn a_wall_measured_from_its_right_end_is_not_called_mirrored() {
    let file = png(&crossed_but_for_a_strip());
    let seen = assess(
        &[
            photograph("wall.png", "w2", json!({ "points": points(|x, y| [800.0 - x, y + 300.0]) })),
            photograph("wall.png", "floor", json!({ "points": points(|x, y| [800.0 - x, y + 300.0]) })),
        ],
        &[("wall.png", file)],
    );
    let [wall, floor] = seen.strokes.as_slice() else { panic!("{:?}", seen.assessment.notes) };
    assert!(!wall.words.contains("mirror") && floor.words.contains("mirror"), "{} {}", wall.words, floor.words);
    // 20 degrees to the right as seen is 160 in the face's frame, whose x runs to the left.
    let deg = wall.tiles[0].directions[0].to_degrees();
    assert!((deg - 160.0).abs() < 5.0 || (deg - 70.0).abs() < 5.0, "{deg}");
}

#[test]
fn pictures_that_cannot_be_looked_at_are_said_and_stop_nothing() {
    let file = png(&Floor::plain(SIDE));
    let on_floor = |x: f64, y: f64| [x + 200.0, y + 200.0];
    let seen = assess(
        &[
            photograph("flat.png", "floor", json!({ "points": points(on_floor) })),
            photograph("broken.jpg", "floor", json!({ "points": points(on_floor) })),
            photograph("words.png", "floor", json!({ "points": points(on_floor) })),
            photograph("other.png", "floor", json!({ "points": points(on_floor), "stage": "lower-membrane" })),
            photograph("look.png", "floor", json!({})),
        ],
        &[
            ("flat.png", file.clone()),
            ("broken.jpg", vec![0xff, 0xd8, 0xff]),
            ("words.png", b"no picture".to_vec()),
            ("other.png", file.clone()),
            ("look.png", file),
        ],
    );
    assert_eq!(seen.strokes.len(), 1);
    assert!(seen.strokes[0].tiles.iter().all(|tile| tile.class == Class::None));
    let notes = seen.assessment.notes.join("\n");
    for said in ["flat.png (floor): no direction can be told in any of 9 tiles", "broken.jpg could not be", "words.png could not be"] {
        assert!(notes.contains(said), "{said}: {notes}");
    }
    assert!(!notes.contains("other.png") && !notes.contains("look.png"), "{notes}");
}
