//! Which way water runs over a filled floor.

use super::Filled;
use crate::grid::Grid;
use std::collections::VecDeque;

/// No cell, no pond.
pub const NOWHERE: u32 = u32::MAX;

/// Order and direction of drainage, every pond full.
#[derive(Clone, Debug, PartialEq)]
pub struct Drainage {
    /// Every cell an outlet drains, each after the cell it drains to and after all its neighbours that stand lower; to gather
    /// flow go through it from the end.
    pub order: Vec<u32>,
    /// The cell each cell drains to: the neighbour with the steepest way down over the filled floor; over a pond or a flat,
    /// the next cell on the shortest way to where it runs off. An outlet drains to itself, an undrained cell to [`NOWHERE`].
    pub receiver: Vec<u32>,
    /// The pond (an index into [`Filled::ponds`]) each cell lies under, or [`NOWHERE`].
    pub pond: Vec<u32>,
}

/// Which way water runs once every pond is full: for routing rain or shower water to the outlets.
///
/// `filled` must be that of the same grid and outlets.
pub fn drainage(grid: &Grid, outlets: &[usize], filled: &Filled) -> Drainage {
    let level = &filled.level_mm;
    let mut receiver = vec![NOWHERE; grid.len()];
    for cell in (0..grid.len()).filter(|&cell| level[cell].is_finite()) {
        receiver[cell] = steepest(grid, level, cell);
    }
    for &outlet in outlets {
        receiver[outlet] = outlet as u32;
    }
    let steps = cross_flats(grid, level, &mut receiver);
    let mut order: Vec<u32> = (0..grid.len() as u32).filter(|&cell| receiver[cell as usize] != NOWHERE).collect();
    order.sort_unstable_by(|&a, &b| {
        let (i, j) = (a as usize, b as usize);
        level[i].total_cmp(&level[j]).then(steps[i].cmp(&steps[j])).then(a.cmp(&b))
    });
    Drainage { order, receiver, pond: pond_of_cells(grid, filled) }
}

/// The lower neighbour with the steepest way down, the first of several; [`NOWHERE`] when none is lower.
pub(crate) fn steepest(grid: &Grid, level: &[f64], cell: usize) -> u32 {
    let mut best = (0.0, NOWHERE);
    for other in grid.neighbours(cell) {
        let drop = level[cell] - level[other]; // not a number beside a wall
        if drop > 0.0 {
            let across = other / grid.nx != cell / grid.nx && other % grid.nx != cell % grid.nx;
            let fall = if across { drop * std::f64::consts::FRAC_1_SQRT_2 } else { drop };
            if fall > best.0 {
                best = (fall, other as u32);
            }
        }
    }
    best.1
}

/// Leads cells without a lower neighbour over cells of the same level to where it runs off; how many steps that takes.
fn cross_flats(grid: &Grid, level: &[f64], receiver: &mut [u32]) -> Vec<u32> {
    let mut steps = vec![0; grid.len()];
    let flat = |receiver: &[u32], cell: usize, other: usize| receiver[other] == NOWHERE && level[other] == level[cell];
    let mut queue: VecDeque<usize> = (0..grid.len())
        .filter(|&cell| receiver[cell] != NOWHERE && grid.neighbours(cell).any(|other| flat(receiver, cell, other)))
        .collect();
    while let Some(cell) = queue.pop_front() {
        for other in grid.neighbours(cell) {
            if flat(receiver, cell, other) {
                receiver[other] = cell as u32;
                steps[other] = steps[cell] + 1;
                queue.push_back(other);
            }
        }
    }
    steps
}

/// The pond each cell lies under, as an index into the list of ponds; [`NOWHERE`] for a dry cell.
pub fn pond_of_cells(grid: &Grid, filled: &Filled) -> Vec<u32> {
    let mut pond_of = vec![NOWHERE; grid.len()];
    let mut queue = Vec::new();
    for (k, pond) in filled.ponds.iter().enumerate() {
        pond_of[pond.deepest] = k as u32;
        queue.push(pond.deepest);
        while let Some(cell) = queue.pop() {
            for other in grid.neighbours(cell) {
                if pond_of[other] == NOWHERE && filled.level_mm[other] == pond.level_mm && grid.z_mm[other] < pond.level_mm {
                    pond_of[other] = k as u32;
                    queue.push(other);
                }
            }
        }
    }
    pond_of
}
