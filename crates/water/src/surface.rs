//! What comes in: a surface as spot levels inside an outline, or as a grid; and outlets.

use measure::PointMm;
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
