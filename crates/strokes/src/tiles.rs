//! What each tile of a picture adds up to.

use crate::rectify::Rectified;
use crate::tensor::{self, Row};
use measure::math;
use std::ops::Range;

/// Bins of the histogram of gradient angles, over 180°.
pub(crate) const BINS: usize = 90;

/// What the pixels of one tile add up to.
#[derive(Clone, Debug, PartialEq)]
pub struct Sums {
    /// Pixels of the tile.
    pub cells: usize,
    /// Pixels that count.
    pub seen: usize,
    /// Sum of squares of the picture with its broad shading taken away.
    pub squares: f64,
    /// Sum of the tensor: down the rows squared, mixed, along the row squared.
    pub tensor: [f64; 3],
    /// Energy-weighted doubled angles: cosine and sine.
    pub doubled: [f64; 2],
    /// Energy-weighted quadrupled angles.
    pub quadrupled: [f64; 2],
    /// Energy of the one direction in excess of the other, `l1 - l2`, by gradient angle: where marks cross the angle means
    /// little, and there it weighs little.
    pub(crate) histogram: [f64; BINS],
    /// Tensor by block one stroke wide.
    pub(crate) blocks: Vec<[f64; 3]>,
}

impl Sums {
    fn new(cells: usize, blocks: usize) -> Self {
        Self {
            cells,
            seen: 0,
            squares: 0.0,
            tensor: [0.0; 3],
            doubled: [0.0; 2],
            quadrupled: [0.0; 2],
            histogram: [0.0; BINS],
            blocks: vec![[0.0; 3]; blocks],
        }
    }

    /// Energy: the trace of the summed tensor.
    pub fn energy(&self) -> f64 {
        self.tensor[0] + self.tensor[2]
    }

    /// Coherence of the summed tensor, `(l1 - l2)/(l1 + l2)`.
    pub fn coherence(&self) -> f64 {
        let [rr, rc, cc] = self.tensor;
        share(math::hypot(cc - rr, 2.0 * rc), self.energy())
    }

    /// Angle of the steepest change of the summed tensor: degrees from the column axis towards the row axis, 0 to 180.
    pub fn gradient_deg(&self) -> f64 {
        let [rr, rc, cc] = self.tensor;
        (0.5 * math::atan2(2.0 * rc, cc - rr)).to_degrees().rem_euclid(180.0)
    }

    /// Energy-weighted length of the mean doubled angle: 1 where all marks run one way, 0 where none does or two cross
    /// squarely.
    pub fn r2(&self) -> f64 {
        share(math::hypot(self.doubled[0], self.doubled[1]), self.energy())
    }

    /// The same of the quadrupled angle: 1 for one direction and for two that cross squarely.
    pub fn r4(&self) -> f64 {
        share(math::hypot(self.quadrupled[0], self.quadrupled[1]), self.energy())
    }

    /// How many independent looks the energy amounts to: `(sum E)^2 / sum E^2` over blocks one stroke wide (Kish 1965,
    /// *Survey Sampling*). Pixels of one stroke say the same thing again and are no evidence of their own.
    pub fn n_effective(&self) -> f64 {
        let (sum, squares) = self.energies().fold((0.0, 0.0), |(s, q), e| (s + e, q + e * e));
        share(sum * sum, squares)
    }

    /// Energy of each block.
    pub(crate) fn energies(&self) -> impl Iterator<Item = f64> {
        self.blocks.iter().map(|[rr, _, cc]| rr + cc)
    }

    /// Energy of changes along the marks as a share of that across them, and its standard uncertainty. Each block is one look: the
    /// uncertainty is that of a ratio of means (Cochran 1977, *Sampling Techniques*, 3rd edition, 6.4).
    ///
    /// A second coat `a` times as high as the first, crossing it by an angle, adds about `a^2` times the squared sine of the angle;
    /// noise adds too.
    pub fn across(&self) -> (f64, f64) {
        let turn = self.gradient_deg().to_radians();
        let (cos, sin) = (math::cos(turn), math::sin(turn));
        let parts: Vec<[f64; 2]> = self
            .blocks
            .iter()
            .map(|[rr, rc, cc]| {
                let steep = cc * cos * cos + 2.0 * rc * cos * sin + rr * sin * sin;
                [rr + cc - steep, steep]
            })
            .collect();
        let sums = parts.iter().fold([0.0, 0.0], |sum, part| [sum[0] + part[0], sum[1] + part[1]]);
        let ratio = share(sums[0], sums[1]);
        let left: f64 = parts.iter().map(|[flat, steep]| math::sq(flat - ratio * steep)).sum();
        let looks = parts.iter().filter(|[flat, steep]| flat + steep > 0.0).count() as f64;
        let u = if looks > 1.0 { (left * looks / (looks - 1.0)).sqrt() / sums[1].max(1e-300) } else { f64::INFINITY };
        (ratio, u)
    }

    /// Adds a run of pixels that lie in one block. `seen` is 1 for a pixel that counts and 0 for another.
    fn add(&mut self, row: Row, value: &[f32], seen: &[f32], block: usize) {
        let mut from = 0;
        while from < value.len() {
            let run = from..value.len().min(from + RUN);
            let part = |line: &'_ [f32]| -> [f32; RUN] {
                let mut lanes = [0.0; RUN];
                lanes[..run.len()].copy_from_slice(&line[run.clone()]);
                lanes
            };
            self.add_lanes([part(row.rr), part(row.rc), part(row.cc)], part(value), part(seen), block);
            from = run.end;
        }
    }

    fn add_lanes(&mut self, [mut rr, mut rc, mut cc]: [Lanes; 3], mut value: Lanes, seen: Lanes, block: usize) {
        let [mut energy, mut length, mut angle] = [[0.0; RUN]; 3];
        let [mut cos2, mut sin2, mut cos4, mut sin4] = [[0.0; RUN]; 4];
        for i in 0..RUN {
            (rr[i], rc[i], cc[i]) = (seen[i] * rr[i], seen[i] * rc[i], seen[i] * cc[i]);
            value[i] = seen[i] * value[i] * value[i];
            let (along, across) = (cc[i] - rr[i], 2.0 * rc[i]);
            energy[i] = rr[i] + cc[i];
            let whole = (along * along + across * across).sqrt();
            // Where no way is steeper than another, the angle is rounding.
            length[i] = if whole > 1e-6 * energy[i] { whole } else { 0.0 };
            let (cos, sin) = if length[i] > 0.0 { (along / length[i], across / length[i]) } else { (0.0, 0.0) };
            (cos2[i], sin2[i]) = (energy[i] * cos, energy[i] * sin);
            (cos4[i], sin4[i]) = (energy[i] * (cos * cos - sin * sin), energy[i] * (2.0 * cos * sin));
            angle[i] = bin(cos, sin);
        }
        self.seen += total(&seen) as usize;
        self.squares += total(&value);
        for (i, lanes) in [rr, rc, cc].iter().enumerate() {
            let sum = total(lanes);
            self.tensor[i] += sum;
            self.blocks[block][i] += sum;
        }
        [cos2, sin2].iter().zip(&mut self.doubled).for_each(|(lanes, sum)| *sum += total(lanes));
        [cos4, sin4].iter().zip(&mut self.quadrupled).for_each(|(lanes, sum)| *sum += total(lanes));
        for (angle, length) in angle.iter().zip(length) {
            // A full turn is the first bin again; what has no angle weighs nothing.
            self.histogram[*angle as usize % BINS] += f64::from(length);
        }
    }
}

/// Pixels added at a time: enough for the compiler to work on several at once.
const RUN: usize = 16;
type Lanes = [f32; RUN];

/// Their sum; eight partial sums in single precision, then double.
fn total(lanes: &Lanes) -> f64 {
    let mut sums = [0.0_f32; 8];
    for eight in lanes.chunks_exact(8) {
        (0..8).for_each(|i| sums[i] += eight[i]);
    }
    sums.iter().map(|sum| f64::from(*sum)).sum()
}

/// A share of a whole; 0 of nothing.
fn share(part: f64, whole: f64) -> f64 {
    if whole > 0.0 { part / whole } else { 0.0 }
}

/// Doubled angle at the middle of a bin.
pub(crate) fn middle_of(bin: usize) -> f64 {
    (bin as f64 + 0.5) / BINS as f64 * std::f64::consts::TAU
}

/// Bin of a doubled angle, with a fraction; `BINS` for the last rounding of a full turn. The arc tangent is a polynomial good to
/// 0.01° (Abramowitz and Stegun 1964, 4.4.47), a hundredth of a bin.
fn bin(cos: f32, sin: f32) -> f32 {
    let (a, b) = (cos.abs(), sin.abs());
    let t = a.min(b) / a.max(b).max(1e-30);
    let s = t * t;
    let octant = t * (0.999_866 + s * (-0.330_299_5 + s * (0.180_141 + s * (-0.085_133 + s * 0.020_835_1))));
    let quarter = if b > a { std::f32::consts::FRAC_PI_2 - octant } else { octant };
    let half = if cos < 0.0 { std::f32::consts::PI - quarter } else { quarter };
    let whole = if sin < 0.0 { std::f32::consts::TAU - half } else { half };
    whole * (BINS as f32 / std::f32::consts::TAU)
}

/// A whole picture as one tile, nothing left out and no shading taken away: what a general-purpose library gives.
/// `values` row by row.
pub fn whole(width: usize, height: usize, sigma: f64, values: &[f32]) -> Sums {
    let mut sums = Sums::new(width * height, 1);
    let line = |y: usize| &values[y * width..(y + 1) * width];
    let seen = vec![1.0; width];
    let add = |y: usize, row: Row| sums.add(row, line(y), &seen, 0);
    tensor::scan(width, height, sigma, |y, out| out.copy_from_slice(line(y)), add);
    sums
}

/// How a picture is cut: a margin all round, then tiles, each of blocks.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Cut {
    pub margin: usize,
    pub columns: usize,
    pub rows: usize,
    /// Blocks along one side of a tile.
    pub blocks: usize,
    /// Broad shading is the mean within so many pixels either way.
    pub shading: usize,
    pub sigma: f64,
}

impl Cut {
    fn spans(&self, picture: &Rectified) -> [Span; 2] {
        let span = |whole: usize, parts: usize| Span { margin: self.margin, inner: whole - 2 * self.margin, parts };
        [span(picture.width, self.columns), span(picture.height, self.rows)]
    }

    /// Columns and rows of a tile's pixels.
    pub(crate) fn pixels(&self, picture: &Rectified, column: usize, row: usize) -> [Range<usize>; 2] {
        let [across, up] = self.spans(picture);
        [across.range(column), up.range(row)]
    }
}

/// The sums of every tile, row by row from the first.
pub(crate) fn sums(picture: &Rectified, cut: Cut) -> Vec<Sums> {
    let (width, height) = (picture.width, picture.height);
    let [across, up] = cut.spans(picture);
    let mut tiles: Vec<Sums> = (0..cut.rows * cut.columns)
        .map(|i| Sums::new(across.size(i % cut.columns) * up.size(i / cut.columns), cut.blocks * cut.blocks))
        .collect();
    let mut counted = Rectified { width, height, luminance: Vec::new(), seen: picture.seen.clone() };
    counted.shrink(tensor::reach(cut.sigma));
    let runs = across.runs(cut.blocks);
    let mut weights = vec![0.0_f32; width];
    let mut shading = Shading::new(picture, cut.shading);
    // The tensor of a row comes some rows after the row itself: values wait here.
    let held = tensor::reach(cut.sigma) + 1;
    let waiting = std::cell::RefCell::new(vec![vec![0.0_f32; width]; held]);
    let source = |y: usize, out: &mut [f32]| {
        shading.taken_from(y, out);
        waiting.borrow_mut()[y % held].copy_from_slice(out);
    };
    let sink = |y: usize, row: Row| {
        let Some((tile_row, block_row)) = up.place(y, cut.blocks) else { return };
        let values = &waiting.borrow()[y % held];
        let seen = &counted.seen[y * width..(y + 1) * width];
        weights.iter_mut().zip(seen).for_each(|(weight, seen)| *weight = f32::from(u8::from(*seen)));
        for (x, column, block) in &runs {
            let row = Row { rr: &row.rr[x.clone()], rc: &row.rc[x.clone()], cc: &row.cc[x.clone()] };
            let tile = &mut tiles[tile_row * cut.columns + column];
            tile.add(row, &values[x.clone()], &weights[x.clone()], block_row * cut.blocks + block);
        }
    };
    tensor::scan(width, height, cut.sigma, source, sink);
    tiles
}

/// One side of the picture, cut in parts.
#[derive(Clone, Copy)]
struct Span {
    margin: usize,
    inner: usize,
    parts: usize,
}

impl Span {
    fn size(&self, part: usize) -> usize {
        self.range(part).len()
    }

    fn range(&self, part: usize) -> Range<usize> {
        let from = |part: usize| self.margin + (part as u64 * self.inner as u64).div_ceil(self.parts as u64) as usize;
        from(part)..from(part + 1)
    }

    /// Part of a pixel and block within that part; `None` in the margin.
    fn place(&self, at: usize, blocks: usize) -> Option<(usize, usize)> {
        let inside = at.checked_sub(self.margin).filter(|inside| *inside < self.inner)?;
        // Wider than the word of a browser, where it has 32 bits.
        let (scaled, inner) = (inside as u64 * self.parts as u64, self.inner as u64);
        Some(((scaled / inner) as usize, (scaled % inner * blocks as u64 / inner) as usize))
    }
}

impl Span {
    /// The runs of pixels of one part and block: pixels, part, block.
    fn runs(&self, blocks: usize) -> Vec<(Range<usize>, usize, usize)> {
        let mut runs: Vec<(Range<usize>, usize, usize)> = Vec::new();
        for at in self.margin..self.margin + self.inner {
            match (self.place(at, blocks), runs.last_mut()) {
                (Some((part, block)), Some(run)) if (run.1, run.2) == (part, block) => run.0.end = at + 1,
                (Some((part, block)), _) => runs.push((at..at + 1, part, block)),
                (None, _) => {}
            }
        }
        runs
    }
}

/// Takes away broad shading: from each pixel the mean of what is seen around it. A light that fades evenly leaves nothing.
struct Shading<'a> {
    picture: &'a Rectified,
    reach: usize,
    sums: Vec<u32>,
    counts: Vec<u32>,
    /// Rows added so far, rows taken away so far.
    rows: [usize; 2],
}

impl<'a> Shading<'a> {
    fn new(picture: &'a Rectified, reach: usize) -> Self {
        Self { picture, reach, sums: vec![0; picture.width], counts: vec![0; picture.width], rows: [0, 0] }
    }

    /// Row `y` without its shading; 0 where nothing is seen. Rows are asked for in order.
    fn taken_from(&mut self, y: usize, out: &mut [f32]) {
        while self.rows[0] < self.picture.height.min(y + self.reach + 1) {
            self.row(self.rows[0], |held, new| *held += new);
            self.rows[0] += 1;
        }
        while self.rows[1] + self.reach < y {
            self.row(self.rows[1], |held, old| *held -= old);
            self.rows[1] += 1;
        }
        let (mut sum, mut count) = (0_u32, 0_u32);
        let width = self.picture.width;
        let from = y * width;
        for x in 0..width.min(self.reach) {
            sum += self.sums[x];
            count += self.counts[x];
        }
        for (x, out) in out.iter_mut().enumerate() {
            if x + self.reach < width {
                sum += self.sums[x + self.reach];
                count += self.counts[x + self.reach];
            }
            if x > self.reach {
                sum -= self.sums[x - self.reach - 1];
                count -= self.counts[x - self.reach - 1];
            }
            let seen = self.picture.seen[from + x];
            *out = if seen { f32::from(self.picture.luminance[from + x]) - sum as f32 / count as f32 } else { 0.0 };
        }
    }

    fn row(&mut self, y: usize, mut change: impl FnMut(&mut u32, u32)) {
        let cells = y * self.picture.width..(y + 1) * self.picture.width;
        let cells = self.picture.luminance[cells.clone()].iter().zip(&self.picture.seen[cells]);
        for ((sum, count), (grey, seen)) in self.sums.iter_mut().zip(&mut self.counts).zip(cells) {
            let seen = u32::from(*seen);
            change(sum, seen * u32::from(*grey));
            change(count, seen);
        }
    }
}
