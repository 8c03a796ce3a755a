//! Every detail of a room that can leak, derived from what was drawn.
//!
//! [`derive`] gives the register, [`groups`] what one look covers. Ids name what a detail was derived from and never count,
//! so that editing one thing leaves the others their names.

mod floor;
mod group;
mod model;
mod outlet;
#[cfg(test)]
mod tests;
mod things;
mod wall;

pub use group::{Group, groups};

use crate::Room;
use crate::geometry::is_floor;
use crate::validate::normalised;
use std::collections::BTreeSet;

use crate::nouns::{MembraneLayer, WaterStopAt, ZoneKind};
use measure::{Measured, PointMm};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What kind of detail. Rules, plans and weights speak of details by these words.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum DetailKind {
    /// Floor of one zone, one layer.
    FloorField,
    /// Part of a wall, one layer.
    WallField,
    /// Run where a wall meets the floor.
    WallFloorJunction,
    /// Upright run where two walls meet.
    WallWallJunction,
    /// Point where two walls and the floor meet, pointing away from the room.
    InternalCorner,
    /// Point where two walls and the floor meet, pointing into the room.
    ExternalCorner,
    /// Membrane to the flange of a point waste, by flange.
    OutletFlange,
    /// Long side of a channel's flange.
    ChannelFlangeSide,
    /// Corner of a channel's flange.
    ChannelFlangeCorner,
    /// End of a channel's body.
    ChannelEnd,
    /// Strip of floor between a channel's end or side and the wall.
    ChannelStrip,
    /// Joint between two bodies of a channel.
    ChannelBodyJoint,
    /// Spigot to riser.
    SpigotToRiser,
    /// Level of a channel along its length.
    ChannelLevel,
    /// Grate against tile, at any outlet.
    GrateToTile,
    /// Run of a water stop.
    WaterStop,
    /// Membrane over a hob.
    Hob,
    /// Run of a door's threshold.
    Threshold,
    /// Upper edge of a membrane on a wall.
    UpturnTermination,
    /// Pipe, cable or fixing through the membrane.
    Penetration,
    /// One face of a recess.
    RecessFace,
    /// One edge between two faces of a recess, or round its mouth.
    RecessEdge,
    /// Movement joint.
    MovementJoint,
    /// Sealant joint.
    SealantJoint,
    /// Crack in the substrate.
    Crack,
    /// Lap of a sheet or joint of a board.
    Lap,
    /// Line where two systems meet.
    SystemMeeting,
    /// Path by which water between two membranes drains.
    DrainagePath,
}

/// On which face of the room a detail lies.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Face {
    /// The floor; local coordinates are plan coordinates.
    Floor,
    /// A wall by id; local coordinates are [along, height].
    Wall(String),
    /// A recess face: recess id, then back, sill, head, left or right as seen from the room. Local coordinates count from
    /// the recess's end nearest the wall's first corner, its mouth and its sill: [along, up] on the back, [along, into] on
    /// sill and head, [into, up] on the two sides.
    Recess(String, String),
}

/// Where a detail lies on its face, in the face's local coordinates.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Place {
    /// An area: one or more polygons, each an outer ring followed by holes.
    Patch(Vec<Vec<Vec<PointMm>>>),
    /// A line.
    Run(Vec<PointMm>),
    /// A point.
    Point(PointMm),
}

/// One detail.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Detail {
    /// Stable name, from what it was derived from: `floor/shower/over-screed`, `junction/w2`, `outlet/w1/upper`.
    pub id: String,
    /// Kind.
    pub kind: DetailKind,
    /// In the trade's words: "wall-floor junction, north wall".
    pub name: String,
    /// Wettest zone it lies in or borders.
    pub zone: ZoneKind,
    /// Id of the zone, where it lies in one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub zone_id: Option<String>,
    /// Membrane concerned. Absent where none is (a sealant joint), and where the room does not yet say which membranes there
    /// are: such a detail stands for every layer.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub layer: Option<MembraneLayer>,
    /// Face it is drawn on.
    pub face: Face,
    /// Place on that face.
    pub place: Place,
    /// Area of a patch.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub area_m2: Option<f64>,
    /// Length of a run.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub length_m: Option<f64>,
    /// The thing in the room it was derived from: outlet, recess, wall, opening ... by id.
    pub of: String,
    /// Details with the same group are covered by one look.
    pub group: String,
    /// What a water stop stands at.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<WaterStopAt>,
    /// Its level over the benchmark where the room states one: upper edge of an upturn, flange, top of a water stop or hob,
    /// threshold, grate.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub level_mm: Option<Measured>,
    /// What the room does not say and the drawing had to suppose: "height of the upturn". Never a basis for a verdict.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub unknown: Vec<String>,
}

/// The register of a room: every field, junction, corner, outlet part, water stop, upturn, penetration, recess and joint.
///
/// Meant for a room without problems ([`crate::validate::check`]); on another it gives what it can. Lengths follow the
/// outline exactly; areas are cut with an error below 1e-6 of the room's. What the room does not say (the height of an
/// upturn, say) leaves the length or area absent and stands in [`Detail::unknown`].
pub fn derive(room: &Room) -> Vec<Detail> {
    let room = normalised(room);
    if !is_floor(&room.outline_mm) {
        return Vec::new();
    }
    let model = model::Model::of(&room);
    let mut details = Vec::new();
    floor::derive(&model, &mut details);
    wall::derive(&model, &mut details);
    outlet::derive(&model, &mut details);
    things::derive(&model, &mut details);
    unique_ids(&mut details);
    details
}

/// Two details derived alike from one thing (a wall whose membrane steps twice, say) are told apart by a number.
fn unique_ids(details: &mut [Detail]) {
    let mut seen: BTreeSet<String> = BTreeSet::new();
    for detail in details {
        let base = detail.id.clone();
        let mut number = 1;
        while !seen.insert(detail.id.clone()) {
            number += 1;
            detail.id = format!("{base}~{number}");
        }
    }
}

/// A thing by kind and id: "outlet waste"; one whose id only says its kind again is "the recess".
fn named(kind: &str, id: &str) -> String {
    if id.eq_ignore_ascii_case(kind) { format!("the {kind}") } else { format!("{kind} {id}") }
}
