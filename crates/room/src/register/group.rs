//! Details that one look covers.

use super::model::{Layer, layer_id, layer_words};
use super::{Detail, DetailKind, Place};
use crate::nouns::{MembraneLayer, ZoneKind};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Details of one kind, zone and membrane: one look, photographs, the exceptions marked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Group {
    /// The [`Detail::group`] of all its details.
    pub id: String,
    /// "wall-floor junctions in the shower, 4 runs, 3.9 m".
    pub words: String,
    /// Their kind.
    pub kind: DetailKind,
    /// Their zone.
    pub zone: ZoneKind,
    /// Their membrane.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub layer: Option<MembraneLayer>,
    /// Ids of the details.
    pub details: Vec<String>,
    /// Total area of those whose area is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub area_m2: Option<f64>,
    /// Total length of those whose length is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub length_m: Option<f64>,
    /// How many of them are runs or areas of unknown size, missing in the totals.
    pub unknown_size: usize,
}

/// The id of a group.
pub fn key(kind: DetailKind, zone: ZoneKind, layer: Layer) -> String {
    let (word, zone) = (kind_id(kind), zone_id(zone));
    match layer {
        Some(layer) => format!("{word}/{zone}/{}", layer_id(layer)),
        None => format!("{word}/{zone}"),
    }
}

/// A kind as it stands in files and ids.
fn kind_id(kind: DetailKind) -> String {
    serde_json::to_value(kind).ok().and_then(|v| v.as_str().map(str::to_owned)).unwrap_or_default()
}

fn zone_id(zone: ZoneKind) -> &'static str {
    match zone {
        ZoneKind::Shower => "shower",
        ZoneKind::Splash => "splash",
        ZoneKind::Dry => "dry",
    }
}

/// A zone in words.
pub fn zone_words(zone: ZoneKind) -> &'static str {
    match zone {
        ZoneKind::Shower => "shower",
        ZoneKind::Splash => "splash zone",
        ZoneKind::Dry => "dry area",
    }
}

/// Kinds in the plural.
fn kind_words(kind: DetailKind) -> &'static str {
    match kind {
        DetailKind::FloorField => "floor",
        DetailKind::WallField => "walls",
        DetailKind::WallFloorJunction => "wall-floor junctions",
        DetailKind::WallWallJunction => "wall-wall junctions",
        DetailKind::InternalCorner => "internal corners at the floor",
        DetailKind::ExternalCorner => "external corners at the floor",
        DetailKind::OutletFlange => "outlet flanges",
        DetailKind::ChannelFlangeSide => "sides of channel flanges",
        DetailKind::ChannelFlangeCorner => "corners of channel flanges",
        DetailKind::ChannelEnd => "ends of channels",
        DetailKind::ChannelStrip => "strips between channel and wall",
        DetailKind::ChannelBodyJoint => "joints between channel bodies",
        DetailKind::SpigotToRiser => "spigots to risers",
        DetailKind::ChannelLevel => "channels along their length",
        DetailKind::GrateToTile => "grates to tile",
        DetailKind::WaterStop => "water stops",
        DetailKind::Hob => "hobs",
        DetailKind::Threshold => "thresholds",
        DetailKind::UpturnTermination => "upper edges of the membrane",
        DetailKind::Penetration => "penetrations",
        DetailKind::RecessFace => "faces of recesses",
        DetailKind::RecessEdge => "edges of recesses",
        DetailKind::MovementJoint => "movement joints",
        DetailKind::SealantJoint => "sealant joints",
        DetailKind::Crack => "cracks",
        DetailKind::Lap => "laps",
        DetailKind::SystemMeeting => "meetings of systems",
        DetailKind::DrainagePath => "drainage paths between the membranes",
    }
}

/// The register in groups, in the order their first details come.
pub fn groups(details: &[Detail]) -> Vec<Group> {
    let several_layers =
        [MembraneLayer::UnderScreed, MembraneLayer::OverScreed].iter().all(|layer| details.iter().any(|d| d.layer == Some(*layer)));
    let mut members: BTreeMap<&str, Vec<&Detail>> = BTreeMap::new();
    let mut order: Vec<&str> = Vec::new();
    for detail in details {
        let group = members.entry(&detail.group).or_default();
        if group.is_empty() {
            order.push(&detail.group);
        }
        group.push(detail);
    }
    order.iter().filter_map(|id| group(id, &members[id], several_layers)).collect()
}

fn group(id: &str, details: &[&Detail], several_layers: bool) -> Option<Group> {
    let first = details.first()?;
    let total = |of: fn(&Detail) -> Option<f64>| {
        let known: Vec<f64> = details.iter().filter_map(|d| of(d)).collect();
        (!known.is_empty()).then(|| known.iter().sum::<f64>())
    };
    let (area_m2, length_m) = (total(|d| d.area_m2), total(|d| d.length_m));
    let sized = |d: &&&Detail| match d.place {
        Place::Patch(_) => d.area_m2.is_none(),
        Place::Run(_) => d.length_m.is_none(),
        Place::Point(_) => false,
    };
    let unknown_size = details.iter().filter(sized).count();
    let mut words = format!("{} in the {}", kind_words(first.kind), zone_words(first.zone));
    if let Some(layer) = first.layer.filter(|_| several_layers) {
        words = format!("{words}, {}", layer_words(layer));
    }
    let (one, many) = match first.place {
        Place::Patch(_) => ("area", "areas"),
        Place::Run(_) => ("run", "runs"),
        Place::Point(_) => ("place", "places"),
    };
    words = format!("{words}, {} {}", details.len(), if details.len() == 1 { one } else { many });
    let at_least = if unknown_size > 0 { "at least " } else { "" };
    words = match (&first.place, area_m2, length_m) {
        (Place::Point(_), ..) => words,
        (_, Some(area), _) if area < 1.0 => format!("{words}, {at_least}{area:.2} m²"),
        (_, Some(area), _) => format!("{words}, {at_least}{area:.1} m²"),
        (_, None, Some(length)) => format!("{words}, {at_least}{length:.1} m"),
        (_, None, None) => format!("{words}, size not known"),
    };
    Some(Group {
        id: id.into(),
        words,
        kind: first.kind,
        zone: first.zone,
        layer: first.layer,
        details: details.iter().map(|d| d.id.clone()).collect(),
        area_m2,
        length_m,
        unknown_size,
    })
}
