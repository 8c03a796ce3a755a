//! Rooms like a pattern room: its files laid as the room lies, with what is different in this room.
//!
//! A `like` event is a document of several files: the pattern's, laid, and on them the fields in which this room differs.
//! What its author had seen stands in it; what is changed afterwards goes on top.

use super::lossless::{self, Document};
use super::payload::{Answer, Like};
use super::{differences, edits};
use ledger::Hash;
use measure::{Problem, Problems};
use room::Room;
use room::like::Laid;
use std::collections::BTreeMap;

/// Files a pattern room shares with the rooms like it: room, plan, membrane system, the project's own rules.
pub const SHARED: [&str; 4] = ["room.json", "plan.json", "data-sheets.json", "pack.json"];
pub(crate) const ROOM: &str = "room.json";

/// Files by name.
pub type Texts = BTreeMap<String, String>;

/// The name of a pattern's state: SHA-256 over a line for each of its files, as `sha256sum` prints it.
pub fn revision(files: &Texts) -> String {
    let lines: String = files.iter().map(|(file, text)| format!("{}  {file}\n", Hash::of(text.as_bytes()))).collect();
    Hash::of(lines.as_bytes()).to_string()
}

/// The pattern's files as they are in a room that lies so. Nothing but what moves in the room's drawing changes, and its name;
/// every other byte stays.
#[allow(clippy::result_large_err)] // once for each room
pub(crate) fn laid_files(pattern: &Texts, laid: Laid, name: Option<&str>) -> Result<Texts, Problem> {
    let mut files = pattern.clone();
    if laid.is_same() && name.is_none() {
        return Ok(files);
    }
    let drawn = files.get(ROOM).map(String::as_str).unwrap_or_default();
    let room: Room = intake::json::read(ROOM, drawn.as_bytes()).map_err(|problems| {
        problems.problems.into_iter().next().unwrap_or_else(|| Problem::at("files", "the pattern's room cannot be read", ""))
    })?;
    let mut there = room::like::laid(&room, laid);
    if let Some(name) = name {
        there.name = name.to_string();
    }
    let unwritten = |error: serde_json::Error| Problem::at("files", error.to_string(), "a room of finite numbers");
    let (from, to) = (serde_json::to_string(&room).map_err(unwritten)?, serde_json::to_string(&there).map_err(unwritten)?);
    let unread = || Problem::at("files", "the pattern's room cannot be read", "a room.json");
    let mut document = Document::read(drawn).ok_or_else(unread)?;
    for moved in differences::between(&from, &to).ok_or_else(unread)? {
        document.set(&moved.path, moved.to.as_deref()).map_err(|what| Problem::at("files", what, "a room whose parts have their ids"))?;
    }
    let text = document.text();
    files.insert(ROOM.into(), text);
    Ok(files)
}

/// The files of a room like a pattern: the pattern's, laid, with this room's own values.
#[allow(clippy::result_large_err)] // once for each room
pub(crate) fn files(like: &Like) -> Result<Texts, Problem> {
    let mut files = laid_files(&like.files, like.laid, like.name.as_deref())?;
    like.answers.iter().for_each(|answer| put(answer, &mut files));
    Ok(files)
}

/// Puts this room's value in its place. Where the pattern has no such place any more there is nothing to differ from.
fn put(answer: &Answer, files: &mut Texts) {
    let value = answer.value.as_ref().map(|raw| raw.get());
    let Some(steps) = lossless::steps(&answer.at) else {
        match value {
            Some(text) => files.insert(answer.file.clone(), format!("{text}\n")),
            None => files.remove(&answer.file),
        };
        return;
    };
    let Some(text) = files.get_mut(&answer.file) else { return };
    let Some(mut document) = Document::read(text) else { return };
    if document.set(&steps, value).is_ok() {
        *text = document.text();
    }
}

/// What is wrong with a `like` whose fields are sound one by one.
pub(crate) fn check(like: &Like) -> Problems {
    let mut problems = Problems::new();
    if like.revision != revision(&like.files) {
        problems.push(Problem::at("revision", "not the state of these files", revision(&like.files)).value(&like.revision));
    }
    match (laid_files(&like.files, like.laid, like.name.as_deref()), files(like)) {
        (Ok(pattern), Ok(files)) => {
            let fits = |file: &str, text: &str| edits::form_of(file).is_none_or(|form| edits::fits(&form, text));
            for (file, text) in files.iter().filter(|(file, text)| !fits(file, text)) {
                if pattern.get(file).is_some_and(|before| fits(file, before)) {
                    problems.push(
                        Problem::at("answers", format!("leave no {file} that can be read"), "values of the fields' kinds").value(text),
                    );
                }
            }
        }
        (Err(problem), _) | (_, Err(problem)) => problems.push(problem),
    }
    problems
}
