//! Readings of heights, widths, depths and of the air, as CSV files beside the room.
//!
//! `readings.csv`: `hold_point, detail, quantity, value, unit, datum, u` (or `plus_minus`, expanded), `grade, by, at`; one row a reading.
//! `climate.csv`: `hold_point, what, detail, air_c, rh, surface_c, at`. Columns in any order; those after the value may be left out.

use intake::csv::{Limits, Row, Table, number};
use measure::{Bounds, Grade, Measured, Problem, Problems, bounds};

/// The detail of a reading that speaks of the room as a whole.
pub const ROOM: &str = "room";

const LIMITS: Limits = Limits { rows: 100_000, columns: 40, marks: &[] };

/// One reading of a quantity at a detail.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Hold point it was taken for.
    pub hold_point: String,
    /// Detail, by id.
    pub detail: String,
    /// Quantity, by its name in the packs.
    pub quantity: String,
    /// Value in the quantity's unit.
    pub value: f64,
    /// Unit as written, if it was.
    pub unit: Option<String>,
    /// What a height or distance counts from, by its name in the packs.
    pub datum: Option<String>,
    /// Standard uncertainty, if it was given.
    pub u: Option<f64>,
    /// Grade.
    pub grade: Grade,
    /// Who took it.
    pub by: Option<String>,
    /// When, as written.
    pub at: Option<String>,
    /// File and line, for the record.
    pub from: String,
}

/// One reading of the air and a surface.
#[derive(Clone, Debug, PartialEq)]
pub struct ClimateReading {
    /// Hold point it was taken for.
    pub hold_point: String,
    /// What was being done, in the person's words.
    pub what: String,
    /// Details it speaks for: an id, a group, or a beginning with `*`; every detail of the hold point when left out.
    pub detail: Option<String>,
    /// Air temperature.
    pub air_c: f64,
    /// Relative humidity, a share.
    pub rh: f64,
    /// Surface temperature.
    pub surface_c: f64,
    /// When, as written.
    pub at: Option<String>,
    /// File and line, for the record.
    pub from: String,
}

/// The rows of `readings.csv`.
pub fn readings(file: &str, bytes: &[u8]) -> Result<Vec<Reading>, Problems> {
    rows(file, bytes, &["hold_point", "detail", "quantity", "value"], |cells, problems| {
        let u = match (cells.optional("u", problems), cells.optional("plus_minus", problems)) {
            (Some(u), _) => Some(u),
            (None, Some(expanded)) => Some(expanded / 2.0),
            (None, None) => None,
        };
        let value = cells.number("value", &ANY, problems)?;
        if let Err(error) = Measured::new(value, u.unwrap_or(0.0)) {
            problems.push(cells.problem("u", error.to_string(), "a standard uncertainty of zero or more"));
        }
        Some(Reading {
            hold_point: cells.text("hold_point"),
            detail: cells.text("detail"),
            quantity: cells.text("quantity"),
            value,
            unit: cells.optional_text("unit"),
            datum: cells.optional_text("datum"),
            u,
            grade: cells.grade(problems),
            by: cells.optional_text("by"),
            at: cells.time(problems),
            from: cells.from(),
        })
    })
}

/// The rows of `climate.csv`.
pub fn climate(file: &str, bytes: &[u8]) -> Result<Vec<ClimateReading>, Problems> {
    rows(file, bytes, &["hold_point", "air_c", "rh", "surface_c"], |cells, problems| {
        let air_c = cells.number("air_c", &bounds::TEMPERATURE_C, problems);
        let rh = cells.number("rh", &bounds::RH, problems);
        let surface_c = cells.number("surface_c", &bounds::TEMPERATURE_C, problems);
        Some(ClimateReading {
            hold_point: cells.text("hold_point"),
            what: cells.optional_text("what").unwrap_or_default(),
            detail: cells.optional_text("detail"),
            air_c: air_c?,
            rh: rh?,
            surface_c: surface_c?,
            at: cells.time(problems),
            from: cells.from(),
        })
    })
}

const ANY: Bounds = Bounds { min: -1.0e9, max: 1.0e9, unit: "" };

/// Reads a table whose columns are looked up by name, and gathers every problem of every row.
fn rows<T>(file: &str, bytes: &[u8], needed: &[&str], read: impl Fn(&Cells<'_>, &mut Problems) -> Option<T>) -> Result<Vec<T>, Problems> {
    let table = Table::read(file, bytes, &LIMITS)?;
    let mut problems = Problems::new();
    for name in needed {
        if table.column(&[name]).is_none() {
            let found = table.header().join(", ");
            let right = format!("a heading with the columns {}", needed.join(", "));
            problems.push(Problem::at(*name, "the column is missing", right).value(found).line(table.header_line()));
        }
    }
    let mut read_rows = Vec::new();
    if problems.is_empty() {
        for row in table.rows() {
            read_rows.extend(read(&Cells { file, table: &table, row }, &mut problems));
        }
    }
    problems.in_file(file).or(read_rows)
}

/// One row, by column name.
struct Cells<'a> {
    file: &'a str,
    table: &'a Table,
    row: Row<'a>,
}

impl Cells<'_> {
    fn cell(&self, name: &str) -> &str {
        self.table.column(&[name]).map_or("", |column| self.row.cell(column))
    }

    fn text(&self, name: &str) -> String {
        self.cell(name).to_owned()
    }

    fn optional_text(&self, name: &str) -> Option<String> {
        Some(self.text(name)).filter(|text| !text.is_empty())
    }

    fn problem(&self, name: &str, what: impl Into<String>, right: impl Into<String>) -> Problem {
        Problem::at(name, what, right).value(self.cell(name)).line(self.row.line())
    }

    fn number(&self, name: &str, within: &Bounds, problems: &mut Problems) -> Option<f64> {
        match number(self.cell(name), self.table.delimiter()) {
            Ok(value) if within.contains(value) => Some(value),
            Ok(_) => {
                problems.push(self.problem(name, "out of range", within.words()));
                None
            }
            Err(why) => {
                problems.push(self.problem(name, why, "a number"));
                None
            }
        }
    }

    fn optional(&self, name: &str, problems: &mut Problems) -> Option<f64> {
        if self.cell(name).is_empty() { None } else { self.number(name, &Bounds { min: 0.0, max: 1.0e9, unit: "" }, problems) }
    }

    fn grade(&self, problems: &mut Problems) -> Grade {
        match self.cell("grade").to_ascii_lowercase().as_str() {
            "" | "measured" => Grade::Measured,
            "seen" => Grade::Seen,
            "photographed" => Grade::Photographed,
            "stated" => Grade::Stated,
            _ => {
                problems.push(self.problem("grade", "no such grade of evidence", "measured, seen, photographed or stated"));
                Grade::Stated
            }
        }
    }

    fn time(&self, problems: &mut Problems) -> Option<String> {
        let at = self.optional_text("at")?;
        if at.parse::<jiff::Timestamp>().is_err() {
            problems.push(self.problem("at", "not a time with an offset", "RFC 3339, such as 2024-02-21T16:40:00+11:00"));
        }
        Some(at)
    }

    fn from(&self) -> String {
        format!("{}:{}", self.file, self.row.line())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_are_read_in_any_order_of_columns_with_a_decimal_comma() {
        let text = "quantity;value;detail;hold_point;plus_minus\nupturn_height_mm;110,5;upturn/north;upper-membrane;2\n";
        let read = readings("readings.csv", text.as_bytes()).unwrap();
        assert_eq!((read[0].value, read[0].u, read[0].grade), (110.5, Some(1.0), Grade::Measured));
        assert_eq!(read[0].from, "readings.csv:2");
    }

    #[test]
    fn every_bad_cell_is_named_with_its_line() {
        let text = "hold_point,detail,quantity,value,grade,at\na,b,c,twelve,measured,\na,b,c,12,guessed,yesterday\n";
        let problems = readings("readings.csv", text.as_bytes()).unwrap_err().problems;
        let places: Vec<_> = problems.iter().map(|p| (p.line, p.field.as_str())).collect();
        assert_eq!(places, [(Some(2), "value"), (Some(3), "grade"), (Some(3), "at")]);
    }

    #[test]
    fn humidity_in_per_cent_is_refused() {
        let text = "hold_point,air_c,rh,surface_c\nprimer,20,65,18\n";
        let problems = climate("climate.csv", text.as_bytes()).unwrap_err().problems;
        assert_eq!(problems[0].field, "rh");
    }

    #[test]
    fn a_missing_column_is_named_once() {
        let problems = climate("climate.csv", b"hold_point,air_c,rh\nprimer,20,0.65\n").unwrap_err().problems;
        assert_eq!(problems.len(), 1);
        assert_eq!(problems[0].field, "surface_c");
    }
}
