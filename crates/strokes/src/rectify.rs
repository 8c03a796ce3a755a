//! The photograph as seen straight onto the plan.

use crate::homography::Homography;

/// A grey picture, row by row from the top left.
#[derive(Clone, Copy, Debug)]
pub struct Grey<'a> {
    /// Pixels in a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Luminance, `width * height` of them.
    pub luminance: &'a [u8],
}

/// The cells of the plan that are to be seen: rows run up the plan, columns to the right.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grid {
    /// Lower left corner of the first cell, millimetres on the plan.
    pub from_mm: [f64; 2],
    /// Side of a cell.
    pub mm_per_px: f64,
    /// Cells in a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
}

impl Grid {
    /// Centre of a cell.
    pub fn centre_mm(&self, column: usize, row: usize) -> [f64; 2] {
        [self.from_mm[0] + (column as f64 + 0.5) * self.mm_per_px, self.from_mm[1] + (row as f64 + 0.5) * self.mm_per_px]
    }
}

/// A rectified picture and which of its cells can be believed.
#[derive(Clone, Debug)]
pub struct Rectified {
    /// Cells in a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Luminance of each cell; 0 where nothing is seen.
    pub luminance: Vec<u8>,
    /// Whether a cell is seen: inside the photograph and neither burnt out nor left out.
    pub seen: Vec<bool>,
}

/// From this luminance on a pixel is burnt out: it tells nothing of the surface.
pub const BURNT_OUT: u8 = 250;

impl Rectified {
    /// Takes each cell from the photograph by bilinear interpolation.
    ///
    /// Where a cell covers several pixels it is the mean of evenly spread places within it (at most 6 by 6), so that marks
    /// finer than a cell do not come back as coarser ones.
    pub fn of(photo: Grey, px_from_plan: &Homography, grid: Grid) -> Self {
        let middle = grid.centre_mm(grid.width / 2, grid.height / 2);
        let px_per_cell = px_from_plan.area_scale(middle).abs().sqrt() * grid.mm_per_px;
        let within = if px_per_cell.is_finite() { (px_per_cell * 0.75).ceil().clamp(1.0, 6.0) as usize } else { 1 };
        let cells = grid.width * grid.height;
        let (mut luminance, mut seen) = (Vec::with_capacity(cells), Vec::with_capacity(cells));
        let mut line = Line { places: vec![[0.0; 2]; grid.width], sums: vec![0.0; grid.width] };
        for row in 0..grid.height {
            line.take(&photo, px_from_plan, &grid, row, within);
            let greys = line.sums.iter().map(|sum| (*sum >= 0.0).then(|| (sum / (within * within) as f32 + 0.5) as u8));
            luminance.extend(greys.clone().map(|grey| grey.unwrap_or(0)));
            seen.extend(greys.map(|grey| grey.is_some_and(|grey| grey < BURNT_OUT)));
        }
        Self { width: grid.width, height: grid.height, luminance, seen }
    }

    /// A picture that is one already.
    pub fn as_is(picture: Grey) -> Self {
        let seen = picture.luminance.iter().map(|grey| *grey < BURNT_OUT).collect();
        Self { width: picture.width, height: picture.height, luminance: picture.luminance.to_vec(), seen }
    }

    /// Leaves out what lies within a polygon on the plan (even-odd rule).
    pub fn leave_out(&mut self, grid: Grid, polygon: &[[f64; 2]]) {
        for row in 0..self.height {
            let y = grid.centre_mm(0, row)[1];
            let mut crossings: Vec<f64> = (0..polygon.len())
                .map(|i| (polygon[i], polygon[(i + 1) % polygon.len()]))
                .filter(|(a, b)| (a[1] <= y) != (b[1] <= y))
                .map(|(a, b)| a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0]))
                .collect();
            crossings.sort_by(f64::total_cmp);
            for span in crossings.chunks_exact(2) {
                let column = |x: f64| ((x - grid.from_mm[0]) / grid.mm_per_px - 0.5).ceil().clamp(0.0, self.width as f64) as usize;
                self.seen[row * self.width + column(span[0])..row * self.width + column(span[1])].fill(false);
            }
        }
    }

    /// Takes away what lies within `reach` cells of an unseen one or of the edge, where a filter would look at what is not
    /// there.
    pub fn shrink(&mut self, reach: usize) {
        let width = self.width;
        let mut below = vec![0_usize; width];
        for row in self.seen.chunks_exact_mut(width) {
            erode(row, reach);
            down(row, &mut below, reach);
        }
        below.fill(0);
        for row in self.seen.chunks_exact_mut(width).rev() {
            down(row, &mut below, reach);
        }
    }
}

/// One row of cells at work.
struct Line {
    /// Pixel of each place.
    places: Vec<[f64; 2]>,
    /// Sum of the luminance at the places of each cell; negative where one is not seen.
    sums: Vec<f32>,
}

/// Less than any sum of luminance can make up for.
const UNSEEN: f32 = -1e9;

impl Line {
    fn take(&mut self, photo: &Grey, map: &Homography, grid: &Grid, row: usize, within: usize) {
        self.sums.fill(0.0);
        let step = grid.mm_per_px / within as f64;
        for j in 0..within {
            let y = grid.from_mm[1] + row as f64 * grid.mm_per_px + (j as f64 + 0.5) * step;
            for i in 0..within {
                let x = grid.from_mm[0] + (i as f64 + 0.5) * step;
                for (column, place) in self.places.iter_mut().enumerate() {
                    *place = map.at_or_nan([x + column as f64 * grid.mm_per_px, y]);
                }
                self.sums.iter_mut().zip(&self.places).for_each(|(sum, place)| *sum += bilinear(photo, *place));
            }
        }
    }
}

/// Luminance between pixels; [`UNSEEN`] outside. A burnt-out pixel burns out its neighbourhood.
fn bilinear(photo: &Grey, [x, y]: [f64; 2]) -> f32 {
    let (right, below) = (photo.width - 1, photo.height - 1);
    // What is no number is in no range.
    if !(x >= 0.0 && y >= 0.0 && x <= right as f64 && y <= below as f64) {
        return UNSEEN;
    }
    let (column, row) = (x as usize, y as usize);
    let next = (column + 1).min(right);
    let upper = &photo.luminance[row * photo.width..][..photo.width];
    let lower = &photo.luminance[(row + 1).min(below) * photo.width..][..photo.width];
    let [a, b, c, d] = [upper[column], upper[next], lower[column], lower[next]];
    if a.max(b).max(c).max(d) >= BURNT_OUT {
        return 255.0;
    }
    let (fx, fy) = ((x - column as f64) as f32, (y - row as f64) as f32);
    let [a, b, c, d] = [a, b, c, d].map(f32::from);
    let (upper, lower) = (a + (b - a) * fx, c + (d - c) * fx);
    upper + (lower - upper) * fy
}

/// Shrinks the runs of one row from both ends.
fn erode(row: &mut [bool], reach: usize) {
    let mut start = 0;
    while start < row.len() {
        let end = start + row[start..].iter().take_while(|seen| **seen).count();
        row[start..end.min(start + reach)].fill(false);
        row[start.max(end.saturating_sub(reach))..end].fill(false);
        start = end + row[end..].iter().take_while(|seen| !**seen).count();
    }
}

/// Shrinks from the rows before: `run` counts how many seen cells stand before this row in each column.
fn down(row: &mut [bool], run: &mut [usize], reach: usize) {
    for (seen, run) in row.iter_mut().zip(run) {
        *run = if *seen { *run + 1 } else { 0 };
        *seen &= *run > reach;
    }
}
