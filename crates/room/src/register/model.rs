//! What the register is derived from: the floor by zone, the walls in pieces, the membranes by layer.

use super::{Detail, DetailKind, Face, Place};
use crate::Room;
use crate::geometry::{AT_WALL_MM, Edge, ROUNDING_MM, area_of, band, circle, contains, edges, line_length_mm, patch_area_mm2, tidy};
use crate::nouns::{FLOOR, LayerKind, Membrane, MembraneLayer, OpeningKind, OutletKind, REST, Zone, ZoneKind};
use geo::{BooleanOps, MultiPolygon};
use measure::{Measured, PointMm};
use std::collections::BTreeSet;

/// A membrane's layer; `None` stands for every layer of a room, or part of one, that names none.
pub type Layer = Option<MembraneLayer>;

/// The room, cut up.
pub struct Model<'a> {
    pub room: &'a Room,
    /// Zones in the order of the room, then the floor outside them.
    pub zones: Vec<FloorZone<'a>>,
    pub walls: Vec<WallModel<'a>>,
    /// Layers anywhere in the room.
    pub layers: BTreeSet<Layer>,
}

/// One zone of the floor.
pub struct FloorZone<'a> {
    pub id: &'a str,
    pub kind: ZoneKind,
    pub zone: Option<&'a Zone>,
    /// The zone within the outline, as rings.
    pub reach: Vec<Vec<Vec<PointMm>>>,
    /// The same without the outlets.
    pub field: Vec<Vec<Vec<PointMm>>>,
    /// Layers on its floor; never empty.
    pub layers: BTreeSet<Layer>,
}

impl FloorZone<'_> {
    /// As one says it: the drawn name with what it is, where the name does not say that by itself.
    pub fn words(&self) -> String {
        let kind = super::group::zone_words(self.kind);
        match self.zone {
            Some(zone) if !kind.contains(zone.id.as_str()) => format!("{} ({kind})", zone.id),
            _ => kind.into(),
        }
    }
}

/// A wall in pieces by the zone beside it.
pub struct WallModel<'a> {
    pub name: &'a str,
    pub edge: Edge,
    pub height_mm: Option<f64>,
    /// From one end to the other without gap.
    pub pieces: Vec<Piece>,
    /// Doors: what a run along the floor is cut by.
    pub doors: Vec<Cut<'a>>,
}

/// A part of a wall beside one zone.
#[derive(Clone, Copy, Debug)]
pub struct Piece {
    /// Index into [`Model::zones`].
    pub zone: usize,
    pub from: f64,
    pub to: f64,
}

/// Something that interrupts a run, by its name.
#[derive(Clone, Debug)]
pub struct Cut<'a> {
    pub by: &'a str,
    pub from: f64,
    pub to: f64,
}

/// A part of a run, and what it comes after when it is not the first.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    pub from: f64,
    pub to: f64,
    pub after: Option<String>,
}

/// How high a membrane goes up a wall.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Top {
    /// To this level.
    Known(Measured),
    /// Over the wall of a shower, to a height the room does not say.
    Wall,
    /// Turned up to a height the room does not say.
    Upturn,
}

/// A part of a wall with one height of membrane beside one zone.
#[derive(Clone, Copy, Debug)]
pub struct Span {
    pub zone: usize,
    pub from: f64,
    pub to: f64,
    pub top: Top,
}

impl<'a> Model<'a> {
    pub fn of(room: &'a Room) -> Self {
        let zones = zones(room);
        let walls = walls(room, &zones);
        let mut layers: BTreeSet<Layer> = zones.iter().flat_map(|z| z.layers.iter().copied()).collect();
        layers.extend(room.membranes.iter().map(|m| Some(m.layer)));
        Self { room, zones, walls, layers }
    }

    /// The wettest zone at or within `reach_mm` of a place: its kind, and its id where it has one.
    pub fn zone_near(&self, p: PointMm, reach_mm: f64) -> &FloorZone<'a> {
        let last = self.zones.len() - 1;
        let holds = |z: &&FloorZone| z.reach.iter().any(|polygon| polygon.first().is_some_and(|ring| contains(ring, p, reach_mm)));
        self.zones[..last].iter().filter(holds).min_by_key(|z| z.kind).unwrap_or(&self.zones[last])
    }

    /// The uppermost layer of a zone.
    pub fn top_layer(&self, zone: &FloorZone) -> Layer {
        zone.layers.iter().next_back().copied().flatten()
    }

    /// How high the membrane of a layer goes along a wall; nothing where it does not go up at all.
    pub fn spans(&self, wall: &WallModel, layer: Layer) -> Vec<Span> {
        let drawn: Vec<Option<&Membrane>> = self.room.membranes.iter().filter(|m| Some(m.layer) == layer).map(Some).collect();
        let membranes = if drawn.is_empty() { vec![None] } else { drawn };
        let mut stops: Vec<f64> = wall.pieces.iter().flat_map(|p| [p.from, p.to]).collect();
        for cover in membranes.iter().flatten().flat_map(|m| &m.covers).filter(|c| c.on == wall.name) {
            stops.extend([cover.from_mm, cover.to_mm].into_iter().flatten().map(|x| x.max(0.0).min(wall.edge.length_mm())));
        }
        stops.sort_by(f64::total_cmp);
        stops.dedup_by(|a, b| *a - *b < ROUNDING_MM);
        let mut spans: Vec<Span> = Vec::new();
        for pair in stops.windows(2) {
            let middle = (pair[0] + pair[1]) / 2.0;
            let Some(piece) = wall.pieces.iter().find(|p| p.from <= middle && middle <= p.to) else { continue };
            let tops = membranes.iter().filter_map(|m| self.top(*m, layer, wall, piece, middle));
            let Some(top) = tops.reduce(higher) else { continue };
            match spans.last_mut() {
                Some(last) if last.zone == piece.zone && last.top == top && pair[0] - last.to < ROUNDING_MM => last.to = pair[1],
                _ => spans.push(Span { zone: piece.zone, from: pair[0], to: pair[1], top }),
            }
        }
        spans
    }

    /// How high one membrane goes at a place of a wall.
    fn top(&self, membrane: Option<&Membrane>, layer: Layer, wall: &WallModel, piece: &Piece, along: f64) -> Option<Top> {
        let zone = &self.zones[piece.zone];
        let on_floor = zone.layers.contains(&layer);
        let covers = membrane.map_or(&[] as &[_], |m| m.covers.as_slice());
        let here = |from: Option<f64>, to: Option<f64>| from.is_none_or(|f| f <= along) && to.is_none_or(|t| along <= t);
        let listed: Vec<_> = covers.iter().filter(|c| c.on == wall.name && here(c.from_mm, c.to_mm)).collect();
        if !listed.is_empty() {
            return listed.iter().map(|c| c.top_mm.map_or_else(|| self.unsaid_top(zone, layer), Top::Known)).reduce(higher);
        }
        // The floor is covered and the wall not mentioned: the membrane is turned up somehow.
        let top = if covers.is_empty() { self.unsaid_top(zone, layer) } else { Top::Upturn };
        on_floor.then_some(top)
    }

    /// How high a membrane goes where nobody says.
    fn unsaid_top(&self, zone: &FloorZone, layer: Layer) -> Top {
        if zone.kind != ZoneKind::Shower || self.only_turned_up(layer) {
            return Top::Upturn;
        }
        zone.zone.and_then(|z| z.wall_height_mm).and_then(|h| Measured::exact(h).ok()).map_or(Top::Wall, Top::Known)
    }

    /// A lower membrane with an upper one above it is only turned up at the walls.
    fn only_turned_up(&self, layer: Layer) -> bool {
        layer == Some(MembraneLayer::UnderScreed) && self.layers.contains(&Some(MembraneLayer::OverScreed))
    }

    /// Layers at a piece of a wall: those of the floor beside it and those that go up it.
    pub fn layers_at(&self, wall: &WallModel, piece: &Piece) -> BTreeSet<Layer> {
        let mut layers = self.zones[piece.zone].layers.clone();
        for layer in self.layers.iter().filter(|l| l.is_some()) {
            if self.spans(wall, *layer).iter().any(|s| s.from < piece.to - ROUNDING_MM && piece.from + ROUNDING_MM < s.to) {
                layers.insert(*layer);
            }
        }
        if layers.len() > 1 {
            layers.remove(&None);
        }
        layers
    }

    /// A detail with everything derived alike filled in.
    pub fn detail(
        &self,
        kind: DetailKind,
        id: String,
        name: String,
        zone: &FloorZone,
        layer: Layer,
        face: Face,
        place: Place,
        of: &str,
    ) -> Detail {
        let (area_m2, length_m) = match &place {
            Place::Patch(patch) => (Some(patch_area_mm2(patch) / 1e6), None),
            Place::Run(line) => (None, Some(line_length_mm(line) / 1e3)),
            Place::Point(_) => (None, None),
        };
        Detail {
            id: match layer {
                Some(layer) => format!("{id}/{}", layer_id(layer)),
                None => id,
            },
            kind,
            name: match layer {
                Some(layer) if self.layers.len() > 1 => format!("{name}, {}", layer_words(layer)),
                _ => name,
            },
            zone: zone.kind,
            zone_id: zone.zone.map(|z| z.id.clone()),
            layer,
            face,
            place,
            area_m2,
            length_m,
            of: of.into(),
            group: super::group::key(kind, zone.kind, layer),
            at: None,
            level_mm: None,
            unknown: Vec::new(),
        }
    }
}

/// A layer as it stands in ids.
pub fn layer_id(layer: MembraneLayer) -> &'static str {
    match layer {
        MembraneLayer::UnderScreed => "under-screed",
        MembraneLayer::OverScreed => "over-screed",
    }
}

/// A layer in the trade's words.
pub fn layer_words(layer: MembraneLayer) -> &'static str {
    match layer {
        MembraneLayer::UnderScreed => "lower membrane",
        MembraneLayer::OverScreed => "upper membrane",
    }
}

/// The higher of two tops; a known one goes before an unknown one.
pub fn higher(a: Top, b: Top) -> Top {
    match (a, b) {
        (Top::Known(x), Top::Known(y)) => Top::Known(if y.value() > x.value() { y } else { x }),
        (Top::Known(_), _) => a,
        (_, Top::Known(_)) => b,
        (Top::Wall, _) | (_, Top::Wall) => Top::Wall,
        _ => Top::Upturn,
    }
}

/// Cuts a stretch by what interrupts it; each part after the first names what it comes after.
pub fn runs(from: f64, to: f64, cuts: &[Cut]) -> Vec<Run> {
    let mut cuts: Vec<&Cut> = cuts.iter().filter(|c| c.to > from && c.from < to).collect();
    cuts.sort_by(|a, b| a.from.total_cmp(&b.from));
    let mut out = Vec::new();
    let (mut at, mut after) = (from, None);
    for cut in cuts {
        if cut.from - at > ROUNDING_MM {
            out.push(Run { from: at, to: cut.from, after });
        }
        at = at.max(cut.to);
        after = Some(cut.by.to_owned());
    }
    if to - at > ROUNDING_MM {
        out.push(Run { from: at, to, after });
    }
    // Only a second part needs telling apart.
    if let Some(first) = out.first_mut() {
        first.after = None;
    }
    out
}

fn zones(room: &Room) -> Vec<FloorZone<'_>> {
    let mut known: Vec<PointMm> = room.outline_mm.clone();
    let outlets: Vec<Vec<PointMm>> = room.outlets.iter().filter_map(|o| footprint(o, 0.0)).collect();
    known.extend(room.zones.iter().flat_map(|z| &z.polygon_mm).chain(outlets.iter().flatten()));
    let mut rest = area_of(&room.outline_mm);
    // Zones do not overlap in a room without problems; should they, the wetter one has the floor.
    let mut order: Vec<usize> = (0..room.zones.len()).collect();
    order.sort_by_key(|i| room.zones[*i].kind);
    let mut areas: Vec<MultiPolygon<f64>> = vec![MultiPolygon(vec![]); room.zones.len()];
    for i in order {
        let zone = area_of(&room.zones[i].polygon_mm);
        areas[i] = rest.intersection(&zone);
        rest = rest.difference(&zone);
    }
    let cut = |area: &MultiPolygon<f64>| {
        let without = outlets.iter().fold(area.clone(), |left, outlet| left.difference(&area_of(outlet)));
        (tidy(area, &known), tidy(&without, &known))
    };
    let mut out: Vec<FloorZone> = Vec::new();
    for (zone, area) in room.zones.iter().zip(&areas) {
        let (reach, field) = cut(area);
        out.push(FloorZone { id: &zone.id, kind: zone.kind, zone: Some(zone), reach, field, layers: zone_layers(room, &zone.id) });
    }
    let (reach, field) = cut(&rest);
    out.push(FloorZone { id: REST, kind: ZoneKind::Dry, zone: None, reach, field, layers: zone_layers(room, REST) });
    out
}

/// Layers on the floor of a zone, from the membranes drawn and from its build-up.
fn zone_layers(room: &Room, zone: &str) -> BTreeSet<Layer> {
    let covers =
        |m: &&Membrane| m.covers.is_empty() || m.covers.iter().any(|c| c.on == FLOOR && c.zone.as_deref().is_none_or(|z| z == zone));
    let drawn = room.membranes.iter().filter(covers).map(|m| Some(m.layer));
    let built = room.build_up.iter().flat_map(|b| b.layers_of(zone)).filter_map(|l| match l.kind {
        LayerKind::UnderScreedMembrane => Some(Some(MembraneLayer::UnderScreed)),
        LayerKind::OverScreedMembrane => Some(Some(MembraneLayer::OverScreed)),
        _ => None,
    });
    let layers: BTreeSet<Layer> = drawn.chain(built).collect();
    if layers.is_empty() { BTreeSet::from([None]) } else { layers }
}

/// The outlet's grate on plan, made wider all round by `by_mm`; `None` where its place or size is not known.
pub fn footprint(outlet: &crate::nouns::Outlet, by_mm: f64) -> Option<Vec<PointMm>> {
    match outlet.kind {
        OutletKind::Point => Some(circle([outlet.x_mm?, outlet.y_mm?], outlet.radius_mm? + by_mm)),
        OutletKind::Channel => {
            let width = outlet.width_mm? + 2.0 * by_mm;
            (outlet.line_mm.len() >= 2).then(|| band(&outlet.line_mm, width))
        }
    }
}

fn walls<'a>(room: &'a Room, zones: &[FloorZone<'a>]) -> Vec<WallModel<'a>> {
    let sides = edges(&room.outline_mm);
    let walls = sides.iter().zip(&room.walls).map(|(edge, wall)| {
        let doors = room.openings.iter().filter(|o| o.wall == wall.id && o.kind == OpeningKind::Door);
        WallModel {
            name: &wall.id,
            edge: *edge,
            height_mm: room.wall_height_mm(wall.edge),
            pieces: pieces(edge, zones),
            doors: doors.map(|o| cut(&o.id, o.from_mm, o.width_mm, edge.length_mm())).collect(),
        }
    });
    walls.collect()
}

fn cut(by: &str, from: f64, width: f64, length: f64) -> Cut<'_> {
    Cut { by, from: from.max(0.0).min(length), to: (from + width).max(0.0).min(length) }
}

/// A wall cut by the zones whose edges run along it; what no zone touches is beside the rest of the floor.
fn pieces(edge: &Edge, zones: &[FloorZone]) -> Vec<Piece> {
    let length = edge.length_mm();
    let rest = zones.len() - 1;
    let mut touched: Vec<Piece> = Vec::new();
    for (zone, z) in zones.iter().enumerate().take(rest) {
        for side in z.reach.iter().flatten().flat_map(|ring| edges(ring)) {
            let (a, b) = (edge.local(side.from), edge.local(side.to));
            if a[1].abs() > AT_WALL_MM || b[1].abs() > AT_WALL_MM {
                continue;
            }
            let near_end = |v: f64| {
                if v < AT_WALL_MM {
                    0.0
                } else if v > length - AT_WALL_MM {
                    length
                } else {
                    v
                }
            };
            let (from, to) = (near_end(a[0].min(b[0])), near_end(a[0].max(b[0])));
            if to - from > AT_WALL_MM.min(length / 2.0) {
                touched.push(Piece { zone, from, to });
            }
        }
    }
    touched.sort_by(|a, b| a.from.total_cmp(&b.from));
    let mut out: Vec<Piece> = Vec::new();
    let mut at = 0.0;
    for piece in touched {
        let from = piece.from.max(at);
        if piece.to - from <= ROUNDING_MM {
            continue;
        }
        if from - at > AT_WALL_MM {
            out.push(Piece { zone: rest, from: at, to: from });
            at = from;
        }
        match out.last_mut() {
            Some(last) if last.zone == piece.zone => last.to = piece.to,
            _ => out.push(Piece { from: at, ..piece }),
        }
        at = piece.to;
    }
    if length - at > ROUNDING_MM {
        match out.last_mut() {
            Some(last) if length - at <= AT_WALL_MM => last.to = length,
            _ => out.push(Piece { zone: rest, from: at, to: length }),
        }
    }
    out
}
