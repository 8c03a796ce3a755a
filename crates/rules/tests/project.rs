//! The project's own pack: its rules, limits it verifies, and what it may not do. `tests/project-pack.json` is the example
//! of the format.

mod common;

use common::{frame, judge_for, with};
use measure::Verdict::{Conforms, FallsShort, NotShown};
use rules::{Facts, Packs, check_cases, fact};

const EXAMPLE: &str = include_str!("project-pack.json");

#[test]
fn the_example_is_right_and_its_cases_hold() {
    let packs = with(EXAMPLE);
    let problems = check_cases(&packs);
    assert!(problems.is_empty(), "{problems}");
}

/// The widths 100, 35, 12 mm by class are from memory in the Australian pack, so they decide nothing until somebody who holds
/// the standard or data sheet enters them.
#[test]
fn a_bond_breaker_too_narrow_falls_short_once_its_width_is_verified() {
    let here = frame("AU", "2024-03-01", "1a");
    let facts = Facts::new().word(fact::MEMBRANE_CLASS, "II");
    let before = Packs::embedded().applicable(&here);
    let judgement = judge_for(before.rule("au/bond-breaker-width").unwrap(), &facts, 24.0);
    assert_eq!((judgement.verdict, judgement.value), (NotShown, Some(24.0)));
    assert!(judgement.limit.is_some() && judgement.why.ends_with("rule not verified"), "{}", judgement.why);

    let after = with(EXAMPLE).applicable(&here);
    let rule = after.rule("au/bond-breaker-width").unwrap();
    let judgement = judge_for(rule, &facts, 24.0);
    assert_eq!(judgement.verdict, FallsShort);
    assert_eq!(
        judgement.source,
        "verified by T. Okafor, data sheet of the membrane, revision 3, table 2, page 4 (2026-02-11); the pack has at least 100 mm, or at least 35 mm, or at least 12 mm"
    );
    assert_eq!(judge_for(rule, &facts, 40.0).verdict, Conforms);
    let unknown_class = judge_for(rule, &Facts::new(), 40.0);
    assert_eq!(unknown_class.verdict, NotShown);
    assert!(unknown_class.why.contains("membrane class"), "{}", unknown_class.why);
}

fn refused(text: &str) -> String {
    match Packs::embedded().with("project-pack.json", text.as_bytes()) {
        Ok(_) => panic!("taken"),
        Err(problems) => problems.to_string(),
    }
}

#[test]
fn a_rule_that_holds_is_left_by_a_departure_and_not_by_a_pack() {
    let text = |replaced: &str| {
        format!(
            r#"{{"format": "undertile pack 1", "id": "project", "title": "Project", "rules": [{{"id": "flat", "title": "flatter", "quantity": "fall",
            "unit": "ratio", "direction": "plane-to-outlet", "details": ["floor-field"], "limit": {{"at_least": "1:200"}}, "status": "practice",
            "confidence": "P", "instead_of": ["{replaced}"]}}]}}"#
        )
    };
    assert!(refused(&text("au/fall-to-waste")).contains("record a departure"));
    assert!(refused(&text("au/no-such-rule")).contains("no such rule"));
    with(&text("au/substrate-fall-ratio")); // decides nothing, so it may be replaced
}

#[test]
fn a_verification_says_who_edition_clause_page_and_day() {
    let text = r#"{"format": "undertile pack 1", "id": "project", "title": "Project", "verified": [
        {"rule": "au/no-such", "limit": {"at_least": 1}, "verified_by": {"by": "", "edition": "", "clause": "1", "page": "2", "date": "yesterday"}},
        {"rule": "au/step-down", "verified_by": {"by": "A", "edition": "B", "clause": "1", "page": "2", "date": "2024-01-01"}},
        {"rule": "au/hob-not-timber", "limit": {"at_least": 1}, "verified_by": {"by": "A", "edition": "B", "clause": "1", "page": "2", "date": "2024-01-01"}},
        {"rule": "au/step-down", "limit": {"at_least": "1:80"}, "verified_by": {"by": "A", "edition": "B", "clause": "1", "page": "2", "date": "2024-01-01"}}]}"#;
    let problems = refused(text);
    for expected in [
        "verified[0].verified_by.by",
        "verified[0].verified_by.edition",
        "verified[0].verified_by.date",
        "verified[0].rule",
        "verified[1].limit",
        "verified[2].limit",
        "verified[3].limit.at_least",
    ] {
        assert!(problems.contains(expected), "{expected} in\n{problems}");
    }
}

#[test]
fn a_look_verified_decides() {
    let packs = with(
        r#"{"format": "undertile pack 1", "id": "project", "title": "Project", "verified": [{"rule": "au/hob-not-timber",
            "verified_by": {"by": "T. Okafor", "edition": "NCC 2022", "clause": "HP 10.2.15", "page": "12", "date": "2026-02-11"}}]}"#,
    );
    let hob = packs.rule("au/hob-not-timber").unwrap();
    let seen = hob.seen(false, measure::Grade::Seen, "pine batten under the tile");
    assert_eq!(seen.verdict, FallsShort);
    assert_eq!(seen.why, "hob of something other than timber; not as required, by eye: pine batten under the tile");
}
