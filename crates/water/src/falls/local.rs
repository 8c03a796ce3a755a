//! The fall of every cell, and the places where it is shown to be wrong.

use super::parts::{NO_PART, Parts};
use super::planes::{Fitted, ON_THE_LIMIT};
use super::window;
use crate::plan;
use crate::tin::{NO_FACET, Surface};
use measure::math::{self, normal_quantile};
use measure::{Limit, PointMm};
use schemars::JsonSchema;
use serde::Serialize;

/// What the fall of a cell is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// Not floor, an outlet, or outside all zones.
    Out,
    /// Floor whose fall is not known.
    Unknown,
    /// Inside the limits.
    Within,
    /// Flatter than asked.
    Flatter,
    /// Steeper than asked.
    Steeper,
    /// Rising towards the outlet.
    Back,
}

/// The fall of every cell.
pub struct Local {
    pub fall: Vec<f64>,
    pub state: Vec<State>,
    /// Whether the state is shown beyond the uncertainty, and not only likely.
    pub shown: Vec<bool>,
}

/// A rise this small is level ground: a thousandth of a millimetre in a metre.
const LEVEL: f64 = 1e-6;

/// How many standard uncertainties a local fault must stand beyond what is allowed. The risk of the decision rule is shared
/// among all the places looked at (Bonferroni): on a floor built to the limit one place in twenty would else be called
/// wrong by chance alone.
fn quantile(risk: f64, places: usize) -> f64 {
    normal_quantile(1.0 - risk / places.max(1) as f64)
}

/// What is known of the slope at a cell.
struct Slope<'a> {
    gradient: [f64; 2],
    u_fall: &'a dyn Fn(PointMm) -> f64,
    /// Whether the slope is evidence of this place, or was carried over from elsewhere.
    is_evidence: bool,
}

/// Looks at every cell.
pub fn look(surface: &Surface, parts: &Parts, fits: &[Result<Fitted, String>], limit: Option<Limit>, risk: f64) -> Local {
    let n = surface.grid.len();
    let mut local = Local { fall: vec![f64::NAN; n], state: vec![State::Out; n], shown: vec![false; n] };
    for cell in 0..n {
        if parts.of_cell[cell] != NO_PART {
            local.state[cell] = State::Unknown;
        }
    }
    if surface.facets.is_empty() {
        from_grid(surface, parts, limit, risk, &mut local)
    } else {
        from_facets(surface, parts, fits, limit, risk, &mut local)
    }
    local
}

impl Local {
    fn set(&mut self, cell: usize, parts: &Parts, slope: &Slope, limit: Option<Limit>, quantile: f64) {
        let part = &parts.parts[parts.of_cell[cell] as usize];
        let toward = if part.toward_given { part.toward } else { parts.toward[cell].map(f64::from) };
        let [gx, gy] = slope.gradient;
        let down = -(gx * toward[0] + gy * toward[1]);
        let steepest = (gx * gx + gy * gy).sqrt();
        // Where somebody said which way it must fall, only that way counts.
        let fall = if part.toward_given {
            down
        } else if down < 0.0 {
            -steepest
        } else {
            steepest
        };
        let fall = if down < 0.0 && down > -LEVEL { fall.abs().min(LEVEL) } else { fall };
        self.fall[cell] = fall;
        let downhill = if steepest > 0.0 && !part.toward_given { [-gx / steepest, -gy / steepest] } else { toward };
        let bounds = limit.map_or((None, None), |l| (l.min(), l.max()));
        let (state, beyond, along) = match bounds {
            _ if down <= -LEVEL => (State::Back, -down, toward),
            (Some(min), _) if fall < min * (1.0 - ON_THE_LIMIT) => (State::Flatter, min - fall, downhill),
            (_, Some(max)) if fall > max * (1.0 + ON_THE_LIMIT) => (State::Steeper, fall - max, downhill),
            _ => (State::Within, 0.0, toward),
        };
        self.state[cell] = state;
        self.shown[cell] = slope.is_evidence && state != State::Within && beyond > quantile * (slope.u_fall)(along);
    }

    /// Share of the cells with a known fall that are in a state.
    pub fn share(&self, state: State) -> Option<f64> {
        let known = self.state.iter().filter(|s| !matches!(s, State::Out | State::Unknown)).count();
        (known > 0).then(|| self.state.iter().filter(|s| **s == state).count() as f64 / known as f64)
    }

    /// The median fall of the cells.
    pub fn median(&self) -> Option<f64> {
        let mut falls: Vec<f64> = self.fall.iter().copied().filter(|f| !f.is_nan()).collect();
        if falls.is_empty() {
            return None;
        }
        let n = falls.len();
        let middle = n / 2;
        let (below, upper, _) = falls.select_nth_unstable_by(middle, f64::total_cmp);
        let upper = *upper;
        if below.len() * 2 == n {
            let lower = below.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            return Some((lower + upper) / 2.0);
        }
        Some(upper)
    }
}

fn from_grid(surface: &Surface, parts: &Parts, limit: Option<Limit>, risk: f64, local: &mut Local) {
    let grid = &surface.grid;
    let u_mm = surface.u_mm.iter().copied().find(|u| !u.is_nan()).unwrap_or(0.0);
    let r = window::half_window(grid.cell_mm, u_mm);
    let floor = local.state.iter().filter(|s| **s != State::Out).count();
    let quantile = quantile(risk, floor / (2 * r + 1).pow(2));
    window::slopes(grid, &parts.of_cell, parts.parts.len(), r, u_mm, |cell, slope| {
        let u_fall = |d| slope.u_fall(u_mm, d);
        local.set(cell, parts, &Slope { gradient: slope.gradient, u_fall: &u_fall, is_evidence: true }, limit, quantile);
    });
}

/// A triangle speaks for a cell when all its corners belong to the plane of that cell. One that bridges two planes has a
/// slope that is neither's: the fitted plane stands in there, and what is carried on beyond the levels shows nothing.
fn from_facets(surface: &Surface, parts: &Parts, fits: &[Result<Fitted, String>], limit: Option<Limit>, risk: f64, local: &mut Local) {
    let of_vertex: Vec<Vec<usize>> = surface.vertices.iter().map(|v| parts.of_reading(v.at_mm)).collect();
    let speaks_for = |facet: usize, part: usize| surface.facets[facet].corners.iter().all(|c| of_vertex[*c].contains(&part));
    let quantile = quantile(risk, surface.facets.iter().filter(|f| !f.extrapolated).count());
    // Neighbouring cells mostly share triangle and part.
    let mut last = (NO_FACET, NO_PART, false);
    for cell in 0..surface.grid.len() {
        let (facet, part) = (surface.facet[cell], parts.of_cell[cell]);
        if part == NO_PART || facet == NO_FACET {
            continue;
        }
        if (last.0, last.1) != (facet, part) {
            last = (facet, part, speaks_for(facet as usize, part as usize));
        }
        let triangle = &surface.facets[facet as usize];
        let fitted = fits[part as usize].as_ref().ok().filter(|_| !last.2);
        let u_fall = |d| triangle.u_fall(&surface.vertices, d);
        let slope = Slope {
            gradient: fitted.map_or(triangle.gradient, |f| f.gradient),
            u_fall: &u_fall,
            is_evidence: last.2 && !triangle.extrapolated,
        };
        local.set(cell, parts, &slope, limit, quantile);
    }
}

/// A back-fall: somewhere the floor rises towards the outlet, beyond what the uncertainty explains.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct BackFall {
    /// Its low end, where water stays or runs away from the outlet.
    pub at_mm: PointMm,
    /// The place nearer to the outlet up to which it rises.
    pub to_mm: PointMm,
    /// How much it rises between the two.
    pub rise_mm: f64,
    /// Standard uncertainty of the rise, where it lies between two levels.
    pub u_rise_mm: Option<f64>,
    /// The rise over its length: a negative fall.
    pub fall: f64,
    /// Area of the place; absent where only two levels show it.
    pub area_m2: Option<f64>,
    /// The levels that show it.
    pub readings: Vec<String>,
    /// The plane it lies in.
    pub plane: Option<String>,
}

/// A place that is shown to be too flat or too steep.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Patch {
    /// Its middle.
    pub at_mm: PointMm,
    /// Its area.
    pub area_m2: f64,
    /// The fall farthest from the limit in it.
    pub fall: f64,
    /// The plane it lies in.
    pub plane: Option<String>,
}

/// Cells in one state, all shown, that hang together.
pub fn patches(surface: &Surface, local: &Local, state: State, least_m2: f64) -> Vec<Vec<usize>> {
    let grid = &surface.grid;
    let mut seen = vec![false; grid.len()];
    let belongs = |cell: usize| local.shown[cell] && local.state[cell] == state;
    let mut patches = Vec::new();
    for start in 0..grid.len() {
        if seen[start] || !belongs(start) {
            continue;
        }
        let (mut patch, mut next) = (Vec::new(), vec![start]);
        seen[start] = true;
        while let Some(cell) = next.pop() {
            patch.push(cell);
            for beside in grid.neighbours(cell) {
                if !seen[beside] && belongs(beside) {
                    seen[beside] = true;
                    next.push(beside);
                }
            }
        }
        if patch.len() as f64 * grid.cell_area_m2() >= least_m2 * (1.0 - 1e-9) {
            patch.sort_unstable();
            patches.push(patch);
        }
    }
    patches
}

/// What is said of a patch that is too flat or too steep.
pub fn describe(surface: &Surface, parts: &Parts, local: &Local, patch: &[usize]) -> Patch {
    let n = patch.len() as f64;
    let places = patch.iter().map(|&c| surface.grid.centre_mm(c));
    let sum = places.fold([0.0; 2], |s, p| [s[0] + p[0], s[1] + p[1]]);
    let steep = local.state[patch[0]] == State::Steeper;
    let falls = patch.iter().map(|&c| local.fall[c]);
    let fall = if steep { falls.fold(f64::NEG_INFINITY, f64::max) } else { falls.fold(f64::INFINITY, f64::min) };
    Patch { at_mm: [sum[0] / n, sum[1] / n], area_m2: n * surface.grid.cell_area_m2(), fall, plane: plane_name(parts, patch[0]) }
}

fn plane_name(parts: &Parts, cell: usize) -> Option<String> {
    parts.parts.get(parts.of_cell[cell] as usize).map(|p| p.id.clone())
}

/// So many cells of a patch are tried as its low end.
const STARTS: usize = 2_000;

/// Where a patch rises most, going from cell to cell towards the outlet.
pub fn back_fall(surface: &Surface, parts: &Parts, local: &Local, patch: &[usize]) -> BackFall {
    let grid = &surface.grid;
    let inside = |cell: usize| local.state[cell] == State::Back && local.shown[cell];
    let climb = |start: usize| {
        let (mut at, mut cell, mut steps) = (grid.centre_mm(start), start, 0);
        while inside(cell) && steps < grid.nx + grid.ny {
            let [dx, dy] = parts.toward[cell].map(f64::from);
            let next = [at[0] + dx * grid.cell_mm, at[1] + dy * grid.cell_mm];
            match grid.cell_at(next).filter(|&c| grid.is_floor(c) && parts.of_cell[c] != NO_PART) {
                Some(c) if dx != 0.0 || dy != 0.0 => (at, cell) = (next, c),
                _ => break,
            }
            steps += 1;
        }
        (grid.z_mm[cell] - grid.z_mm[start], start, cell)
    };
    let stride = patch.len().div_ceil(STARTS);
    let best = patch.iter().step_by(stride).map(|&c| climb(c)).max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)));
    let (rise_mm, from, to) = best.unwrap_or((0.0, patch[0], patch[0]));
    let fall = patch.iter().map(|&c| local.fall[c]).fold(f64::INFINITY, f64::min);
    BackFall {
        at_mm: grid.centre_mm(from),
        to_mm: grid.centre_mm(to),
        rise_mm,
        u_rise_mm: None,
        fall,
        area_m2: Some(patch.len() as f64 * grid.cell_area_m2()),
        readings: Vec::new(),
        plane: plane_name(parts, from),
    }
}

/// Least cosine between the line from one level to another and the way the floor must fall: 44 degrees from the way to the
/// outlet, 72 from the fall of the plane that the nearer one lies in.
const TOWARDS_OUTLET: f64 = 0.72;
const DOWN_ITS_PLANE: f64 = 0.3;

/// Levels from which the floor rises to a level nearer to the outlet, each with the highest such level. Two levels are
/// evidence whatever the triangles between them do.
///
/// On a floor whose planes all fall as they must, the surface is the highest of its planes; the line from a level to another
/// that leads down the other's plane can then not rise, whichever planes the two lie in. One that does is a back-fall.
pub fn between_levels(surface: &Surface, names: &[String], parts: &Parts, risk: f64) -> Vec<BackFall> {
    let levels = &surface.vertices[..names.len()];
    let quantile = quantile(risk, levels.len());
    let must_fall: Vec<Vec<PointMm>> =
        levels.iter().map(|l| parts.of_reading(l.at_mm).into_iter().map(|p| parts.parts[p].toward).collect()).collect();
    let mut found = Vec::new();
    for (i, low) in levels.iter().enumerate() {
        let Some((toward, reach)) = parts.toward_from(low.at_mm) else { continue };
        let worst = levels
            .iter()
            .enumerate()
            .filter(|(_, high)| high.z_mm > low.z_mm)
            .map(|(k, high)| (high.z_mm - low.z_mm, math::hypot(high.u_mm, low.u_mm), k))
            .filter(|&(rise, u, _)| rise > LEVEL && rise > quantile * u)
            .filter(|&(_, _, k)| {
                let (vx, vy) = (levels[k].at_mm[0] - low.at_mm[0], levels[k].at_mm[1] - low.at_mm[1]);
                let length = math::hypot(vx, vy);
                let along = |d: PointMm| vx * d[0] + vy * d[1];
                along(toward) >= TOWARDS_OUTLET * length
                    && along(toward) <= reach
                    && !must_fall[k].is_empty()
                    && must_fall[k].iter().all(|d| along(*d) >= DOWN_ITS_PLANE * length)
            })
            .max_by(|a, b| a.0.total_cmp(&b.0).then(b.2.cmp(&a.2)));
        if let Some((rise_mm, u, k)) = worst {
            let to_mm = levels[k].at_mm;
            found.push(BackFall {
                at_mm: low.at_mm,
                to_mm,
                rise_mm,
                u_rise_mm: Some(u),
                fall: -rise_mm / plan::distance(low.at_mm, to_mm),
                area_m2: None,
                readings: vec![names[i].clone(), names[k].clone()],
                plane: parts.at(low.at_mm).map(|p| parts.parts[p].id.clone()),
            });
        }
    }
    found
}
