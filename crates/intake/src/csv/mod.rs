//! A table as people and spreadsheets write it.

mod number;
mod split;

pub use number::number;

use measure::{Problem, Problems};
use split::{Slip, Split, Splitter};

/// How much of a table is taken in.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// Most rows below the heading.
    pub rows: usize,
    /// Most columns.
    pub columns: usize,
    /// A row whose first part begins with one of these words (any case) may have fewer parts than the heading: a remark
    /// between readings such as `station 2`.
    pub marks: &'static [&'static str],
}

/// Longest cell in bytes: a longer one is a slip of quotes.
const CELL: usize = 10_000;
/// Most comment lines kept.
const COMMENTS: usize = 1_000;

/// A table: a heading, and rows of as many cells as it has columns.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    header: Vec<String>,
    header_line: u64,
    delimiter: u8,
    comments: Vec<(u64, String)>,
    /// All cells one after the other, and where each ends.
    cells: String,
    ends: Vec<usize>,
    lines: Vec<u64>,
}

/// One row of a table.
#[derive(Clone, Copy, Debug)]
pub struct Row<'a> {
    table: &'a Table,
    index: usize,
}

impl<'a> Row<'a> {
    /// Line of the file, from 1.
    pub fn line(self) -> u64 {
        self.table.lines[self.index]
    }

    /// A cell, trimmed, without its quotes; empty for a column the table does not have.
    pub fn cell(self, column: usize) -> &'a str {
        let table = self.table;
        if column >= table.header.len() {
            return "";
        }
        let i = self.index * table.header.len() + column;
        let start = if i == 0 { 0 } else { table.ends[i - 1] };
        &table.cells[start..table.ends[i]]
    }
}

impl Table {
    /// The table in a file, or everything wrong with it.
    ///
    /// Columns may be divided by commas, semicolons or tabs: the heading decides (a first line `sep=;` is obeyed). Lines
    /// may end in LF, CRLF or a lone CR. Blank lines and lines that begin with `#` are no rows; comments are kept. Quotes
    /// work as in RFC 4180. Refused: rows with too few or too many parts, quotes that do not close, NUL bytes, a column
    /// named twice, a heading without rows, more rows than `limits` allow (noticed while reading, so memory stays small).
    pub fn read(file: &str, bytes: &[u8], limits: &Limits) -> Result<Self, Problems> {
        let text = crate::text::view(file, bytes)?;
        Self::of_text(&text, limits).map_err(|problems| problems.in_file(file))
    }

    fn of_text(text: &str, limits: &Limits) -> Result<Self, Problems> {
        if let Some(at) = text.find('\0') {
            let line = text[..at].lines().count().max(1) as u64;
            return Err(Problem::at("", "a NUL byte: this is no text file", "a table saved as CSV in UTF-8").line(line).into());
        }
        let mut splitter = Splitter::new(text);
        let mut comments = Vec::new();
        let mut told = told_delimiter(&mut splitter);
        skip_blank(&mut splitter, &mut comments);
        let Some((_, first)) = splitter.peek_line() else {
            return Err(Problem::at("", "the file is empty", "a heading with the names of the columns, then a row for each reading").into());
        };
        let delimiter = *told.get_or_insert_with(|| sniffed(first));
        let mut row = Split::default();
        splitter.row(delimiter, limits.columns + 1, &mut row);
        let header = heading(&row, delimiter, limits)?;
        let table = Self { header, header_line: row.line, delimiter, comments, cells: String::new(), ends: Vec::new(), lines: Vec::new() };
        table.with_rows(splitter, limits)
    }

    fn with_rows(mut self, mut splitter: Splitter<'_>, limits: &Limits) -> Result<Self, Problems> {
        let width = self.header.len();
        let mut problems = Kept::default();
        let mut row = Split::default();
        loop {
            skip_blank(&mut splitter, &mut self.comments);
            if splitter.peek_line().is_none() {
                break;
            }
            if self.lines.len() == limits.rows {
                let all = limits.rows + splitter.lines_left();
                problems.push(|| {
                    Problem::at("", format!("more than {} rows", limits.rows), "fewer readings, or several files")
                        .value(format!("about {all} rows"))
                });
                break;
            }
            splitter.row(self.delimiter, width + 1, &mut row);
            match self.fault(&mut row, limits) {
                Some(fault) => problems.push(|| self.words(fault, &row)),
                None => self.add(&row),
            }
            if row.slip == Some(Slip::Open) {
                break;
            }
        }
        if self.lines.is_empty() && problems.kept.is_empty() {
            problems.push(|| Problem::at("", "a heading but no rows", "a row for each reading below the heading").line(self.header_line));
        }
        problems.or(self)
    }

    fn add(&mut self, row: &Split<'_>) {
        for i in 0..self.header.len() {
            self.cells.push_str(row.parts.get(i).map_or("", |part| part));
            self.ends.push(self.cells.len());
        }
        self.lines.push(row.line);
    }

    /// What is wrong with a row. Empty parts beyond the last column, as spreadsheets leave them, are taken off first.
    fn fault(&self, row: &mut Split<'_>, limits: &Limits) -> Option<Fault> {
        let width = self.header.len();
        if let Some(slip) = row.slip {
            return Some(Fault::Quote(slip));
        }
        if row.parts.iter().any(|part| part.len() > CELL) {
            return Some(Fault::Long);
        }
        if row.count > width {
            let tail = row.raw.bytes().rev().take_while(|b| *b == self.delimiter || *b == b' ');
            if tail.filter(|b| *b == self.delimiter).count() >= row.count - width {
                row.count = width;
                row.parts.truncate(width);
            }
        }
        let mark = || row.parts.first().is_some_and(|first| limits.marks.iter().any(|mark| begins(first, mark)));
        let fits = row.count == width || (row.count < width && mark());
        (!fits).then_some(Fault::Ragged)
    }

    /// A fault in words; built only for those that are reported.
    fn words(&self, fault: Fault, row: &Split<'_>) -> Problem {
        let width = self.header.len();
        let problem = match fault {
            Fault::Quote(Slip::Open) => Problem::at("", "a quote is opened here and never closed", "a closing quote, or none at all"),
            Fault::Quote(Slip::After) => {
                Problem::at("", "text stands behind a closing quote", "quotes around the whole part; a quote inside it doubled")
                    .value(row.raw)
            }
            Fault::Long => Problem::at("", "a part is longer than any reading", format!("at most {CELL} bytes; is a quote missing?")),
            Fault::Ragged => {
                let parts = if row.count == 1 { "one part".into() } else { format!("{} parts", counted(row.count)) };
                let needed = if width == 1 { "one is".into() } else { format!("{} are", counted(width)) };
                let commas = self.delimiter == b',' && row.count > width;
                let hint = if commas { "; with decimal commas the columns are divided by semicolons" } else { "" };
                let columns = self.header.join(", ");
                Problem::at("", format!("{:?} has {parts}", shortened(row.raw)), format!("{needed} needed: {columns}{hint}"))
            }
        };
        problem.line(row.line)
    }

    /// Names of the columns as they stand in the file.
    pub fn header(&self) -> &[String] {
        &self.header
    }

    /// Line of the heading.
    pub fn header_line(&self) -> u64 {
        self.header_line
    }

    /// The column with one of these names; case, spaces, hyphens and underscores do not count.
    pub fn column(&self, names: &[&str]) -> Option<usize> {
        self.header.iter().position(|have| names.iter().any(|name| plain(have) == plain(name)))
    }

    /// What divides the columns.
    pub fn delimiter(&self) -> u8 {
        self.delimiter
    }

    /// Comment lines without their `#`, with their line.
    pub fn comments(&self) -> impl Iterator<Item = (u64, &str)> {
        self.comments.iter().map(|(line, text)| (*line, text.as_str()))
    }

    /// The rows below the heading.
    pub fn rows(&self) -> impl ExactSizeIterator<Item = Row<'_>> {
        (0..self.lines.len()).map(|index| Row { table: self, index })
    }
}

/// What is wrong with a row.
#[derive(Clone, Copy)]
enum Fault {
    Quote(Slip),
    Long,
    Ragged,
}

/// Problems, kept up to the most that are reported and then counted.
#[derive(Default)]
struct Kept {
    kept: Vec<Problem>,
    more: usize,
}

impl Kept {
    fn push(&mut self, problem: impl FnOnce() -> Problem) {
        if self.kept.len() < Problems::MOST { self.kept.push(problem()) } else { self.more += 1 }
    }

    fn or<T>(mut self, value: T) -> Result<T, Problems> {
        if self.kept.is_empty() {
            return Ok(value);
        }
        if self.more > 0 {
            self.kept.push(Problem::at("", format!("{} more problems are not listed", self.more), "put these right first"));
        }
        Err(Problems { problems: self.kept })
    }
}

/// A name without case, spaces, hyphens and underscores.
fn plain(name: &str) -> String {
    name.chars().filter(|c| !c.is_whitespace() && !matches!(c, '-' | '_')).flat_map(char::to_lowercase).collect()
}

fn begins(text: &str, word: &str) -> bool {
    text.get(..word.len()).is_some_and(|head| head.eq_ignore_ascii_case(word))
}

/// The delimiter a first line such as `sep=;` tells.
fn told_delimiter(splitter: &mut Splitter<'_>) -> Option<u8> {
    let (_, line) = splitter.peek_line()?;
    let told = match line.trim_end().to_ascii_lowercase().strip_prefix("sep=")?.as_bytes() {
        [one @ (b',' | b';' | b'\t')] => *one,
        [] => b'\t',
        _ => return None,
    };
    splitter.skip_line();
    Some(told)
}

/// Goes past blank lines and comments. A row of nothing but delimiters is blank: spreadsheets write such.
fn skip_blank(splitter: &mut Splitter<'_>, comments: &mut Vec<(u64, String)>) {
    while let Some((line, text)) = splitter.peek_line() {
        let text = text.trim();
        if let Some(comment) = text.strip_prefix('#') {
            if comments.len() < COMMENTS && comment.len() <= CELL {
                comments.push((line, comment.trim_end_matches([';', ',', '\t']).trim().into()));
            }
        } else if !text.bytes().all(|b| matches!(b, b',' | b';' | b'\t' | b' ')) {
            return;
        }
        splitter.skip_line();
    }
}

/// Tab, semicolon or comma: the first of them that stands in the heading outside quotes.
fn sniffed(heading: &str) -> u8 {
    let mut inside = false;
    let outside: Vec<u8> = heading
        .bytes()
        .filter(|b| {
            inside ^= *b == b'"';
            !inside
        })
        .collect();
    [b'\t', b';'].into_iter().find(|d| outside.contains(d)).unwrap_or(b',')
}

/// The names of the columns.
fn heading(row: &Split<'_>, delimiter: u8, limits: &Limits) -> Result<Vec<String>, Problems> {
    let at = |what: String, right: &str| Problem::at("", what, right).line(row.line);
    if row.slip.is_some() {
        return Err(at("the quotes in the heading do not close".into(), "a closing quote, or none at all").into());
    }
    if row.count > limits.columns {
        let right = format!("at most {}", limits.columns);
        return Err(at(format!("the heading has {} columns", row.count), &right).value(shortened(row.raw)).into());
    }
    let mut header: Vec<String> = row.parts.iter().map(|part| part.split_whitespace().collect::<Vec<_>>().join(" ")).collect();
    while header.last().is_some_and(String::is_empty) {
        header.pop();
    }
    let mut problems = Kept::default();
    if header.iter().all(|name| number(name, delimiter).is_ok()) {
        problems.push(|| {
            at("the first row holds numbers only".into(), "a heading with the names of the columns above the readings")
                .value(shortened(row.raw))
        });
    }
    for (i, name) in header.iter().enumerate() {
        if name.is_empty() {
            problems.push(|| at(format!("column {} has no name", i + 1), "a name for every column"));
        } else if let Some(before) = header[..i].iter().position(|other| plain(other) == plain(name)) {
            problems.push(|| at(format!("columns {} and {} have the same name", before + 1, i + 1), "each name once").value(name));
        }
    }
    problems.or(header)
}

/// A row for a message.
fn shortened(raw: &str) -> String {
    let raw = raw.trim_end();
    if raw.chars().count() <= 60 { raw.into() } else { raw.chars().take(57).chain("...".chars()).collect() }
}

/// A count as one says it.
fn counted(n: usize) -> String {
    const WORDS: [&str; 13] = ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"];
    WORDS.get(n).map_or_else(|| n.to_string(), |word| (*word).into())
}
