//! Tolerance limits, brackets and shares against published values and general-purpose libraries.

use proptest::prelude::*;
use stats::censored::{self, Interval};
use stats::{proportion, tolerance};

fn near(got: f64, expected: f64, within: f64, what: &str) {
    assert!((got - expected).abs() <= within, "{what}: {got} against {expected}");
}

#[test]
fn tolerance_factors_are_those_published() {
    let rows = include_str!("tolerance.csv").lines().filter(|line| line.starts_with(|c: char| c.is_ascii_digit()));
    let mut read = 0;
    for row in rows {
        let x: Vec<f64> = row.split(',').map(|cell| cell.parse().unwrap()).collect();
        near(tolerance::one_sided_factor(x[0] as usize, x[1], x[2]).unwrap(), x[3], x[4], row);
        read += 1;
    }
    assert_eq!(read, 36);
}

/// NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3: 43 readings, mean 97.07, s 0.0268.
#[test]
fn the_handbooks_approximation_is_told_from_the_exact_factor() {
    let k = tolerance::one_sided_factor_approximate(43, 0.90, 0.99);
    near(k, 1.8751896, 1e-6, "approximate factor");
    near(97.07 - k * 0.0268, 97.019745, 1e-6, "lower limit");
    near(97.07 + k * 0.0268, 97.120255, 1e-6, "upper limit");
}

/// SciPy 1.16.3; the limit equals toleranceinterval 1.0.3 `oneside.normal`.
#[test]
fn ten_readings_of_a_dry_film() {
    let film = [0.62, 0.71, 0.58, 0.66, 0.74, 0.69, 0.55, 0.63, 0.70, 0.67];
    let (mean, s) = tolerance::mean_and_deviation(&film).unwrap();
    near(mean, 0.655, 1e-12, "mean");
    near(s, 0.05986094999, 1e-10, "s");
    near(tolerance::lower_limit(&film, 0.90, 0.95).unwrap(), 0.5140490048, 1e-9, "lower limit");
    near(tolerance::lower_mean(&film, 0.95).unwrap(), 0.6202997322, 1e-9, "lower bound of the mean");
    let next_below = stats::student::cdf((0.5 - mean) / (s * 1.1f64.sqrt()), 9.0);
    near(next_below, 0.01781921366, 1e-9, "next reading below 0.5");
}

/// The least of n readings as a limit whatever the distribution: n from `1 - p^n >= c`.
#[test]
fn the_least_reading_is_a_limit_only_with_many() {
    for (share, confidence, n) in [(0.90, 0.95, 29), (0.95, 0.95, 59), (0.80, 0.90, 11)] {
        assert_eq!(tolerance::readings_for_least(share, confidence), n);
    }
}

/// Twelve readings of a comb, each between the last wetted and the next dry tooth.
const COMB: [[f64; 2]; 12] = [
    [700., 800.],
    [800., 900.],
    [700., 800.],
    [900., 1000.],
    [800., 900.],
    [800., 900.],
    [600., 700.],
    [1000., 1200.],
    [800., 900.],
    [700., 800.],
    [900., 1000.],
    [800., 900.],
];

fn comb(scale: fn(f64) -> f64) -> Vec<Interval> {
    COMB.iter().map(|&[lo, hi]| Interval { lo: scale(lo), hi: scale(hi) }).collect()
}

/// SciPy 1.16.3 (Nelder-Mead on the interval likelihood; standard errors from its numerical Hessian).
#[test]
fn a_normal_fits_comb_brackets_as_scipy_does() {
    let fit = censored::fit(&comb(|x| x)).unwrap();
    near(fit.mu, 842.4456788, 1e-3, "mu");
    near(fit.sigma, 101.5607526, 1e-3, "sigma");
    near(fit.log_likelihood, -17.37809999, 1e-6, "log-likelihood");
    near(fit.cov[0][0].sqrt(), 30.58259865, 0.02, "se mu");
    near(fit.cov[1][1].sqrt(), 23.2621203, 0.02, "se sigma");
    near(fit.cov[0][1], 15.1836, 0.1, "covariance");
    let z = measure::math::normal_quantile(0.10);
    let p10 = fit.mu + z * fit.sigma;
    near(p10, 712.2903374, 2e-3, "10th percentile");
    let se = (fit.cov[0][0] + 2.0 * z * fit.cov[0][1] + z * z * fit.cov[1][1]).sqrt();
    near(p10 + measure::math::normal_quantile(0.05) * se, 642.794, 0.05, "Wald bound, known to be too hopeful");
}

/// SciPy 1.16.3; lifelines 0.30.3 `LogNormalFitter.fit_interval_censoring` gives 6.729518977, 0.1215172263, -17.28222699.
#[test]
fn a_lognormal_fits_comb_brackets_as_lifelines_does() {
    let fit = censored::fit(&comb(measure::math::ln)).unwrap();
    near(fit.mu, 6.729519866, 2e-6, "mu");
    near(fit.sigma, 0.1215171606, 1e-6, "sigma");
    near(fit.log_likelihood, -17.28222699, 1e-6, "log-likelihood");
}

/// The posterior under a flat mean and a flat logarithm of the spread, by an own grid with NumPy and SciPy 1.16.3
/// (mu 600 to 1100 by 2001 points, sigma 10 to 600 by 1200 points): the percentile's bound lies 40 below Wald's.
#[test]
fn the_grid_posterior_of_comb_brackets_agrees() {
    let brackets = comb(|x| x);
    let (mus, sigmas) = (201, 100);
    let mut cells = Vec::new();
    for i in 0..mus {
        let mu = 600.0 + 500.0 * f64::from(i) / f64::from(mus - 1);
        for j in 0..sigmas {
            let sigma = 10.0 * measure::math::pow(60.0, f64::from(j) / f64::from(sigmas - 1));
            cells.push((mu, sigma, measure::math::exp(censored::log_likelihood(&brackets, mu, sigma))));
        }
    }
    let total: f64 = cells.iter().map(|c| c.2).sum();
    let mean = |f: &dyn Fn(f64, f64) -> f64| cells.iter().map(|&(mu, sigma, w)| f(mu, sigma) * w).sum::<f64>() / total;
    let z = measure::math::normal_quantile(0.10);
    near(mean(&|mu, _| mu), 842.8326, 0.1, "mean of mu");
    near(mean(&|_, sigma| sigma), 114.9045, 0.2, "mean of sigma");
    near(mean(&|mu, sigma| f64::from(mu + z * sigma >= 650.0)), 0.83404, 2e-3, "10th percentile over 650");
    // The grid holds 800 itself: half of its line counts.
    near(mean(&|mu, _| if mu > 800.0 { 1.0 } else { f64::from(mu == 800.0) / 2.0 }), 0.89764, 2e-3, "mean over 800");
    let mut p10: Vec<(f64, f64)> = cells.iter().map(|&(mu, sigma, w)| (mu + z * sigma, w / total)).collect();
    p10.sort_by(|a, b| a.0.total_cmp(&b.0));
    let quantile = |p: f64| {
        let mut sum = 0.0;
        p10.iter()
            .find(|(_, w)| {
                sum += w;
                sum >= p
            })
            .unwrap()
            .0
    };
    near(quantile(0.5), 702.75, 1.0, "10th percentile, middle");
    near(quantile(0.05), 601.3, 1.0, "10th percentile, lower 5 %");
}

#[test]
fn brackets_that_share_a_value_have_no_spread() {
    let one = Interval { lo: 700.0, hi: 800.0 };
    for brackets in [vec![], vec![one], vec![one; 8], vec![one, Interval { lo: 750.0, hi: 900.0 }]] {
        assert_eq!(censored::fit(&brackets), Err(censored::NoSpread));
    }
    let open = [Interval { lo: f64::NEG_INFINITY, hi: 500.0 }, one, Interval { lo: 900.0, hi: f64::INFINITY }, one];
    let fit = censored::fit(&open).unwrap();
    assert!(fit.mu > 600.0 && fit.mu < 850.0 && fit.sigma > 50.0, "{fit:?}");
}

/// SciPy 1.16.3: differences of `norm.logsf`.
#[test]
fn a_bracket_far_in_the_tail_keeps_its_digits() {
    for (lo, hi, expected) in [
        (-1.0, 1.0, -0.3817151463021261),
        (1.0, 2.0, -1.9957982691807552),
        (-2.0, -1.0, -1.9957982691807552),
        (8.0, 9.0, -35.01361859343716),
        (35.0, 35.2, -616.9759904122263),
        (50.0, 60.0, -1254.8313611394199),
    ] {
        near(censored::ln_between(lo, hi), expected, 1e-7, "bracket");
    }
    // The two ways of the tail meet where one gives over to the other.
    for width in [0.001, 0.3, 5.0] {
        let (below, above) = (censored::ln_between(29.999_999, 29.999_999 + width), censored::ln_between(30.000_001, 30.000_001 + width));
        near(below - above, 30.0 * 2e-6, 1e-5, "either side of 30");
    }
}

/// n from ln(1 - c) / ln(1 - p), and exact hypergeometric counts (SciPy 1.16.3 `hypergeom`).
#[test]
fn looks_that_find_a_miss() {
    let table = [(0.90, [11, 22, 45, 114, 230]), (0.95, [14, 29, 59, 149, 299]), (0.99, [21, 44, 90, 228, 459])];
    for (confidence, row) in table {
        for (missed, n) in [0.2, 0.1, 0.05, 0.02, 0.01].into_iter().zip(row) {
            assert_eq!(proportion::readings_to_find(missed, confidence), n, "{missed} {confidence}");
        }
    }
    for (population, defective, confidence, n) in [
        (50, 1, 0.95, 48),
        (50, 5, 0.95, 22),
        (100, 5, 0.95, 45),
        (100, 10, 0.95, 25),
        (200, 10, 0.95, 51),
        (500, 5, 0.90, 184),
        (1000, 10, 0.95, 258),
        (40, 2, 0.90, 27),
    ] {
        assert_eq!(proportion::readings_to_find_among(population, defective, confidence), Some(n), "{population} {defective}");
    }
    assert_eq!(proportion::readings_to_find_among(40, 0, 0.90), None);
    assert_eq!(proportion::readings_to_find(0.0, 0.9), usize::MAX);
}

/// statsmodels 0.15.0 `proportion_confint`, methods "beta" and "wilson".
#[test]
fn shares_seen_in_samples() {
    for (seen, n, upper) in [(0, 22, 0.127305), (0, 59, 0.049508), (1, 30, 0.148596)] {
        near(proportion::upper_share(seen, n, 0.95), upper, 1e-6, "upper share");
    }
    near(proportion::lower_share(2, 20, 0.975), 0.012349, 1e-6, "two-sided, lower");
    near(proportion::upper_share(2, 20, 0.975), 0.316983, 1e-6, "two-sided, upper");
    let [lo, hi] = proportion::wilson(2, 20, 0.95);
    near(lo, 0.027866, 1e-6, "Wilson, lower");
    near(hi, 0.301034, 1e-6, "Wilson, upper");
}

/// US 7 CFR 42.140: a sample of 500 that may hold 3 accepts 26 % of lots with 1 % defective, about 99 % of those with 0.1 %.
#[test]
fn lots_accepted_at_the_published_rates() {
    near(proportion::prob_accepted(500, 3, 0.01), 0.26, 0.005, "published, rounded");
    near(proportion::prob_accepted(500, 3, 0.01), 0.2636, 5e-5, "SciPy binom.cdf");
    near(proportion::prob_accepted(500, 3, 0.001), 0.998, 5e-4, "SciPy binom.cdf");
    for (n, accept, p95, p50, p10) in [(13, 0, 0.0039, 0.0519, 0.1623), (32, 1, 0.0112, 0.0519, 0.1162), (125, 3, 0.0110, 0.0293, 0.0527)] {
        for (p, accepted) in [(p95, 0.95), (p50, 0.50), (p10, 0.10)] {
            near(proportion::prob_accepted(n, accept, p), accepted, 6e-3, "operating characteristic (SciPy binom)");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]

    /// A bracket cut in two has the probability of its parts.
    #[test]
    fn parts_of_a_bracket_add_up(lo in -40.0..40.0f64, width in 1e-9..10.0f64, cut in 0.05..0.95f64) {
        let parts = [(lo, lo + cut * width), (lo + cut * width, lo + width)].map(|(a, b)| censored::ln_between(a, b));
        let top = parts[0].max(parts[1]);
        let sum = top + measure::math::ln(parts.iter().map(|p| measure::math::exp(p - top)).sum());
        let whole = censored::ln_between(lo, lo + width);
        prop_assert!((sum - whole).abs() < 2e-4 + 1e-9 * whole.abs(), "{sum} {whole}");
    }

    /// More confidence, a larger share or fewer readings never lower the factor.
    #[test]
    fn factors_grow_with_what_is_asked(n in 2usize..60, share in 0.55..0.98f64, confidence in 0.55..0.98f64) {
        let k = |n, share, confidence| tolerance::one_sided_factor(n, share, confidence).unwrap();
        let here = k(n, share, confidence);
        prop_assert!(k(n, share + 0.01, confidence) > here && k(n, share, confidence + 0.01) > here && k(n + 1, share, confidence) < here);
    }

    /// The fit moves with the readings and stretches with their unit.
    #[test]
    fn a_fit_follows_the_unit(shift in -500.0..500.0f64, stretch in 0.1..10.0f64) {
        let moved: Vec<Interval> = COMB.iter().map(|[lo, hi]| Interval { lo: lo * stretch + shift, hi: hi * stretch + shift }).collect();
        let fit = censored::fit(&moved).unwrap();
        prop_assert!((fit.mu - (842.4456788 * stretch + shift)).abs() < 1e-3 * stretch && (fit.sigma / stretch - 101.5607526).abs() < 1e-3);
    }
}
