//! What a person sees when a document is wrong.

use intake::json::read;
use schemars::JsonSchema;
use serde::Deserialize;
use std::collections::BTreeMap;

#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
#[allow(dead_code)]
struct Room {
    #[schemars(extend("const" = "test room 1"))]
    format: String,
    #[schemars(length(min = 3, max = 1000))]
    outline_mm: Vec<[f64; 2]>,
    walls: Vec<Wall>,
    outlets: Vec<Outlet>,
    decision: Option<Decision>,
    #[schemars(range(min = 0.0, max = 1.0))]
    rh: Option<f64>,
    counts: BTreeMap<String, u32>,
    next: Option<Box<Room>>,
    surface: Option<Surface>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[allow(dead_code)]
struct Wall {
    /// Name, unique in the room. More about names.
    id: String,
    /// Edge of the outline from 1.
    edge: usize,
    #[serde(default)]
    #[schemars(range(min = 100.0, max = 20000.0))]
    height_mm: Option<f64>,
    #[serde(default)]
    zone: Option<Zone>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
enum Zone {
    Shower,
    Splash,
    /// Neither.
    Dry,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "lowercase", deny_unknown_fields)]
#[allow(dead_code)]
enum Outlet {
    Point { id: String, radius_mm: f64 },
    Channel { id: String, line_mm: [[f64; 2]; 2] },
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(tag = "rule", rename_all = "lowercase")]
#[allow(dead_code)]
enum Decision {
    Guarded(Guarded),
    Simple { u_max: f64 },
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[allow(dead_code)]
struct Guarded {
    risk: f64,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(untagged)]
#[allow(dead_code)]
enum Surface {
    Spots(Spots),
    Grid(GridSurface),
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[allow(dead_code)]
struct Spots {
    readings: Vec<Spot>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[allow(dead_code)]
struct Spot {
    x_mm: f64,
    z_mm: f64,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[allow(dead_code)]
struct GridSurface {
    grid: Grid,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[allow(dead_code)]
struct Grid {
    nx: usize,
    #[schemars(inner(range(min = -100000.0, max = 100000.0)))]
    z_mm: Vec<Option<f64>>,
}

/// The problems of a text, one a line, as they are printed.
fn problems(text: &str) -> String {
    match read::<Room>("room.json", text.as_bytes()) {
        Ok(_) => String::new(),
        Err(problems) => problems.to_string(),
    }
}

fn check(text: &str, expected: &[&str]) {
    assert_eq!(problems(text), expected.join("\n"), "for {text}");
}

#[test]
fn a_right_document_is_read() {
    let room = read::<Room>(
        "room.json",
        br#"{"format": "test room 1", "outline_mm": [[0,0],[1,0],[1,1]], "walls": [{"id": "a", "edge": 1, "zone": "dry"}],
            "outlets": [{"kind": "channel", "id": "c", "line_mm": [[0,0],[1,1]]}], "decision": {"rule": "guarded", "risk": 0.05},
            "counts": {"x": 3}, "next": {"rh": null}, "surface": {"grid": {"nx": 2, "z_mm": [null, 1.5]}}}"#,
    )
    .unwrap();
    assert_eq!(room.outline_mm.len(), 3);
    assert!(matches!(room.decision, Some(Decision::Guarded(_))));
    assert!(matches!(room.surface, Some(Surface::Grid(_))));
    assert!(room.next.is_some());
}

#[test]
fn everything_wrong_is_found_at_once_with_its_line() {
    check(
        r#"{
  "format": "test room 1",
  "outline_mm": [[0,0],[1,"12,5"],[1,1,1]],
  "walls": [
    {"id": "a", "edge": 1.5, "height_cm": 240},
    {"id": "b", "edge": 2, "height_mm": 24},
    {"edge": 3, "zone": "shwer"}
  ],
  "rh": 65,
  "oulets": []
}"#,
        &[
            "room.json:3: outline_mm[1][1] = \"12,5\": a number in quotes with a decimal comma; 12.5, without quotes",
            "room.json:3: outline_mm[2] = a list of 3: the list has the wrong length; exactly 2",
            "room.json:5: walls[0].edge = 1.5: not a whole number; a whole number at least 0",
            "room.json:5: walls[0].height_cm = 240: unknown unit in the field name; give it in millimetres as height_mm",
            "room.json:6: walls[1].height_mm = 24: out of bounds; between 100 and 20000",
            "room.json:7: walls[2].id: missing; text: Name, unique in the room",
            "room.json:7: walls[2].zone = \"shwer\": not a known word; \"shower\", \"splash\" or \"dry\"",
            "room.json:9: rh = 65: out of bounds; between 0 and 1 (a share; 65 % is 0.65)",
            "room.json:10: oulets = a list of 0: unknown field; perhaps outlets?",
        ],
    );
}

#[test]
fn a_unit_in_another_or_no_ending_is_recognised() {
    for name in ["height_cm", "height_in", "height_m", "height_ft", "height_inch"] {
        let text = format!(r#"{{"walls": [{{"id": "a", "edge": 1, "{name}": 2}}]}}"#);
        check(&text, &[&format!("room.json:1: walls[0].{name} = 2: unknown unit in the field name; give it in millimetres as height_mm")]);
    }
    check(
        r#"{"walls": [{"id": "a", "edge": 1, "height": 2}]}"#,
        &["room.json:1: walls[0].height = 2: the field name lacks its unit; give it in millimetres as height_mm"],
    );
}

#[test]
fn a_tagged_choice_is_checked_by_its_tag() {
    check(
        r#"{"outlets": [{"kind": "point", "id": "w"}, {"kind": "chanel", "id": "c"}, {"id": "d"}, 3]}"#,
        &[
            "room.json:1: outlets[0].radius_mm: missing; a number",
            "room.json:1: outlets[1].kind = \"chanel\": not a known word; \"channel\" or \"point\"",
            "room.json:1: outlets[2].kind: missing; \"point\" or \"channel\"",
            "room.json:1: outlets[3] = 3: the wrong kind of value; an object {...}",
        ],
    );
    check(
        r#"{"decision": {"rule": "guarded", "risk": "5 %"}}"#,
        &[
            "room.json:1: decision.risk = \"5 %\": a number with something behind it, in quotes; a number, without quotes; the unit is part of the field's name",
        ],
    );
    check(r#"{"decision": {"rule": "guarded", "risks": 0.05}}"#, &["room.json:1: decision.risks = 0.05: unknown field; perhaps risk?"]);
}

#[test]
fn an_untagged_choice_is_checked_by_the_fields_it_has() {
    check(
        r#"{"surface": {"readings": [{"x_mm": 1, "z_mm": true}]}}"#,
        &["room.json:1: surface.readings[0].z_mm = true: the wrong kind of value; a number"],
    );
    check(
        r#"{"surface": {"grid": {"nx": 2, "z_mm": [1, null, 1e6, "a"]}}}"#,
        &[
            "room.json:1: surface.grid.z_mm[2] = 1e6: out of bounds; between -100000 and 100000",
            "room.json:1: surface.grid.z_mm[3] = \"a\": text where a number is needed; a number between -100000 and 100000",
        ],
    );
    check(
        "{\"surface\": {\"grid\": {\"nx\": 2, \"z_mm\": [1,\n null,\n 1e6]}}}",
        &["room.json:3: surface.grid.z_mm[2] = 1e6: out of bounds; between -100000 and 100000"],
    );
}

#[test]
fn values_in_maps_and_rooms_in_rooms_are_checked() {
    check(
        r#"{"counts": {"x": -1, "y": "three"}, "next": {"next": {"outline_mm": [[0,0],[null,1]]}}}"#,
        &[
            "room.json:1: counts.x = -1: out of bounds; at least 0",
            "room.json:1: counts.y = \"three\": text where a number is needed; a whole number at least 0",
            "room.json:1: next.next.outline_mm = a list of 2: the list has the wrong length; between 3 and 1000",
            "room.json:1: next.next.outline_mm[1][0] = null: null, but a value is needed; a number",
        ],
    );
}

#[test]
fn what_only_serde_refuses_still_has_its_place() {
    check(
        "{\n\"counts\": {\"x\": 1,\n \"y\": 99999999999}}",
        &["room.json:3: counts.y: invalid value: integer `99999999999`, expected u32"],
    );
}

#[test]
fn slips_of_grammar_are_named_with_line_and_column() {
    for (text, expected) in [
        ("", "the file is empty (column 1); a JSON document"),
        ("  \n", ":2: the file is empty"),
        (
            "{\"rh\": NaN}",
            "NaN is not a number a file can carry (column 8); a finite number; null, or no field at all, for what is unknown",
        ),
        ("{\"rh\": -Infinity}", "-Infinity is not a number a file can carry (column 8)"),
        ("{\"rh\": Infinity}", "Infinity is not a number"),
        ("{\"rh\": 1e999}", "the number 1e999 is too large (column 8); a number below 1.8e308"),
        ("{\"rh\": [1, -1e999]}", "the number -1e999 is too large (column 12)"),
        ("{\"rh\": 1} x", "the document has ended, but more text follows (column 11)"),
        ("{\"rh\": 1,}", "a comma too many before the closing } (column 9)"),
        ("{\"rh\": [1,2,]}", "a comma too many before the closing ] (column 12)"),
        ("{\"rh\": 1,\n\"rh\": 2}", ":2: the field rh stands twice in one object (column 1)"),
        ("{'rh': 1}", "a field name in single quotes"),
        ("{rh: 1}", "a field name without quotes"),
        ("{“rh”: 1}", "typographic quotes (column 2)"),
        ("{\"rh\": 0,5}", "a field name is missing (column 10)"),
        ("{\"rh\": 05}", "a number that begins with a zero it does not need"),
        ("{\"rh\": .5}", "a number that begins with its point"),
        ("{\"rh\": 5.}", "a number that ends with its point"),
        ("{\"rh\": +5}", "a number with a plus sign"),
        ("{\"rh\": True}", "True with a capital letter"),
        ("{\"rh\": None}", "None is not a JSON value"),
        ("// a room\n{}", "JSON has no comments"),
        ("{\"rh\": 1", "the file ends before the object opened on line 1 is closed"),
        ("{\"walls\": [\n1 2]}", ":2: a comma or the closing ] of the list opened on line 1 is missing (column 3)"),
        ("{\"name\": \"a", "the text opened here is never closed"),
        ("{\"name\": \"a\nb\"}", "a text goes on past the end of its line"),
        ("{\"name\": \"\\x\"}", "a backslash that begins no known escape"),
        ("{\"name\": \"\\ud800\"}", "half a character in a \\u escape"),
        ("{\"rh\" 1}", "a colon is missing after rh"),
        ("{\"rh\": }", "a value is missing here"),
    ] {
        let found = problems(text);
        assert!(found.contains(expected) && found.lines().count() == 1, "{text}: {found}");
    }
}

#[test]
fn a_bomb_of_brackets_is_refused() {
    for open in ["[", "{\"next\":"] {
        let found = problems(&open.repeat(100_000));
        assert!(found.contains("nested more than 64 deep"), "{found}");
    }
    let found = problems(&format!("{{\"walls\": [{}[]]}}", "[],".repeat(4_000_001)));
    assert!(found.contains("more than 4000000 values"), "{found}");
}

#[test]
fn a_flood_of_problems_is_counted_not_kept() {
    let walls = vec!["{}"; 100_000].join(",\n");
    let found = read::<Room>("room.json", format!("{{\"walls\": [{walls}]}}").as_bytes()).unwrap_err();
    assert_eq!(found.problems.len(), 201);
    assert_eq!(found.problems[200].what, "199800 more problems are not listed");
}

#[test]
fn the_schema_names_its_dialect() {
    assert_eq!(intake::schema::of::<Room>()["$schema"], "https://json-schema.org/draft/2020-12/schema");
}

/// Four million numbers: prints the time; run with `--release --ignored --nocapture`.
#[test]
#[ignore = "a measurement"]
fn four_million_numbers() {
    let mut text = String::from("{\"surface\": {\"grid\": {\"nx\": 2000, \"z_mm\": [0");
    for i in 1..4_000_000u32 {
        text.push_str(&format!(",{}.{}", i % 37, i % 1000));
    }
    text.push_str("]}}}");
    let start = std::time::Instant::now();
    let room = read::<Room>("grid.json", text.as_bytes()).unwrap();
    println!("{} MB in {:?}", text.len() >> 20, start.elapsed());
    assert!(matches!(room.surface, Some(Surface::Grid(g)) if g.grid.z_mm.len() == 4_000_000));
}
