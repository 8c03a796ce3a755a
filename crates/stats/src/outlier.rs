//! The one reading that fits least well with the others.

use crate::plane::{self, Level, NotAPlane};
use crate::student;

/// A reading that stands out. It is a suggestion to look again, never a reason to drop a reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Suspect {
    /// Which reading.
    pub index: usize,
    /// How far it lies from what the others say of its place (reading minus expectation).
    pub off_by: f64,
    /// That distance over its standard error, estimated without the reading.
    pub studentised: f64,
    /// Probability that the largest of so many readings stands out this much by chance (Bonferroni bound, at most 1).
    pub p_value: f64,
}

/// The level with the largest leave-one-out studentised residual about the plane of all levels.
///
/// In the closed form that needs no refitting: with e the weighted
/// residual, h the leverage and SS the sum of squared weighted residuals, `t = e sqrt((dof - 1) / (SS (1 - h) - e^2))`
/// (Cook and Weisberg 1982, *Residuals and Influence in Regression*, 2.2.1; from memory). Checked against statsmodels
/// `OLSInfluence.resid_studentized_external`. `None` with fewer than five levels, or when all levels lie exactly on the
/// plane.
pub fn from_plane(levels: &[Level]) -> Result<Option<Suspect>, NotAPlane> {
    let plane = plane::fit(levels)?;
    if plane.dof < 2 {
        return Ok(None);
    }
    let (u, _) = plane::uncertainties(levels);
    let weighted: Vec<f64> = plane.residuals.iter().zip(u).map(|(e, u)| e / u).collect();
    let sum: f64 = weighted.iter().map(|e| e * e).sum();
    let size: f64 = levels.iter().map(|l| l.z.abs()).fold(0.0, f64::max);
    if plane.residuals.iter().all(|e| e.abs() <= 1e-12 * size) {
        return Ok(None);
    }
    let others = plane.dof as f64 - 1.0;
    let suspect = (0..levels.len())
        .filter(|&i| plane.leverages[i] < 1.0 - 1e-9)
        .map(|index| {
            let free = 1.0 - plane.leverages[index];
            let left = (sum * free - weighted[index] * weighted[index]).max(0.0);
            Suspect { index, off_by: plane.residuals[index] / free, studentised: weighted[index] * (others / left).sqrt(), p_value: 1.0 }
        })
        .max_by(|a, b| a.studentised.abs().total_cmp(&b.studentised.abs()));
    Ok(suspect.map(|s| {
        let chance = 2.0 * (1.0 - student::cdf(s.studentised.abs(), others)).max(0.0);
        Suspect { p_value: (chance * levels.len() as f64).min(1.0), ..s }
    }))
}
