//! A change of the pattern, offered to the rooms like it that are not released.
//!
//! Every change is offered by document and field, as it would read in that room, with the room's own value where it has one.
//! Taking or declining it is one `like` event ([`Offer::answer`]): it names the pattern's new state, so what it answers is not
//! offered again, and holds this room's values, so what was declined stays a difference of this room.

use super::differences::{self, Difference};
use super::edits::same;
use super::like::{self, SHARED, Texts};
use super::lossless::pointer;
use super::payload::{Answer, Answered, Like};
use super::state::{About, LikeNow, State};
use crate::evidence::{Entry, Evidence, HoldPointOutcome};
use measure::{Problem, Problems};
use room::like::Laid;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// A pattern room as it now stands.
#[derive(Clone, Debug)]
pub struct Pattern {
    /// Its UUID.
    pub id: String,
    /// Name of its state.
    pub revision: String,
    /// Its files.
    pub files: Texts,
}

/// A change of the pattern, for one room.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Change {
    /// File.
    pub file: String,
    /// JSON Pointer, items of lists by their id; empty for a whole file.
    pub at: String,
    /// What stood there by the pattern, as this room lies; nothing where the field is new.
    pub old: Option<String>,
    /// What stands there by the pattern now; nothing where the field goes.
    pub new: Option<String>,
    /// What stands there in this room, where that is not what the pattern had.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub own: Option<Own>,
}

/// A room's own value.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Own {
    /// As text; nothing where the room has no such field.
    pub value: Option<String>,
}

/// The changes of a pattern that one room has not answered.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Offer {
    /// The room, as the caller calls it.
    pub room: String,
    /// The state of the pattern the room is like.
    pub from: String,
    /// The state of the pattern that is offered.
    pub to: String,
    /// The changes, by file and field.
    pub changes: Vec<Change>,
    #[serde(skip)]
    laid: Laid,
    #[serde(skip)]
    name: Option<String>,
    /// Differences of this room that no change touches.
    #[serde(skip)]
    kept: Vec<Answer>,
}

/// A room like the pattern to which nothing is offered though the pattern was changed.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct HeldBack {
    /// The room, as the caller calls it.
    pub room: String,
    /// Why.
    pub why: String,
}

/// What a change of the pattern means for the rooms like it.
#[derive(Clone, Debug, Default, Serialize, JsonSchema)]
pub struct Offers {
    /// Rooms to which changes are offered.
    pub offered: Vec<Offer>,
    /// Rooms left as they are.
    pub held_back: Vec<HeldBack>,
}

impl Pattern {
    /// The pattern from its record. One without a room, or of whose files people contradict each other, is none yet.
    pub fn of(id: &str, state: &State) -> Result<Self, Problems> {
        let mut problems = Problems::new();
        let mut files = Texts::new();
        for (file, bytes) in SHARED.iter().filter_map(|file| Some((*file, state.files.get(*file)?))) {
            match intake::text::decode(file, bytes) {
                Ok(text) => drop(files.insert(file.into(), text)),
                Err(found) => problems.extend(found),
            }
        }
        if !files.contains_key(like::ROOM) {
            problems.push(Problem::at("files", "the pattern has no room", "its room.json"));
        }
        for conflict in &state.conflicts {
            if let About::Field { file, .. } | About::Document { file } = &conflict.about
                && SHARED.contains(&file.as_str())
            {
                problems.push(Problem::at("files", "people contradict each other about the pattern", "one decision").value(file));
            }
        }
        problems.or(()).map(|()| Self { id: id.into(), revision: like::revision(&files), files })
    }

    /// What makes a new room like this one.
    pub fn like(&self, laid: Laid, name: Option<String>) -> Like {
        let (pattern, revision, files) = (self.id.clone(), self.revision.clone(), self.files.clone());
        Like { pattern, revision, laid, name, files, answers: Vec::new() }
    }
}

/// What the pattern's present state changes in rooms, each with its folded record. Rooms that are not like this pattern, or
/// have answered this state of it, are in neither list. A room in which any hold point is released is never offered
/// anything: the release was signed on the drawing as it is.
pub fn offers(pattern: &Pattern, rooms: &[(&str, &State)]) -> Offers {
    let mut offers = Offers::default();
    for (room, state) in rooms {
        let Some(like) = state.like.as_ref().filter(|like| like.pattern == pattern.id && like.revision != pattern.revision) else {
            continue;
        };
        match offer(pattern, room, state, like) {
            Ok(offer) if offer.changes.is_empty() => {}
            Ok(offer) => offers.offered.push(offer),
            Err(why) => offers.held_back.push(HeldBack { room: room.to_string(), why }),
        }
    }
    offers
}

fn offer(pattern: &Pattern, room: &str, state: &State, like: &LikeNow) -> Result<Offer, String> {
    if let Some(hold_point) = released(state)? {
        return Err(format!("{hold_point} is released"));
    }
    let new = like::laid_files(&pattern.files, like.laid, like.name.as_deref()).map_err(|problem| problem.to_string())?;
    let mut offer = Offer {
        room: room.into(),
        from: like.revision.clone(),
        to: pattern.revision.clone(),
        changes: Vec::new(),
        laid: like.laid,
        name: like.name.clone(),
        kept: Vec::new(),
    };
    for file in SHARED {
        let here = state.files.get(file).map(|bytes| intake::text::decode(file, bytes)).transpose();
        let here = here.map_err(|_| format!("{file} cannot be read"))?;
        offer.file(file, like.files.get(file).map(String::as_str), new.get(file).map(String::as_str), here.as_deref())?;
    }
    Ok(offer)
}

/// A hold point that is released. Releases can stand in events, and in a file that was handed in whole.
fn released(state: &State) -> Result<Option<String>, String> {
    let is_release = |outcome| matches!(outcome, HoldPointOutcome::Released | HoldPointOutcome::ReleasedWithConditions);
    if let Some(decided) = state.releases.iter().find(|decided| decided.holds && is_release(decided.release.what.outcome)) {
        return Ok(Some(decided.release.what.hold_point.clone()));
    }
    let Some(bytes) = state.files.get("evidence.json") else { return Ok(None) };
    let evidence: Evidence = intake::json::read("evidence.json", bytes)
        .map_err(|_| "evidence.json cannot be read, so nobody can say whether a hold point is released".to_string())?;
    let mut latest: BTreeMap<&str, (Option<jiff::Timestamp>, HoldPointOutcome)> = BTreeMap::new();
    for entry in &evidence.entries {
        if let Entry::Outcome { hold_point, outcome, at, .. } = entry {
            let at = at.parse().ok();
            let known = latest.entry(hold_point).or_insert((at, *outcome));
            if at >= known.0 {
                *known = (at, *outcome);
            }
        }
    }
    Ok(latest.into_iter().find(|(_, (_, outcome))| is_release(*outcome)).map(|(hold_point, _)| hold_point.to_string()))
}

impl Offer {
    /// The event that answers every change: those that `take` says yes to are taken, the others declined. Its payload is of
    /// the kind `like`.
    pub fn answer(&self, pattern: &Pattern, take: impl Fn(&Change) -> bool) -> Result<Like, Problems> {
        if pattern.revision != self.to {
            let what = "the pattern was changed after this was offered";
            return Err(Problem::at("revision", what, &self.to).value(&pattern.revision).into());
        }
        let mut like = pattern.like(self.laid, self.name.clone());
        for change in &self.changes {
            let (answer, value) = match (take(change), &change.own) {
                (true, _) => (Answered::Taken, &change.new),
                (false, Some(own)) => (Answered::Declined, &own.value),
                (false, None) => (Answered::Declined, &change.old),
            };
            like.answers.push(Answer::new(&change.file, &change.at, answer, value.as_deref()));
        }
        like.answers.extend(self.kept.iter().cloned());
        Ok(like)
    }

    /// Adds what changes in one file: `old` and `new` by the pattern, `here` in the room.
    fn file(&mut self, file: &str, old: Option<&str>, new: Option<&str>, here: Option<&str>) -> Result<(), String> {
        let (Some(old_text), Some(new_text), Some(here_text)) = (old, new, here) else {
            self.whole_file(file, old, new, here);
            return Ok(());
        };
        let unreadable = || format!("{file} cannot be read");
        let own = differences::between(old_text, here_text).ok_or_else(unreadable)?;
        let changed = differences::between(old_text, new_text).ok_or_else(unreadable)?;
        let mut by_path: BTreeMap<Vec<String>, Difference> = BTreeMap::new();
        for change in changed {
            // A change inside of what this room has of its own is about all of that.
            let around = own.iter().find(|own| own.path.len() < change.path.len() && change.path.starts_with(&own.path));
            let change = match around {
                None => change,
                Some(own) => Difference { path: own.path.clone(), from: own.from.clone(), to: differences::at(new_text, &own.path) },
            };
            by_path.insert(change.path.clone(), change);
        }
        for own in own.iter().filter(|own| !(0..=own.path.len()).any(|length| by_path.contains_key(&own.path[..length]))) {
            self.kept.push(Answer::new(file, &pointer(&own.path), Answered::Own, own.to.as_deref()));
        }
        for (path, change) in by_path {
            let is_own = own.iter().any(|own| own.path.starts_with(&path));
            let own = is_own.then(|| Own { value: differences::at(here_text, &path) });
            self.change(Change { file: file.into(), at: pointer(&path), old: change.from, new: change.to, own });
        }
        Ok(())
    }

    /// A file that the pattern or the room has not, or had not.
    fn whole_file(&mut self, file: &str, old: Option<&str>, new: Option<&str>, here: Option<&str>) {
        let line = |text: Option<&str>| text.map(differences::on_one_line);
        let own = (!same(old, here)).then(|| Own { value: line(here) });
        if !same(old, new) {
            self.change(Change { file: file.into(), at: String::new(), old: line(old), new: line(new), own });
        } else if let Some(own) = own {
            self.kept.push(Answer::new(file, "", Answered::Own, own.value.as_deref()));
        }
    }

    /// A change, unless the room has it already.
    fn change(&mut self, change: Change) {
        match &change.own {
            Some(own) if same(own.value.as_deref(), change.new.as_deref()) => {
                self.kept.push(Answer::new(&change.file, &change.at, Answered::Own, own.value.as_deref()));
            }
            _ => self.changes.push(change),
        }
    }
}

impl Answer {
    fn new(file: &str, at: &str, answer: Answered, value: Option<&str>) -> Self {
        let value = value.and_then(|text| serde_json::value::RawValue::from_string(text.into()).ok());
        Self { file: file.into(), at: at.into(), answer, value }
    }
}
