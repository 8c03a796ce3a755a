//! How much water each detail sees: the order in which to look.

use super::Context;
use super::floor::{self, Floor};
use super::result::WaterBalance;
use job::Job;
use job::weights::Band;
use room::geometry;
use room::nouns::FixtureKind;
use room::register::{Detail, Face, Place};
use water::exposure::{DetailIn, Input, ScreenIn, ShowerIn, run as expose};

/// So far before a wall its foot is looked at: half a cell of the surface.
const BEFORE_MM: f64 = 5.0;
/// Width of the ring round a point in which its water is counted.
const OUTLET_RING_MM: f64 = 30.0;

/// Litres a day by detail, and the balance.
#[derive(Default)]
pub struct Water {
    /// Litres a day, by detail.
    pub litres: Vec<(String, f64)>,
    /// Balance.
    pub balance: Option<WaterBalance>,
    /// Why the order rests on zones alone, where it does.
    pub note: Option<String>,
}

impl Water {
    /// Litres a day at a detail.
    pub fn of(&self, detail: &str) -> Option<f64> {
        self.litres.iter().find(|(id, _)| id == detail).map(|(_, litres)| *litres)
    }

    /// The band of a group, by the litres of its wettest detail; by its zone where no water was computed there.
    pub fn band(&self, job: &Job, detail: Option<&Detail>, litres: Option<f64>) -> Band {
        let weights = &job.weights;
        let of_zone = detail.and_then(|detail| weights.by_zone.get(&detail.zone)).copied().unwrap_or(Band::Little);
        match (litres, &self.balance) {
            (Some(litres), Some(balance)) if balance.in_l > 0.0 => {
                let share = litres / balance.in_l;
                match share {
                    _ if share >= weights.most_share => Band::Most,
                    _ if share >= weights.some_share => Band::Some,
                    _ => Band::Little,
                }
            }
            _ => of_zone,
        }
    }
}

/// The water of a day over the highest measured surface.
pub fn run(context: &Context<'_>) -> Water {
    let Some(floor) = context.floors.last() else {
        return Water {
            note: Some("no levels: the order rests on the zones, not on water computed over the floor".into()),
            ..Default::default()
        };
    };
    let showers = showers(context.job, floor);
    if showers.is_empty() {
        let note = "no shower with place, height and flow: the order rests on the zones".into();
        return Water { note: Some(note), ..Default::default() };
    }
    let input = Input {
        surface: floor::grid_in(&floor.with_stops),
        outlets: floor::outlets(context.job),
        showers,
        screens: context.job.room.screens.iter().map(|screen| ScreenIn { line_mm: screen.line_mm.clone() }).collect(),
        details: details(context.job),
        evaporation_mm_per_day: None,
        cell_mm: None,
    };
    match expose(&input) {
        Err(problems) => Water { note: Some(format!("the water's way could not be computed: {problems}")), ..Default::default() },
        Ok(output) => {
            let litres = output.details.iter().map(|detail| (detail.id.clone(), detail.litres_per_day)).collect();
            Water { litres, balance: Some(balance(floor, &output)), note: None }
        }
    }
}

fn balance(floor: &Floor, output: &water::exposure::Output) -> WaterBalance {
    WaterBalance {
        in_l: output.balance.given,
        outlets: output.balance.outlets.iter().map(|(id, litres)| (id.clone(), *litres)).collect(),
        left_standing_l: output.balance.left_standing,
        surface: match floor.layer {
            room::nouns::LayerKind::Tile => "tile".into(),
            room::nouns::LayerKind::Screed => "screed".into(),
            _ => "membrane or substrate".into(),
        },
    }
}

/// Roses of which place, height, flow, spread and use are known; heights over the floor below them.
fn showers(job: &Job, floor: &Floor) -> Vec<ShowerIn> {
    let roses = job.room.fixtures.iter().filter(|fixture| fixture.kind == FixtureKind::ShowerRose);
    roses
        .filter_map(|rose| {
            Some(ShowerIn {
                x_mm: rose.x_mm,
                y_mm: rose.y_mm,
                height_mm: rose.height_mm? - floor_below(floor, [rose.x_mm, rose.y_mm]),
                flow_l_min: rose.flow_l_min?,
                minutes_per_day: rose.minutes_per_day?,
                spread_mm: rose.spread_mm?,
            })
        })
        .collect()
}

fn floor_below(floor: &Floor, at: measure::PointMm) -> f64 {
    floor.grid.cell_at(at).map(|cell| floor.grid.z_mm[cell]).filter(|z| z.is_finite()).unwrap_or(0.0)
}

/// Details that lie on the floor, and walls' lower edges, as lines and areas on plan.
fn details(job: &Job) -> Vec<DetailIn> {
    job.register
        .iter()
        .filter_map(|detail| {
            let (line_mm, polygon_mm) = on_plan(job, detail)?;
            Some(DetailIn { id: detail.id.clone(), line_mm, polygon_mm })
        })
        .collect()
}

type LineAndPolygon = (Vec<measure::PointMm>, Vec<measure::PointMm>);

fn on_plan(job: &Job, detail: &Detail) -> Option<LineAndPolygon> {
    match (&detail.face, &detail.place) {
        (Face::Floor, Place::Run(line)) => Some((line.clone(), vec![])),
        (Face::Floor, Place::Patch(patch)) => Some((vec![], patch.first()?.first()?.clone())),
        (Face::Floor, Place::Point(at)) => Some((vec![], around(job, detail, *at))),
        (Face::Wall(id), Place::Run(line)) => Some((at_foot(job, id, line)?, vec![])),
        (Face::Wall(id), Place::Point(at)) => Some((vec![], around(job, detail, *at_foot(job, id, &[*at])?.first()?))),
        (Face::Wall(_) | Face::Recess(..), _) => None,
    }
}

/// A run or point at the foot of a wall as it lies on plan, just before the wall; nothing for what lies higher.
fn at_foot(job: &Job, wall: &str, line: &[measure::PointMm]) -> Option<Vec<measure::PointMm>> {
    let wall = job.room.walls.iter().find(|w| w.id == wall)?;
    let edge = *geometry::edges(&job.room.outline_mm).get(wall.edge.checked_sub(1)?)?;
    let low = line.iter().all(|[_, height]| height.abs() <= geometry::SAME_CORNER_MM);
    low.then(|| {
        line.iter().map(|[along, _]| edge.at(along.clamp(BEFORE_MM, (edge.length_mm() - BEFORE_MM).max(BEFORE_MM)), -BEFORE_MM)).collect()
    })
}

/// A ring round a point: round the grate for an outlet's details, else a small one.
fn around(job: &Job, detail: &Detail, at: measure::PointMm) -> Vec<measure::PointMm> {
    let radius = job.room.outlets.iter().find(|outlet| outlet.id == detail.of).and_then(|outlet| outlet.radius_mm).unwrap_or(0.0);
    geometry::circle(at, radius + OUTLET_RING_MM)
}
