//! WebP (RFC 9649).

use crate::source::{Fault, Source, wrong};
use crate::walk::{Piece, Walk};
use std::io::{Read, Seek};

/// Chunks of the picture and of how it looks; a copy has no others. A frame of a moving picture stays whole.
const KEPT: [&[u8; 4]; 6] = [b"VP8 ", b"VP8L", b"ALPH", b"ICCP", b"ANIM", b"ANMF"];

const HAS_EXIF: u8 = 0x08;
const HAS_XMP: u8 = 0x04;
/// Where the flags stand in the chunk `VP8X`.
const FLAGS: usize = 8;

pub(crate) fn walk<R: Read + Seek>(source: &mut Source<R>, walk: &mut Walk) -> Result<(), Fault> {
    source.skip(4)?;
    let end = u64::from(u32::from_le_bytes(source.array()?)) + 8;
    source.skip(4)?;
    walk.pieces.push(Piece::New(b"RIFF\0\0\0\0WEBP".to_vec()));
    // Some writers leave the last byte of padding out.
    while source.at + 1 < end {
        walk.bounded()?;
        let from = source.at;
        let name = source.array::<4>()?;
        let length = u64::from(u32::from_le_bytes(source.array()?));
        let begins = source.at;
        if begins + length > end {
            return Err(wrong(format!("damaged WebP: the chunk at byte {from} is longer than the file says it is"), "a whole file"));
        }
        let start = source.bytes(source.left().min(length).min(10) as usize)?;
        source.go(begins)?;
        if name == *b"EXIF" {
            walk.take_exif(source, length)?;
        }
        let next = begins + length + length % 2;
        source.go(if next > source.length && next == begins + length + 1 { source.length } else { next })?;
        walk.size_px = walk.size_px.or_else(|| size(&name, &start));
        if name == *b"VP8X" && length == 10 && start.len() == 10 {
            let mut chunk = [&b"VP8X\x0a\0\0\0"[..], &start].concat();
            chunk[FLAGS] &= !(HAS_EXIF | HAS_XMP);
            walk.pieces.push(Piece::New(chunk));
        } else if KEPT.contains(&&name) {
            walk.keep(from, source.at);
            if source.at < next {
                walk.pieces.push(Piece::New(vec![0]));
            }
        }
    }
    Ok(())
}

/// Pixels across and down: `VP8X`, and the headers of the two kinds of coded picture (RFC 9649, 2.7.1, 3.4; RFC 6386, 9.1).
fn size(name: &[u8; 4], start: &[u8]) -> Option<(u32, u32)> {
    let short = |at: usize| Some(u32::from(u16::from_le_bytes([*start.get(at)?, *start.get(at + 1)?])));
    match name {
        b"VP8X" => Some((1 + short(4)? + (u32::from(*start.get(6)?) << 16), 1 + short(7)? + (u32::from(*start.get(9)?) << 16))),
        b"VP8 " if start.get(3..6) == Some(b"\x9d\x01\x2a") => Some((short(6)? & 0x3fff, short(8)? & 0x3fff)),
        b"VP8L" if start.first() == Some(&0x2f) => {
            let bits = short(1)? | short(3)? << 16;
            Some((1 + (bits & 0x3fff), 1 + (bits >> 14 & 0x3fff)))
        }
        _ => None,
    }
}

/// An EXIF chunk.
pub(crate) fn exif_chunk(tiff: &[u8]) -> Vec<u8> {
    let padding = &[0][..tiff.len() % 2];
    [b"EXIF", &(tiff.len() as u32).to_le_bytes()[..], tiff, padding].concat()
}

/// Says in the header how long the copy is, and whether it has EXIF.
pub(crate) fn finish(walk: &mut Walk) -> Result<(), Fault> {
    let has_exif = walk.exif_piece.is_some_and(|i| walk.pieces[i] != Piece::New(Vec::new()));
    let length: u64 = walk.pieces.iter().map(Piece::length).sum();
    let Ok(length) = u32::try_from(length - 8) else { return Err(wrong("too large for a WebP", "a whole file")) };
    for piece in &mut walk.pieces {
        match piece {
            Piece::New(bytes) if bytes.starts_with(b"RIFF") => bytes[4..8].copy_from_slice(&length.to_le_bytes()),
            Piece::New(bytes) if bytes.starts_with(b"VP8X") && has_exif => bytes[FLAGS] |= HAS_EXIF,
            _ => {}
        }
    }
    Ok(())
}
