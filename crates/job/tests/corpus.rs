//! The seeds of the fuzz targets, good files and bad ones, run through the bodies of those targets.

#[path = "../../../fuzz/bodies/job_folder.rs"]
mod job_folder;
#[path = "../../../fuzz/bodies/levels.rs"]
mod levels;
#[path = "../../../fuzz/bodies/room.rs"]
mod room_file;

use std::panic::catch_unwind;
use std::path::Path;

/// Seeds of a target on which its body panics, or answers other than their name says: a seed `good-...` must be read, one
/// `bad-...` refused.
fn fails(target: &str, body: fn(&[u8]) -> bool) -> Vec<String> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fuzz/corpus").join(target);
    let mut failed = Vec::new();
    let mut seeds = 0;
    for entry in std::fs::read_dir(&folder).expect("the corpus is part of the repository") {
        let path = entry.expect("the corpus can be listed").path();
        let bytes = std::fs::read(&path).expect("a seed can be read");
        let good = path.file_name().is_some_and(|name| name.to_string_lossy().starts_with("good-"));
        seeds += 1;
        match catch_unwind(|| body(&bytes)) {
            Ok(read) if read == good => {}
            Ok(read) => failed.push(format!("{}: read is {read}", path.display())),
            Err(_) => failed.push(format!("{}: panics", path.display())),
        }
    }
    assert!(seeds >= 10, "{target} has only {seeds} seeds");
    failed
}

#[test]
fn every_seed_of_the_room_file_is_answered() {
    assert_eq!(fails("room", room_file::room), [""; 0]);
}

#[test]
fn every_seed_of_the_level_file_is_answered() {
    assert_eq!(fails("levels", levels::levels), [""; 0]);
}

#[test]
fn every_seed_of_the_job_folder_is_answered() {
    assert_eq!(fails("job_folder", job_folder::job_folder), [""; 0]);
}

/// A body that fails on some seed must be noticed, or the tests above prove nothing.
#[test]
fn a_canary_is_caught() {
    let canary = |bytes: &[u8]| {
        assert!(!bytes.starts_with(b"name;x;y;staff"), "the canary");
        levels::levels(bytes)
    };
    let found = fails("levels", canary);
    assert!(matches!(&found[..], [one] if one.ends_with("good-misread.csv: panics")), "{found:?}");
}
