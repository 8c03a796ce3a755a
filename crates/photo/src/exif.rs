//! What an EXIF block says (Exif 3.0, 4.6.5 to 4.6.7).

use crate::tiff::{Entry, Tiff};
use crate::{Facts, Place, TakenAt};
use measure::{Problem, Problems};

const MAKE: u16 = 0x010f;
const MODEL: u16 = 0x0110;
const ORIENTATION: u16 = 0x0112;
const TAKING: u16 = 0x8769;
const GPS: u16 = 0x8825;
const DATE_TIME_ORIGINAL: u16 = 0x9003;
const OFFSET_TIME_ORIGINAL: u16 = 0x9011;
const SUB_SEC_TIME_ORIGINAL: u16 = 0x9291;

/// Letters of the camera's name that are read.
const MOST_LETTERS: usize = 100;

/// Fields of the picture that a copy without location keeps: make, model, orientation, resolution, time of last change,
/// position of the colour samples.
const PICTURE: [u16; 8] = [MAKE, MODEL, ORIENTATION, 0x011a, 0x011b, 0x0128, 0x0132, 0x0213];
/// Fields of its taking that a copy keeps: exposure, times with offset and fraction, light, lens, size, colour space.
const OF_TAKING: [u16; 27] = [
    0x829a, 0x829d, 0x8822, 0x8827, 0x9000, 0x9003, 0x9004, 0x9010, 0x9011, 0x9012, 0x9204, 0x9207, 0x9208, 0x9209, 0x920a, 0x9290, 0x9291,
    0x9292, 0xa001, 0xa002, 0xa003, 0xa402, 0xa403, 0xa405, 0xa406, 0xa433, 0xa434,
];
/// Bytes of a field that is looked at or kept.
const MOST_VALUE: usize = 256;

/// A directory's field, unless it is empty or too large to be one.
fn field(tiff: Tiff<'_>, at: u32, tag: u16) -> Option<Entry<'_>> {
    tiff.find(at, tag).filter(|entry| (1..=MOST_VALUE).contains(&entry.value.len()))
}

/// The orientation an EXIF block gives, 1 to 8, with or without `Exif\0\0` before it; none where it gives none.
pub fn orientation(exif: &[u8]) -> Option<u8> {
    let tiff = Tiff::of(exif.strip_prefix(b"Exif\0\0").unwrap_or(exif))?;
    let found = tiff.number(field(tiff, tiff.first()?, ORIENTATION)?)?;
    u8::try_from(found).ok().filter(|turn| (1..=8).contains(turn))
}

/// A block with what a copy keeps; empty if that is nothing. Only listed fields are kept, so whatever else may say a place
/// goes: the GPS directory, makers' notes, words, thumbnails, directories nobody knows, bytes between them.
pub(crate) fn without_location(exif: &[u8]) -> Vec<u8> {
    let Some(tiff) = Tiff::of(exif) else { return Vec::new() };
    let Some(first) = tiff.first() else { return Vec::new() };
    let kept = |at: u32, tags: &[u16]| -> Vec<Entry> { tags.iter().filter_map(|tag| field(tiff, at, *tag)).collect() };
    let taking = field(tiff, first, TAKING).and_then(|entry| tiff.number(entry));
    tiff.only(&kept(first, &PICTURE), &taking.map(|at| kept(at, &OF_TAKING)).unwrap_or_default())
}

/// Adds what a block says to the facts.
pub(crate) fn read(exif: &[u8], facts: &mut Facts) {
    let Some((tiff, first)) = Tiff::of(exif).and_then(|tiff| Some((tiff, tiff.first()?))) else {
        facts.problems.push(Problem::at("EXIF", "no byte order where it begins", "a block that begins with II or MM"));
        return;
    };
    let names = [MAKE, MODEL].iter().filter_map(|tag| words(field(tiff, first, *tag)?));
    facts.camera = Some(names.collect::<Vec<_>>().join(" ")).filter(|camera| !camera.is_empty());
    facts.orientation = orientation(exif);
    if let Some(found) = field(tiff, first, ORIENTATION).and_then(|entry| tiff.number(entry)).filter(|_| facts.orientation.is_none()) {
        facts.problems.push(Problem::at("Orientation", "no such orientation", "1 to 8").value(found));
    }
    let below = |tag: u16| field(tiff, first, tag).and_then(|entry| tiff.number(entry));
    if let Some(taking) = below(TAKING) {
        let text = |tag: u16| words(field(tiff, taking, tag)?);
        facts.taken_at = taken_at(text, facts);
    }
    if let Some(gps) = below(GPS) {
        match place(tiff, gps) {
            Ok(place) => facts.place = place,
            Err(problems) => facts.problems.extend(problems),
        }
    }
}

/// A text up to its first zero, without what can't be printed; none if nothing is left.
fn words(entry: Entry) -> Option<String> {
    if !matches!(entry.kind, 2 | 129) {
        return None;
    }
    let text = entry.value.split(|byte| *byte == 0).next()?;
    let text = String::from_utf8_lossy(text);
    let text: String = text.chars().filter(|c| !c.is_control()).take(MOST_LETTERS).collect();
    Some(text.trim().to_string()).filter(|text| !text.is_empty())
}

/// Exif 3.0, 4.6.6.6: `YYYY:MM:DD HH:MM:SS`, spaces or zeros where unknown; offset `+HH:MM`; the fraction as digits.
fn taken_at(text: impl Fn(u16) -> Option<String>, facts: &mut Facts) -> Option<TakenAt> {
    let written = text(DATE_TIME_ORIGINAL)?;
    if written.chars().all(|c| matches!(c, ' ' | ':' | '0')) {
        return None;
    }
    let Some(mut local) = date_and_time(&written) else {
        facts.problems.push(Problem::at("DateTimeOriginal", "no such date and time", "YYYY:MM:DD HH:MM:SS").value(written));
        return None;
    };
    if let Some(digits) = text(SUB_SEC_TIME_ORIGINAL).filter(|digits| digits.len() <= 9 && digits.bytes().all(|c| c.is_ascii_digit())) {
        local.push('.');
        local.push_str(&digits);
    }
    let mut offset = None;
    if let Some(written) = text(OFFSET_TIME_ORIGINAL).filter(|written| written.chars().any(|c| !matches!(c, ' ' | ':'))) {
        offset = read_offset(&written);
        if offset.is_none() {
            facts
                .problems
                .push(Problem::at("OffsetTimeOriginal", "no such offset from UTC", "+HH:MM or -HH:MM, -12:00 to +14:00").value(written));
        }
    }
    Some(TakenAt { local, offset })
}

/// The digits of a text in which every other letter is as in the pattern, where `0` stands for a digit.
fn numbers(text: &str, pattern: &str) -> Option<Vec<u32>> {
    let fits = |(c, p): (u8, u8)| if p == b'0' { c.is_ascii_digit() } else { c == p };
    (text.len() == pattern.len() && text.bytes().zip(pattern.bytes()).all(fits))
        .then(|| text.split(|c: char| !c.is_ascii_digit()).filter_map(|digits| digits.parse().ok()).collect())
}

fn date_and_time(written: &str) -> Option<String> {
    let [year, month, day, hour, minute, second] = numbers(written, "0000:00:00 00:00:00")?[..] else { return None };
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let days = match month {
        2 => 28 + u32::from(leap),
        4 | 6 | 9 | 11 => 30,
        1..=12 => 31,
        _ => return None,
    };
    let there_is = year > 0 && (1..=days).contains(&day) && hour < 24 && minute < 60 && second < 60;
    there_is.then(|| format!("{year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second:02}"))
}

fn read_offset(written: &str) -> Option<String> {
    let east = written.starts_with('+');
    let numbers = numbers(written, if east { "+00:00" } else { "-00:00" })?;
    let [hours, minutes] = numbers[..] else { return None };
    let most = if east { 14 } else { 12 };
    (minutes < 60 && hours * 60 + minutes <= most * 60).then(|| written.to_string())
}

/// The place a GPS directory gives, if it gives one (Exif 3.0, 4.6.7).
fn place(tiff: Tiff, gps: u32) -> Result<Option<Place>, Problems> {
    let text = |tag: u16| words(field(tiff, gps, tag)?);
    let latitude = angle(tiff, gps, "GPSLatitude", (0x01, "N", "S", 90.0))?;
    let longitude = angle(tiff, gps, "GPSLongitude", (0x03, "E", "W", 180.0))?;
    let (latitude_deg, longitude_deg) = match (latitude, longitude) {
        (Some(latitude), Some(longitude)) => (latitude, longitude),
        (None, None) => return Ok(None),
        (Some(_), None) => return Err(Problem::at("GPSLongitude", "missing", "degrees, minutes and seconds").into()),
        (None, Some(_)) => return Err(Problem::at("GPSLatitude", "missing", "degrees, minutes and seconds").into()),
    };
    if text(0x09).is_some_and(|status| status.starts_with('V')) {
        return Err(Problem::at("GPSStatus", "the place was not measured then", "A, measured").value("V").into());
    }
    if let Some(datum) =
        text(0x12).filter(|datum| !matches!(datum.replace([' ', '-', '_'], "").to_uppercase().as_str(), "WGS84" | "WGS1984"))
    {
        return Err(Problem::at("GPSMapDatum", "a place by another datum can be hundreds of metres off", "WGS-84").value(datum).into());
    }
    if latitude_deg == 0.0 && longitude_deg == 0.0 {
        return Err(Problem::at("GPSLatitude", "no place: zero north, zero east is open sea", "a place that was measured").into());
    }
    let error = field(tiff, gps, 0x1f).and_then(|entry| tiff.rationals(entry));
    let horizontal_error_m = error.and_then(|error| error.first().copied()).filter(|error| *error > 0.0);
    Ok(Some(Place { latitude_deg, longitude_deg, horizontal_error_m }))
}

/// Degrees, minutes and seconds, with the letter that says which side.
fn angle(tiff: Tiff, gps: u32, name: &str, (side_tag, plus, minus, most): (u16, &str, &str, f64)) -> Result<Option<f64>, Problems> {
    let Some(entry) = field(tiff, gps, side_tag + 1) else { return Ok(None) };
    let Some(parts) = tiff.rationals(entry) else { return Ok(None) };
    let [degrees, minutes, seconds] = parts[..] else {
        return Err(Problem::at(name, format!("{} numbers", parts.len()), "degrees, minutes and seconds").into());
    };
    let side = field(tiff, gps, side_tag).and_then(words);
    let sign = match side.as_deref() {
        Some(letter) if letter == plus => 1.0,
        Some(letter) if letter == minus => -1.0,
        _ => {
            let which = format!("{name}Ref");
            return Err(Problem::at(which, "which side is not said", format!("{plus} or {minus}")).value(side.unwrap_or_default()).into());
        }
    };
    let angle = (degrees * 3600.0 + minutes * 60.0 + seconds) / 3600.0;
    if minutes > 60.0 || seconds > 60.0 || angle > most {
        return Err(Problem::at(name, "no place on earth", format!("0 to {most} degrees"))
            .value(format!("{degrees} {minutes} {seconds}"))
            .into());
    }
    Ok(Some(sign * angle))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_orientation_is_found_in_either_order_of_bytes() {
        let little = b"II*\0\x08\0\0\0\x02\0\x0f\x01\x02\0\x01\0\0\0\0\0\0\0\x12\x01\x03\0\x01\0\0\0\x06\0\0\0";
        let big = b"Exif\0\0MM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0\x08\0\0";
        assert_eq!(orientation(little), Some(6));
        assert_eq!(orientation(big), Some(8));
        for cut in 0..little.len() {
            assert!(matches!(orientation(&little[..cut]), None | Some(6)));
        }
        assert_eq!(orientation(b"II*\0\xff\xff\xff\xff"), None);
    }

    #[test]
    fn dates_that_are_and_are_not() {
        let table = [
            ("2026:05:03 14:22:05", Some("2026-05-03T14:22:05")),
            ("2024:02:29 00:00:00", Some("2024-02-29T00:00:00")),
            ("2000:02:29 23:59:59", Some("2000-02-29T23:59:59")),
            ("1900:02:29 12:00:00", None),
            ("2025:02:29 12:00:00", None),
            ("2026:04:31 12:00:00", None),
            ("2026:13:01 12:00:00", None),
            ("2026:00:01 12:00:00", None),
            ("2026:05:03 24:00:00", None),
            ("2026:05:03 12:60:00", None),
            ("2026-05-03 12:00:00", None),
            ("2026:05:03T12:00:00", None),
            ("2026:05:03 12:00", None),
            ("2026:05:03 12:00:00Z", None),
            ("٢026:05:03 12:00:0", None),
        ];
        for (written, expected) in table {
            assert_eq!(date_and_time(written).as_deref(), expected, "{written}");
        }
    }

    #[test]
    fn offsets_that_are_and_are_not() {
        for right in ["+00:00", "-00:00", "+10:00", "+05:45", "-12:00", "+14:00"] {
            assert_eq!(read_offset(right).as_deref(), Some(right));
        }
        for wrong in ["+14:01", "-12:01", "+10:60", "10:00", "+1000", "Z", "+99:00", "+1:00", "++1:00", ""] {
            assert_eq!(read_offset(wrong), None, "{wrong}");
        }
    }
}
