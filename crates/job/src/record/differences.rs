//! In which fields two JSON documents differ.

use super::edits::same;
use super::lossless;
use serde_json::value::RawValue;
use std::collections::{BTreeMap, BTreeSet};

type Members = BTreeMap<String, Box<RawValue>>;

/// A field that is not the same in two documents.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Difference {
    /// Names of members, ids of items.
    pub path: Vec<String>,
    /// What stands in the first, on one line.
    pub from: Option<String>,
    /// What stands in the second, on one line.
    pub to: Option<String>,
}

/// The fields in which two documents differ, in the order of their paths. Items of lists are compared by their `id`; a list
/// whose items have none is one field. `None` when a text is not JSON.
pub(crate) fn between(from: &str, to: &str) -> Option<Vec<Difference>> {
    let read = |text: &str| serde_json::from_str::<Box<RawValue>>(text.trim_start_matches('\u{feff}')).ok();
    let mut found = Vec::new();
    compare(Some(&*read(from)?), Some(&*read(to)?), &mut Vec::new(), &mut found);
    Some(found)
}

/// What stands at a path, on one line.
pub(crate) fn at(text: &str, path: &[String]) -> Option<String> {
    let mut value = serde_json::from_str::<Box<RawValue>>(text.trim_start_matches('\u{feff}')).ok()?;
    for step in path {
        value = parts(&value)?.remove(step)?;
    }
    Some(on_one_line(value.get()))
}

fn compare(from: Option<&RawValue>, to: Option<&RawValue>, path: &mut Vec<String>, found: &mut Vec<Difference>) {
    if same(from.map(RawValue::get), to.map(RawValue::get)) {
        return;
    }
    let inside = |from: &RawValue, to: &RawValue| (kind(from) == kind(to)).then(|| Some((parts(from)?, parts(to)?))).flatten();
    if let Some((from, to)) = from.zip(to).and_then(|(from, to)| inside(from, to)) {
        for name in from.keys().chain(to.keys()).collect::<BTreeSet<_>>() {
            path.push(name.clone());
            compare(from.get(name).map(|value| &**value), to.get(name).map(|value| &**value), path, found);
            path.pop();
        }
        return;
    }
    let text = |value: Option<&RawValue>| value.map(|value| on_one_line(value.get()));
    found.push(Difference { path: path.clone(), from: text(from), to: text(to) });
}

fn kind(value: &RawValue) -> Option<char> {
    value.get().chars().next()
}

/// Members by name, or items by id; `None` for what has neither.
fn parts(value: &RawValue) -> Option<Members> {
    match kind(value)? {
        '{' => serde_json::from_str(value.get()).ok(),
        '[' => {
            let items: Vec<Box<RawValue>> = serde_json::from_str(value.get()).ok()?;
            let mut parts = Members::new();
            for item in items {
                if parts.insert(lossless::id(item.get())?, item).is_some() {
                    return None;
                }
            }
            Some(parts)
        }
        _ => None,
    }
}

/// JSON without the white space between its parts.
pub(crate) fn on_one_line(text: &str) -> String {
    let (mut quoted, mut escaped) = (false, false);
    let keep = |c: &char| {
        let keep = quoted || !c.is_ascii_whitespace();
        quoted ^= *c == '"' && !escaped;
        escaped = quoted && *c == '\\' && !escaped;
        keep
    };
    text.chars().filter(keep).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(from: &str, to: &str) -> Vec<String> {
        let line = |d: Difference| {
            let word = |value: Option<String>| value.unwrap_or_else(|| "nothing".into());
            format!("{}: {} -> {}", lossless::pointer(&d.path), word(d.from), word(d.to))
        };
        between(from, to).unwrap().into_iter().map(line).collect()
    }

    #[test]
    fn items_are_compared_by_their_id_and_numbers_by_their_value() {
        let from = r#"{"walls": [{"id": "n", "height_mm": 2400}, {"id": "s", "edge": 1}], "line_mm": [[0, 0]], "name": "a \" b"}"#;
        let to = r#"{"walls":[{"id":"s","edge":1.0},{"id":"n","height_mm":2410},{"id":"w"}],"line_mm":[[0,1]],"name":"a \" c d"}"#;
        let expected = [
            "/line_mm: [[0,0]] -> [[0,1]]",
            r#"/name: "a \" b" -> "a \" c d""#,
            "/walls/n/height_mm: 2400 -> 2410",
            r#"/walls/w: nothing -> {"id":"w"}"#,
        ];
        assert_eq!(told(from, to), expected);
    }

    #[test]
    fn a_list_without_ids_or_with_one_id_twice_is_one_field() {
        assert_eq!(told("[1, 2]", "[1,3]"), [": [1,2] -> [1,3]"]);
        assert_eq!(told(r#"{"a":[{"id":"x"},{"id":"x"}]}"#, r#"{"a":[{"id":"x"}]}"#).len(), 1);
        assert_eq!(between("{", "{}"), None);
    }
}
