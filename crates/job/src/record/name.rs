//! Names of files that every file system keeps, inside one folder and nowhere else.

use measure::Problem;

/// Letters of a name.
const MOST: usize = 200;
/// Names some systems keep for devices.
const KEPT: [&str; 22] = [
    "con", "prn", "aux", "nul", "com1", "com2", "com3", "com4", "com5", "com6", "com7", "com8", "com9", "lpt1", "lpt2", "lpt3", "lpt4",
    "lpt5", "lpt6", "lpt7", "lpt8", "lpt9",
];

/// What keeps a text from being the name of a file in the job folder.
pub(crate) fn problem(field: &str, name: &str) -> Option<Problem> {
    let refuse = |what: &str| Some(Problem::at(field, what, "the name of a file in the job folder, without a path").value(name));
    if name.contains(['/', '\\', ':']) {
        return refuse("the name leads to another folder");
    }
    if name.is_empty() || name.starts_with('.') || name.ends_with(['.', ' ']) || name.starts_with(' ') {
        return refuse("not a name every system keeps");
    }
    if name.len() > MOST {
        return refuse("the name is too long");
    }
    let stem = name.split('.').next().unwrap_or(name).to_ascii_lowercase();
    let odd = |c: char| c.is_control() || matches!(c, '<' | '>' | '"' | '|' | '?' | '*') || is_hidden(c);
    if name.contains(odd) || KEPT.contains(&stem.as_str()) {
        return refuse("not a name every system keeps");
    }
    None
}

/// Signs that show nothing or turn the text round.
fn is_hidden(c: char) -> bool {
    matches!(c, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}')
}

/// Whether the file holds what the program reads: JSON or CSV.
pub(crate) fn is_data(name: &str) -> bool {
    let lower = name.to_ascii_lowercase();
    lower.ends_with(".json") || lower.ends_with(".csv")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_stay_in_the_folder() {
        for name in ["room.json", "0214 substrate 1.jpg", "Grundriß.csv", "a..b.json", "levels-screed.csv"] {
            assert_eq!(problem("file", name), None, "{name}");
        }
        for name in [
            "../room.json",
            "..",
            ".",
            "",
            "/etc/passwd",
            "a/b.json",
            "a\\b.json",
            "C:room.json",
            ".hidden.json",
            "room.json ",
            "room.json.",
            "nul.csv",
            "a\nb.csv",
            "a\0.csv",
            "gpj\u{202e}.json",
            "what?.csv",
        ] {
            assert!(problem("file", name).is_some(), "{name:?}");
        }
        assert!(problem("file", &"x".repeat(201)).is_some());
    }
}
