//! Kriging against PyKrige, variograms against scikit-gstat.

use proptest::prelude::*;
use serde_json::Value;
use stats::kriging::variogram::{self, Lag};
use stats::kriging::{Estimate, Kind, Kriging, Model, NuggetIs, by_neighbours};

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    ((a[0] - b[0]) * (a[0] - b[0]) + (a[1] - b[1]) * (a[1] - b[1])).sqrt()
}

fn krige(xy: &[[f64; 2]], z: &[f64], at: &[[f64; 2]], model: Model, nugget_is: NuggetIs) -> Vec<Estimate> {
    Kriging::new(z, |i, j| distance(xy[i], xy[j]), model, nugget_is).expect("a sound set").on_plane(xy, at)
}

fn near(got: f64, expected: f64, within: f64, what: &str) {
    assert!((got - expected).abs() <= within, "{what}: {got} against {expected}");
}

const XY: [[f64; 2]; 5] = [[0., 0.], [1., 0.], [0., 1.], [1., 1.], [0.5, 0.6]];
const Z: [f64; 5] = [1.2, 1.0, 0.9, 1.4, 1.1];
const AT: [[f64; 2]; 5] = [[0.25, 0.25], [0.5, 0.5], [0.8, 0.3], [0.5, 0.6], [2., 2.]];

fn five(kind: Kind) -> Model {
    Model { kind, sill: 0.04, range: 1.5, nugget: 0.005 }
}

/// PyKrige 1.7.3 (spherical also GSTools 1.7.0 and an own dense solve): five readings, five places, one of them a reading.
#[test]
fn five_readings_as_pykrige_has_them() {
    let cases = [
        (
            Kind::Spherical,
            NuggetIs::Field,
            [1.108933680, 1.103353760, 1.105070472, 1.1, 1.126019563],
            [0.022729658, 0.015191851, 0.022785642, 0.0, 0.059157938],
        ),
        (
            Kind::Exponential,
            NuggetIs::Field,
            [1.120131665, 1.105324554, 1.101877487, 1.1, 1.134628965],
            [0.03241885298, 0.02068553821, 0.03248892479, 0.0, 0.05724855096],
        ),
        (
            Kind::Spherical,
            NuggetIs::Error,
            [1.10893368, 1.10335376, 1.105070472, 1.104769278, 1.126019563],
            [0.02272965757, 0.01519185148, 0.02278564187, 0.00920156276, 0.05915793771],
        ),
    ];
    for (kind, nugget_is, values, variances) in cases {
        // With the nugget an error PyKrige's variance is that of a new reading; here it is that of the field.
        let added = if nugget_is == NuggetIs::Error { 0.005 } else { 0.0 };
        for (got, (value, variance)) in krige(&XY, &Z, &AT, five(kind), nugget_is).iter().zip(values.into_iter().zip(variances)) {
            near(got.value, value, 1e-9, "value");
            near(got.variance + added, variance, 1e-9, "variance");
        }
    }
}

/// Sixty seeded readings of our own with what the libraries make of them.
struct Sixty {
    set: Value,
    xy: Vec<[f64; 2]>,
    z: Vec<f64>,
    at: Vec<[f64; 2]>,
}

fn sixty() -> Sixty {
    let set: Value = serde_json::from_str(include_str!("kriging.json")).expect("the set is sound");
    let points = |name: &str| serde_json::from_value(set[name].clone()).expect("points");
    let (xy, at, z) = (points("xy"), points("at"), serde_json::from_value(set["z"].clone()).expect("numbers"));
    Sixty { set, xy, z, at }
}

/// PyKrige 1.7.3, sixty seeded readings: both models, nugget or none, of the field or of the gauge; three places are readings.
#[test]
fn sixty_readings_as_pykrige_has_them() {
    let Sixty { set, xy, z, at } = sixty();
    let cases = set["cases"].as_array().unwrap();
    assert_eq!(cases.len(), 8);
    for case in cases {
        let number = |name: &str| case[name].as_f64().unwrap();
        let kind = if case["kind"] == "spherical" { Kind::Spherical } else { Kind::Exponential };
        let nugget_is = if case["nugget_is"] == "error" { NuggetIs::Error } else { NuggetIs::Field };
        let model = Model { kind, sill: number("sill"), range: number("range"), nugget: number("nugget") };
        let added = if nugget_is == NuggetIs::Error { model.nugget } else { 0.0 };
        for (i, got) in krige(&xy, &z, &at, model, nugget_is).iter().enumerate() {
            near(got.value, case["value"][i].as_f64().unwrap(), 1e-8, &format!("{kind:?} {nugget_is:?} value {i}"));
            near(got.variance + added, case["variance"][i].as_f64().unwrap(), 1e-8, &format!("{kind:?} {nugget_is:?} variance {i}"));
        }
    }
}

/// All readings as neighbours are the whole system; few of them come near it.
#[test]
fn neighbours_come_near_the_whole() {
    let Sixty { xy, z, at, .. } = sixty();
    for nugget_is in [NuggetIs::Error, NuggetIs::Field] {
        let model = Model { kind: Kind::Exponential, sill: 0.03, range: 2.2, nugget: 0.003 };
        let whole = krige(&xy, &z, &at, model, nugget_is);
        for (count, within) in [(60, 1e-10), (100, 1e-10), (30, 0.3)] {
            let few = by_neighbours(&xy, &z, &at, model, nugget_is, count).unwrap();
            for (few, whole) in few.iter().zip(&whole) {
                // In standard deviations of the place itself.
                near(few.value, whole.value, within * whole.variance.sqrt().max(1e-3), "value");
                assert!(few.variance >= whole.variance - 1e-10, "fewer readings never know more");
            }
        }
    }
}

/// The readings nearest to a place are found wherever it lies, also far outside.
#[test]
fn neighbours_are_the_nearest() {
    let Sixty { xy, z, .. } = sixty();
    let model = Model { kind: Kind::Spherical, sill: 0.03, range: 2.2, nugget: 0.003 };
    for place in [[2.0, 2.0], [-3.0, 2.0], [9.0, 9.0], [2.5, -40.0], [0.0, 0.0]] {
        let mut order: Vec<usize> = (0..60).collect();
        order.sort_by(|a, b| distance(xy[*a], place).total_cmp(&distance(xy[*b], place)));
        let (xy8, z8): (Vec<[f64; 2]>, Vec<f64>) = order[..8].iter().map(|i| (xy[*i], z[*i])).unzip();
        let expected = krige(&xy8, &z8, &[place], model, NuggetIs::Error)[0];
        let got = by_neighbours(&xy, &z, &[place], model, NuggetIs::Error, 8).unwrap()[0];
        near(got.value, expected.value, 1e-12, "value");
        near(got.variance, expected.variance, 1e-12, "variance");
    }
}

#[test]
fn readings_at_one_place_without_nugget_get_a_ridge() {
    let model = Model { nugget: 0.0, ..five(Kind::Spherical) };
    let xy = [[0., 0.], [0., 0.], [1., 0.]];
    let tried = Kriging::new(&[1.0, 1.1, 1.0], |i, j| distance(xy[i], xy[j]), model, NuggetIs::Error);
    // A ridge of a ten-billionth of the sill tells them apart: then their mean counts, and it says so.
    assert!(tried.is_ok_and(|kriging| kriging.ridge() > 0.0));
}

/// scikit-gstat: Matheron's estimator in ten even lags.
#[test]
fn a_variogram_as_scikit_gstat_has_it() {
    let Sixty { set, xy, z, .. } = sixty();
    let expected = &set["variogram"];
    let lags = variogram::experimental(&z, |i, j| distance(xy[i], xy[j]), 10, 3.0);
    assert_eq!(lags.len(), 10);
    for (i, lag) in lags.iter().enumerate() {
        near(lag.gamma, expected["gamma"][i].as_f64().unwrap(), 1e-12, "gamma");
        assert_eq!(lag.pairs as i64, expected["pairs"][i].as_i64().unwrap());
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// A variogram drawn from a model gives the model back.
    #[test]
    fn a_fit_finds_the_model(sill in 0.1..10.0f64, range in 0.5..2.0f64, nugget in 0.0..2.0f64, spherical in prop::bool::ANY) {
        let kind = if spherical { Kind::Spherical } else { Kind::Exponential };
        let model = Model { kind, sill, range, nugget };
        let lags: Vec<Lag> = (1..=15).map(|i| f64::from(i) * 0.2).map(|h| Lag { distance: h, gamma: model.variogram(h), pairs: 50 }).collect();
        let fit = variogram::fit(&lags, kind).unwrap();
        prop_assert!((fit.range / range - 1.0).abs() < 1e-3 && (fit.sill / sill - 1.0).abs() < 2e-3 && (fit.nugget - nugget).abs() < 2e-3 * (sill + nugget), "{fit:?}");
    }

    /// Values move and stretch with the readings; variances do not care for them; far away the mean is left.
    #[test]
    fn estimates_follow_the_readings(shift in -10.0..10.0f64, stretch in 0.1..10.0f64, x in -1.0..6.0f64, y in -1.0..6.0f64) {
        let Sixty { xy, z, .. } = sixty();
        let model = Model { kind: Kind::Exponential, sill: 0.03, range: 2.2, nugget: 0.003 };
        let moved: Vec<f64> = z.iter().map(|z| z * stretch + shift).collect();
        let (one, other) = (krige(&xy, &z, &[[x, y]], model, NuggetIs::Error)[0], krige(&xy, &moved, &[[x, y]], model, NuggetIs::Error)[0]);
        prop_assert!((other.value - (one.value * stretch + shift)).abs() < 1e-9 * (stretch + shift.abs()) && (one.variance - other.variance).abs() < 1e-12);
        prop_assert!(one.variance >= 0.0);
        let kriging = Kriging::new(&z, |i, j| distance(xy[i], xy[j]), model, NuggetIs::Error).unwrap();
        let far = kriging.on_plane(&xy, &[[1e6, 1e6]])[0];
        prop_assert!((far.value - kriging.mean()).abs() < 1e-12 && far.variance > model.sill);
    }
}
