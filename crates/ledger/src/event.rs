//! An event: one thing a person added, as one line of JSON.

use crate::id;
use crate::{Hash, line};
use measure::{Problem, Problems};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;
use std::collections::BTreeMap;

/// The envelope's version that this code writes.
pub const VERSION: u32 = 1;
/// Bytes of one event. Anything larger is a blob.
pub const MOST_BYTES: usize = 1_000_000;
/// Entries of one log; every size is read exactly by any reader of JSON.
pub const MOST_ENTRIES: u64 = 1 << 40;
/// Blobs of one event.
pub const MOST_BLOBS: usize = 1_000;
/// Other devices one event may have seen.
pub const MOST_SEEN: usize = 1_000;
/// Letters of an author.
pub const MOST_AUTHOR: usize = 200;
/// Letters of a kind.
pub const MOST_KIND: usize = 64;
/// Milliseconds a clock may be off: three hundred years.
const MOST_CLOCK_MS: f64 = 1e13;

/// The exact JSON text of a payload.
pub type Payload = Box<RawValue>;

/// The payload of a value, as JSON on one line; fails only where the value cannot be JSON (a map whose keys are not text).
pub fn payload<T: Serialize + ?Sized>(value: &T) -> Result<Payload, Problems> {
    serde_json::value::to_raw_value(value).map_err(|error| Problem::at("payload", error.to_string(), "a value that JSON can hold").into())
}

/// How far a device's clock is from the site record's, as it was measured.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Clock {
    /// What must be added to the device's time, ms.
    pub offset_ms: f64,
    /// Standard uncertainty of that, ms.
    pub u_ms: f64,
}

impl Clock {
    pub(crate) fn check(&self, problems: &mut Problems) {
        if !(-MOST_CLOCK_MS..=MOST_CLOCK_MS).contains(&self.offset_ms) {
            problems.push(Problem::at("clock.offset_ms", "out of bounds", "milliseconds, at most 1e13").value(self.offset_ms));
        }
        if !(0.0..=MOST_CLOCK_MS).contains(&self.u_ms) {
            problems.push(Problem::at("clock.u_ms", "out of bounds", "milliseconds, from 0 to 1e13").value(self.u_ms));
        }
    }
}

/// What a caller hands in to make an event.
#[derive(Clone, Debug)]
pub struct Draft {
    /// Who added it.
    pub author: String,
    /// The device's clock, RFC 3339 with offset.
    pub at: String,
    /// How far that clock was off, once measured.
    pub clock: Option<Clock>,
    /// How many events of each other device were known here: what the author could have taken into account.
    pub seen: BTreeMap<String, u64>,
    /// What kind of event, in lower-case words joined by hyphens.
    pub kind: String,
    /// Version of that kind's payload.
    pub version: u32,
    /// What happened: a JSON object.
    pub payload: Payload,
    /// Names of the blobs that belong to it.
    pub blobs: Vec<Hash>,
}

/// Where an event goes in a log.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// The device whose log it is.
    pub device: String,
    /// Its place there, from 0: the size of the log before it.
    pub seq: u64,
}

impl Draft {
    /// The event's bytes, or everything that is wrong with it. `id` is a version 7 UUID ([`id::uuid_v7`]).
    pub fn make(self, id: String, place: Place) -> Result<EventBytes, Problems> {
        let event = Event {
            v: VERSION,
            id,
            device: place.device,
            seq: place.seq,
            author: self.author,
            at: self.at,
            clock: self.clock,
            seen: self.seen,
            kind: self.kind,
            version: self.version,
            payload: self.payload,
            blobs: self.blobs,
        };
        // What is out of bounds may not be JSON at all (a NaN becomes null), so it is named before it is written.
        event.check()?;
        let bytes = serde_json::to_vec(&event)
            .map_err(|error| Problems::from(Problem::at("", error.to_string(), "an event that JSON can hold")))?;
        EventBytes::read(bytes)
    }
}

/// An event as it is kept: bytes that read as an event.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EventBytes(Vec<u8>);

impl EventBytes {
    /// The bytes, if [`Event::read`] reads them.
    pub fn read(bytes: Vec<u8>) -> Result<Self, Problems> {
        Event::read(&bytes)?;
        Ok(Self(bytes))
    }

    /// The event in them.
    pub fn event(&self) -> Event {
        Event::read(&self.0).expect("bytes are kept only when they read as an event")
    }

    /// Their hash as a leaf of the device's log.
    pub fn leaf(&self) -> Hash {
        Hash::leaf(&self.0)
    }

    /// The line without its line break.
    pub fn as_bytes(&self) -> &[u8] {
        &self.0
    }

    /// The line without its line break.
    pub fn into_bytes(self) -> Vec<u8> {
        self.0
    }
}

/// An event as it reads. The bytes it was read from are what is kept and hashed; they may hold fields of a later version
/// that are not here, so an event is never written again from this.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
pub struct Event {
    /// Version of the envelope.
    pub v: u32,
    /// Version 7 UUID, made on the device.
    pub id: String,
    /// Device in whose log it stands.
    pub device: String,
    /// Its place there, from 0.
    pub seq: u64,
    /// Who added it.
    pub author: String,
    /// The device's clock, RFC 3339 with offset.
    pub at: String,
    /// How far that clock was off; absent until measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clock: Option<Clock>,
    /// How many events of each other device were known where it was made.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub seen: BTreeMap<String, u64>,
    /// What kind of event.
    pub kind: String,
    /// Version of that kind's payload.
    pub version: u32,
    /// What happened.
    #[schemars(with = "BTreeMap<String, serde_json::Value>")]
    pub payload: Payload,
    /// Names of the blobs that belong to it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(with = "Vec<String>")]
    pub blobs: Vec<Hash>,
}

impl Event {
    /// Reads one event, without its line break, or says everything that is wrong with it.
    ///
    /// Fields of no name known here are left aside, and so an envelope of a later version reads too, if it still has these:
    /// look at `v` before relying on the whole of it. Sizes are bounded by the constants of this module. What the payload
    /// says is not looked into.
    pub fn read(bytes: &[u8]) -> Result<Self, Problems> {
        let event: Self = line::read(bytes, MOST_BYTES)?;
        event.check()?;
        Ok(event)
    }

    /// The same, content with the first fault of its grammar.
    pub(crate) fn glance(bytes: &[u8]) -> Result<Self, Problems> {
        let event: Self = line::glance(bytes, MOST_BYTES)?;
        event.check()?;
        Ok(event)
    }

    fn check(&self) -> Result<(), Problems> {
        let mut wrong = Problems::new();
        let mut must = |holds: bool, field: &str, value: &str, right: &str| {
            if !holds {
                wrong.push(Problem::at(field, "not as it must be", right).value(value));
            }
        };
        must(self.v >= 1, "v", "0", "1 or more");
        must(id::is_uuid_v7(&self.id), "id", &self.id, "a version 7 UUID in lower case");
        must(id::is_device(&self.device), "device", &self.device, "32 lower-case hex digits");
        must(self.seq < MOST_ENTRIES, "seq", &self.seq.to_string(), "below 2^40");
        let plain = |text: &str| !text.trim().is_empty() && !text.chars().any(char::is_control);
        let author = plain(&self.author) && self.author.chars().count() <= MOST_AUTHOR;
        must(author, "author", &self.author, "a name of at most 200 letters");
        must(id::is_time(&self.at), "at", &self.at, "a time such as 2026-11-25T09:30:00+11:00");
        must(is_kind(&self.kind), "kind", &self.kind, "lower-case words joined by hyphens, at most 64 letters");
        must(self.version >= 1, "version", "0", "1 or more");
        let object = self.payload.get().starts_with('{');
        must(object, "payload", self.payload.get(), "an object");
        must(self.blobs.len() <= MOST_BLOBS, "blobs", &self.blobs.len().to_string(), "at most 1000 blobs");
        must(self.seen.len() <= MOST_SEEN, "seen", &self.seen.len().to_string(), "at most 1000 devices");
        for (device, size) in self.seen.iter().take(MOST_SEEN) {
            must(id::is_device(device), "seen", device, "device ids of 32 lower-case hex digits");
            must(*device != self.device, "seen", device, "other devices; its own log is known by seq");
            must(*size <= MOST_ENTRIES, &format!("seen.{device}"), &size.to_string(), "at most 2^40");
        }
        if let Some(clock) = &self.clock {
            clock.check(&mut wrong);
        }
        wrong.or(())
    }
}

fn is_kind(text: &str) -> bool {
    let word = |word: &str| !word.is_empty() && word.bytes().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit());
    text.len() <= MOST_KIND && text.split('-').all(word)
}
