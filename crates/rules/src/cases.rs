//! The worked cases beside each rule: run, and checked to be enough.

use crate::format::Case;
use crate::load::case_value;
use crate::{Facts, Packs, Rule};
use measure::{Decision, Grade, Judgement, Measured, Problem, Problems, Verdict};

/// Runs every case of every rule, and checks that the cases of a rule are enough: for each bound one below, one at and one
/// above it, and one where nothing is known; for a rule judged by eye found, not found and not looked at.
///
/// Values are exact and judged with guarded acceptance at 5 %. A rule that decides nothing must answer `not shown` to all,
/// and its number is checked by `if_verified`: the answer the same rule would give once somebody verified it. A rule that
/// somebody verified for the project may go without cases.
pub fn check_cases(packs: &Packs) -> Problems {
    let mut problems = Problems::new();
    for rule in packs.packs().iter().flat_map(|pack| &pack.rules) {
        check_rule(rule, &mut problems);
    }
    problems
}

fn check_rule(rule: &Rule, problems: &mut Problems) {
    for (i, case) in rule.written.cases.iter().enumerate() {
        let mut expect = |field: &str, found: Judgement, expected: Verdict| {
            if found.verdict != expected {
                let field = format!("{}.cases[{i}].{field}", rule.id);
                let what = format!("the rule answers: {}", found.verdict);
                problems.push(Problem::at(field, what, found.why).value(expected));
            }
        };
        if let Some(expected) = case.expect {
            expect("expect", run(rule, case), expected);
        }
        if let Some(expected) = case.if_verified {
            expect("if_verified", run(&as_if_verified(rule), case), expected);
        }
    }
    for missing in missing(rule) {
        problems.push(Problem::at(format!("{}.cases", rule.id), missing, "every bound below, at and above, and unknown"));
    }
}

fn run(rule: &Rule, case: &Case) -> Judgement {
    let facts = Facts::from(case.facts.clone());
    if let Some(found) = case.found {
        return rule.seen(found, Grade::Seen, "");
    }
    let measured = case_value(case).and_then(|value| Measured::new(value, case.u.unwrap_or(0.0)).ok());
    match measured {
        Some(measured) => rule.judge_for(&facts, measured, rule.least_readings(), Grade::Measured, Decision::default()),
        None => rule.unmeasured(&facts, "nothing was measured"),
    }
}

fn as_if_verified(rule: &Rule) -> Rule {
    let word = || "a case".to_string();
    let by = crate::VerifiedBy { by: word(), edition: word(), clause: word(), page: word(), date: word() };
    Rule { verified_by: Some(by), ..rule.clone() }
}

/// What the cases of a rule leave out.
fn missing(rule: &Rule) -> Vec<String> {
    let cases = &rule.written.cases;
    let mut missing = Vec::new();
    if cases.is_empty() && rule.verified_by.is_some() {
        return missing;
    }
    if cases.is_empty() {
        return vec!["none given".into()];
    }
    if !cases.iter().any(|case| case.value.is_none() && case.found.is_none()) {
        missing.push("no case in which nothing is known".into());
    }
    if rule.decides_nothing().is_some()
        && cases.iter().any(|case| (case.value.is_some() || case.found.is_some()) && case.if_verified.is_none())
    {
        missing.push("a rule that decides nothing needs if_verified in each case, or its number is never tried".into());
    }
    if rule.quantity.is_none() {
        for found in [true, false] {
            if !cases.iter().any(|case| case.found == Some(found)) {
                missing.push(format!("no case with found {found}"));
            }
        }
        return missing;
    }
    for asked in &rule.asked {
        let here: Vec<f64> = cases
            .iter()
            .filter(|case| matches!(rule.asked_for(&Facts::from(case.facts.clone())), Ok(Some(counts)) if counts == asked))
            .filter_map(case_value)
            .collect();
        for bound in [asked.limit.min(), asked.limit.max()].into_iter().flatten() {
            let same = 1e-9 * bound.abs();
            let sides = [
                ("below", here.iter().any(|x| *x < bound - same)),
                ("at", here.iter().any(|x| (x - bound).abs() <= same)),
                ("above", here.iter().any(|x| *x > bound + same)),
            ];
            for (side, _) in sides.iter().filter(|(_, tried)| !tried) {
                missing.push(format!("no case {side} {bound} ({})", asked.words));
            }
        }
    }
    missing
}
