//! Where the faces of an unfolded room meet in the room itself.

use super::{FaceOnSheet, Unfolded};
use crate::geometry::{Edge, ROUNDING_MM, SAME_CORNER_MM, edges};
use crate::register::Face;
use measure::{PointMm, math};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A piece of edge two faces share: a membrane runs over it from one to the other.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Seam {
    /// The two faces.
    pub faces: [Face; 2],
    /// Its two ends in the coordinates of the first face.
    pub first_mm: [PointMm; 2],
    /// The same two ends, in the same order, in the coordinates of the second.
    pub second_mm: [PointMm; 2],
    /// Whether one face has its coordinates as seen from inside the room and the other as seen from behind: floor against
    /// wall, say, since a wall is measured along the outline, from right to left for someone inside.
    pub mirrored: bool,
}

/// Every edge at which two faces of the room meet: wall and wall at corners into the room and out of it, wall and floor,
/// the faces of a recess with the wall and with each other. Where walls differ in height, up to the lower one.
///
/// A door cuts the edge of wall and floor below it, and any opening what it leaves no wall at: no membrane runs over there.
/// A recess that stands on the floor meets the floor.
pub fn seams(room: &Unfolded) -> Vec<Seam> {
    let pieces: Vec<Vec<Piece>> = room.faces().iter().map(pieces).collect();
    let mut seams = Vec::new();
    for (i, first) in room.faces().iter().enumerate() {
        for (j, second) in room.faces().iter().enumerate().skip(i + 1) {
            for (a, b) in pieces[i].iter().flat_map(|a| pieces[j].iter().map(move |b| (a, b))) {
                let Some((first_mm, second_mm)) = a.shared(b) else { continue };
                let mirrored = first.frame.seen_from_behind() != second.frame.seen_from_behind();
                seams.push(Seam { faces: [first.face.clone(), second.face.clone()], first_mm, second_mm, mirrored });
            }
        }
    }
    seams
}

/// A piece of a face's rim, on the face and in the room.
struct Piece {
    local: Edge,
    space: [[f64; 3]; 2],
}

/// The rim of what a face has of surface: its outline and the mouths in it. Where an opening reaches the outline, surface
/// ends on neither.
fn pieces(face: &FaceOnSheet) -> Vec<Piece> {
    let rings = std::iter::once(&face.polygon_mm).chain(&face.holes_mm);
    let rim: Vec<Edge> = rings
        .flat_map(|ring| edges(ring))
        .map(|edge| Edge { from: face.frame.local_of(edge.from), to: face.frame.local_of(edge.to) })
        .collect();
    let mut pieces = Vec::new();
    for (i, edge) in rim.iter().enumerate() {
        let others = rim.iter().enumerate().filter(|(j, _)| *j != i).map(|(_, other)| other);
        for [from, to] in left_of(edge, others) {
            let local = Edge { from: edge.at(from, 0.0), to: edge.at(to, 0.0) };
            pieces.push(Piece { local, space: [face.frame.to_space(local.from), face.frame.to_space(local.to)] });
        }
    }
    pieces
}

/// The parts of an edge, as ways along it, on which none of the others lies.
fn left_of<'a>(edge: &Edge, others: impl Iterator<Item = &'a Edge>) -> Vec<[f64; 2]> {
    let mut left = vec![[0.0, edge.length_mm()]];
    for other in others {
        let [a, b] = [edge.local(other.from), edge.local(other.to)];
        if a[1].abs() > ROUNDING_MM || b[1].abs() > ROUNDING_MM {
            continue;
        }
        let (lo, hi) = (a[0].min(b[0]), a[0].max(b[0]));
        left = left.into_iter().flat_map(|[from, to]| [[from, to.min(lo)], [from.max(hi), to]]).collect();
        left.retain(|[from, to]| to - from > SAME_CORNER_MM);
    }
    left
}

impl Piece {
    /// The stretch two pieces share, in the coordinates of each.
    fn shared(&self, other: &Self) -> Option<([PointMm; 2], [PointMm; 2])> {
        let length = self.local.length_mm();
        let [a, b] = self.space;
        let unit: [f64; 3] = std::array::from_fn(|k| (b[k] - a[k]) / length);
        let along = |p: [f64; 3]| (0..3).map(|k| (p[k] - a[k]) * unit[k]).sum::<f64>();
        let off = |p: [f64; 3], way: f64| (0..3).map(|k| math::sq(p[k] - a[k] - way * unit[k])).sum::<f64>().sqrt();
        let [from, to] = other.space.map(along);
        if off(other.space[0], from) > ROUNDING_MM || off(other.space[1], to) > ROUNDING_MM {
            return None;
        }
        let (lo, hi) = (from.min(to).max(0.0), from.max(to).min(length));
        if hi - lo <= SAME_CORNER_MM {
            return None;
        }
        let on_other = |way: f64| other.local.at(if to > from { way - from } else { from - way }, 0.0);
        Some(([lo, hi].map(|way| self.local.at(way, 0.0)), [lo, hi].map(on_other)))
    }
}

#[cfg(test)]
mod tests;
