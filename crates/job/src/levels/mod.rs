//! Levels as people take them: a CSV from a laser level and staff, to heights over the room's benchmark.
//!
//! A site person's file, with decimal commas, the beam's staff readings counted down, one change of station:
//!
//! ```
//! let file = "\
//! ## layer: screed
//! name;x [mm];y [mm];staff [mm]
//! BM;;;1000
//! A;100;100;1012,5
//! B;900;100;1004,0
//! station 2
//! BM;;;1203
//! B;;;1207,5
//! C;900;900;1205,0
//! ";
//! let survey = job::levels::read("levels.csv", file.as_bytes(), &Default::default()).unwrap();
//! let heights: Vec<(&str, f64)> = survey.readings.iter().map(|r| (r.name.as_str(), r.z_mm)).collect();
//! assert_eq!(heights, [("A", -12.5), ("B", -4.25), ("C", -2.0)]);
//! ```
//!
//! Columns in any order, in the usual spellings: a name; x (right) and y (up the plan); one of `level` (up) or `staff`
//! (down from the beam); if wanted `station`, `known` (level of a known point over the benchmark), and the uncertainty of
//! each level as `u` (standard) or `±` (expanded, halved here). Units stand in the headings (`x [m]`, `staff_in`,
//! `height (cm)`) or in a first line `# unit: cm`; millimetres otherwise. The benchmark is a point named `BM`, `TBM`,
//! `benchmark` or `datum`; its level is 0 unless `known` says otherwise.

mod columns;
mod misread;
mod remarks;
mod rows;
mod spread;
mod stations;
mod units;

use intake::csv::{Limits, Table};
use measure::{Problem, Problems, bounds};
use room::nouns::LayerKind;
use rows::{Raw, Rows};
use serde::Serialize;
use spread::round;
use std::collections::BTreeMap;

pub(crate) use rows::MARKS;

/// A column of a level file that this version reads.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Heading {
    /// What it holds, by the name a level has in the record.
    pub name: &'static str,
    /// Its place.
    pub column: usize,
    /// What one of its numbers is worth.
    pub unit_mm: f64,
}

/// The columns of a level file by what they hold.
pub(crate) fn headings(table: &Table) -> Result<Vec<Heading>, Problems> {
    let remarks = remarks::Remarks::of(table)?;
    Ok(columns::Columns::of(table, remarks.unit)?.headings())
}

/// The station of the last rows of a level file whose stations are marked by rows; `1` when none is.
pub(crate) fn last_station(table: &Table) -> String {
    let marks = table.rows().filter_map(|row| rows::mark(table, row));
    marks.enumerate().map(|(i, name)| if name.is_empty() { (i + 2).to_string() } else { name }).last().unwrap_or_else(|| "1".into())
}

/// What is known of a level file beside its content.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Options {
    /// Layer the levels were taken on.
    pub layer: Option<LayerKind>,
    /// Expanded uncertainty (about 95 %) of one level, as the owner of the instrument states it.
    pub expanded_mm: Option<f64>,
}

/// Levels of one surface over the room's benchmark, with what was found about them.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Survey {
    /// One level for each point, in the order of the file; points of known level are not among them.
    pub readings: Vec<Level>,
    /// Layer they were taken on, where options or file say.
    pub layer: Option<LayerKind>,
    /// Stage, in the words of the file.
    pub stage: Option<String>,
    /// Standard uncertainty of one reading, where the reading has none of its own.
    pub u_mm: f64,
    /// Where that comes from.
    pub u_from: UFrom,
    /// Stations in the order of their first reading.
    pub stations: Vec<Station>,
    /// Every back-sight check there was.
    pub misclosure: Vec<Misclosure>,
    /// What repeated readings of one point say, where there are any.
    pub repeats: Option<Repeats>,
    /// Readings that look like a slip; all of them still stand among the readings.
    pub suspects: Vec<Suspect>,
    /// What was assumed or noticed, a line each.
    pub notes: Vec<String>,
}

/// One level.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Level {
    /// Name of the point; `line 7` where the file gives none.
    pub name: String,
    /// To the right on plan.
    pub x_mm: f64,
    /// Up the plan.
    pub y_mm: f64,
    /// Over the room's benchmark; the mean where the point was read more than once.
    pub z_mm: f64,
    /// Standard uncertainty of the level against the others of the survey. What all levels share, the sight to the
    /// benchmark, is in it only where there are several stations: see [`Station::u_mm`].
    pub u_mm: f64,
    /// Station it was first read from.
    pub station: String,
    /// How often it was read.
    pub n: usize,
    /// Line of its first reading.
    pub line: u64,
}

/// Where the uncertainty of a level comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum UFrom {
    /// Every row gives its own.
    Column,
    /// The owner of the instrument states it.
    Instrument,
    /// A comment line of the file states it.
    File,
    /// Repeated readings of one point.
    Repeats,
    /// Not given: the usual one for such a layer.
    Assumed,
}

/// One set-up of the instrument.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Station {
    /// Name.
    pub name: String,
    /// Height of its beam over the benchmark; for levels counted up, what was added to them.
    pub beam_mm: f64,
    /// Standard uncertainty of that height.
    pub u_mm: f64,
}

/// A back-sight check: two ways to one height, and how far they may lie apart.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Misclosure {
    /// Station checked.
    pub station: String,
    /// Points that check it: two it shares with another station, two of known level, or the one read again at the end.
    pub points: Vec<String>,
    /// How far the two ways lie apart.
    pub size_mm: f64,
    /// Twice the standard uncertainty of that difference.
    pub allowed_mm: f64,
    /// Whether it is inside.
    pub closes: bool,
}

impl Misclosure {
    fn of(station: &str, points: Vec<String>, size_mm: f64, u_mm: f64) -> Self {
        let allowed_mm = 2.0 * u_mm;
        Self { station: station.into(), points, size_mm, allowed_mm, closes: size_mm <= allowed_mm * (1.0 + 1e-9) }
    }
}

/// Scatter of repeated readings.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Repeats {
    /// Points read more than once from one station.
    pub points: usize,
    /// Degrees of freedom.
    pub dof: usize,
    /// Pooled standard deviation of one reading.
    pub sd_mm: f64,
}

/// A reading its neighbours do not believe.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Suspect {
    /// Point.
    pub name: String,
    /// Line in the file.
    pub line: u64,
    /// Level as read.
    pub z_mm: f64,
    /// Level the neighbours expect.
    pub expected_mm: f64,
    /// Read minus expected.
    pub off_by_mm: f64,
    /// The reading as written.
    pub written: String,
    /// The reading probably meant, where one slip explains it.
    pub likely: Option<String>,
    /// The level that would give.
    pub likely_z_mm: Option<f64>,
    /// One line for people.
    pub why: String,
}

const LIMITS: Limits = Limits { rows: bounds::READINGS, columns: 40, marks: rows::MARKS };
/// Points this close are one place.
const SAME_PLACE_MM: f64 = 1.0;

/// The levels in a file, or everything wrong with it. `file` is the name for the messages.
///
/// Problems: what [`Table::read`] refuses; columns missing, doubled or in unknown units; cells that are no lengths or out
/// of bounds; two decimal signs in one file; coordinates that can only be metres without a unit; a point at two places, two
/// points of different level at one place, repeats of one point too far apart for any scatter; a station that nothing ties
/// to the others. Notes and suspects are no problems: a survey that does not close is still given, and says so.
pub fn read(file: &str, bytes: &[u8], options: &Options) -> Result<Survey, Problems> {
    let table = Table::read(file, bytes, &LIMITS)?;
    survey(&table, options).map_err(|problems| problems.in_file(file))
}

fn survey(table: &Table, options: &Options) -> Result<Survey, Problems> {
    let remarks = remarks::Remarks::of(table)?;
    let columns = columns::Columns::of(table, remarks.unit)?;
    let layer = layer(options.layer, remarks.layer)?;
    let rows = Rows::of(table, &columns, &remarks)?;
    let spread = spread::decide(&rows, layer, remarks.u_mm, options)?;
    let reduced = stations::reduce(&rows.raws, &rows.stations, columns.down, spread.u_mm)?;
    let readings = points(&rows, &reduced.stations, columns.down, spread.u_mm)?;
    let mut notes = Vec::new();
    if columns.plan_unit_assumed {
        notes.push("no unit given for x and y: millimetres".into());
    }
    notes.extend(columns.unused.iter().map(|name| format!("column {name} is not used")));
    notes.extend(spread.notes);
    notes.extend(reduced.notes);
    notes.extend(doubled(&readings)?);
    if readings.len() > misread::MOST {
        notes.push(format!("more than {} levels: not searched for misreads", misread::MOST));
    }
    let suspects = misread::suspects(&readings, &rows.raws, columns.down);
    Ok(Survey {
        readings,
        layer,
        stage: remarks.stage,
        u_mm: spread.u_mm,
        u_from: spread.from,
        stations: reduced.stations,
        misclosure: reduced.misclosure,
        repeats: spread.repeats,
        suspects,
        notes,
    })
}

fn layer(told: Option<LayerKind>, written: Option<LayerKind>) -> Result<Option<LayerKind>, Problems> {
    match (told, written) {
        (Some(told), Some(written)) if told != written => {
            let what = format!("the file says {}, the job says {}", remarks::layer_name(written), remarks::layer_name(told));
            Err(Problem::at("# layer", what, "one layer for the file").into())
        }
        (told, written) => Ok(told.or(written)),
    }
}

/// All readings of each point as one level, points of known level left out.
fn points(rows: &Rows, stations: &[Station], down: bool, u_mm: f64) -> Result<Vec<Level>, Problems> {
    let mut by_name: BTreeMap<&str, Vec<&Raw>> = BTreeMap::new();
    let mut order = Vec::new();
    for raw in &rows.raws {
        let readings = by_name.entry(&raw.name).or_default();
        if readings.is_empty() {
            order.push(raw.name.as_str());
        }
        readings.push(raw);
    }
    let mut problems = Problems::new();
    let mut levels = Vec::new();
    for name in order {
        let readings = &by_name[name];
        if let Some([x_mm, y_mm]) = place(name, readings, &mut problems)
            && readings.iter().all(|raw| raw.known_mm.is_none())
        {
            let n = readings.len() as f64;
            let several = stations.len() > 1;
            let height = |raw: &Raw| stations[raw.station].beam_mm + if down { -raw.reading_mm } else { raw.reading_mm };
            let variance = |raw: &Raw| {
                measure::math::sq(raw.u_mm.unwrap_or(u_mm)) + if several { measure::math::sq(stations[raw.station].u_mm) } else { 0.0 }
            };
            let z_mm = readings.iter().map(|raw| height(raw)).sum::<f64>() / n;
            if !bounds::LEVEL_MM.contains(z_mm) {
                problems.push(
                    Problem::at(name, "its level is out of bounds", bounds::LEVEL_MM.words()).value(round(z_mm)).line(readings[0].line),
                );
            }
            levels.push(Level {
                name: name.into(),
                x_mm,
                y_mm,
                z_mm,
                u_mm: readings.iter().map(|raw| variance(raw)).sum::<f64>().sqrt() / n,
                station: stations[readings[0].station].name.clone(),
                n: readings.len(),
                line: readings[0].line,
            });
        }
    }
    if levels.is_empty() && problems.is_empty() {
        problems.push(Problem::at("", "only points of known level were read", "levels of the surface"));
    }
    problems.or(levels)
}

/// The one place of a point; a point of known level needs none.
fn place(name: &str, readings: &[&Raw], problems: &mut Problems) -> Option<[f64; 2]> {
    let known = readings.iter().any(|raw| raw.known_mm.is_some());
    let mut places = readings.iter().filter_map(|raw| raw.place.map(|place| (place, raw.line)));
    let Some((first, line)) = places.next() else {
        if !known {
            problems.push(Problem::at(name, "no coordinates", "x and y on its first row").line(readings[0].line));
        }
        return None;
    };
    if let Some((other, other_line)) = places.find(|(p, _)| measure::math::hypot(p[0] - first[0], p[1] - first[1]) > SAME_PLACE_MM) {
        let what = format!("stands at two places: {}, {} on line {line} and {}, {} here", first[0], first[1], other[0], other[1]);
        problems.push(Problem::at(name, what, "one place, or another name for the second point").line(other_line));
    }
    Some(first)
}

/// Points with different names at one place: a problem where their levels differ beyond their uncertainty, else a note.
fn doubled(levels: &[Level]) -> Result<Vec<String>, Problems> {
    let mut problems = Problems::new();
    let mut notes = Vec::new();
    let mut seen: BTreeMap<[i64; 2], &Level> = BTreeMap::new();
    for level in levels {
        let cell = [level.x_mm, level.y_mm].map(|mm| (mm / SAME_PLACE_MM).round() as i64);
        let Some(before) = seen.get(&cell) else {
            seen.insert(cell, level);
            continue;
        };
        let apart = (level.z_mm - before.z_mm).abs();
        if apart > 2.0 * measure::math::hypot(level.u_mm, before.u_mm) {
            let what = format!("stands where {} (line {}) stands, {} mm apart in level", before.name, before.line, round(apart));
            problems.push(Problem::at(&level.name, what, "the right coordinates; the same name for a repeated reading").line(level.line));
        } else {
            notes.push(format!("{} and {} stand at one place and agree", before.name, level.name));
        }
    }
    problems.or(notes)
}
