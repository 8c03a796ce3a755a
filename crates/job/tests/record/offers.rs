//! A pattern room is changed; the rooms like it are asked.

use crate::tell::{Record, problems, text};
use job::record::State;
use job::record::offers::{Change, Offer, Offers, Pattern, offers};
use room::like::{Laid, Turned};
use serde_json::json;

const ID: &str = "018bcfe5-6800-7707-8707-070707070707";
const MIRRORED: Laid = Laid { mirrored: true, turned: Turned::Not };

/// A bathroom of 2.4 by 1.8 m that many are like.
fn bathroom() -> Record {
    let mut record = Record::default();
    let room = json!({
        "format": "undertile room 1", "name": "type B", "height_mm": 2400,
        "outline_mm": [[0, 0], [2400, 0], [2400, 1800], [0, 1800]],
        "walls": [{"id": "south", "edge": 1}, {"id": "north", "edge": 3, "height_mm": 2400}],
        "outlets": [{"id": "waste", "kind": "point", "x_mm": 450, "y_mm": 450, "radius_mm": 50}],
    });
    record.add('p', 480, "room-edited", json!({"text": room.to_string()}));
    let sheets = json!({"format": "undertile data-sheets 1", "sheets": [{"id": "liquid", "title": "made up", "coats": 2}]});
    record.add('p', 481, "sheet-edited", json!({"text": sheets.to_string()}));
    record
}

fn pattern(record: &Record) -> Pattern {
    Pattern::of(ID, &record.fold()).unwrap_or_else(|problems| panic!("{problems}"))
}

fn change(record: &mut Record, file: &str, at: &str, value: serde_json::Value) {
    record.add('p', 600, "field", json!({"file": file, "at": at, "value": value}));
}

/// A room like it, as device `a` began it.
fn room(pattern: &Pattern, laid: Laid) -> Record {
    let mut record = Record::default();
    record.add('a', 490, "like", serde_json::to_value(pattern.like(laid, None)).unwrap());
    record
}

fn offered(pattern: &Pattern, room: &Record) -> Offers {
    offers(pattern, &[("12", &room.fold())])
}

fn the_offer(pattern: &Pattern, room: &Record) -> Offer {
    let offers = offered(pattern, room);
    assert!(offers.held_back.is_empty(), "{:?}", offers.held_back);
    offers.offered.into_iter().next().expect("an offer")
}

fn answer(room: &mut Record, pattern: &Pattern, take: impl Fn(&Change) -> bool) {
    let like = the_offer(pattern, room).answer(pattern, take).unwrap();
    room.add('a', 700, "like", serde_json::to_value(like).unwrap());
    assert_eq!(problems(&room.fold()), Vec::<String>::new());
}

/// Changes, one a line.
fn told(offers: &Offers) -> Vec<String> {
    let word = |value: &Option<String>| value.clone().unwrap_or_else(|| "nothing".into());
    let line = |change: &Change| {
        let own = change.own.as_ref().map_or(String::new(), |own| format!(", here {}", word(&own.value)));
        format!("{} {}: {} -> {}{own}", change.file, change.at, word(&change.old), word(&change.new))
    };
    let held = offers.held_back.iter().map(|held| format!("room {} is left as it is: {}", held.room, held.why));
    offers.offered.iter().flat_map(|offer| offer.changes.iter().map(line)).chain(held).collect()
}

fn value(state: &State, file: &str, at: &str) -> serde_json::Value {
    let document: serde_json::Value = serde_json::from_str(text(state, file)).unwrap();
    document.pointer(at).cloned().unwrap_or_default()
}

#[test]
fn a_change_of_the_pattern_is_offered_by_file_and_field() {
    let mut bathroom = bathroom();
    let room = room(&pattern(&bathroom), Laid::default());
    assert!(told(&offered(&pattern(&bathroom), &room)).is_empty(), "nothing was changed yet");
    change(&mut bathroom, "room.json", "/walls/north/height_mm", json!(2700));
    change(&mut bathroom, "data-sheets.json", "/sheets/liquid/coats", json!(3));
    bathroom.add('p', 601, "plan-edited", json!({"text": "{\"format\":\"undertile plan-edits 1\"}"}));
    let expected = [
        "room.json /walls/north/height_mm: 2400 -> 2700",
        r#"plan.json : nothing -> {"format":"undertile plan-edits 1"}"#,
        "data-sheets.json /sheets/liquid/coats: 2 -> 3",
    ];
    assert_eq!(told(&offered(&pattern(&bathroom), &room)), expected);
}

#[test]
fn a_mirrored_room_is_offered_the_change_as_it_reads_there() {
    let mut bathroom = bathroom();
    let room = room(&pattern(&bathroom), MIRRORED);
    assert_eq!(value(&room.fold(), "room.json", "/outlets/0/x_mm"), json!(1950.0));
    change(&mut bathroom, "room.json", "/outlets/waste/x_mm", json!(500));
    assert_eq!(told(&offered(&pattern(&bathroom), &room)), ["room.json /outlets/waste/x_mm: 1950.0 -> 1900.0"]);
}

#[test]
fn what_the_room_has_of_its_own_stands_beside_the_change() {
    let mut bathroom = bathroom();
    let mut room = room(&pattern(&bathroom), Laid::default());
    room.add('a', 500, "field", json!({"file": "room.json", "at": "/walls/north/height_mm", "value": 2380}));
    room.add('a', 501, "field", json!({"file": "room.json", "at": "/outlets/waste/radius_mm", "value": 45}));
    change(&mut bathroom, "room.json", "/walls/north/height_mm", json!(2700));
    assert_eq!(told(&offered(&pattern(&bathroom), &room)), ["room.json /walls/north/height_mm: 2400 -> 2700, here 2380"]);
    answer(&mut room, &pattern(&bathroom), |_| false);
    let state = room.fold();
    assert_eq!(value(&state, "room.json", "/walls/1/height_mm"), json!(2380), "declined: the room keeps its own");
    assert_eq!(value(&state, "room.json", "/outlets/0/radius_mm"), json!(45), "and what nobody asked about");
}

#[test]
fn what_was_answered_is_not_offered_again() {
    let mut bathroom = bathroom();
    let mut room = room(&pattern(&bathroom), MIRRORED);
    change(&mut bathroom, "room.json", "/walls/north/height_mm", json!(2700));
    change(&mut bathroom, "room.json", "/outlets/waste/radius_mm", json!(55));
    answer(&mut room, &pattern(&bathroom), |change| change.at.starts_with("/outlets"));
    let state = room.fold();
    assert_eq!(value(&state, "room.json", "/outlets/0/radius_mm"), json!(55));
    assert_eq!(value(&state, "room.json", "/walls/1/height_mm"), json!(2400));
    assert!(told(&offered(&pattern(&bathroom), &room)).is_empty());
    let answers: Vec<_> = state.like.unwrap().answers.iter().map(|a| format!("{} {:?}", a.at, a.answer)).collect();
    assert_eq!(answers, ["/outlets/waste/radius_mm Taken", "/walls/north/height_mm Declined"], "the record says what was decided");

    change(&mut bathroom, "room.json", "/walls/north/height_mm", json!(2750));
    change(&mut bathroom, "room.json", "/outlets/waste/radius_mm", json!(60));
    let expected = ["room.json /outlets/waste/radius_mm: 55 -> 60", "room.json /walls/north/height_mm: 2700 -> 2750, here 2400"];
    assert_eq!(
        told(&offered(&pattern(&bathroom), &room)),
        expected,
        "the next change is offered, with what was declined as the room's own"
    );
    answer(&mut room, &pattern(&bathroom), |_| true);
    assert_eq!(value(&room.fold(), "room.json", "/walls/1/height_mm"), json!(2750));
}

#[test]
fn a_pipe_the_pattern_adds_can_be_declined_and_one_it_takes_away_kept() {
    let mut bathroom = bathroom();
    let mut room = room(&pattern(&bathroom), Laid::default());
    let second = json!({"id": "second", "kind": "point", "x_mm": 2000, "y_mm": 450, "radius_mm": 50});
    change(&mut bathroom, "room.json", "/outlets/-", second);
    change(&mut bathroom, "room.json", "/outlets/waste", json!(null));
    assert_eq!(told(&offered(&pattern(&bathroom), &room)).len(), 2);
    answer(&mut room, &pattern(&bathroom), |_| false);
    let state = room.fold();
    assert_eq!(value(&state, "room.json", "/outlets/0/id"), json!("waste"));
    assert!(value(&state, "room.json", "/outlets/1").is_null());
    change(&mut bathroom, "room.json", "/outlets/second/radius_mm", json!(60));
    let own = told(&offered(&pattern(&bathroom), &room));
    assert_eq!(own.len(), 1, "a change inside what was declined is about all of it: {own:?}");
    assert!(own[0].starts_with("room.json /outlets/second: ") && own[0].ends_with(", here nothing"), "{own:?}");
}

#[test]
fn a_released_room_is_never_offered_anything() {
    let mut bathroom = bathroom();
    let mut by_event = room(&pattern(&bathroom), MIRRORED);
    by_event.release('a', 610, "screed", "released with conditions", &["the drain is cleaned"]);
    let mut by_file = room(&pattern(&bathroom), MIRRORED);
    let outcome = |word: &str, at: &str| json!({"kind": "outcome", "hold_point": "screed", "outcome": word, "by": "M. Okafor", "at": at});
    let evidence = json!({"format": "undertile evidence 1", "entries": [
        outcome("released", "2026-03-01T12:00:00+10:00"), outcome("not released", "2026-03-01T11:00:00+10:00")]});
    by_file.add('a', 610, "document", json!({"file": "evidence.json", "text": evidence.to_string()}));
    let mut not_released = room(&pattern(&bathroom), MIRRORED);
    not_released.release('a', 610, "screed", "released", &[]);
    not_released.release('a', 620, "screed", "not released", &[]);
    let mut unreadable = room(&pattern(&bathroom), MIRRORED);
    unreadable.add('a', 610, "document", json!({"file": "evidence.json", "text": "{"}));
    change(&mut bathroom, "room.json", "/height_mm", json!(2700));
    for released in [by_event, by_file] {
        assert_eq!(told(&offered(&pattern(&bathroom), &released)), ["room 12 is left as it is: screed is released"]);
    }
    assert_eq!(told(&offered(&pattern(&bathroom), &not_released)).len(), 1, "the latest outcome counts");
    assert!(told(&offered(&pattern(&bathroom), &unreadable))[0].contains("cannot be read"), "who cannot tell does not offer");
}

#[test]
fn of_two_answers_that_had_not_seen_each_other_both_are_shown() {
    let mut bathroom = bathroom();
    let mut room = room(&pattern(&bathroom), Laid::default());
    room.sync('b');
    change(&mut bathroom, "room.json", "/height_mm", json!(2700));
    let pattern = pattern(&bathroom);
    let offer = the_offer(&pattern, &room);
    let taken = serde_json::to_value(offer.answer(&pattern, |_| true).unwrap()).unwrap();
    let declined = serde_json::to_value(offer.answer(&pattern, |_| false).unwrap()).unwrap();
    room.add('a', 700, "like", taken);
    room.add('b', 710, "like", declined);
    let state = room.fold();
    assert_eq!(state.conflicts.len(), 1);
    assert_eq!(state.conflicts[0].values.iter().map(|value| value.shown).collect::<Vec<_>>(), [false, true]);
    assert_eq!(value(&state, "room.json", "/height_mm"), json!(2400));
}

#[test]
fn a_pattern_people_contradict_each_other_about_is_not_offered() {
    let mut bathroom = bathroom();
    bathroom.sync('q');
    bathroom.add('q', 600, "field", json!({"file": "room.json", "at": "/height_mm", "value": 2500}));
    change(&mut bathroom, "room.json", "/height_mm", json!(2700));
    assert!(Pattern::of(ID, &bathroom.fold()).is_err());
    assert!(Pattern::of(ID, &Record::default().fold()).is_err(), "nor is one without a room");
}

#[test]
fn an_answer_to_an_earlier_change_is_not_taken_for_the_next() {
    let mut bathroom = bathroom();
    let room = room(&pattern(&bathroom), Laid::default());
    change(&mut bathroom, "room.json", "/height_mm", json!(2700));
    let offer = the_offer(&pattern(&bathroom), &room);
    change(&mut bathroom, "room.json", "/height_mm", json!(2800));
    assert!(offer.answer(&pattern(&bathroom), |_| true).is_err());
}

#[test]
fn a_like_that_is_not_what_it_says_is_refused() {
    let pattern = pattern(&bathroom());
    let sound = serde_json::to_value(pattern.like(MIRRORED, None)).unwrap();
    let answer = |file: &str, at: &str, value: serde_json::Value| json!([{"file": file, "at": at, "answer": "own", "value": value}]);
    let cases = [
        ("revision", json!("0".repeat(64)), "not the state of these files"),
        ("files", json!({"plan.json": "{}"}), "the pattern has no room"),
        ("answers", answer("room.json", "height_mm", json!(1)), "points nowhere"),
        ("answers", answer("readings.csv", "/a", json!(1)), "points nowhere"),
        ("answers", answer("room.json", "", json!(null)), "points nowhere"),
        ("answers", answer("room.json", "/height_mm", json!("high")), "no room.json that can be read"),
    ];
    for (field, value, speaks_of) in cases {
        let mut like = sound.clone();
        like[field] = value;
        let mut record = Record::default();
        record.add('a', 490, "like", like);
        let state = record.fold();
        assert!(state.files.is_empty() && state.like.is_none(), "{speaks_of}");
        assert!(problems(&state).join("\n").contains(speaks_of), "{speaks_of}: {:?}", problems(&state));
    }
}

#[test]
fn a_file_the_pattern_gives_up_goes_and_one_of_the_room_stays() {
    let mut bathroom = bathroom();
    let mut first = bathroom.clone();
    let pack = json!({"file": "pack.json", "text": "{\"format\":\"undertile rules 1\",\"id\":\"project\"}"});
    first.add('p', 490, "document", pack.clone());
    let mut room = room(&pattern(&first), Laid::default());
    let mut own = self::room(&pattern(&bathroom), Laid::default());
    own.add('a', 500, "document", pack);
    change(&mut bathroom, "room.json", "/height_mm", json!(2700));
    assert_eq!(told(&offered(&pattern(&bathroom), &room)).len(), 2, "the height, and the rules that go");
    for room in [&mut room, &mut own] {
        answer(room, &pattern(&bathroom), |_| true);
    }
    assert!(!room.fold().files.contains_key("pack.json"));
    assert!(own.fold().files.contains_key("pack.json"), "rules of this room's own");
}
