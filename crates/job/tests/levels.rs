//! Level files as a site person writes them, and what comes of them.

use job::levels::{Options, Survey, UFrom, read};
use proptest::prelude::*;
use room::nouns::LayerKind;

fn survey(text: &str) -> Survey {
    read("levels.csv", text.as_bytes(), &Options::default()).unwrap_or_else(|problems| panic!("{problems}\n{text}"))
}

fn problems(text: &str) -> String {
    read("levels.csv", text.as_bytes(), &Options::default()).expect_err(text).to_string()
}

/// Heights as "A -12.5, B -4".
fn heights(survey: &Survey) -> String {
    let tidy = |mm: f64| (mm * 1000.0).round() / 1000.0;
    survey.readings.iter().map(|r| format!("{} {}", r.name, tidy(r.z_mm))).collect::<Vec<_>>().join(", ")
}

#[test]
fn the_same_floor_in_every_way_people_write_it() {
    for (what, text) in [
        ("levels up, in mm", "name,x,y,height\nA,100,200,-12.7\nB,900,200,-25.4\n"),
        ("columns in another order, other words", "Level mm;Point no.;Northing;Easting\n-12,7;A;200;100\n-25,4;B;200;900\n"),
        ("metres, tabs", "name\tx [m]\ty [m]\tlevel [m]\nA\t0.1\t0.2\t-0.0127\nB\t0.9\t0.2\t-0.0254\n"),
        ("centimetres by a comment", "# unit: cm\nname;x;y;z\nA;10;20;-1,27\nB;90;20;-2,54\n"),
        ("staff down from the beam", "name;x;y;staff\nBM;;;1000\nA;100;200;1012,7\nB;900;200;1025,4\n"),
        ("staff in metres, plan in mm", "name,x (mm),y (mm),staff (m)\nBM,,,1.0000\nA,100,200,1.0127\nB,900,200,1.0254\n"),
        ("staff in inches with fractions", "name,x_mm,y_mm,staff_in\nBM,,,39 1/2\nA,100,200,40\nB,900,200,40-1/2\n"),
        ("staff in sixteenths", "name,x_mm,y_mm,staff 1/16 in\nBM,,,632\nA,100,200,640\nB,900,200,648\n"),
        ("feet and inches", "name,x_mm,y_mm,rod\nBM,,,3' 3 1/2\"\nA,100,200,3' 4\"\nB,900,200,3' 4 1/2\"\n"),
        ("a benchmark of known level", "name;x;y;staff;known\ndoor sill;;;900;100\nA;100;200;1012,7;\nB;900;200;1025,4;\n"),
        ("decimal commas in quotes", "name,x,y,staff\nBM,,,\"1000,0\"\nA,100,200,\"1012,7\"\nB,900,200,\"1025,4\"\n"),
    ] {
        let survey = survey(text);
        assert_eq!(heights(&survey), "A -12.7, B -25.4", "{what}");
        assert!((survey.readings[1].x_mm - 900.0).abs() < 1e-9 && (survey.readings[1].y_mm - 200.0).abs() < 1e-9, "{what}");
    }
}

#[test]
fn a_spreadsheet_in_utf_16_is_read() {
    let text = "name\tx\ty\tstaff\r\nBM\t\t\t1000\r\nA\t100\t200\t1012,7\r\n";
    let bytes: Vec<u8> = format!("\u{feff}{text}").encode_utf16().flat_map(u16::to_le_bytes).collect();
    assert_eq!(heights(&read("levels.csv", &bytes, &Options::default()).unwrap()), "A -12.7");
}

#[test]
fn the_uncertainty_comes_from_the_best_there_is() {
    let rows = "A,0,0,10\nB,500,0,12\nC,0,500,11\n";
    let of = |head: &str, options: Options| {
        let survey = read("levels.csv", format!("{head}\n{rows}").as_bytes(), &options).unwrap();
        (survey.u_from, (survey.readings[0].u_mm * 1000.0).round() / 1000.0, survey.notes.iter().any(|note| note.contains("assumed")))
    };
    let plain = Options::default();
    let tile = Options { layer: Some(LayerKind::Tile), ..plain };
    assert_eq!(of("name,x,y,level", plain), (UFrom::Assumed, 0.75, true));
    assert_eq!(of("name,x,y,level", tile), (UFrom::Assumed, 0.5, true));
    assert_eq!(of("# layer: tile\nname,x,y,level", plain), (UFrom::Assumed, 0.5, true));
    assert_eq!(of("# ±: 0.8 mm\nname,x,y,level", tile), (UFrom::File, 0.4, false));
    assert_eq!(of("# u: 0.3 mm\nname,x,y,level", tile), (UFrom::File, 0.3, false));
    assert_eq!(of("# u: 0.3 mm\nname,x,y,level", Options { expanded_mm: Some(2.0), ..plain }), (UFrom::Instrument, 1.0, false));
    let own = survey("name,x,y,level,± mm\nA,0,0,10,2\nB,500,0,12,1\n");
    assert_eq!((own.u_from, own.readings[0].u_mm, own.readings[1].u_mm), (UFrom::Column, 1.0, 0.5));
    // Whole centimetres cannot be better than their rounding: 10 mm / sqrt(12).
    let coarse = survey("name,x [mm],y [mm],level [cm]\nA,0,0,1\nB,500,0,2\n");
    assert!((coarse.u_mm - 10.0 / 12f64.sqrt()).abs() < 1e-12, "{coarse:?}");
}

/// Three points read twice, differences 1.0, 0.4, 0.2 mm: pooled s = sqrt((0.5 + 0.08 + 0.02) / 3) = 0.4472 mm with 3
/// degrees of freedom; as a standard deviation of t, s sqrt(3 / 1) = 0.7746 mm (own arithmetic).
#[test]
fn repeated_readings_of_points_tell_the_uncertainty() {
    let text = "name,x,y,level\nA,0,0,10.0\nA,0,0,11.0\nB,500,0,12.0\nB,,,12.4\nC,0,500,11.0\nC,,,11.2\n";
    let survey = survey(text);
    let repeats = survey.repeats.unwrap();
    assert_eq!((repeats.points, repeats.dof), (3, 3));
    assert!((repeats.sd_mm - 0.2f64.sqrt()).abs() < 1e-12);
    assert_eq!(survey.u_from, UFrom::Repeats);
    assert!((survey.u_mm - 0.6f64.sqrt()).abs() < 1e-12);
    assert_eq!(heights(&survey), "A 10.5, B 12.2, C 11.1");
    assert_eq!(survey.readings[0].n, 2);
    assert!((survey.readings[0].u_mm - (0.6f64 / 2.0).sqrt()).abs() < 1e-12);
    // Fewer are reported, not relied on.
    let few = self::survey("name,x,y,level\nA,0,0,10.0\nA,0,0,11.0\nB,500,0,12.0\n");
    assert_eq!((few.u_from, few.repeats.unwrap().dof), (UFrom::Assumed, 1));
}

#[test]
fn a_second_station_hangs_on_its_back_sights() {
    let text = "# u: 0.5 mm\nname,x,y,staff\nBM,,,1000\nA,0,0,1010\nB,900,0,1005\nStation 2\nBM,,,1200\nB,,,1206\nC,900,900,1215\n";
    let survey = survey(text);
    assert_eq!(heights(&survey), "A -10, B -5.5, C -15");
    let beams: Vec<(&str, f64)> = survey.stations.iter().map(|s| (s.name.as_str(), s.beam_mm)).collect();
    assert_eq!(beams, [("1", 1000.0), ("2", 1200.0)]);
    assert_eq!(survey.readings[2].station, "2");
    // C rests on one staff reading and one sight to the benchmark, each 0.5 mm.
    assert!((survey.readings[2].u_mm - 0.5f64.sqrt()).abs() < 1e-12);
    // Both stations read B: 1 mm apart.
    let check = &survey.misclosure[0];
    assert_eq!((check.station.as_str(), check.points.join("+"), check.size_mm, check.closes), ("2", "B+BM".into(), 1.0, true));
}

#[test]
fn stations_may_stand_in_a_column_and_hang_on_common_points() {
    let text = "# u: 0.5 mm\nstation;name;x;y;staff\none;BM;;;1000\none;A;0;0;1010\none;B;900;0;1005\ntwo;A;;;1110\ntwo;B;;;1106\ntwo;C;900;900;1115\n";
    let survey = survey(text);
    // A says the beam is at 1100, B at 1101: 1100.5 it is.
    assert_eq!(survey.stations[1].beam_mm, 1100.5);
    assert_eq!(heights(&survey), "A -9.75, B -5.25, C -14.5");
    let check = &survey.misclosure[0];
    assert_eq!((check.station.as_str(), check.points.join("+"), check.size_mm, check.closes), ("two", "A+B".into(), 1.0, true));
    // Four staff readings stand between the two ways; the sight to the benchmark is common to both.
    assert!((check.allowed_mm - 2.0 * (4.0f64 * 0.25).sqrt()).abs() < 1e-12);
}

#[test]
fn one_back_sight_alone_is_said_to_be_unchecked() {
    let survey = survey("# u: 0.5 mm\nname,x,y,staff\nBM,,,1000\nA,0,0,1010\nstation 2\nBM,,,1200\nC,900,900,1215\n");
    assert_eq!(survey.misclosure, []);
    assert!(survey.notes.contains(&"station 2 hangs on one back-sight, which nothing checks".into()), "{:?}", survey.notes);
}

#[test]
fn a_back_sight_that_does_not_close_is_reported() {
    let file = |last: &str| format!("# u: 0.5 mm\nname,x,y,staff\nBM,,,1000\nA,0,0,1010\nB,900,0,1005\nBM,,,{last}\n");
    let good = survey(&file("1001"));
    assert_eq!((good.misclosure.len(), good.misclosure[0].closes, good.misclosure[0].size_mm), (1, true, 1.0));
    assert!((good.misclosure[0].allowed_mm - 2.0 * 0.5f64.sqrt()).abs() < 1e-12, "twice 0.5 mm times root 2");
    let bad = survey(&file("1004"));
    assert!(!bad.misclosure[0].closes);
    let note = "station 1 does not close: 4 mm at BM, 1.41 mm allowed; read it again";
    assert!(bad.notes.iter().any(|n| n == note), "{:?}", bad.notes);
    // The benchmark and a common point that disagree by a misread back-sight.
    let slipped = survey("# u: 0.5 mm\nname,x,y,staff\nBM,,,1000\nA,0,0,1010\nstation 2\nBM,,,1210\nA,,,1210\nC,900,900,1215\n");
    assert_eq!((slipped.misclosure[0].size_mm, slipped.misclosure[0].closes), (10.0, false));
}

#[test]
fn without_a_benchmark_heights_count_from_the_first_point() {
    let survey = survey("name,x,y,staff\nA,0,0,1010\nB,900,0,1005\n");
    assert_eq!(heights(&survey), "A 0, B 5");
    assert!(survey.notes.contains(&"no benchmark was read: heights count from A (line 2)".into()));
}

/// A floor 1.2 by 1.5 m falling 1:80 to the right, read on a 300 mm grid, with millimetre noise; `slip_mm` is added to the staff
/// reading of P13 (in the middle).
fn floor(slip_mm: f64) -> String {
    let noise = [0.3, -0.6, 0.1, 0.5, -0.2, 0.0, 0.4, -0.5, 0.2, -0.1, 0.6, -0.3];
    let mut text = String::from("# layer: tile\nname;x;y;staff\nBM;;;1000\n");
    for row in 0..6 {
        for column in 0..5 {
            let n = row * 5 + column + 1;
            let staff = 1000.0 + f64::from(column) * 300.0 / 80.0 + noise[(n as usize * 7) % 12];
            let staff = if n == 13 { staff + slip_mm } else { staff };
            let staff = format!("{staff:.1}").replace('.', ",");
            text.push_str(&format!("P{n};{};{};{staff}\n", column * 300, row * 300));
        }
    }
    text
}

#[test]
fn a_sound_floor_has_no_suspects() {
    assert_eq!(survey(&floor(0.0)).suspects, []);
}

/// Four planes to a waste in the middle, 1:50: ridges and valleys are no misreads.
#[test]
fn ridges_and_a_waste_are_no_suspects() {
    let mut text = String::from("name,x,y,level\n");
    for i in 0..6 {
        for j in 0..6 {
            let (x, y) = (i * 240, j * 240);
            let height = f64::max(f64::from(x - 600).abs(), f64::from(y - 600).abs()) / 50.0;
            text.push_str(&format!("P{i}{j},{x},{y},{height:.1}\n"));
        }
    }
    assert_eq!(survey(&text).suspects, []);
}

/// A shower set down by 20 mm in the corner of a level floor: its edges are no misreads, but a slip beside them is one.
#[test]
fn the_edge_of_a_set_down_is_no_suspect() {
    let noise = [0.3, -0.6, 0.1, 0.5, -0.2, 0.0, 0.4];
    let file = |slip_mm: f64| {
        let mut text = String::from("name,x,y,level\n");
        for i in 0..9usize {
            for j in 0..7usize {
                let set_down = if i < 4 && j < 3 { 20.0 } else { 0.0 };
                let slip = if (i, j) == (6, 3) { slip_mm } else { 0.0 };
                text.push_str(&format!("P{i}{j},{},{},{:.1}\n", i * 250, j * 250, noise[(3 * i + 5 * j) % 7] - set_down + slip));
            }
        }
        text
    };
    assert_eq!(survey(&file(0.0)).suspects, []);
    let slipped = survey(&file(10.0));
    assert_eq!(slipped.suspects.iter().map(|s| s.name.as_str()).collect::<Vec<_>>(), ["P63"]);
}

#[test]
fn a_misread_is_suggested_with_what_was_meant_and_never_dropped() {
    let meant = survey(&floor(0.0)).readings[12].z_mm;
    for (what, by) in [("ten too many", 10.0), ("ten too few", -10.0), ("a hundred too many", 100.0), ("1007,9 for 1070,9", 63.0)] {
        let survey = survey(&floor(by));
        assert_eq!(survey.readings.len(), 30, "{what}: all readings stay");
        let [suspect] = &survey.suspects[..] else { panic!("{what}: {:?}", survey.suspects) };
        assert_eq!((suspect.name.as_str(), suspect.line), ("P13", 16), "{what}");
        let likely = suspect.likely_z_mm.unwrap_or_else(|| panic!("{what}: {suspect:?}"));
        assert!((likely - meant).abs() < 2.0, "{what}: {suspect:?}, meant {meant}");
    }
}

#[test]
fn two_misreads_are_both_found_and_accuse_nobody_else() {
    let text = floor(10.0).replace("P28;600;1500;10", "P28;600;1500;9");
    let survey = survey(&text);
    let names: Vec<&str> = survey.suspects.iter().map(|s| s.name.as_str()).collect();
    assert_eq!(names, ["P28", "P13"]);
}

#[test]
fn what_is_wrong_is_said_all_at_once_in_plain_words() {
    for (text, expected) in [
        ("name,x,height\nA,1,2\n", "levels.csv:1: y = name, x, height: no such column; a column y, up the plan"),
        (
            "name,x,y\nA,1,2\n",
            "levels.csv:1: level = name, x, y: no such column; a column level (counted up) or staff (read down from the beam)",
        ),
        ("name,x,y,height (yd)\nA,1,2,3\n", "levels.csv:1: height (yd) = yd: unknown unit; mm, cm, m, in, 1/16 in or ft"),
        ("# unit: yards\nname,x,y,z\nA,1,2,3\n", "levels.csv:1: # unit = yards: unknown unit; mm, cm, m, in, 1/16 in or ft"),
        ("# layer: tiles\nname,x,y,z\nA,1,2,3\n", "levels.csv:1: # layer = tiles: unknown layer; perhaps tile?"),
        ("name,x,y,level,staff\nA,1,2,3,4\n", "levels.csv:1: level: both levels and staff readings; one of the two columns"),
        ("name,x,y,z,height\nA,1,2,3,4\n", "levels.csv:1: height: the columns z and height mean the same; one of them"),
        (
            "name,x,y,z\nA,1,2,\nB,1,zwei,3\nC,9e9,2,3\nD,,,5\n",
            "levels.csv:2: level: empty; a length, or no row at all\n\
             levels.csv:3: y = zwei: not a number; a length such as 1055, 1055.5 or 3 5/16 (with the unit in the heading)\n\
             levels.csv:4: x = 9e9: out of bounds; between -1000000 and 1000000 mm; is the unit in the heading right?",
        ),
        ("name,x,y,z\nA,1,2,3\nD,,,5\n", "levels.csv:3: D: no coordinates; x and y on its first row"),
        (
            "name;x;y;z\nA;100;200;1,5\nB;300;200;1.5\n",
            "levels.csv:3: decimal commas (first on line 2) and decimal points (first on line 3) in one file; one decimal sign in the whole file",
        ),
        (
            "name,x,y,z\nA,0.1,0.2,3\nB,1.5,0.2,4\nC,0.1,2.2,4\n",
            "levels.csv: x: all points lie within 1.4 by 2 mm, no unit being given; the unit in the heading, as in x [m] and y [m], or a first line '# unit: m'",
        ),
        (
            "name,x,y,z\nA,0,0,3\nB,500,0,4\nC,0,0.4,14\n",
            "levels.csv:4: C: stands where A (line 2) stands, 11 mm apart in level; the right coordinates; the same name for a repeated reading",
        ),
        (
            "name,x,y,z\nA,0,0,3\nB,500,0,4\nA,0,0,13\n",
            "levels.csv:4: A = 3 and 13: read 2 times, up to 10 mm apart (lines 2 and 4); delete the slip, or read the point again; another point needs another name",
        ),
        (
            "name,x,y,z\nA,0,0,3\nA,500,0,3\n",
            "levels.csv:3: A: stands at two places: 0, 0 on line 2 and 500, 0 here; one place, or another name for the second point",
        ),
        (
            "name,x,y,staff\nBM,,,1000\nA,0,0,1010\nstation 2\nC,900,900,1215\n",
            "levels.csv: station = 2: shares no point with the other stations and reads no benchmark; a back-sight: read the benchmark or a point already read, under the same name",
        ),
        ("name,x,y,staff\nBM,,,1000\n", "levels.csv: only points of known level were read; levels of the surface"),
        ("name,x,y,z\nA,1,2,3\nB,4,5\n", "levels.csv:3: \"B,4,5\" has three parts; four are needed: name, x, y, z"),
        ("name,x,y,z\nstation 2\n", "levels.csv: no readings, only station marks; a row for each reading"),
        ("", "levels.csv: the file is empty; a heading with the names of the columns, then a row for each reading"),
    ] {
        assert_eq!(problems(text), expected, "for {text}");
    }
}

#[test]
fn doubled_points_that_agree_are_noted() {
    let survey = survey("name,x,y,z\nA,0,0,3\nB,500,0,4\nC,0,0,3.5\n");
    assert!(survey.notes.contains(&"A and C stand at one place and agree".into()), "{:?}", survey.notes);
}

#[test]
fn a_layer_told_twice_must_be_the_same() {
    let options = Options { layer: Some(LayerKind::Tile), ..Options::default() };
    let text = b"# layer: screed\nname,x,y,z\nA,0,0,3\n";
    let said = read("levels.csv", text, &options).unwrap_err().to_string();
    assert_eq!(said, "levels.csv: # layer: the file says screed, the job says tile; one layer for the file");
}

/// A scan of a million points is refused while it is read; 200,000 are taken. Run with `--release --ignored --nocapture`.
#[test]
#[ignore = "a measurement"]
fn two_hundred_thousand_levels() {
    let file = |rows: u32| {
        let rows = (0..rows).map(|i| format!("{},{},{}.{}\n", i % 500 * 5, i / 500 * 5, i % 37, i % 10));
        format!("x,y,z\n{}", rows.collect::<String>())
    };
    let start = std::time::Instant::now();
    let survey = survey(&file(200_000));
    println!("{} levels in {:?}", survey.readings.len(), start.elapsed());
    let start = std::time::Instant::now();
    println!("{} in {:?}", problems(&file(10_000_000)), start.elapsed());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(500))]

    #[test]
    fn anything_at_all_is_answered_without_panic(rows in prop::collection::vec(
        (prop::sample::select(&["A", "B", "BM", "", "station 2", "C", "é", "\""][..]),
         prop::sample::select(&["", "0", "100", "-5,5", "1e9", "3 5/16", "5' 3\"", "x", "/", "NaN"][..]),
         prop::sample::select(&["", "0", "100", "200.5"][..]),
         prop::sample::select(&["", "1000", "1010,5", "99999999999999999999", "1e-300", "-1"][..])), 0..12)) {
        let mut text = String::from("name;x;y;staff\n");
        for (name, x, y, staff) in rows {
            text.push_str(&format!("{name};{x};{y};{staff}\n"));
        }
        if let Ok(survey) = read("x", text.as_bytes(), &Options::default()) {
            prop_assert!(survey.readings.iter().all(|r| r.z_mm.is_finite() && r.u_mm.is_finite()));
        }
    }

    /// Raising the beam of a station by any amount changes no height.
    #[test]
    fn heights_do_not_depend_on_where_the_beam_is(shift in -500.0..500.0f64) {
        let file = |by: f64| format!("name,x,y,staff\nBM,,,{}\nA,0,0,{}\nB,500,0,{}\n", 1000.0 + by, 1012.5 + by, 1003.25 + by);
        let (a, b) = (survey(&file(0.0)), survey(&file(shift)));
        for (p, q) in a.readings.iter().zip(&b.readings) {
            prop_assert!((p.z_mm - q.z_mm).abs() < 1e-9);
        }
    }
}
