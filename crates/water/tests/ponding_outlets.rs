//! Which cells an outlet takes, and what a grid from input refuses.

use measure::{PointMm, Problems};
use water::grid::Grid;
use water::surface::{GridIn, OutletIn, OutletKind, line_cells, outlet_cells};

/// 10 x 8 cells of 10 mm, first centre at 5, 5: the floor spans 0..100 by 0..80.
fn box_grid() -> Grid {
    Grid { x0_mm: 5.0, y0_mm: 5.0, cell_mm: 10.0, nx: 10, ny: 8, z_mm: vec![0.0; 80] }
}

fn point(x: f64, y: f64, radius: f64) -> OutletIn {
    OutletIn {
        id: "w1".into(),
        kind: OutletKind::Point,
        x_mm: Some(x),
        y_mm: Some(y),
        radius_mm: Some(radius),
        line_mm: vec![],
        width_mm: None,
    }
}

fn channel(line: &[PointMm], width: f64) -> OutletIn {
    OutletIn {
        id: "c1".into(),
        kind: OutletKind::Channel,
        x_mm: None,
        y_mm: None,
        radius_mm: None,
        line_mm: line.to_vec(),
        width_mm: Some(width),
    }
}

fn cells(outlet: OutletIn) -> Result<Vec<usize>, Problems> {
    outlet_cells(&box_grid(), &[outlet]).map(|mut c| c.remove(0))
}

#[test]
fn outlet_takes_the_cells_whose_centre_lies_inside() {
    let cases: Vec<(OutletIn, Vec<usize>)> = vec![
        (point(25.0, 25.0, 0.0), vec![22]),
        (point(27.0, 22.0, 0.5), vec![22]),
        (point(25.0, 25.0, 10.0), vec![12, 21, 22, 23, 32]),
        (point(25.0, 25.0, 15.0), vec![11, 12, 13, 21, 22, 23, 31, 32, 33]),
        (point(0.0, 0.0, 0.0), vec![0]),
        (point(100.0, 80.0, 0.0), vec![79]),
        // Along the lower wall, half of it outside: still one row of cells.
        (channel(&[[0.0, 0.0], [100.0, 0.0]], 20.0), (0..10).collect()),
        (channel(&[[20.0, 40.0], [50.0, 40.0]], 20.0), vec![32, 33, 34, 42, 43, 44]),
        // Narrower than a cell: the cells the line runs through.
        (channel(&[[21.0, 42.0], [48.0, 42.0]], 1.0), vec![42, 43, 44]),
        // Upright along the left wall.
        (channel(&[[5.0, 0.0], [5.0, 80.0]], 8.0), (0..8).map(|j| j * 10).collect()),
    ];
    for (outlet, expected) in cases {
        let named = format!("{outlet:?}");
        assert_eq!(cells(outlet), Ok(expected), "{named}");
    }
}

#[test]
fn outlet_with_its_centre_outside_is_an_error() {
    for outlet in [point(-10.0, 40.0, 30.0), point(50.0, 120.0, 50.0), channel(&[[0.0, -15.0], [100.0, -15.0]], 60.0)] {
        let problems = cells(outlet).unwrap_err();
        assert!(problems.to_string().contains("outside the floor"), "{problems}");
    }
    let mut grid = box_grid();
    grid.z_mm[22] = f64::NAN;
    assert!(outlet_cells(&grid, &[point(25.0, 25.0, 30.0)]).is_err());
}

#[test]
fn every_fault_of_the_outlets_is_named_at_once() {
    let mut no_place = point(25.0, 25.0, -1.0);
    no_place.x_mm = None;
    let mut mixed = channel(&[[10.0, 10.0]], 1e9);
    mixed.x_mm = Some(3.0);
    let mut far = point(1e300, 25.0, 1.0);
    far.id = "w2".into();
    let twice = point(25.0, 25.0, 0.0);
    let problems = outlet_cells(&box_grid(), &[no_place, mixed, far, twice]).unwrap_err();
    let fields: Vec<&str> = problems.problems.iter().map(|p| p.field.as_str()).collect();
    assert_eq!(
        fields,
        [
            "outlets[0].x_mm",
            "outlets[0].radius_mm",
            "outlets[1].x_mm",
            "outlets[1].width_mm",
            "outlets[1].line_mm",
            "outlets[2].x_mm",
            "outlets[3].id"
        ]
    );
}

#[test]
fn line_touches_the_cells_it_crosses_and_those_it_runs_along() {
    let grid = box_grid();
    assert_eq!(line_cells(&grid, &[[31.0, 32.0], [58.0, 32.0]]), [33, 34, 35]);
    assert_eq!(line_cells(&grid, &[[100.0, 12.0], [100.0, 28.0]]), [19, 29]);
    assert_eq!(line_cells(&grid, &[[2.0, 80.0], [18.0, 80.0]]), [70, 71]);
    assert_eq!(line_cells(&grid, &[[1.0, 1.0], [9.0, 19.0]]), [0, 10]);
    assert!(line_cells(&grid, &[[0.0, -1.0], [100.0, -1.0]]).is_empty());
    // Brute force: a dense walk along slanted lines visits no cell the exact test leaves out.
    for (a, b) in [([3.0, 2.0], [97.0, 71.0]), ([91.0, 4.0], [12.0, 77.0]), ([50.0, -20.0], [51.0, 99.0])] {
        let exact = line_cells(&grid, &[a, b]);
        for k in 0..=100_000 {
            let t = f64::from(k) / 100_000.0;
            let place = [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])];
            if let Some(cell) = grid.cell_at(place) {
                assert!(exact.contains(&cell));
            }
        }
    }
}

#[test]
fn grid_refuses_what_is_wrong_all_at_once() {
    let sound = || GridIn { nx: 3, ny: 2, cell_mm: 10.0, z_mm: vec![Some(0.0), None, Some(1.0), Some(2.0), Some(3.0), None], ..grid_in() };
    let grid = Grid::from_input(&sound(), "surface.grid").unwrap();
    assert!(grid.z_mm[1].is_nan() && grid.z_mm[4] == 3.0);
    let check = |change: fn(&mut GridIn), fields: &[&str]| {
        let mut input = sound();
        change(&mut input);
        let problems = Grid::from_input(&input, "surface.grid").unwrap_err();
        assert_eq!(problems.problems.iter().map(|p| p.field.as_str()).collect::<Vec<_>>(), fields);
    };
    check(|g| g.nx = 4, &["surface.grid.z_mm"]);
    check(|g| g.nx = 0, &["surface.grid.nx"]);
    check(|g| (g.nx, g.ny) = (usize::MAX, 2), &["surface.grid.nx"]);
    check(|g| (g.nx, g.ny) = (6_000, 6_000), &["surface.grid.nx"]);
    check(|g| g.cell_mm = 0.0, &["surface.grid.cell_mm"]);
    check(|g| g.z_mm = vec![None; 6], &["surface.grid.z_mm"]);
    check(
        |g| (g.x0_mm, g.z_mm[0], g.z_mm[4]) = (f64::INFINITY, Some(1e300), Some(f64::NAN)),
        &["surface.grid.x0_mm", "surface.grid.z_mm[0]", "surface.grid.z_mm[4]"],
    );
}

fn grid_in() -> GridIn {
    GridIn { x0_mm: 0.0, y0_mm: 0.0, cell_mm: 1.0, nx: 1, ny: 1, z_mm: vec![Some(0.0)], u_mm: None }
}
