//! Readings and places in words.

use super::LayerFilm;
use crate::assess::Context;
use film::thickness::Tool;
use job::film::FilmReading;
use measure::PointMm;
use room::register::{Detail, Face};

/// A detail's name, or its id where the register has none.
pub fn detail(context: &Context<'_>, id: &str) -> String {
    context.job.register.iter().find(|detail| detail.id == *id).map_or_else(|| id.into(), |detail| detail.name.clone())
}

/// One reading: "590 µm", "800 to 900 µm", "over 900 µm".
pub fn read(reading: &FilmReading) -> String {
    match (reading.value_um, reading.lo_um, reading.hi_um) {
        (Some(value), ..) => format!("{value:.0} µm"),
        (_, Some(lo), Some(hi)) => format!("{lo:.0} to {hi:.0} µm"),
        (_, Some(lo), None) => format!("over {lo:.0} µm"),
        (_, None, Some(hi)) => format!("under {hi:.0} µm"),
        (None, None, None) => "nothing".into(),
    }
}

/// Several: "one reading of 590 µm", "4 readings, 880 to 1020 µm".
pub fn several(film: &LayerFilm, readings: &[usize]) -> String {
    let of = |i: &usize| &film.readings[*i];
    match readings {
        [] => "no reading".into(),
        [one] => format!("one reading of {}", read(of(one))),
        many => {
            let ends = |r: &FilmReading| [r.value_um.or(r.lo_um).unwrap_or(0.0), r.value_um.or(r.hi_um).or(r.lo_um).unwrap_or(0.0)];
            let lo = many.iter().map(|i| ends(of(i))[0]).fold(f64::INFINITY, f64::min);
            let hi = many.iter().map(|i| ends(of(i))[1]).fold(0.0, f64::max);
            let range = if lo == hi { format!("all {lo:.0} µm") } else { format!("{lo:.0} to {hi:.0} µm") };
            format!("{} readings, {range}", many.len())
        }
    }
}

/// A place of a detail: "at (520, 1400) mm", "400 mm from the wall's right end, 1200 mm up".
pub fn place(detail: &Detail, [x, y]: PointMm) -> String {
    match &detail.face {
        Face::Floor => format!("at ({x:.0}, {y:.0}) mm on the plan"),
        Face::Wall(id) => format!("on wall {id}, {x:.0} mm from its right end and {y:.0} mm up"),
        Face::Recess(_, side) => {
            let at = match side.as_str() {
                "sill" | "head" => format!("{x:.0} mm from its right end and {y:.0} mm in"),
                "back" => format!("{x:.0} mm from its right end and {y:.0} mm up"),
                _ => format!("{x:.0} mm in and {y:.0} mm up"),
            };
            format!("{}the {side}, {at}", depth_words(detail, [x, y]))
        }
    }
}

/// Where in the depth of a recess: at its back, at its front.
fn depth_words(detail: &Detail, [x, y]: PointMm) -> &'static str {
    let Face::Recess(_, side) = &detail.face else { return "" };
    let room::register::Place::Patch(patch) = &detail.place else { return "on " };
    let axis = match side.as_str() {
        "sill" | "head" => 1,
        "left" | "right" => 0,
        _ => return "on ",
    };
    let depth = patch.iter().flatten().flatten().map(|p| p[axis]).fold(0.0, f64::max);
    match [x, y][axis] {
        into if into > 0.55 * depth => "at the back of ",
        into if into < 0.45 * depth => "at the front of ",
        _ => "in the middle of ",
    }
}

/// A tool to read dry film with, as the next reading asks for it.
pub fn tool(film: &LayerFilm, stratum: usize) -> &'static str {
    let mut own = (0..film.readings.len()).filter(|i| film.of[*i] == stratum).filter_map(|i| film.readings[i].tool);
    match own.next_back() {
        Some(Tool::Gauge) => "a gauge",
        Some(Tool::CutOut) => "a cut-out",
        Some(Tool::Comb) | None => "a gauge or cut-out",
    }
}

/// A probability in whole per cent that never rounds to a certainty it has not.
pub fn percent(p: f64) -> String {
    match p {
        p if p > 0.99 && p < 1.0 => "over 99 %".into(),
        p if p > 0.0 && p < 0.01 => "under 1 %".into(),
        p => format!("{:.0} %", 100.0 * p),
    }
}

/// "one coat where two were due".
pub fn one_fewer(due: u32) -> String {
    let number =
        |n: u32| ["no", "one", "two", "three", "four", "five"].get(n as usize).map_or_else(|| n.to_string(), |word| (*word).into());
    let coats = if due == 2 { "coat" } else { "coats" };
    format!("{} {coats} where {} were due", number(due - 1), number(due))
}
