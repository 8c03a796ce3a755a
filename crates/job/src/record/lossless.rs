//! A JSON document that can be changed in places and keeps every other byte as it was written.

use std::borrow::Cow;
use std::fmt::Write;

/// How deep lists and objects may stand in one another.
const DEPTH: usize = 64;

/// A value with the white space inside it.
#[derive(Clone, Debug)]
pub(crate) enum Node<'a> {
    /// Text, number, true, false, null; or anything nobody has looked into.
    Plain(Cow<'a, str>),
    /// Members in order.
    Object(Vec<Part<'a>>, Cow<'a, str>),
    /// Items in order.
    Array(Vec<Part<'a>>, Cow<'a, str>),
}

/// A member or an item, with the white space around it.
#[derive(Clone, Debug)]
pub(crate) struct Part<'a> {
    before: Cow<'a, str>,
    /// As written, with its quotes and what stands up to the value; empty for an item.
    key: Cow<'a, str>,
    name: String,
    value: Node<'a>,
    after: Cow<'a, str>,
}

/// A document: white space, a value, white space.
#[derive(Clone, Debug)]
pub(crate) struct Document<'a> {
    before: &'a str,
    value: Node<'a>,
    after: &'a str,
}

/// What a change found.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Changed {
    /// The place by names: members by name, items by their `id` where they have one, else by number.
    pub path: Vec<String>,
    /// What stood there.
    pub was: Option<String>,
}

impl<'a> Document<'a> {
    /// Takes a document apart; `None` when it is not JSON.
    pub fn read(text: &'a str) -> Option<Self> {
        let body = text.strip_prefix('\u{feff}').unwrap_or(text);
        serde_json::from_str::<serde::de::IgnoredAny>(body).ok()?;
        let mut reader = Reader { text, at: text.len() - body.len() };
        reader.white();
        let before = &text[..reader.at];
        let value = reader.value(DEPTH)?;
        Some(Self { before, value, after: &text[reader.at..] })
    }

    /// The document as text.
    pub fn text(&self) -> String {
        let mut text = self.before.to_string();
        self.value.write(&mut text);
        text.push_str(self.after);
        text
    }

    /// Puts a value in its place, or takes away what stands there. The place must exist, but for the last step: a member
    /// may be new, `-` is behind the last item, and so is an id that the value has.
    pub fn set(&mut self, path: &[String], value: Option<&str>) -> Result<Changed, String> {
        let mut changed = Changed { path: Vec::with_capacity(path.len()), was: None };
        let Some((last, way)) = path.split_last() else { return Err("the whole document: hand it in as a document".into()) };
        let mut node = &mut self.value;
        for step in way {
            node = node.step(step, &mut changed.path).ok_or_else(|| nowhere(&changed.path, step))?;
        }
        node.put(last, value, &mut changed)?;
        Ok(changed)
    }

    /// Adds items to a list of the outermost object; a list that is missing is made.
    pub fn append(&mut self, list: &str, items: &[String]) -> Result<(), String> {
        if items.is_empty() {
            return Ok(());
        }
        let Node::Object(members, _) = &mut self.value else { return Err("not an object".into()) };
        if !members.iter().any(|member| member.name == list) {
            self.value.insert(list, "[]");
        }
        let Node::Object(members, _) = &mut self.value else { return Err("not an object".into()) };
        let member = members.iter_mut().find(|member| member.name == list).ok_or("no such list")?;
        let lines = member.before.contains('\n').then(|| member.before.clone().into_owned());
        member.value.look_into();
        let Node::Array(parts, _) = &mut member.value else { return Err(format!("{list} is not a list")) };
        for item in items {
            push(parts, "", String::new(), Node::Plain(item.clone().into()), lines.as_deref());
        }
        Ok(())
    }
}

fn nowhere(way: &[String], step: &str) -> String {
    format!("nothing stands at {}", pointer(&[way, &[step.to_string()]].concat()))
}

/// Steps as a JSON Pointer (RFC 6901).
pub(crate) fn pointer(path: &[String]) -> String {
    path.iter().map(|step| format!("/{}", step.replace('~', "~0").replace('/', "~1"))).collect()
}

/// The steps of a JSON Pointer; `None` when it is none.
pub(crate) fn steps(pointer: &str) -> Option<Vec<String>> {
    let steps = pointer.strip_prefix('/')?.split('/');
    steps
        .map(|step| {
            let sound = step.split('~').skip(1).all(|rest| rest.starts_with(['0', '1']));
            sound.then(|| step.replace("~1", "/").replace("~0", "~"))
        })
        .collect()
}

/// The `id` of an object by which its list knows it.
pub(crate) fn id(text: &str) -> Option<String> {
    Node::Plain(text.into()).id()
}

impl<'a> Node<'a> {
    /// Takes apart a value nobody has looked into yet.
    fn look_into(&mut self) {
        let Self::Plain(text) = self else { return };
        if text.starts_with(['{', '[']) {
            let owned = text.to_string();
            let mut reader = Reader { text: &owned, at: 0 };
            if let Some(node) = reader.value(DEPTH) {
                *self = node.into_owned();
            }
        }
    }

    fn into_owned(self) -> Node<'static> {
        let own = |text: Cow<'_, str>| -> Cow<'static, str> { Cow::Owned(text.into_owned()) };
        let parts = |parts: Vec<Part<'_>>| -> Vec<Part<'static>> {
            parts
                .into_iter()
                .map(|part| Part {
                    before: own(part.before),
                    key: own(part.key),
                    name: part.name,
                    value: part.value.into_owned(),
                    after: own(part.after),
                })
                .collect()
        };
        match self {
            Self::Plain(text) => Node::Plain(own(text)),
            Self::Object(members, empty) => Node::Object(parts(members), own(empty)),
            Self::Array(items, empty) => Node::Array(parts(items), own(empty)),
        }
    }

    fn write(&self, out: &mut String) {
        let (parts, empty, open, close) = match self {
            Self::Plain(text) => return out.push_str(text),
            Self::Object(parts, empty) => (parts, empty, '{', '}'),
            Self::Array(parts, empty) => (parts, empty, '[', ']'),
        };
        out.push(open);
        for (i, part) in parts.iter().enumerate() {
            if i > 0 {
                out.push(',');
            }
            out.push_str(&part.before);
            out.push_str(&part.key);
            part.value.write(out);
            out.push_str(&part.after);
        }
        if parts.is_empty() {
            out.push_str(empty);
        }
        out.push(close);
    }

    /// Which part a step means, and its name in a path.
    fn find(&self, step: &str) -> Option<(usize, String)> {
        match self {
            Self::Plain(_) => None,
            Self::Object(members, _) => Some((members.iter().position(|member| member.name == step)?, step.into())),
            Self::Array(items, _) => {
                let numbered = step.bytes().all(|c| c.is_ascii_digit()) && (step == "0" || !step.starts_with('0'));
                let at = match numbered {
                    true => step.parse().ok().filter(|at| *at < items.len())?,
                    false => items.iter().position(|item| item.value.id().as_deref() == Some(step))?,
                };
                Some((at, items[at].value.id().unwrap_or_else(|| at.to_string())))
            }
        }
    }

    /// The `id` of an object, by which its list knows it; a number would be taken for a place.
    fn id(&self) -> Option<String> {
        let text = match self {
            Self::Object(members, _) => match &members.iter().find(|member| member.name == "id")?.value {
                Self::Plain(text) => text.clone(),
                _ => return None,
            },
            Self::Plain(text) if text.starts_with('{') => {
                let mut copy = Self::Plain(text.clone());
                copy.look_into();
                return copy.id();
            }
            _ => return None,
        };
        let id: String = serde_json::from_str(&text).ok()?;
        let taken_for_a_place = id == "-" || id.bytes().all(|c| c.is_ascii_digit());
        (!taken_for_a_place).then_some(id)
    }

    fn step(&mut self, step: &str, path: &mut Vec<String>) -> Option<&mut Self> {
        self.look_into();
        let (at, name) = self.find(step)?;
        path.push(name);
        match self {
            Self::Plain(_) => None,
            Self::Object(parts, _) | Self::Array(parts, _) => Some(&mut parts[at].value),
        }
    }

    fn put(&mut self, last: &str, value: Option<&str>, changed: &mut Changed) -> Result<(), String> {
        self.look_into();
        let found = self.find(last);
        let (parts, is_list) = match self {
            Self::Plain(_) => return Err(nowhere(&changed.path, last)),
            Self::Object(parts, _) => (parts, false),
            Self::Array(parts, _) => (parts, true),
        };
        match (found, value) {
            (Some((at, name)), Some(value)) => {
                changed.was = Some(parts[at].value.to_text());
                changed.path.push(name);
                parts[at].value = Node::Plain(value.to_string().into());
            }
            (Some((at, name)), None) => {
                changed.was = Some(parts[at].value.to_text());
                changed.path.push(name);
                take(parts, at);
            }
            (None, Some(value)) if is_list && last == "-" => {
                changed.path.push("-".into());
                let value = Node::Plain(value.to_string().into());
                push(parts, "", String::new(), value, None);
            }
            // An item that brings the id it is named by.
            (None, Some(value)) if is_list && id(value).as_deref() == Some(last) => {
                changed.path.push(last.into());
                push(parts, "", String::new(), Node::Plain(value.to_string().into()), None);
            }
            (None, Some(value)) if !is_list => {
                changed.path.push(last.into());
                self.insert(last, value);
            }
            (None, _) => return Err(nowhere(&changed.path, last)),
        }
        Ok(())
    }

    fn insert(&mut self, name: &str, value: &str) {
        let Self::Object(members, _) = self else { return };
        let quoted = serde_json::Value::from(name).to_string();
        let between = members.last().and_then(|last| last.key.rfind(':').map(|colon| last.key[colon + 1..].to_string()));
        let key = format!("{quoted}:{}", between.as_deref().unwrap_or(" "));
        push(members, &key, name.into(), Node::Plain(value.to_string().into()), None);
    }

    fn to_text(&self) -> String {
        let mut text = String::new();
        self.write(&mut text);
        text
    }
}

/// Adds a part behind the last, spaced like it. `lines`: what stands before the list itself, when it has a line of its own.
fn push<'a>(parts: &mut Vec<Part<'a>>, key: &str, name: String, value: Node<'a>, lines: Option<&str>) {
    let (before, after): (Cow<'a, str>, Cow<'a, str>) = match parts.last_mut() {
        Some(last) => (one_line(&last.before), std::mem::take(&mut last.after)),
        None => match lines {
            Some(outer) => (format!("{outer}  ").into(), outer.to_string().into()),
            None => ("".into(), "".into()),
        },
    };
    parts.push(Part { before, key: key.to_string().into(), name, value, after });
}

/// White space without the blank lines in it.
fn one_line<'a>(white: &Cow<'a, str>) -> Cow<'a, str> {
    match white.rfind('\n') {
        Some(at) => Cow::Owned(white[at..].to_string()),
        None => white.clone(),
    }
}

/// Takes a part away; the last one's closing white space goes to the one before.
fn take(parts: &mut Vec<Part<'_>>, at: usize) {
    let gone = parts.remove(at);
    if at == parts.len()
        && let Some(last) = parts.last_mut()
    {
        last.after = gone.after;
    }
}

/// Goes through text that is known to be JSON.
struct Reader<'a> {
    text: &'a str,
    at: usize,
}

impl<'a> Reader<'a> {
    fn white(&mut self) -> &'a str {
        let from = self.at;
        let white = self.text.as_bytes()[from..].iter().take_while(|c| c.is_ascii_whitespace()).count();
        self.at += white;
        &self.text[from..self.at]
    }

    fn peek(&self) -> Option<u8> {
        self.text.as_bytes().get(self.at).copied()
    }

    fn value(&mut self, depth: usize) -> Option<Node<'a>> {
        match self.peek()? {
            b'{' => self.parts(b'}', depth.checked_sub(1)?).map(|(parts, empty)| Node::Object(parts, empty.into())),
            b'[' => self.parts(b']', depth.checked_sub(1)?).map(|(parts, empty)| Node::Array(parts, empty.into())),
            b'"' => self.quoted().map(|text| Node::Plain(text.into())),
            _ => {
                let from = self.at;
                let end = |c: &u8| c.is_ascii_whitespace() || matches!(c, b',' | b'}' | b']');
                self.at += self.text.as_bytes()[from..].iter().take_while(|c| !end(c)).count();
                Some(Node::Plain(self.text[from..self.at].into()))
            }
        }
    }

    fn quoted(&mut self) -> Option<&'a str> {
        let from = self.at;
        let bytes = self.text.as_bytes();
        self.at += 1;
        loop {
            match bytes.get(self.at)? {
                b'\\' => self.at += 2,
                b'"' => break,
                _ => self.at += 1,
            }
        }
        self.at += 1;
        Some(&self.text[from..self.at])
    }

    /// Members or items, and the white space of an empty list.
    fn parts(&mut self, close: u8, depth: usize) -> Option<(Vec<Part<'a>>, &'a str)> {
        self.at += 1;
        let mut parts = Vec::new();
        loop {
            let before = self.white();
            if self.peek()? == close {
                self.at += 1;
                return Some((parts, before));
            }
            let from = self.at;
            let mut name = String::new();
            if close == b'}' {
                name = serde_json::from_str(self.quoted()?).ok()?;
                self.white();
                self.at += 1;
                self.white();
            }
            let key = &self.text[from..self.at];
            let value = self.value(depth)?;
            let after = self.white();
            parts.push(Part { before: before.into(), key: key.into(), name, value, after: after.into() });
            let next = self.peek()?;
            self.at += 1;
            if next == close {
                return Some((parts, ""));
            }
        }
    }
}

/// An object with a format and a list, an item a line: how a file begins that nobody has written yet.
pub(crate) fn new_document(format: &str, lists: &[(&str, Vec<String>)]) -> String {
    let mut text = format!("{{\n  \"format\": {}", serde_json::Value::from(format));
    for (name, items) in lists.iter().filter(|(_, items)| !items.is_empty()) {
        let _ = write!(text, ",\n  \"{name}\": [\n    {}\n  ]", items.join(",\n    "));
    }
    text + "\n}\n"
}

#[cfg(test)]
mod tests {
    use super::*;

    fn set(text: &str, at: &str, value: Option<&str>) -> Result<String, String> {
        let mut document = Document::read(text).unwrap();
        document.set(&steps(at).unwrap(), value)?;
        Ok(document.text())
    }

    #[test]
    fn nothing_but_the_place_changes() {
        let text = "\u{feff}{\n  \"a\" : 1.50,\n  \"walls\": [ {\"id\": \"north\", \"h\": 2e3}, {\"id\":\"7\"} ],\n\t\"b\":[]\n}\n\n";
        assert_eq!(Document::read(text).unwrap().text(), text);
        for (at, value, from, to) in [
            ("/a", Some("\"x\""), "1.50", "\"x\""),
            ("/walls/0/h", Some("2100"), "2e3", "2100"),
            ("/walls/north/h", Some("2100"), "2e3", "2100"),
            ("/walls/north/h", None, ", \"h\": 2e3", ""),
            ("/walls/1", None, ", {\"id\":\"7\"} ]", " ]"),
            ("/walls/-", Some("{}"), "{\"id\":\"7\"} ]", "{\"id\":\"7\"}, {} ]"),
            ("/walls/0/new", Some("true"), "2e3}", "2e3, \"new\": true}"),
            ("/b/-", Some("1"), "[]", "[1]"),
        ] {
            assert_eq!(set(text, at, value).unwrap(), text.replacen(from, to, 1), "{at}");
        }
        for at in ["/c/d", "/walls/2", "/walls/7/h", "/walls/01", "/a/b", "/walls/south/h"] {
            assert!(set(text, at, Some("1")).is_err(), "{at}");
        }
        assert!(set(text, "/c", None).is_err(), "what is not there cannot be taken away");
    }

    #[test]
    fn a_new_member_is_spaced_like_the_last() {
        let text = "{\n  \"a\": 1,\n  \"b\": 2\n}\n";
        assert_eq!(set(text, "/c", Some("3")).unwrap(), "{\n  \"a\": 1,\n  \"b\": 2,\n  \"c\": 3\n}\n");
        assert_eq!(set("{}", "/c", Some("3")).unwrap(), "{\"c\": 3}");
        assert_eq!(set(text, "/b", None).unwrap(), "{\n  \"a\": 1\n}\n");
    }

    #[test]
    fn what_was_put_in_can_be_changed_inside() {
        let mut document = Document::read("{\"walls\":[]}").unwrap();
        document.set(&steps("/walls/-").unwrap(), Some("{\"id\":\"new\",\"h\":1}")).unwrap();
        let changed = document.set(&steps("/walls/new/h").unwrap(), Some("2")).unwrap();
        assert_eq!(document.text(), "{\"walls\":[{\"id\":\"new\",\"h\":2}]}");
        assert_eq!((changed.path.join("/"), changed.was.as_deref()), ("walls/new/h".into(), Some("1")));
    }

    #[test]
    fn items_go_on_lines_of_their_own_where_the_list_has_them() {
        let appended = |text: &str| {
            let mut document = Document::read(text).unwrap();
            document.append("entries", &["1".into(), "2".into()]).unwrap();
            document.text()
        };
        assert_eq!(appended("{\n  \"entries\": [\n    0\n  ]\n}"), "{\n  \"entries\": [\n    0,\n    1,\n    2\n  ]\n}");
        assert_eq!(appended("{\n  \"entries\": []\n}"), "{\n  \"entries\": [\n    1,\n    2\n  ]\n}");
        assert_eq!(appended("{\n  \"a\": 1\n}"), "{\n  \"a\": 1,\n  \"entries\": [\n    1,\n    2\n  ]\n}");
        assert_eq!(appended("{\"entries\":[0]}"), "{\"entries\":[0,1,2]}");
    }

    #[test]
    fn pointers_are_read_as_rfc_6901_has_them() {
        // RFC 6901, section 5: "/a~1b", "/m~0n", "/ " and "/" (the empty name).
        for (text, path) in [("/a~1b", vec!["a/b"]), ("/m~0n", vec!["m~n"]), ("/ ", vec![" "]), ("/", vec![""]), ("/a/0", vec!["a", "0"])] {
            let read = steps(text).unwrap();
            assert_eq!(read, path);
            assert_eq!(pointer(&read), text);
        }
        for wrong in ["", "a", "/a~", "/a~2"] {
            assert_eq!(steps(wrong), None, "{wrong}");
        }
    }
}
