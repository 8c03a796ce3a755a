//! The same events give the same state, whatever arrived first.

use crate::tell::{Record, device, text};
use job::record::state::Stands;
use job::record::{self, State};
use proptest::prelude::*;
use serde_json::json;

fn whole(state: &State) -> (serde_json::Value, job::Files) {
    (serde_json::to_value(state).unwrap(), state.files.clone())
}

/// What somebody does: which device, after how many minutes, what, and whether it hears of the others first.
fn record_of(steps: &[(u8, u32, u8, bool)]) -> Record {
    let mut record = Record::default();
    let mut ids: Vec<String> = Vec::new();
    for (who, minute, what, hears) in steps {
        let name = char::from(b'a' + who % 3);
        if *hears {
            record.sync(name);
        }
        let earlier =
            ids.get(*minute as usize % ids.len().max(1)).cloned().unwrap_or_else(|| "018bcfe5-6800-7707-8707-070707070707".into());
        let row = json!({"hold_point": "screed", "detail": "room", "quantity": "q", "value": minute});
        ids.push(match what % 8 {
            0 => record.add(name, *minute, "room-edited", json!({"text": format!(r#"{{"format":"undertile room 1","name":"{minute}"}}"#)})),
            1 => record.add(name, *minute, "field", json!({"file": "job.json", "at": "/site", "value": minute.to_string()})),
            2 => record.add(name, *minute, "field", json!({"file": "room.json", "at": "/name", "value": minute.to_string()})),
            3 => record.add(name, *minute, "reading", json!({"rows": [row]})),
            4 => record.add(name, *minute, "reading", json!({"rows": [row], "replaces": earlier})),
            5 => record.add(name, *minute, "withdrawn", json!({"event": earlier, "why": "a slip"})),
            6 => record.release(name, *minute, "screed", ["released", "not released"][*minute as usize % 2], &[]),
            _ => record.add(
                name,
                *minute,
                "clock",
                json!({"device": device('b'), "at": "2026-03-02T10:00:00+10:00", "offset_ms": -3.6e6, "u_ms": 5}),
            ),
        });
    }
    record
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]

    #[test]
    fn order_of_arrival_and_doubles_change_nothing(
        steps in prop::collection::vec((0..3u8, 0..900u32, 0..8u8, any::<bool>()), 1..24),
        shuffle in prop::collection::vec(any::<u32>(), 48),
    ) {
        let record = record_of(&steps);
        let expected = whole(&record.fold());
        let mut events = [record.events.clone(), record.events[..record.events.len() / 2].to_vec()].concat();
        let mut order: Vec<usize> = (0..events.len()).collect();
        order.sort_by_key(|i| shuffle[*i]);
        events = order.into_iter().map(|i| events[i].clone()).collect();
        prop_assert_eq!(whole(&record::fold(&events)), expected);
    }

    #[test]
    fn a_past_state_is_what_it_was_then(steps in prop::collection::vec((0..3u8, 0..900u32, 0..7u8, any::<bool>()), 2..24)) {
        let record = record_of(&steps);
        let then = record_of(&steps[..steps.len() / 2]);
        let sizes = ('a'..='c').map(|name| (device(name), then.size(name))).collect();
        prop_assert_eq!(whole(&record::fold_until(&record.events, &sizes, &|_| None)), whole(&then.fold()));
    }
}

#[test]
fn what_was_withdrawn_and_whose_withdrawal_was_withdrawn_counts_again() {
    let mut record = Record::default();
    let note = record.add('a', 600, "note", json!({"words": "the drain is blocked"}));
    let withdrawn = record.add('a', 601, "withdrawn", json!({"event": note, "why": "another room"}));
    assert_eq!(record.fold().notes.len(), 0);
    assert_eq!(record.fold().history[0].stands, Stands::Withdrawn { by: withdrawn.clone() });
    record.add('a', 602, "withdrawn", json!({"event": withdrawn, "why": "this room after all"}));
    assert_eq!(record.fold().notes.len(), 1);
    assert_eq!(record.fold().history.len(), 3, "all of it stays in the history");
}

#[test]
fn a_clock_that_was_measured_later_decides_which_value_is_the_later() {
    let mut record = Record::default();
    let site = |value: &str| json!({"file": "job.json", "at": "/site", "value": value});
    record.add('a', 600, "field", site("a"));
    record.add('b', 630, "field", site("b"));
    assert!(text(&record.fold(), "job.json").contains("\"b\""));
    record.add('c', 900, "clock", json!({"device": device('b'), "at": "2026-03-02T12:00:00+10:00", "offset_ms": -3_600_000, "u_ms": 40}));
    let state = record.fold();
    assert!(text(&state, "job.json").contains("\"a\""), "b's clock was an hour ahead");
    assert_eq!(state.history.iter().find(|event| event.author == "person b").unwrap().u_ms, Some(40.0));
}

#[test]
fn a_defect_is_open_until_a_photograph_shows_it_put_right() {
    let mut record = Record::default();
    let defect = json!({"words": "no fillet", "place": {"details": ["junction/*"]}, "hold_point": "primer"});
    let id = record.add('a', 600, "defect", defect);
    assert!(record.fold().defects[0].is_open());
    assert!(text(&record.fold(), "evidence.json").contains(r#""result":"wrong""#));
    record.add('b', 700, "rectification", json!({"defect": id, "words": "fillet made", "photographs": ["after.jpg"]}));
    let state = record.fold();
    assert!(!state.defects[0].is_open());
    assert!(text(&state, "evidence.json").contains(r#""result":"right","grade":"photographed","photographs":["after.jpg"]"#));
}
