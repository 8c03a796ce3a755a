//! Against published data and general-purpose libraries.

use stats::plane::{self, Level};
use stats::{least_squares, outlier, student};

fn close(got: f64, expected: f64, relative: f64, what: &str) {
    assert!((got - expected).abs() <= relative * expected.abs().max(1e-300), "{what}: {got} against {expected}");
}

/// Longley 1967, J. Amer. Statist. Assoc. 62, 819; certified values of the NIST Statistical Reference Datasets ("Longley",
/// higher difficulty), written from memory and agreeing with statsmodels 0.15.0 on its own copy of the data.
#[test]
fn longley_comes_out_as_certified() {
    const DATA: [[f64; 7]; 16] = [
        [60323., 83.0, 234289., 2356., 1590., 107608., 1947.],
        [61122., 88.5, 259426., 2325., 1456., 108632., 1948.],
        [60171., 88.2, 258054., 3682., 1616., 109773., 1949.],
        [61187., 89.5, 284599., 3351., 1650., 110929., 1950.],
        [63221., 96.2, 328975., 2099., 3099., 112075., 1951.],
        [63639., 98.1, 346999., 1932., 3594., 113270., 1952.],
        [64989., 99.0, 365385., 1870., 3547., 115094., 1953.],
        [63761., 100.0, 363112., 3578., 3350., 116219., 1954.],
        [66019., 101.2, 397469., 2904., 3048., 117388., 1955.],
        [67857., 104.6, 419180., 2822., 2857., 118734., 1956.],
        [68169., 108.4, 442769., 2936., 2798., 120445., 1957.],
        [66513., 110.8, 444546., 4681., 2637., 121950., 1958.],
        [68655., 112.6, 482704., 3813., 2552., 123366., 1959.],
        [69564., 114.2, 502601., 3931., 2514., 125368., 1960.],
        [69331., 115.7, 518173., 4806., 2572., 127852., 1961.],
        [70551., 116.9, 554894., 4007., 2827., 130081., 1962.],
    ];
    const CERTIFIED: [[f64; 2]; 7] = [
        [-3482258.63459582, 890420.383607373],
        [15.0618722713733, 84.9149257747669],
        [-0.358191792925910e-1, 0.334910077722432e-1],
        [-2.02022980381683, 0.488399681651699],
        [-1.03322686717359, 0.214274163161675],
        [-0.511041056535807e-1, 0.226073200069370],
        [1829.15146461355, 455.478499142212],
    ];
    let design: Vec<f64> = DATA.iter().flat_map(|row| [&[1.0], &row[1..]].concat()).collect();
    let y: Vec<f64> = DATA.iter().map(|row| row[0]).collect();
    let fit = least_squares::fit(&design, 7, &y, &[1.0; 16]).unwrap();
    let scatter = fit.scatter().unwrap();
    close(scatter.sqrt(), 304.854073561965, 1e-9, "residual standard deviation");
    for (i, [estimate, deviation]) in CERTIFIED.into_iter().enumerate() {
        close(fit.beta[i], estimate, 1e-7, "estimate");
        close((fit.unscaled_cov[8 * i] * scatter).sqrt(), deviation, 1e-7, "standard deviation");
    }
    close(fit.leverages.iter().sum(), 7.0, 1e-7, "sum of leverages");
}

const TEN: [[f64; 4]; 10] = [
    [100., 80., 31.2, 0.75],
    [1150., 120., 15.4, 0.75],
    [2300., 60., 29.8, 0.75],
    [150., 900., 22.1, 0.5],
    [1200., 850., 3.2, 0.5],
    [2250., 870., 21.7, 0.5],
    [100., 1600., 33.9, 1.0],
    [1100., 1650., 18.8, 1.0],
    [2300., 1580., 32.6, 1.0],
    [600., 400., 27.9, 0.75],
];

fn levels(rows: &[[f64; 4]]) -> Vec<Level> {
    rows.iter().map(|&[x, y, z, u]| Level { x, y, z, u }).collect()
}

/// statsmodels 0.15.0, `WLS(z, [1, x, y], weights=1/u^2)`: parameters, bse with fixed scale, and scale.
#[test]
fn a_weighted_plane_agrees_with_statsmodels() {
    let plane = plane::fit(&levels(&TEN)).unwrap();
    close(plane.gradient[0], -0.000778997550843014, 1e-10, "gx");
    close(plane.gradient[1], -0.0016854761600856591, 1e-10, "gy");
    close(plane.height([0.0, 0.0]), 22.893278046057752, 1e-12, "height at the origin");
    close(plane.birge, 288.18014040741065_f64.sqrt(), 1e-12, "Birge ratio");
    close(plane.fall_towards([1.0, 0.0]).1, 0.004228002958490616, 1e-10, "u of gx, enlarged by the scatter");
    close(plane.fall_towards([0.0, -1.0]).1, 0.007610861420252202, 1e-10, "u of gy, enlarged by the scatter");
}

/// statsmodels 0.15.0, `OLS(z, [1, x, y])` and its `resid_studentized_external`.
#[test]
fn levels_without_uncertainty_take_it_from_their_scatter() {
    let bare: Vec<Level> = levels(&TEN).into_iter().map(|l| Level { u: 0.0, ..l }).collect();
    let plane = plane::fit(&bare).unwrap();
    close(plane.gradient[0], -0.000700869480847494, 1e-10, "gx");
    close(plane.fall_towards([1.0, 0.0]).1, 0.003957945269428713, 1e-10, "u of gx");
    let suspect = outlier::from_plane(&bare).unwrap().unwrap();
    assert_eq!(suspect.index, 4);
    close(suspect.studentised, -2.8581660501381188, 1e-10, "studentised residual");
}

/// A digit misread by 10 mm. statsmodels 0.15.0: studentised 46.7326, Bonferroni p 7.626e-7, leave-one-out error 10.0875.
#[test]
fn a_digit_misread_stands_out() {
    let z = [20.1, 13.4, 7.2, 20.3, 23.6, 6.9, 19.8, 13.3, 7.1];
    let levels: Vec<Level> =
        z.iter().enumerate().map(|(i, &z)| Level { x: (i % 3) as f64 * 500.0, y: (i / 3) as f64 * 500.0, z, u: 0.75 }).collect();
    let suspect = outlier::from_plane(&levels).unwrap().unwrap();
    assert_eq!(suspect.index, 4);
    close(suspect.studentised, 46.732575379596284, 1e-9, "studentised residual");
    close(suspect.p_value, 7.626399e-7, 1e-6, "Bonferroni p");
    close(suspect.off_by, 10.0875, 1e-10, "off by");
    // Left in place, the others do not stand out.
    let rest: Vec<Level> = levels.iter().enumerate().filter(|(i, _)| *i != 4).map(|(_, l)| *l).collect();
    assert!(outlier::from_plane(&rest).unwrap().unwrap().p_value > 0.2);
}

/// SciPy 1.17.1 `t.ppf`, `t.cdf`.
#[test]
fn student_agrees_with_scipy() {
    for (p, dof, t) in [
        (0.975, 9.0, 2.262157162798205),
        (0.95, 1.0, 6.313751514675037),
        (0.99, 2.5, 5.353111173030872),
        (0.975, 30.0, 2.0422724563012378),
        (0.9995, 4.0, 8.610301581379522),
        (0.6, 1000.0, 0.25341451583949876),
    ] {
        close(student::quantile(p, dof), t, 1e-9, "quantile");
        close(student::quantile(1.0 - p, dof), -t, 1e-9, "quantile of the other tail");
    }
    for (t, dof, p) in [
        (-3.2, 5.0, 0.011997588401650239),
        (0.7, 1.0, 0.6944001122142147),
        (2.0, 57.5, 0.9748842266130997),
        (12.0, 3.0, 0.9993774920996054),
    ] {
        close(student::cdf(t, dof), p, 1e-11, "cdf");
    }
    for bad in [student::quantile(1.5, 3.0), student::quantile(f64::NAN, 3.0), student::quantile(0.5, 0.0), student::cdf(1.0, -1.0)] {
        assert!(bad.is_nan());
    }
    assert_eq!(student::quantile(1.0, 3.0), f64::INFINITY);
}
