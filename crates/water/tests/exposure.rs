//! Where shower water goes.

use measure::{PointMm, math};
use proptest::prelude::*;
use water::exposure::{self, DetailIn, Input, Output, ScreenIn, ShowerIn};
use water::surface::{GridIn, OutletIn, OutletKind, SurfaceIn};

fn grid(width: f64, depth: f64, cell_mm: f64, z: impl Fn(f64, f64) -> f64) -> SurfaceIn {
    let (nx, ny) = ((width / cell_mm).round() as usize, (depth / cell_mm).round() as usize);
    let at = |k: usize| (cell_mm * ((k % nx) as f64 + 0.5), cell_mm * ((k / nx) as f64 + 0.5));
    let z_mm = (0..nx * ny).map(|k| Some(z(at(k).0, at(k).1))).collect();
    let grid = GridIn { x0_mm: cell_mm / 2.0, y0_mm: cell_mm / 2.0, cell_mm, nx, ny, z_mm, u_mm: None };
    SurfaceIn { grid: Some(grid), ..SurfaceIn::default() }
}

fn waste(x: f64, y: f64) -> OutletIn {
    OutletIn {
        id: "w1".into(),
        kind: OutletKind::Point,
        x_mm: Some(x),
        y_mm: Some(y),
        radius_mm: Some(50.0),
        line_mm: vec![],
        width_mm: None,
    }
}

fn channel(id: &str, a: PointMm, b: PointMm) -> OutletIn {
    OutletIn {
        id: id.into(),
        kind: OutletKind::Channel,
        x_mm: None,
        y_mm: None,
        radius_mm: None,
        line_mm: vec![a, b],
        width_mm: Some(40.0),
    }
}

/// 9 litres a minute for 10 minutes.
fn shower(x_mm: f64, y_mm: f64, spread_mm: f64) -> ShowerIn {
    ShowerIn { x_mm, y_mm, height_mm: 2000.0, flow_l_min: 9.0, minutes_per_day: 10.0, spread_mm }
}

fn area(id: &str, [x0, y0, x1, y1]: [f64; 4]) -> DetailIn {
    DetailIn { id: id.into(), line_mm: vec![], polygon_mm: vec![[x0, y0], [x1, y0], [x1, y1], [x0, y1]] }
}

fn line(id: &str, line_mm: &[PointMm]) -> DetailIn {
    DetailIn { id: id.into(), line_mm: line_mm.to_vec(), polygon_mm: vec![] }
}

fn run(input: &Input) -> Output {
    let out = exposure::run(input).unwrap_or_else(|problems| panic!("{problems}"));
    assert!(out.balance.closure_error.abs() < 1e-9, "{:?}", out.balance);
    out
}

fn near(got: f64, expected: f64, tolerance: f64, what: &str) {
    assert!((got - expected).abs() <= tolerance, "{what}: {got} instead of {expected}");
}

fn hipped(x: f64, y: f64) -> f64 {
    (x - 500.0).abs().max((y - 400.0).abs()) / 60.0
}

/// Common practice, no source: where nothing escapes and nothing stands, the outlet's own details see all the water.
#[test]
fn the_outlet_sees_all_the_water() {
    let ring: Vec<PointMm> = (0..=36)
        .map(|k| f64::from(k) * std::f64::consts::TAU / 36.0)
        .map(|a| [500.0 + 90.0 * math::cos(a), 400.0 + 90.0 * math::sin(a)])
        .collect();
    let input = Input {
        surface: grid(1200.0, 900.0, 10.0, hipped),
        outlets: vec![waste(500.0, 400.0)],
        showers: vec![shower(900.0, 600.0, 250.0)],
        details: vec![
            line("flange", &ring),
            area("field at the waste", [400.0, 300.0, 600.0, 500.0]),
            area("far corner", [0.0, 800.0, 100.0, 900.0]),
        ],
        ..Input::default()
    };
    let out = run(&input);
    near(out.balance.given, 90.0, 0.0, "in");
    near(out.balance.outlets["w1"], 90.0, 1e-9, "to the waste");
    near(out.details[0].litres_per_day, 90.0, 1e-9, "the ring about the waste, each litre once");
    near(out.details[1].litres_per_day, 90.0, 1e-9, "the field about it");
    near(out.details[2].litres_per_day, 0.0, 0.0, "the far corner");
    assert_eq!((out.details[0].wet_minutes_per_day, out.details[2].wet_minutes_per_day), (10.0, 0.0));
    assert!(out.notes[0].contains("not a measurement"));
}

#[test]
fn a_band_below_the_shower_sees_all_and_one_above_it_none() {
    let input = Input {
        surface: grid(1000.0, 1000.0, 10.0, |_, y| y / 66.0),
        outlets: vec![channel("c1", [0.0, 0.0], [1000.0, 0.0])],
        showers: vec![shower(500.0, 500.0, 200.0)],
        details: vec![
            line("below", &[[0.0, 200.0], [1000.0, 200.0]]),
            line("above", &[[0.0, 800.0], [1000.0, 800.0]]),
            line("half", &[[0.0, 200.0], [495.0, 200.0]]),
        ],
        ..Input::default()
    };
    let out = run(&input);
    near(out.details[0].share, 1.0, 1e-12, "below");
    near(out.details[1].share, 0.0, 0.0, "above");
    near(out.details[2].share, 0.5, 0.03, "half");
}

/// Two channels share a ridge: each takes its half.
#[test]
fn a_ridge_parts_the_water() {
    let input = Input {
        surface: grid(1000.0, 1000.0, 10.0, |x, _| 10.0 - (x - 500.0).abs() / 66.0),
        outlets: vec![channel("left", [0.0, 0.0], [0.0, 1000.0]), channel("right", [1000.0, 0.0], [1000.0, 1000.0])],
        showers: vec![shower(500.0, 500.0, 200.0)],
        ..Input::default()
    };
    let out = run(&input);
    near(out.balance.outlets["left"], 45.0, 1e-9, "left");
    near(out.balance.outlets["right"], 45.0, 1e-9, "right");
}

const BEYOND_HALF: f64 = 0.085_235_330_387_616_66;

#[test]
fn a_screen_keeps_the_spray_in_and_takes_it_down_to_its_foot() {
    let mut input = Input {
        surface: grid(2000.0, 1000.0, 10.0, |_, y| y / 66.0),
        outlets: vec![channel("c1", [0.0, 0.0], [2000.0, 0.0])],
        showers: vec![shower(800.0, 500.0, 400.0)],
        details: vec![area("beyond", [1010.0, 0.0, 2000.0, 1000.0]), line("foot of the screen", &[[995.0, 0.0], [995.0, 1000.0]])],
        ..Input::default()
    };
    let open = run(&input);
    input.screens = vec![ScreenIn { line_mm: vec![[1000.0, 0.0], [1000.0, 1000.0]] }];
    let closed = run(&input);
    assert!(open.details[0].litres_per_day > 5.0, "{:?}", open.details);
    assert!(closed.details[1].litres_per_day > open.details[1].litres_per_day, "{:?}", closed.details);
    let sprayed: f64 = closed.walls.iter().map(|w| w.litres_per_day).sum();
    // Share of the bell beyond half its spread: 16/15 * integral of (1 - x^2)^2.5 from 0.5 to 1, over pi/3 (SciPy 1.17.1 quad).
    near(sprayed, 90.0 * BEYOND_HALF, 0.1, "what would have landed beyond");
    assert!(closed.details[1].litres_per_day >= sprayed - 1e-9, "what hits the screen runs down to its foot");
    assert!(closed.walls.iter().all(|w| w.screen == Some(0)), "no wall is within reach: {:?}", closed.walls);
    // A line from 2000 mm above to 400 mm away stands at 2000 (1 - 200/400) over a foot 200 mm away.
    let highest = closed.walls.iter().map(|w| w.height_mm).fold(0.0, f64::max);
    near(highest, 1000.0, 30.0, "highest place hit");
}

#[test]
fn walls_within_the_spread_are_sprayed_piece_by_piece() {
    let input = Input {
        surface: grid(1200.0, 900.0, 10.0, |_, y| y / 66.0),
        outlets: vec![channel("c1", [0.0, 0.0], [1200.0, 0.0])],
        showers: vec![shower(200.0, 450.0, 300.0)],
        details: vec![line("junction", &[[0.0, 0.0], [0.0, 900.0]])],
        ..Input::default()
    };
    let out = run(&input);
    assert_eq!(out.walls.len(), 3, "900 mm in pieces of 300: {:?}", out.walls);
    let middle = &out.walls.iter().max_by(|a, b| a.litres_per_day.total_cmp(&b.litres_per_day)).expect("pieces");
    assert!((middle.from_mm[1] - 450.0).abs() <= 151.0 && (middle.to_mm[1] - 450.0).abs() <= 151.0, "{middle:?}");
    let sprayed: f64 = out.walls.iter().map(|w| w.litres_per_day).sum();
    assert!(out.details[0].litres_per_day >= sprayed - 1e-9, "what hits the wall runs down to the junction");
}

/// A box 400 x 400 x 3 mm deep in the way: 0.48 litres stay, dry in 3 / 1.8 days and so wet all day.
#[test]
fn a_pond_keeps_its_fill_and_stays_wet() {
    let boxed = |x: f64, y: f64| {
        let base = 20.0 + y / 1000.0;
        if (300.0..700.0).contains(&x) && (300.0..700.0).contains(&y) { 17.3 } else { base }
    };
    let mut input = Input {
        surface: grid(1000.0, 1000.0, 10.0, boxed),
        outlets: vec![channel("c1", [0.0, 0.0], [1000.0, 0.0])],
        showers: vec![shower(500.0, 500.0, 150.0)],
        details: vec![area("in the pond", [400.0, 400.0, 600.0, 600.0]), line("outside", &[[0.0, 100.0], [1000.0, 100.0]])],
        ..Input::default()
    };
    let out = run(&input);
    let depth = 20.0 + 295.0 / 1000.0 - 17.3; // it runs over the lowest cell of its rim
    near(out.balance.left_standing, 0.16 * depth, 1e-9, "left standing");
    near(out.details[1].litres_per_day, 90.0 - 0.16 * depth, 1e-9, "what runs over");
    assert_eq!(out.details[0].wet_minutes_per_day, 1440.0);
    assert_eq!(out.details[1].wet_minutes_per_day, 10.0);
    // With little water the pond is shallow and dries sooner: 0.09 L on 0.16 m² is 0.5625 mm.
    input.showers[0].minutes_per_day = 0.01;
    let out = run(&input);
    near(out.balance.left_standing, 0.09, 1e-12, "all of it stays");
    near(out.details[0].wet_minutes_per_day, 0.01 + 0.5625 / 1.8 * 1440.0, 1e-6, "until it is dry");
    assert_eq!(out.details[1].litres_per_day, 0.0);
    input.evaporation_mm_per_day = Some(0.0);
    assert_eq!(run(&input).details[0].wet_minutes_per_day, 1440.0);
}

#[test]
fn a_rose_without_spread_lands_in_one_place() {
    let input = Input {
        surface: grid(1000.0, 1000.0, 10.0, |_, y| y / 66.0),
        outlets: vec![channel("c1", [0.0, 0.0], [1000.0, 0.0])],
        showers: vec![shower(505.0, 505.0, 0.0)],
        details: vec![area("there", [490.0, 490.0, 520.0, 520.0])],
        ..Input::default()
    };
    near(run(&input).details[0].share, 1.0, 0.0, "share");
}

#[test]
fn every_slip_is_named() {
    let good = Input {
        surface: grid(1000.0, 1000.0, 10.0, |_, y| y / 66.0),
        outlets: vec![channel("c1", [0.0, 0.0], [1000.0, 0.0])],
        showers: vec![shower(500.0, 500.0, 200.0)],
        details: vec![area("a", [0.0, 0.0, 100.0, 100.0])],
        ..Input::default()
    };
    type Change = fn(&mut Input);
    let table: [(&str, Change); 12] = [
        ("showers[0].flow_l_min", |i| i.showers[0].flow_l_min = -1.0),
        ("showers[0].height_mm", |i| i.showers[0].height_mm = f64::NAN),
        ("showers[0].spread_mm", |i| i.showers[0].spread_mm = f64::INFINITY),
        ("showers[0].minutes_per_day", |i| i.showers[0].minutes_per_day = 2000.0),
        ("the rose points outside", |i| i.showers[0].x_mm = 5000.0),
        ("no shower", |i| i.showers.clear()),
        ("no outlet", |i| i.outlets.clear()),
        ("screens[0].line_mm", |i| i.screens.push(ScreenIn { line_mm: vec![[0.0, 0.0]] })),
        ("a name given twice", |i| i.details.push(area("a", [0.0, 0.0, 10.0, 10.0]))),
        ("`line_mm` or `polygon_mm`", |i| i.details.push(line("b", &[]))),
        ("three corners", |i| i.details.push(DetailIn { id: "b".into(), line_mm: vec![], polygon_mm: vec![[0.0, 0.0], [9.0, 9.0]] })),
        ("evaporation_mm_per_day", |i| i.evaporation_mm_per_day = Some(-1.0)),
    ];
    for (words, change) in table {
        let mut input = good.clone();
        change(&mut input);
        let problems = exposure::run(&input).err().unwrap_or_else(|| panic!("{words}: nothing wrong was found")).to_string();
        assert!(problems.contains(words), "{words}: {problems}");
    }
    let mut input = good;
    input.details.push(line("off the floor", &[[5000.0, 0.0], [6000.0, 0.0]]));
    let out = run(&input);
    assert_eq!(out.details[1].litres_per_day, 0.0);
    assert!(out.notes.iter().any(|n| n.contains("off the floor")));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]

    /// What comes in goes out or stays, on any floor; no detail sees more than there is; a larger detail sees no less.
    #[test]
    fn every_litre_is_accounted_for(seed in prop::collection::vec(-3.0..3.0f64, 30 * 24), at in (20.0..580.0f64, 20.0..460.0f64), spread in 0.0..400.0f64, glass in (0.0..600.0f64, 0.0..600.0f64)) {
        let rough = |x: f64, y: f64| y / 80.0 + seed[((y / 20.0) as usize).min(23) * 30 + ((x / 20.0) as usize).min(29)];
        let input = Input {
            surface: grid(600.0, 480.0, 20.0, rough),
            outlets: vec![waste(300.0, 100.0), channel("c1", [0.0, 470.0], [200.0, 470.0])],
            showers: vec![shower(at.0, at.1, spread), shower(at.0, 480.0 - at.1, spread / 2.0)],
            screens: vec![ScreenIn { line_mm: vec![[glass.0, 0.0], [glass.1, 480.0]] }],
            details: vec![area("small", [200.0, 100.0, 300.0, 200.0]), area("large", [150.0, 60.0, 400.0, 300.0]), area("all", [0.0, 0.0, 600.0, 480.0])],
            ..Input::default()
        };
        let out = exposure::run(&input).unwrap();
        prop_assert!(out.balance.closure_error.abs() < 1e-9, "{:?}", out.balance);
        prop_assert!(out.balance.left_standing >= 0.0);
        let litres: Vec<f64> = out.details.iter().map(|d| d.litres_per_day).collect();
        prop_assert!(litres[0] <= litres[1] + 1e-9 && litres[1] <= litres[2] + 1e-9);
        prop_assert!((litres[2] - 180.0).abs() < 1e-9 * 180.0, "the whole floor sees all of it");
        prop_assert!(out.details.iter().all(|d| (0.0..=1440.0).contains(&d.wet_minutes_per_day)));
    }

    /// Turning the room by 90 degrees turns nothing but the room.
    #[test]
    fn turning_the_room_by_90_degrees_changes_nothing(tilt in (0.002..0.02f64, 0.002..0.02f64), at in (100.0..900.0f64, 100.0..700.0f64)) {
        let z = |x: f64, y: f64| tilt.0 * x + tilt.1 * y;
        let upright = Input {
            surface: grid(1000.0, 800.0, 20.0, z),
            outlets: vec![waste(50.0, 50.0)],
            showers: vec![shower(at.0, at.1, 250.0)],
            details: vec![area("a", [0.0, 0.0, 200.0, 400.0])],
            ..Input::default()
        };
        // (x, y) goes to (800 - y, x).
        let turned = Input {
            surface: grid(800.0, 1000.0, 20.0, |x, y| z(y, 800.0 - x)),
            outlets: vec![waste(750.0, 50.0)],
            showers: vec![shower(800.0 - at.1, at.0, 250.0)],
            details: vec![area("a", [400.0, 0.0, 800.0, 200.0])],
            ..Input::default()
        };
        let (a, b) = (run(&upright), run(&turned));
        prop_assert!((a.details[0].litres_per_day - b.details[0].litres_per_day).abs() < 1e-6);
        prop_assert!((a.balance.left_standing - b.balance.left_standing).abs() < 1e-9);
    }
}

/// The names that other programs rely on.
#[test]
fn field_names_in_and_out_hold() {
    let text = r#"{
        "surface": {"outline_mm": [[0,0],[1200,0],[1200,900],[0,900]],
                    "readings": [{"x_mm":50,"y_mm":50,"z_mm":0.7,"u_mm":0.5},{"x_mm":1150,"y_mm":50,"z_mm":0.7},{"x_mm":600,"y_mm":850,"z_mm":13}]},
        "outlets": [{"id":"c1","kind":"channel","line_mm":[[0,0],[1200,0]],"width_mm":60}],
        "showers": [{"x_mm":600,"y_mm":500,"height_mm":2100,"flow_l_min":9,"minutes_per_day":10,"spread_mm":300}],
        "screens": [{"line_mm": [[900,0],[900,900]]}],
        "details": [{"id":"j1","line_mm":[[0,0],[0,900]]},{"id":"f1","polygon_mm":[[0,0],[1200,0],[1200,900]]}]
    }"#;
    let out = serde_json::to_value(run(&serde_json::from_str(text).unwrap())).unwrap();
    for pointer in
        ["/details/0/litres_per_day", "/details/1/wet_minutes_per_day", "/balance/in", "/balance/outlets/c1", "/balance/left_standing"]
    {
        assert!(out.pointer(pointer).is_some_and(|v| v.is_number()), "{pointer} is missing in {out}");
    }
}
