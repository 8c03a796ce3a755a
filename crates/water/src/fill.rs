//! How high water stands: the level every cell fills to before it drains to an outlet.
//!
//! The level of a cell is the lowest height that has to be overcome on the way from it to an outlet, the highest point of the
//! best path; a cell lower than that lies in a pond. It is exact: every level is one of the heights given.
//!
//! Most programs flood inwards from the outlets with a queue ordered by height (R. Barnes, C. Lehman, D. Mulla 2014,
//! *Priority-flood*, Computers & Geosciences 62). Here the floor is cut into basins instead, each with the cells that run down
//! to the same lowest cell; only the passes between basins matter then:
//!
//! 1. one pass over the rows finds which neighbours of each cell lie lower, gives the cell the basin of one of them, and
//!    notes it as a pass when it joins parts that are not joined below it;
//! 2. basins join over their lowest passes until they reach the drain;
//! 3. `level of a cell = max(its height, level of its basin)`.
//!
//! That identity holds because a path that only descends leads from the cell to the lowest cell of its basin: whatever one of
//! them has to overcome to leave, the other can reach without rising above its own height.
//!
//! Steps 1 and 3, and the inner part of 2, run on strips of rows, several at a time with the feature `threads`. The strips
//! depend on the grid only, so the result does not depend on the number of threads.

mod drainage;
mod lower;
mod passes;
mod strip;
mod threads;

pub(crate) use drainage::steepest;
pub use drainage::{Drainage, NOWHERE, drainage, pond_of_cells};

use crate::grid::Grid;
use passes::{DRAIN, Forest, Height, Pass, contract};
use strip::{Layout, Strip, survey};
pub(crate) use threads::{for_each, worth as threads_worth};

/// Levels and ponds of a floor.
#[derive(Clone, Debug, PartialEq)]
pub struct Filled {
    /// For every cell the level water stands at before it runs off: its own height where it drains, more in a pond, infinite
    /// where no outlet can be reached, `NaN` outside the floor.
    pub level_mm: Vec<f64>,
    /// Ponds, deepest first.
    pub ponds: Vec<Pond>,
    /// Number of floor cells from which no outlet can be reached.
    pub undrained: usize,
}

/// Water that stays: neighbouring cells (over all eight sides) that fill to the same level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pond {
    /// Number of cells under water.
    pub cells: usize,
    /// Level of the water.
    pub level_mm: f64,
    /// Depth at its deepest cell.
    pub depth_mm: f64,
    /// Sum of the depths of its cells; times the area of a cell it is the volume.
    pub depth_sum_mm: f64,
    /// Its deepest cell; of several the first.
    pub deepest: usize,
    /// The cell it spills over: its height is the level.
    pub spill: usize,
}

/// Levels and ponds. Outlets are cells of the floor; water leaves at their height, and nowhere else.
///
/// Cells with `NaN` are walls. At most `u32::MAX` cells.
///
/// ```
/// // A trough of three cells drains to the left over a sill of 2 mm.
/// let grid = water::grid::Grid { x0_mm: 0.0, y0_mm: 0.0, cell_mm: 10.0, nx: 4, ny: 1, z_mm: vec![0.0, 2.0, 1.0, 3.0] };
/// let filled = water::fill::fill(&grid, &[0]);
/// assert_eq!(filled.level_mm, [0.0, 2.0, 2.0, 3.0]);
/// assert_eq!((filled.ponds[0].deepest, filled.ponds[0].spill), (2, 1));
/// ```
pub fn fill(grid: &Grid, outlets: &[usize]) -> Filled {
    fill_on(threads_worth(grid.len()), grid, outlets)
}

/// [`fill`] on at most so many threads; without the feature `threads` always on one.
pub fn fill_on(threads: usize, grid: &Grid, outlets: &[usize]) -> Filled {
    let mut level_mm = vec![0.0; grid.len()];
    let basins = Basins::new(threads, &grid.z_mm, grid.nx, grid.ny, outlets);
    let (ponds, undrained) = basins.ponds(&grid.z_mm, &mut level_mm);
    Filled { level_mm, ponds, undrained }
}

/// Only the levels of [`fill`], in less time.
pub fn levels(grid: &Grid, outlets: &[usize]) -> Vec<f64> {
    levels_on(threads_worth(grid.len()), grid, outlets)
}

/// [`levels`] on at most so many threads.
pub fn levels_on(threads: usize, grid: &Grid, outlets: &[usize]) -> Vec<f64> {
    let mut level_mm = vec![0.0; grid.len()];
    Basins::new(threads, &grid.z_mm, grid.nx, grid.ny, outlets).levels(&grid.z_mm, &mut level_mm);
    level_mm
}

/// A floor cut into basins, each with its level.
pub(crate) struct Basins {
    threads: usize,
    layout: Layout,
    /// Label of every cell, counted anew in every strip.
    labels: Vec<u32>,
    strips: Vec<Strip>,
    /// Level of every basin, by strip.
    basin_levels: Vec<Vec<f64>>,
    /// Passes between groups of basins of different strips.
    whole: Forest,
    whole_levels: Vec<f64>,
    /// First number of each strip's groups among all groups; the drain has 0.
    first_group: Vec<u32>,
}

impl Basins {
    /// Finds basins and their levels.
    pub(crate) fn new(threads: usize, z: &[f64], nx: usize, ny: usize, outlets: &[usize]) -> Self {
        Self::with_layout(threads, z, Layout::new(nx, ny), outlets)
    }

    fn with_layout(threads: usize, z: &[f64], layout: Layout, outlets: &[usize]) -> Self {
        let mut labels = vec![0u32; z.len()];
        let mut outlets = outlets.to_vec();
        outlets.sort_unstable();
        let jobs = labels.chunks_mut(layout.cells().max(1)).enumerate().collect();
        let mut strips = for_each(threads, jobs, |(s, labels): (usize, &mut [u32])| {
            let cells = layout.cells() * s;
            let from = outlets.partition_point(|&cell| cell < cells);
            let to = outlets.partition_point(|&cell| cell < cells + labels.len());
            survey(z, layout, s, &outlets[from..to], labels)
        });
        let (whole, first_group) = join_strips(layout, &labels, &mut strips);
        let standing = whole.standing.iter().map(|&group| if group == DRAIN { f64::NEG_INFINITY } else { f64::INFINITY });
        let whole_levels = whole.levels(standing);
        let numbered = strips.iter().zip(&first_group).collect();
        let basin_levels = for_each(threads, numbered, |(strip, &first): (&Strip, &u32)| {
            let groups = (0..strip.forest.standing.len() as u32).map(|rank| whole_levels[group(first, rank) as usize]);
            strip.forest.levels(groups)
        });
        Self { threads, layout, labels, strips, basin_levels, whole, whole_levels, first_group }
    }

    /// Writes the level of every cell.
    pub(crate) fn levels(&self, z: &[f64], out: &mut [f64]) {
        for_each(self.threads, self.pieces(z, out), |piece| {
            let level_of = self.level_of_label(piece.strip);
            for ((out, &z), &label) in piece.out.iter_mut().zip(piece.z).zip(piece.labels) {
                let level = level_of[label as usize];
                *out = if z < level { level } else { z };
            }
        });
    }

    /// Adds 1 for every cell in a pond deeper than `least_mm`; whether there is any.
    pub(crate) fn count_wet(&self, z: &[f64], least_mm: f64, count: &mut [u32]) -> bool {
        let wet = self.wet_levels(z, least_mm);
        let n = self.layout.cells().max(1);
        let mut any = false;
        for (s, ((count, z), labels)) in count.chunks_mut(n).zip(z.chunks(n)).zip(self.labels.chunks(n)).enumerate() {
            let level_of: Vec<f64> = self.strips[s].basin_of.iter().map(|&basin| wet[s][basin as usize]).collect();
            any |= level_of.iter().any(|&level| level > f64::NEG_INFINITY);
            for ((count, &z), &label) in count.iter_mut().zip(z).zip(labels) {
                *count += u32::from(z < level_of[label as usize]);
            }
        }
        any
    }

    /// What belongs to each strip.
    fn pieces<'a>(&'a self, z: &'a [f64], out: &'a mut [f64]) -> Vec<Piece<'a>> {
        let n = self.layout.cells().max(1);
        let cells = out.chunks_mut(n).zip(z.chunks(n)).zip(self.labels.chunks(n));
        cells.enumerate().map(|(strip, ((out, z), labels))| Piece { strip, z, labels, out }).collect()
    }

    fn level_of_label(&self, strip: usize) -> Vec<f64> {
        self.strips[strip].basin_of.iter().map(|&basin| self.basin_levels[strip][basin as usize]).collect()
    }

    /// Writes the level of every cell; returns ponds, deepest first, and the number of cells no outlet drains.
    pub(crate) fn ponds(&self, z: &[f64], out: &mut [f64]) -> (Vec<Pond>, usize) {
        let (of_groups, mut ponds) = self.shared_ponds();
        let shared = ponds.len();
        let parts = for_each(self.threads, self.pieces(z, out), |piece| {
            let mut part = self.part(piece.strip, z, &of_groups, shared);
            part.measure(&self.strips[piece.strip], &self.level_of_label(piece.strip), piece);
            part
        });
        let mut undrained = 0;
        for part in parts {
            for (pond, share) in part.shares {
                ponds[pond as usize].add(&share, z);
            }
            ponds.extend(part.own);
            undrained += part.undrained;
        }
        (deepest_first(ponds), undrained)
    }

    /// For every group of basins the pond it heads or lies in, as an index; and those ponds, which may reach over several
    /// strips. Nothing is measured yet, and some may turn out without water: passes at the height of the lowest cell.
    fn shared_ponds(&self) -> (Vec<u32>, Vec<Pond>) {
        let mut ponds = Vec::new();
        let whole = &self.whole;
        let begin = |group: u32| Pond::begin(&mut ponds, whole, group);
        let of_groups = whole.heads(&self.whole_levels, whole.standing.iter().map(|_| NOWHERE), begin, NOWHERE);
        (of_groups, ponds)
    }

    /// The ponds of one strip by its basins: its own are numbered on from the `shared` ones.
    fn part(&self, s: usize, z: &[f64], of_groups: &[u32], shared: usize) -> Part {
        let Strip { forest, lowest, .. } = &self.strips[s];
        let mut own = Vec::new();
        let groups = (0..forest.standing.len() as u32).map(|rank| of_groups[group(self.first_group[s], rank) as usize]);
        let begin = |basin: u32| shared as u32 + Pond::begin(&mut own, forest, basin);
        let pond_of = forest.heads(&self.basin_levels[s], groups, begin, NOWHERE);
        let mut part = Part { pond_of, own, shares: Vec::new(), shared, undrained: 0 };
        for (&pond, &lowest) in part.pond_of.iter().zip(lowest).skip(1) {
            if let Some(pond) = part.own.get_mut((pond as usize).wrapping_sub(shared)) {
                pond.reach_down(lowest as usize, z);
            }
        }
        part
    }

    /// Level of every basin that lies in a pond deeper than `least_mm`; of the others minus infinity.
    fn wet_levels(&self, z: &[f64], least_mm: f64) -> Vec<Vec<f64>> {
        let (of_groups, mut ponds) = self.shared_ponds();
        let parts: Vec<Part> = (0..self.strips.len()).map(|s| self.part(s, z, &of_groups, ponds.len())).collect();
        for (part, strip) in parts.iter().zip(&self.strips) {
            for (&pond, &lowest) in part.pond_of.iter().zip(&strip.lowest).skip(1) {
                if let Some(pond) = ponds.get_mut(pond as usize) {
                    pond.reach_down(lowest as usize, z);
                }
            }
        }
        let level = |part: &Part, pond: u32| {
            let pond = ponds.get(pond as usize).or_else(|| part.own.get((pond as usize).wrapping_sub(part.shared)));
            pond.filter(|pond| pond.depth_mm > least_mm).map_or(f64::NEG_INFINITY, |pond| pond.level_mm)
        };
        parts.iter().map(|part| part.pond_of.iter().map(|&pond| level(part, pond)).collect()).collect()
    }
}

impl Pond {
    /// Begins the pond headed by a basin; its number in `ponds`.
    fn begin(ponds: &mut Vec<Pond>, forest: &Forest, basin: u32) -> u32 {
        let (level_mm, spill) = (forest.z[basin as usize], forest.cell[basin as usize] as usize);
        ponds.push(Pond { cells: 0, level_mm, depth_mm: 0.0, depth_sum_mm: 0.0, deepest: usize::MAX, spill });
        ponds.len() as u32 - 1
    }

    /// Takes a lowest cell into account.
    fn reach_down(&mut self, cell: usize, z: &[f64]) {
        let depth = self.level_mm - z[cell];
        if depth > self.depth_mm || (depth == self.depth_mm && cell < self.deepest) {
            (self.depth_mm, self.deepest) = (depth, cell);
        }
    }

    fn add(&mut self, share: &Share, z: &[f64]) {
        self.cells += share.sum.cells as usize;
        self.depth_sum_mm += share.sum.depth_mm;
        self.reach_down(share.lowest as usize, z);
    }
}

/// Ponds that hold water, deepest first and then by their deepest cell. Short keys are sorted, each pond moves once.
fn deepest_first(ponds: Vec<Pond>) -> Vec<Pond> {
    let key = |(i, pond): (usize, &Pond)| (std::cmp::Reverse(Height::new(pond.depth_mm)), pond.deepest as u32, i as u32);
    let mut keys: Vec<_> = ponds.iter().enumerate().filter(|(_, pond)| pond.cells > 0).map(key).collect();
    keys.sort_unstable();
    keys.into_iter().map(|(.., i)| ponds[i as usize]).collect()
}

/// The ponds of one strip.
struct Part {
    /// The pond of every basin: below `shared` one of the whole floor, then one of `own`; or [`NOWHERE`].
    pond_of: Vec<u32>,
    own: Vec<Pond>,
    shared: usize,
    /// What the strip adds to ponds of the whole floor.
    shares: Vec<(u32, Share)>,
    /// Cells no outlet drains.
    undrained: usize,
}

/// What a basin adds to a pond.
struct Share {
    sum: Sum,
    lowest: u32,
}

impl Part {
    /// Writes the levels of the strip and adds up what stands over each basin.
    fn measure(&mut self, strip: &Strip, level_of: &[f64], piece: Piece) {
        let mut of_basins = vec![Sum::default(); self.pond_of.len()];
        for (&basin, sum) in strip.basin_of.iter().zip(sums(level_of, piece)) {
            of_basins[basin as usize].add(sum);
        }
        for ((&pond, &lowest), sum) in self.pond_of.iter().zip(&strip.lowest).zip(of_basins).filter(|(_, sum)| sum.cells > 0) {
            match self.own.get_mut((pond as usize).wrapping_sub(self.shared)) {
                Some(own) => {
                    own.cells += sum.cells as usize;
                    own.depth_sum_mm += sum.depth_mm;
                }
                None if pond == NOWHERE => self.undrained += sum.cells as usize,
                None => self.shares.push((pond, Share { sum, lowest })),
            }
        }
    }
}

/// Cells of one strip.
struct Piece<'a> {
    strip: usize,
    z: &'a [f64],
    labels: &'a [u32],
    out: &'a mut [f64],
}

/// Number among all groups of a strip's group; rank 0 is the drain, everywhere the same.
fn group(first: u32, rank: u32) -> u32 {
    if rank == 0 { DRAIN } else { first + rank - 1 }
}

/// Joins the groups of all strips over the passes they left.
fn join_strips(layout: Layout, labels: &[u32], strips: &mut [Strip]) -> (Forest, Vec<u32>) {
    let mut first_group = Vec::with_capacity(strips.len());
    let mut groups = 1;
    for strip in strips.iter() {
        first_group.push(groups);
        groups += strip.forest.standing.len() as u32 - 1;
    }
    let group_of = |strips: &[Strip], s: usize, basin: u32| group(first_group[s], strips[s].rank[basin as usize]);
    let mut passes = Vec::new();
    for s in 0..strips.len() {
        for pass in std::mem::take(&mut strips[s].passes) {
            passes.push(Pass { a: group_of(strips, s, pass.a), b: group_of(strips, s, pass.b), ..pass });
        }
        for pass in std::mem::take(&mut strips[s].beyond) {
            let other = layout.strip_of(pass.b as usize);
            let b = group_of(strips, other, strips[other].basin_of[labels[pass.b as usize] as usize]);
            passes.push(Pass { a: group_of(strips, s, pass.a), b, ..pass });
        }
    }
    passes.retain(|pass| pass.a != pass.b);
    let rim = vec![Height::TOP; groups as usize];
    (contract(groups as usize, &mut passes, rim), first_group)
}

/// Cells under water over one label, and the sum of their depths.
#[derive(Clone, Copy, Default)]
struct Sum {
    cells: u32,
    depth_mm: f64,
}

impl Sum {
    fn add(&mut self, other: Sum) {
        self.cells += other.cells;
        self.depth_mm += other.depth_mm;
    }
}

/// Writes levels and sums up what stands over each label.
fn sums(level_of: &[f64], piece: Piece) -> Vec<Sum> {
    let mut sums = vec![Sum::default(); level_of.len()];
    for ((out, &z), &label) in piece.out.iter_mut().zip(piece.z).zip(piece.labels) {
        let level = level_of[label as usize];
        let above = level - z;
        *out = if z < level { level } else { z };
        let depth_mm = if above > 0.0 { above } else { 0.0 };
        sums[label as usize].add(Sum { cells: u32::from(above > 0.0), depth_mm });
    }
    sums
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Heights 0..`steps`, some cells outside.
    fn floor(nx: usize, ny: usize, steps: u64, seed: u64) -> Vec<f64> {
        let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
        let mut next = |n: u64| {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            (state >> 20) % n
        };
        (0..nx * ny).map(|_| if next(12) == 0 { f64::NAN } else { next(steps) as f64 }).collect()
    }

    #[test]
    fn strips_of_any_height_fill_alike() {
        for seed in 0..400 {
            let (nx, ny) = (1 + seed as usize % 13, 1 + seed as usize % 29);
            let z = floor(nx, ny, 2 + seed % 9, seed);
            let outlets: Vec<usize> =
                [0, nx * ny / 2, nx * ny - 1].into_iter().filter(|&o| !z[o].is_nan()).take(seed as usize % 4).collect();
            let fill = |rows: usize| {
                let mut level = vec![0.0; z.len()];
                let basins = Basins::with_layout(1, &z, Layout::with_rows(nx, ny, rows), &outlets);
                let (mut ponds, undrained) = basins.ponds(&z, &mut level);
                // Of several spills at one height each way of cutting may name another.
                ponds.iter_mut().for_each(|pond| pond.spill = 0);
                (level.iter().map(|z| z.to_bits()).collect::<Vec<_>>(), ponds, undrained)
            };
            let whole = fill(ny);
            for rows in [1, 2, 3, 5] {
                assert_eq!(fill(rows), whole, "seed {seed}, strips of {rows} rows");
            }
        }
    }
}
