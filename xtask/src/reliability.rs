//! Runs the trials of reliability in full; the normal tests run a sample of each.

use crate::tools::{Done, cargo, run};

/// What is tried when nothing is named.
const ALL: [[&str; 2]; 3] = [["crashes", "200"], ["flips", "1"], ["kills", "10000"]];

/// All trials, or the one named with its number.
pub fn reliability(trial: &[&str]) -> Done {
    let trials: Vec<&[&str]> = if trial.is_empty() { ALL.iter().map(|trial| &trial[..]).collect() } else { vec![trial] };
    for trial in trials {
        run(cargo().args(["run", "--quiet", "--release", "--package", "store", "--example", "reliability", "--"]).args(trial))?;
    }
    Ok(())
}
