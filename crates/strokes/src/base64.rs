//! Bytes from base64 (RFC 4648, section 4: the standard alphabet).

/// The bytes, or the place of the first character that is wrong. Padding may be left out; line breaks are skipped.
pub fn decode(text: &str) -> Result<Vec<u8>, usize> {
    let mut bytes = Vec::with_capacity(text.len() / 4 * 3 + 3);
    let (mut held, mut bits) = (0_u32, 0);
    let mut padded = false;
    for (place, letter) in text.bytes().enumerate() {
        let value = match letter {
            b'\r' | b'\n' => continue,
            b'=' => {
                padded = true;
                continue;
            }
            _ if padded => return Err(place),
            b'A'..=b'Z' => letter - b'A',
            b'a'..=b'z' => letter - b'a' + 26,
            b'0'..=b'9' => letter - b'0' + 52,
            b'+' => 62,
            b'/' => 63,
            _ => return Err(place),
        };
        held = (held << 6) | u32::from(value);
        bits += 6;
        if bits >= 8 {
            bits -= 8;
            bytes.push((held >> bits) as u8);
            held &= (1 << bits) - 1;
        }
    }
    // A lone letter, or bits set beyond the last byte: the text was cut.
    if bits == 6 || held != 0 { Err(text.len()) } else { Ok(bytes) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4648, section 10.
    #[test]
    fn published_vectors_decode() {
        for (plain, coded) in [("", ""), ("f", "Zg=="), ("fo", "Zm8="), ("foo", "Zm9v"), ("foob", "Zm9vYg=="), ("foobar", "Zm9vYmFy")] {
            assert_eq!(decode(coded).unwrap(), plain.as_bytes());
        }
    }

    #[test]
    fn cut_or_foreign_text_is_refused() {
        for (coded, place) in [("Z", 1), ("Zm9v!", 4), ("Zg==Zg", 4), ("Zh==", 4), ("Zm9vä", 4)] {
            assert_eq!(decode(coded), Err(place), "{coded}");
        }
    }
}
