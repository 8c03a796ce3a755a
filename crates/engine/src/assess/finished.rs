//! Where the finished floor lies: measured on the tile, or the screed's levels with the layers that are still to come.

use super::floor::Floor;
use job::Job;
use measure::{Measured, PointMm, math};
use room::geometry;
use room::nouns::LayerKind;
use room::register::{Detail, Face, Place};

/// Samples along a run: every 50 mm.
const STEP_MM: f64 = 50.0;
/// How far from a wall or a water stop the floor is sampled.
const BESIDE_MM: f64 = 30.0;

/// The finished floor.
pub struct Finished<'a> {
    floor: &'a Floor,
}

/// A height over the finished floor, at the worst place of a run.
pub struct HeightOver {
    /// Height.
    pub measured: Measured,
    /// Levels behind it.
    pub n: usize,
    /// How it follows.
    pub from: String,
}

impl<'a> Finished<'a> {
    /// From the tile if it was measured, else from the highest layer below it that was.
    pub fn of(floors: &'a [Floor]) -> Option<Self> {
        floors.iter().filter(|floor| floor.layer >= LayerKind::Screed).max_by_key(|floor| floor.layer).map(|floor| Self { floor })
    }

    /// In words.
    pub fn words(&self) -> String {
        match self.floor.layer {
            LayerKind::Tile => format!("finished floor measured, {}", self.floor.file),
            _ => format!("finished floor foreseen from {} and the layers still to come", self.floor.file),
        }
    }

    /// Level of the finished floor at a place; `None` where it is not floor or a layer's thickness is unknown.
    pub fn level(&self, job: &Job, at: PointMm) -> Option<Measured> {
        let Floor { grid, u_mm, .. } = self.floor;
        let cell = grid.cell_at(at).filter(|cell| grid.is_floor(*cell))?;
        let over = layers_over(job, self.floor.layer, at)?;
        let value = grid.z_mm[cell] + over.value();
        Measured::new(value, math::hypot(u_mm[cell], over.u())).ok()
    }

    /// Whether it was not measured on the tile.
    pub fn is_foreseen(&self) -> bool {
        self.floor.layer != LayerKind::Tile
    }

    /// Height of a detail's stated level over the finished floor, at the place where it is least.
    pub fn height_over(&self, job: &Job, detail: &Detail) -> Option<HeightOver> {
        let level = detail.level_mm?;
        let levels = self.levels(job, &beside(job, detail));
        let highest = levels.iter().max_by(|a, b| a.value().total_cmp(&b.value()))?;
        self.difference(level, *highest, levels.len())
    }

    /// Height of the finished floor over a grate, at the place round it where it is least.
    pub fn over_grate(&self, job: &Job, detail: &Detail) -> Option<HeightOver> {
        let grate = detail.level_mm?;
        let outlet = job.room.outlets.iter().find(|outlet| outlet.id == detail.of)?;
        let (at, radius) = ([outlet.x_mm?, outlet.y_mm?], outlet.radius_mm?);
        let levels = self.levels(job, &geometry::circle(at, radius + BESIDE_MM));
        let lowest = levels.iter().min_by(|a, b| a.value().total_cmp(&b.value()))?;
        self.difference(*lowest, grate, levels.len())
    }

    fn levels(&self, job: &Job, places: &[PointMm]) -> Vec<Measured> {
        places.iter().filter_map(|at| self.level(job, *at)).collect()
    }

    fn difference(&self, upper: Measured, lower: Measured, n: usize) -> Option<HeightOver> {
        let measured = Measured::new(upper.value() - lower.value(), math::hypot(upper.u(), lower.u())).ok()?;
        Some(HeightOver { measured, n, from: self.words() })
    }
}

/// Places of the floor along a run on the floor (both sides of it) or at the foot of a run on a wall.
fn beside(job: &Job, detail: &Detail) -> Vec<PointMm> {
    let Place::Run(line) = &detail.place else { return Vec::new() };
    match &detail.face {
        Face::Floor => along(line).into_iter().flat_map(|(piece, at)| [piece.at(at, BESIDE_MM), piece.at(at, -BESIDE_MM)]).collect(),
        Face::Wall(id) => {
            let Some(wall) = job.room.walls.iter().find(|wall| wall.id == *id) else { return Vec::new() };
            let edges = geometry::edges(&job.room.outline_mm);
            let Some(edge) = edges.get(wall.edge.wrapping_sub(1)) else { return Vec::new() };
            along(line).into_iter().map(|(piece, at)| edge.at(piece.at(at, 0.0)[0], -BESIDE_MM)).collect()
        }
        Face::Recess(..) => Vec::new(),
    }
}

fn along(line: &[PointMm]) -> Vec<(geometry::Edge, f64)> {
    let mut stations = Vec::new();
    for piece in geometry::pieces(line) {
        let steps = (piece.length_mm() / STEP_MM).ceil().max(1.0) as usize;
        stations.extend((0..=steps).map(|k| (piece, piece.length_mm() * k as f64 / steps as f64)));
    }
    stations
}

/// Thickness of everything above a layer, where the build-up of that place says every thickness.
fn layers_over(job: &Job, layer: LayerKind, at: PointMm) -> Option<Measured> {
    if layer == LayerKind::Tile {
        return Measured::exact(0.0).ok();
    }
    let zone = geometry::zone_at(&job.room, at).map_or(room::nouns::REST, |zone| zone.id.as_str());
    let layers = job.room.build_up.as_ref()?.layers_of(zone);
    let layers = if layers.is_empty() { job.room.build_up.as_ref()?.layers_of(room::nouns::REST) } else { layers };
    if layers.is_empty() {
        return None;
    }
    let mut sum = 0.0;
    let mut variance = 0.0;
    for above in layers.iter().filter(|above| above.kind > layer) {
        let thickness = above.thickness_mm?;
        sum += thickness.value();
        variance += math::sq(thickness.u());
    }
    Measured::new(sum, variance.sqrt()).ok()
}
