//! Text to rows of parts, with the line each row stands on.
//!
//! Why not a general reader: one that forgives lets an open quote swallow the rest of the file and loses count of lines
//! that end in a lone carriage return; the person who has to find the slip needs both.

use std::borrow::Cow;

/// One row, its parts in the order of the file.
#[derive(Debug, Default)]
pub(super) struct Split<'a> {
    /// Line the row starts on, from 1.
    pub line: u64,
    /// The row as it stands.
    pub raw: &'a str,
    /// The first parts, trimmed, quotes taken off; never more than were asked for.
    pub parts: Vec<Cow<'a, str>>,
    /// How many parts there are.
    pub count: usize,
    /// Something is wrong with the quotes.
    pub slip: Option<Slip>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Slip {
    /// A quote is opened and never closed.
    Open,
    /// Text stands between a closing quote and the end of its part.
    After,
}

/// Goes through a text row by row.
pub(super) struct Splitter<'a> {
    text: &'a str,
    at: usize,
    line: u64,
}

impl<'a> Splitter<'a> {
    pub fn new(text: &'a str) -> Self {
        Self { text, at: 0, line: 1 }
    }

    /// The line that starts here without its end, not taken; `None` at the end of the text.
    pub fn peek_line(&self) -> Option<(u64, &'a str)> {
        let rest = &self.text[self.at..];
        let end = rest.bytes().position(|b| matches!(b, b'\n' | b'\r')).unwrap_or(rest.len());
        (!rest.is_empty()).then(|| (self.line, &rest[..end]))
    }

    /// Goes past the line that starts here.
    pub fn skip_line(&mut self) {
        if let Some((_, line)) = self.peek_line() {
            self.at += line.len();
            self.line_end();
        }
    }

    /// How many lines follow.
    pub fn lines_left(&self) -> usize {
        self.text[self.at..].lines().count()
    }

    /// Takes `\n`, `\r\n` or a lone `\r`.
    fn line_end(&mut self) {
        let rest = &self.text.as_bytes()[self.at..];
        let taken = match rest {
            [b'\r', b'\n', ..] => 2,
            [b'\r' | b'\n', ..] => 1,
            _ => return,
        };
        self.at += taken;
        self.line += 1;
    }

    /// Takes the row that starts here into `row`, keeping at most `most` parts.
    pub fn row(&mut self, delimiter: u8, most: usize, row: &mut Split<'a>) {
        let start = self.at;
        row.line = self.line;
        row.parts.clear();
        row.count = 0;
        row.slip = None;
        loop {
            let (part, slip) = self.part(delimiter);
            row.slip = row.slip.or(slip);
            row.count += 1;
            if row.parts.len() < most {
                row.parts.push(part);
            }
            if self.text.as_bytes().get(self.at) != Some(&delimiter) {
                break;
            }
            self.at += 1;
        }
        row.raw = &self.text[start..self.at];
        self.line_end();
    }

    /// Takes one part; what stands here then is a delimiter, an end of line or the end of the text.
    fn part(&mut self, delimiter: u8) -> (Cow<'a, str>, Option<Slip>) {
        let bytes = self.text.as_bytes();
        let mut at = self.at;
        while bytes.get(at).is_some_and(|b| *b == b' ' || (*b == b'\t' && delimiter != b'\t')) {
            at += 1;
        }
        if bytes.get(at) == Some(&b'"') {
            self.at = at + 1;
            return self.quoted(delimiter);
        }
        let rest = &bytes[self.at..];
        let end = rest.iter().position(|b| *b == delimiter || matches!(b, b'\n' | b'\r')).unwrap_or(rest.len());
        let part = self.text[self.at..self.at + end].trim();
        self.at += end;
        (Cow::Borrowed(part), None)
    }

    /// Stands after the opening quote. A doubled quote inside is one quote.
    fn quoted(&mut self, delimiter: u8) -> (Cow<'a, str>, Option<Slip>) {
        let bytes = self.text.as_bytes();
        let mut owned = String::new();
        let mut from = self.at;
        let part = loop {
            match bytes.get(self.at) {
                None => return (Cow::Borrowed(""), Some(Slip::Open)),
                Some(b'"') if bytes.get(self.at + 1) == Some(&b'"') => {
                    owned.push_str(&self.text[from..=self.at]);
                    self.at += 2;
                    from = self.at;
                }
                Some(b'"') => {
                    let tail = &self.text[from..self.at];
                    self.at += 1;
                    break if owned.is_empty() { Cow::Borrowed(tail.trim()) } else { Cow::Owned((owned + tail).trim().to_string()) };
                }
                Some(b'\n' | b'\r') => self.line_end(),
                Some(_) => self.at += 1,
            }
        };
        let rest = &bytes[self.at..];
        let end = rest.iter().position(|b| *b == delimiter || matches!(b, b'\n' | b'\r')).unwrap_or(rest.len());
        let after = !self.text[self.at..self.at + end].trim().is_empty();
        self.at += end;
        (part, after.then_some(Slip::After))
    }
}
