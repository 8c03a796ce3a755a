//! The surface beyond the levels.

use super::{BEYOND_LEVELS, Vertex};
use crate::plan;
use measure::PointMm;
use measure::math::sq;

/// So many levels around a place say how the surface goes on there.
const NEAREST: usize = 8;

/// The gradient at each level, and with it the height anywhere.
pub struct Extension<'a> {
    levels: &'a [Vertex],
    /// Gradient and its standard uncertainty (of any direction) at each level.
    slopes: Vec<([f64; 2], f64)>,
    /// Distance to the nearest neighbour in the triangulation.
    reach: Vec<f64>,
}

impl<'a> Extension<'a> {
    /// The gradient at a level is the mean of the triangles around it, weighted by their area, which keeps thin triangles
    /// harmless.
    pub fn new(levels: &'a [Vertex], triangles: &[[usize; 3]]) -> Self {
        let mut sums = vec![([0.0; 2], 0.0); levels.len()];
        let mut reach = vec![f64::INFINITY; levels.len()];
        let mut shares: Vec<Vec<(usize, [f64; 2])>> = vec![Vec::new(); levels.len()];
        for &corners in triangles {
            let [a, b, c] = corners.map(|k| levels[k].at_mm);
            let twice_area = plan::turn(a, b, c);
            // Twice the area times the gradient is a sum of height times the opposite side turned by a quarter.
            let turned = |from: PointMm, to: PointMm| [from[1] - to[1], to[0] - from[0]];
            let parts = [(corners[0], turned(b, c)), (corners[1], turned(c, a)), (corners[2], turned(a, b))];
            for &at in &corners {
                for &(k, [px, py]) in &parts {
                    sums[at].0[0] += levels[k].z_mm * px;
                    sums[at].0[1] += levels[k].z_mm * py;
                    shares[at].push((k, [px, py]));
                    if k != at {
                        reach[at] = reach[at].min(plan::distance(levels[at].at_mm, levels[k].at_mm));
                    }
                }
                sums[at].1 += twice_area;
            }
        }
        let slopes =
            sums.iter()
                .zip(&mut shares)
                .map(|(&([gx, gy], twice_area), shares)| {
                    if twice_area > 0.0 {
                        ([gx / twice_area, gy / twice_area], spread(shares, levels) / twice_area)
                    } else {
                        ([0.0; 2], 0.0)
                    }
                })
                .collect();
        Self { levels, slopes, reach }
    }

    /// Distance from a level to its nearest neighbour.
    pub fn reach(&self, level: usize) -> f64 {
        self.reach[level]
    }

    /// Height and standard uncertainty at a place: the planes through the nearest levels, each with its own gradient,
    /// weighted by the inverse cube of the distance (Shepard's method with gradients; from memory). Exact on a plane.
    pub fn at(&self, place: PointMm) -> Vertex {
        let mut near: Vec<(f64, usize)> = self.levels.iter().enumerate().map(|(k, l)| (plan::distance(l.at_mm, place), k)).collect();
        let by_distance = |a: &(f64, usize), b: &(f64, usize)| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1));
        if near.len() > NEAREST {
            near.select_nth_unstable_by(NEAREST - 1, by_distance);
            near.truncate(NEAREST);
        }
        near.sort_by(by_distance);
        let nearest = near[0].0.max(1e-9);
        let (mut weights, mut z, mut variance) = (0.0, 0.0, 0.0);
        for (d, k) in near {
            let weight = measure::math::pow(nearest / d.max(1e-9), 3.0);
            let ([gx, gy], u_slope) = self.slopes[k];
            let level = self.levels[k];
            weights += weight;
            z += weight * (level.z_mm + gx * (place[0] - level.at_mm[0]) + gy * (place[1] - level.at_mm[1]));
            variance += sq(weight) * (sq(level.u_mm) + sq(u_slope * d));
        }
        let u_mm = (variance / sq(weights) + sq(BEYOND_LEVELS * nearest)).sqrt();
        Vertex { at_mm: place, z_mm: z / weights, u_mm, extrapolated: true }
    }
}

/// Standard uncertainty of the sum of `share * height`, the larger of its two parts.
fn spread(shares: &mut [(usize, [f64; 2])], levels: &[Vertex]) -> f64 {
    shares.sort_by_key(|(k, _)| *k);
    let (mut xx, mut yy) = (0.0, 0.0);
    for of_one in shares.chunk_by(|a, b| a.0 == b.0) {
        let u = levels[of_one[0].0].u_mm;
        xx += sq(u * of_one.iter().map(|s| s.1[0]).sum::<f64>());
        yy += sq(u * of_one.iter().map(|s| s.1[1]).sum::<f64>());
    }
    xx.max(yy).sqrt()
}
