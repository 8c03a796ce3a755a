//! The fall along the steepest way down to an outlet: what the water itself runs over.

use super::parts::{NO_PART, Parts};
use crate::fill::{Filled, NOWHERE, fill, pond_of_cells, steepest};
use crate::grid::Grid;
use crate::plan;
use measure::PointMm;
use schemars::JsonSchema;
use serde::Serialize;

/// Ways are followed from a lattice of places this far apart.
const APART_MM: f64 = 100.0;
/// The length of a way is taken over so many cells at a time: step by step, a way across the grid comes out up to 8 % long.
const CHORD: usize = 10;

/// One way down, from a place to an outlet.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct WayDown {
    /// Where it starts.
    pub from_mm: PointMm,
    /// Its length on plan.
    pub length_mm: f64,
    /// Drop over length, rise over run; a pond on the way is crossed at its level, full.
    pub fall: f64,
}

/// Ways down from a lattice of places, with the part each starts in.
pub fn all(grid: &Grid, outlets: &[usize], parts: &Parts) -> Vec<(u32, WayDown)> {
    let filled = fill(grid, outlets);
    let pond_of = pond_of_cells(grid, &filled);
    let mut is_outlet = vec![false; grid.len()];
    outlets.iter().for_each(|cell| is_outlet[*cell] = true);
    let step = ((APART_MM / grid.cell_mm).round() as usize).max(1);
    let starts = (step / 2..grid.ny).step_by(step).flat_map(|j| (step / 2..grid.nx).step_by(step).map(move |i| j * grid.nx + i));
    starts
        .filter(|cell| parts.of_cell[*cell] != NO_PART)
        .filter_map(|cell| Some((parts.of_cell[cell], follow(grid, &filled, &pond_of, &is_outlet, cell)?)))
        .collect()
}

/// Follows the water from a cell; `None` where it stands on level ground or no outlet drains it.
fn follow(grid: &Grid, filled: &Filled, pond_of: &[u32], is_outlet: &[bool], start: usize) -> Option<WayDown> {
    let mut places = vec![grid.centre_mm(start)];
    let mut cell = start;
    while !is_outlet[cell] {
        let pond = pond_of[cell];
        let next = if pond == NOWHERE { steepest(grid, &filled.level_mm, cell) } else { filled.ponds[pond as usize].spill as u32 };
        if next == NOWHERE || places.len() > grid.len() {
            return None;
        }
        cell = next as usize;
        places.push(grid.centre_mm(cell));
    }
    let end = *places.last()?;
    let chords: Vec<PointMm> = places.iter().copied().step_by(CHORD).chain([end]).collect();
    let length_mm: f64 = chords.windows(2).map(|ends| plan::distance(ends[0], ends[1])).sum();
    let drop = filled.level_mm[start] - filled.level_mm[cell];
    (length_mm > 0.0).then(|| WayDown { from_mm: places[0], length_mm, fall: drop / length_mm })
}

/// Median of the falls of some ways.
pub fn median(mut falls: Vec<f64>) -> Option<f64> {
    falls.sort_by(f64::total_cmp);
    let n = falls.len();
    match n {
        0 => None,
        _ if n % 2 == 1 => Some(falls[n / 2]),
        _ => Some((falls[n / 2 - 1] + falls[n / 2]) / 2.0),
    }
}
