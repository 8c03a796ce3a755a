//! Photographs of a face, as they stand in `photographs.json`: which picture shows which face, and where on it.

use crate::Files;
use crate::coats::CoatLog;
use crate::faces::{Faces, TAPE_MM};
use crate::folder::{check_time, did_you_mean};
use crate::plan::Plan;
use measure::{Problem, Problems};
use room::nouns::MembraneLayer;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// Bytes of one picture at most.
pub const PICTURE_BYTES: usize = 64 * 1024 * 1024;
/// Bytes of all pictures of a job together at most.
pub const PICTURES_BYTES: usize = 512 * 1024 * 1024;
/// Fewest reference points that lay a picture onto its face.
const FEWEST_POINTS: usize = 4;

/// `photographs.json`.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Photographs {
    /// `undertile photographs 1`.
    #[schemars(extend("const" = "undertile photographs 1"))]
    pub format: String,
    /// The photographs; one that shows two faces stands here twice.
    #[schemars(length(max = 1000))]
    pub photographs: Vec<Photograph>,
}

/// One photograph of one face.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Photograph {
    /// File in the job folder.
    pub file: String,
    /// Face it shows: `floor`, a wall's id, `recess/<id>/<side>`.
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
    #[serde(default)]
    #[schemars(length(max = 100))]
    pub points: Vec<ReferencePoint>,
    /// Who took it.
    pub by: String,
    /// When.
    #[schemars(extend("format" = "date-time"))]
    pub at: String,
    /// In the person's words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// A place known in the picture and on the face.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ReferencePoint {
    /// Pixels from the left edge of the picture.
    #[schemars(range(min = 0.0, max = 100000.0))]
    pub x_px: f64,
    /// Pixels from the upper edge.
    #[schemars(range(min = 0.0, max = 100000.0))]
    pub y_px: f64,
    /// On the face: x on plan, or the way along a wall from the first corner of its edge.
    #[schemars(range(min = -1000000.0, max = 1000000.0))]
    pub x_mm: f64,
    /// On the face: y on plan, or the height on a wall.
    #[schemars(range(min = -1000000.0, max = 1000000.0))]
    pub y_mm: f64,
}

/// Names of the pictures a folder's `photographs.json` asks to be read: those in a format that can be decoded. Empty when the
/// file is missing or not sound.
pub fn wanted(photographs: &[u8]) -> BTreeSet<String> {
    let read = intake::json::read::<Photographs>(FILE, photographs).unwrap_or_default();
    read.photographs.into_iter().map(|photograph| photograph.file).filter(|name| is_picture(name)).collect()
}

/// Name of the file.
pub const FILE: &str = "photographs.json";

/// Whether a file's name says that it is a picture of a kind that can be decoded.
pub fn is_picture(name: &str) -> bool {
    let lower = name.to_ascii_lowercase();
    [".png", ".jpg", ".jpeg"].iter().any(|ending| lower.ends_with(ending))
}

/// The pictures of a folder that `photographs.json` names and whose bytes are there, and why one is not taken.
pub(crate) fn pictures(photographs: &Photographs, files: &Files, problems: &mut Problems) -> BTreeMap<String, Vec<u8>> {
    let mut all = 0;
    let mut pictures = BTreeMap::new();
    for name in photographs.photographs.iter().map(|photograph| &photograph.file).filter(|name| is_picture(name)) {
        let Some(bytes) = files.get(name).filter(|bytes| !bytes.is_empty() && !pictures.contains_key(name)) else { continue };
        all += bytes.len();
        if bytes.len() > PICTURE_BYTES || all > PICTURES_BYTES {
            let (what, most) = match bytes.len() > PICTURE_BYTES {
                true => ("the picture is too large", PICTURE_BYTES),
                false => ("the pictures together are too large", PICTURES_BYTES),
            };
            let right = format!("at most {} MB", most / (1024 * 1024));
            problems.push(Problem::at("", what, right).value(format!("{} bytes", bytes.len())).file(name));
            continue;
        }
        pictures.insert(name.clone(), bytes.clone());
    }
    pictures
}

/// What photographs are held against.
pub(crate) struct Known<'a> {
    pub faces: &'a Faces<'a>,
    /// The coat log; none when it was refused, and its coats then cannot be missed.
    pub log: Option<&'a CoatLog>,
    pub plan: &'a Plan,
}

/// Every problem of the photographs.
pub(crate) fn check(photographs: &Photographs, known: &Known<'_>) -> Problems {
    let mut problems = Problems::new();
    for (i, photograph) in photographs.photographs.iter().enumerate() {
        let at = format!("photographs[{i}]");
        let twin = |other: &Photograph| other.file == photograph.file && other.on == photograph.on;
        if let Some(first) = photographs.photographs[..i].iter().position(twin) {
            let what = format!("the same file on the same face as photographs[{first}]");
            problems.push(Problem::at(format!("{at}.file"), what, "each once").value(&photograph.file));
        }
        check_one(&at, photograph, known, &mut problems);
    }
    problems
}

fn check_one(at: &str, photograph: &Photograph, known: &Known<'_>, problems: &mut Problems) {
    if photograph.file.trim().is_empty() || photograph.file.contains(['/', '\\']) {
        problems
            .push(Problem::at(format!("{at}.file"), "not the name of a file in the folder", "a name without path").value(&photograph.file));
    }
    check_time(&format!("{at}.at"), &photograph.at, problems);
    if let (Some(id), Some(log)) = (&photograph.coat, known.log)
        && !log.coats.iter().any(|coat| coat.id == *id)
    {
        let near = intake::words::nearest(id, log.coats.iter().map(|coat| coat.id.as_str()));
        let right = near.map_or("the id of a coat in coats.json".into(), |near| did_you_mean(Some(near)));
        problems.push(Problem::at(format!("{at}.coat"), "the coat log has no such coat", right).value(id));
    }
    if let Some(stage) = photograph.stage.as_ref().filter(|stage| known.plan.hold_point(stage).is_none()) {
        let ids: Vec<_> = known.plan.hold_points.iter().map(|hold| hold.id.as_str()).collect();
        let right = format!("one of: {}", ids.join(", "));
        problems.push(Problem::at(format!("{at}.stage"), "the plan has no such hold point", right).value(stage));
    }
    match known.faces.named(&format!("{at}.on"), &photograph.on) {
        Err(problem) => problems.push(problem),
        Ok(face) => {
            for (i, point) in photograph.points.iter().enumerate().filter(|(_, p)| known.faces.beyond(&face, [p.x_mm, p.y_mm])) {
                let right = format!("a place on the face, or up to {TAPE_MM} mm over its edge");
                let found = format!("({}, {})", point.x_mm, point.y_mm);
                problems.push(Problem::at(format!("{at}.points[{i}]"), "the point lies outside the face", right).value(found));
            }
        }
    }
    check_points(at, &photograph.points, problems);
}

/// Four or more points, no two of them one in the picture or on the face, and not all on a line.
fn check_points(at: &str, points: &[ReferencePoint], problems: &mut Problems) {
    let field = format!("{at}.points");
    if (1..FEWEST_POINTS).contains(&points.len()) {
        let right = "four or more, or none where the picture is only to be looked at";
        problems.push(Problem::at(&field, "too few reference points to lay the picture onto its face", right).value(points.len()));
    }
    for (i, point) in points.iter().enumerate() {
        let same = |other: &ReferencePoint| {
            (other.x_px, other.y_px) == (point.x_px, point.y_px) || (other.x_mm, other.y_mm) == (point.x_mm, point.y_mm)
        };
        if let Some(first) = points[..i].iter().position(same) {
            problems.push(Problem::at(
                format!("{field}[{i}]"),
                format!("the same place as points[{first}]"),
                "places apart from each other",
            ));
        }
    }
    let on_face: Vec<_> = points.iter().map(|p| [p.x_mm, p.y_mm]).collect();
    let in_picture: Vec<_> = points.iter().map(|p| [p.x_px, p.y_px]).collect();
    if points.len() >= FEWEST_POINTS && (on_a_line(&on_face) || on_a_line(&in_picture)) {
        problems.push(Problem::at(
            field,
            "all reference points lie on one line",
            "points round what is to be seen, such as its four corners",
        ));
    }
}

/// Whether points reach less than a hundredth of their length to either side of the line through the two farthest apart from
/// the first.
fn on_a_line(points: &[[f64; 2]]) -> bool {
    let Some(first) = points.first() else { return true };
    let from = |p: &[f64; 2]| [p[0] - first[0], p[1] - first[1]];
    let length2 = |v: [f64; 2]| v[0] * v[0] + v[1] * v[1];
    let Some(along) = points.iter().map(from).max_by(|a, b| length2(*a).total_cmp(&length2(*b))) else { return true };
    points.iter().map(from).all(|v| (v[0] * along[1] - v[1] * along[0]).abs() <= 0.01 * length2(along))
}

/// What to know when using the photographs: those whose file the folder does not have.
pub(crate) fn notes(photographs: &Photographs, files: &Files) -> Vec<String> {
    let missing: BTreeSet<&str> =
        photographs.photographs.iter().map(|p| p.file.as_str()).filter(|name| !files.contains_key(*name)).collect();
    missing.into_iter().map(|name| format!("{FILE} names {name}, which the folder does not have")).collect()
}
