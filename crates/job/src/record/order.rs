//! One order of all events that every device finds, whatever arrived first.
//!
//! An event stands after everything its author had before him: what is earlier in his device's log, and what of the other
//! logs was known there (`seen`). Otherwise the corrected time decides, then the id. A clock that went backwards cannot put
//! an event before what it has seen: its time then counts as no earlier than that.

use ledger::Event;
use std::collections::BTreeMap;

/// Where an event stands: time, steps after that time, id.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct When<'a> {
    /// Corrected time, or that of the latest event it has seen if that is later; microseconds since 1970.
    pub us: i64,
    /// How many events stand one upon the other at that time.
    step: u64,
    pub id: &'a str,
}

/// An event in its place.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Placed<'a> {
    pub event: &'a Event,
    /// Index in the list that was handed in.
    pub index: usize,
    pub when: When<'a>,
    /// Its own time, corrected by the measured offset of its clock.
    pub corrected_us: i64,
    /// Standard uncertainty of that offset; `None` while it was not measured.
    pub u_ms: Option<f64>,
}

impl Placed<'_> {
    /// Whether the author of this event could take the other one into account.
    pub fn has_seen(&self, other: &Event) -> bool {
        if self.event.device == other.device {
            return self.event.seq > other.seq;
        }
        self.event.seen.get(&other.device).is_some_and(|size| *size > other.seq)
    }
}

/// All events in order, and those left aside because another event has the same id.
pub(crate) struct Order<'a> {
    pub placed: Vec<Placed<'a>>,
    /// Index in the list handed in, and what is wrong.
    pub aside: Vec<(usize, &'static str)>,
    /// Places by event id, sorted.
    by_id: Vec<(&'a str, usize)>,
}

impl Order<'_> {
    /// The place of an event by its id.
    pub fn place_of(&self, id: &str) -> Option<usize> {
        self.by_id.binary_search_by(|(known, _)| (*known).cmp(id)).ok().map(|at| self.by_id[at].1)
    }
}

/// A clock that was measured: the device's time of the measurement, what must be added, and its uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Measured {
    pub at_us: i64,
    pub offset_ms: f64,
    pub u_ms: f64,
}

/// Measurements of clocks by device.
pub(crate) type Clocks<'a> = BTreeMap<&'a str, Vec<Measured>>;

/// A time as microseconds since 1970; what is no time counts as 1970.
pub(crate) fn microseconds(time: &str) -> i64 {
    time.parse::<jiff::Timestamp>().map_or(0, jiff::Timestamp::as_microsecond)
}

/// Puts events in order. `clocks` hold what was measured of each device's clock, sorted by time.
pub(crate) fn order<'a>(events: &[&'a Event], clocks: &Clocks<'_>) -> Order<'a> {
    let mut logs: BTreeMap<&str, usize> = BTreeMap::new();
    for event in events {
        let next = logs.len();
        logs.entry(event.device.as_str()).or_insert(next);
    }
    let (unique, aside) = without_twins(events);
    let mut by_log: Vec<Vec<Placed<'a>>> = vec![Vec::new(); logs.len()];
    for index in unique {
        let event = events[index];
        let (corrected_us, u_ms) = corrected(event, clocks);
        let when = When { us: corrected_us, step: 0, id: &event.id };
        by_log[logs[event.device.as_str()]].push(Placed { event, index, when, corrected_us, u_ms });
    }
    for log in &mut by_log {
        log.sort_unstable_by_key(|placed| (placed.event.seq, placed.when));
    }
    Walk { next: vec![0; by_log.len()], waiting: vec![Vec::new(); by_log.len()], logs: &logs, by_log: &mut by_log }.run();
    let mut placed: Vec<Placed<'a>> = by_log.into_iter().flatten().collect();
    placed.sort_unstable_by_key(|placed| placed.when);
    let mut by_id: Vec<(&str, usize)> = placed.iter().enumerate().map(|(at, placed)| (placed.event.id.as_str(), at)).collect();
    by_id.sort_unstable();
    Order { placed, aside, by_id }
}

/// Each event once. Of different events with one id the first by device, place and payload stays.
fn without_twins(events: &[&Event]) -> (Vec<usize>, Vec<(usize, &'static str)>) {
    let key = |index: &usize| {
        let event = events[*index];
        (event.id.as_str(), event.device.as_str(), event.seq, event.kind.as_str(), event.payload.get())
    };
    let mut all: Vec<usize> = (0..events.len()).collect();
    all.sort_unstable_by(|a, b| key(a).cmp(&key(b)));
    let mut unique: Vec<usize> = Vec::with_capacity(all.len());
    let mut aside = Vec::new();
    for index in all {
        match unique.last().copied().filter(|last| events[*last].id == events[index].id) {
            None => unique.push(index),
            Some(last) if key(&last) == key(&index) => {}
            Some(_) => aside.push((index, "another event has the same id")),
        }
    }
    (unique, aside)
}

/// The event's time by the site record's clock, as far as its offset was measured: when the event was made, else soonest
/// after it, else last before it.
fn corrected(event: &Event, clocks: &Clocks<'_>) -> (i64, Option<f64>) {
    let at_us = microseconds(&event.at);
    let measured = event.clock.map(|clock| (clock.offset_ms, clock.u_ms)).or_else(|| {
        let known = clocks.get(event.device.as_str())?;
        let after = known.partition_point(|measured| measured.at_us < at_us);
        known.get(after).or(known.last()).map(|measured| (measured.offset_ms, measured.u_ms))
    });
    match measured {
        None => (at_us, None),
        Some((offset_ms, u_ms)) => (at_us.saturating_add((offset_ms * 1000.0).round() as i64), Some(u_ms)),
    }
}

/// Goes through the logs side by side; each event waits for what it has seen.
struct Walk<'w, 'a> {
    logs: &'w BTreeMap<&'a str, usize>,
    by_log: &'w mut [Vec<Placed<'a>>],
    next: Vec<usize>,
    /// By log, the logs whose next event waits for it.
    waiting: Vec<Vec<usize>>,
}

impl<'a> Walk<'_, 'a> {
    fn run(&mut self) {
        let mut ready: Vec<usize> = (0..self.by_log.len()).collect();
        loop {
            while let Some(log) = ready.pop() {
                while let Some(placed) = self.head(log) {
                    if let Some(awaited) = self.awaited(&placed) {
                        self.waiting[awaited].push(log);
                        break;
                    }
                    self.place(log, placed, &mut ready);
                }
            }
            // Two events that each claim to have seen the other: the earlier goes first.
            let stuck = (0..self.by_log.len()).filter_map(|log| self.head(log).map(|placed| (placed.when, log, placed)));
            let Some((_, log, placed)) = stuck.min_by_key(|(when, ..)| *when) else { return };
            self.place(log, placed, &mut ready);
            ready.push(log);
        }
    }

    fn head(&self, log: usize) -> Option<Placed<'a>> {
        self.by_log[log].get(self.next[log]).copied()
    }

    /// A log of which the event has seen more than was placed yet.
    fn awaited(&self, placed: &Placed<'_>) -> Option<usize> {
        placed.event.seen.iter().find_map(|(device, size)| {
            let log = *self.logs.get(device.as_str())?;
            self.head(log).is_some_and(|head| head.event.seq < *size).then_some(log)
        })
    }

    fn place(&mut self, log: usize, mut placed: Placed<'a>, ready: &mut Vec<usize>) {
        let before = self.next[log].checked_sub(1).map(|at| self.by_log[log][at].when);
        let seen = placed.event.seen.iter().filter_map(|(device, size)| {
            let log = *self.logs.get(device.as_str())?;
            let done = &self.by_log[log][..self.next[log]];
            done.partition_point(|known| known.event.seq < *size).checked_sub(1).map(|at| done[at].when)
        });
        if let Some(latest) = seen.chain(before).max_by_key(|when| (when.us, when.step))
            && placed.when.us <= latest.us
        {
            (placed.when.us, placed.when.step) = (latest.us, latest.step + 1);
        }
        let at = self.next[log];
        self.by_log[log][at] = placed;
        self.next[log] += 1;
        ready.append(&mut self.waiting[log]);
    }
}
