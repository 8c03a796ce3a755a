//! The description of all addresses for programs: OpenAPI 3.1, made from [`crate::routes::ROUTES`] and the schemas the rest of
//! the program has already. A second set of derives on every type, as generators of it ask for, could say something else.

use crate::problem::{self, Kind};
use crate::reply::{self, Reply};
use crate::routes::{ALWAYS, Gives, Part, ROUTES, Route, Takes};
use engine::registry::{self, Computation};
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;
use std::sync::LazyLock;

static DESCRIPTION: LazyLock<String> = LazyLock::new(|| format!("{:#}\n", describe()));

/// `GET /openapi.json`
pub async fn serve() -> Reply {
    Ok(reply::bytes("application/json", DESCRIPTION.as_str()))
}

/// The description.
fn describe() -> Value {
    let mut schemas = Map::new();
    schemas.insert("Refusal".into(), problem::schema());
    let mut paths: Map<String, Value> = Map::new();
    for route in ROUTES {
        let method = route.method.to_lowercase();
        if matches!(route.takes, Takes::Computation) {
            for computation in registry::ALL {
                let path = route.path.replace("{name}", computation.name);
                paths.insert(path, json!({ (&method): operation(route, Some(computation), &mut schemas) }));
            }
        } else {
            paths.entry(route.path).or_insert(json!({}))[method] = operation(route, None, &mut schemas);
        }
    }
    json!({
        "openapi": "3.1.0",
        "info": {
            "title": "undertile",
            "version": env!("CARGO_PKG_VERSION"),
            "description": "May this layer be covered? Results support a competent person's judgement; they do not replace the \
                adopted code, the membrane maker's data sheet or licensed practice.",
        },
        "paths": paths,
        "components": { "schemas": schemas },
    })
}

fn operation(route: &Route, computation: Option<&Computation>, schemas: &mut Map<String, Value>) -> Value {
    let name = operation_name(route, computation);
    let summary = computation.map_or(route.summary, |computation| computation.help);
    let parameter = |place: &str, part: &Part| json!({ "name": part.name, "in": place, "required": place == "path", "description": part.says, "schema": (part.schema)() });
    let parts = route.parts.iter().map(|part| parameter("path", part)).chain(route.asks.iter().map(|part| parameter("query", part)));
    let mut operation = json!({
        "operationId": name,
        "summary": summary,
        "parameters": parts.collect::<Vec<_>>(),
        "responses": responses(route, computation, &name, schemas),
    });
    let body = match route.takes {
        Takes::Json(schema) => Some(("application/json", hoist(&format!("{name}.input"), schema(), schemas))),
        Takes::Lines => Some(("application/jsonl", json!({ "type": "string" }))),
        Takes::Nothing | Takes::Computation => None,
    };
    if let Some((media_type, schema)) = body {
        operation["requestBody"] = json!({ "required": true, "content": { media_type: { "schema": schema } } });
    }
    if let Some(computation) = computation {
        operation["description"] = json!(format!("Sources: {}", computation.sources.join("; ")));
        let input = hoist(&format!("{name}.input"), computation.schema()["input"].take(), schemas);
        operation["requestBody"] = json!({ "required": true, "content": { "application/json": { "schema": input } } });
    }
    operation
}

fn operation_name(route: &Route, computation: Option<&Computation>) -> String {
    let path = computation.map_or_else(|| route.path.to_owned(), |computation| route.path.replace("{name}", computation.name));
    let words = path.split(['/', '.', '{', '}']).filter(|word| !word.is_empty());
    format!("{}-{}", route.method.to_lowercase(), words.collect::<Vec<_>>().join("-"))
}

fn responses(route: &Route, computation: Option<&Computation>, name: &str, schemas: &mut Map<String, Value>) -> Value {
    let (media_type, schema) = match (route.gives, computation) {
        (Gives::Computation, Some(computation)) => ("application/json", computation.schema()["output"].take()),
        (Gives::Computation, None) => ("application/json", json!({ "type": "object" })),
        (Gives::Json(schema) | Gives::Begun(schema) | Gives::Tagged(schema), _) => ("application/json", schema()),
        (Gives::File, _) => ("*/*", json!({})),
        (Gives::Text(media_type), _) => (media_type, json!({ "type": "string" })),
    };
    let schema = hoist(&format!("{name}.output"), schema, schemas);
    let mut responses = Map::new();
    let status = if matches!(route.gives, Gives::Begun(_)) { "201" } else { "200" };
    responses.insert(status.into(), json!({ "description": route.summary, "content": { media_type: { "schema": schema } } }));
    if matches!(route.gives, Gives::Tagged(_) | Gives::File) {
        responses.insert("304".into(), json!({ "description": "what `If-None-Match` names is still so" }));
    }
    let mut refusals: BTreeMap<u16, &Kind> = BTreeMap::new();
    refusals.extend(ALWAYS.iter().chain(route.refuses).map(|kind| (kind.status, *kind)));
    for (status, kind) in refusals {
        let schema = json!({ "$ref": "#/components/schemas/Refusal" });
        let content = json!({ "application/problem+json": { "schema": schema } });
        responses.insert(status.to_string(), json!({ "description": kind.title, "content": content }));
    }
    Value::Object(responses)
}

/// Puts a schema and what it defines among the components under a name of their own, and gives the reference to it: inside this
/// document `#/$defs/...` would point nowhere.
fn hoist(name: &str, mut schema: Value, schemas: &mut Map<String, Value>) -> Value {
    let definitions = schema.as_object_mut().and_then(|schema| {
        schema.remove("$schema");
        schema.remove("$defs")
    });
    point(name, &mut schema);
    schemas.insert(name.into(), schema);
    if let Some(Value::Object(definitions)) = definitions {
        for (inner, mut definition) in definitions {
            point(name, &mut definition);
            schemas.insert(format!("{name}.{inner}"), definition);
        }
    }
    json!({ "$ref": format!("#/components/schemas/{name}") })
}

fn point(name: &str, schema: &mut Value) {
    match schema {
        Value::Object(object) => {
            if let Some(Value::String(to)) = object.get_mut("$ref")
                && let Some(inner) = to.strip_prefix("#/$defs/")
            {
                *to = format!("#/components/schemas/{name}.{inner}");
            }
            object.values_mut().for_each(|inner| point(name, inner));
        }
        Value::Array(list) => list.iter_mut().for_each(|inner| point(name, inner)),
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn references(value: &Value, into: &mut Vec<String>) {
        match value {
            Value::Object(object) => {
                into.extend(object.get("$ref").and_then(Value::as_str).map(Into::into));
                object.values().for_each(|inner| references(inner, into));
            }
            Value::Array(list) => list.iter().for_each(|inner| references(inner, into)),
            _ => {}
        }
    }

    #[test]
    fn every_reference_leads_somewhere() {
        let description = describe();
        let mut found = Vec::new();
        references(&description, &mut found);
        assert!(found.len() > 100);
        for reference in found {
            assert!(description.pointer(reference.trim_start_matches('#')).is_some(), "{reference}");
        }
    }

    #[test]
    fn names_of_components_and_operations_are_as_openapi_asks() {
        let description = describe();
        let plain = |c: char| c.is_ascii_alphanumeric() || ".-_".contains(c);
        for name in description["components"]["schemas"].as_object().unwrap().keys() {
            assert!(name.chars().all(plain), "{name}");
        }
        let operations = description["paths"].as_object().unwrap().values().flat_map(|path| path.as_object().unwrap().values());
        let mut ids: Vec<&str> = operations.map(|operation| operation["operationId"].as_str().unwrap()).collect();
        let all = ids.len();
        ids.sort_unstable();
        ids.dedup();
        assert_eq!(ids.len(), all);
    }
}
