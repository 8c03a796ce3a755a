//! The way of the water from cell to cell.

use crate::fill::{Drainage, Filled, NOWHERE};
use crate::grid::Grid;
use measure::math;

/// The fall of each lower neighbour counts with this power (Freeman 1991: 1.1).
const POWER: f64 = 1.1;

/// Which cells each cell passes its water to, and in what shares.
pub struct Routes {
    /// Cells from the highest to the outlets.
    order: Vec<u32>,
    /// Where the receivers of each cell in `order` start in the two lists below; one more at the end.
    start: Vec<u32>,
    to: Vec<u32>,
    share: Vec<f64>,
    is_outlet: Vec<bool>,
    /// Whether water gets from a cell to an outlet.
    drains: Vec<bool>,
    /// The pond of each cell, or [`NOWHERE`].
    pond: Vec<u32>,
    /// Cells of each pond.
    cells_of_pond: Vec<Vec<u32>>,
}

/// What a day's water did.
pub struct Day {
    /// Litres that came to each cell.
    pub through: Vec<f64>,
    /// Litres each pond keeps.
    pub kept: Vec<f64>,
    /// Share of its inflow each pond passes on.
    passed: Vec<f64>,
    /// Level of the water in each pond.
    level_mm: Vec<f64>,
    /// Litres on floor from which no outlet is reached.
    pub undrained: f64,
    z_mm: Vec<f64>,
}

impl Routes {
    pub fn new(grid: &Grid, filled: &Filled, drainage: &Drainage, outlets: &[usize]) -> Self {
        let mut is_outlet = vec![false; grid.len()];
        outlets.iter().for_each(|&o| is_outlet[o] = true);
        let order: Vec<u32> = drainage.order.iter().rev().copied().collect();
        let (mut start, mut to, mut share) = (vec![0], Vec::new(), Vec::new());
        for &cell in &order {
            let c = cell as usize;
            if !is_outlet[c] {
                let first = share.len();
                let mut sum = 0.0;
                for other in grid.neighbours(c) {
                    let drop = filled.level_mm[c] - filled.level_mm[other]; // not a number beside a wall
                    if drop > 0.0 {
                        let across = other / grid.nx != c / grid.nx && other % grid.nx != c % grid.nx;
                        let fall = if across { drop * std::f64::consts::FRAC_1_SQRT_2 } else { drop };
                        let weight = math::pow(fall, POWER);
                        sum += weight;
                        to.push(other as u32);
                        share.push(weight);
                    }
                }
                if sum > 0.0 {
                    share[first..].iter_mut().for_each(|s| *s /= sum);
                } else {
                    // A fall too small for its power to be told from zero, or none: the way over the flat.
                    to.truncate(first);
                    share.truncate(first);
                    to.push(drainage.receiver[c]);
                    share.push(1.0);
                }
            }
            start.push(to.len() as u32);
        }
        let mut cells_of_pond = vec![Vec::new(); filled.ponds.len()];
        for (cell, &pond) in drainage.pond.iter().enumerate().filter(|(_, pond)| **pond != NOWHERE) {
            cells_of_pond[pond as usize].push(cell as u32);
        }
        let drains = drainage.receiver.iter().map(|r| *r != NOWHERE).collect();
        Self { order, start, to, share, is_outlet, drains, pond: drainage.pond.clone(), cells_of_pond }
    }

    /// Sends what landed on each cell to the outlets. A pond keeps what comes into it until it is full.
    pub fn run(&self, grid: &Grid, filled: &Filled, landed: &[f64]) -> Day {
        let litres_per_mm = grid.cell_area_m2();
        let mut through = landed.to_vec();
        let ponds = filled.ponds.len();
        let mut day = Day {
            through: Vec::new(),
            kept: vec![0.0; ponds],
            passed: vec![1.0; ponds],
            level_mm: vec![f64::NEG_INFINITY; ponds],
            undrained: 0.0,
            z_mm: grid.z_mm.clone(),
        };
        let mut on_its_way = landed.to_vec();
        let mut met = vec![false; ponds];
        for (k, &cell) in self.order.iter().enumerate() {
            let c = cell as usize;
            let pond = self.pond[c];
            if pond != NOWHERE && !met[pond as usize] {
                // Everything above its level has run down: what it gets is known before it passes anything on.
                met[pond as usize] = true;
                self.keep(pond as usize, filled, litres_per_mm, &mut on_its_way, &mut day);
            }
            let flow = on_its_way[c];
            if flow == 0.0 || self.is_outlet[c] {
                continue;
            }
            on_its_way[c] = 0.0;
            for r in self.start[k] as usize..self.start[k + 1] as usize {
                let part = flow * self.share[r];
                let other = self.to[r] as usize;
                on_its_way[other] += part;
                through[other] += part;
            }
        }
        day.undrained = (0..grid.len()).filter(|&c| !self.is_outlet[c]).map(|c| on_its_way[c]).sum();
        day.through = through;
        day
    }

    fn keep(&self, pond: usize, filled: &Filled, litres_per_mm: f64, on_its_way: &mut [f64], day: &mut Day) {
        let cells = &self.cells_of_pond[pond];
        let inflow: f64 = cells.iter().map(|&c| on_its_way[c as usize]).sum();
        let holds = filled.ponds[pond].depth_sum_mm * litres_per_mm;
        let kept = inflow.min(holds);
        let passed = if inflow > 0.0 { (inflow - kept) / inflow } else { 1.0 };
        day.kept[pond] = kept;
        day.passed[pond] = passed;
        day.level_mm[pond] = if kept >= holds {
            filled.ponds[pond].level_mm
        } else {
            level_of(cells, &day.z_mm, kept / litres_per_mm, filled.ponds[pond].level_mm)
        };
        cells.iter().for_each(|&c| on_its_way[c as usize] *= passed);
    }

    /// For each cell the share of what comes there that goes on to touch a region, each litre counted once. Water that comes
    /// into a pond is thinned by what the pond keeps before it goes on.
    pub fn reach(&self, region: &[usize], day: &Day) -> Vec<f64> {
        let mut inside = vec![false; self.pond.len()];
        region.iter().for_each(|&c| inside[c] = true);
        // Floor that drains nowhere passes nothing on.
        let mut arriving: Vec<f64> = inside.iter().map(|&inside| if inside { 1.0 } else { 0.0 }).collect();
        let mut leaving = vec![0.0; inside.len()];
        // From the outlets up: the receivers of a cell are known before it.
        for (k, &cell) in self.order.iter().enumerate().rev() {
            let c = cell as usize;
            if inside[c] {
                leaving[c] = 1.0;
                continue;
            }
            let pond = self.pond[c];
            let receivers = self.start[k] as usize..self.start[k + 1] as usize;
            let on: f64 = receivers
                .map(|r| {
                    let other = self.to[r] as usize;
                    let stays_in_pond = pond != NOWHERE && self.pond[other] == pond;
                    self.share[r] * if stays_in_pond { leaving[other] } else { arriving[other] }
                })
                .sum();
            leaving[c] = on.min(1.0);
            arriving[c] = if pond == NOWHERE { leaving[c] } else { leaving[c] * day.passed[pond as usize] };
        }
        arriving
    }
}

impl Day {
    /// Depth of the water that stands on a cell; without end where none runs off.
    pub fn standing_mm(&self, routes: &Routes, cell: usize) -> f64 {
        match routes.pond[cell] {
            NOWHERE if !routes.drains[cell] && self.through[cell] > 0.0 => f64::INFINITY,
            NOWHERE => 0.0,
            pond => (self.level_mm[pond as usize] - self.z_mm[cell]).max(0.0),
        }
    }
}

/// The level at which a pond holds so much (sum of depths over its cells), found by halving.
fn level_of(cells: &[u32], z_mm: &[f64], depth_sum_mm: f64, full_mm: f64) -> f64 {
    if depth_sum_mm <= 0.0 {
        return f64::NEG_INFINITY;
    }
    let (mut low, mut high) = (cells.iter().map(|&c| z_mm[c as usize]).fold(f64::INFINITY, f64::min), full_mm);
    for _ in 0..60 {
        let mid = (low + high) / 2.0;
        let holds: f64 = cells.iter().map(|&c| (mid - z_mm[c as usize]).max(0.0)).sum();
        if holds < depth_sum_mm { low = mid } else { high = mid }
    }
    (low + high) / 2.0
}
