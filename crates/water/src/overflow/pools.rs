//! Which pools a floor has, and how they join as they fill.
//!
//! Going through the cells from the lowest up, every cell either starts a pool, belongs to the one its water runs to, or is the
//! pass where pools meet: they become one larger pool from there on. That tree (the depression hierarchy of R. Barnes,
//! K. Callaghan, A. Wickert 2020, *Computing water flow through complex landscapes, part 2*, Earth Surface Dynamics 8) says for
//! every pool how much it holds, where it runs over and into which.

use crate::grid::Grid;

/// No pool.
pub const NONE: u32 = u32::MAX;

/// A pool: one hollow, or several that have met.
#[derive(Clone, Copy, Debug)]
pub struct Pool {
    /// Its lowest cell.
    pub lowest: u32,
    /// The pool it becomes part of when it meets its neighbour; [`NONE`] for the last.
    pub parent: u32,
    /// The next of those it meets there, in a ring; two as a rule, at most four.
    pub beside: u32,
    /// The cell where they meet.
    pub pass: u32,
    /// The cell beside the pass by which water enters this pool, how steeply, and the hollow it runs to.
    pub entry: Entry,
    /// Level of the pass, at which it is full; for the last pool that of the highest cell.
    pub full_mm: f64,
    /// Sum of depths when it begins: what the two it was made of held.
    pub begin_sum_mm: f64,
    /// Sum of depths when it is full.
    pub full_sum_mm: f64,
    /// The lowest level at which water leaves it over an opening, and which cell and opening that is.
    pub escape: Option<Escape>,
}

/// How water over a pass enters a pool.
#[derive(Clone, Copy, Debug)]
pub struct Entry {
    /// The cell below the pass.
    pub cell: u32,
    /// How steep it is there, in millimetres to the next cell.
    pub fall_mm: f64,
    /// The hollow it runs to.
    pub hollow: u32,
}

/// Where water leaves a pool before it is full.
#[derive(Clone, Copy, Debug)]
pub struct Escape {
    /// The level at which it does.
    pub z_mm: f64,
    /// Which of the openings.
    pub opening: u32,
    /// In which cell.
    pub cell: u32,
}

/// The pools of a floor.
pub struct Pools {
    /// Hollows and what they become, every pool before the one it is part of.
    pub pools: Vec<Pool>,
    /// The hollow the water of each cell runs to; [`NONE`] outside the floor.
    pub hollow_of: Vec<u32>,
}

/// The lower neighbour with the steepest way down; of equal ones the first. At equal height the earlier cell counts as lower.
pub fn steepest_lower(grid: &Grid, cell: usize) -> Option<usize> {
    let lower = grid.neighbours(cell).filter(|&other| is_lower(grid, other, cell));
    lower
        .map(|other| (fall_mm(grid, cell, other), other))
        .reduce(|best, next| if next.0 > best.0 { next } else { best })
        .map(|(_, other)| other)
}

/// The drop to a neighbour, over a corner by its longer way.
fn fall_mm(grid: &Grid, cell: usize, other: usize) -> f64 {
    let drop = grid.z_mm[cell] - grid.z_mm[other];
    let across = other / grid.nx != cell / grid.nx && other % grid.nx != cell % grid.nx;
    if across { drop * std::f64::consts::FRAC_1_SQRT_2 } else { drop }
}

fn is_lower(grid: &Grid, a: usize, b: usize) -> bool {
    let (za, zb) = (grid.z_mm[a], grid.z_mm[b]);
    za < zb || (za == zb && a < b)
}

impl Pools {
    /// Pools of a floor; `escapes` gives for each cell the lowest level at which water leaves by an opening there.
    pub fn new(grid: &Grid, escapes: &[Escape]) -> Self {
        let mut cells: Vec<u32> = (0..grid.len() as u32).filter(|&cell| grid.is_floor(cell as usize)).collect();
        cells.sort_unstable_by(|&a, &b| grid.z_mm[a as usize].total_cmp(&grid.z_mm[b as usize]).then(a.cmp(&b)));
        let mut rising = Rising { grid, pools: Vec::new(), water: Vec::new(), hollow_of: vec![NONE; grid.len()], top: Vec::new() };
        let mut escapes = escapes.to_vec();
        escapes.sort_by(|a, b| a.cell.cmp(&b.cell).then(a.z_mm.total_cmp(&b.z_mm)).then(a.opening.cmp(&b.opening)));
        for cell in cells {
            let pool = rising.add(cell as usize);
            let here = escapes.partition_point(|e| e.cell < cell);
            if let Some(&escape) = escapes.get(here).filter(|e| e.cell == cell) {
                rising.pools[pool].offer(escape);
            }
        }
        rising.finish()
    }

    /// Sum of depths in a pool that stands at a level below the one at which it is full; pools that have just met count both.
    pub fn stand_at(grid: &Grid, pool: &Pool, level_mm: f64) -> f64 {
        let mut seen = vec![false; grid.len()];
        let mut cells = vec![pool.lowest as usize];
        seen[pool.lowest as usize] = true;
        let mut sum = 0.0;
        while let Some(cell) = cells.pop() {
            sum += (level_mm - grid.z_mm[cell]).max(0.0);
            for other in grid.neighbours(cell) {
                if !seen[other] && grid.z_mm[other] <= level_mm {
                    seen[other] = true;
                    cells.push(other);
                }
            }
        }
        sum
    }
}

impl Pool {
    fn offer(&mut self, escape: Escape) {
        let first = self.escape.is_none_or(|e| (escape.z_mm, escape.opening) < (e.z_mm, e.opening));
        if first {
            self.escape = Some(escape);
        }
    }
}

/// Water rising through the sorted cells.
struct Rising<'a> {
    grid: &'a Grid,
    pools: Vec<Pool>,
    /// Level, cells and sum of depths of each pool as it stands.
    water: Vec<Water>,
    hollow_of: Vec<u32>,
    /// For each pool the one it is part of by now, on the way to the topmost.
    top: Vec<u32>,
}

#[derive(Clone, Copy)]
struct Water {
    z_mm: f64,
    cells: f64,
    sum_mm: f64,
}

impl Water {
    /// Raised step by step, so that large heights do not cost digits.
    fn rise(&mut self, z_mm: f64) {
        self.sum_mm += self.cells * (z_mm - self.z_mm);
        self.z_mm = z_mm;
    }
}

impl Rising<'_> {
    /// Adds the next higher cell; the pool it is part of.
    fn add(&mut self, cell: usize) -> usize {
        let grid = self.grid;
        let z_mm = grid.z_mm[cell];
        let Some(down) = steepest_lower(grid, cell) else {
            let pool = self.begin(cell as u32, z_mm, 0.0, 0.0);
            self.hollow_of[cell] = pool as u32;
            self.water[pool].cells = 1.0;
            return pool;
        };
        self.hollow_of[cell] = self.hollow_of[down];
        let mut met: Vec<(usize, Entry)> = Vec::with_capacity(4);
        for other in grid.neighbours(cell).filter(|&other| is_lower(grid, other, cell)) {
            let hollow = self.hollow_of[other];
            let entry = Entry { cell: other as u32, fall_mm: fall_mm(grid, cell, other), hollow };
            let pool = self.top_of(hollow);
            match met.iter_mut().find(|(known, _)| *known == pool) {
                None => met.push((pool, entry)),
                Some((_, known)) if entry.fall_mm > known.fall_mm => *known = entry,
                Some(_) => {}
            }
        }
        let pool = if met.len() == 1 { met[0].0 } else { self.meet(&met, cell) };
        self.water[pool].rise(z_mm);
        self.water[pool].cells += 1.0;
        pool
    }

    fn begin(&mut self, lowest: u32, z_mm: f64, cells: f64, sum_mm: f64) -> usize {
        let number = self.pools.len();
        self.pools.push(Pool {
            lowest,
            parent: NONE,
            beside: NONE,
            pass: NONE,
            entry: Entry { cell: NONE, fall_mm: 0.0, hollow: NONE },
            full_mm: f64::INFINITY,
            begin_sum_mm: sum_mm,
            full_sum_mm: f64::INFINITY,
            escape: None,
        });
        self.water.push(Water { z_mm, cells, sum_mm });
        self.top.push(number as u32);
        number
    }

    /// Pools meet at a cell.
    fn meet(&mut self, met: &[(usize, Entry)], cell: usize) -> usize {
        let z_mm = self.grid.z_mm[cell];
        let mut lowest = self.pools[met[0].0].lowest as usize;
        let (mut cells, mut sum_mm) = (0.0, 0.0);
        for &(pool, _) in met {
            self.water[pool].rise(z_mm);
            cells += self.water[pool].cells;
            sum_mm += self.water[pool].sum_mm;
            let other = self.pools[pool].lowest as usize;
            lowest = if is_lower(self.grid, other, lowest) { other } else { lowest };
        }
        let together = self.begin(lowest as u32, z_mm, cells, sum_mm);
        for (k, &(pool, entry)) in met.iter().enumerate() {
            let full_sum_mm = self.water[pool].sum_mm;
            let filled = &mut self.pools[pool];
            (filled.parent, filled.pass, filled.entry) = (together as u32, cell as u32, entry);
            filled.beside = met[(k + 1) % met.len()].0 as u32;
            (filled.full_mm, filled.full_sum_mm) = (z_mm, full_sum_mm);
            if let Some(escape) = filled.escape {
                self.pools[together].offer(escape);
            }
            self.top[pool] = together as u32;
        }
        together
    }

    fn top_of(&mut self, hollow: u32) -> usize {
        let mut at = hollow;
        while self.top[at as usize] != at {
            let next = self.top[at as usize];
            self.top[at as usize] = self.top[next as usize];
            at = next;
        }
        at as usize
    }

    /// What has met nobody by the end covers its whole floor at the level of the highest cell.
    fn finish(mut self) -> Pools {
        for (pool, water) in self.pools.iter_mut().zip(&self.water).filter(|(pool, _)| pool.parent == NONE) {
            (pool.full_mm, pool.full_sum_mm) = (water.z_mm, water.sum_mm);
        }
        self.pools.shrink_to_fit();
        Pools { pools: self.pools, hollow_of: self.hollow_of }
    }
}
