//! A copy that does not say where.

use crate::source::{Fault, Source, wrong};
use crate::walk::{Container, Piece, walk_in};
use crate::{exif, jpeg, png, webp};
use std::io::{Read, Seek, Write};

/// Writes a copy of a JPEG, PNG or WebP file that says no place. The coded picture is the same, byte for byte, with its
/// colour profile; the file's hash is another one.
///
/// Of the metadata only what is listed is kept: orientation, times with their offsets (which tell a time zone), make and model
/// of camera and lens, exposure, size, colour space. Everything else goes, known or not: the GPS directory, all XMP and IPTC,
/// makers' notes (some hold places), comments and other words, thumbnails and further pictures, and what stands after the
/// picture's end. What the picture itself shows stays.
///
/// # Errors
/// [`Fault::Wrong`] for a damaged file and for every other kind: then nothing was written.
pub fn without_location(from: impl Read + Seek, to: &mut dyn Write) -> Result<(), Fault> {
    let mut source = Source::new(from)?;
    let (mut walk, problems) = walk_in(&mut source, false)?;
    let container = match walk.container {
        Some(Container::Heic) => return Err(wrong("the place can't be taken out of a HEIC file", "a JPEG, PNG or WebP file")),
        None => return Err(wrong("no photograph from which a place can be taken", "a JPEG, PNG or WebP file")),
        Some(container) => container,
    };
    if !problems.is_empty() {
        return Err(Fault::Wrong(problems));
    }
    if let (Some(place), Some(block)) = (walk.exif_piece, &walk.exif) {
        let kept = exif::without_location(block);
        if !kept.is_empty() {
            walk.pieces[place] = Piece::New(match container {
                Container::Jpeg => jpeg::exif_segment(&kept),
                Container::Png => png::exif_chunk(&kept),
                Container::Webp | Container::Heic => webp::exif_chunk(&kept),
            });
        }
    }
    if container == Container::Webp {
        webp::finish(&mut walk)?;
    }
    for piece in &walk.pieces {
        match piece {
            Piece::Same { at, count } => source.copy(*at, *count, to)?,
            Piece::New(bytes) => to.write_all(bytes)?,
        }
    }
    Ok(())
}
