//! Events to state.

use super::edits::{self, Change};
use super::kinds::{NotRead, Read, Reader};
use super::order::{self, Clocks, Measured, Placed};
use super::payload::*;
use super::state::*;
use super::{like, name, outcomes, rows, table};
use crate::evidence::{Entry, LookResult};
use ledger::Event;
use measure::{Problem, Problems};
use rows::ToRow;
use std::collections::{BTreeMap, BTreeSet};

/// Gives the bytes of a blob by its SHA-256 in hex.
pub type BlobBytes<'b> = dyn Fn(&str) -> Option<Vec<u8>> + 'b;

const EVIDENCE: &str = "evidence.json";
const COATS: &str = "coats.json";
const PHOTOGRAPHS: &str = crate::photographs::FILE;

/// A list of a file, its entries with their places.
type Entries = BTreeMap<(&'static str, &'static str), Vec<(usize, String)>>;

/// What a record comes to, from its events in any order. Documents kept as blobs are listed in [`State::not_here`].
pub fn fold(events: &[Event]) -> State {
    fold_with(events, &|_| None)
}

/// As [`fold`], with the bytes of documents that are kept as blobs.
pub fn fold_with(events: &[Event], bytes: &BlobBytes<'_>) -> State {
    of(events.iter().collect(), bytes)
}

/// What the record came to when the logs had these sizes; a device that is not named had added nothing.
pub fn fold_until(events: &[Event], sizes: &BTreeMap<String, u64>, bytes: &BlobBytes<'_>) -> State {
    let then = |event: &&Event| sizes.get(&event.device).is_some_and(|size| event.seq < *size);
    of(events.iter().filter(then).collect(), bytes)
}

fn of(events: Vec<&Event>, bytes: &BlobBytes<'_>) -> State {
    let mut reader = Reader::default();
    let mut read: Vec<_> = events.iter().map(|event| Some(reader.read(&event.kind, event.version, event.payload.get()))).collect();
    let order = order::order(&events, &clocks(&read));
    let mut state = State::default();
    let mut fold = Fold::new(&order, &mut read);
    fold.withdraw(&order);
    fold.refuse_false_heads();
    let items = fold.items(&order, &mut state);
    let bases = fold.bases(bytes, &mut state);
    fold.photographs(&items, &mut state);
    fold.people(&items, &mut state);
    let entries = fold.entries(&items, &bases, &mut state);
    fold.json_files(&bases, entries, &mut state);
    fold.tables(&items, &bases, &mut state);
    fold.devices(&mut state);
    fold.history(&order, &events, &mut state);
    state
}

/// What was measured of clocks, sorted by time.
fn clocks<'r>(read: &'r [Option<Result<Read, NotRead>>]) -> Clocks<'r> {
    let mut clocks = Clocks::new();
    for payload in read.iter().flatten().flatten() {
        if let Payload::Clock(ClockMeasured { device, at, offset_ms, u_ms }) = &payload.payload {
            let measured = Measured { at_us: order::microseconds(at), offset_ms: *offset_ms, u_ms: *u_ms };
            clocks.entry(device.as_str()).or_default().push(measured);
        }
    }
    for known in clocks.values_mut() {
        known.sort_by(|a, b| a.at_us.cmp(&b.at_us).then(a.u_ms.total_cmp(&b.u_ms)).then(a.offset_ms.total_cmp(&b.offset_ms)));
    }
    clocks
}

/// The document a file starts from.
#[derive(Clone, Debug)]
pub(crate) struct Base {
    pub place: usize,
    pub bytes: Vec<u8>,
}

/// All events in order, each with what it says and whether it counts.
pub(crate) struct Fold<'a> {
    placed: &'a [Placed<'a>],
    read: Vec<Option<Read>>,
    stands: Vec<Stands>,
    problems: Vec<Vec<Problem>>,
    /// By place of a `like`, the files it gives.
    liked: BTreeMap<usize, like::Texts>,
}

impl<'a> Fold<'a> {
    fn new(order: &'a order::Order<'a>, read: &mut [Option<Result<Read, NotRead>>]) -> Self {
        let count = order.placed.len();
        let mut fold = Self {
            placed: &order.placed,
            read: Vec::with_capacity(count),
            stands: vec![Stands::Counts; count],
            problems: vec![Vec::new(); count],
            liked: BTreeMap::new(),
        };
        for (place, placed) in order.placed.iter().enumerate() {
            match read[placed.index].take() {
                Some(Ok(payload)) => fold.read.push(Some(payload)),
                refused => {
                    fold.read.push(None);
                    match refused {
                        Some(Err(NotRead::Wrong(problems))) => fold.refuse(place, problems),
                        Some(Err(NotRead::NotUnderstood(what))) => {
                            fold.stands[place] = Stands::NotUnderstood;
                            fold.problems[place].push(Problem::at("kind", what, "a newer version of this program"));
                        }
                        _ => {}
                    }
                }
            }
        }
        fold
    }

    pub fn event(&self, place: usize) -> &'a Event {
        self.placed[place].event
    }

    pub fn payload(&self, place: usize) -> Option<&Payload> {
        self.read[place].as_ref().map(|read| &read.payload)
    }

    pub fn counts(&self, place: usize) -> bool {
        self.stands[place] == Stands::Counts
    }

    pub fn has_seen(&self, place: usize, other: usize) -> bool {
        self.placed[place].has_seen(self.event(other))
    }

    /// Whether one event stands in the place of another: it has seen it, or names it.
    pub fn supersedes(&self, place: usize, other: usize) -> bool {
        let names = || self.read[place].as_ref().and_then(|read| read.replaces.as_deref()) == Some(&self.event(other).id);
        place != other && (self.has_seen(place, other) || names())
    }

    /// Of values that stand for one thing, in order, those no later one supersedes.
    pub fn alive(&self, places: impl IntoIterator<Item = usize>) -> Vec<usize> {
        let mut alive: Vec<usize> = Vec::new();
        for place in places {
            alive.retain(|earlier| !self.supersedes(place, *earlier));
            alive.push(place);
        }
        alive
    }

    fn refuse(&mut self, place: usize, problems: Problems) {
        self.stands[place] = Stands::Refused;
        self.problems[place].extend(problems.problems);
    }

    fn replaced(&mut self, place: usize, by: usize) {
        if self.counts(place) {
            self.stands[place] = Stands::Replaced { by: self.event(by).id.clone() };
        }
    }

    /// What was added, with who and when.
    pub fn told<T>(&self, place: usize, what: T) -> Told<T> {
        let event = self.event(place);
        Told { event: event.id.clone(), author: event.author.clone(), at: event.at.clone(), what }
    }

    pub fn then(&self, place: usize, value: Option<String>) -> Then {
        let event = self.event(place);
        Then { event: event.id.clone(), author: event.author.clone(), at: event.at.clone(), value }
    }

    pub fn contended(&self, place: usize, value: Option<String>, shown: bool) -> Contended {
        let event = self.event(place);
        Contended { event: event.id.clone(), author: event.author.clone(), at: event.at.clone(), value, shown }
    }

    fn places(&self) -> std::ops::Range<usize> {
        0..self.placed.len()
    }

    /// Marks what was withdrawn. What withdraws can be withdrawn itself, and then no longer counts.
    fn withdraw(&mut self, order: &order::Order<'_>) {
        for place in self.places().rev() {
            let Some(Payload::Withdrawn(Withdrawn { event, .. })) = self.payload(place).filter(|_| self.counts(place)) else { continue };
            match order.place_of(event) {
                None => {
                    let what = Problem::at("event", "points to an event that is not here yet", "").value(event);
                    self.stands[place] = Stands::Waits;
                    self.problems[place].push(what);
                }
                Some(target) if target >= place => {
                    self.refuse(
                        place,
                        Problem::at("event", "withdraws what came after it", "an earlier event").value(event.clone()).into(),
                    );
                }
                Some(target) if self.counts(target) => self.stands[target] = Stands::Withdrawn { by: self.event(place).id.clone() },
                Some(_) => {}
            }
        }
    }

    /// A release names its own device's log as it stood before; anything else proves nothing.
    fn refuse_false_heads(&mut self) {
        for place in self.places() {
            let Some(Payload::Release(release)) = self.payload(place).filter(|_| self.counts(place)) else { continue };
            let event = self.event(place);
            if release.head.log != event.device || release.head.size > event.seq {
                let right = format!("the log of {} with at most {} entries", event.device, event.seq);
                let found = format!("{} with {}", release.head.log, release.head.size);
                self.refuse(place, Problem::at("head", "not the log it was signed on, as it stood before", right).value(found).into());
            }
        }
    }

    /// Rows, entries and whatever else is one thing by itself, in order, each where it was first added. Of one that was
    /// corrected the latest is here; corrections that have not seen each other are a conflict.
    fn items(&mut self, order: &order::Order<'_>, state: &mut State) -> Vec<usize> {
        let mut root: BTreeMap<usize, usize> = BTreeMap::new();
        let mut corrected: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for place in self.places() {
            let Some(Read { payload, replaces: Some(id) }) = &self.read[place] else { continue };
            if !is_item(payload) || !matches!(self.stands[place], Stands::Counts | Stands::Withdrawn { .. }) {
                continue;
            }
            match order.place_of(id) {
                None => self.problems[place].push(Problem::at("replaces", "names an event that is not here yet", "").value(id)),
                Some(target) if target >= place || !self.is_like(place, target) => {
                    let what = Problem::at("replaces", "names an event that is not of its kind, or later", "an earlier event of its kind");
                    self.refuse(place, what.value(id.clone()).into());
                }
                Some(target) => {
                    let first = root.get(&target).copied().unwrap_or(target);
                    root.insert(place, first);
                    corrected.entry(first).or_insert_with(|| vec![first]).push(place);
                }
            }
        }
        let mut shown: BTreeMap<usize, usize> = BTreeMap::new();
        for (first, places) in corrected {
            let alive = self.alive(places.iter().copied().filter(|place| self.counts(*place)));
            let Some(last) = alive.last().copied() else { continue };
            shown.insert(first, last);
            if alive.len() > 1 {
                let values =
                    alive.iter().map(|place| self.contended(*place, Some(self.event(*place).payload.get().into()), *place == last));
                let about = About::Correction { event: self.event(first).id.clone() };
                state.conflicts.push(Conflict { about, values: values.collect() });
            }
            for place in places.iter().copied().filter(|place| *place != last) {
                let by = places.iter().copied().find(|by| self.counts(*by) && self.supersedes(*by, place)).unwrap_or(last);
                self.replaced(place, by);
            }
            root.insert(first, first);
        }
        let first_or_alone = |place: &usize| root.get(place).is_none_or(|first| first == place);
        let places = self.places().filter(first_or_alone).map(|place| shown.get(&place).copied().unwrap_or(place));
        places.filter(|place| self.counts(*place) && self.payload(*place).is_some_and(is_item)).collect()
    }

    /// Whether one event can correct the other.
    fn is_like(&self, place: usize, target: usize) -> bool {
        let layer = |place: usize| match self.payload(place) {
            Some(Payload::Levels(layered)) => Some(layered.layer),
            Some(Payload::Gradients(layered)) => Some(layered.layer),
            _ => None,
        };
        self.event(place).kind == self.event(target).kind && layer(place) == layer(target)
    }

    /// The document each file starts from: the latest of those no other has seen.
    fn bases(&mut self, bytes: &BlobBytes<'_>, state: &mut State) -> BTreeMap<String, Base> {
        self.like_a_pattern(state);
        let mut given: BTreeMap<String, Vec<usize>> = BTreeMap::new();
        let mut of_pattern: BTreeSet<String> = BTreeSet::new();
        for place in self.places().filter(|place| self.counts(*place) || self.liked.contains_key(place)) {
            if let Some(files) = self.liked.get(&place) {
                // A file the pattern had once and has no more goes.
                of_pattern.extend(files.keys().cloned());
                of_pattern.iter().for_each(|file| given.entry(file.clone()).or_default().push(place));
            } else if let Some(Payload::Document(document)) = self.payload(place) {
                given.entry(document.file.clone()).or_default().push(place);
            }
        }
        self.refuse_spellings(&mut given);
        let mut bases = BTreeMap::new();
        for (file, places) in given {
            let alive = self.alive(places.iter().copied());
            let Some(last) = alive.last().copied() else { continue };
            let contents: BTreeSet<Option<&str>> = alive.iter().map(|place| self.content(*place, &file)).collect();
            if contents.len() > 1 {
                let value = |place: &usize| self.content(*place, &file).map(shortened);
                let values = alive.iter().map(|place| self.contended(*place, value(place), *place == last)).collect();
                state.conflicts.push(Conflict { about: About::Document { file: file.clone() }, values });
            }
            let base = self.base(last, &file, bytes, state);
            for place in places {
                if place != last && matches!(self.payload(place), Some(Payload::Document(_))) {
                    self.replaced(place, last);
                }
            }
            match base {
                Ok(Some(base)) => {
                    bases.insert(file, base);
                }
                Ok(None) => {}
                Err(problem) => {
                    self.stands[last] = Stands::Waits;
                    self.problems[last].push(problem);
                }
            }
        }
        bases
    }

    /// The files each `like` gives, and what this room is like now.
    fn like_a_pattern(&mut self, state: &mut State) {
        let counts = |place: &usize| self.counts(*place) && matches!(self.payload(*place), Some(Payload::Like(_)));
        let places: Vec<usize> = self.places().filter(counts).collect();
        for place in &places {
            let Some(Payload::Like(like)) = self.payload(*place) else { continue };
            match like::files(like) {
                Ok(files) => drop(self.liked.insert(*place, files)),
                Err(problem) => self.refuse(*place, problem.into()),
            }
        }
        let alive = self.alive(places.iter().copied().filter(|place| self.liked.contains_key(place)));
        let Some(last) = alive.last().copied() else { return };
        if let Some(Payload::Like(like)) = self.payload(last) {
            let Like { pattern, revision, laid, name, files, answers } = like.as_ref().clone();
            let files = like::laid_files(&files, laid, name.as_deref()).unwrap_or_default();
            state.like = Some(LikeNow { event: self.event(last).id.clone(), pattern, revision, laid, name, answers, files });
        }
        for place in places.into_iter().filter(|place| !alive.contains(place)) {
            self.replaced(place, last);
        }
    }

    /// Two names that differ only in capitals are one file on many systems: the one that came first stays.
    fn refuse_spellings(&mut self, given: &mut BTreeMap<String, Vec<usize>>) {
        let mut spelled: BTreeMap<String, (usize, String)> = BTreeMap::new();
        for (file, places) in given.iter() {
            let first = places.first().copied().unwrap_or(usize::MAX);
            let known = spelled.entry(file.to_lowercase()).or_insert_with(|| (first, file.clone()));
            if first < known.0 {
                *known = (first, file.clone());
            }
        }
        given.retain(|file, places| {
            let (_, stays) = &spelled[&file.to_lowercase()];
            if stays != file {
                for place in places.iter().copied() {
                    let what = Problem::at("file", "another file has this name in other capitals", stays.clone()).value(file);
                    self.refuse(place, what.into());
                }
            }
            stays == file
        });
    }

    /// What a document event says a file holds: text, or the name of the blob.
    fn content(&self, place: usize, file: &str) -> Option<&str> {
        match self.payload(place)? {
            Payload::Document(document) => document.text.as_deref().or(document.blob.as_deref()),
            Payload::Like(_) => self.liked.get(&place)?.get(file).map(String::as_str),
            _ => None,
        }
    }

    #[allow(clippy::result_large_err)] // once for each file
    fn base(&self, place: usize, file: &str, bytes: &BlobBytes<'_>, state: &mut State) -> Result<Option<Base>, Problem> {
        let bytes = match self.payload(place) {
            Some(Payload::Document(Document { text: Some(text), .. })) => text.clone().into_bytes(),
            Some(Payload::Document(Document { blob: Some(blob), .. })) => match bytes(blob) {
                Some(bytes) => bytes,
                None => {
                    state.not_here.push(NotHere { file: file.into(), blob: blob.clone() });
                    return Err(Problem::at("blob", "the bytes of the file are not here", "").value(blob));
                }
            },
            Some(Payload::Like(_)) => match self.content(place, file) {
                Some(text) => text.as_bytes().to_vec(),
                None => return Ok(None),
            },
            _ => return Err(Problem::at("text", "no content", "")),
        };
        Ok(Some(Base { place, bytes }))
    }

    fn photographs(&mut self, items: &[usize], state: &mut State) {
        for place in items.iter().copied() {
            let Some(Payload::Photograph(photograph)) = self.payload(place) else { continue };
            let event = &self.event(place).id;
            let name = &photograph.file;
            match state.photographs.get(name).filter(|held| held.blob != photograph.blob) {
                None => {
                    state.photographs.entry(name.clone()).or_insert_with(|| Held::of(event, photograph, None));
                }
                Some(first) => {
                    let about = About::FileName { file: name.clone() };
                    let values = [(first.event.clone(), first.blob.clone(), true), (event.clone(), photograph.blob.clone(), false)];
                    let value = |(id, blob, shown): (String, String, bool)| {
                        let place = items.iter().copied().find(|place| self.event(*place).id == id).unwrap_or(place);
                        self.contended(place, Some(blob), shown)
                    };
                    state.conflicts.push(Conflict { about, values: values.map(value).to_vec() });
                    state.photographs.insert(other_name(photograph), Held::of(event, photograph, Some(name.clone())));
                }
            }
        }
        state.files.extend(state.photographs.keys().map(|name| (name.clone(), Vec::new())));
    }

    /// Notes, defects and what was done about them.
    fn people(&mut self, items: &[usize], state: &mut State) {
        let mut raised: BTreeMap<&str, usize> = BTreeMap::new();
        let mut aside = Vec::new();
        for place in items.iter().copied() {
            match self.payload(place) {
                Some(Payload::Note(note)) => state.notes.push(self.told(place, note.clone())),
                Some(Payload::Defect(defect)) => {
                    raised.insert(&self.event(place).id, state.defects.len());
                    state.defects.push(Raised { defect: self.told(place, defect.clone()), rectified: Vec::new() });
                }
                Some(Payload::Rectification(rectification)) => match raised.get(rectification.defect.as_str()) {
                    Some(at) => state.defects[*at].rectified.push(self.told(place, rectification.clone())),
                    None => aside.push((place, rectification.defect.clone())),
                },
                _ => {}
            }
        }
        for (place, defect) in aside {
            self.stands[place] = Stands::Waits;
            self.problems[place].push(Problem::at("defect", "points to no defect that counts, or that is not here yet", "").value(defect));
        }
    }

    /// The entries of files in order, and the releases.
    fn entries(&mut self, items: &[usize], bases: &BTreeMap<String, Base>, state: &mut State) -> Entries {
        let decided = outcomes::of(self, items, state);
        for place in items.iter().copied() {
            if let Some((file, _)) = self.payload(place).and_then(list_of) {
                self.absorb(place, bases.get(file));
            }
        }
        let entry = |place: usize| -> Option<Entry> {
            match self.payload(place)? {
                Payload::Evidence(entry) => Some(entry.as_ref().clone()),
                Payload::Release(_) => decided.get(&place).cloned(),
                Payload::Defect(defect) => self.look(place, defect, LookResult::Wrong, &defect.words, (defect.grade, &defect.photographs)),
                Payload::Rectification(done) => {
                    let raised = state.defects.iter().find(|raised| raised.defect.event == done.defect)?;
                    self.look(place, &raised.defect.what, LookResult::Right, &done.words, (done.grade, &done.photographs))
                }
                _ => None,
            }
        };
        let mut entries = Entries::new();
        for place in items.iter().copied().filter(|place| self.counts(*place)) {
            let Some((payload, list)) = self.payload(place).and_then(|payload| Some((payload, list_of(payload)?))) else { continue };
            let texts = match payload {
                Payload::Coat(coat) => vec![serde_json::to_string(coat)],
                Payload::Delivery(delivery) => vec![serde_json::to_string(delivery)],
                Payload::Used(used) => vec![serde_json::to_string(used)],
                Payload::Photograph(photograph) => self.faces(place, photograph, state).iter().map(serde_json::to_string).collect(),
                _ => entry(place).iter().map(serde_json::to_string).collect(),
            };
            if !texts.is_empty() {
                entries.entry(list).or_default().extend(texts.into_iter().flatten().map(|text| (place, text)));
            }
        }
        entries
    }

    /// The faces a photograph shows, under the name it has in the folder.
    fn faces(&self, place: usize, photograph: &Photograph, state: &State) -> Vec<crate::photographs::Photograph> {
        let event = self.event(place);
        let own = state.photographs.get(&photograph.file).is_some_and(|held| held.blob == photograph.blob);
        let name = if own { photograph.file.clone() } else { other_name(photograph) };
        let face = |shows: &Shows| crate::photographs::Photograph {
            file: name.clone(),
            on: shows.on.clone(),
            layer: shows.layer,
            coat: shows.coat.clone(),
            stage: shows.stage.clone(),
            points: shows.points.clone(),
            by: event.author.clone(),
            at: event.at.clone(),
            note: photograph.words.clone(),
        };
        photograph.shows.iter().map(face).collect()
    }

    /// A defect, or its rectification, as a look at its details.
    fn look(
        &self,
        place: usize,
        defect: &Defect,
        result: LookResult,
        words: &str,
        (grade, photographs): (measure::Grade, &Vec<String>),
    ) -> Option<Entry> {
        let hold_point = defect.hold_point.clone().filter(|_| !defect.place.details.is_empty())?;
        let event = self.event(place);
        Some(Entry::Look {
            hold_point,
            details: defect.place.details.clone(),
            except: Vec::new(),
            answers: None,
            result,
            grade,
            photographs: photographs.clone(),
            by: event.author.clone(),
            at: event.at.clone(),
            note: Some(words.into()),
        })
    }

    /// Marks what a later document of the file holds already.
    fn absorb(&mut self, place: usize, base: Option<&Base>) {
        if let Some(base) = base.filter(|base| self.has_seen(base.place, place)) {
            self.stands[place] = Stands::InDocument { by: self.event(base.place).id.clone() };
        }
    }

    fn json_files(&mut self, bases: &BTreeMap<String, Base>, entries: Entries, state: &mut State) {
        let mut changes: BTreeMap<String, Vec<usize>> = BTreeMap::new();
        for place in self.places().filter(|place| self.counts(*place)) {
            if let Some(Payload::Edits(edits)) = self.payload(place) {
                changes.entry(edits.file.clone()).or_default().push(place);
            }
        }
        for (file, base) in bases {
            state.files.insert(file.clone(), base.bytes.clone());
        }
        for (file, places) in changes {
            self.edit_file(&file, bases.get(&file), places, state);
        }
        for ((file, list), entries) in entries {
            let before = state.files.get(file).and_then(|bytes| intake::text::decode(file, bytes).ok());
            let (text, refused) = edits::with_entries(file, before.as_deref(), list, &entries);
            if let Some(text) = text.filter(|text| Some(text) != before.as_ref()) {
                state.files.insert(file.into(), text.into_bytes());
            }
            refused.into_iter().for_each(|(place, problems)| self.refuse(place, problems));
        }
    }

    fn edit_file(&mut self, file: &str, base: Option<&Base>, places: Vec<usize>, state: &mut State) {
        for place in &places {
            self.absorb(*place, base);
        }
        let places: Vec<usize> = places.into_iter().filter(|place| self.counts(*place)).collect();
        let begun = || edits::format_of(file).map(|format| super::lossless::new_document(format, &[]));
        let text = match base {
            Some(base) => intake::text::decode(file, &base.bytes).ok(),
            None => begun(),
        };
        let Some(text) = text else {
            for place in places {
                self.stands[place] = Stands::Waits;
                self.problems[place].push(Problem::at("file", "the record has no such file yet", "").value(file));
            }
            return;
        };
        let of = |place: usize| match self.payload(place) {
            Some(Payload::Edits(edits)) => Change { place, edits: &edits.edits },
            _ => Change { place, edits: &[] },
        };
        let changes: Vec<Change<'_>> = places.iter().copied().map(of).collect();
        let done = edits::run(self, file, base, &text, &changes);
        for (about, mut values) in done.conflicts {
            values.sort_by_key(|(place, ..)| *place);
            let values = values.into_iter().map(|(place, value, shown)| self.contended(place, value, shown)).collect();
            state.conflicts.push(Conflict { about, values });
        }
        state.values.extend(done.values);
        let refused = done.refused.len();
        done.refused.into_iter().for_each(|(place, problems)| self.refuse(place, problems));
        done.replaced.into_iter().for_each(|(place, by)| {
            if !matches!(self.payload(place), Some(Payload::Document(_) | Payload::Like(_))) {
                self.replaced(place, by);
            }
        });
        if refused < places.len() {
            state.files.insert(file.into(), done.text.into_bytes());
        }
    }

    /// Rows of readings, each behind the last of its table.
    fn tables(&mut self, items: &[usize], bases: &BTreeMap<String, Base>, state: &mut State) {
        let mut tables: BTreeMap<String, Vec<usize>> = BTreeMap::new();
        for place in items.iter().copied() {
            if let Some((file, _)) = self.payload(place).and_then(table_of) {
                self.absorb(place, bases.get(&file));
                if self.counts(place) {
                    tables.entry(file).or_default().push(place);
                }
            }
        }
        for (file, places) in tables {
            let before = bases.get(&file).map(|base| base.bytes.as_slice());
            let (bytes, refused) = self.table(&file, before, &places);
            refused.into_iter().for_each(|(place, problems)| self.refuse(place, problems));
            if let Some(bytes) = bytes {
                state.files.insert(file, bytes);
            }
        }
    }

    fn table(&self, file: &str, before: Option<&[u8]>, places: &[usize]) -> (Option<Vec<u8>>, Vec<(usize, Problems)>) {
        let Some((_, hand)) = places.first().and_then(|place| self.payload(*place)).and_then(table_of) else { return (None, Vec::new()) };
        let rows_of = |places: &[usize]| -> Vec<table::Row<'_>> { places.iter().flat_map(|place| self.rows(*place)).collect() };
        if let Ok(bytes) = table::with_rows(file, before, &hand, &rows_of(places)) {
            return (Some(bytes), Vec::new());
        }
        let mut refused = Vec::new();
        let mut fitting = Vec::new();
        for place in places.iter().copied() {
            match table::with_rows(file, before, &hand, &rows_of(&[place])) {
                Ok(_) => fitting.push(place),
                Err(problems) => refused.push((place, problems)),
            }
        }
        let bytes = (!fitting.is_empty()).then(|| table::with_rows(file, before, &hand, &rows_of(&fitting)).ok()).flatten();
        (bytes, refused)
    }

    /// An event's rows; who and when are the event's where a row does not say.
    fn rows(&self, place: usize) -> Vec<table::Row<'_>> {
        fn with<'r, T: ToRow>(rows: &'r [T], event: &'r Event) -> Vec<table::Row<'r>> {
            let cells = |row: &'r T| {
                let mut cells = row.cells();
                for (name, text) in [("by", &event.author), ("at", &event.at)] {
                    if T::HAND.columns.contains(&name) && !cells.iter().any(|(given, _)| *given == name) {
                        cells.push((name, table::Cell::Text(text.into())));
                    }
                }
                cells
            };
            rows.iter().map(cells).collect()
        }
        let event = self.event(place);
        match self.payload(place) {
            Some(Payload::Readings(rows)) => with(rows, event),
            Some(Payload::Climate(rows)) => with(rows, event),
            Some(Payload::Gradients(layered)) => with(&layered.rows, event),
            Some(Payload::Levels(layered)) => with(&layered.rows, event),
            Some(Payload::Film(rows)) => with(rows, event),
            _ => Vec::new(),
        }
    }

    fn devices(&mut self, state: &mut State) {
        for place in self.places().filter(|place| self.counts(*place)) {
            match self.payload(place) {
                Some(Payload::DevicePaired(DevicePaired { device, name, key })) => {
                    state.devices.insert(device.clone(), Device { name: name.clone(), key: key.clone(), revoked: None });
                }
                Some(Payload::DeviceRevoked(revoked)) => {
                    let id = self.event(place).id.clone();
                    if let Some(device) = state.devices.get_mut(&revoked.device) {
                        device.revoked = Some(id);
                    }
                }
                _ => {}
            }
        }
    }

    fn history(self, order: &order::Order<'_>, events: &[&Event], state: &mut State) {
        state.conflicts.sort_by(|a, b| a.about.cmp(&b.about));
        let happened = |event: &Event, corrected_us: i64, u_ms: Option<f64>, stands: Stands, problems: Vec<Problem>| Happened {
            id: event.id.clone(),
            device: event.device.clone(),
            seq: event.seq,
            author: event.author.clone(),
            at: event.at.clone(),
            corrected_us,
            u_ms,
            kind: event.kind.clone(),
            version: event.version,
            stands,
            problems,
        };
        let rest = self.stands.into_iter().zip(self.problems);
        state.history = self
            .placed
            .iter()
            .zip(rest)
            .map(|(placed, (stands, problems))| happened(placed.event, placed.corrected_us, placed.u_ms, stands, problems))
            .collect();
        for (index, what) in &order.aside {
            let event = events[*index];
            let problem = Problem::at("id", *what, "an id of its own").value(&event.id);
            state.history.push(happened(event, order::microseconds(&event.at), None, Stands::Refused, vec![problem]));
        }
    }
}

/// The name of a photograph when another one has its own.
fn other_name(photograph: &Photograph) -> String {
    let name = photograph.file.as_str();
    let (stem, end) = name.rsplit_once('.').map_or((name, String::new()), |(stem, end)| (stem, format!(".{end}")));
    format!("{stem}-{}{end}", photograph.blob.get(..8).unwrap_or_default())
}

/// Whether it is one thing by itself, which a later event can correct.
fn is_item(payload: &Payload) -> bool {
    !matches!(
        payload,
        Payload::Document(_)
            | Payload::Edits(_)
            | Payload::Withdrawn(_)
            | Payload::DevicePaired(_)
            | Payload::DeviceRevoked(_)
            | Payload::Clock(_)
            | Payload::Like(_)
    )
}

/// The file and its list that an event's entries go into.
fn list_of(payload: &Payload) -> Option<(&'static str, &'static str)> {
    Some(match payload {
        Payload::Evidence(_) | Payload::Release(_) | Payload::Defect(_) | Payload::Rectification(_) => (EVIDENCE, "entries"),
        Payload::Coat(_) => (COATS, "coats"),
        Payload::Delivery(_) => (COATS, "deliveries"),
        Payload::Used(_) => (COATS, "used"),
        Payload::Photograph(photograph) if !photograph.shows.is_empty() => (PHOTOGRAPHS, "photographs"),
        _ => return None,
    })
}

/// The table an event's rows go into.
fn table_of(payload: &Payload) -> Option<(String, table::Hand)> {
    fn layer(start: &str, layer: room::nouns::LayerKind) -> String {
        let word = serde_json::to_value(layer).ok().and_then(|word| word.as_str().map(str::to_string)).unwrap_or_default();
        format!("{start}-{word}.csv")
    }
    Some(match payload {
        Payload::Readings(_) => ("readings.csv".into(), ReadingRow::HAND),
        Payload::Climate(_) => ("climate.csv".into(), ClimateRow::HAND),
        Payload::Gradients(layered) => (layer("gradients", layered.layer), GradientRow::HAND),
        Payload::Levels(layered) => (layer("levels", layered.layer), LevelRow::HAND),
        Payload::Film(_) => ("film.csv".into(), FilmRow::HAND),
        _ => return None,
    })
}

/// A text short enough to be listed.
fn shortened(text: &str) -> String {
    const MOST: usize = 2_000;
    match text.char_indices().nth(MOST) {
        None => text.into(),
        Some((end, _)) => format!("{}... ({} bytes)", &text[..end], text.len()),
    }
}

/// Names of files in the state, for those who write them out; a name that leads elsewhere never gets here.
pub fn is_plain_name(file: &str) -> bool {
    name::problem("file", file).is_none()
}
