//! Invented coat logs and photographs of strokes.

use super::{Made, chance};
use drawing::{CoatLaid, CoatWay, CoatsOnRoom, Scene, StrokeTile, StrokesOnRoom};
use measure::PointMm;
use room::geometry::{extent, rectangle};
use room::nouns::MembraneLayer;
use room::register::{Detail, DetailKind, Face, Place};
use room::unfold::Unfolded;

/// Two coats on floor and shower walls; the second misses the recess, a junction and a strip of one wall.
pub fn sheets(made: &Made, scene: &Scene) -> Vec<(String, String)> {
    let upper = |d: &&Detail| d.layer.is_none_or(|l| l == MembraneLayer::OverScreed);
    let coated = |kinds: &[DetailKind]| -> Vec<(Face, Place)> {
        let of = made.details.iter().filter(upper).filter(|d| kinds.contains(&d.kind));
        of.map(|d| (d.face.clone(), d.place.clone())).collect()
    };
    let fields = [DetailKind::FloorField, DetailKind::WallField, DetailKind::RecessFace, DetailKind::WallFloorJunction];
    let first = coated(&fields);
    let mut second = coated(&fields[..2]);
    let mut lacks = coated(&fields[2..3]);
    lacks.extend(coated(&fields[3..]).into_iter().take(1));
    if let Some((face, Place::Patch(patch))) = second.pop()
        && let Some([lo, hi]) = patch.first().and_then(|polygon| extent(&polygon[0]))
    {
        let part = lo[0] + 0.6 * (hi[0] - lo[0]);
        second.push((face.clone(), Place::Patch(vec![vec![rectangle(lo, [part, hi[1]])]])));
        lacks.push((face, Place::Patch(vec![vec![rectangle([part, lo[1]], hi)]])));
    }
    let both = [
        CoatLaid { number: 1, words: "26 Feb 2024, grey, stated by R. Okafor", way: CoatWay::Along, covers: &first, lacks: &[] },
        CoatLaid { number: 2, words: "27 Feb 2024, blue, stated by R. Okafor", way: CoatWay::Across, covers: &second, lacks: &lacks },
    ];
    let not_noted = both.map(|coat| CoatLaid { way: CoatWay::NotNoted, lacks: &[], ..coat });
    let net = Unfolded::new(&made.room);
    let tiles = tiles(&net);
    let looked: Vec<StrokeTile> = tiles
        .iter()
        .map(|(face, corners_mm, directions)| StrokeTile {
            face,
            corners_mm: *corners_mm,
            directions,
            junction: corners_mm[0][0] == 0.0,
            words: "as of a coat laid across another",
        })
        .collect();
    let coats = |id, coats| drawing::coats(scene, &CoatsOnRoom { id, words: "upper membrane", coats });
    let strokes = |id, tiles| drawing::strokes(scene, &StrokesOnRoom { id, words: "upper membrane, 3 photographs", tiles, notes: &[] });
    [
        ("coats", coats("coats", &both)),
        ("coats-not-noted", coats("coats-not-noted", &not_noted)),
        ("coats-none", coats("coats-none", &[])),
        ("strokes", strokes("strokes", &looked)),
        ("strokes-none", strokes("strokes-none", &[])),
    ]
    .into_iter()
    .map(|(name, svg)| (name.to_owned(), svg))
    .collect()
}

type Tile = (Face, [PointMm; 4], Vec<f64>);

/// Tiles of 200 mm over part of the floor and part of the first two walls: two directions, one beside a wall, none under a lamp.
fn tiles(net: &Unfolded) -> Vec<Tile> {
    let mut tiles = Vec::new();
    for face in net.faces().iter().take(3) {
        let own: Vec<PointMm> = face.polygon_mm.iter().filter_map(|p| net.on_face(&face.face, *p)).collect();
        let Some([lo, hi]) = extent(&own) else { continue };
        let size = [0, 1].map(|k| ((0.7 * (hi[k] - lo[k]) / 200.0) as usize).min(8));
        for (i, j) in (0..size[1]).flat_map(|j| (0..size[0]).map(move |i| (i, j))) {
            let from = [lo[0] + 200.0 * i as f64, lo[1] + 200.0 * j as f64];
            let corner = |dx: f64, dy: f64| [from[0] + dx, from[1] + dy];
            let wobble = 0.3 * (chance(&format!("{:?}{i}{j}", face.face), 1) - 0.5);
            let directions = match (i + 2 * j) % 7 {
                3 => vec![],
                5 => vec![0.2 + wobble],
                _ => vec![wobble, 1.57 + wobble],
            };
            tiles.push((face.face.clone(), [corner(0.0, 0.0), corner(200.0, 0.0), corner(200.0, 200.0), corner(0.0, 200.0)], directions));
        }
    }
    tiles
}
