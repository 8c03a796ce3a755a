//! A parsed document held against the shape it should have.

use super::parse::{Kind, Node, short};
use super::shape::{Id, Others, Shape, Shapes, kind};
use crate::words;
use measure::{Problem, Problems};
use serde_json::Value;

/// Every misfit, in the order of the text.
pub(super) fn check(text: &str, node: &Node<'_>, shapes: &Shapes) -> Result<(), Problems> {
    let mut check = Check { text, shapes, path: Vec::new(), found: Found::default() };
    check.node(node, shapes.root);
    check.found.in_order(text)
}

/// The path of the innermost value that starts at or before a byte of the text.
pub(super) fn path_at(node: &Node<'_>, at: usize) -> String {
    let mut path = Vec::new();
    let mut node = node;
    loop {
        match &node.kind {
            Kind::List(items) => {
                let after = items.partition_point(|item| item.start <= at);
                if after == 0 {
                    break;
                }
                path.push(Step::Index(after - 1));
                node = &items[after - 1];
            }
            Kind::Object(fields) => {
                let after = fields.partition_point(|(_, value)| value.start <= at);
                if after == 0 {
                    break;
                }
                path.push(Step::Field(&fields[after - 1].0));
                node = &fields[after - 1].1;
            }
            _ => break,
        }
    }
    words_of(&path)
}

#[derive(Clone, Copy)]
enum Step<'a> {
    Field(&'a str),
    Index(usize),
}

/// `walls[2].height_mm`.
fn words_of(path: &[Step<'_>]) -> String {
    let mut words = String::new();
    for step in path {
        match step {
            Step::Field(name) => {
                if !words.is_empty() {
                    words.push('.');
                }
                words.push_str(&short(name));
            }
            Step::Index(i) => words.push_str(&format!("[{i}]")),
        }
    }
    words
}

/// Problems with the byte they stand at; what exceeds the most that is reported is only counted.
#[derive(Default)]
struct Found {
    kept: Vec<(usize, Problem)>,
    more: usize,
}

impl Found {
    fn count(&self) -> usize {
        self.kept.len() + self.more
    }

    fn push(&mut self, at: usize, problem: impl FnOnce() -> Problem) {
        if self.kept.len() < Problems::MOST { self.kept.push((at, problem())) } else { self.more += 1 }
    }

    /// With the line of each, found in one pass over the text.
    fn in_order(mut self, text: &str) -> Result<(), Problems> {
        self.kept.sort_by_key(|(at, _)| *at);
        let mut problems = Problems::new();
        let (mut from, mut line) = (0, 1);
        for (at, problem) in self.kept {
            line += text.as_bytes()[from..at].iter().filter(|b| **b == b'\n').count() as u64;
            from = at;
            problems.push(problem.line(line));
        }
        if self.more > 0 {
            problems.push(Problem::at("", format!("{} more problems are not listed", self.more), "put these right first"));
        }
        if problems.is_empty() { Ok(()) } else { Err(problems) }
    }
}

struct Check<'a> {
    text: &'a str,
    shapes: &'a Shapes,
    path: Vec<Step<'a>>,
    found: Found,
}

impl<'a> Check<'a> {
    fn node(&mut self, node: &'a Node<'a>, id: Id) {
        let shape = &self.shapes[id];
        if !shape.branches.is_empty() {
            return self.branch(node, id);
        }
        if self.bits(node) & shape.kinds == 0 {
            return self.wrong_kind(node, &[id]);
        }
        if let Some(allowed) = &shape.words {
            return self.word(node, allowed);
        }
        match &node.kind {
            Kind::Number(x) => self.number(node.start, *x, shape),
            Kind::Text(text) => self.letters(node.start, text, shape),
            Kind::Numbers(numbers) => self.numbers(node, numbers, shape),
            Kind::List(items) => {
                self.length(node, items.len(), shape);
                for (i, item) in items.iter().enumerate() {
                    if let Some(inner) = shape.first.get(i).copied().or(shape.items) {
                        self.path.push(Step::Index(i));
                        self.node(item, inner);
                        self.path.pop();
                    }
                }
            }
            Kind::Object(fields) => self.object(node, fields, shape),
            Kind::Null | Kind::Bool(_) => {}
        }
    }

    /// What a value is, as bits of [`kind`]. A number counts as whole only when it is written so, since serde reads no
    /// count from `3.0`.
    fn bits(&self, node: &Node<'_>) -> u8 {
        match &node.kind {
            Kind::Null => kind::NULL,
            Kind::Bool(_) => kind::BOOL,
            Kind::Number(_) if self.written(node.start).bytes().any(|b| matches!(b, b'.' | b'e' | b'E')) => kind::NUMBER,
            Kind::Number(_) => kind::NUMBER | kind::INTEGER,
            Kind::Text(_) => kind::TEXT,
            Kind::Numbers(_) | Kind::List(_) => kind::LIST,
            Kind::Object(_) => kind::OBJECT,
        }
    }

    /// A number or literal as it stands in the text.
    fn written(&self, start: usize) -> &'a str {
        let rest = &self.text[start..];
        let end = rest.bytes().position(|b| !(b.is_ascii_alphanumeric() || matches!(b, b'.' | b'-' | b'+'))).unwrap_or(rest.len());
        &rest[..end]
    }

    /// A value for a message.
    fn shown(&self, node: &Node<'_>) -> String {
        match &node.kind {
            Kind::Null | Kind::Bool(_) | Kind::Number(_) => short(self.written(node.start)),
            Kind::Text(text) => format!("\"{}\"", short(text)),
            Kind::Numbers(items) => format!("a list of {}", items.len()),
            Kind::List(items) => format!("a list of {}", items.len()),
            Kind::Object(_) => "an object".into(),
        }
    }

    fn report(&mut self, at: usize, value: impl FnOnce() -> String, what: impl Into<String>, right: impl Into<String>) {
        let path = &self.path;
        self.found.push(at, || Problem::at(words_of(path), what, right).value(value()));
    }

    fn number(&mut self, start: usize, x: f64, shape: &Shape) {
        if !shape.allows(x) {
            let value = short(self.written(start));
            let mut right = shape.bounds_words();
            // Where 0 to 1 is asked and 65 is given, somebody wrote a share as a percentage.
            if (shape.min, shape.max) == (Some(0.0), Some(1.0)) && x > 1.0 && x <= 100.0 {
                right.push_str(&format!(" (a share; {x} % is {})", (x * 1e6).round() / 1e8));
            }
            self.report(start, || value, "out of bounds", right);
        }
    }

    fn letters(&mut self, start: usize, text: &str, shape: &Shape) {
        if shape.letters_min.is_none() && shape.letters_max.is_none() {
            return;
        }
        let n = text.chars().count();
        if shape.letters_min.is_some_and(|least| n < least) {
            let right = if n == 0 { "some text".into() } else { format!("at least {} letters", shape.letters_min.unwrap_or(0)) };
            self.report(start, || format!("\"{}\"", short(text)), if n == 0 { "empty" } else { "too short" }, right);
        } else if let Some(most) = shape.letters_max.filter(|most| n > *most) {
            self.report(start, || format!("{n} letters"), "too long", format!("at most {most} letters"));
        }
    }

    fn length(&mut self, node: &Node<'_>, n: usize, shape: &Shape) {
        let right = match (shape.items_min, shape.items_max) {
            (Some(least), Some(most)) if least == most && n != least => format!("exactly {least}"),
            (Some(least), Some(most)) if n < least || n > most => format!("between {least} and {most}"),
            (Some(least), None) if n < least => format!("at least {least}"),
            (None, Some(most)) if n > most => format!("at most {most}"),
            _ => return,
        };
        let what = if n == 0 { "an empty list" } else { "the list has the wrong length" };
        self.report(node.start, || format!("a list of {n}"), what, right);
    }

    /// A list of numbers and nulls: one tight loop where every item is asked the same.
    fn numbers(&mut self, node: &'a Node<'a>, numbers: &'a [f64], shape: &Shape) {
        self.length(node, numbers.len(), shape);
        let plain = shape.items.filter(|_| shape.first.is_empty()).map(|id| (id, self.shapes.leaves(id)));
        if let Some((_, leaves)) = &plain
            && let Some(number) = leaves.iter().map(|id| &self.shapes[*id]).find(|s| s.is_plain_number())
        {
            let null = leaves.iter().any(|id| self.shapes[*id].kinds & kind::NULL != 0);
            let (min, max) = (number.min.unwrap_or(f64::NEG_INFINITY), number.max.unwrap_or(f64::INFINITY));
            let (above, below) = (number.above.unwrap_or(f64::NEG_INFINITY), number.below.unwrap_or(f64::INFINITY));
            if numbers.iter().all(|x| if x.is_nan() { null } else { *x >= min && *x <= max && *x > above && *x < below }) {
                return;
            }
        }
        let mut places = Places::new(self.text, node.start);
        for (i, x) in numbers.iter().enumerate() {
            let start = places.next();
            if let Some(inner) = shape.first.get(i).copied().or(shape.items) {
                let item = Node { start, kind: if x.is_nan() { Kind::Null } else { Kind::Number(*x) } };
                self.path.push(Step::Index(i));
                self.leaf(&item, inner);
                self.path.pop();
            }
        }
    }

    /// A number or null made up for an item of a list of numbers.
    fn leaf(&mut self, item: &Node<'_>, id: Id) {
        let leaves = self.shapes.leaves(id);
        let Some(fits) = leaves.iter().find(|id| self.bits(item) & self.shapes[**id].kinds != 0) else {
            return self.wrong_kind(item, &leaves);
        };
        let shape = &self.shapes[*fits];
        match (&shape.words, &item.kind) {
            (Some(allowed), _) => self.word(item, allowed),
            (None, Kind::Number(x)) => self.number(item.start, *x, shape),
            _ => {}
        }
    }

    fn object(&mut self, node: &'a Node<'a>, fields: &'a [(std::borrow::Cow<'a, str>, Node<'a>)], shape: &'a Shape) {
        let mut meant = Vec::new();
        for (name, value) in fields {
            if let Some(known) = shape.field(name) {
                self.path.push(Step::Field(name));
                self.node(value, known.shape);
                self.path.pop();
                continue;
            }
            match shape.others {
                Others::Any => {}
                Others::Each(id) => {
                    self.path.push(Step::Field(name));
                    self.node(value, id);
                    self.path.pop();
                }
                Others::None => {
                    let absent: Vec<&str> =
                        shape.fields.iter().map(|f| f.name.as_str()).filter(|known| !fields.iter().any(|(n, _)| n == known)).collect();
                    let (what, right, likely) = unknown_field(name, &absent, shape);
                    meant.extend(likely);
                    self.path.push(Step::Field(name));
                    let shown = self.shown(value);
                    self.report(value.start, || shown, what, right);
                    self.path.pop();
                }
            }
        }
        for field in shape.fields.iter().filter(|f| f.required && !meant.contains(&f.name.as_str())) {
            if !fields.iter().any(|(name, _)| *name == field.name) {
                self.missing(node.start, field.name.as_str(), field.shape);
            }
        }
    }

    fn missing(&mut self, at: usize, name: &'a str, id: Id) {
        let leaves = self.shapes.leaves(id);
        let says = self.shapes[id].says.as_deref().or(leaves.first().and_then(|id| self.shapes[*id].says.as_deref()));
        let asked = self.asked(&leaves);
        let right = says.map_or(asked.clone(), |says| format!("{asked}: {says}"));
        self.path.push(Step::Field(name));
        let path = &self.path;
        self.found.push(at, || Problem::at(words_of(path), "missing", right));
        self.path.pop();
    }

    /// What would be right at a place, in words.
    fn asked(&self, leaves: &[Id]) -> String {
        let shapes = || leaves.iter().map(|id| &self.shapes[*id]);
        let all_words: Vec<String> =
            shapes().filter_map(|s| s.words.as_ref()).flatten().filter(|w| !w.is_null()).map(Value::to_string).collect();
        if !all_words.is_empty() && shapes().all(|s| s.words.is_some() || s.kinds == kind::NULL) {
            return words::listed(&all_words);
        }
        let kinds = shapes().map(|s| s.kinds).fold(0, |a, b| a | b);
        let mut asked: Vec<String> = Vec::new();
        let number = shapes().find(|s| s.kinds & (kind::NUMBER | kind::INTEGER) != 0);
        if let Some(number) = number {
            let whole = if number.kinds & kind::NUMBER == 0 { "a whole number" } else { "a number" };
            let bounds = number.bounds_words();
            asked.push(if bounds.is_empty() { whole.into() } else { format!("{whole} {bounds}") });
        }
        for (bit, words) in
            [(kind::TEXT, "text"), (kind::BOOL, "true or false"), (kind::LIST, "a list [...]"), (kind::OBJECT, "an object {...}")]
        {
            if kinds & bit != 0 {
                asked.push(words.into());
            }
        }
        if asked.is_empty() { "null".into() } else { words::listed(&asked) }
    }

    fn wrong_kind(&mut self, node: &Node<'_>, leaves: &[Id]) {
        let kinds = leaves.iter().map(|id| self.shapes[*id].kinds).fold(0, |a, b| a | b);
        let number_asked = kinds & (kind::NUMBER | kind::INTEGER) != 0;
        let (what, right) = match &node.kind {
            Kind::Text(text) if number_asked => number_as_text(text, self.asked(leaves)),
            Kind::Number(_) if number_asked => ("not a whole number".into(), self.asked(leaves)),
            Kind::Null => ("null, but a value is needed".into(), self.asked(leaves)),
            _ => ("the wrong kind of value".into(), self.asked(leaves)),
        };
        let shown = self.shown(node);
        self.report(node.start, || shown, what, right);
    }

    fn word(&mut self, node: &Node<'_>, allowed: &[Value]) {
        let same = |value: &Value| match (&node.kind, value) {
            (Kind::Text(text), Value::String(word)) => text == word,
            (Kind::Number(x), Value::Number(n)) => n.as_f64() == Some(*x),
            (Kind::Bool(x), Value::Bool(y)) => x == y,
            (Kind::Null, Value::Null) => true,
            _ => false,
        };
        if !allowed.iter().any(same) {
            self.unknown_word(node, allowed);
        }
    }

    fn unknown_word<'w>(&mut self, node: &Node<'_>, allowed: impl IntoIterator<Item = &'w Value>) {
        let mut known: Vec<&Value> = allowed.into_iter().filter(|w| !w.is_null()).collect();
        if let Kind::Text(text) = &node.kind
            && let Some(near) = words::nearest(text, known.iter().filter_map(|w| w.as_str()))
        {
            known.sort_by_key(|w| w.as_str() != Some(near));
        }
        let listed = words::listed(&known.into_iter().map(Value::to_string).collect::<Vec<_>>());
        let shown = self.shown(node);
        self.report(node.start, || shown, "not a known word", listed);
    }

    /// One of several shapes must fit: the one the document means is found by kind, by its tag, or by its fields.
    fn branch(&mut self, node: &'a Node<'a>, id: Id) {
        let leaves = self.shapes.leaves(id);
        let bits = self.bits(node);
        let mut fitting: Vec<Id> = leaves.iter().copied().filter(|id| self.shapes[*id].kinds & bits != 0).collect();
        if fitting.is_empty() {
            return self.wrong_kind(node, &leaves);
        }
        if fitting.iter().all(|id| self.shapes[*id].words.is_some()) {
            let shapes = self.shapes;
            let allowed: Vec<&Value> = fitting.iter().filter_map(|id| shapes[*id].words.as_ref()).flatten().collect();
            let owned: Vec<Value> = allowed.into_iter().cloned().collect();
            return self.word(node, &owned);
        }
        if let (Kind::Object(fields), true) = (&node.kind, fitting.len() > 1) {
            if let Some(tag) = self.tag(&fitting) {
                return self.tagged(node, fields, tag, &fitting);
            }
            let score = |id: &Id| {
                let shape = &self.shapes[*id];
                let known = fields.iter().filter(|(name, _)| shape.field(name).is_some()).count() as isize;
                let missing =
                    shape.fields.iter().filter(|f| f.required && !fields.iter().any(|(name, _)| *name == f.name)).count() as isize;
                -(2 * known - missing)
            };
            fitting.sort_by_key(score);
        }
        self.first_that_fits(node, &fitting);
    }

    /// The field whose only allowed value tells the branches apart.
    fn tag(&self, branches: &[Id]) -> Option<&'a str> {
        let only = |id: Id, name: &str| {
            let field = self.shapes[id].field(name).filter(|f| f.required)?;
            self.shapes[field.shape].words.as_ref().filter(|w| w.len() == 1).map(|w| &w[0])
        };
        let (first, rest) = branches.split_first()?;
        self.shapes[*first]
            .fields
            .iter()
            .map(|f| f.name.as_str())
            .find(|name| only(*first, name).is_some() && rest.iter().all(|id| only(*id, name).is_some()))
    }

    fn tagged(&mut self, node: &'a Node<'a>, fields: &'a [(std::borrow::Cow<'a, str>, Node<'a>)], tag: &'a str, branches: &[Id]) {
        let shapes = self.shapes;
        let words_of = |id: &Id| shapes[*id].field(tag).and_then(|f| shapes[f.shape].words.as_ref()).and_then(|w| w.first());
        let Some((_, value)) = fields.iter().find(|(name, _)| name == tag) else {
            let all: Vec<String> = branches.iter().filter_map(words_of).map(Value::to_string).collect();
            self.path.push(Step::Field(tag));
            let path = &self.path;
            self.found.push(node.start, || Problem::at(super::check::words_of(path), "missing", words::listed(&all)));
            self.path.pop();
            return;
        };
        let chosen = branches.iter().find(|id| matches!((&value.kind, words_of(id)), (Kind::Text(t), Some(Value::String(w))) if t == w));
        match chosen {
            Some(id) => self.node(node, *id),
            None => {
                self.path.push(Step::Field(tag));
                self.unknown_word(value, branches.iter().filter_map(words_of));
                self.path.pop();
            }
        }
    }

    /// Tries the branches in order; when none fits, the first one's problems stand.
    fn first_that_fits(&mut self, node: &'a Node<'a>, branches: &[Id]) {
        let before = std::mem::take(&mut self.found);
        let mut first = None;
        for id in branches {
            self.node(node, *id);
            let found = std::mem::take(&mut self.found);
            if found.count() == 0 {
                self.found = before;
                return;
            }
            first.get_or_insert(found);
        }
        self.found = before;
        if let Some(Found { kept, more }) = first {
            for (at, problem) in kept {
                self.found.push(at, || problem);
            }
            self.found.more += more;
        }
    }
}

/// Where the items of a list of numbers start in the text.
struct Places<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl<'a> Places<'a> {
    fn new(text: &'a str, list: usize) -> Self {
        Self { bytes: text.as_bytes(), at: list }
    }

    fn next(&mut self) -> usize {
        self.at += 1;
        while self.bytes.get(self.at).is_some_and(|b| b.is_ascii_whitespace()) {
            self.at += 1;
        }
        let start = self.at;
        while self.bytes.get(self.at).is_some_and(|b| *b != b',') {
            self.at += 1;
        }
        start
    }
}

/// What is wrong, what is right, and which field was meant when that is clear.
fn unknown_field<'s>(name: &str, absent: &[&'s str], shape: &'s Shape) -> (String, String, Option<&'s str>) {
    let lower = name.to_lowercase();
    let (stem, unit) = words::stem_and_unit(&lower);
    let same_stem = absent.iter().copied().find(|known| {
        let (known_stem, known_unit) = words::stem_and_unit(known);
        *known != lower && known_unit.is_some() && known_stem == stem
    });
    if let Some(known) = same_stem {
        let what = if unit.is_some() { "unknown unit in the field name" } else { "the field name lacks its unit" };
        let in_unit = words::stem_and_unit(known).1.unwrap_or_default();
        return (what.into(), format!("give it in {in_unit} as {known}"), Some(known));
    }
    if let Some(known) = words::nearest(name, absent.iter().copied()) {
        return ("unknown field".into(), format!("perhaps {known}?"), Some(known));
    }
    let all: Vec<&str> = shape.fields.iter().map(|f| f.name.as_str()).collect();
    let right = match all.len() {
        0 => "no fields at all".into(),
        1..=12 => format!("known are {}", all.join(", ")),
        n => format!("known are {}, and {} more: see the schema", all[..12].join(", "), n - 12),
    };
    ("unknown field".into(), right, None)
}

/// What is wrong with text where a number should stand.
fn number_as_text(text: &str, asked: String) -> (String, String) {
    let plain = text.trim().replace(['\u{a0}', '\u{202f}', ' '], "").replace('\u{2212}', "-");
    let point = plain.replace(',', ".");
    let is_number = |s: &str| s.parse::<f64>().is_ok_and(f64::is_finite) && s.bytes().all(|b| !b.is_ascii_alphabetic() || b == b'e');
    if is_number(&plain) {
        return ("a number in quotes".into(), format!("{plain} without quotes"));
    }
    if is_number(&point) {
        return ("a number in quotes with a decimal comma".into(), format!("{point}, without quotes"));
    }
    let digits = point.len() - point.trim_start_matches(|c: char| c.is_ascii_digit() || matches!(c, '.' | '-')).len();
    if digits > 0 && is_number(&point[..digits]) {
        return (
            "a number with something behind it, in quotes".into(),
            format!("{asked}, without quotes; the unit is part of the field's name"),
        );
    }
    ("text where a number is needed".into(), asked)
}
