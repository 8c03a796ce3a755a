//! Where finished levels land: layer thicknesses over a measured surface, and what that means for grates, thresholds, water
//! stops, upturns and fillets.
//!
//! ```text
//! finished(p) = base(p) + sum t_k          u²(finished) = u²(base) + sum u²(t_k)
//! ```
//!
//! after JCGM 100:2008 (GUM), 5.1.2 equation 10: a linear sum of independent quantities. The thicknesses are *shared*: the
//! bed that turns out 1 mm thicker lifts every point by 1 mm. So they belong in each comparison with something that is not
//! tiled (a grate, an upturn, a water stop), and cancel in a difference between two finished levels (GUM 5.2.2, fully
//! correlated): [`PointOut::u_over_lowest_mm`] carries the points' own uncertainties alone.
//!
//! A layer of unknown thickness makes what stands on it unknown, never zero. Without a limit there is no verdict.

mod check;
mod from_room;
mod items;
mod levels;
#[cfg(test)]
mod tests;

pub use from_room::{ForZone, for_zone};

use crate::nouns::LayerKind;
use measure::{Decision, Judgement, Limit, Problems};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Layers over a measured surface, and what is compared with the level they end at. Lengths in millimetres, levels over
/// any one benchmark, each `u` a standard uncertainty (k = 1).
#[derive(Clone, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Input {
    /// Layers still to come over the measured surface, from below; none when the finished surface itself was measured.
    pub layers: Vec<LayerIn>,
    /// Levels of the measured surface.
    pub points: Vec<PointIn>,
    /// Grates of outlets.
    pub grates: Vec<LevelIn>,
    /// Thresholds of doors.
    pub thresholds: Vec<LevelIn>,
    /// Water stops.
    pub water_stops: Vec<WaterStopIn>,
    /// Upper edges of membranes on walls.
    pub upturns: Vec<UpturnIn>,
    /// Fillets under the membrane where wall and floor meet.
    pub fillets: Vec<FilletIn>,
    /// How values are judged against limits; guarded acceptance at 5 % when absent.
    pub decision: Option<Decision>,
}

/// One layer to come.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LayerIn {
    /// Which.
    pub kind: LayerKind,
    /// Thickness; left out while it is not known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub thickness_mm: Option<f64>,
    /// Standard uncertainty of the thickness, the same for every point.
    #[serde(default)]
    pub u_mm: f64,
}

/// A level of the measured surface.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PointIn {
    /// Name, unique among the points.
    pub name: String,
    /// Place on plan.
    pub x_mm: f64,
    /// Place on plan.
    pub y_mm: f64,
    /// Level measured there, on the layer below those listed.
    pub base_mm: f64,
    /// Standard uncertainty of that level.
    #[serde(default)]
    pub u_mm: f64,
}

/// Something whose level is compared with the finished floor beside it: a grate or a threshold.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LevelIn {
    /// Name.
    pub id: String,
    /// Level of its top.
    pub level_mm: f64,
    /// Standard uncertainty of that level.
    #[serde(default)]
    pub u_mm: f64,
    /// Names of the points beside it; when none is named the nearest one is taken.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub beside: Vec<String>,
    /// Place on plan, to find the nearest point by.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub x_mm: Option<f64>,
    /// Place on plan, to find the nearest point by.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub y_mm: Option<f64>,
    /// Finished level beside it where that was measured itself; then no point is needed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub finished_mm: Option<f64>,
    /// Standard uncertainty of `finished_mm`.
    #[serde(default)]
    pub u_finished_mm: f64,
    /// What is asked of the difference.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limit: Option<LimitIn>,
}

/// The upper edge of a membrane on a wall.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct UpturnIn {
    /// Name.
    pub id: String,
    /// Level of the edge.
    pub top_mm: f64,
    /// Standard uncertainty of that level.
    #[serde(default)]
    pub u_mm: f64,
    /// Names of the points beside it; when none is named the nearest one is taken.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub beside: Vec<String>,
    /// Place on plan, to find the nearest point by.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub x_mm: Option<f64>,
    /// Place on plan, to find the nearest point by.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub y_mm: Option<f64>,
    /// Finished level beside it where that was measured itself; then no point is needed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub finished_mm: Option<f64>,
    /// Standard uncertainty of `finished_mm`.
    #[serde(default)]
    pub u_finished_mm: f64,
    /// What is asked of its height over the finished floor.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limit: Option<LimitIn>,
}

impl UpturnIn {
    /// As any other level beside the floor.
    fn level(&self) -> LevelIn {
        let Self { id, top_mm, u_mm, beside, x_mm, y_mm, finished_mm, u_finished_mm, limit } = self.clone();
        LevelIn { id, level_mm: top_mm, u_mm, beside, x_mm, y_mm, finished_mm, u_finished_mm, limit }
    }
}

/// A limit with its rule and source; at least one bound.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LimitIn {
    /// Least allowed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at_least_mm: Option<f64>,
    /// Largest allowed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at_most_mm: Option<f64>,
    /// Id of the rule.
    pub rule: String,
    /// Edition, clause, source, confidence.
    pub source: String,
}

impl LimitIn {
    fn limit(&self) -> Option<Limit> {
        Limit::from_bounds(self.at_least_mm, self.at_most_mm)
    }
}

/// A water stop. Two of foot, top and leg give the third.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WaterStopIn {
    /// Name.
    pub id: String,
    /// Level of its foot.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub foot_mm: Option<f64>,
    /// Level of its top.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub top_mm: Option<f64>,
    /// Height of the standing leg.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub leg_mm: Option<f64>,
    /// Standard uncertainty of foot and of top, each on its own.
    #[serde(default)]
    pub u_mm: f64,
    /// Standard uncertainty of the leg's height.
    #[serde(default)]
    pub u_leg_mm: f64,
    /// Marks along it with the level of the measured surface beside each.
    pub marks: Vec<MarkIn>,
    /// How high the membrane goes up the leg, from the foot.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub membrane_on_leg_mm: Option<f64>,
    /// Standard uncertainty of that height.
    #[serde(default)]
    pub u_membrane_on_leg_mm: f64,
    /// Where it is to be cut: `"flush"` with the finished floor, or this many millimetres over it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cut: Option<Cut>,
    /// What is asked of the height of its top over the finished floor.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub height_limit: Option<LimitIn>,
    /// What is asked of the membrane's height on the leg.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub membrane_limit: Option<LimitIn>,
}

/// Where a water stop is cut.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Cut {
    /// Flush with the finished floor.
    Word(CutWord),
    /// This many millimetres over the finished floor (below it where negative).
    OverMm(f64),
}

/// The one word a cut is given by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum CutWord {
    /// Level with the finished floor.
    Flush,
}

impl Cut {
    fn over_mm(self) -> f64 {
        match self {
            Self::Word(CutWord::Flush) => 0.0,
            Self::OverMm(over) => over,
        }
    }
}

/// A mark along a water stop.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MarkIn {
    /// Way along the water stop from its first end.
    pub along_mm: f64,
    /// Level of the measured surface beside it.
    pub base_mm: f64,
    /// Standard uncertainty of that level.
    #[serde(default)]
    pub u_mm: f64,
}

/// A fillet.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FilletIn {
    /// Name.
    pub id: String,
    /// Radius.
    pub radius_mm: f64,
    /// Standard uncertainty of the radius.
    #[serde(default)]
    pub u_mm: f64,
}

/// Where the finished levels land.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Output {
    /// Thickness of all layers together; null while one of them is unknown.
    pub layers_mm: Option<f64>,
    /// Its standard uncertainty, shared by every finished level.
    pub u_layers_mm: Option<f64>,
    /// What is not known and leaves results empty.
    pub unknown: Vec<String>,
    /// The finished level over each point.
    pub points: Vec<PointOut>,
    /// Tile against grate.
    pub grates: Vec<LevelOut>,
    /// Threshold over the finished floor.
    pub thresholds: Vec<LevelOut>,
    /// Water stops.
    pub water_stops: Vec<WaterStopOut>,
    /// Top of each upturn over the finished floor.
    pub upturns: Vec<LevelOut>,
    /// Fillets against bed and tile.
    pub fillets: Vec<FilletOut>,
    /// How the uncertainties hang together.
    pub note: String,
}

/// The finished level over one point.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PointOut {
    /// Its name.
    pub name: String,
    /// Finished level.
    pub finished_mm: Option<f64>,
    /// Standard uncertainty of the finished level: of the point and of the layers.
    pub u_finished_mm: Option<f64>,
    /// How far it lies over the lowest finished level of all points.
    pub over_lowest_mm: f64,
    /// Standard uncertainty of that difference: the layers are common to both and drop out.
    pub u_over_lowest_mm: f64,
}

/// Something beside the finished floor.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct LevelOut {
    /// Its name.
    pub id: String,
    /// The difference at each point beside it.
    pub beside: Vec<BesideOut>,
    /// The worst of them against the limit; null without a limit.
    pub verdict: Option<Judgement>,
}

/// A difference with the finished floor at one point.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct BesideOut {
    /// The point; `measured` when the finished level was measured itself.
    pub point: String,
    /// How far the point lies from it on plan, where its place is known.
    pub away_mm: Option<f64>,
    /// For a grate: tile over grate (positive when the tile stands above). For a threshold or upturn: its top over the
    /// finished floor.
    pub difference_mm: Option<f64>,
    /// Standard uncertainty of the difference.
    pub u_difference_mm: Option<f64>,
}

/// A water stop in the finished floor.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct WaterStopOut {
    /// Its name.
    pub id: String,
    /// Mark by mark.
    pub marks: Vec<MarkOut>,
    /// Share of the leg that the membrane covers, 0 to 1.
    pub membrane_share: Option<f64>,
    /// Standard uncertainty of that share.
    pub u_membrane_share: Option<f64>,
    /// Its least height over the finished floor against the limit; null without one.
    pub height_verdict: Option<Judgement>,
    /// The membrane on its leg against the limit; null without one.
    pub membrane_verdict: Option<Judgement>,
}

/// One mark of a water stop.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct MarkOut {
    /// Way along.
    pub along_mm: f64,
    /// Finished level.
    pub finished_mm: Option<f64>,
    /// Standard uncertainty of the finished level.
    pub u_finished_mm: Option<f64>,
    /// Height of the top over the finished floor.
    pub height_mm: Option<f64>,
    /// Standard uncertainty of the height.
    pub u_height_mm: Option<f64>,
    /// How much of the leg the finishes cover, from the foot.
    pub covered_mm: Option<f64>,
    /// Standard uncertainty of `covered_mm`.
    pub u_covered_mm: Option<f64>,
    /// Share of the leg that the finishes cover, 0 to 1.
    pub covered_share: Option<f64>,
    /// How far the membrane on the leg ends above the finished floor; below zero it ends under the tile.
    pub membrane_over_finished_mm: Option<f64>,
    /// Standard uncertainty of `membrane_over_finished_mm`.
    pub u_membrane_over_finished_mm: Option<f64>,
    /// The cut line here, over the foot.
    pub cut_over_foot_mm: Option<f64>,
    /// Standard uncertainty of the cut line.
    pub u_cut_over_foot_mm: Option<f64>,
    /// Why the cut cannot be made here: the finished floor lies above the leg or below its foot.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cut_fails: Option<String>,
}

/// A fillet against bed and tile.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct FilletOut {
    /// Its name.
    pub id: String,
    /// Bed and tile less the radius: below zero the fillet stands out and the tile cannot close over it.
    pub clear_mm: Option<f64>,
    /// Standard uncertainty of `clear_mm`.
    pub u_clear_mm: Option<f64>,
    /// Whether the tile closes over it.
    pub verdict: Judgement,
}

/// Computes finished levels and compares them.
///
/// ```
/// use room::build_up::{Input, run};
/// let input: Input = serde_json::from_str(r#"{
///     "layers": [{"kind": "bed", "thickness_mm": 4, "u_mm": 0.8}, {"kind": "tile", "thickness_mm": 10, "u_mm": 0.2}],
///     "points": [{"name": "p", "x_mm": 0, "y_mm": 0, "base_mm": 21.5, "u_mm": 0.5}],
///     "grates": [{"id": "waste", "level_mm": 34, "u_mm": 0.5}]}"#).unwrap();
/// let output = run(&input).unwrap();
/// assert_eq!(output.points[0].finished_mm, Some(35.5));
/// assert_eq!(output.grates[0].beside[0].difference_mm, Some(1.5));
/// ```
///
/// # Errors
///
/// Every problem of the input at once.
pub fn run(input: &Input) -> Result<Output, Problems> {
    check::check(input).or(())?;
    let levels = levels::Levels::of(input);
    Ok(Output {
        layers_mm: levels.layers.map(|l| l.value()),
        u_layers_mm: levels.layers.map(|l| l.u()),
        unknown: levels.unknown.iter().map(|what| format!("thickness of the {what}")).collect(),
        points: levels.points(),
        grates: input.grates.iter().map(|g| items::level(input, &levels, g, items::What::Grate)).collect(),
        thresholds: input.thresholds.iter().map(|t| items::level(input, &levels, t, items::What::Threshold)).collect(),
        water_stops: input.water_stops.iter().map(|s| items::water_stop(input, &levels, s)).collect(),
        upturns: input.upturns.iter().map(|u| items::level(input, &levels, &u.level(), items::What::Upturn)).collect(),
        fillets: input.fillets.iter().map(|f| items::fillet(input, f)).collect(),
        note: "thicknesses of layers are common to all points: they count in every comparison with what is not tiled, and \
               drop out between two finished levels"
            .into(),
    })
}
