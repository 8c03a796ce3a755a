//! Spot levels to a surface.

use measure::PointMm;
use proptest::prelude::*;
use water::surface::{GridIn, LevelIn, SurfaceIn};
use water::tin::{self, Surface};

const L_SHAPE: [PointMm; 6] = [[0.0, 0.0], [2350.0, 0.0], [2350.0, 1700.0], [1200.0, 1700.0], [1200.0, 900.0], [0.0, 900.0]];

fn reading(x_mm: f64, y_mm: f64, z_mm: f64) -> LevelIn {
    LevelIn { x_mm, y_mm, z_mm, u_mm: Some(0.75), name: None }
}

fn room(outline: &[PointMm], levels: &[(f64, f64, f64)]) -> SurfaceIn {
    SurfaceIn { outline_mm: outline.to_vec(), readings: levels.iter().map(|&(x, y, z)| reading(x, y, z)).collect(), ..SurfaceIn::default() }
}

fn rectangle(width: f64, depth: f64) -> Vec<PointMm> {
    vec![[0.0, 0.0], [width, 0.0], [width, depth], [0.0, depth]]
}

fn height(surface: &Surface, place: PointMm) -> f64 {
    surface.grid.z_mm[surface.grid.cell_at(place).expect("a place on the grid")]
}

fn u(surface: &Surface, place: PointMm) -> f64 {
    surface.u_mm[surface.grid.cell_at(place).expect("a place on the grid")]
}

#[test]
fn floor_cells_are_those_whose_centre_lies_inside_the_outline() {
    let levels = [(100.0, 100.0, 1.0), (2200.0, 100.0, 2.0), (2200.0, 1600.0, 3.0), (100.0, 800.0, 2.0)];
    let surface = tin::surface(&room(&L_SHAPE, &levels), None).unwrap();
    assert_eq!((surface.grid.nx, surface.grid.ny, surface.grid.cell_mm), (235, 170, 10.0));
    assert_eq!((surface.grid.x0_mm, surface.grid.y0_mm), (5.0, 5.0));
    let floor = surface.grid.z_mm.iter().filter(|z| !z.is_nan()).count();
    assert_eq!(floor, 235 * 170 - 120 * 80, "2.35 x 1.70 m less 1.20 x 0.80 m");
    assert!(surface.grid.z_mm.iter().zip(&surface.u_mm).all(|(z, u)| z.is_nan() == u.is_nan()));
}

#[test]
fn uncertainty_grows_away_from_the_levels_and_faster_beyond_them() {
    let levels: Vec<_> = [600.0, 1000.0, 1400.0].into_iter().flat_map(|x| [600.0, 1000.0, 1400.0].map(|y| (x, y, 0.0))).collect();
    let surface = tin::surface(&room(&rectangle(2000.0, 2000.0), &levels), None).unwrap();
    let (at, between, at_edge, beyond, at_wall) = (
        u(&surface, [1000.0, 1000.0]),
        u(&surface, [1200.0, 1000.0]),
        u(&surface, [1395.0, 1005.0]),
        u(&surface, [1700.0, 1005.0]),
        u(&surface, [1995.0, 1005.0]),
    );
    assert!((at - 0.75).abs() < 0.02, "at a level its own uncertainty, {at}");
    assert!(between < at, "half-way between two levels the mean of both carries, {between}");
    assert!(at_edge < beyond && beyond < at_wall, "{at_edge} {beyond} {at_wall}");
    assert!(at_wall > 2.0, "600 mm beyond the last level");
    assert!(!surface.extrapolated[surface.grid.cell_at([1200.0, 1200.0]).unwrap()]);
    assert!(surface.extrapolated[surface.grid.cell_at([1700.0, 1005.0]).unwrap()]);
}

/// A low level 50 mm before a wall is low at the wall too: the strip behind it is not a ramp up to the line between the
/// corners.
#[test]
fn a_hollow_before_a_wall_goes_on_to_the_wall() {
    let levels = [(50., 50., 0.), (1000., 50., -4.), (1950., 50., 0.), (50., 950., 0.), (1000., 950., 0.), (1950., 950., 0.)];
    let surface = tin::surface(&room(&rectangle(2000.0, 1000.0), &levels), None).unwrap();
    let (reading, wall) = (height(&surface, [1000.0, 50.0]), height(&surface, [1000.0, 5.0]));
    assert!((reading + 4.0).abs() < 0.1, "{reading}");
    assert!((wall + 4.0).abs() < 0.6, "{wall}");
}

#[test]
fn a_breakline_is_kept_as_an_edge() {
    // A valley along x = 1000 with levels at its ends only; without the line the triangulation bridges it.
    let levels = [
        (0., 0., 10.),
        (2000., 0., 10.),
        (2000., 500., 10.),
        (0., 500., 10.),
        (1000., -0., 0.),
        (1000., 500., 0.),
        (900., 250., 1.0),
        (1100., 250., 1.0),
    ];
    let mut input = room(&rectangle(2000.0, 500.0), &levels);
    let without = height(&tin::surface(&input, None).unwrap(), [1000.0, 250.0]);
    input.breaklines_mm = vec![vec![[1000.0, 0.0], [1000.0, 500.0]]];
    let with = height(&tin::surface(&input, None).unwrap(), [1000.0, 250.0]);
    assert!(without > 0.9, "{without}");
    assert!(with < 0.06, "{with}");
}

/// A set-down of 20 mm: two lines, 2 mm apart, with levels on each.
#[test]
fn a_step_is_two_breaklines() {
    let mut levels = vec![];
    for y in [50.0, 500.0, 950.0] {
        levels.extend([(50.0, y, 20.0), (999.0, y, 20.0), (1001.0, y, 0.0), (1950.0, y, 0.0)]);
    }
    let mut input = room(&rectangle(2000.0, 1000.0), &levels);
    input.breaklines_mm = vec![vec![[999.0, 50.0], [999.0, 950.0]], vec![[1001.0, 50.0], [1001.0, 950.0]]];
    let surface = tin::surface(&input, None).unwrap();
    for y in [55.0, 300.0, 700.0, 945.0] {
        assert!((height(&surface, [985.0, y]) - 20.0).abs() < 1e-9 && height(&surface, [1015.0, y]).abs() < 1e-9, "at y = {y}");
    }
}

#[test]
fn what_was_assumed_is_said() {
    let mut input = room(&rectangle(1000.0, 1000.0), &[(100., 100., 0.), (900., 100., 0.), (500., 900., 0.), (100., 100., 0.)]);
    input.readings[1].u_mm = None;
    let said = tin::surface(&input, None).unwrap().assumed.join("; ");
    assert!(
        said.contains("1 of 4 levels give no uncertainty") && said.contains("0.75 mm") && said.contains("common practice, no source"),
        "{said}"
    );
    assert!(said.contains("1 readings repeat a place"), "{said}");
    input.layer = Some("tile".into());
    assert!(tin::surface(&input, None).unwrap().assumed[0].contains("0.5 mm"));
}

#[test]
fn a_grid_is_taken_as_it_stands() {
    let grid = GridIn { x0_mm: 5.0, y0_mm: 5.0, cell_mm: 10.0, nx: 2, ny: 1, z_mm: vec![Some(1.0), None], u_mm: Some(0.3) };
    let surface = tin::surface(&SurfaceIn { grid: Some(grid), ..SurfaceIn::default() }, None).unwrap();
    assert_eq!((surface.grid.z_mm[0], surface.u_mm[0]), (1.0, 0.3));
    assert!(surface.grid.z_mm[1].is_nan() && surface.u_mm[1].is_nan());
}

/// Each slip with the words its message must carry.
#[test]
fn every_slip_is_named_with_what_would_be_right() {
    let good = [(100., 100., 0.), (900., 100., 1.), (500., 900., 2.)];
    let square = rectangle(1000.0, 1000.0);
    let with = |change: &dyn Fn(&mut SurfaceIn)| {
        let mut input = room(&square, &good);
        change(&mut input);
        input
    };
    let table: Vec<(&str, SurfaceIn, &[&str])> = vec![
        ("nothing", SurfaceIn::default(), &["there is no surface"]),
        ("two corners", with(&|s| s.outline_mm.truncate(2)), &["three corners"]),
        ("bow tie", with(&|s| s.outline_mm.swap(1, 2)), &["crosses itself"]),
        ("spike", with(&|s| s.outline_mm = vec![[0., 0.], [1000., 0.], [500., 0.], [500., 900.]]), &["crosses itself"]),
        ("a room of 2 mm", room(&rectangle(2.0, 2.0), &[(1., 1., 0.)]), &["no room has this size", "300"]),
        ("a room of 2 km", room(&rectangle(2e6 - 1.0, 1e6), &good), &["off the plan"]),
        ("a room of 200 m", room(&rectangle(2e5, 1e5), &good), &["no room has this size", "in mm"]),
        ("NaN in the outline", with(&|s| s.outline_mm[2][1] = f64::NAN), &["outline_mm[2]", "off the plan"]),
        ("infinite height", with(&|s| s.readings[1].z_mm = f64::INFINITY), &["readings[1].z_mm", "out of bounds"]),
        ("NaN place", with(&|s| s.readings[0].x_mm = f64::NAN), &["readings[0].x_mm"]),
        ("negative u", with(&|s| s.readings[0].u_mm = Some(-1.0)), &["readings[0].u_mm", "between 0"]),
        (
            "outside",
            with(&|s| s.readings.push(LevelIn { name: Some("P9".into()), ..reading(1200.0, 500.0, 0.0) })),
            &["P9 lies 200 mm outside"],
        ),
        ("doubled place", with(&|s| s.readings.push(reading(100.2, 100.0, 3.0))), &["readings[3]", "readings[0]", "another height"]),
        ("one level", room(&square, &good[..1]), &["one level makes no surface"]),
        ("no level", room(&square, &[]), &["no level"]),
        ("in a line", room(&square, &[(100., 100., 0.), (200., 200., 0.), (700., 700., 0.)]), &["stand on one line"]),
        (
            "too fine a grid",
            with(&|s| {
                s.outline_mm = rectangle(90_000.0, 90_000.0);
                s.cell_mm = Some(1.0)
            }),
            &["cell_mm of 18"],
        ),
        ("cell of 0", with(&|s| s.cell_mm = Some(0.0)), &["surface.cell_mm", "between 0.1"]),
        (
            "cell wider than the room",
            with(&|s| {
                s.cell_mm = Some(1000.0);
                s.outline_mm = vec![[0., 0.], [1000., 0.], [0., 499.0]];
                s.readings[1].x_mm = 600.0;
                s.readings.truncate(2);
                s.readings.push(reading(10., 400., 0.))
            }),
            &["no cell centre", "narrowest"],
        ),
        ("breakline outside", with(&|s| s.breaklines_mm = vec![vec![[0., 0.], [0., 1500.]]]), &["breaklines_mm[0][1]", "500 mm outside"]),
        (
            "breaklines cross",
            with(&|s| s.breaklines_mm = vec![vec![[0., 0.], [900., 900.]], vec![[0., 900.], [900., 0.]]]),
            &["breaklines_mm[1]", "crosses breakline 0"],
        ),
        ("breakline of a point", with(&|s| s.breaklines_mm = vec![vec![[0., 0.]]]), &["breaklines_mm[0]"]),
        (
            "levels and grid",
            with(&|s| s.grid = Some(GridIn { x0_mm: 0., y0_mm: 0., cell_mm: 10., nx: 1, ny: 1, z_mm: vec![Some(0.)], u_mm: None })),
            &["together"],
        ),
    ];
    for (name, input, words) in table {
        let problems = tin::surface(&input, None).err().unwrap_or_else(|| panic!("{name}: nothing wrong was found")).to_string();
        for word in words {
            assert!(problems.contains(word), "{name}: {problems}");
        }
    }
}

#[test]
fn all_slips_are_found_at_once() {
    let mut input = room(&rectangle(1000.0, 1000.0), &[(100., 100., 0.), (900., 100., f64::NAN), (5000., 900., 2.), (100., 100., 9.)]);
    input.cell_mm = Some(-1.0);
    assert_eq!(tin::surface(&input, None).unwrap_err().problems.len(), 4);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// A plane is a plane everywhere, beyond the outermost levels too, whatever its tilt and wherever the levels stand.
    #[test]
    fn a_plane_stays_a_plane_up_to_the_walls(gx in -0.05..0.05f64, gy in -0.05..0.05f64, places in prop::collection::vec((5.0..1195.0f64, 5.0..895.0f64), 4..30)) {
        let plane = |x: f64, y: f64| 30.0 + gx * x + gy * y;
        let levels: Vec<_> = places.iter().map(|&(x, y)| (x, y, plane(x, y))).collect();
        let input = room(&L_SHAPE, &levels);
        let Ok(surface) = tin::surface(&input, Some(25.0)) else { return Ok(()) };
        let worst = surface.facets.iter().map(|f| (f.gradient[0] - gx).abs().max((f.gradient[1] - gy).abs())).fold(0.0, f64::max);
        for cell in 0..surface.grid.len() {
            if surface.grid.is_floor(cell) {
                let [x, y] = surface.grid.centre_mm(cell);
                prop_assert!((surface.grid.z_mm[cell] - plane(x, y)).abs() < 1e-6, "at {x} {y}: {}", surface.grid.z_mm[cell] - plane(x, y));
                prop_assert!(surface.u_mm[cell] > 0.0);
            }
        }
        prop_assert!(worst < 1e-4, "{worst}");
    }

    /// Nothing a person can enter makes it panic.
    #[test]
    fn any_handful_of_levels_is_a_surface_or_a_message(places in prop::collection::vec((-50.0..1050.0f64, -50.0..1050.0f64, -1e3..1e3f64), 0..12), snap in 1.0..400.0f64, line in prop::collection::vec((0.0..1000.0f64, 0.0..1000.0f64), 0..5)) {
        let mut input = room(&rectangle(1000.0, 1000.0), &places.iter().map(|&(x, y, z)| ((x / snap).round() * snap, (y / snap).round() * snap, z)).collect::<Vec<_>>());
        if line.len() > 1 {
            input.breaklines_mm = vec![line.iter().map(|&(x, y)| [(x / snap).floor() * snap, (y / snap).floor() * snap]).collect()];
        }
        match tin::surface(&input, Some(50.0)) {
            Ok(surface) => prop_assert!(surface.grid.z_mm.iter().all(|z| z.is_finite())),
            Err(problems) => prop_assert!(!problems.is_empty()),
        }
    }
}
