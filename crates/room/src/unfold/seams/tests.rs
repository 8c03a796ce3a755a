use super::*;
use crate::geometry::distance_mm;
use crate::test_rooms::{heron_row, rectangle, room};
use crate::unfold::tests::{any_outline, unfolded};
use proptest::prelude::*;
use serde_json::{Value, json};

fn name(face: &Face) -> String {
    match face {
        Face::Floor => "floor".into(),
        Face::Wall(wall) => wall.clone(),
        Face::Recess(recess, side) => format!("{recess}/{side}"),
    }
}

/// "floor w1: [0, 0] to [2400, 0], [0, 0] to [2400, 0]", one line a seam.
fn in_words(fields: Value) -> Vec<String> {
    let whole = |p: PointMm| format!("[{:.0}, {:.0}]", p[0] + 0.0, p[1] + 0.0).replace("-0", "0");
    let line = |s: [PointMm; 2]| format!("{} to {}", whole(s[0]), whole(s[1]));
    let seams = seams(&Unfolded::new(&room(fields)));
    seams.iter().map(|s| format!("{} {}: {}, {}", name(&s.faces[0]), name(&s.faces[1]), line(s.first_mm), line(s.second_mm))).collect()
}

/// By hand: 2.4 x 1.8 m, 2.4 m high, a door of 820 mm in the third wall at 200 mm from its first corner.
#[test]
fn a_box_has_its_edges_and_the_door_cuts_one() {
    let expected = [
        "floor w1: [0, 0] to [2400, 0], [0, 0] to [2400, 0]",
        "floor w2: [2400, 0] to [2400, 1800], [0, 0] to [1800, 0]",
        "floor w3: [2400, 1800] to [2200, 1800], [0, 0] to [200, 0]",
        "floor w3: [1380, 1800] to [0, 1800], [1020, 0] to [2400, 0]",
        "floor w4: [0, 1800] to [0, 0], [0, 0] to [1800, 0]",
        "w1 w2: [2400, 0] to [2400, 2400], [0, 0] to [0, 2400]",
        "w1 w4: [0, 2400] to [0, 0], [1800, 2400] to [1800, 0]",
        "w2 w3: [1800, 0] to [1800, 2400], [0, 0] to [0, 2400]",
        "w3 w4: [2400, 0] to [2400, 2400], [0, 0] to [0, 2400]",
    ];
    assert_eq!(in_words(rectangle()), expected);
}

/// The demo's plan: seven pieces along the floor (the door cuts one of six), six corners of which one points into the room,
/// twelve edges of the recess.
#[test]
fn an_l_shaped_room_with_a_recess_has_all_its_edges() {
    let all = in_words(heron_row());
    assert_eq!(all.iter().filter(|s| s.starts_with("floor ")).count(), 7);
    assert_eq!(all.iter().filter(|s| s.contains("recess/")).count(), 12);
    assert_eq!(all.len(), 7 + 6 + 12);
    for expected in [
        "return door wall: [300, 0] to [300, 2400], [0, 0] to [0, 2400]",
        "south recess/sill: [1500, 1100] to [2100, 1100], [0, 0] to [600, 0]",
        "south recess/right: [1500, 1400] to [1500, 1100], [0, 300] to [0, 0]",
        "recess/back recess/sill: [0, 0] to [600, 0], [0, 90] to [600, 90]",
        "recess/sill recess/left: [600, 0] to [600, 90], [0, 0] to [90, 0]",
    ] {
        assert!(all.iter().any(|s| s == expected), "{expected} in {all:#?}");
    }
}

#[test]
fn openings_and_heights_end_an_edge() {
    let mut low = rectangle();
    low["walls"] = json!([{"id": "w2", "edge": 2, "height_mm": 1200}]);
    assert!(in_words(low).contains(&"w1 w2: [2400, 0] to [2400, 1200], [0, 0] to [0, 1200]".into()));

    let mut corner_window = rectangle();
    let window = json!({"id": "window", "kind": "window", "wall": "w2", "from_mm": 0, "width_mm": 600, "height_mm": 500, "sill_mm": 1000});
    corner_window["openings"].as_array_mut().unwrap().push(window);
    let all = in_words(corner_window);
    for expected in ["w1 w2: [2400, 0] to [2400, 1000], [0, 0] to [0, 1000]", "w1 w2: [2400, 1500] to [2400, 2400], [0, 1500] to [0, 2400]"]
    {
        assert!(all.iter().any(|s| s == expected), "{expected} in {all:#?}");
    }

    let mut on_floor = rectangle();
    on_floor["recesses"] =
        json!([{"id": "r", "wall": "w1", "from_mm": 500, "sill_mm": 0, "width_mm": 600, "height_mm": 300, "depth_mm": 90}]);
    let all = in_words(on_floor);
    for expected in ["floor r/sill: [500, 0] to [1100, 0], [0, 0] to [600, 0]", "floor w1: [1100, 0] to [2400, 0], [1100, 0] to [2400, 0]"]
    {
        assert!(all.iter().any(|s| s == expected), "{expected} in {all:#?}");
    }
    assert!(!all.iter().any(|s| s.starts_with("w1 r/sill")), "{all:#?}");
}

#[test]
fn a_room_without_a_floor_has_none() {
    assert!(seams(&Unfolded::new(&room(json!({"outline_mm": []})))).is_empty());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// Each seam is one line in the room, on the rim of both faces, and on the drawing one line wherever two faces lie
    /// against each other.
    #[test]
    fn a_seam_is_one_line_in_the_room(outline in any_outline(), heights in prop::collection::vec(800.0..3000.0f64, 1..5)) {
        let u = unfolded(&outline, &heights);
        let all = seams(&u);
        let wall_floor: f64 =
            all.iter().filter(|s| s.faces[0] == Face::Floor).map(|s| distance_mm(s.first_mm[0], s.first_mm[1])).sum();
        let round: f64 = edges(&outline).iter().map(Edge::length_mm).sum();
        prop_assert!((wall_floor - round).abs() < 1e-6 * round, "{wall_floor} of {round}");
        for seam in &all {
            prop_assert!(seam.faces[0] != seam.faces[1]);
            for (a, b) in seam.first_mm.iter().zip(seam.second_mm) {
                let (a, b) = (u.to_space(&seam.faces[0], *a).unwrap(), u.to_space(&seam.faces[1], b).unwrap());
                prop_assert!(a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-3), "{seam:?}");
            }
            let walls_only = matches!((&seam.faces[0], &seam.faces[1]), (Face::Floor, Face::Wall(_)));
            if walls_only && u.face(&seam.faces[1]).unwrap().attached {
                let on_sheet = |k: usize, line: [PointMm; 2]| line.map(|p| u.to_sheet(&seam.faces[k], p).unwrap());
                let (a, b) = (on_sheet(0, seam.first_mm), on_sheet(1, seam.second_mm));
                prop_assert!(distance_mm(a[0], b[0]) < 1e-3 && distance_mm(a[1], b[1]) < 1e-3);
            }
        }
    }
}
