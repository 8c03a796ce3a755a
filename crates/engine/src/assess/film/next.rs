//! The reading to take next in a stratum.

use super::{Against, LayerFilm, words};
use crate::assess::Context;
use film::sampling::{Read, next_in};
use film::thickness::Kind;
use measure::{PointMm, Verdict};
use room::register::{Detail, Place};

/// A reading to take.
pub struct Reading {
    /// Readings still wanted here.
    pub wanted: usize,
    /// "a gauge reading at the back of the sill, 200 mm from its right end and 60 mm in".
    pub words: String,
}

/// The next reading of a stratum, where its verdict is open or a coat may be missing: on the detail, and at the place, after
/// which least doubt is left for the water that runs there.
pub fn reading(context: &Context<'_>, film: &LayerFilm, against: &Against, stratum: usize) -> Option<Reading> {
    let known = &against.strata[stratum];
    let verdict = known.dry.as_ref().filter(|out| out.n > 0).map(|out| out.judgement.verdict);
    let verdict = verdict.or(known.wet.as_ref().map(|sum| sum.judgement.verdict)).unwrap_or(Verdict::NotShown);
    let short = known.dry.as_ref().and_then(|out| out.prob_one_coat_short).is_some_and(|p| p >= 0.5);
    if verdict == Verdict::Conforms && !short {
        return None;
    }
    let limit_um = against.asked.mean_um().or(Some(against.asked.limit_um));
    let of = &film.strata[stratum];
    let places = of.details.iter().zip(&of.detail_litres).filter_map(|(i, litres)| {
        let detail = &context.job.register[*i];
        let (settled, place) = in_detail(film, detail, limit_um)?;
        // Where no water runs at all, the most doubt counts.
        Some(([litres * settled, settled], detail, place))
    });
    let best = places.reduce(|best, next| if next.0 > best.0 { next } else { best });
    let tool = words::tool(film, stratum);
    let words = match best {
        Some((_, detail, at)) => format!("{tool} reading {}", words::place(detail, at)),
        None => format!("{tool} reading there"),
    };
    Some(Reading { wanted: against.asked.least.saturating_sub(known.dry_count()).max(1), words })
}

/// The place of a detail to read next, and how much doubt a reading there settles: on a patch by its area, on a run or at a
/// point in its middle, all of it or, once read, none.
fn in_detail(film: &LayerFilm, detail: &Detail, limit_um: Option<f64>) -> Option<(f64, PointMm)> {
    let read = read_on(film, detail);
    let whole = if read.is_empty() { 1.0 } else { 0.0 };
    match &detail.place {
        Place::Patch(patch) => {
            let place = next_in(patch, &read, limit_um)?;
            Some((detail.area_m2.unwrap_or(1.0) * (place.doubt - place.doubt_after), [place.x_mm, place.y_mm]))
        }
        Place::Run(line) => Some((whole, middle(line)?)),
        Place::Point(at) => Some((whole, *at)),
    }
}

fn middle(line: &[PointMm]) -> Option<PointMm> {
    room::geometry::along_line(line, 0.5 * room::geometry::line_length_mm(line))
}

/// Dry readings with their place on a detail.
fn read_on(film: &LayerFilm, detail: &Detail) -> Vec<Read> {
    let of = (0..film.readings.len())
        .filter(|i| film.readings[*i].detail == detail.id && film.readings[*i].kind == Kind::Dry && film.counts(*i));
    of.filter_map(|i| {
        let reading = &film.readings[i];
        let place = reading.place.as_ref()?;
        let bracket = || Some(0.5 * (reading.lo_um? + reading.hi_um?));
        Some(Read { x_mm: place.x_mm, y_mm: place.y_mm, value_um: reading.value_um.or_else(bracket).filter(|value| *value >= 1.0) })
    })
    .collect()
}
