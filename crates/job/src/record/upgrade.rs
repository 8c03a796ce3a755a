//! Payloads of earlier versions, brought up to date one version at a time. A step that is here once stays for ever.

use super::kinds::Kind;
use measure::{Problem, Problems};
use serde_json::value::RawValue;
use std::borrow::Cow;
use std::collections::BTreeMap;

/// The fields of a payload, each as it was written.
pub(crate) type Object = BTreeMap<String, Box<RawValue>>;

/// One version up.
struct Step {
    kind: &'static str,
    /// The version it starts from.
    from: u32,
    makes: fn(Object) -> Object,
}

const STEPS: &[Step] = &[Step { kind: "reading", from: 1, makes: reading_1 }];

/// The payload as the kind's present version has it.
pub(crate) fn to_date<'a>(kind: &Kind, version: u32, payload: &'a str) -> Result<Cow<'a, str>, Problems> {
    if version >= kind.version {
        return Ok(payload.into());
    }
    let mut fields = object(payload)?;
    for version in version..kind.version {
        let step = STEPS.iter().find(|step| step.kind == kind.name && step.from == version);
        let step = step.ok_or_else(|| Problem::at("version", "no such version", "a version this kind has had").value(version))?;
        fields = (step.makes)(fields);
    }
    Ok(text(&fields).into())
}

/// Fields of a payload.
pub(crate) fn object(payload: &str) -> Result<Object, Problems> {
    serde_json::from_str(payload).map_err(|_| Problem::at("", "not an object", "an object with the fields of its kind").into())
}

/// A payload of fields.
pub(crate) fn text(fields: &Object) -> String {
    let field = |name: &String| format!("{}:{}", serde_json::Value::from(name.as_str()), fields[name].get());
    let fields: Vec<String> = fields.keys().map(field).collect();
    format!("{{{}}}", fields.join(","))
}

/// A reading was one row; now it is a list of rows.
fn reading_1(mut row: Object) -> Object {
    let replaces = row.remove("replaces");
    let rows = RawValue::from_string(format!("[{}]", text(&row))).expect("fields that were JSON are JSON in a list");
    [("rows".to_string(), rows)].into_iter().chain(replaces.map(|id| ("replaces".to_string(), id))).collect()
}

#[cfg(test)]
mod tests {
    use super::super::kinds::KINDS;
    use super::*;

    #[test]
    fn every_version_a_kind_has_had_leads_to_the_present_one() {
        for kind in KINDS {
            for version in 1..kind.version {
                assert!(STEPS.iter().any(|step| step.kind == kind.name && step.from == version), "{} {version}", kind.name);
            }
        }
    }

    #[test]
    fn a_reading_of_version_1_becomes_a_list_with_its_digits() {
        let mut fields = object(r#"{"value":1.50,"detail":"a","replaces":"x"}"#).unwrap();
        fields = reading_1(fields);
        assert_eq!(text(&fields), r#"{"replaces":"x","rows":[{"detail":"a","value":1.50}]}"#);
    }
}
