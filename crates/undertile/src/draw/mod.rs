//! An assessment to drawings, one file each.

mod coats;
mod film;
mod strokes;

use crate::files;
use drawing::{Entry, FloorPart, Mark, MarkedDetail, PondsOnFloor, Reading, Scene, SurfaceOnFloor};
use engine::assess::{Assessed, Assessment, DepartureStanding, DrawnFloor, Floor, Line};
use job::Job;
use measure::{Problem, Problems, Verdict};
use room::nouns::MembraneLayer;
use std::fs;
use std::path::Path;

/// Writes every drawing there is evidence for; names of the files written.
pub fn write(job: &Job, assessed: &Assessed, folder: &Path) -> Result<Vec<String>, Problems> {
    let shown = folder.display().to_string();
    let refuse = |error: std::io::Error| {
        Problem::at("", format!("the drawings cannot be written: {error}"), "a folder that can be written").file(&shown)
    };
    fs::create_dir_all(folder).map_err(refuse)?;
    let mut names = Vec::new();
    for (name, svg) in drawings(job, assessed) {
        files::write(&folder.join(&name), svg.as_bytes()).map_err(refuse)?;
        names.push(name);
    }
    Ok(names)
}

fn drawings(job: &Job, assessed: &Assessed) -> Vec<(String, String)> {
    let assessment = &assessed.assessment;
    let listed = listed(assessment);
    let list: Vec<Entry<'_>> = listed.iter().map(|item| Entry { number: item.number, mark: item.mark, words: &item.words }).collect();
    let marked = marked(job, assessed, &listed);
    let hold = assessment.hold_points.iter().find(|hold| hold.id == assessment.hold_point);
    let subtitle = hold.map_or(String::new(), |hold| format!("{}: {}", hold.title, hold.says));
    let scene = Scene {
        room: &job.room,
        title: &assessment.job.name,
        subtitle: &subtitle,
        details: &marked,
        list: &list,
        surface: None,
        notes: &[],
    };
    let mut all = vec![(format!("details-{}.svg", assessment.hold_point), drawing::details(&scene))];
    for (i, sheet) in drawing::details_list(&scene).into_iter().enumerate() {
        all.push((format!("details-{}-{}.svg", assessment.hold_point, i + 2), sheet));
    }
    for (floor, drawn) in assessed.floors.iter().zip(&assessed.drawn) {
        let readings: Vec<Reading<'_>> = floor
            .levels
            .iter()
            .map(|level| Reading { name: level.name.as_deref().unwrap_or(""), at_mm: [level.x_mm, level.y_mm], z_mm: level.z_mm })
            .collect();
        let parts: Vec<FloorPart<'_>> = drawn
            .parts
            .iter()
            .map(|part| FloorPart { grid: &part.grid, extrapolated: &part.extrapolated, falls: part.falls.as_ref() })
            .collect();
        let measured = Scene { surface: Some(on_floor(floor, drawn, &readings, &parts)), ..scene };
        let layer = layer_name(drawn);
        all.push((format!("falls-{layer}.svg"), drawing::falls(&measured)));
        all.push((format!("ponds-{layer}.svg"), drawing::ponds(&measured)));
    }
    if !assessed.litres.is_empty() {
        all.push(("water.svg".into(), drawing::water(&scene)));
    }
    all.extend(film::sheets(job, &assessed.film, &scene));
    all.extend(coats::sheets(&assessed.coats, &scene));
    all.extend(strokes::sheets(&assessed.strokes, &scene));
    all
}

/// A membrane's name in file names, and in the trade's words.
fn layer_words(layer: MembraneLayer) -> (&'static str, &'static str) {
    match layer {
        MembraneLayer::UnderScreed => ("under-screed", "lower membrane"),
        MembraneLayer::OverScreed => ("over-screed", "upper membrane"),
    }
}

fn layer_name(drawn: &DrawnFloor) -> String {
    serde_json::to_value(drawn.layer).ok().and_then(|value| value.as_str().map(Into::into)).unwrap_or_default()
}

fn on_floor<'a>(floor: &'a Floor, drawn: &'a DrawnFloor, readings: &'a [Reading<'a>], parts: &'a [FloorPart<'a>]) -> SurfaceOnFloor<'a> {
    let ponds =
        PondsOnFloor { grid: &floor.with_stops, level_mm: &drawn.level_mm, ponds: &drawn.ponds, depth_ignored_mm: drawn.depth_ignored_mm };
    SurfaceOnFloor {
        words: &drawn.words,
        readings,
        fall_limits: &drawn.fall_limits,
        parts,
        ponds: (!drawn.level_mm.is_empty()).then_some(ponds),
    }
}

/// An entry of the list beside the drawing, and the details it stands for.
struct Listed<'a> {
    number: usize,
    mark: Mark,
    words: String,
    lines: Vec<&'a Line>,
}

/// What is open, numbered in the order of risk; one number a group and mark.
fn listed(assessment: &Assessment) -> Vec<Listed<'_>> {
    let mut listed: Vec<Listed<'_>> = Vec::new();
    for group in &assessment.groups {
        for mark in [Mark::FallsShort, Mark::NotShown, Mark::Departure] {
            let lines: Vec<&Line> = group.lines.iter().filter(|line| mark_of(line) == mark).collect();
            let Some(first) = lines.first() else { continue };
            let more = if lines.len() > 1 { format!(" (and {} more)", lines.len() - 1) } else { String::new() };
            let place = if first.names.len() == 1 { &first.names[0] } else { &group.words };
            let words = format!("{place}: {}{more}", first.judgement.why);
            listed.push(Listed { number: listed.len() + 1, mark, words, lines });
        }
    }
    listed
}

fn mark_of(line: &Line) -> Mark {
    match (line.departure, line.judgement.verdict) {
        (Some(DepartureStanding::Open | DepartureStanding::Accepted), Verdict::FallsShort) => Mark::Departure,
        (_, verdict) => mark_of_verdict(verdict),
    }
}

fn mark_of_verdict(verdict: Verdict) -> Mark {
    match verdict {
        Verdict::Conforms => Mark::Conforms,
        Verdict::FallsShort => Mark::FallsShort,
        Verdict::NotShown => Mark::NotShown,
    }
}

/// Every detail with its worst mark.
fn marked<'a>(job: &'a Job, assessed: &Assessed, listed: &[Listed<'_>]) -> Vec<MarkedDetail<'a>> {
    let lines: Vec<&Line> = assessed.assessment.groups.iter().flat_map(|group| &group.lines).collect();
    job.register
        .iter()
        .map(|detail| {
            let mark =
                lines.iter().filter(|line| line.details.contains(&detail.id)).map(|line| mark_of(line)).max().unwrap_or(Mark::NotLookedAt);
            let of = |item: &&Listed<'_>| item.mark == mark && item.lines.iter().any(|line| line.details.contains(&detail.id));
            MarkedDetail {
                detail,
                mark,
                number: listed.iter().find(of).map(|item| item.number),
                litres_per_day: assessed.litres.iter().find(|(id, _)| *id == detail.id).map(|(_, litres)| *litres),
            }
        })
        .collect()
}
