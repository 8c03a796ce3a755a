//! Distances over the surface of a room: its seams in the hands of the film's surface.

use film::surface::{On, SharedEdge, Surface};
use measure::{PointMm, math};
use proptest::prelude::*;
use room::geometry::{Edge, edges};
use room::register::Face;
use room::unfold::{Seam, Unfolded, seams};
use serde_json::{Value, json};

struct Folded {
    net: Unfolded,
    surface: Surface,
}

fn folded(room: Value) -> Folded {
    folded_by(room, |seam| seam.mirrored)
}

fn folded_by(room: Value, mirrored: impl Fn(&Seam) -> bool) -> Folded {
    let net = Unfolded::new(&serde_json::from_value(room).expect("a room"));
    let number = |face: &Face| net.faces().iter().position(|f| f.face == *face).expect("a face of the room");
    let shared = |seam: &Seam| SharedEdge {
        faces: [number(&seam.faces[0]), number(&seam.faces[1])],
        first_mm: seam.first_mm,
        second_mm: seam.second_mm,
        mirrored: mirrored(seam),
    };
    let surface = Surface::new(net.faces().len(), &seams(&net).iter().map(shared).collect::<Vec<_>>());
    Folded { net, surface }
}

impl Folded {
    fn on(&self, face: &Face, at: PointMm) -> On {
        On { face: self.net.faces().iter().position(|f| f.face == *face).expect("a face of the room"), at }
    }

    fn distance(&self, a: (&Face, PointMm), b: (&Face, PointMm)) -> f64 {
        let (p, q) = (self.on(a.0, a.1), self.on(b.0, b.1));
        let there = self.surface.distance(p, q);
        assert!((there - self.surface.distance(q, p)).abs() < 1e-6, "there and back");
        there
    }

    fn on_sheet(&self, a: (&Face, PointMm), b: (&Face, PointMm)) -> f64 {
        let at = |p: (&Face, PointMm)| self.net.to_sheet(p.0, p.1).expect("a place");
        apart(at(a), at(b))
    }

    fn in_space(&self, a: (&Face, PointMm), b: (&Face, PointMm)) -> f64 {
        let at = |p: (&Face, PointMm)| self.net.to_space(p.0, p.1).expect("a place");
        at(a).iter().zip(at(b)).map(|(x, y)| math::sq(x - y)).sum::<f64>().sqrt()
    }
}

fn apart(a: PointMm, b: PointMm) -> f64 {
    math::hypot(a[0] - b[0], a[1] - b[1])
}

fn wall(name: &str) -> Face {
    Face::Wall(name.into())
}

/// 3.0 x 2.0 m, 2.4 m high, without a door.
fn box_room() -> Value {
    json!({"format": "undertile room 1", "outline_mm": [[0, 0], [3000, 0], [3000, 2000], [0, 2000]], "height_mm": 2400})
}

/// The demo's plan with its recess: 2.35 x 1.70 m with a return of 300 mm beside the door.
fn l_room() -> Value {
    json!({
        "format": "undertile room 1",
        "outline_mm": [[0, 0], [2350, 0], [2350, 1700], [900, 1700], [900, 1400], [0, 1400]],
        "height_mm": 2400,
        "walls": [{"id": "south", "edge": 1}, {"id": "east", "edge": 2}, {"id": "north", "edge": 3}, {"id": "return", "edge": 4},
                  {"id": "door wall", "edge": 5}, {"id": "west", "edge": 6}],
        "openings": [{"id": "door", "kind": "door", "wall": "door wall", "from_mm": 60, "width_mm": 820, "height_mm": 2040}],
        "recesses": [{"id": "recess", "wall": "south", "from_mm": 1500, "sill_mm": 1100, "width_mm": 600, "height_mm": 300,
                      "depth_mm": 90}]
    })
}

#[test]
fn a_box_by_hand() {
    let room = folded(box_room());
    let (floor, south, east, west) = (Face::Floor, wall("w1"), wall("w2"), wall("w4"));
    let table = [
        ("up the wall", (&floor, [1000.0, 300.0]), (&south, [1000.0, 200.0]), 500.0),
        ("aslant: 400 along, 300 across", (&floor, [1000.0, 100.0]), (&south, [1400.0, 200.0]), 500.0),
        ("round the corner", (&south, [2900.0, 1000.0]), (&east, [200.0, 1000.0]), 300.0),
        ("round the corner and up: 300 across, 400 up", (&south, [2900.0, 1000.0]), (&east, [200.0, 1400.0]), 500.0),
        ("across the floor from wall to wall", (&east, [1000.0, 50.0]), (&west, [1000.0, 70.0]), 3120.0),
        ("over the floor's corner", (&south, [2000.0, 100.0]), (&east, [1000.0, 100.0]), 1100.0 * 2.0_f64.sqrt()),
    ];
    for (what, a, b, by_hand) in table {
        let way = room.distance(a, b);
        assert!((way - by_hand).abs() < 1e-6, "{what}: {way}, by hand {by_hand}");
    }
}

#[test]
fn the_l_shaped_room_by_hand() {
    let room = folded(l_room());
    let recess = |side: &str| Face::Recess("recess".into(), side.into());
    let (floor, south, stub, door) = (Face::Floor, wall("south"), wall("return"), wall("door wall"));
    let (sill, back, left, head) = (recess("sill"), recess("back"), recess("left"), recess("head"));
    let table = [
        // Round the corner into the room: 100 on the return, 15 on the door's wall.
        ("round a corner into the room", (&stub, [200.0, 1000.0]), (&door, [15.0, 1000.0]), 115.0),
        ("floor, wall, sill", (&floor, [1800.0, 200.0]), (&sill, [300.0, 40.0]), 200.0 + 1100.0 + 40.0),
        ("floor, wall, sill, back", (&floor, [1800.0, 200.0]), (&back, [300.0, 150.0]), 200.0 + 1100.0 + 90.0 + 150.0),
        ("wall, sill, back", (&south, [1800.0, 1000.0]), (&back, [300.0, 50.0]), 100.0 + 90.0 + 50.0),
        ("wall beside the recess, its side", (&south, [2150.0, 1250.0]), (&left, [40.0, 150.0]), 50.0 + 40.0),
        ("wall over the recess, its head", (&south, [1700.0, 1450.0]), (&head, [200.0, 30.0]), 50.0 + 30.0),
        ("sill to side, near their corner", (&sill, [560.0, 45.0]), (&left, [45.0, 30.0]), 40.0 + 30.0),
    ];
    for (what, a, b, by_hand) in table {
        let way = room.distance(a, b);
        assert!((way - by_hand).abs() < 1e-6, "{what}: {way}, by hand {by_hand}");
    }
    // In the doorway (60 to 880 of the door's wall) no membrane runs up: the way to what is above it goes round its nearer side.
    let (before, above) = ((&floor, [450.0, 1350.0]), (&door, [450.0, 2100.0]));
    let straight = 50.0 + 2100.0;
    let round: f64 = math::hypot(390.0, 50.0) + math::hypot(390.0, 2100.0);
    let way = room.distance(before, above);
    assert!(way > straight + 10.0 && (way - round).abs() < 1e-6, "{way}, by hand {round}");
}

#[test]
fn a_wall_laid_on_the_wrong_side_is_seen() {
    let (right, wrong) = (folded(box_room()), folded_by(box_room(), |seam| !seam.mirrored));
    let (a, b) = ((&Face::Floor, [1000.0, 300.0]), (&wall("w1"), [1000.0, 200.0]));
    assert!((right.distance(a, b) - right.on_sheet(a, b)).abs() < 1e-6);
    assert!((wrong.distance(a, b) - wrong.on_sheet(a, b)).abs() > 100.0);
}

/// Corners all round a middle at these distances: any angles, into the room and out of it.
fn star(radii: &[f64]) -> Vec<PointMm> {
    let step = 2.0 * std::f64::consts::PI / radii.len() as f64;
    radii.iter().enumerate().map(|(i, r)| [r * math::cos(i as f64 * step), r * math::sin(i as f64 * step)]).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// From floor to a wall that lies against it on the drawing: no further than on the drawing where the line crosses
    /// their edge, no nearer than through the air; square over the edge, with nothing else near, exactly as drawn.
    #[test]
    fn a_way_over_an_edge_is_as_long_as_on_the_drawing(
        radii in prop::collection::vec(1200.0..2500.0f64, 4..9), along in 0.05..0.95f64, aside in 0.05..0.95f64, off in 5.0..150.0f64,
        up in 5.0..400.0f64,
    ) {
        let outline = star(&radii);
        let room = folded(json!({"format": "undertile room 1", "outline_mm": outline, "height_mm": 2400}));
        for (i, side) in edges(&outline).iter().enumerate() {
            let face = wall(&format!("w{}", i + 1));
            let on_floor = side.at(along * side.length_mm(), -off);
            if !room::geometry::contains(&outline, on_floor, 0.0) || !room.net.face(&face).unwrap().attached {
                continue;
            }
            let clear = edges(&outline).iter().enumerate().filter(|(k, _)| *k != i).map(|(_, e)| Edge::distance_mm(e, on_floor)).fold(f64::INFINITY, f64::min);
            let square = ((&Face::Floor, on_floor), (&face, [along * side.length_mm(), up]));
            if clear > off + up {
                let way = room.distance(square.0, square.1);
                prop_assert!((way - off - up).abs() < 1e-6, "{way} for {}", off + up);
            }
            let aslant = ((&Face::Floor, on_floor), (&face, [aside * side.length_mm(), up]));
            let (way, drawn) = (room.distance(aslant.0, aslant.1), room.on_sheet(aslant.0, aslant.1));
            prop_assert!(way <= drawn + 1e-6 && way >= room.in_space(aslant.0, aslant.1) - 1e-6, "{way}, drawn {drawn}");
            if clear > drawn {
                prop_assert!((way - drawn).abs() < 1e-6, "{way}, drawn {drawn}");
            }
        }
    }
}
