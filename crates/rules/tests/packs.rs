//! The packs built in: read with every check, every worked case run, and the checker itself tried on planted faults.

use measure::Verdict;
use rules::{Packs, check_cases};
use sha2::Digest;

#[test]
fn packs_built_in_are_right() {
    if let Err(problems) = Packs::read_built_in() {
        panic!("{problems}");
    }
    let packs = Packs::embedded();
    let ids: Vec<&str> = packs.packs().iter().map(|pack| pack.id.as_str()).collect();
    assert_eq!(ids, ["au", "practice", "se", "us"]);
}

#[test]
fn every_case_of_every_pack_holds_and_no_bound_is_left_untried() {
    let problems = check_cases(&Packs::embedded());
    assert!(problems.is_empty(), "{problems}");
}

/// The engine can only tell facts whose names it knows; a pack may use more, which then stay unknown.
#[test]
fn facts_the_engine_tells_and_words_agree() {
    let packs = Packs::embedded();
    let mut words: Vec<&str> = packs.vocabulary().facts().iter().map(|fact| fact.id.as_str()).collect();
    let mut known = rules::fact::ALL.to_vec();
    words.sort_unstable();
    known.sort_unstable();
    assert_eq!(words, known);
}

const PLANTED: &str = r#"{
  "format": "undertile pack 1", "id": "planted", "title": "Planted faults",
  "rules": [{
    "id": "leg", "title": "leg of 40 mm", "quantity": "horizontal_leg_mm", "unit": "mm", "details": ["wall-floor-junction"],
    "limit": {"at_least": 40}, "clause": "1", "status": "normative", "confidence": "S", "source": "invented for a test",
    "cases": CASES
  }]
}"#;

fn check_planted(cases: &str) -> String {
    let text = PLANTED.replace("CASES", cases);
    match Packs::none().with("planted.json", text.as_bytes()) {
        Ok(packs) => check_cases(&packs).to_string(),
        Err(problems) => panic!("{problems}"),
    }
}

#[test]
fn a_planted_wrong_case_is_caught() {
    let good = r#"[{"value": 39, "expect": "falls short"}, {"value": 40, "expect": "conforms"}, {"value": 41, "expect": "conforms"}, {"expect": "not shown"}]"#;
    assert_eq!(check_planted(good), "");
    let wrong = check_planted(&good.replacen("falls short", "conforms", 1));
    assert!(wrong.contains("planted/leg.cases[0].expect") && wrong.contains("the rule answers: falls short"), "{wrong}");
}

#[test]
fn cases_that_leave_something_untried_are_caught() {
    let table = [
        ("[]", "none given"),
        (r#"[{"value": 40, "expect": "conforms"}, {"value": 41, "expect": "conforms"}, {"expect": "not shown"}]"#, "no case below 40"),
        (r#"[{"value": 39, "expect": "falls short"}, {"value": 41, "expect": "conforms"}, {"expect": "not shown"}]"#, "no case at 40"),
        (r#"[{"value": 39, "expect": "falls short"}, {"value": 40, "expect": "conforms"}, {"expect": "not shown"}]"#, "no case above 40"),
        (
            r#"[{"value": 39, "expect": "falls short"}, {"value": 40, "expect": "conforms"}, {"value": 41, "expect": "conforms"}]"#,
            "nothing is known",
        ),
    ];
    for (cases, expected) in table {
        let found = check_planted(cases);
        assert!(found.contains(expected), "{cases}: {found}");
    }
}

/// A rule of confidence M, or one that contradicts itself, never gives more than `not shown`, whatever was measured.
#[test]
fn a_rule_nobody_verified_decides_nothing() {
    use measure::{Decision, Grade, Measured};
    let packs = Packs::embedded();
    let mut tried = 0;
    for rule in packs.packs().iter().flat_map(|pack| &pack.rules).filter(|rule| rule.decides_nothing().is_some()) {
        for value in [-1e6, 0.0, 1.0, 1e6] {
            for decision in [Decision::default(), Decision::Simple { u_max: 1e9 }] {
                let judgement = rule.judge(Measured::exact(value).unwrap(), 1000, Grade::Measured, decision);
                assert_eq!(judgement.verdict, Verdict::NotShown, "{}", rule.id);
            }
        }
        for found in [true, false] {
            let judgement = rule.seen(found, Grade::Seen, "");
            assert_eq!(judgement.verdict, Verdict::NotShown, "{}", rule.id);
            assert!(judgement.why.contains("not verified"), "{}: {}", rule.id, judgement.why);
        }
        tried += 1;
    }
    assert!(tried > 20, "{tried}");
}

/// A stranger gets the hash of a folder from `sha256sum *.json | sha256sum`, and that of one file from `sha256sum`.
#[test]
fn a_pack_is_named_by_the_hash_of_its_files() {
    let one_file = PLANTED.replace("CASES", "[]");
    let packs = match Packs::none().with("p.json", one_file.as_bytes()) {
        Ok(packs) => packs,
        Err(problems) => panic!("{problems}"),
    };
    let hex = |bytes: &[u8]| -> String { sha2::Sha256::digest(bytes).iter().map(|b| format!("{b:02x}")).collect() };
    assert_eq!(packs.packs()[0].sha256, hex(one_file.as_bytes()));
    assert_eq!(hex(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad", "FIPS 180-4, example of one block");

    let rules = r#"{"format": "undertile rules 1", "rules": []}"#;
    let folder = [("x/rules.json", rules.as_bytes()), ("x/pack.json", one_file.as_bytes())];
    let lines = format!("{}  pack.json\n{}  rules.json\n", hex(one_file.as_bytes()), hex(rules.as_bytes()));
    let packs = match Packs::none().with_folder(&folder) {
        Ok(packs) => packs,
        Err(problems) => panic!("{problems}"),
    };
    assert_eq!(packs.packs()[0].sha256, hex(lines.as_bytes()), "what `sha256sum *.json` prints, hashed");
}
