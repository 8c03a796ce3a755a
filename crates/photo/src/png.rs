//! PNG (ISO/IEC 15948; W3C PNG, third edition).

use crate::source::{Fault, Source, wrong};
use crate::walk::Walk;
use std::io::{Read, Seek};

pub(crate) const SIGNATURE: &[u8] = b"\x89PNG\r\n\x1a\n";

/// Chunks of the picture and of how it looks; a copy has no others. That takes out text, XMP and what nobody knows.
const KEPT: [&[u8; 4]; 22] = [
    b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"cHRM", b"gAMA", b"iCCP", b"sBIT", b"sRGB", b"cICP", b"mDCV", b"cLLI", b"bKGD", b"hIST",
    b"pHYs", b"sPLT", b"tIME", b"acTL", b"fcTL", b"fdAT", b"sTER",
];

pub(crate) fn walk<R: Read + Seek>(source: &mut Source<R>, walk: &mut Walk) -> Result<(), Fault> {
    source.skip(SIGNATURE.len() as u64)?;
    walk.keep(0, source.at);
    loop {
        walk.bounded()?;
        let from = source.at;
        let length = u64::from(u32::from_be_bytes(source.array()?));
        let name = source.array::<4>()?;
        let end = source.at + length + 4;
        if length > i32::MAX as u64 || !name.iter().all(u8::is_ascii_alphabetic) {
            return Err(wrong(format!("damaged PNG: no chunk at byte {from}"), "a whole file"));
        }
        match &name {
            b"IHDR" if length >= 8 => {
                let [w, h] = [u32::from_be_bytes(source.array()?), u32::from_be_bytes(source.array()?)];
                walk.size_px = walk.size_px.or(Some((w, h)).filter(|(w, h)| *w > 0 && *h > 0));
            }
            b"eXIf" => walk.take_exif(source, length)?,
            _ => {}
        }
        source.go(end)?;
        if KEPT.contains(&&name) {
            walk.keep(from, end);
        } else if name[0].is_ascii_uppercase() {
            return Err(wrong("the PNG has a chunk that must be understood and is not known", "a usual PNG file"));
        }
        if &name == b"IEND" {
            return Ok(());
        }
    }
}

/// An EXIF chunk.
pub(crate) fn exif_chunk(tiff: &[u8]) -> Vec<u8> {
    let named = [b"eXIf", tiff].concat();
    [&(tiff.len() as u32).to_be_bytes()[..], &named, &crc(&named).to_be_bytes()].concat()
}

/// ISO/IEC 15948, annex D: the cyclic redundancy code, bit by bit.
fn crc(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| if crc & 1 == 1 { (crc >> 1) ^ 0xedb8_8320 } else { crc >> 1 })
    })
}

#[cfg(test)]
mod tests {
    /// The check value of CRC-32 over the digits 1 to 9, as catalogues of such codes have it (value from memory).
    #[test]
    fn the_code_of_nine_digits() {
        assert_eq!(super::crc(b"123456789"), 0xcbf4_3926);
    }
}
