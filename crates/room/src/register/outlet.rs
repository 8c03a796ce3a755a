//! Outlets: flanges, a channel's own parts, grate to tile, spigot to riser, the drainage path between two membranes.

use super::model::{FloorZone, Layer, Model, footprint, layer_words};
use super::{Detail, DetailKind, Face, Place};
use crate::geometry::{Edge, ROUNDING_MM, along_line, area_of, beside, edges, line_length_mm, pieces, tidy};
use crate::nouns::{Flange, MembraneLayer, Outlet, OutletKind};
use geo::BooleanOps;
use measure::{Measured, PointMm};

/// Floor between a channel and a wall up to this wide is a strip of its own (common practice, no source).
const STRIP_MM: f64 = 300.0;
/// How far round an outlet the wettest zone counts.
const NEAR_MM: f64 = 50.0;

pub fn derive(model: &Model, out: &mut Vec<Detail>) {
    for outlet in &model.room.outlets {
        let Some(centre) = centre(outlet) else { continue };
        let zone = model.zone_near(centre, NEAR_MM);
        let outlet = Parts { model, outlet, zone, centre };
        match outlet.outlet.kind {
            OutletKind::Point => outlet.point(out),
            OutletKind::Channel => outlet.channel(out),
        }
        outlet.grate(out);
        outlet.spigot(out);
        outlet.drainage(out);
    }
}

fn centre(outlet: &Outlet) -> Option<PointMm> {
    match outlet.kind {
        OutletKind::Point => Some([outlet.x_mm?, outlet.y_mm?]),
        OutletKind::Channel => along_line(&outlet.line_mm, line_length_mm(&outlet.line_mm) / 2.0).filter(|_| outlet.line_mm.len() >= 2),
    }
}

/// A flange, drawn or owed.
struct Level<'a> {
    id: String,
    layer: Layer,
    flange: Option<&'a Flange>,
}

struct Parts<'m, 'a> {
    model: &'m Model<'a>,
    outlet: &'m Outlet,
    zone: &'m FloorZone<'a>,
    centre: PointMm,
}

impl Parts<'_, '_> {
    /// The flanges drawn; where none is, one for each membrane at the outlet, its levels unknown.
    fn levels(&self) -> Vec<Level<'_>> {
        if !self.outlet.flanges.is_empty() {
            let drawn = self.outlet.flanges.iter();
            return drawn.map(|f| Level { id: f.id.clone(), layer: self.layer_of(f), flange: Some(f) }).collect();
        }
        let owed = self.zone.layers.iter().map(|layer| Level {
            id: match layer {
                Some(MembraneLayer::UnderScreed) => "lower".into(),
                Some(MembraneLayer::OverScreed) => "upper".into(),
                None => "flange".into(),
            },
            layer: *layer,
            flange: None,
        });
        owed.collect()
    }

    /// The layer a flange belongs to: its membrane's, or by its place among as many membranes as there are flanges.
    fn layer_of(&self, flange: &Flange) -> Layer {
        let named = flange.membrane.as_ref().and_then(|id| self.model.room.membranes.iter().find(|m| m.id == *id));
        if let Some(membrane) = named {
            return Some(membrane.layer);
        }
        match flange.id.as_str() {
            "lower" => return Some(MembraneLayer::UnderScreed).filter(|l| self.zone.layers.contains(&Some(*l))),
            "upper" => return Some(MembraneLayer::OverScreed).filter(|l| self.zone.layers.contains(&Some(*l))),
            _ => {}
        }
        let place = self.outlet.flanges.iter().position(|f| f.id == flange.id)?;
        if self.zone.layers.len() == self.outlet.flanges.len() { self.zone.layers.iter().nth(place).copied().flatten() } else { None }
    }

    /// What tells the flange of one level from another: its membrane, which [`Parts::part`] adds, or else its own name.
    fn flange_of(&self, what: &str, level: &Level) -> String {
        let named = level.layer.is_some() && self.model.layers.len() > 1;
        if named || level.flange.is_none() { what.into() } else { format!("{what}, {}", level.id) }
    }

    /// A detail of this outlet; the layer stands in the id through the flange's name already.
    fn part(&self, kind: DetailKind, id: &str, name: String, layer: Layer, place: Place) -> Detail {
        let mut detail = self.model.detail(kind, id.to_owned(), name, self.zone, None, Face::Floor, place, &self.outlet.id);
        if let Some(layer) = layer {
            detail.layer = Some(layer);
            detail.group = super::group::key(kind, self.zone.kind, Some(layer));
            if self.model.layers.len() > 1 {
                detail.name = format!("{}, {}", detail.name, layer_words(layer));
            }
        }
        detail
    }

    fn point(&self, out: &mut Vec<Detail>) {
        for level in self.levels() {
            let id = format!("outlet/{}/{}", self.outlet.id, level.id);
            let name = self.flange_of(&format!("flange of {}", super::named("outlet", &self.outlet.id)), &level);
            let mut detail = self.part(DetailKind::OutletFlange, &id, name, level.layer, Place::Point(self.centre));
            say_level(&mut detail, level.flange.and_then(|f| f.level_mm), "level of the flange");
            out.push(detail);
        }
    }

    fn channel(&self, out: &mut Vec<Detail>) {
        let (id, line) = (&self.outlet.id, &self.outlet.line_mm);
        let half = self.outlet.width_mm.unwrap_or(0.0) / 2.0;
        for level in self.levels() {
            let width = level.flange.and_then(|f| f.width_mm);
            let reach = half + width.unwrap_or(0.0);
            for (side, by) in [("left", reach), ("right", -reach)] {
                let name = self.flange_of(&format!("flange of channel {id}, {side} side"), &level);
                let id = format!("channel/{id}/{}/side-{side}", level.id);
                let mut detail = self.part(DetailKind::ChannelFlangeSide, &id, name, level.layer, Place::Run(beside(line, by)));
                say_level(&mut detail, level.flange.and_then(|f| f.level_mm), "level of the flange");
                out.push(detail);
            }
            for (end, edge) in self.ends() {
                for (side, by) in [("left", -reach), ("right", reach)] {
                    let name = self.flange_of(&format!("flange of channel {id}, corner {end} {side}"), &level);
                    let id = format!("channel/{id}/{}/corner-{end}-{side}", level.id);
                    // Seen along the line from its start: `edge` points out of the body at both ends.
                    let by = if end == "start" { -by } else { by };
                    let place = Place::Point(edge.at(width.unwrap_or(0.0), by));
                    out.push(self.part(DetailKind::ChannelFlangeCorner, &id, name, level.layer, place));
                }
            }
        }
        for (end, edge) in self.ends() {
            let name = format!("end of channel {id}, {end}");
            let place = Place::Run(vec![edge.at(0.0, -half), edge.at(0.0, half)]);
            out.push(self.part(DetailKind::ChannelEnd, &format!("channel/{id}/end-{end}"), name, None, place));
        }
        self.strips(half, out);
        for joint in &self.outlet.body_joints_mm {
            let Some(p) = along_line(line, *joint) else { continue };
            let name = format!("joint between bodies of channel {id} at {joint:.0} mm");
            out.push(self.part(
                DetailKind::ChannelBodyJoint,
                &format!("channel/{id}/body-joint/at-{joint:.0}"),
                name,
                None,
                Place::Point(p),
            ));
        }
        let name = format!("level of channel {id} along its length");
        let mut detail = self.part(DetailKind::ChannelLevel, &format!("channel/{id}/level"), name, None, Place::Run(line.clone()));
        say_level(&mut detail, self.outlet.grate_mm, "level of the grate");
        out.push(detail);
    }

    /// Both ends of a channel, each as an edge that runs out of the body.
    fn ends(&self) -> Vec<(&'static str, Edge)> {
        let parts = pieces(&self.outlet.line_mm);
        let out_of = |from: PointMm, to: PointMm| {
            let edge = Edge { from, to };
            Edge { from: to, to: edge.at(edge.length_mm() + STRIP_MM, 0.0) }
        };
        let (Some(first), Some(last)) = (parts.first(), parts.last()) else { return Vec::new() };
        vec![("start", out_of(first.to, first.from)), ("finish", out_of(last.from, last.to))]
    }

    /// Floor between the channel's ends or sides and a wall nearby.
    fn strips(&self, half: f64, out: &mut Vec<Detail>) {
        let line = &self.outlet.line_mm;
        let mut beside_it: Vec<(&str, Edge)> = Vec::new();
        for (end, edge) in self.ends() {
            beside_it.push((end, Edge { from: edge.at(0.0, -half), to: edge.at(0.0, half) }));
        }
        if let [a, b] = line[..] {
            let (right, left) = (Edge { from: a, to: b }, Edge { from: b, to: a });
            beside_it.push(("right", Edge { from: right.at(0.0, half), to: right.at(right.length_mm(), half) }));
            beside_it.push(("left", Edge { from: left.at(0.0, half), to: left.at(left.length_mm(), half) }));
        }
        for (word, side) in beside_it {
            let end = word == "start" || word == "finish";
            // Ends are drawn from left to right looking out of the body, sides along it: outwards is left of the one and
            // right of the other.
            let sign = if end { -1.0 } else { 1.0 };
            let Some(ring) = self.strip(&side, sign) else { continue };
            let known: Vec<PointMm> = ring.iter().chain(&self.model.room.outline_mm).copied().collect();
            let patch = tidy(&area_of(&ring).intersection(&area_of(&self.model.room.outline_mm)), &known);
            if patch.is_empty() {
                continue;
            }
            let id = format!("channel/{}/strip-{word}", self.outlet.id);
            let what = if end { format!("{word} of channel") } else { format!("{word} side of channel") };
            let name = format!("strip between {what} {} and the wall", self.outlet.id);
            out.push(self.part(DetailKind::ChannelStrip, &id, name, None, Place::Patch(patch)));
        }
    }

    /// The rectangle from a side of the channel out past the wall, where the wall is no further than [`STRIP_MM`] from
    /// both its ends.
    fn strip(&self, side: &Edge, sign: f64) -> Option<Vec<PointMm>> {
        let walls = edges(&self.model.room.outline_mm);
        let length = side.length_mm();
        let to_wall = |along: f64| {
            let ray = Edge { from: side.at(along, 0.0), to: side.at(along, sign * (STRIP_MM + ROUNDING_MM)) };
            let hits = walls.iter().filter_map(|w| ray.crossing(w)).map(|p| ray.local(p)[0]);
            hits.min_by(f64::total_cmp)
        };
        let inset = (length / 10.0).min(ROUNDING_MM);
        let (near, far) = (to_wall(inset)?, to_wall(length - inset)?);
        let out = near.max(far);
        if out <= 1.0 {
            return None;
        }
        Some(vec![side.at(0.0, 0.0), side.at(length, 0.0), side.at(length, sign * (out + 1.0)), side.at(0.0, sign * (out + 1.0))])
    }

    fn grate(&self, out: &mut Vec<Detail>) {
        let outline = footprint(self.outlet, 0.0);
        let place = match (&outline, self.outlet.kind) {
            (Some(ring), OutletKind::Channel) => Place::Run(ring.iter().chain(ring.first()).copied().collect()),
            _ => Place::Point(self.centre),
        };
        let id = format!("outlet/{}/grate", self.outlet.id);
        let mut detail =
            self.part(DetailKind::GrateToTile, &id, format!("grate to tile, {}", super::named("outlet", &self.outlet.id)), None, place);
        if let (OutletKind::Point, Some(radius)) = (self.outlet.kind, self.outlet.radius_mm) {
            detail.length_m = Some(2.0 * std::f64::consts::PI * radius / 1e3);
        }
        say_level(&mut detail, self.outlet.grate_mm, "level of the grate");
        out.push(detail);
    }

    fn spigot(&self, out: &mut Vec<Detail>) {
        let drawn = self.outlet.spigot_mm.and_then(|at| along_line(&self.outlet.line_mm, at));
        let id = format!("outlet/{}/spigot", self.outlet.id);
        let name = format!("spigot to riser, {}", super::named("outlet", &self.outlet.id));
        let mut detail = self.part(DetailKind::SpigotToRiser, &id, name, None, Place::Point(drawn.unwrap_or(self.centre)));
        if drawn.is_none() && self.outlet.kind == OutletKind::Channel {
            detail.unknown.push("where along the channel the spigot is".into());
        }
        out.push(detail);
    }

    /// With a membrane under and one over the screed, water between them must find its way into the outlet.
    fn drainage(&self, out: &mut Vec<Detail>) {
        let both = [MembraneLayer::UnderScreed, MembraneLayer::OverScreed].iter().all(|l| self.zone.layers.contains(&Some(*l)));
        if !both {
            return;
        }
        let place = match self.outlet.kind {
            OutletKind::Point => Place::Point(self.centre),
            OutletKind::Channel => Place::Run(self.outlet.line_mm.clone()),
        };
        let id = format!("drainage/{}", self.outlet.id);
        let name = format!("drainage path between the membranes at {}", super::named("outlet", &self.outlet.id));
        let mut detail = self.part(DetailKind::DrainagePath, &id, name, None, place);
        detail.layer = Some(MembraneLayer::UnderScreed);
        detail.group = super::group::key(DetailKind::DrainagePath, self.zone.kind, detail.layer);
        out.push(detail);
    }
}

fn say_level(detail: &mut Detail, level: Option<Measured>, what: &str) {
    detail.level_mm = level;
    if level.is_none() {
        detail.unknown.push(what.into());
    }
}
