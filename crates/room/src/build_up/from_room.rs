//! The input of `build-up` for one zone of a drawn room.

use super::{FilletIn, Input, LayerIn, LevelIn, MarkIn, PointIn, UpturnIn, WaterStopIn};
use crate::Room;
use crate::geometry::{distance_mm, pieces};
use crate::nouns::{LayerKind, Outlet, OutletKind, WaterStop};
use crate::register::{Detail, DetailKind, Face, Place, derive};
use crate::unfold::Unfolded;
use crate::validate::normalised;
use measure::{Measured, PointMm};

/// A level measured this near to a water stop is a mark along it.
const MARK_MM: f64 = 150.0;

/// Details whose level is compared with the floor beside them.
const HAS_LEVEL: [DetailKind; 3] = [DetailKind::GrateToTile, DetailKind::Threshold, DetailKind::UpturnTermination];

/// What [`for_zone`] gives.
#[derive(Clone, Debug)]
pub struct ForZone {
    /// Ready to [`super::run`]; limits and decision are the caller's to fill in.
    pub input: Input,
    /// What had to stay out, and why: "grate of waste: its level is not known".
    pub left_out: Vec<String>,
}

/// The layers of a zone (or [`crate::nouns::REST`]) above the one that was measured, and every grate, threshold, water stop,
/// upturn and fillet of that zone whose level the room states. A preset gives layers of unknown thickness, and so unknown
/// results.
pub fn for_zone(room: &Room, zone: &str, measured: LayerKind, points: Vec<PointIn>) -> ForZone {
    let room = normalised(room);
    let layers = room.build_up.as_ref().map(|b| b.layers_of(zone)).unwrap_or_default();
    let to_come = layers.iter().filter(|l| l.kind > measured);
    let mut out = ForZone {
        input: Input {
            layers: to_come.map(|l| LayerIn { kind: l.kind, thickness_mm: value(l.thickness_mm), u_mm: u(l.thickness_mm) }).collect(),
            points,
            ..Input::default()
        },
        left_out: Vec::new(),
    };
    if layers.is_empty() {
        out.left_out.push(format!("layers of {zone}: the room says nothing of its build-up"));
        // Everything over the measured layer is unknown, not absent.
        let all = [LayerKind::Screed, LayerKind::Bed, LayerKind::Tile];
        out.input.layers = all.into_iter().filter(|k| *k > measured).map(|kind| LayerIn { kind, thickness_mm: None, u_mm: 0.0 }).collect();
    }
    let unfolded = Unfolded::new(&room);
    let details: Vec<Detail> = derive(&room).into_iter().filter(|d| d.zone_id.as_deref().unwrap_or(crate::nouns::REST) == zone).collect();
    out.levels(&room, &unfolded, &details);
    out.water_stops(&room, &details);
    out.fillets(&room);
    out
}

fn value(m: Option<Measured>) -> Option<f64> {
    m.map(|m| m.value())
}

fn u(m: Option<Measured>) -> f64 {
    m.map_or(0.0, |m| m.u())
}

impl ForZone {
    /// Grates, thresholds and upper edges of membranes, by their details.
    fn levels(&mut self, room: &Room, unfolded: &Unfolded, details: &[Detail]) {
        for detail in details.iter().filter(|d| HAS_LEVEL.contains(&d.kind)) {
            let Some(level) = detail.level_mm else {
                self.left_out.push(format!("{}: its level is not known", detail.name));
                continue;
            };
            if self.input.points.is_empty() {
                self.left_out.push(format!("{}: no level was measured in the zone", detail.name));
                continue;
            }
            let Some([x, y]) = on_plan(room, unfolded, detail) else { continue };
            let (id, x_mm, y_mm) = (detail.id.clone(), Some(x), Some(y));
            let (level_mm, u_mm, beside, finished_mm, u_finished_mm, limit) = (level.value(), level.u(), Vec::new(), None, 0.0, None);
            match detail.kind {
                DetailKind::UpturnTermination => {
                    self.input.upturns.push(UpturnIn { id, top_mm: level_mm, u_mm, beside, x_mm, y_mm, finished_mm, u_finished_mm, limit });
                }
                kind => {
                    let list = if kind == DetailKind::GrateToTile { &mut self.input.grates } else { &mut self.input.thresholds };
                    list.push(LevelIn { id, level_mm, u_mm, beside, x_mm, y_mm, finished_mm, u_finished_mm, limit });
                }
            }
        }
    }

    fn water_stops(&mut self, room: &Room, details: &[Detail]) {
        let here = |s: &&WaterStop| details.iter().any(|d| d.kind == DetailKind::WaterStop && d.of == s.id);
        for stop in room.water_stops.iter().filter(here) {
            let marks = marks(stop, &self.input.points);
            if marks.is_empty() {
                self.left_out.push(format!("water stop {}: no level was measured beside it", stop.id));
                continue;
            }
            let worst_u = u(stop.foot_mm).max(u(stop.top_mm));
            self.input.water_stops.push(WaterStopIn {
                id: stop.id.clone(),
                foot_mm: value(stop.foot_mm),
                top_mm: value(stop.top_mm),
                leg_mm: stop.leg_mm,
                u_mm: worst_u,
                u_leg_mm: 0.0,
                marks,
                membrane_on_leg_mm: value(stop.membrane_on_leg_mm),
                u_membrane_on_leg_mm: u(stop.membrane_on_leg_mm),
                cut: None,
                height_limit: None,
                membrane_limit: None,
            });
        }
    }

    /// The fillet under the uppermost membrane is the one bed and tile must close over.
    fn fillets(&mut self, room: &Room) {
        let Some(membrane) = room.membranes.iter().max_by_key(|m| m.layer) else { return };
        if let Some(radius) = membrane.fillet_radius_mm {
            self.input.fillets.push(FilletIn { id: membrane.id.clone(), radius_mm: radius.value(), u_mm: radius.u() });
        }
    }
}

/// Where a detail lies on plan: its point, or the middle of its run.
fn on_plan(room: &Room, unfolded: &Unfolded, detail: &Detail) -> Option<PointMm> {
    if detail.kind == DetailKind::GrateToTile {
        return room.outlets.iter().find(|o| o.id == detail.of).and_then(outlet_centre);
    }
    let local = match &detail.place {
        Place::Point(p) => *p,
        Place::Run(line) => {
            let (a, b) = (line.first()?, line.last()?);
            [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0]
        }
        Place::Patch(_) => return None,
    };
    match detail.face {
        Face::Floor => Some(local),
        _ => unfolded.to_space(&detail.face, local).map(|[x, y, _]| [x, y]),
    }
}

fn outlet_centre(outlet: &Outlet) -> Option<PointMm> {
    match outlet.kind {
        OutletKind::Point => outlet.x_mm.zip(outlet.y_mm).map(|(x, y)| [x, y]),
        OutletKind::Channel => crate::geometry::along_line(&outlet.line_mm, crate::geometry::line_length_mm(&outlet.line_mm) / 2.0),
    }
}

/// The points beside a water stop, by their way along it.
fn marks(stop: &WaterStop, points: &[PointIn]) -> Vec<MarkIn> {
    let mut out: Vec<MarkIn> = points
        .iter()
        .filter_map(|p| {
            let (along, away) = nearest(&stop.line_mm, [p.x_mm, p.y_mm])?;
            (away <= MARK_MM).then_some(MarkIn { along_mm: along, base_mm: p.base_mm, u_mm: p.u_mm })
        })
        .collect();
    out.sort_by(|a, b| a.along_mm.total_cmp(&b.along_mm));
    out
}

/// Way along a line of its place nearest to another, and how far away that is.
fn nearest(line: &[PointMm], p: PointMm) -> Option<(f64, f64)> {
    let mut start = 0.0;
    let mut best: Option<(f64, f64)> = None;
    for piece in pieces(line) {
        let along = piece.local(p)[0].max(0.0).min(piece.length_mm());
        let away = distance_mm(piece.at(along, 0.0), p);
        if best.is_none_or(|(_, least)| away < least) {
            best = Some((start + along, away));
        }
        start += piece.length_mm();
    }
    best
}
