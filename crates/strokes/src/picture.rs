//! A picture file in grey, the right way up.

use measure::{Problem, Problems};
use std::io::Cursor;
use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

/// Bytes of one picture file.
pub const FILE_BYTES: usize = 64 * 1024 * 1024;
/// Pixels of one picture.
pub const PIXELS: usize = 50_000_000;
/// Pixels along its longer side.
pub const SIDE_PX: usize = 20_000;
/// Bytes the PNG decoder may hold beside the picture: rows, tables, metadata.
const PNG_BYTES: usize = 16 * 1024 * 1024;
/// Passes of a progressive JPEG; cameras make about ten. Each costs a walk over the whole picture.
const JPEG_SCANS: usize = 64;

/// A picture as it is to be looked at.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Decoded {
    /// Pixels in a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Luminance (ITU-R BT.601 weights, as JPEG has it) of each pixel, row by row from the top left.
    pub luminance: Vec<u8>,
}

/// Reads a PNG or JPEG file, told by its first bytes, and turns it as its EXIF orientation says (tag 274: JEITA CP-3451,
/// 4.6.4), so that pixels are counted as a viewer shows them.
///
/// Limits are looked at before pixels are made: [`FILE_BYTES`], [`PIXELS`], [`SIDE_PX`]. A file that ends early or is damaged
/// is refused: half a photograph must not be read as a floor without marks. Transparency is ignored.
pub fn decode(file: &[u8]) -> Result<Decoded, Problems> {
    if file.len() > FILE_BYTES {
        return Err(refused(format!("too large a file: {} bytes", file.len()), format!("{FILE_BYTES} at most")));
    }
    let (picture, orientation) = match file {
        [0x89, b'P', b'N', b'G', ..] => png(file)?,
        [0xff, 0xd8, ..] => jpeg(file)?,
        [] => return Err(refused("empty", "a PNG or JPEG file")),
        _ => return Err(refused("neither PNG nor JPEG", "a PNG or JPEG file")),
    };
    Ok(picture.turned(orientation.unwrap_or(1)))
}

fn refused(what: impl Into<String>, right: impl Into<String>) -> Problems {
    Problem::at("image", what, right).into()
}

/// Whether a picture of this size is one to look at.
fn sized(width: usize, height: usize) -> Result<(), Problems> {
    if width.max(height) > SIDE_PX || width.saturating_mul(height) > PIXELS {
        return Err(refused(format!("too many pixels: {width} by {height}"), format!("{PIXELS} at most, {SIDE_PX} a side")));
    }
    Ok(())
}

fn png(file: &[u8]) -> Result<(Decoded, Option<u8>), Problems> {
    let damaged = |error: png::DecodingError| match error {
        png::DecodingError::LimitsExceeded => refused("needs more memory than a picture of this size should", "a plain PNG file"),
        error => refused(format!("damaged PNG: {error}"), "a whole PNG file"),
    };
    let mut decoder = png::Decoder::new_with_limits(Cursor::new(file), png::Limits { bytes: PNG_BYTES });
    decoder.set_transformations(png::Transformations::EXPAND | png::Transformations::STRIP_16);
    decoder.set_ignore_text_chunk(true);
    decoder.set_ignore_iccp_chunk(true);
    let header = decoder.read_header_info().map_err(damaged)?;
    let (width, height, interlaced) = (header.width as usize, header.height as usize, header.interlaced);
    sized(width, height)?;
    let mut reader = decoder.read_info().map_err(damaged)?;
    let samples = reader.output_color_type().0.samples();
    let mut luminance = Vec::with_capacity(width * height);
    if interlaced {
        let mut whole = vec![0; width * height * samples];
        reader.next_frame(&mut whole).map_err(damaged)?;
        grey(&whole, samples, &mut luminance);
    } else {
        while let Some(row) = reader.next_row().map_err(damaged)? {
            grey(row.data(), samples, &mut luminance);
        }
    }
    if luminance.len() != width * height {
        return Err(refused("damaged PNG: rows are missing", "a whole PNG file"));
    }
    let orientation = reader.info().exif_metadata.as_deref().and_then(photo::orientation);
    Ok((Decoded { width, height, luminance }, orientation))
}

fn jpeg(file: &[u8]) -> Result<(Decoded, Option<u8>), Problems> {
    let damaged = |error: zune_jpeg::errors::DecodeErrors| refused(format!("damaged JPEG: {error:?}"), "a whole JPEG file");
    let options = DecoderOptions::default()
        .set_strict_mode(true)
        .set_max_width(usize::from(u16::MAX))
        .set_max_height(usize::from(u16::MAX))
        .jpeg_set_max_scans(JPEG_SCANS)
        .jpeg_set_out_colorspace(ColorSpace::Luma);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(file), options);
    decoder.decode_headers().map_err(damaged)?;
    let (width, height) = decoder.dimensions().unwrap_or_default();
    sized(width, height)?;
    // Every block of 8 by 8 pixels takes a bit at least, that of its mean (ISO/IEC 10918-1, F.1.2.1): the decoder itself goes on
    // without.
    if file.len() * 8 < (width / 8) * (height / 8) {
        return Err(refused("damaged JPEG: too short for its size", "a whole JPEG file"));
    }
    let plain = matches!(decoder.input_colorspace(), Some(ColorSpace::Luma | ColorSpace::YCbCr));
    if !plain {
        decoder.set_options(options.jpeg_set_out_colorspace(ColorSpace::RGB));
    }
    let pixels = decoder.decode().map_err(damaged)?;
    let orientation = decoder.exif().and_then(|exif| photo::orientation(exif));
    let luminance = if plain {
        pixels
    } else {
        let mut luminance = Vec::with_capacity(width * height);
        grey(&pixels, 3, &mut luminance);
        luminance
    };
    if luminance.len() != width * height {
        return Err(refused("damaged JPEG: rows are missing", "a whole JPEG file"));
    }
    Ok((Decoded { width, height, luminance }, orientation))
}

/// Adds the luminance of each pixel of one (grey), two (grey, alpha), three (red, green, blue) or four samples.
fn grey(pixels: &[u8], samples: usize, out: &mut Vec<u8>) {
    match samples {
        1 => out.extend_from_slice(pixels),
        2 => out.extend(pixels.chunks_exact(2).map(|p| p[0])),
        _ => out.extend(pixels.chunks_exact(samples).map(|p| {
            let [r, g, b] = [p[0], p[1], p[2]].map(u32::from);
            ((19_595 * r + 38_470 * g + 7_471 * b + 32_768) >> 16) as u8
        })),
    }
}

impl Decoded {
    /// Turned and mirrored as an EXIF orientation asks.
    fn turned(self, orientation: u8) -> Self {
        let (w, h) = (self.width, self.height);
        let from = |x: usize, y: usize| match orientation {
            2 => (w - 1 - x, y),
            3 => (w - 1 - x, h - 1 - y),
            4 => (x, h - 1 - y),
            5 => (y, x),
            6 => (y, h - 1 - x),
            7 => (w - 1 - y, h - 1 - x),
            8 => (w - 1 - y, x),
            _ => (x, y),
        };
        let (width, height) = match orientation {
            2..=4 => (w, h),
            5..=8 => (h, w),
            _ => return self,
        };
        let mut luminance = Vec::with_capacity(w * h);
        for y in 0..height {
            luminance.extend((0..width).map(|x| {
                let (column, row) = from(x, y);
                self.luminance[row * w + column]
            }));
        }
        Self { width, height, luminance }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The corner of the letter F seen by each orientation: the first row and column of what a viewer shows (JEITA CP-3451,
    /// 4.6.4: row 0 and column 0 are at top and left; top and right; bottom, right; bottom, left; left, top; right, top;
    /// right, bottom; left, bottom).
    #[test]
    fn every_orientation_comes_upright() {
        let stored = Decoded { width: 3, height: 2, luminance: vec![0, 1, 2, 3, 4, 5] };
        let shown: [(u8, usize, [u8; 6]); 8] = [
            (1, 3, [0, 1, 2, 3, 4, 5]),
            (2, 3, [2, 1, 0, 5, 4, 3]),
            (3, 3, [5, 4, 3, 2, 1, 0]),
            (4, 3, [3, 4, 5, 0, 1, 2]),
            (5, 2, [0, 3, 1, 4, 2, 5]),
            (6, 2, [3, 0, 4, 1, 5, 2]),
            (7, 2, [5, 2, 4, 1, 3, 0]),
            (8, 2, [2, 5, 1, 4, 0, 3]),
        ];
        for (orientation, width, luminance) in shown {
            let turned = stored.clone().turned(orientation);
            assert_eq!((turned.width, turned.luminance.as_slice()), (width, luminance.as_slice()), "{orientation}");
        }
    }
}
