//! Rules knowingly not met.

use super::result::DepartureStanding;
use job::Job;
use job::evidence::{DepartureState, Entry};
use job::pattern;
use room::register::Detail;

/// The latest departure from a rule at a detail; a refused one is none.
pub fn of(job: &Job, detail: &Detail, rule: &str) -> Option<DepartureStanding> {
    let entries = job.evidence.entries.iter().filter_map(|entry| match entry {
        Entry::Departure { rule: from, details, state, at, .. }
            if from == rule && details.iter().any(|text| pattern::speaks_of(text, detail)) =>
        {
            let time: jiff::Timestamp = at.parse().ok()?;
            Some((time, *state))
        }
        _ => None,
    });
    match entries.max_by_key(|(time, _)| *time)?.1 {
        DepartureState::Open => Some(DepartureStanding::Open),
        DepartureState::Accepted => Some(DepartureStanding::Accepted),
        DepartureState::Refused => None,
    }
}
