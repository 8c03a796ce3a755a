//! A type's JSON Schema, made quick to check against.
//!
//! Understood: what `schemars` writes for serde types: `$ref`, `allOf`, `anyOf`, `oneOf`, `type`, `const`, `enum`,
//! `properties`, `required`, `additionalProperties`, `unevaluatedProperties`, `items`, `prefixItems`, `minItems`,
//! `maxItems`, `minimum`, `maximum`, `exclusiveMinimum`, `exclusiveMaximum`, `minLength`, `maxLength`. Other keywords
//! (`pattern`, `format`) are published but not checked here.

use serde_json::{Map, Value};
use std::collections::BTreeMap;

/// Kinds of value as bits.
pub(super) mod kind {
    pub const NULL: u8 = 1;
    pub const BOOL: u8 = 2;
    pub const INTEGER: u8 = 4;
    pub const NUMBER: u8 = 8;
    pub const TEXT: u8 = 16;
    pub const LIST: u8 = 32;
    pub const OBJECT: u8 = 64;
    pub const ANY: u8 = 127;
}

pub(super) type Id = usize;

/// What one place in a document may hold.
#[derive(Debug, Default)]
pub(super) struct Shape {
    /// Kinds allowed, as bits of [`kind`].
    pub kinds: u8,
    /// The only values allowed, when there is such a list.
    pub words: Option<Vec<Value>>,
    pub min: Option<f64>,
    pub max: Option<f64>,
    pub above: Option<f64>,
    pub below: Option<f64>,
    pub letters_min: Option<usize>,
    pub letters_max: Option<usize>,
    pub fields: Vec<Field>,
    pub others: Others,
    /// What each item of a list may be, after `first`.
    pub items: Option<Id>,
    pub first: Vec<Id>,
    pub items_min: Option<usize>,
    pub items_max: Option<usize>,
    /// One of these must fit; then everything above but `kinds` is empty.
    pub branches: Vec<Id>,
    /// What the schema says about it, first sentence.
    pub says: Option<String>,
}

impl Shape {
    /// Whether it is nothing but a number, a null where allowed, inside bounds: then lists of it are checked in one loop.
    pub fn is_plain_number(&self) -> bool {
        self.kinds & kind::NUMBER != 0 && self.words.is_none() && self.branches.is_empty()
    }

    pub fn field(&self, name: &str) -> Option<&Field> {
        if self.fields.len() <= 6 {
            self.fields.iter().find(|f| f.name == name)
        } else {
            self.fields.binary_search_by(|f| f.name.as_str().cmp(name)).ok().map(|i| &self.fields[i])
        }
    }

    /// Whether a number keeps the bounds.
    pub fn allows(&self, x: f64) -> bool {
        self.min.is_none_or(|m| x >= m)
            && self.max.is_none_or(|m| x <= m)
            && self.above.is_none_or(|m| x > m)
            && self.below.is_none_or(|m| x < m)
    }

    /// "between 0 and 1", "above 0 and at most 5".
    pub fn bounds_words(&self) -> String {
        if let (Some(min), Some(max), None, None) = (self.min, self.max, self.above, self.below) {
            return format!("between {min} and {max}");
        }
        let part = |words: &str, bound: Option<f64>| bound.map(|b| format!("{words} {b}"));
        [part("at least", self.min), part("above", self.above), part("at most", self.max), part("below", self.below)]
            .into_iter()
            .flatten()
            .collect::<Vec<_>>()
            .join(" and ")
    }
}

#[derive(Debug)]
pub(super) struct Field {
    pub name: String,
    pub shape: Id,
    pub required: bool,
}

/// What fields beside the named ones an object may have.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) enum Others {
    #[default]
    Any,
    None,
    Each(Id),
}

/// All shapes of one type.
#[derive(Debug)]
pub(super) struct Shapes {
    shapes: Vec<Shape>,
    pub root: Id,
}

impl std::ops::Index<Id> for Shapes {
    type Output = Shape;
    fn index(&self, id: Id) -> &Shape {
        &self.shapes[id]
    }
}

impl Shapes {
    /// From a schema with its `$defs`.
    pub fn of(schema: &Value) -> Self {
        let mut compiler = Compiler { root: schema, shapes: Vec::new(), known: BTreeMap::new() };
        let root = compiler.compile(schema);
        Self { shapes: compiler.shapes, root }
    }

    /// The branches of a shape, branches of branches included; a shape without branches is its own.
    pub fn leaves(&self, id: Id) -> Vec<Id> {
        let mut leaves = Vec::new();
        let mut open = vec![id];
        let mut seen = Vec::new();
        while let Some(id) = open.pop() {
            if seen.contains(&id) {
                continue;
            }
            seen.push(id);
            let branches = &self[id].branches;
            if branches.is_empty() { leaves.push(id) } else { open.extend(branches.iter().rev()) }
        }
        leaves
    }
}

/// Keywords that say something without asking anything.
const REMARKS: [&str; 10] =
    ["title", "description", "default", "examples", "deprecated", "readOnly", "writeOnly", "$comment", "$schema", "$defs"];

struct Compiler<'a> {
    root: &'a Value,
    shapes: Vec<Shape>,
    /// Shapes by the text of their schema, so that a type that contains itself ends somewhere.
    known: BTreeMap<String, Id>,
}

impl Compiler<'_> {
    fn compile(&mut self, schema: &Value) -> Id {
        let key = if std::ptr::eq(schema, self.root) { String::new() } else { schema.to_string() };
        if let Some(id) = self.known.get(&key) {
            return *id;
        }
        let id = self.shapes.len();
        self.shapes.push(Shape::default());
        self.known.insert(key, id);
        let shape = self.shape(schema);
        self.shapes[id] = shape;
        id
    }

    fn shape(&mut self, schema: &Value) -> Shape {
        let Some(schema) = self.resolved(schema, 0) else {
            return Shape { kinds: if schema == &Value::Bool(false) { 0 } else { kind::ANY }, ..Shape::default() };
        };
        let says = schema.get("description").and_then(Value::as_str).map(first_sentence);
        if let Some(branches) = schema.get("anyOf").or(schema.get("oneOf")).and_then(Value::as_array) {
            let mut base = schema.clone();
            base.remove("anyOf");
            base.remove("oneOf");
            let bare = base.keys().all(|k| REMARKS.contains(&k.as_str()));
            let branches = branches.iter().map(|branch| if bare { self.compile(branch) } else { self.joined(&base, branch) }).collect();
            return Shape { kinds: kind::ANY, branches, says, ..Shape::default() };
        }
        let number = |key: &str| schema.get(key).and_then(Value::as_f64);
        let count = |key: &str| schema.get(key).and_then(Value::as_u64).map(|n| n as usize);
        let words = match (schema.get("const"), schema.get("enum").and_then(Value::as_array)) {
            (Some(only), _) => Some(vec![only.clone()]),
            (None, Some(words)) => Some(words.clone()),
            (None, None) => None,
        };
        let kinds = match (kinds_of(schema.get("type")), &words) {
            (Some(kinds), _) => kinds,
            (None, Some(words)) => words.iter().map(kind_of).fold(0, |a, b| a | b),
            (None, None) => kind::ANY,
        };
        let required: Vec<&str> =
            schema.get("required").and_then(Value::as_array).into_iter().flatten().filter_map(Value::as_str).collect();
        let mut fields: Vec<Field> = schema
            .get("properties")
            .and_then(Value::as_object)
            .into_iter()
            .flatten()
            .map(|(name, inner)| Field { name: name.clone(), shape: self.compile(inner), required: required.contains(&name.as_str()) })
            .collect();
        fields.sort_by(|a, b| a.name.cmp(&b.name));
        let others = match schema.get("additionalProperties").or(schema.get("unevaluatedProperties")) {
            Some(Value::Bool(false)) => Others::None,
            Some(inner @ Value::Object(_)) => Others::Each(self.compile(inner)),
            _ => Others::Any,
        };
        let first: Vec<Id> = schema.get("prefixItems").and_then(Value::as_array).into_iter().flatten().map(|s| self.compile(s)).collect();
        let items = schema.get("items").filter(|s| s.is_object()).map(|s| self.compile(s));
        Shape {
            kinds,
            words,
            min: number("minimum"),
            max: number("maximum"),
            above: number("exclusiveMinimum"),
            below: number("exclusiveMaximum"),
            letters_min: count("minLength"),
            letters_max: count("maxLength"),
            fields,
            others,
            items,
            first,
            items_min: count("minItems"),
            items_max: count("maxItems"),
            branches: Vec::new(),
            says,
        }
    }

    /// A branch together with what is asked beside the branches.
    fn joined(&mut self, base: &Map<String, Value>, branch: &Value) -> Id {
        let mut both = self.resolved(branch, 0).unwrap_or_default();
        join(&mut both, base.clone());
        self.compile(&Value::Object(both))
    }

    /// A schema with its `$ref` and `allOf` put in place; `None` for `true` and `false`.
    fn resolved(&self, schema: &Value, depth: usize) -> Option<Map<String, Value>> {
        let mut own = schema.as_object()?.clone();
        if depth > 32 {
            return Some(own);
        }
        let mut parts = Vec::new();
        if let Some(Value::String(reference)) = own.remove("$ref") {
            parts.extend(self.target(&reference).and_then(|target| self.resolved(target, depth + 1)));
        }
        if let Some(Value::Array(all)) = own.remove("allOf") {
            parts.extend(all.iter().filter_map(|part| self.resolved(part, depth + 1)));
        }
        for part in parts {
            join(&mut own, part);
        }
        Some(own)
    }

    /// What `#/$defs/Name` points to.
    fn target(&self, reference: &str) -> Option<&Value> {
        self.root.pointer(reference.strip_prefix('#')?)
    }
}

/// Adds to `into` what `from` asks. Fields are united, and a closed object stays closed over the fields of both, as serde
/// takes flattened and tagged types.
fn join(into: &mut Map<String, Value>, from: Map<String, Value>) {
    for (key, value) in from {
        match (key.as_str(), into.get_mut(&key), value) {
            ("properties", Some(Value::Object(have)), Value::Object(more)) => {
                for (name, schema) in more {
                    have.entry(name).or_insert(schema);
                }
            }
            ("required", Some(Value::Array(have)), Value::Array(more)) => have.extend(more),
            ("additionalProperties" | "unevaluatedProperties", Some(have), Value::Bool(false)) => *have = Value::Bool(false),
            (_, Some(_), _) => {}
            (_, None, value) => {
                into.insert(key, value);
            }
        }
    }
}

fn kinds_of(types: Option<&Value>) -> Option<u8> {
    let one = |name: &str| match name {
        "null" => kind::NULL,
        "boolean" => kind::BOOL,
        "integer" => kind::INTEGER,
        "number" => kind::NUMBER | kind::INTEGER,
        "string" => kind::TEXT,
        "array" => kind::LIST,
        "object" => kind::OBJECT,
        _ => 0,
    };
    match types? {
        Value::String(name) => Some(one(name)),
        Value::Array(names) => Some(names.iter().filter_map(Value::as_str).map(one).fold(0, |a, b| a | b)),
        _ => None,
    }
}

fn kind_of(value: &Value) -> u8 {
    match value {
        Value::Null => kind::NULL,
        Value::Bool(_) => kind::BOOL,
        Value::Number(_) => kind::NUMBER | kind::INTEGER,
        Value::String(_) => kind::TEXT,
        Value::Array(_) => kind::LIST,
        Value::Object(_) => kind::OBJECT,
    }
}

fn first_sentence(text: &str) -> String {
    let line = text.split("\n\n").next().unwrap_or(text).replace('\n', " ");
    let end = line.find(". ").unwrap_or(line.len());
    line[..end].trim_end_matches('.').to_string()
}
