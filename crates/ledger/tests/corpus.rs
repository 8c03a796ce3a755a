//! The seeds of the fuzz target of events, heads and receipts, run through its body.
#![cfg(test)]

#[path = "../../../fuzz/bodies/ledger.rs"]
mod body;

use std::path::Path;

/// A seed `good-...` must be read, one `bad-...` refused; how many there are.
fn check(body: impl Fn(&[u8]) -> bool) -> Result<usize, String> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fuzz/corpus/ledger");
    let mut seeds = 0;
    for entry in std::fs::read_dir(&folder).unwrap() {
        let path = entry.unwrap().path();
        let good = path.file_name().unwrap().to_string_lossy().starts_with("good-");
        if body(&std::fs::read(&path).unwrap()) != good {
            return Err(path.display().to_string());
        }
        seeds += 1;
    }
    Ok(seeds)
}

#[test]
fn every_seed_is_answered() {
    assert!(check(body::ledger).unwrap() >= 10);
}

/// A reader that takes whatever looks like an object is noticed.
#[test]
fn a_canary_is_caught() {
    assert!(check(|line| line.starts_with(b"{")).is_err());
}
