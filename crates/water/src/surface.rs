//! What comes in: a surface as spot levels inside an outline, or as a grid; and outlets.

use crate::grid::Grid;
use crate::plan;
use measure::{PointMm, Problem, Problems, bounds, math};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A surface: `outline_mm` with `readings`, or `grid`. z up, millimetres.
#[derive(Clone, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SurfaceIn {
    /// Which layer was measured: lower membrane, screed, upper membrane, tile.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub layer: Option<String>,
    /// At which stage it was measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stage: Option<String>,
    /// Corners of the floor, in order, either way round; the outline is a wall to water.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub outline_mm: Vec<PointMm>,
    /// Spot levels.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub readings: Vec<LevelIn>,
    /// Lines the triangulation must keep: a water stop, the edge of a set-down.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub breaklines_mm: Vec<Vec<PointMm>>,
    /// Side of a grid cell made from spot levels; 10 mm unless given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cell_mm: Option<f64>,
    /// A grid instead of spot levels.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub grid: Option<GridIn>,
}

/// One spot level.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LevelIn {
    /// Place on plan.
    pub x_mm: f64,
    /// Place on plan.
    pub y_mm: f64,
    /// Height above the room's benchmark.
    pub z_mm: f64,
    /// Standard uncertainty (k = 1) of the height.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_mm: Option<f64>,
    /// Name of the point.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
}

/// A grid of heights, row by row from `y0_mm` up, `null` outside the floor. `x0_mm`, `y0_mm` is the centre of the first cell.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct GridIn {
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
    /// `nx * ny` heights.
    pub z_mm: Vec<Option<f64>>,
    /// Standard uncertainty (k = 1) of every height; without it the heights are taken as exact.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_mm: Option<f64>,
}

/// Where water leaves.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OutletIn {
    /// Name.
    pub id: String,
    /// A point waste has `x_mm`, `y_mm`, `radius_mm`; a channel has `line_mm`, `width_mm`.
    pub kind: OutletKind,
    /// Centre of a point waste.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub x_mm: Option<f64>,
    /// Centre of a point waste.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub y_mm: Option<f64>,
    /// Radius of a point waste; 0 when only its place is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub radius_mm: Option<f64>,
    /// Centre line of a channel.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub line_mm: Vec<PointMm>,
    /// Width of a channel.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub width_mm: Option<f64>,
}

/// The two kinds of outlet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum OutletKind {
    /// A round or square waste.
    Point,
    /// A linear drain.
    Channel,
}

/// Most outlets of one floor; more is a slip.
pub const OUTLETS: usize = 1_000;

/// Radius of a point waste, or width of a channel.
const OUTLET_MM: bounds::Bounds = bounds::Bounds { min: 0.0, max: 2_000.0, unit: "mm" };

/// Per outlet the floor cells water leaves by, in ascending order: those whose centre lies inside the outlet, and at least
/// the floor cell nearest to a point waste, or the floor cells a narrow channel's centre line runs through.
///
/// A channel is its centre line widened to both sides, with square ends and round bends; it may touch the outline or
/// reach beyond it.
///
/// # Errors
/// All at once: a missing or misplaced field, a name given twice, a size out of bounds, an outlet whose centre (for a
/// channel the middle of its line) lies farther outside the floor than half a cell's diagonal.
pub fn outlet_cells(grid: &Grid, outlets: &[OutletIn]) -> Result<Vec<Vec<usize>>, Problems> {
    let mut problems = Problems::new();
    if outlets.len() > OUTLETS {
        let right = format!("at most {OUTLETS}");
        return Err(Problem::at("outlets", "too many outlets", right).value(outlets.len()).into());
    }
    let mut cells = Vec::with_capacity(outlets.len());
    for (i, outlet) in outlets.iter().enumerate() {
        let field = format!("outlets[{i}]");
        if outlets[..i].iter().any(|o| o.id == outlet.id) {
            problems.push(Problem::at(format!("{field}.id"), "a name given twice", "one name for each outlet").value(&outlet.id));
        }
        match outlet.kind {
            OutletKind::Point => cells.push(point_cells(grid, outlet, &field, &mut problems)),
            OutletKind::Channel => cells.push(channel_cells(grid, outlet, &field, &mut problems)),
        }
    }
    problems.or(cells)
}

/// The floor cell nearest to a place, if its centre lies within half a cell's diagonal: the place is on the floor.
pub fn floor_cell_at(grid: &Grid, place: PointMm) -> Option<usize> {
    if !place.iter().all(|v| v.is_finite()) {
        return None;
    }
    if let Some(cell) = grid.cell_at(place).filter(|&cell| grid.is_floor(cell)) {
        return Some(cell);
    }
    let reach = grid.cell_mm * (std::f64::consts::FRAC_1_SQRT_2 + 1e-9);
    cells_around(grid, [place, place], reach)
        .map(|cell| (distance_mm(grid.centre_mm(cell), place), cell))
        .filter(|&(distance, cell)| distance <= reach && grid.is_floor(cell))
        .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)))
        .map(|(_, cell)| cell)
}

fn point_cells(grid: &Grid, outlet: &OutletIn, field: &str, problems: &mut Problems) -> Vec<usize> {
    if !outlet.line_mm.is_empty() {
        problems.push(Problem::at(
            format!("{field}.line_mm"),
            "a point waste has no line",
            "`x_mm`, `y_mm`, `radius_mm`, or the kind `channel`",
        ));
    }
    let place = [place_of(outlet.x_mm, field, "x_mm", problems), place_of(outlet.y_mm, field, "y_mm", problems)];
    let radius = size_of(outlet.radius_mm, field, "radius_mm", problems);
    let ([Some(x), Some(y)], Some(radius)) = (place, radius) else { return Vec::new() };
    let Some(nearest) = floor_cell_at(grid, [x, y]) else {
        problems.push(outside(format!("{field}.x_mm"), [x, y]));
        return Vec::new();
    };
    let reach = radius * (1.0 + 1e-12);
    let mut cells: Vec<usize> = cells_around(grid, [[x, y], [x, y]], radius)
        .filter(|&cell| grid.is_floor(cell) && distance_mm(grid.centre_mm(cell), [x, y]) <= reach)
        .collect();
    if cells.is_empty() {
        cells.push(nearest);
    }
    cells
}

fn channel_cells(grid: &Grid, outlet: &OutletIn, field: &str, problems: &mut Problems) -> Vec<usize> {
    for (name, given) in [("x_mm", outlet.x_mm), ("y_mm", outlet.y_mm), ("radius_mm", outlet.radius_mm)] {
        if let Some(given) = given {
            problems.push(
                Problem::at(format!("{field}.{name}"), "a channel has no such field", "`line_mm` and `width_mm`, or the kind `point`")
                    .value(given),
            );
        }
    }
    let width = size_of(outlet.width_mm, field, "width_mm", problems);
    let line_ok = line_is_sound(&outlet.line_mm, &format!("{field}.line_mm"), problems);
    let (true, Some(width)) = (line_ok, width) else { return Vec::new() };
    let line = &outlet.line_mm;
    let middle = middle_of(line);
    if floor_cell_at(grid, middle).is_none() {
        problems.push(outside(format!("{field}.line_mm"), middle));
        return Vec::new();
    }
    let half = width / 2.0;
    let mut cells: Vec<usize> = line
        .windows(2)
        .flat_map(|ends| cells_around(grid, [ends[0], ends[1]], half))
        .filter(|&cell| grid.is_floor(cell) && in_channel(line, half, grid.centre_mm(cell)))
        .collect();
    if cells.is_empty() {
        cells = line_cells(grid, line);
    }
    cells.extend(cells.is_empty().then(|| floor_cell_at(grid, middle)).flatten());
    cells.sort_unstable();
    cells.dedup();
    cells
}

/// Whether a line has 2 to [`bounds::CORNERS`] points, all on the plan, and some length; what is wrong goes to `problems`.
pub fn line_is_sound(line: &[PointMm], field: &str, problems: &mut Problems) -> bool {
    let before = problems.problems.len();
    if line.len() < 2 || line.len() > bounds::CORNERS {
        let right = format!("2 to {} points", bounds::CORNERS);
        problems.push(Problem::at(field, "wrong number of points in the line", right).value(line.len()));
    } else if let Some((i, point)) = line.iter().enumerate().find(|(_, p)| !p.iter().all(|&v| bounds::PLAN_MM.contains(v))) {
        problems.push(Problem::at(format!("{field}[{i}]"), "off the plan", bounds::PLAN_MM.words()).value(format!("{point:?}")));
    } else if line.iter().all(|p| p == &line[0]) {
        problems.push(Problem::at(field, "a line without length", "two different points").value(format!("{:?}", line[0])));
    }
    problems.problems.len() == before
}

/// The floor cells a line touches, in ascending order: a line along the edge of a cell touches it.
pub fn line_cells(grid: &Grid, line: &[PointMm]) -> Vec<usize> {
    let half = grid.cell_mm * (0.5 + 1e-9);
    let mut cells: Vec<usize> = line
        .windows(2)
        .flat_map(|ends| {
            cells_around(grid, [ends[0], ends[1]], half)
                .filter(move |&cell| grid.is_floor(cell) && touches_square(ends[0], ends[1], grid.centre_mm(cell), half))
        })
        .collect();
    cells.sort_unstable();
    cells.dedup();
    cells
}

/// The floor cells whose centre lies within `reach_mm` of a line, in ascending order.
pub fn cells_near_line(grid: &Grid, line: &[PointMm], reach_mm: f64) -> Vec<usize> {
    let near = |cell: usize, ends: &[PointMm]| plan::nearest_on_segment(grid.centre_mm(cell), ends[0], ends[1]).1 <= reach_mm;
    let mut cells: Vec<usize> = line
        .windows(2)
        .flat_map(|ends| cells_around(grid, [ends[0], ends[1]], reach_mm).filter(move |&cell| grid.is_floor(cell) && near(cell, ends)))
        .collect();
    cells.sort_unstable();
    cells.dedup();
    cells
}

/// Cells of the grid, floor or not, that a segment widened by `reach` may touch: row by row, a span that is never too short.
fn cells_around(grid: &Grid, [from, to]: [PointMm; 2], reach: f64) -> impl Iterator<Item = usize> + use<> {
    let (x0, y0, cell, nx, ny) = (grid.x0_mm, grid.y0_mm, grid.cell_mm, grid.nx, grid.ny);
    let index = move |v: f64, origin: f64, n: usize| ((v - origin) / cell).clamp(-1.0, n as f64) as isize;
    let first = index(from[1].min(to[1]) - reach, y0, ny).max(0);
    let last = index(from[1].max(to[1]) + reach, y0, ny).min(ny as isize - 1);
    (first..=last).flat_map(move |j| {
        let y = y0 + j as f64 * cell;
        let [a, b] = span_at(from, to, y - reach - cell, y + reach + cell);
        let start = index(a - reach, x0, nx).max(0);
        let end = index(b + reach, x0, nx).min(nx as isize - 1);
        (start..=end).map(move |i| (j * nx as isize + i) as usize)
    })
}

/// The x range of the part of a segment between two heights of the plan; the whole range when it is level.
fn span_at(from: PointMm, to: PointMm, low: f64, high: f64) -> [f64; 2] {
    let rise = to[1] - from[1];
    let at = |y: f64| from[0] + (to[0] - from[0]) * ((y - from[1]) / rise).clamp(0.0, 1.0);
    let [a, b] = if rise.abs() < 1e-9 { [from[0], to[0]] } else { [at(low), at(high)] };
    [a.min(b), a.max(b)]
}

/// Whether a segment touches the square of half side `half` around a centre (separating axes).
fn touches_square(from: PointMm, to: PointMm, centre: PointMm, half: f64) -> bool {
    let [ax, ay, bx, by] = [from[0] - centre[0], from[1] - centre[1], to[0] - centre[0], to[1] - centre[1]];
    let (dx, dy) = (bx - ax, by - ay);
    ax.min(bx) <= half
        && ax.max(bx) >= -half
        && ay.min(by) <= half
        && ay.max(by) >= -half
        && (ax * dy - ay * dx).abs() <= half * (dx.abs() + dy.abs())
}

/// Whether a place lies in a channel of this half width: square ends, round bends.
fn in_channel(line: &[PointMm], half: f64, place: PointMm) -> bool {
    let tolerance = 1e-9 * (1.0 + half);
    let beside = line.windows(2).any(|ends| {
        let [dx, dy] = [ends[1][0] - ends[0][0], ends[1][1] - ends[0][1]];
        let length = math::hypot(dx, dy);
        let [px, py] = [place[0] - ends[0][0], place[1] - ends[0][1]];
        let along = (px * dx + py * dy) / length;
        let across = ((px * dy - py * dx) / length).abs();
        length > 0.0 && along >= -tolerance && along <= length + tolerance && across <= half + tolerance
    });
    let bends = if line.len() > 2 { &line[1..line.len() - 1] } else { &[] };
    beside || bends.iter().any(|&bend| distance_mm(bend, place) <= half + tolerance)
}

/// The point half-way along a line.
fn middle_of(line: &[PointMm]) -> PointMm {
    let total: f64 = line.windows(2).map(|ends| distance_mm(ends[0], ends[1])).sum();
    let mut left = total / 2.0;
    for ends in line.windows(2) {
        let length = distance_mm(ends[0], ends[1]);
        if left <= length && length > 0.0 {
            let t = left / length;
            return [ends[0][0] + t * (ends[1][0] - ends[0][0]), ends[0][1] + t * (ends[1][1] - ends[0][1])];
        }
        left -= length;
    }
    line[line.len() - 1]
}

fn distance_mm(a: PointMm, b: PointMm) -> f64 {
    math::hypot(a[0] - b[0], a[1] - b[1])
}

fn place_of(value: Option<f64>, field: &str, name: &str, problems: &mut Problems) -> Option<f64> {
    match value {
        Some(v) if bounds::PLAN_MM.contains(v) => Some(v),
        Some(v) => {
            problems.push(Problem::at(format!("{field}.{name}"), "off the plan", bounds::PLAN_MM.words()).value(v));
            None
        }
        None => {
            problems.push(Problem::at(format!("{field}.{name}"), "missing for a point waste", "its centre on plan in mm"));
            None
        }
    }
}

/// A size that may be left out: then 0, only the place is known.
fn size_of(value: Option<f64>, field: &str, name: &str, problems: &mut Problems) -> Option<f64> {
    let value = value.unwrap_or(0.0);
    if OUTLET_MM.contains(value) {
        return Some(value);
    }
    problems.push(Problem::at(format!("{field}.{name}"), "out of bounds", OUTLET_MM.words()).value(value));
    None
}

fn outside(field: String, [x, y]: PointMm) -> Problem {
    Problem::at(field, "the centre of the outlet lies outside the floor", "a place inside the outline; a channel may touch it")
        .value(format!("[{x}, {y}]"))
}
