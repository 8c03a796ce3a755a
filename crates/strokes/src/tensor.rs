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
    let reach = weights.len() - 1;
    let mut pictures = Pictures::new(width);
    // Rows of products wait here until the Gaussian over them is whole.
    let held = (2 * reach + 1).min(height);
    let mut ring: Vec<[Vec<f32>; 3]> = (0..held).map(|_| zeros(width)).collect();
    let mut padded = vec![0.0; width + 2 * reach];
    let mut out = zeros(width);
    let mut done = 0;
    for y in 0..height {
        while done < height && done <= y + reach {
            pictures.advance(done, height, &mut source);
            pictures.products(&mut ring[done % held]);
            done += 1;
        }
        for (part, out) in out.iter_mut().enumerate() {
            let row = |k: usize| ring[(y + k).saturating_sub(reach).min(height - 1) % held][part].as_slice();
            smooth(&weights, row, &mut padded[reach..reach + width]);
            let (first, last) = (padded[reach], padded[reach + width - 1]);
            padded[..reach].fill(first);
            padded[reach + width..].fill(last);
            smooth(&weights, |k| &padded[k..k + width], out);
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

/// From the middle outwards: the other side is the same.
fn gaussian(sigma: f64) -> Vec<f32> {
    let reach = (reach(sigma) - 1) as u32;
    let bell = |k: u32| math::exp(-0.5 * math::sq(f64::from(k) / sigma));
    let sum: f64 = bell(0) + 2.0 * (1..=reach).map(bell).sum::<f64>();
    (0..=reach).map(|k| (bell(k) / sum) as f32).collect()
}

/// A symmetric filter over lines: `line(k)` is the line `k` from the first, at least as long as `out`. Two pairs of lines at a
/// time: more would run out of registers, fewer would wait for memory.
fn smooth<'a>(weights: &[f32], line: impl Fn(usize) -> &'a [f32], out: &mut [f32]) {
    let (reach, length) = (weights.len() - 1, out.len());
    let pair = |k: usize| (&line(reach - k)[..length], &line(reach + k)[..length]);
    let middle = &line(reach)[..length];
    for x in 0..length {
        out[x] = weights[0] * middle[x];
    }
    let mut k = 1;
    while k < reach {
        let ([v, w], (a, b), (c, d)) = ([weights[k], weights[k + 1]], pair(k), pair(k + 1));
        for x in 0..length {
            out[x] += v * (a[x] + b[x]) + w * (c[x] + d[x]);
        }
        k += 2;
    }
    if k == reach {
        let (w, (a, b)) = (weights[k], pair(k));
        for x in 0..length {
            out[x] += w * (a[x] + b[x]);
        }
    }
}

/// Three rows of the picture, each with its end pixels repeated.
struct Pictures {
    rows: [Vec<f32>; 3],
    /// Difference and weighted sum of the three.
    down: Vec<f32>,
    level: Vec<f32>,
}

impl Pictures {
    fn new(width: usize) -> Self {
        let row = || vec![0.0; width + 2];
        Self { rows: [row(), row(), row()], down: row(), level: row() }
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

    fn products(&mut self, [rr, rc, cc]: &mut [Vec<f32>; 3]) {
        let width = rr.len();
        let [above, middle, below] = self.rows.each_ref().map(|row| &row[..width + 2]);
        let (down, level) = (&mut self.down[..width + 2], &mut self.level[..width + 2]);
        for x in 0..width + 2 {
            down[x] = below[x] - above[x];
            level[x] = above[x] + 2.0 * middle[x] + below[x];
        }
        let (rr, rc, cc) = (&mut rr[..width], &mut rc[..width], &mut cc[..width]);
        for x in 0..width {
            let r = down[x] + 2.0 * down[x + 1] + down[x + 2];
            let c = level[x + 2] - level[x];
            rr[x] = r * r;
            rc[x] = r * c;
            cc[x] = c * c;
        }
    }
}

fn fill(row: &mut [f32], y: usize, source: &mut impl FnMut(usize, &mut [f32])) {
    let last = row.len() - 1;
    source(y, &mut row[1..last]);
    row[0] = row[1];
    row[last] = row[last - 1];
}
