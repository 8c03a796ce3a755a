//! The film of each membrane to its sheet.

use super::{layer_words, mark_of_verdict};
use drawing::{FilmDot, FilmGrid, FilmOnRoom, FilmStratum, FilmUm, Scene, Stands};
use engine::assess::{DotDrawn, FilmDrawn, StratumDrawn};
use job::Job;
use room::register::Detail;

/// `film-<layer>.svg` of each membrane that was read.
pub fn sheets(job: &Job, films: &[FilmDrawn], scene: &Scene) -> Vec<(String, String)> {
    films
        .iter()
        .map(|film| {
            let (layer, words) = layer_words(film.layer);
            let id = format!("film-{layer}");
            (format!("{id}.svg"), sheet(job, film, scene, &id, words))
        })
        .collect()
}

fn sheet(job: &Job, film: &FilmDrawn, scene: &Scene, id: &str, words: &str) -> String {
    let readings: Vec<FilmDot<'_>> = film.readings.iter().filter_map(|dot| reading(job, film.limit_um, dot)).collect();
    let details: Vec<Vec<&Detail>> = film.strata.iter().map(|stratum| details(job, stratum)).collect();
    let words_of: Vec<String> = film.strata.iter().map(stratum_words).collect();
    let strata: Vec<FilmStratum<'_>> = film
        .strata
        .iter()
        .zip(&details)
        .zip(&words_of)
        .map(|((stratum, details), words)| FilmStratum {
            words,
            details,
            mean_um: stratum.mean_um,
            mark: mark_of_verdict(stratum.verdict),
            prob_one_coat_short: stratum.prob_one_coat_short,
        })
        .collect();
    let map: Vec<FilmGrid<'_>> = film
        .map
        .iter()
        .flat_map(|map| &map.faces)
        .map(|grid| FilmGrid {
            face: &grid.face,
            first_mm: [grid.x0_mm, grid.y0_mm],
            cell_mm: grid.cell_mm,
            nx: grid.nx,
            ny: grid.ny,
            um: &grid.value_um,
            prob_below: &grid.prob_below,
        })
        .collect();
    let asked = film.asked.as_deref().unwrap_or_default();
    drawing::film(
        scene,
        &FilmOnRoom { id, words, asked, limit_um: film.limit_um, readings: &readings, strata: &strata, map: &map, notes: &film.notes },
    )
}

fn reading<'a>(job: &'a Job, limit_um: Option<f64>, dot: &'a DotDrawn) -> Option<FilmDot<'a>> {
    let um = match (dot.value_um, dot.lo_um) {
        (Some(value), _) => FilmUm::Value(value),
        (None, Some(lo)) => FilmUm::Between(lo, dot.hi_um),
        (None, None) => return None,
    };
    Some(FilmDot {
        detail: job.register.iter().find(|detail| detail.id == dot.detail)?,
        at_mm: dot.placed.then_some((&dot.face, [dot.x_mm, dot.y_mm])),
        um,
        stands: stands(limit_um, dot, um),
        cut_out: dot.cut_out.as_deref(),
    })
}

fn stands(limit_um: Option<f64>, dot: &DotDrawn, um: FilmUm) -> Stands {
    let (FilmUm::Value(least) | FilmUm::Between(least, _)) = um;
    match dot {
        DotDrawn { counts: false, .. } => Stands::NotCounted,
        DotDrawn { short: true, .. } => Stands::Short,
        DotDrawn { wet: true, .. } => Stands::Wet,
        _ if limit_um.is_none_or(|limit| least >= limit) => Stands::Reaches,
        _ => Stands::Near,
    }
}

fn details<'a>(job: &'a Job, stratum: &StratumDrawn) -> Vec<&'a Detail> {
    job.register.iter().filter(|detail| stratum.details.contains(&detail.id)).collect()
}

fn stratum_words(stratum: &StratumDrawn) -> String {
    match stratum.n {
        0 => stratum.words.clone(),
        1 => format!("{}, 1 reading", stratum.words),
        n => format!("{}, {n} readings", stratum.words),
    }
}
