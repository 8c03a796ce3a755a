//! What several of these tests need.
#![allow(dead_code, reason = "each test file uses its share")]

use measure::{Decision, Grade, Judgement, Measured, Verdict};
use rules::{Applicable, Facts, Frame, Packs, Rule};

/// An exactly known value, enough readings, guarded acceptance at 5 %.
pub fn judge(rule: &Rule, value: f64) -> Judgement {
    judge_for(rule, &Facts::new(), value)
}

pub fn judge_for(rule: &Rule, facts: &Facts, value: f64) -> Judgement {
    match Measured::exact(value) {
        Ok(measured) => rule.judge_for(facts, measured, rule.least_readings(), Grade::Measured, Decision::default()),
        Err(error) => panic!("{value}: {error}"),
    }
}

/// `check(rule, [(value, verdict), ...])`.
pub fn check(id: &str, cases: &[(f64, Verdict)]) {
    let packs = Packs::embedded();
    let Some(rule) = packs.rule(id) else { panic!("no rule {id}") };
    for (value, expected) in cases {
        let judgement = judge(rule, *value);
        assert_eq!(judgement.verdict, *expected, "{id} at {value}: {}", judgement.why);
    }
}

/// The frame of a country on a day, in a class of building.
pub fn frame(country: &str, day: &str, class: &str) -> Frame {
    let some = |text: &str| (!text.is_empty()).then(|| text.to_string());
    Frame { country: some(country), basis_date: some(day), building_class: some(class), ..Frame::default() }
}

pub fn ids(rules: &[Rule]) -> Vec<&str> {
    rules.iter().map(|rule| rule.id.as_str()).collect()
}

pub fn undecided(found: &Applicable) -> Vec<&str> {
    found.undecided.iter().map(|undecided| undecided.rule.id.as_str()).collect()
}

/// The packs built in and one more.
pub fn with(text: &str) -> Packs {
    match Packs::embedded().with("project-pack.json", text.as_bytes()) {
        Ok(packs) => packs,
        Err(problems) => panic!("{problems}"),
    }
}
