//! Devices and a site record that go through weeks of bad reception in milliseconds.

mod sim;

use sim::{KINDS, Plant, run};
use std::collections::BTreeMap;

/// Seeds that once failed, with what they found.
const ONCE_FAILED: [u64; 0] = [];

#[test]
fn records_are_identical_after_healing() {
    let seeds = 200;
    let mut with: BTreeMap<&str, u64> = BTreeMap::new();
    let mut conflicts = 0;
    for seed in (0..seeds).chain(ONCE_FAILED) {
        let outcome = run(seed, Plant::Nothing);
        assert!(outcome.failure.is_none(), "seed {seed}: {}", outcome.failure.unwrap_or_default());
        outcome.fired.keys().for_each(|kind| *with.entry(kind).or_default() += 1);
        conflicts += outcome.conflicts;
    }
    for kind in KINDS {
        let share = with.get(kind).copied().unwrap_or(0) as f64 / seeds as f64;
        assert!(share >= 0.01, "{kind}: in {share} of the seeds");
    }
    assert!(conflicts > 0, "people edited one field without knowing of each other");
}

#[test]
fn one_seed_takes_one_course() {
    for seed in 0..5 {
        assert_eq!(run(seed, Plant::Nothing).trace, run(seed, Plant::Nothing).trace, "seed {seed}");
    }
    assert_ne!(run(0, Plant::Nothing).trace, run(1, Plant::Nothing).trace);
}

#[test]
fn every_planted_mistake_is_found() {
    for plant in [
        Plant::SiteSpeaksEarly,
        Plant::DeviceSpeaksEarly,
        Plant::NothingIsDeduplicated,
        Plant::RevocationForgotten,
        Plant::JobLogCutBack,
        Plant::BlobUnchecked,
    ] {
        let found = (0..100).find_map(|seed| run(seed, plant).failure);
        assert!(found.is_some(), "{plant:?} went unseen");
        println!("{plant:?}: {}", found.unwrap_or_default());
    }
}
