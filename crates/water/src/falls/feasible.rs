//! Whether a floor with a level edge can keep both limits at all.

use super::ways::{Target, Ways};
use crate::plan;
use measure::PointMm;
use schemars::JsonSchema;
use serde::Serialize;

/// A level perimeter around one point waste: how long its planes are, and whether one drop suits them all.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct LevelPerimeter {
    /// Plan length of each plane, square from its wall to the waste.
    pub planes: Vec<PlanLength>,
    /// Longest over shortest plan length.
    pub ratio: f64,
    /// The largest ratio the limits allow: `fall_max / fall_min`.
    pub ratio_allowed: f64,
    /// Whether a level perimeter can keep both limits on every plane.
    pub feasible: bool,
    /// The drops from the perimeter to the waste that keep both limits everywhere, when there are any.
    pub drop_mm: Option<[f64; 2]>,
    /// The same in one sentence.
    pub why: String,
}

/// A wall and how far the waste lies before it.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PlanLength {
    /// The wall.
    pub wall_mm: [PointMm; 2],
    /// Distance on plan from wall to waste, square to the wall.
    pub length_mm: f64,
}

/// Ratios this close are the same.
const SAME: f64 = 1e-9;

/// Judges a level perimeter before anything is built.
///
/// A plane that falls from a level wall to the waste drops the same height over its plan length, taken square from wall to
/// waste; one height must suit the longest plane (not flatter than `fall_min`) and the shortest (not steeper than
/// `fall_max`), so longest over shortest may be at most `fall_max / fall_min`: 1.6 for 1:80 to 1:50. Published consequence:
/// a shower of 1800 x 900 mm with a single waste cannot (certifier's note on the 2022 Australian floor grading rules,
/// pcgroup.net.au).
///
/// `outline` counter-clockwise. Walls that the waste does not see take no part, nor does a wall it stands in; `None` when
/// fewer than two are left or a limit is not above zero.
pub fn level_perimeter(outline: &[PointMm], waste: PointMm, fall_min: f64, fall_max: f64) -> Option<LevelPerimeter> {
    let sound = fall_min > 0.0 && fall_max > 0.0 && fall_min.is_finite() && fall_max.is_finite();
    if !sound || outline.len() < 3 {
        return None;
    }
    let targets = [Target::Point(waste)];
    let ways = Ways::new(outline, &targets);
    let planes: Vec<PlanLength> = plan::edges(outline)
        .enumerate()
        .filter(|&(i, _)| ways.sees_wall(0, i))
        .map(|(_, (a, b))| PlanLength { wall_mm: [a, b], length_mm: (plan::turn(a, b, waste) / plan::distance(a, b)).abs() })
        .filter(|p| p.length_mm > 1.0)
        .collect();
    if planes.len() < 2 {
        return None;
    }
    let longest = planes.iter().map(|p| p.length_mm).fold(0.0, f64::max);
    let shortest = planes.iter().map(|p| p.length_mm).fold(f64::INFINITY, f64::min);
    let (ratio, ratio_allowed) = (longest / shortest, fall_max / fall_min);
    let feasible = ratio <= ratio_allowed * (1.0 + SAME);
    let (least, most) = (longest * fall_min, shortest * fall_max);
    let drop_mm = feasible.then_some([least, most.max(least)]);
    let why = if feasible {
        format!(
            "a level perimeter {least:.1} to {most:.1} mm above the waste keeps both limits: planes of {shortest:.0} to {longest:.0} mm"
        )
    } else {
        format!(
            "no level perimeter keeps both limits: the plane of {longest:.0} mm needs {least:.1} mm, and the one of {shortest:.0} mm then falls {}; \
             plan lengths differ by {ratio:.2}, at most {ratio_allowed:.2} is possible",
            measure::ratio::words(least / shortest)
        )
    };
    Some(LevelPerimeter { planes, ratio, ratio_allowed, feasible, drop_mm, why })
}
