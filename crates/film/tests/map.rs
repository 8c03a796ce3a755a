//! Where it is thin.

mod common;

use common::Random;
use film::map::{FacePlace, Fit, Input, Kind, Model, ModelGiven, NuggetIs, Place, Reading, run};
use film::surface::{On, Seam, SharedEdge, Surface};
use proptest::prelude::*;

const MODEL: Model = Model { kind: Kind::Spherical, sill: 0.04, range_mm: 1.5, nugget: 0.005 };

fn reading(x_mm: f64, y_mm: f64, value: f64) -> Reading {
    Reading { x_mm, y_mm, value, face: None }
}

fn input(readings: Vec<Reading>, model: ModelGiven, at: &[[f64; 2]]) -> Input {
    Input {
        readings,
        model,
        at: at.iter().map(|p| Place::Plain(*p)).collect(),
        nugget_is: NuggetIs::Error,
        fit_kind: None,
        seams: Vec::new(),
        neighbours: None,
        limit: None,
    }
}

fn five() -> Vec<Reading> {
    [(0., 0., 1.2), (1., 0., 1.0), (0., 1., 0.9), (1., 1., 1.4), (0.5, 0.6, 1.1)].map(|(x, y, z)| reading(x, y, z)).into()
}

fn near(got: f64, expected: f64, within: f64, what: &str) {
    assert!((got - expected).abs() <= within, "{what}: {got} against {expected}");
}

/// PyKrige 1.7.3, `exact_values=False`; its variance is that of a new reading, ours that of the film: less the nugget.
#[test]
fn a_small_map_as_pykrige_has_it() {
    let at = [[0.25, 0.25], [0.5, 0.5], [0.8, 0.3], [0.5, 0.6], [2., 2.]];
    let out = run(&Input { limit: Some(1.1), ..input(five(), ModelGiven::Given(MODEL), &at) }).unwrap();
    let value = [1.10893368, 1.10335376, 1.105070472, 1.104769278, 1.126019563];
    let variance = [0.02272965757, 0.01519185148, 0.02278564187, 0.00920156276, 0.05915793771];
    for i in 0..5 {
        near(out.value[i], value[i], 1e-9, "value");
        near(out.variance[i] + 0.005, variance[i], 1e-9, "variance");
        let z = (1.1 - out.value[i]) / out.variance[i].sqrt();
        near(out.prob_below[i], measure::math::normal_cdf(z), 1e-15, "probability below");
    }
    assert!(out.notes[0].contains("draw the readings as dots"));
    let field = run(&Input { nugget_is: NuggetIs::Field, ..input(five(), ModelGiven::Given(MODEL), &at) }).unwrap();
    near(field.value[3], 1.1, 1e-12, "a reading is met exactly");
    near(field.variance[3], 0.0, 1e-12, "and known");
}

/// A scan drawn from a known field: the fit finds its range, sill and gauge error about right, and the map its values.
#[test]
fn a_fitted_map_finds_the_film() {
    let mut random = Random(21);
    let film = |x: f64, y: f64| 800.0 + 150.0 * measure::math::sin(x / 400.0) * measure::math::cos(y / 500.0);
    let readings: Vec<Reading> = (0..300)
        .map(|_| {
            let (x, y) = (3000.0 * random.uniform(), 2000.0 * random.uniform());
            reading(x, y, film(x, y) + 20.0 * random.normal())
        })
        .collect();
    let at: Vec<[f64; 2]> = (0..100).map(|_| [200.0 + 2600.0 * random.uniform(), 200.0 + 1600.0 * random.uniform()]).collect();
    let asked = Input { fit_kind: Some(Kind::Exponential), ..input(readings, ModelGiven::Fit(Fit::Fit), &at) };
    let out = run(&asked).unwrap();
    assert!((200.0..20_000.0).contains(&out.model.range_mm) && out.model.sill > 2000.0, "{:?}", out.model);
    let off: Vec<f64> = at.iter().zip(&out.value).zip(&out.variance).map(|((p, v), s2)| (v - film(p[0], p[1])) / s2.sqrt()).collect();
    let inside = off.iter().filter(|z| z.abs() < 2.0).count();
    assert!(inside >= 90, "{inside} of 100 within two standard deviations");
    let few = run(&Input { readings: asked.readings[..49].to_vec(), ..asked.clone() }).unwrap_err().to_string();
    assert!(few.contains("at least 50 readings"), "{few}");
    let neighbours = run(&Input { neighbours: Some(48), ..asked }).unwrap();
    assert!(neighbours.neighbours == 48);
    for (a, b) in neighbours.value.iter().zip(&out.value) {
        near(*a, *b, 8.0, "forty-eight neighbours say nearly the same");
    }
}

/// Floor 2 by 2 m; one wall over its edge y = 2000, 1 m high, one over its edge x = 2000; the walls meet in a corner.
fn corner() -> Vec<Seam> {
    let seam = |a: &str, b: &str, first_mm, second_mm| Seam { faces: [a.into(), b.into()], first_mm, second_mm, mirrored: false };
    vec![
        seam("floor", "north", [[0., 2000.], [2000., 2000.]], [[0., 0.], [2000., 0.]]),
        seam("floor", "east", [[2000., 2000.], [2000., 0.]], [[0., 0.], [2000., 0.]]),
        seam("north", "east", [[2000., 0.], [2000., 1000.]], [[0., 0.], [0., 1000.]]),
    ]
}

fn surface() -> Surface {
    let number = |name: &str| ["floor", "north", "east"].iter().position(|n| *n == name).expect("one of the three");
    let shared = |s: &Seam| SharedEdge {
        faces: [number(&s.faces[0]), number(&s.faces[1])],
        first_mm: s.first_mm,
        second_mm: s.second_mm,
        mirrored: s.mirrored,
    };
    let seams: Vec<_> = corner().iter().map(shared).collect();
    Surface::new(3, &seams)
}

/// By hand, and by the shortest of many ways over the edges.
#[test]
fn distances_run_over_the_surface() {
    let s = surface();
    let (floor, north, east) = (|x, y| On { face: 0, at: [x, y] }, |x, y| On { face: 1, at: [x, y] }, |x, y| On { face: 2, at: [x, y] });
    near(s.distance(floor(500., 1800.), north(500., 300.)), 500.0, 1e-9, "straight up the wall");
    near(s.distance(floor(500., 1700.), north(900., 0.)), 500.0, 1e-9, "to the edge");
    near(s.distance(north(1900., 500.), east(100., 500.)), 200.0, 1e-9, "round the upright corner");
    near(s.distance(north(1000., 100.), east(1000., 100.)), 2.0f64.sqrt() * 1100.0, 1e-9, "over the floor");
    for (a, b) in [(floor(300., 400.), north(1700., 600.)), (north(200., 300.), east(1500., 400.)), (floor(1900., 1000.), east(100., 900.))]
    {
        near(s.distance(a, b), s.distance(b, a), 1e-9, "there and back");
        let (straight, by_hand) = (s.distance(a, b), walked(a, b));
        assert!((straight - by_hand).abs() < 1.0, "{straight} against {by_hand}");
    }
    assert_eq!(Surface::new(3, &[]).distance(floor(0., 0.), north(0., 0.)), f64::INFINITY);
}

/// Walls measured along the room's outline run from right to left seen from inside; the ways over them are the same.
#[test]
fn a_wall_measured_from_behind_is_as_far_away() {
    let along = |name: &str, line: [[f64; 2]; 2]| if name == "floor" { line } else { line.map(|[x, y]| [2000.0 - x, y]) };
    let number = |name: &str| ["floor", "north", "east"].iter().position(|n| *n == name).expect("one of the three");
    let behind = |s: &Seam| SharedEdge {
        faces: [number(&s.faces[0]), number(&s.faces[1])],
        first_mm: along(&s.faces[0], s.first_mm),
        second_mm: along(&s.faces[1], s.second_mm),
        mirrored: s.faces[0] == "floor",
    };
    let (inside, outline) = (surface(), Surface::new(3, &corner().iter().map(behind).collect::<Vec<_>>()));
    let other = |on: On| if on.face == 0 { on } else { On { face: on.face, at: [2000.0 - on.at[0], on.at[1]] } };
    for a in [On { face: 0, at: [1500.0, 1900.0] }, On { face: 1, at: [1900.0, 300.0] }, On { face: 2, at: [60.0, 700.0] }] {
        for b in [On { face: 0, at: [300.0, 400.0] }, On { face: 1, at: [200.0, 20.0] }, On { face: 2, at: [1800.0, 900.0] }] {
            near(inside.distance(a, b), outline.distance(other(a), other(b)), 1e-9, "the same way");
        }
    }
}

/// Shortest way by trying points along the edges, in space.
fn walked(a: On, b: On) -> f64 {
    let space = |on: On| match on.face {
        0 => [on.at[0], on.at[1], 0.0],
        1 => [on.at[0], 2000.0, on.at[1]],
        _ => [2000.0, 2000.0 - on.at[0], on.at[1]],
    };
    let apart = |p: [f64; 3], q: [f64; 3]| (0..3).map(|k| (p[k] - q[k]) * (p[k] - q[k])).sum::<f64>().sqrt();
    let edge = |e: (usize, usize), t: f64| match e {
        (0, 1) => [2000.0 * t, 2000.0, 0.0],
        (0, 2) => [2000.0, 2000.0 * t, 0.0],
        _ => [2000.0, 2000.0, 1000.0 * t],
    };
    let steps = 400;
    let along = |e| (0..=steps).map(move |i| edge(e, f64::from(i) / f64::from(steps)));
    let (p, q) = (space(a), space(b));
    let key = |x: usize, y: usize| (x.min(y), x.max(y));
    let direct = along(key(a.face, b.face)).map(|m| apart(p, m) + apart(m, q)).fold(f64::INFINITY, f64::min);
    let third = 3 - a.face - b.face;
    let over = along(key(a.face, third)).flat_map(|m| along(key(third, b.face)).map(move |n| (m, n)));
    over.map(|(m, n)| apart(p, m) + apart(m, n) + apart(n, q)).fold(direct, f64::min)
}

/// A reading low on a wall speaks of the floor beside it as one on the floor would at that distance.
#[test]
fn a_wall_reading_speaks_of_the_floor_beside_it() {
    let on = |face: &str, x_mm, y_mm, value| Reading { x_mm, y_mm, value, face: Some(face.into()) };
    let place = |face: &str, x_mm, y_mm| Place::OnFace(FacePlace { x_mm, y_mm, face: Some(face.into()) });
    let model = ModelGiven::Given(Model { kind: Kind::Exponential, sill: 1.0, range_mm: 800.0, nugget: 0.01 });
    let folded = Input {
        seams: corner(),
        at: vec![place("floor", 1000., 1950.), place("east", 50., 100.)],
        ..input(vec![on("north", 1000., 50., 1.0), on("floor", 200., 200., 0.0), on("east", 1000., 100., 0.5)], model.clone(), &[])
    };
    let out = run(&folded).unwrap();
    assert!(out.value[0] > 0.75 && out.variance[0] < 0.7, "{out:?}");
    // With the wall folded flat beside the floor, and nothing else in reach, the same.
    let flat = input(vec![reading(1000., 2050., 1.0), reading(200., 200., 0.0)], model.clone(), &[[1000., 1950.]]);
    let two = Input { readings: folded.readings[..2].to_vec(), at: folded.at[..1].to_vec(), ..folded.clone() };
    near(run(&two).unwrap().value[0], run(&flat).unwrap().value[0], 1e-12, "folded and flat");
    let adrift = Input { seams: Vec::new(), ..folded };
    assert!(run(&adrift).unwrap_err().to_string().contains("hangs on no other face"));
}

#[test]
fn readings_at_one_place_are_averaged_where_they_must() {
    let twice = vec![reading(0., 0., 1.0), reading(0., 0., 3.0), reading(9., 0., 2.0)];
    let model = ModelGiven::Given(Model { nugget: 0.0, ..MODEL });
    let out = run(&input(twice.clone(), model, &[[0., 0.]])).unwrap();
    near(out.value[0], 2.0, 1e-9, "mean");
    assert!(out.notes.iter().any(|n| n.contains("averaged")));
    assert_eq!(run(&input(twice, ModelGiven::Given(MODEL), &[[0., 0.]])).unwrap().notes.len(), 2);
}

#[test]
fn everything_wrong_is_named_at_once() {
    let bad = Input {
        neighbours: Some(1),
        limit: Some(f64::NAN),
        seams: vec![Seam {
            faces: ["a".into(), "a".into()],
            first_mm: [[0., 0.], [1., 0.]],
            second_mm: [[0., 0.], [1., 0.]],
            mirrored: false,
        }],
        ..input(
            vec![reading(f64::NAN, 0., 1.0), reading(0., 0., f64::INFINITY)],
            ModelGiven::Given(Model { kind: Kind::Spherical, sill: 0.0, range_mm: -1.0, nugget: -0.1 }),
            &[[1e9, 0.]],
        )
    };
    let said = run(&bad).unwrap_err().to_string();
    for field in [
        "readings[0]",
        "readings[1].value",
        "at[0]",
        "limit",
        "neighbours",
        "model.sill",
        "model.nugget",
        "model.range_mm",
        "seams[0].faces",
    ] {
        assert!(said.lines().any(|line| line.starts_with(field)), "{field} in\n{said}");
    }
    assert!(run(&input(vec![], ModelGiven::Given(MODEL), &[])).unwrap_err().to_string().starts_with("readings"));
    assert!(serde_json::from_str::<Input>(r#"{"readings":[],"model":"fit","at":[[0,0],{"x_mm":1,"y_mm":2,"face":"floor"}]}"#).is_ok());
    assert!(serde_json::from_str::<Input>(r#"{"readings":[],"model":"guess","at":[]}"#).is_err());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    /// Whatever is read, the map is finite, its variance not negative and never over that of a place far from all.
    #[test]
    fn maps_are_finite(
        readings in prop::collection::vec((0.0..3000.0f64, 0.0..3000.0f64, 0.0..2000.0f64), 1..40),
        places in prop::collection::vec((-500.0..3500.0f64, -500.0..3500.0f64), 1..20),
        range_mm in 1.0..5000.0f64, nugget in 0.0..500.0f64, neighbours in prop::option::of(4usize..30),
    ) {
        let at: Vec<[f64; 2]> = places.iter().map(|p| [p.0, p.1]).collect();
        let model = Model { kind: Kind::Exponential, sill: 2500.0, range_mm, nugget };
        let asked = Input { neighbours, ..input(readings.iter().map(|r| reading(r.0, r.1, r.2)).collect(), ModelGiven::Given(model), &at) };
        let out = run(&asked).unwrap();
        prop_assert!(out.value.iter().all(|v| v.is_finite()));
        prop_assert!(out.variance.iter().all(|v| (0.0..=2.0 * (2500.0 + nugget)).contains(v)), "{:?}", out.variance);
    }
}
