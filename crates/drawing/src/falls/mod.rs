//! The floor with its levels, which way it falls and how steeply.

mod arrows;
mod back_falls;
mod levels;
mod planes;

use crate::contour;
use crate::floor::{self, define_hatching, label_line};
use crate::ink::{DARK_VERMILION, FINE_MM, GREY, LINE_MM, VERMILION};
use crate::page::Rect;
use crate::sheet::{Block, Head, Sheet};
use crate::signs::sign_sample;
use crate::slope;
use crate::svg::{At, Paint, Svg};
use crate::{Mark, Scene, SurfaceOnFloor, plan, text};
use arrows::{ArrowScale, arrow, arrows};
use back_falls::{BACK_FALLS, all_back_falls, back_area, back_fall_names, back_falls, back_words};
use levels::{dots, level_sample, readings};
use measure::PointMm;
use planes::{all_planes, plane_words, planes};
use room::Room;
use water::falls::Output;

const HEAD: Head = Head {
    name: "falls",
    what: "Falls",
    about: "The floor to scale with spot levels, arrows downhill that are longer where it is steeper, lines of equal height, and \
            back-falls hatched.",
    rest: "see the assessment",
};

/// Lines of equal height are drawn of the surface smoothed over this distance to either side.
const SMOOTH_MM: f64 = 20.0;

/// Lines of equal height, at most.
const LINES: usize = 14;

/// The floor with spot levels, arrows downhill, lines of equal height, back-falls and what each plane falls.
pub fn falls(scene: &Scene) -> String {
    let Some(surface) = &scene.surface else {
        let words = "No levels of this surface: its falls are not shown.";
        return floor::sheet(&HEAD, scene, &[Block::Text(words.into())], Some(words), |_, _| {});
    };
    let scale = ArrowScale::of(surface);
    floor::sheet(&HEAD, scene, &blocks(scene, surface, &scale), None, |sheet, room| {
        define_hatching(&mut sheet.svg, "beyond", 2.6, 45.0, GREY, FINE_MM);
        define_hatching(&mut sheet.svg, "back", 1.5, -45.0, VERMILION, 0.4);
        ground(sheet, room, surface);
        let lines = height_lines(sheet, surface);
        plan::zones(sheet, room);
        plan::things(sheet, room);
        plan::outline(sheet, room);
        plan::dimensions(sheet, room);
        back_falls(sheet, surface);
        dots(sheet, surface.readings);
        planes(sheet, scene, surface);
        readings(sheet, room, surface.readings);
        back_fall_names(sheet, surface);
        faults(sheet, surface);
        for (line, words) in &lines {
            label_line(sheet, line, words, 80.0);
        }
        arrows(sheet, room, surface, &scale);
        plan::zone_names(sheet, room, 14.0);
    })
}

fn blocks(scene: &Scene, surface: &SurfaceOnFloor, scale: &ArrowScale) -> Vec<Block> {
    let mut blocks = vec![Block::Text(surface.words.into())];
    if !surface.fall_limits.is_empty() {
        blocks.push(Block::Text(format!("Asked: {}", surface.fall_limits)));
    }
    let planes = all_planes(scene, surface);
    if !planes.is_empty() {
        blocks.push(Block::Heading("Planes (\u{b1} is 95 %)".into()));
    }
    for plane in &planes {
        let lettered = plane.letter.as_ref().map_or(String::new(), |letter| format!("{letter}: "));
        let words = format!("{lettered}{}, {}", plane.found.id, plane_words(plane.found));
        blocks.push(Block::Key { sample: sign_sample(plane.mark()), width_mm: 5.0, number: None, words });
    }
    let backs = all_back_falls(surface);
    if !backs.is_empty() {
        blocks.push(Block::Heading("Back-falls (\u{b1} is 95 %)".into()));
    }
    for back in backs.iter().take(BACK_FALLS) {
        blocks.push(Block::Key { sample: sign_sample(Mark::FallsShort), width_mm: 5.0, number: None, words: back_words(back) });
    }
    if backs.len() > BACK_FALLS {
        blocks.push(Block::Text(format!("and {} lower ones", backs.len() - BACK_FALLS)));
    }
    blocks.push(Block::Heading("Signs".into()));
    blocks.extend(legend(surface, scale));
    blocks.extend(plan::legend(scene.room));
    blocks.extend(scene.notes.iter().map(|note| Block::Text(note.clone())));
    blocks
}

fn legend(surface: &SurfaceOnFloor, scale: &ArrowScale) -> Vec<Block> {
    let key = |sample: crate::sheet::Sample, words: &str| Block::Key { sample, width_mm: 16.0, number: None, words: words.into() };
    let mut blocks = Vec::new();
    for run in [100.0, 50.0] {
        let length = scale.length_mm(1.0 / run);
        let sample = Box::new(move |svg: &mut Svg, rect: Rect| {
            let y = rect.middle()[1];
            arrow(svg, [rect.lo[0] + 1.0, y], [1.0, 0.0], length, false);
        });
        blocks.push(key(sample, &format!("downhill, 1:{run:.0}")));
    }
    if !surface.readings.is_empty() {
        let sample = Box::new(|svg: &mut Svg, rect: Rect| level_sample(svg, rect.middle()));
        blocks.push(key(sample, "level read: its name, its height over the benchmark in mm, where there is room"));
    }
    let sample = Box::new(|svg: &mut Svg, rect: Rect| {
        let y = rect.middle()[1];
        svg.line([rect.lo[0] + 1.0, y], [rect.hi[0] - 1.0, y], Paint::line(GREY, LINE_MM));
    });
    blocks.push(key(sample, "equal height, mm"));
    if all_falls(surface).any(|f| !f.backfalls.is_empty()) {
        blocks.push(key(hatched("back", VERMILION), "rises towards the outlet"));
    }
    let away = |f: &Output| f.drawing.as_ref().is_some_and(|d| d.fall.iter().flatten().any(|fall| *fall < 0.0));
    if all_falls(surface).any(away) {
        let sample = Box::new(|svg: &mut Svg, rect: Rect| arrow(svg, [rect.lo[0] + 1.0, rect.middle()[1]], [1.0, 0.0], 6.0, true));
        blocks.push(key(sample, "downhill, but away from the outlet"));
    }
    if surface.parts.iter().any(|part| part.extrapolated.contains(&true)) {
        blocks.push(key(hatched("beyond", GREY), "beyond the levels: carried on, not measured"));
    }
    blocks
}

/// A box filled with a pattern.
fn hatched(pattern: &'static str, ink: &'static str) -> crate::sheet::Sample {
    Box::new(move |svg, rect| {
        let fill = svg.pattern_fill(pattern);
        svg.rect(Rect::about(rect.middle(), [13.0, 3.6]), 0.0, Paint::line(ink, FINE_MM).filled(&fill));
    })
}

fn all_falls<'a>(surface: &SurfaceOnFloor<'a>) -> impl Iterator<Item = &'a Output> + use<'a> {
    surface.parts.iter().filter_map(|part| part.falls)
}

/// What lies under everything: what was not measured, and what falls back.
fn ground(sheet: &mut Sheet, room: &Room, surface: &SurfaceOnFloor) {
    let outline = sheet.view.line(&room.outline_mm);
    let beyond: Vec<Vec<At>> = surface
        .parts
        .iter()
        .filter(|part| part.extrapolated.len() == part.grid.len())
        .flat_map(|part| floor::cells(sheet, part.grid, |cell| part.extrapolated[cell] && part.grid.is_floor(cell)))
        .collect();
    let least = all_back_falls(surface).get(BACK_FALLS).map_or(0.0, |b| b.rise_mm);
    let back: Vec<Vec<At>> = all_falls(surface).flat_map(|f| back_area(sheet, f, least)).collect();
    sheet.svg.clipped("floor", &[outline], |svg| {
        let (light, heavy) = (svg.pattern_fill("beyond"), svg.pattern_fill("back"));
        svg.rings(&beyond, Paint::line(GREY, FINE_MM).dashed("0.8 0.8").filled(&light));
        svg.rings(&back, Paint::line(VERMILION, LINE_MM).filled(&heavy));
    });
}

/// Places that are shown to be too flat or too steep.
fn faults(sheet: &mut Sheet, surface: &SurfaceOnFloor) {
    let of = |what: &'static str, found: &[water::falls::Patch]| -> Vec<(PointMm, String)> {
        found.iter().map(|p| (p.at_mm, format!("{what} {}", text::one_to(p.fall)))).collect()
    };
    for found in all_falls(surface) {
        for (at, words) in of("too flat", &found.too_flat).into_iter().chain(of("too steep", &found.too_steep)) {
            let page = sheet.view.page(at);
            sheet.label_in(&words, page, 0.0, 20.0, DARK_VERMILION, true);
        }
    }
}

/// Lines of equal height with their figures, drawn; the figures are set later, where there is room.
fn height_lines(sheet: &mut Sheet, surface: &SurfaceOnFloor) -> Vec<(Vec<At>, String)> {
    let smooth: Vec<Vec<f64>> = surface.parts.iter().map(|part| slope::smoothed(part.grid, SMOOTH_MM)).collect();
    let range = |of: &Vec<f64>| {
        let known = || of.iter().copied().filter(|z| !z.is_nan());
        (known().fold(f64::INFINITY, f64::min), known().fold(f64::NEG_INFINITY, f64::max))
    };
    // Steps by the part that differs most in height: the same in all of them.
    let most = smooth.iter().map(range).map(|(low, high)| high - low).fold(0.0, f64::max);
    let step = contour::step(most, LINES).max(0.5);
    let mut labelled = Vec::new();
    for (part, smooth) in surface.parts.iter().zip(&smooth) {
        let (low, high) = range(smooth);
        if high.partial_cmp(&low) != Some(std::cmp::Ordering::Greater) {
            continue;
        }
        let field = floor::field(part.grid, |cell| smooth[cell]);
        for k in (low / step).ceil() as i64..=(high / step).floor() as i64 {
            let level = k as f64 * step;
            let lines = floor::on_page(sheet, &field.lines(level));
            let width = if k % 5 == 0 { 0.5 } else { 0.3 };
            sheet.svg.polylines(&lines, Paint::line(CONTOUR, width).round());
            let words = text::decimal(level, if step < 1.0 { 1 } else { 0 });
            labelled.extend(lines.into_iter().map(|line| (line, words.clone())));
        }
    }
    labelled
}

/// Ink of lines of equal height: behind everything else.
const CONTOUR: &str = "#8a8a8a";
