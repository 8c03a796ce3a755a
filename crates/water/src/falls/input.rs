//! What comes in, and what can be wrong with it.

use super::ways::Target;
use crate::plan;
use crate::surface::{OutletIn, OutletKind, SurfaceIn};
use measure::{Bounds, Decision, LEAST_READINGS, Limit, PointMm, Problem, Problems, bounds, math, ratio};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A floor to be judged: spot levels or a grid, gradient readings, ponds seen; outlets; the limits asked.
#[derive(Clone, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Input {
    /// The surface. May be left out when there are `gradients`; an outline without readings is enough then.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub surface: Option<SurfaceIn>,
    /// Where water leaves. May be left out only when every zone says `toward`.
    #[serde(default)]
    pub outlets: Vec<OutletIn>,
    /// Least fall, as "1:80" or a ratio.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fall_min: Option<FallIn>,
    /// Largest fall, as "1:50" or a ratio.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fall_max: Option<FallIn>,
    /// Readings of a digital level.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub gradients: Vec<GradientIn>,
    /// Water seen standing.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub observed_ponds: Vec<ObservedPondIn>,
    /// Standing water no deeper than this is not held against the floor.
    #[serde(default)]
    pub depth_ignored_mm: f64,
    /// Zones that stand in for the planes the tool would find.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub zones: Vec<ZoneIn>,
    /// Decision rule; its `u_max` is a fall (rise over run). Guarded acceptance at 5 % unless given.
    #[serde(default)]
    pub decision: Decision,
    /// Fewer readings of a plane than this are `not shown`; 3 unless given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub least_readings: Option<usize>,
    /// Side of a grid cell made from spot levels; stands in for the surface's own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cell_mm: Option<f64>,
    /// A place that is too flat, too steep or back-falling is not held against the floor when it is smaller than this;
    /// 0.0025 m² (50 x 50 mm) unless given: common practice, no source.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub patch_ignored_m2: Option<f64>,
    /// Whether arrows and the fall of each cell are wanted.
    #[serde(default)]
    pub drawing: bool,
    /// Id of the rule the limits come from, for the verdict.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rule: Option<String>,
    /// Where the limits come from, for the verdict.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
}

/// A fall as "1:80", "1.25 %" or the ratio 0.0125.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum FallIn {
    /// Rise over run.
    Ratio(f64),
    /// As people write it.
    Words(String),
}

/// One reading of a digital level: how much the floor falls over the instrument's base.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct GradientIn {
    /// Middle of the base.
    pub x_mm: f64,
    /// Middle of the base.
    pub y_mm: f64,
    /// The way the instrument looks downhill: 0 along +x, 90 along +y.
    pub toward_deg: f64,
    /// Fall in per cent, positive when it goes down that way. Either this or `fall_deg`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fall_percent: Option<f64>,
    /// Fall in degrees, positive when it goes down that way.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fall_deg: Option<f64>,
    /// Length of the base.
    pub base_mm: f64,
    /// Standard uncertainty (k = 1) of the fall in per cent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_percent: Option<f64>,
    /// The instrument turned end for end in the same place, the fall still counted in the direction `toward_deg`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reversed_percent: Option<f64>,
    /// The same in degrees.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reversed_deg: Option<f64>,
    /// Name of the place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
}

/// Water seen standing after it stopped running.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ObservedPondIn {
    /// Its edge.
    pub outline_mm: Vec<PointMm>,
    /// Depth by rule at its deepest.
    pub depth_mm: f64,
    /// Minutes since the water stopped.
    pub minutes: f64,
}

/// A part of the floor judged as one plane.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ZoneIn {
    /// Name.
    pub id: String,
    /// Its corners.
    pub polygon_mm: Vec<PointMm>,
    /// The way it must fall, in degrees: 0 along +x, 90 along +y. Towards the nearest outlet unless given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub toward: Option<f64>,
}

/// Input that was checked.
pub(super) struct Checked {
    pub limit: Option<Limit>,
    pub targets: Vec<Target>,
    pub gradients: Vec<Gradient>,
    pub least: usize,
    pub patch_ignored_m2: f64,
    pub assumed: Vec<String>,
}

/// A gradient reading as a ratio along a unit direction.
pub(super) struct Gradient {
    pub name: String,
    pub at_mm: PointMm,
    pub toward: PointMm,
    pub fall: f64,
    pub u: f64,
    /// The instrument's offset found by turning it round, and whether it is larger than the uncertainty explains.
    pub offset: Option<f64>,
}

/// Standard uncertainty of a digital level turned end for end: half of 0.15 degrees. Common practice, no source.
const U_LEVEL_DEG: f64 = 0.075;
/// The same without turning it: its zero is then not known better than half of 0.3 degrees. Common practice, no source.
const U_LEVEL_ONE_WAY_DEG: f64 = 0.15;
/// How unevenly each foot of the base stands on the floor: standard uncertainty. Common practice, no source.
const U_FOOT_MM: f64 = 0.5;
/// A patch smaller than this is not held against the floor: common practice, no source.
const PATCH_IGNORED_M2: f64 = 0.0025;

const FALL_PERCENT: Bounds = Bounds { min: -50.0, max: 50.0, unit: "%" };
const FALL_DEG: Bounds = Bounds { min: -26.0, max: 26.0, unit: "degrees" };
const BASE_MM: Bounds = Bounds { min: 50.0, max: 5_000.0, unit: "mm" };
const U_PERCENT: Bounds = Bounds { min: 0.0, max: 50.0, unit: "%" };
const DEGREES: Bounds = Bounds { min: -360.0, max: 360.0, unit: "degrees" };
const DEPTH_MM: Bounds = Bounds { min: 0.0, max: 1_000.0, unit: "mm" };
const MINUTES: Bounds = Bounds { min: 0.0, max: 100_000.0, unit: "minutes" };
const PATCH_M2: Bounds = Bounds { min: 0.0, max: 100.0, unit: "m²" };
/// Most zones, ponds of one floor.
const PARTS: usize = 1_000;
const LEAST: std::ops::RangeInclusive<usize> = 1..=1_000;

/// Everything but the surface and the fit of the outlets into it.
pub(super) fn check(input: &Input) -> Result<Checked, Problems> {
    let mut problems = Problems::new();
    let mut assumed = Vec::new();
    let min = input.fall_min.as_ref().and_then(|f| fall(f, "fall_min", &mut problems));
    let max = input.fall_max.as_ref().and_then(|f| fall(f, "fall_max", &mut problems));
    if let (Some(min), Some(max)) = (min, max)
        && min > max
    {
        problems.push(Problem::at("fall_min", "is steeper than fall_max", "the flatter of the two limits").value(ratio::words(min)));
    }
    decision(input.decision, &mut problems);
    let targets = targets(&input.outlets, &mut problems);
    if input.outlets.is_empty() && (input.zones.is_empty() || input.zones.iter().any(|z| z.toward.is_none())) {
        problems.push(Problem::at("outlets", "no outlet", "at least one, or zones that each say `toward`"));
    }
    zones(&input.zones, &mut problems);
    ponds(&input.observed_ponds, &mut problems);
    inside(DEPTH_MM, input.depth_ignored_mm, "depth_ignored_mm", &mut problems);
    let patch_ignored_m2 = input.patch_ignored_m2.unwrap_or(PATCH_IGNORED_M2);
    inside(PATCH_M2, patch_ignored_m2, "patch_ignored_m2", &mut problems);
    let least = input.least_readings.unwrap_or(LEAST_READINGS);
    if !LEAST.contains(&least) {
        problems.push(Problem::at("least_readings", "out of bounds", "between 1 and 1000").value(least));
    }
    let gradients = gradients(&input.gradients, &mut assumed, &mut problems);
    if input.surface.is_none() && input.gradients.is_empty() {
        problems.push(Problem::at("surface", "neither a surface nor gradients", "spot levels, a grid, or `gradients`"));
    }
    problems.or(Checked { limit: Limit::from_bounds(min, max), targets, gradients, least, patch_ignored_m2, assumed })
}

fn inside(bound: Bounds, value: f64, field: impl Into<String>, problems: &mut Problems) -> bool {
    let good = bound.contains(value);
    if !good {
        problems.push(Problem::at(field, "out of bounds", bound.words()).value(value));
    }
    good
}

/// A limit; 0 is no limit, so it is refused rather than taken for one.
fn fall(given: &FallIn, field: &str, problems: &mut Problems) -> Option<f64> {
    let parsed = match given {
        FallIn::Words(text) => ratio::parse(text),
        FallIn::Ratio(number) if number.is_finite() => ratio::parse(&format!("{number}")),
        FallIn::Ratio(number) => Err(Problem::at("", "not a fall", "write a fall as 1:80 or 0.0125").value(number)),
    };
    match parsed {
        Ok(fall) if fall > 0.0 => Some(fall),
        Ok(_) => {
            problems.push(Problem::at(field, "a limit of zero is none", "a fall such as 1:80, or leave it out").value("0"));
            None
        }
        Err(problem) => {
            problems.push(Problem { field: field.into(), ..problem });
            None
        }
    }
}

fn decision(decision: Decision, problems: &mut Problems) {
    match decision {
        Decision::Guarded { risk } if !(risk > 0.0 && risk < 0.5) => {
            problems.push(Problem::at("decision.risk", "out of bounds", "above 0 and below 0.5; 0.05 is usual").value(risk));
        }
        Decision::Simple { u_max } if !(u_max.is_finite() && u_max >= 0.0) => {
            problems.push(Problem::at("decision.u_max", "out of bounds", "a fall of zero or more, rise over run").value(u_max));
        }
        _ => {}
    }
}

/// The outlets as places. Whether they lie on the floor is checked with the surface.
fn targets(outlets: &[OutletIn], problems: &mut Problems) -> Vec<Target> {
    if outlets.len() > crate::surface::OUTLETS {
        problems.push(Problem::at("outlets", "too many outlets", format!("at most {}", crate::surface::OUTLETS)).value(outlets.len()));
        return Vec::new();
    }
    let mut targets = Vec::new();
    for (i, outlet) in outlets.iter().enumerate() {
        match outlet.kind {
            OutletKind::Point => {
                let [x, y] = [outlet.x_mm, outlet.y_mm].map(|v| v.unwrap_or(f64::NAN));
                let good = inside(bounds::PLAN_MM, x, format!("outlets[{i}].x_mm"), problems)
                    & inside(bounds::PLAN_MM, y, format!("outlets[{i}].y_mm"), problems);
                targets.extend(good.then_some(Target::Point([x, y])));
            }
            OutletKind::Channel => {
                let good = crate::surface::line_is_sound(&outlet.line_mm, &format!("outlets[{i}].line_mm"), problems);
                targets.extend(good.then(|| Target::Line(outlet.line_mm.clone())));
            }
        }
    }
    targets
}

fn zones(zones: &[ZoneIn], problems: &mut Problems) {
    if zones.len() > PARTS {
        problems.push(Problem::at("zones", "too many zones", format!("at most {PARTS}")).value(zones.len()));
        return;
    }
    for (i, zone) in zones.iter().enumerate() {
        polygon(&zone.polygon_mm, &format!("zones[{i}].polygon_mm"), problems);
        if let Some(toward) = zone.toward {
            inside(DEGREES, toward, format!("zones[{i}].toward"), problems);
        }
        if zones[..i].iter().any(|z| z.id == zone.id) {
            problems.push(Problem::at(format!("zones[{i}].id"), "a name given twice", "one name for each zone").value(&zone.id));
        }
    }
}

fn polygon(corners: &[PointMm], field: &str, problems: &mut Problems) {
    if corners.len() < 3 || corners.len() > bounds::CORNERS {
        problems.push(Problem::at(field, "wrong number of corners", format!("3 to {}", bounds::CORNERS)).value(corners.len()));
    } else if let Some(i) = corners.iter().position(|p| !p.iter().all(|&v| bounds::PLAN_MM.contains(v))) {
        problems.push(Problem::at(format!("{field}[{i}]"), "off the plan", bounds::PLAN_MM.words()).value(format!("{:?}", corners[i])));
    } else if plan::signed_area_mm2(corners).abs() < 1.0 {
        problems.push(Problem::at(field, "encloses no area", "the corners in order"));
    }
}

fn ponds(ponds: &[ObservedPondIn], problems: &mut Problems) {
    if ponds.len() > PARTS {
        problems.push(Problem::at("observed_ponds", "too many ponds", format!("at most {PARTS}")).value(ponds.len()));
        return;
    }
    for (i, pond) in ponds.iter().enumerate() {
        polygon(&pond.outline_mm, &format!("observed_ponds[{i}].outline_mm"), problems);
        inside(DEPTH_MM, pond.depth_mm, format!("observed_ponds[{i}].depth_mm"), problems);
        inside(MINUTES, pond.minutes, format!("observed_ponds[{i}].minutes"), problems);
    }
}

fn gradients(given: &[GradientIn], assumed: &mut Vec<String>, problems: &mut Problems) -> Vec<Gradient> {
    if given.len() > bounds::READINGS {
        problems.push(Problem::at("gradients", "too many readings", format!("at most {}", bounds::READINGS)).value(given.len()));
        return Vec::new();
    }
    let mut without_u = 0;
    let gradients = given
        .iter()
        .enumerate()
        .filter_map(|(i, g)| {
            without_u += usize::from(g.u_percent.is_none());
            gradient(g, i, problems)
        })
        .collect();
    if without_u > 0 {
        assumed.push(format!(
            "{without_u} of {} gradient readings give no uncertainty: {U_LEVEL_DEG}° standard is assumed for a level turned end for end, \
             {U_LEVEL_ONE_WAY_DEG}° for one that was not, and {U_FOOT_MM} mm at each foot of the base (common practice, no source)",
            given.len()
        ));
    }
    gradients
}

fn gradient(given: &GradientIn, i: usize, problems: &mut Problems) -> Option<Gradient> {
    let field = format!("gradients[{i}]");
    let before = problems.problems.len();
    inside(bounds::PLAN_MM, given.x_mm, format!("{field}.x_mm"), problems);
    inside(bounds::PLAN_MM, given.y_mm, format!("{field}.y_mm"), problems);
    inside(DEGREES, given.toward_deg, format!("{field}.toward_deg"), problems);
    inside(BASE_MM, given.base_mm, format!("{field}.base_mm"), problems);
    inside(U_PERCENT, given.u_percent.unwrap_or(0.0), format!("{field}.u_percent"), problems);
    let fall = one_of(given.fall_percent, given.fall_deg, &field, "fall", true, problems);
    let reversed = one_of(given.reversed_percent, given.reversed_deg, &field, "reversed", false, problems);
    if problems.problems.len() > before {
        return None;
    }
    let fall = fall?;
    let u_instrument = if reversed.is_some() { U_LEVEL_DEG } else { U_LEVEL_ONE_WAY_DEG };
    let u_assumed = math::hypot(math::tan(u_instrument.to_radians()), std::f64::consts::SQRT_2 * U_FOOT_MM / given.base_mm);
    Some(Gradient {
        name: given.name.clone().unwrap_or_else(|| field.clone()),
        at_mm: [given.x_mm, given.y_mm],
        toward: plan::unit_from_degrees(given.toward_deg),
        fall: reversed.map_or(fall, |r| (fall + r) / 2.0),
        u: given.u_percent.map_or(u_assumed, |u| u / 100.0),
        offset: reversed.map(|r| (fall - r) / 2.0),
    })
}

/// A fall given in per cent or in degrees, but not both, as a ratio.
fn one_of(percent: Option<f64>, degrees: Option<f64>, field: &str, name: &str, must: bool, problems: &mut Problems) -> Option<f64> {
    match (percent, degrees) {
        (Some(p), None) => inside(FALL_PERCENT, p, format!("{field}.{name}_percent"), problems).then_some(p / 100.0),
        (None, Some(d)) => inside(FALL_DEG, d, format!("{field}.{name}_deg"), problems).then(|| math::tan(d.to_radians())),
        (Some(_), Some(d)) => {
            problems.push(Problem::at(format!("{field}.{name}_deg"), "given in per cent and in degrees", "one of the two").value(d));
            None
        }
        (None, None) => {
            if must {
                problems.push(Problem::at(
                    format!("{field}.{name}_percent"),
                    "is missing",
                    "the fall in per cent, or in degrees as `fall_deg`",
                ));
            }
            None
        }
    }
}
