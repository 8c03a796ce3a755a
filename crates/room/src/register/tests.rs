use super::*;
use crate::geometry::{edges, signed_area_mm2};
use crate::test_rooms::{heron_row, rectangle, room, two_membranes};
use crate::validate::check;
use serde_json::{Value, json};
use std::f64::consts::PI;

fn register(fields: Value) -> Vec<Detail> {
    let room = room(fields);
    let problems = check(&room);
    assert!(problems.is_empty(), "{problems}");
    derive(&room)
}

fn find<'d>(details: &'d [Detail], id: &str) -> &'d Detail {
    details.iter().find(|d| d.id == id).unwrap_or_else(|| {
        let ids: Vec<&str> = details.iter().map(|d| d.id.as_str()).collect();
        panic!("no detail {id} among {ids:#?}")
    })
}

/// Lengths in metres and areas in square metres worked out by hand; every id must be there and agree to 1e-6.
fn agrees(details: &[Detail], by_hand: &[(&str, f64)]) {
    for (id, expected) in by_hand {
        let detail = find(details, id);
        let found = detail.length_m.or(detail.area_m2).unwrap_or_else(|| panic!("{id} has no size"));
        assert!((found - expected).abs() < 1e-6, "{id}: {found}, by hand {expected}");
    }
}

fn ids(details: &[Detail], kind: DetailKind) -> Vec<&str> {
    details.iter().filter(|d| d.kind == kind).map(|d| d.id.as_str()).collect()
}

#[test]
fn rectangle_with_a_shower_in_the_corner_agrees_with_hand_calculation() {
    let details = register(rectangle());
    agrees(
        &details,
        &[
            // 0.9 x 0.9 less a waste of radius 0.05
            ("floor/shower/over-screed", 0.81 - PI * 0.0025),
            // 2.4 x 1.8 - 0.9 x 0.9
            ("floor/rest/over-screed", 4.32 - 0.81),
            // wall 1: 2.4 m, of which the shower has 0.9
            ("junction/w1/shower/over-screed", 0.9),
            ("junction/w1/rest/over-screed", 1.5),
            ("junction/w2/rest/over-screed", 1.8),
            // wall 3 runs from (2400, 1800): 0.2 before the door of 0.82, 1.38 after it
            ("junction/w3/rest/over-screed", 0.2),
            ("junction/w3/rest/after-door/over-screed", 1.38),
            // wall 4 comes down to the corner at the origin: 0.9 dry, 0.9 shower
            ("junction/w4/rest/over-screed", 0.9),
            ("junction/w4/shower/over-screed", 0.9),
            ("threshold/door", 0.82),
            // shower walls to 1.9
            ("wall/w1/shower/over-screed", 0.9 * 1.9),
            ("wall/w4/shower/over-screed", 0.9 * 1.9),
            ("wall-wall/w4+w1/over-screed", 1.9),
            ("upturn/w1/shower/over-screed", 0.9),
            ("upturn/w1/rest/over-screed", 1.5),
            ("sealant/w1+w2", 2.4),
            ("sealant/w3/rest/after-door", 1.38),
            ("outlet/waste/grate", 2.0 * PI * 0.05),
        ],
    );
    assert_eq!(ids(&details, DetailKind::InternalCorner).len(), 4);
    assert_eq!(ids(&details, DetailKind::ExternalCorner).len(), 0);
    assert_eq!(ids(&details, DetailKind::OutletFlange), ["outlet/waste/upper"]);
    assert_eq!(ids(&details, DetailKind::Penetration), ["penetration/of-rose"]);
}

#[test]
fn l_shaped_room_agrees_with_hand_calculation() {
    let details = register(json!({
        "outline_mm": [[0, 0], [3000, 0], [3000, 1200], [1400, 1200], [1400, 2600], [0, 2600]],
        "height_mm": 2400,
        "openings": [{"id": "door", "kind": "door", "wall": "w6", "from_mm": 1500, "width_mm": 800}],
        "zones": [{"id": "shower", "kind": "shower", "polygon_mm": [[0, 1700], [1400, 1700], [1400, 2600], [0, 2600]]},
                  {"id": "basin", "kind": "splash", "polygon_mm": [[2000, 0], [3000, 0], [3000, 500], [2000, 500]]}],
        "outlets": [{"id": "waste", "kind": "point", "x_mm": 700, "y_mm": 2100, "radius_mm": 60}],
        "membranes": [{"id": "m", "layer": "over-screed", "form": "liquid", "covers": [
            {"on": "floor"},
            {"on": "w4", "top_mm": {"value": 150}}, {"on": "w4", "from_mm": 500, "to_mm": 1400, "top_mm": {"value": 1800}},
            {"on": "w5", "top_mm": {"value": 1800}}]}]
    }));
    agrees(
        &details,
        &[
            // 3.0 x 1.2 + 1.4 x 1.4 = 5.56; shower 1.4 x 0.9, splash 1.0 x 0.5
            ("floor/shower/over-screed", 1.26 - PI * 0.0036),
            ("floor/basin/over-screed", 0.5),
            ("floor/rest/over-screed", 5.56 - 1.26 - 0.5),
            ("junction/w1/rest/over-screed", 2.0),
            ("junction/w1/basin/over-screed", 1.0),
            ("junction/w2/basin/over-screed", 0.5),
            ("junction/w2/rest/over-screed", 0.7),
            ("junction/w3/rest/over-screed", 1.6),
            ("junction/w4/rest/over-screed", 0.5),
            ("junction/w4/shower/over-screed", 0.9),
            ("junction/w5/shower/over-screed", 1.4),
            // wall 6 falls from 2.6 to 0: 0.9 shower, 0.6 dry, the door from 1.5 to 2.3, 0.3 dry
            ("junction/w6/shower/over-screed", 0.9),
            ("junction/w6/rest/over-screed", 0.6),
            ("junction/w6/rest/after-door/over-screed", 0.3),
            // covers: wall 4 to 0.15 for its first half metre, then to 1.8 for 0.9
            ("wall/w4/shower/over-screed", 0.9 * 1.8),
            ("wall/w5/shower/over-screed", 1.4 * 1.8),
            ("wall-wall/w4+w5/over-screed", 1.8),
            ("upturn/w4/rest/over-screed", 0.5),
            ("upturn/w4/shower/over-screed", 0.9),
        ],
    );
    assert_eq!(ids(&details, DetailKind::ExternalCorner), ["corner/w3+w4/over-screed"]);
    assert_eq!(ids(&details, DetailKind::InternalCorner).len(), 5);
    assert_eq!(find(&details, "upturn/w4/shower/over-screed").level_mm.unwrap().value(), 1800.0);
    assert!(details.iter().all(|d| d.id != "wall/w4/rest/over-screed"), "turned up 0.15 m is an upturn, not a field");
    // a wall the covers do not mention is turned up to an unknown height
    assert!(!find(&details, "upturn/w6/rest/over-screed").unknown.is_empty());
}

#[test]
fn room_with_a_nib_agrees_with_hand_calculation() {
    let details = register(json!({
        "outline_mm": [[0, 0], [2600, 0], [2600, 2000], [1500, 2000], [1500, 1500], [1400, 1500], [1400, 2000], [0, 2000]],
        "height_mm": 2400,
        "walls": [{"id": "nib end", "edge": 5, "height_mm": 2000}],
        "openings": [{"id": "door", "kind": "door", "wall": "w8", "from_mm": 1100, "width_mm": 850, "height_mm": 2040}],
        "zones": [{"id": "shower", "kind": "shower", "polygon_mm": [[1500, 1000], [2600, 1000], [2600, 2000], [1500, 2000]], "wall_height_mm": 2100}],
        "outlets": [{"id": "waste", "kind": "point", "x_mm": 2000, "y_mm": 1500, "radius_mm": 50}],
        "build_up": {"preset": "bonded"}
    }));
    agrees(
        &details,
        &[
            ("floor/shower/over-screed", 1.1 - PI * 0.0025),
            // 2.6 x 2.0 less the nib of 0.1 x 0.5, less the shower
            ("floor/rest/over-screed", 5.2 - 0.05 - 1.1),
            ("junction/w2/rest/over-screed", 1.0),
            ("junction/w2/shower/over-screed", 1.0),
            ("junction/w3/shower/over-screed", 1.1),
            ("junction/w4/shower/over-screed", 0.5),
            ("junction/nib end/rest/over-screed", 0.1),
            ("junction/w6/rest/over-screed", 0.5),
            ("junction/w7/rest/over-screed", 1.4),
            ("junction/w8/rest/over-screed", 1.1),
            ("junction/w8/rest/after-door/over-screed", 0.05),
            ("wall/w4/shower/over-screed", 0.5 * 2.1),
            ("wall-wall/w3+w4/over-screed", 2.1),
            // the nib's end is only 2.0 high
            ("wall-wall/w4+nib end/over-screed", 2.0),
        ],
    );
    assert_eq!(ids(&details, DetailKind::ExternalCorner), ["corner/w4+nib end/over-screed", "corner/nib end+w6/over-screed"]);
    assert!(details.iter().all(|d| d.id != "sealant/w4+nib end"), "an external corner has no sealant joint");
}

#[test]
fn room_with_a_bay_agrees_with_hand_calculation() {
    let details = register(json!({
        "outline_mm": [[0, 0], [2000, 0], [2000, 1500], [1600, 1800], [400, 1800], [0, 1500]],
        "height_mm": 2400,
        "openings": [{"id": "door", "kind": "door", "wall": "w1", "from_mm": 600, "width_mm": 800}],
        "zones": [{"id": "bay", "kind": "shower", "polygon_mm": [[0, 1500], [2000, 1500], [1600, 1800], [400, 1800]], "wall_height_mm": 1800}],
        "outlets": [{"id": "waste", "kind": "point", "x_mm": 1000, "y_mm": 1650, "radius_mm": 50}],
        "membranes": [{"id": "m", "layer": "over-screed", "form": "liquid"}]
    }));
    agrees(
        &details,
        &[
            // trapezium: (2.0 + 1.2) / 2 x 0.3
            ("floor/bay/over-screed", 0.48 - PI * 0.0025),
            ("floor/rest/over-screed", 3.0),
            ("junction/w1/rest/over-screed", 0.6),
            ("junction/w1/rest/after-door/over-screed", 0.6),
            ("junction/w2/rest/over-screed", 1.5),
            // the slanted sides of the bay: 3-4-5 triangle of 0.3, 0.4
            ("junction/w3/bay/over-screed", 0.5),
            ("junction/w4/bay/over-screed", 1.2),
            ("junction/w5/bay/over-screed", 0.5),
            ("junction/w6/rest/over-screed", 1.5),
            ("wall/w3/bay/over-screed", 0.9),
            ("wall/w4/bay/over-screed", 2.16),
        ],
    );
    assert_eq!(ids(&details, DetailKind::InternalCorner).len(), 6);
}

#[test]
fn two_membranes_and_a_channel_agree_with_hand_calculation() {
    let details = register(two_membranes());
    for layer in ["under-screed", "over-screed"] {
        agrees(
            &details,
            &[
                // 1.2 x 1.2 less the channel of 1.0 x 0.08
                (&format!("floor/shower/{layer}"), 1.44 - 0.08),
                (&format!("floor/rest/{layer}"), 7.2 - 1.44),
                (&format!("junction/w1/rest/{layer}"), 1.8),
                (&format!("junction/w1/shower/{layer}"), 1.2),
                (&format!("junction/w2/shower/{layer}"), 1.2),
                (&format!("junction/w2/rest/{layer}"), 1.2),
                (&format!("junction/w3/rest/{layer}"), 3.0),
                (&format!("junction/w4/rest/{layer}"), 1.0),
                (&format!("junction/w4/rest/after-door/{layer}"), 0.5),
            ],
        );
    }
    agrees(
        &details,
        &[
            // 1.2 x 2.0 less the mouth of the recess
            ("wall/w1/shower/over-screed", 2.4 - 0.15),
            // the window begins at 1.3, past the shower
            ("wall/w2/shower/over-screed", 2.4),
            ("wall-wall/w1+w2/over-screed", 2.0),
            ("channel/channel/lower/side-left", 1.0),
            ("channel/channel/end-start", 0.08),
            // ends lie 0.1 from the shower's open edge (no wall) and 0.1 from wall 2; the side 0.11 from wall 1
            ("channel/channel/strip-finish", 0.08 * 0.1),
            ("channel/channel/strip-right", 1.0 * 0.11),
            ("channel/channel/level", 1.0),
            ("outlet/channel/grate", 2.0 * 1.08),
            ("drainage/channel", 1.0),
            ("water-stop/stop/screen", 2.4),
            ("recess/recess/back", 0.15),
            ("recess/recess/sill", 0.05),
            ("recess/recess/left", 0.03),
            ("recess/recess/edge/back-sill", 0.5),
            ("recess/recess/edge/head-left", 0.1),
            ("recess/recess/edge/mouth-right", 0.3),
        ],
    );
    assert_eq!(ids(&details, DetailKind::ChannelStrip).len(), 2);
    assert_eq!(ids(&details, DetailKind::ChannelFlangeCorner).len(), 8);
    assert_eq!(ids(&details, DetailKind::ChannelBodyJoint), ["channel/channel/body-joint/at-600"]);
    assert_eq!(ids(&details, DetailKind::RecessFace).len(), 5);
    assert_eq!(ids(&details, DetailKind::RecessEdge).len(), 12);
    assert_eq!(
        ids(&details, DetailKind::Penetration),
        ["penetration/mixer", "penetration/pan/under-screed", "penetration/pan/over-screed", "penetration/basin cold"],
        "the rose's pipe is the mixer drawn beside it; the pan goes through both membranes"
    );
    // a lower membrane under an upper one is turned up, not taken up the shower's walls
    assert!(details.iter().all(|d| d.id != "wall/w1/shower/under-screed"));
    assert!((85..=135).contains(&details.len()), "about a hundred details, not {}", details.len());
    assert!(details.iter().any(|d| d.layer == Some(MembraneLayer::UnderScreed) && d.kind == DetailKind::DrainagePath));
}

#[test]
fn heron_row_agrees_with_hand_calculation() {
    let details = register(heron_row());
    agrees(
        &details,
        &[
            ("floor/shower/over-screed", 1.15 * 0.9 - PI * 0.0025),
            // 2.35 x 1.70 less the return's 0.9 x 0.3, less the shower
            ("floor/rest/over-screed", 3.995 - 0.27 - 1.035),
            ("junction/south/rest/over-screed", 1.2),
            ("junction/south/shower/over-screed", 1.15),
            ("junction/east/shower/over-screed", 0.9),
            ("junction/east/rest/over-screed", 0.8),
            ("junction/north/rest/over-screed", 1.45),
            ("junction/return/rest/over-screed", 0.3),
            ("junction/door wall/rest/over-screed", 0.06),
            ("junction/door wall/rest/after-door/over-screed", 0.02),
            ("junction/west/rest/over-screed", 1.4),
            ("threshold/door", 0.82),
            // 1.15 x 1.9 less the mouth of 0.6 x 0.3
            ("wall/south/shower/over-screed", 2.185 - 0.18),
            ("wall/east/shower/over-screed", 0.9 * 1.9),
            ("water-stop/ws1/screen", 0.9),
            ("water-stop/ws1/shower-edge", 1.15),
            ("recess/recess/sill", 0.6 * 0.09),
        ],
    );
    assert_eq!(ids(&details, DetailKind::ExternalCorner), ["corner/return+door wall/over-screed"]);
    let words: Vec<String> = groups(&details).into_iter().map(|g| g.words).collect();
    assert!(words.contains(&"wall-floor junctions in the shower, 2 runs, 2.0 m".to_string()), "{words:#?}");
    // 0.6 x 0.3 + 2 (0.6 + 0.3) x 0.09 = 0.342
    assert!(words.contains(&"faces of recesses in the shower, 5 areas, 0.34 m²".to_string()), "{words:#?}");
}

#[test]
fn every_detail_is_in_exactly_one_group_and_ids_are_unique() {
    for fields in [rectangle(), heron_row(), two_membranes()] {
        let details = register(fields);
        let unique: BTreeSet<&str> = details.iter().map(|d| d.id.as_str()).collect();
        assert_eq!(unique.len(), details.len());
        let grouped: Vec<String> = groups(&details).into_iter().flat_map(|g| g.details).collect();
        assert_eq!(grouped.len(), details.len());
        assert_eq!(grouped.iter().map(String::as_str).collect::<BTreeSet<_>>(), unique);
    }
}

#[test]
fn every_detail_lies_on_a_face_of_the_unfolded_room() {
    for fields in [rectangle(), heron_row(), two_membranes()] {
        let room = room(fields);
        let unfolded = crate::unfold::Unfolded::new(&room);
        for detail in derive(&room) {
            assert!(unfolded.place_on_sheet(&detail.face, &detail.place).is_some(), "{}", detail.id);
            let at = |p: &PointMm| unfolded.from_sheet(unfolded.to_sheet(&detail.face, *p).unwrap());
            match &detail.place {
                Place::Point(p) => assert!(at(p).is_some(), "{} at {p:?}", detail.id),
                Place::Run(line) => assert!(line.iter().all(|p| at(p).is_some()), "{} at {line:?}", detail.id),
                Place::Patch(patch) => assert!(patch.iter().flatten().flatten().all(|p| at(p).is_some()), "{}", detail.id),
            }
        }
    }
}

/// Outline, door, shower, outlet: enough, and nothing is invented.
#[test]
fn a_sparse_room_has_a_register_without_made_up_figures() {
    let details = register(json!({
        "outline_mm": [[0, 0], [2000, 0], [2000, 1500], [0, 1500]],
        "openings": [{"id": "door", "kind": "door", "wall": "w3", "from_mm": 500, "width_mm": 800}],
        "zones": [{"id": "shower", "kind": "shower", "polygon_mm": [[0, 0], [900, 0], [900, 900], [0, 900]]}],
        "outlets": [{"id": "waste", "kind": "point", "x_mm": 450, "y_mm": 450}]
    }));
    agrees(&details, &[("floor/shower", 0.81), ("floor/rest", 2.19), ("junction/w1/shower", 0.9)]);
    let wall = find(&details, "wall/w1/shower");
    assert!(wall.area_m2.is_none() && !wall.unknown.is_empty());
    let corner = find(&details, "wall-wall/w4+w1");
    assert!(corner.length_m.is_none() && !corner.unknown.is_empty());
    assert!(details.iter().all(|d| d.layer.is_none()));
    let group = groups(&details).into_iter().find(|g| g.kind == DetailKind::WallWallJunction && g.zone == ZoneKind::Shower).unwrap();
    assert_eq!((group.unknown_size, group.length_m), (1, None), "the corner of the shower; at the other three it is only turned up");
    assert_eq!(group.words, "wall-wall junctions in the shower, 1 run, size not known");
}

#[test]
fn editing_one_thing_leaves_the_others_their_ids() {
    let before: BTreeSet<String> = derive(&room(heron_row())).into_iter().map(|d| d.id).collect();
    let mut fields = heron_row();
    fields["penetrations"] = json!([{"id": "cable", "kind": "cable", "wall": "west", "along_mm": 500, "height_mm": 1200}]);
    fields["recesses"].as_array_mut().unwrap().insert(
        0,
        json!({"id": "second", "wall": "east", "from_mm": 100, "sill_mm": 1200, "width_mm": 300, "height_mm": 300, "depth_mm": 90}),
    );
    fields["outlets"]
        .as_array_mut()
        .unwrap()
        .insert(0, json!({"id": "floor waste", "kind": "point", "x_mm": 500, "y_mm": 700, "radius_mm": 40}));
    fields["outline_mm"][2] = json!([2350, 1710]);
    fields["outline_mm"][3] = json!([900, 1710]);
    let after: BTreeSet<String> = derive(&room(fields)).into_iter().map(|d| d.id).collect();
    assert!(before.is_subset(&after), "lost: {:?}", before.difference(&after).collect::<Vec<_>>());
    let drawn_backwards = {
        let mut fields = heron_row();
        fields["walls"] = json!([{"id": "south", "edge": 5}, {"id": "east", "edge": 4}, {"id": "north", "edge": 3}, {"id": "return", "edge": 2},
            {"id": "door wall", "edge": 1}, {"id": "west", "edge": 6}]);
        fields["outline_mm"].as_array_mut().unwrap().reverse();
        fields["openings"][0]["from_mm"] = json!(20);
        fields["recesses"][0]["from_mm"] = json!(2350 - 1500 - 600);
        derive(&room(fields))
    };
    assert_eq!(drawn_backwards.iter().map(|d| d.id.clone()).collect::<BTreeSet<_>>(), before, "the same room drawn clockwise");
    for detail in derive(&room(heron_row())) {
        let other = find(&drawn_backwards, &detail.id);
        let near = |a: Option<f64>, b: Option<f64>| a.zip(b).is_none_or(|(a, b)| (a - b).abs() < 1e-6);
        assert!(near(detail.length_m, other.length_m) && near(detail.area_m2, other.area_m2), "{}", detail.id);
    }
}

#[test]
fn a_water_stop_belongs_to_the_zone_beside_it_not_past_its_end() {
    let mut fields = heron_row();
    fields["water_stops"] = json!([{"id": "beside", "line_mm": [[1200, 100], [1200, 800]], "at": "shower-edge"},
        {"id": "past", "line_mm": [[1200, 930], [1200, 1600]], "at": "shower-edge"}]);
    fields["screens"] = json!([]);
    let details = register(fields);
    assert_eq!(find(&details, "water-stop/beside/shower-edge").zone, ZoneKind::Shower);
    assert_eq!(find(&details, "water-stop/past/shower-edge").zone, ZoneKind::Dry);
}

#[test]
fn a_membrane_drawn_only_in_the_shower_leaves_the_rest_a_field_without_one() {
    let mut fields = rectangle();
    fields["membranes"] = json!([{"id": "m", "layer": "over-screed", "form": "liquid", "covers": [{"on": "floor", "zone": "shower"}]}]);
    let details = register(fields);
    assert_eq!(find(&details, "floor/shower/over-screed").layer, Some(MembraneLayer::OverScreed));
    let rest = find(&details, "floor/rest");
    assert_eq!(rest.layer, None);
    assert!(rest.name.contains("no membrane drawn"));
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(64))]
    /// Whatever the zones and wherever the door: the fields of a layer fill the floor but for the outlet, and the runs of
    /// its junctions and the door make up the perimeter.
    #[test]
    fn fields_fill_the_floor_and_runs_the_perimeter(
        heights in proptest::collection::vec(1000.0..3000.0f64, 2..6),
        split in 0.15..0.85f64, zone_depth in 300.0..900.0f64, door_at in 0.0..1.0f64, door_edge in 0usize..20,
    ) {
        let outline = crate::unfold::tests::histogram(&heights, 900.0);
        let width = heights.len() as f64 * 900.0;
        let sides = edges(&outline);
        let edge = door_edge % sides.len();
        let length = sides[edge].length_mm();
        let door = if length > 400.0 { vec![json!({"id": "door", "kind": "door", "wall": format!("w{}", edge + 1),
            "from_mm": door_at * (length - 300.0), "width_mm": 300})] } else { vec![] };
        let doors = door.len() as f64 * 300.0;
        let x = split * width;
        let fields = json!({
            "outline_mm": outline, "openings": door,
            "zones": [{"id": "a", "kind": "shower", "polygon_mm": [[0, 0], [x, 0], [x, zone_depth], [0, zone_depth]]},
                      {"id": "b", "kind": "splash", "polygon_mm": [[x, 0], [width, 0], [width, zone_depth], [x, zone_depth]]}],
            "outlets": [{"id": "waste", "kind": "point", "x_mm": 120, "y_mm": 120, "radius_mm": 60}],
            "build_up": {"preset": "both"}
        });
        let details = register(fields);
        let area = signed_area_mm2(&outline) / 1e6 - PI * 0.0036;
        let perimeter: f64 = sides.iter().map(|s| s.length_mm()).sum();
        for layer in [MembraneLayer::UnderScreed, MembraneLayer::OverScreed] {
            let of = |kind| details.iter().filter(move |d| d.kind == kind && d.layer == Some(layer));
            let fields: f64 = of(DetailKind::FloorField).filter_map(|d| d.area_m2).sum();
            proptest::prop_assert!((fields - area).abs() < 1e-6 * area, "{fields} against {area}");
            let runs: f64 = of(DetailKind::WallFloorJunction).filter_map(|d| d.length_m).sum();
            proptest::prop_assert!((runs * 1e3 + doors - perimeter).abs() < 1e-3, "{runs} and {doors} against {perimeter}");
        }
    }
}
