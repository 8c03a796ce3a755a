//! Gradient of a grid, cell by cell.

use super::parts::NO_PART;
use crate::grid::Grid;
use measure::math::sq;

/// Half the base of a gradient on heights known exactly: 25 mm to each side.
const HALF_BASE_MM: f64 = 25.0;
/// Half the base is widened up to this until the gradient is known to [`ENOUGH`].
const HALF_BASE_MOST_MM: f64 = 150.0;
/// A gradient known to 1:500 tells a fall from a back-fall.
const ENOUGH: f64 = 0.002;

/// Rise per run at a cell, with what its uncertainty follows from.
#[derive(Clone, Copy, Debug)]
pub struct Slope {
    pub gradient: [f64; 2],
    /// Covariance of the gradient for heights of unit uncertainty: xx, xy, yy.
    pub unit_cov: [f64; 3],
}

impl Slope {
    /// Standard uncertainty of the fall along a unit direction.
    pub fn u_fall(&self, u_mm: f64, [dx, dy]: [f64; 2]) -> f64 {
        let [xx, xy, yy] = self.unit_cov;
        u_mm * (dx * dx * xx + 2.0 * dx * dy * xy + dy * dy * yy).max(0.0).sqrt()
    }
}

/// Cells to each side that a gradient is taken over.
pub fn half_window(cell_mm: f64, u_mm: f64) -> usize {
    let cells = |mm: f64| ((mm / cell_mm).round() as usize).max(1);
    let u_at = |r: usize| {
        let n = (2 * r + 1) as f64;
        let one_row = (r * (r + 1)) as f64 * n / 3.0; // sum of k^2 over -r..=r
        u_mm / (cell_mm * (n * one_row).sqrt())
    };
    let mut r = cells(HALF_BASE_MM);
    while u_at(r) > ENOUGH && r < cells(HALF_BASE_MOST_MM) {
        r += 1;
    }
    r
}

/// Heights that scatter less than this about a plane lie on it: rounding in the file, not shape.
const FLAT_MM: f64 = 0.005;

/// Calls `visit` with the least-squares plane through the cells of the same part within `r` cells of each cell of that
/// part. A cell with too few such cells around it is left out. Where the cells scatter about the plane by more than twice
/// their uncertainty the window lies over a crease, and the quarter of it that is flattest stands in.
///
/// Sums slide along rows and columns, so the work does not grow with `r`. Positions are whole numbers and their sums exact.
pub fn slopes(grid: &Grid, of_cell: &[u32], parts: usize, r: usize, u_mm: f64, mut visit: impl FnMut(usize, Slope)) {
    let boxes = boxes(grid, of_cell, parts);
    for (part, b) in boxes.into_iter().enumerate().filter_map(|(part, b)| b.map(|b| (part as u32, b))) {
        one_part(grid, of_cell, part, b, r, FLAT_MM.max(2.0 * u_mm), &mut visit);
    }
}

/// First and last column and row of a part.
type Box = (usize, usize, usize, usize);

fn boxes(grid: &Grid, of_cell: &[u32], parts: usize) -> Vec<Option<Box>> {
    let mut boxes: Vec<Option<Box>> = vec![None; parts];
    for (cell, &part) in of_cell.iter().enumerate().filter(|(_, part)| **part != NO_PART) {
        let (i, j) = (cell % grid.nx, cell / grid.nx);
        let (i0, i1, j0, j1) = boxes[part as usize].unwrap_or((i, i, j, j));
        boxes[part as usize] = Some((i0.min(i), i1.max(i), j0.min(j), j1.max(j)));
    }
    boxes
}

/// Sums over a set of cells: count, positions, heights, and their products.
#[derive(Clone, Copy, Default)]
struct Sums {
    n: f64,
    i: f64,
    j: f64,
    ii: f64,
    ij: f64,
    jj: f64,
    z: f64,
    iz: f64,
    jz: f64,
    zz: f64,
}

/// Sums of one column over the rows of the window.
#[derive(Clone, Copy, Default)]
struct Column {
    n: f64,
    j: f64,
    jj: f64,
    z: f64,
    jz: f64,
    zz: f64,
}

impl Column {
    fn add(&mut self, j: f64, z: f64, sign: f64) {
        self.n += sign;
        self.j += sign * j;
        self.jj += sign * j * j;
        self.z += sign * z;
        self.jz += sign * j * z;
        self.zz += sign * z * z;
    }
}

impl Sums {
    fn add(&mut self, i: f64, c: &Column, sign: f64) {
        self.n += sign * c.n;
        self.i += sign * i * c.n;
        self.ii += sign * i * i * c.n;
        self.j += sign * c.j;
        self.ij += sign * i * c.j;
        self.jj += sign * c.jj;
        self.z += sign * c.z;
        self.iz += sign * i * c.z;
        self.jz += sign * c.jz;
        self.zz += sign * c.zz;
    }

    /// The plane, and how much the heights scatter about it.
    fn slope(&self, cell_mm: f64) -> Option<(Slope, f64)> {
        let n = self.n;
        if n < 3.0 {
            return None;
        }
        let (xx, xy, yy) = (self.ii - sq(self.i) / n, self.ij - self.i * self.j / n, self.jj - sq(self.j) / n);
        let (xz, yz) = (self.iz - self.i * self.z / n, self.jz - self.j * self.z / n);
        let det = xx * yy - xy * xy;
        if det < 1e-6 * (1.0 + xx * yy) {
            return None;
        }
        let (gx, gy) = ((yy * xz - xy * yz) / det, (xx * yz - xy * xz) / det);
        let left = (self.zz - sq(self.z) / n - gx * xz - gy * yz).max(0.0);
        let gradient = [gx / cell_mm, gy / cell_mm];
        let area = det * cell_mm * cell_mm;
        Some((Slope { gradient, unit_cov: [yy / area, -xy / area, xx / area] }, (left / n).sqrt()))
    }
}

fn one_part(grid: &Grid, of_cell: &[u32], part: u32, (i0, i1, j0, j1): Box, r: usize, flat_mm: f64, visit: &mut impl FnMut(usize, Slope)) {
    let width = i1 - i0 + 1;
    let mut columns = vec![Column::default(); width];
    let base = (j0..=j1).flat_map(|j| (i0..=i1).map(move |i| (i, j))).map(|(i, j)| j * grid.nx + i).find(|&c| of_cell[c] == part);
    let Some(z0) = base.map(|c| grid.z_mm[c]) else { return };
    let take_row = |columns: &mut [Column], j: usize, sign: f64| {
        for (k, column) in columns.iter_mut().enumerate() {
            let cell = j * grid.nx + i0 + k;
            if of_cell[cell] == part {
                column.add((j - j0) as f64, grid.z_mm[cell] - z0, sign);
            }
        }
    };
    (j0..=(j0 + r).min(j1)).for_each(|j| take_row(&mut columns, j, 1.0));
    for j in j0..=j1 {
        if j > j0 {
            if j + r <= j1 {
                take_row(&mut columns, j + r, 1.0);
            }
            if j > j0 + r {
                take_row(&mut columns, j - r - 1, -1.0);
            }
        }
        let mut sums = Sums::default();
        (0..=r.min(width - 1)).for_each(|k| sums.add(k as f64, &columns[k], 1.0));
        for k in 0..width {
            if k > 0 {
                if k + r < width {
                    sums.add((k + r) as f64, &columns[k + r], 1.0);
                }
                if k > r {
                    sums.add((k - r - 1) as f64, &columns[k - r - 1], -1.0);
                }
            }
            let cell = j * grid.nx + i0 + k;
            if of_cell[cell] == part
                && let Some((slope, scatter)) = sums.slope(grid.cell_mm)
            {
                let quarter = if scatter > flat_mm { flattest_quarter(grid, cell, r) } else { None };
                visit(cell, quarter.filter(|(_, least)| *least < scatter).map_or(slope, |(slope, _)| slope));
            }
        }
    }
}

/// The plane through that quarter of the window, one corner at the cell, about which heights scatter least.
fn flattest_quarter(grid: &Grid, cell: usize, r: usize) -> Option<(Slope, f64)> {
    let (i, j) = ((cell % grid.nx) as isize, (cell / grid.nx) as isize);
    let r = r as isize;
    let quarter = |si: isize, sj: isize| {
        let mut sums = Sums::default();
        for dj in 0..=r {
            for di in 0..=r {
                let (k, l) = (i + si * di, j + sj * dj);
                if k < 0 || l < 0 || k >= grid.nx as isize || l >= grid.ny as isize {
                    continue;
                }
                let z = grid.z_mm[l as usize * grid.nx + k as usize] - grid.z_mm[cell];
                if !z.is_nan() {
                    let mut one = Column::default();
                    one.add((sj * dj) as f64, z, 1.0);
                    sums.add((si * di) as f64, &one, 1.0);
                }
            }
        }
        sums.slope(grid.cell_mm)
    };
    [(-1, -1), (1, -1), (-1, 1), (1, 1)].into_iter().filter_map(|(si, sj)| quarter(si, sj)).min_by(|a, b| a.1.total_cmp(&b.1))
}
