//! Directions among angles. The values are the same formulas evaluated with SciPy 1.16.3's Bessel functions: they catch slips, not a
//! wrong method.

use measure::math;
use strokes::mixture::{Component, concentration, fit};

/// Two bundles, degrees.
const DEG: [f64; 24] = [
    24.0, 31.0, 28.0, 35.0, 30.0, 27.0, 33.0, 29.0, 36.0, 22.0, 30.0, 32.0, 26.0, 34.0, 118.0, 111.0, 116.0, 122.0, 109.0, 115.0, 120.0,
    113.0, 117.0, 104.0,
];

fn doubled() -> Vec<f64> {
    DEG.iter().map(|deg| (2.0 * deg).to_radians()).collect()
}

fn start(deg: f64) -> Component {
    Component { weight: 0.5, doubled: (2.0 * deg).to_radians(), kappa: 2.0 }
}

fn near(ours: f64, theirs: f64, by: f64) {
    assert!((ours - theirs).abs() <= by, "{ours} beside {theirs}");
}

/// The concentration of a mean length.
#[test]
fn concentration_of_a_mean_length() {
    for (length, kappa) in
        [(0.1, 0.20101), (0.3, 0.62922), (0.5, 1.15932), (0.7, 2.01363), (0.9, 5.30469), (0.95, 10.27169), (0.99, 50.25385)]
    {
        near(concentration(length), kappa, 6e-6);
    }
    assert_eq!(concentration(0.0), 0.0);
    assert_eq!(concentration(1.0), 500.0, "as sharp as can be told");
}

#[test]
fn two_bundles_are_found_with_their_shares() {
    let ones = [1.0; 24];
    let two = fit(&doubled(), &ones, &[start(30.0), start(115.0)], 0.0);
    for (component, [weight, deg, kappa]) in two.components.iter().zip([[0.583333, 29.7893, 52.582], [0.416667, 114.5147, 31.734]]) {
        near(component.weight, weight, 1e-5);
        near((0.5 * component.doubled).to_degrees().rem_euclid(180.0), deg, 1e-3);
        near(component.kappa, kappa, 2e-2);
    }
    near(two.log_likelihood, -5.47993, 1e-4);
    let one = fit(&doubled(), &ones, &[Component { weight: 1.0, ..start(40.0) }], 0.0);
    near(one.components[0].kappa, 0.38727, 1e-5);
    near(one.log_likelihood, -43.23380, 1e-5);
    let bic = |numbers: f64, likelihood: f64| numbers * math::ln(24.0) - 2.0 * likelihood;
    near(bic(2.0, one.log_likelihood), 92.824, 1e-3);
    near(bic(5.0, two.log_likelihood), 26.850, 1e-3);
}

#[test]
fn a_share_without_direction_is_told_apart() {
    let angles: Vec<f64> = (0..360).map(|deg| f64::from(deg).to_radians()).collect();
    let weights: Vec<f64> = (0..360).map(|deg| if (50..70).contains(&deg) { 19.0 } else { 1.0 }).collect();
    let found = fit(&angles, &weights, &[Component { weight: 0.35, doubled: 0.8, kappa: 5.0 }], 0.3);
    near(found.even, 0.5, 0.02);
    near(found.components[0].doubled.to_degrees(), 59.5, 0.5);
}
