//! Student's t distribution.

use measure::math;

/// Probability that a t variable with `dof` degrees of freedom (above 0, need not be whole) lies below `t`.
///
/// Through the regularised incomplete beta function, I_x(dof/2, 1/2) with x = dof/(dof + t^2) (Abramowitz and Stegun 1964,
/// 26.7.1 and 26.5.27; from memory). Checked against SciPy `t.cdf`.
///
/// ```
/// assert!((stats::student::cdf(2.2621571627982053, 9.0) - 0.975).abs() < 1e-12);
/// ```
pub fn cdf(t: f64, dof: f64) -> f64 {
    if t.is_nan() || dof.is_nan() || dof <= 0.0 {
        return f64::NAN;
    }
    let tail = upper_tail(t.abs(), dof);
    if t > 0.0 { 1.0 - tail } else { tail }
}

/// The `t` below which a t variable with `dof` degrees of freedom falls with probability `p`; infinite at 0 and 1.
///
/// ```
/// assert!((stats::student::quantile(0.975, 9.0) - 2.2621571627982053).abs() < 1e-10); // SciPy t.ppf
/// ```
pub fn quantile(p: f64, dof: f64) -> f64 {
    if p.is_nan() || !(0.0..=1.0).contains(&p) || dof.is_nan() || dof <= 0.0 {
        return f64::NAN;
    }
    if p == 0.5 {
        return 0.0;
    }
    let tail = p.min(1.0 - p);
    if tail == 0.0 {
        return if p < 0.5 { f64::NEG_INFINITY } else { f64::INFINITY };
    }
    let mut high = 1.0;
    while upper_tail(high, dof) > tail && high < 1e300 {
        high *= 2.0;
    }
    let mut low = 0.0;
    // Halving settles every bit of the answer; the tail is strictly falling, so nothing can go astray.
    while let mid = low + (high - low) / 2.0
        && mid > low
        && mid < high
    {
        if upper_tail(mid, dof) > tail { low = mid } else { high = mid }
    }
    if p < 0.5 { -high } else { high }
}

/// P(T > t) for t >= 0.
fn upper_tail(t: f64, dof: f64) -> f64 {
    0.5 * incomplete_beta(dof / (dof + t * t), dof / 2.0, 0.5)
}

/// Regularised incomplete beta function I_x(a, b).
pub(crate) fn incomplete_beta(x: f64, a: f64, b: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    if x >= 1.0 {
        return 1.0;
    }
    let front = math::exp(math::lgamma(a + b) - math::lgamma(a) - math::lgamma(b) + a * math::ln(x) + b * math::log1p(-x));
    if x < (a + 1.0) / (a + b + 2.0) { front * beta_fraction(x, a, b) / a } else { 1.0 - front * beta_fraction(1.0 - x, b, a) / b }
}

/// The continued fraction of the incomplete beta function, by the modified Lentz method.
fn beta_fraction(x: f64, a: f64, b: f64) -> f64 {
    const TINY: f64 = 1e-300;
    let away_from_zero = |v: f64| if v.abs() < TINY { TINY } else { v };
    let mut c = 1.0;
    let mut d = 1.0 / away_from_zero(1.0 - (a + b) * x / (a + 1.0));
    let mut fraction = d;
    for m in 1..=500 {
        let m = f64::from(m);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        let mut step = 1.0;
        for term in [even, odd] {
            d = 1.0 / away_from_zero(1.0 + term * d);
            c = away_from_zero(1.0 + term / c);
            step = c * d;
            fraction *= step;
        }
        if (step - 1.0).abs() < 1e-15 {
            break;
        }
    }
    fraction
}
