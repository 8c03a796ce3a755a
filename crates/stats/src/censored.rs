//! Readings known only as brackets: the value lies between two marks.

use measure::math;

/// A bracket the value lies in; `lo` may be minus infinity and `hi` infinity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub lo: f64,
    /// Upper end, above `lo`.
    pub hi: f64,
}

/// A normal distribution fitted by maximum likelihood.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fit {
    /// Mean.
    pub mu: f64,
    /// Standard deviation.
    pub sigma: f64,
    /// Logarithm of the likelihood there.
    pub log_likelihood: f64,
    /// Covariance of (mu, sigma) from the observed information.
    pub cov: [[f64; 2]; 2],
}

/// The likelihood has no maximum with a spread above zero: all brackets share a value, or there is at most one of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NoSpread;

const LN_SQRT_2_PI: f64 = 0.918_938_533_204_672_7;

/// Density of the standard normal distribution.
pub fn normal_density(z: f64) -> f64 {
    if z.is_infinite() { 0.0 } else { math::exp(-0.5 * z * z - LN_SQRT_2_PI) }
}

/// Logarithm of the probability that a standard normal variable lies between `lo` and `hi`.
///
/// Keeps its digits far out in a tail, where the difference of two distribution functions has none left: there the
/// start of the tail's asymptotic series is taken (Abramowitz and Stegun 1964, 26.2.12; from memory), and for a
/// bracket much narrower than 1 the density at its middle times its width.
pub fn ln_between(lo: f64, hi: f64) -> f64 {
    if hi.is_nan() || lo.is_nan() || hi <= lo {
        return f64::NEG_INFINITY;
    }
    if (hi - lo) * (1.0 + lo.abs()) < 1e-5 {
        let middle = lo + 0.5 * (hi - lo);
        return -0.5 * middle * middle - LN_SQRT_2_PI + math::ln(hi - lo);
    }
    // By symmetry both ends may be taken in the upper tail.
    let (near, far) = if lo > 0.0 {
        (lo, hi)
    } else if hi < 0.0 {
        (-hi, -lo)
    } else {
        return math::ln(0.5 * (math::erfc(-hi * std::f64::consts::FRAC_1_SQRT_2) - math::erfc(-lo * std::f64::consts::FRAC_1_SQRT_2)));
    };
    if near < 30.0 {
        let tail = |z: f64| 0.5 * math::erfc(z * std::f64::consts::FRAC_1_SQRT_2);
        return math::ln(tail(near) - tail(far));
    }
    let series = |z: f64| if z.is_infinite() { 0.0 } else { (1.0 - 1.0 / (z * z) + 3.0 / (z * z * z * z)) / z };
    let rest = math::exp(-0.5 * (far - near) * (near + far)) * series(far) / series(near);
    -0.5 * near * near - LN_SQRT_2_PI + math::ln(series(near)) + math::log1p(-rest)
}

/// Logarithm of the likelihood of brackets under a normal distribution: the sum of `ln(F(hi) - F(lo))`.
pub fn log_likelihood(intervals: &[Interval], mu: f64, sigma: f64) -> f64 {
    intervals.iter().map(|i| ln_between((i.lo - mu) / sigma, (i.hi - mu) / sigma)).sum()
}

/// Fits a normal distribution to brackets by maximum likelihood; take logarithms of the ends first for a lognormal one.
///
/// Newton steps in (mu, ln sigma) with the step halved until the likelihood rises. Checked against SciPy and lifelines.
pub fn fit(intervals: &[Interval]) -> Result<Fit, NoSpread> {
    let lo = intervals.iter().map(|i| i.lo).fold(f64::NEG_INFINITY, f64::max);
    let hi = intervals.iter().map(|i| i.hi).fold(f64::INFINITY, f64::min);
    if lo < hi || intervals.is_empty() {
        return Err(NoSpread);
    }
    let (mut mu, mut lambda) = start(intervals);
    let mut at = Slopes::of(intervals, mu, lambda);
    for _ in 0..200 {
        let [step_mu, step_lambda] = at.newton();
        let mut share = 1.0;
        let next = loop {
            let next = Slopes::of(intervals, mu + share * step_mu, lambda + share * step_lambda);
            if next.value >= at.value || share < 1e-9 {
                break next;
            }
            share *= 0.5;
        };
        mu += share * step_mu;
        lambda += share * step_lambda;
        let gain = next.value - at.value;
        at = next;
        if gain.abs() < 1e-14 * at.value.abs().max(1.0) && step_lambda.abs() < 1e-9 {
            break;
        }
    }
    let sigma = math::exp(lambda);
    let width = intervals.iter().map(|i| i.hi - i.lo).fold(f64::INFINITY, f64::min);
    let cov = at.covariance().filter(|cov| cov[0][0] > 0.0 && cov[1][1] > 0.0).ok_or(NoSpread)?;
    if !sigma.is_finite() || sigma < 1e-6 * width {
        return Err(NoSpread);
    }
    // From ln sigma to sigma.
    let cov = [[cov[0][0], cov[0][1] * sigma], [cov[1][0] * sigma, cov[1][1] * sigma * sigma]];
    Ok(Fit { mu, sigma, log_likelihood: at.value, cov })
}

/// Mean and logarithm of the deviation of the brackets' middles (of the one end where the other is open).
fn start(intervals: &[Interval]) -> (f64, f64) {
    let middle = |i: &Interval| match (i.lo.is_finite(), i.hi.is_finite()) {
        (true, true) => 0.5 * (i.lo + i.hi),
        (true, false) => i.lo,
        _ => i.hi,
    };
    let n = intervals.len() as f64;
    let mean = intervals.iter().map(middle).sum::<f64>() / n;
    let spread = (intervals.iter().map(|i| math::sq(middle(i) - mean)).sum::<f64>() / n).sqrt();
    (mean, math::ln(spread.max(1e-6 * mean.abs()).max(1e-12)))
}

/// The log-likelihood with its first and second derivatives by (mu, ln sigma).
struct Slopes {
    value: f64,
    gradient: [f64; 2],
    curvature: [[f64; 2]; 2],
}

impl Slopes {
    fn of(intervals: &[Interval], mu: f64, lambda: f64) -> Self {
        let sigma = math::exp(lambda);
        let mut slopes = Self { value: 0.0, gradient: [0.0; 2], curvature: [[0.0; 2]; 2] };
        for i in intervals {
            let (a, b) = ((i.lo - mu) / sigma, (i.hi - mu) / sigma);
            let ln_p = ln_between(a, b);
            // Densities over the probability, through logarithms so that neither underflows alone.
            let over = |z: f64| if z.is_infinite() { 0.0 } else { math::exp(-0.5 * z * z - LN_SQRT_2_PI - ln_p) };
            let (fa, fb) = (over(a), over(b));
            let term = |power: i32| {
                let of = |z: f64, f: f64| if f == 0.0 { 0.0 } else { (0..power).fold(f, |x, _| x * z) };
                of(a, fa) - of(b, fb)
            };
            let (t0, t1, t2, t3) = (term(0), term(1), term(2), term(3));
            slopes.value += ln_p;
            slopes.gradient[0] += t0 / sigma;
            slopes.gradient[1] += t1;
            slopes.curvature[0][0] += (t1 - t0 * t0) / (sigma * sigma);
            let mixed = (t2 - t0 - t0 * t1) / sigma;
            slopes.curvature[0][1] += mixed;
            slopes.curvature[1][0] += mixed;
            slopes.curvature[1][1] += t3 - t1 - t1 * t1;
        }
        slopes
    }

    fn covariance(&self) -> Option<[[f64; 2]; 2]> {
        let [[a, b], [_, d]] = self.curvature;
        let det = a * d - b * b;
        (det > 0.0).then(|| [[-d / det, b / det], [b / det, -a / det]])
    }

    /// The Newton step, or an uphill one where the likelihood is not concave; never more than 1 in ln sigma.
    fn newton(&self) -> [f64; 2] {
        let [g0, g1] = self.gradient;
        let step = match self.covariance().filter(|cov| cov[0][0] > 0.0) {
            Some(cov) => [cov[0][0] * g0 + cov[0][1] * g1, cov[1][0] * g0 + cov[1][1] * g1],
            None => {
                let scale = -self.curvature[0][0];
                [if scale > 0.0 { g0 / scale } else { 0.0 }, 0.1 * g1.signum()]
            }
        };
        let shrink = 1.0 / step[1].abs().max(1.0);
        step.map(|s| s * shrink)
    }
}
