//! What was drawn one by one: water stops, hobs, penetrations, recesses, joints, cracks, laps, meetings.

use super::model::{FloorZone, Layer, Model, WallModel};
use super::{Detail, DetailKind, Face, Place};
use crate::geometry::{line_length_mm, part_of_line, pieces, rectangle};
use crate::nouns::{FLOOR, Fixture, FixtureKind, JointKind, MembraneLayer, Penetration, PenetrationKind, Recess, WaterStop, WaterStopAt};
use measure::PointMm;

/// How far round a thing the wettest zone counts.
const NEAR_MM: f64 = 60.0;
/// A screen this near to a water stop stands on it.
const UNDER_SCREEN_MM: f64 = 60.0;
/// A penetration drawn this near to a fixture along their wall is the fixture's own.
const OWN_PENETRATION_MM: f64 = 300.0;

pub fn derive(model: &Model, out: &mut Vec<Detail>) {
    for stop in &model.room.water_stops {
        water_stop(model, stop, out);
    }
    for hob in model.room.hobs.iter().filter(|h| h.line_mm.len() >= 2) {
        let zone = nearest(model, &hob.line_mm, hob.width_mm / 2.0 + NEAR_MM);
        let place = Place::Run(hob.line_mm.clone());
        let name = format!("membrane over {}", super::named("hob", &hob.id));
        let id = format!("hob/{}", hob.id);
        let mut detail = model.detail(DetailKind::Hob, id, name, zone, model.top_layer(zone), Face::Floor, place, &hob.id);
        detail.level_mm = hob.top_mm;
        out.push(detail);
    }
    for penetration in &model.room.penetrations {
        derive_penetration(model, penetration, out);
    }
    for fixture in &model.room.fixtures {
        fixture_penetration(model, fixture, out);
    }
    for recess in &model.room.recesses {
        derive_recess(model, recess, out);
    }
    lines(model, out);
}

/// The wettest zone along a line and so far to either side of it; what lies beyond its ends does not count.
fn nearest<'m, 'a>(model: &'m Model<'a>, line: &[PointMm], reach_mm: f64) -> &'m FloorZone<'a> {
    let stations = pieces(line).into_iter().flat_map(|piece| (0..8).map(move |i| (piece, piece.length_mm() * (f64::from(i) + 0.5) / 8.0)));
    let zones = stations.flat_map(|(piece, along)| [-reach_mm, 0.0, reach_mm].map(|out| model.zone_near(piece.at(along, out), 0.0)));
    zones.min_by_key(|z| z.kind).unwrap_or(&model.zones[model.zones.len() - 1])
}

/// A water stop by what it stands at: the parts under a drawn screen, and the rest.
fn water_stop(model: &Model, stop: &WaterStop, out: &mut Vec<Detail>) {
    let length = line_length_mm(&stop.line_mm);
    let under = if stop.at == WaterStopAt::Door { Vec::new() } else { under_screens(model, stop) };
    let elsewhere = match stop.at {
        WaterStopAt::Screen if !under.is_empty() => WaterStopAt::ShowerEdge,
        at => at,
    };
    let mut parts: Vec<(f64, f64, WaterStopAt)> = Vec::new();
    let mut at = 0.0;
    for (from, to) in under {
        if from - at > 1.0 {
            parts.push((at, from, elsewhere));
        }
        parts.push((from, to, WaterStopAt::Screen));
        at = to;
    }
    if length - at > 1.0 {
        parts.push((at, length, elsewhere));
    }
    for (i, (from, to, what)) in parts.iter().enumerate() {
        let line = part_of_line(&stop.line_mm, *from, *to);
        let zone = nearest(model, &line, NEAR_MM);
        let (word, phrase) = match what {
            WaterStopAt::Screen => ("screen", "under the screen"),
            WaterStopAt::ShowerEdge => ("shower-edge", "at the open edge of the shower"),
            WaterStopAt::Door => ("door", "at the door"),
        };
        let again = parts[..i].iter().any(|p| p.2 == *what);
        let suffix = if again { format!("/after-{from:.0}") } else { String::new() };
        let id = format!("water-stop/{}/{word}{suffix}", stop.id);
        let name = format!("water stop {} {phrase}", stop.id);
        let mut detail = model.detail(DetailKind::WaterStop, id, name, zone, None, Face::Floor, Place::Run(line), &stop.id);
        detail.layer = model.top_layer(zone);
        detail.group = super::group::key(DetailKind::WaterStop, zone.kind, detail.layer);
        detail.at = Some(*what);
        detail.level_mm = stop.top_mm;
        out.push(detail);
    }
}

/// Stretches along a water stop that a screen stands on, in order and without overlap.
fn under_screens(model: &Model, stop: &WaterStop) -> Vec<(f64, f64)> {
    let mut found: Vec<(f64, f64)> = Vec::new();
    let mut start = 0.0;
    for piece in pieces(&stop.line_mm) {
        let length = piece.length_mm();
        for screen in model.room.screens.iter().flat_map(|s| pieces(&s.line_mm)) {
            let (a, b) = (piece.local(screen.from), piece.local(screen.to));
            if a[1].abs() > UNDER_SCREEN_MM || b[1].abs() > UNDER_SCREEN_MM {
                continue;
            }
            let (from, to) = (a[0].min(b[0]).max(0.0).min(length), a[0].max(b[0]).max(0.0).min(length));
            if to - from > UNDER_SCREEN_MM.min(length / 2.0) {
                found.push((start + from, start + to));
            }
        }
        start += length;
    }
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut joined: Vec<(f64, f64)> = Vec::new();
    for (from, to) in found {
        match joined.last_mut() {
            Some(last) if from - last.1 <= 1.0 => last.1 = last.1.max(to),
            _ => joined.push((from, to)),
        }
    }
    joined
}

fn wall<'m, 'a>(model: &'m Model<'a>, name: &str) -> Option<&'m WallModel<'a>> {
    model.walls.iter().find(|w| w.name == name)
}

/// The zone beside a place of a wall.
fn beside<'m, 'a>(model: &'m Model<'a>, wall: &WallModel, from: f64, to: f64) -> &'m FloorZone<'a> {
    let zones = wall.pieces.iter().filter(|p| p.from <= to && from <= p.to).map(|p| &model.zones[p.zone]);
    zones.min_by_key(|z| z.kind).unwrap_or(&model.zones[model.zones.len() - 1])
}

fn derive_penetration(model: &Model, p: &Penetration, out: &mut Vec<Detail>) {
    let what = match p.kind {
        PenetrationKind::Pipe => "pipe",
        PenetrationKind::Tap => "tap body",
        PenetrationKind::Waste => "waste pipe",
        PenetrationKind::Cable => "cable",
        PenetrationKind::Fixing => "fixing",
    };
    if let Some(wall) = p.wall.as_deref().and_then(|name| wall(model, name)) {
        let along = p.along_mm.unwrap_or(wall.edge.length_mm() / 2.0);
        let zone = beside(model, wall, along, along);
        let place = Place::Point([along, p.height_mm.unwrap_or(0.0)]);
        let face = Face::Wall(wall.name.into());
        let name = format!("{what} {} through wall {}", p.id, wall.name);
        let mut detail = penetration(model, &p.id, name, zone, face, place, &p.id);
        if p.along_mm.is_none() || p.height_mm.is_none() {
            detail.unknown.push("its place on the wall".into());
        }
        out.push(detail);
    } else if let (Some(x), Some(y)) = (p.x_mm, p.y_mm) {
        // Through the floor means through every membrane there is.
        let zone = model.zone_near([x, y], NEAR_MM);
        for layer in &zone.layers {
            let (id, name) = (format!("penetration/{}", p.id), format!("{what} {} through the floor", p.id));
            out.push(model.detail(DetailKind::Penetration, id, name, zone, *layer, Face::Floor, Place::Point([x, y]), &p.id));
        }
    }
}

/// A penetration of a wall: through the uppermost membrane there, which does not show in its id.
fn penetration(model: &Model, id: &str, name: String, zone: &FloorZone, face: Face, place: Place, of: &str) -> Detail {
    let id = format!("penetration/{id}");
    let detail = model.detail(DetailKind::Penetration, id, name, zone, None, face, place, of);
    on_layer(detail, model.top_layer(zone))
}

fn on_layer(mut detail: Detail, layer: Layer) -> Detail {
    detail.layer = layer;
    detail.group = super::group::key(detail.kind, detail.zone, layer);
    detail
}

/// A rose or tap on a wall has a pipe through it, drawn or not.
fn fixture_penetration(model: &Model, fixture: &Fixture, out: &mut Vec<Detail>) {
    if !matches!(fixture.kind, FixtureKind::ShowerRose | FixtureKind::Tap) {
        return;
    }
    let Some(wall) = fixture.wall.as_deref().and_then(|name| wall(model, name)) else { return };
    let along = wall.edge.local([fixture.x_mm, fixture.y_mm])[0].max(0.0).min(wall.edge.length_mm());
    let own = |p: &Penetration| {
        p.wall.as_deref() == Some(wall.name)
            && matches!(p.kind, PenetrationKind::Pipe | PenetrationKind::Tap)
            && p.along_mm.is_none_or(|a| (a - along).abs() <= OWN_PENETRATION_MM)
    };
    if model.room.penetrations.iter().any(own) {
        return;
    }
    let zone = beside(model, wall, along, along);
    let place = Place::Point([along, fixture.height_mm.unwrap_or(0.0)]);
    let name = format!("pipe of {} through wall {}", fixture.id, wall.name);
    let id = format!("of-{}", fixture.id);
    let mut detail = penetration(model, &id, name, zone, Face::Wall(wall.name.into()), place, &fixture.id);
    detail.unknown.push("its place on the wall".into());
    out.push(detail);
}

/// Five faces, the eight edges between them, the four round the mouth.
fn derive_recess(model: &Model, r: &Recess, out: &mut Vec<Detail>) {
    let Some(wall) = wall(model, &r.wall) else { return };
    let zone = beside(model, wall, r.from_mm, r.from_mm + r.width_mm);
    let layer = model.top_layer(zone);
    let (w, h, d) = (r.width_mm, r.height_mm, r.depth_mm);
    let on = |face: &str| Face::Recess(r.id.clone(), face.into());
    let recess = super::named("recess", &r.id);
    let faces = [("back", [w, h]), ("sill", [w, d]), ("head", [w, d]), ("left", [d, h]), ("right", [d, h])];
    for (face, size) in faces {
        let place = Place::Patch(vec![vec![rectangle([0.0, 0.0], size)]]);
        let name = format!("{face} of {recess}");
        let id = format!("recess/{}/{face}", r.id);
        let detail = model.detail(DetailKind::RecessFace, id, name, zone, None, on(face), place, &r.id);
        out.push(on_layer(detail, layer));
    }
    let (left, right) = (r.from_mm + w, r.from_mm);
    let (low, top) = (r.sill_mm, r.sill_mm + h);
    let mouth = Face::Wall(wall.name.into());
    let between = [
        ("back-sill", on("back"), [[0.0, 0.0], [w, 0.0]]),
        ("back-head", on("back"), [[0.0, h], [w, h]]),
        ("back-left", on("back"), [[w, 0.0], [w, h]]),
        ("back-right", on("back"), [[0.0, 0.0], [0.0, h]]),
        ("sill-left", on("sill"), [[w, 0.0], [w, d]]),
        ("sill-right", on("sill"), [[0.0, 0.0], [0.0, d]]),
        ("head-left", on("head"), [[w, 0.0], [w, d]]),
        ("head-right", on("head"), [[0.0, 0.0], [0.0, d]]),
        ("mouth-sill", mouth.clone(), [[right, low], [left, low]]),
        ("mouth-head", mouth.clone(), [[right, top], [left, top]]),
        ("mouth-left", mouth.clone(), [[left, low], [left, top]]),
        ("mouth-right", mouth, [[right, low], [right, top]]),
    ];
    for (edge, face, line) in between {
        let name = match edge.strip_prefix("mouth-") {
            Some(side) => format!("edge of the mouth of {recess} at its {side}"),
            None => format!("edge of {recess} between {}", edge.replace('-', " and ")),
        };
        let id = format!("recess/{}/edge/{edge}", r.id);
        let detail = model.detail(DetailKind::RecessEdge, id, name, zone, None, face, Place::Run(line.to_vec()), &r.id);
        out.push(on_layer(detail, layer));
    }
}

/// Joints, cracks, laps and meetings: lines on the floor or a wall.
fn lines(model: &Model, out: &mut Vec<Detail>) {
    for joint in &model.room.joints {
        let kind = match joint.kind {
            JointKind::Movement => DetailKind::MovementJoint,
            JointKind::Sealant => DetailKind::SealantJoint,
        };
        let word = if joint.kind == JointKind::Movement { "movement" } else { "sealant" };
        let line = Line { kind, id: format!("joint/{}", joint.id), of: &joint.id, on: &joint.on, line: &joint.line_mm, layer: None };
        line.derive(model, format!("{word} joint {}", joint.id), out);
    }
    for crack in &model.room.cracks {
        let line = Line {
            kind: DetailKind::Crack,
            id: format!("crack/{}", crack.id),
            of: &crack.id,
            on: &crack.on,
            line: &crack.line_mm,
            layer: None,
        };
        line.derive(model, super::named("crack", &crack.id), out);
    }
    for membrane in &model.room.membranes {
        for lap in &membrane.laps {
            let (id, layer) = (format!("lap/{}", lap.id), Some(membrane.layer));
            let line = Line { kind: DetailKind::Lap, id, of: &lap.id, on: &lap.on, line: &lap.line_mm, layer };
            line.derive(model, format!("lap {} of {}", lap.id, membrane.id), out);
        }
    }
    for meeting in &model.room.meetings {
        let id = format!("meeting/{}", meeting.id);
        let layer = meeting_layer(model, &meeting.of);
        let line = Line { kind: DetailKind::SystemMeeting, id, of: &meeting.id, on: &meeting.on, line: &meeting.line_mm, layer };
        line.derive(model, format!("{} meets {}", meeting.of[0], meeting.of[1]), out);
    }
}

/// The layer two membranes meet in, when both known ones are of one layer.
fn meeting_layer(model: &Model, of: &[String; 2]) -> Option<MembraneLayer> {
    let mut layers = of.iter().filter_map(|id| model.room.membranes.iter().find(|m| m.id == *id)).map(|m| m.layer);
    let first = layers.next()?;
    layers.all(|l| l == first).then_some(first)
}

struct Line<'l> {
    kind: DetailKind,
    id: String,
    of: &'l str,
    on: &'l str,
    line: &'l [PointMm],
    layer: Layer,
}

impl Line<'_> {
    fn derive(self, model: &Model, name: String, out: &mut Vec<Detail>) {
        if self.line.len() < 2 {
            return;
        }
        let (zone, face) = if self.on == FLOOR {
            (nearest(model, self.line, 0.0), Face::Floor)
        } else {
            let Some(wall) = wall(model, self.on) else { return };
            let along = self.line.iter().map(|p| p[0]);
            let (from, to) = along.fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), x| (lo.min(x), hi.max(x)));
            (beside(model, wall, from, to), Face::Wall(wall.name.into()))
        };
        let name = format!("{name}, {}", zone.words());
        let detail = model.detail(self.kind, self.id, name, zone, None, face, Place::Run(self.line.to_vec()), self.of);
        out.push(on_layer(detail, self.layer));
    }
}
