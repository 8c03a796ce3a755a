use std::io::Cursor;

/// A picture file read, and copied without location; whether it is a whole picture.
pub fn photo(file: &[u8]) -> bool {
    let facts = photo::read(Cursor::new(file)).expect("bytes in memory can be read");
    if let Some(place) = facts.place {
        assert!(place.latitude_deg.abs() <= 90.0 && place.longitude_deg.abs() <= 180.0, "{place:?}");
        assert!(place.horizontal_error_m.is_none_or(f64::is_finite), "{place:?}");
    }
    assert!(facts.orientation.is_none_or(|turn| (1..=8).contains(&turn)));
    assert!(facts.problems.problems.len() < 10, "bounded");
    assert!(facts.problems.problems.iter().all(|problem| !problem.what.is_empty()), "a refusal says why");
    let mut copy = Vec::new();
    match photo::without_location(Cursor::new(file), &mut copy) {
        Ok(()) => {
            // Fields may share their bytes in the file and have their own in the copy: 35 of 256 bytes at most.
            assert!(copy.len() <= file.len() + 10_000, "a copy is no longer, but for its EXIF");
            let left = photo::read(Cursor::new(&copy)).expect("bytes in memory can be read");
            assert_eq!(left.place, None, "a copy says no place");
            assert_eq!((left.size_px, left.orientation), (facts.size_px, facts.orientation), "a copy is shown the same way");
            assert_eq!((left.taken_at, left.camera), (facts.taken_at, facts.camera));
            let mut again = Vec::new();
            assert!(photo::without_location(Cursor::new(&copy), &mut again).is_ok(), "a copy is a whole file");
            assert!(copy == again, "there is nothing more to take out");
            true
        }
        Err(_) => {
            assert!(copy.is_empty(), "half a copy");
            facts.problems.is_empty() && facts.size_px.is_some()
        }
    }
}
