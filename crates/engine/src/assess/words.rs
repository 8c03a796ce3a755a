//! Small words for results.

/// Names listed in full; more are counted.
const NAMED: usize = 4;

/// "a, b, c and 3 more".
pub fn names(names: &[String]) -> String {
    if names.len() <= NAMED {
        return names.join(", ");
    }
    format!("{} and {} more", names[..NAMED].join(", "), names.len() - NAMED)
}

/// An RFC 3339 time as one says it: day and minute, without the offset.
pub fn time(at: &str) -> String {
    match at.split_once('T') {
        Some((day, time)) if time.len() >= 5 && time.is_char_boundary(5) => format!("{day} {}", &time[..5]),
        _ => at.into(),
    }
}
