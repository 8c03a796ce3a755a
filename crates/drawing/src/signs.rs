//! The four signs of a verdict, and samples of how lines and areas are drawn.

use crate::Mark;
use crate::ink::{self, BLACK, DARK_VERMILION, FINE_MM, GREEN, GREY, PURPLE, VERMILION, WHITE};
use crate::page::Rect;
use crate::sheet::Sample;
use crate::svg::{Anchor, At, Paint, Svg, Text, number};

/// The sign of a mark, about a place, as high as `size_mm`.
pub fn sign(svg: &mut Svg, mark: Mark, at: At, size_mm: f64) {
    match mark {
        Mark::Conforms => conforms(svg, at, size_mm),
        Mark::FallsShort => falls_short(svg, at, size_mm),
        Mark::NotShown => not_shown(svg, at, size_mm),
        Mark::Departure => departure(svg, at, size_mm),
        Mark::NotLookedAt => svg.circle(at, 0.2 * size_mm, Paint::line(ink::PALE, FINE_MM).filled(WHITE)),
    }
}

/// A full square with a level line through it.
fn conforms(svg: &mut Svg, [x, y]: At, size: f64) {
    let half = 0.38 * size;
    svg.rect(Rect::about([x, y], [2.0 * half, 2.0 * half]), 0.0, Paint::fill(GREEN));
    svg.line([x - 0.6 * size, y], [x + 0.6 * size, y], Paint::line(GREEN, 0.1 * size));
    svg.line([x - half, y], [x + half, y], Paint::line(WHITE, 0.14 * size));
}

/// A drop cut open at its base.
fn falls_short(svg: &mut Svg, [x, y]: At, size: f64) {
    let n = |dx: f64, dy: f64| format!("{} {}", number(x + dx * size), number(y + dy * size));
    let (body, bite) = (number(0.4 * size), number(0.17 * size));
    // Straight flanks from the tip to a round body, out of whose base a round piece is cut.
    let d = format!(
        "M{}L{}A{body} {body} 0 0 0 {}A{bite} {bite} 0 1 1 {}A{body} {body} 0 0 0 {}Z",
        n(0.0, -0.6),
        n(-0.34, -0.07),
        n(-0.17, 0.5),
        n(0.17, 0.5),
        n(0.34, -0.07)
    );
    svg.path(&d, Paint::line(WHITE, 0.7).filled(WHITE));
    svg.path(&d, Paint::fill(VERMILION));
}

/// An empty square in broken line, hatched.
fn not_shown(svg: &mut Svg, [x, y]: At, size: f64) {
    let half = 0.42 * size;
    svg.rect(Rect::about([x, y], [2.0 * half, 2.0 * half]), 0.0, Paint::fill(WHITE));
    for k in [-0.5, 0.0, 0.5] {
        // Three strokes upwards to the right, ended at the square.
        let c = k * 2.0 * half;
        let (x0, x1) = ((-half).max(c - half), half.min(c + half));
        svg.line([x + x0, y - (x0 - c)], [x + x1, y - (x1 - c)], Paint::line(GREY, FINE_MM));
    }
    let dash = number(2.0 * half / 5.0);
    svg.rect(Rect::about([x, y], [2.0 * half, 2.0 * half]), 0.0, Paint::line(BLACK, 0.11 * size).dashed(&format!("{dash} {dash}")));
}

/// A square with one corner turned.
fn departure(svg: &mut Svg, [x, y]: At, size: f64) {
    let (h, fold) = (0.42 * size, 0.38 * size);
    let square = vec![[x - h, y - h], [x + h - fold, y - h], [x + h, y - h + fold], [x + h, y + h], [x - h, y + h]];
    let corner = vec![[x + h - fold, y - h], [x + h, y - h + fold], [x + h - fold, y - h + fold]];
    svg.rings(&[square], Paint::line(PURPLE, 0.12 * size).filled(WHITE));
    svg.rings(&[corner], Paint::line(PURPLE, 0.12 * size).filled(PURPLE));
}

/// Words in a pill: dark for what falls short, in broken line for what is not shown.
pub fn pill(svg: &mut Svg, mark: Mark, words: &str, rect: Rect, size_mm: f64) {
    let (ground, ink, edge) = match mark {
        Mark::FallsShort => (DARK_VERMILION, WHITE, Paint::line(DARK_VERMILION, 0.4)),
        Mark::NotShown => (WHITE, BLACK, Paint::line(BLACK, 0.4).dashed("1.2 0.7")),
        Mark::Departure => (WHITE, BLACK, Paint::line(PURPLE, 0.7)),
        Mark::Conforms => (WHITE, BLACK, Paint::line(GREEN, 0.5)),
        Mark::NotLookedAt => (WHITE, BLACK, Paint::line(GREY, FINE_MM)),
    };
    let half = rect.size()[1] / 2.0;
    svg.rect(rect, half, edge.filled(ground));
    svg.text(Text::new(words, rect.middle(), size_mm).bold().anchor(Anchor::Middle).ink(ink));
}

/// The sign in a box of the list.
pub fn sign_sample(mark: Mark) -> Sample {
    Box::new(move |svg, rect| sign(svg, mark, rect.middle(), 3.6))
}

/// Sign, line and area of a mark side by side.
pub fn mark_sample(mark: Mark) -> Sample {
    Box::new(move |svg, rect| {
        let y = rect.middle()[1];
        sign(svg, mark, [rect.lo[0] + 2.2, y], 3.6);
        for paint in ink::run(mark) {
            svg.line([rect.lo[0] + 6.0, y], [rect.lo[0] + 15.0, y], paint);
        }
        let box_ = Rect::new([rect.lo[0] + 17.0, y - 1.8], [rect.lo[0] + 24.5, y + 1.8]);
        let fill = if mark == Mark::NotLookedAt { WHITE.to_owned() } else { svg.pattern_fill(ink::pattern(mark)) };
        svg.rect(box_, 0.0, Paint::line(ink::of(mark), FINE_MM).filled(&fill));
    })
}
