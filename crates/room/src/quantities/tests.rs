//! Amounts against arithmetic by hand.

use super::*;
use crate::sheet::DataSheet;
use crate::test_rooms::{heron_row, rectangle, room};
use proptest::prelude::*;
use serde_json::{Value, json};

fn input(value: Value) -> Input {
    serde_json::from_value(value).unwrap()
}

fn one(value: Value) -> MaterialOut {
    run(&input(value)).unwrap().materials.remove(0)
}

#[track_caller]
fn near(got: f64, expected: f64) {
    assert!((got - expected).abs() <= 1e-9 * expected.abs().max(1.0), "{got} is not {expected}");
}

/// A floor and an upturn coated twice at 1.5 m2 to the litre; arithmetic by hand.
fn coated() -> Value {
    json!({
        "sizes": [
            {"id": "floor", "kind": "floor-field", "unit": "m2", "value": 4.5, "u": 0.03},
            {"id": "wall", "kind": "wall-field", "unit": "m2", "value": 6.0, "u": 0.04},
            {"id": "junction", "kind": "wall-floor-junction", "unit": "m", "value": 8.0}
        ],
        "materials": [{
            "id": "membrane", "what": "membrane", "on": {"kinds": ["floor-field", "wall-field"]},
            "rate": {"by": "spread", "m2_per_l": 1.5, "coats": 2}, "waste_share": 0.1, "pack": 4
        }]
    })
}

#[test]
fn litres_of_two_coats_are_area_over_spread_rate_twice() {
    let out = one(coated());
    near(out.needed.unwrap(), 14.0);
    near(out.u_needed.unwrap(), 0.05 * 2.0 / 1.5);
    near(out.per_coat.unwrap(), 7.0);
    near(out.with_waste.unwrap(), 15.4);
    assert_eq!((out.unit, out.packs, out.in_packs, out.at_least), (Some("L"), Some(4), Some(16.0), false));
    near(out.left_over.unwrap(), 0.6);
    let kinds: Vec<_> = out.by_kind.iter().map(|k| (k.kind.as_str(), k.size, k.count)).collect();
    assert_eq!(kinds, [("floor-field", 4.5, 1), ("wall-field", 6.0, 1)]);
}

/// 0.5 mm of dry film at 55 % solids by volume is 0.909 mm wet (definition of solids by volume; ISO 3233): 0.909 L to the
/// square metre.
#[test]
fn litres_by_film_and_solids() {
    let mut value = coated();
    value["materials"][0]["rate"] = json!({"by": "film", "dry_um": 500, "solids_by_volume": 0.55, "coats": 2});
    let out = one(value);
    near(out.needed.unwrap(), 10.5 * 0.5 / 0.55);
    near(out.per_coat.unwrap(), 10.5 * 0.25 / 0.55);
}

#[test]
fn lengths_sections_strips_and_pieces() {
    let sizes = json!([
        {"id": "a", "kind": "wall-floor-junction", "unit": "m", "value": 5.0},
        {"id": "b", "kind": "wall-floor-junction", "unit": "m", "value": 3.0},
        {"id": "tap", "kind": "penetration", "unit": "each", "value": 3}
    ]);
    let table = [
        (json!({"by": "length", "runs": 2}), "wall-floor-junction", "m", 16.0),
        // 6 by 5 mm is 30 mL to the metre.
        (json!({"by": "section", "width_mm": 6, "depth_mm": 5}), "wall-floor-junction", "L", 0.24),
        (json!({"by": "sheet", "strip_mm": 150}), "wall-floor-junction", "m2", 1.2),
        (json!({"by": "spread", "m2_per_l": 2, "coats": 1, "strip_mm": 150}), "wall-floor-junction", "L", 0.6),
        (json!({"by": "pieces", "each": 2}), "penetration", "pieces", 6.0),
    ];
    for (rate, kind, unit, expected) in table {
        let out = one(json!({"sizes": sizes, "materials": [{"id": "x", "what": "tape", "on": {"kinds": [kind]}, "rate": rate}]}));
        near(out.needed.unwrap(), expected);
        assert_eq!((out.unit, out.packs), (Some(unit), None));
    }
}

#[test]
fn what_fills_its_packs_exactly_needs_no_further_one() {
    for (needed, pack, packs) in [(9.0, 3.0, 3), (9.0 + 1e-6, 3.0, 4), (0.3, 0.1, 3), (0.0, 5.0, 0), (0.1, 5.0, 1)] {
        let value = json!({
            "sizes": [{"id": "j", "kind": "joint", "unit": "m", "value": needed}],
            "materials": [{"id": "x", "what": "tape", "on": {"ids": ["j"]}, "rate": {"by": "length", "runs": 1}, "pack": pack}]
        });
        assert_eq!(one(value).packs, Some(packs), "{needed} in packs of {pack}");
    }
}

#[test]
fn an_unknown_size_is_listed_and_never_nothing() {
    let mut value = coated();
    value["sizes"][1].as_object_mut().unwrap().remove("value");
    let out = run(&input(value.clone())).unwrap();
    assert!(!out.complete);
    let material = &out.materials[0];
    assert!(material.at_least);
    near(material.needed.unwrap(), 6.0);
    assert_eq!(material.unknown, [Unknown { id: "wall".into(), what: "area".into() }]);
    value["sizes"][0].as_object_mut().unwrap().remove("value");
    let nothing = one(value);
    assert_eq!((nothing.needed, nothing.with_waste, nothing.packs), (None, None, None));
    assert_eq!(nothing.unknown.len(), 2);
}

#[test]
fn a_rate_nobody_knows_and_a_kind_that_is_not_there_are_unknown() {
    let mut value = coated();
    value["materials"][0].as_object_mut().unwrap().remove("rate");
    let out = one(value);
    assert_eq!((out.needed, out.unit, out.at_least), (None, None, true));
    let mut value = coated();
    value["materials"][0]["on"]["kinds"] = json!(["recess-face"]);
    let out = one(value);
    assert_eq!((out.needed, out.at_least), (None, true));
}

#[test]
fn delivered_and_used_say_which_way_they_differ() {
    let ways = |delivered: f64, used: f64, known: bool| {
        let mut value = coated();
        value["materials"][0]["delivered"] = json!({"amount": delivered});
        value["materials"][0]["used"] = json!({"amount": used, "u": 0.7});
        if !known {
            value["sizes"][1].as_object_mut().unwrap().remove("value");
        }
        let out = one(value);
        let [delivered, used] = [&out.compared[0], &out.compared[1]];
        assert_eq!((delivered.what, used.what), ("delivered", "used"));
        (delivered.way, used.way)
    };
    // 14 L are needed, 15.4 L with waste; 6 L and 6.6 L of them for the floor.
    assert_eq!(ways(16.0, 14.5, true), (Way::More, Way::Agrees));
    assert_eq!(ways(12.0, 12.0, true), (Way::Less, Way::Less));
    assert_eq!(ways(15.4, 16.0, true), (Way::Agrees, Way::More));
    assert_eq!(ways(16.0, 6.0, false), (Way::NotShown, Way::NotShown));
    assert_eq!(ways(5.0, 4.0, false), (Way::Less, Way::Less), "too little even for what is known");
}

#[test]
fn everything_wrong_is_named_at_once() {
    let mut value = coated();
    value["sizes"][0]["value"] = json!(-1);
    value["sizes"][1]["id"] = json!("floor");
    value["materials"][0]["waste_share"] = json!(10);
    value["materials"][0]["pack"] = json!(0);
    value["materials"][0]["on"] = json!({"kinds": ["floor-feild", "wall-floor-junction"], "ids": ["nowhere"]});
    value["materials"][0]["rate"]["m2_per_l"] = json!(0);
    value["materials"][0]["used"] = json!({"amount": -3});
    let said = run(&input(value)).unwrap_err().to_string();
    for field in [
        "sizes[0].value",
        "sizes[1].id",
        "materials[0].waste_share",
        "materials[0].pack",
        "materials[0].on.kinds[0]",
        "materials[0].on.ids[0]",
        "materials[0].rate.m2_per_l",
        "materials[0].rate: junction is a length",
        "materials[0].used.amount",
    ] {
        assert!(said.lines().any(|line| line.starts_with(field)), "{field} in\n{said}");
    }
}

/// A 2.4 by 1.8 m room, a shower of 0.9 m square whose walls are covered to 1.9 m, the other walls turned up 150 mm but for the
/// door of 0.82 m; a waste of 50 mm radius. By hand.
#[test]
fn a_room_and_its_sheet_make_the_order() {
    let mut fields = rectangle();
    let wall = |id: &str, from: f64, to: f64, top: f64| json!({"on": id, "from_mm": from, "to_mm": to, "top_mm": {"value": top}});
    fields["membranes"][0]["data_sheet"] = json!("sheet");
    fields["membranes"][0]["covers"] = json!([
        {"on": "floor"},
        wall("w1", 0.0, 900.0, 1900.0), wall("w1", 900.0, 2400.0, 150.0),
        wall("w2", 0.0, 1800.0, 150.0),
        wall("w3", 0.0, 2400.0, 150.0),
        wall("w4", 0.0, 900.0, 150.0), wall("w4", 900.0, 1800.0, 1900.0)
    ]);
    let sheet = DataSheet {
        id: "sheet".into(),
        coats: Some(2),
        spread_m2_per_l: Some(1.5),
        primer_m2_per_l: Some(8.0),
        bond_breaker_mm_min: Some(30.0),
        ..DataSheet::default()
    };
    let out = run(&of_room(&room(fields), &[sheet])).unwrap();
    let membrane = &out.materials[0];
    assert_eq!(membrane.unknown, []);
    let of = |kind: &str| membrane.by_kind.iter().find(|k| k.kind == kind).unwrap().size;
    let floor = 2.4 * 1.8 - std::f64::consts::PI * 0.05 * 0.05;
    assert!((of("floor-field") - floor).abs() < 1e-4, "{} is not {floor}: the waste is drawn as a polygon", of("floor-field"));
    near(of("wall-field"), 2.0 * 0.9 * 1.9);
    near(of("upturn"), 0.15 * (1.5 + 1.8 + (2.4 - 0.82) + 0.9));
    near(membrane.needed.unwrap(), (of("floor-field") + of("wall-field") + of("upturn")) * 2.0 / 1.5);
    let primer = &out.materials[1];
    assert_eq!(primer.what, What::Primer);
    near(primer.needed.unwrap(), membrane.needed.unwrap() * 1.5 / 2.0 / 8.0);
    let breaker = &out.materials[2];
    assert_eq!((breaker.width_mm, breaker.unit), (Some(30.0), Some("m")));
    let along_floor = breaker.by_kind.iter().find(|k| k.kind == "wall-floor-junction").unwrap().size;
    near(along_floor, 2.0 * (2.4 + 1.8) - 0.82);
}

/// Two walls of 2.4 m and two of 1.8 m less the door of 0.82 m, four corners of 2 m and a joint of 1.2 m.
#[test]
fn boards_are_taped_at_their_joints_and_round_the_room() {
    let mut fields = rectangle();
    let wall = |id: &str| json!({"on": id, "top_mm": {"value": 2000}});
    fields["membranes"][0]["form"] = json!("board");
    fields["membranes"][0]["covers"] = json!([{"on": "floor"}, wall("w1"), wall("w2"), wall("w3"), wall("w4")]);
    fields["membranes"][0]["laps"] = json!([{"id": "joint", "on": "w1", "line_mm": [[1200, 0], [1200, 1200]]}]);
    let out = run(&of_room(&room(fields), &[])).unwrap();
    let tape = out.materials.iter().find(|m| m.what == What::Tape).unwrap();
    near(tape.needed.unwrap(), 2.0 * (2.4 + 1.8) - 0.82 + 4.0 * 2.0 + 1.2);
}

#[test]
fn what_neither_room_nor_sheet_says_stays_unknown() {
    let bare = run(&of_room(&room(heron_row()), &[])).unwrap();
    assert!(!bare.complete);
    let membrane = &bare.materials[0];
    assert!(membrane.needed.is_none() && membrane.unknown.iter().any(|u| u.what.contains("how much")));
    assert!(membrane.unknown.iter().any(|u| u.id.starts_with("upturn/")), "the height of the upturns is not drawn");
    assert!(bare.materials.iter().any(|m| m.what == What::Sealant && m.needed.is_none()));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// The order of the sizes does not matter, packs hold what is needed and not a pack more, and kinds add up.
    #[test]
    fn packs_hold_what_is_needed(values in prop::collection::vec(0.0..500.0f64, 1..12), pack in 0.05..50.0f64, waste in 0.0..1.0f64) {
        let with = |values: &[f64]| {
            let sizes: Vec<Value> = values.iter().enumerate()
                .map(|(i, v)| json!({"id": i.to_string(), "kind": format!("k{}", i % 3), "unit": "m2", "value": v})).collect();
            one(json!({"sizes": sizes, "materials": [{
                "id": "x", "what": "membrane", "on": {"ids": (0..values.len()).map(|i| i.to_string()).collect::<Vec<_>>()},
                "rate": {"by": "spread", "m2_per_l": 2.0, "coats": 2}, "waste_share": waste, "pack": pack}]}))
        };
        let out = with(&values);
        let reversed: Vec<f64> = values.iter().rev().copied().collect();
        let (needed, with_waste) = (out.needed.unwrap(), out.with_waste.unwrap());
        prop_assert!((needed - with(&reversed).needed.unwrap()).abs() < 1e-9 * needed.max(1.0));
        let held = out.in_packs.unwrap();
        prop_assert!(held >= with_waste * (1.0 - 1e-8) - 1e-8 && held < with_waste + pack * (1.0 + 1e-8));
        prop_assert!((out.by_kind.iter().map(|k| k.needed).sum::<f64>() - needed).abs() < 1e-9 * needed.max(1.0));
    }
}
