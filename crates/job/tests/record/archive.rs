//! Lines of records as they were once written: they fold to the same files and conflicts for ever.
//!
//! An archive is never changed. With `UNDERTILE_ARCHIVE=new` what a new one comes to is written beside it.

use crate::tell::problems;
use job::record::{self, State};
use ledger::Event;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

fn archives() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/archive");
    let mut paths: Vec<PathBuf> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.retain(|path| path.extension().is_some_and(|end| end == "jsonl"));
    paths.sort();
    paths
}

fn events(archive: &Path) -> Vec<Event> {
    std::fs::read_to_string(archive).unwrap().lines().map(|line| Event::read(line.as_bytes()).unwrap()).collect()
}

/// What is compared: files line by line, what people contradict each other about, what counts, and what was wrong.
fn told(state: &State) -> Value {
    let lines = |bytes: &Vec<u8>| std::str::from_utf8(bytes).unwrap().split('\n').map(String::from).collect::<Vec<_>>();
    let files: Value =
        state.files.iter().map(|(file, bytes)| (file.clone(), json!(lines(bytes)))).collect::<serde_json::Map<_, _>>().into();
    let stands = |event: &record::state::Happened| {
        let stands = serde_json::to_value(&event.stands).unwrap();
        json!(format!("{} {} {}", event.kind, event.id, stands["is"].as_str().unwrap()))
    };
    json!({
        "files": files,
        "conflicts": state.conflicts,
        "history": state.history.iter().map(stands).collect::<Vec<_>>(),
        "problems": problems(state),
        "photographs": state.photographs,
        "defects": state.defects,
        "releases": state.releases,
        "notes": state.notes,
        "devices": state.devices,
        "like": state.like,
    })
}

#[test]
fn every_archive_folds_to_what_it_always_was() {
    for archive in archives() {
        let mut events = events(&archive);
        let expected = archive.with_extension("json");
        let now = told(&record::fold(&events));
        if !expected.exists() && std::env::var_os("UNDERTILE_ARCHIVE").is_some_and(|word| word == "new") {
            std::fs::write(&expected, format!("{now:#}\n")).unwrap();
        }
        let then: Value = serde_json::from_slice(&std::fs::read(&expected).unwrap()).unwrap();
        assert_eq!(now, then, "{}", archive.display());
        events.reverse();
        assert_eq!(told(&record::fold(&events)), then, "{} backwards", archive.display());
    }
}

#[test]
fn every_version_of_every_kind_is_in_an_archive() {
    let written: BTreeSet<(String, u32)> =
        archives().iter().flat_map(|archive| events(archive)).map(|event| (event.kind, event.version)).collect();
    for kind in record::KINDS {
        for version in 1..=kind.version {
            assert!(written.contains(&(kind.name.to_string(), version)), "{} {version}", kind.name);
        }
    }
}

/// The planted fault: one digit of one reading, one word of one edit.
#[test]
fn an_archive_that_folds_otherwise_is_noticed() {
    let archive = archives().into_iter().find(|path| path.ends_with("one-room.jsonl")).unwrap();
    let text = std::fs::read_to_string(&archive).unwrap();
    let fold = |text: &str| told(&record::fold(&text.lines().map(|line| Event::read(line.as_bytes()).unwrap()).collect::<Vec<_>>()));
    for (word, other) in [("1.50", "1.51"), ("2410", "2411"), ("a slip", "no slip"), ("\"released\"", "\"not released\"")] {
        assert!(text.contains(word), "{word}");
        let changed = fold(&text.replacen(word, other, 1)) != fold(&text);
        assert_eq!(changed, word != "a slip", "{word}: why something was withdrawn is told by the event alone");
    }
}
