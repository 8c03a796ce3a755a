//! The long run of the simulation: `cargo run --release -p sync --example simulate -- --seeds 20000 [--from 0]`.
//!
//! Says how often each kind of fault fired, and stops with the seeds that failed.

#[path = "../tests/sim/mod.rs"]
mod sim;

use sim::{KINDS, Outcome, Plant, run};
use std::collections::BTreeMap;
use std::process::ExitCode;
use std::sync::atomic::{AtomicU64, Ordering};

/// What all seeds came to.
#[derive(Default)]
struct Total {
    seeds: u64,
    /// Seeds in which a kind fired, and how often in all.
    fired: BTreeMap<&'static str, (u64, u64)>,
    events: usize,
    blobs: usize,
    conflicts: usize,
    messages: u64,
    failures: Vec<(u64, String)>,
    /// The traces of all seeds, in any order.
    traces: [u8; 32],
}

impl Total {
    fn add(&mut self, seed: u64, outcome: Outcome) {
        self.seeds += 1;
        for (kind, count) in outcome.fired {
            let (seeds, times) = self.fired.entry(kind).or_default();
            (*seeds, *times) = (*seeds + 1, *times + count);
        }
        self.events += outcome.events;
        self.blobs += outcome.blobs;
        self.conflicts += outcome.conflicts;
        self.messages += outcome.messages;
        self.failures.extend(outcome.failure.map(|why| (seed, why)));
        self.traces.iter_mut().zip(outcome.trace.0).for_each(|(all, one)| *all ^= one);
    }

    fn join(&mut self, other: Self) {
        self.seeds += other.seeds;
        for (kind, (seeds, times)) in other.fired {
            let own = self.fired.entry(kind).or_default();
            *own = (own.0 + seeds, own.1 + times);
        }
        self.events += other.events;
        self.blobs += other.blobs;
        self.conflicts += other.conflicts;
        self.messages += other.messages;
        self.failures.extend(other.failures);
        self.traces.iter_mut().zip(other.traces).for_each(|(all, one)| *all ^= one);
    }

    fn print(&self) {
        println!("{} seeds, {} messages, {} events, {} blobs", self.seeds, self.messages, self.events, self.blobs);
        println!("{} pairs of edits of one field that did not know of each other, both kept", self.conflicts);
        println!("traces of all seeds together: {}", ledger::Hash(self.traces));
        println!("{:<40} {:>9} {:>8} {:>10}", "kind of fault", "in seeds", "share", "times");
        for kind in KINDS {
            let (seeds, times) = self.fired.get(kind).copied().unwrap_or_default();
            println!("{kind:<40} {seeds:>9} {:>7.1}% {times:>10}", 100.0 * seeds as f64 / self.seeds.max(1) as f64);
        }
        for (seed, why) in &self.failures {
            println!("seed {seed}: {why}");
        }
        println!("failed: {}", self.failures.len());
    }
}

/// The number after a word of the command line.
fn number(word: &str, otherwise: u64) -> Result<u64, String> {
    let words: Vec<String> = std::env::args().collect();
    let Some(at) = words.iter().position(|other| other == word) else { return Ok(otherwise) };
    words.get(at + 1).and_then(|text| text.parse().ok()).ok_or_else(|| format!("{word}: a number must follow"))
}

fn main() -> ExitCode {
    let (seeds, from) = match (number("--seeds", 1_000), number("--from", 0)) {
        (Ok(seeds), Ok(from)) => (seeds, from),
        (Err(why), _) | (_, Err(why)) => {
            eprintln!("{why}");
            return ExitCode::from(2);
        }
    };
    let next = AtomicU64::new(from);
    let end = from.saturating_add(seeds);
    let work = || {
        let mut total = Total::default();
        loop {
            let seed = next.fetch_add(1, Ordering::Relaxed);
            if seed >= end {
                return total;
            }
            total.add(seed, run(seed, Plant::Nothing));
        }
    };
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let total = std::thread::scope(|scope| {
        let workers: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        let mut total = Total::default();
        workers.into_iter().for_each(|worker| total.join(worker.join().expect("a run that can't go on is a mistake of the simulation")));
        total
    });
    total.print();
    let rare = KINDS.iter().any(|kind| total.fired.get(kind).map_or(0, |(seeds, _)| *seeds) * 100 < total.seeds);
    if total.failures.is_empty() && !rare { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
