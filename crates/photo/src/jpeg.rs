//! JPEG (ISO/IEC 10918-1, B.1; JFIF: ISO/IEC 10918-5).

use crate::source::{Fault, Source, wrong};
use crate::walk::Walk;
use std::io::{Read, Seek};

const EXIF: &[u8] = b"Exif\0\0";

/// Application segments that a picture needs to look right: the rest of a copy's metadata goes, whatever it is. That takes out
/// XMP, IPTC, comments, makers' own segments, the index of further pictures, and what comes after the picture's end.
const KEPT: [(u8, &[u8]); 3] = [(0xe0, b"JFIF\0"), (0xe2, b"ICC_PROFILE\0"), (0xee, b"Adobe")];

pub(crate) fn walk<R: Read + Seek>(source: &mut Source<R>, walk: &mut Walk) -> Result<(), Fault> {
    source.skip(2)?;
    walk.keep(0, 2);
    loop {
        walk.bounded()?;
        let from = source.at;
        let marker = marker(source)?;
        match marker {
            0xd9 => {
                walk.keep(from, source.at);
                return Ok(());
            }
            0x01 | 0xd0..=0xd7 => {
                walk.keep(from, source.at);
                continue;
            }
            0x00 | 0xd8 => return Err(wrong(format!("damaged JPEG: no segment begins at byte {from}"), "a whole file")),
            _ => {}
        }
        let length = u64::from(u16::from_be_bytes(source.array()?));
        let begins = source.at;
        let Some(body) = length.checked_sub(2) else {
            return Err(wrong(format!("damaged JPEG: no length of a segment at byte {from}"), "a whole file"));
        };
        let start = source.bytes(source.left().min(body).min(12) as usize)?;
        source.go(begins)?;
        match marker {
            0xe1 if start.starts_with(EXIF) => {
                walk.take_exif(source, body)?;
                continue;
            }
            0xe0..=0xef | 0xfe if !KEPT.iter().any(|(kept, name)| marker == *kept && start.starts_with(name)) => {
                source.skip(body)?;
                continue;
            }
            0xc0..=0xcf if !matches!(marker, 0xc4 | 0xc8 | 0xcc) => size(&start, walk),
            0xda if walk.facts_only => return Ok(()),
            _ => {}
        }
        source.skip(body)?;
        if marker == 0xda {
            source.find_marker()?;
        }
        walk.keep(from, source.at);
    }
}

/// The next marker's second byte; any number of fill bytes may stand before it.
fn marker<R: Read + Seek>(source: &mut Source<R>) -> Result<u8, Fault> {
    let from = source.at;
    if source.array()? != [0xff] {
        return Err(wrong(format!("damaged JPEG: no segment begins at byte {from}"), "a whole file"));
    }
    loop {
        let [byte] = source.array()?;
        if byte != 0xff {
            return Ok(byte);
        }
    }
}

/// Lines and samples of a frame header (B.2.2).
fn size(start: &[u8], walk: &mut Walk) {
    if let [_, h1, h0, w1, w0, ..] = start {
        let size = (u32::from(u16::from_be_bytes([*w1, *w0])), u32::from(u16::from_be_bytes([*h1, *h0])));
        walk.size_px = walk.size_px.or(Some(size).filter(|(w, h)| *w > 0 && *h > 0));
    }
}

/// An EXIF segment.
pub(crate) fn exif_segment(tiff: &[u8]) -> Vec<u8> {
    let length = u16::try_from(2 + EXIF.len() + tiff.len()).expect("a copy's EXIF is bounded far below 64 KB");
    [&[0xff, 0xe1], &length.to_be_bytes()[..], EXIF, tiff].concat()
}
