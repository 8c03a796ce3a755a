//! One line of a log, a strict JSON object, to a value.

use measure::{Problem, Problems};
use schemars::JsonSchema;
use serde::de::{DeserializeOwned, DeserializeSeed, Deserializer, Error, MapAccess, SeqAccess, Visitor};
use std::borrow::Cow;
use std::fmt;

/// How deep lists and objects may stand in one another; `intake` holds the same.
const DEPTH: usize = 64;

/// The object a line holds, or everything that keeps it from being one.
///
/// A sound line takes the quick way; one with a fault is read again by `intake`, which finds all of them. Refused: bytes
/// that are not UTF-8, a line break, anything around the object, a field twice, nesting over 64, more than `most` bytes.
/// Fields of no name known here are left aside: a later version may add some.
pub(crate) fn read<T: DeserializeOwned + JsonSchema>(bytes: &[u8], most: usize) -> Result<T, Problems> {
    glance(bytes, most).map_err(|first| {
        // `intake` bounds what it reads as this does, so it finds the fault too; should it not, the first reader's word stands.
        let again = bytes.len() <= most && !bytes.contains(&b'\n') && is_object(bytes);
        again.then(|| intake::json::read::<T>("", bytes).err()).flatten().unwrap_or(first)
    })
}

/// The same, content with the first fault: a damaged log may have many such lines.
pub(crate) fn glance<T: DeserializeOwned>(bytes: &[u8], most: usize) -> Result<T, Problems> {
    let problem = if bytes.len() > most {
        Problem::at("", "the line is too long", format!("at most {most} bytes")).value(format!("{} bytes", bytes.len()))
    } else if bytes.contains(&b'\n') {
        Problem::at("", "a line break inside", "one line")
    } else if !is_object(bytes) {
        Problem::at("", "not a JSON object on a line of its own", "{...}, nothing before or after it")
    } else {
        match strict(bytes).and_then(|()| serde_json::from_slice(bytes)) {
            Ok(value) => return Ok(value),
            Err(error) => Problem::at("", error.to_string(), ""),
        }
    };
    Err(problem.into())
}

fn is_object(bytes: &[u8]) -> bool {
    bytes.first() == Some(&b'{') && bytes.last() == Some(&b'}')
}

/// Whether every object has each field once and nothing is nested too deep.
fn strict(bytes: &[u8]) -> Result<(), serde_json::Error> {
    let mut json = serde_json::Deserializer::from_slice(bytes);
    Strict { depth: 0 }.deserialize(&mut json)?;
    json.end()
}

/// Whether the bytes are the beginning of a JSON object and stop before its end: what an append leaves that was cut off.
pub(crate) fn cut_off(bytes: &[u8]) -> bool {
    bytes.first() == Some(&b'{') && strict(bytes).is_err_and(|error| error.is_eof())
}

#[derive(Clone, Copy)]
struct Strict {
    depth: usize,
}

impl Strict {
    fn deeper<E: Error>(self) -> Result<Self, E> {
        if self.depth == DEPTH { Err(E::custom("nested more than 64 deep")) } else { Ok(Self { depth: self.depth + 1 }) }
    }
}

impl<'de> DeserializeSeed<'de> for Strict {
    type Value = ();
    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<(), D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Strict {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("JSON")
    }

    fn visit_bool<E>(self, _: bool) -> Result<(), E> {
        Ok(())
    }

    fn visit_i64<E>(self, _: i64) -> Result<(), E> {
        Ok(())
    }

    fn visit_u64<E>(self, _: u64) -> Result<(), E> {
        Ok(())
    }

    fn visit_f64<E>(self, _: f64) -> Result<(), E> {
        Ok(())
    }

    fn visit_str<E>(self, _: &str) -> Result<(), E> {
        Ok(())
    }

    fn visit_unit<E>(self) -> Result<(), E> {
        Ok(())
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<(), A::Error> {
        let inner = self.deeper()?;
        while list.next_element_seed(inner)?.is_some() {}
        Ok(())
    }

    fn visit_map<A: MapAccess<'de>>(self, mut object: A) -> Result<(), A::Error> {
        let inner = self.deeper()?;
        let mut names: Vec<Cow<'de, str>> = Vec::new();
        while let Some(Name(name)) = object.next_key()? {
            names.push(name);
            object.next_value_seed(inner)?;
        }
        names.sort_unstable();
        match names.windows(2).find(|pair| pair[0] == pair[1]) {
            Some(pair) => Err(A::Error::custom(format!("the field {} stands twice in one object", pair[0]))),
            None => Ok(()),
        }
    }
}

/// A field's name, borrowed where no escape stands in it.
#[derive(serde::Deserialize)]
#[serde(transparent)]
struct Name<'a>(#[serde(borrow)] Cow<'a, str>);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_an_append_leaves_is_told_from_what_damage_leaves() {
        let whole = br#"{"a":"x\u00e9","b":[1,2,{"c":null}]}"#;
        for end in 1..whole.len() {
            assert!(cut_off(&whole[..end]), "{}", String::from_utf8_lossy(&whole[..end]));
        }
        assert!(!cut_off(whole), "whole");
        assert!(!cut_off(b""), "nothing");
        assert!(!cut_off(br#"{"a":1}J"#), "a new line that became a letter");
        assert!(!cut_off(br#"{"a";1"#), "a changed sign");
        assert!(!cut_off(br#"{"a":1,"a":2}"#), "a field twice");
    }
}
