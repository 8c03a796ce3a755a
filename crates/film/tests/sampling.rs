//! How many readings, and where.

use film::sampling::{Grid, Input, Output, Read, Zone, next_in, prob_grid_finds, reach_over_spacing, run};
use proptest::prelude::*;

fn share(missed_share: f64, confidence: f64) -> Input {
    Input { missed_share: Some(missed_share), confidence, ..Input::default() }
}

fn spot(spot_mm: f64, confidence: f64) -> Input {
    Input { spot_mm: Some(spot_mm), confidence, ..Input::default() }
}

fn answered(input: &Input) -> Output {
    run(input).unwrap_or_else(|problems| panic!("{problems}"))
}

/// ln(1 - c) / ln(1 - p), and hypergeometric counts by SciPy 1.16.3.
#[test]
fn readings_that_find_a_share() {
    for (p, c, n) in [(0.1, 0.95, 29), (0.05, 0.95, 59), (0.02, 0.9, 114), (0.01, 0.99, 459), (0.2, 0.9, 11)] {
        assert_eq!(answered(&share(p, c)).n, n);
    }
    for (population, p, c, n) in [(40, 0.05, 0.90, 27), (50, 0.1, 0.95, 22), (1000, 0.01, 0.95, 258), (100, 0.05, 0.95, 45)] {
        let out = answered(&Input { population: Some(population), ..share(p, c) });
        assert_eq!(out.n, n, "{population}");
        assert!(out.prob_found >= c - 1e-12);
    }
}

#[test]
fn grids_that_find_a_spot() {
    for row in include_str!("detection.csv").lines().filter(|line| line.starts_with("square") || line.starts_with("triangular")) {
        let cells: Vec<&str> = row.split(',').collect();
        let x: Vec<f64> = cells[1..].iter().map(|cell| cell.parse().unwrap()).collect();
        let grid = if cells[0] == "square" { Grid::Square } else { Grid::Triangular };
        let ratio = reach_over_spacing(grid, x[0], 1.0 - x[1]);
        assert!((ratio - x[2]).abs() <= x[3], "{row}: {ratio}");
    }
    for (r, p) in [(0.3, 0.28274), (0.6, 0.95091), (0.65, 0.98655), (0.8, 1.0)] {
        assert!((prob_grid_finds(Grid::Square, r) - p).abs() < 1e-5, "closed form, square grid");
    }
}

/// A patch of 0.01 m2 in 6 m2: 1796 places at random, or a grid of 94 mm with about 675 nodes, for 95 %.
#[test]
fn a_missed_patch_takes_hundreds_of_readings() {
    assert_eq!(answered(&share(0.01 / 6.0, 0.95)).n, 1796);
    let patch_mm = 2.0 * (10_000.0 / std::f64::consts::PI).sqrt();
    let out = answered(&Input { area_m2: Some(6.0), ..spot(patch_mm, 0.95) });
    assert!((out.grid_mm.unwrap() - 94.2).abs() < 0.1 && (670..=685).contains(&out.n), "{out:?}");
    assert!(out.notes.iter().any(|note| note.contains("palm-sized") && note.contains("flood")));
    let few = answered(&Input { area_m2: Some(6.0), ..share(0.1, 0.95) });
    assert!(few.smallest_patch_mm.unwrap() > 800.0, "29 readings meet only what is large");
    assert!(few.notes[0].contains("not likely to meet"));
}

/// An L of 2.35 by 1.70 m.
fn room() -> Vec<[f64; 2]> {
    vec![[0., 0.], [2350., 0.], [2350., 1700.], [900., 1700.], [900., 1000.], [0., 1000.]]
}

#[test]
fn places_lie_inside_and_are_the_same_every_time() {
    for input in [share(0.05, 0.95), spot(300.0, 0.95), Input { grid: Some(Grid::Triangular), ..spot(300.0, 0.95) }] {
        let input = Input { outline_mm: Some(room()), margin_mm: Some(60.0), ..input };
        let out = answered(&input);
        assert_eq!(out, answered(&input));
        assert_eq!(out.places.len(), out.n);
        for p in &out.places {
            let in_l = |m: f64| {
                let (x, y) = (p.x_mm, p.y_mm);
                (m..=2350.0 - m).contains(&x) && y >= m && (y <= 1000.0 - m || x >= 900.0 + m && y <= 1700.0 - m)
            };
            assert!(in_l(60.0 - 1e-6), "{p:?}");
        }
    }
}

/// Spots dropped anywhere in a room are met by the grid as often as asked.
#[test]
fn the_grid_meets_spots_as_often_as_it_says() {
    let square = vec![[0., 0.], [3000., 0.], [3000., 3000.], [0., 3000.]];
    for grid in [Grid::Square, Grid::Triangular] {
        let out = answered(&Input { grid: Some(grid), outline_mm: Some(square.clone()), margin_mm: Some(0.0), ..spot(240.0, 0.9) });
        let (mut met, across) = (0, 120);
        for i in 0..across * across {
            let centre = [f64::from(i % across), f64::from(i / across)].map(|k| 200.0 + 2600.0 * (k + 0.5) / f64::from(across));
            met += usize::from(out.places.iter().any(|p| measure::math::hypot(p.x_mm - centre[0], p.y_mm - centre[1]) <= 120.0));
        }
        let share = met as f64 / f64::from(across * across);
        assert!((share - 0.9).abs() < 0.02, "{grid:?}: {share}");
    }
}

#[test]
fn wetter_zones_get_more_readings() {
    let shower = Zone { id: "shower".into(), polygon_mm: vec![[1200., 0.], [2350., 0.], [2350., 900.], [1200., 900.]], weight: 4.0 };
    let dry = Zone { id: "dry".into(), polygon_mm: vec![[0., 0.], [400., 0.], [400., 1000.], [0., 1000.]], weight: 0.0 };
    let out = answered(&Input { outline_mm: Some(room()), zones: vec![shower, dry], ..share(0.02, 0.95) });
    let count = |id: Option<&str>| out.places.iter().filter(|p| p.zone.as_deref() == id).count() as f64;
    assert_eq!(count(Some("dry")), 0.0);
    // 1.035 m2 at 4 against 1.93 m2 at 1.
    let expected = 4.0 * 1.035 / (4.0 * 1.035 + 1.93);
    assert!((count(Some("shower")) / out.places.len() as f64 - expected).abs() < 0.06);
}

#[test]
fn the_next_places_are_far_from_the_last_and_near_the_limit() {
    let read = |x_mm, y_mm, value_um| Read { x_mm, y_mm, value_um: Some(value_um) };
    let square = vec![[0., 0.], [4000., 0.], [4000., 2000.], [0., 2000.]];
    let readings = vec![read(500., 500., 1500.), read(500., 1500., 1500.), read(3500., 500., 1010.), read(3500., 1500., 1010.)];
    let input = Input { outline_mm: Some(square), readings, limit_um: Some(1000.0), ..share(0.1, 0.95) };
    let next = answered(&input).next;
    assert_eq!(next.len(), 3);
    assert!(next[0].x_mm > 1800.0, "{next:?}");
    let unlimited = answered(&Input { limit_um: None, ..input }).next;
    assert!((unlimited[0].x_mm - 2000.0).abs() < 300.0, "the middle is furthest: {unlimited:?}");
}

/// On a floor with an outlet in it, and on a sill of 90 mm.
#[test]
fn the_next_place_on_a_drawn_surface_keeps_off_its_edges_and_holes() {
    let ring = |x: [f64; 2], y: [f64; 2]| vec![[x[0], y[0]], [x[1], y[0]], [x[1], y[1]], [x[0], y[1]]];
    let floor = vec![vec![ring([0., 1150.], [800., 1700.]), ring([450., 590.], [1200., 1350.])]];
    let first = next_in(&floor, &[], Some(1000.0)).unwrap();
    assert!((50.0..=1100.0).contains(&first.x_mm) && (850.0..=1650.0).contains(&first.y_mm), "{first:?}");
    assert!(!((400.0..640.0).contains(&first.x_mm) && (1150.0..1400.0).contains(&first.y_mm)), "not at the outlet: {first:?}");
    let sill = vec![vec![ring([0., 400.], [0., 90.])]];
    let read = [Read { x_mm: 60.0, y_mm: 30.0, value_um: Some(590.0) }];
    let next = next_in(&sill, &read, Some(1000.0)).unwrap();
    assert!(next.x_mm > 150.0 && (20.0..=70.0).contains(&next.y_mm), "away from the first: {next:?}");
    assert!(next.doubt_after < next.doubt);
    assert_eq!(next_in(&[], &[], None), None);
}

#[test]
fn everything_wrong_is_named_at_once() {
    let input = Input {
        missed_share: Some(0.1),
        spot_mm: Some(100.0),
        spot_shape: Some(2.0),
        confidence: 95.0,
        population: Some(0),
        area_m2: Some(-1.0),
        outline_mm: Some(vec![[0., 0.], [1., 0.]]),
        zones: vec![Zone { id: "z".into(), polygon_mm: vec![[0., 0.], [f64::NAN, 0.], [1., 1.]], weight: -1.0 }],
        ..Input::default()
    };
    let said = run(&input).unwrap_err().to_string();
    for field in ["confidence", "spot_shape", "spot_mm", "population", "area_m2", "outline_mm", "zones[0].polygon_mm[1]", "zones[0].weight"]
    {
        assert!(said.lines().any(|line| line.starts_with(field)), "{field} in\n{said}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// A larger target never needs a finer grid or more readings; a slimmer one never a coarser grid.
    #[test]
    fn larger_targets_are_easier(mm in 20.0..2000.0f64, shape in 0.2..0.95f64, c in 0.6..0.98f64, more in 1.0..3.0f64) {
        let grid = |mm: f64, shape: f64| answered(&Input { spot_shape: Some(shape), ..spot(mm, c) }).grid_mm.unwrap();
        prop_assert!(grid(mm * more, shape) >= grid(mm, shape) && grid(mm, shape) <= grid(mm, 1.0) * 1.001);
        prop_assert!(answered(&share((mm / 4000.0).min(1.0), c)).n >= answered(&share((mm * more / 4000.0).min(1.0), c)).n);
    }
}
