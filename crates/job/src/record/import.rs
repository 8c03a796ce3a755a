//! A job folder to the first events of a record. The way back is [`super::State::files`].

use super::name;
use super::payload::{Document, OnEarth, Photograph};
use crate::folder::Files;
use ledger::{Draft, Hash};
use measure::Problems;
use std::collections::BTreeMap;

/// Bytes of a payload as JSON up to which a file stands in an event as text.
const MOST_TEXT: usize = 900_000;

/// What is known of a file that is not JSON or CSV.
#[derive(Clone, Debug, PartialEq)]
pub struct Kept {
    /// SHA-256 of its bytes.
    pub blob: Hash,
    /// How many bytes.
    pub bytes: u64,
    /// What it is, found in its content: `image/jpeg`.
    pub media_type: String,
    /// What it says of itself.
    pub facts: photo::Facts,
}

/// Who brings the folder in, and when.
#[derive(Clone, Debug)]
pub struct By {
    /// Author of the events.
    pub author: String,
    /// The device's time, RFC 3339.
    pub at: String,
    /// How far that clock was off, once measured.
    pub clock: Option<ledger::Clock>,
    /// How many events of each other device were known.
    pub seen: BTreeMap<String, u64>,
}

/// A folder as drafts of events.
#[derive(Clone, Debug, Default)]
pub struct Imported {
    /// One event a file, in the order of their names.
    pub drafts: Vec<Draft>,
    /// Files that are too large for an event, or not UTF-8: to be kept as blobs before the events are.
    pub blobs: Vec<(Hash, Vec<u8>)>,
    /// Files of which nothing but the name was handed in: not in the record.
    pub left: Vec<String>,
}

/// Makes drafts of a folder's files: JSON and CSV byte for byte, photographs as references to blobs by what `kept` says of
/// them. Names that no job folder can have are problems.
pub fn import(files: &Files, kept: &BTreeMap<String, Kept>, by: &By) -> Result<Imported, Problems> {
    let mut imported = Imported::default();
    let mut problems = Problems::new();
    for (file, bytes) in files {
        if let Some(problem) = name::problem("", file) {
            problems.push(problem);
            continue;
        }
        let draft = match (kept.get(file), name::is_data(file)) {
            (_, true) => document(file, bytes, by, &mut imported.blobs),
            (Some(kept), false) => photograph(file, kept, by),
            (None, false) => {
                imported.left.push(file.clone());
                continue;
            }
        };
        match draft {
            Ok(draft) => imported.drafts.push(draft),
            Err(found) => problems.extend(found.in_file(file)),
        }
    }
    problems.or(imported)
}

fn document(file: &str, bytes: &[u8], by: &By, blobs: &mut Vec<(Hash, Vec<u8>)>) -> Result<Draft, Problems> {
    let text = std::str::from_utf8(bytes).ok().map(str::to_string);
    let written = Document { file: file.into(), text, blob: None };
    if written.text.is_some() {
        let payload = ledger::payload(&written)?;
        if payload.get().len() <= MOST_TEXT {
            return Ok(by.draft("document", payload, Vec::new()));
        }
    }
    let hash = Hash::of(bytes);
    blobs.push((hash, bytes.to_vec()));
    let payload = ledger::payload(&Document { text: None, blob: Some(hash.to_string()), ..written })?;
    Ok(by.draft("document", payload, vec![hash]))
}

fn photograph(file: &str, kept: &Kept, by: &By) -> Result<Draft, Problems> {
    let facts = &kept.facts;
    let photograph = Photograph {
        file: file.into(),
        blob: kept.blob.to_string(),
        bytes: kept.bytes,
        media_type: kept.media_type.clone(),
        taken_at: facts.taken_at.as_ref().map(ToString::to_string),
        taken_where: facts.place.map(|place| OnEarth {
            latitude_deg: place.latitude_deg,
            longitude_deg: place.longitude_deg,
            horizontal_error_m: place.horizontal_error_m,
        }),
        orientation: facts.orientation,
        width_px: facts.size_px.map(|(width, _)| width),
        height_px: facts.size_px.map(|(_, height)| height),
        camera: facts.camera.clone(),
        place: None,
        shows: Vec::new(),
        words: None,
    };
    Ok(by.draft("photograph", ledger::payload(&photograph)?, vec![kept.blob]))
}

impl By {
    /// A draft of the kind's present version.
    pub fn draft(&self, kind: &str, payload: ledger::Payload, blobs: Vec<Hash>) -> Draft {
        Draft {
            author: self.author.clone(),
            at: self.at.clone(),
            clock: self.clock,
            seen: self.seen.clone(),
            kind: kind.into(),
            version: super::find(kind).map_or(1, |kind| kind.version),
            payload,
            blobs,
        }
    }
}
