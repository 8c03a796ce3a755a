//! May a coat go on now?

use air::climate::{Input, MarginRule, Output, SheetLimits, run};
use air::moist::{dew_point_c, saturation_pa};
use measure::{Decision, Limit, Verdict};
use proptest::prelude::*;

/// The 3 K rule as packs carry it (ISO 8502-4 and ISO 12944-7 practice).
fn three_k() -> MarginRule {
    MarginRule { rule: "practice/dew-margin".into(), limit: Limit::AtLeast(3.0), source: "common practice".into(), held_back: None }
}

/// A reading without uncertainty.
fn exact(air_c: f64, rh: f64, surface_c: f64) -> Input {
    Input { air_c, rh: Some(rh), surface_c, u_air_c: Some(0.0), u_rh: Some(0.0), u_surface_c: Some(0.0), ..Input::default() }
}

fn judged(input: &Input) -> Output {
    run(input, &three_k()).expect("a reading that can be judged")
}

/// Margins by PsychroLib 2.5.0.
#[test]
fn the_margin_over_the_dew_point_decides() {
    for (air_c, rh, surface_c, margin_k, verdict) in [
        (20.0, 0.65, 16.2, 2.97278482, Verdict::FallsShort),
        (15.0, 0.85, 15.4, 2.898768261, Verdict::FallsShort),
        (12.0, 0.90, 13.5, 3.087707717, Verdict::Conforms),
    ] {
        let out = judged(&exact(air_c, rh, surface_c));
        assert!((out.margin_k - margin_k).abs() < 1e-3, "{out:?}");
        assert_eq!(out.verdict, verdict);
        assert_eq!(out.judgement, out.judgements[0]);
    }
}

/// Relative humidity at the surface by PsychroLib 2.5.0.
#[test]
fn humidity_at_the_surface_agrees() {
    for (air_c, rh, surface_c, expected) in [(20.0, 0.5, 12.0, 0.8337439134), (22.0, 0.6, 15.0, 0.930460561)] {
        assert!((judged(&exact(air_c, rh, surface_c)).surface_rh - expected).abs() < 1e-5);
    }
}

/// With the surface as warm as the air, 3 K are lost above these humidities (PsychroLib 2.5.0), all of them below 85 %.
#[test]
fn eighty_five_per_cent_does_not_imply_three_kelvins() {
    for (t_c, largest) in [(10.0, 0.8159311906), (15.0, 0.82241812), (20.0, 0.8286068605), (25.0, 0.8345132656), (35.0, 0.8455378294)] {
        assert_eq!(judged(&exact(t_c, largest - 1e-5, t_c)).verdict, Verdict::Conforms);
        assert_eq!(judged(&exact(t_c, largest + 1e-5, t_c)).verdict, Verdict::FallsShort);
        let by_humidity_alone = SheetLimits { rh_max: Some(0.85), ..SheetLimits::default() };
        let out = judged(&Input { data_sheet: Some(by_humidity_alone), ..exact(t_c, 0.849, t_c) });
        assert_eq!((out.judgements[0].verdict, out.judgements[1].verdict), (Verdict::FallsShort, Verdict::Conforms));
        assert_eq!(out.verdict, Verdict::FallsShort);
    }
}

/// One per cent of humidity moves the dew point by 0.234 K near 20 °C and 65 % (PsychroLib 2.5.0, 65 to 66 %).
#[test]
fn uncertainty_follows_from_the_readings() {
    let only = |u_air, u_rh, u_surface| {
        judged(&Input { u_air_c: Some(u_air), u_rh: Some(u_rh), u_surface_c: Some(u_surface), ..exact(20.0, 0.65, 17.0) })
    };
    assert!((only(0.0, 0.01, 0.0).u_margin_k - 0.234).abs() < 0.003);
    assert!((only(0.0, 0.0, 0.4).u_margin_k - 0.4).abs() < 1e-12);
    let all = only(0.3, 0.02, 0.4);
    let parts = [only(0.3, 0.0, 0.0).u_margin_k, only(0.0, 0.02, 0.0).u_margin_k, 0.4];
    assert!((all.u_margin_k - parts.iter().map(|u| u * u).sum::<f64>().sqrt()).abs() < 1e-12);
    assert!(all.u_dew_point_c < all.u_margin_k);
}

#[test]
fn what_is_not_given_is_assumed_and_said() {
    let out = judged(&Input { air_c: 20.0, rh: Some(0.65), surface_c: 16.5, ..Input::default() });
    let assumed: Vec<(&str, f64)> = out.assumed.iter().map(|a| (a.field.as_str(), a.value)).collect();
    assert_eq!(assumed, [("u_air_c", 0.5), ("u_rh", 0.025), ("u_surface_c", 0.5), ("pressure_pa", 101_325.0)]);
    assert_eq!(out.verdict, Verdict::NotShown);
    assert!(
        out.judgement
            .why
            .starts_with("surface 16.5 °C, 3.27 K over the dew point of 13.23 °C; at least 3 K asked; the uncertainty straddles")
    );
}

#[test]
fn one_reading_is_enough_and_the_decision_rule_is_obeyed() {
    let near = Input { u_surface_c: Some(0.5), ..exact(20.0, 0.65, 16.5) };
    assert_eq!(judged(&near).verdict, Verdict::NotShown);
    let simple = |u_max| Input { decision: Some(Decision::Simple { u_max }), ..near.clone() };
    assert_eq!(judged(&simple(0.6)).verdict, Verdict::Conforms);
    assert_eq!(judged(&simple(0.4)).verdict, Verdict::NotShown);
}

#[test]
fn every_limit_of_the_data_sheet_is_judged() {
    let sheet = SheetLimits {
        source: "sheet A, 2024-02".into(),
        air_c_min: Some(10.0),
        air_c_max: Some(30.0),
        surface_c_min: Some(10.0),
        surface_c_max: None,
        rh_max: Some(0.8),
        dew_margin_k_min: Some(5.0),
    };
    let out = judged(&Input { data_sheet: Some(sheet.clone()), ..exact(20.0, 0.5, 14.0) });
    let verdicts: Vec<(&str, Verdict)> = out.judgements.iter().map(|j| (j.rule.as_str(), j.verdict)).collect();
    assert_eq!(
        verdicts,
        [
            ("practice/dew-margin", Verdict::Conforms),
            ("data sheet: margin over the dew point", Verdict::FallsShort),
            ("data sheet: air temperature", Verdict::Conforms),
            ("data sheet: surface temperature", Verdict::Conforms),
            ("data sheet: relative humidity", Verdict::Conforms),
        ]
    );
    assert_eq!(out.verdict, Verdict::FallsShort);
    assert_eq!(out.judgement.rule, "data sheet: margin over the dew point");
    let cold = judged(&Input { data_sheet: Some(sheet), ..exact(9.9, 0.5, 9.9) });
    assert_eq!(cold.judgements[2].why, "air at 9.9 °C; between 10 and 30 °C asked");
    assert_eq!(cold.judgements[4].why, "relative humidity 50 %; at most 80 % asked");
}

#[test]
fn a_rule_nobody_verified_never_conforms() {
    let rule = MarginRule { held_back: Some("rule not verified".into()), ..three_k() };
    let verdict = |surface_c| run(&exact(20.0, 0.5, surface_c), &rule).unwrap().verdict;
    assert_eq!(verdict(20.0), Verdict::NotShown);
    assert_eq!(verdict(10.0), Verdict::FallsShort);
}

#[test]
fn frost_is_called_frost() {
    let out = judged(&exact(5.0, 0.5, 4.0));
    assert_eq!(out.frost_point_c, Some(out.dew_point_c));
    assert!((out.dew_point_c + 4.033231).abs() < 1e-3, "PsychroLib 2.5.0");
    assert!(out.judgement.why.contains("frost point of -4.03"), "{}", out.judgement.why);
    assert_eq!(judged(&exact(20.0, 0.5, 18.0)).frost_point_c, None);
}

#[test]
fn a_whirling_hygrometer_gives_the_same_answer() {
    // 20 °C, 65 %: wet bulb 15.7997 °C by PsychroLib 2.5.0.
    let input = Input { rh: None, wet_bulb_c: Some(15.7997), u_wet_bulb_c: Some(0.1), ..exact(20.0, 0.65, 17.0) };
    let out = judged(&input);
    assert!((out.dew_point_c - 13.2272).abs() < 5e-3 && (out.rh - 0.65).abs() < 2e-4, "{out:?}");
    assert!(out.u_margin_k > 0.1 && out.u_margin_k < 0.25);
}

#[test]
fn everything_out_of_bounds_is_named_at_once() {
    let input = Input {
        air_c: 120.0,
        rh: Some(65.0),
        surface_c: f64::NAN,
        pressure_pa: Some(1013.25),
        u_rh: Some(3.0),
        data_sheet: Some(SheetLimits { air_c_min: Some(30.0), air_c_max: Some(10.0), ..SheetLimits::default() }),
        ..Input::default()
    };
    assert_eq!(
        run(&input, &three_k()).unwrap_err().to_string(),
        "air_c = 120: out of bounds; between -60 and 90 °C\n\
         surface_c = NaN: out of bounds; between -60 and 90 °C\n\
         rh = 65: out of bounds; between 0 and 1 (a share; 65 % is 0.65)\n\
         pressure_pa = 1013.25: out of bounds; between 50000 and 115000 Pa\n\
         u_rh = 3: out of bounds; between 0 and 0.5 (a share; 2.5 % is 0.025)\n\
         data_sheet.air_c_min = 30: lies over air_c_max = 10; the least first"
    );
    let said = |input: Input| run(&input, &three_k()).unwrap_err().to_string();
    assert!(said(exact(20.0, 0.0, 17.0)).starts_with("rh = 0: no air is this dry"));
    assert!(said(Input { rh: None, ..exact(20.0, 0.0, 17.0) }).starts_with("rh: missing"));
    assert!(said(Input { wet_bulb_c: Some(3.0), ..exact(20.0, 0.5, 17.0) }).starts_with("wet_bulb_c: given beside rh"));
    assert!(said(Input { rh: None, wet_bulb_c: Some(21.0), ..exact(20.0, 0.5, 17.0) }).contains("are the two swapped?"));
    assert!(
        said(Input { rh: None, wet_bulb_c: Some(-20.0), ..exact(20.0, 0.5, 17.0) }).starts_with("wet_bulb_c = -20: no air is this dry")
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// Warmer surface or drier air never loses margin; whatever comes in, nothing panics and what comes out is finite.
    #[test]
    fn margin_grows_with_the_surface_and_with_dryness(air_c in -60.0..90.0f64, rh in 0.0..1.0f64, surface_c in -60.0..89.0f64, more in 0.0..1.0f64) {
        if let Ok(out) = run(&exact(air_c, rh, surface_c), &three_k()) {
            prop_assert!([out.dew_point_c, out.u_margin_k, out.humidity_ratio].iter().all(|x| x.is_finite()));
            prop_assert!(out.dew_point_c <= air_c + 1e-6);
            prop_assert!(judged(&exact(air_c, rh, surface_c + more)).margin_k >= out.margin_k);
            if let Ok(drier) = run(&exact(air_c, rh * (1.0 - more), surface_c), &three_k()) {
                prop_assert!(drier.margin_k >= out.margin_k - 1e-9);
            }
            // Between the two curves at the triple point a sliver of pressures has no exact inverse.
            let dew = dew_point_c(rh * saturation_pa(air_c)).unwrap();
            prop_assert!((saturation_pa(dew) / (rh * saturation_pa(air_c)) - 1.0).abs() < 1e-4);
        }
    }
}
