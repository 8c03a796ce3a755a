//! Film readings in an assessment: small rooms written here.

use engine::assess::{Assessed, Line, Options, run};
use job::Job;
use job::folder::Files;
use measure::Verdict;

/// A room of 2.0 by 1.6 m with a shower in a corner, a recess over it and one liquid membrane.
const ROOM: &str = r#"{
  "format": "undertile room 1", "name": "small bathroom", "height_mm": 2400,
  "outline_mm": [[0, 0], [2000, 0], [2000, 1600], [0, 1600]],
  "walls": [{"id":"south","edge":1},{"id":"east","edge":2},{"id":"north","edge":3},{"id":"west","edge":4}],
  "openings": [{ "id": "door", "kind": "door", "wall": "south", "from_mm": 600, "width_mm": 720 }],
  "zones": [{ "id": "shower", "kind": "shower", "polygon_mm": [[0, 700], [900, 700], [900, 1600], [0, 1600]], "wall_height_mm": 1900 }],
  "outlets": [{ "id": "waste", "kind": "point", "x_mm": 450, "y_mm": 1150, "radius_mm": 50,
    "flanges": [{ "id": "upper", "membrane": "m", "width_mm": 60 }] }],
  "recesses": [{ "id": "recess", "wall": "north", "from_mm": 1300, "sill_mm": 1080, "width_mm": 400, "height_mm": 300, "depth_mm": 90 }],
  "membranes": [{ "id": "m", "layer": "over-screed", "form": "liquid", "data_sheet": "sheet" }]
}"#;

const SHEET: &str = r#"{"format":"undertile data-sheets 1","sheets":[{"id":"sheet","title":"Invented sheet","form":"liquid",
  "solids_by_volume":0.55,"coats":2,"coat_um_dry":500,"film_um_min":800,"film_um_mean":1000}]}"#;

const COLUMNS: &str = "layer,detail,face,x_mm,y_mm,kind,coat,tool,lo_um,hi_um,value_um,u_um,cut_out,grade,by,at\n";

/// A gauge reading on a detail.
fn gauge(detail: &str, value: f64) -> String {
    format!("over-screed,{detail},,,,dry,,gauge,,,{value},15,,measured,me,2024-02-20T10:00:00+11:00\n")
}

fn gauges(detail: &str, values: &[f64]) -> String {
    values.iter().map(|value| gauge(detail, *value)).collect()
}

/// A gauge reading at a place of a face.
fn at(face: &str, x: f64, y: f64, value: f64) -> String {
    format!("over-screed,,{face},{x},{y},dry,,gauge,,,{value},15,,measured,me,2024-02-20T10:00:00+11:00\n")
}

/// A comb reading in a wet coat.
fn comb(detail: &str, coat: u32, lo: f64, hi: f64) -> String {
    format!("over-screed,{detail},,,,wet,{coat},comb,{lo},{hi},,,,stated,applicator,2024-02-19T10:00:00+11:00\n")
}

fn job(film: &str, more: &[(&str, &str)]) -> Assessed {
    let film = format!("{COLUMNS}{film}");
    let texts = [&[("room.json", ROOM), ("data-sheets.json", SHEET), ("film.csv", film.as_str())], more].concat();
    let files: Files =
        texts.iter().filter(|(_, text)| *text != COLUMNS).map(|(name, text)| (name.to_string(), text.as_bytes().to_vec())).collect();
    let job = Job::read(&files).unwrap_or_else(|problems| panic!("{problems}"));
    run(&job, &Options { hold_point: Some("upper-membrane"), now: None, drawings: true }).unwrap_or_else(|problems| panic!("{problems}"))
}

const GUARDED: (&str, &str) = ("job.json", r#"{"format":"undertile job 1","decision":{"rule":"guarded","risk":0.05}}"#);

fn lines<'a>(assessed: &'a Assessed, owed: &str) -> Vec<&'a Line> {
    assessed.assessment.groups.iter().flat_map(|group| &group.lines).filter(|line| line.owed == owed).collect()
}

/// The film line of one detail, as "verdict: why > next".
fn told(assessed: &Assessed, detail: &str) -> String {
    let all = lines(assessed, "upper-film");
    let own: Vec<_> = all.iter().filter(|line| line.details.iter().any(|id| id == detail)).collect();
    let [line] = own[..] else { panic!("one line of {detail} in {all:#?}") };
    let next = line.next.as_ref().map_or(String::new(), |next| format!(" > {next}"));
    format!("{}: {}{next}", line.judgement.verdict, line.judgement.why)
}

fn says(text: &str, parts: &[&str]) {
    for part in parts {
        assert!(text.contains(part), "{part:?} in\n{text}");
    }
}

const FLOOR: &str = "floor/shower/over-screed";
const SILL: &str = "recess/recess/sill";
const GOOD: [f64; 6] = [1120.0, 1180.0, 1150.0, 1210.0, 1100.0, 1160.0];

#[test]
fn a_recess_sill_one_coat_short_is_found_and_told() {
    let one = told(&job(&(gauges(FLOOR, &GOOD) + &at("recess/recess/sill", 100.0, 30.0, 590.0)), &[]), SILL);
    says(
        &one,
        &[
            "falls short: recess sill: one reading of 590 µm at the front of the sill",
            "at least 1000 µm asked as a mean and 800 µm everywhere",
            "% probability one coat where two were due",
            "next: a gauge reading at the back of the sill",
            "look at the colour of the coats there",
        ],
    );
    let several = told(&job(&(gauges(FLOOR, &GOOD) + &gauges(SILL, &[560.0, 520.0, 590.0])), &[]), SILL);
    says(
        &several,
        &[
            "falls short: recess sill: 3 readings, 520 to 590 µm, at least 1000 µm asked",
            "with 99 % probability one coat where two were due",
        ],
    );
}

#[test]
fn too_few_readings_are_not_shown_and_the_next_place_is_named() {
    let two = told(&job(&gauges(FLOOR, &GOOD[..2]), &[]), FLOOR);
    says(
        &two,
        &["not shown: floor, shower: 2 readings, 1120 to 1180 µm", "too few, 3 wanted", "> next: a gauge reading at (", "mm on the plan"],
    );
    let none = job("", &[]);
    says(&told(&none, FLOOR), &["not shown: floor, shower: no film reading", "3 readings wanted; next: a gauge or cut-out reading at ("]);
    says(&told(&none, "wall/north/shower/over-screed"), &["from its right end and", "mm up"]);
    says(&told(&job(&gauges(FLOOR, &GOOD[..3]), &[]), FLOOR), &["conforms: floor, shower: 3 readings, 1120 to 1180 µm; mean"]);
}

/// What few or odd readings make of a stratum.
#[test]
fn odd_readings_have_sane_answers() {
    let floor = |film: &str| told(&job(film, &[]), FLOOR);
    says(&floor(&gauges(FLOOR, &[1150.0; 4])), &["conforms: floor, shower: 4 readings, all 1150 µm"]);
    let high = floor(&gauges(FLOOR, &[1150.0, 1120.0, 1160.0, 1140.0, 1130.0, 7000.0]));
    says(&high, &["not shown", "1120 to 7000 µm"]);
    let low = floor(&gauges(FLOOR, &[1150.0, 1120.0, 1160.0, 1140.0, 1130.0, 100.0]));
    says(&low, &["falls short: floor, shower: of 6 readings one of 100 µm"]);
    let near = floor(&gauges(FLOOR, &[1150.0, 1120.0, 1160.0, 1140.0, 1130.0, 790.0]));
    says(&near, &["falls short", "790 µm"]);
    let guarded = told(&job(&gauges(FLOOR, &[1150.0, 1120.0, 1160.0, 1140.0, 1130.0, 790.0]), &[GUARDED]), FLOOR);
    says(&guarded, &["not shown", "one of 790 µm", "it may lie on either side"]);
}

#[test]
fn guarded_acceptance_asks_for_more_than_simple() {
    let film = gauges(FLOOR, &[1010.0, 1060.0, 1000.0, 1050.0, 1020.0]);
    says(&told(&job(&film, &[]), FLOOR), &["conforms", "inside the limit, not proved to 95 %"]);
    let guarded = told(&job(&film, &[GUARDED]), FLOOR);
    says(&guarded, &["not shown", "straddles the limit", "more would settle it"]);
}

/// Wet readings by comb, all in one bracket: judged when every coat was read, and said to be the applicator's.
#[test]
fn wet_readings_of_every_coat_are_judged_on_their_sum() {
    let coat = |number: u32| -> String { (0..3).map(|_| comb(FLOOR, number, 1000.0, 1100.0)).collect() };
    let both = job(&(coat(1) + &coat(2)), &[]);
    says(
        &told(&both, FLOOR),
        &["conforms: floor, shower: wet film of every coat (coat 1, 3 readings, 10", "µm wet), 11", "dry by the stated solids"],
    );
    let line = lines(&both, "upper-film").into_iter().find(|line| line.details.contains(&FLOOR.to_string())).unwrap();
    assert_eq!(line.judgement.grade, Some(measure::Grade::Stated));
    let first = told(&job(&coat(1), &[]), FLOOR);
    says(&first, &["not shown: floor, shower: wet readings of coat 1 only", "next: a gauge or cut-out reading"]);
    let thin: String = [1, 2].iter().flat_map(|number| (0..3).map(|_| comb(FLOOR, *number, 500.0, 600.0))).collect();
    says(&told(&job(&thin, &[]), FLOOR), &["falls short", "µm dry by the stated solids"]);
    let dry_beside = told(&job(&(coat(1) + &coat(2) + &gauges(FLOOR, &[600.0, 620.0, 590.0])), &[]), FLOOR);
    says(&dry_beside, &["falls short: floor, shower: 3 readings, 590 to 620 µm"]);
    // Thinner in the log makes less of the same wet film: 0.55 / 1.3 of it.
    let log = r#"{"format":"undertile coats 1","coats":[{"id":"a","layer":"over-screed","number":2,"by":"x","start":"2024-02-19T09:00:00+11:00",
        "areas":[{"details":["floor/*"]}],"thinning":0.3}]}"#;
    says(&told(&job(&(coat(1) + &coat(2)), &[("coats.json", log)]), FLOOR), &["µm wet), 10"]);
}

#[test]
fn a_comb_at_a_flange_counts_for_nothing() {
    let film = gauges(FLOOR, &GOOD) + &comb("outlet/waste/upper/over-screed", 2, 100.0, 200.0);
    let plan = r#"{"format":"undertile plan-edits 1","more":[{"hold_point":"upper-membrane","owed":{"id":"flange-film","details":["outlet-flange"],
        "evidence":"measured","quantity":"film_um","right":"film at the flange"}}]}"#;
    let flange = flange_id();
    let film = film.replace("outlet/waste/upper/over-screed", &flange);
    let assessed = job(&film, &[]);
    let notes = assessed.assessment.notes.join("\n");
    says(&notes, &["film.csv:8: a comb's reading at", "counts for nothing: a comb serves the field only", "a cut-out must be patched"]);
    assert!(lines(&assessed, "upper-film").iter().all(|line| !line.details.contains(&flange)), "it is not owed there");
    let owed = job(&film, &[("plan.json", plan)]);
    let line = lines(&owed, "flange-film")[0];
    assert_eq!(line.judgement.verdict, Verdict::NotShown);
    says(&line.judgement.why, &["a comb serves the field only", "the colour of each coat, reinforcement seen, a photograph or a cut-out"]);
}

/// The outlet's flange as the register names it.
fn flange_id() -> String {
    let files: Files =
        [("room.json", ROOM), ("data-sheets.json", SHEET)].map(|(name, text)| (name.into(), text.as_bytes().to_vec())).into();
    let job = Job::read(&files).unwrap_or_else(|problems| panic!("{problems}"));
    job.register
        .iter()
        .find(|detail| detail.id.starts_with("outlet/waste") && detail.layer.is_some())
        .expect("the outlet has a flange")
        .id
        .clone()
}

/// One thin reading on one wall is that wall's; the other wall of the stratum keeps the stratum's verdict.
#[test]
fn a_short_reading_falls_short_where_it_was_taken() {
    let good: String = GOOD.iter().enumerate().map(|(i, value)| at("north", 1250.0 + 100.0 * i as f64, 600.0, *value)).collect();
    let assessed = job(&(good + &at("west", 300.0, 1500.0, 700.0)), &[]);
    says(
        &told(&assessed, "wall/west/shower/over-screed"),
        &["falls short: walls, shower: of 7 readings one of 700 µm on wall west, 300 mm from its right end and 1500 mm up"],
    );
    let north = told(&assessed, "wall/north/shower/over-screed");
    assert!(!north.starts_with("falls short"), "{north}");
}

/// What nobody owes is not lost when it is short, and troubles nobody when it is not.
#[test]
fn a_short_reading_at_a_junction_surfaces() {
    let junction = "junction/west/shower/over-screed";
    let film = |value| gauges(FLOOR, &GOOD) + &gauge(junction, value);
    says(&told(&job(&film(500.0), &[]), junction), &["falls short: junctions, shower: one reading of 500 µm"]);
    let fine = job(&film(1100.0), &[]);
    assert!(lines(&fine, "upper-film").iter().all(|line| !line.details.iter().any(|id| id == junction)));
}

#[test]
fn a_cut_out_opens_a_patch_that_must_be_closed() {
    let film = gauges(FLOOR, &GOOD) + "over-screed,,floor,300,1400,dry,,cut-out,,,1130,15,C1,measured,me,2024-02-20T10:00:00+11:00\n";
    let closed = |photographs: &str, grade: &str| {
        format!(
            r#"{{"format":"undertile evidence 1","entries":[{{"kind":"patch-closed","cut_out":"C1","by":"x","at":"2024-02-21T10:00:00+11:00","grade":"{grade}","photographs":[{photographs}]}}]}}"#
        )
    };
    let patch = |evidence: Option<String>| {
        let more: Vec<(&str, &str)> = evidence.iter().map(|text| ("evidence.json", text.as_str())).collect();
        let assessed = job(&film, &more);
        let [line] = lines(&assessed, "upper-patches")[..] else { panic!("one patch") };
        format!("{}: {} > {}", line.judgement.verdict, line.judgement.why, line.next.clone().unwrap_or_default())
    };
    assert!(lines(&job(&gauges(FLOOR, &GOOD), &[]), "upper-patches").is_empty(), "nothing cut, nothing owed");
    says(
        &patch(None),
        &["not shown: cut-out C1 at (300, 1400) mm on the plan is open", "> close the patch of cut-out C1", "and photograph it"],
    );
    says(&patch(Some(closed("", "seen"))), &["not shown", "no photograph of it", "> photograph the patch"]);
    says(&patch(Some(closed("\"a.jpg\"", "stated"))), &["not shown", "the plan asks that the inspector sees it"]);
    says(&patch(Some(closed("\"a.jpg\"", "seen"))), &["conforms: the patch of cut-out C1 was closed, seen by x"]);
}

#[test]
fn drawings_have_every_reading_and_a_map_where_there_are_many() {
    let few = job(&(gauges(FLOOR, &GOOD) + &at("recess/recess/sill", 100.0, 30.0, 590.0)), &[]);
    let [film] = &few.film[..] else { panic!("one membrane") };
    assert_eq!((film.readings.len(), film.map.is_none(), film.limit_um), (7, true, Some(800.0)));
    assert_eq!(film.readings.iter().filter(|dot| dot.short).count(), 1);
    assert!(film.readings[6].placed && !film.readings[0].placed);
    let sill = film.strata.iter().find(|stratum| stratum.words == "recess sill").unwrap();
    assert!(sill.prob_one_coat_short.unwrap() > 0.8 && sill.details == [SILL]);
    let unread = film.strata.iter().find(|stratum| stratum.words == "recess faces but the sill").unwrap();
    assert_eq!((unread.n, unread.mean_um, unread.verdict), (0, None, measure::Verdict::NotShown), "owed, and in the list");
    assert!(film.strata.iter().all(|stratum| stratum.n > 0 || !stratum.words.contains("junctions")), "not owed, not in the list");
    let mean = film.mean.unwrap();
    assert!((1000.0..1200.0).contains(&mean.dry_um.value()) && mean.readings == 7, "the floor outweighs the sill: {mean:?}");
    // A scan: thick by the north wall, thin by the door.
    let many: String = (0..64)
        .map(|i| {
            let (x, y) = (100.0 + 250.0 * f64::from(i % 8), 80.0 + 190.0 * f64::from(i / 8));
            at("floor", x, y, 700.0 + 0.4 * y + 30.0 * f64::from(i * 7 % 5))
        })
        .collect();
    let scanned = job(&many, &[]);
    let map = scanned.film[0].map.as_ref().unwrap_or_else(|| panic!("{:?}", scanned.film[0].notes));
    let floor = map.faces.iter().find(|grid| grid.face == room::register::Face::Floor).unwrap();
    let cell = |x: f64, y: f64| {
        let k = ((y - floor.y0_mm) / floor.cell_mm).round() as usize * floor.nx + ((x - floor.x0_mm) / floor.cell_mm).round() as usize;
        floor.value_um[k].zip(floor.prob_below[k]).unwrap()
    };
    let ((thick, sure), (thin, doubt)) = (cell(1400.0, 1500.0), cell(1400.0, 100.0));
    assert!(thick > 1250.0 && thin < 900.0 && sure < 0.01 && doubt > 0.05, "{thick} {sure}, {thin} {doubt}");
    assert!(map.faces.len() > 3, "over the corners of the room");
}

/// A limit agreed for the project stands beside the data sheet's; each is judged for itself.
#[test]
fn a_rule_of_the_project_is_judged_beside_the_data_sheet() {
    let pack = r#"{"format":"undertile pack 1","id":"project","title":"test","rules":[{"id":"film","title":"dry film at least 600 µm on the floor",
        "quantity":"film_um","unit":"um","details":["floor-field"],"limit":{"at_least":600},"status":"practice",
        "verified_by":{"by":"a test","edition":"agreement","clause":"1","page":"1","date":"2024-02-01"},
        "cases":[{"value":590,"expect":"falls short"},{"value":600,"expect":"conforms"},{"value":610,"expect":"conforms"},{"expect":"not shown"}]}]}"#;
    let assessed = job(&gauges(FLOOR, &[720.0, 760.0, 740.0, 750.0]), &[("pack.json", pack)]);
    let all = lines(&assessed, "upper-film");
    let of_floor = all.iter().filter(|line| line.details.contains(&FLOOR.to_string()));
    let verdicts: Vec<_> = of_floor.map(|line| (line.judgement.rule.contains("film"), line.judgement.verdict)).collect();
    assert_eq!(verdicts, [(false, Verdict::FallsShort), (true, Verdict::Conforms)], "{all:#?}");
}
