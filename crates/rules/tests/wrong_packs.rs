//! What is wrong with a pack is found at once, in plain words, and never with a panic.

mod common;

use proptest::prelude::*;
use rules::Packs;

fn problems(text: &[u8]) -> String {
    match Packs::embedded().with("pack.json", text) {
        Ok(_) => String::new(),
        Err(problems) => problems.to_string(),
    }
}

#[test]
fn everything_wrong_is_found_at_once() {
    let found = problems(
        br#"{
  "format": "undertile pack 1", "id": "bad", "title": "Bad", "country": "AUS",
  "editions": [
    {"id": "a", "title": "A", "family": "A", "from": "2020-01-01", "to": "2019-01-01", "dates_source": "x"},
    {"id": "b", "title": "B", "family": "B", "from": "2020-01-01", "dates_source": "x"},
    {"id": "c", "title": "C", "family": "B", "from": "2021-01-01", "dates_source": "x"},
    {"id": "c", "title": "", "family": "D", "from": "soon", "dates_source": ""}],
  "rules": [
    {"id": "unit", "title": "t", "quantity": "set_down_mm", "unit": "cm", "datum": "finished-floor", "details": [], "limit": {"at_least": 1}, "editions": ["a"], "clause": "1", "confidence": "S", "source": "x"},
    {"id": "order", "title": "t", "quantity": "fall", "unit": "ratio", "direction": "plane-to-outlet", "details": [], "limit": {"at_least": "1:50", "at_most": "1:80"}, "editions": ["a"], "clause": "1", "confidence": "S", "source": "x"},
    {"id": "order", "title": "", "quantity": "no_such_mm", "unit": "mm", "details": [], "limit": {"at_least": 1}, "editions": ["z"], "clause": "", "source": ""},
    {"id": "angle", "title": "t", "quantity": "fall", "unit": "ratio", "direction": "sideways", "details": [], "limit": {"at_least": "180\u00b0"}, "editions": ["a"], "clause": "1", "confidence": "S", "source": "x"},
    {"id": "datum", "title": "t", "quantity": "upturn_height_mm", "unit": "mm", "details": [], "limit": {"at_least": "1:80"}, "editions": ["a"], "clause": "1", "confidence": "S", "source": "x"},
    {"id": "facts", "title": "t", "requires": "r", "details": [], "when": {"enclosed": ["yes"], "substrate": ["cheese"], "mood": true}, "editions": ["a"], "clause": "1", "confidence": "S", "source": "x"},
    {"id": "both", "title": "t", "quantity": "fall", "requires": "r", "details": [], "editions": ["a"], "clause": "1", "confidence": "S", "source": "x", "effective_from": "2024-02-30"},
    {"id": "empty", "title": "t", "quantity": "lap_width_mm", "unit": "mm", "details": [], "limit": {}, "editions": ["a"], "clause": "1", "confidence": "S", "source": "x", "least_readings": 0,
     "cases": [{"value": 3}, {"found": true, "expect": "conforms"}]}
  ]
}"#,
    );
    for expected in [
        "country = AUS",
        "editions[0].from = 2020-01-01 to 2019-01-01: the first day is after the last",
        "editions[2].from = c: the dates overlap",
        "editions[3].id",
        "editions[3].title",
        "editions[3].dates_source",
        "editions[3].from = \"soon\": not a date",
        "rules[0].unit = cm: not the unit of set_down_mm; \"mm\"",
        "rules[1].limit = 0.02 to 0.0125: the lower bound is above the upper",
        "rules[2].id = order: given twice",
        "rules[2].title",
        "rules[2].quantity = no_such_mm: no such quantity",
        "rules[2].editions = z: no such edition",
        "rules[2].clause",
        "rules[2].source",
        "rules[2].confidence",
        "rules[3].direction = sideways",
        "rules[3].limit.at_least = 180\u{b0}: an angle is not a fall",
        "rules[4].datum: upturn_height_mm without a datum",
        "rules[4].limit.at_least = 1:80: text where a number is due",
        "rules[5].when.enclosed: the fact is of another kind; true or false",
        "rules[5].when.substrate = cheese: no such word",
        "rules[5].when.mood = mood: no such fact",
        "rules[6].quantity = both: neither or both",
        "rules[6].effective_from = \"2024-02-30\": not a date",
        "rules[7].limit: no bound",
        "rules[7].least_readings",
        "rules[7].cases[0].expect: missing",
        "rules[7].cases[1].found",
    ] {
        assert!(found.contains(expected), "{expected}\nin\n{found}");
    }
    assert!(found.lines().all(|line| line.starts_with("pack.json")), "{found}");
}

#[test]
fn unknown_words_of_the_register_are_refused() {
    let text = r#"{"format": "undertile pack 1", "id": "p", "title": "P", "rules": [{"id": "r", "title": "t", "requires": "r", "details": ["floor-feild"],
        "zones": ["damp"], "clause": "1", "confidence": "T", "source": "x", "colour": "red"}]}"#;
    let found = problems(text.as_bytes());
    for expected in ["floor-feild", "damp", "colour", "confidence"] {
        assert!(found.contains(expected), "{expected} in\n{found}");
    }
}

#[test]
fn a_pack_cannot_take_anothers_name() {
    assert!(problems(br#"{"format": "undertile pack 1", "id": "au", "title": "Mine"}"#).contains("already there"));
    assert!(problems(br#"{"format": "something else", "id": "x", "title": "X"}"#).contains("undertile pack 1"));
    assert!(problems(b"").starts_with("pack.json"));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// A real pack with bytes changed, cut or doubled is refused or taken, and taken packs still pick.
    #[test]
    fn a_damaged_pack_never_panics(at in 0usize..3000, byte in any::<u8>(), cut in 0usize..3000, len in 0usize..40) {
        let mut bytes = include_bytes!("project-pack.json").to_vec();
        let at = at % bytes.len();
        bytes[at] = byte;
        let cut = cut % bytes.len();
        bytes.drain(cut..(cut + len).min(bytes.len()));
        if let Ok(packs) = Packs::embedded().with("pack.json", &bytes) {
            packs.applicable(&common::frame("AU", "2024-01-01", "1"));
            rules::check_cases(&packs);
        }
    }

    /// Any frame picks without a panic.
    #[test]
    fn any_frame_picks(day in "\\PC{0,12}", country in "\\PC{0,3}", class in "\\PC{0,4}") {
        Packs::embedded().applicable(&common::frame(&country, &day, &class));
    }
}
