//! What a record comes to: the files of the job folder, and what stands beside them.

use super::payload::{Answer, Defect, Note, OnEarth, Photograph, Place, Rectification, Release};
use crate::folder::Files;
use measure::Problem;
use room::like::Laid;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// A record's events folded: the same whatever order they arrived in and whichever devices they came from.
#[derive(Clone, Debug, Default, Serialize, JsonSchema)]
pub struct State {
    /// The job folder: [`crate::Job::read`] judges it. Photographs stand here with no bytes; `photographs` has their hashes.
    #[serde(skip)]
    pub files: Files,
    /// Photographs, films, voice notes and scans, by file name.
    pub photographs: BTreeMap<String, Held>,
    /// Documents whose bytes were not handed in.
    pub not_here: Vec<NotHere>,
    /// Remarks, in order.
    pub notes: Vec<Told<Note>>,
    /// Defects, in order.
    pub defects: Vec<Raised>,
    /// Outcomes of hold points, in order.
    pub releases: Vec<Decided>,
    /// Devices that were paired.
    pub devices: BTreeMap<String, Device>,
    /// The pattern room this room is like.
    pub like: Option<LikeNow>,
    /// Where people contradict each other and nobody has decided who has seen both.
    pub conflicts: Vec<Conflict>,
    /// Fields that were changed, with all their values in order; the last that counts is shown.
    pub values: Vec<Values>,
    /// Every event, in order.
    pub history: Vec<Happened>,
}

impl State {
    /// Events that are kept but not understood: of a kind or version this program does not know.
    pub fn not_understood(&self) -> impl Iterator<Item = &Happened> {
        self.history.iter().filter(|event| event.stands == Stands::NotUnderstood)
    }

    /// Everything wrong with single events, each problem with the event's id as its file.
    pub fn problems(&self) -> impl Iterator<Item = (&Happened, &Problem)> {
        self.history.iter().flat_map(|event| event.problems.iter().map(move |problem| (event, problem)))
    }
}

/// Who added something, and when.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Told<T> {
    /// The event.
    pub event: String,
    /// Who.
    pub author: String,
    /// When, by the device's clock.
    pub at: String,
    /// What.
    pub what: T,
}

/// A blob under its name in the job folder.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Held {
    /// The event that brought it.
    pub event: String,
    /// SHA-256 of its bytes.
    pub blob: String,
    /// How many bytes.
    pub bytes: u64,
    /// What it is.
    #[serde(rename = "type")]
    pub media_type: String,
    /// The name it came with, where another file had it already.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub came_as: Option<String>,
    /// When it was taken, by the camera's clock, without an offset where the camera wrote none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub taken_at: Option<String>,
    /// Where it was taken, as the camera wrote it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub taken_where: Option<OnEarth>,
    /// How it must be turned to stand upright, as EXIF counts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub orientation: Option<u8>,
    /// Pixels across, as stored: before it is turned.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub width_px: Option<u32>,
    /// Pixels down, as stored.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub height_px: Option<u32>,
    /// Make and model, as the camera wrote them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub camera: Option<String>,
    /// What it shows.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub place: Option<Place>,
    /// In the person's words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub words: Option<String>,
}

impl Held {
    pub(crate) fn of(event: &str, photograph: &Photograph, came_as: Option<String>) -> Self {
        let Photograph { blob, bytes, media_type, taken_at, taken_where, orientation, width_px, height_px, camera, .. } =
            photograph.clone();
        let (place, words) = (photograph.place.clone(), photograph.words.clone());
        let event = event.into();
        Self { event, blob, bytes, media_type, came_as, taken_at, taken_where, orientation, width_px, height_px, camera, place, words }
    }
}

/// A document that is kept as a blob whose bytes were not handed in.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct NotHere {
    /// File.
    pub file: String,
    /// SHA-256 of its bytes.
    pub blob: String,
}

/// A defect and what was done about it.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Raised {
    /// The event that raised it.
    #[serde(flatten)]
    pub defect: Told<Defect>,
    /// What was done, in order; while there is nothing it is open.
    pub rectified: Vec<Told<Rectification>>,
}

impl Raised {
    /// Whether nothing was done about it yet.
    pub fn is_open(&self) -> bool {
        self.rectified.is_empty()
    }
}

/// An outcome of a hold point.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Decided {
    /// The event.
    #[serde(flatten)]
    pub release: Told<Release>,
    /// Whether it is the one that holds now: the latest, or of several that had not seen each other the strictest.
    pub holds: bool,
}

/// A paired device.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Device {
    /// What people call it.
    pub name: String,
    /// Public key, hex.
    pub key: String,
    /// The event that revoked it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub revoked: Option<String>,
}

/// What this room is like.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct LikeNow {
    /// The event that says so.
    pub event: String,
    /// The pattern.
    pub pattern: String,
    /// Its revision.
    pub revision: String,
    /// How the room lies.
    pub laid: Laid,
    /// This room's name.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// Changes of the pattern it took and declined, and its other differences when it did.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub answers: Vec<Answer>,
    /// The pattern's files, laid as this room lies, before any difference.
    #[serde(skip)]
    pub files: BTreeMap<String, String>,
}

/// Values of which neither author had seen the other.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Conflict {
    /// What they are about.
    pub about: About,
    /// All of them, in order.
    pub values: Vec<Contended>,
}

/// What a conflict is about.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(tag = "of", rename_all = "kebab-case")]
pub enum About {
    /// A field of a file.
    Field {
        /// File.
        file: String,
        /// JSON Pointer; items of lists by their id where they have one.
        at: String,
    },
    /// A whole file.
    Document {
        /// File.
        file: String,
    },
    /// A reading or entry corrected twice.
    Correction {
        /// The event corrected.
        event: String,
    },
    /// The outcome of a hold point.
    HoldPoint {
        /// Hold point.
        hold_point: String,
    },
    /// Two photographs of one name.
    FileName {
        /// The name.
        file: String,
    },
}

/// One value of a conflict.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Contended {
    /// The event.
    pub event: String,
    /// Who.
    pub author: String,
    /// When, by the device's clock.
    pub at: String,
    /// The value as text; nothing where the field was taken away.
    pub value: Option<String>,
    /// Whether the files show this one.
    pub shown: bool,
}

/// The values one field has had.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Values {
    /// File.
    pub file: String,
    /// JSON Pointer; items of lists by their id where they have one.
    pub at: String,
    /// In order.
    pub then: Vec<Then>,
}

/// A value at a time.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Then {
    /// The event.
    pub event: String,
    /// Who.
    pub author: String,
    /// When, by the device's clock.
    pub at: String,
    /// The value as text; nothing where the field was taken away.
    pub value: Option<String>,
}

/// An event in the history.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Happened {
    /// Its id.
    pub id: String,
    /// Device.
    pub device: String,
    /// Place in the device's log.
    pub seq: u64,
    /// Who.
    pub author: String,
    /// When, by the device's clock.
    pub at: String,
    /// When, corrected by the clock's measured offset; microseconds since 1970.
    pub corrected_us: i64,
    /// Standard uncertainty (k = 1) of that offset, ms; absent while it was not measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub u_ms: Option<f64>,
    /// Kind.
    pub kind: String,
    /// Version of its payload.
    pub version: u32,
    /// Whether it counts.
    pub stands: Stands,
    /// What is wrong with it, or to be known.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub problems: Vec<Problem>,
}

/// Whether an event counts.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(tag = "is", rename_all = "kebab-case")]
pub enum Stands {
    /// It counts.
    Counts,
    /// A later value stands in its place.
    Replaced {
        /// The event of that value.
        by: String,
    },
    /// It was withdrawn.
    Withdrawn {
        /// The event that withdrew it.
        by: String,
    },
    /// It stands in a document that was handed in after it.
    InDocument {
        /// The event of that document.
        by: String,
    },
    /// It waits for something that is not here yet.
    Waits,
    /// It is not what its kind may say, and reaches no file.
    Refused,
    /// This program does not know its kind or version. It is kept.
    NotUnderstood,
}
