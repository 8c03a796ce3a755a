use super::*;
use crate::geometry::{area_mm2, distance_mm, signed_area_mm2};
use crate::test_rooms::{heron_row, room, two_membranes};
use measure::math;
use proptest::prelude::*;
use serde_json::json;

/// Columns of these depths side by side: L-shapes, T-shapes, nibs and bays at right angles.
pub fn histogram(depths: &[f64], width: f64) -> Vec<PointMm> {
    let mut ring = vec![[0.0, 0.0], [depths.len() as f64 * width, 0.0]];
    for (i, depth) in depths.iter().enumerate().rev() {
        for x in [(i + 1) as f64 * width, i as f64 * width] {
            ring.push([x, *depth]);
        }
    }
    ring.dedup_by(|a, b| distance_mm(*a, *b) < 5.0);
    ring
}

/// Columns up and down from a middle strip: courtyards open on both sides.
fn comb(up: &[f64], down: &[f64], width: f64) -> Vec<PointMm> {
    let mut ring = histogram(up, width).split_off(2);
    for (i, depth) in down.iter().take(up.len()).enumerate() {
        for x in [i as f64 * width, (i + 1) as f64 * width] {
            ring.push([x, -*depth]);
        }
    }
    ring.dedup_by(|a, b| distance_mm(*a, *b) < 5.0);
    ring
}

/// Corners all round a middle at these distances.
fn star(radii: &[f64]) -> Vec<PointMm> {
    let step = 2.0 * std::f64::consts::PI / radii.len() as f64;
    let at = |(i, r): (usize, &f64)| [r * math::cos(i as f64 * step), r * math::sin(i as f64 * step)];
    radii.iter().enumerate().map(at).collect()
}

pub fn any_outline() -> impl Strategy<Value = Vec<PointMm>> {
    let depths = || prop::collection::vec((1..12i32).prop_map(|d| f64::from(d) * 250.0), 5);
    prop_oneof![
        prop::collection::vec((1..12i32).prop_map(|d| f64::from(d) * 250.0), 1..7).prop_map(|d| histogram(&d, 700.0)),
        (depths(), depths()).prop_map(|(up, down)| comb(&up, &down, 600.0)),
        prop::collection::vec(600.0..3000.0f64, 4..12).prop_map(|radii| star(&radii)),
    ]
}

pub fn unfolded(outline: &[PointMm], heights: &[f64]) -> Unfolded {
    let walls: Vec<_> =
        (0..outline.len()).map(|i| json!({"id": format!("w{}", i + 1), "edge": i + 1, "height_mm": heights[i % heights.len()]})).collect();
    let recess = json!({"id": "r", "wall": "w1", "from_mm": 20, "sill_mm": 300, "width_mm": 200, "height_mm": 300, "depth_mm": 90});
    Unfolded::new(&room(json!({"outline_mm": outline, "walls": walls, "recesses": [recess]})))
}

/// Two faces share no area but what rounding leaves along a common edge.
fn overlap_mm2(u: &Unfolded) -> f64 {
    let mut most = 0.0_f64;
    for (i, a) in u.faces().iter().enumerate() {
        for b in &u.faces()[..i] {
            most = most.max(area_mm2(&area_of(&a.polygon_mm).intersection(&area_of(&b.polygon_mm))));
        }
    }
    most
}

fn near(a: PointMm, b: PointMm) -> bool {
    distance_mm(a, b) < 1e-6
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn no_two_faces_overlap_and_sizes_are_kept(outline in any_outline(), heights in prop::collection::vec(800.0..3000.0f64, 1..5)) {
        let u = unfolded(&outline, &heights);
        prop_assert!(overlap_mm2(&u) < 20.0, "{}", overlap_mm2(&u));
        let floor = signed_area_mm2(&u.faces()[0].polygon_mm);
        prop_assert!((floor - signed_area_mm2(&outline).abs()).abs() < 1e-6 * floor);
        for (i, side) in edges(&outline).iter().enumerate() {
            let wall = u.face(&Face::Wall(format!("w{}", i + 1))).unwrap();
            let lengths: Vec<f64> = edges(&wall.polygon_mm).iter().map(Edge::length_mm).collect();
            let (length, height) = (side.length_mm(), heights[i % heights.len()]);
            prop_assert!((lengths[0] - length).abs() < 1e-6 && (lengths[1] - height).abs() < 1e-6);
            prop_assert!((signed_area_mm2(&wall.polygon_mm).abs() - length * height).abs() < 1e-6 * length * height);
            prop_assert_eq!(wall.attached, wall.moved_mm == 0.0);
        }
        // the recess: 2 (w + h) d + w h
        let recess: f64 = u.faces().iter().filter(|f| matches!(f.face, Face::Recess(..))).map(|f| signed_area_mm2(&f.polygon_mm).abs()).sum();
        prop_assert!((recess - (2.0 * 500.0 * 90.0 + 60_000.0)).abs() < 1e-3);
    }

    #[test]
    fn any_place_goes_to_the_sheet_and_back(outline in any_outline(), heights in prop::collection::vec(800.0..3000.0f64, 1..5), s in 0.001..0.999f64, t in 0.001..0.999f64) {
        let u = unfolded(&outline, &heights);
        for face in u.faces() {
            // a place inside the face: on its diagonal frame, for the floor a mix of its corners kept when inside
            let local = match face.frame.size {
                Some([w, h]) => [s * w, t * h],
                None => {
                    let (a, b) = (outline[0], outline[outline.len() / 2]);
                    let p = [a[0] + s * (b[0] - a[0]), a[1] + s * (b[1] - a[1])];
                    if !contains(&u.outline_mm, p, 0.0) { continue }
                    p
                }
            };
            let sheet = u.to_sheet(&face.face, local).unwrap();
            let (back, place) = u.from_sheet(sheet).unwrap();
            prop_assert_eq!(&back, &face.face);
            prop_assert!(near(place, local), "{:?} {:?}", place, local);
            prop_assert!(near(u.on_face(&face.face, sheet).unwrap(), local));
            prop_assert!(near(u.to_sheet(&back, place).unwrap(), sheet));
        }
    }

    /// On its face any two places are as far apart in the room as on the drawing.
    #[test]
    fn distances_on_a_face_are_those_in_the_room(outline in any_outline(), a in (0.0..1.0f64, 0.0..1.0f64), b in (0.0..1.0f64, 0.0..1.0f64)) {
        let u = unfolded(&outline, &[2400.0]);
        for face in u.faces() {
            let [w, h] = face.frame.size.unwrap_or([1000.0, 1000.0]);
            let (p, q) = ([a.0 * w, a.1 * h], [b.0 * w, b.1 * h]);
            let (x, y) = (u.to_space(&face.face, p).unwrap(), u.to_space(&face.face, q).unwrap());
            let apart = x.iter().zip(y).map(|(x, y)| (x - y) * (x - y)).sum::<f64>().sqrt();
            prop_assert!((apart - distance_mm(p, q)).abs() < 1e-6);
            prop_assert!((apart - distance_mm(u.to_sheet(&face.face, p).unwrap(), u.to_sheet(&face.face, q).unwrap())).abs() < 1e-6);
        }
    }
}

#[test]
fn a_rectangular_room_unfolds_like_a_box_with_every_wall_attached() {
    let u = unfolded(&[[0.0, 0.0], [3000.0, 0.0], [3000.0, 2000.0], [0.0, 2000.0]], &[2400.0]);
    assert!(u.faces().iter().filter(|f| matches!(f.face, Face::Wall(_))).all(|f| f.attached));
    // wall 1 folds down below the floor: its top at y = -2400
    assert!(near(u.to_sheet(&Face::Wall("w1".into()), [500.0, 2400.0]).unwrap(), [500.0, -2400.0]));
    assert!(near(u.to_sheet(&Face::Wall("w2".into()), [500.0, 1000.0]).unwrap(), [4000.0, 500.0]));
}

#[test]
fn walls_beside_a_corner_into_the_room_are_moved_clear() {
    let u = Unfolded::new(&room(heron_row()));
    assert!(overlap_mm2(&u) < 20.0);
    let wall = |name: &str| u.face(&Face::Wall(name.into())).unwrap();
    assert!(wall("door wall").attached && !wall("return").attached, "the longer wall has first choice");
    // the door's wall lies over 900 mm of the return's way; clear of it by 100
    assert!((wall("return").moved_mm - 1000.0).abs() < 0.01, "{}", wall("return").moved_mm);
}

#[test]
fn what_a_wall_and_the_floor_share_is_one_line_in_the_room() {
    let room = room(heron_row());
    let u = Unfolded::new(&room);
    let sides = edges(&normalised(&room).outline_mm);
    for (i, name) in normalised(&room).wall_names().iter().enumerate() {
        for along in [0.0, sides[i].length_mm() / 3.0, sides[i].length_mm()] {
            let [x, y, z] = u.to_space(&Face::Wall(name.clone()), [along, 0.0]).unwrap();
            assert!(near([x, y], sides[i].at(along, 0.0)) && z == 0.0);
        }
    }
}

/// Edges shared by two faces of the recess, and by recess and wall, are the same line in the room.
#[test]
fn a_recess_closes_to_a_box_in_its_wall() {
    let u = Unfolded::new(&room(two_membranes()));
    let at = |face: &str, p: PointMm| u.to_space(&Face::Recess("recess".into(), face.into()), p).unwrap();
    let (w, h, d) = (500.0, 300.0, 100.0);
    let same = [
        (at("back", [0.0, 0.0]), at("sill", [0.0, d])),
        (at("back", [w, h]), at("head", [w, d])),
        (at("back", [0.0, h]), at("right", [d, h])),
        (at("back", [w, 0.0]), at("left", [d, 0.0])),
        (at("sill", [w, 0.0]), at("left", [0.0, 0.0])),
        (at("sill", [0.0, 0.0]), u.to_space(&Face::Wall("w1".into()), [2000.0, 1000.0]).unwrap()),
    ];
    for (a, b) in same {
        assert!(a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-9), "{a:?} {b:?}");
    }
    // the back lies outside the room, behind wall 1 (y = 0)
    assert_eq!(at("back", [0.0, 0.0])[1], -100.0);
    // on the drawing the sill joins the back
    let sheet = |face: &str, p: PointMm| u.to_sheet(&Face::Recess("recess".into(), face.into()), p).unwrap();
    assert!(near(sheet("back", [w, 0.0]), sheet("sill", [w, d])) && near(sheet("back", [0.0, h]), sheet("right", [d, h])));
}

#[test]
fn openings_and_mouths_are_holes_in_the_drawn_wall() {
    let u = Unfolded::new(&room(two_membranes()));
    assert_eq!(u.face(&Face::Wall("w1".into())).unwrap().holes_mm.len(), 1);
    assert_eq!(u.face(&Face::Wall("w2".into())).unwrap().holes_mm.len(), 1);
    assert_eq!(u.face(&Face::Wall("w3".into())).unwrap().holes_mm.len(), 0);
}

#[test]
fn a_wall_of_unknown_height_says_so() {
    let u = Unfolded::new(&room(json!({"outline_mm": [[0, 0], [2000, 0], [2000, 1500]]})));
    assert!(u.faces()[1..].iter().all(|f| !f.size_known));
    assert!(u.faces()[0].size_known);
    assert_eq!(u.to_sheet(&Face::Wall("nowhere".into()), [0.0, 0.0]), None);
    assert_eq!(u.from_sheet([1e6, 1e6]), None);
}

/// A planted fault must be seen by the checker the tests rely on.
#[test]
fn the_overlap_check_sees_a_wall_put_back_on_its_neighbour() {
    let mut u = Unfolded::new(&room(heron_row()));
    let wall = u.faces.iter_mut().find(|f| f.face == Face::Wall("return".into())).unwrap();
    for p in &mut wall.polygon_mm {
        p[0] += wall.moved_mm;
    }
    assert!(overlap_mm2(&u) > 1000.0);
}
