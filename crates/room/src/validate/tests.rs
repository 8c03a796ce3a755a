use super::*;
use crate::sheet::DataSheet;
use crate::test_rooms::{heron_row, rectangle, room, two_membranes};
use serde_json::{Value, json};

/// The problems of a room as lines a site person can read.
fn lines(fields: Value) -> Vec<String> {
    check(&room(fields)).problems.iter().map(ToString::to_string).collect()
}

/// A sound room with one thing put in, taken out or changed, each with what must then be said of it.
struct Case {
    change: &'static [(&'static str, &'static str)],
    says: &'static [&'static str],
}

const fn case(change: &'static [(&'static str, &'static str)], says: &'static [&'static str]) -> Case {
    Case { change, says }
}

/// Puts JSON text at a pointer; `/list/-` appends.
fn put(fields: &mut Value, pointer: &str, text: &str) {
    let value: Value = serde_json::from_str(text).unwrap_or_else(|e| panic!("{text}: {e}"));
    let (parent, key) = pointer.rsplit_once('/').expect("a pointer");
    let root = pointer.trim_start_matches('/').split('/').next().expect("a name");
    if fields.get(root).is_none() {
        fields[root] = if pointer.ends_with("/-") { json!([]) } else { json!({}) };
    }
    let parent = if parent.is_empty() { fields } else { fields.pointer_mut(parent).unwrap_or_else(|| panic!("{pointer}")) };
    match parent {
        Value::Array(list) if key == "-" => list.push(value),
        Value::Array(list) => list[key.parse::<usize>().expect("a number")] = value,
        other => other[key] = value,
    }
}

fn check_cases(base: fn() -> Value, cases: &[Case]) {
    assert_eq!(lines(base()), Vec::<String>::new(), "the room to start from is sound");
    for case in cases {
        let mut fields = base();
        for (pointer, text) in case.change {
            put(&mut fields, pointer, text);
        }
        let found = lines(fields);
        assert_eq!(found.len(), case.says.len(), "{:?} gives {found:#?}", case.change);
        for (line, says) in found.iter().zip(case.says) {
            assert_eq!(line, says, "{:?}", case.change);
        }
    }
}

#[test]
fn outlines_that_are_no_floor_are_told_why() {
    let outline = |corners: &str| {
        let corners: Value = serde_json::from_str(corners).unwrap();
        lines(json!({ "outline_mm": corners }))
    };
    let cases = [
        ("[]", "outline_mm = 0: too few corners to be a floor; at least 3, in order round it"),
        ("[[0,0],[2000,0]]", "outline_mm = 2: too few corners to be a floor; at least 3, in order round it"),
        (
            "[[0,0],[2000,0],[2000,1500],[0,1500],[0,0]]",
            "outline_mm[4] = (0, 0): the same corner as number 1; leave out the last corner: the floor closes by itself",
        ),
        ("[[0,0],[2000,0],[2000.4,0],[2000,1500]]", "outline_mm[2] = (2000.4, 0): the same corner as number 2; leave one of them out"),
        (
            "[[0,0],[2000,1500],[2000,0],[0,1500]]",
            "outline_mm: edges 1 and 3 cross at (1000, 750); corners in order round the floor, no edge over another",
        ),
        (
            "[[0,0],[3000,0],[1000,0],[1000,1500]]",
            "outline_mm: edges 1 and 2 cross at (1000, 0); corners in order round the floor, no edge over another",
        ),
        (
            "[[0,0],[2,0],[2,1.5],[0,1.5]]",
            "outline_mm = 2: a room 2 mm wide; sides between 300 and 100000 mm; wrong unit? Looks like metres",
        ),
        ("[[0,0],[2000000,0],[2000000,1500],[0,1500]]", "outline_mm[1]: not a place on plan"),
        (
            "[[0,0],[900000,0],[900000,1500],[0,1500]]",
            "outline_mm = 900000: a room 900000 mm wide; sides between 300 and 100000 mm; wrong unit? Lengths are in millimetres",
        ),
    ];
    for (corners, says) in cases {
        let found = outline(corners);
        let first = found.first().unwrap_or_else(|| panic!("{corners} is taken"));
        if says.ends_with("not a place on plan") {
            assert!(first.contains("not a place on plan"), "{first}");
        } else {
            assert_eq!(first, says);
        }
    }
    let flat = outline("[[0,0],[2000,0],[900,0]]");
    assert!(flat.iter().any(|l| l.contains("cross")), "{flat:?}");
    let many: Vec<[f64; 2]> = (0..1001).map(|i| [f64::from(i), if i % 2 == 0 { 0.0 } else { 900.0 }]).collect();
    assert_eq!(lines(json!({ "outline_mm": many }))[0], "outline_mm = 1001: too many corners; at most 1000");
}

#[test]
fn coordinates_that_are_no_numbers_are_refused() {
    let mut room = room(rectangle());
    room.outline_mm[1] = [f64::NAN, 0.0];
    room.fixtures[0].x_mm = f64::INFINITY;
    room.openings[0].width_mm = f64::NAN;
    let found: Vec<String> = check(&room).problems.iter().map(|p| p.field.clone()).collect();
    for field in ["outline_mm[1]", "fixtures[0]", "openings[0].width_mm"] {
        assert!(found.iter().any(|f| f == field), "{field} among {found:?}");
    }
}

#[test]
fn walls_and_what_is_in_them() {
    check_cases(
        rectangle,
        &[
            case(&[("/format", r#""room 7""#)], &["format = room 7: not a room file of this version; write \"undertile room 1\""]),
            case(&[("/height_mm", "2.4")], &["height_mm = 2.4: out of bounds; between 100 and 20000 mm; looks like metres: write 2400 mm"]),
            case(&[("/walls/-", r#"{"id": "north", "edge": 5}"#)], &["walls[0].edge = 5: the outline has no such edge; 1 to 4"]),
            case(
                &[("/walls/-", r#"{"id": "a", "edge": 1}"#), ("/walls/-", r#"{"id": "b", "edge": 1}"#), ("/fixtures/0/wall", r#""a""#)],
                &["walls[1].edge = 1: walls a and b stand on the same edge; one wall an edge"],
            ),
            case(
                &[("/walls/-", r#"{"id": "w2", "edge": 1}"#), ("/fixtures/0/wall", r#""w2""#)],
                &["walls: two walls are called w2: edge 1 and edge 2; w2 means the wall on its edge number; choose another name"],
            ),
            case(
                &[("/walls/-", r#"{"id": "low", "edge": 2, "height_mm": -2400}"#)],
                &["walls[0].height_mm = -2400: negative; between 100 and 20000 mm"],
            ),
            case(&[("/openings/0/wall", r#""w9""#)], &["openings[0].wall = w9: no wall of that name; did you mean w1?"]),
            case(
                &[("/openings/0/from_mm", "1900")],
                &["openings[0] = 2720: ends 320 mm past the end of wall w3; from_mm + width_mm at most 2400"],
            ),
            case(
                &[("/openings/0/width_mm", "0.82")],
                &["openings[0].width_mm = 0.82: out of bounds; between 100 and 20000 mm; looks like metres: write 820 mm"],
            ),
            case(
                &[("/openings/0/height_mm", "2500")],
                &["openings[0] = 2500: reaches 100 mm over the top of its wall; no higher than 2400"],
            ),
            case(
                &[("/openings/-", r#"{"id": "second", "kind": "door", "wall": "w3", "from_mm": 900, "width_mm": 700}"#)],
                &["openings[1]: opening second overlaps opening door; each in its own part of the wall"],
            ),
            case(&[("/openings/0/sill_mm", "900")], &["openings[0].sill_mm: a door has no sill; its lower edge is threshold_mm"]),
            case(
                &[(
                    "/recesses/-",
                    r#"{"id": "r", "wall": "w3", "from_mm": 900, "sill_mm": 1000, "width_mm": 300, "height_mm": 300, "depth_mm": 90}"#,
                )],
                &["recesses[0]: recess r overlaps opening door; each in its own part of the wall"],
            ),
            case(
                &[(
                    "/recesses/-",
                    r#"{"id": "r", "wall": "w1", "from_mm": 2200, "sill_mm": 2200, "width_mm": 300, "height_mm": 300, "depth_mm": 0.09}"#,
                )],
                &[
                    "recesses[0].depth_mm = 0.09: out of bounds; between 5 and 1000 mm; looks like metres: write 90 mm",
                    "recesses[0] = 2500: ends 100 mm past the end of wall w1; from_mm + width_mm at most 2400",
                    "recesses[0] = 2500: reaches 100 mm over the top of its wall; no higher than 2400",
                ],
            ),
            case(
                &[("/penetrations/-", r#"{"id": "p", "kind": "pipe", "wall": "w1", "along_mm": 2500, "height_mm": 3000}"#)],
                &[
                    "penetrations[0].along_mm = 2500: beyond the end of wall w1; between 0 and 2400",
                    "penetrations[0].height_mm = 3000: not on its wall; between the floor and 2400",
                ],
            ),
            case(
                &[("/penetrations/-", r#"{"id": "p", "kind": "waste", "x_mm": 5000, "y_mm": 100}"#)],
                &["penetrations[0] = (5000, 100): penetration p lies outside the room; a place on the floor"],
            ),
            case(
                &[("/penetrations/-", r#"{"id": "p", "kind": "waste"}"#)],
                &["penetrations[0]: has no place; wall, along_mm and height_mm; or x_mm and y_mm on the floor"],
            ),
        ],
    );
}

#[test]
fn what_stands_on_the_floor() {
    check_cases(
        rectangle,
        &[
            case(
                &[("/zones/0/polygon_mm", "[[0,0],[900,0],[900,2400],[0,2400]]")],
                &["zones[0].polygon_mm = (900, 2400): zone shower reaches outside the room; corners within the outline"],
            ),
            case(
                &[("/zones/-", r#"{"id": "basin", "kind": "splash", "polygon_mm": [[800,0],[1500,0],[1500,500],[800,500]]}"#)],
                &["zones[1].polygon_mm: zone basin overlaps zone shower by 0.050 m²; each part of the floor in one zone"],
            ),
            case(
                &[("/zones/0/polygon_mm", "[[0,0],[900,900],[900,0],[0,900]]")],
                &["zones[0].polygon_mm: edges 1 and 3 cross at (450, 450); corners in order round the floor, no edge over another"],
            ),
            case(&[("/zones/0/id", r#""rest""#)], &["zones[0].id = rest: that name means the floor outside all zones; another name"]),
            case(
                &[("/fixtures/0/x_mm", "2600")],
                &["fixtures[0] = (2600, 100): fixture rose lies outside the room; x_mm, y_mm within the outline"],
            ),
            case(
                &[("/fixtures/0/height_mm", "2.0")],
                &["fixtures[0].height_mm = 2: out of bounds; between 300 and 5000 mm; looks like metres: write 2000 mm"],
            ),
            case(&[("/fixtures/0/flow_l_min", "-9")], &["fixtures[0].flow_l_min = -9: negative; between 0 and 1000 L/min"]),
            case(
                &[("/outlets/0/x_mm", "-60")],
                &["outlets[0] = (-60, 450): outlet waste lies outside the room; its centre within the outline"],
            ),
            case(
                &[("/outlets/0", r#"{"id": "waste", "kind": "point", "x_mm": 400}"#)],
                &["outlets[0]: point waste waste has no place; x_mm and y_mm of its centre"],
            ),
            case(
                &[("/outlets/0", r#"{"id": "c", "kind": "channel", "line_mm": [[100, 100], [800, 100]]}"#)],
                &["outlets[0].width_mm: channel c has no width; its width in mm"],
            ),
            case(
                &[("/outlets/0", r#"{"id": "c", "kind": "channel", "width_mm": 70}"#)],
                &["outlets[0].line_mm: channel c has no line; two or more places on plan"],
            ),
            case(
                &[("/outlets/0", r#"{"id": "c", "kind": "channel", "width_mm": 70, "line_mm": [[100, -100], [800, 100]]}"#)],
                &["outlets[0].line_mm = (100, -100): channel c leaves the floor; places within the outline"],
            ),
            case(
                &[(
                    "/outlets/0",
                    r#"{"id": "c", "kind": "channel", "width_mm": 70, "line_mm": [[100, 100], [800, 100]], "spigot_mm": 900, "body_joints_mm": [350, 701.5]}"#,
                )],
                &[
                    "outlets[0].body_joints_mm[1] = 701.5: beyond the channel; between 0 and 700 along its line",
                    "outlets[0].spigot_mm = 900: beyond the channel; between 0 and 700 along its line",
                ],
            ),
            case(
                &[(
                    "/water_stops/-",
                    r#"{"id": "s", "line_mm": [[900, 0], [900, -50]], "at": "screen", "top_mm": {"value": 5}, "foot_mm": {"value": 20}}"#,
                )],
                &[
                    "water_stops[0].line_mm = (900, -50): water stop s leaves the floor; places within the outline",
                    "water_stops[0].top_mm = 5: the top is not above the foot; above its foot at 20",
                ],
            ),
            case(
                &[("/hobs/-", r#"{"id": "h", "line_mm": [[900, 0]], "width_mm": 100}"#)],
                &["hobs[0].line_mm = 1: not a line; two or more places, some way apart"],
            ),
            case(
                &[("/heated_areas/-", r#"{"id": "h", "polygon_mm": [[1000, 0], [9000, 0], [9000, 900]]}"#)],
                &["heated_areas[0].polygon_mm = (9000, 0): heated area h reaches outside the room; corners within the outline"],
            ),
        ],
    );
}

#[test]
fn layers_membranes_and_lines() {
    check_cases(
        rectangle,
        &[
            case(
                &[("/build_up", r#"{"zones": [{"zone": "shwer", "layers": []}]}"#)],
                &["build_up.zones[0].zone = shwer: no zone of that name; did you mean shower?"],
            ),
            case(
                &[(
                    "/build_up",
                    r#"{"zones": [{"zone": "shower", "layers": [{"kind": "screed", "thickness_mm": {"value": -40}}, {"kind": "substrate"}, {"kind": "substrate"}]}]}"#,
                )],
                &[
                    "build_up.zones[0].layers[0].thickness_mm = -40: negative; between 0 and 1000 mm",
                    "build_up.zones[0].layers[1].kind = substrate: lies below the layer before it; from below: substrate, under-screed-membrane, screed, over-screed-membrane, bed, tile",
                    "build_up.zones[0].layers[2].kind = substrate: the same layer twice; from below: substrate, under-screed-membrane, screed, over-screed-membrane, bed, tile",
                ],
            ),
            case(
                &[("/membranes/0/covers", r#"[{"on": "wall 1"}, {"on": "floor", "zone": "bath"}]"#)],
                &[
                    "membranes[0].covers[0].on = wall 1: no floor, wall or recess of that name; one of w1, w2, w3, w4, floor",
                    "membranes[0].covers[1].zone = bath: no zone of that name; one of shower, rest",
                ],
            ),
            case(
                &[("/membranes/0/covers", r#"[{"on": "w1", "from_mm": 900, "to_mm": 300, "top_mm": {"value": 2500}}]"#)],
                &[
                    "membranes[0].covers[0] = 900 to 300: not a part of its wall; from_mm below to_mm, between 0 and 2400",
                    "membranes[0].covers[0].top_mm = 2500: out of bounds; between -100000 and 2400 mm",
                ],
            ),
            case(
                &[("/cracks/-", r#"{"id": "c", "on": "w2", "line_mm": [[100, 100], [1900, 100]], "width_mm": 0.3}"#)],
                &["cracks[0].line_mm = (1900, 100): crack c leaves its wall; [along, height] within 0 to 1800 and up to 2400"],
            ),
            case(
                &[("/joints/-", r#"{"id": "j", "kind": "movement", "on": "floor", "line_mm": [[100, 100], [100, 2000]]}"#)],
                &["joints[0].line_mm = (100, 2000): joint j leaves the floor; places within the outline"],
            ),
            case(
                &[("/joints/-", r#"{"id": "j", "kind": "movement", "on": "flor", "line_mm": [[100, 100], [100, 900]]}"#)],
                &["joints[0].on = flor: no floor or wall of that name; did you mean floor?"],
            ),
            case(
                &[(
                    "/outlets/0/flanges",
                    r#"[{"id": "f", "membrane": "n", "level_mm": {"value": 4}}, {"id": "g", "level_mm": {"value": -9}}]"#,
                )],
                &[
                    "outlets[0].flanges[0].membrane = n: no membrane of that name; did you mean m?",
                    "outlets[0].flanges[1].level_mm = -9: lower than the flange before it; lowest first: at least 4",
                ],
            ),
        ],
    );
}

#[test]
fn names_are_there_readable_and_unique() {
    check_cases(
        rectangle,
        &[
            case(
                &[("/outlets/-", r#"{"id": "waste", "kind": "point", "x_mm": 700, "y_mm": 700}"#)],
                &["outlets[1].id = waste: the same name as outlets[0].id; names are unique"],
            ),
            case(&[("/fixtures/0/id", r#"" ""#)], &["fixtures[0].id = \" \": has no name; a short name, unique in the room"]),
            case(&[("/membranes/0/id", r#""a/b""#)], &["membranes[0].id = a/b: not a usable name; up to 60 characters, no / or +"]),
            case(
                &[(
                    "/recesses/-",
                    r#"{"id": "w1", "wall": "w2", "from_mm": 100, "sill_mm": 900, "width_mm": 300, "height_mm": 300, "depth_mm": 90}"#,
                )],
                &["recesses[0].id = w1: also the name of the wall on edge 1; a name of its own"],
            ),
        ],
    );
}

/// Everything wrong is found in one go, not one error at a time.
#[test]
fn all_planted_problems_are_found_together() {
    let found = lines(json!({
        "format": "undertile room 0",
        "outline_mm": [[0, 0], [2000, 1500], [2000, 0], [0, 1500]],
        "height_mm": 2.4,
        "walls": [{"id": "a", "edge": 1}, {"id": "b", "edge": 1}, {"id": "c", "edge": 9}],
        "openings": [{"id": "door", "kind": "door", "wall": "nowhere", "from_mm": 0, "width_mm": 800}],
        "fixtures": [{"id": "rose", "kind": "shower-rose", "x_mm": 9000, "y_mm": 100}],
        "outlets": [{"id": "waste", "kind": "point", "x_mm": -500, "y_mm": 100}],
        "build_up": {"zones": [{"zone": "rest", "layers": [{"kind": "tile", "thickness_mm": {"value": -10}}]}]},
        "membranes": [{"id": "m", "layer": "over-screed", "form": "liquid"}, {"id": "m", "layer": "over-screed", "form": "liquid"}]
    }));
    for field in [
        "format",
        "height_mm",
        "outline_mm: edges 1 and 3 cross",
        "walls[1].edge",
        "walls[2].edge",
        "openings[0].wall",
        "fixtures[0]",
        "outlets[0]",
        "build_up.zones[0].layers[0].thickness_mm",
        "membranes[1].id",
    ] {
        assert!(found.iter().any(|line| line.starts_with(field)), "{field} is not among {found:#?}");
    }
}

#[test]
fn the_shared_rooms_and_a_sparse_one_are_sound() {
    for fields in [rectangle(), heron_row(), two_membranes()] {
        assert_eq!(lines(fields), Vec::<String>::new());
    }
    let sparse = json!({
        "outline_mm": [[0, 0], [2000, 0], [2000, 1500], [0, 1500]],
        "openings": [{"id": "door", "kind": "door", "wall": "w3", "from_mm": 500, "width_mm": 800}],
        "fixtures": [{"id": "rose", "kind": "shower-rose", "x_mm": 450, "y_mm": 100}],
        "outlets": [{"id": "waste", "kind": "point", "x_mm": 450, "y_mm": 450}]
    });
    assert_eq!(lines(sparse), Vec::<String>::new());
}

#[test]
fn too_long_lists_are_named_and_left_alone() {
    let many: Vec<Value> = (0..2001).map(|i| json!({"id": format!("f{i}"), "kind": "tap", "x_mm": 9e9, "y_mm": 0})).collect();
    let mut fields = rectangle();
    fields["fixtures"] = json!(many);
    assert_eq!(lines(fields), ["fixtures = 2001: too many for one room; at most 2000"]);
}

#[test]
fn data_sheets_are_known_and_their_figures_possible() {
    let mut fields = rectangle();
    fields["membranes"][0]["data_sheet"] = json!("liquid-twoo");
    let sheets: Vec<DataSheet> = serde_json::from_value(json!([
        {"id": "liquid-two", "title": "t", "solids_by_volume": 60, "film_um_min": 900, "film_um_max": 500, "rh_max": 0.85},
        {"id": "liquid-two", "title": "t", "windows": [{"at_c": 20, "recoat_h_min": 6, "recoat_h_max": 4}]}
    ]))
    .unwrap();
    let found: Vec<String> = check_sheets(&room(fields), &sheets).problems.iter().map(ToString::to_string).collect();
    assert_eq!(
        found,
        [
            "data_sheets[0].solids_by_volume = 60: out of bounds; between 0.01 and 1 (a share; 60 % is 0.6)",
            "data_sheets[0].film_um_max = 500: below the least; at least 900",
            "data_sheets[1].id = liquid-two: the same name as data_sheets[0]; names are unique",
            "data_sheets[1].windows[0].recoat_h_max = 4: below the least; at least 6",
            "membranes[0].data_sheet = liquid-twoo: no data sheet of that name; did you mean liquid-two?",
        ]
    );
}

#[test]
fn a_normalised_room_is_counter_clockwise_with_a_wall_on_every_edge() {
    let mut fields = heron_row();
    fields["outline_mm"].as_array_mut().unwrap().reverse();
    fields["walls"] = json!([{"id": "back", "edge": 2, "height_mm": 2500}]);
    fields["openings"] = json!([{"id": "door", "kind": "door", "wall": "w1", "from_mm": 20, "width_mm": 820}]);
    fields["fixtures"] = json!([]);
    fields["recesses"] = json!([]);
    fields["membranes"][0]["covers"] = json!([{"on": "w6", "from_mm": 100, "to_mm": 400}, {"on": "w6", "from_mm": 900}]);
    fields["joints"] = json!([{"id": "j", "kind": "movement", "on": "back", "line_mm": [[50, 0], [50, 900]]}]);
    let drawn = room(fields);
    let normal = normalised(&drawn);
    assert!(crate::geometry::signed_area_mm2(&normal.outline_mm) > 0.0);
    let edges = |room: &Room| crate::geometry::edges(&room.outline_mm);
    // every named wall is the same stretch of wall, walked the other way
    for (i, name) in drawn.wall_names().iter().enumerate() {
        let now = normal.walls.iter().find(|w| w.id == *name).unwrap().edge;
        let (before, after) = (edges(&drawn)[i], edges(&normal)[now - 1]);
        assert_eq!((before.from, before.to), (after.to, after.from), "{name}");
    }
    assert_eq!(normal.openings[0].from_mm, 900.0 - 20.0 - 820.0);
    let covers = &normal.membranes[0].covers;
    // w6 closes the clockwise outline: 1400 long
    assert_eq!((covers[0].from_mm, covers[0].to_mm), (Some(1000.0), Some(1300.0)));
    assert_eq!((covers[1].from_mm, covers[1].to_mm), (None, Some(500.0)));
    assert_eq!(normal.joints[0].line_mm[0], [250.0, 0.0]);
    let twice = normalised(&normal);
    assert_eq!(serde_json::to_value(&twice).unwrap(), serde_json::to_value(&normal).unwrap());
    assert!(check(&normal).is_empty());
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(128))]
    /// Whatever numbers stand in a room, it is checked, put in order, unfolded and registered without a panic.
    #[test]
    fn no_numbers_make_anything_panic(corners in proptest::collection::vec(proptest::array::uniform2(proptest::num::f64::ANY), 0..8),
        a in proptest::num::f64::ANY, b in -3000.0..3000.0f64, wall in "w[0-9]") {
        let mut room = room(two_membranes());
        if !corners.is_empty() { room.outline_mm = corners; }
        room.openings[0].from_mm = b;
        room.openings[0].wall = wall.clone();
        room.recesses[0].width_mm = b;
        room.recesses[0].wall = wall;
        room.outlets[0].width_mm = Some(a);
        room.zones[0].polygon_mm[1] = [a, b];
        check(&room);
        if room.outline_mm.iter().chain(&room.zones[0].polygon_mm).flatten().all(|v| v.is_finite() && v.abs() < 1e6) && a.is_finite() && a.abs() < 1e6 {
            crate::unfold::Unfolded::new(&room);
            crate::register::derive(&room);
        }
    }
}
