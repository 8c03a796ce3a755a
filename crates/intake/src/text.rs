//! Bytes to text.

use measure::{Problem, Problems, bounds};
use std::borrow::Cow;

/// The text of a file: UTF-8 with or without a byte order mark, or UTF-16.
///
/// UTF-16 without a mark is recognised by its NUL bytes. What is refused, with line and byte: text in another encoding,
/// a document larger than [`bounds::DOCUMENT_BYTES`]. `file` is the name for the message.
pub fn decode(file: &str, bytes: &[u8]) -> Result<String, Problems> {
    view(file, bytes).map(Cow::into_owned)
}

/// As [`decode`], without a copy where the bytes are UTF-8 already.
pub fn view<'a>(file: &str, bytes: &'a [u8]) -> Result<Cow<'a, str>, Problems> {
    if bytes.len() > bounds::DOCUMENT_BYTES {
        return Err(Problem::at("", "the file is too large", format!("at most {} MiB", bounds::DOCUMENT_BYTES >> 20))
            .value(format!("{} MiB", bytes.len() >> 20))
            .file(file)
            .into());
    }
    match bytes {
        [0xFF, 0xFE, 0, 0, ..] | [0, 0, 0xFE, 0xFF, ..] => {
            Err(Problem::at("", "the file is text in UTF-32", "save it as UTF-8").file(file).line(1).into())
        }
        [0xEF, 0xBB, 0xBF, rest @ ..] => utf8(file, rest, 3),
        [0xFF, 0xFE, rest @ ..] => utf16(file, rest, u16::from_le_bytes),
        [0xFE, 0xFF, rest @ ..] => utf16(file, rest, u16::from_be_bytes),
        _ => match nul_places(bytes) {
            Some(Nul::Odd) => utf16(file, bytes, u16::from_le_bytes),
            Some(Nul::Even) => utf16(file, bytes, u16::from_be_bytes),
            None => utf8(file, bytes, 0),
        },
    }
}

/// Where the NUL bytes stand in UTF-16 text of mostly Latin letters.
enum Nul {
    /// Second byte of each pair: little-endian.
    Odd,
    /// First byte of each pair: big-endian.
    Even,
}

/// Whether the first kilobyte looks like UTF-16 without a mark: NULs in at least a third of one kind of place and in
/// none of the other.
fn nul_places(bytes: &[u8]) -> Option<Nul> {
    let head = &bytes[..bytes.len().min(1024) & !1];
    if head.len() < 4 {
        return None;
    }
    let even = head.iter().step_by(2).filter(|b| **b == 0).count();
    let odd = head.iter().skip(1).step_by(2).filter(|b| **b == 0).count();
    let third = head.len() / 6;
    match (even, odd) {
        (0, n) if n > third => Some(Nul::Odd),
        (n, 0) if n > third => Some(Nul::Even),
        _ => None,
    }
}

fn utf8<'a>(file: &str, bytes: &'a [u8], skipped: usize) -> Result<Cow<'a, str>, Problems> {
    std::str::from_utf8(bytes).map(Cow::Borrowed).map_err(|error| {
        let at = error.valid_up_to();
        let line = bytes[..at].iter().filter(|b| **b == b'\n').count() as u64 + 1;
        Problem::at(
            "",
            format!("byte {} of the file is not UTF-8", at + skipped + 1),
            "save it as UTF-8 (older spreadsheets offer 'CSV UTF-8')",
        )
        .value(format!("0x{:02X}", bytes[at]))
        .file(file)
        .line(line)
        .into()
    })
}

fn utf16(file: &str, bytes: &[u8], unit: fn([u8; 2]) -> u16) -> Result<Cow<'static, str>, Problems> {
    let mut text = String::with_capacity(bytes.len() / 2);
    let refuse = |text: &str, what: &str| {
        let line = text.bytes().filter(|b| *b == b'\n').count() as u64 + 1;
        Err(Problem::at("", what, "save it as UTF-8").file(file).line(line).into())
    };
    for decoded in char::decode_utf16(bytes.chunks_exact(2).map(|pair| unit([pair[0], pair[1]]))) {
        match decoded {
            Ok('\u{FEFF}') if text.is_empty() => {}
            Ok(c) => text.push(c),
            Err(_) => return refuse(&text, "the file looks like UTF-16, but half a character stands here"),
        }
    }
    if bytes.len() % 2 == 1 {
        return refuse(&text, "the file looks like UTF-16, but ends in half a character");
    }
    Ok(Cow::Owned(text))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn utf16_bytes(text: &str, bytes: fn(u16) -> [u8; 2], mark: bool) -> Vec<u8> {
        mark.then_some('\u{FEFF}').into_iter().chain(text.chars()).collect::<String>().encode_utf16().flat_map(bytes).collect()
    }

    #[test]
    fn every_usual_encoding_gives_the_same_text() {
        let text = "name;höhe [mm]\nA;12,5\n";
        assert_eq!(decode("a.csv", text.as_bytes()).unwrap(), text);
        assert_eq!(decode("a.csv", &[&[0xEF, 0xBB, 0xBF], text.as_bytes()].concat()).unwrap(), text);
        for mark in [true, false] {
            assert_eq!(decode("a.csv", &utf16_bytes(text, u16::to_le_bytes, mark)).unwrap(), text);
            assert_eq!(decode("a.csv", &utf16_bytes(text, u16::to_be_bytes, mark)).unwrap(), text);
        }
        assert_eq!(decode("a.csv", b"").unwrap(), "");
    }

    #[test]
    fn another_encoding_is_refused_with_line_and_byte() {
        let latin1 = decode("a.csv", b"name\nk\xFCche\n").unwrap_err().problems.remove(0);
        assert_eq!((latin1.line, latin1.value.as_deref()), (Some(2), Some("0xFC")));
        assert!(latin1.what.contains("byte 7 "), "{latin1}");
        assert!(decode("a", &[0xFF, 0xFE, 0x00, 0xD8, 0x41, 0x00]).unwrap_err().to_string().contains("half a character"));
        assert!(decode("a", &[0xFF, 0xFE, 0x41]).unwrap_err().to_string().contains("half a character"));
        assert!(decode("a", &[0xFF, 0xFE, 0, 0, 0x41, 0, 0, 0]).unwrap_err().to_string().contains("UTF-32"));
    }
}
