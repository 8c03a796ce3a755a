//! How much shower water each detail of a floor sees in a day, and how long it stays wet.
//!
//! An aid to ordering: which details see most, some or little. It is a model with assumptions, not a measurement, and no
//! verdict rests on it.
//!
//! 1. **Spray.** Water leaves the rose in straight lines and lands around the point below it, densest there and none beyond
//!    `spread_mm`: the density is the bell `(1 - (r / spread)^2)^2` (common practice, no source). What would land beyond a
//!    wall or behind a screen hits it, at the height the line has there, and runs down to its foot.
//! 2. **Way over the floor.** From cell to cell over the floor with every pond full, shared among all lower neighbours by
//!    their fall to the power 1.1 (multiple flow directions; Freeman 1991, *Computers & Geosciences* 17, 413, from memory).
//!    A sheet of shower water on a plane spreads; following the one steepest neighbour would draw lines along eight
//!    directions that the water does not know. Over a pond or a level stretch it takes the shortest way to where it runs off.
//! 3. **Ponds** are dry in the morning and keep what fills them; the rest runs over.
//!
//! Every litre is accounted for: what the showers give is what the outlets take and what is left standing.

mod route;
mod spray;

use crate::fill::{drainage, fill};
use crate::grid::Grid;
use crate::plan;
use crate::surface::{OutletIn, SurfaceIn, line_cells, line_is_sound, outlet_cells};
use crate::tin::{self, Surface};
use measure::{Bounds, PointMm, Problem, Problems, bounds};
use route::Routes;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Showers over a floor, screens, and the details in question.
#[derive(Clone, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Input {
    /// Spot levels inside an outline, or a grid.
    pub surface: SurfaceIn,
    /// Where water leaves.
    pub outlets: Vec<OutletIn>,
    /// The showers; they run one after another.
    pub showers: Vec<ShowerIn>,
    /// Glass that stops the spray.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub screens: Vec<ScreenIn>,
    /// The details in question.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub details: Vec<DetailIn>,
    /// How fast standing water dries; 1.8 mm a day unless given: still air at 20 °C and 50 % relative humidity (Shah's
    /// correlation, ASHRAE Transactions 2014, SE-14-001).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub evaporation_mm_per_day: Option<f64>,
    /// Side of a grid cell made from spot levels; stands in for the surface's own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cell_mm: Option<f64>,
}

/// One shower rose.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ShowerIn {
    /// Where it points at on the floor.
    pub x_mm: f64,
    /// Where it points at on the floor.
    pub y_mm: f64,
    /// Height of the rose over the floor.
    pub height_mm: f64,
    /// Flow.
    pub flow_l_min: f64,
    /// How long it runs.
    pub minutes_per_day: f64,
    /// Radius on the floor within which its water lands.
    pub spread_mm: f64,
}

/// A screen.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ScreenIn {
    /// Its line on plan.
    pub line_mm: Vec<PointMm>,
}

/// A detail: a run or an area of the floor.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct DetailIn {
    /// Its name.
    pub id: String,
    /// A run: a junction, a water stop. Either this or `polygon_mm`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub line_mm: Vec<PointMm>,
    /// An area: a flange, a field.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub polygon_mm: Vec<PointMm>,
}

/// Water per detail, and the balance.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Output {
    /// In the order of the input.
    pub details: Vec<DetailOut>,
    /// Where all the water went.
    pub balance: Balance,
    /// What hits the walls and screens, piece by piece.
    pub walls: Vec<WallOut>,
    /// What was assumed because the input did not say.
    pub assumed: Vec<String>,
    /// What else there is to know.
    pub notes: Vec<String>,
}

/// Water at one detail.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct DetailOut {
    /// Its name.
    pub id: String,
    /// Water that touches it, each litre counted once.
    pub litres_per_day: f64,
    /// Share of all shower water.
    pub share: f64,
    /// How long water runs over it or stands on it.
    pub wet_minutes_per_day: f64,
}

/// In is out.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Balance {
    /// What the showers give, litres a day.
    #[serde(rename = "in")]
    pub given: f64,
    /// What each outlet takes.
    pub outlets: BTreeMap<String, f64>,
    /// What ponds keep, and what lies where no outlet is reached.
    pub left_standing: f64,
    /// What is not accounted for, relative to what was given: rounding only.
    pub closure_error: f64,
}

/// A piece of wall or screen that is sprayed.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct WallOut {
    /// One end of the piece.
    pub from_mm: PointMm,
    /// The other end.
    pub to_mm: PointMm,
    /// Water that hits it.
    pub litres_per_day: f64,
    /// Lowest place hit, over the floor.
    pub height_from_mm: f64,
    /// Highest place hit, over the floor.
    pub height_mm: f64,
    /// Which screen it is; absent for a wall.
    pub screen: Option<usize>,
}

/// Evaporation of standing water unless given: Shah's correlation at 20 °C and 50 % relative humidity gives 1.77 mm in 24 h.
pub const EVAPORATION_MM_PER_DAY: f64 = 1.8;

/// A detail that sees less than this share of a shower's water counts as not wetted by it.
const NEGLIGIBLE: f64 = 1e-3;
const DAY_MIN: f64 = 1440.0;

const HEIGHT_MM: Bounds = Bounds { min: 100.0, max: 5_000.0, unit: "mm" };
const SPREAD_MM: Bounds = Bounds { min: 0.0, max: 5_000.0, unit: "mm" };
const MINUTES: Bounds = Bounds { min: 0.0, max: DAY_MIN, unit: "minutes a day" };
const EVAPORATION: Bounds = Bounds { min: 0.0, max: 100.0, unit: "mm a day" };
const SHOWERS: usize = 100;
const SCREENS: usize = 100;
const DETAILS: usize = 2_000;
/// Cells times showers times details at most.
const WORK: u64 = 20_000_000_000;

/// Routes all shower water of a day to the outlets and says what each detail sees of it.
///
/// # Errors
/// All problems of the input at once: those of the surface and the outlets; a shower, screen or detail that is out of bounds
/// or misplaced; names given twice.
pub fn run(input: &Input) -> Result<Output, Problems> {
    let mut problems = check(input);
    let surface = match tin::surface(&input.surface, input.cell_mm) {
        Ok(surface) => surface,
        Err(more) => {
            problems.extend(more);
            return Err(problems);
        }
    };
    let outlets = outlet_cells(&surface.grid, &input.outlets).unwrap_or_else(|more| {
        problems.extend(more);
        Vec::new()
    });
    for (i, shower) in input.showers.iter().enumerate() {
        if crate::surface::floor_cell_at(&surface.grid, [shower.x_mm, shower.y_mm]).is_none()
            && shower.x_mm.is_finite()
            && shower.y_mm.is_finite()
        {
            let at = format!("[{}, {}]", shower.x_mm, shower.y_mm);
            problems.push(
                Problem::at(format!("showers[{i}].x_mm"), "the rose points outside the floor", "a place inside the outline").value(at),
            );
        }
    }
    let count = |n: usize| n.max(1) as u64;
    let work = count(surface.grid.len()).saturating_mul(count(input.showers.len())).saturating_mul(count(input.details.len()));
    if work > WORK {
        problems
            .push(Problem::at("surface.cell_mm", "so many cells, showers and details together take too long", "a larger cell").value(work));
    }
    problems.or(())?;
    Ok(compute(input, &surface, &outlets))
}

fn check(input: &Input) -> Problems {
    let mut problems = Problems::new();
    let mut inside = |bound: Bounds, value: f64, field: String| {
        if !bound.contains(value) {
            problems.push(Problem::at(field, "out of bounds", bound.words()).value(value));
        }
    };
    for (i, s) in input.showers.iter().enumerate().take(SHOWERS) {
        for (name, value, bound) in [
            ("x_mm", s.x_mm, bounds::PLAN_MM),
            ("y_mm", s.y_mm, bounds::PLAN_MM),
            ("height_mm", s.height_mm, HEIGHT_MM),
            ("flow_l_min", s.flow_l_min, bounds::FLOW_L_MIN),
            ("minutes_per_day", s.minutes_per_day, MINUTES),
            ("spread_mm", s.spread_mm, SPREAD_MM),
        ] {
            inside(bound, value, format!("showers[{i}].{name}"));
        }
    }
    inside(EVAPORATION, input.evaporation_mm_per_day.unwrap_or(EVAPORATION_MM_PER_DAY), "evaporation_mm_per_day".into());
    for (name, many, most) in
        [("showers", input.showers.len(), SHOWERS), ("screens", input.screens.len(), SCREENS), ("details", input.details.len(), DETAILS)]
    {
        if many > most {
            problems.push(Problem::at(name, "too many", format!("at most {most}")).value(many));
        }
    }
    if input.showers.is_empty() {
        problems.push(Problem::at("showers", "no shower", "at least one"));
    }
    if input.outlets.is_empty() {
        problems.push(Problem::at("outlets", "no outlet", "at least one"));
    }
    for (i, screen) in input.screens.iter().enumerate().take(SCREENS) {
        line_is_sound(&screen.line_mm, &format!("screens[{i}].line_mm"), &mut problems);
    }
    let mut ids = std::collections::BTreeSet::new();
    for (i, detail) in input.details.iter().enumerate().take(DETAILS) {
        if !ids.insert(&detail.id) {
            problems.push(Problem::at(format!("details[{i}].id"), "a name given twice", "one name for each detail").value(&detail.id));
        }
        place(detail, i, &mut problems);
    }
    problems
}

/// A detail is a line or a polygon, not both.
fn place(detail: &DetailIn, i: usize, problems: &mut Problems) {
    match (detail.line_mm.is_empty(), detail.polygon_mm.is_empty()) {
        (false, true) => {
            line_is_sound(&detail.line_mm, &format!("details[{i}].line_mm"), problems);
        }
        (true, false) => {
            let field = format!("details[{i}].polygon_mm");
            if line_is_sound(&detail.polygon_mm, &field, problems) && detail.polygon_mm.len() < 3 {
                problems.push(Problem::at(field, "a polygon needs three corners", "three or more").value(detail.polygon_mm.len()));
            }
        }
        (true, true) => problems.push(Problem::at(format!("details[{i}]"), "has no place", "`line_mm` or `polygon_mm`")),
        (false, false) => problems.push(Problem::at(format!("details[{i}]"), "has a line and a polygon", "one of the two")),
    }
}

fn compute(input: &Input, surface: &Surface, outlets: &[Vec<usize>]) -> Output {
    let grid = &surface.grid;
    let drains: Vec<usize> = {
        let mut all: Vec<usize> = outlets.iter().flatten().copied().collect();
        all.sort_unstable();
        all.dedup();
        all
    };
    let filled = fill(grid, &drains);
    let routes = Routes::new(grid, &filled, &drainage(grid, &drains, &filled), &drains);

    let walls = surface.walls();
    let screens: Vec<&[PointMm]> = input.screens.iter().map(|s| &s.line_mm[..]).collect();
    let sprays: Vec<spray::Spray> = input.showers.iter().map(|shower| spray::spray(grid, &walls, &screens, shower)).collect();
    let mut total = vec![0.0; grid.len()];
    for &(cell, litres) in sprays.iter().flat_map(|s| &s.landed) {
        total[cell] += litres;
    }
    let given: f64 = input.showers.iter().map(|s| s.flow_l_min * s.minutes_per_day).sum();
    let day = routes.run(grid, &filled, &total);

    let evaporation = input.evaporation_mm_per_day.unwrap_or(EVAPORATION_MM_PER_DAY);
    let mut notes = vec!["an aid to ordering details by the water they see, not a measurement".to_owned()];
    let details = input
        .details
        .iter()
        .map(|detail| {
            let region = region(grid, detail);
            if region.is_empty() {
                notes.push(format!("{} touches no floor cell: it sees no water here", detail.id));
            }
            water_at(input, &sprays, &routes, &day, &region, detail, given, evaporation)
        })
        .collect();
    let mut taken: BTreeMap<String, f64> = input.outlets.iter().map(|o| (o.id.clone(), 0.0)).collect();
    for (outlet, cells) in input.outlets.iter().zip(outlets) {
        // A cell that two outlets share is counted to the first.
        let own: f64 = cells.iter().filter(|c| owner(outlets, **c) == Some(cells)).map(|&c| day.through[c]).sum();
        *taken.entry(outlet.id.clone()).or_default() += own;
    }
    let left_standing = day.kept.iter().sum::<f64>() + day.undrained;
    let out: f64 = taken.values().sum::<f64>() + left_standing;
    let closure_error = if given > 0.0 { (given - out) / given } else { 0.0 };
    let mut assumed = surface.assumed.clone();
    if input.evaporation_mm_per_day.is_none() {
        assumed.push(format!(
            "standing water dries by {EVAPORATION_MM_PER_DAY} mm a day (still air, 20 °C, 50 % relative humidity; Shah's correlation)"
        ));
    }
    let walls = spray::pieces(&sprays, &walls, &screens);
    Output { details, balance: Balance { given, outlets: taken, left_standing, closure_error }, walls, assumed, notes }
}

/// The first outlet that has a cell.
fn owner(outlets: &[Vec<usize>], cell: usize) -> Option<&Vec<usize>> {
    outlets.iter().find(|cells| cells.binary_search(&cell).is_ok())
}

/// The floor cells of a detail: those a line touches, those whose centre lies in a polygon.
fn region(grid: &Grid, detail: &DetailIn) -> Vec<usize> {
    if !detail.line_mm.is_empty() {
        return line_cells(grid, &detail.line_mm);
    }
    let Some((lo, hi)) = plan::bounds(&detail.polygon_mm) else { return Vec::new() };
    let index = |v: f64, origin: f64, n: usize| ((v - origin) / grid.cell_mm).clamp(0.0, n as f64);
    let rows = index(lo[1], grid.y0_mm, grid.ny).floor() as usize..(index(hi[1], grid.y0_mm, grid.ny).ceil() as usize + 1).min(grid.ny);
    let columns = index(lo[0], grid.x0_mm, grid.nx).floor() as usize..(index(hi[0], grid.x0_mm, grid.nx).ceil() as usize + 1).min(grid.nx);
    let cells = rows.flat_map(|j| columns.clone().map(move |i| j * grid.nx + i));
    let inside: Vec<usize> = cells.filter(|&c| grid.is_floor(c) && plan::contains(&detail.polygon_mm, grid.centre_mm(c))).collect();
    if !inside.is_empty() {
        return inside;
    }
    // Smaller than a cell: the cells its edge touches.
    let mut closed = detail.polygon_mm.clone();
    closed.push(detail.polygon_mm[0]);
    line_cells(grid, &closed)
}

fn water_at(
    input: &Input,
    sprays: &[spray::Spray],
    routes: &Routes,
    day: &route::Day,
    region: &[usize],
    detail: &DetailIn,
    given: f64,
    evaporation: f64,
) -> DetailOut {
    let mut litres = 0.0;
    let mut running = 0.0;
    let touched = routes.reach(region, day);
    for (shower, spray) in input.showers.iter().zip(sprays) {
        let seen: f64 = spray.landed.iter().map(|&(cell, litres)| litres * touched[cell]).sum();
        litres += seen;
        if seen > NEGLIGIBLE * shower.flow_l_min * shower.minutes_per_day {
            running += shower.minutes_per_day;
        }
    }
    let depth = region.iter().map(|&c| day.standing_mm(routes, c)).fold(0.0, f64::max);
    let standing = if depth <= 0.0 {
        0.0
    } else if evaporation > 0.0 {
        depth / evaporation * DAY_MIN
    } else {
        DAY_MIN
    };
    DetailOut {
        id: detail.id.clone(),
        litres_per_day: litres,
        share: if given > 0.0 { litres / given } else { 0.0 },
        wet_minutes_per_day: (running + standing).min(DAY_MIN),
    }
}
