//! Outcomes of hold points: which one holds, and what of them stands in `evidence.json`.

use super::fold::Fold;
use super::payload::{Payload, Release};
use super::state::{About, Conflict, Decided, State};
use crate::evidence::{Entry, HoldPointOutcome};
use jiff::Timestamp;
use std::collections::BTreeMap;

/// Which of two outcomes is the stricter.
fn strictness(outcome: HoldPointOutcome) -> u8 {
    match outcome {
        HoldPointOutcome::Released => 0,
        HoldPointOutcome::ReleasedWithConditions => 1,
        HoldPointOutcome::NoAccess => 2,
        HoldPointOutcome::NotReady => 3,
        HoldPointOutcome::NotReleased => 4,
    }
}

/// Lists every outcome in the state, and gives those that stand in `evidence.json` by place.
///
/// Where authors who had not seen each other decided differently, the strictest holds, with the conditions of all that are
/// as strict; the milder ones stay out of the file until somebody who has seen both decides. As the latest outcome of a file
/// counts, none whose time is later than the one that holds stands beside it.
pub(crate) fn of(fold: &Fold<'_>, items: &[usize], state: &mut State) -> BTreeMap<usize, Entry> {
    let mut by_hold_point: BTreeMap<&str, Vec<(usize, &Release)>> = BTreeMap::new();
    for place in items.iter().copied() {
        if let Some(Payload::Release(release)) = fold.payload(place) {
            by_hold_point.entry(&release.hold_point).or_default().push((place, release));
        }
    }
    let mut written = BTreeMap::new();
    let mut holding = Vec::new();
    for (hold_point, releases) in &by_hold_point {
        let alive = fold.alive(releases.iter().map(|(place, _)| *place));
        let of_place = |place: usize| releases.iter().find(|(known, _)| *known == place).map(|(_, release)| *release);
        let open: Vec<(usize, &Release)> = alive.iter().filter_map(|place| Some((*place, of_place(*place)?))).collect();
        let Some((holds, strictest)) = open.iter().copied().max_by_key(|(place, release)| (strictness(release.outcome), *place)) else {
            continue;
        };
        holding.push(holds);
        if open.iter().any(|(_, release)| (release.outcome, &release.conditions) != (strictest.outcome, &strictest.conditions)) {
            let words = |release: &Release| match release.conditions.as_slice() {
                [] => release.outcome.words().to_string(),
                conditions => format!("{}: {}", release.outcome.words(), conditions.join("; ")),
            };
            let values = open.iter().map(|(place, release)| fold.contended(*place, Some(words(release)), *place == holds)).collect();
            state.conflicts.push(Conflict { about: About::HoldPoint { hold_point: hold_point.to_string() }, values });
        }
        let entry = held(fold, holds, strictest, &open);
        let held_at = time(&entry);
        written.insert(holds, entry);
        for (place, release) in releases.iter().filter(|(place, _)| !alive.contains(place)) {
            let entry = outcome(fold, *place, release, release.conditions.clone());
            if time(&entry) < held_at {
                written.insert(*place, entry);
            }
        }
    }
    for place in items.iter().copied() {
        if let Some(Payload::Release(release)) = fold.payload(place) {
            state.releases.push(Decided { release: fold.told(place, release.clone()), holds: holding.contains(&place) });
        }
    }
    written
}

/// The outcome that holds, with the conditions of all that are as strict.
fn held(fold: &Fold<'_>, place: usize, release: &Release, open: &[(usize, &Release)]) -> Entry {
    let mut conditions = Vec::new();
    for (_, other) in open.iter().filter(|(_, other)| other.outcome == release.outcome) {
        for condition in other.conditions.iter().filter(|condition| !conditions.contains(*condition)).cloned().collect::<Vec<_>>() {
            conditions.push(condition);
        }
    }
    outcome(fold, place, release, conditions)
}

fn outcome(fold: &Fold<'_>, place: usize, release: &Release, conditions: Vec<String>) -> Entry {
    let event = fold.event(place);
    Entry::Outcome {
        hold_point: release.hold_point.clone(),
        outcome: release.outcome,
        by: release.by.clone().unwrap_or_else(|| event.author.clone()),
        role: release.role.clone(),
        conditions,
        at: release.at.clone().unwrap_or_else(|| event.at.clone()),
    }
}

fn time(entry: &Entry) -> Option<Timestamp> {
    match entry {
        Entry::Outcome { at, .. } => at.parse().ok(),
        _ => None,
    }
}
