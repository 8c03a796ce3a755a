//! The little plane geometry that sampling needs.

use measure::{PointMm, math};

/// Area of a ring in square millimetres, whichever way round it runs.
pub(crate) fn area(ring: &[PointMm]) -> f64 {
    0.5 * edges(ring).map(|(a, b)| a[0] * b[1] - b[0] * a[1]).sum::<f64>().abs()
}

/// Whether a place lies inside.
pub(crate) fn inside(ring: &[PointMm], p: PointMm) -> bool {
    edges(ring).filter(|(a, b)| (a[1] > p[1]) != (b[1] > p[1]) && p[0] < a[0] + (p[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0])).count() % 2
        == 1
}

/// How far a place is from the nearest edge.
pub(crate) fn from_edge(ring: &[PointMm], p: PointMm) -> f64 {
    edges(ring).map(|(a, b)| from_segment(p, a, b)).fold(f64::INFINITY, f64::min)
}

/// Lower left and upper right corner.
pub(crate) fn extent(ring: &[PointMm]) -> [PointMm; 2] {
    ring.iter().fold([[f64::INFINITY; 2], [f64::NEG_INFINITY; 2]], |[lo, hi], p| {
        [[lo[0].min(p[0]), lo[1].min(p[1])], [hi[0].max(p[0]), hi[1].max(p[1])]]
    })
}

fn edges(ring: &[PointMm]) -> impl Iterator<Item = (PointMm, PointMm)> + '_ {
    ring.iter().zip(ring.iter().cycle().skip(1)).map(|(a, b)| (*a, *b))
}

fn from_segment(p: PointMm, a: PointMm, b: PointMm) -> f64 {
    let along = [b[0] - a[0], b[1] - a[1]];
    let length2 = math::sq(along[0]) + math::sq(along[1]);
    let t = if length2 > 0.0 { (((p[0] - a[0]) * along[0] + (p[1] - a[1]) * along[1]) / length2).clamp(0.0, 1.0) } else { 0.0 };
    distance(p, [a[0] + t * along[0], a[1] + t * along[1]])
}

/// Straight distance.
pub(crate) fn distance(a: PointMm, b: PointMm) -> f64 {
    (math::sq(a[0] - b[0]) + math::sq(a[1] - b[1])).sqrt()
}
