//! What events say: one type for each kind.
//!
//! A payload that is an entry of a file (`look`, `coat`, ...) has the fields of that entry. Any payload that adds a row or an
//! entry, or changes a field, may name in `replaces` the event it corrects.

use crate::coats::{Coat, Delivery, Used};
use crate::evidence::{Entry, HoldPointOutcome};
use crate::photographs::ReferencePoint;
use measure::Grade;
use room::nouns::{LayerKind, MembraneLayer};
use schemars::JsonSchema;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use serde_json::value::RawValue;
use std::collections::BTreeMap;

/// Rows of one event.
pub const MOST_ROWS: usize = 10_000;
/// Edits of one event.
pub const MOST_EDITS: usize = 1_000;
/// Letters of a text in a person's words.
pub const MOST_WORDS: usize = 20_000;

/// What an event says.
#[derive(Clone, Debug)]
pub enum Payload {
    /// `document`.
    Document(Document),
    /// `field`, `room-edited`, `frame-edited`, `plan-edited`, `sheet-edited`: fields of one file.
    Edits(Edits),
    /// `reading`.
    Readings(Vec<ReadingRow>),
    /// `climate-reading`.
    Climate(Vec<ClimateRow>),
    /// `gradient`.
    Gradients(Layered<GradientRow>),
    /// `level`.
    Levels(Layered<LevelRow>),
    /// `film-reading`.
    Film(Vec<FilmRow>),
    /// `coat`: an entry of `coats.json`.
    Coat(Box<Coat>),
    /// `delivery`: an entry of `coats.json`.
    Delivery(Box<Delivery>),
    /// `used`: an entry of `coats.json`.
    Used(Box<Used>),
    /// `look`, `pond`, `patch-closed`, `paper`, `trade-entered`, `departure`: an entry of `evidence.json`.
    Evidence(Box<Entry>),
    /// `release`.
    Release(Release),
    /// `photograph`.
    Photograph(Box<Photograph>),
    /// `note`.
    Note(Note),
    /// `defect`.
    Defect(Defect),
    /// `rectification`.
    Rectification(Rectification),
    /// `withdrawn`.
    Withdrawn(Withdrawn),
    /// `device-paired`.
    DevicePaired(DevicePaired),
    /// `device-revoked`.
    DeviceRevoked(DeviceRevoked),
    /// `clock`.
    Clock(ClockMeasured),
    /// `like`.
    Like(Box<Like>),
}

/// A whole file.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Document {
    /// Its name in the job folder.
    pub file: String,
    /// Its text, byte for byte; for a file that is not UTF-8 or too large for an event, `blob` stands instead.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub text: Option<String>,
    /// SHA-256 of its bytes, which are kept as a blob.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub blob: Option<String>,
}

/// Changes to fields of one JSON file, all or none.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Edits {
    /// The file.
    pub file: String,
    /// The changes, in order.
    #[schemars(length(min = 1, max = 1000))]
    pub edits: Vec<Edit>,
}

/// The payload of `room-edited`, `frame-edited`, `plan-edited` and `sheet-edited`: the whole text, or changes. One of the two.
#[derive(Clone, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Edited {
    /// The whole file as it now reads.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub text: Option<String>,
    /// The changes, in order; all or none are made.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 1000))]
    pub edits: Vec<Edit>,
}

/// The payload of `field`.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Field {
    /// The file.
    pub file: String,
    /// Where: a JSON Pointer (RFC 6901). An item of a list may be named by its `id` instead of its place:
    /// `/walls/north/height_mm`; that also holds when another device adds a wall before it.
    pub at: String,
    /// What stands there from now on; left out (or null) when the field goes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<serde_json::Value>")]
    pub value: Option<Box<RawValue>>,
}

/// A change to one field.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Edit {
    /// Where: a JSON Pointer (RFC 6901). An item of a list may be named by its `id` instead of its place.
    pub at: String,
    /// What stands there from now on; left out (or null) when the field goes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<serde_json::Value>")]
    pub value: Option<Box<RawValue>>,
}

/// A number with the digits it was written with: `1.50` stays `1.50`.
#[derive(Clone, Debug)]
pub struct Number(Box<RawValue>);

impl Number {
    /// As it was written.
    pub fn text(&self) -> &str {
        self.0.get()
    }

    /// Its value.
    pub fn value(&self) -> f64 {
        self.0.get().parse().unwrap_or(f64::NAN)
    }
}

impl<'de> Deserialize<'de> for Number {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let raw = Box::<RawValue>::deserialize(deserializer)?;
        let number = serde_json::from_str::<f64>(raw.get()).is_ok_and(f64::is_finite);
        if number { Ok(Self(raw)) } else { Err(serde::de::Error::custom(format!("{} is not a number", raw.get()))) }
    }
}

impl Serialize for Number {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.0.serialize(serializer)
    }
}

impl JsonSchema for Number {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Number".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({"type": "number", "description": "A number; its digits are kept as written."})
    }
}

/// The payload of `reading`, `climate-reading` and `film-reading`.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Rows<T> {
    /// The readings.
    #[schemars(length(min = 1, max = 10000))]
    pub rows: Vec<T>,
}

/// The payload of `level` and `gradient`: readings of one layer.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Layered<T> {
    /// Surface they were taken on.
    pub layer: LayerKind,
    /// The readings.
    #[schemars(length(min = 1, max = 10000))]
    pub rows: Vec<T>,
}

/// A row of `readings.csv`.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ReadingRow {
    /// Hold point it was taken for.
    pub hold_point: String,
    /// Detail, by id; `room` for the room as a whole.
    pub detail: String,
    /// Quantity, by its name in the packs.
    pub quantity: String,
    /// Value.
    pub value: Number,
    /// Its unit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// What a height or distance counts from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub datum: Option<String>,
    /// Standard uncertainty (k = 1).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u: Option<Number>,
    /// Expanded uncertainty (about 95 %), in place of `u`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plus_minus: Option<Number>,
    /// Grade; measured when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub grade: Option<Grade>,
    /// Who took it; the event's author when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// When; the event's time when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(extend("format" = "date-time"))]
    pub at: Option<String>,
}

/// A row of `climate.csv`.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ClimateRow {
    /// Hold point it was taken for.
    pub hold_point: String,
    /// What was being done.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub what: Option<String>,
    /// Details it speaks for; all of the hold point when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub detail: Option<String>,
    /// Air temperature.
    pub air_c: Number,
    /// Relative humidity, a share.
    pub rh: Number,
    /// Surface temperature.
    pub surface_c: Number,
    /// When; the event's time when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(extend("format" = "date-time"))]
    pub at: Option<String>,
}

/// A row of `gradients-<layer>.csv`.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct GradientRow {
    /// Name of the place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// Middle of the base on plan.
    pub x_mm: Number,
    /// Middle of the base on plan.
    pub y_mm: Number,
    /// The way it looks downhill: 0 along x, 90 along y.
    pub toward_deg: Number,
    /// Fall that way.
    pub fall_percent: Number,
    /// Length of the base.
    pub base_mm: Number,
    /// Standard uncertainty (k = 1).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_percent: Option<Number>,
    /// The same place read with the level turned end for end.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reversed_percent: Option<Number>,
}

/// A row of `levels-<layer>.csv`: counted up (`level_mm`) or read down from the beam (`staff_mm`).
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LevelRow {
    /// Name of the point; `BM` for the benchmark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// To the right on plan; left out with `y_mm` for a point whose place does not matter.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub x_mm: Option<Number>,
    /// Up the plan.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub y_mm: Option<Number>,
    /// Level, counted up.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub level_mm: Option<Number>,
    /// Staff reading, down from the beam.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub staff_mm: Option<Number>,
    /// Set-up of the instrument.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub station: Option<String>,
    /// Level of a known point over the benchmark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub known_mm: Option<Number>,
    /// Standard uncertainty (k = 1).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_mm: Option<Number>,
}

/// A row of `film.csv`: where (a detail, or a place on a face), and what was read (a comb's teeth, or a value).
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FilmRow {
    /// Membrane.
    pub layer: MembraneLayer,
    /// Detail, by id.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub detail: Option<String>,
    /// Face: `floor`, a wall's id, `recess/<id>/<side>`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub face: Option<String>,
    /// On the face: x on plan, or along a wall.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub x_mm: Option<Number>,
    /// On the face: y on plan, or the height on a wall.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub y_mm: Option<Number>,
    /// Wet or dry.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kind: Option<film::thickness::Kind>,
    /// Coat a wet reading was taken in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub coat: Option<Number>,
    /// What it was read with.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tool: Option<film::thickness::Tool>,
    /// A comb's last wetted tooth.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lo_um: Option<Number>,
    /// A comb's next dry tooth.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hi_um: Option<Number>,
    /// A value, in place of a comb's teeth.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value_um: Option<Number>,
    /// Standard uncertainty (k = 1).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_um: Option<Number>,
    /// Expanded uncertainty (about 95 %), in place of `u_um`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plus_minus_um: Option<Number>,
    /// Readings of one small circle carry the same name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spot: Option<String>,
    /// The cut-out it was taken at.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cut_out: Option<String>,
    /// Grade; measured when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub grade: Option<Grade>,
    /// Who took it; the event's author when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// When; the event's time when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(extend("format" = "date-time"))]
    pub at: Option<String>,
}

/// The outcome of a hold point, and what was in the record when it was signed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Release {
    /// Hold point.
    pub hold_point: String,
    /// What was decided.
    pub outcome: HoldPointOutcome,
    /// Who decided; the event's author when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// In which role, with licence if any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub role: Option<String>,
    /// Conditions of a release.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 100))]
    pub conditions: Vec<String>,
    /// When; the event's time when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(extend("format" = "date-time"))]
    pub at: Option<String>,
    /// Head of the device's log it was signed on, as that log stood just before.
    pub head: Head,
    /// The same for all rooms released in one reading: a UUID. Each room's record has its own event.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub together: Option<String>,
}

/// Size and root of a device's log.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Head {
    /// The device.
    pub log: String,
    /// Entries it had.
    pub size: u64,
    /// Root over them (RFC 9162), hex.
    pub root: String,
}

/// A picture, film, voice note or scan, kept as a blob.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Photograph {
    /// Its name in the job folder.
    pub file: String,
    /// SHA-256 of its bytes.
    pub blob: String,
    /// How many bytes.
    pub bytes: u64,
    /// What it is, found in its content: `image/jpeg`.
    #[serde(rename = "type")]
    pub media_type: String,
    /// When it was taken, by the camera's clock: RFC 3339, without an offset where the camera wrote none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub taken_at: Option<String>,
    /// Where it was taken, as the camera wrote it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub taken_where: Option<OnEarth>,
    /// How it must be turned to stand upright: 1 to 8, as EXIF counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 1, max = 8))]
    pub orientation: Option<u8>,
    /// Pixels across, as stored: before it is turned.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub width_px: Option<u32>,
    /// Pixels down, as stored.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub height_px: Option<u32>,
    /// Make and model, as the camera wrote them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub camera: Option<String>,
    /// What it shows.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<Place>,
    /// Faces it shows: entries of `photographs.json`, one for each.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 100))]
    pub shows: Vec<Shows>,
    /// In the person's words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub words: Option<String>,
}

/// A face a photograph shows.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Shows {
    /// Face: `floor`, a wall's id, `recess/<id>/<side>`.
    pub on: String,
    /// Membrane it shows.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub layer: Option<MembraneLayer>,
    /// Coat it shows, by its id in the coat log.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub coat: Option<String>,
    /// Hold point it was taken for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stage: Option<String>,
    /// Places known in the picture and on the face: none, or four or more.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 100))]
    pub points: Vec<ReferencePoint>,
}

/// A place by satellite.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OnEarth {
    /// North of the equator.
    #[schemars(range(min = -90.0, max = 90.0))]
    pub latitude_deg: f64,
    /// East of Greenwich.
    #[schemars(range(min = -180.0, max = 180.0))]
    pub longitude_deg: f64,
    /// Horizontal error as the device wrote it; how sure that is it does not say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0))]
    pub horizontal_error_m: Option<f64>,
}

/// A place in the room, as far as it is known.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Place {
    /// Details, by id, group or pattern.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 1000))]
    pub details: Vec<String>,
    /// Face: `floor`, a wall's id, `recess/<id>/<side>`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub on: Option<String>,
    /// On the face: x on plan, or along a wall.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub x_mm: Option<f64>,
    /// On the face: y on plan, or the height on a wall.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub y_mm: Option<f64>,
}

/// A remark.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Note {
    /// In the person's words.
    pub words: String,
    /// Where.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<Place>,
    /// Photographs, by file name.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 1000))]
    pub photographs: Vec<String>,
}

/// Something that is not right. With hold point and details it stands in `evidence.json` as a look that found it wrong.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Defect {
    /// In the person's words.
    pub words: String,
    /// Where.
    pub place: Place,
    /// Hold point at which it was found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hold_point: Option<String>,
    /// Who stands behind it; seen by the author when left out.
    #[serde(default = "seen")]
    pub grade: Grade,
    /// Photographs, by file name.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 1000))]
    pub photographs: Vec<String>,
    /// The same for a defect raised once and placed in many rooms: a UUID. Each room's record has its own event.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub together: Option<String>,
}

fn seen() -> Grade {
    Grade::Seen
}

fn photographed() -> Grade {
    Grade::Photographed
}

/// A defect put right in this room, shown by its own photograph.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Rectification {
    /// The event that raised the defect.
    pub defect: String,
    /// What was done.
    pub words: String,
    /// Photographs that show it, by file name.
    #[schemars(length(min = 1, max = 1000))]
    pub photographs: Vec<String>,
    /// Who stands behind it; photographed by another when left out.
    #[serde(default = "photographed")]
    pub grade: Grade,
}

/// An event that no longer counts. It stays in the history.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Withdrawn {
    /// The event.
    pub event: String,
    /// Why.
    pub why: String,
}

/// A device that may add to the record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct DevicePaired {
    /// Device id.
    pub device: String,
    /// What people call it.
    pub name: String,
    /// Its public key, hex.
    pub key: String,
}

/// A device that may no longer add to the record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct DeviceRevoked {
    /// Device id.
    pub device: String,
    /// Why.
    pub why: String,
}

/// How far a device's clock was off.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ClockMeasured {
    /// Device id.
    pub device: String,
    /// The device's own time when it was measured.
    #[schemars(extend("format" = "date-time"))]
    pub at: String,
    /// What must be added to the device's time, ms.
    #[schemars(range(min = -1e13, max = 1e13))]
    pub offset_ms: f64,
    /// Standard uncertainty (k = 1) of that, ms.
    #[schemars(range(min = 0.0, max = 1e13))]
    pub u_ms: f64,
}

/// This room is like a pattern room. A document of several files: what its author had seen stands in it.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Like {
    /// The pattern, by its UUID.
    pub pattern: String,
    /// Which state of the pattern: SHA-256 over its files, a line `<SHA-256>  <file>` for each in the order of their names.
    pub revision: String,
    /// How the room lies.
    #[serde(default)]
    pub laid: room::like::Laid,
    /// This room's name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// The pattern's files as they are: room, plan, data sheets, the project's own rules.
    pub files: BTreeMap<String, String>,
    /// Where this room has decided for itself: changes of the pattern taken or declined, and its other differences.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 1000))]
    pub answers: Vec<Answer>,
}

/// What stands at a place of this room, and why.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Answer {
    /// File.
    pub file: String,
    /// Where, as this room lies: a JSON Pointer (RFC 6901), items of lists by their id; empty for the whole file.
    pub at: String,
    /// Why.
    pub answer: Answered,
    /// What stands there in this room; left out (or null) when there is no such field.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<serde_json::Value>")]
    pub value: Option<Box<RawValue>>,
}

/// Why a value stands in a room like a pattern.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Answered {
    /// A change of the pattern was taken.
    Taken,
    /// A change of the pattern was declined.
    Declined,
    /// This room is different there, whatever the pattern says.
    Own,
}
