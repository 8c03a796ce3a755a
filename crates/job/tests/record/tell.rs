//! Records told in a few lines, for tests.

use job::record::{self, State};
use ledger::event::Place;
use ledger::id::uuid_v7;
use ledger::{Draft, Event, Hash};
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// A record that several devices add to; each says who it knows.
#[derive(Clone, Default)]
pub struct Record {
    pub events: Vec<Event>,
    /// What each device has heard of each other.
    heard: BTreeMap<char, BTreeMap<char, u64>>,
}

/// The id of the device called `a`, `b`...
pub fn device(name: char) -> String {
    format!("{:032x}", name as u32)
}

impl Record {
    /// Device `name` adds an event at a minute of the day; its id comes back.
    pub fn add(&mut self, name: char, minute: u32, kind: &str, payload: Value) -> String {
        let version = record::find(kind).map_or(1, |kind| kind.version);
        self.add_version(name, minute, kind, version, payload)
    }

    pub fn add_version(&mut self, name: char, minute: u32, kind: &str, version: u32, payload: Value) -> String {
        self.add_text(name, minute, kind, version, &payload.to_string())
    }

    pub fn add_text(&mut self, name: char, minute: u32, kind: &str, version: u32, payload: &str) -> String {
        let seq = self.size(name);
        let seen = self.heard.entry(name).or_default().iter().map(|(other, size)| (device(*other), *size)).collect();
        let draft = Draft {
            author: format!("person {name}"),
            at: format!("2026-03-02T{:02}:{:02}:00+10:00", minute / 60, minute % 60),
            clock: None,
            seen,
            kind: kind.into(),
            version,
            payload: serde_json::from_str(payload).expect("test payloads are JSON"),
            blobs: Vec::new(),
        };
        let random = [name as u8, (seq >> 8) as u8, seq as u8, 0, 0, 0, 0, 0, 0, 1];
        let id = uuid_v7(u64::from(minute) * 60_000, random);
        let bytes = draft.make(id.clone(), Place { device: device(name), seq }).expect("test events are sound");
        self.events.push(bytes.event());
        id
    }

    pub fn size(&self, name: char) -> u64 {
        self.events.iter().filter(|event| event.device == device(name)).count() as u64
    }

    /// Device `name` hears of everything so far.
    pub fn sync(&mut self, name: char) {
        let others: std::collections::BTreeSet<String> = self.events.iter().map(|event| event.device.clone()).collect();
        for other in ('a'..='z').filter(|other| *other != name && others.contains(&device(*other))) {
            let size = self.size(other);
            self.heard.entry(name).or_default().insert(other, size);
        }
    }

    /// A release by `name`, whose head is that of its log.
    pub fn release(&mut self, name: char, minute: u32, hold_point: &str, outcome: &str, conditions: &[&str]) -> String {
        let head = json!({"log": device(name), "size": self.size(name), "root": Hash::of(b"").to_string()});
        self.add(name, minute, "release", json!({"hold_point": hold_point, "outcome": outcome, "conditions": conditions, "head": head}))
    }

    pub fn fold(&self) -> State {
        record::fold(&self.events)
    }
}

/// A file of the folded folder as text.
pub fn text<'s>(state: &'s State, file: &str) -> &'s str {
    state.files.get(file).map_or("", |bytes| std::str::from_utf8(bytes).unwrap())
}

/// Every problem of every event, one a line.
pub fn problems(state: &State) -> Vec<String> {
    state.problems().map(|(event, problem)| format!("{}: {problem}", event.kind)).collect()
}
