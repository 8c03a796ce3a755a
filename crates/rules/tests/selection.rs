//! Which rules hold: by date, place, class, and what the frame leaves open.

mod common;

use common::{frame, ids, undecided, with};
use rules::{Frame, Packs, Standing};

#[test]
fn basis_date_picks_the_edition() {
    let packs = Packs::embedded();
    let fall = |day: &str| packs.applicable(&frame("AU", day, "1a")).rule("au/fall-to-waste").map(|rule| rule.edition.clone());
    assert_eq!(fall("2024-03-01").as_deref(), Some("NCC 2022"));
    assert_eq!(fall("2023-05-01").as_deref(), Some("NCC 2022"));
    assert_eq!(fall("2023-04-30"), None);
    let se = |day: &str| -> Vec<String> {
        let found = packs.applicable(&frame("SE", day, ""));
        found.of_quantity("pipe_centres_mm").map(|rule| format!("{} {}", rule.id, rule.edition)).collect()
    };
    assert_eq!(se("2018-06-01"), ["se/pipe-centres GVK 2016:1"]);
    assert_eq!(se("2022-06-01"), ["se/pipe-centres-2021 GVK 2021:1"]);
    assert_eq!(se("2026-06-01"), ["se/pipe-centres-2026 GVK 2026"]);
}

#[test]
fn an_older_building_is_judged_by_its_day_with_todays_practice_beside() {
    let packs = Packs::embedded();
    let found = packs.applicable(&frame("AU", "2017-02-01", "1"));
    assert!(found.rule("au/fall-to-waste").is_none());
    assert!(found.rule("au/shower-wall-strip").is_some());
    let later = found.later_editions.iter().find(|rule| rule.id == "au/fall-to-waste").unwrap();
    assert_eq!(later.standing, Standing::Later);
    assert!(later.source().starts_with("today's practice, a later edition than the job's: NCC 2025"), "{}", later.source());
}

/// NCC 2025 is taken up by the states on different days, so the date alone never picks it.
#[test]
fn an_edition_in_transition_must_be_named_and_a_note_says_so() {
    let packs = Packs::embedded();
    let mut here = frame("AU", "2026-08-01", "1a");
    let found = packs.applicable(&here);
    assert_eq!(found.rule("au/fall-to-waste").unwrap().edition, "NCC 2022");
    assert!(found.notes.iter().any(|note| note.starts_with("NCC 2025 may hold on 2026-08-01")), "{:?}", found.notes);
    here.editions = vec!["ncc-2025".into()];
    let found = packs.applicable(&here);
    assert_eq!(found.rule("au/fall-to-waste").unwrap().edition, "NCC 2025");
    assert!(found.rule("au/shower-junction-cover").is_none(), "a rule of NCC 2022 alone");
    assert!(found.packs.iter().any(|pack| pack.id == "au" && pack.editions.contains(&"NCC 2025".to_string()) && pack.sha256.len() == 64));
}

/// NCC 2016 Volume Two, South Australian variation SA 3.2.2(c).
#[test]
fn a_states_variation_holds_in_that_state_only() {
    let packs = Packs::embedded();
    let mut here = frame("AU", "2017-02-01", "1");
    let falls = |here: &Frame| -> Vec<String> { packs.applicable(here).of_quantity("fall").map(|rule| rule.id.clone()).collect() };
    assert_eq!(falls(&here), Vec::<String>::new());
    let open = packs.applicable(&here);
    assert!(undecided(&open).contains(&"au/fall-shower-sa"));
    assert!(open.undecided.iter().any(|undecided| undecided.why == "the state is not known"));
    here.state = Some("sa".into());
    assert_eq!(falls(&here), ["au/fall-shower-sa", "au/fall-other-sa"]);
    here.state = Some("NSW".into());
    assert_eq!(falls(&here), Vec::<String>::new());
}

#[test]
fn building_class_takes_in_its_parts() {
    let packs = Packs::embedded();
    for (class, holds) in [("1", true), ("1a", true), ("1A", true), ("10b", true), ("2", false), ("9a", false), ("11", false)] {
        let found = packs.applicable(&frame("AU", "2024-01-01", class));
        assert_eq!(found.rule("au/fall-to-waste").is_some(), holds, "{class}");
    }
    let open = packs.applicable(&frame("AU", "2024-01-01", ""));
    assert!(open.rule("au/fall-to-waste").is_none() && undecided(&open).contains(&"au/fall-to-waste"));
}

#[test]
fn a_floor_above_another_dwelling_is_asked_for() {
    let packs = Packs::embedded();
    let mut here = frame("AU", "2024-01-01", "2");
    assert!(undecided(&packs.applicable(&here)).contains(&"au/waste-above-dwelling"));
    here.above_dwelling = Some(true);
    assert!(packs.applicable(&here).rule("au/waste-above-dwelling").is_some());
    here.above_dwelling = Some(false);
    let not = packs.applicable(&here);
    assert!(not.rule("au/waste-above-dwelling").is_none() && !undecided(&not).contains(&"au/waste-above-dwelling"));
}

#[test]
fn what_the_frame_leaves_out_makes_notes_and_never_a_choice() {
    let packs = Packs::embedded();
    let nothing = packs.applicable(&Frame::default());
    assert!(ids(&nothing.rules).iter().all(|id| id.starts_with("practice/")), "{:?}", ids(&nothing.rules));
    assert!(nothing.notes.iter().any(|note| note.contains("the country is not known")));
    let elsewhere = packs.applicable(&frame("DE", "2024-01-01", ""));
    assert!(elsewhere.notes.iter().any(|note| note.starts_with("there is no pack for DE")));
    let undated = packs.applicable(&frame("AU", "", "1"));
    assert!(!ids(&undated.rules).contains(&"au/fall-to-waste") && undecided(&undated).contains(&"au/fall-to-waste"));
    assert!(undated.notes.iter().any(|note| note == "NCC: the basis date is not known; its rules are undecided"), "{:?}", undated.notes);
}

/// Model codes hold where they were adopted, which only the job can say.
#[test]
fn a_model_code_holds_once_the_job_names_it() {
    let packs = Packs::embedded();
    let mut here = frame("US", "2024-01-01", "");
    let open = packs.applicable(&here);
    assert!(undecided(&open).contains(&"us/irc-fall") && undecided(&open).contains(&"us/ipc-test-time"));
    here.editions = vec!["irc-2021".into()];
    let named = packs.applicable(&here);
    assert_eq!(named.rule("us/irc-fall").unwrap().edition, "IRC 2021");
    assert!(named.rule("us/ipc-test-time").is_none() && !undecided(&named).contains(&"us/ipc-test-time"));
    assert!(named.rule("us/deck-test-wait").is_none(), "kept for comparison, never applied");
    here.state = Some("MN".into());
    assert!(packs.applicable(&here).rule("us/upc-lining-up").is_some(), "state law holds without being named");
}

#[test]
fn what_is_wrong_with_a_frame_is_said_at_once() {
    let here = Frame {
        basis_date: Some("1.3.2024".into()),
        country: Some("Australia".into()),
        editions: vec!["ncc-2023".into()],
        ..Frame::default()
    };
    let problems = here.check(&Packs::embedded());
    let fields: Vec<&str> = problems.problems.iter().map(|problem| problem.field.as_str()).collect();
    assert_eq!(fields, ["basis_date", "country", "editions"]);
    assert!(frame("AU", "2024-03-01", "1a").check(&Packs::embedded()).is_empty());
}

#[test]
fn practice_gives_way_where_the_project_speaks() {
    let quiet = Packs::embedded().applicable(&frame("AU", "2024-01-01", "1"));
    assert!(quiet.rule("practice/pond-depth").is_some());
    let packs = with(
        r#"{"format": "undertile pack 1", "id": "project", "title": "Project", "rules": [{"id": "pond", "title": "no more than 1 mm left standing",
            "quantity": "pond_depth_mm", "unit": "mm", "details": ["floor-field"], "limit": {"at_most": 1}, "status": "practice",
            "verified_by": {"by": "R. Example", "edition": "contract", "clause": "7", "page": "3", "date": "2024-01-02"}}]}"#,
    );
    let spoken = packs.applicable(&frame("AU", "2024-01-01", "1"));
    assert!(spoken.rule("practice/pond-depth").is_none() && spoken.rule("project/pond").is_some());
    assert!(spoken.notes.iter().any(|note| note == "practice/pond-depth gives way to project/pond"));
}

#[test]
fn remarks_say_where_the_dates_come_from() {
    let found = Packs::embedded().applicable(&frame("AU", "2017-02-01", "1"));
    assert!(found.remarks.iter().any(|remark| remark.starts_with("Australia: dates of NCC 2016: from memory")), "{:?}", found.remarks);
    assert_eq!(found.notes.iter().filter(|note| note.starts_with("Australia")).count(), 0, "notes are for what is open");
}

#[test]
fn local_words_come_from_the_pack() {
    let packs = Packs::embedded();
    let word = |country: &str| packs.applicable(&frame(country, "2024-01-01", "")).local_word("departure").to_string();
    assert_eq!(word("AU"), "performance solution");
    assert_eq!(word("SE"), "agreed deviation");
    assert_eq!(word("NZ"), "departure");
}
