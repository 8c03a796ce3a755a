//! What drawings of a measured floor need: its falls with arrows, its ponds with the level they fill to.

use super::floor::{self, Floor};
use super::{Context, facts, falls, lines};
use job::plan::OwedLayer;
use measure::PointMm;
use room::geometry;
use room::nouns::LayerKind;
use room::register::{Detail, DetailKind};
use rules::{Fit, Rule};
use water::fill::fill;
use water::grid::Grid;
use water::ponding::PondOut;
use water::surface::outlet_cells;

/// One measured floor, computed for drawing.
pub struct DrawnFloor {
    /// Which surface, in words: "screed, 81 levels, levels-screed.csv".
    pub words: String,
    /// Layer.
    pub layer: LayerKind,
    /// What was asked of the falls, "between 1:80 and 1:50"; empty where no rule speaks.
    pub fall_limits: String,
    /// The floor in its fields.
    pub parts: Vec<DrawnPart>,
    /// Level every cell fills to; empty without an outlet.
    pub level_mm: Vec<f64>,
    /// Ponds, deepest first.
    pub ponds: Vec<PondOut>,
    /// Ponds no deeper than this were left out.
    pub depth_ignored_mm: f64,
}

/// One field of a measured floor.
pub struct DrawnPart {
    /// The floor's heights, `NaN` outside the field.
    pub grid: Grid,
    /// Cells beyond the outermost levels.
    pub extrapolated: Vec<bool>,
    /// Its falls, with arrows.
    pub falls: Option<water::falls::Output>,
}

/// Every measured floor.
pub fn all(context: &Context<'_>) -> Vec<DrawnFloor> {
    context.floors.iter().map(|floor| drawn(context, floor)).collect()
}

fn drawn(context: &Context<'_>, floor: &Floor) -> DrawnFloor {
    let fields: Vec<&Detail> = fields(context);
    let mut limits: Vec<String> = Vec::new();
    let mut parts = Vec::new();
    let decision = lines::decision(context, "fall");
    for field in fields {
        let Some(region) = floor::region_of(&context.regions, field) else { continue };
        let rule = fall_rule(context, field);
        let known = context.applicable.complete(&facts::of(context, field));
        let asked = rule.and_then(|rule| rule.asked_for(&known).ok().flatten());
        if let Some(words) = asked.map(|asked| asked.words.clone()).filter(|words| !limits.contains(words)) {
            limits.push(words);
        }
        let falls = falls::for_drawing(context, region, floor, field, asked.map(|asked| asked.limit), decision).ok();
        parts.extend(floor::zone_ring(context.job, field).map(|ring| part(floor, &ring, falls)));
    }
    let (level_mm, ponds, depth_ignored_mm) = ponds(context, floor).unwrap_or_default();
    DrawnFloor {
        words: format!("{}, {} levels, {}", falls::layer_words(floor.layer), floor.levels.len(), floor.file),
        layer: floor.layer,
        fall_limits: limits.join("; "),
        parts,
        level_mm,
        ponds,
        depth_ignored_mm,
    }
}

fn part(floor: &Floor, ring: &[PointMm], falls: Option<water::falls::Output>) -> DrawnPart {
    let mut grid = floor.grid.clone();
    for cell in 0..grid.len() {
        if !geometry::contains(ring, grid.centre_mm(cell), 0.0) {
            grid.z_mm[cell] = f64::NAN;
        }
    }
    DrawnPart { grid, extrapolated: floor.extrapolated.clone(), falls }
}

/// Floor fields, once each: those of the highest membrane.
fn fields<'a>(context: &'a Context<'_>) -> Vec<&'a Detail> {
    let layers = context.job.membrane_layers();
    let highest = OwedLayer::Highest.in_room(&layers);
    let is_field = |detail: &&Detail| detail.kind == DetailKind::FloorField && (detail.layer.is_none() || detail.layer == highest);
    context.job.register.iter().filter(is_field).collect()
}

/// The rule on the finished floor's fall at a field.
fn fall_rule<'a>(context: &'a Context<'_>, field: &Detail) -> Option<&'a Rule> {
    let known = context.applicable.complete(&facts::of(context, field));
    let fitting = context.applicable.fitting(field.kind, field.zone, Some(LayerKind::Tile), &known);
    fitting.into_iter().find(|(rule, fit)| *fit == Fit::Applies && rule.written.quantity.as_deref() == Some("fall")).map(|(rule, _)| rule)
}

/// Levels, ponds, and the depth that is let pass.
fn ponds(context: &Context<'_>, floor: &Floor) -> Option<(Vec<f64>, Vec<PondOut>, f64)> {
    let ignored = context.pond_depth_ignored_mm();
    let outlets = floor::outlets(context.job);
    let cells: Vec<usize> = outlet_cells(&floor.with_stops, &outlets).ok()?.into_iter().flatten().collect();
    let level_mm = fill(&floor.with_stops, &cells).level_mm;
    let ponds = floor.ponds.as_ref().ok()?.iter().filter(|pond| pond.depth_max_mm > ignored).cloned().collect();
    Some((level_mm, ponds, ignored))
}
