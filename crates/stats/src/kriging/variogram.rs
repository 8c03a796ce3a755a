//! The variogram of readings, and a model through it.

use super::{Kind, Model};
use measure::math;

/// Pairs of readings about the same distance apart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lag {
    /// Mean distance of the pairs.
    pub distance: f64,
    /// Half the mean squared difference.
    pub gamma: f64,
    /// How many pairs.
    pub pairs: usize,
}

/// The variogram in `lags` equal steps up to `largest`, by Matheron's estimator: half the mean squared difference of the
/// pairs. A pair on an edge belongs to the step below it. Steps without pairs are left out. Checked against scikit-gstat.
pub fn experimental(values: &[f64], distance: impl Fn(usize, usize) -> f64, lags: usize, largest: f64) -> Vec<Lag> {
    let mut sums = vec![(0.0, 0.0, 0usize); lags];
    for i in 0..values.len() {
        for j in 0..i {
            let h = distance(i, j);
            if h > 0.0 && h <= largest {
                let lag = ((h / largest * lags as f64).ceil() as usize).clamp(1, lags) - 1;
                sums[lag].0 += h;
                sums[lag].1 += math::sq(values[i] - values[j]);
                sums[lag].2 += 1;
            }
        }
    }
    sums.into_iter()
        .filter(|s| s.2 > 0)
        .map(|(h, squares, pairs)| Lag { distance: h / pairs as f64, gamma: 0.5 * squares / pairs as f64, pairs })
        .collect()
}

/// The model that fits a variogram best: least squares with weights pairs / distance^2 (near pairs matter most), the range
/// searched, sill and nugget then in closed form and never below zero. `None` with fewer than three lags or when the
/// values do not vary.
pub fn fit(lags: &[Lag], kind: Kind) -> Option<Model> {
    let largest = lags.iter().map(|l| l.distance).fold(0.0, f64::max);
    if lags.len() < 3 || largest <= 0.0 || lags.iter().all(|l| l.gamma == 0.0) {
        return None;
    }
    let misfit = |ln_range: f64| at_range(lags, kind, math::exp(ln_range)).1;
    let (from, to) = (math::ln(0.02 * largest), math::ln(3.0 * largest));
    const STEPS: usize = 80;
    let at = |i: usize| from + (to - from) * i as f64 / STEPS as f64;
    let best = (0..=STEPS).min_by(|a, b| misfit(at(*a)).total_cmp(&misfit(at(*b))))?;
    let (mut low, mut high) = (at(best.saturating_sub(1)), at((best + 1).min(STEPS)));
    for _ in 0..60 {
        let (a, b) = (low + 0.382 * (high - low), low + 0.618 * (high - low));
        if misfit(a) < misfit(b) { high = b } else { low = a }
    }
    Some(at_range(lags, kind, math::exp(0.5 * (low + high))).0).filter(|model| model.sill > 0.0)
}

/// Best sill and nugget at a range, with the sum of weighted squares left.
fn at_range(lags: &[Lag], kind: Kind, range: f64) -> (Model, f64) {
    let shape = Model { kind, sill: 1.0, range, nugget: 0.0 };
    let (mut w, mut wf, mut wff, mut wg, mut wfg) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for lag in lags {
        let weight = lag.pairs as f64 / math::sq(lag.distance);
        let f = shape.variogram(lag.distance);
        w += weight;
        wf += weight * f;
        wff += weight * f * f;
        wg += weight * lag.gamma;
        wfg += weight * f * lag.gamma;
    }
    let det = w * wff - wf * wf;
    let both = (det > 1e-12 * w * wff).then(|| ((wff * wg - wf * wfg) / det, (w * wfg - wf * wg) / det));
    let (nugget, sill) = match both {
        Some((nugget, sill)) if nugget >= 0.0 && sill >= 0.0 => (nugget, sill),
        Some((nugget, _)) if nugget < 0.0 => (0.0, (wfg / wff).max(0.0)),
        _ => (wg / w, 0.0),
    };
    let model = Model { kind, sill, range, nugget };
    let left =
        lags.iter().map(|l| l.pairs as f64 / math::sq(l.distance) * math::sq(l.gamma - nugget - sill * shape.variogram(l.distance))).sum();
    (model, left)
}
