//! Pictures made by Pillow, piexif and libheif and what ExifTool 12.57 says of them (`peers/fixtures.py`): read the same here,
//! and copied without a place.
#![cfg(test)]

use photo::{Facts, Fault, Place, TakenAt, read, without_location};
use std::fs;
use std::io::Cursor;
use std::path::{Path, PathBuf};

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures").join(name)
}

fn picture(name: &str) -> Vec<u8> {
    fs::read(fixture(name)).unwrap()
}

fn facts(file: &[u8]) -> Facts {
    read(Cursor::new(file)).unwrap()
}

fn copy(file: &[u8]) -> Vec<u8> {
    let mut copy = Vec::new();
    without_location(Cursor::new(file), &mut copy).unwrap();
    copy
}

/// What the other reader says, in our form. It gives angles to 15 digits: 1e-12 degrees is a tenth of a micrometre.
fn said(one: &serde_json::Value) -> Facts {
    let text = |name: &str| one[name].as_str().map(str::to_string);
    let number = |name: &str| one[name].as_f64();
    let local = |written: String| {
        let (date, time) = written.split_once(' ').unwrap();
        let fraction = one["SubSecTimeOriginal"].as_u64().map(|digits| format!(".{digits}")).unwrap_or_default();
        format!("{}T{time}{fraction}", date.replace(':', "-"))
    };
    let place = number("GPSLatitude").map(|latitude_deg| Place {
        latitude_deg,
        longitude_deg: number("GPSLongitude").unwrap(),
        horizontal_error_m: number("GPSHPositioningError"),
    });
    let turned = number("Rotation").map(|quarters| [1, 8, 3, 6][(quarters / 90.0) as usize]);
    Facts {
        taken_at: text("DateTimeOriginal").map(|written| TakenAt { local: local(written), offset: text("OffsetTimeOriginal") }),
        place,
        orientation: turned.or(one["Orientation"].as_u64().map(|turn| turn as u8)),
        size_px: Some((one["ImageWidth"].as_u64().unwrap() as u32, one["ImageHeight"].as_u64().unwrap() as u32)),
        camera: text("Make").map(|make| format!("{make} {}", one["Model"].as_str().unwrap())),
        problems: Default::default(),
    }
}

#[test]
fn another_reader_says_the_same() {
    let all: Vec<serde_json::Value> = serde_json::from_slice(&picture("said.json")).unwrap();
    assert_eq!(all.len(), 9);
    for one in all {
        let name = one["SourceFile"].as_str().unwrap();
        let (mut found, mut expected) = (facts(&picture(name)), said(&one));
        if let (Some(here), Some(there)) = (found.place.take(), expected.place.take()) {
            assert!((here.latitude_deg - there.latitude_deg).abs() < 1e-12, "{name}: {here:?} {there:?}");
            assert!((here.longitude_deg - there.longitude_deg).abs() < 1e-12, "{name}: {here:?} {there:?}");
            assert_eq!(here.horizontal_error_m, there.horizontal_error_m, "{name}");
        }
        assert_eq!(found, expected, "{name}");
    }
}

#[test]
fn a_time_without_offset_stays_without() {
    let shown = |name: &str| facts(&picture(name)).taken_at.unwrap().to_string();
    assert_eq!(shown("phone.jpg"), "2026-05-03T14:22:05.250+10:00");
    assert_eq!(shown("camera.jpg"), "2026-05-03T14:22:05.250");
    assert_eq!(shown("little-end.jpg"), "2024-02-29T23:59:59-03:30");
}

/// `PLANTED` stands in everything beside the GPS directory that could hold a place: words, comment, maker's note, thumbnail, XMP,
/// IPTC, a maker's segment, a second picture, what follows the end.
#[test]
fn a_copy_holds_nothing_of_a_place_and_all_of_the_picture() {
    for name in ["phone.jpg", "camera.jpg", "little-end.jpg", "plain.jpg", "screen.png", "lossy.webp", "lossless.webp", "plain.webp"] {
        let before = picture(name);
        let after = copy(&before);
        let planted = |file: &[u8]| file.windows(7).any(|seven| seven == b"PLANTED");
        assert_eq!(planted(&before), !["plain.jpg", "plain.webp", "little-end.jpg"].contains(&name), "{name}");
        assert!(!planted(&after), "{name}");
        let (was, is) = (facts(&before), facts(&after));
        assert_eq!(is, Facts { place: None, ..was }, "{name}");
        assert_eq!(coded(&before), coded(&after), "{name}");
        assert!(!coded(&after).is_empty(), "{name}");
    }
}

/// The bytes of the coded picture: of a JPEG from its first quantisation table to its end, else its data chunks.
fn coded(file: &[u8]) -> Vec<u8> {
    let find = |from: usize, two: &[u8]| from + file[from..].windows(two.len()).position(|bytes| bytes == two).unwrap();
    let number = |at: usize, big: bool| {
        let four = file[at..at + 4].try_into().unwrap();
        let length = if big { u32::from_be_bytes(four) } else { u32::from_le_bytes(four) };
        length as usize
    };
    if file.starts_with(b"\xff\xd8") {
        // The thumbnail and the second picture have tables and ends of their own: the picture's stand after the metadata.
        let mut at = 2;
        while matches!(file[at + 1], 0xe0..=0xef | 0xfe) {
            at += 2 + usize::from(u16::from_be_bytes([file[at + 2], file[at + 3]]));
        }
        return file[at..find(at, b"\xff\xd9") + 2].to_vec();
    }
    let png = file.starts_with(b"\x89PNG");
    let (mut at, mut out) = (if png { 8 } else { 12 }, Vec::new());
    while at + 8 <= file.len() {
        let (name, length) = if png { (at + 4, number(at, true)) } else { (at, number(at + 4, false)) };
        if [b"IDAT", b"VP8 ", b"VP8L"].contains(&file[name..name + 4].try_into().unwrap()) {
            out.extend(&file[at..at + 8 + length]);
        }
        at += if png { 12 + length } else { 8 + length + length % 2 };
    }
    out
}

#[test]
fn what_cant_be_cleaned_is_refused_and_nothing_written() {
    let cut = &picture("phone.jpg")[..1500];
    for (file, said) in
        [(&picture("phone.heic")[..], "HEIC"), (b"just some words", "no photograph"), (b"", "no photograph"), (cut, "ends early")]
    {
        let mut copy = Vec::new();
        let Err(Fault::Wrong(problems)) = without_location(Cursor::new(file), &mut copy) else { panic!("{said}") };
        assert!(problems.to_string().contains(said) && copy.is_empty(), "{problems}");
    }
}

/// A JPEG that is EXIF and nothing else, as far as facts go.
fn with_exif(tiff: &[u8]) -> Vec<u8> {
    let length = (8 + tiff.len()) as u16;
    [b"\xff\xd8\xff\xe1", &length.to_be_bytes()[..], b"Exif\0\0", tiff, b"\xff\xd9"].concat()
}

/// A directory of the little end with entries of four bytes.
fn directory(entries: &[(u16, u16, u32, [u8; 4])]) -> Vec<u8> {
    let mut out = Vec::from((entries.len() as u16).to_le_bytes());
    for (tag, kind, count, value) in entries {
        out.extend([&tag.to_le_bytes()[..], &kind.to_le_bytes(), &count.to_le_bytes(), value].concat());
    }
    out.extend([0; 4]);
    out
}

/// A block whose GPS directory has these sides and angles.
fn at(sides: [&str; 2], latitude: [(u32, u32); 3], longitude: [(u32, u32); 3], more: &[(u16, u16, u32, [u8; 4])]) -> Facts {
    let letter = |text: &str| [text.bytes().next().unwrap_or_default(), 0, 0, 0];
    let gps_at = 8 + 2 + 12 + 4;
    let values = gps_at + 2 + 12 * (4 + more.len() as u32) + 4;
    let mut gps = vec![
        (1, 2, 2, letter(sides[0])),
        (2, 5, 3, values.to_le_bytes()),
        (3, 2, 2, letter(sides[1])),
        (4, 5, 3, (values + 24).to_le_bytes()),
    ];
    gps.extend(more);
    let numbers = [latitude, longitude].concat().into_iter().flat_map(|(over, under)| [over.to_le_bytes(), under.to_le_bytes()].concat());
    let first = directory(&[(0x8825, 4, 1, u32::to_le_bytes(gps_at))]);
    let tiff = [b"II*\0\x08\0\0\0", &first[..], &directory(&gps), &numbers.collect::<Vec<u8>>()].concat();
    facts(&with_exif(&tiff))
}

#[test]
fn a_place_is_given_only_where_it_is_one() {
    let (lat, lon) = ([(37, 1), (30, 1), (0, 1)], [(144, 1), (58, 1), (30, 1)]);
    let place = |sides, lat, lon| {
        let facts = at(sides, lat, lon, &[]);
        (facts.place.map(|place| (place.latitude_deg, place.longitude_deg)), facts.problems.to_string())
    };
    assert_eq!(place(["S", "E"], lat, lon), (Some((-37.5, 144.975)), String::new()));
    assert_eq!(place(["N", "W"], lat, lon), (Some((37.5, -144.975)), String::new()));
    // Fractions over nothing are how a device says that it does not know.
    assert_eq!(place(["N", "W"], [(0, 0); 3], [(0, 0); 3]), (None, String::new()));
    for (sides, lat, lon, said) in [
        (["", "E"], lat, lon, "GPSLatitudeRef"),
        (["S", "N"], lat, lon, "GPSLongitudeRef"),
        (["S", "E"], [(90, 1), (0, 1), (1, 100)], lon, "no place on earth"),
        (["S", "E"], lat, [(180, 1), (1, 1), (0, 1)], "no place on earth"),
        (["S", "E"], [(37, 1), (61, 1), (0, 1)], lon, "no place on earth"),
        (["S", "E"], [(u32::MAX, 1); 3], lon, "no place on earth"),
        (["N", "E"], [(0, 1); 3], [(0, 1); 3], "open sea"),
        (["S", "E"], lat, [(0, 0); 3], "GPSLongitude: missing"),
        (["S", "E"], [(0, 0); 3], lon, "GPSLatitude: missing"),
    ] {
        let (place, problems) = place(sides, lat, lon);
        assert!(place.is_none() && problems.contains(said), "{said}: {problems}");
    }
    let void = at(["S", "E"], lat, lon, &[(9, 2, 2, *b"V\0\0\0")]);
    assert!(void.place.is_none() && void.problems.to_string().contains("GPSStatus"), "{void:?}");
    let datum = at(["S", "E"], lat, lon, &[(0x12, 2, 4, *b"ED50")]);
    assert!(datum.place.is_none() && datum.problems.to_string().contains("GPSMapDatum"), "{datum:?}");
    assert!(at(["S", "E"], lat, lon, &[(9, 2, 2, *b"A\0\0\0")]).place.is_some());
}

#[test]
fn directories_that_go_round_and_counts_beyond_all_bounds_say_nothing() {
    let round = directory(&[(0x8769, 4, 1, 8_u32.to_le_bytes()), (0x8825, 4, 1, 8_u32.to_le_bytes())]);
    let huge = directory(&[(0x010f, 2, u32::MAX, [0xff; 4]), (0x0112, 3, 1, [9, 0, 0, 0]), (0x8769, 4, 1, [0xff; 4])]);
    let said = facts(&with_exif(&[b"II*\0\x08\0\0\0", &round[..]].concat()));
    assert_eq!(said, Facts::default());
    let said = facts(&with_exif(&[b"II*\0\x08\0\0\0", &huge[..]].concat()));
    assert!(said.camera.is_none() && said.orientation.is_none(), "{said:?}");
    assert_eq!(said.problems.to_string(), "Orientation = 9: no such orientation; 1 to 8");
}
