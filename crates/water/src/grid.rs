//! A regular grid of heights.

use crate::surface::GridIn;
use measure::{PointMm, Problem, Problems, bounds};

/// Heights on square cells, row by row from the lowest y up; `NaN` marks a cell outside the floor.
///
/// `x0_mm`, `y0_mm` is the *centre* of the first cell. Flow between cells goes to all eight neighbours.
#[derive(Clone, Debug, PartialEq)]
pub struct Grid {
    /// Centre of the first cell.
    pub x0_mm: f64,
    /// Centre of the first cell.
    pub y0_mm: f64,
    /// Side of a cell.
    pub cell_mm: f64,
    /// Cells along x.
    pub nx: usize,
    /// Cells along y.
    pub ny: usize,
    /// `nx * ny` heights, `NaN` outside.
    pub z_mm: Vec<f64>,
}

impl Grid {
    /// A grid from input, every height and bound checked; `field` is where it stands in the input, `surface.grid` say.
    ///
    /// # Errors
    /// All at once: a size of zero, more than [`bounds::GRID_CELLS`] cells, a cell side or origin out of bounds, a wrong
    /// number of heights, a height that is not a finite number within [`bounds::LEVEL_MM`], no floor cell at all.
    pub fn from_input(input: &GridIn, field: &str) -> Result<Self, Problems> {
        let mut problems = Problems::new();
        for (name, value, bound) in
            [("x0_mm", input.x0_mm, bounds::PLAN_MM), ("y0_mm", input.y0_mm, bounds::PLAN_MM), ("cell_mm", input.cell_mm, bounds::CELL_MM)]
        {
            if !bound.contains(value) {
                problems.push(Problem::at(format!("{field}.{name}"), "out of bounds", bound.words()).value(value));
            }
        }
        let cells = input.nx.checked_mul(input.ny).filter(|&n| n <= bounds::GRID_CELLS);
        match cells {
            None => problems.push(
                Problem::at(format!("{field}.nx"), "too many cells", format!("nx times ny at most {}", bounds::GRID_CELLS))
                    .value(format!("{} x {}", input.nx, input.ny)),
            ),
            Some(0) => problems.push(
                Problem::at(format!("{field}.nx"), "a grid without cells", "nx and ny at least 1")
                    .value(format!("{} x {}", input.nx, input.ny)),
            ),
            Some(n) if n != input.z_mm.len() => problems.push(
                Problem::at(format!("{field}.z_mm"), "wrong number of heights", format!("nx times ny = {n}, null outside the floor"))
                    .value(input.z_mm.len()),
            ),
            Some(_) => {}
        }
        for (i, z) in input.z_mm.iter().enumerate() {
            if let Some(z) = z
                && !bounds::LEVEL_MM.contains(*z)
            {
                problems.push(Problem::at(format!("{field}.z_mm[{i}]"), "out of bounds", bounds::LEVEL_MM.words()).value(z));
                if problems.problems.len() > Problems::MOST {
                    break;
                }
            }
        }
        if !input.z_mm.is_empty() && input.z_mm.iter().all(Option::is_none) {
            problems.push(Problem::at(format!("{field}.z_mm"), "every cell is null", "a height for every floor cell"));
        }
        let z_mm = if problems.is_empty() { input.z_mm.iter().map(|z| z.unwrap_or(f64::NAN)).collect() } else { Vec::new() };
        problems.or(Self { x0_mm: input.x0_mm, y0_mm: input.y0_mm, cell_mm: input.cell_mm, nx: input.nx, ny: input.ny, z_mm })
    }

    /// Number of cells, outside ones included.
    pub fn len(&self) -> usize {
        self.nx * self.ny
    }

    /// Whether there is no cell.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Centre of a cell.
    pub fn centre_mm(&self, cell: usize) -> PointMm {
        [self.x0_mm + (cell % self.nx) as f64 * self.cell_mm, self.y0_mm + (cell / self.nx) as f64 * self.cell_mm]
    }

    /// The cell a point lies in, if the grid reaches there; the cell may still be outside the floor.
    pub fn cell_at(&self, [x, y]: PointMm) -> Option<usize> {
        let i = ((x - self.x0_mm) / self.cell_mm + 0.5).floor();
        let j = ((y - self.y0_mm) / self.cell_mm + 0.5).floor();
        let inside = i >= 0.0 && j >= 0.0 && i < self.nx as f64 && j < self.ny as f64;
        inside.then(|| j as usize * self.nx + i as usize)
    }

    /// Whether a cell is floor.
    pub fn is_floor(&self, cell: usize) -> bool {
        !self.z_mm[cell].is_nan()
    }

    /// Area of one cell.
    pub fn cell_area_m2(&self) -> f64 {
        self.cell_mm * self.cell_mm * 1e-6
    }

    /// The up to eight neighbours of a cell that lie on the grid, in a fixed order: row below, own row, row above, each from
    /// left to right.
    pub fn neighbours(&self, cell: usize) -> impl Iterator<Item = usize> + use<> {
        let (nx, ny) = (self.nx as isize, self.ny as isize);
        let (i, j) = ((cell % self.nx) as isize, (cell / self.nx) as isize);
        const AROUND: [(isize, isize); 8] = [(-1, -1), (0, -1), (1, -1), (-1, 0), (1, 0), (-1, 1), (0, 1), (1, 1)];
        AROUND
            .into_iter()
            .map(move |(di, dj)| (i + di, j + dj))
            .filter(move |&(i, j)| i >= 0 && j >= 0 && i < nx && j < ny)
            .map(move |(i, j)| (j * nx + i) as usize)
    }
}
