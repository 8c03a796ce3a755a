//! How steep a floor is, which way it falls, where it is too flat, too steep or falls back.
//!
//! Two questions are answered, each by what can answer it:
//!
//! * **Each plane as a whole.** A plane is fitted through *all* readings of a part of the floor (weighted least squares,
//!   uncertainty widened by the scatter), and its fall *in the direction the rule asks* is judged: square from a wall to the
//!   waste, square to a channel, or as a zone says, never along the diagonal where two planes meet.
//! * **Every place by itself.** Each cell's own slope is compared with the limits for the shares of area. A place is held
//!   against the floor only when its fault is shown beyond its uncertainty.
//!
//! The verdict is the worst of both. It conforms only when every plane does, nothing is shown wrong anywhere, and no plane
//! is unread.
//!
//! Verdicts follow JCGM 106:2012 through [`measure::Judgement`]. Results support a competent person's judgement; they do
//! not replace the adopted code.

mod feasible;
mod input;
mod local;
mod parts;
mod paths;
mod planes;
mod verdict;
mod ways;
mod window;

pub use feasible::{LevelPerimeter, PlanLength, level_perimeter};
pub use input::{FallIn, GradientIn, Input, ObservedPondIn, ZoneIn};
pub use local::{BackFall, Patch};
pub use paths::WayDown;
pub use planes::{LookAgain, PlaneOut};

use crate::grid::Grid;
use crate::surface::outlet_cells;
use crate::tin::{self, Levels, Surface};
use input::{Checked, Gradient};
use local::{Local, State};
use measure::{Decision, Judgement, PointMm, Problems, Verdict};
use parts::{Cell, Parts};
use planes::{Asked, Evidence, Fitted};
use schemars::JsonSchema;
use serde::Serialize;
use stats::plane::Level;
use std::collections::BTreeMap;
use ways::{Sector, Target, Ways};

/// What was found. A fall is rise over run: 0.0125 is 1:80.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Output {
    /// Area of the floor on plan.
    pub area_m2: Option<f64>,
    /// Share of the area whose fall lies inside the limits; the four shares sum to 1. Absent without limits or levels.
    pub share_within: Option<f64>,
    /// Share that falls less than the least fall.
    pub share_flatter: Option<f64>,
    /// Share that falls more than the largest fall.
    pub share_steeper: Option<f64>,
    /// Share that rises towards the outlet.
    pub share_backfall: Option<f64>,
    /// Share that lies beyond the outermost levels, where the surface was only carried on.
    pub share_extrapolated: Option<f64>,
    /// Median fall of the area.
    pub fall_median: Option<f64>,
    /// Median fall along the steepest way down to the outlet, from places every 100 mm.
    pub way_fall_median: Option<f64>,
    /// The flattest of those ways.
    pub way_flattest: Option<WayDown>,
    /// The verdict: the worst of planes, places and ponds.
    pub verdict: Verdict,
    /// What the verdict rests on.
    pub judgement: Judgement,
    /// The planes of the floor.
    pub planes: Vec<PlaneOut>,
    /// Where the floor is shown to rise towards the outlet, most first.
    pub backfalls: Vec<BackFall>,
    /// Where it is shown to be too flat.
    pub too_flat: Vec<Patch>,
    /// Where it is shown to be too steep.
    pub too_steep: Vec<Patch>,
    /// What turning the digital level end for end told.
    pub level_checks: Vec<LevelCheck>,
    /// Whether a level edge could keep both limits, where there is one point waste.
    pub level_perimeter: Option<LevelPerimeter>,
    /// What was assumed because the input did not say.
    pub assumed: Vec<String>,
    /// What else there is to know.
    pub notes: Vec<String>,
    /// Arrows and the fall of each cell, when asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drawing: Option<Drawing>,
}

/// A digital level read twice, turned end for end.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct LevelCheck {
    /// Name of the reading.
    pub reading: String,
    /// The instrument's own offset, half the difference of the two readings, as rise over run.
    pub offset: f64,
}

/// What a drawing of the falls needs.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Drawing {
    /// Arrows downhill, about every 150 mm.
    pub arrows: Vec<Arrow>,
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
    /// Fall of each cell, row by row from the lowest y; null outside the floor and where it is not known.
    pub fall: Vec<Option<f64>>,
}

/// One arrow.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Arrow {
    /// Its middle.
    pub at_mm: PointMm,
    /// Which way it points: downhill.
    pub direction_deg: f64,
    /// How steep it is there.
    pub fall: f64,
    /// Whether that is a back-fall.
    pub back: bool,
}

/// Distance between arrows.
const ARROWS_MM: f64 = 150.0;
/// Cells on which a floor is divided that has an outline but no levels.
const COARSE_MM: f64 = 20.0;
/// A grid plane is fitted through at most so many of its cells, evenly taken.
const CELLS_A_PLANE: usize = 10_000;
/// About so many cells of a grid say where its planes are cut.
const CELLS_TO_CUT: f64 = 10_000.0;

/// The floor as far as it is known.
struct Floor {
    outline: Vec<PointMm>,
    /// Absent when there are too few levels to make one.
    surface: Option<Surface>,
    levels: Option<Levels>,
    cells: Vec<Cell>,
    /// Cells of all outlets.
    outlet_cells: Vec<usize>,
    len: usize,
    cell_area_m2: f64,
    area_m2: Option<f64>,
}

/// Judges the falls of a floor.
///
/// # Errors
/// All problems of the input at once. Too few levels, or levels in one line, are no error: the verdict is then `not shown`
/// and says why.
pub fn run(input: &Input) -> Result<Output, Problems> {
    let checked = input::check(input);
    let floor = floor(input);
    let (checked, floor) = match (checked, floor) {
        (Ok(checked), Ok(floor)) => (checked, floor),
        (Err(mut a), Err(b)) => {
            // The outlets are looked at by both.
            a.extend(Problems { problems: b.problems.into_iter().filter(|p| !a.problems.contains(p)).collect() });
            return Err(a);
        }
        (Err(problems), _) | (_, Err(problems)) => return Err(problems),
    };
    let ways = cut(&floor, &checked.targets, input.zones.is_empty());
    let mut parts = parts::divide(&floor.cells, floor.len, &input.zones, &ways, &checked.targets, &input.outlets, &floor.outline);
    let undrawn = floor.outline.is_empty() && input.zones.is_empty();
    let looking = undrawn.then(|| parts::by_directions(checked.gradients.iter().map(|g| g.toward)));
    let evidence = match looking {
        None => evidence(&floor, &parts, &checked.gradients),
        Some((drawn, of_reading)) => {
            parts.parts = drawn;
            by_part(&checked.gradients, &of_reading, parts.parts.len())
        }
    };
    let asked = Asked {
        limit: checked.limit,
        decision: input.decision,
        least: checked.least,
        rule: input.rule.as_deref().unwrap_or("fall"),
        source: input.source.as_deref().unwrap_or("limits as entered"),
    };
    Ok(assemble(input, &checked, &floor, &parts, &evidence, &asked))
}

/// The planes around a waste are cut along the rays to the corners, as for a level edge, unless planes of equal fall, cut
/// where they meet, fit the readings clearly better (half the variance).
fn cut<'a>(floor: &'a Floor, targets: &'a [Target], no_zones: bool) -> Ways<'a> {
    let to_corners = Ways::new(&floor.outline, targets);
    if !no_zones || !targets.iter().any(|t| matches!(t, Target::Point(_))) {
        return to_corners;
    }
    let readings: Vec<Level> = match (&floor.levels, &floor.surface) {
        (Some(levels), _) => levels.as_stats(),
        (None, Some(surface)) => {
            // Every so many cells along and across, so that turning the room changes nothing.
            let step = ((floor.cells.len() as f64 / CELLS_TO_CUT).sqrt().ceil() as usize).max(1);
            let nx = surface.grid.nx;
            let taken = floor.cells.iter().filter(|(cell, _)| (cell % nx).is_multiple_of(step) && (cell / nx).is_multiple_of(step));
            taken.map(|&(cell, [x, y])| Level { x, y, z: surface.grid.z_mm[cell], u: 0.0 }).collect()
        }
        (None, None) => return to_corners,
    };
    let equal = Ways::new(&floor.outline, targets).with_equal_falls();
    match (scatter(&to_corners, &readings), scatter(&equal, &readings)) {
        (Some(a), Some(b)) if b < 0.5 * a && a > 1e-6 => equal,
        _ => to_corners,
    }
}

/// Variance of the readings about one plane each part; `None` when no part has a reading to spare.
fn scatter(ways: &Ways, readings: &[Level]) -> Option<f64> {
    let mut by_sector: BTreeMap<Sector, Vec<Level>> = BTreeMap::new();
    for reading in readings {
        if let Some(sector) = ways.sector([reading.x, reading.y]) {
            by_sector.entry(sector).or_default().push(Level { u: 1.0, ..*reading });
        }
    }
    let fits = by_sector.values().filter_map(|part| stats::plane::fit(part).ok());
    let (sum, dof) = fits.map(|p| (p.residuals.iter().map(|e| e * e).sum::<f64>(), p.dof)).fold((0.0, 0), |a, b| (a.0 + b.0, a.1 + b.1));
    (dof > 0).then(|| sum / dof as f64)
}

/// The surface with its outlets, or as much of it as the levels allow.
fn floor(input: &Input) -> Result<Floor, Problems> {
    let Some(given) = &input.surface else {
        return Ok(Floor {
            outline: Vec::new(),
            surface: None,
            levels: None,
            cells: Vec::new(),
            outlet_cells: Vec::new(),
            len: 0,
            cell_area_m2: 0.0,
            area_m2: None,
        });
    };
    if given.grid.is_some() {
        let surface = tin::surface(given, input.cell_mm)?;
        let outline = surface.walls();
        let outlet_cells = outlet_cells(&surface.grid, &input.outlets)?;
        let cells = cells(&surface.grid, &outlet_cells);
        let outlet_cells = outlet_cells.concat();
        let area = surface.grid.z_mm.iter().filter(|z| !z.is_nan()).count() as f64 * surface.grid.cell_area_m2();
        let (len, cell_area_m2) = (surface.grid.len(), surface.grid.cell_area_m2());
        return Ok(Floor { outline, surface: Some(surface), levels: None, cells, outlet_cells, len, cell_area_m2, area_m2: Some(area) });
    }
    let levels = tin::check(given, input.cell_mm)?;
    let outline = levels.outline_mm.clone();
    let area_m2 = Some(crate::plan::signed_area_mm2(&outline) * 1e-6);
    let (surface, grid) = match levels.too_few() {
        None => {
            let surface = levels.triangulate()?;
            let grid = surface.grid.clone();
            (Some(surface), grid)
        }
        Some(_) => (None, tin::flat(&outline, COARSE_MM)),
    };
    let outlet_cells = outlet_cells(&grid, &input.outlets)?;
    let cells = cells(&grid, &outlet_cells);
    let outlet_cells = outlet_cells.concat();
    Ok(Floor { outline, surface, levels: Some(levels), cells, outlet_cells, len: grid.len(), cell_area_m2: grid.cell_area_m2(), area_m2 })
}

/// Floor cells that are no outlet.
fn cells(grid: &Grid, outlets: &[Vec<usize>]) -> Vec<Cell> {
    let mut is_outlet = vec![false; grid.len()];
    outlets.iter().flatten().for_each(|&c| is_outlet[c] = true);
    (0..grid.len()).filter(|&c| grid.is_floor(c) && !is_outlet[c]).map(|c| (c, grid.centre_mm(c))).collect()
}

/// The readings of each part.
fn evidence<'a>(floor: &'a Floor, parts: &Parts, gradients: &'a [Gradient]) -> Vec<Evidence<'a>> {
    let from_grid = floor.levels.is_none() && floor.surface.is_some();
    let mut all: Vec<Evidence> =
        parts.parts.iter().map(|_| Evidence { levels: Vec::new(), names: Vec::new(), gradients: Vec::new(), from_grid }).collect();
    if let Some(levels) = &floor.levels {
        for (level, name) in levels.as_stats().into_iter().zip(&levels.names) {
            for part in parts.of_reading([level.x, level.y]) {
                all[part].levels.push(level);
                all[part].names.push(name);
            }
        }
    } else if let Some(surface) = &floor.surface {
        for (part, evidence) in all.iter_mut().enumerate() {
            let stride = parts.parts[part].cells.div_ceil(CELLS_A_PLANE).max(1);
            let own = floor.cells.iter().filter(|(cell, _)| parts.of_cell[*cell] == part as u32).step_by(stride);
            evidence.levels = own.map(|&(cell, [x, y])| Level { x, y, z: surface.grid.z_mm[cell], u: surface.u_mm[cell] }).collect();
        }
    }
    for gradient in gradients {
        for part in parts.of_reading(gradient.at_mm) {
            all[part].gradients.push(gradient);
        }
    }
    all
}

/// A grid whose heights are exact leaves no doubt about its planes: what scatters about them is found place by place.
fn fit_part(evidence: &Evidence, toward: PointMm, least: usize) -> Result<Fitted, String> {
    let fitted = planes::fit(evidence, toward, least)?;
    let exact = evidence.from_grid && evidence.gradients.is_empty() && evidence.levels.iter().all(|l| l.u == 0.0);
    Ok(if exact { fitted.without_doubt() } else { fitted })
}

/// Gradient readings sorted to the parts they belong to.
fn by_part<'a>(gradients: &'a [Gradient], of_reading: &[usize], parts: usize) -> Vec<Evidence<'a>> {
    let own = |part| gradients.iter().zip(of_reading).filter(move |(_, of)| **of == part).map(|(g, _)| g).collect();
    (0..parts).map(|part| Evidence { levels: Vec::new(), names: Vec::new(), gradients: own(part), from_grid: false }).collect()
}

fn assemble(input: &Input, checked: &Checked, floor: &Floor, parts: &Parts, evidence: &[Evidence], asked: &Asked) -> Output {
    let fits: Vec<Result<Fitted, String>> =
        parts.parts.iter().zip(evidence).map(|(part, e)| fit_part(e, part.toward, checked.least)).collect();
    let ways = floor.surface.as_ref().map_or_else(Vec::new, |surface| paths::all(&surface.grid, &floor.outlet_cells, parts));
    let mut notes = Vec::new();
    let mut planes: Vec<PlaneOut> = Vec::new();
    let area_m2 = |part: usize| match input.zones.get(part) {
        Some(zone) if floor.len == 0 => crate::plan::signed_area_mm2(&zone.polygon_mm).abs() * 1e-6,
        _ => parts.parts[part].cells as f64 * floor.cell_area_m2,
    };
    for (k, part) in parts.parts.iter().enumerate() {
        if part.sliver && !evidence[k].from_grid {
            let share = 100.0 * part.cells as f64 / floor.cells.len().max(1) as f64;
            notes.push(format!("{} is {share:.0} % of the floor, too small to be judged as a plane by itself", part.id));
            continue;
        }
        let outlet = part.outlet.and_then(|o| input.outlets.get(o)).map(|o| o.id.as_str());
        let way_fall_median = paths::median(ways.iter().filter(|(of, _)| *of as usize == k).map(|(_, way)| way.fall).collect());
        planes.push(PlaneOut { way_fall_median, ..planes::judge(part, &evidence[k], fits[k].as_ref(), asked, area_m2(k), outlet) });
    }
    let risk = match input.decision {
        Decision::Guarded { risk } => risk,
        Decision::Simple { .. } => 0.05,
    };
    let local = floor.surface.as_ref().map(|surface| local::look(surface, parts, &fits, checked.limit, risk));
    let faults = floor
        .surface
        .as_ref()
        .zip(local.as_ref())
        .map(|(surface, local)| faults(surface, floor, parts, local, risk, checked.patch_ignored_m2));
    let Faults { backfalls, too_flat, too_steep } = faults.unwrap_or_default();
    level_notes(&checked.gradients, &mut notes);
    let ponds = verdict::ponds(input, asked, &mut notes);
    let judgement = verdict::overall(asked, floor, &planes, &backfalls, &too_flat, &too_steep, ponds);
    let share = |state| local.as_ref().filter(|_| checked.limit.is_some()).and_then(|l: &Local| l.share(state));
    let levels_assumed = floor.levels.iter().flat_map(|l| l.assumed.clone());
    Output {
        area_m2: floor.area_m2,
        share_within: share(State::Within),
        share_flatter: share(State::Flatter),
        share_steeper: share(State::Steeper),
        share_backfall: local.as_ref().and_then(|l| l.share(State::Back)),
        share_extrapolated: floor.surface.as_ref().map(|s| share_extrapolated(s, &floor.cells)),
        fall_median: local.as_ref().and_then(Local::median),
        way_fall_median: paths::median(ways.iter().map(|(_, way)| way.fall).collect()),
        way_flattest: ways.into_iter().map(|(_, way)| way).min_by(|a, b| a.fall.total_cmp(&b.fall)),
        verdict: judgement.verdict,
        judgement,
        planes,
        backfalls,
        too_flat,
        too_steep,
        level_checks: checked
            .gradients
            .iter()
            .filter_map(|g| g.offset.map(|offset| LevelCheck { reading: g.name.clone(), offset }))
            .collect(),
        level_perimeter: verdict::perimeter(checked, floor),
        assumed: levels_assumed.chain(checked.assumed.clone()).collect(),
        notes,
        drawing: floor.surface.as_ref().zip(local.as_ref()).filter(|_| input.drawing).map(|(s, l)| drawing(s, parts, l)),
    }
}

fn share_extrapolated(surface: &Surface, cells: &[Cell]) -> f64 {
    cells.iter().filter(|(c, _)| surface.extrapolated[*c]).count() as f64 / cells.len().max(1) as f64
}

/// Places where the floor is shown to be wrong.
#[derive(Default)]
struct Faults {
    backfalls: Vec<BackFall>,
    too_flat: Vec<Patch>,
    too_steep: Vec<Patch>,
}

fn faults(surface: &Surface, floor: &Floor, parts: &Parts, local: &Local, risk: f64, least_m2: f64) -> Faults {
    let of = |state| local::patches(surface, local, state, least_m2);
    let describe = |state| of(state).iter().map(|patch| local::describe(surface, parts, local, patch)).collect();
    let mut backfalls: Vec<BackFall> = of(State::Back).iter().map(|patch| local::back_fall(surface, parts, local, patch)).collect();
    if let Some(levels) = &floor.levels {
        let shown_by_levels = local::between_levels(surface, &levels.names, parts, risk);
        // What two levels show says more than the patch of triangles between them; one of the two is enough.
        let near = |a: PointMm, b: PointMm| crate::plan::distance(a, b) <= 2.0 * surface.grid.cell_mm;
        backfalls.retain(|patch| !shown_by_levels.iter().any(|pair| near(pair.at_mm, patch.at_mm)));
        backfalls.extend(shown_by_levels);
    }
    backfalls.sort_by(|a, b| b.rise_mm.total_cmp(&a.rise_mm));
    Faults { backfalls, too_flat: describe(State::Flatter), too_steep: describe(State::Steeper) }
}

/// An offset that the uncertainty does not explain is said.
fn level_notes(gradients: &[Gradient], notes: &mut Vec<String>) {
    for g in gradients {
        if let Some(offset) = g.offset.filter(|o| o.abs() > 2.0 * g.u) {
            notes.push(format!(
                "{}: turned end for end the level reads {:.2} % apart, more than its uncertainty explains; the mean is free of it, but check the level",
                g.name,
                200.0 * offset.abs()
            ));
        }
    }
}

fn drawing(surface: &Surface, parts: &Parts, local: &Local) -> Drawing {
    let grid = &surface.grid;
    let step = ((ARROWS_MM / grid.cell_mm).round() as usize).max(1);
    let arrows = (step / 2..grid.ny)
        .step_by(step)
        .flat_map(|j| (step / 2..grid.nx).step_by(step).map(move |i| j * grid.nx + i))
        .filter(|&cell| !local.fall[cell].is_nan())
        .filter_map(|cell| arrow(surface, parts, local, cell))
        .collect();
    let fall = local.fall.iter().map(|f| (!f.is_nan()).then_some(*f)).collect();
    Drawing { arrows, x0_mm: grid.x0_mm, y0_mm: grid.y0_mm, cell_mm: grid.cell_mm, nx: grid.nx, ny: grid.ny, fall }
}

/// Downhill at a cell, from the cells beside it.
fn arrow(surface: &Surface, parts: &Parts, local: &Local, cell: usize) -> Option<Arrow> {
    let grid = &surface.grid;
    let (i, j) = (cell % grid.nx, cell / grid.nx);
    let slope = |low: Option<usize>, high: Option<usize>| {
        let known = |c: Option<usize>| c.filter(|&c| grid.is_floor(c)).unwrap_or(cell);
        let (low, high) = (known(low), known(high));
        let run = (usize::from(low != cell) + usize::from(high != cell)) as f64 * grid.cell_mm;
        if run > 0.0 { (grid.z_mm[high] - grid.z_mm[low]) / run } else { 0.0 }
    };
    let gx = slope((i > 0).then(|| cell - 1), (i + 1 < grid.nx).then(|| cell + 1));
    let gy = slope((j > 0).then(|| cell - grid.nx), (j + 1 < grid.ny).then(|| cell + grid.nx));
    let back = local.state[cell] == State::Back;
    (parts.of_cell[cell] != parts::NO_PART && (gx != 0.0 || gy != 0.0)).then(|| Arrow {
        at_mm: grid.centre_mm(cell),
        direction_deg: crate::plan::degrees_of([-gx, -gy]),
        fall: local.fall[cell].abs(),
        back,
    })
}
