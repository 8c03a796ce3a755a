//! How evidence names details: by id, by group, or with `*` for any ending.

use room::register::Detail;

/// Whether a pattern speaks of a detail: its id, its group, or a beginning of either followed by `*`.
pub fn speaks_of(pattern: &str, detail: &Detail) -> bool {
    match pattern.strip_suffix('*') {
        Some(start) => detail.id.starts_with(start) || detail.group.starts_with(start),
        None => detail.id == pattern || detail.group == pattern,
    }
}
