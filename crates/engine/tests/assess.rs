//! May this layer be covered? The demo job with its planted faults, and small jobs written here.

use engine::assess::{Assessed, Line, Options, State, run};
use job::Job;
use job::folder::Files;
use measure::Verdict;
use std::path::Path;

fn demo() -> Files {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/heron-row-12");
    let read = |entry: std::fs::DirEntry| Some((entry.file_name().into_string().ok()?, std::fs::read(entry.path()).ok()?));
    std::fs::read_dir(folder).expect("the demo is in the tree").filter_map(|entry| read(entry.ok()?)).collect()
}

fn files(texts: &[(&str, &str)]) -> Files {
    texts.iter().map(|(name, text)| (name.to_string(), text.as_bytes().to_vec())).collect()
}

/// A day after the last entry of the demo.
const THEN: &str = "2024-03-09T12:00:00+11:00";

fn assess(files: &Files, hold_point: Option<&str>) -> Assessed {
    let job = Job::read(files).unwrap_or_else(|problems| panic!("{problems}"));
    run(&job, &Options { hold_point, now: Some(THEN), drawings: false }).unwrap_or_else(|problems| panic!("{problems}"))
}

fn lines(assessed: &Assessed) -> Vec<&Line> {
    assessed.assessment.groups.iter().flat_map(|group| &group.lines).collect()
}

/// Lines with a verdict, as "owed, detail: why".
fn with(assessed: &Assessed, verdict: Verdict) -> Vec<String> {
    let of = |line: &&&Line| line.judgement.verdict == verdict;
    lines(assessed).iter().filter(of).map(|line| format!("{}, {}: {}", line.owed, line.details.join(" "), line.judgement.why)).collect()
}

/// The planted faults of the demo (invented data) are found by the ordinary computations.
#[test]
fn the_back_fall_beside_the_return_is_found_and_placed() {
    let assessed = assess(&demo(), None);
    assert_eq!(assessed.assessment.hold_point, "screed", "the first hold point not released");
    assert_eq!(assessed.assessment.exit_code, 1);
    let found = with(&assessed, Verdict::FallsShort);
    let fall = found.iter().find(|text| text.starts_with("screed-fall, floor/rest/")).unwrap_or_else(|| panic!("{found:#?}"));
    assert!(fall.contains("rises 3.") || fall.contains("rises 4."), "about 4 mm were planted: {fall}");
    assert!(fall.contains("(20"), "beside the return at x = 2050 mm: {fall}");
    assert!(found.iter().any(|text| text.starts_with("screed-ponds, floor/rest/")), "and water stands in it: {found:#?}");
}

#[test]
fn the_narrow_bond_breaker_the_missing_photograph_and_the_cold_wall_are_found() {
    let assessed = assess(&demo(), Some("upper-membrane"));
    let short = with(&assessed, Verdict::FallsShort);
    let starts = |start: &str| short.iter().any(|text| text.starts_with(start));
    assert!(starts("upper-bond-breaker, junction/north/shower/over-screed: 22 mm"), "{short:#?}");
    assert!(starts("upper-dew-margin, wall/west/"), "{short:#?}");
    assert_eq!(short.iter().filter(|text| text.starts_with("upper-bond-breaker")).count(), 1, "and no other");
    let open = with(&assessed, Verdict::NotShown);
    let unphotographed: Vec<_> = open.iter().filter(|text| text.contains("no photograph of it")).collect();
    assert_eq!(unphotographed.len(), 1, "{open:#?}");
    assert!(unphotographed[0].starts_with("upper-junctions, junction/west/behind glass/over-screed"), "{open:#?}");
}

#[test]
fn the_thin_recess_sill_is_found_with_the_probability_of_a_missing_coat() {
    let assessed = assess(&demo(), Some("upper-membrane"));
    let short: Vec<_> = with(&assessed, Verdict::FallsShort).into_iter().filter(|text| text.starts_with("upper-film")).collect();
    let [sill] = &short[..] else { panic!("the sill and nothing else: {short:#?}") };
    for part in ["recess/recess/sill", "recess sill: 3 readings, 570 to 620 µm", "asked", "% probability one coat where two were due"] {
        assert!(sill.contains(part), "{part} in {sill}");
    }
    let line = lines(&assessed).into_iter().find(|line| line.owed == "upper-film" && line.details == ["recess/recess/sill"]).unwrap();
    let next = line.next.as_deref().unwrap_or_default();
    assert!(next.contains("next: ") && next.contains("of the sill") && next.contains("colour of the coats"), "{next}");
}

#[test]
fn hold_points_stand_where_the_record_left_them() {
    let assessed = assess(&demo(), None);
    let states: Vec<_> = assessed.assessment.hold_points.iter().map(|hold| (hold.id.as_str(), hold.state)).collect();
    use State::*;
    let expected = [
        ("substrate", ReleasedWithConditions),
        ("primer", Released),
        ("lower-membrane", Released),
        ("lower-flood", Released),
        ("screed", Open),
        ("upper-membrane", Open),
        ("upper-flood", Open),
        ("tiling", Open),
        ("water-test", Open),
        ("papers", Open),
    ];
    assert_eq!(states, expected);
}

#[test]
fn water_puts_the_shower_first_and_all_of_it_reaches_the_outlet() {
    let assessed = assess(&demo(), Some("upper-membrane"));
    let bands: Vec<_> = assessed.assessment.groups.iter().map(|group| group.band).collect();
    assert!(bands.is_sorted(), "most water first");
    let first = &assessed.assessment.groups[0];
    assert!(first.id.starts_with("outlet-flange/"), "the outlet sees most and fails most easily: {}", first.id);
    let water = assessed.assessment.water.as_ref().unwrap();
    let out: f64 = water.outlets.iter().map(|(_, litres)| litres).sum::<f64>() + water.left_standing_l;
    assert!((out - water.in_l).abs() < 1e-6 * water.in_l, "{out} of {} L", water.in_l);
}

/// No evidence is never a pass: with nothing but the drawn room, no line conforms at any hold point.
#[test]
fn a_room_without_evidence_conforms_nowhere() {
    let mut files = demo();
    files.retain(|name, _| ["room.json", "data-sheets.json", "pack.json"].contains(&name.as_str()));
    files.insert(
        "job.json".into(),
        br#"{"format":"undertile job 1","basis_date":"2024-02-12","building_class":"1","place":{"country":"AU","state":"VIC"}}"#.to_vec(),
    );
    let hold_points: Vec<String> = assess(&files, None).assessment.hold_points.iter().map(|hold| hold.id.clone()).collect();
    assert_eq!(hold_points.len(), 10);
    for hold_point in hold_points {
        let assessed = assess(&files, Some(&hold_point));
        assert_eq!(with(&assessed, Verdict::Conforms), Vec::<String>::new(), "{hold_point}");
        assert_ne!(assessed.assessment.exit_code, 0, "{hold_point}");
    }
}

/// Outline, door, shower and outlet are enough to start; nothing is supposed about the rest.
const SPARSE: &str = r#"{
  "format": "undertile room 1", "name": "small bathroom",
  "outline_mm": [[0, 0], [2000, 0], [2000, 1600], [0, 1600]],
  "openings": [{ "id": "door", "kind": "door", "wall": "w1", "from_mm": 600, "width_mm": 720 }],
  "zones": [{ "id": "shower", "kind": "shower", "polygon_mm": [[0, 700], [900, 700], [900, 1600], [0, 1600]] }],
  "outlets": [{ "id": "waste", "kind": "point", "x_mm": 450, "y_mm": 1150 }]
}"#;

#[test]
fn a_sparse_room_is_answered_and_says_what_it_does_not_know() {
    let assessed = assess(&files(&[("room.json", SPARSE)]), None);
    assert_eq!(assessed.assessment.exit_code, 3);
    let notes = assessed.assessment.notes.join("\n");
    assert!(notes.contains("the country is not known"), "{notes}");
    assert!(notes.contains("nobody has agreed the plan"), "{notes}");
    assert!(notes.contains("no levels"), "{notes}");
}

/// A hold point whose lines all conform, with `evidence` on top.
fn papers_job(evidence: &str) -> Files {
    let papers = ["papers-data-sheet", "papers-applicator", "papers-flood", "papers-as-built"]
        .map(|id| format!(r#"{{"kind":"paper","answers":"{id}","what":"there","by":"x","at":"2024-02-01T08:00:00+11:00"}}"#))
        .join(",");
    let text = format!(r#"{{"format":"undertile evidence 1","entries":[{papers}{evidence}]}}"#);
    files(&[("room.json", SPARSE), ("evidence.json", &text)])
}

#[test]
fn a_hold_point_with_every_paper_conforms() {
    assert_eq!(assess(&papers_job(""), Some("papers")).assessment.exit_code, 0);
}

#[test]
fn looks_are_graded_and_the_latest_counts() {
    let look = |result: &str, grade: &str, at: &str, photographs: &str| {
        format!(
            r#"{{"kind":"look","hold_point":"screed","details":["outlet/*","floor/*"],"answers":"screed-outlet","result":"{result}","grade":"{grade}","by":"x","at":"{at}","photographs":[{photographs}]}}"#
        )
    };
    let (early, late) = ("2024-02-01T08:00:00+11:00", "2024-02-02T08:00:00+11:00");
    let cases = [
        (vec![], "not inspected"),
        (vec![look("right", "seen", early, "")], "conforms"),
        (vec![look("right", "stated", early, "")], "only stated"),
        (vec![look("right", "photographed", early, "\"a.jpg\"")], "only photographed"),
        (vec![look("wrong", "seen", late, ""), look("right", "seen", early, "")], "falls short"),
        (vec![look("wrong", "seen", early, ""), look("right", "seen", late, "")], "conforms"),
        (vec![look("no-access", "seen", early, "")], "no access"),
        (vec![look("concealed", "seen", early, "")], "concealed"),
    ];
    for (looks, expected) in cases {
        let text = format!(r#"{{"format":"undertile evidence 1","entries":[{}]}}"#, looks.join(","));
        let assessed = assess(&files(&[("room.json", SPARSE), ("evidence.json", &text)]), Some("screed"));
        let all = lines(&assessed);
        let line = all.iter().find(|line| line.owed == "screed-outlet" && line.details[0].starts_with("outlet/")).unwrap();
        let answer = format!("{}: {}", line.judgement.verdict, line.judgement.why);
        assert!(answer.contains(expected), "{looks:?}: {answer}, expected {expected}");
        assert!(line.judgement.prob_conforms.is_none(), "a result by eye has no probability");
    }
}

/// Exit codes in order: falls short before not shown before open departures.
#[test]
fn an_open_departure_shows_as_such_and_never_as_conforming() {
    let room = SPARSE.replace(
        r#""zones": [{ "id": "shower", "kind": "shower","#,
        r#""zones": [{ "id": "shower", "kind": "shower", "enclosed": true, "set_down_mm": { "value": 15, "u": 0.5 },"#,
    );
    let frame = r#"{"format":"undertile job 1","basis_date":"2024-02-12","building_class":"1","place":{"country":"AU","state":"VIC"}}"#;
    let pack = r#"{"format":"undertile pack 1","id":"project","title":"test","verified":[{"rule":"au/step-down","limit":{"at_least":25},
        "verified_by":{"by":"a test","edition":"own","clause":"10.2.16","page":"1","date":"2024-02-01"}}]}"#;
    let plan = r#"{"format":"undertile plan-edits 1","changes":[]}"#;
    let evidence = |state: Option<&str>| {
        let departure = state.map_or(String::new(), |state| {
            format!(
                r#",{{"kind":"departure","rule":"au/step-down","details":["floor/*"],"reason":"joists","state":"{state}","by":"x","at":"2024-02-01T08:00:00+11:00"}}"#
            )
        });
        format!(
            r#"{{"format":"undertile evidence 1","entries":[{{"kind":"look","hold_point":"substrate","details":["*"],"result":"right","grade":"seen","photographs":["a.jpg"],"by":"x","at":"2024-02-01T08:00:00+11:00"}}{departure}]}}"#
        )
    };
    let set_down = |state: Option<&str>| {
        let text = evidence(state);
        let all = files(&[("room.json", &room), ("job.json", frame), ("pack.json", pack), ("plan.json", plan), ("evidence.json", &text)]);
        let assessed = assess(&all, Some("substrate"));
        let line = lines(&assessed).into_iter().find(|line| line.owed == "substrate-set-down").cloned().unwrap();
        (line, assessed.assessment.hold_points[0].counts)
    };
    let (line, counts) = set_down(None);
    assert_eq!(line.judgement.verdict, Verdict::FallsShort);
    assert_eq!((counts.falls_short, counts.open_departures), (1, 0));
    let (line, counts) = set_down(Some("open"));
    assert_eq!(line.judgement.verdict, Verdict::FallsShort, "the value does not change");
    assert_eq!((counts.falls_short, counts.open_departures), (0, 1));
    let (_, counts) = set_down(Some("accepted"));
    assert_eq!((counts.falls_short, counts.open_departures, counts.accepted_departures), (0, 0, 1));
    let (_, counts) = set_down(Some("refused"));
    assert_eq!(counts.falls_short, 1, "a refused departure is none");
}

/// A limit read only in a research note never decides; entered by someone who holds the standard, it does.
#[test]
fn a_rule_nobody_verified_never_conforms() {
    let mut files = demo();
    files.remove("pack.json");
    let assessed = assess(&files, Some("upper-membrane"));
    let all = lines(&assessed);
    let widths: Vec<_> = all.iter().filter(|line| line.owed == "upper-bond-breaker").collect();
    assert!(!widths.is_empty());
    for line in widths {
        assert_eq!(line.judgement.verdict, Verdict::NotShown);
        assert!(line.judgement.why.contains("rule not verified"), "{}", line.judgement.why);
        assert!(line.judgement.value.is_some() && line.judgement.limit.is_some(), "value and limit stay printed");
    }
}

#[test]
fn a_reading_without_an_uncertainty_decides_nothing() {
    let mut files = demo();
    let text = String::from_utf8(files["readings.csv"].clone()).unwrap().replace(",0.5,M. Okafor", ",,M. Okafor");
    files.insert("readings.csv".into(), text.into_bytes());
    let assessed = assess(&files, Some("primer"));
    let open = with(&assessed, Verdict::NotShown);
    assert!(open.iter().any(|text| text.contains("no uncertainty is given")), "{open:#?}");
}

#[test]
fn guarded_acceptance_asks_for_more_than_simple() {
    let mut files = demo();
    let counts = |files: &Files| assess(files, Some("screed")).assessment.hold_points[4].counts;
    let simple = counts(&files);
    let frame =
        String::from_utf8(files["job.json"].clone()).unwrap().replace(r#"{ "rule": "simple" }"#, r#"{ "rule": "guarded", "risk": 0.05 }"#);
    files.insert("job.json".into(), frame.into_bytes());
    let guarded = counts(&files);
    assert!(guarded.conforms < simple.conforms, "{guarded:?} {simple:?}");
    assert_eq!(simple.conforms + simple.not_shown + simple.falls_short, guarded.conforms + guarded.not_shown + guarded.falls_short);
}

#[test]
fn everything_wrong_in_every_file_is_said_at_once() {
    let mut files = demo();
    let room = String::from_utf8(files["room.json"].clone()).unwrap().replace("\"depth_mm\": 90", "\"depth_mm\": -90");
    files.insert("room.json".into(), room.into_bytes());
    let frame = String::from_utf8(files["job.json"].clone()).unwrap().replace("2024-02-12", "12 February");
    files.insert("job.json".into(), frame.into_bytes());
    files.insert("climate.csv".into(), b"hold_point,air_c,rh\nx,20,0.5\n".to_vec());
    files.insert("plan.json".into(), br#"{"format":"undertile plan-edits 1","preset":"ballroom"}"#.to_vec());
    let problems = Job::read(&files).unwrap_err();
    let found: Vec<&str> = problems.problems.iter().map(|problem| problem.file.as_str()).collect();
    for file in ["room.json", "job.json", "climate.csv", "plan.json"] {
        assert!(found.contains(&file), "{file} in {problems}");
    }
}

/// A slip of form (an unknown word, a field in metres) does not hide what the rest of the room gets wrong.
#[test]
fn slips_of_form_and_of_sense_are_said_together() {
    let mut files = demo();
    let room = String::from_utf8(files["room.json"].clone())
        .unwrap()
        .replace(r#""kind": "shower", "polygon"#, r#""kind": "showr", "polygon"#)
        .replace(r#""height_mm": 2400,"#, r#""height_mm": 2400, "height_m": 2.4,"#)
        .replace("[2350, 1700], [0, 1700]]", "[0, 1700], [2350, 1700]]")
        .replace("\"depth_mm\": 90", "\"depth_mm\": -90")
        .replace("\"x_mm\": 520", "\"x_mm\": 9000");
    files.insert("room.json".into(), room.into_bytes());
    let problems = Job::read(&files).unwrap_err();
    let fields: Vec<&str> = problems.problems.iter().map(|problem| problem.field.as_str()).collect();
    for field in ["zones[0].kind", "height_m", "outline_mm", "recesses[0].depth_mm", "outlets[0]"] {
        assert!(fields.contains(&field), "{field} in {problems}");
    }
    assert!(problems.problems.iter().all(|problem| !problem.right.is_empty()), "{problems}");
}

/// Every quantity the packs put a limit to is asked by the bathroom plan for every kind of detail the rule speaks of, so that
/// no rule is forgotten.
#[test]
fn the_bathroom_plan_asks_for_every_quantity_of_the_packs() {
    let plan = job::plan::preset("bathroom").unwrap();
    let asked: Vec<_> =
        plan.hold_points.iter().flat_map(|hold| &hold.owed).filter_map(|owed| Some((owed.quantity.as_deref()?, &owed.details))).collect();
    let mut missing = Vec::new();
    for rule in rules::Packs::embedded().packs().iter().flat_map(|pack| &pack.rules) {
        let (Some(quantity), false) = (rule.written.quantity.as_deref(), rule.written.status == rules::Status::Reference) else { continue };
        let kinds = &rule.written.details;
        let whole_room = kinds.is_empty() && asked.iter().any(|(q, details)| *q == quantity && details.is_empty());
        let covered = kinds.iter().filter(|kind| asked.iter().any(|(q, details)| *q == quantity && details.contains(kind))).count();
        // A rule that names both the upper edge and the junction below it is asked once, at the upper edge.
        let once =
            kinds.contains(&room::register::DetailKind::UpturnTermination) || quantity == "pond_depth_mm" || quantity == "set_down_mm";
        let needed = if once { 1 } else { kinds.len().max(1) };
        if !whole_room && covered < needed {
            missing.push(format!("{}: {quantity} at {kinds:?}", rule.id));
        }
    }
    assert_eq!(missing, Vec::<String>::new());
}

/// What was released long ago and not covered since must be looked at again, even if everything conformed then.
#[test]
fn a_lapsed_release_is_no_yes() {
    let outcome = r#",{"kind":"outcome","hold_point":"papers","outcome":"released","by":"x","at":"2024-02-01T09:00:00+11:00"}"#;
    let job = Job::read(&papers_job(outcome)).unwrap_or_else(|problems| panic!("{problems}"));
    let at = |now| {
        run(&job, &Options { hold_point: Some("papers"), now: Some(now), drawings: false }).unwrap_or_else(|p| panic!("{p}")).assessment
    };
    assert_eq!(at("2024-02-02T09:00:00+11:00").exit_code, 0);
    let later = at("2024-03-09T09:00:00+11:00");
    assert_eq!(later.exit_code, 3);
    assert!(later.answer.contains("the release lapsed"), "{}", later.answer);
}

/// A digital level and a rule in a puddle are evidence of falls, with or without spot levels.
#[test]
fn gradients_and_ponds_seen_are_evidence_of_falls() {
    let room = SPARSE.replace(r#""x_mm": 450, "y_mm": 1150"#, r#""x_mm": 450, "y_mm": 1150, "radius_mm": 50"#);
    let frame = r#"{"format":"undertile job 1","basis_date":"2024-02-12","building_class":"1","place":{"country":"AU","state":"VIC"}}"#;
    let toward = [
        (0, 150, 1150),
        (0, 250, 1150),
        (180, 650, 1150),
        (180, 760, 1150),
        (90, 450, 800),
        (90, 450, 950),
        (270, 450, 1400),
        (270, 450, 1500),
    ];
    let readings = |percent: f64| {
        let rows =
            toward.iter().flat_map(|(deg, x, y)| (0..3).map(move |k| format!("p,{},{},{deg},{percent},600,0.05\n", x + 10 * k, y + 5 * k)));
        format!("name,x_mm,y_mm,toward_deg,fall_percent,base_mm,u_percent\n{}", rows.collect::<String>())
    };
    let verdict = |texts: &[(&str, &str)]| {
        let all = [&[("room.json", room.as_str()), ("job.json", frame)], texts].concat();
        let assessed = assess(&files(&all), Some("tiling"));
        let line = lines(&assessed).into_iter().find(|line| line.owed == "tiling-fall" && line.details[0].contains("shower")).cloned();
        let line = line.expect("a rule on falls holds here");
        (line.judgement.verdict, line.judgement.why)
    };
    let (right, flat) = (readings(1.6), readings(0.6));
    assert_eq!(verdict(&[]).0, Verdict::NotShown);
    let found = verdict(&[("gradients-tile.csv", &right)]);
    assert_eq!(found.0, Verdict::Conforms, "{}", found.1);
    let found = verdict(&[("gradients-tile.csv", &flat)]);
    assert_eq!(found.0, Verdict::FallsShort, "{}", found.1);
    let pond = r#"{"format":"undertile evidence 1","entries":[{"kind":"pond","layer":"tile","outline_mm":[[100,900],[300,900],[300,1000]],
        "depth_mm":4,"minutes":20,"by":"x","at":"2024-02-20T10:00:00+11:00"}]}"#;
    let found = verdict(&[("gradients-tile.csv", &right), ("evidence.json", pond)]);
    assert_eq!(found.0, Verdict::FallsShort, "{}", found.1);
    assert!(found.1.contains("4 mm deep"), "{}", found.1);
}

/// A level perimeter around one waste that cannot keep both limits is said before anything is built: 1800 x 900 mm with the
/// waste in the middle (published consequence of 1:80 to 1:50, certifier's note, pcgroup.net.au).
#[test]
fn a_shower_that_cannot_keep_both_limits_is_named_beforehand() {
    let room = |width: u32| {
        format!(
            r#"{{"format":"undertile room 1","outline_mm":[[0,0],[{width},0],[{width},900],[0,900]],
            "zones":[{{"id":"shower","kind":"shower","polygon_mm":[[0,0],[{width},0],[{width},900],[0,900]]}}],
            "outlets":[{{"id":"waste","kind":"point","x_mm":{},"y_mm":450,"radius_mm":50}}]}}"#,
            width / 2
        )
    };
    let frame = r#"{"format":"undertile job 1","basis_date":"2024-02-12","building_class":"1","place":{"country":"AU","state":"VIC"}}"#;
    let notes = |width| assess(&files(&[("room.json", &room(width)), ("job.json", frame)]), None).assessment.notes.join("\n");
    assert!(notes(1800).contains("HP 10.2.12"), "{}", notes(1800));
    assert!(!notes(1440).contains("HP 10.2.12"), "ratio 1.6 can: {}", notes(1440));
}

/// Heights over a finished floor that is only foreseen say where it will land; they are no evidence of what was tiled.
#[test]
fn a_foreseen_floor_shows_nothing_about_the_tiled_one() {
    let mut files = demo();
    let verdicts = |files: &Files| {
        let assessed = assess(files, Some("tiling"));
        let of = |line: &&Line| ["tiling-upturns", "tiling-water-stop", "tiling-grate"].contains(&line.owed.as_str());
        lines(&assessed).into_iter().filter(of).map(|line| line.judgement.verdict).collect::<Vec<_>>()
    };
    let foreseen = verdicts(&files);
    assert!(!foreseen.is_empty() && foreseen.iter().all(|verdict| *verdict == Verdict::NotShown), "{foreseen:?}");
    // The same levels, taken on the tile: the tile lies where the screed lay, and everything can be measured from it.
    let levels = files["levels-screed.csv"].clone();
    files.insert("levels-tile.csv".into(), String::from_utf8(levels).unwrap().replace("# layer: screed", "# layer: tile").into_bytes());
    let measured = verdicts(&files);
    assert!(measured.contains(&Verdict::Conforms), "{measured:?}");
}
