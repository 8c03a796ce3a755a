//! Film readings, coat log and photographs: what is read, and what is refused with what would be right.

use film::thickness::{Kind, Tool};
use job::coats::Amount;
use job::{Files, Job};
use measure::Problems;
use room::register::Face;

const ROOM: &str = r#"{
  "format": "undertile room 1", "outline_mm": [[0, 0], [2000, 0], [2000, 1500], [0, 1500]], "height_mm": 2400,
  "walls": [{"id": "south", "edge": 1}, {"id": "east", "edge": 2}, {"id": "north", "edge": 3}, {"id": "west", "edge": 4}],
  "openings": [{"id": "door", "kind": "door", "wall": "south", "from_mm": 1200, "width_mm": 700, "height_mm": 2040}],
  "zones": [{"id": "shower", "kind": "shower", "polygon_mm": [[0, 600], [900, 600], [900, 1500], [0, 1500]]}],
  "outlets": [{"id": "waste", "kind": "point", "x_mm": 400, "y_mm": 1000, "radius_mm": 55}],
  "recesses": [{"id": "niche", "wall": "north", "from_mm": 1300, "sill_mm": 1000, "width_mm": 400, "height_mm": 300, "depth_mm": 90}],
  "membranes": [
    {"id": "lower", "layer": "under-screed", "form": "liquid", "data_sheet": "liquid", "covers": [{"on": "floor"}]},
    {"id": "upper", "layer": "over-screed", "form": "liquid", "data_sheet": "liquid", "covers": [
      {"on": "floor"}, {"on": "niche"}, {"on": "north", "top_mm": {"value": 1900, "u": 3}}, {"on": "west", "top_mm": {"value": 110, "u": 2}}]}
  ]
}"#;

const SHEETS: &str = r#"{"format": "undertile data-sheets 1", "sheets": [{"id": "liquid", "title": "Liquid membrane", "coats": 2,
  "film_acceptance": {"rule": "minimum-and-mean", "minimum_um": 800, "mean_um": 1000}, "coat_um_dry": 550, "density_kg_l": 1.4,
  "thinning_max": 0.05, "primer_m2_per_l": 6}]}"#;

const FILM: &str = "\
layer,detail,face,x_mm,y_mm,kind,coat,tool,lo_um,hi_um,value_um,u_um,plus_minus_um,spot,cut_out,grade,by,at
over-screed,,floor,300,900,wet,2,comb,800,1000,,75,,,,,A,2024-03-06T10:00:00+11:00
over-screed,,floor,700,900,wet,,comb,,200,,,,,,,A,2024-03-06T10:00:00+11:00
over-screed,,north,1900,600,,,gauge,,,1105,,60,a,,,A,2024-03-08T10:00:00+11:00
over-screed,recess/niche/sill,,,,,,cut-out,,,590,50,,,C1,,A,2024-03-08T10:00:00+11:00
";

const COATS: &str = r#"{"format": "undertile coats 1",
  "deliveries": [
    {"id": "P1", "what": "primer", "litres": 4},
    {"id": "M1", "what": "membrane", "data_sheet": "liquid", "batch": "7790", "expiry": "2024-11-30", "colour": "grey", "litres": 15},
    {"id": "T1", "what": "bond-breaker", "m": 50, "width_mm": 75}],
  "coats": [
    {"id": "prime", "layer": "over-screed", "what": "primer", "number": 1, "by": "A", "start": "2024-03-05T16:00:00+11:00",
      "areas": [{"details": ["*"]}], "batches": ["P1"]},
    {"id": "first", "layer": "over-screed", "number": 1, "by": "A", "licence": "X 1", "start": "2024-03-06T09:30:00+11:00",
      "end": "2024-03-06T11:00:00+11:00", "areas": [{"details": ["floor/*"]}, {"on": "north", "polygon_mm": [[0, 0], [2000, 0], [2000, 1900], [0, 1900]]}],
      "colour": "grey", "batches": ["M1"], "thinning": 0.03, "strokes": "along-x", "photographs": ["a.jpg"]}],
  "used": [{"id": "all", "coats": ["first"], "opening_l": 2, "delivered_l": 15, "closing_l": 9.5, "how": "weighed", "loss_share": 0.05}]
}"#;

const PHOTOGRAPHS: &str = r#"{"format": "undertile photographs 1", "photographs": [
  {"file": "north.png", "on": "north", "layer": "over-screed", "coat": "first", "stage": "upper-membrane", "by": "A", "at": "2024-03-06T11:10:00+11:00",
    "points": [{"x_px": 10, "y_px": 900, "x_mm": 0, "y_mm": 0}, {"x_px": 1500, "y_px": 905, "x_mm": 2000, "y_mm": 0},
               {"x_px": 1490, "y_px": 20, "x_mm": 2000, "y_mm": 1900}, {"x_px": 15, "y_px": 25, "x_mm": 0, "y_mm": 1900}]},
  {"file": "a.tif", "on": "floor", "by": "A", "at": "2024-03-06T11:10:00+11:00"}]}"#;

const EVIDENCE: &str = r#"{"format": "undertile evidence 1", "entries": [
  {"kind": "patch-closed", "cut_out": "C1", "by": "A", "at": "2024-03-09T10:00:00+11:00", "grade": "photographed", "photographs": ["p.jpg"]}]}"#;

fn files() -> Files {
    let files = [
        ("room.json", ROOM),
        ("data-sheets.json", SHEETS),
        ("film.csv", FILM),
        ("coats.json", COATS),
        ("photographs.json", PHOTOGRAPHS),
        ("evidence.json", EVIDENCE),
        ("north.png", "bytes of a picture"),
        ("a.tif", ""),
    ];
    files.into_iter().map(|(name, text)| (name.to_owned(), text.as_bytes().to_vec())).collect()
}

/// The folder with one text in one file put in place of another.
fn spoilt(file: &str, from: &str, to: &str) -> Result<Job, Problems> {
    let mut files = files();
    let text = String::from_utf8(files[file].clone()).expect("the files above are text");
    assert!(text.contains(from), "{file} has no {from:?}");
    files.insert(file.into(), text.replacen(from, to, 1).into_bytes());
    Job::read(&files)
}

#[test]
fn a_whole_folder_is_read() {
    let job = Job::read(&files()).unwrap_or_else(|problems| panic!("{problems}"));
    let details: Vec<&str> = job.film.iter().map(|reading| reading.detail.as_str()).collect();
    assert_eq!(details, ["floor/shower/over-screed", "floor/shower/over-screed", "wall/north/shower/over-screed", "recess/niche/sill"]);
    let kinds: Vec<Kind> = job.film.iter().map(|reading| reading.kind).collect();
    assert_eq!(kinds, [Kind::Wet, Kind::Wet, Kind::Dry, Kind::Dry]);
    assert_eq!((job.film[0].lo_um, job.film[0].hi_um, job.film[0].u_um), (Some(800.0), Some(1000.0), Some(75.0)));
    assert_eq!((job.film[1].lo_um, job.film[1].hi_um, job.film[1].coat), (None, Some(200.0), None));
    assert_eq!((job.film[2].value_um, job.film[2].u_um), (Some(1105.0), Some(30.0)), "an expanded uncertainty is halved");
    assert_eq!(job.film[2].place.as_ref().unwrap().face, Face::Wall("north".into()));
    assert_eq!((job.film[3].tool, job.film[3].cut_out.as_deref()), (Some(Tool::CutOut), Some("C1")));
    assert_eq!(job.coats.used[0].amount(), Some(Amount::Litres(7.5)));
    assert_eq!(job.pictures.keys().collect::<Vec<_>>(), ["north.png"]);
    assert_eq!(job.notes, ["one wet film reading does not say in which coat it was taken"]);
    assert!(job.unread.is_empty(), "{:?}", job.unread);
}

/// File, what is put in place of what, and words of the problem: place, what is wrong, what would be right.
#[test]
fn what_is_wrong_is_named_with_what_would_be_right() {
    let table: &[(&str, &str, &str, &[&str])] = &[
        // film readings
        ("film.csv", "over-screed,,floor,300", "overscreed,,floor,300", &["film.csv:2", "layer", "under-screed or over-screed"]),
        ("film.csv", "over-screed,,floor,300", ",,floor,300", &["film.csv:2", "no layer"]),
        ("film.csv", "recess/niche/sill", "recess/nihce/sill", &["film.csv:5", "did you mean recess/niche/sill?"]),
        ("film.csv", "over-screed,recess", "under-screed,recess", &["film.csv:5", "the other membrane"]),
        ("film.csv", "north,1900,600", "nroth,1900,600", &["film.csv:4", "did you mean north?"]),
        ("film.csv", "north,1900,600", "nowhere,1900,600", &["film.csv:4", "recess/<its id>"]),
        ("film.csv", "floor,300,900", "floor,300,9000", &["film.csv:2", "outside the face"]),
        ("film.csv", "north,1900,600", "north,1500,1150", &["film.csv:4", "mouth of a recess"]),
        ("film.csv", "north,1900,600", "north,1900,2200", &["film.csv:4", "no field of that membrane"]),
        ("film.csv", "over-screed,,north", "under-screed,,north", &["film.csv:4", "no field of that membrane"]),
        ("film.csv", ",,floor,300,900", ",floor/shower/over-screed,floor,1700,300", &["film.csv:2", "outside that field"]),
        ("film.csv", "floor,300,900", "floor,300,", &["film.csv:2", "y_mm", "together"]),
        ("film.csv", ",floor,300,900", ",,,", &["film.csv:2", "nothing says where"]),
        ("film.csv", "800,1000,,75", "1000,1000,,75", &["film.csv:2", "hi_um", "more than 1000 µm"]),
        ("film.csv", "800,1000,,75", "800,1000,900,75", &["film.csv:2", "a value beside a bracket"]),
        ("film.csv", "800,1000,,75", ",,,75", &["film.csv:2", "nothing was read"]),
        ("film.csv", "800,1000,,75", ",,900,75", &["film.csv:2", "a comb gives no value"]),
        ("film.csv", "800,1000,,75", "-800,1000,,75", &["film.csv:2", "lo_um", "between 0 and"]),
        ("film.csv", "800,1000,,75", "800,1000,,-75", &["film.csv:2", "u_um"]),
        ("film.csv", "800,1000,,75", "NaN,inf,,75", &["film.csv:2", "lo_um", "hi_um"]),
        ("film.csv", "1105,,60", "1105,30,60", &["film.csv:4", "twice"]),
        ("film.csv", "wet,2,comb", "dry,,comb", &["film.csv:2", "kind", "comb"]),
        ("film.csv", "wet,2,comb", "wet,1.5,comb", &["film.csv:2", "coat", "whole"]),
        ("film.csv", "wet,2,comb", "wet,11,comb", &["film.csv:2", "coat", "between 1 and 10"]),
        ("film.csv", ",,,gauge", ",,2,gauge", &["film.csv:4", "coat", "read through every coat"]),
        ("film.csv", "gauge", "gage", &["film.csv:4", "tool", "comb, gauge or cut-out"]),
        ("film.csv", ",C1,", ",,", &["film.csv:5", "no name"]),
        ("film.csv", ",a,,,A", ",a,C1,,A", &["film.csv:5", "another cut-out of that name"]),
        ("film.csv", "2024-03-06T10:00:00+11:00", "2024-03-06 10:00", &["film.csv:2", "at", "offset"]),
        ("film.csv", "plus_minus_um", "plusminus_mm", &["film.csv:1", "did you mean plus_minus_um?"]),
        ("film.csv", "layer,", "", &["film.csv"]),
        // coats
        ("coats.json", "\"undertile coats 1\"", "\"undertile coats 2\"", &["coats.json", "format"]),
        ("coats.json", "\"id\": \"M1\"", "\"id\": \"P1\"", &["deliveries[1].id", "the same name as deliveries[0]"]),
        ("coats.json", "\"id\": \"first\"", "\"id\": \"prime\"", &["coats[1].id", "the same name as coats[0]"]),
        ("coats.json", "\"id\": \"first\"", "\"id\": \" \"", &["coats[1].id", "no name"]),
        ("coats.json", "[\"first\"]", "[\"frist\"]", &["used[0].coats[0]", "did you mean first?"]),
        ("coats.json", "[\"first\"]", "[\"first\", \"first\"]", &["used[0].coats[1]", "named twice"]),
        ("coats.json", "[\"first\"]", "[]", &["used[0].coats", "names no coat"]),
        ("coats.json", "[\"M1\"]", "[\"M2\"]", &["coats[1].batches[0]", "did you mean M1?"]),
        ("coats.json", "[\"M1\"]", "[\"P1\"]", &["coats[1].batches[0]", "a delivery of membrane"]),
        ("coats.json", "[\"P1\"]", "[\"T1\"]", &["coats[0].batches[0]", "a delivery of primer"]),
        ("coats.json", "\"data_sheet\": \"liquid\"", "\"data_sheet\": \"liqiud\"", &["deliveries[1].data_sheet", "did you mean liquid?"]),
        ("coats.json", "2024-11-30", "2024-11-31", &["deliveries[1].expiry", "not a date"]),
        ("coats.json", "2024-11-30", "11/2024", &["deliveries[1].expiry", "its last day"]),
        ("coats.json", "\"litres\": 15", "\"litres\": -15", &["deliveries[1].litres"]),
        ("coats.json", "2024-03-06T09:30:00+11:00", "2024-03-06T09:30:00", &["coats[1].start", "offset"]),
        ("coats.json", "2024-03-06T11:00:00+11:00", "2024-03-06T11:00:00+14:00", &["coats[1].end", "before it starts"]),
        ("coats.json", "\"number\": 1, \"by\": \"A\", \"licence\"", "\"number\": 0, \"by\": \"A\", \"licence\"", &["coats[1].number"]),
        ("coats.json", "[\"floor/*\"]", "[\"flor/*\"]", &["coats[1].areas[0].details[0]", "no detail"]),
        ("coats.json", "[\"floor/*\"]", "[\"floor/shower/under-screed\"]", &["coats[1].areas[0].details[0]", "the other membrane"]),
        ("coats.json", "{\"details\": [\"floor/*\"]}", "{}", &["coats[1].areas[0]", "either details, or on and polygon_mm"]),
        (
            "coats.json",
            "{\"details\": [\"floor/*\"]}",
            "{\"details\": [\"floor/*\"], \"on\": \"floor\"}",
            &["coats[1].areas[0]", "both ways"],
        ),
        ("coats.json", "\"on\": \"north\"", "\"on\": \"nort\"", &["coats[1].areas[1].on", "did you mean north?"]),
        ("coats.json", "\"on\": \"north\", ", "", &["coats[1].areas[1].on", "missing"]),
        (
            "coats.json",
            "[[0, 0], [2000, 0], [2000, 1900]",
            "[[0, 0], [2100, 0], [2000, 1900]",
            &["coats[1].areas[1].polygon_mm", "beyond its face"],
        ),
        (
            "coats.json",
            "[2000, 0], [2000, 1900], [0, 1900]",
            "[2000, 1900], [2000, 0], [0, 1900]",
            &["coats[1].areas[1].polygon_mm", "cross"],
        ),
        ("coats.json", "[2000, 0], [2000, 1900], [0, 1900]", "[2000, 0]", &["coats[1].areas[1].polygon_mm", "too few corners"]),
        ("coats.json", "\"thinning\": 0.03", "\"thinning\": 3", &["coats[1].thinning"]),
        ("coats.json", "\"along-x\"", "\"crosswise\"", &["coats[1].strokes", "along-x"]),
        ("coats.json", "\"closing_l\": 9.5", "\"closing_l\": 17.5", &["used[0].closing_l", "more is left than there was", "at most 17 L"]),
        ("coats.json", "\"closing_l\": 9.5, ", "", &["used[0]", "stock before or after is missing"]),
        ("coats.json", "\"opening_l\": 2", "\"opening_l\": -2", &["used[0].opening_l"]),
        ("coats.json", "\"opening_l\": 2", "\"opening_l\": 2, \"litres\": 7", &["used[0]", "more than one way"]),
        ("coats.json", "\"opening_l\": 2, \"delivered_l\": 15, \"closing_l\": 9.5", "\"loss_share\": 0", &["coats.json", "stands twice"]),
        ("coats.json", "\"opening_l\": 2, \"delivered_l\": 15, \"closing_l\": 9.5, ", "", &["used[0]", "nothing says how much"]),
        ("coats.json", "\"opening_l\": 2", "\"opening_pails\": 2", &["used[0].pail_l", "the litres of one pail"]),
        (
            "coats.json",
            "\"opening_l\": 2",
            "\"opening_l\": 2, \"opening_pails\": 2, \"pail_l\": 15",
            &["opening_pails", "in litres and in pails"],
        ),
        ("coats.json", "\"weighed\"", "\"guessed\"", &["used[0].how", "weighed"]),
        // photographs
        ("photographs.json", "\"on\": \"floor\"", "\"on\": \"ceiling\"", &["photographs[1].on", "no such face"]),
        ("photographs.json", "\"coat\": \"first\"", "\"coat\": \"second\"", &["photographs[0].coat", "no such coat"]),
        ("photographs.json", "\"upper-membrane\"", "\"uppermost\"", &["photographs[0].stage", "no such hold point"]),
        (
            "photographs.json",
            "\"a.tif\", \"on\": \"floor\"",
            "\"north.png\", \"on\": \"north\"",
            &["photographs[1].file", "photographs[0]"],
        ),
        ("photographs.json", "\"a.tif\"", "\"../a.tif\"", &["photographs[1].file", "without path"]),
        (
            "photographs.json",
            "\"x_mm\": 2000, \"y_mm\": 0",
            "\"x_mm\": 3000, \"y_mm\": 0",
            &["photographs[0].points[1]", "outside the face"],
        ),
        ("photographs.json", "\"x_mm\": 2000, \"y_mm\": 0", "\"x_mm\": 0, \"y_mm\": 0", &["photographs[0].points[1]", "points[0]"]),
        (
            "photographs.json",
            ",\n               {\"x_px\": 1490, \"y_px\": 20, \"x_mm\": 2000, \"y_mm\": 1900}",
            "",
            &["photographs[0].points", "four or more"],
        ),
        // patches
        ("evidence.json", "\"C1\"", "\"C2\"", &["entries[0].cut_out", "did you mean C1?"]),
        ("evidence.json", "2024-03-09", "2024-03-07", &["entries[0].at", "before it was opened"]),
        ("evidence.json", "\"photographed\"", "\"certified\"", &["entries[0].grade"]),
        // data sheet
        ("data-sheets.json", "\"minimum_um\": 800", "\"minimum_um\": 0", &["film_acceptance.minimum_um"]),
        ("data-sheets.json", "\"minimum-and-mean\"", "\"mean\"", &["film_acceptance"]),
        ("data-sheets.json", "\"density_kg_l\": 1.4", "\"density_kg_l\": 1400", &["density_kg_l", "between 0.5 and 5"]),
        ("data-sheets.json", "\"thinning_max\": 0.05", "\"thinning_max\": 5", &["thinning_max"]),
    ];
    let mut silent = Vec::new();
    for (file, from, to, words) in table {
        let said = spoilt(file, from, to).err().map(|problems| problems.to_string()).unwrap_or_default();
        for word in words.iter().filter(|word| !said.contains(**word)) {
            silent.push(format!("{file}: {from:?} -> {to:?}: no {word:?} in: {said}"));
        }
    }
    assert!(silent.is_empty(), "{}", silent.join("\n"));
}
