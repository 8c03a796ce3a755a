//! The rows of a level file as readings, each checked by itself.

use super::columns::{Columns, Lengths};
use super::remarks::Remarks;
use super::units::{Digits, length};
use intake::csv::{Row, Table};
use measure::{Bounds, Problem, Problems, bounds};

/// Words that begin a row which marks a station change.
pub(crate) const MARKS: &[&str] = &["station", "set-up", "setup", "set up", "instrument moved"];

/// Longest name of a point.
const NAME: usize = 100;

/// One reading as it stands in the file, lengths in millimetres.
#[derive(Clone, Debug)]
pub(super) struct Raw {
    pub name: String,
    pub place: Option<[f64; 2]>,
    /// Up, or down from the beam.
    pub reading_mm: f64,
    /// The reading as written.
    pub written: String,
    pub digits: Option<Digits>,
    /// Level over the room's benchmark, for a point whose level is known.
    pub known_mm: Option<f64>,
    /// Standard uncertainty, where the row gives one.
    pub u_mm: Option<f64>,
    /// Index of the station.
    pub station: usize,
    pub line: u64,
}

/// All readings with what their writing tells.
#[derive(Debug)]
pub(super) struct Rows {
    pub raws: Vec<Raw>,
    /// Names of the stations in the order of their first reading.
    pub stations: Vec<String>,
    /// Finest step in which readings are written.
    pub step_mm: f64,
}

impl Rows {
    pub fn of(table: &Table, columns: &Columns, remarks: &Remarks) -> Result<Self, Problems> {
        let mut reader = Reader {
            columns,
            delimiter: table.delimiter(),
            problems: Problems::new(),
            signs: [None; 2],
            stations: Vec::new(),
            marked: None,
            step_mm: f64::INFINITY,
        };
        let mut raws = Vec::new();
        for row in table.rows() {
            if let Some(mark) = mark(table, row) {
                reader.marked = Some(if mark.is_empty() { (reader.stations.len() + 1).to_string() } else { mark });
            } else {
                raws.extend(reader.row(row));
            }
            if reader.problems.problems.len() > Problems::MOST {
                break;
            }
        }
        if let (Some(comma), Some(point)) = (reader.signs[0], reader.signs[1]) {
            let what = format!("decimal commas (first on line {comma}) and decimal points (first on line {point}) in one file");
            reader.problems.push(Problem::at("", what, "one decimal sign in the whole file").line(comma.max(point)));
        }
        if raws.is_empty() && reader.problems.is_empty() {
            reader.problems.push(Problem::at("", "no readings, only station marks", "a row for each reading"));
        }
        if columns.plan_unit_assumed && remarks.unit.is_none() && raws.len() > 2 {
            reader.problems.extend(too_small_for_millimetres(&raws));
        }
        let Reader { problems, stations, step_mm, .. } = reader;
        problems.or(Self { raws, stations, step_mm })
    }
}

/// A row that holds nothing but the mark of a new station: what follows the mark, its name.
pub(super) fn mark(table: &Table, row: Row<'_>) -> Option<String> {
    let first = row.cell(0);
    let alone = (1..table.header().len()).all(|i| row.cell(i).is_empty());
    let rest = |mark: &&str| first.get(..mark.len()).filter(|head| head.eq_ignore_ascii_case(mark)).map(|_| &first[mark.len()..]);
    alone.then(|| MARKS.iter().find_map(rest)).flatten().map(|name| name.trim_matches([' ', ':', '.']).to_string())
}

/// A room in metres whose heading says no unit would be a few millimetres wide.
fn too_small_for_millimetres(raws: &[Raw]) -> Problems {
    let places = || raws.iter().filter_map(|raw| raw.place);
    let extent = |axis: usize| {
        let (lo, hi) = places().fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), p| (lo.min(p[axis]), hi.max(p[axis])));
        hi - lo
    };
    let (width, depth) = (extent(0), extent(1));
    if width.max(depth) > 0.0 && width.max(depth) < 100.0 {
        let what = format!("all points lie within {width} by {depth} mm, no unit being given");
        return Problem::at("x", what, "the unit in the heading, as in x [m] and y [m], or a first line '# unit: m'").into();
    }
    Problems::new()
}

struct Reader<'a> {
    columns: &'a Columns,
    delimiter: u8,
    problems: Problems,
    /// First line with a decimal comma, and with a decimal point.
    signs: [Option<u64>; 2],
    stations: Vec<String>,
    marked: Option<String>,
    step_mm: f64,
}

impl Reader<'_> {
    fn row(&mut self, row: Row<'_>) -> Option<Raw> {
        let columns = self.columns;
        let before = self.problems.problems.len();
        let name = columns.name.map_or("", |column| row.cell(column));
        if name.len() > NAME {
            self.problem(row, "name", name, "a name longer than any point's", "a short name");
        }
        let place = self.place(row);
        let reading = columns.reading;
        let field = if columns.down { "staff" } else { "level" };
        let written = row.cell(reading.column);
        let found = self.length(row, field, reading, &bounds::LEVEL_MM, true);
        let known_mm = columns.known.and_then(|known| self.length(row, "known", known, &bounds::LEVEL_MM, false)).map(|l| l.0);
        let u_mm = self.u(row);
        let station = self.station(row);
        let (reading_mm, step_mm, digits) = found?;
        if self.problems.problems.len() > before {
            return None;
        }
        self.step_mm = self.step_mm.min(step_mm);
        let known_mm = known_mm.or_else(|| is_benchmark(name).then_some(0.0));
        let name = if name.is_empty() { format!("line {}", row.line()) } else { name.into() };
        Some(Raw { name, place, reading_mm, written: written.into(), digits, known_mm, u_mm, station, line: row.line() })
    }

    fn problem(&mut self, row: Row<'_>, field: &str, value: &str, what: impl Into<String>, right: impl Into<String>) {
        self.problems.push(Problem::at(field, what, right).value(value).line(row.line()));
    }

    /// Both coordinates, or neither for a point whose place does not matter.
    fn place(&mut self, row: Row<'_>) -> Option<[f64; 2]> {
        let (x, y) = (self.columns.x, self.columns.y);
        let blank = |lengths: Lengths| row.cell(lengths.column).is_empty();
        if blank(x) && blank(y) {
            return None;
        }
        let x = self.length(row, "x", x, &bounds::PLAN_MM, true);
        let y = self.length(row, "y", y, &bounds::PLAN_MM, true);
        Some([x?.0, y?.0])
    }

    fn u(&mut self, row: Row<'_>) -> Option<f64> {
        let standard = self.columns.u.and_then(|u| self.length(row, "u", u, &bounds::U_MM, false));
        let expanded = self.columns.expanded.and_then(|u| self.length(row, "±", u, &bounds::U_MM, false));
        standard.map(|l| l.0).or(expanded.map(|l| l.0 / 2.0))
    }

    /// The station the row names, else the one last marked.
    fn station(&mut self, row: Row<'_>) -> usize {
        let named = self.columns.station.map(|column| row.cell(column)).filter(|name| !name.is_empty());
        let name = named.or(self.marked.as_deref()).unwrap_or("1");
        match self.stations.iter().position(|known| known == name) {
            Some(at) => at,
            None => {
                self.stations.push(name.into());
                self.stations.len() - 1
            }
        }
    }

    /// Length of a cell in mm, the step of its writing, its digits. An empty cell is a problem only where one is needed.
    fn length(&mut self, row: Row<'_>, field: &str, lengths: Lengths, bounds: &Bounds, needed: bool) -> Option<(f64, f64, Option<Digits>)> {
        let cell = row.cell(lengths.column);
        if cell.is_empty() {
            if needed {
                self.problems.push(Problem::at(field, "empty", "a length, or no row at all").line(row.line()));
            }
            return None;
        }
        match length(cell, lengths.unit, self.delimiter) {
            Err(what) => {
                self.problem(row, field, cell, what, "a length such as 1055, 1055.5 or 3 5/16 (with the unit in the heading)");
                None
            }
            Ok(found) if !bounds.contains(found.mm) => {
                self.problem(row, field, cell, "out of bounds", format!("{}; is the unit in the heading right?", bounds.words()));
                None
            }
            Ok(found) => {
                for (sign, first) in [',', '.'].into_iter().zip(&mut self.signs) {
                    if cell.contains(sign) {
                        first.get_or_insert(row.line());
                    }
                }
                Some((found.mm, found.step_mm, found.digits))
            }
        }
    }
}

/// Names of the room's benchmark, whose level is zero.
pub(super) fn is_benchmark(name: &str) -> bool {
    let plain: String = name.to_lowercase().chars().filter(|c| c.is_alphanumeric()).collect();
    matches!(plain.as_str(), "bm" | "tbm" | "benchmark" | "datum")
}
