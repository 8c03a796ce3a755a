//! Rows added to a table in the table's own hand: its columns, delimiter, decimal sign, line ends and encoding.

use crate::levels;
use intake::csv::{Limits, Table};
use measure::{Problem, Problems};
use std::borrow::Cow;
use std::collections::BTreeMap;

/// More than any reader of the job folder takes in; those have limits of their own.
const LIMITS: Limits = Limits { rows: 1_000_000, columns: 100, marks: levels::MARKS };

/// One row: what goes into which column.
pub(crate) type Row<'a> = Vec<(&'static str, Cell<'a>)>;

/// What goes into a cell.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Cell<'a> {
    /// Words.
    Text(Cow<'a, str>),
    /// A number as it was written.
    Number(&'a str),
}

/// A kind of table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Hand {
    /// Columns in the order of a new file.
    pub columns: &'static [&'static str],
    /// Whether headings carry units, as those of level files do.
    pub levels: bool,
}

/// The table with rows behind its last, or why that cannot be. A table nobody has begun gets a heading of the columns needed.
pub(crate) fn with_rows(file: &str, bytes: Option<&[u8]>, hand: &Hand, rows: &[Row<'_>]) -> Result<Vec<u8>, Problems> {
    let Some(bytes) = bytes else { return Ok(begun(hand, rows).into_bytes()) };
    let text = intake::text::view(file, bytes)?;
    let table = Table::read(file, bytes, &LIMITS)?;
    let columns = Columns::of(&table, hand, rows)?;
    let added = columns.new.len();
    let mut out = if added == 0 { text.clone().into_owned() } else { widened(&text, &columns.new, &table) };
    let line_end = if text.contains("\r\n") { "\r\n" } else { "\n" };
    if !out.ends_with(['\n', '\r']) {
        out.push_str(line_end);
    }
    let comma = table.delimiter() != b',' && decimal_commas(&table);
    let width = table.header().len() + added;
    let mut station = None;
    for row in rows {
        columns.mark_station(row, &table, &mut station, &mut out, line_end);
        columns.write(row, width, table.delimiter(), comma, &mut out);
        out.push_str(line_end);
    }
    Ok(encoded(bytes, out))
}

/// A table of its own.
pub(crate) fn begun(hand: &Hand, rows: &[Row<'_>]) -> String {
    let used = |name: &&str| rows.iter().any(|row| row.iter().any(|(column, _)| column == name));
    let names: Vec<&'static str> = hand.columns.iter().copied().filter(used).collect();
    let at = names.iter().enumerate().map(|(at, name)| (*name, Place { at, unit_mm: 1.0, times: 1.0 })).collect();
    let columns = Columns { at, new: Vec::new(), station: true };
    let mut out = names.join(",") + "\n";
    for row in rows {
        columns.write(row, names.len(), b',', false, &mut out);
        out.push('\n');
    }
    out
}

/// Where a column stands, and how a value in millimetres is written there.
#[derive(Clone, Copy, Debug)]
struct Place {
    at: usize,
    unit_mm: f64,
    times: f64,
}

/// Which column of a table each name is.
struct Columns {
    at: BTreeMap<&'static str, Place>,
    /// Names the table must be widened by.
    new: Vec<&'static str>,
    /// Whether a row names its station itself.
    station: bool,
}

impl Columns {
    fn of(table: &Table, hand: &Hand, rows: &[Row<'_>]) -> Result<Self, Problems> {
        let headings = if hand.levels { levels::headings(table)? } else { Vec::new() };
        let mut columns = Self { at: BTreeMap::new(), new: Vec::new(), station: !hand.levels };
        for name in hand.columns.iter().filter(|name| rows.iter().any(|row| row.iter().any(|(column, _)| column == *name))) {
            let found = match hand.levels {
                false => table.column(&[name]).map(|at| Place { at, unit_mm: 1.0, times: 1.0 }),
                true => headings.iter().find_map(|heading| {
                    let times = match (heading.name, *name) {
                        (same, name) if same == name => 1.0,
                        ("plus_minus_mm", "u_mm") => 2.0,
                        _ => return None,
                    };
                    Some(Place { at: heading.column, unit_mm: heading.unit_mm, times })
                }),
            };
            match found {
                Some(place) => {
                    columns.at.insert(name, place);
                    columns.station |= *name == "station";
                }
                None if *name == "station" => {}
                None if hand.levels && matches!(*name, "level_mm" | "staff_mm") => {
                    let other =
                        if *name == "level_mm" { "staff_mm: this table holds staff readings" } else { "level_mm: this table holds levels" };
                    return Err(Problem::at(*name, "the table has no such column", other).value(table.header().join(", ")).into());
                }
                None => {
                    let at = table.header().len() + columns.new.len();
                    columns.at.insert(name, Place { at, unit_mm: 1.0, times: 1.0 });
                    columns.new.push(name);
                }
            }
        }
        Ok(columns)
    }

    fn write(&self, row: &Row<'_>, width: usize, delimiter: u8, comma: bool, out: &mut String) {
        let mut cells: Vec<Cow<'_, str>> = vec![Cow::Borrowed(""); width];
        for (name, cell) in row {
            if let Some(place) = self.at.get(name) {
                cells[place.at] = match cell {
                    Cell::Text(text) => quoted(text, delimiter),
                    Cell::Number(text) => number(text, place, comma),
                };
            }
        }
        for (i, cell) in cells.iter().enumerate() {
            if i > 0 {
                out.push(char::from(delimiter));
            }
            out.push_str(cell);
        }
    }

    /// Where the table marks its stations by rows, such a row before the first reading of another station.
    fn mark_station<'r>(&self, row: &'r Row<'_>, table: &Table, last: &mut Option<Cow<'r, str>>, out: &mut String, line_end: &str) {
        if self.station {
            return;
        }
        let Some(Cell::Text(named)) = row.iter().find(|(name, _)| *name == "station").map(|(_, cell)| cell) else { return };
        let known = last.get_or_insert_with(|| levels::last_station(table).into());
        if known != named {
            *out += &format!("station {named}{line_end}");
            *last = Some(named.clone());
        }
    }
}

/// A number in the column's unit; what is in millimetres already keeps its digits.
fn number<'a>(text: &'a str, place: &Place, comma: bool) -> Cow<'a, str> {
    let factor = place.times / place.unit_mm;
    let text: Cow<'a, str> = if factor == 1.0 && !text.contains(['e', 'E']) {
        text.into()
    } else {
        // Nine decimals are finer than any tape, and cut off what the division adds behind them.
        let value = text.parse::<f64>().unwrap_or(f64::NAN) * factor;
        format!("{value:.9}").trim_end_matches('0').trim_end_matches('.').to_string().into()
    };
    if comma { text.replace('.', ",").into() } else { text }
}

/// A cell as it must stand in the file. A leading `#` or a space at an end would be read as something else without quotes.
fn quoted(text: &str, delimiter: u8) -> Cow<'_, str> {
    let special = |c: char| c == '"' || c == '\n' || c == '\r' || c == char::from(delimiter);
    if text.contains(special) || text.starts_with(['#', ' ', '\t']) || text.ends_with([' ', '\t']) {
        return format!("\"{}\"", text.replace('"', "\"\"")).into();
    }
    text.into()
}

/// Whether numbers of the table are written with decimal commas.
fn decimal_commas(table: &Table) -> bool {
    let is_comma = |cell: &str| {
        cell.split_once(',').is_some_and(|(whole, rest)| {
            let digits = |text: &str| !text.is_empty() && text.bytes().all(|c| c.is_ascii_digit());
            digits(whole.trim_start_matches(['-', '+'])) && digits(rest)
        })
    };
    table.rows().any(|row| (0..table.header().len()).any(|at| is_comma(row.cell(at))))
}

/// The text with further columns: names behind the heading, an empty cell behind every row.
fn widened(text: &str, new: &[&str], table: &Table) -> String {
    let delimiter = char::from(table.delimiter());
    let mut out = String::with_capacity(text.len() + text.len() / 8);
    let (mut line, mut heading_passed) = (1, false);
    let mut rest = text;
    while !rest.is_empty() {
        let row = logical_row(rest, table.delimiter());
        let (body, end) = rest.split_at(row);
        let end_len = if end.starts_with("\r\n") { 2 } else { end.len().min(1) };
        out.push_str(body);
        let blank = body.chars().all(|c| c == delimiter || c == ' ' || c == '\t');
        if line == table.header_line() {
            heading_passed = true;
            for name in new {
                out.push(delimiter);
                out.push_str(name);
            }
        } else if heading_passed && !blank && !body.trim_start().starts_with('#') {
            new.iter().for_each(|_| out.push(delimiter));
        }
        out.push_str(&end[..end_len]);
        line += 1 + line_ends(body);
        rest = &end[end_len..];
    }
    out
}

/// Line ends inside a row, between quotes.
fn line_ends(body: &str) -> u64 {
    let bytes = body.as_bytes();
    let end = |i: usize| bytes[i] == b'\n' && (i == 0 || bytes[i - 1] != b'\r') || bytes[i] == b'\r';
    (0..bytes.len()).filter(|i| end(*i)).count() as u64
}

/// Bytes of the row that begins here, without its line end. Quotes count where a part begins with one.
fn logical_row(text: &str, delimiter: u8) -> usize {
    let bytes = text.as_bytes();
    if text.trim_start_matches([' ', '\t']).starts_with('#') {
        return bytes.iter().position(|c| matches!(c, b'\n' | b'\r')).unwrap_or(bytes.len());
    }
    let (mut at, mut inside, mut begins) = (0, false, true);
    while let Some(c) = bytes.get(at) {
        match c {
            b'"' if inside || begins => inside = !inside,
            b'\n' | b'\r' if !inside => return at,
            _ => {}
        }
        begins = !inside && (*c == delimiter || (begins && *c == b' '));
        at += 1;
    }
    at
}

/// The text in the encoding the file had.
fn encoded(before: &[u8], text: String) -> Vec<u8> {
    let marked = |units: fn(u16) -> [u8; 2]| -> Vec<u8> { text.encode_utf16().flat_map(units).collect() };
    let utf8_mark = [0xEF, 0xBB, 0xBF];
    match before {
        [0xEF, 0xBB, 0xBF, ..] => [utf8_mark.as_slice(), text.as_bytes()].concat(),
        [0xFF, 0xFE, ..] => [vec![0xFF, 0xFE], marked(u16::to_le_bytes)].concat(),
        [0xFE, 0xFF, ..] => [vec![0xFE, 0xFF], marked(u16::to_be_bytes)].concat(),
        [_, 0, ..] => marked(u16::to_le_bytes),
        [0, _, ..] => marked(u16::to_be_bytes),
        _ => text.into_bytes(),
    }
}
