//! The engine's transcendental functions, all from the `libm` crate.
//!
//! Why not the standard library: its results differ in the last bits between platforms and WebAssembly, so a phone and
//! a server would print different digits. `clippy.toml` refuses the standard ones. `f64::sqrt` is exact everywhere
//! (IEEE 754) and stays allowed.

pub use libm::{
    acos, asin, atan, atan2, cbrt, cos, cosh, erf, erfc, exp, expm1, hypot, lgamma, log as ln, log1p, log10, pow, sin, sincos, sinh, tan,
    tanh, tgamma,
};

/// 1/sqrt(2), for the normal distribution.
const FRAC_1_SQRT_2: f64 = std::f64::consts::FRAC_1_SQRT_2;

/// Probability that a standard normal variable is below `z`.
///
/// ```
/// assert!((measure::math::normal_cdf(1.959963984540054) - 0.975).abs() < 1e-12);
/// ```
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * erfc(-z * FRAC_1_SQRT_2)
}

/// The `z` below which a standard normal variable falls with probability `p`, 0 < p < 1; infinite at 0 and 1.
///
/// A rational first guess (Hastings 1955, *Approximations for Digital Computers*, sheet 68) is refined by Newton steps
/// on [`normal_cdf`] until it no longer moves. Checked against z = 1.6448536269514722 at 0.95 and 1.959963984540054 at
/// 0.975 (SciPy `norm.ppf`).
///
/// ```
/// assert!((measure::math::normal_quantile(0.95) - 1.6448536269514722).abs() < 1e-12);
/// ```
pub fn normal_quantile(p: f64) -> f64 {
    if p.is_nan() || !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    if p == 0.0 {
        return f64::NEG_INFINITY;
    }
    if p == 1.0 {
        return f64::INFINITY;
    }
    let tail = if p < 0.5 { p } else { 1.0 - p };
    let t = (-2.0 * ln(tail)).sqrt();
    let guess = t - (2.515517 + t * (0.802853 + t * 0.010328)) / (1.0 + t * (1.432788 + t * (0.189269 + t * 0.001308)));
    let mut z = guess; // upper-tail quantile: P(Z > z) = tail
    for _ in 0..20 {
        let error = 0.5 * erfc(z * FRAC_1_SQRT_2) - tail;
        let density = exp(-0.5 * z * z) / (2.0 * std::f64::consts::PI).sqrt();
        if density <= 0.0 {
            break;
        }
        let step = error / density;
        z += step;
        if step.abs() <= 1e-15 * z.abs().max(1.0) {
            break;
        }
    }
    if p < 0.5 { -z } else { z }
}

/// `x` squared.
pub fn sq(x: f64) -> f64 {
    x * x
}
