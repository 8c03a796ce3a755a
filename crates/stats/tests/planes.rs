//! What holds for every plane.

use proptest::prelude::*;
use stats::plane::{self, Level, NotAPlane};

fn level(x: f64, y: f64, z: f64) -> Level {
    Level { x, y, z, u: 0.75 }
}

#[test]
fn what_is_no_plane_says_why() {
    let line: Vec<Level> = (0..6).map(|i| level(100.0 * f64::from(i), 50.0 * f64::from(i) + 3.0, f64::from(i))).collect();
    assert_eq!(plane::fit(&line), Err(NotAPlane::Collinear));
    assert_eq!(plane::fit(&[level(1.0, 2.0, 3.0); 4]), Err(NotAPlane::Collinear));
    assert_eq!(plane::fit(&line[..2]), Err(NotAPlane::TooFew));
    assert_eq!(plane::fit(&[]), Err(NotAPlane::TooFew));
}

#[test]
fn three_levels_have_no_scatter_and_keep_their_own_uncertainty() {
    let plane = plane::fit(&[level(0.0, 0.0, 0.0), level(1000.0, 0.0, -15.0), level(0.0, 1000.0, 0.0)]).unwrap();
    assert_eq!((plane.dof, plane.birge), (0, 1.0));
    let (fall, u) = plane.fall_towards([1.0, 0.0]);
    assert!((fall - 0.015).abs() < 1e-15);
    assert!((u - 2.0_f64.sqrt() * 0.75 / 1000.0).abs() < 1e-12, "two levels 1 m apart decide the fall along x");
}

prop_compose! {
    fn survey()(places in prop::collection::vec((0.0..3000.0f64, 0.0..2000.0f64, -2.0..2.0f64), 4..25)) -> Vec<Level> {
        places.into_iter().map(|(x, y, noise)| level(x, y, 20.0 - 0.015 * x + 0.004 * y + noise)).collect()
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    #[test]
    fn an_exact_plane_is_found_whatever_its_tilt(gx in -0.1..0.1f64, gy in -0.1..0.1f64, z0 in -500.0..500.0f64, mut levels in survey()) {
        prop_assume!(!plane::collinear(&levels));
        for l in &mut levels {
            l.z = z0 + gx * l.x + gy * l.y;
        }
        let plane = plane::fit(&levels).unwrap();
        let spread = plane.cov[1][1].max(plane.cov[2][2]).sqrt();
        prop_assert!((plane.gradient[0] - gx).abs() < 1e-9 * (1.0 + spread * 1e3), "{} {gx}", plane.gradient[0]);
        prop_assert!((plane.gradient[1] - gy).abs() < 1e-9 * (1.0 + spread * 1e3), "{} {gy}", plane.gradient[1]);
        prop_assert_eq!(plane.birge, 1.0);
    }

    #[test]
    fn moving_and_turning_the_room_changes_nothing_but_the_direction(levels in survey(), dx in -1e5..1e5f64, dy in -1e5..1e5f64, dz in -1e3..1e3f64, turn in 0.0..std::f64::consts::TAU) {
        prop_assume!(!plane::collinear(&levels));
        let (sin, cos) = (measure::math::sin(turn), measure::math::cos(turn));
        let moved: Vec<Level> = levels.iter().map(|l| Level { x: cos * l.x - sin * l.y + dx, y: sin * l.x + cos * l.y + dy, z: l.z + dz, u: l.u }).collect();
        let (a, b) = (plane::fit(&levels).unwrap(), plane::fit(&moved).unwrap());
        let (fall_a, u_a) = a.fall_towards([1.0, 0.0]);
        let (fall_b, u_b) = b.fall_towards([cos, sin]);
        prop_assert!((fall_a - fall_b).abs() < 1e-7 * u_a.max(1e-3), "{fall_a} {fall_b}");
        prop_assert!((u_a - u_b).abs() < 1e-6 * u_a);
        prop_assert!((a.birge - b.birge).abs() < 1e-6 * a.birge);
    }

    #[test]
    fn scatter_beyond_the_stated_uncertainty_widens_it(levels in survey(), factor in 1.0..20.0f64) {
        prop_assume!(!plane::collinear(&levels));
        let a = plane::fit(&levels).unwrap();
        let rough: Vec<Level> = levels.iter().zip(&a.residuals).map(|(l, e)| Level { z: l.z + (factor - 1.0) * e, ..*l }).collect();
        let b = plane::fit(&rough).unwrap();
        prop_assert!(b.birge >= a.birge * (1.0 - 1e-9) && b.birge <= a.birge.max(1.0) * factor * (1.0 + 1e-6));
        prop_assert!((b.gradient[0] - a.gradient[0]).abs() < 1e-6 * a.cov[1][1].sqrt(), "residuals are orthogonal to the plane");
    }
}
