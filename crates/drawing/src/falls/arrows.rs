//! Arrows downhill, longer where it is steeper.

use crate::ink::{BLUE, LINE_MM, VERMILION};
use crate::page::Rect;
use crate::sheet::Sheet;
use crate::slope;
use crate::svg::{At, Paint, Svg};
use crate::{FloorPart, SurfaceOnFloor};
use measure::PointMm;
use room::Room;
use room::geometry;

/// Least distance of arrows on the floor, and on the page.
const ARROWS_MM: f64 = 150.0;

const ARROWS_PAGE_MM: f64 = 11.0;

/// Slopes are looked at over this much floor, so that an arrow shows the fall and not the grain.
const WINDOW_MM: f64 = 70.0;

/// Flatter than this is level: no arrow says which way.
const LEVEL: f64 = 1.0 / 1000.0;

/// The longest arrow, on the page.
const LONGEST_MM: f64 = 0.8 * ARROWS_PAGE_MM;

/// How long an arrow is for its fall.
pub struct ArrowScale {
    /// The fall of the longest arrow.
    full: f64,
}

impl ArrowScale {
    /// So that the steeper tenth of the floor has the longest arrows.
    pub fn of(surface: &SurfaceOnFloor) -> Self {
        let sampled = surface.parts.iter().flat_map(|part| {
            let every = (part.grid.len() / 400).max(1);
            let slopes = (0..part.grid.len()).step_by(every);
            slopes.filter_map(|cell| slope::gradient(part.grid, part.grid.centre_mm(cell), WINDOW_MM))
        });
        let mut falls: Vec<f64> = sampled.map(|[gx, gy]| (gx * gx + gy * gy).sqrt()).collect();
        falls.sort_by(f64::total_cmp);
        let full = falls.get(falls.len() * 9 / 10).copied().unwrap_or(0.02);
        Self { full: full.clamp(0.01, slope::STEP) }
    }

    pub fn length_mm(&self, fall: f64) -> f64 {
        (fall / self.full).min(1.0) * LONGEST_MM
    }
}

/// Arrows downhill on a lattice, each moved a little where something else stands.
pub fn arrows(sheet: &mut Sheet, room: &Room, surface: &SurfaceOnFloor, scale: &ArrowScale) {
    let apart = (ARROWS_PAGE_MM / sheet.view.k).max(ARROWS_MM);
    let Some([lo, hi]) = geometry::extent(&room.outline_mm) else { return };
    let count = |axis: usize| (((hi[axis] - lo[axis]) / apart).floor() as usize).min(200) + 1;
    let start = |axis: usize| lo[axis] + ((hi[axis] - lo[axis]) - (count(axis) - 1) as f64 * apart) / 2.0;
    for j in 0..count(1) {
        for i in 0..count(0) {
            let node = [start(0) + i as f64 * apart, start(1) + j as f64 * apart];
            for [di, dj] in NUDGES {
                let at = [node[0] + di * apart, node[1] + dj * apart];
                if surface.parts.iter().any(|part| lattice_arrow(sheet, part, at, scale)) {
                    break;
                }
            }
        }
    }
}

/// How an arrow may be moved, in distances of arrows.
const NUDGES: [[f64; 2]; 9] =
    [[0.0, 0.0], [0.2, 0.0], [-0.2, 0.0], [0.0, 0.2], [0.0, -0.2], [0.3, 0.3], [-0.3, 0.3], [0.3, -0.3], [-0.3, -0.3]];

/// Draws the arrow at one place; says whether the place is settled.
fn lattice_arrow(sheet: &mut Sheet, part: &FloorPart, at: PointMm, scale: &ArrowScale) -> bool {
    let Some([gx, gy]) = slope::gradient(part.grid, at, WINDOW_MM) else { return false };
    let fall = (gx * gx + gy * gy).sqrt();
    let middle = sheet.view.page(at);
    if fall < LEVEL {
        let free = sheet.places.is_free(&Rect::about(middle, [2.0, 2.0]));
        if free {
            sheet.svg.circle(middle, 0.7, Paint::line(BLUE, LINE_MM));
        }
        return free;
    }
    let unit = [-gx / fall, gy / fall];
    let length = scale.length_mm(fall).max(2.2);
    let start = [middle[0] - unit[0] * length / 2.0, middle[1] - unit[1] * length / 2.0];
    let way = |t: f64| Rect::about([start[0] + unit[0] * length * t, start[1] + unit[1] * length * t], [1.4, 1.4]);
    let boxes: Vec<Rect> = (0..=5).map(|k| way(f64::from(k) / 5.0)).collect();
    if !boxes.iter().all(|b| sheet.places.cost(b) == Some(0.0)) {
        return false;
    }
    let back = part.falls.and_then(|f| f.drawing.as_ref()).and_then(|d| fall_at(d, at)).is_some_and(|fall| fall < 0.0);
    arrow(&mut sheet.svg, start, unit, length, back);
    boxes.into_iter().for_each(|b| sheet.places.take(b));
    true
}

fn fall_at(drawn: &water::falls::Drawing, [x, y]: PointMm) -> Option<f64> {
    let index = |v: f64, origin: f64, n: usize| {
        let k = ((v - origin) / drawn.cell_mm + 0.5).floor();
        (k >= 0.0 && k < n as f64).then_some(k as usize)
    };
    let (i, j) = (index(x, drawn.x0_mm, drawn.nx)?, index(y, drawn.y0_mm, drawn.ny)?);
    drawn.fall.get(j * drawn.nx + i).copied().flatten()
}

/// An arrow from its tail; one that shows a back-fall has a broken shaft.
pub fn arrow(svg: &mut Svg, [x, y]: At, [ux, uy]: [f64; 2], length: f64, back: bool) {
    let head = (0.45 * length).clamp(1.2, 2.2);
    let at = |along: f64, across: f64| [x + ux * along - uy * across, y + uy * along + ux * across];
    let ink = if back { VERMILION } else { BLUE };
    let shaft = Paint::line(ink, 0.45);
    svg.line(at(0.0, 0.0), at(length - 0.7 * head, 0.0), if back { shaft.dashed("0.9 0.6") } else { shaft });
    svg.rings(&[vec![at(length, 0.0), at(length - head, 0.38 * head), at(length - head, -0.38 * head)]], Paint::fill(ink));
}
