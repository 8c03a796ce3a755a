//! What a blob is, told from its bytes and never from its name.

use std::fmt;

/// Bytes at the beginning that tell a kind.
pub const LOOK: usize = 512;

const MB: u64 = 1_000_000;

/// A kind of blob that a record takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Photograph.
    Jpeg,
    /// Picture.
    Png,
    /// Picture.
    Webp,
    /// Photograph of a phone.
    Heic,
    /// Video.
    Mp4,
    /// Video.
    Mov,
    /// Sound in an MP4 container.
    M4a,
    /// Sound.
    Mp3,
    /// Sound.
    Aac,
    /// Sound.
    Wav,
    /// Sound.
    Ogg,
    /// Sound.
    Flac,
    /// Sound or video as browsers record it.
    Webm,
    /// Document.
    Pdf,
    /// Scan: points of a laser scan, LAS or its compressed form LAZ.
    Las,
    /// Scan: ASTM E2807.
    E57,
    /// Scan: points or triangles.
    Ply,
    /// Text in any usual encoding: notes, tables, JSON.
    Text,
}

/// Every kind with its name, media type and most bytes.
const KINDS: [(Kind, &str, &str, u64); 18] = [
    (Kind::Jpeg, "JPEG", "image/jpeg", 100 * MB),
    (Kind::Png, "PNG", "image/png", 100 * MB),
    (Kind::Webp, "WebP", "image/webp", 100 * MB),
    (Kind::Heic, "HEIC", "image/heic", 100 * MB),
    (Kind::Mp4, "MP4", "video/mp4", 4_000 * MB),
    (Kind::Mov, "MOV", "video/quicktime", 4_000 * MB),
    (Kind::M4a, "M4A", "audio/mp4", 1_000 * MB),
    (Kind::Mp3, "MP3", "audio/mpeg", 1_000 * MB),
    (Kind::Aac, "AAC", "audio/aac", 1_000 * MB),
    (Kind::Wav, "WAV", "audio/wav", 1_000 * MB),
    (Kind::Ogg, "Ogg", "audio/ogg", 1_000 * MB),
    (Kind::Flac, "FLAC", "audio/flac", 1_000 * MB),
    (Kind::Webm, "WebM", "video/webm", 4_000 * MB),
    (Kind::Pdf, "PDF", "application/pdf", 500 * MB),
    (Kind::Las, "LAS", "application/vnd.las", 16_000 * MB),
    (Kind::E57, "E57", "model/e57", 16_000 * MB),
    (Kind::Ply, "PLY", "model/ply", 16_000 * MB),
    (Kind::Text, "text", "text/plain", 100 * MB),
];

/// What is said of a blob of no kind that is taken.
pub const TAKEN: &str = "JPEG, PNG, WebP, HEIC, MP4, MOV, WebM, M4A, MP3, AAC, WAV, Ogg, FLAC, PDF, LAS, LAZ, E57, PLY or plain text";

impl Kind {
    fn row(self) -> &'static (Kind, &'static str, &'static str, u64) {
        &KINDS[self as usize]
    }

    /// Its media type.
    pub fn media_type(self) -> &'static str {
        self.row().2
    }

    /// How many bytes such a blob may have.
    pub fn most_bytes(self) -> u64 {
        self.row().3
    }

    /// The kind of this name ([`fmt::Display`]).
    pub fn named(name: &str) -> Option<Self> {
        KINDS.iter().find(|row| row.1 == name).map(|row| row.0)
    }

    /// The kind of bytes that begin like this (the first [`LOOK`] of them, or all there are). Text is a guess until all of it
    /// was seen by [`Text`].
    ///
    /// Markup (SVG, HTML, XML) is refused: it can carry a script, and a drawing that runs one is no evidence. Archives are
    /// refused: what is inside would go unseen.
    ///
    /// The signatures are those of the formats: ISO 15948 (PNG), ISO/IEC 10918 (JPEG), RFC 9649 (WebP), ISO/IEC 14496-12 and
    /// 23008-12 (MP4, HEIC), RFC 3533 (Ogg), RFC 9639 (FLAC), RFC 9559 (WebM), ISO 32000 (PDF), ASPRS LAS 1.4, ASTM E2807.
    pub fn of(start: &[u8]) -> Option<Self> {
        let at = |from: usize, bytes: &[u8]| start.get(from..from + bytes.len()) == Some(bytes);
        let kind = match start {
            _ if at(0, b"\xff\xd8\xff") => Self::Jpeg,
            _ if at(0, b"\x89PNG\r\n\x1a\n") => Self::Png,
            _ if at(0, b"RIFF") && at(8, b"WEBP") => Self::Webp,
            _ if at(0, b"RIFF") && at(8, b"WAVE") => Self::Wav,
            _ if at(4, b"ftyp") => return box_kind(start.get(8..12)?),
            _ if at(0, b"ID3") => Self::Mp3,
            [0xff, second, ..] if second & 0xf6 == 0xf0 => Self::Aac,
            [0xff, second, third, ..] if second & 0xe6 == 0xe2 && *third < 0xf0 => Self::Mp3,
            _ if at(0, b"OggS") => Self::Ogg,
            _ if at(0, b"fLaC") => Self::Flac,
            _ if at(0, b"\x1a\x45\xdf\xa3") && start.windows(4).any(|four| four == b"webm") => Self::Webm,
            _ if at(0, b"%PDF-") => Self::Pdf,
            _ if at(0, b"LASF") => Self::Las,
            _ if at(0, b"ASTM-E57") => Self::E57,
            _ if at(0, b"ply\n") || at(0, b"ply\r") => Self::Ply,
            _ if is_markup(start) => return None,
            _ if !start.is_empty() && Text::default().takes(start) => Self::Text,
            _ => return None,
        };
        Some(kind)
    }
}

/// The kind of an ISO base media file by its major brand.
fn box_kind(brand: &[u8]) -> Option<Kind> {
    Some(match brand {
        b"heic" | b"heix" | b"heim" | b"heis" | b"hevc" | b"hevx" | b"mif1" | b"msf1" => Kind::Heic,
        b"M4A " | b"M4B " => Kind::M4a,
        b"qt  " => Kind::Mov,
        b"avif" | b"avis" | b"crx " => return None,
        _ => Kind::Mp4,
    })
}

/// Whether text begins as SVG, HTML or XML do, in any encoding.
fn is_markup(start: &[u8]) -> bool {
    let mut letters = start.iter().filter(|c| !matches!(c, 0 | 0xef | 0xbb | 0xbf | 0xfe | 0xff) && !c.is_ascii_whitespace());
    letters.next() == Some(&b'<')
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.row().1)
    }
}

/// Looks at all of a text as it goes by: no control characters but tab, line break, form feed.
#[derive(Clone, Debug, Default)]
pub struct Text {
    seen: u64,
    wide: bool,
}

impl Text {
    /// Whether it is text still with these bytes more.
    pub fn takes(&mut self, bytes: &[u8]) -> bool {
        if self.seen == 0 {
            // UTF-16 with its mark has zeros in every other byte.
            self.wide = bytes.starts_with(b"\xff\xfe") || bytes.starts_with(b"\xfe\xff");
        }
        self.seen += bytes.len() as u64;
        bytes.iter().all(|c| *c >= 0x20 && *c != 0x7f || matches!(c, b'\t' | b'\n' | b'\r' | 0x0c) || self.wide)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kinds_stand_in_their_order() {
        for (i, row) in KINDS.iter().enumerate() {
            assert_eq!(row.0 as usize, i, "{}", row.1);
            assert_eq!(Kind::named(&row.0.to_string()), Some(row.0));
        }
    }

    #[test]
    fn content_decides_and_not_the_name() {
        let table: [(&[u8], Option<Kind>); 34] = [
            (b"\xff\xd8\xff\xe1\x00\x10Exif", Some(Kind::Jpeg)),
            (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", Some(Kind::Png)),
            (b"RIFF\x10\0\0\0WEBPVP8 ", Some(Kind::Webp)),
            (b"RIFF\x10\0\0\0WAVEfmt ", Some(Kind::Wav)),
            (b"RIFF\x10\0\0\0AVI LIST", None),
            (b"\0\0\0\x18ftypheic\0\0\0\0", Some(Kind::Heic)),
            (b"\0\0\0\x18ftypmif1\0\0\0\0", Some(Kind::Heic)),
            (b"\0\0\0\x18ftypisom\0\0\0\0", Some(Kind::Mp4)),
            (b"\0\0\0\x14ftypqt  \0\0\0\0", Some(Kind::Mov)),
            (b"\0\0\0\x14ftypM4A \0\0\0\0", Some(Kind::M4a)),
            (b"ID3\x04\0\0", Some(Kind::Mp3)),
            (b"\xff\xfb\x90\x64", Some(Kind::Mp3)),
            (b"\xff\xf1\x50\x80", Some(Kind::Aac)),
            (b"OggS\0\x02", Some(Kind::Ogg)),
            (b"fLaC\0\0\0\x22", Some(Kind::Flac)),
            (b"\x1a\x45\xdf\xa3\x01\0\0\0\0\0\0\x1f\x42\x82\x84webm", Some(Kind::Webm)),
            (b"%PDF-1.7\n", Some(Kind::Pdf)),
            (b"LASF\0\0\0\0", Some(Kind::Las)),
            (b"ASTM-E57\x01\0\0\0", Some(Kind::E57)),
            (b"ply\nformat ascii 1.0\n", Some(Kind::Ply)),
            (b"station,level_mm\n1,12.5\n", Some(Kind::Text)),
            ("Bodenablauf Gefälle 1:80".as_bytes(), Some(Kind::Text)),
            (b"Gef\xe4lle", Some(Kind::Text)),
            (b"\xff\xfeG\0e\0", Some(Kind::Text)),
            (b"{\"a\":1}", Some(Kind::Text)),
            (b"<svg xmlns='http://www.w3.org/2000/svg'>", None),
            (b"\xef\xbb\xbf  <?xml version='1.0'?><svg>", None),
            (b"\xff\xfe<\0s\0v\0g\0", None),
            (b"<!doctype html>", None),
            (b"PK\x03\x04\x14\0", None),
            (b"\x7fELF\x02\x01", None),
            (b"MZ\x90\0\x03", None),
            (b"text\0with a zero", None),
            (b"", None),
        ];
        for (bytes, expected) in table {
            assert_eq!(Kind::of(bytes), expected, "{}", String::from_utf8_lossy(bytes));
        }
    }
}
