//! Jobs: begun, read, added to, judged.

use crate::client::{Answer, Running};
use ledger::{Draft, Event, Key, Tree, event, id};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use store::Store;

const AT: &str = "2026-11-25T12:00:00Z";

/// The demo's JSON and CSV files.
fn demo() -> BTreeMap<String, String> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/heron-row-12");
    let files = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    let text = files.filter(|path| path.extension().is_some_and(|ending| ending == "json" || ending == "csv"));
    text.map(|path| (path.file_name().unwrap().to_str().unwrap().into(), fs::read_to_string(path).unwrap())).collect()
}

fn begin(server: &Running, files: &BTreeMap<String, String>) -> String {
    let answer = server.post_json("/api/jobs", json!({ "author": "E. Lind", "files": files }).to_string().as_bytes());
    assert_eq!(answer.status, 201, "{}", String::from_utf8_lossy(&answer.body));
    answer.json()["job"].as_str().unwrap().into()
}

fn add(server: &Running, job: &str, lines: &[u8]) -> Answer {
    server.ask("POST", &format!("/api/jobs/{job}/events"), &[("Content-Type", "application/jsonl")], lines)
}

/// A device's notes, one a line.
fn notes(seed: u8, count: u64) -> Vec<u8> {
    let device = Key::from_seed(&[seed; 32]).public().device();
    let mut lines = Vec::new();
    for seq in 0..count {
        let draft = Draft {
            author: "E. Lind".into(),
            at: AT.into(),
            clock: None,
            seen: BTreeMap::new(),
            kind: "note".into(),
            version: 1,
            payload: ledger::payload(&json!({ "words": format!("note {seq}") })).unwrap(),
            blobs: Vec::new(),
        };
        let place = event::Place { device: device.clone(), seq };
        let made = draft.make(id::uuid_v7(1_764_072_000_000 + seq, [seed; 10]), place).unwrap();
        lines.extend_from_slice(made.as_bytes());
        lines.push(b'\n');
    }
    lines
}

#[test]
fn a_job_folder_handed_in_comes_back_byte_for_byte() {
    let server = Running::start();
    let job = begin(&server, &demo());
    assert_eq!(server.get("/api/jobs").json(), json!({ "jobs": [job] }));
    let names: Vec<String> = demo().into_keys().collect();
    assert_eq!(server.get(&format!("/api/jobs/{job}/files")).json()["files"], json!(names));
    for (name, text) in demo() {
        let answer = server.get(&format!("/api/jobs/{job}/files/{name}"));
        assert!(answer.status == 200 && answer.body == text.as_bytes(), "{name} differs");
        let media_type = if name.ends_with("json") { "application/json" } else { "text/csv" };
        assert_eq!(answer.header("content-type"), Some(media_type));
    }
    server.get(&format!("/api/jobs/{job}/files/secret.json")).refused(404, "not-here");
}

#[test]
fn the_assessment_is_that_of_the_same_files_and_is_not_sent_twice() {
    let server = Running::start();
    let files = demo().into_iter().filter(|(name, _)| name != "photographs.json").collect();
    let job = begin(&server, &files);
    let folder = files.into_iter().map(|(name, text)| (name, text.into_bytes())).collect();
    let read = job::Job::read(&folder).unwrap();
    for hold in ["screed", "bare-substrate"].map(Some).into_iter().chain([None]) {
        let options = engine::assess::Options { hold_point: hold, now: Some(AT), drawings: false };
        let path = format!("/api/jobs/{job}/assessment?at={AT}{}", hold.map_or(String::new(), |hold| format!("&hold_point={hold}")));
        let answer = server.get(&path);
        match engine::assess::run(&read, &options) {
            Ok(expected) => {
                let expected = serde_json::to_string_pretty(&expected.assessment).unwrap() + "\n";
                assert!(answer.status == 200 && answer.body == expected.as_bytes(), "{hold:?} differs");
                let tag = answer.header("etag").unwrap();
                for same in [tag.to_owned(), format!("\"other\", {tag}"), format!("W/{tag}"), "*".into()] {
                    let again = server.ask("GET", &path, &[("If-None-Match", &same)], b"");
                    assert_eq!((again.status, again.body.len(), again.header("etag")), (304, 0, Some(tag)));
                }
                assert_eq!(server.ask("GET", &path, &[("If-None-Match", "\"other\"")], b"").status, 200);
            }
            Err(expected) => {
                let problems = answer.refused(422, "bad-input");
                assert_eq!(problems, serde_json::to_value(expected.problems).unwrap());
            }
        }
    }
    server.get(&format!("/api/jobs/{job}/assessment?hold_point=roof")).refused(422, "bad-input");
    server.get(&format!("/api/jobs/{job}/assessment?at=yesterday")).refused(422, "bad-input");
    server.get(&format!("/api/jobs/{job}/assessment?holdpoint=screed")).refused(422, "bad-input");
}

#[test]
fn what_is_no_job_folder_is_refused_with_all_that_is_wrong_and_nothing_is_kept() {
    let server = Running::start();
    let body = json!({ "author": "E. Lind", "files": { "photo.jpg": "x", "../plan.json": "{}" } });
    let problems = server.post_json("/api/jobs", body.to_string().as_bytes()).refused(422, "bad-input");
    assert_eq!(problems.as_array().unwrap().len(), 2, "no room.json, and a photograph as text: {problems}");
    for body in [
        json!({ "author": "E. Lind", "files": { "room.json": "{}", "../plan.json": "{}" } }),
        json!({ "author": "", "files": { "room.json": "{}" } }),
        json!({ "author": "E. Lind", "files": { "room.json": 7 } }),
        json!({ "files": {} }),
        json!([]),
    ] {
        server.post_json("/api/jobs", body.to_string().as_bytes()).refused(422, "bad-input");
    }
    assert!(server.store.jobs().unwrap().is_empty());
}

#[test]
fn events_are_kept_once_however_often_they_are_sent() {
    let server = Running::start();
    let job = begin(&server, &demo());
    let lines = notes(7, 30);
    let device = Key::from_seed(&[7; 32]).public().device();
    let root = Tree::of(lines.split_inclusive(|byte| *byte == b'\n').map(|line| ledger::Hash::leaf(&line[..line.len() - 1]))).root();
    for (added, known) in [(30, 0), (0, 30)] {
        let kept = add(&server, &job, &lines).json();
        assert_eq!((&kept["added"], &kept["known"]), (&json!(added), &json!(known)));
        assert_eq!(kept["logs"], json!([{ "log": device, "size": 30, "root": root.to_string() }]));
    }
    let read = server.get(&format!("/api/jobs/{job}/logs/{device}"));
    assert_eq!(read.header("content-type"), Some("application/jsonl"));
    assert!(read.body == lines && read.header("link").is_none());
    assert_eq!(server.get(&format!("/api/jobs/{job}/logs")).json()["logs"].as_array().unwrap().len(), 2);
}

#[test]
fn a_long_log_comes_in_pages() {
    let server = Running::start();
    let job = begin(&server, &demo());
    let lines = notes(7, 2_500);
    assert_eq!(add(&server, &job, &lines).status, 200);
    let device = Key::from_seed(&[7; 32]).public().device();
    let (mut path, mut read, mut pages) = (format!("/api/jobs/{job}/logs/{device}"), Vec::new(), 0);
    loop {
        let answer = server.get(&path);
        read.extend_from_slice(&answer.body);
        pages += 1;
        let Some(link) = answer.header("link") else { break };
        path = link.split(['<', '>']).nth(1).unwrap().into();
    }
    assert!(read == lines && pages == 3, "{pages} pages");
    for (from, empty) in [(2_500u64, true), (1 << 40, true), (u64::MAX, true), (2_499, false)] {
        let answer = server.get(&format!("/api/jobs/{job}/logs/{device}?from={from}"));
        assert_eq!((answer.status, answer.body.is_empty()), (200, empty), "{from}");
    }
    for from in ["-1", "x", "", "1.5"] {
        server.get(&format!("/api/jobs/{job}/logs/{device}?from={from}")).refused(422, "bad-input");
    }
}

#[test]
fn events_that_do_not_follow_or_are_none_are_refused_whole() {
    let server = Running::start();
    let job = begin(&server, &demo());
    let lines = notes(7, 3);
    let each: Vec<&[u8]> = lines.split_inclusive(|byte| *byte == b'\n').collect();
    add(&server, &job, each[1]).refused(409, "does-not-follow");
    let problems = add(&server, &job, &[each[0], b"{}\n", b"no event\n"].concat()).refused(422, "bad-input");
    let wrong: Vec<&Value> = problems.as_array().unwrap().iter().map(|problem| &problem["line"]).collect();
    assert!(wrong.contains(&&json!(2)) && wrong.contains(&&json!(3)), "{problems}");
    assert_eq!(server.get(&format!("/api/jobs/{job}/logs")).json()["logs"].as_array().unwrap().len(), 1, "nothing was kept");
    assert_eq!(add(&server, &job, each[0]).status, 200);
    let other = String::from_utf8(each[0].to_vec()).unwrap().replace("note 0", "note X");
    assert!(Event::read(other.trim_end().as_bytes()).is_ok());
    add(&server, &job, other.as_bytes()).refused(409, "does-not-follow");
    let unknown = id::uuid_v7(0, [0; 10]);
    add(&server, &unknown, each[0]).refused(404, "not-here");
    add(&server, "no-uuid", each[0]).refused(404, "not-here");
    server.ask("POST", &format!("/api/jobs/{job}/events"), &[("Content-Type", "application/json")], each[1]).refused(415, "media-type");
}
