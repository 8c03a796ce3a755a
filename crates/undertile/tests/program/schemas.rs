//! The schemas the program prints: well formed, and the same as those published in `docs/schema`.

use crate::run::undertile;
use serde_json::Value;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// Set to write `docs/schema` anew instead of comparing: `cargo xtask schema`.
const UPDATE: &str = "UNDERTILE_UPDATE_SCHEMAS";

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/schema")
}

/// What `undertile schema` prints for everything that has a schema, by file name.
fn printed() -> BTreeMap<String, String> {
    let computations = engine::registry::ALL.iter().map(|computation| computation.name);
    let files = engine::schemas::FILES.iter().map(|file| file.name);
    let print = |name: &str| {
        let ran = undertile(&["schema", name], b"");
        assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""), "{name}");
        (format!("{name}.json"), ran.out)
    };
    computations.chain(files).map(print).collect()
}

fn published() -> BTreeMap<String, String> {
    let entries = fs::read_dir(folder()).into_iter().flatten().map(|entry| entry.unwrap());
    entries.map(|entry| (entry.file_name().into_string().unwrap(), fs::read_to_string(entry.path()).unwrap())).collect()
}

#[test]
fn published_schemas_are_those_of_the_program() {
    let printed = printed();
    if std::env::var_os(UPDATE).is_some() {
        fs::create_dir_all(folder()).unwrap();
        published().keys().filter(|name| !printed.contains_key(*name)).for_each(|name| fs::remove_file(folder().join(name)).unwrap());
        printed.iter().for_each(|(name, text)| fs::write(folder().join(name), text).unwrap());
    }
    let published = published();
    let differ: Vec<&String> = printed.keys().chain(published.keys()).filter(|name| printed.get(*name) != published.get(*name)).collect();
    assert!(differ.is_empty(), "docs/schema is out of date: {differ:?}; run `cargo xtask schema` and read the difference");
}

/// The parts of a printed schema that are schemas themselves.
fn roots(text: &str) -> Vec<Value> {
    let mut schema: Value = serde_json::from_str(text).unwrap();
    if schema.get("input").is_some() { vec![schema["input"].take(), schema["output"].take()] } else { vec![schema] }
}

/// JSON Schema 2020-12, core 8.1.1, 8.2.3 and validation 6.1.1: the dialect is named, references lead somewhere, types
/// are the seven there are.
#[test]
fn schemas_are_json_schema_2020_12() {
    for (name, text) in printed() {
        for root in roots(&text) {
            assert_eq!(root["$schema"], "https://json-schema.org/draft/2020-12/schema", "{name}");
            look(&root, &root, &name);
        }
    }
}

fn look(schema: &Value, root: &Value, name: &str) {
    const TYPES: [&str; 7] = ["null", "boolean", "object", "array", "number", "string", "integer"];
    match schema {
        Value::Object(fields) => {
            if let Some(Value::String(reference)) = fields.get("$ref") {
                let place = reference.strip_prefix('#').unwrap_or_else(|| panic!("{name}: {reference} leads out of the document"));
                assert!(root.pointer(place).is_some(), "{name}: {reference} leads nowhere");
            }
            match fields.get("type") {
                Some(Value::String(one)) => assert!(TYPES.contains(&one.as_str()), "{name}: type {one}"),
                Some(Value::Array(several)) => {
                    assert!(several.iter().all(|one| TYPES.iter().any(|known| one == known)), "{name}: {several:?}")
                }
                _ => {}
            }
            fields.values().for_each(|field| look(field, root, name));
        }
        Value::Array(items) => items.iter().for_each(|item| look(item, root, name)),
        _ => {}
    }
}

/// A field whose name says its unit still has to say what it is.
#[test]
fn every_field_of_an_input_is_described() {
    let mut bare = Vec::new();
    for (name, text) in printed() {
        undescribed(&roots(&text)[0], &name, &mut bare);
    }
    assert!(bare.is_empty(), "without a description:\n{}", bare.join("\n"));
}

fn undescribed(schema: &Value, place: &str, bare: &mut Vec<String>) {
    if let Some(Value::Object(properties)) = schema.get("properties") {
        let described = |field: &Value| field.get("description").is_some() || field.get("const").is_some() || field.get("$ref").is_some();
        bare.extend(properties.iter().filter(|(_, field)| !described(field)).map(|(field, _)| format!("{place}: {field}")));
    }
    match schema {
        Value::Object(fields) => fields.iter().for_each(|(name, field)| undescribed(field, &format!("{place}/{name}"), bare)),
        Value::Array(items) => items.iter().for_each(|item| undescribed(item, place, bare)),
        _ => {}
    }
}
