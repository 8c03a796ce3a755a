//! The measured floor: its surfaces by layer, cut at set-downs for falls, whole for ponds and for the water's way.

use job::Job;
use job::folder::LayerSurvey;
use measure::{PointMm, Problems};
use room::geometry;
use room::nouns::{LayerKind, OutletKind, WaterStopAt};
use room::register::{Detail, Place};
use water::grid::Grid;
use water::ponding::PondOut;
use water::surface::{GridIn, LevelIn, OutletIn, SurfaceIn};
use water::tin::{self, Surface};

/// A reading this near an edge of a set-down may stand on either side of it.
const EDGE_MM: f64 = 1.0;
/// A corner of a field this near a region's edge belongs to it.
const FIELD_EDGE_MM: f64 = 2.0;
/// How the open edges of a set-down are named among the outlets.
const EDGE: &str = "edge ";
/// A channel that stands in for the open edge of a set-down lies this far inside.
const EDGE_CHANNEL_MM: f64 = 10.0;

/// A surface measured on one layer.
pub struct Floor {
    /// Layer.
    pub layer: LayerKind,
    /// File of its levels.
    pub file: String,
    /// Levels as the water crate takes them.
    pub levels: Vec<LevelIn>,
    /// The whole floor; each side of a set-down from its own levels alone, so that the step stays a step.
    pub grid: Grid,
    /// Standard uncertainty of each cell's height; `NaN` outside the floor.
    pub u_mm: Vec<f64>,
    /// Cells that lie beyond the levels.
    pub extrapolated: Vec<bool>,
    /// The same heights with water stops standing on the floor.
    pub with_stops: Grid,
    /// Its ponds with water stops standing, deepest first; or why none can be told.
    pub ponds: Result<Vec<PondOut>, String>,
    /// What was assumed because the levels did not say.
    pub assumed: Vec<String>,
}

/// Every layer whose levels make a surface, lowest layer first; and what kept others from it.
pub fn all(job: &Job, regions: &[Region]) -> (Vec<Floor>, Vec<String>) {
    let mut floors = Vec::new();
    let mut notes = Vec::new();
    for survey in &job.surveys {
        match floor(job, survey, regions) {
            Ok(floor) => floors.push(floor),
            Err(problems) => {
                let first = problems.problems.first().map(ToString::to_string).unwrap_or_default();
                notes.push(format!("{}: the levels make no surface: {first}", survey.file));
            }
        }
    }
    floors.sort_by_key(|floor| floor.layer);
    (floors, notes)
}

fn floor(job: &Job, survey: &LayerSurvey, regions: &[Region]) -> Result<Floor, Problems> {
    let levels: Vec<LevelIn> = survey
        .survey
        .readings
        .iter()
        .map(|level| LevelIn {
            x_mm: level.x_mm,
            y_mm: level.y_mm,
            z_mm: level.z_mm,
            u_mm: Some(level.u_mm),
            name: Some(level.name.clone()),
        })
        .collect();
    let Surface { mut grid, mut u_mm, mut extrapolated, assumed, .. } = surface(&job.room.outline_mm, levels.clone())?;
    if regions.len() > 1 {
        for region in regions {
            // A part with too few levels of its own keeps what the whole floor says there.
            if let Ok(own) = surface(&region.outline_mm, region.levels(&levels)) {
                lay_over(&region.outline_mm, &own, &mut grid, &mut u_mm, &mut extrapolated);
            }
        }
    }
    let with_stops = stand_stops(job, &grid);
    let input = water::ponding::Input { surface: grid_in(&with_stops), outlets: outlets(job), ..Default::default() };
    let ponds = water::ponding::run(&input).map(|output| output.ponds).map_err(|problems| problems.to_string());
    Ok(Floor { layer: survey.layer, file: survey.file.clone(), levels, grid, u_mm, extrapolated, with_stops, ponds, assumed })
}

fn surface(outline_mm: &[PointMm], readings: Vec<LevelIn>) -> Result<Surface, Problems> {
    tin::surface(&SurfaceIn { outline_mm: outline_mm.to_vec(), readings, ..Default::default() }, None)
}

/// Puts the heights of one region in their place on the whole floor's grid.
fn lay_over(outline_mm: &[PointMm], own: &Surface, grid: &mut Grid, u_mm: &mut [f64], extrapolated: &mut [bool]) {
    for cell in (0..grid.len()).filter(|cell| u_mm[*cell].is_finite()).collect::<Vec<_>>() {
        let at = grid.centre_mm(cell);
        let Some(k) = own.grid.cell_at(at).filter(|k| own.grid.is_floor(*k) && geometry::contains(outline_mm, at, 0.0)) else { continue };
        grid.z_mm[cell] = own.height_at(k, at);
        u_mm[cell] = own.u_mm[k];
        extrapolated[cell] = own.extrapolated[k];
    }
}

/// Cells that a water stop's line crosses rise to its top.
fn stand_stops(job: &Job, grid: &Grid) -> Grid {
    let mut grid = grid.clone();
    for stop in job.room.water_stops.iter().filter(|stop| stop.at != WaterStopAt::Door) {
        let Some(top) = stop.top_mm else { continue };
        for cell in water::surface::line_cells(&grid, &stop.line_mm) {
            if grid.is_floor(cell) {
                grid.z_mm[cell] = grid.z_mm[cell].max(top.value());
            }
        }
    }
    grid
}

/// A grid as input for another computation.
pub fn grid_in(grid: &Grid) -> SurfaceIn {
    let z_mm = grid.z_mm.iter().map(|z| (!z.is_nan()).then_some(*z)).collect();
    let grid = GridIn { x0_mm: grid.x0_mm, y0_mm: grid.y0_mm, cell_mm: grid.cell_mm, nx: grid.nx, ny: grid.ny, z_mm, u_mm: None };
    SurfaceIn { grid: Some(grid), ..Default::default() }
}

/// The room's outlets as the water crate takes them.
pub fn outlets(job: &Job) -> Vec<OutletIn> {
    job.room
        .outlets
        .iter()
        .map(|outlet| OutletIn {
            id: outlet.id.clone(),
            kind: match outlet.kind {
                OutletKind::Point => water::surface::OutletKind::Point,
                OutletKind::Channel => water::surface::OutletKind::Channel,
            },
            x_mm: outlet.x_mm,
            y_mm: outlet.y_mm,
            radius_mm: outlet.radius_mm,
            line_mm: outlet.line_mm.clone(),
            width_mm: outlet.width_mm,
        })
        .collect()
}

/// A part of the floor with no step in it, and where its water leaves.
pub struct Region {
    /// Corners.
    pub outline_mm: Vec<PointMm>,
    /// Outlets inside, or the open edges over which it drains into a set-down.
    pub outlets: Vec<OutletIn>,
}

impl Region {
    /// The levels that stand in it.
    pub fn levels(&self, levels: &[LevelIn]) -> Vec<LevelIn> {
        levels.iter().filter(|level| geometry::contains(&self.outline_mm, [level.x_mm, level.y_mm], EDGE_MM)).cloned().collect()
    }
}

/// One zone of the floor by itself, outlets and all, when water leaves inside it: its planes are then its own.
pub fn with_outlet(job: &Job, detail: &Detail) -> Option<Region> {
    let outline_mm = zone_ring(job, detail)?;
    let outlets: Vec<OutletIn> = outlets(job).into_iter().filter(|outlet| lies_in(outlet, &outline_mm)).collect();
    (!outlets.is_empty()).then_some(Region { outline_mm, outlets })
}

/// Corners of the zone a floor field belongs to; of the floor outside all zones, the piece the field lies in.
pub fn zone_ring(job: &Job, detail: &Detail) -> Option<Vec<PointMm>> {
    let zone = detail.zone_id.as_ref().and_then(|id| job.room.zones.iter().find(|zone| zone.id == *id));
    if let Some(zone) = zone {
        return Some(zone.polygon_mm.clone());
    }
    let Place::Patch(patch) = &detail.place else { return None };
    let corner = *patch.first()?.first()?.first()?;
    let zones: Vec<&[PointMm]> = job.room.zones.iter().map(|zone| zone.polygon_mm.as_slice()).collect();
    geometry::without(&job.room.outline_mm, &zones).into_iter().find(|ring| geometry::distance_to_ring_mm(ring, corner) <= EDGE_MM)
}

/// The region a floor field lies in.
pub fn region_of<'a>(regions: &'a [Region], detail: &Detail) -> Option<&'a Region> {
    let ring = ring(detail)?;
    regions.iter().find(|region| ring.iter().all(|corner| geometry::contains(&region.outline_mm, *corner, FIELD_EDGE_MM)))
}

/// Outer corners of a floor field.
pub fn ring(detail: &Detail) -> Option<&[PointMm]> {
    match &detail.place {
        Place::Patch(patch) => patch.first()?.first().map(Vec::as_slice),
        Place::Run(_) | Place::Point(_) => None,
    }
}

/// The floor cut at the edges of set-down zones.
pub fn regions(job: &Job) -> Vec<Region> {
    let set_down: Vec<&[PointMm]> =
        job.room.zones.iter().filter(|zone| zone.set_down_mm.is_some()).map(|zone| zone.polygon_mm.as_slice()).collect();
    let mut cuts: Vec<Vec<PointMm>> = set_down.iter().map(|zone| zone.to_vec()).collect();
    cuts.extend(geometry::without(&job.room.outline_mm, &set_down));
    cuts.into_iter()
        .map(|outline_mm| {
            let own: Vec<OutletIn> = outlets(job).into_iter().filter(|outlet| lies_in(outlet, &outline_mm)).collect();
            let outlets = if own.is_empty() { open_edges(job, &outline_mm, &set_down) } else { own };
            Region { outline_mm, outlets }
        })
        .collect()
}

fn lies_in(outlet: &OutletIn, ring: &[PointMm]) -> bool {
    let at = match (outlet.x_mm, outlet.y_mm, outlet.line_mm.first(), outlet.line_mm.last()) {
        (Some(x), Some(y), ..) => [x, y],
        (_, _, Some(a), Some(b)) => [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0],
        _ => return false,
    };
    geometry::contains(ring, at, EDGE_MM)
}

/// Edges that a region shares with a set-down and that no water stop closes, each as a channel just inside the region.
fn open_edges(job: &Job, ring: &[PointMm], set_down: &[&[PointMm]]) -> Vec<OutletIn> {
    let mut open = Vec::new();
    for (i, edge) in geometry::edges(ring).iter().enumerate() {
        let middle = edge.at(edge.length_mm() / 2.0, 0.0);
        let beside_set_down = set_down.iter().any(|zone| geometry::distance_to_ring_mm(zone, middle) <= EDGE_MM)
            && geometry::distance_to_ring_mm(&job.room.outline_mm, middle) > EDGE_MM;
        let closed = job
            .room
            .water_stops
            .iter()
            .flat_map(|stop| geometry::pieces(&stop.line_mm))
            .any(|piece| piece.distance_mm(middle) <= EDGE_CHANNEL_MM);
        if beside_set_down && !closed && edge.length_mm() > 2.0 * EDGE_CHANNEL_MM {
            let line_mm = vec![edge.at(EDGE_CHANNEL_MM, -EDGE_CHANNEL_MM), edge.at(edge.length_mm() - EDGE_CHANNEL_MM, -EDGE_CHANNEL_MM)];
            open.push(OutletIn {
                id: format!("{EDGE}{}", i + 1),
                kind: water::surface::OutletKind::Channel,
                x_mm: None,
                y_mm: None,
                radius_mm: None,
                line_mm,
                width_mm: Some(EDGE_CHANNEL_MM),
            });
        }
    }
    open
}
