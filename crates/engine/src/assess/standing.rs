//! Where each hold point stands: the latest outcome, unless it lapsed.

use super::result::State;
use jiff::Timestamp;
use job::evidence::{Entry, HoldPointOutcome};

/// Seconds in a day.
const DAY_S: i64 = 86_400;

/// A hold point's state and the sentence that explains it.
pub struct Standing {
    /// State.
    pub state: State,
    /// Sentence.
    pub says: String,
}

/// The latest outcome of a hold point; a release lapses after `lapses_days`, or when a later trade entered, unless there is
/// evidence of a later hold point since, which means that the layer was covered.
pub fn of(hold_point: &str, later: &[String], entries: &[Entry], lapses_days: u32, now: Option<Timestamp>) -> Standing {
    let latest = outcomes(entries).filter(|o| o.hold_point == hold_point).max_by_key(|o| o.at);
    let Some(latest) = latest else {
        return Standing { state: State::Open, says: "nothing decided yet".into() };
    };
    let mut says = format!("{} on {} by {}", latest.outcome.words(), super::words::time(latest.at_text), latest.by);
    if !latest.conditions.is_empty() {
        says = format!("{says}, provided that {}", latest.conditions.join("; "));
    }
    let covered = entries.iter().filter_map(at_hold_point).any(|(hold_point, at)| later.contains(hold_point) && at > latest.at);
    let may_lapse = latest.outcome.releases() && !covered;
    if let Some(lapse) = may_lapse.then(|| lapse(&latest, entries, lapses_days, now)).flatten() {
        return Standing { state: State::Lapsed, says: format!("{says}; lapsed: {lapse}") };
    }
    Standing { state: latest.outcome.into(), says }
}

struct Outcome<'a> {
    hold_point: &'a String,
    outcome: HoldPointOutcome,
    by: &'a str,
    conditions: &'a [String],
    at: Timestamp,
    at_text: &'a str,
}

/// Hold point and time of a look or an outcome; a point found not ready, or without access, covers nothing.
fn at_hold_point(entry: &Entry) -> Option<(&String, Timestamp)> {
    match entry {
        Entry::Look { hold_point, at, .. } => Some((hold_point, at.parse().ok()?)),
        Entry::Outcome { hold_point, at, outcome, .. } => {
            let was_there = !matches!(outcome, HoldPointOutcome::NotReady | HoldPointOutcome::NoAccess);
            was_there.then_some(())?;
            Some((hold_point, at.parse().ok()?))
        }
        Entry::Paper { .. } | Entry::Pond { .. } | Entry::PatchClosed { .. } | Entry::TradeEntered { .. } | Entry::Departure { .. } => None,
    }
}

/// Outcomes whose time can be read; others were refused when the job was read.
fn outcomes(entries: &[Entry]) -> impl Iterator<Item = Outcome<'_>> {
    entries.iter().filter_map(|entry| match entry {
        Entry::Outcome { hold_point, outcome, by, conditions, at, .. } => {
            let time = at.parse().ok()?;
            Some(Outcome { hold_point, outcome: *outcome, by, conditions, at: time, at_text: at })
        }
        _ => None,
    })
}

fn lapse(release: &Outcome<'_>, entries: &[Entry], lapses_days: u32, now: Option<Timestamp>) -> Option<String> {
    let entered = entries.iter().find_map(|entry| match entry {
        Entry::TradeEntered { trade, at, .. } => {
            let time: Timestamp = at.parse().ok()?;
            let seen = now.is_none_or(|now| time <= now);
            (time > release.at && seen).then(|| format!("{trade} was in the room on {}", super::words::time(at)))
        }
        _ => None,
    });
    entered.or_else(|| {
        let age_s = now?.as_second() - release.at.as_second();
        (age_s > i64::from(lapses_days) * DAY_S).then(|| format!("more than {lapses_days} days ago and not covered since"))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn released(hold_point: &str, at: &str) -> Entry {
        Entry::Outcome {
            hold_point: hold_point.into(),
            outcome: HoldPointOutcome::Released,
            by: "A. Maker".into(),
            role: None,
            conditions: vec![],
            at: at.into(),
        }
    }

    fn entered(at: &str) -> Entry {
        Entry::TradeEntered { trade: "electrician".into(), at: at.into(), note: None }
    }

    fn state(entries: &[Entry], now: &str) -> State {
        of("screed", &["tiling".into()], entries, 7, Some(now.parse().unwrap())).state
    }

    #[test]
    fn a_release_stands_for_its_days_and_lapses_after_them() {
        let entries = [released("screed", "2026-03-02T10:00:00+10:00")];
        assert_eq!(state(&entries, "2026-03-09T10:00:00+10:00"), State::Released);
        assert_eq!(state(&entries, "2026-03-09T10:00:01+10:00"), State::Lapsed);
    }

    #[test]
    fn a_release_lapses_when_a_later_trade_was_in_the_room() {
        let release = released("screed", "2026-03-02T10:00:00+10:00");
        assert_eq!(state(&[release.clone(), entered("2026-03-01T09:00:00+10:00")], "2026-03-03T10:00:00+10:00"), State::Released);
        assert_eq!(state(&[release, entered("2026-03-02T11:00:00+10:00")], "2026-03-03T10:00:00+10:00"), State::Lapsed);
    }

    #[test]
    fn a_release_does_not_lapse_once_the_layer_was_covered() {
        let entries = [released("screed", "2026-03-02T10:00:00+10:00"), released("tiling", "2026-03-05T10:00:00+10:00")];
        assert_eq!(state(&entries, "2026-06-01T10:00:00+10:00"), State::Released);
    }

    #[test]
    fn without_an_outcome_a_hold_point_is_open() {
        assert_eq!(state(&[], "2026-03-03T10:00:00+10:00"), State::Open);
    }

    #[test]
    fn the_latest_outcome_counts_in_any_order_of_the_file() {
        let refused = Entry::Outcome {
            hold_point: "screed".into(),
            outcome: HoldPointOutcome::NotReleased,
            by: "A. Maker".into(),
            role: None,
            conditions: vec![],
            at: "2026-03-01T10:00:00+10:00".into(),
        };
        assert_eq!(state(&[released("screed", "2026-03-02T10:00:00+10:00"), refused], "2026-03-03T10:00:00+10:00"), State::Released);
    }
}
