//! Head and foot of a sheet: what is drawn, whose, when; ruler, axes, caution.

use super::layout::Layout;
use super::{Head, PITCH_MM, TEXT_MM};
use crate::ink::{self, BLACK, FINE_MM, GREY, LINE_MM, WHITE};
use crate::page::Rect;
use crate::svg::{Anchor, At, Paint, Svg, Text};
use crate::{Scene, text};

const TITLE_MM: f64 = 5.4;

pub const MARGIN_MM: f64 = 9.0;

const HEAD_MM: f64 = 15.0;

/// What a second line of the head takes.
const SECOND_MM: f64 = 5.0;

const UNDER_TITLE_MM: f64 = TEXT_MM + 0.3;

pub const FOOT_MM: f64 = 14.0;

const HEAD_RULE_MM: f64 = 0.6;

/// What stands at the foot of every sheet.
const CAUTION: &str = "Results support a competent person's judgement. They do not replace the adopted code, the membrane maker's \
                       data sheet or licensed practice.";

/// Lines the caution takes at the narrowest; it is never cut.
const CAUTION_LINES: usize = 4;

pub fn draw_head(svg: &mut Svg, layout: &Layout, head: &Head, scene: &Scene) {
    let [w, _] = layout.size;
    let (left, right) = (MARGIN_MM, w - MARGIN_MM);
    let scale = if layout.one_to > 0.0 { scale_words(layout.one_to) } else { String::new() };
    let scale_width = text::width_mm(&scale, TEXT_MM, false) + 4.0;
    let title = text::shortened(head.what, TITLE_MM, true, right - left - scale_width);
    svg.text(Text::new(&title, [left, MARGIN_MM + 3.0], TITLE_MM).bold());
    svg.text(Text::new(&scale, [right, MARGIN_MM + 3.6], TEXT_MM).anchor(Anchor::End));
    let lines = under_title(scene, right - left);
    for (i, line) in lines.iter().enumerate() {
        let y = MARGIN_MM + 10.2 + SECOND_MM * i as f64;
        svg.text(Text::new(&text::shortened(line, UNDER_TITLE_MM, false, right - left), [left, y], UNDER_TITLE_MM));
    }
    let rule = MARGIN_MM + head_mm(scene, w) - 1.0;
    svg.line([left, rule], [right, rule], Paint::line(BLACK, HEAD_RULE_MM));
}

/// Whose room and when: on one line, or on two where one is too short.
fn under_title(scene: &Scene, width: f64) -> Vec<String> {
    let parts: Vec<&str> = [scene.title.trim(), scene.subtitle.trim()].into_iter().filter(|part| !part.is_empty()).collect();
    let one = parts.join("  \u{b7}  ");
    if text::width_mm(&one, UNDER_TITLE_MM, false) <= width { vec![one] } else { parts.into_iter().map(str::to_owned).collect() }
}

/// Height of the head of a sheet of some width.
pub fn head_mm(scene: &Scene, width: f64) -> f64 {
    HEAD_MM + SECOND_MM * under_title(scene, width - 2.0 * MARGIN_MM).len().saturating_sub(1) as f64
}

fn scale_words(one_to: f64) -> String {
    let n = if one_to.fract() == 0.0 { format!("{one_to:.0}") } else { format!("{one_to:.1}") };
    format!("1:{n} on A4")
}

pub fn draw_foot(svg: &mut Svg, layout: &Layout) {
    let [w, h] = layout.size;
    let (left, right, top) = (MARGIN_MM, w - MARGIN_MM, h - MARGIN_MM - FOOT_MM + 1.0);
    svg.line([left, top], [right, top], Paint::line(BLACK, FINE_MM));
    let caution_x = if layout.one_to > 0.0 { measures(svg, [left, top], 1.0 / layout.one_to) } else { left };
    for (i, line) in text::wrapped(CAUTION, TEXT_MM, false, right - caution_x, CAUTION_LINES).iter().enumerate() {
        svg.text(Text::new(line, [caution_x, top + 3.4 + 3.9 * i as f64], TEXT_MM));
    }
}

/// Ruler, axes and units; returns where the foot is free again.
fn measures(svg: &mut Svg, [left, top]: At, k: f64) -> f64 {
    let bar_end = scale_bar(svg, [left, top + 4.6], k);
    axes(svg, [bar_end + 9.0, top + 11.0]);
    let note_x = bar_end + 21.0;
    for (i, line) in ["x to the right, y up", "the plan; lengths in mm"].iter().enumerate() {
        svg.text(Text::new(line, [note_x, top + 5.0 + PITCH_MM * i as f64], TEXT_MM).ink(GREY));
    }
    note_x + 44.0
}

/// A part of the ruler is at most so long on paper.
const PART_MM: f64 = 12.0;

/// The largest of 1, 2 and 5 times a power of ten that is not larger.
fn round_below(value: f64) -> f64 {
    let mut decade = 1e-3;
    while decade * 10.0 <= value && decade < 1e9 {
        decade *= 10.0;
    }
    [5.0, 2.0].into_iter().map(|part| part * decade).find(|v| *v <= value).unwrap_or(decade)
}

/// A ruler in metres; returns where it ends.
fn scale_bar(svg: &mut Svg, [x, y]: At, k: f64) -> f64 {
    let part_mm = round_below(PART_MM / k);
    let part = part_mm * k;
    for i in 0..4 {
        let rect = Rect::new([x + part * f64::from(i), y], [x + part * f64::from(i + 1), y + 1.6]);
        svg.rect(rect, 0.0, Paint::line(BLACK, FINE_MM).filled(if i % 2 == 0 { BLACK } else { WHITE }));
    }
    let metres = |parts: f64| {
        let text = format!("{:.3}", part_mm * parts / 1000.0);
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    };
    svg.text(Text::new("0", [x, y + 4.6], TEXT_MM));
    svg.text(Text::new(&metres(2.0), [x + 2.0 * part, y + 4.6], TEXT_MM).anchor(Anchor::Middle));
    let last = format!("{} m", metres(4.0));
    svg.text(Text::new(&last, [x + 4.0 * part, y + 4.6], TEXT_MM).anchor(Anchor::Middle));
    x + 4.0 * part + text::width_mm(&last, TEXT_MM, false) / 2.0
}

/// Two small arrows, x and y.
fn axes(svg: &mut Svg, at: At) {
    let paint = Paint::line(GREY, LINE_MM);
    let (right, up) = ([at[0] + 6.0, at[1]], [at[0], at[1] - 6.0]);
    svg.line(at, right, paint);
    svg.line(at, up, paint);
    svg.polyline(&[[right[0] - 1.3, right[1] - 0.8], right, [right[0] - 1.3, right[1] + 0.8]], paint);
    svg.polyline(&[[up[0] - 0.8, up[1] + 1.3], up, [up[0] + 0.8, up[1] + 1.3]], paint);
    svg.text(Text::new("x", [right[0] + 1.0, right[1] - 0.3], TEXT_MM).ink(ink::GREY));
    svg.text(Text::new("y", [up[0] - 2.8, up[1] + 0.8], TEXT_MM).ink(ink::GREY));
}

#[cfg(test)]
mod tests {
    use super::super::layout::{LYING, SCALES};
    use super::*;

    /// The caution stands whole on every sheet: beside the widest ruler on the narrower page.
    #[test]
    fn the_caution_is_never_cut() {
        for one_to in SCALES.into_iter().chain([1370.0, 2000.0, 1e5]) {
            let mut svg = Svg::page("t", [210.0, 297.0], "t", "d");
            let from = measures(&mut svg, [MARGIN_MM, 0.0], 1.0 / one_to);
            let lines = text::wrapped(CAUTION, TEXT_MM, false, LYING[1] - MARGIN_MM - from, CAUTION_LINES);
            assert!(lines.last().is_some_and(|line| line.ends_with("practice.")), "1:{one_to}: {lines:?}");
        }
    }

    #[test]
    fn rulers_have_round_parts() {
        for (value, expected) in [(720.0, 500.0), (120.0, 100.0), (200.0, 200.0), (99.0, 50.0), (1.0, 1.0)] {
            assert!((round_below(value) - expected).abs() < 1e-9, "{value}: {}", round_below(value));
        }
    }
}
