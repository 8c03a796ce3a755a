//! The seeds of the fuzz target of photographs, run through its body, and the same with mutated pictures.
#![cfg(test)]

#[path = "../../../fuzz/bodies/photo.rs"]
mod body;

use proptest::prelude::*;
use std::fs;
use std::path::{Path, PathBuf};

/// A seed `good-...` must be a whole picture, one `bad-...` must not; how many there are.
fn check(body: impl Fn(&[u8]) -> bool) -> Result<usize, String> {
    let seeds = fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fuzz/corpus/photo")).unwrap();
    let paths: Vec<PathBuf> = seeds.map(|entry| entry.unwrap().path()).collect();
    let good = |path: &Path| path.file_name().unwrap().to_string_lossy().starts_with("good-");
    let wrong = paths.iter().find(|path| body(&fs::read(path).unwrap()) != good(path));
    wrong.map_or(Ok(paths.len()), |path| Err(path.display().to_string()))
}

#[test]
fn every_seed_is_answered() {
    assert!(check(body::photo).unwrap() >= 10);
}

/// A reader that takes whatever begins as a JPEG is noticed.
#[test]
fn a_canary_is_caught() {
    assert!(check(|file| file.starts_with(b"\xff\xd8\xff")).is_err());
}

fn pictures() -> Vec<Vec<u8>> {
    let folder = fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures")).unwrap();
    let mut paths: Vec<PathBuf> = folder.map(|entry| entry.unwrap().path()).filter(|path| path.extension().unwrap() != "json").collect();
    paths.sort();
    paths.iter().map(|path| fs::read(path).unwrap()).collect()
}

#[test]
fn every_cut_of_every_picture_is_answered() {
    for picture in pictures() {
        for cut in 0..picture.len() {
            body::photo(&picture[..cut]);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 4000, failure_persistence: None, ..ProptestConfig::default() })]

    /// Bytes overwritten (values that lengths and counts are sensitive to more often), stretches doubled and taken out.
    #[test]
    fn mutated_pictures_are_answered(
        which in 0_usize..9,
        bytes in prop::collection::vec((any::<prop::sample::Index>(), prop_oneof![any::<u8>(), Just(0), Just(0xff), Just(0x7f), Just(1)]), 0..12),
        stretch in prop::option::of((any::<prop::sample::Index>(), 1_usize..40, any::<bool>())),
    ) {
        let mut picture = pictures().swap_remove(which);
        for (at, byte) in bytes {
            let at = at.index(picture.len());
            picture[at] = byte;
        }
        if let Some((at, length, double)) = stretch {
            let at = at.index(picture.len());
            let end = (at + length).min(picture.len());
            let stretch = picture[at..end].to_vec();
            picture.splice(at..end, if double { stretch.repeat(2) } else { Vec::new() });
        }
        body::photo(&picture);
    }
}
