//! The kinds of event: names, versions, and their payloads read, brought up to date and checked.

use super::check;
use super::payload::*;
use super::upgrade;
use crate::coats::{Coat, Delivery, Used};
use crate::evidence::Entry;
use intake::json::Form;
use measure::{Problem, Problems};
use schemars::{JsonSchema, SchemaGenerator, generate::SchemaSettings};
use serde::de::DeserializeOwned;
use serde_json::value::RawValue;
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

/// A kind of event.
#[derive(Clone, Copy, Debug)]
pub struct Kind {
    /// Its name in the envelope.
    pub name: &'static str,
    /// Version of the payload that is written today. Older ones are read too.
    pub version: u32,
    /// What it adds, for people.
    pub adds: &'static str,
    holds: Holds,
    /// Whether it may correct an earlier event.
    corrects: bool,
}

/// What type a payload has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Holds {
    Document,
    Field,
    /// Edits of this file.
    Edited(&'static str),
    Readings,
    Climate,
    Gradients,
    Levels,
    Film,
    Coat,
    Delivery,
    Used,
    /// An entry of `evidence.json` of the kind's own name.
    Evidence,
    Release,
    Photograph,
    Note,
    Defect,
    Rectification,
    Withdrawn,
    DevicePaired,
    DeviceRevoked,
    Clock,
    Like,
}

const fn kind(name: &'static str, adds: &'static str, holds: Holds) -> Kind {
    Kind { name, version: 1, adds, holds, corrects: false }
}

const fn correcting(name: &'static str, adds: &'static str, holds: Holds) -> Kind {
    Kind { corrects: true, ..kind(name, adds, holds) }
}

/// Every kind of event this version understands.
pub const KINDS: &[Kind] = &[
    kind("document", "a whole file", Holds::Document),
    correcting("field", "one field of a file", Holds::Field),
    correcting("room-edited", "the room as drawn, or changes to it", Holds::Edited("room.json")),
    correcting("frame-edited", "the job's frame, or changes to it", Holds::Edited("job.json")),
    correcting("plan-edited", "changes to the inspection and test plan", Holds::Edited("plan.json")),
    correcting("sheet-edited", "data sheets, or changes to them", Holds::Edited("data-sheets.json")),
    Kind { version: 2, ..correcting("reading", "readings of quantities", Holds::Readings) },
    correcting("climate-reading", "readings of the air and a surface", Holds::Climate),
    correcting("level", "levels of one layer", Holds::Levels),
    correcting("gradient", "readings of a digital level on one layer", Holds::Gradients),
    correcting("film-reading", "readings of the film", Holds::Film),
    correcting("coat", "one coat on one or more areas", Holds::Coat),
    correcting("delivery", "material that came", Holds::Delivery),
    correcting("used", "what some coats used up", Holds::Used),
    correcting("look", "details looked at", Holds::Evidence),
    correcting("pond", "water seen standing", Holds::Evidence),
    correcting("patch-closed", "the hole of a cut-out was patched", Holds::Evidence),
    correcting("paper", "a paper that exists", Holds::Evidence),
    correcting("departure", "a rule knowingly not met", Holds::Evidence),
    correcting("trade-entered", "a later trade was in the room", Holds::Evidence),
    correcting("release", "the outcome of a hold point", Holds::Release),
    correcting("photograph", "a photograph, film, voice note or scan", Holds::Photograph),
    correcting("note", "a remark", Holds::Note),
    correcting("defect", "something that is not right", Holds::Defect),
    correcting("rectification", "a defect put right", Holds::Rectification),
    kind("withdrawn", "an event that no longer counts", Holds::Withdrawn),
    kind("device-paired", "a device that may add to the record", Holds::DevicePaired),
    kind("device-revoked", "a device that may no longer", Holds::DeviceRevoked),
    kind("clock", "how far a device's clock was off", Holds::Clock),
    kind("like", "the pattern room this room is like", Holds::Like),
];

/// The kind of that name.
pub fn find(name: &str) -> Option<&'static Kind> {
    KINDS.iter().find(|kind| kind.name == name)
}

/// A payload, and the event it corrects.
#[derive(Clone, Debug)]
pub struct Read {
    /// What the event says.
    pub payload: Payload,
    /// The event it stands in place of.
    pub replaces: Option<String>,
}

/// Why a payload is not taken.
#[derive(Clone, Debug, PartialEq)]
pub enum NotRead {
    /// Another kind, or a later version, than this program knows: kept for one that does.
    NotUnderstood(String),
    /// Not what its kind may say.
    Wrong(Problems),
}

/// Checks a payload before it becomes an event: everything that is wrong with it, or that this version does not know it.
/// Whether what it names is in the room is for [`crate::Job::read`] to say of the folded files.
pub fn read(kind: &str, version: u32, payload: &RawValue) -> Result<Read, NotRead> {
    Reader::default().read(kind, version, payload.get())
}

/// Reads many payloads.
#[derive(Default)]
pub(crate) struct Reader {
    forms: BTreeMap<&'static str, Form>,
}

impl Reader {
    pub fn read(&mut self, name: &str, version: u32, text: &str) -> Result<Read, NotRead> {
        let kind = find(name).ok_or_else(|| NotRead::NotUnderstood(format!("no kind of that name is known: {name}")))?;
        if version > kind.version {
            let what = format!("{name} is known up to version {}, this is version {version}", kind.version);
            return Err(NotRead::NotUnderstood(what));
        }
        let text = upgrade::to_date(kind, version, text).map_err(NotRead::Wrong)?;
        let (text, replaces) = without_replaces(kind, &text).map_err(NotRead::Wrong)?;
        let payload = kind.payload(&text).map_err(|error| NotRead::Wrong(self.words(kind, &text, &error)))?;
        let mut problems = check::payload(&payload);
        if replaces.as_ref().is_some_and(|id| !ledger::id::is_uuid(id)) {
            problems.push(Problem::at("replaces", "not the id of an event", "the id of the event it corrects"));
        }
        problems.or(Read { payload, replaces }).map_err(NotRead::Wrong)
    }

    /// Everything that keeps a payload from being of its kind, in words.
    fn words(&mut self, kind: &Kind, text: &str, error: &serde_json::Error) -> Problems {
        let form = self.forms.entry(kind.name).or_insert_with(|| Form::of_schema(&kind.plain_schema()));
        match form.read::<serde::de::IgnoredAny>("", text.as_bytes()) {
            Err(problems) => problems,
            Ok(_) => {
                let mut what = error.to_string();
                if let Some(end) = what.rfind(" at line ") {
                    what.truncate(end);
                }
                Problem::at("", what, format!("a payload of the kind {}", kind.name)).into()
            }
        }
    }
}

/// The text without the field `replaces`, and what that says.
fn without_replaces<'a>(kind: &Kind, text: &'a str) -> Result<(std::borrow::Cow<'a, str>, Option<String>), Problems> {
    if !kind.corrects || !text.contains("\"replaces\"") {
        return Ok((text.into(), None));
    }
    let mut object = upgrade::object(text)?;
    let Some(named) = object.remove("replaces") else { return Ok((text.into(), None)) };
    let id = serde_json::from_str(named.get())
        .map_err(|_| Problem::at("replaces", "not text", "the id of the event it corrects").value(named.get()))?;
    Ok((upgrade::text(&object).into(), Some(id)))
}

impl Kind {
    fn payload(&self, text: &str) -> Result<Payload, serde_json::Error> {
        fn of<T: DeserializeOwned>(text: &str) -> Result<T, serde_json::Error> {
            serde_json::from_str(text)
        }
        Ok(match self.holds {
            Holds::Document => Payload::Document(of(text)?),
            Holds::Field => {
                let Field { file, at, value } = of(text)?;
                Payload::Edits(Edits { file, edits: vec![Edit { at, value }] })
            }
            Holds::Edited(file) => match of::<Edited>(text)? {
                Edited { text: Some(text), edits } if edits.is_empty() => {
                    Payload::Document(Document { file: file.into(), text: Some(text), blob: None })
                }
                Edited { text: None, edits } => Payload::Edits(Edits { file: file.into(), edits }),
                _ => return Err(serde::de::Error::custom("both text and edits; one of the two")),
            },
            Holds::Readings => Payload::Readings(of::<Rows<_>>(text)?.rows),
            Holds::Climate => Payload::Climate(of::<Rows<_>>(text)?.rows),
            Holds::Gradients => Payload::Gradients(of(text)?),
            Holds::Levels => Payload::Levels(of(text)?),
            Holds::Film => Payload::Film(of::<Rows<_>>(text)?.rows),
            Holds::Coat => Payload::Coat(Box::new(of(text)?)),
            Holds::Delivery => Payload::Delivery(Box::new(of(text)?)),
            Holds::Used => Payload::Used(Box::new(of(text)?)),
            Holds::Evidence => Payload::Evidence(Box::new(of(&self.as_entry(text))?)),
            Holds::Release => Payload::Release(of(text)?),
            Holds::Photograph => Payload::Photograph(Box::new(of(text)?)),
            Holds::Note => Payload::Note(of(text)?),
            Holds::Defect => Payload::Defect(of(text)?),
            Holds::Rectification => Payload::Rectification(of(text)?),
            Holds::Withdrawn => Payload::Withdrawn(of(text)?),
            Holds::DevicePaired => Payload::DevicePaired(of(text)?),
            Holds::DeviceRevoked => Payload::DeviceRevoked(of(text)?),
            Holds::Clock => Payload::Clock(of(text)?),
            Holds::Like => Payload::Like(Box::new(of(text)?)),
        })
    }

    /// A payload with its kind inside, as the file has it.
    fn as_entry(&self, text: &str) -> String {
        let body = text.trim_start().strip_prefix('{').unwrap_or(text).trim_start();
        let comma = if body.starts_with('}') { "" } else { "," };
        format!("{{\"kind\":\"{}\"{comma}{body}", self.name)
    }

    fn subschema(&self, generator: &mut SchemaGenerator) -> Value {
        fn of<T: JsonSchema>(generator: &mut SchemaGenerator) -> Value {
            generator.subschema_for::<T>().to_value()
        }
        match self.holds {
            Holds::Document => of::<Document>(generator),
            Holds::Field => of::<Field>(generator),
            Holds::Edited(_) => of::<Edited>(generator),
            Holds::Readings => of::<Rows<ReadingRow>>(generator),
            Holds::Climate => of::<Rows<ClimateRow>>(generator),
            Holds::Gradients => of::<Layered<GradientRow>>(generator),
            Holds::Levels => of::<Layered<LevelRow>>(generator),
            Holds::Film => of::<Rows<FilmRow>>(generator),
            Holds::Coat => of::<Coat>(generator),
            Holds::Delivery => of::<Delivery>(generator),
            Holds::Used => of::<Used>(generator),
            Holds::Evidence => {
                of::<Entry>(generator);
                entry_schema(self.name, generator)
            }
            Holds::Release => of::<Release>(generator),
            Holds::Photograph => of::<Photograph>(generator),
            Holds::Note => of::<Note>(generator),
            Holds::Defect => of::<Defect>(generator),
            Holds::Rectification => of::<Rectification>(generator),
            Holds::Withdrawn => of::<Withdrawn>(generator),
            Holds::DevicePaired => of::<DevicePaired>(generator),
            Holds::DeviceRevoked => of::<DeviceRevoked>(generator),
            Holds::Clock => of::<ClockMeasured>(generator),
            Holds::Like => of::<Like>(generator),
        }
    }

    /// The payload's schema as a document, without `replaces`.
    fn plain_schema(&self) -> Value {
        let mut generator = generator();
        let mut schema = self.subschema(&mut generator);
        schema["$defs"] = Value::Object(generator.take_definitions(true));
        schema
    }

    /// The payload's schema inside a document, `replaces` with it.
    fn whole_subschema(&self, generator: &mut SchemaGenerator) -> Value {
        let mut schema = self.subschema(generator);
        if !self.corrects {
            return schema;
        }
        if let Some(name) = schema.get("$ref").and_then(Value::as_str).and_then(|path| path.rsplit('/').next()) {
            schema = generator.definitions().get(name).cloned().unwrap_or(schema);
        }
        schema["properties"]["replaces"] = json!({"description": "The event it corrects, by id.", "type": "string", "format": "uuid"});
        schema
    }
}

fn generator() -> SchemaGenerator {
    SchemaSettings::draft2020_12().for_deserialize().into_generator()
}

/// The schema of one kind of entry, whose kind the envelope already says.
fn entry_schema(kind: &str, generator: &SchemaGenerator) -> Value {
    let entry = generator.definitions().get("Entry").cloned().unwrap_or_default();
    let is_it = |schema: &&Value| schema["properties"]["kind"]["const"] == kind;
    let mut schema = entry["oneOf"].as_array().and_then(|all| all.iter().find(is_it)).cloned().unwrap_or_default();
    if let Some(properties) = schema["properties"].as_object_mut() {
        properties.remove("kind");
    }
    if let Some(required) = schema["required"].as_array_mut() {
        required.retain(|name| name != "kind");
    }
    schema
}

/// The JSON Schema (2020-12) of what events may say: kind, version and payload of each.
pub fn schema() -> Value {
    let mut generator = generator();
    let of_kind = |kind: &Kind, generator: &mut SchemaGenerator| {
        json!({
            "type": "object",
            "description": kind.adds,
            "properties": {
                "kind": {"const": kind.name},
                "version": {"const": kind.version},
                "payload": kind.whole_subschema(generator),
            },
            "required": ["kind", "version", "payload"],
        })
    };
    let kinds: Vec<Value> = KINDS.iter().map(|kind| of_kind(kind, &mut generator)).collect();
    let mut schema = Map::new();
    schema.insert("$schema".into(), json!("https://json-schema.org/draft/2020-12/schema"));
    schema.insert("title".into(), json!("What events say"));
    schema.insert("oneOf".into(), Value::Array(kinds));
    schema.insert("$defs".into(), Value::Object(generator.take_definitions(true)));
    Value::Object(schema)
}
