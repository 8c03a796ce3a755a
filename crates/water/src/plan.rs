//! Points, lines and outlines on plan.

use measure::PointMm;

/// The nearest point of a segment, and how far it is.
pub fn nearest_on_segment(p: PointMm, a: PointMm, b: PointMm) -> (PointMm, f64) {
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let length2 = dx * dx + dy * dy;
    let t = if length2 > 0.0 { (((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / length2).clamp(0.0, 1.0) } else { 0.0 };
    let q = [a[0] + t * dx, a[1] + t * dy];
    (q, distance(p, q))
}

/// Distance between two points.
pub fn distance(a: PointMm, b: PointMm) -> f64 {
    let (dx, dy) = (a[0] - b[0], a[1] - b[1]);
    (dx * dx + dy * dy).sqrt()
}

/// The unit vector from `a` to `b`; `None` when they are the same point.
pub fn direction(a: PointMm, b: PointMm) -> Option<PointMm> {
    let length = distance(a, b);
    (length > 0.0).then(|| [(b[0] - a[0]) / length, (b[1] - a[1]) / length])
}

/// Twice the signed area of a triangle, positive when it turns left.
pub fn turn(a: PointMm, b: PointMm, c: PointMm) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

/// The edges of a closed outline.
pub fn edges(outline: &[PointMm]) -> impl Iterator<Item = (PointMm, PointMm)> + '_ {
    (0..outline.len()).map(|i| (outline[i], outline[(i + 1) % outline.len()]))
}

/// Area inside an outline, positive when its corners go counter-clockwise.
pub fn signed_area_mm2(outline: &[PointMm]) -> f64 {
    // From the first corner, so that a room far from the origin keeps its digits.
    let Some(&o) = outline.first() else { return 0.0 };
    edges(outline).map(|(a, b)| turn(o, a, b)).sum::<f64>() / 2.0
}

/// Whether a point lies inside an outline (even-odd rule; a point on an edge may fall either way).
pub fn contains(outline: &[PointMm], [x, y]: PointMm) -> bool {
    edges(outline).filter(|(a, b)| (a[1] > y) != (b[1] > y) && x < a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0])).count() % 2 == 1
}

/// Distance to the nearest edge of an outline.
pub fn distance_to_edges(outline: &[PointMm], p: PointMm) -> f64 {
    edges(outline).map(|(a, b)| nearest_on_segment(p, a, b).1).fold(f64::INFINITY, f64::min)
}

/// How far a point lies outside an outline; 0 inside and on it.
pub fn distance_outside(outline: &[PointMm], p: PointMm) -> f64 {
    if contains(outline, p) { 0.0 } else { distance_to_edges(outline, p) }
}

/// Whether two segments have a point in common.
pub fn segments_meet(a: PointMm, b: PointMm, c: PointMm, d: PointMm) -> bool {
    let (abc, abd, cda, cdb) = (turn(a, b, c), turn(a, b, d), turn(c, d, a), turn(c, d, b));
    if ((abc > 0.0 && abd < 0.0) || (abc < 0.0 && abd > 0.0)) && ((cda > 0.0 && cdb < 0.0) || (cda < 0.0 && cdb > 0.0)) {
        return true;
    }
    let on = |p: PointMm, a: PointMm, b: PointMm, side: f64| {
        side == 0.0 && p[0] >= a[0].min(b[0]) && p[0] <= a[0].max(b[0]) && p[1] >= a[1].min(b[1]) && p[1] <= a[1].max(b[1])
    };
    on(c, a, b, abc) || on(d, a, b, abd) || on(a, c, d, cda) || on(b, c, d, cdb)
}

/// The smallest box around some points, as lower left and upper right corner; `None` without points.
pub fn bounds(points: &[PointMm]) -> Option<(PointMm, PointMm)> {
    let first = *points.first()?;
    Some(points.iter().fold((first, first), |(lo, hi), p| ([lo[0].min(p[0]), lo[1].min(p[1])], [hi[0].max(p[0]), hi[1].max(p[1])])))
}

/// A unit vector from degrees, 0 along +x, counter-clockwise.
pub fn unit_from_degrees(degrees: f64) -> PointMm {
    // Quarter turns exactly, so that a room turned by 90 degrees gives the same digits.
    let quarter = degrees.rem_euclid(360.0);
    for (at, unit) in [(0.0, [1.0, 0.0]), (90.0, [0.0, 1.0]), (180.0, [-1.0, 0.0]), (270.0, [0.0, -1.0])] {
        if quarter == at {
            return unit;
        }
    }
    let (sin, cos) = measure::math::sincos(degrees.to_radians());
    [cos, sin]
}

/// Direction of a vector in degrees, 0 to 360, 0 along +x, counter-clockwise.
pub fn degrees_of([x, y]: PointMm) -> f64 {
    let degrees = measure::math::atan2(y, x).to_degrees();
    if degrees < 0.0 { degrees + 360.0 } else { degrees }
}

/// Where an outline crosses itself or touches itself away from its corners: pairs of edges, numbered from their first
/// corner; at most `most` of them.
pub fn self_crossings(outline: &[PointMm], most: usize) -> Vec<(usize, usize)> {
    let n = outline.len();
    let edge = |i: usize| (outline[i], outline[(i + 1) % n]);
    let mut found = Vec::new();
    for i in 0..n {
        for j in i + 1..n {
            let (a, b) = edge(i);
            let (c, d) = edge(j);
            let crossing = if j == i + 1 {
                folds_back(a, b, d)
            } else if i == 0 && j == n - 1 {
                folds_back(c, a, b)
            } else {
                segments_meet(a, b, c, d)
            };
            if crossing {
                found.push((i, j));
                if found.len() == most {
                    return found;
                }
            }
        }
    }
    found
}

/// Whether the path a, b, c turns right round on itself at b.
fn folds_back(a: PointMm, b: PointMm, c: PointMm) -> bool {
    turn(a, b, c) == 0.0 && (b[0] - a[0]) * (c[0] - b[0]) + (b[1] - a[1]) * (c[1] - b[1]) < 0.0
}
