//! The published JSON Schemas in `docs/schema`, written from the program so that they cannot drift from it.

use crate::tools::{Done, build_undertile, command, output, root};
use std::collections::BTreeMap;
use std::fs;
use std::path::PathBuf;

fn folder() -> PathBuf {
    root().join("docs/schema")
}

/// File name to text, as the program stands.
fn current() -> Done<BTreeMap<String, String>> {
    let undertile = build_undertile()?;
    let list = output(command(&undertile).args(["schema", "--list"]))?;
    list.lines()
        .filter_map(|line| line.split_whitespace().next())
        .map(|name| Ok((format!("{name}.json"), output(command(&undertile).args(["schema", name]))?)))
        .collect()
}

/// File name to text, as published.
fn published() -> BTreeMap<String, String> {
    let entries = fs::read_dir(folder()).into_iter().flatten().flatten();
    entries
        .filter(|entry| entry.path().extension().is_some_and(|ext| ext == "json"))
        .filter_map(|entry| Some((entry.file_name().into_string().ok()?, fs::read_to_string(entry.path()).ok()?)))
        .collect()
}

/// Writes every schema and removes those of computations that are gone.
pub fn write() -> Done {
    let current = current()?;
    let failed = |e: std::io::Error| format!("{}: {e}", folder().display());
    fs::create_dir_all(folder()).map_err(failed)?;
    for name in published().keys().filter(|name| !current.contains_key(*name)) {
        fs::remove_file(folder().join(name)).map_err(failed)?;
    }
    for (name, text) in &current {
        fs::write(folder().join(name), text).map_err(failed)?;
    }
    println!("{} schemas in docs/schema", current.len());
    Ok(())
}

/// Says which published schemas differ from the program's.
pub fn check() -> Done {
    let (current, published) = (current()?, published());
    let mut names: Vec<&String> =
        current.keys().chain(published.keys()).filter(|name| current.get(*name) != published.get(*name)).collect();
    names.sort();
    names.dedup();
    if names.is_empty() {
        return Ok(());
    }
    let names: Vec<String> = names.into_iter().map(|name| format!("docs/schema/{name}")).collect();
    Err(format!("out of date: {}; run: cargo xtask schema", names.join(", ")))
}
