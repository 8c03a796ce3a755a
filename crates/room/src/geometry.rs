//! Plan geometry: edges, corners, areas and what lies where. Millimetres throughout.
//!
//! Areas are cut and joined with the `geo` crate, whose boolean operations work on a fixed grid: over a room of 10 m it is
//! finer than 0.00002 mm. [`tidy`] puts cut corners back on the coordinates they came from and drops slivers.

use crate::nouns::{Room, Zone};
use geo::line_intersection::{LineIntersection, line_intersection};
use geo::{Area, Coord, Line, LineString, MultiPolygon, Polygon};
use measure::{PointMm, bounds, math};

/// Two corners closer than this are one corner.
pub const SAME_CORNER_MM: f64 = 1.0;
/// Drawn this near to a wall is drawn at the wall.
pub const AT_WALL_MM: f64 = 10.0;
/// Rounding that cutting leaves behind; no tape shows it.
pub const ROUNDING_MM: f64 = 1e-3;
/// A piece of area smaller than this is rounding.
const SLIVER_MM2: f64 = 1.0;
/// Sides of the polygon that stands for a circle.
const CIRCLE_SIDES: usize = 32;
/// A corner whose direction changes by less than this (as a sine) is straight: half a degree.
const STRAIGHT_SINE: f64 = 0.0087;

/// A straight edge of a ring, or a piece of a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Edge {
    /// First end.
    pub from: PointMm,
    /// Second end.
    pub to: PointMm,
}

impl Edge {
    /// Its length.
    pub fn length_mm(&self) -> f64 {
        distance_mm(self.from, self.to)
    }

    /// Unit vector from the first end to the second; zero for an edge without length.
    pub fn along(&self) -> [f64; 2] {
        let length = self.length_mm();
        if length == 0.0 { [0.0, 0.0] } else { [(self.to[0] - self.from[0]) / length, (self.to[1] - self.from[1]) / length] }
    }

    /// Unit normal to the right of the edge: away from the room when the outline runs counter-clockwise.
    pub fn outward(&self) -> [f64; 2] {
        let [x, y] = self.along();
        [y, -x]
    }

    /// The place `along_mm` from the first end and `out_mm` to the right.
    pub fn at(&self, along_mm: f64, out_mm: f64) -> PointMm {
        let ([ax, ay], [ox, oy]) = (self.along(), self.outward());
        [self.from[0] + along_mm * ax + out_mm * ox, self.from[1] + along_mm * ay + out_mm * oy]
    }

    /// How far along the edge and how far to its right a place lies: the inverse of [`Edge::at`].
    pub fn local(&self, p: PointMm) -> [f64; 2] {
        let ([ax, ay], [ox, oy]) = (self.along(), self.outward());
        let [dx, dy] = [p[0] - self.from[0], p[1] - self.from[1]];
        [dx * ax + dy * ay, dx * ox + dy * oy]
    }

    /// Distance of a place from the edge.
    pub fn distance_mm(&self, p: PointMm) -> f64 {
        let along = self.local(p)[0].max(0.0).min(self.length_mm());
        distance_mm(self.at(along, 0.0), p)
    }

    /// Where two edges meet, if they do: at one place, or (for edges on one line) at the first place they share.
    pub fn crossing(&self, other: &Edge) -> Option<PointMm> {
        match line_intersection(self.line(), other.line())? {
            LineIntersection::SinglePoint { intersection, .. } => Some([intersection.x, intersection.y]),
            LineIntersection::Collinear { intersection } => Some([intersection.start.x, intersection.start.y]),
        }
    }

    fn line(&self) -> Line<f64> {
        Line::new(coord(self.from), coord(self.to))
    }
}

fn coord(p: PointMm) -> Coord<f64> {
    Coord { x: p[0], y: p[1] }
}

/// Distance between two places.
pub fn distance_mm(a: PointMm, b: PointMm) -> f64 {
    math::hypot(b[0] - a[0], b[1] - a[1])
}

/// The edges of a ring in order, the closing one last.
pub fn edges(ring: &[PointMm]) -> Vec<Edge> {
    (0..ring.len()).map(|i| Edge { from: ring[i], to: ring[(i + 1) % ring.len()] }).collect()
}

/// The pieces of an open line in order.
pub fn pieces(line: &[PointMm]) -> Vec<Edge> {
    line.windows(2).map(|w| Edge { from: w[0], to: w[1] }).collect()
}

/// Length of an open line.
pub fn line_length_mm(line: &[PointMm]) -> f64 {
    pieces(line).iter().map(Edge::length_mm).sum()
}

/// The place a given way along an open line, held to its ends; `None` for a line without points.
pub fn along_line(line: &[PointMm], along_mm: f64) -> Option<PointMm> {
    let mut left = along_mm.max(0.0);
    for piece in pieces(line) {
        let length = piece.length_mm();
        if left <= length {
            return Some(piece.at(left, 0.0));
        }
        left -= length;
    }
    line.last().copied()
}

/// The part of an open line between two ways along it, its corners kept.
pub fn part_of_line(line: &[PointMm], from: f64, to: f64) -> Vec<PointMm> {
    let mut out: Vec<PointMm> = along_line(line, from).into_iter().collect();
    let mut at = 0.0;
    for piece in pieces(line) {
        at += piece.length_mm();
        if at > from + 1e-6 && at < to - 1e-6 {
            out.push(piece.to);
        }
    }
    out.extend(along_line(line, to));
    out
}

/// Area of a ring, positive when it runs counter-clockwise.
pub fn signed_area_mm2(ring: &[PointMm]) -> f64 {
    let Some(&origin) = ring.first() else { return 0.0 };
    let twice: f64 =
        edges(ring).iter().map(|e| (e.from[0] - origin[0]) * (e.to[1] - origin[1]) - (e.to[0] - origin[0]) * (e.from[1] - origin[1])).sum();
    twice / 2.0
}

/// Smallest and largest x and y of some places: `[[x, y], [x, y]]`; `None` without places.
pub fn extent(points: &[PointMm]) -> Option<[PointMm; 2]> {
    let first = *points.first()?;
    Some(points.iter().fold([first, first], |[lo, hi], p| [[lo[0].min(p[0]), lo[1].min(p[1])], [hi[0].max(p[0]), hi[1].max(p[1])]]))
}

/// Distance of a place from the nearest edge of a ring.
pub fn distance_to_ring_mm(ring: &[PointMm], p: PointMm) -> f64 {
    edges(ring).iter().map(|e| e.distance_mm(p)).fold(f64::INFINITY, f64::min)
}

/// Whether corners can be worked with at all: three to [`bounds::CORNERS`] of them, each a place on a plan.
pub fn is_floor(ring: &[PointMm]) -> bool {
    (3..=bounds::CORNERS).contains(&ring.len()) && ring.iter().flatten().all(|v| bounds::PLAN_MM.contains(*v))
}

/// Whether a place lies inside a ring or no further than `tolerance_mm` outside it. Even-odd, so it also answers for a
/// ring that crosses itself.
pub fn contains(ring: &[PointMm], p: PointMm, tolerance_mm: f64) -> bool {
    let inside = edges(ring)
        .iter()
        .filter(|e| (e.from[1] > p[1]) != (e.to[1] > p[1]))
        .filter(|e| p[0] < e.from[0] + (p[1] - e.from[1]) / (e.to[1] - e.from[1]) * (e.to[0] - e.from[0]))
        .count()
        % 2
        == 1;
    inside || distance_to_ring_mm(ring, p) <= tolerance_mm
}

/// First place of a line that lies further than `tolerance_mm` outside a ring; looks at its corners and between every two
/// crossings with the ring.
pub fn leaves(ring: &[PointMm], line: &[PointMm], tolerance_mm: f64) -> Option<PointMm> {
    let sides = edges(ring);
    let outside = |p: &PointMm| !contains(ring, *p, tolerance_mm);
    if let Some(p) = line.iter().find(|p| outside(p)) {
        return Some(*p);
    }
    for piece in pieces(line) {
        let mut stops: Vec<f64> = sides.iter().filter_map(|s| piece.crossing(s)).map(|p| piece.local(p)[0]).collect();
        stops.extend([0.0, piece.length_mm()]);
        stops.sort_by(f64::total_cmp);
        if let Some(p) = stops.windows(2).map(|w| piece.at((w[0] + w[1]) / 2.0, 0.0)).find(|p| outside(p)) {
            return Some(p);
        }
    }
    None
}

/// How two walls meet at a corner of the floor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Corner {
    /// Points away from the room: less than half a turn inside.
    Internal,
    /// Points into the room: more than half a turn inside.
    External,
    /// The two walls are in line.
    Straight,
}

/// The corner where edge `i` of a counter-clockwise outline ends and the next begins.
pub fn corner_after(outline: &[PointMm], i: usize) -> Corner {
    let sides = edges(outline);
    let (a, b) = (sides[i].along(), sides[(i + 1) % sides.len()].along());
    let sine = a[0] * b[1] - a[1] * b[0];
    if sine.abs() <= STRAIGHT_SINE {
        Corner::Straight
    } else if sine > 0.0 {
        Corner::Internal
    } else {
        Corner::External
    }
}

/// The wettest zone whose polygon holds the place; `None` on floor outside all of them.
pub fn zone_at(room: &Room, p: PointMm) -> Option<&Zone> {
    room.zones.iter().filter(|z| contains(&z.polygon_mm, p, ROUNDING_MM)).min_by_key(|z| z.kind)
}

/// A ring as an area.
pub fn area_of(ring: &[PointMm]) -> MultiPolygon<f64> {
    MultiPolygon(vec![Polygon::new(LineString(ring.iter().map(|p| coord(*p)).collect()), vec![])])
}

/// A rectangle between two corners.
pub fn rectangle(lo: PointMm, hi: PointMm) -> Vec<PointMm> {
    vec![lo, [hi[0], lo[1]], hi, [lo[0], hi[1]]]
}

/// A regular polygon with the area of the circle, so that areas come out exact and outlines nearly so (0.2 %).
pub fn circle(centre: PointMm, radius_mm: f64) -> Vec<PointMm> {
    let step = 2.0 * std::f64::consts::PI / CIRCLE_SIDES as f64;
    let radius = radius_mm * (step / math::sin(step)).sqrt();
    (0..CIRCLE_SIDES)
        .map(|i| {
            let angle = (i as f64 + 0.5) * step;
            [centre[0] + radius * math::cos(angle), centre[1] + radius * math::sin(angle)]
        })
        .collect()
}

/// A line moved sideways, to its left for a positive distance, its corners mitred. Lines of fewer than two points come
/// back as they are.
pub fn beside(line: &[PointMm], left_mm: f64) -> Vec<PointMm> {
    let normals: Vec<[f64; 2]> = pieces(line).iter().map(|e| e.outward()).collect();
    if normals.is_empty() {
        return line.to_vec();
    }
    line.iter()
        .enumerate()
        .map(|(i, p)| {
            let (a, b) = (normals[i.saturating_sub(1).min(normals.len() - 1)], normals[i.min(normals.len() - 1)]);
            let reach = (1.0 + a[0] * b[0] + a[1] * b[1]).max(0.2);
            [p[0] - left_mm * (a[0] + b[0]) / reach, p[1] - left_mm * (a[1] + b[1]) / reach]
        })
        .collect()
}

/// The footprint of a line of some width, square at its ends.
pub fn band(line: &[PointMm], width_mm: f64) -> Vec<PointMm> {
    let mut ring = beside(line, -width_mm / 2.0);
    ring.extend(beside(line, width_mm / 2.0).into_iter().rev());
    ring
}

/// Area of what cutting and joining gave.
pub fn area_mm2(area: &MultiPolygon<f64>) -> f64 {
    area.unsigned_area()
}

/// What cutting gave, as rings (each polygon its outer ring, then its holes), put back on the coordinates it came from and
/// without slivers.
pub fn tidy(area: &MultiPolygon<f64>, from: &[PointMm]) -> Vec<Vec<Vec<PointMm>>> {
    let sorted = |axis: usize| {
        let mut values: Vec<f64> = from.iter().map(|p| p[axis]).collect();
        values.sort_by(f64::total_cmp);
        values
    };
    let known = [sorted(0), sorted(1)];
    let ring = |line: &LineString<f64>| -> Vec<PointMm> {
        let mut points: Vec<PointMm> = line.0.iter().map(|c| [snapped(c.x, &known[0]), snapped(c.y, &known[1])]).collect();
        points.dedup();
        if points.len() > 1 && points.first() == points.last() {
            points.pop();
        }
        points
    };
    area.0
        .iter()
        .filter(|p| p.unsigned_area() >= SLIVER_MM2)
        .map(|p| {
            let holes = p.interiors().iter().map(&ring).filter(|hole| signed_area_mm2(hole).abs() >= SLIVER_MM2);
            std::iter::once(ring(p.exterior())).chain(holes).collect()
        })
        .collect()
}

/// What is left of a ring when others are cut out of it: outer rings only, each a piece by itself.
pub fn without(ring: &[PointMm], cut_out: &[&[PointMm]]) -> Vec<Vec<PointMm>> {
    let mut rest = area_of(ring);
    let mut corners = ring.to_vec();
    for cut in cut_out {
        rest = geo::BooleanOps::difference(&rest, &area_of(cut));
        corners.extend_from_slice(cut);
    }
    tidy(&rest, &corners).into_iter().filter_map(|polygon| polygon.into_iter().next()).collect()
}

/// The known coordinate within rounding of a value, else the value.
fn snapped(value: f64, known: &[f64]) -> f64 {
    let after = known.partition_point(|k| *k < value);
    let near = known[after.saturating_sub(1)..known.len().min(after + 1)].iter().copied();
    near.min_by(|a, b| (a - value).abs().total_cmp(&(b - value).abs())).filter(|k| (k - value).abs() <= ROUNDING_MM).unwrap_or(value)
}

/// Area of a patch of rings as [`tidy`] gives them.
pub fn patch_area_mm2(patch: &[Vec<Vec<PointMm>>]) -> f64 {
    patch
        .iter()
        .map(|polygon| {
            let of = |ring: &Vec<PointMm>| signed_area_mm2(ring).abs();
            polygon.first().map_or(0.0, of) - polygon.iter().skip(1).map(of).sum::<f64>()
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::BooleanOps;

    #[test]
    fn a_waste_keeps_the_area_of_its_circle() {
        let area = signed_area_mm2(&circle([700.0, 400.0], 50.0));
        assert!((area - std::f64::consts::PI * 2500.0).abs() < 1e-6, "{area}");
    }

    #[test]
    fn a_bent_channel_keeps_its_width_round_the_bend() {
        let ring = band(&[[0.0, 0.0], [1000.0, 0.0], [1000.0, 500.0]], 70.0);
        // by hand: two arms of 70, mitred: (1000 + 500) * 70
        assert!((signed_area_mm2(&ring) - 105_000.0).abs() < 1e-6);
    }

    #[test]
    fn cut_corners_go_back_to_the_coordinates_they_came_from() {
        let (a, b) = (rectangle([0.0, 0.0], [2350.0, 1700.0]), rectangle([1200.1, 800.3], [3000.0, 3000.0]));
        let known: Vec<PointMm> = a.iter().chain(&b).copied().collect();
        let cut = tidy(&area_of(&a).difference(&area_of(&b)), &known);
        assert_eq!(cut.len(), 1);
        assert!(cut[0][0].contains(&[1200.1, 800.3]) && cut[0][0].contains(&[2350.0, 800.3]), "{cut:?}");
    }

    #[test]
    fn a_line_across_a_notch_leaves_the_floor_between_its_ends() {
        let u = [
            [0.0, 0.0],
            [3000.0, 0.0],
            [3000.0, 2000.0],
            [2000.0, 2000.0],
            [2000.0, 1000.0],
            [1000.0, 1000.0],
            [1000.0, 2000.0],
            [0.0, 2000.0],
        ];
        assert_eq!(leaves(&u, &[[500.0, 500.0], [2500.0, 500.0]], 5.0), None);
        assert!(leaves(&u, &[[500.0, 1500.0], [2500.0, 1500.0]], 5.0).is_some());
    }
}
