//! Rust source as words: enough to find what a crate names, without being misled by comments and text.

/// One word of a source file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Token {
    /// What it is.
    pub kind: Kind,
    /// Line, from 1.
    pub line: usize,
}

/// The words that matter here.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A name or keyword.
    Name(String),
    /// `::`.
    Path,
    /// Any other sign.
    Sign(char),
    /// The content of a text literal.
    Text(String),
    /// A comment, signs included.
    Comment(String),
}

impl Token {
    /// Whether it is this name.
    pub fn is(&self, name: &str) -> bool {
        matches!(&self.kind, Kind::Name(own) if own == name)
    }

    /// Whether it is this sign.
    pub fn is_sign(&self, sign: char) -> bool {
        self.kind == Kind::Sign(sign)
    }
}

/// Cuts a source file into words. Numbers and characters are dropped.
pub fn tokens(source: &str) -> Vec<Token> {
    let mut rest = source;
    let mut line = 1;
    let mut tokens = Vec::new();
    while let Some(first) = rest.chars().next() {
        let (kind, length) = next(rest, first);
        tokens.extend(kind.map(|kind| Token { kind, line }));
        line += rest[..length].matches('\n').count();
        rest = &rest[length..];
    }
    tokens
}

/// The word the source starts with, if it is one to keep, and its length in bytes.
fn next(source: &str, first: char) -> (Option<Kind>, usize) {
    if source.starts_with("//") {
        let length = source.find('\n').unwrap_or(source.len());
        return (Some(Kind::Comment(source[..length].into())), length);
    }
    if source.starts_with("/*") {
        let length = block_comment(source);
        return (Some(Kind::Comment(source[..length].into())), length);
    }
    if let Some((text, length)) = text_literal(source) {
        return (Some(Kind::Text(text.into())), length);
    }
    if first == '\'' {
        return (None, character_or_lifetime(source));
    }
    if first.is_alphanumeric() || first == '_' {
        let length = source.find(|c: char| !c.is_alphanumeric() && c != '_').unwrap_or(source.len());
        let name = (!first.is_numeric()).then(|| Kind::Name(source[..length].into()));
        return (name, length);
    }
    if source.starts_with("::") {
        return (Some(Kind::Path), 2);
    }
    ((!first.is_whitespace()).then_some(Kind::Sign(first)), first.len_utf8())
}

/// Length of a block comment; they nest.
fn block_comment(source: &str) -> usize {
    let mut depth = 0;
    let mut at = 0;
    while at < source.len() {
        if source[at..].starts_with("/*") {
            depth += 1;
            at += 2;
        } else if source[at..].starts_with("*/") {
            depth -= 1;
            at += 2;
            if depth == 0 {
                return at;
            }
        } else {
            at += source[at..].chars().next().map_or(1, char::len_utf8);
        }
    }
    source.len()
}

/// Content and length of a text literal of any form: "..", b"..", c"..", r"..", r#".."#, br#".."#.
fn text_literal(source: &str) -> Option<(&str, usize)> {
    let prefix = source.find(|c| !matches!(c, 'b' | 'c' | 'r')).filter(|length| *length <= 2)?;
    let raw = source[..prefix].contains('r');
    let hashes = if raw { source[prefix..].find(|c| c != '#')? } else { 0 };
    let start = prefix + hashes + 1;
    if !source[prefix + hashes..].starts_with('"') {
        return None;
    }
    let content = &source[start..];
    let (end, closing) = if raw {
        let closing = format!("\"{}", "#".repeat(hashes));
        (content.find(&closing), closing.len())
    } else {
        (unescaped_quote(content), 1)
    };
    let end = end.unwrap_or(content.len());
    Some((&content[..end], (start + end + closing).min(source.len())))
}

/// Where the first `"` stands that no backslash escapes.
fn unescaped_quote(content: &str) -> Option<usize> {
    let mut escaped = false;
    for (at, c) in content.char_indices() {
        match c {
            _ if escaped => escaped = false,
            '\\' => escaped = true,
            '"' => return Some(at),
            _ => {}
        }
    }
    None
}

/// Length of `'x'`, `'\n'`, `'\u{1F}'`, or of the sign before a lifetime's name.
fn character_or_lifetime(source: &str) -> usize {
    let mut chars = source.char_indices().skip(1);
    match chars.next() {
        Some((_, '\\')) => source[3.min(source.len())..].find('\'').map_or(source.len(), |at| at + 4),
        Some(_) => match chars.next() {
            Some((at, '\'')) => at + 1,
            _ => 1,
        },
        None => 1,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The names, `::` and texts of a source, joined by blanks.
    fn words(source: &str) -> String {
        let word = |token: Token| match token.kind {
            Kind::Name(name) => Some(name),
            Kind::Path => Some("::".into()),
            Kind::Text(text) => Some(format!("<{text}>")),
            Kind::Sign(_) | Kind::Comment(_) => None,
        };
        tokens(source).into_iter().filter_map(word).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn comments_texts_and_characters_hide_nothing_and_show_nothing() {
        for (source, expected) in [
            ("a // b \n c", "a c"),
            ("a /* b /* c */ d */ e", "a e"),
            (r#"a "b \" c" d"#, r#"a <b \" c> d"#),
            (r##"a r#"b " c"# d"##, r#"a <b " c> d"#),
            (r#"br"x" b"y" c"z" crab"#, "<x> <y> <z> crab"),
            ("'a' b '\\'' c '\\u{1F}' d '\"' e", "b c d e"),
            ("fn f<'a>(x: &'a str) -> &'static str", "fn f a x a str static str"),
            ("std :: fs::File", "std :: fs :: File"),
            ("1.0e5_f64 0xff x1", "x1"),
            ("r#type", "r type"),
            ("\"open", "<open>"),
            ("'", ""),
            ("/*", ""),
        ] {
            assert_eq!(words(source), expected, "{source}");
        }
    }

    #[test]
    fn lines_are_counted_through_texts_and_comments() {
        let lines: Vec<usize> = tokens("a\n\"x\ny\" b /*\n*/ c").iter().map(|token| token.line).collect();
        assert_eq!(lines, [1, 2, 3, 3, 4]);
    }
}
