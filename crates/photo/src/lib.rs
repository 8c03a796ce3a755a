//! What the file of a photograph says of itself: when and where it was taken, how it must be turned, how large it is, with
//! which camera. And a copy of it that no longer says where.
//!
//! Files are streamed: what is held is their metadata, [`MOST_METADATA`] bytes at most, never the picture. Nothing here
//! guesses: a time without offset stays without, a place without hemisphere is no place, and what could not be used is among
//! the [`Facts::problems`].
//!
//! Sources: Exif 3.0 (CIPA DC-008-2023) for the tags; ISO/IEC 10918-1 (JPEG), ISO/IEC 15948 (PNG), RFC 9649 (WebP),
//! ISO/IEC 14496-12 and 23008-12 (HEIC) for where they stand.

mod copy;
mod exif;
mod heic;
mod jpeg;
mod png;
mod source;
mod tiff;
mod walk;
mod webp;

pub use copy::without_location;
pub use exif::orientation;
pub use source::Fault;

use measure::Problems;
use std::fmt;
use std::io::{Error, Read, Seek};

/// Bytes of metadata that are looked at in one file. Cameras write up to 64 KB of EXIF.
pub const MOST_METADATA: usize = 1 << 20;

/// What a file says of itself.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Facts {
    /// When it was taken, by the camera's clock (DateTimeOriginal).
    pub taken_at: Option<TakenAt>,
    /// Where it was taken, by satellite.
    pub place: Option<Place>,
    /// How it must be turned to stand upright: 1 to 8, as EXIF counts.
    pub orientation: Option<u8>,
    /// Pixels across and down, as stored: before it is turned.
    pub size_px: Option<(u32, u32)>,
    /// Make and model as the camera wrote them.
    pub camera: Option<String>,
    /// What the file says that can't be so, and where it is damaged.
    pub problems: Problems,
}

/// A camera's time. Shown as RFC 3339 has it, without offset where the camera wrote none: then it is the local time of a place
/// nobody named, and not a moment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TakenAt {
    /// Date and time on the camera's clock: `2026-05-03T14:22:05`, with the fraction of a second if there is one.
    pub local: String,
    /// Offset from UTC (OffsetTimeOriginal): `+10:00`.
    pub offset: Option<String>,
}

impl fmt::Display for TakenAt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", self.local, self.offset.as_deref().unwrap_or_default())
    }
}

/// A place by satellite, WGS 84.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// North of the equator.
    pub latitude_deg: f64,
    /// East of Greenwich.
    pub longitude_deg: f64,
    /// Horizontal positioning error as the device wrote it (GPSHPositioningError); EXIF does not say how sure that is.
    pub horizontal_error_m: Option<f64>,
}

/// Reads what a JPEG, PNG, WebP or HEIC file says of itself, told by its first bytes. A file that is none of these says
/// nothing; one that is damaged says what came before the damage, and the damage is among its problems.
///
/// # Errors
/// Only those of reading itself.
pub fn read(from: impl Read + Seek) -> Result<Facts, Error> {
    let (walk, damage) = walk::walk(from, true)?;
    let mut facts = Facts { size_px: walk.size_px, orientation: walk.turn, ..Facts::default() };
    if let Some(exif) = &walk.exif {
        exif::read(exif, &mut facts);
    }
    if walk.container == Some(walk::Container::Heic) {
        // A viewer turns these by the item's own property and not by EXIF (ISO/IEC 23008-12).
        facts.orientation = walk.turn;
    }
    facts.problems.extend(damage);
    Ok(facts)
}
