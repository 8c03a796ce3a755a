//! What must hold of every sheet of every room, read back from the SVG by a general-purpose XML parser.

#![allow(clippy::unwrap_used)]

mod scenes;

use drawing::{
    CoatLaid, CoatWay, CoatsOnRoom, Entry, FilmDot, FilmGrid, FilmOnRoom, FilmStratum, FilmUm, Mark, MarkedDetail, Reading, Scene, Stands,
    StrokeTile, StrokesOnRoom, SurfaceOnFloor,
};
use room::register::{Face, Place};
use roxmltree::{Document, Node};
use scenes::{Made, made};
use serde_json::json;
use std::collections::BTreeSet;

/// Everything a sheet must keep, in one place, so that each test only says which sheets.
fn check(name: &str, svg: &str) {
    let document = Document::parse(svg).unwrap_or_else(|error| panic!("{name}: {error}"));
    let page = page_of(&document);
    let mut ids = BTreeSet::new();
    for node in document.descendants().filter(Node::is_element) {
        if let Some(id) = node.attribute("id") {
            assert!(ids.insert(id.to_owned()), "{name}: id {id} twice");
        }
        for attribute in node.attributes() {
            numbers_are_finite(name, attribute.name(), attribute.value());
        }
        if let Some(width) = node.attribute("stroke-width") {
            assert!(width.parse::<f64>().unwrap() >= 0.25, "{name}: a line of {width} mm");
        }
    }
    for used in document.descendants().flat_map(|n| n.attributes()).filter_map(|a| a.value().strip_prefix("url(#")?.strip_suffix(")")) {
        assert!(ids.contains(used), "{name}: {used} is used and not defined");
    }
    let texts: Vec<TextBox> = document.descendants().filter(|n| n.has_tag_name("text")).map(|n| text_box(&n)).collect();
    assert!(texts.iter().any(|t| t.words.contains("competent person's judgement")), "{name}: no caution");
    for text in &texts {
        assert!(text.size >= 3.2, "{name}: letters of {} mm in {:?}", text.size, text.words);
        let inside = text.lo[0] >= 0.0 && text.lo[1] >= 0.0 && text.hi[0] <= page[0] && text.hi[1] <= page[1];
        assert!(inside, "{name}: {:?} runs off the page: {:?} {:?}", text.words, text.lo, text.hi);
    }
    for (i, a) in texts.iter().enumerate() {
        for b in &texts[i + 1..] {
            let apart = a.hi[0] <= b.lo[0] || b.hi[0] <= a.lo[0] || a.hi[1] <= b.lo[1] || b.hi[1] <= a.lo[1];
            assert!(apart, "{name}: {:?} lies on {:?}", a.words, b.words);
        }
    }
}

fn page_of(document: &Document) -> [f64; 2] {
    let root = document.root_element();
    let mm = |name: &str| root.attribute(name).unwrap().strip_suffix("mm").unwrap().parse::<f64>().unwrap();
    let page = [mm("width"), mm("height")];
    assert!(page == [297.0, 210.0] || page == [210.0, 297.0], "A4, not {page:?}");
    page
}

fn numbers_are_finite(sheet: &str, name: &str, value: &str) {
    let is_number = |c: char| c.is_ascii_digit() || matches!(c, '.' | '-' | '+' | 'e' | 'E');
    assert!(!value.contains("NaN") && !value.contains("inf"), "{sheet}: {name}={value}");
    if matches!(name, "x" | "y" | "cx" | "cy" | "r" | "d" | "width" | "height" | "transform" | "stroke-dasharray") {
        for number in value.split(|c| !is_number(c)).filter(|n| n.chars().any(|c| c.is_ascii_digit())) {
            assert!(number.parse::<f64>().is_ok_and(|v| v.abs() < 1e4), "{sheet}: {name}={value}");
        }
    }
}

struct TextBox {
    words: String,
    size: f64,
    lo: [f64; 2],
    hi: [f64; 2],
}

/// Where a text lies, its letters taken as half as wide as they are high: narrow, so that what overlaps here overlaps surely.
fn text_box(node: &Node) -> TextBox {
    let number = |name: &str| node.attribute(name).map_or(0.0, |v| v.parse::<f64>().unwrap());
    let words = node.text().unwrap_or("").to_owned();
    let size = number("font-size");
    let width = words.chars().count() as f64 * 0.5 * size;
    let from = match node.attribute("text-anchor") {
        Some("middle") => -width / 2.0,
        Some("end") => -width,
        _ => 0.0,
    };
    let (x, y) = (number("x"), number("y"));
    let turned = node.attribute("transform").map(|t| t["rotate(".len()..].split(' ').next().unwrap().parse::<f64>().unwrap());
    // A turned text is stood for by a box about its middle as large as its height.
    let half = 0.35 * size;
    let (lo, hi) = match turned {
        Some(_) => ([x - half, y - half], [x + half, y + half]),
        None => ([x + from, y - 0.7 * size], [x + from + width, y]),
    };
    TextBox { words, size, lo, hi }
}

/// The checker finds what is planted.
#[test]
fn planted_faults_are_found() {
    let sheet = |inside: &str| {
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"297mm\" height=\"210mm\">\
             <text x=\"10\" y=\"200\" font-size=\"3.2\">a competent person's judgement</text>{inside}</svg>"
        )
    };
    check("sound", &sheet("<text x=\"10\" y=\"20\" font-size=\"3.2\">words</text>"));
    let faults = [
        "<text x=\"12\" y=\"201\" font-size=\"3.2\">over others</text>",
        "<text x=\"290\" y=\"20\" font-size=\"3.2\">off the page</text>",
        "<text x=\"10\" y=\"20\" font-size=\"2\">small</text>",
        "<g id=\"a\"/><g id=\"a\"/>",
        "<path d=\"M0 0LNaN 1\"/>",
        "<path d=\"M0 0L1 1\" stroke-width=\"0.1\"/>",
        "<path d=\"M0 0L1 1\" fill=\"url(#nowhere)\"/>",
        "<g>",
    ];
    for fault in faults {
        let found = std::panic::catch_unwind(|| check("planted", &sheet(fault)));
        assert!(found.is_err(), "not found: {fault}");
    }
}

#[test]
fn every_sheet_of_every_room_keeps_to_the_page() {
    for made in scenes::rooms() {
        for (sheet, svg) in made.sheets() {
            check(&format!("{} {sheet}", made.name), &svg);
        }
    }
}

#[test]
fn the_same_scene_gives_the_same_bytes() {
    assert_eq!(scenes::demo().sheets(), scenes::demo().sheets());
}

#[test]
fn ids_differ_between_the_sheets_of_a_room() {
    let mut seen = BTreeSet::new();
    for (sheet, svg) in scenes::demo().sheets() {
        let document = Document::parse(&svg).unwrap();
        for id in document.descendants().filter_map(|n| n.attribute("id")) {
            assert!(seen.insert(id.to_owned()), "{sheet}: {id} stands on another sheet too");
        }
    }
}

#[test]
fn a_room_without_a_survey_says_that_falls_and_water_are_not_shown() {
    let made = made("sparse", scenes::sparse()).unmeasured();
    for (sheet, svg) in made.sheets() {
        check(&sheet, &svg);
        if sheet == "falls" || sheet == "ponds" {
            let words: Vec<&str> = svg.split(['<', '>']).filter(|part| part.contains(' ')).collect();
            assert!(words.join(" ").contains("not shown") || svg.contains("whether water stays"), "{sheet}");
        }
    }
}

#[test]
fn markup_in_names_stays_text() {
    let mut room = scenes::crowded();
    let name =
        "<b>&\"x\"'\u{0}\u{202e} and a name longer than any page is wide, longer than anybody would ever write it on a drawing of a room";
    room["name"] = json!(name);
    room["fixtures"][0]["id"] = json!("<rose & \"co\">");
    room["recesses"][0]["id"] = json!("]]>");
    let made = made("markup", room);
    for (sheet, svg) in made.sheets() {
        check(&sheet, &svg);
        assert!(!svg.contains("<b>"), "{sheet}");
    }
}

/// The drop, the broken square, the turned corner and their lines are there when a verdict needs them; each verdict has a
/// line style of its own, so that it can be told without colour.
#[test]
fn each_verdict_is_drawn_in_its_own_way() {
    let made = made("bay", scenes::bay());
    made.with(|scene| {
        let styles: BTreeSet<String> = [Mark::Conforms, Mark::FallsShort, Mark::NotShown, Mark::Departure]
            .into_iter()
            .map(|mark| {
                let details: Vec<MarkedDetail> = scene.details.iter().map(|d| MarkedDetail { mark, number: None, ..*d }).collect();
                let svg = drawing::details(&Scene { details: &details, list: &[], ..*scene });
                check(mark.words(), &svg);
                let document = Document::parse(&svg).unwrap();
                let mut runs =
                    document.descendants().filter(|n| n.has_tag_name("g") && n.descendants().any(|c| c.text() == Some(&title(mark))));
                let group = runs.next_back().expect("a run is drawn");
                group
                    .children()
                    .filter(|c| c.has_tag_name("path"))
                    .map(|c| format!("{:?} {:?};", c.attribute("stroke-width"), c.attribute("stroke-dasharray")))
                    .collect::<String>()
            })
            .collect();
        assert_eq!(styles.len(), 4, "{styles:?}");
    });
}

fn title(mark: Mark) -> String {
    format!("wall-floor junction, wall w1, dry area: {}", mark.words())
}

#[test]
fn numbers_of_one_place_stand_together_and_long_lists_go_on() {
    let made = made("crowded", scenes::crowded());
    made.with(|scene| {
        let words: Vec<String> =
            (0..200).map(|i| format!("entry number {i} of a list that goes on and on: no photograph, no note, nobody knows")).collect();
        let list: Vec<Entry> = words.iter().enumerate().map(|(i, words)| Entry { number: i + 1, mark: Mark::NotShown, words }).collect();
        let scene = Scene { list: &list, ..*scene };
        let sheets = drawing::details_list(&scene);
        assert!(sheets.len() > 1);
        let all: String = std::iter::once(drawing::details(&scene)).chain(sheets.iter().cloned()).collect();
        for i in 0..200 {
            let begin = format!(">entry number {i} of");
            assert_eq!(all.matches(&begin).count(), 1, "{begin}");
        }
        sheets.iter().for_each(|svg| check("list", svg));
    });
}

/// Numbers that are none, places far away and empty slices are left out, not drawn somewhere.
#[test]
fn nonsense_is_left_out() {
    let made = scenes::demo();
    made.with(|scene| {
        let odd = [f64::NAN, f64::INFINITY, -1e300, 1e300, -0.0];
        let details: Vec<MarkedDetail> =
            scene.details.iter().enumerate().map(|(i, d)| MarkedDetail { litres_per_day: Some(odd[i % odd.len()]), ..*d }).collect();
        let readings: Vec<Reading> = odd.iter().map(|v| Reading { name: "odd", at_mm: [*v, *v], z_mm: *v }).collect();
        let surface = scene.surface.map(|s| SurfaceOnFloor { readings: &readings, ..s });
        let scene = Scene { details: &details, surface, ..*scene };
        check("falls", &drawing::falls(&scene));
        check("water", &drawing::water(&scene));
        let empty = SurfaceOnFloor { words: "", readings: &[], fall_limits: "", parts: &[], ponds: None };
        let scene = Scene { details: &[], list: &[], surface: Some(empty), title: "", subtitle: "", ..scene };
        for (name, svg) in [
            ("details", drawing::details(&scene)),
            ("falls", drawing::falls(&scene)),
            ("ponds", drawing::ponds(&scene)),
            ("water", drawing::water(&scene)),
        ] {
            check(name, &svg);
        }
    });
}

/// Readings, areas and tiles that are none or lie nowhere are left out.
#[test]
fn nonsense_of_films_coats_and_strokes_is_left_out() {
    let made = scenes::demo();
    made.with(|scene| {
        let odd = [f64::NAN, f64::INFINITY, -1e300, 1e300, -0.0];
        let nowhere = Face::Wall("</nowhere>".into());
        let detail = scene.details[0].detail;
        let dots: Vec<FilmDot> = odd
            .iter()
            .flat_map(|v| {
                [FilmUm::Value(*v), FilmUm::Between(*v, None), FilmUm::Between(400.0, Some(*v)), FilmUm::Value(400.0)].into_iter().flat_map(
                    |um| {
                        [Some((&Face::Floor, [*v, *v])), Some((&nowhere, [1.0, 1.0])), None].map(|at_mm| FilmDot {
                            detail,
                            at_mm,
                            um,
                            stands: Stands::Short,
                            cut_out: Some("<cut & \"out\">"),
                        })
                    },
                )
            })
            .collect();
        let values: Vec<Option<f64>> = odd.iter().map(|v| Some(*v)).chain([None]).collect();
        let grid =
            FilmGrid { face: &Face::Floor, first_mm: [f64::NAN, 0.0], cell_mm: 1e-3, nx: 3, ny: 2, um: &values, prob_below: &values };
        let map = [grid, FilmGrid { first_mm: [0.0; 2], cell_mm: 500.0, ..grid }, FilmGrid { face: &nowhere, ..grid }];
        let details = [detail];
        let strata = [FilmStratum {
            words: "<all>",
            details: &details,
            mean_um: Some([f64::NAN; 3]),
            mark: Mark::FallsShort,
            prob_one_coat_short: Some(f64::NAN),
        }];
        for limit_um in [None, Some(f64::NAN), Some(500.0)] {
            check(
                "film",
                &drawing::film(
                    scene,
                    &FilmOnRoom {
                        id: "film",
                        words: "<film>",
                        asked: "<asked>",
                        limit_um,
                        readings: &dots,
                        strata: &strata,
                        map: &map,
                        notes: &[],
                    },
                ),
            );
        }
        let places: Vec<(Face, Place)> = odd
            .iter()
            .flat_map(|v| {
                let p = [*v, 100.0];
                [
                    Place::Point(p),
                    Place::Run(vec![p, p]),
                    Place::Run(vec![]),
                    Place::Patch(vec![vec![vec![p, p, p]]]),
                    Place::Patch(vec![vec![]]),
                ]
            })
            .flat_map(|place| [(Face::Floor, place.clone()), (nowhere.clone(), place)])
            .collect();
        let coats = [CoatLaid { number: 0, words: "<b>", way: CoatWay::Both, covers: &places, lacks: &places }];
        check("coats", &drawing::coats(scene, &CoatsOnRoom { id: "coats", words: "<coats>", coats: &coats }));
        let tiles: Vec<StrokeTile> = odd
            .iter()
            .map(|v| StrokeTile { face: &Face::Floor, corners_mm: [[*v, 1.0]; 4], directions: &odd, junction: false, words: "<why>" })
            .collect();
        check("strokes", &drawing::strokes(scene, &StrokesOnRoom { id: "strokes", words: "<strokes>", tiles: &tiles, notes: &[] }));
    });
}

/// Full, half, hollow and crossed: told apart in black and white, and so are round and square.
#[test]
fn each_reading_is_drawn_by_how_it_stands() {
    let made = scenes::demo();
    made.with(|scene| {
        let detail = scene.details[0].detail;
        let shapes: BTreeSet<String> = [Stands::NotCounted, Stands::Reaches, Stands::Wet, Stands::Near, Stands::Short]
            .into_iter()
            .flat_map(|stands| [None, Some("C1")].map(|cut_out| (stands, cut_out)))
            .map(|(stands, cut_out)| {
                let dot = FilmDot { detail, at_mm: Some((&Face::Floor, [600.0, 600.0])), um: FilmUm::Value(480.0), stands, cut_out };
                let film = FilmOnRoom {
                    id: "film",
                    words: "film",
                    asked: "",
                    limit_um: Some(500.0),
                    readings: &[dot],
                    strata: &[],
                    map: &[],
                    notes: &[],
                };
                let svg = drawing::film(scene, &film);
                check("film", &svg);
                let document = Document::parse(&svg).unwrap();
                let said = format!(", {}", stands.words());
                let group = document
                    .descendants()
                    .find(|n| {
                        n.has_tag_name("g") && n.children().any(|c| c.has_tag_name("title") && c.text().is_some_and(|t| t.ends_with(&said)))
                    })
                    .expect("the reading is drawn");
                // What is left of the inks in a black-and-white copy: paper or not.
                let on_paper = |n: &Node, name: &str| n.attribute(name).is_some_and(|ink| ink != "none" && ink != "#ffffff");
                group
                    .children()
                    .filter(Node::is_element)
                    .map(|n| {
                        let strokes = n.attribute("d").map_or(0, |d| d.matches('M').count());
                        format!("{} {strokes} {} {};", n.tag_name().name(), on_paper(&n, "fill"), on_paper(&n, "stroke"))
                    })
                    .collect::<String>()
            })
            .collect();
        assert_eq!(shapes.len(), 10, "{shapes:#?}");
    });
}

#[test]
fn strokes_never_stand_without_their_caution() {
    for made in [scenes::demo(), made("sparse", scenes::sparse())] {
        for (sheet, svg) in made.sheets().into_iter().filter(|(sheet, _)| sheet.starts_with("strokes")) {
            let document = Document::parse(&svg).unwrap();
            let about = document.descendants().find(|n| n.has_tag_name("desc")).and_then(|n| n.text()).unwrap().to_owned();
            let words: Vec<&str> = document.descendants().filter(|n| n.has_tag_name("text")).filter_map(|n| n.text()).collect();
            let words = words.join(" ");
            assert!(about.contains("never proof of thickness") && words.contains("never proof of thickness"), "{sheet}");
        }
    }
}

#[test]
fn a_room_without_a_floor_is_said_to_have_none() {
    for outline in [json!([]), json!([[0, 0], [1000, 0]]), json!([[0, 0], [1e9, 0], [0, 1000]])] {
        let made = Made::new("none", json!({"format": "undertile room 1", "outline_mm": outline}), Some(vec![]));
        for (sheet, svg) in made.sheets() {
            check(&sheet, &svg);
        }
    }
}

/// From a cupboard to a hall of a hundred metres.
#[test]
fn every_size_of_room_finds_a_scale() {
    for side in [300.0, 900.0, 25_000.0, 100_000.0] {
        let room = json!({
            "format": "undertile room 1", "name": "a size", "height_mm": 2400,
            "outline_mm": [[0, 0], [side, 0], [side, 0.7 * side], [0, 0.7 * side]],
            "outlets": [{"id": "waste", "kind": "point", "x_mm": 0.4 * side, "y_mm": 0.3 * side, "radius_mm": 20}]
        });
        let levels = [[0.1, 0.1], [0.9, 0.1], [0.9, 0.6], [0.1, 0.6]].map(|[x, y]| (format!("{x}"), [x * side, y * side], 10.0 * x));
        let made = Made::new("size", room, Some(if side < 1000.0 { levels.to_vec() } else { vec![] }));
        for (sheet, svg) in made.sheets() {
            check(&format!("{sheet} of {side} mm"), &svg);
        }
    }
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(12))]

    /// Floors with corners anywhere about a middle, some pointing inwards.
    #[test]
    fn any_floor_is_drawn(radii in proptest::collection::vec(600.0..3000.0f64, 4..9), turn in 0.0..6.2f64) {
        let outline: Vec<[f64; 2]> = radii
            .iter()
            .enumerate()
            .map(|(i, r)| {
                let (sin, cos) = measure::math::sincos(turn + std::f64::consts::TAU * i as f64 / radii.len() as f64);
                [(r * cos).round(), (r * sin).round()]
            })
            .collect();
        let room = json!({
            "format": "undertile room 1", "name": "any", "outline_mm": outline, "height_mm": 2400,
            "openings": [{"id": "door", "kind": "door", "wall": "w1", "from_mm": 20, "width_mm": 300, "height_mm": 2000}],
            "outlets": [{"id": "waste", "kind": "point", "x_mm": 0, "y_mm": 0, "radius_mm": 50}],
            "membranes": [{"id": "m", "layer": "over-screed", "form": "liquid"}]
        });
        let made = made("any", room);
        for (sheet, svg) in made.sheets() {
            check(&sheet, &svg);
        }
    }
}
