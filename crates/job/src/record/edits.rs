//! One JSON file: the document it starts from, the fields changed since, and the entries added.

use super::fold::{Base, Fold};
use super::lossless::{self, Document};
use super::payload::Edit;
use super::state::{About, Values};
use crate::{coats, evidence, folder, frame, photographs, plan, weights};
use intake::json::Form;
use measure::{Problem, Problems};
use serde::de::IgnoredAny;
use serde_json::Value;
use std::collections::BTreeMap;

/// Changes tried together when one of many does not fit.
const CHUNK: usize = 32;

/// The form of a file the program knows.
pub(crate) fn form_of(file: &str) -> Option<Form> {
    Some(match file {
        "room.json" => Form::of::<room::Room>(),
        "job.json" => Form::of::<frame::Frame>(),
        "data-sheets.json" => Form::of::<folder::DataSheets>(),
        "plan.json" => Form::of::<plan::PlanFile>(),
        "evidence.json" => Form::of::<evidence::Evidence>(),
        "coats.json" => Form::of::<coats::CoatLog>(),
        "photographs.json" => Form::of::<photographs::Photographs>(),
        "weights.json" => Form::of::<weights::Weights>(),
        "pack.json" => Form::of::<rules::format::PackFile>(),
        _ => return None,
    })
}

/// What a file says it is, for one that is begun by its first field or entry.
pub(crate) fn format_of(file: &str) -> Option<&'static str> {
    Some(match file {
        "job.json" => "undertile job 1",
        "data-sheets.json" => "undertile data-sheets 1",
        "plan.json" => "undertile plan-edits 1",
        "evidence.json" => "undertile evidence 1",
        "coats.json" => "undertile coats 1",
        "photographs.json" => "undertile photographs 1",
        _ => return None,
    })
}

/// Changes of one event to one file.
#[derive(Clone, Copy)]
pub(crate) struct Change<'f> {
    pub place: usize,
    pub edits: &'f [Edit],
}

/// An event's place and the value it gives.
type Given = (usize, Option<String>);

/// What has happened to one field.
#[derive(Default)]
struct Field {
    /// Values no later author has seen.
    alive: Vec<Given>,
    /// All of them.
    then: Vec<Given>,
}

/// What came of the changes to a file.
#[derive(Default)]
pub(crate) struct Edited {
    pub text: String,
    pub refused: Vec<(usize, Problems)>,
    pub replaced: Vec<(usize, usize)>,
    pub values: Vec<Values>,
    /// Place, value, shown; by what they are about.
    pub conflicts: BTreeMap<About, Vec<(usize, Option<String>, bool)>>,
}

/// Changes a file; `text` is what it starts from.
pub(crate) fn run(fold: &Fold<'_>, file: &str, base: Option<&Base>, text: &str, changes: &[Change<'_>]) -> Edited {
    let Some(start) = Document::read(text) else {
        let what = || Problems::from(Problem::at("file", "the file is not JSON, so it has no fields", "a document that is").file(file));
        return Edited { text: text.into(), refused: changes.iter().map(|change| (change.place, what())).collect(), ..Default::default() };
    };
    let mut run = Run { fold, file, base, fields: BTreeMap::new(), against_base: Vec::new(), refused: Vec::new() };
    let mut document = run.all(&start, changes);
    if let Some(form) = form_of(file).filter(|form| fits(form, text) && !fits(form, &document.text())) {
        let fitting = run.fitting(&form, &start, changes);
        (run.fields, run.against_base) = (BTreeMap::new(), Vec::new());
        document = run.all(&start, &fitting);
    }
    run.done(document.text())
}

pub(crate) fn fits(form: &Form, text: &str) -> bool {
    form.read::<IgnoredAny>("", text.as_bytes()).is_ok()
}

/// Two values of JSON that say the same.
pub(crate) fn same(a: Option<&str>, b: Option<&str>) -> bool {
    fn equal(a: &Value, b: &Value) -> bool {
        match (a, b) {
            (Value::Number(a), Value::Number(b)) => a.as_f64() == b.as_f64(),
            (Value::Array(a), Value::Array(b)) => a.len() == b.len() && a.iter().zip(b).all(|(a, b)| equal(a, b)),
            (Value::Object(a), Value::Object(b)) => {
                a.len() == b.len() && a.iter().all(|(name, a)| b.get(name).is_some_and(|b| equal(a, b)))
            }
            _ => a == b,
        }
    }
    let read = |text: Option<&str>| text.map_or(Ok(Value::Null), serde_json::from_str::<Value>);
    a == b || matches!((read(a), read(b)), (Ok(a), Ok(b)) if equal(&a, &b))
}

struct Run<'r, 'a> {
    fold: &'r Fold<'a>,
    file: &'r str,
    base: Option<&'r Base>,
    fields: BTreeMap<Vec<String>, Field>,
    /// Fields where a change and the document have not seen each other: path, change, the document's value, whether the
    /// change is shown.
    against_base: Vec<(Vec<String>, Given, Option<String>, bool)>,
    refused: Vec<(usize, Problems)>,
}

impl Run<'_, '_> {
    /// Makes all changes that lead somewhere.
    fn all<'d>(&mut self, start: &Document<'d>, changes: &[Change<'_>]) -> Document<'d> {
        let mut document = start.clone();
        for change in changes {
            if let Err(problems) = self.change(&mut document, change) {
                self.refused.push((change.place, problems));
            }
        }
        document
    }

    /// The changes that leave a file of its form, found by trying.
    fn fitting<'c>(&mut self, form: &Form, start: &Document<'_>, changes: &[Change<'c>]) -> Vec<Change<'c>> {
        self.refused.clear();
        let mut document = start.clone();
        let mut fitting = Vec::new();
        for chunk in changes.chunks(CHUNK) {
            let mut trial = document.clone();
            let lead = chunk.iter().all(|change| set_all(&mut trial, change.edits).is_ok());
            if lead && fits(form, &trial.text()) {
                document = trial;
                fitting.extend(chunk);
                continue;
            }
            for change in chunk {
                let mut trial = document.clone();
                if set_all(&mut trial, change.edits).is_err() {
                    // It leads nowhere; making all changes says so.
                    fitting.push(*change);
                } else if let Err(problems) = form.read::<IgnoredAny>(self.file, trial.text().as_bytes()) {
                    self.refused.push((change.place, problems));
                } else {
                    document = trial;
                    fitting.push(*change);
                }
            }
        }
        fitting
    }

    /// Makes the changes of one event, all or none.
    fn change(&mut self, document: &mut Document<'_>, change: &Change<'_>) -> Result<(), Problems> {
        if let [edit] = change.edits {
            return self.edit(document, change.place, edit).map_err(|what| wrong(self.file, edit, what));
        }
        set_all(&mut document.clone(), change.edits).map_err(|(edit, what)| wrong(self.file, edit, what))?;
        for edit in change.edits {
            // Tried just above; where the document holds against it, what it would have made is missing for the next.
            if let Err(what) = self.edit(document, change.place, edit) {
                return Err(wrong(self.file, edit, what));
            }
        }
        Ok(())
    }

    fn edit(&mut self, document: &mut Document<'_>, place: usize, edit: &Edit) -> Result<(), String> {
        let steps = lossless::steps(&edit.at).ok_or("points nowhere")?;
        let value = edit.value.as_ref().map(|raw| raw.get()).filter(|text| *text != "null");
        let apart = self.base.filter(|base| !self.fold.has_seen(place, base.place) && !self.fold.has_seen(base.place, place));
        if let Some(base) = apart.filter(|base| base.place > place) {
            let mut trial = document.clone();
            let changed = trial.set(&steps, value)?;
            if !same(changed.was.as_deref(), value) {
                debug_assert!(base.place > place);
                self.against_base.push((changed.path, (place, value.map(Into::into)), changed.was, false));
            }
            return Ok(());
        }
        let changed = document.set(&steps, value)?;
        if changed.path.last().is_some_and(|last| last == "-") {
            return Ok(());
        }
        let touched = self.fields.contains_key(&changed.path);
        if apart.is_some() && !touched && !same(changed.was.as_deref(), value) {
            self.against_base.push((changed.path.clone(), (place, value.map(Into::into)), changed.was.clone(), true));
        }
        self.remember(place, value, changed);
        Ok(())
    }

    fn remember(&mut self, place: usize, value: Option<&str>, changed: lossless::Changed) {
        let fold = self.fold;
        let within = |path: &Vec<String>| path.starts_with(&changed.path);
        let below = self.fields.range_mut(changed.path.clone()..).take_while(|(path, _)| within(path));
        below.for_each(|(_, field)| field.alive.retain(|(earlier, _)| !fold.supersedes(place, *earlier)));
        let first = self.base.map(|base| (base.place, changed.was)).filter(|(_, was)| was.is_some());
        let field = self.fields.entry(changed.path).or_default();
        if field.then.is_empty() {
            field.then.extend(first);
        }
        field.alive.push((place, value.map(Into::into)));
        field.then.push((place, value.map(Into::into)));
    }

    fn done(self, text: String) -> Edited {
        let mut done = Edited { text, ..Default::default() };
        let about = |path: &[String]| About::Field { file: self.file.into(), at: lossless::pointer(path) };
        for (path, field) in &self.fields {
            for (place, _) in &field.then {
                if !field.alive.iter().any(|(alive, _)| alive == place)
                    && let Some((by, _)) = field.then.iter().rev().find(|(by, _)| self.fold.supersedes(*by, *place))
                {
                    done.replaced.push((*place, *by));
                }
            }
            let differ = field.alive.windows(2).any(|pair| !same(pair[0].1.as_deref(), pair[1].1.as_deref()));
            if differ {
                let shown = field.alive.iter().map(|(place, _)| *place).max();
                let values = field.alive.iter().map(|(place, value)| (*place, value.clone(), Some(*place) == shown));
                done.conflicts.entry(about(path)).or_default().extend(values);
            }
            self.around(path, field, &mut done);
        }
        for (path, (place, value), was, shown) in &self.against_base {
            let Some(base) = self.base else { continue };
            let decided = |by: &usize| self.fold.supersedes(*by, *place) && self.fold.has_seen(*by, base.place);
            if self.fields.get(path).is_some_and(|field| field.then.iter().any(|(by, _)| decided(by))) {
                continue;
            }
            let values = done.conflicts.entry(about(path)).or_default();
            for given in [(base.place, was.clone(), !shown), (*place, value.clone(), *shown)] {
                if !values.iter().any(|known| known.0 == given.0) {
                    values.push(given);
                }
            }
        }
        let changed = self.fields.into_iter().filter(|(_, field)| field.then.len() > 1);
        let then = |given: Vec<Given>| given.into_iter().map(|(place, value)| self.fold.then(place, value)).collect();
        done.values =
            changed.map(|(path, field)| Values { file: self.file.into(), at: lossless::pointer(&path), then: then(field.then) }).collect();
        done.refused = self.refused;
        done
    }

    /// Values of what this field lies in, given without having seen each other.
    fn around(&self, path: &[String], field: &Field, done: &mut Edited) {
        for length in 1..path.len() {
            let Some(outer) = self.fields.get(&path[..length]) else { continue };
            for (outer_place, outer_value) in &outer.alive {
                let apart = |inner: &&Given| {
                    !self.fold.supersedes(*outer_place, inner.0) && !self.fold.supersedes(inner.0, *outer_place) && inner.0 != *outer_place
                };
                for (inner_place, inner_value) in field.alive.iter().filter(apart) {
                    let about = About::Field { file: self.file.into(), at: lossless::pointer(path) };
                    let values = done.conflicts.entry(about).or_default();
                    for (place, value) in [(outer_place, outer_value), (inner_place, inner_value)] {
                        if !values.iter().any(|known| known.0 == *place) {
                            values.push((*place, value.clone(), *place == *outer_place.max(inner_place)));
                        }
                    }
                }
            }
        }
    }
}

/// Makes all changes, or says which one leads nowhere.
fn set_all<'e>(document: &mut Document<'_>, edits: &'e [Edit]) -> Result<(), (&'e Edit, String)> {
    for edit in edits {
        let value = edit.value.as_ref().map(|raw| raw.get()).filter(|text| *text != "null");
        let steps = lossless::steps(&edit.at).ok_or_else(|| (edit, "points nowhere".to_string()))?;
        document.set(&steps, value).map_err(|what| (edit, what))?;
    }
    Ok(())
}

fn wrong(file: &str, edit: &Edit, what: String) -> Problems {
    Problem::at("at", what, format!("a place in {file}")).value(&edit.at).into()
}

/// Adds entries to a list of a file; those that do not fit its form are left out and named.
pub(crate) fn with_entries(
    file: &str,
    text: Option<&str>,
    list: &str,
    entries: &[(usize, String)],
) -> (Option<String>, Vec<(usize, Problems)>) {
    let format = format_of(file).unwrap_or_default();
    let form = form_of(file);
    let alone = |texts: Vec<String>| lossless::new_document(format, &[(list, texts)]);
    let made = |entries: &[&(usize, String)]| -> Option<String> {
        let texts: Vec<String> = entries.iter().map(|(_, text)| text.clone()).collect();
        let Some(text) = text else { return Some(alone(texts)) };
        let mut document = Document::read(text)?;
        document.append(list, &texts).ok()?;
        Some(document.text())
    };
    let all: Vec<&(usize, String)> = entries.iter().collect();
    let Some(whole) = made(&all) else {
        let what = || Problems::from(Problem::at(list, "the file takes no entries", "a document with that list").file(file));
        return (text.map(Into::into), entries.iter().map(|(place, _)| (*place, what())).collect());
    };
    let Some(form) = form.filter(|form| !fits(form, &whole)) else { return (Some(whole), Vec::new()) };
    let mut refused = Vec::new();
    let fitting: Vec<&(usize, String)> = entries
        .iter()
        .filter(|(place, entry)| match form.read::<IgnoredAny>("", alone(vec![entry.clone()]).as_bytes()) {
            Ok(_) => true,
            Err(problems) => {
                refused.push((*place, problems));
                false
            }
        })
        .collect();
    if fitting.is_empty() {
        return (text.map(Into::into), refused);
    }
    (made(&fitting), refused)
}
