//! What coats cover, against arithmetic by hand.

use super::*;
use crate::register::derive;
use crate::test_rooms::{heron_row, rectangle as small, room};
use proptest::prelude::*;
use serde_json::json;

/// The small room with its shower walls covered to 1.9 m and the others turned up 150 mm; a waste of 50 mm radius.
fn turned_up() -> Room {
    let mut fields = small();
    let wall = |id: &str, from: f64, to: f64, top: f64| json!({"on": id, "from_mm": from, "to_mm": to, "top_mm": {"value": top}});
    fields["membranes"][0]["covers"] = json!([
        {"on": "floor"},
        wall("w1", 0.0, 900.0, 1900.0), wall("w1", 900.0, 2400.0, 150.0),
        wall("w2", 0.0, 1800.0, 150.0),
        wall("w3", 0.0, 2400.0, 150.0),
        wall("w4", 0.0, 900.0, 150.0), wall("w4", 900.0, 1800.0, 1900.0)
    ]);
    fields["penetrations"] = json!([{"id": "tap", "kind": "tap", "wall": "w1", "along_mm": 450, "height_mm": 1100, "diameter_mm": 60}]);
    fields["water_stops"] = json!([{"id": "stop", "line_mm": [[900, 0], [900, 900], [0, 900]], "at": "shower-edge"}]);
    room(fields)
}

fn rect(lo: PointMm, hi: PointMm) -> Vec<PointMm> {
    crate::geometry::rectangle(lo, hi)
}

fn wall(id: &str) -> Face {
    Face::Wall(id.into())
}

fn drawn(number: u32, drawn: &[(Face, Vec<PointMm>)]) -> Claim {
    Claim { number, drawn: drawn.to_vec(), ..Claim::default() }
}

fn named(number: u32, register: &[Detail], of: impl Fn(&Detail) -> bool) -> Claim {
    Claim { number, details: register.iter().filter(|d| of(d)).map(|d| d.id.clone()).collect(), drawn: Vec::new() }
}

fn detail<'a>(register: &'a [Detail], id: &str) -> &'a Detail {
    let known = || register.iter().map(|d| d.id.as_str()).collect::<Vec<_>>();
    register.iter().find(|d| d.id == id).unwrap_or_else(|| panic!("{id} in {:#?}", known()))
}

#[track_caller]
fn near(got: f64, expected: f64) {
    assert!((got - expected).abs() < 1e-6, "{got} is not {expected}");
}

/// Coats that cover a detail of the small room, of two due.
fn coats(claims: Vec<Claim>, id: &str) -> usize {
    let room = turned_up();
    let register = derive(&room);
    Cover::new(&room, &register, claims).of(detail(&register, id), 2).coats()
}

#[test]
fn a_name_covers_what_it_names_and_nothing_beside_it() {
    let room = turned_up();
    let register = derive(&room);
    let floor = |d: &Detail| d.kind == DetailKind::FloorField;
    let cover = Cover::new(&room, &register, vec![named(1, &register, floor), named(2, &register, floor)]);
    for d in &register {
        let expected = if floor(d) { 2 } else { 0 };
        assert_eq!(cover.of(d, 2).coats(), expected, "{}", d.id);
    }
    assert_eq!(Cover::new(&room, &register, Vec::new()).of(&register[0], 2).coats(), 0, "nothing logged covers nothing");
}

#[test]
fn two_parts_of_one_number_are_one_coat() {
    let floor = || rect([0.0, 0.0], [2400.0, 1800.0]);
    let parts = vec![drawn(1, &[(Face::Floor, floor())]), drawn(1, &[(Face::Floor, floor())])];
    assert_eq!(coats(parts.clone(), "floor/rest/over-screed"), 1);
    assert_eq!(coats([parts, vec![drawn(2, &[(Face::Floor, floor())])]].concat(), "floor/rest/over-screed"), 2);
}

/// The second coat stops 200 mm short of the far wall (2.4 by 0.2 m) and leaves out 300 by 300 mm at the waste.
#[test]
fn what_the_second_coat_leaves_out_is_measured() {
    let room = turned_up();
    let register = derive(&room);
    let whole = rect([0.0, 0.0], [2400.0, 1800.0]);
    let around = [
        rect([0.0, 0.0], [2400.0, 300.0]),
        rect([0.0, 600.0], [2400.0, 1600.0]),
        rect([0.0, 250.0], [300.0, 650.0]),
        rect([600.0, 250.0], [2400.0, 650.0]),
    ];
    let second: Vec<_> = around.into_iter().map(|ring| (Face::Floor, ring)).collect();
    let cover = Cover::new(&room, &register, vec![drawn(1, &[(Face::Floor, whole)]), drawn(2, &second)]);
    let rest = cover.of(detail(&register, "floor/rest/over-screed"), 2);
    assert_eq!(rest.coats(), 1);
    near(rest.lacks[0].size(), 0.0);
    near(rest.lacks[1].size(), 2.4 * 0.2);
    let shower = cover.of(detail(&register, "floor/shower/over-screed"), 2);
    near(shower.lacks[1].size(), (0.3 * 0.3) - std::f64::consts::PI * 0.05 * 0.05);
    assert_eq!(cover.of(detail(&register, "outlet/waste/upper"), 2).coats(), 1, "the flange lies in the gap");
}

/// A junction is coated on the floor and up the wall, or it is not.
#[test]
fn a_junction_needs_both_its_faces() {
    let floor = (Face::Floor, rect([0.0, 0.0], [2400.0, 1800.0]));
    let strip = |to: f64| (wall("w2"), rect([0.0, 0.0], [to, 150.0]));
    let id = "junction/w2/rest/over-screed";
    assert_eq!(coats(vec![drawn(1, std::slice::from_ref(&floor))], id), 0);
    assert_eq!(coats(vec![drawn(1, &[strip(1800.0)])], id), 0);
    assert_eq!(coats(vec![drawn(1, &[floor.clone(), strip(1800.0)])], id), 1);
    let room = turned_up();
    let register = derive(&room);
    let half = Cover::new(&room, &register, vec![drawn(1, &[floor, strip(1100.0)])]).of(detail(&register, id), 1);
    assert_eq!(half.lacks[0], Part::Run(vec![[1100.0, 1800.0]]));
    near(half.lacks[0].size(), 0.7);
}

#[test]
fn an_upright_junction_lies_on_two_walls() {
    let (a, b) = ((wall("w4"), rect([900.0, 0.0], [1800.0, 1900.0])), (wall("w1"), rect([0.0, 0.0], [900.0, 1900.0])));
    let id = "wall-wall/w4+w1/over-screed";
    assert_eq!(coats(vec![drawn(1, std::slice::from_ref(&a))], id), 0);
    assert_eq!(coats(vec![drawn(1, &[a, b])], id), 1);
}

#[test]
fn a_corner_lies_on_three_faces() {
    let faces = [
        (Face::Floor, rect([0.0, 0.0], [500.0, 500.0])),
        (wall("w4"), rect([1300.0, 0.0], [1800.0, 1900.0])),
        (wall("w1"), rect([0.0, 0.0], [500.0, 1900.0])),
    ];
    let id = "corner/w4+w1/over-screed";
    assert_eq!(coats(vec![drawn(1, &faces)], id), 1);
    for left_out in 0..3 {
        let rest: Vec<_> = faces.iter().enumerate().filter(|(i, _)| *i != left_out).map(|(_, f)| f.clone()).collect();
        assert_eq!(coats(vec![drawn(1, &rest)], id), 0, "without {:?}", faces[left_out].0);
    }
}

#[test]
fn an_upper_edge_asks_for_the_strip_below_it_alone() {
    let id = "upturn/w2/rest/over-screed";
    assert_eq!(coats(vec![drawn(1, &[(wall("w2"), rect([0.0, 0.0], [1800.0, 150.0]))])], id), 1);
    assert_eq!(coats(vec![drawn(1, &[(wall("w2"), rect([0.0, 0.0], [1800.0, 120.0]))])], id), 0, "30 mm below its edge");
}

#[test]
fn a_water_stop_is_coated_on_both_sides() {
    let id = "water-stop/stop/shower-edge/over-screed";
    let id = if derive(&turned_up()).iter().any(|d| d.id == id) { id } else { "water-stop/stop/shower-edge" };
    let inside = (Face::Floor, rect([0.0, 0.0], [900.0, 900.0]));
    assert_eq!(coats(vec![drawn(1, std::slice::from_ref(&inside))], id), 0);
    let outside = [(Face::Floor, rect([900.0, 0.0], [2400.0, 900.0])), (Face::Floor, rect([0.0, 900.0], [2400.0, 1800.0]))];
    assert_eq!(coats(vec![drawn(1, &outside)], id), 0);
    assert_eq!(coats(vec![drawn(1, &[vec![inside], outside.to_vec()].concat())], id), 1);
}

#[test]
fn a_tap_is_covered_when_the_film_goes_all_round_it() {
    let id = "penetration/tap";
    let area = |lo: f64| vec![drawn(1, &[(wall("w1"), rect([lo, 0.0], [900.0, 1900.0]))])];
    assert_eq!(coats(area(0.0), id), 1);
    assert_eq!(coats(area(430.0), id), 0, "the area's edge runs through the tap body");
}

#[test]
fn edges_of_a_recess_lie_on_the_faces_they_part() {
    let mut fields = heron_row();
    fields["membranes"][0]["covers"] = json!([{"on": "floor"}, {"on": "south", "top_mm": {"value": 1900}}, {"on": "recess"}]);
    let room = room(fields);
    let register = derive(&room);
    let face = |side: &str, size: PointMm| (Face::Recess("recess".into(), side.into()), rect([0.0, 0.0], size));
    let south = (wall("south"), rect([0.0, 0.0], [2350.0, 1900.0]));
    let all = [south, face("back", [600.0, 300.0]), face("sill", [600.0, 90.0]), face("left", [90.0, 300.0])];
    let cover = Cover::new(&room, &register, vec![drawn(1, &all)]);
    let coats = |id: &str| cover.of(detail(&register, id), 1).coats();
    for id in ["back-sill", "back-left", "sill-left", "mouth-sill", "mouth-left"] {
        assert_eq!(coats(&format!("recess/recess/edge/{id}")), 1, "{id}");
    }
    for id in ["back-head", "back-right", "sill-right", "mouth-head", "mouth-right"] {
        assert_eq!(coats(&format!("recess/recess/edge/{id}")), 0, "{id}: one of its faces is bare");
    }
}

/// A line drawn 8 mm off the wall is drawn at the wall.
#[test]
fn a_sliver_at_the_wall_is_drawing_not_site() {
    let claims = vec![drawn(1, &[(Face::Floor, rect([8.0, 8.0], [2392.0, 1792.0]))])];
    assert_eq!(coats(claims, "floor/rest/over-screed"), 1);
    let claims = vec![drawn(1, &[(Face::Floor, rect([8.0, 8.0], [2360.0, 1792.0]))])];
    assert_eq!(coats(claims, "floor/rest/over-screed"), 0, "40 mm at the far wall");
}

#[test]
fn what_the_room_does_not_place_no_drawn_area_covers() {
    let room = room(small());
    let register = derive(&room);
    let height = register.iter().find(|d| d.kind == DetailKind::UpturnTermination && d.level_mm.is_none()).expect("no height is drawn");
    let Face::Wall(on) = &height.face else { panic!() };
    let everything = drawn(1, &[(wall(on), rect([0.0, 0.0], [2400.0, 2400.0]))]);
    assert_eq!(Cover::new(&room, &register, vec![everything]).of(height, 1).coats(), 0);
    let by_name = named(1, &register, |d| d.id == height.id);
    let cover = Cover::new(&room, &register, vec![by_name]);
    assert_eq!(cover.of(height, 1).coats(), 1);
    assert_eq!(cover.area_of_claims(&[0]).unknown, std::slice::from_ref(&height.name));
}

/// By hand: floor 2.4 x 1.8 less the waste, shower walls 2 x 0.9 x 1.9, upturns of 0.15 m over 1.5, 1.8, 2.4 less the door of
/// 0.82, and 0.9 m.
#[test]
fn the_area_coated_counts_each_place_once() {
    let room = turned_up();
    let register = derive(&room);
    let all = named(1, &register, |_| true);
    let floor = drawn(1, &[(Face::Floor, rect([-500.0, -500.0], [3000.0, 3000.0]))]);
    let cover = Cover::new(&room, &register, vec![all, floor]);
    let walls = 2.0 * 0.9 * 1.9 + 0.15 * (1.5 + 1.8 + (2.4 - 0.82) + 0.9);
    let waste = std::f64::consts::PI * 0.05 * 0.05;
    let area = |which: &[usize]| cover.area_of_claims(which).area_m2;
    assert!((area(&[0]) - (2.4 * 1.8 - waste + walls)).abs() < 1e-5, "{}", area(&[0]));
    near(area(&[1]), 2.4 * 1.8);
    near(area(&[0, 1]), 2.4 * 1.8 + walls);
}

prop_compose! {
    fn any_rect()(x in -100.0..2400.0f64, y in -100.0..1800.0f64, w in 50.0..2400.0f64, h in 50.0..1800.0f64) -> Vec<PointMm> {
        rect([x, y], [x + w, y + h])
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// What has a coat and what lacks it make the whole; a further coat lacks no less; order does not matter.
    #[test]
    fn covered_and_uncovered_make_the_whole(rings in prop::collection::vec((1u32..4, any_rect()), 1..6)) {
        let room = turned_up();
        let register = derive(&room);
        let claims: Vec<Claim> = rings.iter().map(|(n, ring)| drawn(*n, &[(Face::Floor, ring.clone())])).collect();
        let backwards: Vec<Claim> = claims.iter().rev().cloned().collect();
        let cover = Cover::new(&room, &register, claims);
        let other = Cover::new(&room, &register, backwards);
        for id in ["floor/rest/over-screed", "floor/shower/over-screed"] {
            let d = detail(&register, id);
            let found = cover.of(d, 3);
            let whole = found.whole.size();
            // Lattice of places counted by hand: how many of the three numbers hold each.
            let Place::Patch(patch) = &d.place else { panic!() };
            let (mut all, mut bare) = (0, 0);
            for i in 0..48 {
                for j in 0..36 {
                    let p = [i as f64 * 50.0 + 24.9, j as f64 * 50.0 + 24.9];
                    let inside = patch.iter().any(|rings| contains(&rings[0], p, 0.0) && !rings[1..].iter().any(|h| contains(h, p, 0.0)));
                    if inside {
                        all += 1;
                        bare += usize::from(!rings.iter().any(|(_, ring)| contains(ring, p, 0.0)));
                    }
                }
            }
            prop_assert!((found.lacks[0].size() / whole - bare as f64 / all as f64).abs() < 0.1);
            for k in 0..3 {
                let lacks = found.lacks[k].size();
                prop_assert!(lacks <= whole + 1e-6 && (k == 0 || lacks >= found.lacks[k - 1].size() - 1e-6));
                prop_assert!((lacks - other.of(d, 3).lacks[k].size()).abs() < 1e-6);
                // exactly: cut the lacking part out of the whole and the rest adds up
                let Part::Patch(rest) = &found.lacks[k] else { panic!() };
                let covered = area(patch).difference(&area(rest));
                prop_assert!((area_mm2(&covered) / 1e6 + lacks - whole).abs() < 1e-5);
            }
        }
    }
}
