//! The seeds of the fuzz target for computations, good inputs and bad ones, run through the body of that target.

#[path = "../../../fuzz/bodies/compute.rs"]
mod compute;

use std::panic::catch_unwind;
use std::path::Path;

/// A seed `good-...` gives a result, one `bad-...` is refused, and none panics.
#[test]
fn every_seed_of_the_computations_is_answered() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fuzz/corpus/compute");
    let mut failed = Vec::new();
    let mut named = std::collections::BTreeSet::new();
    for entry in std::fs::read_dir(&folder).expect("the corpus is part of the repository") {
        let path = entry.expect("the corpus can be listed").path();
        let bytes = std::fs::read(&path).expect("a seed can be read");
        let good = path.file_name().is_some_and(|name| name.to_string_lossy().starts_with("good-"));
        match catch_unwind(|| compute::compute(&bytes)) {
            Ok(answered) if answered == good => {}
            Ok(answered) => failed.push(format!("{}: answered is {answered}", path.display())),
            Err(_) => failed.push(format!("{}: panics", path.display())),
        }
        named.insert(String::from_utf8_lossy(&bytes).lines().next().unwrap_or_default().to_string());
    }
    assert_eq!(failed, [""; 0]);
    for computation in engine::registry::ALL {
        assert!(named.contains(computation.name), "no seed for {}", computation.name);
    }
}
