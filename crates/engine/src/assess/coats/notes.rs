//! What a log leaves blank, and what is worth knowing of it without being a fault.

use super::faults::{batches, pairs, percent};
use super::{COUNT, LayerLog, layer_of, layer_words, name, sheet_of_layer};
use crate::assess::{Context, words};
use job::Job;
use job::coats::{Coat, CoatWhat, Strokes};
use job::plan::HoldPoint;
use std::collections::BTreeMap;

/// Pairs of coats looked at for what they have in common.
const PAIRS: usize = 500;

/// What must be said of the logs of the membranes a hold point asks coats of.
pub fn notes(context: &Context<'_>, hold: &HoldPoint) -> Vec<String> {
    let asked = hold.owed.iter().filter(|owed| owed.quantity.as_deref() == Some(COUNT));
    let logs = asked.filter_map(|owed| context.log(layer_of(context.job, owed, None)?));
    logs.flat_map(|log| {
        [blanks(context.job, log), alike(context.job, log), thinned(context.job, log), of_deliveries(context.job, log)].concat()
    })
    .collect()
}

/// Fields left blank, the coats with the same blanks together.
fn blanks(job: &Job, log: &LayerLog<'_>) -> Vec<String> {
    let mut by_blank: BTreeMap<Vec<&str>, Vec<String>> = BTreeMap::new();
    for coat in log.coats.iter().chain(&log.primer) {
        let fields = [
            ("licence", coat.licence.is_none()),
            ("batch", coat.batches.is_empty()),
            ("end", coat.end.is_none()),
            ("colour", colour(job, coat).is_none() && coat.what == CoatWhat::Coat),
        ];
        let blank: Vec<&str> = fields.iter().filter(|(_, blank)| *blank).map(|(field, _)| *field).collect();
        if !blank.is_empty() {
            by_blank.entry(blank).or_default().push(name(coat));
        }
    }
    let layer = layer_words(log.layer);
    by_blank
        .into_iter()
        .map(|(blank, coats)| format!("coats.json, {layer}: {} left blank for {}", list(&blank), words::names(&coats)))
        .collect()
}

/// "a, b and c".
fn list(words: &[&str]) -> String {
    match words.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        _ => words.concat(),
    }
}

/// A coat's colour: as logged, or that of its batches where they have one in common.
fn colour(job: &Job, coat: &Coat) -> Option<String> {
    let mut of_batches = batches(job, coat).map(|batch| batch.colour.as_ref());
    let first = || of_batches.next().flatten().filter(|first| of_batches.all(|colour| colour == Some(first)));
    coat.colour.as_ref().or_else(first).map(|colour| colour.trim().to_lowercase())
}

/// Coats one over the other in one colour, or laid one way: once for each two numbers.
fn alike(job: &Job, log: &LayerLog<'_>) -> Vec<String> {
    let mut said: BTreeMap<(u32, u32, bool), String> = BTreeMap::new();
    let next = |(a, b): &(usize, usize)| log.coats[*b].number == log.coats[*a].number + 1;
    for (a, b) in pairs(log).filter(next).take(PAIRS) {
        let (lower, upper) = (log.coats[a], log.coats[b]);
        let two = || format!("{} and {} of the {}", name(lower), name(upper), layer_words(log.layer));
        let one_colour = colour(job, lower).filter(|one| colour(job, upper).as_ref() == Some(one));
        let one_way = lower.strokes.filter(|way| *way != Strokes::Both && upper.strokes == Some(*way));
        let notes = [
            one_colour
                .map(|one| (true, format!("are both {one}: two coats in contrast are the best proof of two on site, these show none"))),
            one_way.map(|way| (false, format!("were both laid {}: a second coat is laid across the first", way_words(way)))),
        ];
        for (of_colour, text) in notes.into_iter().flatten() {
            let key = (lower.number, upper.number, of_colour);
            if !said.contains_key(&key) && log.cover.overlap(a, b) {
                said.insert(key, format!("{} {text}", two()));
            }
        }
    }
    said.into_values().collect()
}

fn way_words(way: Strokes) -> &'static str {
    match way {
        Strokes::AlongX => "along x",
        Strokes::AlongY => "along y",
        Strokes::Up => "up the wall",
        Strokes::Across => "along the wall",
        Strokes::Both => "both ways",
    }
}

/// Thinner of which the data sheet says nothing.
fn thinned(job: &Job, log: &LayerLog<'_>) -> Vec<String> {
    let silent = sheet_of_layer(job, log.layer).is_none_or(|sheet| sheet.thinning_max.is_none());
    let thinned = log.coats.iter().filter(|_| silent).filter_map(|coat| Some((coat, coat.thinning.filter(|share| *share > 0.0)?)));
    let said = |(coat, share): (&&Coat, f64)| {
        let layer = layer_words(log.layer);
        format!("{} of the {layer} was thinned by {}: data-sheets.json does not say how much is allowed", name(coat), percent(share))
    };
    thinned.map(said).collect()
}

/// Deliveries that cannot be followed up, or that came after they were used.
fn of_deliveries(job: &Job, log: &LayerLog<'_>) -> Vec<String> {
    let mut notes: BTreeMap<String, String> = BTreeMap::new();
    for coat in log.coats.iter().chain(&log.primer) {
        for batch in batches(job, coat) {
            let id = &batch.id;
            let blank: Vec<&str> = [("batch number", batch.batch.is_none()), ("expiry", batch.expiry.is_none())]
                .iter()
                .filter(|(_, blank)| *blank)
                .map(|(field, _)| *field)
                .collect();
            if !blank.is_empty() {
                notes.insert(format!("{id} blank"), format!("coats.json: delivery {id} has no {}", blank.join(" and no ")));
            }
            let end = coat.end.as_deref().unwrap_or(&coat.start);
            let time = |text: &str| text.parse::<jiff::Timestamp>().ok();
            if let Some(at) = batch.at.as_deref()
                && time(at).zip(time(end)).is_some_and(|(at, end)| at > end)
            {
                let text = format!(
                    "coats.json: delivery {id} came at {}, after {} was done with it: one of the two is wrong",
                    words::time(at),
                    name(coat)
                );
                notes.entry(format!("{id} late")).or_insert(text);
            }
        }
    }
    notes.into_values().collect()
}
