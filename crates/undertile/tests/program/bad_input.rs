//! Whatever is handed in, the program answers or says what would be right; it does not break down.

use crate::examples;
use crate::run::{compute, refused, undertile};
use serde_json::{Value, json};

/// Bytes that are no sound input of any computation.
pub fn hostile() -> Vec<(&'static str, Vec<u8>)> {
    let utf16 = |text: &str, bom: &[u8]| [bom.to_vec(), text.encode_utf16().flat_map(u16::to_le_bytes).collect()].concat();
    vec![
        ("nothing", Vec::new()),
        ("blanks", b" \n\t \r\n".to_vec()),
        ("a byte order mark alone", b"\xEF\xBB\xBF".to_vec()),
        ("null", b"null".to_vec()),
        ("a list", b"[]".to_vec()),
        ("a number", b"12".to_vec()),
        ("text", b"\"falls\"".to_vec()),
        ("NaN", b"NaN".to_vec()),
        ("a field that is NaN", b"{\"surface\": NaN}".to_vec()),
        ("a field that is infinite", b"{\"air_c\": Infinity, \"rh\": -Infinity}".to_vec()),
        ("a number too large", b"{\"air_c\": 1e999, \"flow_l_min\": 1e999}".to_vec()),
        ("a number of a million digits", [b"{\"air_c\": 1".to_vec(), vec![b'0'; 1_000_000], b"}".to_vec()].concat()),
        ("cut short", b"{\"surface\": {\"grid\": {\"nx\": 5, ".to_vec()),
        ("a comma too many", b"{\"air_c\": 20,}".to_vec()),
        ("two documents", b"{} {}".to_vec()),
        ("a field given twice", b"{\"air_c\": 20, \"air_c\": 21, \"surface\": {}, \"surface\": {}}".to_vec()),
        ("an unknown field", b"{\"certificate\": true}".to_vec()),
        ("lists in lists", vec![b'['; 1_000_000]),
        ("objects in objects", b"{\"surface\":".repeat(200_000)),
        ("a comment", b"// levels\n{}".to_vec()),
        ("a table", b"x,y,z\n1,2,3\n".to_vec()),
        ("bytes that are no text", b"\xFF\xFE\xFD\xC0\xAF\x80".to_vec()),
        ("zero bytes", vec![0; 4096]),
        ("UTF-16", utf16("[]", b"\xFF\xFE")),
        ("UTF-16 without a mark", utf16("{\"surface\": 1}", b"")),
        ("half of a UTF-16 character", b"\xFF\xFE\x00\xD8".to_vec()),
        ("a name of a million letters", [b"{\"".to_vec(), vec![b'a'; 1_000_000], b"\": 1}".to_vec()].concat()),
        ("a control character", b"{\"surface\": \"\x01\x1b[31m\"}".to_vec()),
        ("a lone surrogate", b"{\"surface\": \"\\ud800\"}".to_vec()),
    ]
}

#[test]
fn hostile_bytes_are_refused_with_what_would_be_right() {
    for computation in engine::registry::ALL {
        for (what, bytes) in hostile() {
            let problems = refused(computation.name, &bytes);
            assert!(problems.iter().all(|problem| problem.to_string().len() < 2_000), "{}: {what}: too long to read", computation.name);
        }
    }
}

/// Nothing handed in is no measurement: what must be there is named.
#[test]
fn an_empty_object_is_refused_with_what_is_missing() {
    for computation in engine::registry::ALL {
        let schema = computation.schema();
        let required = schema["input"]["required"].as_array().map(Vec::as_slice).unwrap_or_default();
        if required.is_empty() {
            continue;
        }
        let problems = refused(computation.name, b"{}");
        for field in required {
            assert!(problems.iter().any(|problem| problem["field"] == *field), "{}: {field} is not named: {problems:?}", computation.name);
        }
    }
}

#[test]
fn several_mistakes_are_found_together() {
    let problems = refused("climate", br#"{"air_c": 200, "rh": 65, "surface_c": "cold"}"#);
    for field in ["air_c", "rh", "surface_c"] {
        assert!(problems.iter().any(|problem| problem["field"] == field), "{field} is not named in {problems:#?}");
    }
}

#[test]
fn a_misspelt_field_is_named() {
    let mut input = examples::input("climate");
    input["surfaec_c"] = input["surface_c"].take();
    input.as_object_mut().unwrap().remove("surface_c");
    let problems = refused("climate", input.to_string().as_bytes());
    assert!(problems.iter().any(|problem| problem.to_string().contains("surfaec_c")), "{problems:#?}");
}

/// An editor's byte order mark, or UTF-16 from a spreadsheet, is not the user's mistake.
#[test]
fn the_encoding_of_sound_input_does_not_matter() {
    let text = examples::input("climate").to_string();
    let plain = undertile(&["compute", "climate"], text.as_bytes()).out;
    assert!(!plain.is_empty());
    let marked = [b"\xEF\xBB\xBF", text.as_bytes()].concat();
    let little: Vec<u8> = [0xFEFF].into_iter().chain(text.encode_utf16()).flat_map(u16::to_le_bytes).collect();
    let big: Vec<u8> = [0xFEFF].into_iter().chain(text.encode_utf16()).flat_map(u16::to_be_bytes).collect();
    for bytes in [marked, little, big] {
        assert_eq!(undertile(&["compute", "climate"], &bytes).out, plain);
    }
}

/// Every place of a value that holds nothing below it.
pub fn leaves(value: &Value, place: String, found: &mut Vec<String>) {
    match value {
        Value::Array(items) => items.iter().enumerate().for_each(|(i, item)| leaves(item, format!("{place}/{i}"), found)),
        Value::Object(fields) => fields.iter().for_each(|(name, field)| leaves(field, format!("{place}/{name}"), found)),
        _ => found.push(place),
    }
}

/// Values that are right nowhere, or nearly.
pub fn absurd() -> [Value; 8] {
    [json!(null), json!("x"), json!(0), json!(-1), json!(1e300), json!(-1e300), json!(1e-300), json!(u64::MAX)]
}

/// One value of a sound input replaced by something absurd: answered or refused, without breaking down, and within the
/// memory of a phone. Long lists are sampled; their members are alike.
#[test]
fn one_absurd_value_never_breaks_a_computation() {
    for computation in engine::registry::ALL {
        let sound = examples::input(computation.name);
        compute(computation.name, &sound);
        let mut places = Vec::new();
        leaves(&sound, String::new(), &mut places);
        let step = places.len().div_ceil(40);
        for place in places.iter().step_by(step) {
            for value in &absurd() {
                let mut input = sound.clone();
                *input.pointer_mut(place).unwrap() = value.clone();
                let ran = undertile(&["compute", computation.name], input.to_string().as_bytes());
                match ran.code {
                    Some(0) => drop(serde_json::from_str::<Value>(&ran.out).unwrap()),
                    _ => drop(crate::run::problems(&ran)),
                }
            }
        }
    }
}

/// An empty list, a doubled member and a missing field are as ordinary on site as a wrong number.
#[test]
fn a_list_emptied_doubled_or_dropped_never_breaks_a_computation() {
    fn lists(value: &Value, place: String, found: &mut Vec<String>) {
        match value {
            Value::Array(items) => {
                found.push(place.clone());
                items.iter().take(3).enumerate().for_each(|(i, item)| lists(item, format!("{place}/{i}"), found));
            }
            Value::Object(fields) => fields.iter().for_each(|(name, field)| lists(field, format!("{place}/{name}"), found)),
            _ => {}
        }
    }
    let changes: [fn(&mut Vec<Value>); 4] =
        [Vec::clear, |items| items.truncate(1), |items| items.extend(items.clone()), |items| items.reverse()];
    for computation in engine::registry::ALL {
        let sound = examples::input(computation.name);
        let mut places = Vec::new();
        lists(&sound, String::new(), &mut places);
        for place in &places {
            for change in changes {
                let mut input = sound.clone();
                change(input.pointer_mut(place).unwrap().as_array_mut().unwrap());
                let ran = undertile(&["compute", computation.name], input.to_string().as_bytes());
                assert!(ran.code == Some(0) || !crate::run::problems(&ran).is_empty());
            }
        }
    }
}
