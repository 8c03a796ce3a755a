//! One-sided tolerance limits: what a share of all places lies above, said with a confidence from a few readings.

use crate::student;
use measure::math;

/// Panels of Simpson's rule over the scatter; the answer keeps nine digits from two readings up.
const PANELS: usize = 2_000;

/// Probability that a non-central t variable with `dof` degrees of freedom and non-centrality `delta` lies below `t`.
///
/// `(Z + delta) / W` with `W^2 dof` chi-squared, so `P = E[Phi(t W - delta)]` over the density of W (definition; Owen 1968,
/// *Technometrics* 10, 445, from memory), by Simpson's rule. For `dof` from 1 to a million.
pub fn noncentral_t_cdf(t: f64, dof: f64, delta: f64) -> f64 {
    if !(t.is_finite() && delta.is_finite() && dof >= 1.0) {
        return f64::NAN;
    }
    let width = 1.0 / (2.0 * dof).sqrt();
    let (from, to) = ((1.0 - 14.0 * width).max(0.0), 1.0 + 14.0 * width);
    let step = (to - from) / PANELS as f64;
    // The density of W, of which the logarithm is taken once: w^(dof - 1) exp(-dof w^2 / 2), scaled to 1 in all.
    let constant = std::f64::consts::LN_2 + 0.5 * dof * math::ln(0.5 * dof) - math::lgamma(0.5 * dof);
    let density = |w: f64| {
        let power = if dof == 1.0 { 0.0 } else { (dof - 1.0) * math::ln(w) };
        if w == 0.0 && dof > 1.0 { 0.0 } else { math::exp(constant + power - 0.5 * dof * w * w) }
    };
    let sum: f64 = (0..=PANELS)
        .map(|i| {
            let w = from + step * i as f64;
            let simpson = if i == 0 || i == PANELS { 1.0 } else { 2.0 + 2.0 * (i % 2) as f64 };
            simpson * density(w) * math::normal_cdf(t * w - delta)
        })
        .sum();
    (sum * step / 3.0).clamp(0.0, 1.0)
}

/// The factor k for which `mean - k s` of `n` normal readings lies below the share `share` of all places with probability
/// `confidence`; `None` for fewer than two readings or a share or confidence not between 0 and 1.
///
/// `k = t'(confidence; n - 1, z_share sqrt(n)) / sqrt(n)` with the quantile of the non-central t distribution. Checked
/// against SciPy `nct.ppf` and the published B-basis factors of CMH-17-1G.
///
/// ```
/// let k = stats::tolerance::one_sided_factor(10, 0.90, 0.95).unwrap();
/// assert!((k - 2.354640132).abs() < 1e-8); // SciPy 1.16.3
/// ```
pub fn one_sided_factor(n: usize, share: f64, confidence: f64) -> Option<f64> {
    let proper = |p: f64| p > 0.0 && p < 1.0;
    if n < 2 || !proper(share) || !proper(confidence) {
        return None;
    }
    let root = (n as f64).sqrt();
    let delta = math::normal_quantile(share) * root;
    let below = |t: f64| noncentral_t_cdf(t, n as f64 - 1.0, delta) < confidence;
    let (mut low, mut high) = (-1.0, 1.0);
    while below(high) && high < 1e12 {
        high *= 2.0;
    }
    while !below(low) && low > -1e12 {
        low *= 2.0;
    }
    while high - low > 1e-12 * high.abs().max(low.abs()).max(1e-3) {
        let middle = low + (high - low) / 2.0;
        if below(middle) { low = middle } else { high = middle }
    }
    Some(high / root)
}

/// The same factor by the closed approximation of the NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3; off by a
/// thousandth at forty readings, by much more at five. Here to check printed tables that used it.
pub fn one_sided_factor_approximate(n: usize, share: f64, confidence: f64) -> f64 {
    let (z_share, z_confidence) = (math::normal_quantile(share), math::normal_quantile(confidence));
    let a = 1.0 - z_confidence * z_confidence / (2.0 * (n as f64 - 1.0));
    let b = z_share * z_share - z_confidence * z_confidence / n as f64;
    (z_share + (z_share * z_share - a * b).max(0.0).sqrt()) / a
}

/// Mean and standard deviation (n - 1) of readings; `None` for fewer than two.
pub fn mean_and_deviation(readings: &[f64]) -> Option<(f64, f64)> {
    let n = readings.len() as f64;
    if readings.len() < 2 {
        return None;
    }
    let mean = readings.iter().sum::<f64>() / n;
    let squares: f64 = readings.iter().map(|x| math::sq(x - mean)).sum();
    Some((mean, (squares / (n - 1.0)).sqrt()))
}

/// The value that the share `share` of all places exceeds, with probability `confidence`, from normal readings.
pub fn lower_limit(readings: &[f64], share: f64, confidence: f64) -> Option<f64> {
    let (mean, deviation) = mean_and_deviation(readings)?;
    Some(mean - one_sided_factor(readings.len(), share, confidence)? * deviation)
}

/// The value the true mean exceeds with probability `confidence`, from normal readings (Student's t).
pub fn lower_mean(readings: &[f64], confidence: f64) -> Option<f64> {
    let (mean, deviation) = mean_and_deviation(readings)?;
    let n = readings.len() as f64;
    Some(mean - student::quantile(confidence, n - 1.0) * deviation / n.sqrt())
}

/// How many readings make their least one a lower limit of the share `share` with confidence `confidence`, whatever the
/// distribution: `1 - share^n >= confidence`.
pub fn readings_for_least(share: f64, confidence: f64) -> usize {
    crate::proportion::readings_to_find(1.0 - share, confidence)
}
