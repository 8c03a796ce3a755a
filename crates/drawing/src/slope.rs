//! Which way a surface falls at a place: a plane through the cells around it.

use measure::PointMm;
use measure::math::sq;
use water::grid::Grid;

/// A slope over this is a step, not a fall: one in eight.
pub const STEP: f64 = 0.125;
/// Cells that lie further than this off their plane, in the root mean square, lie on both sides of a step.
const STEP_OFF_MM: f64 = 2.0;
/// Fewer cells than this do not make a plane.
const CELLS: usize = 6;
/// A window is looked at in at most so many cells across.
const ACROSS: usize = 17;

/// Rise per run along x and y of the plane that fits the cells within `reach_mm` of a place best; `None` where too few of
/// them are floor, or where a step lies between them.
pub fn gradient(grid: &Grid, at: PointMm, reach_mm: f64) -> Option<[f64; 2]> {
    let middle = grid.cell_at(at).filter(|c| grid.is_floor(*c))?;
    let cells: Vec<[f64; 3]> = window(grid, middle, reach_mm)
        .map(|cell| {
            let [x, y] = grid.centre_mm(cell);
            [x - at[0], y - at[1], grid.z_mm[cell] - grid.z_mm[middle]]
        })
        .collect();
    if cells.len() < CELLS {
        return None;
    }
    let n = cells.len() as f64;
    let mean: [f64; 3] = std::array::from_fn(|k| cells.iter().map(|c| c[k]).sum::<f64>() / n);
    let sum = |a: usize, b: usize| cells.iter().map(|c| (c[a] - mean[a]) * (c[b] - mean[b])).sum::<f64>();
    let (xx, xy, yy, xz, yz) = (sum(0, 0), sum(0, 1), sum(1, 1), sum(0, 2), sum(1, 2));
    let det = xx * yy - xy * xy;
    // Cells in one row make no plane.
    if det <= 1e-9 * xx * yy || det <= 0.0 {
        return None;
    }
    let [gx, gy] = [(xz * yy - yz * xy) / det, (yz * xx - xz * xy) / det];
    let off = cells.iter().map(|c| sq(c[2] - mean[2] - gx * (c[0] - mean[0]) - gy * (c[1] - mean[1]))).sum::<f64>() / n;
    let is_fall = gx * gx + gy * gy <= STEP * STEP && off.sqrt() <= STEP_OFF_MM;
    is_fall.then_some([gx, gy])
}

/// Floor cells within reach, thinned out where there are many.
fn window(grid: &Grid, middle: usize, reach_mm: f64) -> impl Iterator<Item = usize> + use<'_> {
    let reach = (reach_mm / grid.cell_mm).round().max(1.0) as usize;
    let every = (2 * reach).div_ceil(ACROSS).max(1);
    let (i, j) = (middle % grid.nx, middle / grid.nx);
    let span = move |at: usize, n: usize| (at.saturating_sub(reach)..(at + reach + 1).min(n)).step_by(every);
    span(j, grid.ny).flat_map(move |row| span(i, grid.nx).map(move |column| row * grid.nx + column)).filter(|c| grid.is_floor(*c))
}

/// Heights smoothed over the cells within reach along both axes, unknown where the surface makes a step.
pub fn smoothed(grid: &Grid, reach_mm: f64) -> Vec<f64> {
    let reach = (reach_mm / grid.cell_mm).round() as usize;
    let along_x = means(&grid.z_mm, grid.nx, grid.ny, reach, |i, j| j * grid.nx + i);
    let both = means(&along_x, grid.ny, grid.nx, reach, |j, i| j * grid.nx + i);
    // Over the width of the smoothing, so that the grain of a scan is no step.
    let wide = reach.max(1);
    let rises = |a: usize, b: usize| (both[b] - both[a]).abs() > STEP * 2.0 * wide as f64 * grid.cell_mm;
    let step = |cell: usize| {
        let (i, j) = (cell % grid.nx, cell / grid.nx);
        let beside = |at: usize, n: usize| (at.saturating_sub(wide), (at + wide).min(n - 1));
        let ((west, east), (south, north)) = (beside(i, grid.nx), beside(j, grid.ny));
        rises(j * grid.nx + west, j * grid.nx + east) || rises(south * grid.nx + i, north * grid.nx + i)
    };
    (0..grid.len()).map(|cell| if grid.z_mm[cell].is_nan() || step(cell) { f64::NAN } else { both[cell] }).collect()
}

/// Running means along each row of a table of `n` by `rows`, over the known values only.
fn means(values: &[f64], n: usize, rows: usize, reach: usize, index: impl Fn(usize, usize) -> usize) -> Vec<f64> {
    let mut out = vec![f64::NAN; values.len()];
    for row in 0..rows {
        let mut sums = vec![(0.0, 0usize); n + 1];
        for k in 0..n {
            let value = values[index(k, row)];
            let (sum, count) = sums[k];
            sums[k + 1] = if value.is_nan() { (sum, count) } else { (sum + value, count + 1) };
        }
        for k in 0..n {
            let at = index(k, row);
            let (from, to) = (sums[k.saturating_sub(reach)], sums[(k + reach + 1).min(n)]);
            if !values[at].is_nan() && to.1 > from.1 {
                out[at] = (to.0 - from.0) / (to.1 - from.1) as f64;
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plane(a: f64, b: f64) -> Grid {
        let z_mm = (0..2500).map(|k| a * 10.0 * f64::from(k % 50) + b * 10.0 * f64::from(k / 50)).collect();
        Grid { x0_mm: 0.0, y0_mm: 0.0, cell_mm: 10.0, nx: 50, ny: 50, z_mm }
    }

    #[test]
    fn a_plane_has_its_own_slope_everywhere() {
        let grid = plane(1.0 / 80.0, -1.0 / 50.0);
        for at in [[250.0, 250.0], [0.0, 0.0], [490.0, 13.0]] {
            let [gx, gy] = gradient(&grid, at, 60.0).unwrap();
            assert!((gx - 0.0125).abs() < 1e-12 && (gy + 0.02).abs() < 1e-12, "{gx} {gy}");
        }
        assert_eq!(gradient(&grid, [5000.0, 0.0], 60.0), None);
    }

    #[test]
    fn across_a_step_there_is_no_slope() {
        let mut grid = plane(0.0125, 0.0);
        for cell in 0..grid.len() {
            if cell % 50 >= 25 {
                grid.z_mm[cell] += 20.0;
            }
        }
        assert_eq!(gradient(&grid, [240.0, 250.0], 60.0), None);
        assert!(gradient(&grid, [100.0, 250.0], 60.0).is_some());
        let smooth = smoothed(&grid, 20.0);
        assert!(smooth[25 * 50 + 24].is_nan() && smooth[25 * 50 + 25].is_nan() && !smooth[25 * 50 + 10].is_nan());
    }

    /// Noise of 1 mm on cells of 2 mm is steeper than any step from cell to cell, and no step.
    #[test]
    fn the_grain_of_a_scan_is_no_step() {
        let z_mm = (0..10_000).map(|k| f64::from(k % 100) * 0.025 + if (k * 7919) % 13 < 6 { 1.0 } else { 0.0 }).collect();
        let grid = Grid { x0_mm: 0.0, y0_mm: 0.0, cell_mm: 2.0, nx: 100, ny: 100, z_mm };
        assert!(smoothed(&grid, 20.0).iter().all(|z| !z.is_nan()));
        let [gx, gy] = gradient(&grid, [100.0, 100.0], 70.0).unwrap();
        assert!((gx - 0.0125).abs() < 0.002 && gy.abs() < 0.002, "{gx} {gy}");
    }

    #[test]
    fn smoothing_leaves_a_plane_as_it_is() {
        let grid = plane(0.01, 0.02);
        let smooth = smoothed(&grid, 20.0);
        let cell = 20 * 50 + 20;
        assert!((smooth[cell] - grid.z_mm[cell]).abs() < 1e-9);
    }
}
