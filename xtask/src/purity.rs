//! What the engine crates must not reach for. The compiler cannot say it: on wasm32 the standard library still has files
//! and clocks, they only fail when called.

use crate::tokens::{Kind, Token, tokens};

/// The outside world as the standard library names it; whatever lies below is refused too.
const OUTSIDE: [&str; 12] = [
    "std::fs",
    "std::net",
    "std::env",
    "std::process",
    "std::os",
    "std::time::SystemTime",
    "std::time::Instant",
    "std::time::UNIX_EPOCH",
    "std::io::stdin",
    "std::io::stdout",
    "std::io::stderr",
    "std::thread",
];

/// Importing one of these whole would let the outside in by another name.
const WHOLE: [&str; 6] = ["std", "std::*", "std::time", "std::time::*", "std::io", "std::io::*"];

/// Names that read a clock, draw from the machine's randomness or start threads, in whatever crate they are.
const NAMES: [&str; 7] = ["SystemTime", "thread_rng", "OsRng", "from_os_rng", "getrandom", "RandomState", "rayon"];

/// Macros that print.
const PRINTING: [&str; 4] = ["print", "println", "eprint", "eprintln"];

/// What is allowed behind the cargo feature `threads`.
const THREADS: [&str; 2] = ["std::thread", "rayon"];

/// Everything outside reached for by a source file, tests left aside: line and name.
pub fn reaches(source: &str) -> Vec<(usize, String)> {
    let all: Vec<Token> = tokens(source).into_iter().filter(|token| !matches!(token.kind, Kind::Comment(_))).collect();
    let without_tests = without(&all, &["cfg", "(", "test", ")"]);
    let without_tests = without(&without_tests, &["cfg", "(", "all", "(", "test"]);
    let unthreaded = without(&without_tests, &["cfg", "(", "feature", "=", "threads", ")"]);
    let mut found = named(&without_tests);
    found.retain(|(_, name)| !THREADS.iter().any(|thread| is_or_below(name, thread)));
    found.extend(named(&unthreaded).into_iter().filter(|(_, name)| THREADS.iter().any(|thread| is_or_below(name, thread))));
    found.sort();
    found.dedup();
    found
}

/// The words without the items under `#[cfg(..)]` when the attribute starts with these words, and without anything when
/// the whole file stands under it.
fn without(tokens: &[Token], attribute: &[&str]) -> Vec<Token> {
    let starts = |at: usize| attribute.iter().enumerate().all(|(i, word)| tokens.get(at + i).is_some_and(|token| reads(token, word)));
    let mut kept = Vec::with_capacity(tokens.len());
    let mut at = 0;
    while let Some(token) = tokens.get(at) {
        let inner = token.is_sign('#') && tokens.get(at + 1).is_some_and(|next| next.is_sign('!'));
        if inner && starts(at + 3) {
            return Vec::new();
        }
        if token.is_sign('#') && starts(at + 2) {
            at = end_of_item(tokens, at);
        } else {
            kept.push(token.clone());
            at += 1;
        }
    }
    kept
}

fn reads(token: &Token, word: &str) -> bool {
    match &token.kind {
        Kind::Name(own) | Kind::Text(own) => own == word,
        Kind::Sign(sign) => word.len() == 1 && word.starts_with(*sign),
        Kind::Path | Kind::Comment(_) => false,
    }
}

/// Where the item ends whose first attribute stands at `at`: after its `;` or its closing brace.
fn end_of_item(tokens: &[Token], mut at: usize) -> usize {
    while tokens.get(at).is_some_and(|token| token.is_sign('#')) {
        at = matching(tokens, at + 1);
    }
    while let Some(token) = tokens.get(at) {
        match token.kind {
            Kind::Sign(';') => return at + 1,
            Kind::Sign('{') => return matching(tokens, at),
            Kind::Sign('(' | '[') => at = matching(tokens, at),
            _ => at += 1,
        }
    }
    at
}

/// Just past the bracket that closes the one at `open`.
fn matching(tokens: &[Token], open: usize) -> usize {
    let mut depth = 0_usize;
    for (at, token) in tokens.iter().enumerate().skip(open) {
        match token.kind {
            Kind::Sign('(' | '[' | '{') => depth += 1,
            Kind::Sign(')' | ']' | '}') => depth = depth.saturating_sub(1),
            _ => {}
        }
        if depth == 0 {
            return at + 1;
        }
    }
    tokens.len()
}

/// Every name of the outside in these words.
fn named(tokens: &[Token]) -> Vec<(usize, String)> {
    let mut found = Vec::new();
    for (at, token) in tokens.iter().enumerate() {
        let Kind::Name(name) = &token.kind else { continue };
        let mut add = |name: String| found.push((token.line, name));
        let follows_path = at > 0 && tokens[at - 1].kind == Kind::Path;
        if name == "std" {
            let mut paths = Vec::new();
            expand(tokens, at, String::new(), &mut paths);
            let imported = tokens[..at].iter().rev().take(2).any(|before| before.is("use"));
            let outside = |path: &str| OUTSIDE.iter().any(|outside| is_or_below(path, outside));
            paths.into_iter().filter(|path| outside(path) || imported && WHOLE.contains(&path.as_str())).for_each(&mut add);
        }
        if NAMES.contains(&name.as_str()) {
            add(name.clone());
        }
        if PRINTING.contains(&name.as_str()) && tokens.get(at + 1).is_some_and(|token| token.is_sign('!')) {
            add(format!("{name}!"));
        }
        if name == "now" && follows_path && tokens.get(at + 1).is_some_and(|token| token.is_sign('(')) {
            add("::now()".into());
        }
    }
    found
}

fn is_or_below(path: &str, outside: &str) -> bool {
    path.strip_prefix(outside).is_some_and(|rest| rest.is_empty() || rest.starts_with("::"))
}

/// Writes out the path that starts at `at`, `a::{b, c::d}` as `a::b` and `a::c::d`; hands back where it ends.
fn expand(tokens: &[Token], at: usize, before: String, paths: &mut Vec<String>) -> usize {
    match tokens.get(at).map(|token| &token.kind) {
        Some(Kind::Name(name)) => {
            let path = match name.as_str() {
                "self" if !before.is_empty() => before,
                _ if before.is_empty() => name.clone(),
                _ => format!("{before}::{name}"),
            };
            if tokens.get(at + 1).is_some_and(|token| token.kind == Kind::Path) {
                return expand(tokens, at + 2, path, paths);
            }
            paths.push(path);
            at + 1
        }
        Some(Kind::Sign('*')) => {
            paths.push(format!("{before}::*"));
            at + 1
        }
        Some(Kind::Sign('{')) => {
            let end = matching(tokens, at);
            let mut inside = at + 1;
            while inside + 1 < end {
                inside = expand(tokens, inside, before.clone(), paths);
                // `as other`, then the comma
                while inside + 1 < end && !tokens[inside].is_sign(',') {
                    inside += 1;
                }
                inside += 1;
            }
            end
        }
        // `collect::<Vec<_>>()`: the path ends before its types
        _ => {
            paths.push(before);
            at + 1
        }
    }
}

/// Habits that must not stay in the source: line and word.
pub fn habits(source: &str) -> Vec<(usize, String)> {
    const MACROS: [&str; 3] = ["todo", "unimplemented", "dbg"];
    const WORDS: [&str; 4] = ["TODO", "FIXME", "XXX", "HACK"];
    let tokens = tokens(source);
    let mut found = Vec::new();
    for (at, token) in tokens.iter().enumerate() {
        match &token.kind {
            Kind::Name(name) if MACROS.contains(&name.as_str()) && tokens.get(at + 1).is_some_and(|next| next.is_sign('!')) => {
                found.push((token.line, format!("{name}!")));
            }
            Kind::Comment(comment) => {
                let words = comment.split(|c: char| !c.is_alphanumeric()).filter(|word| WORDS.contains(word));
                found.extend(words.map(|word| (token.line, word.into())));
            }
            _ => {}
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{layers, tools};
    use std::fs;
    use std::path::{Path, PathBuf};

    /// The Rust files below a folder.
    fn rust_files(folder: &Path) -> Vec<PathBuf> {
        let mut files = Vec::new();
        for entry in fs::read_dir(folder).into_iter().flatten() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                files.extend(rust_files(&path));
            } else if path.extension().is_some_and(|extension| extension == "rs") {
                files.push(path);
            }
        }
        files.sort();
        files
    }

    /// What a scan of files finds, as `file:line: word`.
    fn findings(files: &[PathBuf], scan: fn(&str) -> Vec<(usize, String)>) -> Vec<String> {
        let of = |path: &PathBuf| {
            let name = path.strip_prefix(tools::root()).unwrap().display().to_string();
            let found = scan(&fs::read_to_string(path).unwrap());
            found.into_iter().map(move |(line, word)| format!("{name}:{line}: {word}"))
        };
        files.iter().flat_map(of).collect()
    }

    #[test]
    fn engine_crates_never_touch_the_outside() {
        let files: Vec<PathBuf> =
            layers::pure().flat_map(|name| rust_files(&tools::root().join("crates").join(name).join("src"))).collect();
        let files: Vec<PathBuf> =
            files.into_iter().filter(|path| !path.ends_with("tests.rs") && !path.iter().any(|part| part == "tests")).collect();
        assert!(files.len() > 20, "the sources were read");
        let found = findings(&files, reaches);
        assert!(found.is_empty(), "engine crates know no files, network, clock, environment or threads:\n{}", found.join("\n"));
    }

    #[test]
    fn no_source_file_is_left_unfinished() {
        let mut files = rust_files(&tools::root().join("crates"));
        files.extend(rust_files(&tools::root().join("xtask")));
        let found = findings(&files, habits);
        assert!(found.is_empty(), "{}", found.join("\n"));
    }

    fn check(source: &str, expected: &[&str]) {
        let found: Vec<String> = reaches(source).into_iter().map(|(_, name)| name).collect();
        assert_eq!(found, expected, "{source}");
    }

    #[test]
    fn planted_faults_are_found() {
        check("let text = std::fs::read_to_string(path);", &["std::fs::read_to_string"]);
        check("use std::{collections::BTreeMap, fs::{self, File}, io};", &["std::fs", "std::fs::File", "std::io"]);
        check("use ::std::net::TcpStream;", &["std::net::TcpStream"]);
        check("use std::time::{Duration, Instant};", &["std::time::Instant"]);
        check("use std::time;", &["std::time"]);
        check("use std::time::*;", &["std::time::*"]);
        check("use std::*;", &["std::*"]);
        check("use std as outside;", &["std"]);
        check("use std::{self as outside};", &["std"]);
        check("std::thread::spawn(|| 1);", &["std::thread::spawn"]);
        check("let home = std::env::var(\"HOME\");", &["std::env::var"]);
        check("let t = jiff::Timestamp::now();", &["::now()"]);
        check("println!(\"{x}\");", &["println!"]);
        check("let mut rng = rand::thread_rng();", &["thread_rng"]);
        check("#[cfg(not(test))] use std::process::exit;", &["std::process::exit"]);
        check("#[cfg(test)] mod tests { use std::fs; } use std::fs::File;", &["std::fs::File"]);
        check("#[cfg(feature = \"threads\")] fn f() { std::fs::read(p); }", &["std::fs::read"]);
        check("#[cfg(feature = \"other\")] fn f() { std::thread::spawn(g); }", &["std::thread::spawn"]);
    }

    #[test]
    fn what_is_pure_passes() {
        for source in [
            "//! std::fs is not used here\nuse std::collections::BTreeMap;",
            "let text = \"std::fs::read\"; let other = r#\"std::env::var\"#;",
            "#[cfg(test)]\nmod tests { #[test] fn t() { std::fs::read(\"x\").unwrap(); } }",
            "#[cfg(test)]\n#[allow(unused)]\nuse std::time::Instant;\nfn f() {}",
            "#![cfg(test)] use std::fs;",
            "#[cfg(feature = \"threads\")]\nfn f() { std::thread::scope(|s| ()); }",
            "use std::time::Duration; use std::fmt::{self, Write as _}; use std::io::Read;",
            "impl std::fmt::Display for X {} let v = xs.iter().collect::<Vec<_>>(); let n = now(1);",
            "let file = include_str!(\"a.json\"); let version = env!(\"CARGO_PKG_VERSION\");",
        ] {
            check(source, &[]);
        }
    }

    #[test]
    fn planted_habits_are_found() {
        let source = format!("fn f() {{ {}!() }} // {}: later\nlet todo = \"TODO\";", "todo", "TODO");
        assert_eq!(habits(&source), [(1, "todo!".into()), (1, "TODO".into())]);
    }
}
