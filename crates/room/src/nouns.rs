//! The nouns of a room as they stand in `room.json`. What is not known is left out, and stays unknown.

use measure::{Measured, PointMm};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A room as drawn. Outline, a door, a shower and an outlet are enough to start.
#[derive(Clone, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Room {
    /// `undertile room 1`.
    #[schemars(extend("const" = "undertile room 1"))]
    pub format: String,
    /// Name of the room.
    pub name: String,
    /// Corners of the floor in order, either way round, the last not repeated.
    #[schemars(length(min = 3, max = 1000))]
    pub outline_mm: Vec<PointMm>,
    /// Height of walls that give none of their own.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub height_mm: Option<f64>,
    /// What is known of the walls; an edge of the outline not named here is a wall of which nothing is known.
    pub walls: Vec<Wall>,
    /// Doors and windows.
    pub openings: Vec<Opening>,
    /// Shower, splash and dry zones of the floor; floor outside all of them is dry.
    pub zones: Vec<Zone>,
    /// Shower roses, basins, pans, taps.
    pub fixtures: Vec<Fixture>,
    /// Point wastes and channels.
    pub outlets: Vec<Outlet>,
    /// Water stops.
    pub water_stops: Vec<WaterStop>,
    /// Hobs.
    pub hobs: Vec<Hob>,
    /// Fixed glass.
    pub screens: Vec<Screen>,
    /// Recesses in walls.
    pub recesses: Vec<Recess>,
    /// Pipes, cables, wastes and fixings through the membrane.
    pub penetrations: Vec<Penetration>,
    /// Movement and sealant joints beside those every room has.
    pub joints: Vec<Joint>,
    /// Cracks in the substrate.
    pub cracks: Vec<Crack>,
    /// Membranes, by layer.
    pub membranes: Vec<Membrane>,
    /// Lines where two waterproofing systems meet.
    pub meetings: Vec<Meeting>,
    /// Pipes and cables inside walls and floor.
    pub services: Vec<Service>,
    /// Studs and noggings.
    pub framing: Vec<Framing>,
    /// Under-tile heating.
    pub heated_areas: Vec<HeatedArea>,
    /// Layers from substrate to tile.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub build_up: Option<BuildUp>,
    /// Height of the finished floor outside the door over the benchmark.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub outside_level_mm: Option<Measured>,
}

/// A wall on one edge of the outline.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Wall {
    /// Name, unique in the room.
    pub id: String,
    /// Edge of the outline from 1: edge 1 runs from the first corner to the second, the last back to the first.
    pub edge: usize,
    /// Height.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub height_mm: Option<f64>,
    /// Sheet or render the membrane goes on, in the user's words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub substrate: Option<String>,
    /// What carries it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub construction: Option<Construction>,
    /// Whether weather is behind it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub outer: Option<bool>,
}

/// What carries a wall.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Construction {
    /// Timber studs.
    TimberFrame,
    /// Steel studs.
    SteelFrame,
    /// Block or brick.
    Block,
    /// Concrete.
    Concrete,
}

/// A door or window in a wall.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Opening {
    /// Name.
    pub id: String,
    /// Door or window.
    pub kind: OpeningKind,
    /// Wall, by id (`w3` is the wall on edge 3 when it has no name of its own).
    pub wall: String,
    /// From the wall's first corner, seen in the order of the outline.
    pub from_mm: f64,
    /// Clear width.
    pub width_mm: f64,
    /// Height of the clear opening.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub height_mm: Option<f64>,
    /// Height of a window's sill over the benchmark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sill_mm: Option<f64>,
    /// Height of a door's threshold over the benchmark: above it water leaves the room.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub threshold_mm: Option<Measured>,
}

/// Door or window.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum OpeningKind {
    /// With a threshold at the floor.
    Door,
    /// With a sill.
    Window,
}

/// Part of the floor by the water it sees.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Zone {
    /// Name.
    pub id: String,
    /// How wet.
    pub kind: ZoneKind,
    /// Corners on plan.
    pub polygon_mm: Vec<PointMm>,
    /// Closed off by a screen and door.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub enclosed: Option<bool>,
    /// Height of the walls to be waterproof over this zone's floor.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wall_height_mm: Option<f64>,
    /// How far this zone's finished floor lies below the floor beside it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set_down_mm: Option<Measured>,
}

/// How wet a zone is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum ZoneKind {
    /// Under the rose.
    Shower,
    /// Beside the shower, at a bath or basin.
    Splash,
    /// The rest.
    Dry,
}

/// Something that brings or holds water.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Fixture {
    /// Name.
    pub id: String,
    /// What it is.
    pub kind: FixtureKind,
    /// Place on plan.
    pub x_mm: f64,
    /// Place on plan.
    pub y_mm: f64,
    /// Height of a rose or spout over the benchmark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub height_mm: Option<f64>,
    /// Flow.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub flow_l_min: Option<f64>,
    /// Radius on the floor within which nearly all of a rose's water lands.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spread_mm: Option<f64>,
    /// Use.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub minutes_per_day: Option<f64>,
    /// Wall it hangs on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wall: Option<String>,
}

/// Kinds of fixture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum FixtureKind {
    /// Fixed or hand shower.
    ShowerRose,
    /// Tap or mixer.
    Tap,
    /// Wash basin.
    Basin,
    /// Bath.
    Bath,
    /// Pan.
    Wc,
    /// Washing machine.
    WashingMachine,
    /// Cabinet.
    Cabinet,
    /// Rail or seat.
    Rail,
}

/// A point waste or channel with its flanges.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Outlet {
    /// Name.
    pub id: String,
    /// Point or channel.
    pub kind: OutletKind,
    /// Centre of a point waste.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub x_mm: Option<f64>,
    /// Centre of a point waste.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub y_mm: Option<f64>,
    /// Radius of the grate of a point waste.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub radius_mm: Option<f64>,
    /// Centre line of a channel.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub line_mm: Vec<PointMm>,
    /// Width of a channel.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub width_mm: Option<f64>,
    /// Level of the grate's top.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub grate_mm: Option<Measured>,
    /// Flanges, lowest first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub flanges: Vec<Flange>,
    /// Places along a channel's line where two bodies are joined, from its first end.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub body_joints_mm: Vec<f64>,
    /// Place along a channel's line of the spigot.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spigot_mm: Option<f64>,
    /// Outside diameter of the riser.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub riser_mm: Option<f64>,
}

/// The two kinds of outlet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum OutletKind {
    /// A round or square waste.
    Point,
    /// A linear drain.
    Channel,
}

/// A flange a membrane is bonded to.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Flange {
    /// Name: lower, upper.
    pub id: String,
    /// Membrane bonded to it, by id.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub membrane: Option<String>,
    /// Level of its upper face.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub level_mm: Option<Measured>,
    /// Width of the face all round.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub width_mm: Option<f64>,
}

/// A water stop: an angle or bar standing in or on the membrane.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WaterStop {
    /// Name.
    pub id: String,
    /// Line on plan.
    pub line_mm: Vec<PointMm>,
    /// Level of its foot.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub foot_mm: Option<Measured>,
    /// Level of its top.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub top_mm: Option<Measured>,
    /// Height of the standing leg.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub leg_mm: Option<f64>,
    /// How high the membrane goes up the leg from the foot.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub membrane_on_leg_mm: Option<Measured>,
    /// What it does.
    pub at: WaterStopAt,
}

/// Where a water stop stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum WaterStopAt {
    /// Under a screen.
    Screen,
    /// At the edge of a shower without a screen.
    ShowerEdge,
    /// At a door.
    Door,
}

/// A hob round a shower.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Hob {
    /// Name.
    pub id: String,
    /// Centre line on plan.
    pub line_mm: Vec<PointMm>,
    /// Width.
    pub width_mm: f64,
    /// Level of its top.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub top_mm: Option<Measured>,
    /// Material, in the user's words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub material: Option<String>,
}

/// Fixed glass or a wall screen that shadows spray.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Screen {
    /// Name.
    pub id: String,
    /// Line on plan.
    pub line_mm: Vec<PointMm>,
    /// Height over the benchmark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub height_mm: Option<f64>,
}

/// A tiled recess in a wall.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Recess {
    /// Name.
    pub id: String,
    /// Wall, by id.
    pub wall: String,
    /// From the wall's first corner.
    pub from_mm: f64,
    /// Level of the sill over the benchmark.
    pub sill_mm: f64,
    /// Width of the mouth.
    pub width_mm: f64,
    /// Height of the mouth.
    pub height_mm: f64,
    /// Depth into the wall.
    pub depth_mm: f64,
    /// Fall of the sill towards the room, rise over run.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sill_fall: Option<Measured>,
}

/// Something that goes through the membrane: on a wall (`wall`, `along_mm`, `height_mm`) or the floor (`x_mm`, `y_mm`).
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Penetration {
    /// Name.
    pub id: String,
    /// What goes through.
    pub kind: PenetrationKind,
    /// Wall, by id.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wall: Option<String>,
    /// From the wall's first corner.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub along_mm: Option<f64>,
    /// Over the benchmark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub height_mm: Option<f64>,
    /// On plan, for the floor.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub x_mm: Option<f64>,
    /// On plan, for the floor.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub y_mm: Option<f64>,
    /// Outside diameter.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub diameter_mm: Option<f64>,
    /// How it is sealed, in the user's words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sealed_by: Option<String>,
}

/// What goes through the membrane.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum PenetrationKind {
    /// Water pipe.
    Pipe,
    /// Tap body or mixer.
    Tap,
    /// Waste pipe.
    Waste,
    /// Cable.
    Cable,
    /// Screw or anchor.
    Fixing,
}

/// A joint across floor or wall.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Joint {
    /// Name.
    pub id: String,
    /// Movement or sealant.
    pub kind: JointKind,
    /// `floor`, or a wall by id.
    pub on: String,
    /// On plan for the floor; [along, height] for a wall.
    pub line_mm: Vec<PointMm>,
    /// Width.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub width_mm: Option<f64>,
}

/// Kinds of joint.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum JointKind {
    /// In the structure or the bed.
    Movement,
    /// Filled with sealant.
    Sealant,
}

/// A crack in the substrate.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Crack {
    /// Name.
    pub id: String,
    /// `floor`, or a wall by id.
    pub on: String,
    /// On plan for the floor; [along, height] for a wall.
    pub line_mm: Vec<PointMm>,
    /// Width.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub width_mm: Option<f64>,
    /// What was done, in the user's words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub treatment: Option<String>,
}

/// One membrane of the room.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Membrane {
    /// Name.
    pub id: String,
    /// Under or over the screed.
    pub layer: MembraneLayer,
    /// Liquid, sheet or board.
    pub form: MembraneForm,
    /// Data sheet, by id.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub data_sheet: Option<String>,
    /// What it covers; nothing given means the whole floor with an upturn of unknown height, and the walls of the shower
    /// unless it is an under-screed membrane with an over-screed one above it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub covers: Vec<Cover>,
    /// Laps of a sheet or joints of a board.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub laps: Vec<Lap>,
    /// Radius of the fillet under it at its junctions, where there is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fillet_radius_mm: Option<Measured>,
}

/// Under or over the screed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum MembraneLayer {
    /// On the substrate, below the screed: the lower membrane.
    UnderScreed,
    /// On the screed, or on the substrate where there is no screed: the upper membrane.
    OverScreed,
}

/// What a membrane is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum MembraneForm {
    /// Put on in coats.
    Liquid,
    /// Bonded sheet.
    Sheet,
    /// Board with sealed joints.
    Board,
}

/// What a membrane covers: the floor or part of it, a wall or part of it.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Cover {
    /// `floor`, a wall by id, or a recess by id.
    pub on: String,
    /// Only this zone of the floor.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub zone: Option<String>,
    /// On a wall: from here along it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from_mm: Option<f64>,
    /// On a wall: to here along it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to_mm: Option<f64>,
    /// On a wall: level of its upper edge over the benchmark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub top_mm: Option<Measured>,
}

/// A lap of a sheet or a joint of a board.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Lap {
    /// Name.
    pub id: String,
    /// `floor`, or a wall by id.
    pub on: String,
    /// On plan for the floor; [along, height] for a wall.
    pub line_mm: Vec<PointMm>,
    /// Width of the overlap.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub width_mm: Option<f64>,
}

/// A line where two waterproofing systems meet.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Meeting {
    /// Name.
    pub id: String,
    /// The two, by membrane id or in the user's words.
    pub of: [String; 2],
    /// `floor`, or a wall by id.
    pub on: String,
    /// On plan for the floor; [along, height] for a wall.
    pub line_mm: Vec<PointMm>,
    /// Width of the overlap.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub overlap_mm: Option<f64>,
}

/// A pipe or cable in a wall or the floor.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Service {
    /// Name.
    pub id: String,
    /// What runs there.
    pub kind: ServiceKind,
    /// `floor`, or a wall by id.
    pub on: String,
    /// On plan for the floor; [along, height] for a wall.
    pub path_mm: Vec<PointMm>,
    /// Outside diameter.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub diameter_mm: Option<f64>,
    /// Depth behind the face.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub depth_mm: Option<f64>,
    /// Standard uncertainty of its place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_mm: Option<f64>,
}

/// What runs in a wall or floor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ServiceKind {
    /// Cold water.
    ColdWater,
    /// Hot water.
    HotWater,
    /// Waste.
    Waste,
    /// Electric cable.
    Cable,
    /// Heating cable or pipe.
    Heating,
    /// Gas.
    Gas,
}

/// A stud or nogging behind a wall's face.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Framing {
    /// Name.
    pub id: String,
    /// Wall, by id.
    pub wall: String,
    /// Axis as [along, height] pairs.
    pub line_mm: Vec<PointMm>,
    /// Width of the member's face.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub width_mm: Option<f64>,
    /// Standard uncertainty of its place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_mm: Option<f64>,
}

/// Under-tile heating.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct HeatedArea {
    /// Name.
    pub id: String,
    /// Corners on plan.
    pub polygon_mm: Vec<PointMm>,
    /// Layer the heating lies in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub within: Option<LayerKind>,
}

/// Layers of the floor from below, for the whole floor or by zone.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BuildUp {
    /// A usual order of layers, with thicknesses unknown, for every zone not listed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub preset: Option<BuildUpPreset>,
    /// Zones that are known better.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub zones: Vec<ZoneBuildUp>,
}

/// Usual orders of layers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum BuildUpPreset {
    /// Substrate, screed, membrane, bed, tile.
    OverScreed,
    /// Substrate, membrane, screed, bed, tile.
    UnderScreed,
    /// Substrate, membrane, screed, membrane, bed, tile.
    Both,
    /// Substrate, membrane, bed, tile.
    Bonded,
}

/// Layers of one zone.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ZoneBuildUp {
    /// Zone, by id; `rest` for the floor outside all zones.
    pub zone: String,
    /// From below.
    pub layers: Vec<Layer>,
}

/// One layer.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Layer {
    /// Which.
    pub kind: LayerKind,
    /// Thickness.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub thickness_mm: Option<Measured>,
    /// In the user's words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub what: Option<String>,
}

/// Layers of a floor, from below.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum LayerKind {
    /// What carries everything.
    Substrate,
    /// Lower membrane.
    UnderScreedMembrane,
    /// Screed.
    Screed,
    /// Upper membrane.
    OverScreedMembrane,
    /// Adhesive bed.
    Bed,
    /// Tile.
    Tile,
}

/// Name of the floor where something lies `on` it.
pub const FLOOR: &str = "floor";
/// Name of the floor outside all zones.
pub const REST: &str = "rest";
/// The value of [`Room::format`].
pub const FORMAT: &str = "undertile room 1";

impl Room {
    /// The name of the wall on each edge of the outline: its own, or `w` and the number of the edge.
    pub fn wall_names(&self) -> Vec<String> {
        (1..=self.outline_mm.len())
            .map(|edge| self.walls.iter().find(|w| w.edge == edge).map_or_else(|| format!("w{edge}"), |w| w.id.clone()))
            .collect()
    }

    /// Height of the wall on an edge (from 1), where it or the room gives one.
    pub fn wall_height_mm(&self, edge: usize) -> Option<f64> {
        self.walls.iter().find(|w| w.edge == edge).and_then(|w| w.height_mm).or(self.height_mm)
    }

    /// The zone of that name.
    pub fn zone(&self, id: &str) -> Option<&Zone> {
        self.zones.iter().find(|z| z.id == id)
    }
}

impl BuildUpPreset {
    /// Its layers from below.
    pub fn layers(self) -> &'static [LayerKind] {
        use LayerKind::*;
        match self {
            Self::OverScreed => &[Substrate, Screed, OverScreedMembrane, Bed, Tile],
            Self::UnderScreed => &[Substrate, UnderScreedMembrane, Screed, Bed, Tile],
            Self::Both => &[Substrate, UnderScreedMembrane, Screed, OverScreedMembrane, Bed, Tile],
            Self::Bonded => &[Substrate, OverScreedMembrane, Bed, Tile],
        }
    }
}

impl BuildUp {
    /// The layers of one zone (or [`REST`]) from below, thicknesses where they are known; empty where nothing is known.
    pub fn layers_of(&self, zone: &str) -> Vec<Layer> {
        if let Some(known) = self.zones.iter().find(|z| z.zone == zone) {
            return known.layers.clone();
        }
        let kinds = self.preset.map_or(&[] as &[LayerKind], BuildUpPreset::layers);
        kinds.iter().map(|kind| Layer { kind: *kind, thickness_mm: None, what: None }).collect()
    }
}
