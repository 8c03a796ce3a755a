//! A plane through levels.

use crate::least_squares::{self, Fit};
use measure::math::sq;

/// One level: a place, a height, and the height's standard uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Level {
    /// Place.
    pub x: f64,
    /// Place.
    pub y: f64,
    /// Height.
    pub z: f64,
    /// Standard uncertainty of the height; 0 when it is not known, and then the scatter about the plane tells.
    pub u: f64,
}

/// A plane `z = z0 + gx (x - x0) + gy (y - y0)` with its covariance.
#[derive(Clone, Debug, PartialEq)]
pub struct Plane {
    /// The weighted centroid of the levels, where height and gradient are uncorrelated.
    pub centre: [f64; 2],
    /// Height at the centroid.
    pub z0: f64,
    /// Rise per run along x and y.
    pub gradient: [f64; 2],
    /// Covariance of (z0, gx, gy), enlarged by the Birge factor.
    pub cov: [[f64; 3]; 3],
    /// How much the scatter about the plane exceeds what the uncertainties explain: `sqrt(chi2 / dof)`, at least 1 (Birge
    /// ratio; Bodnar and Elster 2014, *Metrologia* 51, 516, from memory). It multiplies every uncertainty.
    pub birge: f64,
    /// Level minus plane, in the order of the levels.
    pub residuals: Vec<f64>,
    /// Leverage of each level, 0 to 1.
    pub leverages: Vec<f64>,
    /// Levels less three.
    pub dof: usize,
}

/// Why no plane goes through the levels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotAPlane {
    /// Fewer than three levels.
    TooFew,
    /// All levels stand on one line.
    Collinear,
}

/// Points whose spread across is less than this share of their spread along stand on one line.
const COLLINEAR: f64 = 1e-6;

impl Plane {
    /// Height of the plane at a place.
    pub fn height(&self, [x, y]: [f64; 2]) -> f64 {
        self.z0 + self.gradient[0] * (x - self.centre[0]) + self.gradient[1] * (y - self.centre[1])
    }

    /// Fall (positive downhill) along a unit direction, with its standard uncertainty.
    pub fn fall_towards(&self, [dx, dy]: [f64; 2]) -> (f64, f64) {
        let fall = -(self.gradient[0] * dx + self.gradient[1] * dy);
        let variance = dx * dx * self.cov[1][1] + 2.0 * dx * dy * self.cov[1][2] + dy * dy * self.cov[2][2];
        (fall, variance.max(0.0).sqrt())
    }
}

/// Fits a plane by weighted least squares through all levels.
///
/// Weights are `1/u^2`. A level with `u` 0 among others that have one gets the smallest of theirs. When no level has a
/// `u`, weights are equal and the scatter about the plane gives the covariance; with three levels there is then none.
pub fn fit(levels: &[Level]) -> Result<Plane, NotAPlane> {
    if levels.len() < 3 {
        return Err(NotAPlane::TooFew);
    }
    let (u, known) = uncertainties(levels);
    let centre = centroid(levels, &u);
    if collinear(levels) {
        return Err(NotAPlane::Collinear);
    }
    let design: Vec<f64> = levels.iter().flat_map(|l| [1.0, l.x - centre[0], l.y - centre[1]]).collect();
    let z: Vec<f64> = levels.iter().map(|l| l.z).collect();
    let fit = least_squares::fit(&design, 3, &z, &u).map_err(|_| NotAPlane::Collinear)?;
    let scatter = fit.scatter().unwrap_or(0.0);
    let factor = if known { scatter.max(1.0) } else { scatter };
    let Fit { beta, unscaled_cov, residuals, leverages, dof, .. } = fit;
    let cov = std::array::from_fn(|i| std::array::from_fn(|j| unscaled_cov[3 * i + j] * factor));
    let birge = if known { factor.sqrt() } else { 1.0 };
    Ok(Plane { centre, z0: beta[0], gradient: [beta[1], beta[2]], cov, birge, residuals, leverages, dof })
}

/// Whether all levels stand on one line (or one point).
pub fn collinear(levels: &[Level]) -> bool {
    let n = levels.len() as f64;
    let (mx, my) = (levels.iter().map(|l| l.x).sum::<f64>() / n, levels.iter().map(|l| l.y).sum::<f64>() / n);
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for l in levels {
        xx += sq(l.x - mx);
        xy += (l.x - mx) * (l.y - my);
        yy += sq(l.y - my);
    }
    let (half, root) = ((xx + yy) / 2.0, (sq((xx - yy) / 2.0) + xy * xy).sqrt());
    let (along, across) = (half + root, (half - root).max(0.0));
    along == 0.0 || across <= sq(COLLINEAR) * along
}

/// The uncertainties to weight with, and whether any was known.
pub(crate) fn uncertainties(levels: &[Level]) -> (Vec<f64>, bool) {
    let least = levels.iter().map(|l| l.u).filter(|&u| u > 0.0).fold(f64::INFINITY, f64::min);
    if least.is_finite() {
        (levels.iter().map(|l| if l.u > 0.0 { l.u } else { least }).collect(), true)
    } else {
        (vec![1.0; levels.len()], false)
    }
}

fn centroid(levels: &[Level], u: &[f64]) -> [f64; 2] {
    let (mut x, mut y, mut weight) = (0.0, 0.0, 0.0);
    for (l, u) in levels.iter().zip(u) {
        let w = 1.0 / sq(*u);
        x += w * l.x;
        y += w * l.y;
        weight += w;
    }
    [x / weight, y / weight]
}
