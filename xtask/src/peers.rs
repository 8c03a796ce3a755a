//! Slow checks against general-purpose libraries of another language: every `crates/*/tests/peers/*.py` is run with the
//! built program. They install what they need from the Python index, so they are no part of the normal tests.

use crate::tools::{Done, build_undertile, command, output, root, run, target_dir};
use std::fs;
use std::path::PathBuf;

/// A line of a script that begins so names a package with its version.
const NEEDS: &str = "# needs: ";

/// Runs all scripts, or those whose name holds the word.
pub fn peers(word: Option<&str>) -> Done {
    let scripts: Vec<PathBuf> = scripts()?.into_iter().filter(|path| path.to_string_lossy().contains(word.unwrap_or_default())).collect();
    let undertile = build_undertile()?;
    let python = python()?;
    let mut failed = Vec::new();
    for script in scripts {
        let text = fs::read_to_string(&script).map_err(|e| format!("{}: {e}", script.display()))?;
        let needs = text.lines().filter_map(|line| line.strip_prefix(NEEDS)).flat_map(str::split_whitespace);
        output(command(&python).args(["-m", "pip", "install", "--quiet", "--disable-pip-version-check"]).args(needs))?;
        if let Err(why) = run(command(&python).arg(&script).arg(&undertile)) {
            failed.push(why);
        }
    }
    if failed.is_empty() { Ok(()) } else { Err(failed.join("\n")) }
}

/// The scripts, in the order of their names.
fn scripts() -> Done<Vec<PathBuf>> {
    let crates = fs::read_dir(root().join("crates")).map_err(|e| format!("crates: {e}"))?;
    let folders = crates.flatten().map(|entry| entry.path().join("tests/peers")).filter(|folder| folder.is_dir());
    let files = folders.flat_map(|folder| fs::read_dir(folder).into_iter().flatten().flatten().map(|entry| entry.path()));
    let mut scripts: Vec<PathBuf> = files.filter(|path| path.extension().is_some_and(|extension| extension == "py")).collect();
    scripts.sort();
    Ok(scripts)
}

/// A Python of our own, so that nothing is installed into the machine's.
fn python() -> Done<PathBuf> {
    let folder = target_dir()?.join("peers");
    let python = if cfg!(windows) { folder.join("Scripts/python.exe") } else { folder.join("bin/python") };
    if !python.is_file() {
        let system = if cfg!(windows) { "python" } else { "python3" };
        run(command(system).args(["-m", "venv"]).arg(&folder))?;
    }
    Ok(python)
}
