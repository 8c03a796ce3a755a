use super::*;
use crate::test_rooms::{heron_row, room};
use measure::{Verdict, math};
use serde_json::{Value, json};

fn input(fields: Value) -> Input {
    serde_json::from_value(fields).expect("a test input is well formed")
}

fn output(fields: Value) -> Output {
    run(&input(fields)).unwrap_or_else(|problems| panic!("{problems}"))
}

fn near(found: Option<f64>, expected: f64) {
    let found = found.expect("a value");
    assert!((found - expected).abs() < 1e-9, "{found}, by hand {expected}");
}

fn bed_and_tile() -> Value {
    json!([{"kind": "over-screed-membrane", "thickness_mm": 1.2, "u_mm": 0.2}, {"kind": "bed", "thickness_mm": 4, "u_mm": 0.8},
           {"kind": "tile", "thickness_mm": 10, "u_mm": 0.2}])
}

/// Sums and uncertainties by hand after JCGM 100:2008 (GUM), 5.1.2 equation 10.
#[test]
fn finished_levels_agree_with_hand_calculation() {
    let out = output(json!({
        "layers": bed_and_tile(),
        "points": [{"name": "waste", "x_mm": 0, "y_mm": 0, "base_mm": 20.0, "u_mm": 0.5}, {"name": "door", "x_mm": 1000, "y_mm": 0, "base_mm": 33.0, "u_mm": 1.2}]
    }));
    near(out.layers_mm, 15.2);
    // sqrt(0.04 + 0.64 + 0.04)
    near(out.u_layers_mm, 0.72_f64.sqrt());
    near(out.points[0].finished_mm, 35.2);
    near(out.points[0].u_finished_mm, (0.72_f64 + 0.25).sqrt());
    near(out.points[1].finished_mm, 48.2);
    near(Some(out.points[1].over_lowest_mm), 13.0);
    // 0.5 and 1.2 alone: sqrt(0.25 + 1.44) = 1.3; the layers are common to both
    near(Some(out.points[1].u_over_lowest_mm), 1.3);
}

/// The uncertainty of what is reported against propagation of distributions (JCGM 101:2008) with the same shared layers.
#[test]
fn uncertainties_agree_with_simulated_distributions() {
    let mut state = 0x2545_f491_4f6c_dd1d_u64;
    let mut normal = move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        math::normal_quantile(((state >> 11) as f64 + 0.5) / 9_007_199_254_740_992.0)
    };
    let (mut level, mut difference, mut tile_over_grate) = (Vec::new(), Vec::new(), Vec::new());
    for _ in 0..40_000 {
        let layers = 15.2 + 0.2 * normal() + 0.8 * normal() + 0.2 * normal();
        let (a, b, grate) = (20.0 + 0.5 * normal(), 33.0 + 1.2 * normal(), 34.0 + 0.6 * normal());
        level.push(b + layers);
        difference.push((b + layers) - (a + layers));
        tile_over_grate.push(a + layers - grate);
    }
    let deviation = |values: &[f64]| {
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        (values.iter().map(|v| math::sq(v - mean)).sum::<f64>() / (values.len() - 1) as f64).sqrt()
    };
    let out = output(json!({
        "layers": bed_and_tile(),
        "points": [{"name": "waste", "x_mm": 0, "y_mm": 0, "base_mm": 20.0, "u_mm": 0.5}, {"name": "door", "x_mm": 1000, "y_mm": 0, "base_mm": 33.0, "u_mm": 1.2}],
        "grates": [{"id": "g", "level_mm": 34.0, "u_mm": 0.6, "beside": ["waste"]}]
    }));
    // the standard deviation of 40,000 draws is itself good to 0.35 %
    let agrees = |found: f64, simulated: f64| assert!((found / simulated - 1.0).abs() < 0.015, "{found} against {simulated}");
    agrees(out.points[1].u_finished_mm.unwrap(), deviation(&level));
    agrees(out.points[1].u_over_lowest_mm, deviation(&difference));
    agrees(out.grates[0].beside[0].u_difference_mm.unwrap(), deviation(&tile_over_grate));
}

#[test]
fn tile_over_the_grate_is_positive_and_judged_at_its_worst_point() {
    let limit = json!({"at_least_mm": 0, "at_most_mm": 2, "rule": "tile-over-grate", "source": "project"});
    let out = output(json!({
        "layers": [{"kind": "tile", "thickness_mm": 10}],
        "points": [{"name": "left", "x_mm": 0, "y_mm": 0, "base_mm": 25}, {"name": "right", "x_mm": 100, "y_mm": 0, "base_mm": 23}],
        "grates": [{"id": "waste", "level_mm": 34, "u_mm": 0.1, "beside": ["left", "right"], "x_mm": 50, "y_mm": 0, "limit": limit}]
    }));
    let grate = &out.grates[0];
    near(grate.beside[0].difference_mm, 1.0);
    near(grate.beside[1].difference_mm, -1.0);
    near(grate.beside[1].away_mm, 50.0);
    let verdict = grate.verdict.as_ref().unwrap();
    assert_eq!(verdict.verdict, Verdict::FallsShort);
    assert_eq!(verdict.why, "the tile lies 1 mm under the grate of waste at right, 0 to 2 asked");
}

#[test]
fn the_nearest_point_counts_when_none_is_named() {
    let out = output(json!({
        "points": [{"name": "far", "x_mm": 900, "y_mm": 0, "base_mm": 10}, {"name": "near", "x_mm": 100, "y_mm": 0, "base_mm": 2}],
        "thresholds": [{"id": "door", "level_mm": 15, "x_mm": 0, "y_mm": 0}],
        "upturns": [{"id": "w1", "top_mm": 152, "x_mm": 1000, "y_mm": 0}, {"id": "w2", "top_mm": 150, "u_mm": 0.6, "finished_mm": 30, "u_finished_mm": 0.8}]
    }));
    near(out.thresholds[0].beside[0].difference_mm, 13.0);
    assert_eq!(out.thresholds[0].beside[0].point, "near");
    near(out.upturns[0].beside[0].difference_mm, 142.0);
    near(out.upturns[1].beside[0].difference_mm, 120.0);
    near(out.upturns[1].beside[0].u_difference_mm, 1.0);
    assert!(out.thresholds[0].verdict.is_none(), "no limit, no verdict");
}

/// A water stop of 40 mm on a foot at 0, the membrane 30 mm up its leg, the floor rising along it.
#[test]
fn a_water_stop_is_followed_mark_by_mark() {
    let out = output(json!({
        "layers": bed_and_tile(),
        "water_stops": [{"id": "ws", "foot_mm": 0, "leg_mm": 40, "u_mm": 0.3, "u_leg_mm": 0.4, "membrane_on_leg_mm": 30, "u_membrane_on_leg_mm": 0.5,
            "marks": [{"along_mm": 0, "base_mm": 10, "u_mm": 0.5}, {"along_mm": 600, "base_mm": 18.8, "u_mm": 0.5}, {"along_mm": 1200, "base_mm": 26}],
            "cut": 5,
            "height_limit": {"at_least_mm": 5, "rule": "water-stop-over-floor", "source": "test"},
            "membrane_limit": {"at_least_mm": 25, "rule": "leg-covered", "source": "test"}}]
    }));
    let stop = &out.water_stops[0];
    let [a, b, c] = &stop.marks[..] else { panic!("three marks") };
    // finished 25.2, 34.0, 41.2; the top at 40
    near(a.finished_mm, 25.2);
    near(a.height_mm, 14.8);
    near(b.height_mm, 6.0);
    near(c.height_mm, -1.2);
    // top = foot + leg: 0.3² + 0.4² = 0.25; finished: 0.72 + 0.25
    near(a.u_height_mm, (0.25_f64 + 0.72 + 0.25).sqrt());
    near(a.covered_mm, 25.2);
    near(a.covered_share, 0.63);
    near(c.covered_mm, 40.0);
    near(c.covered_share, 1.0);
    near(a.membrane_over_finished_mm, 4.8);
    near(b.membrane_over_finished_mm, -4.0);
    near(stop.membrane_share, 0.75);
    // the cut 5 over the floor: 30.2, 39.0, 46.2 over the foot; the last is past the leg
    near(a.cut_over_foot_mm, 30.2);
    near(a.u_cut_over_foot_mm, (0.72_f64 + 0.25 + 0.09).sqrt());
    near(b.cut_over_foot_mm, 39.0);
    assert_eq!((&a.cut_fails, &b.cut_fails), (&None, &None));
    assert_eq!(c.cut_fails.as_deref(), Some("the leg ends 6.2 mm below the cut"));
    let height = stop.height_verdict.as_ref().unwrap();
    assert_eq!(height.verdict, Verdict::FallsShort);
    assert!(
        height.why.starts_with("water stop ws stands -1.2 mm over the finished floor 1200 mm along, at least 5 asked"),
        "{}",
        height.why
    );
    assert_eq!(stop.membrane_verdict.as_ref().unwrap().verdict, Verdict::Conforms);
}

#[test]
fn a_flush_cut_lies_at_the_finished_floor() {
    let out = output(json!({
        "water_stops": [{"id": "ws", "foot_mm": -20, "top_mm": 20, "cut": "flush", "marks": [{"along_mm": 0, "base_mm": -2}, {"along_mm": 9, "base_mm": -25}]}]
    }));
    let marks = &out.water_stops[0].marks;
    near(marks[0].cut_over_foot_mm, 18.0);
    near(marks[0].height_mm, 22.0);
    assert_eq!(marks[1].cut_fails.as_deref(), Some("the cut would lie 5 mm below the foot"));
    near(marks[1].covered_mm, 0.0);
}

#[test]
fn an_unknown_layer_leaves_results_unknown_and_no_verdict_is_a_pass() {
    let limit = json!({"at_least_mm": 5, "rule": "r", "source": "s"});
    let out = output(json!({
        "layers": [{"kind": "bed"}, {"kind": "tile", "thickness_mm": 10}],
        "points": [{"name": "p", "x_mm": 0, "y_mm": 0, "base_mm": 0}],
        "grates": [{"id": "g", "level_mm": 5, "limit": limit}],
        "upturns": [{"id": "u", "top_mm": 900, "limit": limit}],
        "water_stops": [{"id": "ws", "top_mm": 300, "marks": [{"along_mm": 0, "base_mm": 0}], "cut": "flush", "height_limit": limit, "membrane_limit": limit}],
        "fillets": [{"id": "f", "radius_mm": 1}]
    }));
    assert_eq!(out.unknown, ["thickness of the bed"]);
    assert_eq!((out.layers_mm, out.points[0].finished_mm), (None, None));
    assert_eq!(out.grates[0].beside[0].difference_mm, None);
    let stop = &out.water_stops[0];
    assert_eq!((stop.marks[0].height_mm, stop.marks[0].cut_over_foot_mm), (None, None));
    let verdicts = [&out.grates[0].verdict, &out.upturns[0].verdict, &stop.height_verdict, &stop.membrane_verdict];
    for verdict in verdicts {
        assert_eq!(verdict.as_ref().unwrap().verdict, Verdict::NotShown);
    }
    assert_eq!(out.upturns[0].verdict.as_ref().unwrap().why, "the thickness of the bed is not known");
    assert_eq!(out.fillets[0].verdict.verdict, Verdict::NotShown);
}

#[test]
fn a_fillet_larger_than_bed_and_tile_is_named() {
    let out = output(json!({
        "layers": [{"kind": "bed", "thickness_mm": 4, "u_mm": 0.3}, {"kind": "tile", "thickness_mm": 8, "u_mm": 0.1}],
        "fillets": [{"id": "small", "radius_mm": 8, "u_mm": 0.5}, {"id": "same", "radius_mm": 12, "u_mm": 0.5}, {"id": "large", "radius_mm": 20, "u_mm": 0.5}]
    }));
    let verdicts: Vec<(&str, Verdict)> = out.fillets.iter().map(|f| (f.id.as_str(), f.verdict.verdict)).collect();
    assert_eq!(verdicts, [("small", Verdict::Conforms), ("same", Verdict::NotShown), ("large", Verdict::FallsShort)]);
    near(out.fillets[2].clear_mm, -8.0);
    assert_eq!(out.fillets[2].verdict.why, "fillet large stands 8 mm out of bed and tile: the tile cannot close over it, at least 0 asked");
}

/// Above the substrate and above the finished tile are two datums: 1790 over the tile is 1815 over the substrate when 25 mm
/// of layers lie between (own arithmetic).
#[test]
fn a_height_is_given_from_the_finished_floor_not_from_the_substrate() {
    let out = output(json!({
        "layers": [{"kind": "screed", "thickness_mm": 12}, {"kind": "bed", "thickness_mm": 4}, {"kind": "tile", "thickness_mm": 9}],
        "points": [{"name": "substrate", "x_mm": 0, "y_mm": 0, "base_mm": 0}],
        "upturns": [{"id": "shower wall", "top_mm": 1815, "limit": {"at_least_mm": 1800, "rule": "r", "source": "s"}}]
    }));
    near(out.upturns[0].beside[0].difference_mm, 1790.0);
    assert_eq!(out.upturns[0].verdict.as_ref().unwrap().verdict, Verdict::FallsShort);
}

#[test]
fn the_decision_rule_is_the_callers() {
    let with = |decision: Value| {
        let out = output(json!({
            "points": [{"name": "p", "x_mm": 0, "y_mm": 0, "base_mm": 0, "u_mm": 0.8}],
            "upturns": [{"id": "u", "top_mm": 25.5, "u_mm": 0.6, "limit": {"at_least_mm": 25, "rule": "r", "source": "s"}}],
            "decision": decision
        }));
        out.upturns[0].verdict.as_ref().unwrap().verdict
    };
    assert_eq!(with(Value::Null), Verdict::NotShown);
    assert_eq!(with(json!({"rule": "guarded", "risk": 0.4})), Verdict::Conforms);
    assert_eq!(with(json!({"rule": "simple", "u_max": 1.0})), Verdict::Conforms);
    assert_eq!(with(json!({"rule": "simple", "u_max": 0.9})), Verdict::NotShown);
}

#[test]
fn every_problem_of_the_input_is_found_at_once() {
    let problems = run(&input(json!({
        "layers": [{"kind": "tile", "thickness_mm": -10}, {"kind": "bed", "thickness_mm": 4, "u_mm": -1}],
        "points": [{"name": "p", "x_mm": 0, "y_mm": 0, "base_mm": 1e9}, {"name": "p", "x_mm": 0, "y_mm": 0, "base_mm": 0}],
        "grates": [{"id": "g", "level_mm": 0}, {"id": "g", "level_mm": 0, "beside": ["q"]}],
        "upturns": [{"id": "u", "top_mm": 1e9, "x_mm": 0, "y_mm": 0, "limit": {"rule": "r", "source": "s"}}],
        "water_stops": [{"id": "ws", "foot_mm": 0, "top_mm": 60, "leg_mm": 40, "marks": [], "cut": 500,
                         "height_limit": {"at_least_mm": 9, "at_most_mm": 5, "rule": "r", "source": "s"}}],
        "fillets": [{"id": "f", "radius_mm": -1}],
        "decision": {"rule": "guarded", "risk": 0.7}
    })))
    .unwrap_err();
    let fields: Vec<&str> = problems.problems.iter().map(|p| p.field.as_str()).collect();
    assert_eq!(
        fields,
        [
            "decision.risk",
            "layers[0].thickness_mm",
            "layers[1].u_mm",
            "layers[1].kind",
            "points[0].base_mm",
            "points[1].name",
            "grates[1].id",
            "grates[0]",
            "grates[1].beside[0]",
            "upturns[0].top_mm",
            "upturns[0].limit",
            "water_stops[0].cut",
            "water_stops[0].marks",
            "water_stops[0].top_mm",
            "water_stops[0].height_limit",
            "fillets[0].radius_mm",
        ]
    );
}

#[test]
fn a_rooms_zone_becomes_an_input() {
    let mut fields = heron_row();
    fields["outlets"][0]["grate_mm"] = json!({"value": 12, "u": 0.4});
    fields["water_stops"][0]["foot_mm"] = json!({"value": 0, "u": 0.5});
    fields["membranes"][0]["covers"] =
        json!([{"on": "floor"}, {"on": "south", "from_mm": 1200, "to_mm": 2350, "top_mm": {"value": 1900, "u": 1.5}}]);
    fields["membranes"][0]["fillet_radius_mm"] = json!({"value": 10, "u": 0.5});
    fields["build_up"] = json!({"zones": [{"zone": "shower", "layers": [
        {"kind": "substrate"}, {"kind": "screed", "thickness_mm": {"value": 30, "u": 1}}, {"kind": "over-screed-membrane", "thickness_mm": {"value": 1, "u": 0.1}},
        {"kind": "bed", "thickness_mm": {"value": 4, "u": 0.5}}, {"kind": "tile", "thickness_mm": {"value": 8, "u": 0.1}}]}]});
    let point = |name: &str, x: f64, y: f64, base: f64| PointIn { name: name.into(), x_mm: x, y_mm: y, base_mm: base, u_mm: 0.5 };
    let points = vec![point("waste", 1850.0, 380.0, -2.0), point("edge", 1260.0, 500.0, 6.0), point("wall", 1800.0, 50.0, 5.0)];
    let ForZone { input, left_out } = for_zone(&room(fields), "shower", LayerKind::OverScreedMembrane, points);
    assert_eq!(input.layers.iter().map(|l| l.kind).collect::<Vec<_>>(), [LayerKind::Bed, LayerKind::Tile]);
    let out = run(&input).unwrap();
    near(out.grates[0].beside[0].difference_mm, -2.0 + 12.0 - 12.0);
    assert_eq!(out.grates[0].beside[0].point, "waste");
    let south = out.upturns.iter().find(|u| u.id.starts_with("upturn/south/shower")).unwrap();
    assert_eq!(south.beside[0].point, "wall");
    near(south.beside[0].difference_mm, 1900.0 - 17.0);
    let stop = &out.water_stops[0];
    assert_eq!(stop.marks.len(), 1);
    near(Some(stop.marks[0].along_mm), 500.0);
    near(stop.marks[0].height_mm, 40.0 - 18.0);
    near(out.fillets[0].clear_mm, 2.0);
    assert!(left_out.iter().any(|l| l.contains("wall east") && l.contains("not known")), "{left_out:?}");
}

#[test]
fn a_preset_gives_unknown_thicknesses_and_unknown_results() {
    let points = vec![PointIn { name: "p".into(), x_mm: 1900.0, y_mm: 400.0, base_mm: 0.0, u_mm: 0.5 }];
    let made = for_zone(&room(heron_row()), "shower", LayerKind::Screed, points.clone());
    let out = run(&made.input).unwrap();
    assert_eq!(out.unknown, ["thickness of the over-screed membrane", "thickness of the bed", "thickness of the tile"]);
    assert_eq!(out.points[0].finished_mm, None);
    let mut fields = heron_row();
    fields.as_object_mut().unwrap().remove("build_up");
    let silent = for_zone(&room(fields), "shower", LayerKind::Screed, points);
    assert_eq!(run(&silent.input).unwrap().points[0].finished_mm, None, "a room without a build-up does not mean no layers");
}

#[test]
fn the_published_schema_names_every_field() {
    let schema = serde_json::to_value(schemars::schema_for!(Input)).unwrap();
    let described = schema["properties"].as_object().unwrap().values().all(|field| field["description"].is_string());
    assert!(described, "{schema:#}");
    assert_eq!(schema["additionalProperties"], json!(false));
}
