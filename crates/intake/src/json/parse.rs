//! JSON text to a tree whose every value knows where it stands.
//!
//! Why not a general JSON value: that one keeps no places, lets the last of two equal keys win, and its messages are for
//! programmers. The grammar is RFC 8259; `tests/json_agrees.rs` holds it against `serde_json` on random texts.

use measure::{Problem, bounds};
use std::borrow::Cow;
use std::collections::BTreeSet;

/// How deep lists and objects may stand in one another.
pub(super) const DEPTH: usize = 64;
/// How many values a document may have, numbers in plain lists of numbers not counted.
pub(super) const VALUES: usize = 4_000_000;
/// How many numbers may stand in plain lists of numbers.
pub(super) const NUMBERS: usize = 2 * bounds::GRID_CELLS;

/// A value and the byte where it starts.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Node<'a> {
    pub start: usize,
    pub kind: Kind<'a>,
}

#[derive(Clone, Debug, PartialEq)]
pub(super) enum Kind<'a> {
    Null,
    Bool(bool),
    Number(f64),
    Text(Cow<'a, str>),
    /// A list of nothing but numbers and nulls, which stand as NaN: a grid of millions is one such.
    Numbers(Vec<f64>),
    List(Vec<Node<'a>>),
    Object(Vec<(Cow<'a, str>, Node<'a>)>),
}

/// A slip of grammar and the byte where it is.
#[derive(Debug)]
pub(super) struct Slip {
    pub at: usize,
    pub what: String,
    pub right: String,
}

impl Slip {
    /// As a problem with line and column.
    pub fn problem(self, text: &str) -> Problem {
        let mut at = self.at.min(text.len());
        while !text.is_char_boundary(at) {
            at -= 1;
        }
        let before = &text[..at];
        let line = before.bytes().filter(|b| *b == b'\n').count() as u64 + 1;
        let column = before[before.rfind('\n').map_or(0, |i| i + 1)..].chars().count() + 1;
        Problem::at("", format!("{} (column {column})", self.what), self.right).line(line)
    }
}

/// The whole document as one value.
pub(super) fn parse(text: &str) -> Result<Node<'_>, Slip> {
    let mut parser = Parser { text, bytes: text.as_bytes(), at: 0, values: 0, numbers: 0 };
    parser.space();
    if parser.at == text.len() {
        return Err(parser.slip("the file is empty", "a JSON document"));
    }
    let node = parser.value(0)?;
    parser.space();
    if parser.at < text.len() {
        return Err(parser.slip("the document has ended, but more text follows", "one JSON value and nothing after it"));
    }
    Ok(node)
}

struct Parser<'a> {
    text: &'a str,
    bytes: &'a [u8],
    at: usize,
    values: usize,
    numbers: usize,
}

impl<'a> Parser<'a> {
    fn slip(&self, what: impl Into<String>, right: impl Into<String>) -> Slip {
        Slip { at: self.at, what: what.into(), right: right.into() }
    }

    fn peek(&self) -> Option<u8> {
        self.bytes.get(self.at).copied()
    }

    fn space(&mut self) {
        while matches!(self.peek(), Some(b' ' | b'\t' | b'\n' | b'\r')) {
            self.at += 1;
        }
    }

    fn value(&mut self, depth: usize) -> Result<Node<'a>, Slip> {
        self.values += 1;
        if self.values > VALUES {
            return Err(self.slip(format!("more than {VALUES} values"), "a smaller document"));
        }
        let start = self.at;
        let kind = match self.peek() {
            Some(b'{') => self.object(depth)?,
            Some(b'[') => self.list(depth)?,
            Some(b'"') => Kind::Text(self.string()?),
            Some(b'-' | b'0'..=b'9') => Kind::Number(self.number()?),
            _ if self.word("null") => Kind::Null,
            _ if self.word("true") => Kind::Bool(true),
            _ if self.word("false") => Kind::Bool(false),
            _ => return Err(self.no_value()),
        };
        Ok(Node { start, kind })
    }

    /// Takes a literal that is not the beginning of a longer word.
    fn word(&mut self, word: &str) -> bool {
        let ends = |b: &u8| !b.is_ascii_alphanumeric() && *b != b'_';
        let found = self.bytes[self.at..].starts_with(word.as_bytes()) && self.bytes.get(self.at + word.len()).is_none_or(ends);
        if found {
            self.at += word.len();
        }
        found
    }

    fn deeper(&self, depth: usize) -> Result<usize, Slip> {
        if depth >= DEPTH { Err(self.slip(format!("nested more than {DEPTH} deep"), "a flatter document")) } else { Ok(depth + 1) }
    }

    fn list(&mut self, depth: usize) -> Result<Kind<'a>, Slip> {
        let depth = self.deeper(depth)?;
        let open = self.at;
        if let Some(numbers) = self.plain_numbers()? {
            return Ok(Kind::Numbers(numbers));
        }
        self.at = open + 1;
        let mut nodes = Vec::new();
        loop {
            self.space();
            nodes.push(self.value(depth)?);
            self.space();
            match self.peek() {
                Some(b',') => self.comma(b']')?,
                Some(b']') => {
                    self.at += 1;
                    return Ok(Kind::List(nodes));
                }
                _ => return Err(self.not_closed(open, "list", ']')),
            }
        }
    }

    /// The list of nothing but numbers and nulls that starts here; `None` when something else stands in it.
    fn plain_numbers(&mut self) -> Result<Option<Vec<f64>>, Slip> {
        let open = self.at;
        self.at += 1;
        let mut numbers = Vec::new();
        self.space();
        if self.peek() == Some(b']') {
            self.at += 1;
            return Ok(Some(numbers));
        }
        loop {
            self.space();
            match self.peek() {
                Some(b'-' | b'0'..=b'9') => numbers.push(self.number()?),
                Some(b'n') if self.word("null") => numbers.push(f64::NAN),
                _ => return Ok(None),
            }
            self.space();
            match self.peek() {
                Some(b',') => self.comma(b']')?,
                Some(b']') => {
                    self.at += 1;
                    self.numbers += numbers.len();
                    if self.numbers > NUMBERS {
                        return Err(self.slip(format!("more than {NUMBERS} numbers in lists"), "a smaller document"));
                    }
                    numbers.shrink_to_fit();
                    return Ok(Some(numbers));
                }
                _ => return Err(self.not_closed(open, "list", ']')),
            }
            if self.numbers + numbers.len() > NUMBERS {
                return Err(self.slip(format!("more than {NUMBERS} numbers in lists"), "a smaller document"));
            }
        }
    }

    /// Takes a comma and refuses one before the closing bracket.
    fn comma(&mut self, close: u8) -> Result<(), Slip> {
        let comma = self.at;
        self.at += 1;
        self.space();
        if self.peek() == Some(close) {
            self.at = comma;
            return Err(self.slip(format!("a comma too many before the closing {}", close as char), "take the last comma away"));
        }
        Ok(())
    }

    fn object(&mut self, depth: usize) -> Result<Kind<'a>, Slip> {
        let depth = self.deeper(depth)?;
        let open = self.at;
        self.at += 1;
        let mut fields: Vec<(Cow<'a, str>, Node<'a>)> = Vec::new();
        let mut seen = BTreeSet::new();
        self.space();
        if self.peek() == Some(b'}') {
            self.at += 1;
            return Ok(Kind::Object(fields));
        }
        loop {
            self.space();
            let at = self.at;
            if self.peek() != Some(b'"') {
                return Err(self.no_name(open));
            }
            let name = self.string()?;
            // A few names are compared one by one; many are kept in a set, so that a huge object stays quick to read.
            let twice = if fields.len() < 16 {
                fields.iter().any(|(known, _)| *known == name)
            } else {
                if seen.is_empty() {
                    seen.extend(fields.iter().map(|(known, _)| known.clone()));
                }
                !seen.insert(name.clone())
            };
            if twice {
                self.at = at;
                return Err(self.slip(format!("the field {} stands twice in one object", short(&name)), "each field once"));
            }
            self.space();
            if self.peek() != Some(b':') {
                return Err(self.slip(format!("a colon is missing after {}", short(&name)), "\"name\": value"));
            }
            self.at += 1;
            self.space();
            let node = self.value(depth)?;
            fields.push((name, node));
            self.space();
            match self.peek() {
                Some(b',') => self.comma(b'}')?,
                Some(b'}') => {
                    self.at += 1;
                    return Ok(Kind::Object(fields));
                }
                _ => return Err(self.not_closed(open, "object", '}')),
            }
        }
    }

    fn not_closed(&self, open: usize, thing: &str, close: char) -> Slip {
        let line = self.bytes[..open].iter().filter(|b| **b == b'\n').count() + 1;
        if self.at >= self.bytes.len() {
            self.slip(
                format!("the file ends before the {thing} opened on line {line} is closed"),
                format!("a closing {close}; was the file cut off?"),
            )
        } else {
            self.slip(format!("a comma or the closing {close} of the {thing} opened on line {line} is missing"), "a comma between values")
        }
    }

    fn no_name(&self, open: usize) -> Slip {
        match self.peek() {
            None => self.not_closed(open, "object", '}'),
            Some(b'\'') => self.slip("a field name in single quotes", "double quotes: \"name\": value"),
            Some(b'/' | b'#') => self.slip("JSON has no comments", "take the comment away"),
            Some(b) if b.is_ascii_alphabetic() || b == b'_' => self.slip("a field name without quotes", "double quotes: \"name\": value"),
            _ if self.rest_starts_with(['“', '”', '„', '«']) => {
                self.slip("typographic quotes", "plain double quotes: \"name\": value")
            }
            _ => self.slip("a field name is missing", "\"name\": value"),
        }
    }

    fn rest_starts_with<const N: usize>(&self, marks: [char; N]) -> bool {
        self.text.get(self.at..).is_some_and(|rest| rest.starts_with(marks))
    }

    /// Says why no value starts here.
    fn no_value(&self) -> Slip {
        let end = self.bytes[self.at..].iter().take(24).take_while(|b| b.is_ascii_alphanumeric() || **b == b'_').count();
        let word = String::from_utf8_lossy(&self.bytes[self.at..self.at + end]).into_owned();
        match word.to_ascii_lowercase().as_str() {
            "nan" | "infinity" | "inf" => return not_finite(self.at, &word),
            "true" | "false" | "null" => return self.slip(format!("{word} with a capital letter"), word.to_ascii_lowercase()),
            "none" | "undefined" => return self.slip(format!("{word} is not a JSON value"), "null, or leave the field out"),
            "" => {}
            _ => return self.slip(format!("{word} is not a JSON value"), "text stands in double quotes"),
        }
        match self.peek() {
            None => self.slip("the file ends where a value should stand", "was the file cut off?"),
            Some(b'\'') => self.slip("text in single quotes", "double quotes"),
            Some(b'/' | b'#') => self.slip("JSON has no comments", "take the comment away"),
            Some(b'+') => self.slip("a number with a plus sign", "leave the plus away"),
            Some(b'.') => self.slip("a number that begins with its point", "a digit before the point: 0.5"),
            Some(b',' | b']' | b'}' | b':') => self.slip("a value is missing here", "a value, or take the comma away"),
            _ if self.rest_starts_with(['“', '”', '„', '«']) => self.slip("typographic quotes", "plain double quotes"),
            _ => self.slip("no JSON value starts here", "text in double quotes, a number, true, false, null, [ or {"),
        }
    }

    fn digits(&mut self) -> usize {
        let from = self.at;
        while matches!(self.peek(), Some(b'0'..=b'9')) {
            self.at += 1;
        }
        self.at - from
    }

    fn number(&mut self) -> Result<f64, Slip> {
        let start = self.at;
        if self.peek() == Some(b'-') {
            self.at += 1;
        }
        let zero = self.peek() == Some(b'0');
        match self.digits() {
            0 => {
                let word: String = self.text.get(self.at..).unwrap_or("").chars().take_while(char::is_ascii_alphabetic).take(24).collect();
                return Err(match word.to_ascii_lowercase().as_str() {
                    "infinity" | "inf" | "nan" => not_finite(start, &format!("-{word}")),
                    _ => self.slip("a minus sign without digits after it", "a number such as -2.5"),
                });
            }
            1 => {}
            _ if zero => {
                self.at = start;
                return Err(self.slip("a number that begins with a zero it does not need", "leave the first zero away"));
            }
            _ => {}
        }
        if self.peek() == Some(b'.') {
            self.at += 1;
            if self.digits() == 0 {
                return Err(self.slip("a number that ends with its point", "a digit after the point: 2.0"));
            }
        }
        if matches!(self.peek(), Some(b'e' | b'E')) {
            self.at += 1;
            if matches!(self.peek(), Some(b'+' | b'-')) {
                self.at += 1;
            }
            if self.digits() == 0 {
                return Err(self.slip("a number whose power of ten has no digits", "a number such as 2.5e-3"));
            }
        }
        let token = &self.text[start..self.at];
        match token.parse::<f64>() {
            Ok(value) if value.is_finite() => Ok(value),
            _ => {
                self.at = start;
                Err(self.slip(format!("the number {} is too large", short(token)), "a number below 1.8e308"))
            }
        }
    }

    fn string(&mut self) -> Result<Cow<'a, str>, Slip> {
        let open = self.at;
        self.at += 1;
        let start = self.at;
        let mut owned: Option<String> = None;
        let mut from = start;
        loop {
            match self.peek() {
                Some(b'"') => {
                    let tail = &self.text[from..self.at];
                    self.at += 1;
                    return Ok(match owned {
                        None => Cow::Borrowed(tail),
                        Some(mut text) => {
                            text.push_str(tail);
                            Cow::Owned(text)
                        }
                    });
                }
                Some(b'\\') => {
                    let text = owned.get_or_insert_default();
                    text.push_str(&self.text[from..self.at]);
                    let c = self.escape()?;
                    owned.get_or_insert_default().push(c);
                    from = self.at;
                }
                Some(b'\n' | b'\r') => {
                    return Err(self.slip("a text goes on past the end of its line", "a closing double quote, or \\n for a new line"));
                }
                Some(0..0x20) => return Err(self.slip("a control character in a text", "an escape such as \\t")),
                Some(_) => self.at += 1,
                None => {
                    self.at = open;
                    return Err(self.slip("the text opened here is never closed", "a closing double quote"));
                }
            }
        }
    }

    fn escape(&mut self) -> Result<char, Slip> {
        self.at += 1;
        let c = match self.peek() {
            Some(b'"') => '"',
            Some(b'\\') => '\\',
            Some(b'/') => '/',
            Some(b'b') => '\u{8}',
            Some(b'f') => '\u{c}',
            Some(b'n') => '\n',
            Some(b'r') => '\r',
            Some(b't') => '\t',
            Some(b'u') => return self.unicode_escape(),
            _ => return Err(self.slip("a backslash that begins no known escape", "\\\\ for a backslash")),
        };
        self.at += 1;
        Ok(c)
    }

    /// `\uXXXX`, or two of them for a character beyond the first 65,536.
    fn unicode_escape(&mut self) -> Result<char, Slip> {
        let first = self.four_digits()?;
        if let Some(c) = char::from_u32(first) {
            return Ok(c);
        }
        if (0xD800..0xDC00).contains(&first) && self.bytes[self.at..].starts_with(b"\\u") {
            self.at += 1;
            let second = self.four_digits()?;
            if (0xDC00..0xE000).contains(&second)
                && let Some(c) = char::from_u32(0x10000 + ((first - 0xD800) << 10) + (second - 0xDC00))
            {
                return Ok(c);
            }
        }
        Err(self.slip("half a character in a \\u escape", "both halves, or the character itself"))
    }

    /// Stands on the `u`; takes it and four hexadecimal digits.
    fn four_digits(&mut self) -> Result<u32, Slip> {
        let digits = self.bytes.get(self.at + 1..self.at + 5).filter(|d| d.iter().all(u8::is_ascii_hexdigit));
        let value = digits.and_then(|d| std::str::from_utf8(d).ok()).and_then(|d| u32::from_str_radix(d, 16).ok());
        match value {
            Some(value) => {
                self.at += 5;
                Ok(value)
            }
            None => Err(self.slip("a \\u escape without four hexadecimal digits", "\\u00e9, or the character itself")),
        }
    }
}

fn not_finite(at: usize, word: &str) -> Slip {
    Slip {
        at,
        what: format!("{word} is not a number a file can carry"),
        right: "a finite number; null, or no field at all, for what is unknown".into(),
    }
}

/// At most 40 characters of a text.
pub(super) fn short(text: &str) -> String {
    if text.chars().count() <= 40 { text.into() } else { text.chars().take(37).chain("...".chars()).collect() }
}
