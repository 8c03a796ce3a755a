//! The walls of a grid that came without an outline.

use crate::grid::Grid;
use crate::plan;
use measure::PointMm;
use std::collections::BTreeMap;

/// Corners of the floor's outer edge, counter-clockwise: the largest loop around floor cells, with the steps of the cells
/// straightened out. Columns and other holes are left out.
pub fn outline(grid: &Grid) -> Vec<PointMm> {
    let loops = loops(grid);
    let steps = loops.into_iter().max_by(|a, b| plan::signed_area_mm2(a).total_cmp(&plan::signed_area_mm2(b))).unwrap_or_default();
    let corners = straighten(&steps, 1.1 * grid.cell_mm);
    // What is left of the steps along a wall that stands askew is no real corner.
    let hull = hull(&corners);
    if plan::signed_area_mm2(&hull) < 1.01 * plan::signed_area_mm2(&corners) { hull } else { corners }
}

/// Closed loops of cell edges with floor on their left.
fn loops(grid: &Grid) -> Vec<Vec<PointMm>> {
    let (nx, ny) = (grid.nx as isize, grid.ny as isize);
    let floor = |i: isize, j: isize| i >= 0 && j >= 0 && i < nx && j < ny && grid.is_floor((j * nx + i) as usize);
    let mut next: BTreeMap<(isize, isize), Vec<(isize, isize)>> = BTreeMap::new();
    for j in 0..ny {
        for i in (0..nx).filter(|&i| floor(i, j)) {
            for (there, from, to) in [
                ((i, j - 1), (i, j), (i + 1, j)),
                ((i + 1, j), (i + 1, j), (i + 1, j + 1)),
                ((i, j + 1), (i + 1, j + 1), (i, j + 1)),
                ((i - 1, j), (i, j + 1), (i, j)),
            ] {
                if !floor(there.0, there.1) {
                    next.entry(from).or_default().push(to);
                }
            }
        }
    }
    let place = |(i, j): (isize, isize)| [grid.x0_mm + (i as f64 - 0.5) * grid.cell_mm, grid.y0_mm + (j as f64 - 0.5) * grid.cell_mm];
    let mut loops = Vec::new();
    while let Some((&start, _)) = next.first_key_value() {
        let mut at = start;
        let mut corners = Vec::new();
        while let Some(ways) = next.get_mut(&at) {
            corners.push(place(at));
            let to = ways.pop().expect("an entry with no way left is removed");
            if ways.is_empty() {
                next.remove(&at);
            }
            at = to;
        }
        loops.push(corners);
    }
    loops
}

/// Drops points that lie within `tolerance` of the line between those kept (Douglas and Peucker 1973; from memory).
fn straighten(points: &[PointMm], tolerance: f64) -> Vec<PointMm> {
    if points.len() < 4 {
        return points.to_vec();
    }
    let farthest = |from: PointMm| {
        (0..points.len()).max_by(|&a, &b| plan::distance(points[a], from).total_cmp(&plan::distance(points[b], from))).unwrap_or(0)
    };
    // The point farthest from any point is a corner of the hull, and so is the one farthest from that.
    let first = farthest(points[0]);
    let turned: Vec<PointMm> = points[first..].iter().chain(&points[..=first]).copied().collect();
    let second = (0..turned.len())
        .max_by(|&a, &b| plan::distance(turned[a], turned[0]).total_cmp(&plan::distance(turned[b], turned[0])))
        .unwrap_or(0);
    let mut keep = vec![false; turned.len()];
    keep[0] = true;
    keep[second] = true;
    let mut pieces = vec![(0, second), (second, turned.len() - 1)];
    while let Some((a, b)) = pieces.pop() {
        let away = |k: usize| plan::nearest_on_segment(turned[k], turned[a], turned[b]).1;
        if let Some(k) = (a + 1..b).max_by(|&k, &l| away(k).total_cmp(&away(l)))
            && away(k) > tolerance
        {
            keep[k] = true;
            pieces.extend([(a, k), (k, b)]);
        }
    }
    keep[turned.len() - 1] = false; // the first point again
    turned.into_iter().zip(keep).filter_map(|(p, keep)| keep.then_some(p)).collect()
}

/// The convex hull, counter-clockwise (Andrew's monotone chain).
fn hull(points: &[PointMm]) -> Vec<PointMm> {
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    let half = |points: &mut dyn Iterator<Item = PointMm>| {
        let mut chain: Vec<PointMm> = Vec::new();
        for p in points {
            while chain.len() > 1 && plan::turn(chain[chain.len() - 2], chain[chain.len() - 1], p) <= 0.0 {
                chain.pop();
            }
            chain.push(p);
        }
        chain.pop();
        chain
    };
    let mut lower = half(&mut sorted.iter().copied());
    lower.extend(half(&mut sorted.iter().rev().copied()));
    lower
}
