//! Lines that come back at even distances: joints of small tiles, boards, a fabric. Brush and roller do not draw so.

use crate::rectify::Rectified;
use measure::math;
use std::ops::Range;

/// Angles tried on either side of a direction found, and the step between them, degrees: a direction is good to a degree or two.
const SEARCH: (i32, f64) = (4, 0.5);
/// Likeness of the profile to itself one and two distances on, from which lines are even. Profiles of strokes stay below 0.4.
const EVEN: [f64; 2] = [0.45, 0.35];
/// Share of the picture's variance that lines running right across the tile must hold.
const HELD: f64 = 0.02;
/// The least distance between lines looked for, cells.
const NEAREST: usize = 5;
/// Every so many rows and columns are looked at.
const EVERY: usize = 2;

/// Part of a picture and what to look for in it.
#[derive(Clone, Debug)]
pub(crate) struct Patch {
    pub columns: Range<usize>,
    pub rows: Range<usize>,
    /// The farthest distance between lines looked for, cells.
    pub farthest: usize,
    /// Changes slower than this many cells are shading.
    pub slow: usize,
}

/// Distance of even lines that run along `deg` (from the column axis towards the row axis), in cells, if there are such.
pub(crate) fn distance(picture: &Rectified, patch: &Patch, deg: f64) -> Option<f64> {
    let turns = (-SEARCH.0..=SEARCH.0).map(|i| (deg + f64::from(i) * SEARCH.1).to_radians());
    let profiles = turns.map(|turn| Profile::of(picture, patch, turn));
    let sharpest = profiles.max_by(|a, b| a.held.total_cmp(&b.held))?;
    if sharpest.held < HELD {
        return None;
    }
    let values = sharpest.values.as_slice();
    let likeness: Vec<f64> = (0..2 * patch.farthest + 2).map(|lag| likeness(values, lag)).collect();
    let even = |lag: &usize| {
        let top = likeness[*lag] >= likeness[lag - 1] && likeness[*lag] >= likeness[lag + 1];
        // Twice a distance between whole cells may round either way.
        let again = (2 * lag - 1..=2 * lag + 1).map(|lag| likeness.get(lag).copied().unwrap_or(0.0)).fold(0.0, f64::max);
        top && likeness[*lag] >= EVEN[0] && again >= EVEN[1]
    };
    (NEAREST..=patch.farthest.min(values.len() / 3)).find(even).map(|lag| lag as f64)
}

/// Mean grey along lines of one direction, by distance from the first, its slow changes taken away.
struct Profile {
    values: Vec<f64>,
    /// Variance of the profile as a share of the picture's.
    held: f64,
}

impl Profile {
    fn of(picture: &Rectified, patch: &Patch, turn: f64) -> Self {
        // The normal; distances are counted from the corner that comes first along it.
        let normal = [-math::sin(turn), math::cos(turn)];
        let size = [patch.columns.len() as f64, patch.rows.len() as f64];
        let least: f64 = (0..2).map(|axis| (normal[axis] * size[axis]).min(0.0)).sum();
        let most: f64 = (0..2).map(|axis| (normal[axis] * size[axis]).max(0.0)).sum();
        let mut sums = vec![(0.0, 0.0); (most - least) as usize + 2];
        let (mut sum, mut squares, mut count) = (0.0, 0.0, 0.0);
        for row in patch.rows.clone().step_by(EVERY) {
            let from = row * picture.width;
            let start = normal[1] * (row - patch.rows.start) as f64 - least;
            for column in patch.columns.clone().step_by(EVERY).filter(|column| picture.seen[from + column]) {
                let grey = f64::from(picture.luminance[from + column]);
                let at = &mut sums[(start + normal[0] * (column - patch.columns.start) as f64 + 0.5) as usize];
                (at.0, at.1) = (at.0 + grey, at.1 + 1.0);
                (sum, squares, count) = (sum + grey, squares + grey * grey, count + 1.0);
            }
        }
        let variance = squares / f64::max(count, 1.0) - math::sq(sum / f64::max(count, 1.0));
        // Corners of the tile are crossed by short lines only: what they say is left out.
        let full = 0.5 * size[0].min(size[1]) / math::sq(EVERY as f64);
        let means: Vec<f64> = sums.iter().filter(|(_, n)| *n >= full).map(|(sum, n)| sum / n).collect();
        let values = without_slow(&means, patch.slow);
        let held = values.iter().map(|v| v * v).sum::<f64>() / (values.len() as f64).max(1.0) / variance.max(1e-9);
        Self { values, held }
    }
}

/// Values less the mean of those within half of `width`.
fn without_slow(values: &[f64], width: usize) -> Vec<f64> {
    let near = |i: usize| &values[i.saturating_sub(width / 2)..(i + width / 2 + 1).min(values.len())];
    values.iter().enumerate().map(|(i, value)| value - near(i).iter().sum::<f64>() / near(i).len() as f64).collect()
}

/// Correlation of values with themselves `lag` on.
fn likeness(values: &[f64], lag: usize) -> f64 {
    let Some(on) = values.get(lag..).filter(|on| on.len() >= 8) else { return 0.0 };
    let sum = |of: &dyn Fn(f64, f64) -> f64| values.iter().zip(on).map(|(a, b)| of(*a, *b)).sum::<f64>();
    let both = (sum(&|a, _| a * a) * sum(&|_, b| b * b)).sqrt();
    if both > 0.0 { sum(&|a, b| a * b) / both } else { 0.0 }
}
