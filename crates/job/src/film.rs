//! Film readings, as they stand in `film.csv`: one row a reading, columns in any order.
//!
//! `layer` (under-screed, over-screed); where: `detail` by the register's id, or `face, x_mm, y_mm`; `kind` (wet, dry), `coat`
//! (in which coat a wet reading was taken), `tool` (comb, gauge, cut-out); what was read: `lo_um, hi_um` (a comb's last
//! wetted and next dry tooth) or `value_um`; `u_um` (standard) or `plus_minus_um` (expanded); `spot`, `cut_out`, `grade`,
//! `by`, `at`. Only the layer, a where and a what must be there.
//!
//! On a wall, x counts along it from the first corner of its edge (its right end as seen from inside), as openings and recesses
//! are drawn, and y is the height over the room's zero.

use crate::faces::{self, FacePlace, Faces};
use crate::table::{self, Cells, Columns};
use film::thickness::{FILM_UM, Kind, MOST_READINGS, Tool};
use measure::{Bounds, Grade, Problem, Problems, bounds};
use room::nouns::MembraneLayer;
use room::register::Detail;
use std::collections::BTreeMap;

/// Columns this version reads and a record writes.
pub(crate) const COLUMNS: [&str; 18] = [
    "layer",
    "detail",
    "face",
    "x_mm",
    "y_mm",
    "kind",
    "coat",
    "tool",
    "lo_um",
    "hi_um",
    "value_um",
    "u_um",
    "plus_minus_um",
    "spot",
    "cut_out",
    "grade",
    "by",
    "at",
];
const TOOTH_UM: Bounds = Bounds { min: 0.0, ..FILM_UM };
const U_UM: Bounds = Bounds { min: 0.0, max: 5_000.0, unit: "µm" };
const COAT: Bounds = Bounds { min: 1.0, max: crate::coats::MOST_NUMBER as f64, unit: "" };

/// One reading of a film.
#[derive(Clone, Debug, PartialEq)]
pub struct FilmReading {
    /// Membrane.
    pub layer: MembraneLayer,
    /// Detail it was taken on, by id; a reading given by its place has that of the field it lies in.
    pub detail: String,
    /// Place, where it was given.
    pub place: Option<FacePlace>,
    /// Wet or dry.
    pub kind: Kind,
    /// Coat a wet reading was taken in.
    pub coat: Option<u32>,
    /// Tool.
    pub tool: Option<Tool>,
    /// Last tooth wetted; absent with `hi_um` when none was.
    pub lo_um: Option<f64>,
    /// Next tooth, which stayed dry; absent with `lo_um` when all were wetted.
    pub hi_um: Option<f64>,
    /// A value, in place of a bracket.
    pub value_um: Option<f64>,
    /// Standard uncertainty, if it was given.
    pub u_um: Option<f64>,
    /// Readings of one small circle carry the same name.
    pub spot: Option<String>,
    /// The cut-out it was taken at: a hole in the membrane, whose patch must be closed.
    pub cut_out: Option<String>,
    /// Grade.
    pub grade: Grade,
    /// Who took it.
    pub by: Option<String>,
    /// When, as written.
    pub at: Option<String>,
    /// File and line, for the record.
    pub from: String,
}

/// A row whose names are not resolved yet.
pub struct Row {
    reading: FilmReading,
    face: Option<(String, f64, f64)>,
}

/// The rows of `film.csv`.
pub fn rows(file: &str, bytes: &[u8]) -> Result<Vec<Row>, Problems> {
    table::rows(file, bytes, &Columns { rows: MOST_READINGS, needed: &["layer"], known: &COLUMNS }, row)
}

fn row(cells: &Cells<'_>, problems: &mut Problems) -> Option<Row> {
    let before = problems.problems.len();
    if cells.cell("layer").is_empty() {
        problems.push(cells.problem("layer", "no layer is named", "under-screed or over-screed"));
    }
    let layer = cells.word("layer", &["under-screed", "over-screed"], problems);
    let face = place(cells, problems);
    if cells.cell("detail").is_empty() && cells.cell("face").is_empty() {
        problems.push(cells.problem("detail", "nothing says where", "a detail of the register, or face, x_mm and y_mm"));
    }
    let tool = cells.word("tool", &["comb", "gauge", "cut-out"], problems);
    let kind = cells.word("kind", &["wet", "dry"], problems);
    let kind = kind.unwrap_or(if tool == Some(Tool::Comb) { Kind::Wet } else { Kind::Dry });
    let coat = given(cells, "coat", &COAT, problems);
    if let Some(number) = coat.filter(|number| number.fract() != 0.0) {
        problems.push(cells.problem("coat", "not a whole number", "1 for the first coat, 2 for the second").value(number));
    }
    let lo_um = given(cells, "lo_um", &TOOTH_UM, problems);
    let hi_um = given(cells, "hi_um", &FILM_UM, problems);
    let value_um = given(cells, "value_um", &TOOTH_UM, problems);
    let u_um = uncertainty(cells, problems);
    what_was_read(cells, kind, tool, problems);
    if let (Some(lo), Some(hi)) = (lo_um, hi_um)
        && lo >= hi
    {
        problems.push(cells.problem("hi_um", "the next dry tooth is not over the last wetted one", format!("more than {lo} µm")));
    }
    let grade = cells.grade(problems);
    let at = cells.time(problems);
    let reading = FilmReading {
        layer: layer?,
        detail: cells.text("detail"),
        place: None,
        kind,
        coat: coat.map(|number| number as u32),
        tool,
        lo_um,
        hi_um,
        value_um,
        u_um,
        spot: cells.optional_text("spot"),
        cut_out: cells.optional_text("cut_out"),
        grade,
        by: cells.optional_text("by"),
        at,
        from: cells.from(),
    };
    (problems.problems.len() == before).then_some(Row { reading, face })
}

/// The number of a cell that may be empty.
fn given(cells: &Cells<'_>, name: &str, within: &Bounds, problems: &mut Problems) -> Option<f64> {
    if cells.cell(name).is_empty() { None } else { cells.number(name, within, problems) }
}

/// Face and place on it: all three or none.
fn place(cells: &Cells<'_>, problems: &mut Problems) -> Option<(String, f64, f64)> {
    let named = ["face", "x_mm", "y_mm"].map(|name| !cells.cell(name).is_empty());
    if named.contains(&true) && named.contains(&false) {
        let missing = ["face", "x_mm", "y_mm"].into_iter().zip(named).find(|(_, there)| !there).map_or("face", |(name, _)| name);
        problems.push(cells.problem(missing, "a place is given in part", "face, x_mm and y_mm together, or none of them"));
        return None;
    }
    if !named[0] {
        return None;
    }
    let x_mm = cells.number("x_mm", &bounds::PLAN_MM, problems);
    let y_mm = cells.number("y_mm", &bounds::PLAN_MM, problems);
    Some((cells.text("face"), x_mm?, y_mm?))
}

/// Standard uncertainty, given as such or as half of an expanded one.
fn uncertainty(cells: &Cells<'_>, problems: &mut Problems) -> Option<f64> {
    let u = given(cells, "u_um", &U_UM, problems);
    let expanded = given(cells, "plus_minus_um", &U_UM, problems);
    if u.is_some() && expanded.is_some() {
        problems.push(cells.problem("plus_minus_um", "the uncertainty is given twice", "u_um (standard) or plus_minus_um (expanded)"));
    }
    u.or(expanded.map(|expanded| expanded / 2.0))
}

/// A bracket or a value, with a tool that gives it.
fn what_was_read(cells: &Cells<'_>, kind: Kind, tool: Option<Tool>, problems: &mut Problems) {
    let there = |name: &str| !cells.cell(name).is_empty();
    let bracket = there("lo_um") || there("hi_um");
    match (bracket, there("value_um")) {
        (true, true) => problems.push(cells.problem("value_um", "a value beside a bracket", "lo_um and hi_um for a comb, value_um else")),
        (false, false) => {
            problems.push(cells.problem("value_um", "nothing was read", "value_um, or lo_um and hi_um (the teeth of a comb)"))
        }
        (false, true) if tool == Some(Tool::Comb) => {
            problems.push(cells.problem("value_um", "a comb gives no value", "lo_um, its last wetted tooth, and hi_um, the next dry one"))
        }
        _ => {}
    }
    let dry = kind == Kind::Dry;
    match tool {
        Some(Tool::Comb) if dry => problems.push(cells.problem("kind", "a comb does not read a dry film", "wet")),
        Some(Tool::CutOut) if !dry => problems.push(cells.problem("kind", "a piece is cut out of a dry film", "dry")),
        Some(Tool::CutOut) if !there("cut_out") => {
            problems.push(cells.problem("cut_out", "the cut-out has no name", "a name such as C1, by which its patch is closed"))
        }
        _ => {}
    }
    if dry && there("coat") {
        problems.push(cells.problem("coat", "a dry film is read through every coat", "leave it out, or kind wet"));
    }
}

/// Readings whose every name is one of the room's.
pub fn resolve(file: &str, rows: Vec<Row>, faces: &Faces<'_>, register: &[Detail], problems: &mut Problems) -> Vec<FilmReading> {
    let mut readings = Vec::new();
    for mut row in rows {
        let line = crate::folder::place(&row.reading.from).1;
        let before = problems.problems.len();
        let mut wrong = |problem: Problem| problems.push(problem.file(file).line(line));
        if let Some((name, x_mm, y_mm)) = row.face.take() {
            match faces.named("face", &name) {
                Err(problem) => wrong(problem),
                Ok(face) => put(&mut row.reading, FacePlace { face, x_mm, y_mm }, faces, &mut wrong),
            }
        }
        if !row.reading.detail.is_empty() {
            check_detail(&row.reading, register, &mut wrong);
        }
        if problems.problems.len() == before {
            readings.push(row.reading);
        }
    }
    cut_outs_are_one_place(file, &readings, problems);
    readings
}

/// Puts a reading at its place; one without a detail gets that of the field there.
fn put(reading: &mut FilmReading, place: FacePlace, faces: &Faces<'_>, wrong: &mut impl FnMut(Problem)) {
    let shown = format!("{} ({}, {})", faces::words(&place.face), place.x_mm, place.y_mm);
    if let Some(why) = faces.off(&place) {
        wrong(
            Problem::at("x_mm", why, "x and y on the floor's plan; on a wall the way along it from its first corner, and the height")
                .value(shown),
        );
        return;
    }
    if reading.detail.is_empty() {
        match faces.field_at(reading.layer, &place) {
            Some(detail) => reading.detail.clone_from(&detail.id),
            None => wrong(
                Problem::at("x_mm", "no field of that membrane lies there", "a place on the membrane, or the detail's id").value(shown),
            ),
        }
    }
    reading.place = Some(place);
}

/// The detail is of the room and of the layer, and holds the place if it is a field.
fn check_detail(reading: &FilmReading, register: &[Detail], wrong: &mut impl FnMut(Problem)) {
    let Some(detail) = register.iter().find(|detail| detail.id == reading.detail) else {
        let near = intake::words::nearest(&reading.detail, register.iter().map(|detail| detail.id.as_str()));
        wrong(Problem::at("detail", "the room has no such detail", crate::folder::did_you_mean(near)).value(&reading.detail));
        return;
    };
    if detail.layer.is_some_and(|layer| layer != reading.layer) {
        wrong(Problem::at("detail", "a detail of the other membrane", "the layer of the detail").value(&reading.detail));
    }
    if let Some(place) = &reading.place
        && faces::is_field(detail)
        && (detail.face != place.face || !faces::lies_in(detail, [place.x_mm, place.y_mm], faces::TAPE_MM))
    {
        wrong(
            Problem::at("detail", "the place lies outside that field", "leave the detail out: the place finds its field")
                .value(&reading.detail),
        );
    }
}

/// A cut-out is one hole: all its readings are of one membrane and detail.
fn cut_outs_are_one_place(file: &str, readings: &[FilmReading], problems: &mut Problems) {
    let mut first: BTreeMap<&str, &FilmReading> = BTreeMap::new();
    for reading in readings {
        let Some(name) = &reading.cut_out else { continue };
        let before = *first.entry(name).or_insert(reading);
        if (before.layer, &before.detail) != (reading.layer, &reading.detail) {
            let line = crate::folder::place(&reading.from).1;
            let what = format!("another cut-out of that name is in {}", before.detail);
            problems.push(Problem::at("cut_out", what, "each cut-out its own name").value(name).file(file).line(line));
        }
    }
}

/// What to know when using readings: wet ones that do not say their coat.
pub fn notes(readings: &[FilmReading]) -> Vec<String> {
    let silent = readings.iter().filter(|r| r.kind == Kind::Wet && r.coat.is_none()).count();
    match silent {
        0 => Vec::new(),
        1 => vec!["one wet film reading does not say in which coat it was taken".into()],
        n => vec![format!("{n} wet film readings do not say in which coat they were taken")],
    }
}
