//! `docs/verify.py`, which shares no line with this crate, finds the same: run with `python3`.
#![cfg(test)]

mod common;

use common::*;
use std::path::{Path, PathBuf};
use std::process::Command;

/// A folder of the system's temporary one, removed again.
struct Folder(PathBuf);

impl Folder {
    fn of(name: &str, files: &Files) -> Self {
        let folder = std::env::temp_dir().join(format!("ledger-{}-{name}", std::process::id()));
        for (path, bytes) in files {
            let path = folder.join(path);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, bytes).unwrap();
        }
        Self(folder)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// What the script says of a record: whether it is sound, its lines.
fn stranger(name: &str, files: &Files) -> (bool, Vec<String>) {
    let folder = Folder::of(name, files);
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/verify.py");
    let out = Command::new("python3").arg(script).arg(&folder.0).output().expect("python3 runs");
    assert!(out.stderr.is_empty(), "{name}: {}", String::from_utf8_lossy(&out.stderr));
    (out.status.success(), String::from_utf8(out.stdout).unwrap().lines().map(str::to_owned).collect())
}

/// The first damage of each log by either: `<log> entry <n>`, `<log> head <n>`, `blob <name>`.
fn first_of(files: &Files, said: &[String]) -> [Vec<String>; 2] {
    let report = verify(files);
    let mut ours = Vec::new();
    for log in &report.logs {
        let name = if log.log == JOB { "job" } else { &log.log };
        let heads = log.heads.iter().filter_map(|fault| match fault.origin {
            ledger::verify::Origin::Heads { line } => Some(format!("{name} head {line}")),
            _ => None,
        });
        ours.extend(heads);
        ours.extend(log.damage.iter().map(|damage| format!("{name} entry {}", damage.at.from)));
    }
    ours.extend(report.blobs.damaged.iter().map(|blob| format!("blob {blob}")));
    let mut theirs: Vec<String> = Vec::new();
    for line in said.iter().filter(|line| !line.contains("under a signed head") && !line.contains("not here")) {
        let place = line.split(':').next().unwrap().to_owned();
        let log = place.rsplit_once(' ').unwrap().0.to_owned();
        if !log.ends_with(" entry") || !theirs.iter().any(|before| before.starts_with(&log)) {
            theirs.push(place);
        }
    }
    ours.sort();
    theirs.sort();
    [ours, theirs]
}

#[test]
fn a_stranger_finds_a_sound_record_sound() {
    let (sound, said) = stranger("sound", &record());
    assert!(sound, "{said:#?}");
    assert_eq!(said.len(), 3, "{said:#?}");
    assert!(said.iter().any(|line| line == &format!("{}: 4 entries, 3 under a signed head, none damaged", device(2))), "{said:#?}");
}

#[test]
fn a_stranger_finds_the_same_damage() {
    let first = file(&device(1), ".jsonl");
    let of_lines = |path: &str, change: &dyn Fn(&mut Vec<Vec<u8>>)| {
        let mut files = record();
        let mut changed = split(&files[path]);
        change(&mut changed);
        files.insert(path.into(), lines(changed));
        files
    };
    let of_bit = |path: &str, byte: usize, bit: u8| {
        let mut files = record();
        let bytes = files.get_mut(path).unwrap();
        let at = byte % bytes.len();
        bytes[at] ^= 1 << bit;
        files
    };
    let mut table: Vec<(String, Files)> = vec![
        ("removed".into(), of_lines(&first, &|e| drop(e.remove(2)))),
        ("swapped".into(), of_lines(&first, &|e| e.swap(1, 2))),
        ("doubled".into(), of_lines(&first, &|e| e.insert(2, e[1].clone()))),
        ("cut off".into(), of_lines(&first, &|e| e.truncate(3))),
        ("foreign".into(), of_lines(&first, &|e| e[1] = event(2, 1))),
        ("a head less".into(), of_lines(&file(&device(1), ".heads.jsonl"), &|e| e.truncate(1))),
        ("a receipt less".into(), of_lines(&file("job", ".jsonl"), &|e| drop(e.remove(1)))),
        ("a forged head".into(), of_lines(&file(&device(1), ".heads.jsonl"), &|e| e[0] = e[1][..].to_vec())),
    ];
    let swapped = head(&device(1), &ledger::Tree::new(), 2, 0).to_line().into_bytes();
    table.push(("another key".into(), of_lines(&file(&device(1), ".heads.jsonl"), &|e| e.push(swapped.clone()))));
    for (i, path) in record().keys().filter(|path| *path != "record.json" && !path.ends_with(".hashes")).enumerate() {
        for n in 0..2 {
            table.push((format!("bit-{i}-{n}"), of_bit(path, 97 * n + 41 * i + 13, (n * 3 % 8) as u8)));
        }
    }
    for (name, files) in table {
        // A changed bit without the file of hashes may be told more closely here, where every field has one form.
        let ways: &[bool] = if name.starts_with("bit") { &[true] } else { &[true, false] };
        for with_hashes in ways {
            let mut files = files.clone();
            files.retain(|path, _| *with_hashes || !path.ends_with(".hashes"));
            let (sound, said) = stranger(&name, &files);
            let [ours, theirs] = first_of(&files, &said);
            assert_eq!(ours, theirs, "{name}, hashes {with_hashes}: {said:#?}");
            assert_eq!(sound, verify(&files).is_sound(), "{name}: {said:#?}");
        }
    }
}
