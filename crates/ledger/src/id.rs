//! Names and times as a record writes them, each with one spelling.

use crate::hash::to_hex;

/// A version 7 UUID made of a time and ten random bytes (RFC 9562, 5.7): ids sort by the millisecond they were made in.
///
/// `unix_ms` is milliseconds since 1970 and keeps its low 48 bits; six bits of `random` give way to version and variant.
pub fn uuid_v7(unix_ms: u64, random: [u8; 10]) -> String {
    let mut bytes = [0; 16];
    bytes[..6].copy_from_slice(&unix_ms.to_be_bytes()[2..]);
    bytes[6..].copy_from_slice(&random);
    bytes[6] = bytes[6] & 0x0f | 0x70;
    bytes[8] = bytes[8] & 0x3f | 0x80;
    let hex = to_hex(&bytes);
    format!("{}-{}-{}-{}-{}", &hex[..8], &hex[8..12], &hex[12..16], &hex[16..20], &hex[20..])
}

/// Whether the text is a UUID in lower case (RFC 9562, 4).
pub fn is_uuid(text: &str) -> bool {
    text.len() == 36 && text.bytes().enumerate().all(|(i, c)| if matches!(i, 8 | 13 | 18 | 23) { c == b'-' } else { is_hex_digit(c) })
}

/// Whether it is a version 7 UUID in lower case.
pub fn is_uuid_v7(text: &str) -> bool {
    is_uuid(text) && text.as_bytes()[14] == b'7' && matches!(text.as_bytes()[19], b'8' | b'9' | b'a' | b'b')
}

/// Whether the text is a device id: 32 lower-case hex digits.
pub fn is_device(text: &str) -> bool {
    text.len() == 32 && text.bytes().all(is_hex_digit)
}

/// Whether the text can name a log: a device id, or the job's UUID.
pub fn is_log(text: &str) -> bool {
    is_device(text) || is_uuid(text)
}

/// Whether the text is a time of RFC 3339 with seconds, an offset and capital T and Z, on a day there is.
pub fn is_time(text: &str) -> bool {
    let bytes = text.as_bytes();
    let digits = |range: std::ops::Range<usize>| bytes.get(range).is_some_and(|part| part.iter().all(u8::is_ascii_digit));
    let sign = |at: usize, sign: u8| bytes.get(at) == Some(&sign);
    let date = digits(0..4) && sign(4, b'-') && digits(5..7) && sign(7, b'-') && digits(8..10) && sign(10, b'T');
    let clock = digits(11..13) && sign(13, b':') && digits(14..16) && sign(16, b':') && digits(17..19);
    if !date || !clock {
        return false;
    }
    let mut at = 19;
    if sign(19, b'.') {
        at = 20 + bytes[20..].iter().take_while(|c| c.is_ascii_digit()).count();
        if !(21..=29).contains(&at) {
            return false;
        }
    }
    let offset = match bytes.get(at) {
        Some(b'Z') => bytes.len() == at + 1,
        Some(b'+' | b'-') => bytes.len() == at + 6 && digits(at + 1..at + 3) && sign(at + 3, b':') && digits(at + 4..at + 6),
        _ => false,
    };
    offset && text.parse::<jiff::Timestamp>().is_ok()
}

fn is_hex_digit(c: u8) -> bool {
    matches!(c, b'0'..=b'9' | b'a'..=b'f')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_id_made_now_is_a_version_7_uuid() {
        // RFC 9562, appendix A.6: the example UUIDv7 of 22 February 2022, 14:22:22 -05:00, unix_ts_ms 0x017F22E279B0,
        // rand_a 0xCC3, rand_b 0x18C4DC0C0C07398F (version and variant bits laid over).
        let random = [0x0c, 0xc3, 0x18, 0xc4, 0xdc, 0x0c, 0x0c, 0x07, 0x39, 0x8f];
        let id = uuid_v7(0x017f_22e2_79b0, random);
        assert_eq!(id, "017f22e2-79b0-7cc3-98c4-dc0c0c07398f");
        assert!(is_uuid_v7(&id));
        assert!(is_uuid_v7(&uuid_v7(u64::MAX, [0xff; 10])) && is_uuid_v7(&uuid_v7(0, [0; 10])));
        for wrong in
            ["", "017F22E2-79B0-7CC3-98C4-DC0C0C07398F", "017f22e2-79b0-4cc3-98c4-dc0c0c07398f", "017f22e279b07cc398c4dc0c0c07398f"]
        {
            assert!(!is_uuid_v7(wrong), "{wrong}");
        }
    }

    #[test]
    fn a_time_has_a_date_a_clock_and_an_offset() {
        for right in
            ["2026-11-25T09:30:00+11:00", "2026-11-25T09:30:00.123Z", "2024-02-29T23:59:59.123456789-09:30", "2026-11-25T09:30:00Z"]
        {
            assert!(is_time(right), "{right}");
        }
        for wrong in [
            "",
            "2026-11-25",
            "2026-11-25T09:30:00",
            "2026-11-25T09:30Z",
            "2026-11-25 09:30:00Z",
            "2026-11-25t09:30:00z",
            "2026-02-29T09:30:00Z",
            "2026-11-25T24:30:00Z",
            "2026-11-25T09:30:00.Z",
            "2026-11-25T09:30:00.1234567890Z",
            "2026-11-25T09:30:00+11",
            "2026-11-25T09:30:00+11:00[Australia/Sydney]",
            "2026-11-25T09:30:00Zé",
        ] {
            assert!(!is_time(wrong), "{wrong}");
        }
    }
}
