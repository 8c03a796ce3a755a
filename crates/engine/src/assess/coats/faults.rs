//! Where a log speaks against itself or against the data sheet: what somebody wrote down falls short as it stands.

use super::{LayerLog, layer_words, name, sheet_of_layer};
use crate::assess::limits::sheet_source;
use crate::assess::lines::Judged;
use crate::assess::words;
use job::Job;
use job::coats::{Coat, Delivery};
use job::plan::Owed;
use measure::{Judgement, Limit, Verdict};

/// Pairs of coats looked at for their order; a room's log has a few dozen.
const PAIRS: usize = 500;
const SOURCE: &str = "the coat log, read against itself";

/// One thing a log gets wrong.
pub struct Fault {
    why: String,
    rule: String,
    source: String,
    value: Option<(f64, Limit)>,
    settle: &'static str,
}

impl Fault {
    fn of_log(what: &str, why: String, settle: &'static str) -> Self {
        Self { why, rule: format!("coat-log/{what}"), source: SOURCE.into(), value: None, settle }
    }

    /// As a line of its own: a fault of a coat is one thing, over however many details it lies.
    pub fn judged(self, owed: &Owed) -> Judged<'_> {
        let judgement = Judgement {
            verdict: Verdict::FallsShort,
            value: self.value.map(|v| v.0),
            limit: self.value.map(|v| v.1),
            grade: Some(measure::Grade::Stated),
            ..Judgement::not_shown(if self.value.is_some() { "share" } else { "" }, &self.rule, &self.source, self.why)
        };
        Judged { owed, detail: None, judgement, settle: Some(self.settle.into()), from: Some("coats.json".into()) }
    }
}

/// Everything the log of a membrane gets wrong, coat by coat.
pub fn of(job: &Job, log: &LayerLog<'_>) -> Vec<Fault> {
    let mut faults = Vec::new();
    for coat in log.coats.iter().chain(&log.primer) {
        faults.extend(expired(job, log, coat));
    }
    for coat in &log.coats {
        faults.extend(other_product(job, log, coat));
        faults.extend(thinned(job, log, coat));
    }
    faults.extend(too_soon(log));
    faults
}

/// "the upper membrane's coat 2 (c2, white)".
fn whose(log: &LayerLog<'_>, coat: &Coat) -> String {
    format!("the {}'s {}", layer_words(log.layer), name(coat))
}

/// Deliveries a coat was put on from.
pub fn batches<'a>(job: &'a Job, coat: &'a Coat) -> impl Iterator<Item = &'a Delivery> {
    coat.batches.iter().filter_map(|id| job.coats.deliveries.iter().find(|delivery| delivery.id == *id))
}

/// Deliveries used after their last day.
fn expired(job: &Job, log: &LayerLog<'_>, coat: &Coat) -> Vec<Fault> {
    // The day on the spot: as the time is written, whatever its offset.
    let day = coat.end.as_deref().unwrap_or(&coat.start).get(..10).and_then(|day| day.parse::<jiff::civil::Date>().ok());
    let late = batches(job, coat).filter_map(|batch| {
        let expiry: jiff::civil::Date = batch.expiry.as_ref()?.parse().ok()?;
        let day = day.filter(|day| *day > expiry)?;
        let number = batch.batch.as_ref().map_or(String::new(), |batch| format!(", batch {batch}"));
        let why = format!("{} was put on from {}{number} on {day}, past its last day {expiry}", whose(log, coat), batch.id);
        Some(Fault::of_log("expiry", why, "ask the maker in writing whether the batch was still good"))
    });
    late.collect()
}

/// A coat of another data sheet than its membrane's.
fn other_product(job: &Job, log: &LayerLog<'_>, coat: &Coat) -> Option<Fault> {
    let own: Vec<&str> =
        job.room.membranes.iter().filter(|m| m.layer == log.layer).filter_map(|membrane| membrane.data_sheet.as_deref()).collect();
    let liquid = batches(job, coat).filter(|batch| batch.what == room::quantities::What::Membrane);
    let said = coat.data_sheet.as_deref().into_iter().chain(liquid.filter_map(|batch| batch.data_sheet.as_deref()));
    let other = said.into_iter().find(|id| !own.is_empty() && !own.contains(id))?;
    let why = format!("{} is of data sheet {other}; the membrane's is {}", whose(log, coat), own.join(" or "));
    Some(Fault::of_log("data-sheet", why, "ask what was really put on, and whether the two go together"))
}

/// More thinner than the data sheet allows.
fn thinned(job: &Job, log: &LayerLog<'_>, coat: &Coat) -> Option<Fault> {
    let of_coat = coat.data_sheet.as_ref().and_then(|id| job.sheets.iter().find(|sheet| sheet.id == *id));
    let sheet = of_coat.or_else(|| sheet_of_layer(job, log.layer))?;
    let (share, most) = (coat.thinning?, sheet.thinning_max?);
    (share > most).then(|| Fault {
        why: format!("{} was thinned by {}; at most {} allowed", whose(log, coat), percent(share), percent(most)),
        rule: format!("data-sheet/{}", sheet.id),
        source: sheet_source(sheet),
        value: Some((share, Limit::AtMost(most))),
        settle: "ask the maker whether the film holds so thinned; measure its dry film",
    })
}

pub fn percent(share: f64) -> String {
    let text = format!("{:.1}", share * 100.0);
    format!("{} %", text.strip_suffix(".0").unwrap_or(&text))
}

/// Coats begun over one that was not finished.
fn too_soon(log: &LayerLog<'_>) -> Vec<Fault> {
    let time = |text: &str| text.parse::<jiff::Timestamp>().ok();
    let done = |coat: &'_ Coat| coat.end.clone().unwrap_or_else(|| coat.start.clone());
    let begun_too_soon = |(lower, upper): &(usize, usize)| {
        let (before, after) = (log.coats[*lower], log.coats[*upper]);
        before.number < after.number && time(&after.start).zip(time(&done(before))).is_some_and(|(start, done)| start < done)
    };
    let mut faults = Vec::new();
    for (lower, upper) in pairs(log).filter(begun_too_soon).take(PAIRS) {
        let (before, after) = (log.coats[lower], log.coats[upper]);
        if log.cover.overlap(lower, upper) {
            let ended = if before.end.is_some() { "ended" } else { "was begun" };
            let why = format!(
                "{} was begun at {}, before {} under it {ended} at {}",
                whose(log, after),
                words::time(&after.start),
                name(before),
                words::time(&done(before))
            );
            faults.push(Fault::of_log("order", why, "ask for the times again; a coat on a wet one is one coat"));
        }
    }
    faults
}

/// Every two coats by their place in the log.
pub fn pairs<'a>(log: &'a LayerLog<'_>) -> impl Iterator<Item = (usize, usize)> + use<'a> {
    let n = log.coats.len();
    (0..n).flat_map(move |a| (0..n).filter(move |b| *b != a).map(move |b| (a, b)))
}
