//! Small words shared by the answers.

/// A probability in whole per cent that never rounds to a certainty it has not.
pub(crate) fn percent(p: f64) -> String {
    if p > 0.99 && p < 1.0 {
        "over 99 %".into()
    } else if p > 0.0 && p < 0.01 {
        "under 1 %".into()
    } else {
        format!("{:.0} %", p * 100.0)
    }
}

/// "1 reading", "3 readings".
pub(crate) fn count(n: usize, one: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {one}s") }
}
