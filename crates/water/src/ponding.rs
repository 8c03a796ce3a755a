//! Where water stays on a floor, how deep, how much, and how sure that is.
//!
//! The outline is a wall; water leaves only at outlet cells, at their own height, and runs to all eight neighbours. A pond is
//! what stands between neighbouring cells below the level they have to fill to before they run off ([`crate::fill`]).
//!
//! Floor from which no outlet can be reached (walls cut it off) fills to no level: it is no pond, has no depth or volume, and
//! its area stands in `undrained_m2`.
//!
//! With `realisations` the surface is drawn again and again within its uncertainty and filled each time: the share of draws in
//! which a cell lies in a pond is its probability of ponding.

mod simulate;

use crate::fill::{Filled, Pond, fill};
use crate::grid::Grid;
use crate::surface::{OutletIn, SurfaceIn, outlet_cells};
use crate::tin;
use measure::{PointMm, Problem, Problems, bounds};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A pond no deeper than this is rounding of the heights, not water: a thousand-millionth of a metre.
pub const ROUNDING_MM: f64 = 1e-6;
/// Most ponds that are listed; the totals hold all.
pub const PONDS: usize = 10_000;
/// Most realisations.
pub const REALISATIONS: u32 = 10_000;
/// Most cells over all realisations together.
pub const CELLS_DRAWN: u64 = 10_000_000_000;

/// What `ponding` takes.
#[derive(Clone, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Input {
    /// Spot levels inside an outline, or a grid.
    pub surface: SurfaceIn,
    /// Where water leaves; at least one.
    pub outlets: Vec<OutletIn>,
    /// Ponds no deeper than this are left out; deeper ones count whole. 0 unless given.
    #[serde(default)]
    pub depth_ignored_mm: f64,
    /// Side of a grid cell made from spot levels, in place of the surface's own; 10 mm unless given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cell_mm: Option<f64>,
    /// How often the surface is drawn again within its uncertainty; no probabilities unless given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub realisations: Option<u32>,
    /// Start of the random numbers: the same seed gives the same answer. 1 unless given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seed: Option<u64>,
    /// Standard uncertainty (k = 1) of the surface. For a grid: of a cell's height (the grid's own `u_mm` unless given).
    /// For spot levels: of the surface between them, where nothing was read; 0 unless given. The readings themselves carry
    /// their own `u_mm` in any case.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_mm: Option<f64>,
    /// Distance over which that error stays alike: at this distance 5 % of the correlation is left. 200 mm unless given
    /// (common practice, no source). Under one cell the error differs from cell to cell without relation.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub range_mm: Option<f64>,
}

/// What `ponding` gives.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Output {
    /// Ponds, deepest first; at most 10,000 are listed.
    pub ponds: Vec<PondOut>,
    /// How many ponds there are, listed or not.
    pub pond_count: usize,
    /// Water standing in all ponds.
    pub volume_l: f64,
    /// Area of all ponds.
    pub area_m2: f64,
    /// Area of the floor.
    pub floor_m2: f64,
    /// Area of floor from which no outlet can be reached: it fills to no level and is in no pond.
    pub undrained_m2: f64,
    /// The grid the floor was computed on.
    pub grid: GridOut,
    /// Probability that a cell lies in a pond, row by row like the grid, null outside the floor; with `realisations`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub prob_pond: Option<Vec<Option<f64>>>,
    /// Probability that there is any pond; with `realisations`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub prob_any: Option<f64>,
    /// Where one more reading would settle most: around this place the answer is least decided, over the largest area. With
    /// `realisations`, and null when every cell is decided.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub next_reading_mm: Option<PointMm>,
    /// What was assumed because the input did not say.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub assumed: Vec<String>,
}

/// One pond.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PondOut {
    /// Area under water.
    pub area_m2: f64,
    /// Depth at the deepest place.
    pub depth_max_mm: f64,
    /// Water in it.
    pub volume_l: f64,
    /// The deepest place on plan.
    pub deepest_mm: PointMm,
    /// Where it runs over: place on plan and the height of its water.
    pub spill_mm: [f64; 3],
}

/// Where the cells of a grid lie: heights and probabilities run row by row from `y0_mm` up.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct GridOut {
    /// Centre of the first cell.
    pub x0_mm: f64,
    /// Centre of the first cell.
    pub y0_mm: f64,
    /// Side of a cell.
    pub cell_mm: f64,
    /// Cells along x.
    pub nx: usize,
    /// Cells along y.
    pub ny: usize,
}

impl From<&Grid> for GridOut {
    fn from(grid: &Grid) -> Self {
        Self { x0_mm: grid.x0_mm, y0_mm: grid.y0_mm, cell_mm: grid.cell_mm, nx: grid.nx, ny: grid.ny }
    }
}

/// Ponds of a floor, and with `realisations` how probable they are.
///
/// # Errors
/// Everything wrong with surface, outlets and numbers at once.
pub fn run(input: &Input) -> Result<Output, Problems> {
    let mut problems = Problems::new();
    let asked = simulate::Asked::from_input(input, &mut problems);
    if !bounds::LAYER_MM.contains(input.depth_ignored_mm) {
        problems.push(Problem::at("depth_ignored_mm", "out of bounds", bounds::LAYER_MM.words()).value(input.depth_ignored_mm));
    }
    if input.outlets.is_empty() {
        problems.push(Problem::at("outlets", "none given: nothing would drain", "at least one point waste or channel"));
    }
    let surface = match tin::surface(&input.surface, input.cell_mm) {
        Ok(surface) => surface,
        Err(more) => {
            problems.extend(more);
            return Err(problems);
        }
    };
    let outlets = match outlet_cells(&surface.grid, &input.outlets) {
        Ok(cells) => cells.concat(),
        Err(more) => {
            problems.extend(more);
            return Err(problems);
        }
    };
    let asked = problems.or(asked)?;
    let least_mm = input.depth_ignored_mm.max(ROUNDING_MM);
    let mut output = output(&surface.grid, &fill(&surface.grid, &outlets), least_mm);
    output.assumed = surface.assumed.clone();
    if let Some(asked) = asked {
        asked.run(input, &surface, &outlets, least_mm, &mut output)?;
    }
    Ok(output)
}

/// Ponds deeper than `least_mm`, listed and summed up.
fn output(grid: &Grid, filled: &Filled, least_mm: f64) -> Output {
    let kept = &filled.ponds[..filled.ponds.partition_point(|pond| pond.depth_mm > least_mm)];
    let cell_m2 = grid.cell_area_m2();
    Output {
        ponds: kept.iter().take(PONDS).map(|pond| pond_out(grid, pond)).collect(),
        pond_count: kept.len(),
        volume_l: kept.iter().map(|pond| pond.depth_sum_mm).sum::<f64>() * cell_m2,
        area_m2: kept.iter().map(|pond| pond.cells).sum::<usize>() as f64 * cell_m2,
        floor_m2: grid.z_mm.iter().filter(|z| !z.is_nan()).count() as f64 * cell_m2,
        undrained_m2: filled.undrained as f64 * cell_m2,
        grid: grid.into(),
        prob_pond: None,
        prob_any: None,
        next_reading_mm: None,
        assumed: Vec::new(),
    }
}

/// A millimetre of water on a square metre is a litre.
fn pond_out(grid: &Grid, pond: &Pond) -> PondOut {
    let [x, y] = grid.centre_mm(pond.spill);
    PondOut {
        area_m2: pond.cells as f64 * grid.cell_area_m2(),
        depth_max_mm: pond.depth_mm,
        volume_l: pond.depth_sum_mm * grid.cell_area_m2(),
        deepest_mm: grid.centre_mm(pond.deepest),
        spill_mm: [x, y, pond.level_mm],
    }
}
