//! What a payload may not say whatever its kind: names that lead out of the folder, texts without end, pointers that are none.

use super::name;
use super::payload::*;
use super::table::Cell;
use super::{lossless, rows};
use crate::evidence::Entry;
use ledger::Hash;
use measure::{Problem, Problems, bounds};
use rows::ToRow;

/// Letters of one cell or name.
const MOST_CELL: usize = 1_000;
/// Signs of one number.
const MOST_DIGITS: usize = 40;
/// Largest blob: 1 TB.
const MOST_BLOB: u64 = 1 << 40;

/// Everything wrong with a payload whose form is right.
pub(crate) fn payload(payload: &Payload) -> Problems {
    let mut check = Check::default();
    match payload {
        Payload::Document(document) => check.document(document),
        Payload::Edits(edits) => check.edits(edits),
        Payload::Readings(rows) => check.rows(rows),
        Payload::Climate(rows) => check.rows(rows),
        Payload::Gradients(layered) => check.rows(&layered.rows),
        Payload::Levels(layered) => check.levels(&layered.rows),
        Payload::Film(rows) => check.film(rows),
        Payload::Coat(coat) => {
            check.cell("id", &coat.id);
            check.time("start", Some(&coat.start));
            check.time("end", coat.end.as_deref());
            check.photographs(&coat.photographs);
        }
        Payload::Delivery(delivery) => {
            check.cell("id", &delivery.id);
            check.time("at", delivery.at.as_deref());
        }
        Payload::Used(used) => {
            check.cell("id", &used.id);
            check.time("at", used.at.as_deref());
        }
        Payload::Evidence(entry) => check.entry(entry),
        Payload::Release(release) => check.release(release),
        Payload::Photograph(photograph) => check.photograph(photograph),
        Payload::Note(note) => {
            check.words("words", &note.words);
            check.place(note.place.as_ref());
            check.photographs(&note.photographs);
        }
        Payload::Defect(defect) => {
            check.words("words", &defect.words);
            check.place(Some(&defect.place));
            check.photographs(&defect.photographs);
            check.uuid("together", defect.together.as_deref());
        }
        Payload::Rectification(rectification) => {
            check.uuid("defect", Some(&rectification.defect));
            check.words("words", &rectification.words);
            check.photographs(&rectification.photographs);
            if rectification.photographs.is_empty() {
                check.wrong("photographs", "none", "at least one that shows it put right");
            }
        }
        Payload::Withdrawn(withdrawn) => {
            check.uuid("event", Some(&withdrawn.event));
            check.words("why", &withdrawn.why);
        }
        Payload::DevicePaired(paired) => {
            check.device("device", &paired.device);
            check.cell("name", &paired.name);
            check.hash("key", &paired.key);
        }
        Payload::DeviceRevoked(revoked) => {
            check.device("device", &revoked.device);
            check.words("why", &revoked.why);
        }
        Payload::Clock(clock) => {
            check.device("device", &clock.device);
            check.time("at", Some(&clock.at));
            let bounded = |value: f64, least: f64| (least..=1e13).contains(&value);
            if !bounded(clock.offset_ms, -1e13) || !bounded(clock.u_ms, 0.0) {
                check.wrong("offset_ms", "out of bounds", "milliseconds, at most 1e13; an uncertainty of zero or more");
            }
        }
        Payload::Like(like) => check.like(like),
    }
    check.problems
}

#[derive(Default)]
struct Check {
    problems: Problems,
}

impl Check {
    fn wrong(&mut self, field: &str, what: &str, right: &str) {
        self.problems.push(Problem::at(field, what, right));
    }

    fn document(&mut self, document: &Document) {
        self.problems.problems.extend(name::problem("file", &document.file));
        match (&document.text, &document.blob) {
            (Some(_), None) => {}
            (None, Some(blob)) => self.hash("blob", blob),
            _ => self.wrong("text", "the file's text stands here twice or not at all", "either text or blob"),
        }
    }

    fn edits(&mut self, edits: &Edits) {
        self.problems.problems.extend(name::problem("file", &edits.file));
        if !edits.file.to_ascii_lowercase().ends_with(".json") {
            self.problems.push(Problem::at("file", "only JSON files have fields", "a file that ends in .json").value(&edits.file));
        }
        if edits.edits.is_empty() || edits.edits.len() > MOST_EDITS {
            self.wrong("edits", "none, or too many", "1 to 1000 changes, or the whole text");
        }
        for (i, edit) in edits.edits.iter().enumerate().filter(|(_, edit)| lossless::steps(&edit.at).is_none()) {
            let right = "a JSON Pointer such as /height_mm or /walls/north/height_mm";
            self.problems.push(Problem::at(format!("edits[{i}].at"), "points nowhere", right).value(&edit.at));
        }
    }

    fn rows<T: ToRow>(&mut self, rows: &[T]) {
        if rows.is_empty() || rows.len() > MOST_ROWS {
            self.wrong("rows", "none, or too many", "1 to 10000 readings");
        }
        for (i, row) in rows.iter().enumerate() {
            let cells = row.cells();
            for (name, cell) in &cells {
                match cell {
                    Cell::Text(text) => self.cell(name, text),
                    Cell::Number(number) => self.number(i, name, number),
                }
            }
            for name in T::NEEDED.iter().filter(|name| !cells.iter().any(|(given, _)| given == *name)) {
                self.wrong(&format!("rows[{i}].{name}"), "empty", "the table's readers need it");
            }
            self.time("at", row.at());
        }
    }

    fn number(&mut self, row: usize, column: &str, number: &str) {
        let within = rows::bounds_of(column);
        let long = number.len() > MOST_DIGITS;
        if long || !number.parse::<f64>().is_ok_and(|value| within.contains(value)) {
            let what = if long { "more digits than anything is measured with" } else { "out of range" };
            self.problems.push(Problem::at(format!("rows[{row}].{column}"), what, within.words()).value(number));
        }
    }

    fn levels(&mut self, rows: &[LevelRow]) {
        self.rows(rows);
        for (i, row) in rows.iter().enumerate() {
            if row.level_mm.is_some() == row.staff_mm.is_some() {
                self.wrong(&format!("rows[{i}]"), "no reading, or two", "either level_mm or staff_mm");
            }
            if row.x_mm.is_some() != row.y_mm.is_some() {
                self.wrong(&format!("rows[{i}]"), "half a place", "x_mm and y_mm, or neither");
            }
        }
    }

    /// Rows the reader of the table takes.
    fn film(&mut self, rows: &[FilmRow]) {
        self.rows(rows);
        if self.problems.is_empty() {
            let cells: Vec<_> = rows.iter().map(ToRow::cells).collect();
            if let Err(problems) = crate::film::rows("", super::table::begun(&FilmRow::HAND, &cells).as_bytes()) {
                let in_rows = |problem: Problem| {
                    let row = problem.line.map_or(0, |line| line.saturating_sub(2));
                    Problem { line: None, field: format!("rows[{row}].{}", problem.field), ..problem }
                };
                self.problems.problems.extend(problems.problems.into_iter().map(in_rows));
            }
        }
    }

    fn entry(&mut self, entry: &Entry) {
        let (at, by, photographs): (&str, Option<&String>, &[String]) = match entry {
            Entry::Look { at, by, photographs, .. } | Entry::PatchClosed { at, by, photographs, .. } => (at, Some(by), photographs),
            Entry::Pond { at, by, .. } | Entry::Paper { at, by, .. } | Entry::Outcome { at, by, .. } | Entry::Departure { at, by, .. } => {
                (at, Some(by), &[])
            }
            Entry::TradeEntered { at, .. } => (at, None, &[]),
        };
        self.time("at", Some(at));
        if let Some(by) = by {
            self.cell("by", by);
        }
        self.photographs(photographs);
    }

    fn release(&mut self, release: &Release) {
        self.cell("hold_point", &release.hold_point);
        self.time("at", release.at.as_deref());
        self.uuid("together", release.together.as_deref());
        self.device("head.log", &release.head.log);
        self.hash("head.root", &release.head.root);
        if let Some(by) = &release.by {
            self.cell("by", by);
        }
        if release.conditions.len() > 100 {
            self.wrong("conditions", "too many", "at most 100");
        }
        for condition in &release.conditions {
            self.words("conditions", condition);
        }
    }

    fn photograph(&mut self, photograph: &Photograph) {
        self.problems.problems.extend(name::problem("file", &photograph.file));
        if name::is_data(&photograph.file) {
            let right = "a name that does not end in .json or .csv";
            self.problems.push(Problem::at("file", "the name of a data file", right).value(&photograph.file));
        }
        self.hash("blob", &photograph.blob);
        self.cell("type", &photograph.media_type);
        self.place(photograph.place.as_ref());
        photograph.shows.iter().for_each(|face| self.cell("shows.on", &face.on));
        if let Some(words) = &photograph.words {
            self.words("words", words);
        }
        if let Some(taken_at) = &photograph.taken_at {
            self.cell("taken_at", taken_at);
        }
        if let Some(camera) = &photograph.camera {
            self.cell("camera", camera);
        }
        if photograph.bytes > MOST_BLOB {
            self.wrong("bytes", "too large", "at most 2^40 bytes");
        }
        if photograph.orientation.is_some_and(|turn| !(1..=8).contains(&turn)) {
            self.wrong("orientation", "no such orientation", "1 to 8, as EXIF counts");
        }
        let on_earth = |place: &OnEarth| {
            let error_m = place.horizontal_error_m.unwrap_or_default();
            place.latitude_deg.abs() <= 90.0 && place.longitude_deg.abs() <= 180.0 && error_m >= 0.0
        };
        if photograph.taken_where.as_ref().is_some_and(|place| !on_earth(place)) {
            self.wrong("taken_where", "no place on earth", "latitude within 90 degrees, longitude within 180, an error of 0 m or more");
        }
    }

    fn like(&mut self, like: &Like) {
        self.uuid("pattern", Some(&like.pattern));
        self.hash("revision", &like.revision);
        if let Some(name) = &like.name {
            self.cell("name", name);
        }
        for file in like.files.keys().filter(|file| !super::like::SHARED.contains(&file.as_str())) {
            let right = format!("one of: {}", super::like::SHARED.join(", "));
            self.problems.push(Problem::at("files", "not a file a pattern has", right).value(file));
        }
        if !like.files.contains_key(super::like::ROOM) {
            self.wrong("files", "the pattern has no room", "its room.json");
        }
        if like.answers.len() > MOST_EDITS {
            self.wrong("answers", "too many", "at most 1000");
        }
        for (i, answer) in like.answers.iter().enumerate() {
            let shared = super::like::SHARED.contains(&answer.file.as_str());
            let whole = answer.at.is_empty() && (answer.value.is_some() || answer.file != super::like::ROOM);
            if !shared || !(whole || lossless::steps(&answer.at).is_some()) {
                let right = "a place such as /height_mm in a file a pattern has";
                self.problems.push(Problem::at(format!("answers[{i}].at"), "points nowhere", right).value(&answer.at));
            }
        }
        if self.problems.is_empty() {
            self.problems = super::like::check(like);
        }
    }

    fn place(&mut self, place: Option<&Place>) {
        let Some(place) = place else { return };
        place.details.iter().for_each(|detail| self.cell("place.details", detail));
        if let Some(on) = &place.on {
            self.cell("place.on", on);
        }
        if place.details.len() > 1_000 {
            self.wrong("place.details", "too many", "at most 1000; a pattern such as junction/* names many");
        }
        if [place.x_mm, place.y_mm].into_iter().flatten().any(|v| !bounds::PLAN_MM.contains(v)) {
            self.wrong("place.x_mm", "out of bounds", &bounds::PLAN_MM.words());
        }
    }

    fn photographs(&mut self, names: &[String]) {
        if names.len() > 1_000 {
            self.wrong("photographs", "too many", "at most 1000");
        }
        self.problems.problems.extend(names.iter().filter_map(|name| name::problem("photographs", name)));
    }

    fn words(&mut self, field: &str, text: &str) {
        let hidden = text.chars().any(|c| c.is_control() && !matches!(c, '\n' | '\r' | '\t'));
        if text.trim().is_empty() || text.chars().count() > MOST_WORDS || hidden {
            self.problems.push(Problem::at(field, "empty, too long or not plain text", "words, at most 20000 letters").value(text));
        }
    }

    fn cell(&mut self, field: &str, text: &str) {
        if text.len() > MOST_CELL || text.chars().any(char::is_control) {
            self.problems
                .push(Problem::at(field, "too long, or not on one line", "plain text, at most 1000 bytes").value(text.escape_debug()));
        }
    }

    fn time(&mut self, field: &str, time: Option<&str>) {
        if let Some(time) = time.filter(|time| time.parse::<jiff::Timestamp>().is_err()) {
            let right = "RFC 3339, such as 2024-02-21T16:40:00+11:00";
            self.problems.push(Problem::at(field, "not a time with an offset", right).value(time));
        }
    }

    fn uuid(&mut self, field: &str, id: Option<&str>) {
        if let Some(id) = id.filter(|id| !ledger::id::is_uuid(id)) {
            self.problems
                .push(Problem::at(field, "not a UUID in lower case", "an id such as 018bcfe5-6800-7707-8707-070707070707").value(id));
        }
    }

    fn device(&mut self, field: &str, id: &str) {
        if !ledger::id::is_device(id) {
            self.problems.push(Problem::at(field, "not a device id", "32 lower-case hex digits").value(id));
        }
    }

    fn hash(&mut self, field: &str, hex: &str) {
        if Hash::from_hex(hex).is_none() {
            self.problems.push(Problem::at(field, "not 64 lower-case hex digits", "a SHA-256 or key in hex").value(hex));
        }
    }
}
