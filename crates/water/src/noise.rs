//! Errors of a measured surface drawn at random, always the same for the same seed.

use measure::math;

/// A repeatable stream of random numbers: xoshiro256++ (D. Blackman, S. Vigna 2021, *Scrambled linear pseudorandom number
/// generators*, ACM TOMS 47), started by SplitMix64.
#[derive(Clone, Debug)]
pub struct Random {
    state: [u64; 4],
    spare: Option<f64>,
}

impl Random {
    /// The stream number `stream` of a seed; different streams do not repeat each other.
    pub fn new(seed: u64, stream: u64) -> Self {
        let mut at = seed ^ stream.wrapping_mul(0xD605_BBB5_8C8A_BC9D);
        let mut next = || {
            at = at.wrapping_add(0x9E37_79B9_7F4A_7C15);
            let z = (at ^ (at >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
            let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
            z ^ (z >> 31)
        };
        Self { state: [next(), next(), next(), next()], spare: None }
    }

    fn next(&mut self) -> u64 {
        let s = &mut self.state;
        let result = s[0].wrapping_add(s[3]).rotate_left(23).wrapping_add(s[0]);
        let t = s[1] << 17;
        s[2] ^= s[0];
        s[3] ^= s[1];
        s[1] ^= s[2];
        s[0] ^= s[3];
        s[2] ^= t;
        s[3] = s[3].rotate_left(45);
        result
    }

    /// Evenly spread over 0..1.
    pub fn uniform(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Normal with mean 0 and standard deviation 1 (Marsaglia's polar method).
    pub fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        loop {
            let (a, b) = (2.0 * self.uniform() - 1.0, 2.0 * self.uniform() - 1.0);
            let r2 = a * a + b * b;
            if r2 > 0.0 && r2 < 1.0 {
                let scale = (-2.0 * math::ln(r2) / r2).sqrt();
                self.spare = Some(b * scale);
                return a * scale;
            }
        }
    }
}

/// A smooth random field on a grid: normal, mean 0, standard deviation 1, correlated by `exp(-3 (h / range)²)` at distance
/// h, so 5 % is left at the range.
///
/// White noise on a lattice no wider than the kernel is smoothed by a Gaussian kernel of standard deviation range / √12
/// (the kernel whose self-convolution is that correlation), one direction after the other, and divided by the root of the sum
/// of squared weights, so the standard deviation is exact at every cell. A range under one cell means errors that differ
/// from cell to cell without any relation.
pub struct Field {
    along_x: Kernel,
    along_y: Kernel,
}

/// Weights of lattice points for the cells of one direction.
struct Kernel {
    cells: usize,
    /// Cells between lattice points, or 1.
    cells_per_step: usize,
    /// Lattice points per cell, or 1.
    steps_per_cell: usize,
    /// Lattice points in reach of a cell.
    taps: usize,
    /// `taps` rows of one weight for each place between two lattice points.
    weights: Vec<f64>,
}

impl Kernel {
    fn new(cells: usize, range_cells: f64) -> Self {
        if range_cells < 1.0 {
            return Self { cells, cells_per_step: 1, steps_per_cell: 1, taps: 1, weights: vec![1.0] };
        }
        let sd = range_cells / 12f64.sqrt();
        let cells_per_step = (sd.floor() as usize).clamp(1, cells.max(1));
        let steps_per_cell = if sd < 1.0 { (1.0 / sd).ceil() as usize } else { 1 };
        let step = cells_per_step as f64 / steps_per_cell as f64;
        let reach = (4.0 * sd / step).ceil() as usize;
        let taps = 2 * reach + 2;
        let mut weights = vec![0.0; taps * cells_per_step];
        for place in 0..cells_per_step {
            let weight = |tap: usize| {
                let away = (tap as f64 - reach as f64) * step - place as f64;
                math::exp(-0.5 * math::sq(away / sd))
            };
            let norm = (0..taps).map(|tap| math::sq(weight(tap))).sum::<f64>().sqrt();
            for tap in 0..taps {
                weights[tap * cells_per_step + place] = weight(tap) / norm;
            }
        }
        Self { cells, cells_per_step, steps_per_cell, taps, weights }
    }

    /// Lattice points needed.
    fn points(&self) -> usize {
        self.first(self.cells.saturating_sub(1)) + self.taps
    }

    /// First lattice point in reach of a cell.
    fn first(&self, cell: usize) -> usize {
        cell / self.cells_per_step * self.steps_per_cell
    }
}

impl Field {
    /// For a grid of `nx` by `ny` cells and a range in cells.
    pub fn new(nx: usize, ny: usize, range_cells: f64) -> Self {
        Self { along_x: Kernel::new(nx, range_cells), along_y: Kernel::new(ny, range_cells) }
    }

    /// Draws one field, row by row.
    pub fn draw(&self, random: &mut Random) -> Vec<f64> {
        let (x, y) = (&self.along_x, &self.along_y);
        let columns = x.points();
        // Lattice rows are drawn as they come into reach and forgotten behind.
        let mut lattice: std::collections::VecDeque<Vec<f64>> = std::collections::VecDeque::with_capacity(y.taps);
        let mut drawn = 0;
        let mut smooth = vec![0.0; columns];
        let mut field = Vec::with_capacity(x.cells * y.cells);
        for j in 0..y.cells {
            let first = y.first(j);
            while drawn < first + y.taps {
                let mut row = if lattice.len() == y.taps { lattice.pop_front().unwrap_or_default() } else { Vec::new() };
                row.clear();
                row.extend((0..columns).map(|_| random.normal()));
                lattice.push_back(row);
                drawn += 1;
            }
            smooth.fill(0.0);
            for (tap, row) in lattice.iter().enumerate() {
                let weight = y.weights[tap * y.cells_per_step + j % y.cells_per_step];
                for (sum, value) in smooth.iter_mut().zip(row) {
                    *sum += weight * value;
                }
            }
            x.spread(&smooth, &mut field);
        }
        field
    }
}

impl Kernel {
    /// Appends one row of cells from one row of lattice points.
    fn spread(&self, points: &[f64], field: &mut Vec<f64>) {
        let begin = field.len();
        field.resize(begin + self.cells, 0.0);
        for (k, cells) in field[begin..].chunks_mut(self.cells_per_step).enumerate() {
            let first = k * self.steps_per_cell;
            for (weights, &point) in self.weights.chunks_exact(self.cells_per_step).zip(&points[first..first + self.taps]) {
                for (cell, weight) in cells.iter_mut().zip(weights) {
                    *cell += weight * point;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sample covariance of many fields at two cells.
    fn covariance(range_cells: f64, a: usize, b: usize, nx: usize) -> f64 {
        const DRAWS: u64 = 20_000;
        let field = Field::new(nx, 3, range_cells);
        let sum: f64 = (0..DRAWS).map(|k| field.draw(&mut Random::new(7, k))).map(|f| f[a] * f[b]).sum();
        sum / DRAWS as f64
    }

    #[test]
    fn field_has_unit_variance_and_the_stated_correlation() {
        // 20,000 draws: a sample covariance has a standard error of 0.01 at most; 0.04 is four of them.
        for range in [0.5, 1.0, 2.5, 7.0, 20.0] {
            assert!((covariance(range, 5, 5, 12) - 1.0).abs() < 0.04, "variance at range {range}");
        }
        for (range, lag) in [(2.5, 1), (7.0, 2), (7.0, 7), (20.0, 5)] {
            let expected = math::exp(-3.0 * math::sq(lag as f64 / range));
            assert!((covariance(range, 1, 1 + lag, 12) - expected).abs() < 0.04, "range {range}, {lag} cells apart");
        }
        // Across rows, and unrelated under one cell.
        assert!((covariance(7.0, 4, 4 + 24, 12) - math::exp(-3.0 * math::sq(2.0 / 7.0))).abs() < 0.04);
        assert!(covariance(0.9, 4, 5, 12).abs() < 0.04);
    }

    #[test]
    fn same_seed_same_field_other_stream_another() {
        let field = Field::new(9, 7, 3.0);
        assert_eq!(field.draw(&mut Random::new(1, 2)), field.draw(&mut Random::new(1, 2)));
        assert_ne!(field.draw(&mut Random::new(1, 2)), field.draw(&mut Random::new(1, 3)));
    }
}
