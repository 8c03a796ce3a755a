//! One or two directions among many angles: von Mises distributions on doubled angles, with or without a share that has no
//! direction, by expectation and maximisation (Banerjee, Dhillon, Ghosh and Sra 2005, JMLR 6, in two dimensions).

use measure::math;
use std::f64::consts::TAU;

/// One direction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Component {
    /// Its share.
    pub weight: f64,
    /// Its doubled angle, radians.
    pub doubled: f64,
    /// Concentration of the doubled angles: 0 none, 50 a few degrees.
    pub kappa: f64,
}

/// A fitted mixture.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// The directions, in the order of the start.
    pub components: Vec<Component>,
    /// Share that has no direction.
    pub even: f64,
    /// Log likelihood with the weights as given, per radian of doubled angle.
    pub log_likelihood: f64,
}

/// Beyond this a direction is as sharp as can be told from bins of two degrees.
const KAPPA_MAX: f64 = 500.0;
const STEPS: usize = 200;

/// Fits from a start. `doubled` and `weights` are as long as each other; `even` is the share without direction to begin
/// with, 0 for none ever.
pub fn fit(doubled: &[f64], weights: &[f64], start: &[Component], even: f64) -> Fit {
    let turns: Vec<[f64; 2]> = doubled.iter().map(|a| [math::cos(*a), math::sin(*a)]).collect();
    let total: f64 = weights.iter().sum();
    let mut fit = Fit { components: start.to_vec(), even, log_likelihood: f64::NEG_INFINITY };
    for _ in 0..STEPS {
        let before = fit.log_likelihood;
        step(&turns, weights, total, &mut fit);
        if (fit.log_likelihood - before).abs() <= 1e-8 * total {
            break;
        }
    }
    fit
}

/// One round; the likelihood is that of the mixture before it.
fn step(turns: &[[f64; 2]], weights: &[f64], total: f64, fit: &mut Fit) {
    let scales: Vec<(f64, [f64; 2])> = fit
        .components
        .iter()
        .map(|c| (math::ln(c.weight.max(1e-300) / TAU) - ln_i0(c.kappa), [c.kappa * math::cos(c.doubled), c.kappa * math::sin(c.doubled)]))
        .collect();
    let mut sums = vec![[0.0; 3]; scales.len()];
    let (mut even, mut likelihood) = (0.0, 0.0);
    let mut shares = vec![0.0; scales.len()];
    for (turn, weight) in turns.iter().zip(weights).filter(|(_, w)| **w > 0.0) {
        for (share, (scale, way)) in shares.iter_mut().zip(&scales) {
            *share = math::exp(scale + way[0] * turn[0] + way[1] * turn[1]);
        }
        let density = shares.iter().sum::<f64>() + fit.even / TAU;
        likelihood += weight * math::ln(density.max(1e-300));
        let per = weight / density.max(1e-300);
        even += per * fit.even / TAU;
        for (sum, share) in sums.iter_mut().zip(&shares) {
            *sum = [sum[0] + per * share, sum[1] + per * share * turn[0], sum[2] + per * share * turn[1]];
        }
    }
    for (component, [weight, x, y]) in fit.components.iter_mut().zip(sums) {
        let length = if weight > 0.0 { math::hypot(x, y) / weight } else { 0.0 };
        *component = Component { weight: weight / total, doubled: math::atan2(y, x), kappa: concentration(length) };
    }
    fit.even = even / total;
    fit.log_likelihood = likelihood;
}

/// The `kappa` whose mean length `I1(kappa)/I0(kappa)` is this; from the approximation of Best and Fisher (1981) by Newton's
/// steps.
pub fn concentration(length: f64) -> f64 {
    let r = length.clamp(0.0, 1.0);
    let guess = if r < 0.53 {
        2.0 * r + r * r * r + 5.0 / 6.0 * r * r * r * r * r
    } else if r < 0.85 {
        -0.4 + 1.39 * r + 0.43 / (1.0 - r)
    } else {
        1.0 / (r * (1.0 - r) * (3.0 - r)).max(1e-9)
    };
    let mut kappa = guess.min(KAPPA_MAX);
    for _ in 0..10 {
        let a = mean_length(kappa);
        let slope = if kappa > 1e-6 { 1.0 - a / kappa - a * a } else { 0.5 };
        if slope <= 0.0 {
            break;
        }
        kappa = (kappa - (a - r) / slope).clamp(0.0, KAPPA_MAX);
    }
    kappa
}

/// `I1(kappa)/I0(kappa)` by its continued fraction from far down (Amos 1974), exact to rounding for `kappa` up to 500.
fn mean_length(kappa: f64) -> f64 {
    let deep = 40 + (kappa * 0.5) as u32 + 8 * kappa.sqrt() as u32;
    let below = |ratio: f64, order: u32| kappa / (2.0 * f64::from(order) + kappa * ratio);
    (1..=deep).rev().fold(0.0, below)
}

/// Logarithm of the Bessel function `I0`: its power series, or from 30 on its asymptotic one (Abramowitz and Stegun 1964,
/// 9.6.12 and 9.7.1).
fn ln_i0(kappa: f64) -> f64 {
    if kappa < 30.0 {
        let quarter = 0.25 * kappa * kappa;
        let (mut term, mut sum) = (1.0, 1.0);
        for k in 1..200 {
            term *= quarter / f64::from(k * k);
            sum += term;
            if term < 1e-17 * sum {
                break;
            }
        }
        return math::ln(sum);
    }
    let (mut term, mut sum) = (1.0, 1.0);
    for k in 1..12 {
        let odd = f64::from(2 * k - 1);
        term *= odd * odd / (8.0 * kappa * f64::from(k));
        sum += term;
    }
    kappa - 0.5 * math::ln(TAU * kappa) + math::ln(sum)
}
