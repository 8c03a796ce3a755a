//! Ponding of a surface that is only known within its uncertainty.
//!
//! Grid: a correlated error is added to every cell. Spot levels: each reading is drawn within its own uncertainty, and between
//! the readings an error is added that vanishes at them: a field drawn at random less its own triangulation at the readings
//! (conditioning by the simulated error, as in J.-P. Chilès, P. Delfiner 2012, *Geostatistics*, 2nd ed., 7.3, with the
//! triangulation in place of kriging).

use super::{CELLS_DRAWN, Input, Output, REALISATIONS};
use crate::fill::{self, Basins};
use crate::noise::{Field, Random};
use crate::tin::{self, Levels, Surface};
use measure::{PointMm, Problem, Problems, bounds, math};

/// Range of the error unless another is given. Common practice, no source.
const RANGE_MM: f64 = 200.0;
/// Ranges that can be asked for, up to the longest side of a room.
const RANGES: bounds::Bounds = bounds::Bounds { min: 0.0, max: bounds::ROOM_SIDE_MM.max, unit: "mm" };

/// What was asked for, checked.
pub struct Asked {
    realisations: u32,
    seed: u64,
    u_mm: f64,
    range_mm: f64,
}

impl Asked {
    /// `None` when no realisations are asked for; what is wrong goes to `problems`.
    pub fn from_input(input: &Input, problems: &mut Problems) -> Option<Self> {
        let realisations = input.realisations?;
        if realisations == 0 || realisations > REALISATIONS {
            problems.push(Problem::at("realisations", "out of bounds", format!("between 1 and {REALISATIONS}")).value(realisations));
        }
        let u_of_grid = input.surface.grid.as_ref().and_then(|grid| grid.u_mm);
        let u_mm = input.u_mm.or(u_of_grid);
        if let Some(u) = u_mm.filter(|&u| !bounds::U_MM.contains(u)) {
            problems.push(Problem::at("u_mm", "out of bounds", bounds::U_MM.words()).value(u));
        }
        if u_mm.is_none() && input.surface.grid.is_some() {
            let right = "the standard uncertainty (k = 1) of a cell's height";
            problems.push(Problem::at("u_mm", "missing: realisations of a grid need its uncertainty", right));
        }
        let range_mm = input.range_mm.unwrap_or(RANGE_MM);
        if !RANGES.contains(range_mm) {
            problems.push(Problem::at("range_mm", "out of bounds", RANGES.words()).value(range_mm));
        }
        Some(Self { realisations, seed: input.seed.unwrap_or(1), u_mm: u_mm.unwrap_or(0.0), range_mm })
    }

    /// Draws, fills and counts; writes the probabilities into `output`.
    pub fn run(&self, input: &Input, surface: &Surface, outlets: &[usize], least_mm: f64, output: &mut Output) -> Result<(), Problems> {
        let grid = &surface.grid;
        if u64::from(self.realisations) * grid.len() as u64 > CELLS_DRAWN {
            let most = CELLS_DRAWN / grid.len() as u64;
            return Err(Problem::at("realisations", "too much work for this many cells", format!("at most {most}, or larger cells"))
                .value(self.realisations)
                .into());
        }
        let levels = match input.surface.grid {
            Some(_) => None,
            None => Some(tin::check(&input.surface, input.cell_mm)?),
        };
        let field = Field::new(grid.nx, grid.ny, self.range_mm / grid.cell_mm);
        let draw = |k: u64| -> Result<Vec<f64>, Problems> {
            let mut random = Random::new(self.seed, k);
            match &levels {
                None => Ok(self.draw_grid(surface, &field, &mut random)),
                Some(levels) => self.draw_levels(surface, levels, &field, &mut random),
            }
        };
        let work = grid.len() as u64 * u64::from(self.realisations);
        let threads = fill::threads_worth(usize::try_from(work).unwrap_or(usize::MAX));
        let shares: Vec<u64> = (0..threads as u64).collect();
        let counted = fill::for_each(threads, shares, |share| {
            let mut count = Count { wet: vec![0; grid.len()], any: 0 };
            for k in (share..u64::from(self.realisations)).step_by(threads) {
                let z = draw(k)?;
                let basins = Basins::new(1, &z, grid.nx, grid.ny, outlets);
                count.any += u32::from(basins.count_wet(&z, least_mm, &mut count.wet));
            }
            Ok::<Count, Problems>(count)
        });
        let mut total = Count { wet: vec![0; grid.len()], any: 0 };
        for count in counted {
            let count = count?;
            total.any += count.any;
            total.wet.iter_mut().zip(count.wet).for_each(|(sum, wet)| *sum += wet);
        }
        let n = f64::from(self.realisations);
        let prob = |(cell, &wet): (usize, &u32)| grid.is_floor(cell).then(|| f64::from(wet) / n);
        let prob_pond: Vec<Option<f64>> = total.wet.iter().enumerate().map(prob).collect();
        output.prob_any = Some(f64::from(total.any) / n);
        output.next_reading_mm = next_reading(surface, &prob_pond, self.range_mm);
        output.prob_pond = Some(prob_pond);
        if input.range_mm.is_none() && self.u_mm > 0.0 {
            output.assumed.push(format!("the error of the surface stays alike over {RANGE_MM} mm (common practice, no source)"));
        }
        Ok(())
    }

    fn draw_grid(&self, surface: &Surface, field: &Field, random: &mut Random) -> Vec<f64> {
        let mut z = field.draw(random);
        z.iter_mut().zip(&surface.grid.z_mm).for_each(|(z, level)| *z = level + self.u_mm * *z);
        z
    }

    fn draw_levels(&self, surface: &Surface, levels: &Levels, field: &Field, random: &mut Random) -> Result<Vec<f64>, Problems> {
        let mut drawn = levels.clone();
        drawn.levels.iter_mut().for_each(|level| level.z_mm += level.u_mm * random.normal());
        if self.u_mm == 0.0 {
            return drawn.triangulate().map(|surface| surface.grid.z_mm);
        }
        let error = field.draw(random);
        for level in &mut drawn.levels {
            level.z_mm -= self.u_mm * at(surface, &error, level.at_mm);
        }
        let mut z = drawn.triangulate()?.grid.z_mm;
        z.iter_mut().zip(error).for_each(|(z, error)| *z += self.u_mm * error);
        Ok(z)
    }
}

/// In how many realisations each cell lay in a pond, and in how many any did.
struct Count {
    wet: Vec<u32>,
    any: u32,
}

/// A field between the centres of its cells.
fn at(surface: &Surface, field: &[f64], [x, y]: PointMm) -> f64 {
    let grid = &surface.grid;
    let along = |v: f64, origin: f64, n: usize| {
        let t = ((v - origin) / grid.cell_mm).clamp(0.0, (n - 1) as f64);
        let low = (t.floor() as usize).min(n.saturating_sub(2));
        (low, (low + 1).min(n - 1), t - low as f64)
    };
    let (i, i1, s) = along(x, grid.x0_mm, grid.nx);
    let (j, j1, t) = along(y, grid.y0_mm, grid.ny);
    let row = |j: usize| field[j * grid.nx + i] * (1.0 - s) + field[j * grid.nx + i1] * s;
    row(j) * (1.0 - t) + row(j1) * t
}

/// The floor cell around which most is undecided: the sum of p (1 - p) around it, each cell weighted by how much a reading
/// here would say about it, the squared correlation `exp(-6 (h / range)²)`. Computed on blocks of about an eighth of the range.
fn next_reading(surface: &Surface, prob: &[Option<f64>], range_mm: f64) -> Option<PointMm> {
    let grid = &surface.grid;
    let side = ((range_mm / 8.0 / grid.cell_mm).floor() as usize).max(1);
    let (bx, by) = (grid.nx.div_ceil(side), grid.ny.div_ceil(side));
    let mut doubt = vec![0.0; bx * by];
    for (cell, p) in prob.iter().enumerate() {
        if let Some(p) = p {
            doubt[cell / grid.nx / side * bx + cell % grid.nx / side] += p * (1.0 - p);
        }
    }
    if doubt.iter().all(|&d| d == 0.0) {
        return None;
    }
    let step = side as f64 * grid.cell_mm;
    let reach = (range_mm / step).ceil() as usize;
    let weights: Vec<f64> = (0..=reach).map(|k| math::exp(-6.0 * math::sq(k as f64 * step / range_mm.max(step)))).collect();
    let doubt = spread(&doubt, bx, by, 1, &weights);
    let doubt = spread(&doubt, bx, by, bx, &weights);
    let of_cell = |cell: usize| doubt[cell / grid.nx / side * bx + cell % grid.nx / side];
    let own = |cell: usize| prob[cell].map_or(0.0, |p| p * (1.0 - p));
    let better = |best: usize, cell: usize| (of_cell(cell), own(cell)) > (of_cell(best), own(best));
    let best = (0..grid.len()).filter(|&cell| grid.is_floor(cell)).reduce(|best, cell| if better(best, cell) { cell } else { best })?;
    Some(grid.centre_mm(best))
}

/// Weighted sums over neighbours along rows (`stride` 1) or columns (`stride` nx).
fn spread(values: &[f64], nx: usize, ny: usize, stride: usize, weights: &[f64]) -> Vec<f64> {
    let along = |cell: usize| if stride == 1 { (cell % nx, nx) } else { (cell / nx, ny) };
    (0..values.len())
        .map(|cell| {
            let (k, n) = along(cell);
            let ahead = weights.iter().enumerate().take(n - k).map(|(d, w)| w * values[cell + d * stride]).sum::<f64>();
            let behind = weights.iter().enumerate().take(k + 1).skip(1).map(|(d, w)| w * values[cell - d * stride]).sum::<f64>();
            ahead + behind
        })
        .collect()
}
