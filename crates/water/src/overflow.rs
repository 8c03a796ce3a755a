//! The outlet is blocked and the shower runs: where does water go first, and when.
//!
//! Water enters at one place, runs down the steepest way into a pool, fills it to its lowest pass, spills over into the next,
//! and where it spills back the two join and rise together, until it stands above an opening's level in a cell the opening's
//! line crosses, or until everything is under water. The outline is a wall. All outlets are blocked.
//!
//! Only standing water counts as reaching an opening. Water that merely runs across one on its way down is named in
//! `runs_across`, and no part of it is taken off. The water is taken to run without delay, and none wets or soaks away.

mod pools;

use crate::grid::Grid;
use crate::ponding::GridOut;
use crate::surface::{self, OutletIn, SurfaceIn, cells_near_line, floor_cell_at, line_cells, outlet_cells};
use crate::tin;
use measure::{PointMm, Problem, Problems, bounds};
use pools::{Entry, Escape, NONE, Pool, Pools, steepest_lower};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Most openings of one floor.
pub const OPENINGS: usize = 1_000;
/// Most steps that are listed.
pub const STEPS: usize = 10_000;

/// What `overflow` takes.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Input {
    /// Spot levels inside an outline, or a grid.
    pub surface: SurfaceIn,
    /// The outlets, all blocked: no water leaves by them.
    #[serde(default)]
    pub outlets: Vec<OutletIn>,
    /// Needed: how much water enters, more than 0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub flow_l_min: Option<f64>,
    /// Needed: where water enters, on the floor.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source_mm: Option<PointMm>,
    /// Where water can leave the room: doors, thresholds, water stops, openings in a wall.
    #[serde(default)]
    pub openings: Vec<OpeningIn>,
    /// Side of a grid cell made from spot levels, in place of the surface's own; 10 mm unless given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cell_mm: Option<f64>,
    /// Pools that hold no more than this are left out of the list; their water counts. 0 unless given.
    #[serde(default)]
    pub volume_ignored_l: f64,
}

/// Where water can leave.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OpeningIn {
    /// Name.
    pub id: String,
    /// Its line on plan; it must touch the floor.
    pub line_mm: Vec<PointMm>,
    /// Water leaves as soon as it stands above this height in a cell that the line crosses.
    pub level_mm: f64,
}

/// What `overflow` gives.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Output {
    /// The opening water reaches first; null when it reaches none.
    pub first: Option<First>,
    /// Every pool that fills, in order, and where it spills; at most 10,000 are listed.
    pub sequence: Vec<Step>,
    /// How many pools filled, listed or not; pools without volume do not count.
    pub pools_filled: usize,
    /// Every opening at the end: when water reaches the first, or when everything is under water.
    pub openings: Vec<OpeningOut>,
    /// Openings across which water runs on its way down, where the floor is not below their level: some of it leaves there
    /// before the time in `first`, which does not count it.
    pub runs_across: Vec<RunsAcross>,
    /// What the end is, in one sentence.
    pub end: String,
    /// The grid the floor was computed on.
    pub grid: GridOut,
    /// What was assumed because the input did not say.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub assumed: Vec<String>,
}

/// The opening water reaches first.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct First {
    /// Its name.
    pub opening: String,
    /// Time since the water began to run.
    pub after_s: f64,
    /// The level at which water leaves: the opening's own, or that of the floor there if it is higher.
    pub level_mm: f64,
    /// Water on the floor by then, in all pools.
    pub volume_l: f64,
    /// Where on plan.
    pub at_mm: PointMm,
}

/// A pool that has filled.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Step {
    /// Its deepest place on plan.
    pub at_mm: PointMm,
    /// Where it runs over: place on plan and height. For the whole floor its deepest place: it runs over nowhere.
    pub spill_mm: [f64; 3],
    /// Water in it.
    pub volume_l: f64,
    /// Its level.
    pub level_mm: f64,
    /// Time since the water began to run.
    pub after_s: f64,
    /// Where its water goes from here.
    pub into: Into,
}

/// Where the water of a full pool goes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum Into {
    /// Into an empty pool.
    Pool {
        /// The deepest place of that pool.
        at_mm: PointMm,
    },
    /// Into a pool that is full to the same level: from here on the two rise together.
    Joins {
        /// The deepest place of that pool.
        at_mm: PointMm,
    },
    /// Out by an opening.
    Opening {
        /// Its name.
        id: String,
    },
    /// Nowhere: the whole floor the water can reach is under water and no opening is reached; it rises between the walls.
    WholeFloor,
}

/// An opening at the end.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OpeningOut {
    /// Its name.
    pub id: String,
    /// Its level.
    pub level_mm: f64,
    /// The level of the water standing at it; null when it is dry.
    pub water_mm: Option<f64>,
    /// How far its level lies above the water standing at it, or, while it is dry, above the water in the pool that rose last.
    pub freeboard_mm: f64,
}

/// An opening water runs across.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RunsAcross {
    /// Its name.
    pub opening: String,
    /// Where on plan.
    pub at_mm: PointMm,
    /// Time since the water began to run.
    pub after_s: f64,
}

/// Where the water goes.
///
/// # Errors
/// Everything wrong with surface, outlets, openings and numbers at once; a flow of 0; a source outside the floor; an opening
/// whose line touches no floor.
pub fn run(input: &Input) -> Result<Output, Problems> {
    let mut problems = Problems::new();
    let flow = flow(input.flow_l_min, &mut problems);
    check_openings(&input.openings, &mut problems);
    if !(input.volume_ignored_l.is_finite() && input.volume_ignored_l >= 0.0) {
        problems.push(Problem::at("volume_ignored_l", "out of bounds", "0 or more").value(input.volume_ignored_l));
    }
    let surface = match tin::surface(&input.surface, input.cell_mm) {
        Ok(surface) => surface,
        Err(more) => {
            problems.extend(more);
            return Err(problems);
        }
    };
    let grid = &surface.grid;
    if let Err(more) = outlet_cells(grid, &input.outlets) {
        problems.extend(more);
    }
    let source = source(grid, input.source_mm, &mut problems);
    let escapes = escapes(grid, &input.openings, &mut problems);
    let (source, flow, escapes) = problems.or((source, flow, escapes))?;
    let (source, flow) = (source.expect("checked above"), flow.expect("checked above"));
    let mut run = Run::new(grid, input, flow, &escapes);
    run.fill_from(source);
    let mut output = run.output;
    output.assumed = surface.assumed.clone();
    Ok(output)
}

fn flow(flow_l_min: Option<f64>, problems: &mut Problems) -> Option<f64> {
    match flow_l_min {
        Some(flow) if flow > 0.0 && bounds::FLOW_L_MIN.contains(flow) => Some(flow),
        Some(flow) => {
            let right = format!("more than 0, at most {} {}", bounds::FLOW_L_MIN.max, bounds::FLOW_L_MIN.unit);
            problems.push(Problem::at("flow_l_min", "no flow that could fill anything", right).value(flow));
            None
        }
        None => {
            problems.push(Problem::at("flow_l_min", "missing", "how much water enters, in litres a minute"));
            None
        }
    }
}

fn source(grid: &Grid, source_mm: Option<PointMm>, problems: &mut Problems) -> Option<usize> {
    let Some(place) = source_mm else {
        problems.push(Problem::at("source_mm", "missing", "where water enters, [x, y] on the floor"));
        return None;
    };
    let cell = floor_cell_at(grid, place);
    if cell.is_none() {
        problems.push(Problem::at("source_mm", "outside the floor", "a place inside the outline").value(format!("{place:?}")));
    }
    cell
}

fn check_openings(openings: &[OpeningIn], problems: &mut Problems) {
    if openings.len() > OPENINGS {
        problems.push(Problem::at("openings", "too many openings", format!("at most {OPENINGS}")).value(openings.len()));
        return;
    }
    for (i, opening) in openings.iter().enumerate() {
        let field = format!("openings[{i}]");
        if openings[..i].iter().any(|o| o.id == opening.id) {
            problems.push(Problem::at(format!("{field}.id"), "a name given twice", "one name for each opening").value(&opening.id));
        }
        surface::line_is_sound(&opening.line_mm, &format!("{field}.line_mm"), problems);
        if !bounds::LEVEL_MM.contains(opening.level_mm) {
            problems.push(Problem::at(format!("{field}.level_mm"), "out of bounds", bounds::LEVEL_MM.words()).value(opening.level_mm));
        }
    }
}

/// For each cell an opening's line crosses, the level at which water leaves there. A line along a wall whose cells have their
/// centre beyond it takes the floor cells beside it.
fn escapes(grid: &Grid, openings: &[OpeningIn], problems: &mut Problems) -> Vec<Escape> {
    if !problems.is_empty() {
        return Vec::new();
    }
    let mut escapes = Vec::new();
    for (i, opening) in openings.iter().enumerate() {
        let mut cells = line_cells(grid, &opening.line_mm);
        if cells.is_empty() {
            cells = cells_near_line(grid, &opening.line_mm, grid.cell_mm);
        }
        if cells.is_empty() {
            let right = "a line on the floor or along its edge";
            problems.push(Problem::at(format!("openings[{i}].line_mm"), "touches no floor", right).value(format!("{:?}", opening.line_mm)));
        }
        let escape = |cell: usize| Escape { z_mm: opening.level_mm.max(grid.z_mm[cell]), opening: i as u32, cell: cell as u32 };
        escapes.extend(cells.into_iter().map(escape));
    }
    escapes
}

/// The water on its way.
struct Run<'a> {
    grid: &'a Grid,
    input: &'a Input,
    litres_per_s: f64,
    escapes: &'a [Escape],
    pools: Pools,
    full: Vec<bool>,
    /// Sum of depths over the whole floor.
    sum_mm: f64,
    output: Output,
}

impl<'a> Run<'a> {
    fn new(grid: &'a Grid, input: &'a Input, flow_l_min: f64, escapes: &'a [Escape]) -> Self {
        let pools = Pools::new(grid, escapes);
        let output = Output {
            first: None,
            sequence: Vec::new(),
            pools_filled: 0,
            openings: Vec::new(),
            runs_across: Vec::new(),
            end: String::new(),
            grid: grid.into(),
            assumed: Vec::new(),
        };
        let full = vec![false; pools.pools.len()];
        Self { grid, input, litres_per_s: flow_l_min / 60.0, escapes, pools, full, sum_mm: 0.0, output }
    }

    /// Fills pool after pool until water leaves or nothing is left to fill.
    fn fill_from(&mut self, source: usize) {
        self.runs_down(source);
        let mut at = self.pools.hollow_of[source];
        loop {
            let pool = self.pools.pools[at as usize];
            if let Some(escape) = pool.escape.filter(|e| pool.parent == NONE || e.z_mm < pool.full_mm) {
                return self.leaves(at, &pool, escape);
            }
            self.sum_mm += pool.full_sum_mm - pool.begin_sum_mm;
            self.full[at as usize] = true;
            if pool.parent == NONE {
                return self.covers_everything(at, &pool);
            }
            match self.next_beside(at) {
                Some(entry) => {
                    let lowest = self.pools.pools[entry.hollow as usize].lowest;
                    self.step(&pool, Into::Pool { at_mm: self.place(lowest) });
                    self.runs_down(entry.cell as usize);
                    at = entry.hollow;
                }
                None => {
                    let other = self.pools.pools[pool.beside as usize];
                    self.step(&pool, Into::Joins { at_mm: self.place(other.lowest) });
                    at = pool.parent;
                }
            }
        }
    }

    /// The steepest way into a pool beside a full one that is not full itself.
    fn next_beside(&self, full: u32) -> Option<Entry> {
        let mut best: Option<Entry> = None;
        let mut at = self.pools.pools[full as usize].beside;
        while at != full {
            let pool = &self.pools.pools[at as usize];
            if !self.full[at as usize] && best.is_none_or(|best| pool.entry.fall_mm > best.fall_mm) {
                best = Some(pool.entry);
            }
            at = pool.beside;
        }
        best
    }

    fn place(&self, cell: u32) -> PointMm {
        self.grid.centre_mm(cell as usize)
    }

    fn litres(&self, sum_mm: f64) -> f64 {
        sum_mm * self.grid.cell_area_m2()
    }

    fn after_s(&self) -> f64 {
        self.litres(self.sum_mm) / self.litres_per_s
    }

    fn step(&mut self, pool: &Pool, into: Into) {
        let spill = if pool.pass == NONE { pool.lowest } else { pool.pass };
        self.step_at(pool, spill, pool.full_mm, pool.full_sum_mm, into);
    }

    fn step_at(&mut self, pool: &Pool, spill: u32, level_mm: f64, sum_mm: f64, into: Into) {
        let volume_l = self.litres(sum_mm);
        let last = matches!(into, Into::Opening { .. } | Into::WholeFloor);
        if sum_mm > 0.0 || last {
            self.output.pools_filled += usize::from(sum_mm > 0.0);
            if last || (volume_l > self.input.volume_ignored_l && self.output.sequence.len() < STEPS - 1) {
                let [x, y] = self.place(spill);
                let (at_mm, after_s) = (self.place(pool.lowest), self.after_s());
                self.output.sequence.push(Step { at_mm, spill_mm: [x, y, level_mm], volume_l, level_mm, after_s, into });
            }
        }
    }

    /// Water stands at an opening.
    fn leaves(&mut self, at: u32, pool: &Pool, escape: Escape) {
        let sum_mm = Pools::stand_at(self.grid, pool, escape.z_mm);
        self.sum_mm += sum_mm - pool.begin_sum_mm;
        let id = self.input.openings[escape.opening as usize].id.clone();
        self.step_at(pool, escape.cell, escape.z_mm, sum_mm, Into::Opening { id: id.clone() });
        let (after_s, volume_l) = (self.after_s(), self.litres(self.sum_mm));
        self.output.end = format!("water leaves by {id} after {after_s:.0} s, at {:.1} mm, with {volume_l:.1} L on the floor", escape.z_mm);
        self.output.first = Some(First { opening: id, after_s, level_mm: escape.z_mm, volume_l, at_mm: self.place(escape.cell) });
        self.openings(at, escape.z_mm);
    }

    /// No opening is reached before the highest cell of the floor is.
    fn covers_everything(&mut self, at: u32, pool: &Pool) {
        self.step(pool, Into::WholeFloor);
        let (after_s, volume_l) = (self.after_s(), self.litres(self.sum_mm));
        let why = if self.input.openings.is_empty() { "there is no opening" } else { "no opening lies on the floor it can reach" };
        self.output.end = format!(
            "{why}: the whole floor is under water after {after_s:.0} s, at {:.1} mm, with {volume_l:.1} L, and it rises between the walls",
            pool.full_mm
        );
        self.openings(at, pool.full_mm);
    }

    /// Notes openings on the way of running water whose level does not hold it.
    fn runs_down(&mut self, from: usize) {
        if self.escapes.is_empty() {
            return;
        }
        let mut at = Some(from);
        while let Some(cell) = at {
            for escape in self.escapes.iter().filter(|e| e.cell as usize == cell) {
                let opening = &self.input.openings[escape.opening as usize];
                let known = self.output.runs_across.iter().any(|r| r.opening == opening.id);
                if !known && self.grid.z_mm[cell] >= opening.level_mm {
                    let (at_mm, after_s) = (self.grid.centre_mm(cell), self.after_s());
                    self.output.runs_across.push(RunsAcross { opening: opening.id.clone(), at_mm, after_s });
                }
            }
            at = steepest_lower(self.grid, cell);
        }
    }

    /// What stands at every opening when the pool that rose last stands at a level.
    fn openings(&mut self, rose_last: u32, level_mm: f64) {
        let levels = self.levels(rose_last, level_mm);
        let water = |opening: usize| -> Option<f64> {
            let cells = self.escapes.iter().filter(|e| e.opening as usize == opening).map(|e| e.cell as usize);
            let stands = |cell: usize| {
                let level = levels[self.pools.hollow_of[cell] as usize];
                (level >= self.grid.z_mm[cell]).then_some(level)
            };
            cells.filter_map(stands).reduce(f64::max)
        };
        let out = |(i, opening): (usize, &OpeningIn)| {
            let water_mm = water(i);
            let freeboard_mm = opening.level_mm - water_mm.unwrap_or(level_mm);
            OpeningOut { id: opening.id.clone(), level_mm: opening.level_mm, water_mm, freeboard_mm }
        };
        self.output.openings = self.input.openings.iter().enumerate().map(out).collect();
    }

    /// The level at which each pool stands; minus infinity for an empty one.
    fn levels(&self, rose_last: u32, level_mm: f64) -> Vec<f64> {
        let mut levels = vec![f64::NEG_INFINITY; self.full.len()];
        for at in (0..self.full.len()).rev() {
            let pool = &self.pools.pools[at];
            let above = if pool.parent == NONE { f64::NEG_INFINITY } else { levels[pool.parent as usize] };
            levels[at] = match (above > f64::NEG_INFINITY, at == rose_last as usize, self.full[at]) {
                (true, ..) => above,
                (_, true, _) => level_mm,
                (_, _, true) => pool.full_mm,
                _ => above,
            };
        }
        levels
    }
}
