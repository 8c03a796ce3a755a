//! Shares seen in samples: how many looks find a miss, what a clean sample still allows.

use crate::student::incomplete_beta;
use measure::math;

/// Products of probabilities that should equal the confidence exactly come out off by a few units in the last place.
const ROUNDING: f64 = 1e-12;

/// How many places taken at random find at least one missed one with probability `confidence` when the share `missed` of
/// all places is missed: the smallest n with `1 - (1 - missed)^n >= confidence`. `usize::MAX` when none would do.
///
/// ```
/// assert_eq!(stats::proportion::readings_to_find(0.10, 0.95), 29);
/// ```
pub fn readings_to_find(missed: f64, confidence: f64) -> usize {
    if confidence <= 0.0 || missed >= 1.0 {
        return usize::from(confidence > 0.0);
    }
    if !(missed > 0.0 && confidence < 1.0) {
        return usize::MAX;
    }
    let n = math::log1p(-confidence) / math::log1p(-missed);
    // 0.1 and 0.9 hold no exact binary value; a whole number of readings must not become one more by rounding.
    (n - n * ROUNDING).ceil().max(1.0) as usize
}

/// Probability that `n` of `population` places, taken at random without putting back, hold at least one of the
/// `defective`: `1 - C(N - D, n) / C(N, n)`.
pub fn prob_found(population: usize, defective: usize, n: usize) -> f64 {
    let (n, defective) = (n.min(population), defective.min(population));
    if n + defective > population {
        return if defective == 0 || n == 0 { 0.0 } else { 1.0 };
    }
    let missed: f64 = (0..defective).map(|i| (population - n - i) as f64 / (population - i) as f64).product();
    1.0 - missed
}

/// The smallest number of places out of `population` that holds one of the `defective` with probability `confidence`;
/// `None` when nothing is defective.
///
/// ```
/// assert_eq!(stats::proportion::readings_to_find_among(40, 2, 0.90), Some(27)); // exactly 0.900: no rounding up
/// ```
pub fn readings_to_find_among(population: usize, defective: usize, confidence: f64) -> Option<usize> {
    if defective == 0 || population == 0 {
        return None;
    }
    let (mut low, mut high) = (0, population);
    while low < high {
        let middle = low + (high - low) / 2;
        if prob_found(population, defective, middle) >= confidence - ROUNDING { high = middle } else { low = middle + 1 }
    }
    Some(high)
}

/// Upper bound at `confidence` of a share of which `seen` were found in `n` looks (Clopper and Pearson 1934, the exact
/// one; from memory).
pub fn upper_share(seen: usize, n: usize, confidence: f64) -> f64 {
    if seen >= n {
        return 1.0;
    }
    invert(|share| incomplete_beta(share, seen as f64 + 1.0, (n - seen) as f64), confidence)
}

/// Lower bound at `confidence`, likewise.
pub fn lower_share(seen: usize, n: usize, confidence: f64) -> f64 {
    if seen == 0 {
        return 0.0;
    }
    let seen = seen.min(n);
    invert(|share| incomplete_beta(share, seen as f64, (n - seen) as f64 + 1.0), 1.0 - confidence)
}

/// Wilson's two-sided interval of a share (Wilson 1927, *JASA* 22, 209; from memory).
pub fn wilson(seen: usize, n: usize, confidence: f64) -> [f64; 2] {
    if n == 0 {
        return [0.0, 1.0];
    }
    let (p, n) = (seen as f64 / n as f64, n as f64);
    let z = math::normal_quantile(0.5 + confidence / 2.0);
    let centre = (p + z * z / (2.0 * n)) / (1.0 + z * z / n);
    let half = z / (1.0 + z * z / n) * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt();
    [(centre - half).max(0.0), (centre + half).min(1.0)]
}

/// Probability that a sample of `n` holds at most `accept` defective ones when the share `defective` is.
pub fn prob_accepted(n: usize, accept: usize, defective: f64) -> f64 {
    if accept >= n { 1.0 } else { incomplete_beta(1.0 - defective, (n - accept) as f64, accept as f64 + 1.0) }
}

/// Where a rising function of a share reaches `target`.
fn invert(rising: impl Fn(f64) -> f64, target: f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if rising(middle) < target { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}
