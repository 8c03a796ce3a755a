//! The levels read: a dot, a name, a height.

use crate::ink::{BLACK, GREY, LINE_MM, WHITE};
use crate::page::Rect;
use crate::sheet::{Sheet, TEXT_MM};
use crate::svg::{Anchor, At, Paint, Svg, Text};
use crate::{Reading, text};
use room::Room;
use room::geometry;

/// Readings named on the plan, at most; more are thinned out evenly.
const NAMED: usize = 300;

fn dot(svg: &mut Svg, at: At) {
    svg.circle(at, 0.75, Paint::line(WHITE, LINE_MM).filled(BLACK));
}

pub fn level_sample(svg: &mut Svg, [x, y]: At) {
    let x = x - 2.5;
    dot(svg, [x, y]);
    svg.text(Text::new("7", [x - 1.2, y], TEXT_MM).anchor(Anchor::End).ink(GREY));
    svg.text(Text::new("\u{2212}3.1", [x + 1.2, y], TEXT_MM).bold());
}

/// A dot at each level.
pub fn dots(sheet: &mut Sheet, readings: &[Reading]) {
    for reading in readings {
        let at = sheet.view.page(reading.at_mm);
        dot(&mut sheet.svg, at);
        sheet.places.take(Rect::about(at, [1.8, 1.8]));
    }
}

/// The name of a level to one side of its dot and its height to the other; where there is no room the height alone, else
/// neither.
pub fn readings(sheet: &mut Sheet, room: &Room, readings: &[Reading]) {
    let outline = sheet.view.line(&room.outline_mm);
    let on_floor = |r: &Rect| r.corners().iter().all(|c| geometry::contains(&outline, *c, 0.0));
    let every = readings.len().div_ceil(NAMED).max(1);
    for reading in readings.iter().step_by(every) {
        let height = text::decimal(reading.z_mm, 1);
        let name = text::shortened(reading.name, TEXT_MM, false, 12.0);
        let size = |words: &str, bold: bool| [text::width_mm(words, TEXT_MM, bold) + 0.5, 3.4];
        let at = sheet.view.page(reading.at_mm);
        let best = ways(at, size(&name, false), size(&height, true))
            .filter_map(|way| {
                let over: f64 = way.name.iter().chain([&way.height]).map(|r| sheet.places.cost(r)).sum::<Option<f64>>()?;
                let leaves = way.name.iter().chain([&way.height]).any(|r| !on_floor(r));
                Some((over + way.cost + if leaves { LEAVES_FLOOR } else { 0.0 }, way))
            })
            .min_by(|a, b| a.0.total_cmp(&b.0));
        let Some((_, way)) = best else { continue };
        for (rect, words, bold) in way.name.map(|r| (r, &name, false)).into_iter().chain([(way.height, &height, true)]) {
            sheet.places.take(rect);
            sheet.svg.rect(rect, 0.0, Paint::fill(WHITE));
            let line = Text::new(words, rect.middle(), TEXT_MM).anchor(Anchor::Middle);
            sheet.svg.text(if bold { line.bold() } else { line.ink(GREY) });
        }
    }
}

/// What it costs to write beyond the outline, and to leave out the name.
const LEAVES_FLOOR: f64 = 14.0;

const ALONE: f64 = 8.0;

/// One way of writing a name and a height about a dot.
struct Way {
    name: Option<Rect>,
    height: Rect,
    cost: f64,
}

/// Ways in the order a reader likes them: on one line with the dot between, the name above or below the height, the height
/// alone.
fn ways(at: At, name: [f64; 2], height: [f64; 2]) -> impl Iterator<Item = Way> {
    const GAP: f64 = 1.0;
    let beside = move |size: [f64; 2], side: f64, up: f64| Rect::about([at[0] + side * (GAP + size[0] / 2.0), at[1] + up], size);
    let over = move |size: [f64; 2], up: f64| Rect::about([at[0], at[1] + up], size);
    let row = height[1];
    let both = [
        (beside(name, -1.0, 0.0), beside(height, 1.0, 0.0), 0.0),
        (beside(name, 1.0, 0.0), beside(height, -1.0, 0.0), 0.3),
        (beside(name, 1.0, row), beside(height, 1.0, 0.0), 0.4),
        (beside(name, -1.0, row), beside(height, -1.0, 0.0), 0.5),
        (beside(name, 1.0, 0.0), beside(height, 1.0, -row), 0.6),
        (beside(name, -1.0, 0.0), beside(height, -1.0, -row), 0.7),
        (over(name, GAP + 1.5 * row), over(height, GAP + 0.5 * row), 0.8),
        (over(name, -GAP - 0.5 * row), over(height, -GAP - 1.5 * row), 0.9),
        (over(name, GAP + 0.5 * row), over(height, -GAP - 0.5 * row), 1.0),
    ];
    // Above or below and to one side: for levels in a corner.
    let slanted = move |size: [f64; 2], side: f64, up: f64| Rect::about([at[0] + side * (size[0] / 2.0 - 1.2), at[1] + up], size);
    const SIDES: [[f64; 2]; 4] = [[1.0, -1.0], [-1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]];
    let corners = SIDES.map(|[side, up]| {
        let first = up * (GAP + 0.5 * row);
        (slanted(name, side, first + up * row), slanted(height, side, first), 1.2)
    });
    let alone = [beside(height, 1.0, 0.0), beside(height, -1.0, 0.0), over(height, -GAP - 0.5 * row), over(height, GAP + 0.5 * row)];
    let alone = alone.into_iter().chain(SIDES.map(|[side, up]| slanted(height, side, up * (GAP + 0.5 * row))));
    let both = both.into_iter().chain(corners).map(|(name, height, cost)| Way { name: Some(name), height, cost });
    both.chain(alone.map(|height| Way { name: None, height, cost: ALONE }))
}
