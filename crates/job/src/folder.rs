//! A job folder read whole: either a job in which every name resolves, or every problem of every file.

use crate::coats::{self, CoatLog};
use crate::evidence::{Entry, Evidence};
use crate::faces::Faces;
use crate::film::{self, FilmReading};
use crate::frame::Frame;
use crate::levels::{self, Survey};
use crate::pattern;
use crate::photographs::{self, Photographs};
use crate::plan::{Plan, PlanFile};
use crate::readings::{self, ClimateReading, GradientReading, Reading};
use crate::weights::Weights;
use measure::{Problem, Problems};
use room::Room;
use room::nouns::{LayerKind, MembraneLayer};
use room::register::{self, Detail};
use room::sheet::DataSheet;
use rules::Packs;
use schemars::JsonSchema;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// The files of a job folder by name. Files that are neither JSON nor CSV may stand there with no bytes, but for the pictures
/// [`photographs::wanted`] names.
pub type Files = BTreeMap<String, Vec<u8>>;

/// A job, checked.
#[derive(Clone, Debug)]
pub struct Job {
    /// The frame.
    pub frame: Frame,
    /// The room, its outline counter-clockwise and every edge with a wall.
    pub room: Room,
    /// Its details.
    pub register: Vec<Detail>,
    /// Data sheets.
    pub sheets: Vec<DataSheet>,
    /// The packs, with the project's own.
    pub packs: Packs,
    /// The plan, with the user's changes.
    pub plan: Plan,
    /// Whether the plan was agreed, by whom and when.
    pub agreed: Option<crate::plan::Agreed>,
    /// What was seen, stated and decided.
    pub evidence: Evidence,
    /// Order of risk.
    pub weights: Weights,
    /// Levels by the layer they were taken on.
    pub surveys: Vec<LayerSurvey>,
    /// Readings of a digital level, by the layer they were taken on.
    pub gradients: Vec<LayerGradients>,
    /// Readings of quantities.
    pub readings: Vec<Reading>,
    /// Readings of the air.
    pub climate: Vec<ClimateReading>,
    /// Readings of the film.
    pub film: Vec<FilmReading>,
    /// The coat log.
    pub coats: CoatLog,
    /// Photographs of faces.
    pub photographs: Photographs,
    /// Bytes of the photographs that can be decoded, by file name.
    pub pictures: BTreeMap<String, Vec<u8>>,
    /// What to know when using these files, though nothing in them is wrong.
    pub notes: Vec<String>,
    /// JSON and CSV files of the folder that this version does not know.
    pub unread: Vec<String>,
}

/// Levels taken on one layer.
#[derive(Clone, Debug)]
pub struct LayerSurvey {
    /// Layer.
    pub layer: LayerKind,
    /// File.
    pub file: String,
    /// Levels.
    pub survey: Survey,
}

/// Readings of a digital level on one layer.
#[derive(Clone, Debug)]
pub struct LayerGradients {
    /// Layer.
    pub layer: LayerKind,
    /// File.
    pub file: String,
    /// Readings.
    pub readings: Vec<GradientReading>,
}

/// `data-sheets.json`.
#[derive(Clone, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct DataSheets {
    /// `undertile data-sheets 1`.
    #[schemars(extend("const" = "undertile data-sheets 1"))]
    pub format: String,
    /// The sheets.
    pub sheets: Vec<DataSheet>,
}

const ROOM: &str = "room.json";
const FRAME: &str = "job.json";
const SHEETS: &str = "data-sheets.json";
const PACK: &str = "pack.json";
const PLAN: &str = "plan.json";
const EVIDENCE: &str = "evidence.json";
const WEIGHTS: &str = "weights.json";
const READINGS: &str = "readings.csv";
const CLIMATE: &str = "climate.csv";
const FILM: &str = "film.csv";
const COATS: &str = "coats.json";
const PHOTOGRAPHS: &str = photographs::FILE;
/// A pond may be drawn so far beyond a wall: what a tape leaves open.
const POND_OUTSIDE_MM: f64 = 20.0;
const KNOWN: [&str; 12] = [ROOM, FRAME, SHEETS, PACK, PLAN, EVIDENCE, WEIGHTS, READINGS, CLIMATE, FILM, COATS, PHOTOGRAPHS];

impl Job {
    /// Reads a job folder. Only `room.json` must be there.
    pub fn read(files: &Files) -> Result<Self, Problems> {
        let mut problems = Problems::new();
        if !files.contains_key(ROOM) {
            problems.push(Problem::at("", "the job folder has no room", "a file room.json (undertile schema room)").file(ROOM));
        }
        let frame: Option<Frame> = read_json(files, FRAME, &mut problems);
        let sheets: DataSheets = read_json(files, SHEETS, &mut problems).unwrap_or_default();
        let plan_file: PlanFile = read_json(files, PLAN, &mut problems).unwrap_or_default();
        let evidence: Evidence = read_json(files, EVIDENCE, &mut problems).unwrap_or_default();
        let weights = read_json(files, WEIGHTS, &mut problems).unwrap_or_else(Weights::embedded);
        let frame = frame.unwrap_or_default();
        let coats: CoatLog = read_json(files, COATS, &mut problems).unwrap_or_default();
        let photographs: Photographs = read_json(files, PHOTOGRAPHS, &mut problems).unwrap_or_default();
        let formats = [
            (FRAME, &frame.format, "undertile job 1"),
            (SHEETS, &sheets.format, "undertile data-sheets 1"),
            (PLAN, &plan_file.format, "undertile plan-edits 1"),
            (EVIDENCE, &evidence.format, "undertile evidence 1"),
            (COATS, &coats.format, "undertile coats 1"),
            (PHOTOGRAPHS, &photographs.format, "undertile photographs 1"),
        ];
        check_formats(&formats, files, &mut problems);
        check_basis_date(&frame, &mut problems);
        let packs = read_packs(files, &mut problems);
        let plan = keep(Plan::with_changes(&plan_file).map_err(|p| p.in_file(PLAN)), &mut problems);
        let room = read_room(files, &sheets.sheets, &mut problems);
        let surveys = read_surveys(files, &frame, &mut problems);
        let gradients = read_gradients(files, &mut problems);
        let readings = read_table(files, READINGS, readings::readings, &mut problems);
        let climate = read_table(files, CLIMATE, readings::climate, &mut problems);
        let film_rows = read_table(files, FILM, film::rows, &mut problems);
        let pictures = photographs::pictures(&photographs, files, &mut problems);
        let (Some(room), Some(plan), Some(packs)) = (room, plan, packs) else {
            return problems.or(()).map(|()| unreachable!("a part that is missing left a problem"));
        };
        let register = register::derive(&room);
        let faces = Faces::of(&room, &register);
        let film = film::resolve(FILM, film_rows, &faces, &register, &mut problems);
        let known = coats::Known { faces: &faces, register: &register, sheets: &sheets.sheets };
        problems.extend(coats::check(&coats, &known).in_file(COATS));
        let log = (!refused(COATS, &problems)).then_some(&coats);
        let known = photographs::Known { faces: &faces, log, plan: &plan };
        problems.extend(photographs::check(&photographs, &known).in_file(PHOTOGRAPHS));
        let notes = [film::notes(&film), photographs::notes(&photographs, files)].concat();
        let unread = files.keys().filter(|name| {
            is_data(name)
                && !KNOWN.contains(&name.as_str())
                && !surveys.iter().any(|s| s.file == **name)
                && !gradients.iter().any(|g| g.file == **name)
        });
        let job = Self {
            agreed: plan_file.agreed,
            unread: unread.cloned().collect(),
            frame,
            room,
            register,
            sheets: sheets.sheets,
            packs,
            plan,
            evidence,
            weights,
            surveys,
            gradients,
            readings,
            climate,
            film,
            coats,
            photographs,
            pictures,
            notes,
        };
        let film_refused = refused(FILM, &problems);
        problems.extend(job.unresolved(film_refused));
        problems.or(job)
    }

    /// Layers of membrane the register speaks of, lowest first.
    pub fn membrane_layers(&self) -> Vec<MembraneLayer> {
        let layers: BTreeSet<MembraneLayer> = self.register.iter().filter_map(|detail| detail.layer).collect();
        layers.into_iter().collect()
    }

    /// Everything named in evidence and readings that is not there. Where film readings were refused, a cut-out may be one of
    /// them.
    fn unresolved(&self, film_refused: bool) -> Problems {
        let mut problems = Problems::new();
        for (i, entry) in self.evidence.entries.iter().enumerate() {
            self.check_entry(&format!("entries[{i}]"), entry, &mut problems);
            if let Entry::PatchClosed { cut_out, at: time, .. } = entry
                && !film_refused
            {
                self.check_patch(&format!("entries[{i}]"), cut_out, time, &mut problems);
            }
        }
        let mut problems = problems.in_file(EVIDENCE);
        for reading in &self.readings {
            let (file, line) = place(&reading.from);
            let mut found = Problems::new();
            self.check_hold_point("hold_point", &reading.hold_point, &mut found);
            if reading.detail != readings::ROOM && !self.register.iter().any(|detail| detail.id == reading.detail) {
                let near = intake::words::nearest(&reading.detail, self.register.iter().map(|detail| detail.id.as_str()));
                found.push(Problem::at("detail", "the room has no such detail", did_you_mean(near)).value(&reading.detail));
            }
            match self.packs.quantity(&reading.quantity) {
                None => {
                    let near = intake::words::nearest(&reading.quantity, self.packs.vocabulary().quantities().map(|q| q.id.as_str()));
                    found.push(Problem::at("quantity", "no such quantity", did_you_mean(near)).value(&reading.quantity));
                }
                Some(quantity) => {
                    if let Some(unit) = reading.unit.as_ref().filter(|unit| **unit != quantity.unit) {
                        found.push(Problem::at("unit", "another unit than the quantity's", &quantity.unit).value(unit));
                    }
                }
            }
            problems.problems.extend(found.problems.into_iter().map(|p| p.file(file).line(line)));
        }
        for reading in &self.climate {
            let (file, line) = place(&reading.from);
            let mut found = Problems::new();
            self.check_hold_point("hold_point", &reading.hold_point, &mut found);
            self.check_pattern("detail", reading.detail.as_deref().unwrap_or("*"), &mut found);
            problems.problems.extend(found.problems.into_iter().map(|p| p.file(file).line(line)));
        }
        problems
    }

    fn check_entry(&self, at: &str, entry: &Entry, problems: &mut Problems) {
        match entry {
            Entry::Look { hold_point, details, except, answers, at: time, .. } => {
                self.check_hold_point(&format!("{at}.hold_point"), hold_point, problems);
                self.check_patterns(&format!("{at}.details"), details, problems);
                self.check_patterns(&format!("{at}.except"), except, problems);
                if let Some(line) = answers {
                    self.check_line(&format!("{at}.answers"), line, problems);
                }
                check_time(&format!("{at}.at"), time, problems);
            }
            Entry::Paper { answers, at: time, .. } => {
                self.check_line(&format!("{at}.answers"), answers, problems);
                check_time(&format!("{at}.at"), time, problems);
            }
            Entry::Outcome { hold_point, at: time, .. } => {
                self.check_hold_point(&format!("{at}.hold_point"), hold_point, problems);
                check_time(&format!("{at}.at"), time, problems);
            }
            Entry::Pond { at: time, outline_mm, .. } => {
                check_time(&format!("{at}.at"), time, problems);
                let outside = outline_mm.iter().find(|corner| !room::geometry::contains(&self.room.outline_mm, **corner, POND_OUTSIDE_MM));
                if let Some(corner) = outside {
                    let right = "corners on the floor of room.json";
                    problems.push(
                        Problem::at(format!("{at}.outline_mm"), "the pond lies outside the room", right).value(format!("{corner:?}")),
                    );
                }
            }
            Entry::PatchClosed { at: time, .. } | Entry::TradeEntered { at: time, .. } => check_time(&format!("{at}.at"), time, problems),
            Entry::Departure { details, at: time, rule, .. } => {
                self.check_patterns(&format!("{at}.details"), details, problems);
                check_time(&format!("{at}.at"), time, problems);
                if self.packs.rule(rule).is_none() {
                    let what = "no pack has a rule of that name";
                    problems
                        .push(Problem::at(format!("{at}.rule"), what, "the rule's full name, as assess prints it with --json").value(rule));
                }
            }
        }
    }

    /// A patch is closed over a cut-out that was opened, and after it was.
    fn check_patch(&self, at: &str, cut_out: &str, closed: &str, problems: &mut Problems) {
        let opened: Vec<&FilmReading> = self.film.iter().filter(|reading| reading.cut_out.as_deref() == Some(cut_out)).collect();
        if opened.is_empty() {
            let names = self.film.iter().filter_map(|reading| reading.cut_out.as_deref());
            let near = intake::words::nearest(cut_out, names);
            let right = near.map_or("the name of a cut-out in film.csv".into(), |near| did_you_mean(Some(near)));
            problems.push(Problem::at(format!("{at}.cut_out"), "nobody opened such a cut-out", right).value(cut_out));
        }
        let time = |text: &str| text.parse::<jiff::Timestamp>().ok();
        let last = opened.iter().filter_map(|reading| time(reading.at.as_deref()?)).max();
        if let (Some(closed_at), Some(last)) = (time(closed), last)
            && closed_at < last
        {
            problems
                .push(Problem::at(format!("{at}.at"), "the patch is closed before it was opened", format!("after {last}")).value(closed));
        }
    }

    fn check_hold_point(&self, field: &str, id: &str, problems: &mut Problems) {
        if self.plan.hold_point(id).is_none() {
            let ids: Vec<_> = self.plan.hold_points.iter().map(|hold| hold.id.as_str()).collect();
            problems.push(Problem::at(field, "the plan has no such hold point", format!("one of: {}", ids.join(", "))).value(id));
        }
    }

    fn check_line(&self, field: &str, id: &str, problems: &mut Problems) {
        let ids = || self.plan.hold_points.iter().flat_map(|hold| &hold.owed).map(|owed| owed.id.as_str());
        if !ids().any(|known| known == id) {
            problems.push(Problem::at(field, "the plan has no such line", did_you_mean(intake::words::nearest(id, ids()))).value(id));
        }
    }

    fn check_patterns(&self, field: &str, patterns: &[String], problems: &mut Problems) {
        for (i, text) in patterns.iter().enumerate() {
            self.check_pattern(&format!("{field}[{i}]"), text, problems);
        }
    }

    fn check_pattern(&self, field: &str, text: &str, problems: &mut Problems) {
        if !self.register.iter().any(|detail| pattern::speaks_of(text, detail)) {
            let names = self.register.iter().flat_map(|detail| [detail.id.as_str(), detail.group.as_str()]);
            let right = did_you_mean(intake::words::nearest(text, names));
            problems.push(Problem::at(field, "speaks of no detail of this room", right).value(text));
        }
    }
}

pub(crate) fn did_you_mean(near: Option<&str>) -> String {
    near.map_or("a name from the register".into(), |near| format!("did you mean {near}?"))
}

/// File and line of a reading.
pub(crate) fn place(from: &str) -> (&str, u64) {
    from.rsplit_once(':').and_then(|(file, line)| Some((file, line.parse().ok()?))).unwrap_or((from, 0))
}

pub(crate) fn check_time(field: &str, time: &str, problems: &mut Problems) {
    if time.parse::<jiff::Timestamp>().is_err() {
        problems.push(Problem::at(field, "not a time with an offset", "RFC 3339, such as 2024-02-21T16:40:00+11:00").value(time));
    }
}

fn is_data(name: &str) -> bool {
    let lower = name.to_ascii_lowercase();
    lower.ends_with(".json") || lower.ends_with(".csv")
}

fn keep<T>(read: Result<T, Problems>, problems: &mut Problems) -> Option<T> {
    read.map_err(|found| problems.extend(found)).ok()
}

fn read_json<T: DeserializeOwned + JsonSchema>(files: &Files, name: &str, problems: &mut Problems) -> Option<T> {
    keep(intake::json::read(name, files.get(name)?), problems)
}

fn read_table<T>(files: &Files, name: &str, read: fn(&str, &[u8]) -> Result<Vec<T>, Problems>, problems: &mut Problems) -> Vec<T> {
    files.get(name).and_then(|bytes| keep(read(name, bytes), problems)).unwrap_or_default()
}

/// Whether something of a file was refused.
fn refused(file: &str, problems: &Problems) -> bool {
    problems.problems.iter().any(|problem| problem.file == file)
}

/// The word a file starts with: a slip of files shows at once.
fn check_formats(formats: &[(&str, &String, &str)], files: &Files, problems: &mut Problems) {
    let refused: Vec<String> = problems.problems.iter().map(|p| p.file.clone()).collect();
    for (file, format, right) in formats {
        if files.contains_key(*file) && format != right && !refused.iter().any(|r| r == file) {
            let what = "not a file of this kind and version";
            problems.push(Problem::at("format", what, format!("write {right:?}")).value(format).file(*file));
        }
    }
}

fn check_basis_date(frame: &Frame, problems: &mut Problems) {
    if let Some(date) = frame.basis_date.as_ref().filter(|date| date.parse::<jiff::civil::Date>().is_err()) {
        problems.push(Problem::at("basis_date", "not a date", "year-month-day, such as 2024-02-12").value(date).file(FRAME));
    }
}

fn read_packs(files: &Files, problems: &mut Problems) -> Option<Packs> {
    let packs = Packs::embedded();
    match files.get(PACK) {
        None => Some(packs),
        Some(bytes) => keep(packs.with(PACK, bytes), problems),
    }
}

/// The room in the form everything works on, or nothing when it is not sound: then what is wrong with its form and what is
/// wrong with what it says, both at once.
fn read_room(files: &Files, sheets: &[DataSheet], problems: &mut Problems) -> Option<Room> {
    let bytes = files.get(ROOM)?;
    match intake::json::read::<Room>(ROOM, bytes) {
        Ok(drawn) => {
            let found = check_room(&drawn, sheets);
            let sound = found.is_empty();
            problems.extend(found.in_file(ROOM));
            sound.then(|| room::validate::normalised(&drawn))
        }
        Err(slips) => {
            problems.extend(slips);
            if let Some(mended) = intake::json::mended::<Room>(bytes) {
                let found = check_room(&mended.value, sheets).problems.into_iter().filter(|problem| !mended.is_aside(&problem.field));
                problems.extend(Problems { problems: found.collect() }.in_file(ROOM));
            }
            None
        }
    }
}

fn check_room(drawn: &Room, sheets: &[DataSheet]) -> Problems {
    let mut found = room::validate::check(drawn);
    found.extend(room::validate::check_sheets(drawn, sheets));
    found
}

/// Level files: those the frame lists, and those whose name says the layer.
fn read_surveys(files: &Files, frame: &Frame, problems: &mut Problems) -> Vec<LayerSurvey> {
    let mut surveys = Vec::new();
    for (i, listed) in frame.surveys.iter().enumerate() {
        match files.get(&listed.file) {
            None => {
                let what = "the folder has no such file";
                problems
                    .push(Problem::at(format!("surveys[{i}].file"), what, "a CSV file beside job.json").value(&listed.file).file(FRAME));
            }
            Some(bytes) => {
                let options = levels::Options { layer: Some(listed.layer), expanded_mm: listed.expanded_mm };
                let read = keep(levels::read(&listed.file, bytes, &options), problems);
                surveys.extend(read.map(|survey| LayerSurvey { layer: listed.layer, file: listed.file.clone(), survey }));
            }
        }
    }
    for (name, bytes) in files {
        if frame.surveys.iter().any(|listed| listed.file == *name) {
            continue;
        }
        if let Some(layer) = layer_by_name(name, "levels-") {
            let read = keep(levels::read(name, bytes, &levels::Options { layer: Some(layer), expanded_mm: None }), problems);
            surveys.extend(read.map(|survey| LayerSurvey { layer, file: name.clone(), survey }));
        }
    }
    surveys
}

/// Files of a digital level; the name says the layer.
fn read_gradients(files: &Files, problems: &mut Problems) -> Vec<LayerGradients> {
    let named = files.iter().filter_map(|(name, bytes)| Some((name, bytes, layer_by_name(name, "gradients-")?)));
    named
        .filter_map(|(name, bytes, layer)| {
            let readings = keep(readings::gradients(name, bytes), problems)?;
            Some(LayerGradients { layer, file: name.clone(), readings })
        })
        .collect()
}

/// `levels-tile.csv` was taken on the tile.
fn layer_by_name(name: &str, start: &str) -> Option<LayerKind> {
    let layer = name.to_ascii_lowercase().strip_prefix(start)?.strip_suffix(".csv")?.to_owned();
    serde_json::from_value(serde_json::Value::String(layer)).ok()
}
