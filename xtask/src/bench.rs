//! Runs the benchmarks of every crate that has some.

use crate::tools::{Done, cargo, metadata, run};

/// Runs all benchmarks, or those whose name holds the word.
pub fn bench(word: Option<&str>) -> Done {
    let metadata = metadata()?;
    for package in metadata["packages"].as_array().into_iter().flatten() {
        for target in package["targets"].as_array().into_iter().flatten() {
            let is_bench = target["kind"].as_array().is_some_and(|kinds| kinds.iter().any(|kind| kind == "bench"));
            if let (true, Some(package), Some(target)) = (is_bench, package["name"].as_str(), target["name"].as_str()) {
                run(cargo().args(["bench", "--quiet", "--package", package, "--bench", target, "--"]).args(word))?;
            }
        }
    }
    Ok(())
}
