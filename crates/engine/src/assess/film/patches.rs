//! The patches of cut-outs: each hole in the membrane is closed before the layer is covered.

use crate::assess::lines::Judged;
use crate::assess::{Context, eye, words as said};
use job::evidence::Entry;
use job::film::FilmReading;
use job::plan::{EvidenceOwed, Owed};
use measure::{Grade, Judgement, Verdict};

/// One line for each cut-out of the layer a line of the plan speaks of.
pub fn of<'a>(context: &'a Context<'a>, owed: &'a Owed) -> Vec<Judged<'a>> {
    let layers = context.job.membrane_layers();
    let layer = owed.layer.and_then(|asked| asked.in_room(&layers));
    let mut opened: Vec<(&str, &FilmReading)> = Vec::new();
    for reading in context.job.film.iter().filter(|reading| layer.is_none_or(|layer| layer == reading.layer)) {
        if let Some(name) = reading.cut_out.as_deref().filter(|name| !opened.iter().any(|(known, _)| known == name)) {
            opened.push((name, reading));
        }
    }
    opened.into_iter().map(|(name, reading)| patch(context, owed, name, reading)).collect()
}

fn patch<'a>(context: &'a Context<'a>, owed: &'a Owed, name: &str, reading: &FilmReading) -> Judged<'a> {
    let detail = context.job.register.iter().find(|detail| detail.id == reading.detail);
    let place = detail.zip(reading.place.as_ref()).map(|(detail, at)| format!(" {}", super::words::place(detail, [at.x_mm, at.y_mm])));
    let place = place.unwrap_or_default();
    let closed = context.job.evidence.entries.iter().filter_map(|entry| match entry {
        Entry::PatchClosed { cut_out, by, at, grade, photographs, .. } if cut_out == name => {
            Some(Closed { at: at.parse().ok()?, at_text: at, by, grade: *grade, photographed: !photographs.is_empty() })
        }
        _ => None,
    });
    let latest = closed.max_by_key(|closed| closed.at);
    let not_shown = |grade, why: String| Judgement {
        grade,
        ..Judgement::not_shown("", &format!("plan/{}", owed.id), "the job's inspection and test plan", why)
    };
    let by = |closed: &Closed<'_>| {
        format!("the patch of cut-out {name} was closed, {} by {} on {}", closed.grade, closed.by, said::time(closed.at_text))
    };
    let judgement = match &latest {
        None => not_shown(None, format!("cut-out {name}{place} is open: nobody has closed its patch")),
        Some(closed) if (owed.photograph || owed.evidence == EvidenceOwed::Photographed) && !closed.photographed => {
            not_shown(Some(closed.grade), format!("{}, but there is {}", by(closed), eye::NO_PHOTOGRAPH))
        }
        Some(closed) if closed.grade > eye::weakest(owed.evidence) => {
            not_shown(Some(closed.grade), format!("{}; the plan asks that the inspector sees it", by(closed)))
        }
        Some(closed) => Judgement { verdict: Verdict::Conforms, ..not_shown(Some(closed.grade), by(closed)) },
    };
    let settle = match &latest {
        _ if judgement.verdict == Verdict::Conforms => None,
        None => {
            Some(format!("close the patch of cut-out {name}{place} with every coat, lapped onto the film around it, and photograph it"))
        }
        Some(closed) if !closed.photographed => Some(format!("photograph the patch of cut-out {name}{place}")),
        Some(_) => Some(format!("look at the patch of cut-out {name}{place}")),
    };
    Judged { owed, detail, judgement, settle, from: Some(reading.from.clone()) }
}

/// What a closed patch's entry says.
struct Closed<'a> {
    at: jiff::Timestamp,
    at_text: &'a str,
    by: &'a str,
    grade: Grade,
    photographed: bool,
}
