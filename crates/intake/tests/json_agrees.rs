//! Our reading of JSON against `serde_json`: the same texts are accepted, with the same values. The differences wanted:
//! fields that stand twice and nesting over 64 are refused here.

use proptest::prelude::*;
use serde_json::Value;

/// A document, then a few bytes of it changed.
fn damaged() -> impl Strategy<Value = Vec<u8>> {
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        any::<i64>().prop_map(Value::from),
        any::<f64>().prop_map(Value::from),
        "\\PC{0,6}".prop_map(Value::from),
        prop::collection::vec(prop_oneof![Just(Value::Null), (-1e6..1e6).prop_map(Value::from)], 0..6).prop_map(Value::from),
    ];
    let tree = leaf.prop_recursive(4, 24, 5, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..5).prop_map(Value::from),
            prop::collection::btree_map("[a-z\"\\\\é]{0,4}", inner, 0..5).prop_map(|m| Value::Object(m.into_iter().collect())),
        ]
    });
    let bytes = prop_oneof![any::<u8>(), prop::sample::select(&b"{}[],:\"\\0123456789.-+eEntfu \n"[..])];
    (tree, prop::collection::vec((any::<prop::sample::Index>(), bytes, 0..3u8), 0..4)).prop_map(|(value, edits)| {
        let mut text = value.to_string().into_bytes();
        for (at, byte, how) in edits {
            let at = at.index(text.len());
            match how {
                0 => text[at] = byte,
                1 => text.insert(at, byte),
                _ if text.len() > 1 => drop(text.remove(at)),
                _ => {}
            }
        }
        text
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn the_same_texts_are_accepted_with_the_same_values(bytes in damaged()) {
        let ours = intake::json::read::<Value>("x", &bytes);
        let theirs = serde_json::from_slice::<Value>(&bytes);
        match (ours, theirs) {
            (Ok(ours), Ok(theirs)) => prop_assert_eq!(ours, theirs),
            (Err(problems), Ok(_)) => prop_assert!(problems.to_string().contains("stands twice"), "{}: {}", String::from_utf8_lossy(&bytes), problems),
            (Ok(_), Err(error)) => prop_assert!(bytes.contains(&0), "{}: {}", String::from_utf8_lossy(&bytes), error),
            (Err(_), Err(_)) => {}
        }
    }

    #[test]
    fn random_bytes_never_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        let _ = intake::json::read::<Value>("x", &bytes);
        let _ = intake::text::decode("x", &bytes);
    }
}
