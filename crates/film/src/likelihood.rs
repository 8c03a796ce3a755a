//! The likelihood of one stratum's readings, on evenly spaced steps of its middle m.

use measure::math;
use stats::censored::ln_between;

/// Film considered: 1 µm to 100 mm, as logarithms.
pub(crate) const LN_FILM: [f64; 2] = [0.0, 11.512_925_464_970_23];
/// Probability this far (in logarithms) below the peak counts for nothing.
const NOTHING: f64 = 22.0;
/// Largest number of steps in m.
const STEPS: f64 = 4_000.0;

/// One reading on the scale of logarithms of micrometres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Seen {
    /// A value with its relative standard uncertainty.
    Value {
        /// Logarithm of the value.
        ln: f64,
        /// Relative standard uncertainty.
        r: f64,
    },
    /// A bracket; either end may be infinite.
    Between {
        /// Logarithm of the lower end.
        lo: f64,
        /// Logarithm of the upper end.
        hi: f64,
        /// Relative standard uncertainty of its ends.
        r: f64,
    },
}

impl Seen {
    /// Where it lies, for a start and for finding what stands out.
    pub fn middle(self) -> f64 {
        match self {
            Self::Value { ln, .. } => ln,
            Self::Between { lo, hi, .. } => match (lo.is_finite(), hi.is_finite()) {
                (true, true) => 0.5 * (lo + hi),
                (true, false) => lo + 0.3,
                _ => hi - 0.3,
            },
        }
    }

    /// Variance of what it tells of the stratum's middle at scatter `s`, roughly.
    pub(crate) fn variance(self, s: f64) -> f64 {
        match self {
            Self::Value { r, .. } => s * s + r * r,
            Self::Between { lo, hi, r } => {
                let width = if lo.is_finite() && hi.is_finite() { hi - lo } else { LN_FILM[1] - LN_FILM[0] };
                s * s + r * r + width * width / 12.0
            }
        }
    }
}

/// The likelihood of one stratum's readings at one scatter, on the common steps of m.
pub(crate) struct Column {
    /// Step of the first value.
    pub first: i64,
    /// Likelihood over its peak.
    pub like: Vec<f64>,
    /// Logarithm of the peak.
    pub ln_peak: f64,
}

/// Steps of m for one scatter: step `k` lies at `k * step`.
pub(crate) fn step_for(strata: &[Vec<Seen>], s: f64) -> f64 {
    let mut sharpest = f64::INFINITY;
    let (mut low, mut high, mut widest) = (f64::INFINITY, f64::NEG_INFINITY, 0.0f64);
    for readings in strata.iter().filter(|r| !r.is_empty()) {
        let precision: f64 = readings.iter().map(|x| 1.0 / x.variance(s)).sum();
        let deviation = 1.0 / precision.sqrt();
        let centre = centre(readings, s);
        sharpest = sharpest.min(deviation);
        widest = widest.max(deviation);
        low = low.min(centre);
        high = high.max(centre);
    }
    let range = (high - low + 14.0 * widest).min(LN_FILM[1] - LN_FILM[0]);
    (0.5 * sharpest).max(range / STEPS)
}

fn centre(readings: &[Seen], s: f64) -> f64 {
    let (mut sum, mut weight) = (0.0, 0.0);
    for reading in readings {
        let w = 1.0 / reading.variance(s);
        sum += w * reading.middle();
        weight += w;
    }
    sum / weight
}

/// Logarithm of the likelihood of one stratum as a function of m, its values summed up beforehand.
struct Likelihood {
    precision: f64,
    mean: f64,
    constant: f64,
    brackets: Vec<(f64, f64, f64, f64)>,
}

impl Likelihood {
    fn new(readings: &[Seen], s: f64) -> Self {
        let (mut precision, mut weighted, mut logs) = (0.0, 0.0, 0.0);
        let mut brackets: Vec<(f64, f64, f64, f64)> = Vec::new();
        for reading in readings {
            match *reading {
                Seen::Value { ln, r } => {
                    let v = s * s + r * r;
                    precision += 1.0 / v;
                    weighted += ln / v;
                    logs -= 0.5 * math::ln(2.0 * std::f64::consts::PI * v);
                }
                Seen::Between { lo, hi, r } => {
                    let deviation = (s * s + r * r).sqrt();
                    match brackets.iter_mut().find(|b| b.0 == lo && b.1 == hi && b.2 == deviation) {
                        Some(same) => same.3 += 1.0,
                        None => brackets.push((lo, hi, deviation, 1.0)),
                    }
                }
            }
        }
        let mean = if precision > 0.0 { weighted / precision } else { 0.0 };
        for reading in readings {
            if let Seen::Value { ln, r } = *reading {
                logs -= 0.5 * math::sq(ln - mean) / (s * s + r * r);
            }
        }
        Self { precision, mean, constant: logs, brackets }
    }

    fn ln_at(&self, m: f64) -> f64 {
        let brackets: f64 = self.brackets.iter().map(|&(lo, hi, d, times)| times * ln_between((lo - m) / d, (hi - m) / d)).sum();
        self.constant - 0.5 * self.precision * math::sq(m - self.mean) + brackets
    }
}

/// The likelihood on the steps round its peak. It is log-concave, so it falls away on both sides and nothing hides beyond.
pub(crate) fn column(readings: &[Seen], s: f64, step: f64) -> Column {
    let likelihood = Likelihood::new(readings, s);
    let (least, most) = ((LN_FILM[0] / step).floor() as i64, (LN_FILM[1] / step).ceil() as i64);
    let start = ((centre(readings, s) / step).round() as i64).clamp(least, most);
    let at = |k: i64| likelihood.ln_at(k as f64 * step);
    let mut peak = at(start);
    let mut up = vec![peak];
    for k in start + 1..=most {
        let here = at(k);
        up.push(here);
        peak = peak.max(here);
        if here < peak - NOTHING {
            break;
        }
    }
    let mut down = Vec::new();
    for k in (least..start).rev() {
        let here = at(k);
        down.push(here);
        peak = peak.max(here);
        if here < peak - NOTHING {
            break;
        }
    }
    let first = start - down.len() as i64;
    let all: Vec<f64> = down.into_iter().rev().chain(up).collect();
    let skipped = all.iter().take_while(|&&x| x < peak - NOTHING).count();
    let kept = all.iter().rposition(|&x| x >= peak - NOTHING).map_or(skipped, |last| last + 1);
    let like = all[skipped..kept.max(skipped)].iter().map(|x| math::exp(x - peak)).collect();
    Column { first: first + skipped as i64, like, ln_peak: peak }
}

impl Column {
    /// Logarithm of the likelihood averaged over `m ~ N(mean, deviation^2)`.
    pub(crate) fn ln_average(&self, step: f64, mean: f64, deviation: f64) -> f64 {
        // In logarithms: a hypothesis far from the readings must still be weighed against another far one.
        let terms: Vec<f64> = (0..self.like.len())
            .map(|k| {
                let z = ((self.first + k as i64) as f64 * step - mean) / deviation;
                math::ln(self.like[k]) - 0.5 * z * z
            })
            .collect();
        let top = terms.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let sum: f64 = terms.iter().map(|t| math::exp(t - top)).sum();
        self.ln_peak + top + math::ln(sum * step / (deviation * (2.0 * std::f64::consts::PI).sqrt()))
    }
}
