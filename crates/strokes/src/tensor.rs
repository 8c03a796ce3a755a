//! The structure tensor: how steeply grey changes around each pixel, and which way.
//!
//! `J = G * [Ir Ir, Ir Ic; Ir Ic, Ic Ic]` (Förstner and Gülch 1987; Bigün and Granlund 1987), with un-normalised 3 by 3 Sobel
//! derivatives, a Gaussian cut at four standard deviations, and borders that repeat the nearest pixel: the choices of
//! scikit-image, whose digits come out. The 3 by 3 Sobel operator turns directions a little: a grating of wave numbers
//! `kx`, `ky` (radians per pixel) reads `atan2(tan(ky/2), tan(kx/2))`, at eight pixels a period and 30° 0.66° too little.
//! Pixels of one diagonal or axis are exact.

use measure::math;

/// One row of the tensor.
#[derive(Clone, Copy, Debug)]
pub struct Row<'a> {
    /// Down the rows, squared.
    pub rr: &'a [f32],
    /// Down the rows times along the row.
    pub rc: &'a [f32],
    /// Along the row, squared.
    pub cc: &'a [f32],
}

/// Hands out the tensor row by row. `source` fills row `y` of the picture and is asked once for each row, in order; what is
/// held at any time are as many rows as the Gaussian is high.
pub fn scan(width: usize, height: usize, sigma: f64, mut source: impl FnMut(usize, &mut [f32]), mut sink: impl FnMut(usize, Row)) {
    if width == 0 || height == 0 {
        return;
    }
    let weights = gaussian(sigma);
    let reach = weights.len() / 2;
    let mut pictures = Pictures::new(width);
    let mut padded = vec![0.0; width + 2 * reach];
    let mut ring: Vec<[Vec<f32>; 3]> = (0..weights.len().min(height)).map(|_| zeros(width)).collect();
    let held = ring.len();
    let mut products = zeros(width);
    let mut out = zeros(width);
    let mut done = 0;
    for y in 0..height {
        while done < height && done <= y + reach {
            pictures.advance(done, height, &mut source);
            pictures.products(&mut products);
            for (product, smooth) in products.iter().zip(&mut ring[done % held]) {
                across(product, &weights, &mut padded, smooth);
            }
            done += 1;
        }
        out.iter_mut().for_each(|row| row.fill(0.0));
        for (k, weight) in weights.iter().enumerate() {
            let from = &ring[(y + k).saturating_sub(reach).min(height - 1) % held];
            for (sum, row) in out.iter_mut().zip(from) {
                sum.iter_mut().zip(row).for_each(|(sum, value)| *sum += weight * value);
            }
        }
        sink(y, Row { rr: &out[0], rc: &out[1], cc: &out[2] });
    }
}

/// How far around a pixel its tensor looks.
pub fn reach(sigma: f64) -> usize {
    (4.0 * sigma + 0.5) as usize + 1
}

fn zeros(width: usize) -> [Vec<f32>; 3] {
    std::array::from_fn(|_| vec![0.0; width])
}

fn gaussian(sigma: f64) -> Vec<f32> {
    let reach = (reach(sigma) - 1) as i32;
    let bell = |k: i32| math::exp(-0.5 * math::sq(f64::from(k) / sigma));
    let sum: f64 = (-reach..=reach).map(bell).sum();
    (-reach..=reach).map(|k| (bell(k) / sum) as f32).collect()
}

/// Three rows of the picture, each with its end pixels repeated.
struct Pictures {
    rows: [Vec<f32>; 3],
}

impl Pictures {
    fn new(width: usize) -> Self {
        Self { rows: std::array::from_fn(|_| vec![0.0; width + 2]) }
    }

    /// Moves the middle to row `y`.
    fn advance(&mut self, y: usize, height: usize, source: &mut impl FnMut(usize, &mut [f32])) {
        if y == 0 {
            fill(&mut self.rows[2], 0, source);
            self.rows[1] = self.rows[2].clone();
        }
        self.rows.rotate_left(1);
        if y + 1 < height {
            fill(&mut self.rows[2], y + 1, source);
        } else {
            self.rows[2] = self.rows[1].clone();
        }
    }

    fn products(&self, [rr, rc, cc]: &mut [Vec<f32>; 3]) {
        let width = rr.len();
        let [above, middle, below] = self.rows.each_ref().map(|row| &row[..width + 2]);
        for x in 0..width {
            let down = (below[x] - above[x]) + 2.0 * (below[x + 1] - above[x + 1]) + (below[x + 2] - above[x + 2]);
            let along = (above[x + 2] - above[x]) + 2.0 * (middle[x + 2] - middle[x]) + (below[x + 2] - below[x]);
            rr[x] = down * down;
            rc[x] = down * along;
            cc[x] = along * along;
        }
    }
}

fn fill(row: &mut [f32], y: usize, source: &mut impl FnMut(usize, &mut [f32])) {
    let last = row.len() - 1;
    source(y, &mut row[1..last]);
    row[0] = row[1];
    row[last] = row[last - 1];
}

/// The Gaussian along one row.
fn across(row: &[f32], weights: &[f32], padded: &mut [f32], out: &mut [f32]) {
    let (width, reach) = (row.len(), weights.len() / 2);
    padded[..reach].fill(row[0]);
    padded[reach..reach + width].copy_from_slice(row);
    padded[reach + width..].fill(row[width - 1]);
    out.fill(0.0);
    for (k, weight) in weights.iter().enumerate() {
        out.iter_mut().zip(&padded[k..]).for_each(|(sum, value)| *sum += weight * value);
    }
}
