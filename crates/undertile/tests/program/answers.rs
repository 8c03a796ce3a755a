//! Answers that can be worked out by hand or stand in another library, through the command line.

use crate::examples::input;
use crate::run::{compute, undertile};
use serde_json::{Value, json};

/// Checks named numbers of an answer, each within its tolerance.
fn check(name: &str, input: &Value, expected: &[(&str, f64, f64)]) {
    let answer = compute(name, input);
    for (place, value, tolerance) in expected {
        let found = answer.pointer(place).and_then(Value::as_f64).unwrap_or_else(|| panic!("{name}: no number at {place} in {answer:#}"));
        assert!((found - value).abs() <= *tolerance, "{name}: {place} is {found}, expected {value} within {tolerance}");
    }
}

/// The example with one field changed.
fn with(name: &str, field: &str, value: Value) -> Value {
    let mut input = input(name);
    input[field] = value;
    input
}

/// By hand: 4 mm over one cell of 100 mm is 0.01 m2 and 0.04 L.
#[test]
fn a_pit_holds_water_to_its_brim() {
    check(
        "ponding",
        &input("ponding"),
        &[
            ("/ponds/0/depth_max_mm", 4.0, 1e-9),
            ("/ponds/0/area_m2", 0.01, 1e-12),
            ("/ponds/0/volume_l", 0.04, 1e-12),
            ("/ponds/0/deepest_mm/0", 250.0, 1e-9),
            ("/ponds/0/deepest_mm/1", 250.0, 1e-9),
            ("/ponds/0/spill_mm/2", 10.0, 1e-9),
            ("/volume_l", 0.04, 1e-12),
            ("/area_m2", 0.01, 1e-12),
        ],
    );
}

/// By hand: water below the depth that is ignored is no pond.
#[test]
fn a_pit_shallower_than_what_is_ignored_is_no_pond() {
    let answer = compute("ponding", &with("ponding", "depth_ignored_mm", json!(5)));
    assert_eq!(answer["ponds"], json!([]));
}

/// By hand: the plane falls 1:80 everywhere.
#[test]
fn a_plane_of_1_to_80_lies_inside_1_to_100_and_1_to_50() {
    let question = input("falls");
    check(
        "falls",
        &question,
        &[("/fall_median", 0.0125, 1e-6), ("/share_within", 1.0, 0.02), ("/share_backfall", 0.0, 1e-9), ("/area_m2", 1.6, 0.08)],
    );
    assert_eq!(compute("falls", &question)["verdict"], "conforms");
}

/// By hand: the same plane asked for 1:60 is too flat everywhere.
#[test]
fn a_plane_of_1_to_80_falls_short_of_1_to_60() {
    let question = with("falls", "fall_min", json!("1:60"));
    check("falls", &question, &[("/share_flatter", 1.0, 0.02)]);
    assert_eq!(compute("falls", &question)["verdict"], "falls short");
}

/// JCGM 106:2012: no decision without enough readings; the least number is three.
#[test]
fn two_levels_show_nothing() {
    let mut question = input("falls");
    question["surface"]["readings"].as_array_mut().unwrap().truncate(2);
    let ran = undertile(&["compute", "falls"], question.to_string().as_bytes());
    // No surface can be laid through two levels: refusing is as good as showing nothing; passing is not.
    match ran.code {
        Some(0) => assert_eq!(serde_json::from_str::<Value>(&ran.out).unwrap()["verdict"], "not shown"),
        code => assert_eq!(code, Some(2)),
    }
}

/// By hand: 20 mm over a square metre is 20 L, which 12 L/min bring in 100 s.
#[test]
fn a_blocked_tray_runs_over_at_the_door_after_100_s() {
    let question = input("overflow");
    check("overflow", &question, &[("/first/after_s", 100.0, 1e-6), ("/first/level_mm", 20.0, 1e-9), ("/first/volume_l", 20.0, 1e-9)]);
    assert_eq!(compute("overflow", &question)["first"]["opening"], "door");
}

/// By hand: 9 L/min for 10 minutes are 90 L, and on a floor without ponds all of it reaches the outlet.
#[test]
fn all_shower_water_reaches_the_outlet() {
    check(
        "exposure",
        &input("exposure"),
        &[("/balance/in", 90.0, 1e-9), ("/balance/outlets/c1", 90.0, 1e-6), ("/balance/left_standing", 0.0, 1e-9)],
    );
}

/// By hand: 20 + 15.2 at the waste, 210 - 35.2 over it; uncertainties after JCGM 100:2008 (GUM), equation 10.
#[test]
fn finished_levels_are_sums_with_their_uncertainty() {
    let u_layers = (0.2_f64 * 0.2 + 0.8 * 0.8 + 0.2 * 0.2).sqrt();
    check(
        "build-up",
        &input("build-up"),
        &[
            ("/layers_mm", 15.2, 1e-9),
            ("/u_layers_mm", u_layers, 1e-9),
            ("/points/0/finished_mm", 35.2, 1e-9),
            ("/points/1/u_finished_mm", (u_layers * u_layers + 1.2 * 1.2).sqrt(), 1e-9),
            ("/grates/0/beside/0/difference_mm", 1.2, 1e-9),
            ("/upturns/0/beside/0/difference_mm", 174.8, 1e-9),
            ("/water_stops/0/membrane_share", 0.8, 1e-9),
        ],
    );
}

/// PsychroLib 2.5.0, SI units, 101 325 Pa (ASHRAE Handbook Fundamentals 2017, chapter 1, equations 5 and 6); tolerance of
/// the dew point 0.001 K, of the vapour pressure 1e-6 of its value.
#[test]
fn dew_points_are_those_of_a_psychrometric_library() {
    for (air_c, rh, vapour_pa, dew_point_c) in [
        (5, 0.85, 741.6136561, 2.691487983),
        (15, 0.85, 1449.630625, 12.50123174),
        (20, 0.5, 1169.40185, 9.272392288),
        (30, 0.5, 2123.015122, 18.44663986),
    ] {
        check(
            "climate",
            &json!({ "air_c": air_c, "rh": rh, "surface_c": air_c }),
            &[
                ("/vapour_pa", vapour_pa, 1e-6 * vapour_pa),
                ("/dew_point_c", dew_point_c, 1e-3),
                ("/margin_k", f64::from(air_c) - dew_point_c, 1e-3),
            ],
        );
    }
}

/// Every verdict carries the fields that every door promises.
#[test]
fn verdicts_carry_what_they_rest_on() {
    for name in ["falls", "climate"] {
        let answer = compute(name, &input(name));
        let verdict = &answer["judgement"];
        assert_eq!(answer["verdict"], verdict["verdict"], "{name}: the verdict and what it rests on agree");
        for field in ["verdict", "value", "u", "limit", "unit", "prob_conforms", "grade", "rule", "source", "why"] {
            assert!(verdict.get(field).is_some(), "{name}: a verdict without `{field}`: {verdict:#}");
        }
        assert!(["conforms", "falls short", "not shown"].contains(&verdict["verdict"].as_str().unwrap()));
        assert!(!verdict["why"].as_str().unwrap().contains('\n'), "why is one line");
    }
}

/// The pixels of the example once more, as a PNG file beside the input.
#[test]
fn a_picture_file_gives_the_answer_of_its_pixels() {
    let pixels = input("strokes");
    let mut points = pixels.clone();
    points["image"] = json!({});
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/examples/strokes.png");
    let ran = undertile(&["compute", "strokes", "--picture", file], points.to_string().as_bytes());
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""));
    assert_eq!(serde_json::from_str::<Value>(&ran.out).unwrap(), compute("strokes", &pixels));
}

#[test]
fn a_picture_that_cannot_be_looked_at_is_refused() {
    let points = input("strokes").to_string();
    let here = concat!(env!("CARGO_MANIFEST_DIR"), "/Cargo.toml");
    for (name, file, what) in [
        ("strokes", here, "neither PNG nor JPEG"),
        ("strokes", "nowhere.jpg", "cannot be read"),
        ("strokes", ".", "cannot be read"),
        ("falls", here, "looks at none"),
    ] {
        let ran = undertile(&["compute", name, "--picture", file], points.as_bytes());
        assert!(ran.code == Some(2) && ran.err.contains(what), "{ran:?}");
    }
}
