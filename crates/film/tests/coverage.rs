//! Litres against area.

use film::coverage::{Coats, Film, Input, LitresBy, Reason, run};
use measure::Verdict;
use proptest::prelude::*;

fn used(litres: f64, area_m2: f64, solids_by_volume: f64) -> Input {
    Input { litres: Some(litres), area_m2, solids_by_volume, ..Input::default() }
}

fn near(got: f64, expected: f64, relative: f64) {
    assert!((got / expected - 1.0).abs() <= relative, "{got} against {expected}");
}

/// Definitions: 1000 µm at 55 % leave 550, thinned by 5 % 523.8095; 18 kg at 1.4 kg/L on 11.5 m2 at 62 % leave 693.1677; a
/// US gallon (231 cubic inches) covers 1604.1667 square feet at one mil.
#[test]
fn litres_make_a_film() {
    let out = run(&used(10.0, 10.0, 0.55)).unwrap();
    near(out.wft_um, 1000.0, 1e-12);
    near(out.dft_um, 550.0, 1e-12);
    near(run(&Input { thinning: Some(0.05), ..used(10.0, 10.0, 0.55) }).unwrap().dft_um, 523.8095238, 1e-9);
    let weighed = Input { litres: None, mass_kg: Some(18.0), density_kg_l: Some(1.4), ..used(0.0, 11.5, 0.62) };
    near(run(&weighed).unwrap().wft_um, 1118.012422, 1e-9);
    near(run(&weighed).unwrap().dft_um, 693.1677019, 1e-9);
    let gallon = run(&used(3.785411784, 1604.1666666667 * 0.09290304, 1.0)).unwrap();
    near(gallon.wft_um, 25.4, 1e-9);
    near(run(&Input { loss_share: Some(0.1), ..used(10.0, 10.0, 0.55) }).unwrap().dft_um, 495.0, 1e-12);
}

/// By hand: relative parts 5 % (litres), 2 % (area), 3 % (solids), 2 % of 90 % (loss).
#[test]
fn uncertainty_is_the_root_of_the_squares() {
    let input = Input {
        loss_share: Some(0.1),
        u_litres: Some(0.5),
        u_area_m2: Some(0.2),
        u_solids_by_volume: Some(0.0165),
        u_loss_share: Some(0.018),
        ..used(10.0, 10.0, 0.55)
    };
    let out = run(&input).unwrap();
    near(out.u_wft_um, 900.0 * (0.0025f64 + 0.0004 + 0.0004).sqrt(), 1e-12);
    near(out.u_dft_um, 495.0 * (0.0025f64 + 0.0004 + 0.0004 + 0.0009).sqrt(), 1e-12);
    assert!(out.assumed.is_empty());
}

#[test]
fn what_is_not_said_is_assumed_and_listed() {
    let by_eye = run(&used(10.0, 10.0, 0.55)).unwrap();
    let assumed: Vec<(&str, f64)> = by_eye.assumed.iter().map(|a| (a.field.as_str(), a.value)).collect();
    assert_eq!(
        assumed,
        [("u_litres", 1.25), ("u_area_m2", 0.1), ("u_solids_by_volume", 0.015), ("loss_share", 0.0), ("u_loss_share", 0.02)]
    );
    let weighed = run(&Input { litres_by: Some(LitresBy::Weighed), ..used(10.0, 10.0, 0.55) }).unwrap();
    assert!(weighed.assumed[0].value == 0.5 && weighed.u_dft_um < by_eye.u_dft_um);
    let counted = run(&Input { litres_by: Some(LitresBy::Counted), ..used(10.0, 10.0, 0.55) }).unwrap();
    assert!(counted.assumed[0].value == 0.75 && weighed.u_dft_um < counted.u_dft_um && counted.u_dft_um < by_eye.u_dft_um);
}

/// Each disagreement says which way.
#[test]
fn a_disagreement_says_which_way() {
    let base = Input { litres_by: Some(LitresBy::Weighed), ..used(20.0, 10.0, 0.55) }; // 2000 wet, 1100 dry
    let film = |mean_um: f64| Some(Film { mean_um, u_um: 0.03 * mean_um });
    let coats = Some(Coats { due: 2, each_um: 550.0 });
    let table: [(Input, Option<bool>, &[Reason]); 8] = [
        (base.clone(), None, &[]),
        (Input { wet: film(1950.0), dry: film(1120.0), coats, ..base.clone() }, Some(true), &[]),
        (Input { dry: film(1700.0), ..base.clone() }, Some(false), &[Reason::AreaTooLarge]),
        (Input { wet: film(1990.0), dry: film(800.0), ..base.clone() }, Some(false), &[Reason::Thinned, Reason::AreaTooSmall]),
        (Input { wet: film(1300.0), dry: film(700.0), ..base.clone() }, Some(false), &[Reason::AreaTooSmall]),
        (Input { litres: Some(11.0), coats, ..base.clone() }, Some(false), &[Reason::CoatMissing]),
        (Input { litres: Some(11.0), coats, dry: film(1090.0), ..base.clone() }, Some(false), &[Reason::CoatMissing, Reason::AreaTooLarge]),
        // Too much used is not a missing coat.
        (Input { litres: Some(30.0), coats, ..base.clone() }, Some(false), &[]),
    ];
    for (input, agree, reasons) in table {
        let out = run(&input).unwrap();
        let found: Vec<Reason> = out.points_at.iter().map(|p| p.reason).collect();
        assert_eq!((out.agree, found.as_slice()), (agree, reasons), "{out:?}");
    }
}

#[test]
fn litres_are_judged_against_what_is_asked() {
    let with = |limit| run(&Input { limit_um: Some(limit), litres_by: Some(LitresBy::Weighed), ..used(20.0, 10.0, 0.55) }).unwrap();
    let verdict = |limit| with(limit).judgement.unwrap().verdict;
    assert_eq!([verdict(900.0), verdict(1100.0), verdict(1300.0)], [Verdict::Conforms, Verdict::NotShown, Verdict::FallsShort]);
    assert_eq!(with(900.0).judgement.unwrap().why, "dry film of 1100 µm from the litres; mean of at least 900 µm asked");
}

#[test]
fn everything_wrong_is_named_at_once() {
    let input = Input {
        mass_kg: Some(3.0),
        thinning: Some(f64::NAN),
        loss_share: Some(1.0),
        dry: Some(Film { mean_um: 0.0, u_um: -1.0 }),
        coats: Some(Coats { due: 1, each_um: 500.0 }),
        ..used(10.0, 0.0, 55.0)
    };
    let said = run(&input).unwrap_err().to_string();
    for field in ["mass_kg", "area_m2", "solids_by_volume", "thinning", "loss_share", "dry.mean_um", "dry.u_um", "coats.due"] {
        assert!(said.lines().any(|line| line.starts_with(field)), "{field} in\n{said}");
    }
    assert!(run(&Input { litres: None, ..used(0.0, 1.0, 0.5) }).unwrap_err().to_string().starts_with("litres: missing"));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Twice the litres over twice the area is the same film; uncertainty never goes below that of its parts.
    #[test]
    fn film_follows_the_spread_rate(litres in 0.01..500.0f64, area in 0.05..500.0f64, solids in 0.05..1.0f64, times in 0.5..4.0f64) {
        let (one, other) = (run(&used(litres, area, solids)).unwrap(), run(&used(litres * times, area * times, solids)).unwrap());
        prop_assert!((one.dft_um / other.dft_um - 1.0).abs() < 1e-12 && (one.u_dft_um / other.u_dft_um - 1.0).abs() < 1e-9);
        prop_assert!(one.u_dft_um / one.dft_um >= one.u_wft_um / one.wft_um);
    }
}
