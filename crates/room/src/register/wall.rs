//! What belongs to walls: fields, junctions, corners, upturn terminations, thresholds, sealant joints.

use super::model::{Cut, FloorZone, Layer, Model, Run, Span, Top, WallModel, higher, runs};
use super::{Detail, DetailKind, Face, Place};
use crate::geometry::{AT_WALL_MM, Corner, area_of, corner_after, rectangle, tidy};
use crate::nouns::{LayerKind, OpeningKind};
use crate::unfold::{DRAWN_WALL_MM, wall_holes};
use geo::{BooleanOps, MultiPolygon};
use measure::PointMm;
use std::collections::BTreeSet;

/// Height an upturn is drawn to when the room does not say one.
const DRAWN_UPTURN_MM: f64 = 150.0;
/// A membrane that goes no higher up a wall is an upturn: its junction, corners and upper edge are looked at, and it makes
/// no field or upright junction of its own (common practice, no source).
const UPTURN_MM: f64 = 300.0;

pub fn derive(model: &Model, out: &mut Vec<Detail>) {
    for wall in &model.walls {
        fields(model, wall, out);
    }
    for wall in &model.walls {
        junctions(model, wall, out);
    }
    corners(model, out);
    for wall in &model.walls {
        terminations(model, wall, out);
    }
    thresholds(model, out);
    if tiled(model) {
        sealant(model, out);
    }
}

fn drawn_wall(wall: &WallModel) -> f64 {
    wall.height_mm.unwrap_or(DRAWN_WALL_MM)
}

fn drawn(top: Top, wall: &WallModel) -> f64 {
    match top {
        Top::Known(level) => level.value(),
        Top::Wall => drawn_wall(wall),
        Top::Upturn => DRAWN_UPTURN_MM,
    }
}

/// Whether a membrane covers part of the wall, beyond being turned up at its foot.
fn covers_wall(top: Top) -> bool {
    match top {
        Top::Known(level) => level.value() > UPTURN_MM,
        Top::Wall => true,
        Top::Upturn => false,
    }
}

/// Membrane on the walls by zone, without openings and mouths of recesses.
fn fields(model: &Model, wall: &WallModel, out: &mut Vec<Detail>) {
    let holes = wall_holes(model.room, wall.name, drawn_wall(wall));
    for layer in &model.layers {
        let spans: Vec<Span> = model.spans(wall, *layer).into_iter().filter(|s| covers_wall(s.top)).collect();
        let zones: BTreeSet<usize> = spans.iter().map(|s| s.zone).collect();
        for zone in zones {
            let here: Vec<&Span> = spans.iter().filter(|s| s.zone == zone).collect();
            let rings: Vec<Vec<PointMm>> = here.iter().map(|s| rectangle([s.from, 0.0], [s.to, drawn(s.top, wall)])).collect();
            let whole = rings.iter().fold(MultiPolygon(vec![]), |all, ring| all.union(&area_of(ring)));
            let left = holes.iter().fold(whole, |left, (_, hole)| left.difference(&area_of(hole)));
            let known: Vec<PointMm> = rings.iter().flatten().chain(holes.iter().flat_map(|(_, h)| h)).copied().collect();
            let patch = tidy(&left, &known);
            if patch.is_empty() {
                continue;
            }
            let z = &model.zones[zone];
            let name = format!("wall {}, {}", wall.name, z.words());
            let id = format!("wall/{}/{}", wall.name, z.id);
            let face = Face::Wall(wall.name.into());
            let mut detail = model.detail(DetailKind::WallField, id, name, z, *layer, face, Place::Patch(patch), wall.name);
            if here.iter().any(|s| s.top == Top::Wall) {
                detail.area_m2 = None;
                detail.unknown.push("how high the membrane goes up this wall".into());
            }
            out.push(detail);
        }
    }
}

/// The parts of a piece's floor line that are not door, each with what tells its id from the first of its kind.
fn floor_runs(model: &Model, wall: &WallModel) -> Vec<(usize, Run)> {
    let mut out: Vec<(usize, Run)> = Vec::new();
    let mut before: Option<&str> = None;
    for piece in &wall.pieces {
        for mut run in runs(piece.from, piece.to, &wall.doors) {
            if run.after.is_none() && out.iter().any(|(zone, _)| *zone == piece.zone) {
                run.after = before.map(str::to_owned);
            }
            out.push((piece.zone, run));
        }
        before = Some(model.zones[piece.zone].id);
    }
    out
}

fn with_after(base: String, run: &Run) -> String {
    match &run.after {
        Some(after) => format!("{base}/after-{after}"),
        None => base,
    }
}

fn junctions(model: &Model, wall: &WallModel, out: &mut Vec<Detail>) {
    for (zone, run) in floor_runs(model, wall) {
        let Some(piece) = wall.pieces.iter().find(|p| p.zone == zone && p.from <= run.from && run.to <= p.to) else { continue };
        let z = &model.zones[zone];
        for layer in model.layers_at(wall, piece) {
            let id = with_after(format!("junction/{}/{}", wall.name, z.id), &run);
            let name = format!("wall-floor junction, wall {}, {}", wall.name, z.words());
            let place = Place::Run(vec![[run.from, 0.0], [run.to, 0.0]]);
            let face = Face::Wall(wall.name.into());
            out.push(model.detail(DetailKind::WallFloorJunction, id, name, z, layer, face, place, wall.name));
        }
    }
}

/// Two walls that meet, and the wetter of the zones beside them there.
struct Meet<'m, 'a> {
    a: &'m WallModel<'a>,
    b: &'m WallModel<'a>,
    corner: Corner,
    zone: &'m FloorZone<'a>,
    layers: BTreeSet<Layer>,
    name: String,
}

fn meets<'m, 'a>(model: &'m Model<'a>) -> Vec<Meet<'m, 'a>> {
    let count = model.walls.len();
    let mut out = Vec::new();
    for i in 0..count {
        let corner = corner_after(&model.room.outline_mm, i);
        let (a, b) = (&model.walls[i], &model.walls[(i + 1) % count]);
        let (Some(last), Some(first)) = (a.pieces.last(), b.pieces.first()) else { continue };
        if corner == Corner::Straight {
            continue;
        }
        let zone = [last, first].into_iter().map(|p| &model.zones[p.zone]).min_by_key(|z| z.kind).expect("two zones");
        let mut layers = model.layers_at(a, last);
        layers.extend(model.layers_at(b, first));
        if layers.len() > 1 {
            layers.remove(&None);
        }
        out.push(Meet { a, b, corner, zone, layers, name: format!("{}+{}", a.name, b.name) });
    }
    out
}

fn corners(model: &Model, out: &mut Vec<Detail>) {
    let meets = meets(model);
    for meet in &meets {
        for layer in &meet.layers {
            wall_wall(model, meet, *layer, out);
        }
    }
    for meet in &meets {
        let (kind, word) = match meet.corner {
            Corner::External => (DetailKind::ExternalCorner, "external"),
            _ => (DetailKind::InternalCorner, "internal"),
        };
        for layer in &meet.layers {
            let name = format!("{word} corner at the floor, walls {} and {}", meet.a.name, meet.b.name);
            let id = format!("corner/{}", meet.name);
            out.push(model.detail(kind, id, name, meet.zone, *layer, Face::Floor, Place::Point(meet.a.edge.to), &meet.name));
        }
    }
}

/// The upright run at a corner, up to the membrane's height.
fn wall_wall(model: &Model, meet: &Meet, layer: Layer, out: &mut Vec<Detail>) {
    let at_end = model.spans(meet.a, layer).last().filter(|s| s.to > meet.a.edge.length_mm() - AT_WALL_MM).map(|s| s.top);
    let at_start = model.spans(meet.b, layer).first().filter(|s| s.from < AT_WALL_MM).map(|s| s.top);
    let Some(top) = at_end.into_iter().chain(at_start).reduce(higher).filter(|top| covers_wall(*top)) else { return };
    let height = drawn(top, meet.a).min(drawn_wall(meet.a)).min(drawn_wall(meet.b));
    let along = meet.a.edge.length_mm();
    let place = Place::Run(vec![[along, 0.0], [along, height]]);
    let word = if meet.corner == Corner::External { "external " } else { "" };
    let name = format!("{word}wall-wall junction, walls {} and {}", meet.a.name, meet.b.name);
    let face = Face::Wall(meet.a.name.into());
    let id = format!("wall-wall/{}", meet.name);
    let mut detail = model.detail(DetailKind::WallWallJunction, id, name, meet.zone, layer, face, place, &meet.name);
    match top {
        Top::Known(level) => detail.level_mm = Some(level),
        Top::Wall | Top::Upturn => {
            detail.length_m = None;
            detail.unknown.push("how high the membrane goes up this corner".into());
        }
    }
    out.push(detail);
}

/// The upper edge of each membrane on each wall. Where it is known to reach the top of the wall there is none.
fn terminations(model: &Model, wall: &WallModel, out: &mut Vec<Detail>) {
    for layer in &model.layers {
        let mut before: Option<String> = None;
        let mut seen: BTreeSet<usize> = BTreeSet::new();
        for span in model.spans(wall, *layer) {
            let z = &model.zones[span.zone];
            let level = drawn(span.top, wall);
            let at_ceiling = wall.height_mm.is_some_and(|height| level >= height - AT_WALL_MM);
            if at_ceiling && matches!(span.top, Top::Known(_)) {
                before = Some(z.id.to_owned());
                continue;
            }
            for mut run in runs(span.from, span.to, &cuts_at(model, wall, span.top, level)) {
                if run.after.is_none() && seen.contains(&span.zone) {
                    run.after = before.clone();
                }
                seen.insert(span.zone);
                let id = with_after(format!("upturn/{}/{}", wall.name, z.id), &run);
                let name = format!("upper edge of the membrane, wall {}, {}", wall.name, z.words());
                let place = Place::Run(vec![[run.from, level], [run.to, level]]);
                let face = Face::Wall(wall.name.into());
                let mut detail = model.detail(DetailKind::UpturnTermination, id, name, z, *layer, face, place, wall.name);
                match span.top {
                    Top::Known(level) => detail.level_mm = Some(level),
                    Top::Wall | Top::Upturn => detail.unknown.push("height of the membrane's upper edge".into()),
                }
                out.push(detail);
            }
            before = Some(if matches!(span.top, Top::Known(_)) { "step".into() } else { z.id.to_owned() });
        }
    }
}

/// Openings that reach over an upper edge: every door, and a window whose sill lies below and head above it.
fn cuts_at<'a>(model: &'a Model, wall: &WallModel<'a>, top: Top, level: f64) -> Vec<Cut<'a>> {
    let height = drawn_wall(wall);
    let over = |o: &&crate::nouns::Opening| match o.kind {
        OpeningKind::Door => o.height_mm.unwrap_or(height) > level || top == Top::Upturn,
        OpeningKind::Window => match (o.sill_mm, o.height_mm) {
            (Some(sill), Some(h)) => sill <= level && level < sill + h,
            _ => false,
        },
    };
    let openings = model.room.openings.iter().filter(|o| o.wall == wall.name).filter(over);
    openings.map(|o| Cut { by: &o.id, from: o.from_mm, to: o.from_mm + o.width_mm }).collect()
}

fn thresholds(model: &Model, out: &mut Vec<Detail>) {
    for opening in model.room.openings.iter().filter(|o| o.kind == OpeningKind::Door) {
        let Some(wall) = model.walls.iter().find(|w| w.name == opening.wall) else { continue };
        let (from, to) = (opening.from_mm, opening.from_mm + opening.width_mm);
        let beside = wall.pieces.iter().filter(|p| p.from < to && from < p.to).map(|p| &model.zones[p.zone]);
        let Some(zone) = beside.min_by_key(|z| z.kind) else { continue };
        let place = Place::Run(vec![[from, 0.0], [to, 0.0]]);
        let face = Face::Wall(wall.name.into());
        let (id, name) = (format!("threshold/{}", opening.id), format!("threshold at {}", opening.id));
        let mut detail = model.detail(DetailKind::Threshold, id, name, zone, None, face, place, &opening.id);
        detail.level_mm = opening.threshold_mm;
        out.push(detail);
    }
}

/// A room is tiled unless its build-up is known and has no tile anywhere.
fn tiled(model: &Model) -> bool {
    let Some(build_up) = &model.room.build_up else { return true };
    let mut layers = model.zones.iter().flat_map(|z| build_up.layers_of(z.id)).peekable();
    layers.peek().is_none() || layers.any(|l| l.kind == LayerKind::Tile)
}

/// At tile stage each wall-floor junction, and each internal one between walls, has its sealant joint.
fn sealant(model: &Model, out: &mut Vec<Detail>) {
    for wall in &model.walls {
        for (zone, run) in floor_runs(model, wall) {
            let z = &model.zones[zone];
            let id = with_after(format!("sealant/{}/{}", wall.name, z.id), &run);
            let name = format!("sealant joint, wall {} to floor, {}", wall.name, z.words());
            let place = Place::Run(vec![[run.from, 0.0], [run.to, 0.0]]);
            out.push(model.detail(DetailKind::SealantJoint, id, name, z, None, Face::Wall(wall.name.into()), place, wall.name));
        }
    }
    for meet in meets(model).iter().filter(|m| m.corner == Corner::Internal) {
        let along = meet.a.edge.length_mm();
        let place = Place::Run(vec![[along, 0.0], [along, drawn_wall(meet.a).min(drawn_wall(meet.b))]]);
        let name = format!("sealant joint, walls {} and {}", meet.a.name, meet.b.name);
        let face = Face::Wall(meet.a.name.into());
        let id = format!("sealant/{}", meet.name);
        let mut detail = model.detail(DetailKind::SealantJoint, id, name, meet.zone, None, face, place, &meet.name);
        if meet.a.height_mm.or(meet.b.height_mm).is_none() {
            detail.length_m = None;
            detail.unknown.push("height of the walls".into());
        }
        out.push(detail);
    }
}
