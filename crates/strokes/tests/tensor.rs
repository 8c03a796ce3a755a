//! The tensor beside scikit-image and beside theory.

use measure::math;
use std::f64::consts::TAU;
use strokes::tensor::{Row, scan};
use strokes::{Sums, whole};

fn wave(wavelength: f64, deg: f64, x: usize, y: usize) -> f64 {
    let turn = deg.to_radians();
    0.5 + 0.5 * math::cos(TAU / wavelength * (x as f64 * math::cos(turn) + y as f64 * math::sin(turn)))
}

fn picture(side: usize, at: impl Fn(usize, usize) -> f64) -> Vec<f32> {
    (0..side * side).map(|i| at(i % side, i / side) as f32).collect()
}

fn tensor_at(side: usize, sigma: f64, values: &[f32], x: usize, y: usize) -> [f64; 3] {
    let mut found = [f64::NAN; 3];
    let source = |row: usize, out: &mut [f32]| out.copy_from_slice(&values[row * side..(row + 1) * side]);
    scan(side, side, sigma, source, |row, Row { rr, rc, cc }| {
        if row == y {
            found = [rr[x], rc[x], cc[x]].map(f64::from);
        }
    });
    found
}

fn gradient_deg([rr, rc, cc]: [f64; 3]) -> f64 {
    (0.5 * math::atan2(2.0 * rc, cc - rr)).to_degrees()
}

#[test]
fn tensor_of_gratings_has_the_digits_of_scikit_image() {
    for line in include_str!("gratings.csv").lines().filter(|line| !line.starts_with('#')) {
        let n: Vec<f64> = line.split(',').map(|n| n.trim().parse().unwrap()).collect();
        let found = tensor_at(32, 2.0, &picture(32, |x, y| wave(n[0], n[1], x, y)), 16, 16);
        for (ours, theirs) in found.iter().zip(&n[2..5]) {
            assert!((ours - theirs).abs() <= 1e-6 * theirs.abs() + 1e-9, "{line}: {found:?}");
        }
        assert!((gradient_deg(found) - n[5]).abs() < 1e-4, "{line}: {}", gradient_deg(found));
    }
}

/// Derivative of a wave by 3 by 3 Sobel: `sin(kx) (1 + cos(ky))` along the row and the like down it, so the angle reads
/// `atan2(tan(ky/2), tan(kx/2))`.
#[test]
fn sobel_turns_gratings_as_theory_says() {
    for (wavelength, deg) in [(8.0, 30.0), (16.0, 20.0), (6.0, 70.0), (10.0, 10.0), (20.0, 55.0)] {
        let k = TAU / wavelength;
        let turn = f64::to_radians(deg);
        let theory = math::atan2(math::tan(0.5 * k * math::sin(turn)), math::tan(0.5 * k * math::cos(turn))).to_degrees();
        let found = gradient_deg(tensor_at(96, 5.0, &picture(96, |x, y| wave(wavelength, deg, x, y)), 48, 48));
        assert!((found - theory).abs() < 0.02, "{wavelength} px, {deg}: {found} beside {theory}");
        assert!((found - deg).abs() < 1.5, "the bias itself is small");
    }
    // SciPy 1.17.1: ndimage.sobel and gaussian_filter, mode nearest.
    let found = gradient_deg(tensor_at(32, 2.0, &picture(32, |x, y| wave(16.0, 20.0, x, y)), 16, 16));
    assert!((found - 19.817768).abs() < 1e-4, "{found}");
}

/// scikit-image 0.26.0: 256 by 256, squares of 64 px with waves of 16 px at 30 and 120 degrees in turn, Gaussian of 2 px.
#[test]
fn checkerboard_of_crossed_gratings_has_low_r2_and_high_r4() {
    let square = |x: usize, y: usize| if (x / 64 + y / 64).is_multiple_of(2) { 30.0 } else { 120.0 };
    let sums: Sums = whole(256, 256, 2.0, &picture(256, |x, y| wave(16.0, square(x, y), x, y)));
    for (what, ours, theirs, printed) in
        [("coherence", sums.coherence(), 0.0055, 5e-5), ("R2", sums.r2(), 0.0082, 5e-5), ("R4", sums.r4(), 0.749, 5e-4)]
    {
        assert!((ours - theirs).abs() <= printed, "{what}: {ours} beside {theirs}");
    }
}

#[test]
fn one_grating_is_coherent_in_every_measure() {
    let sums = whole(128, 128, 1.0, &picture(128, |x, y| wave(12.0, 45.0, x, y)));
    assert!(sums.coherence() > 0.99 && sums.r2() > 0.98 && sums.r4() > 0.95, "{} {} {}", sums.coherence(), sums.r2(), sums.r4());
    assert!((sums.gradient_deg() - 45.0).abs() < 0.1);
}

#[test]
fn tensor_of_a_turned_picture_is_turned() {
    let values = picture(64, |x, y| wave(9.0, 25.0, x, y) + 0.3 * wave(5.0, 80.0, x, y));
    let turned: Vec<f32> = (0..64 * 64).map(|i| values[(i % 64) * 64 + i / 64]).collect();
    let (a, b) = (whole(64, 64, 1.5, &values), whole(64, 64, 1.5, &turned));
    assert!((a.tensor[0] - b.tensor[2]).abs() < 1e-4 * a.tensor[0]);
    assert!((a.gradient_deg() + b.gradient_deg() - 90.0).abs() < 1e-3);
    assert!((a.r2() - b.r2()).abs() < 1e-5 && (a.r4() - b.r4()).abs() < 1e-5);
}

#[test]
fn pictures_smaller_than_the_gaussian_are_whole() {
    for side in [1, 2, 3, 5] {
        let mut rows = 0;
        scan(
            side,
            side,
            3.0,
            |_, out| out.fill(7.0),
            |y, row| {
                assert_eq!(y, rows);
                rows += 1;
                assert!(row.rr.iter().chain(row.rc).chain(row.cc).all(|v| *v == 0.0));
            },
        );
        assert_eq!(rows, side);
    }
    scan(0, 5, 1.0, |_, _| panic!("no rows"), |_, _| panic!("no rows"));
}
