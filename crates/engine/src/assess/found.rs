//! Everything that was measured, in the names rules use: readings as taken, and what follows from the drawn room.

use super::finished::Finished;
use job::Job;
use measure::{Grade, Measured};
use room::geometry;
use room::nouns::{FixtureKind, ZoneKind};
use room::register::{Detail, DetailKind, Face, Place};
use rules::Reading;

/// A distance on plan, which no layer changes.
const FROM_ROSE: &str = "water_stop_from_rose_mm";
/// What a set-down counts from.
const OUTSIDE: &str = "finished-floor-outside";
/// Expanded uncertainty of a distance taped on plan: common practice, no source.
const ON_PLAN_MM: f64 = 5.0;

/// One measured value at one detail.
#[derive(Clone, Debug)]
pub struct Found {
    /// Quantity, by its name in the packs.
    pub quantity: String,
    /// Detail, by id.
    pub detail: String,
    /// Hold point it was taken for; `None` counts at every one.
    pub hold_point: Option<String>,
    /// Value, uncertainty, grade, datum.
    pub reading: Reading,
    /// Whether an uncertainty was given.
    pub has_u: bool,
    /// Whether the finished floor it counts from is only foreseen: no evidence of what lies there once it is tiled.
    pub foreseen: bool,
    /// Where it comes from: file and line, or how it follows.
    pub from: String,
}

/// All of it.
pub fn all(job: &Job, finished: Option<&Finished>) -> Vec<Found> {
    let mut found = taken(job);
    for detail in &job.register {
        found.extend(drawn(job, detail, finished));
    }
    found
}

/// Readings as they stand in `readings.csv`.
fn taken(job: &Job) -> Vec<Found> {
    let mut found = Vec::new();
    for reading in &job.readings {
        let n = job
            .readings
            .iter()
            .filter(|r| (&r.detail, &r.quantity, &r.hold_point) == (&reading.detail, &reading.quantity, &reading.hold_point))
            .count();
        let Ok(measured) = Measured::new(reading.value, reading.u.unwrap_or(0.0)) else { continue };
        let datum = reading.datum.clone();
        found.push(Found {
            quantity: reading.quantity.clone(),
            detail: reading.detail.clone(),
            hold_point: Some(reading.hold_point.clone()),
            reading: Reading { measured, n, grade: reading.grade, datum },
            has_u: reading.u.is_some(),
            foreseen: false,
            from: reading.from.clone(),
        });
    }
    found
}

/// What follows from the drawn room: set-downs, heights over the finished floor, distances on plan. A sill's fall in the
/// drawing is what was built before the tile: it is no evidence of the tiled sill.
fn drawn(job: &Job, detail: &Detail, finished: Option<&Finished>) -> Vec<Found> {
    let mut found = Vec::new();
    let foreseen = finished.is_some_and(Finished::is_foreseen);
    let mut add = |quantity: &str, measured: Measured, n: usize, datum: Option<&str>, from: String| {
        found.push(Found {
            quantity: quantity.into(),
            detail: detail.id.clone(),
            hold_point: None,
            reading: Reading { measured, n, grade: Grade::Measured, datum: datum.map(Into::into) },
            has_u: true,
            foreseen: foreseen && datum != Some(OUTSIDE) && quantity != FROM_ROSE,
            from,
        });
    };
    let zone = detail.zone_id.as_ref().and_then(|id| job.room.zones.iter().find(|zone| zone.id == *id));
    if let (DetailKind::FloorField, Some(set_down)) = (detail.kind, zone.and_then(|zone| zone.set_down_mm)) {
        add("set_down_mm", set_down, 1, Some(OUTSIDE), "room.json, zones".into());
    }
    if let Some(finished) = finished {
        if let (Some(over), Some(quantity)) = (finished.height_over(job, detail), height_quantity(detail.kind)) {
            add(quantity, over.measured, over.n, Some("finished-floor"), over.from);
        }
        if let (DetailKind::GrateToTile, Some(over)) = (detail.kind, finished.over_grate(job, detail)) {
            add("tile_over_grate_mm", over.measured, over.n, None, over.from);
        }
    }
    if let (DetailKind::WaterStop, Place::Run(line), Face::Floor) = (detail.kind, &detail.place, &detail.face)
        && let Some(distance) = nearest_rose_mm(job, line)
        && let Ok(measured) = Measured::from_expanded(distance, ON_PLAN_MM)
    {
        add(FROM_ROSE, measured, 1, None, "room.json, distance on plan".into());
    }
    found
}

/// The quantity that is a detail's height over the floor.
fn height_quantity(kind: DetailKind) -> Option<&'static str> {
    match kind {
        DetailKind::UpturnTermination => Some("upturn_height_mm"),
        DetailKind::WaterStop => Some("water_stop_height_mm"),
        DetailKind::Hob => Some("hob_height_mm"),
        _ => None,
    }
}

/// From the rose to the nearest place of a line, on plan. Only for roses that are not closed off.
fn nearest_rose_mm(job: &Job, line: &[measure::PointMm]) -> Option<f64> {
    let open = job.room.zones.iter().any(|zone| zone.kind == ZoneKind::Shower && zone.enclosed != Some(true));
    let roses = job.room.fixtures.iter().filter(|fixture| open && fixture.kind == FixtureKind::ShowerRose);
    let distances = roses.flat_map(|rose| geometry::pieces(line).into_iter().map(move |piece| piece.distance_mm([rose.x_mm, rose.y_mm])));
    distances.min_by(f64::total_cmp)
}
