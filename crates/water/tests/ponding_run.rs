//! `ponding` as it is called: known ponds, probabilities, wrong input.

use measure::Problems;
use serde_json::{Value, json};
use std::f64::consts::PI;
use water::ponding::{Input, Output, run};

fn ponding(input: Value) -> Result<Output, Problems> {
    run(&serde_json::from_value(input).expect("the input has the form of the schema"))
}

fn fields(result: Result<Output, Problems>) -> Vec<String> {
    result.expect_err("the input is wrong").problems.into_iter().map(|p| p.field).collect()
}

/// A square floor with a point waste in the corner at the height of the rim.
fn square(side_mm: f64, cell_mm: f64, height: impl Fn(f64, f64) -> f64) -> Value {
    let n = (side_mm / cell_mm).round() as usize;
    let at = |k: usize| (k as f64 + 0.5) * cell_mm - side_mm / 2.0;
    let z: Vec<f64> = (0..n * n).map(|c| height(at(c % n), at(c / n))).collect();
    let first = at(0);
    json!({
        "surface": {"grid": {"x0_mm": first, "y0_mm": first, "cell_mm": cell_mm, "nx": n, "ny": n, "z_mm": z}},
        "outlets": [{"id": "w1", "kind": "point", "x_mm": first, "y_mm": first, "radius_mm": 0}],
    })
}

/// Hollows whose volume is known, in litres; the rim is level and drains at one corner. Sizes in mm.
#[test]
fn hollows_of_known_shape_hold_their_volume() {
    let (radius, depth) = (400.0_f64, 12.0_f64);
    let r = |x: f64, y: f64| (x * x + y * y).sqrt();
    let sphere = (radius * radius + depth * depth) / (2.0 * depth);
    type Shape = Box<dyn Fn(f64, f64) -> f64>;
    let shapes: [(&str, Shape, f64); 3] = [
        ("cone", Box::new(move |x, y| (r(x, y) / radius - 1.0).min(0.0) * depth), PI * radius * radius * depth / 3.0),
        (
            "paraboloid",
            Box::new(move |x, y| (r(x, y) / radius * (r(x, y) / radius) - 1.0).min(0.0) * depth),
            PI * radius * radius * depth / 2.0,
        ),
        (
            "spherical cap",
            Box::new(move |x, y| {
                let inside = sphere * sphere - r(x, y) * r(x, y);
                if r(x, y) < radius { sphere - depth - inside.sqrt() } else { 0.0 }
            }),
            PI * depth * depth * (3.0 * sphere - depth) / 3.0,
        ),
    ];
    for (name, height, volume_mm3) in shapes {
        let errors: Vec<f64> = [20.0, 10.0, 5.0, 2.5]
            .iter()
            .map(|&cell| {
                let out = ponding(square(1000.0, cell, &height)).expect("a sound floor");
                assert_eq!(out.ponds.len(), 1, "{name}");
                assert_eq!(out.volume_l, out.ponds[0].volume_l);
                // The rim is cut into squares.
                assert!((out.area_m2 - PI * 0.16).abs() < 0.003 * cell / 2.5, "{name}: {} m2", out.area_m2);
                assert!((out.ponds[0].depth_max_mm - depth).abs() < 0.03 * cell, "{name}");
                (out.volume_l * 1e6 / volume_mm3 - 1.0).abs()
            })
            .collect();
        assert!(errors[0] < 4e-3 && errors[3] < 2e-4, "{name}: {errors:?}");
    }
}

/// Fall 1:80 to a channel along the lower wall, and one dip: pond list field by field.
#[test]
fn dip_in_a_fall_is_one_pond_with_its_spill_on_the_low_side() {
    let mut input = square(1000.0, 10.0, |x, y| {
        let dip = ((x - 55.0) * (x - 55.0) + (y - 105.0) * (y - 105.0)).sqrt();
        (y + 500.0) / 80.0 - (4.0 - dip / 25.0).max(0.0)
    });
    input["outlets"] = json!([{"id": "c1", "kind": "channel", "line_mm": [[-500, -495], [500, -495]], "width_mm": 10}]);
    let out = ponding(input).expect("a sound floor");
    assert_eq!(out.pond_count, 1);
    let pond = &out.ponds[0];
    assert_eq!(pond.deepest_mm, [55.0, 105.0]);
    let [x, y, z] = pond.spill_mm;
    // The row at y = 5 touches the rim of the dip; along it the floor is level.
    assert!((x - 55.0).abs() <= 50.0 && y == 5.0 && z == 505.0 / 80.0, "{pond:?}");
    assert!((pond.depth_max_mm - (4.0 - 100.0 / 80.0)).abs() < 1e-9, "{pond:?}");
    assert!((out.floor_m2 - 1.0).abs() < 1e-12);
    assert_eq!((out.undrained_m2, out.prob_any), (0.0, None));
}

#[test]
fn shallow_ponds_are_left_out_and_deeper_ones_count_whole() {
    let z = [0.0, 3.0, 1.0, 3.0, 2.5, 3.0, 4.0];
    let input = |ignored: f64| {
        json!({
            "surface": {"grid": {"x0_mm": 0, "y0_mm": 0, "cell_mm": 100, "nx": 7, "ny": 1, "z_mm": z}},
            "outlets": [{"id": "w1", "kind": "point", "x_mm": 0, "y_mm": 0}],
            "depth_ignored_mm": ignored,
        })
    };
    let depths =
        |ignored: f64| -> Vec<f64> { ponding(input(ignored)).expect("a sound floor").ponds.iter().map(|p| p.depth_max_mm).collect() };
    assert_eq!(depths(0.0), [2.0, 0.5]);
    assert_eq!(depths(0.4), [2.0, 0.5]);
    assert_eq!(depths(0.5), [2.0], "no deeper than what is ignored");
    assert_eq!(ponding(input(0.5)).expect("a sound floor").volume_l, 2.0 * 0.01);
    assert!(depths(2.0).is_empty());
}

#[test]
fn floor_cut_off_from_the_outlet_is_reported_and_no_pond() {
    let input = json!({
        "surface": {"grid": {"x0_mm": 0, "y0_mm": 0, "cell_mm": 100, "nx": 4, "ny": 1, "z_mm": [0, null, 5, 4]}},
        "outlets": [{"id": "w1", "kind": "point", "x_mm": 0, "y_mm": 0}],
    });
    let out = ponding(input).expect("a sound floor");
    assert!(out.ponds.is_empty());
    assert!((out.undrained_m2 - 0.02).abs() < 1e-12 && (out.floor_m2 - 0.03).abs() < 1e-12);
}

fn levels(z: impl Fn(f64, f64) -> f64, u_mm: f64) -> Value {
    let places = (0..5).flat_map(|j| (0..5).map(move |i| (f64::from(i) * 250.0, f64::from(j) * 250.0)));
    let readings: Vec<Value> = places.map(|(x, y)| json!({"x_mm": x, "y_mm": y, "z_mm": z(x, y), "u_mm": u_mm})).collect();
    json!({
        "surface": {"outline_mm": [[0, 0], [1000, 0], [1000, 1000], [0, 1000]], "readings": readings},
        "outlets": [{"id": "w1", "kind": "point", "x_mm": 500, "y_mm": 25, "radius_mm": 20}],
        "cell_mm": 20,
        "realisations": 40,
    })
}

#[test]
fn probability_follows_how_far_the_floor_is_from_ponding() {
    let fall = |per_mm: f64| move |x: f64, y: f64| ((x - 500.0) * (x - 500.0) + y * y).sqrt() * per_mm;
    let steep = ponding(levels(fall(1.0 / 30.0), 0.2)).expect("a sound floor");
    let sound = steep.prob_any.expect("asked for");
    let flat = ponding(levels(fall(1.0 / 5000.0), 2.0)).expect("a sound floor");
    assert_eq!((sound, flat.prob_any), (0.0, Some(1.0)), "a steep floor never ponds, a flat one always does somewhere");
    assert_eq!(steep.next_reading_mm, None, "nothing left to settle");
    let prob = flat.prob_pond.expect("asked for");
    assert_eq!(prob.len(), 50 * 50);
    assert!(prob.iter().flatten().any(|&p| p > 0.2 && p < 0.8));
    assert!(flat.next_reading_mm.is_some());
}

#[test]
fn dip_deeper_than_its_uncertainty_is_certain_and_a_reading_beside_it_is_not_needed() {
    let mut input =
        levels(|x, y| ((x - 500.0) * (x - 500.0) + y * y).sqrt() / 60.0 - if (x, y) == (250.0, 500.0) { 9.0 } else { 0.0 }, 0.3);
    let at = |out: &Output, x: f64, y: f64| {
        let (i, j) = ((x / 20.0) as usize, (y / 20.0) as usize);
        out.prob_pond.as_ref().expect("asked for")[j * 50 + i].expect("floor")
    };
    let out = ponding(input.clone()).expect("a sound floor");
    assert_eq!(at(&out, 250.0, 500.0), 1.0);
    assert_eq!(at(&out, 750.0, 500.0), 0.0);
    // An error between the readings leaves the readings themselves as sure as they were.
    input["u_mm"] = json!(1.5);
    input["range_mm"] = json!(150);
    let out = ponding(input.clone()).expect("a sound floor");
    assert_eq!(at(&out, 250.0, 500.0), 1.0);
    let again = ponding(input.clone()).expect("a sound floor");
    assert_eq!(out, again, "the same seed gives the same answer");
    input["seed"] = json!(2);
    assert_ne!(out.prob_pond, ponding(input).expect("a sound floor").prob_pond);
}

/// Two cells beside the outlet's own: the middle one ponds when its error is lower than both neighbours, the outlet's and the
/// end's, by symmetry one time in three for errors without relation on a level floor; the end ponds when the outlet's is
/// higher than both or when it lies lower than the middle and ... so count only the middle one alone.
#[test]
fn level_floor_with_unrelated_errors_ponds_as_often_as_chance_says() {
    let input = json!({
        "surface": {"grid": {"x0_mm": 0, "y0_mm": 0, "cell_mm": 100, "nx": 3, "ny": 1, "z_mm": [0, 0, 0], "u_mm": 1}},
        "outlets": [{"id": "w1", "kind": "point", "x_mm": 0, "y_mm": 0}],
        "realisations": 9000, "range_mm": 0,
    });
    let out = ponding(input).expect("a sound floor");
    let prob = out.prob_pond.expect("asked for");
    // Middle under water: lower than the outlet. One in two.
    // End under water: lower than the higher of the two on its way: all but when it is the highest. Two in three.
    // Any: not when both rise in order from the outlet... middle above outlet and end above middle: one order of six.
    let expected = [0.0, 1.0 / 2.0, 2.0 / 3.0];
    for (p, expected) in prob.iter().zip(expected) {
        assert!((p.expect("floor") - expected).abs() < 4.0 * 0.5 / 9000f64.sqrt());
    }
    assert!((out.prob_any.expect("asked for") - 5.0 / 6.0).abs() < 4.0 * 0.5 / 9000f64.sqrt());
}

#[test]
fn everything_wrong_is_said_at_once() {
    let wrong = json!({
        "surface": {"grid": {"x0_mm": 0, "y0_mm": 0, "cell_mm": -1, "nx": 2, "ny": 2, "z_mm": [0, 1e99, 0]}},
        "outlets": [],
        "depth_ignored_mm": -2, "realisations": 0, "range_mm": -5,
    });
    assert_eq!(
        fields(ponding(wrong)),
        [
            "realisations",
            "u_mm",
            "range_mm",
            "depth_ignored_mm",
            "outlets",
            "surface.grid.cell_mm",
            "surface.grid.z_mm",
            "surface.grid.z_mm[1]"
        ]
    );
    let empty = json!({"surface": {}, "outlets": [{"id": "w", "kind": "point", "x_mm": 0, "y_mm": 0}]});
    assert_eq!(fields(ponding(empty)), ["surface"]);
    let null = json!({
        "surface": {"grid": {"x0_mm": 0, "y0_mm": 0, "cell_mm": 1, "nx": 2, "ny": 1, "z_mm": [null, null]}},
        "outlets": [{"id": "w", "kind": "point", "x_mm": 0, "y_mm": 0}],
    });
    assert_eq!(fields(ponding(null)), ["surface.grid.z_mm"]);
    let mut outside = square(100.0, 10.0, |_, _| 0.0);
    outside["outlets"][0]["x_mm"] = json!(5000);
    assert_eq!(fields(ponding(outside)), ["outlets[0].x_mm"]);
    let mut much = square(1000.0, 5.0, |_, _| 0.0);
    (much["realisations"], much["u_mm"]) = (json!(10_001), json!(1e9));
    assert_eq!(fields(ponding(much)), ["realisations", "u_mm"]);
    assert!(serde_json::from_value::<Input>(json!({"surface": {}, "outlets": [], "depth": 3})).is_err(), "unknown fields are refused");
}

#[test]
fn one_cell_that_is_the_outlet_holds_nothing() {
    let input = json!({
        "surface": {"grid": {"x0_mm": 0, "y0_mm": 0, "cell_mm": 1, "nx": 1, "ny": 1, "z_mm": [3]}},
        "outlets": [{"id": "w", "kind": "point", "x_mm": 0, "y_mm": 0}],
        "realisations": 3, "u_mm": 1,
    });
    let out = ponding(input).expect("a sound floor");
    assert_eq!((out.volume_l, out.prob_any, out.prob_pond), (0.0, Some(0.0), Some(vec![Some(0.0)])));
}
