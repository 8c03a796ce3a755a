//! A regular grid of heights.

use measure::PointMm;

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
