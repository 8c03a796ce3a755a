//! A document with slips of form, put right just far enough to look at the rest of it.

use super::{check, parse, shape};
use measure::{Problem, Problems};
use schemars::JsonSchema;
use serde::de::DeserializeOwned;
use serde_json::{Map, Value};

/// Documents with more slips than these are not mended: there is enough to put right first.
const SLIPS: usize = 50;
/// Larger documents are not mended either.
const BYTES: usize = 1_000_000;

/// A document with stand-ins where it did not fit. Only for finding what else is wrong, never for results.
#[derive(Debug)]
pub struct Mended<T> {
    /// The document.
    pub value: T,
    /// Fields that were left out or stand in for something else.
    pub put_aside: Vec<String>,
}

impl<T> Mended<T> {
    /// Whether a field, or what it belongs to, was put aside: what is found there says nothing.
    pub fn is_aside(&self, field: &str) -> bool {
        self.put_aside
            .iter()
            .any(|aside| field.strip_prefix(aside.as_str()).is_some_and(|rest| rest.is_empty() || rest.starts_with(['.', '['])))
    }
}

/// Puts aside what [`super::read`] refuses for its form, so that everything else can be checked in the same go. Nothing when
/// the document cannot be parsed, or has too many slips.
pub fn mended<T: DeserializeOwned + JsonSchema>(bytes: &[u8]) -> Option<Mended<T>> {
    let text = crate::text::view("", bytes).ok().filter(|text| text.len() <= BYTES)?;
    let mut document: Value = serde_json::from_str(&text).ok()?;
    let shapes = shape::Shapes::of(&crate::schema::of::<T>());
    let mut put_aside = Vec::new();
    for _ in 0..SLIPS {
        let slips = slips(&document, &shapes);
        if slips.problems.len() > SLIPS {
            return None;
        }
        let Some(slip) = slips.problems.first() else { break };
        document = candidates(&document, slip).into_iter().find(|mended| fewer(mended, &shapes, &slips))?;
        put_aside.push(slip.field.clone());
    }
    Some(Mended { value: serde_json::from_value(document).ok()?, put_aside })
}

fn slips(document: &Value, shapes: &shape::Shapes) -> Problems {
    let text = document.to_string();
    match parse::parse(&text) {
        Err(slip) => slip.problem(&text).into(),
        Ok(node) => check::check(&text, &node, shapes).err().unwrap_or_default(),
    }
}

fn fewer(document: &Value, shapes: &shape::Shapes, before: &Problems) -> bool {
    slips(document, shapes).problems.len() < before.problems.len()
}

/// The document without the field, or with something in its place that the message itself suggests.
fn candidates(document: &Value, slip: &Problem) -> Vec<Value> {
    let steps = steps(&slip.field);
    let mut stand_ins: Vec<Option<Value>> = vec![None];
    stand_ins.extend(slip.right.split('"').skip(1).step_by(2).map(|word| Some(Value::from(word))));
    let numbers = slip.right.split(|c: char| !(c.is_ascii_digit() || c == '.' || c == '-')).filter_map(|part| part.parse::<f64>().ok());
    stand_ins.extend(numbers.map(|number| Some(Value::from(number))));
    let plain = [Value::from(0), Value::from(1), Value::from("x"), Value::from(false), Value::Array(vec![]), Value::Object(Map::new())];
    stand_ins.extend(plain.into_iter().map(Some));
    stand_ins
        .into_iter()
        .filter_map(|stand_in| {
            let mut mended = document.clone();
            put(&mut mended, &steps, stand_in)?;
            Some(mended)
        })
        .collect()
}

/// A step of a path: a field, or a place in a list.
enum Step<'a> {
    Field(&'a str),
    Place(usize),
}

/// `walls[2].height_mm` in steps.
fn steps(field: &str) -> Vec<Step<'_>> {
    let mut steps = Vec::new();
    for part in field.split('.') {
        let (name, places) = part.split_once('[').unwrap_or((part, ""));
        if !name.is_empty() {
            steps.push(Step::Field(name));
        }
        steps.extend(places.split(['[', ']']).filter_map(|place| place.parse().ok()).map(Step::Place));
    }
    steps
}

/// Takes a value out, or puts one in its place. Places of a list are never taken out: later ones would change their number.
fn put(document: &mut Value, steps: &[Step<'_>], value: Option<Value>) -> Option<()> {
    match (steps, document) {
        ([Step::Field(name)], Value::Object(fields)) => match value {
            Some(value) => {
                fields.insert((*name).to_owned(), value);
            }
            None => {
                fields.remove(*name)?;
            }
        },
        ([Step::Place(place)], Value::Array(items)) => *items.get_mut(*place)? = value?,
        ([Step::Field(name), rest @ ..], Value::Object(fields)) => put(fields.get_mut(*name)?, rest, value)?,
        ([Step::Place(place), rest @ ..], Value::Array(items)) => put(items.get_mut(*place)?, rest, value)?,
        _ => return None,
    }
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde::Deserialize;

    #[derive(Deserialize, JsonSchema, Debug)]
    #[serde(rename_all = "lowercase")]
    enum Kind {
        Wet,
        Dry,
    }

    #[derive(Deserialize, JsonSchema, Debug)]
    #[serde(deny_unknown_fields)]
    struct Part {
        kind: Kind,
        #[schemars(range(min = 1.0, max = 9.0))]
        width: f64,
        #[serde(default)]
        name: Option<String>,
    }

    #[derive(Deserialize, JsonSchema, Debug)]
    #[serde(deny_unknown_fields)]
    struct Whole {
        parts: Vec<Part>,
    }

    #[test]
    fn slips_are_put_aside_and_the_rest_stays_where_it_was() {
        let text = r#"{"parts": [{"kind": "weet", "width": 3}, {"kind": "dry", "width": 30, "name": 4}, {"kind": "dry", "width": 5, "hue": 1}], "more": 2}"#;
        let mended = mended::<Whole>(text.as_bytes()).unwrap();
        assert!(matches!(mended.value.parts[0].kind, Kind::Wet | Kind::Dry));
        assert!(matches!(mended.value.parts[1].kind, Kind::Dry));
        assert_eq!((mended.value.parts[0].width, mended.value.parts[2].width), (3.0, 5.0));
        assert_eq!(mended.value.parts[1].name, None);
        for aside in ["parts[0].kind", "parts[1].width", "parts[1].name", "parts[2].hue", "more"] {
            assert!(mended.is_aside(aside), "{aside} in {:?}", mended.put_aside);
        }
        assert!(!mended.is_aside("parts[0].width"));
    }

    #[test]
    fn a_missing_field_gets_a_stand_in() {
        let mended = mended::<Whole>(br#"{"parts": [{"width": 3}]}"#).unwrap();
        assert!(mended.is_aside("parts[0].kind"));
    }

    #[test]
    fn what_cannot_be_parsed_is_not_mended() {
        for text in [&b"{"[..], b"", b"[1,2", b"{\"parts\": 3}x"] {
            assert!(mended::<Whole>(text).is_none());
        }
    }
}
