//! What can be wrong with a surface, all of it at once.

use super::{CELL_MM, ON_LINE_MM, SAME_PLACE_MM, Vertex};
use crate::plan;
use crate::surface::{GridIn, SurfaceIn};
use measure::{PointMm, Problem, Problems, bounds};
use std::collections::BTreeMap;

/// Standard uncertainty of a level on tile when the reading gives none: half of 1 mm (about 95 %). Common practice, no source.
pub const U_TILE_MM: f64 = 0.5;
/// The same on screed and everything else: half of 1.5 mm. Common practice, no source.
pub const U_SCREED_MM: f64 = 0.75;

/// Most breaklines of one surface.
const BREAKLINES: usize = 1_000;

/// Spot levels that were checked: finite, inside the outline, no place twice.
#[derive(Clone, Debug, PartialEq)]
pub struct Levels {
    /// Corners of the floor, counter-clockwise, no corner twice.
    pub outline_mm: Vec<PointMm>,
    /// The levels.
    pub levels: Vec<Vertex>,
    /// What to call each level.
    pub names: Vec<String>,
    /// Lines the triangulation keeps.
    pub breaklines_mm: Vec<Vec<PointMm>>,
    /// Side of a grid cell.
    pub cell_mm: f64,
    /// What was assumed because the input did not say.
    pub assumed: Vec<String>,
}

impl Levels {
    /// Why the levels make no surface: too few, or all on one line.
    pub fn too_few(&self) -> Option<String> {
        match self.levels.len() {
            0 => return Some("no level was taken".into()),
            1 => return Some("one level makes no surface".into()),
            2 => return Some("two levels make no surface".into()),
            _ => {}
        }
        stats::plane::collinear(&self.as_stats()).then(|| format!("all {} levels stand on one line", self.levels.len()))
    }

    /// The levels as plain numbers for a plane.
    pub fn as_stats(&self) -> Vec<stats::plane::Level> {
        self.levels.iter().map(|v| stats::plane::Level { x: v.at_mm[0], y: v.at_mm[1], z: v.z_mm, u: v.u_mm }).collect()
    }
}

/// Checks spot levels and their outline; `cell_mm` stands in for the surface's own.
///
/// # Errors
/// All at once: an outline with fewer than three corners, crossing itself, enclosing nothing or of a size no room has;
/// a level that is not a finite number or out of bounds, outside the outline (with its distance), or at the place of
/// another with a different height; a breakline outside or crossing another; too many cells, with the side that would do.
/// Few levels are no error here: see [`Levels::too_few`].
pub fn check(input: &SurfaceIn, cell_mm: Option<f64>) -> Result<Levels, Problems> {
    let mut problems = Problems::new();
    if input.grid.is_none() && input.readings.is_empty() && input.outline_mm.is_empty() {
        return Err(Problem::at("surface", "there is no surface", "`outline_mm` with `readings`, or `grid`").into());
    }
    let outline = outline(&input.outline_mm, &mut problems);
    let cell_mm = cell(cell_mm.or(input.cell_mm).unwrap_or(CELL_MM), outline.as_deref(), &mut problems);
    let mut assumed = Vec::new();
    let (levels, names) = levels(input, outline.as_deref(), &mut assumed, &mut problems);
    breaklines(&input.breaklines_mm, outline.as_deref(), &mut problems);
    let outline_mm = outline.unwrap_or_default();
    problems.or(Levels { outline_mm, levels, names, breaklines_mm: input.breaklines_mm.clone(), cell_mm, assumed })
}

/// A surface is either levels or a grid.
pub(super) fn refuse_both(input: &SurfaceIn) -> Result<(), Problems> {
    if input.readings.is_empty() && input.breaklines_mm.is_empty() {
        return Ok(());
    }
    Err(Problem::at("surface", "spot levels and a grid together", "`readings` inside `outline_mm`, or `grid`, not both").into())
}

/// The outline that may stand beside a grid to say where the walls are.
pub(super) fn outline_beside_grid(input: &SurfaceIn) -> Result<Vec<PointMm>, Problems> {
    if input.outline_mm.is_empty() {
        return Ok(Vec::new());
    }
    let mut problems = Problems::new();
    let outline = corners(&input.outline_mm, &mut problems);
    problems.or(outline.unwrap_or_default())
}

/// The uncertainty a grid carries; 0 when it says nothing: the heights are exact.
pub(super) fn grid_u(grid: &GridIn) -> Result<f64, Problems> {
    let u = grid.u_mm.unwrap_or(0.0);
    if bounds::U_MM.contains(u) {
        Ok(u)
    } else {
        Err(Problem::at("surface.grid.u_mm", "out of bounds", bounds::U_MM.words()).value(u).into())
    }
}

/// The outline with its corners counter-clockwise, once each, and of a size a room has.
fn outline(given: &[PointMm], problems: &mut Problems) -> Option<Vec<PointMm>> {
    let corners = corners(given, problems)?;
    let (lo, hi) = plan::bounds(&corners)?;
    let (width, depth) = (hi[0] - lo[0], hi[1] - lo[1]);
    if !bounds::ROOM_SIDE_MM.contains(width) || !bounds::ROOM_SIDE_MM.contains(depth) {
        problems.push(
            Problem::at(
                "surface.outline_mm",
                "no room has this size",
                format!("sides {}; coordinates are in mm", bounds::ROOM_SIDE_MM.words()),
            )
            .value(format!("{width} x {depth} mm")),
        );
        return None;
    }
    Some(corners)
}

/// The corners counter-clockwise, once each; `None` when the outline encloses nothing sound.
fn corners(given: &[PointMm], problems: &mut Problems) -> Option<Vec<PointMm>> {
    const FIELD: &str = "surface.outline_mm";
    if given.len() > bounds::CORNERS {
        problems.push(Problem::at(FIELD, "too many corners", format!("at most {}", bounds::CORNERS)).value(given.len()));
        return None;
    }
    let before = problems.problems.len();
    for (i, corner) in given.iter().enumerate() {
        if !corner.iter().all(|&v| bounds::PLAN_MM.contains(v)) {
            problems.push(Problem::at(format!("{FIELD}[{i}]"), "off the plan", bounds::PLAN_MM.words()).value(format!("{corner:?}")));
        }
    }
    if problems.problems.len() > before {
        return None;
    }
    let mut corners: Vec<PointMm> = Vec::with_capacity(given.len());
    for &corner in given {
        if corners.last().is_none_or(|&last| plan::distance(last, corner) >= SAME_PLACE_MM) {
            corners.push(corner);
        }
    }
    while corners.len() > 1 && plan::distance(corners[0], corners[corners.len() - 1]) < SAME_PLACE_MM {
        corners.pop();
    }
    if corners.len() < 3 {
        problems.push(
            Problem::at(FIELD, "an outline needs three corners or more", "the corners of the floor, in order")
                .value(format!("{} different", corners.len())),
        );
        return None;
    }
    for (i, j) in plan::self_crossings(&corners, 5) {
        problems.push(
            Problem::at(
                FIELD,
                format!("crosses itself: the edge from {:?} meets the edge from {:?}", corners[i], corners[j]),
                "corners in order round the floor, no edge crossing another",
            )
            .value(format!("edges {i} and {j}")),
        );
    }
    if problems.problems.len() > before {
        return None;
    }
    let area = plan::signed_area_mm2(&corners);
    if area.abs() < 1.0 {
        problems.push(Problem::at(FIELD, "encloses no area", "the corners of the floor, in order").value(format!("{area} mm²")));
        return None;
    }
    if area < 0.0 {
        corners.reverse();
    }
    Some(corners)
}

/// The side of a cell, checked against the number of cells it makes.
fn cell(cell_mm: f64, outline: Option<&[PointMm]>, problems: &mut Problems) -> f64 {
    if !bounds::CELL_MM.contains(cell_mm) {
        problems.push(Problem::at("surface.cell_mm", "out of bounds", bounds::CELL_MM.words()).value(cell_mm));
        return CELL_MM;
    }
    let Some((lo, hi)) = outline.and_then(plan::bounds) else { return cell_mm };
    let cells = ((hi[0] - lo[0]) / cell_mm).ceil() * ((hi[1] - lo[1]) / cell_mm).ceil();
    if cells > bounds::GRID_CELLS as f64 {
        let enough = ((hi[0] - lo[0]) * (hi[1] - lo[1]) / bounds::GRID_CELLS as f64).sqrt().ceil() + 1.0;
        problems.push(
            Problem::at(
                "surface.cell_mm",
                format!("makes {cells} cells, more than {}", bounds::GRID_CELLS),
                format!("a cell_mm of {enough} or more"),
            )
            .value(cell_mm),
        );
    }
    cell_mm
}

/// The levels, each place once.
fn levels(
    input: &SurfaceIn,
    outline: Option<&[PointMm]>,
    assumed: &mut Vec<String>,
    problems: &mut Problems,
) -> (Vec<Vertex>, Vec<String>) {
    if input.readings.len() > bounds::READINGS {
        let right = format!("at most {}; a scan comes in as `grid`", bounds::READINGS);
        problems.push(Problem::at("surface.readings", "too many readings", right).value(input.readings.len()));
        return (Vec::new(), Vec::new());
    }
    let (default_u, on) = if on_tile(input.layer.as_deref()) { (U_TILE_MM, "tile") } else { (U_SCREED_MM, "screed") };
    let (mut levels, mut names): (Vec<Vertex>, Vec<String>) = (Vec::new(), Vec::new());
    let mut places = Places::default();
    let (mut without_u, mut repeated) = (0, 0);
    for (i, reading) in input.readings.iter().enumerate() {
        let field = format!("surface.readings[{i}]");
        let name = reading.name.clone().unwrap_or_else(|| format!("readings[{i}]"));
        let before = problems.problems.len();
        for (part, value, bound) in [
            ("x_mm", reading.x_mm, bounds::PLAN_MM),
            ("y_mm", reading.y_mm, bounds::PLAN_MM),
            ("z_mm", reading.z_mm, bounds::LEVEL_MM),
            ("u_mm", reading.u_mm.unwrap_or(0.0), bounds::U_MM),
        ] {
            if !bound.contains(value) {
                problems.push(Problem::at(format!("{field}.{part}"), format!("{name} is out of bounds"), bound.words()).value(value));
            }
        }
        if problems.problems.len() > before {
            continue;
        }
        let at_mm = [reading.x_mm, reading.y_mm];
        if let Some(outside) = outline.map(|o| plan::distance_outside(o, at_mm)).filter(|&d| d > ON_LINE_MM) {
            problems.push(
                Problem::at(
                    &field,
                    format!("{name} lies {outside:.0} mm outside the outline"),
                    "a place on the floor, or an outline that reaches it",
                )
                .value(format!("{at_mm:?}")),
            );
            continue;
        }
        without_u += usize::from(reading.u_mm.is_none());
        match places.find(at_mm, &levels) {
            Some(other) if levels[other].z_mm == reading.z_mm => repeated += 1,
            Some(other) => problems.push(
                Problem::at(
                    format!("{field}.z_mm"),
                    format!("{name} stands at the place of {} with another height, {} mm", names[other], levels[other].z_mm),
                    "one height a place: drop the wrong one, or enter their mean",
                )
                .value(reading.z_mm),
            ),
            None => {
                places.add(at_mm, levels.len());
                levels.push(Vertex { at_mm, z_mm: reading.z_mm, u_mm: reading.u_mm.unwrap_or(default_u), extrapolated: false });
                names.push(name);
            }
        }
    }
    if without_u > 0 {
        assumed.push(format!(
            "{without_u} of {} levels give no uncertainty: a standard uncertainty of {default_u} mm is assumed, half of ±{} mm on {on} (common practice, no source)",
            input.readings.len(),
            2.0 * default_u
        ));
    }
    if repeated > 0 {
        assumed.push(format!("{repeated} readings repeat a place and its height and count once"));
    }
    (levels, names)
}

fn on_tile(layer: Option<&str>) -> bool {
    layer.is_some_and(|layer| layer.to_lowercase().contains("tile"))
}

fn breaklines(lines: &[Vec<PointMm>], outline: Option<&[PointMm]>, problems: &mut Problems) {
    const FIELD: &str = "surface.breaklines_mm";
    let corners: usize = lines.iter().map(Vec::len).sum();
    if lines.len() > BREAKLINES || corners > bounds::CORNERS {
        let right = format!("at most {BREAKLINES} lines with {} points together", bounds::CORNERS);
        problems.push(Problem::at(FIELD, "too many breaklines", right).value(format!("{} lines, {corners} points", lines.len())));
        return;
    }
    let before = problems.problems.len();
    for (i, line) in lines.iter().enumerate() {
        let field = format!("{FIELD}[{i}]");
        if !crate::surface::line_is_sound(line, &field, problems) {
            continue;
        }
        for (k, &point) in line.iter().enumerate() {
            if let Some(outside) = outline.map(|o| plan::distance_outside(o, point)).filter(|&d| d > ON_LINE_MM) {
                let what = format!("lies {outside:.0} mm outside the outline");
                problems.push(Problem::at(format!("{field}[{k}]"), what, "a line on the floor").value(format!("{point:?}")));
            }
        }
    }
    if problems.problems.len() > before {
        return;
    }
    let pieces: Vec<(usize, PointMm, PointMm)> =
        lines.iter().enumerate().flat_map(|(i, line)| line.windows(2).map(move |w| (i, w[0], w[1]))).collect();
    for (k, &(i, a, b)) in pieces.iter().enumerate() {
        for &(j, c, d) in &pieces[k + 1..] {
            let share_an_end = [a, b].iter().any(|p| plan::distance(*p, c).min(plan::distance(*p, d)) < SAME_PLACE_MM);
            if !share_an_end && plan::segments_meet(a, b, c, d) {
                problems.push(
                    Problem::at(format!("{FIELD}[{j}]"), format!("crosses breakline {i}"), "lines that meet at a common point only")
                        .value(format!("{c:?} to {d:?}")),
                );
            }
        }
    }
}

/// Finds what stands at the same place.
#[derive(Default)]
pub(super) struct Places(BTreeMap<(i64, i64), Vec<usize>>);

impl Places {
    fn key([x, y]: PointMm) -> (i64, i64) {
        ((x / SAME_PLACE_MM).floor() as i64, (y / SAME_PLACE_MM).floor() as i64)
    }

    /// The first of `vertices` within [`SAME_PLACE_MM`].
    pub(super) fn find(&self, at: PointMm, vertices: &[Vertex]) -> Option<usize> {
        let (i, j) = Self::key(at);
        let around = (j - 1..=j + 1).flat_map(|j| (i - 1..=i + 1).map(move |i| (i, j)));
        around
            .filter_map(|key| self.0.get(&key))
            .flatten()
            .copied()
            .filter(|&k| plan::distance(vertices[k].at_mm, at) < SAME_PLACE_MM)
            .min()
    }

    pub(super) fn add(&mut self, at: PointMm, index: usize) {
        self.0.entry(Self::key(at)).or_default().push(index);
    }
}
