//! Tables whose columns are looked up by name: one row, one value.

use intake::csv::{Limits, Row, Table, number};
use measure::{Bounds, Grade, Problem, Problems};
use serde::de::DeserializeOwned;

/// What a table may hold.
pub struct Columns<'a> {
    /// Most rows.
    pub rows: usize,
    /// Columns that must be there.
    pub needed: &'a [&'a str],
    /// Every column that is read, where a slip in a column's name is to be reported; none where other columns are passed over.
    pub known: &'a [&'a str],
}

/// Shorter names of columns are near to too many words to be taken for slips.
const SHORT: usize = 3;

/// Reads a table whose columns are looked up by name, and gathers every problem of every row.
pub fn rows<T>(
    file: &str,
    bytes: &[u8],
    columns: &Columns<'_>,
    read: impl Fn(&Cells<'_>, &mut Problems) -> Option<T>,
) -> Result<Vec<T>, Problems> {
    let table = Table::read(file, bytes, &Limits { rows: columns.rows, columns: 40, marks: &[] })?;
    let mut problems = Problems::new();
    misspelt(&table, columns.known, &mut problems);
    let mut readable = true;
    for name in columns.needed {
        if table.column(&[name]).is_none() {
            let found = table.header().join(", ");
            let right = format!("a heading with the columns {}", columns.needed.join(", "));
            problems.push(Problem::at(*name, "the column is missing", right).value(found).line(table.header_line()));
            readable = false;
        }
    }
    let mut read_rows = Vec::new();
    if readable {
        for row in table.rows() {
            read_rows.extend(read(&Cells { file, table: &table, row }, &mut problems));
        }
    }
    problems.in_file(file).or(read_rows)
}

/// Columns whose names are slips of known ones: a table read by name would pass over them in silence.
fn misspelt(table: &Table, known: &[&str], problems: &mut Problems) {
    let read: Vec<Option<usize>> = known.iter().map(|name| table.column(&[name])).collect();
    for (i, name) in table.header().iter().enumerate().filter(|(i, _)| !read.contains(&Some(*i))) {
        if let Some(near) = intake::words::nearest(name, known.iter().copied().filter(|known| known.len() > SHORT)) {
            let right = format!("did you mean {near}?");
            problems.push(Problem::at(name, "no such column", right).value(format!("column {}", i + 1)).line(table.header_line()));
        }
    }
}

/// One row, by column name.
pub struct Cells<'a> {
    file: &'a str,
    table: &'a Table,
    pub row: Row<'a>,
}

impl Cells<'_> {
    /// The text of a column's cell; empty where the table has no such column.
    pub fn cell(&self, name: &str) -> &str {
        self.table.column(&[name]).map_or("", |column| self.row.cell(column))
    }

    /// The same, owned.
    pub fn text(&self, name: &str) -> String {
        self.cell(name).to_owned()
    }

    /// The same, if there is any.
    pub fn optional_text(&self, name: &str) -> Option<String> {
        Some(self.text(name)).filter(|text| !text.is_empty())
    }

    /// A problem with a cell.
    pub fn problem(&self, name: &str, what: impl Into<String>, right: impl Into<String>) -> Problem {
        Problem::at(name, what, right).value(self.cell(name)).line(self.row.line())
    }

    /// The number of a cell, within bounds.
    pub fn number(&self, name: &str, within: &Bounds, problems: &mut Problems) -> Option<f64> {
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

    /// A number of zero or more, if there is one.
    pub fn optional(&self, name: &str, problems: &mut Problems) -> Option<f64> {
        if self.cell(name).is_empty() { None } else { self.number(name, &Bounds { min: 0.0, max: 1.0e9, unit: "" }, problems) }
    }

    /// Column `grade`; measured where it is empty.
    pub fn grade(&self, problems: &mut Problems) -> Grade {
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

    /// Column `at`, if there is one; a time with an offset.
    pub fn time(&self, problems: &mut Problems) -> Option<String> {
        let at = self.optional_text("at")?;
        if at.parse::<jiff::Timestamp>().is_err() {
            problems.push(self.problem("at", "not a time with an offset", "RFC 3339, such as 2024-02-21T16:40:00+11:00"));
        }
        Some(at)
    }

    /// File and line.
    pub fn from(&self) -> String {
        format!("{}:{}", self.file, self.row.line())
    }

    /// One of the words of an enumeration as its files write them; `None` for an empty cell, and for another word, which is a
    /// problem.
    pub fn word<T: DeserializeOwned>(&self, name: &str, words: &[&str], problems: &mut Problems) -> Option<T> {
        let text = self.cell(name).to_ascii_lowercase();
        if text.is_empty() {
            return None;
        }
        let known = words.contains(&text.as_str()).then(|| serde_json::from_value(serde_json::Value::String(text)).ok()).flatten();
        if known.is_none() {
            problems.push(self.problem(name, "none of the words for it", intake::words::listed(words)));
        }
        known
    }
}
