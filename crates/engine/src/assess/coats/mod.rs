//! Coats by the log of them: how many cover each detail wholly, against the coats due.
//!
//! The log is somebody's word, as a rule the applicator's: what it covers conforms as stated, never as measured, and what it
//! does not cover is not shown, with how much of it and where. Where the log speaks against itself (`faults`) it falls
//! short. Who looks for two colours, a photograph of crossed strokes, or cuts out, looks for something else than this.

mod faults;
mod notes;
mod places;

pub use notes::notes;

use super::limits::Sourced;
use super::lines::{Judged, asked};
use super::{Context, words};
use job::Job;
use job::coats::{Coat, CoatWhat, Strokes};
use job::faces::Faces;
use job::pattern;
use job::plan::{EvidenceOwed, Owed, OwedLayer};
use measure::{Grade, Judgement, Limit, Verdict};
use room::cover::{Claim, Cover, Covered};
use room::nouns::MembraneLayer;
use room::register::{Detail, Face, Place};
use room::sheet::DataSheet;
use std::collections::BTreeSet;

/// The quantity: how many coats.
pub const COUNT: &str = "coats_count";
/// Most coats a rule can ask; more than a log can hold.
const MOST: f64 = 10.0;

/// The log of one membrane.
pub struct LayerLog<'a> {
    /// Which membrane.
    pub layer: MembraneLayer,
    /// Its coats, without primer.
    pub coats: Vec<&'a Coat>,
    /// Primer under it.
    pub primer: Vec<&'a Coat>,
    /// What the coats cover, claim by claim in the order of `coats`.
    pub cover: Cover<'a>,
    /// What the primer covers.
    pub primed: Cover<'a>,
}

/// One coat for a drawing.
#[derive(Clone, Debug, PartialEq)]
pub struct CoatDrawn {
    /// Membrane.
    pub layer: MembraneLayer,
    /// Which coat.
    pub number: u32,
    /// When it was begun, its colour, who put it on; empty where nobody logged it.
    pub words: String,
    /// Which way it was laid, where all its parts say the same.
    pub strokes: Option<Strokes>,
    /// Areas the log says it covers, in the coordinates of their faces.
    pub areas: Vec<(Face, Place)>,
    /// What of the membrane's details it does not cover.
    pub uncovered: Vec<(Face, Place)>,
}

/// The logs of all membranes of which the log has a coat, lowest first.
pub fn logs(job: &Job) -> Vec<LayerLog<'_>> {
    let layers: BTreeSet<MembraneLayer> = job.coats.coats.iter().map(|coat| coat.layer).collect();
    let faces = Faces::of(&job.room, &job.register);
    layers.into_iter().map(|layer| log(job, &faces, layer)).collect()
}

fn log<'a>(job: &'a Job, faces: &Faces<'_>, layer: MembraneLayer) -> LayerLog<'a> {
    let of = |what: CoatWhat| job.coats.coats.iter().filter(move |coat| coat.layer == layer && coat.what == what).collect::<Vec<_>>();
    let (coats, primer) = (of(CoatWhat::Coat), of(CoatWhat::Primer));
    let cover = |coats: &[&Coat]| {
        let claims = coats.iter().map(|coat| claim(job, faces, coat)).collect();
        Cover::new(&job.room, &job.register, claims)
    };
    LayerLog { layer, cover: cover(&coats), primed: cover(&primer), coats, primer }
}

/// What a coat claims. Only details of its own membrane are meant.
fn claim(job: &Job, faces: &Faces<'_>, coat: &Coat) -> Claim {
    let own = |detail: &&Detail| detail.layer.is_none_or(|layer| layer == coat.layer);
    let patterns: Vec<&String> = coat.areas.iter().flat_map(|area| &area.details).collect();
    let named = |detail: &&Detail| patterns.iter().any(|text| pattern::speaks_of(text, detail));
    let details = job.register.iter().filter(own).filter(named).map(|detail| detail.id.clone()).collect();
    let drawn = coat.areas.iter().filter_map(|area| Some((faces.named("on", area.on.as_deref()?).ok()?, area.polygon_mm.clone())));
    Claim { number: coat.number, details, drawn: drawn.collect() }
}

/// Which membrane a line of the plan speaks of at a detail.
pub fn layer_of(job: &Job, owed: &Owed, detail: Option<&Detail>) -> Option<MembraneLayer> {
    match owed.layer {
        Some(OwedLayer::UnderScreed) => Some(MembraneLayer::UnderScreed),
        Some(OwedLayer::OverScreed) => Some(MembraneLayer::OverScreed),
        Some(which) => which.in_room(&job.membrane_layers()),
        None => detail?.layer,
    }
}

/// A membrane in words.
pub fn layer_words(layer: MembraneLayer) -> &'static str {
    match layer {
        MembraneLayer::UnderScreed => "lower membrane",
        MembraneLayer::OverScreed => "upper membrane",
    }
}

/// The data sheet all membranes of a layer have in common.
pub fn sheet_of_layer(job: &Job, layer: MembraneLayer) -> Option<&DataSheet> {
    let mut ids = job.room.membranes.iter().filter(|membrane| membrane.layer == layer).map(|membrane| membrane.data_sheet.as_ref());
    let first = ids.next()??;
    ids.all(|id| id == Some(first)).then(|| job.sheets.iter().find(|sheet| sheet.id == *first))?
}

/// Everything a line of the plan on the number of coats owes.
pub fn of<'a>(context: &'a Context<'a>, owed: &'a Owed) -> Vec<Judged<'a>> {
    let layers = context.job.membrane_layers();
    let details: Vec<&Detail> = context.job.register.iter().filter(|detail| owed.speaks_of(detail, &layers)).collect();
    let mut judged = Vec::new();
    let mut unlogged: Vec<(Sourced, Vec<&Detail>)> = Vec::new();
    for detail in details {
        let log = layer_of(context.job, owed, Some(detail)).and_then(|layer| context.log(layer));
        for limit in asked(context, owed, detail, COUNT) {
            match (limit, log) {
                (Ok(limit), _) if due(limit.limit) == 0 => {}
                (Err(unknown), _) => judged.push(*unknown),
                (Ok(limit), Some(log)) if !log.coats.is_empty() => judged.push(at_detail(context.job, log, owed, detail, &limit)),
                (Ok(limit), _) => match unlogged.iter_mut().find(|(known, _)| known.rule == limit.rule && known.limit == limit.limit) {
                    Some((_, details)) => details.push(detail),
                    None => unlogged.push((limit, vec![detail])),
                },
            }
        }
    }
    judged.extend(unlogged.iter().map(|(limit, details)| nothing_logged(context.job, owed, limit, details)));
    let log = layer_of(context.job, owed, None).and_then(|layer| context.log(layer));
    judged.extend(log.iter().flat_map(|log| faults::of(context.job, log)).map(|fault| fault.judged(owed)));
    judged
}

/// Coats asked, as a whole number.
fn due(limit: Limit) -> usize {
    limit.min().map_or(0.0, |min| min.ceil().clamp(0.0, MOST)) as usize
}

/// One line for a membrane of which no coat is logged, rather than one for each of its details.
fn nothing_logged<'a>(job: &Job, owed: &'a Owed, limit: &Sourced, details: &[&Detail]) -> Judged<'a> {
    let fields: f64 = details.iter().filter_map(|detail| detail.area_m2).sum();
    let what = layer_of(job, owed, details.first().copied()).map_or("membrane", layer_words);
    let why = format!(
        "no coat of the {what} is logged; {} are due on {} details, {fields:.1} m² of them fields",
        due(limit.limit),
        details.len()
    );
    let judgement = Judgement { limit: Some(limit.limit), ..Judgement::not_shown("count", &limit.rule, &limit.source, why) };
    let settle = Some("have the applicator enter each coat in coats.json: where, who, from when to when, which batch, which colour".into());
    Judged { owed, detail: None, judgement, settle, from: None }
}

/// How many coats cover a detail.
fn at_detail<'a>(job: &Job, log: &LayerLog<'_>, owed: &'a Owed, detail: &'a Detail, limit: &Sourced) -> Judged<'a> {
    let due = due(limit.limit);
    let covered = log.cover.of(detail, due);
    let coats = covered.coats();
    let judgement = Judgement { limit: Some(limit.limit), ..Judgement::not_shown("count", &limit.rule, &limit.source, "") };
    let judged = |judgement, settle| Judged { owed, detail: Some(detail), judgement, settle, from: None };
    if coats < due {
        let why = lacking(job, log, detail, &covered, due);
        let settle = format!("see its {} coat, or have the log or the coat put right", ordinal(coats + 1));
        return judged(Judgement { value: Some(coats as f64), why, ..judgement }, Some(settle));
    }
    let used = counted(log, detail);
    let grade = used.iter().map(|coat| coat.grade).max().unwrap_or(Grade::Stated).max(Grade::Seen);
    let why = format!("{} by the log", list(&used));
    let judgement = Judgement { verdict: Verdict::Conforms, value: Some(coats as f64), grade: Some(grade), why, ..judgement };
    let weakest = match owed.evidence {
        EvidenceOwed::Measured | EvidenceOwed::Seen => Grade::Seen,
        EvidenceOwed::Photographed => Grade::Photographed,
        EvidenceOwed::Stated | EvidenceOwed::OutOfScope => Grade::Stated,
    };
    if grade > weakest {
        let settle = "see the coats, and log what was seen with its grade".into();
        return judged(judgement.held_back(&format!("only {grade}; the plan asks for more")), Some(settle));
    }
    judged(judgement, None)
}

/// Coats that name a detail, or draw on its face.
fn counted<'a>(log: &LayerLog<'a>, detail: &Detail) -> Vec<&'a Coat> {
    let touches = |i: &usize| log.cover.touches(*i, detail);
    (0..log.coats.len()).filter(touches).map(|i| log.coats[i]).collect()
}

/// "coat 1 (c1, grey) and coat 2 (c2, white)".
fn list(coats: &[&Coat]) -> String {
    let mut sorted: Vec<&&Coat> = coats.iter().collect();
    sorted.sort_by(|a, b| (a.number, &a.id).cmp(&(b.number, &b.id)));
    let names: Vec<String> = sorted.iter().map(|coat| name(coat)).collect();
    words::names(&names)
}

/// "coat 2 (c2, white)".
pub fn name(coat: &Coat) -> String {
    let what = match coat.what {
        CoatWhat::Primer => "primer".into(),
        CoatWhat::Coat => format!("coat {}", coat.number),
    };
    match &coat.colour {
        Some(colour) => format!("{what} ({}, {colour})", coat.id),
        None => format!("{what} ({})", coat.id),
    }
}

/// What is in no first coat, what in no second, and where.
fn lacking(job: &Job, log: &LayerLog<'_>, detail: &Detail, covered: &Covered, due: usize) -> String {
    let mut said: Vec<String> = Vec::new();
    let mut before = 0.0;
    for k in covered.coats()..due {
        let lack = covered.lacks[k].without_slivers();
        let size = lack.size();
        // What lacks a first coat lacks a second all the more: said again only where it is more.
        if said.is_empty() || size > before + 0.005 {
            let coat = if k == 0 { "in no coat of the log".to_owned() } else { format!("in no {} coat", ordinal(k + 1)) };
            said.push(match places::of(job, detail, &covered.whole, &lack) {
                Some(part) => format!("{part} is {coat}"),
                None => coat,
            });
        }
        before = size;
    }
    let has = counted(log, detail);
    let logged = if has.is_empty() { String::new() } else { format!("; logged: {}", list(&has)) };
    format!("{}{logged}", said.join(", "))
}

/// "first", "second" ... "tenth".
fn ordinal(n: usize) -> &'static str {
    const WORDS: [&str; 10] = ["first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth"];
    WORDS[n.clamp(1, WORDS.len()) - 1]
}

/// A membrane's coats for drawing: every number logged, and every one due.
pub fn drawn(context: &Context<'_>) -> Vec<CoatDrawn> {
    let job = context.job;
    let mut out = Vec::new();
    for log in &context.logs {
        let due = sheet_of_layer(job, log.layer).and_then(|sheet| sheet.coats).unwrap_or(0).min(MOST as u32);
        let numbers: BTreeSet<u32> = log.coats.iter().map(|coat| coat.number).chain(1..=due).collect();
        let details: Vec<&Detail> = owed_details(job, log.layer);
        for number in numbers {
            let parts: Vec<&Coat> = log.coats.iter().filter(|coat| coat.number == number).copied().collect();
            let lack = |detail: &&Detail| log.cover.lacks(number, detail).without_slivers().places(detail);
            let uncovered = details.iter().flat_map(|detail| lack(detail).into_iter().map(|place| (detail.face.clone(), place)));
            out.push(CoatDrawn {
                layer: log.layer,
                number,
                words: laid_words(&parts),
                strokes: same_strokes(&parts),
                areas: log.cover.drawn(number).into_iter().map(|(face, patch)| (face, Place::Patch(patch))).collect(),
                uncovered: uncovered.collect(),
            });
        }
    }
    out
}

/// "2024-02-21 08:00, grey, stated by T. Lindqvist".
fn laid_words(parts: &[&Coat]) -> String {
    let said: BTreeSet<String> = parts
        .iter()
        .map(|coat| {
            let colour = coat.colour.as_ref().map_or(String::new(), |colour| format!(", {colour}"));
            format!("{}{colour}, {} by {}", words::time(&coat.start), coat.grade, coat.by)
        })
        .collect();
    words::names(&said.into_iter().collect::<Vec<_>>())
}

fn same_strokes(parts: &[&Coat]) -> Option<Strokes> {
    let first = parts.first()?.strokes?;
    parts.iter().all(|coat| coat.strokes == Some(first)).then_some(first)
}

/// Details that some line of the plan asks coats of.
fn owed_details(job: &Job, layer: MembraneLayer) -> Vec<&Detail> {
    let layers = job.membrane_layers();
    let lines: Vec<&Owed> =
        job.plan.hold_points.iter().flat_map(|hold| &hold.owed).filter(|owed| owed.quantity.as_deref() == Some(COUNT)).collect();
    let asked =
        |detail: &&Detail| lines.iter().any(|owed| owed.speaks_of(detail, &layers) && layer_of(job, owed, Some(detail)) == Some(layer));
    job.register.iter().filter(asked).collect()
}
