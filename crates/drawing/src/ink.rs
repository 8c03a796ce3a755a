//! Inks, line styles and ramps. Nothing is told by colour alone.

use crate::Mark;
use crate::svg::{Paint, Svg};

/// Text and the room itself.
pub const BLACK: &str = "#1a1a1a";
/// What stands behind.
pub const GREY: &str = "#6b6b6b";
/// Fine lines of the background.
pub const PALE: &str = "#b8b8b8";
/// Paper.
pub const WHITE: &str = "#ffffff";
/// Water, arrows: blue of Okabe and Ito.
pub const BLUE: &str = "#0072b2";
/// Bluish green of Okabe and Ito (Color Universal Design, 2008), which people who see few colours tell apart.
pub const GREEN: &str = "#009e73";
/// Vermilion of the same set.
pub const VERMILION: &str = "#d55e00";
/// Vermilion dark enough for white figures on it, and for figures on white (contrast 6.2:1 after WCAG 2.2).
pub const DARK_VERMILION: &str = "#a84300";
/// Reddish purple of the same set.
pub const PURPLE: &str = "#cc79a7";

/// Thinnest line that prints safely.
pub const FINE_MM: f64 = 0.25;
/// An ordinary line.
pub const LINE_MM: f64 = 0.35;
/// The outline of the floor.
pub const HEAVY_MM: f64 = 0.7;

/// Shallow to deep water: viridis (S. van der Walt, N. Smith 2015, released under CC0; entries 240, 211, 182, 153, 124, 95
/// of the published table of 256). Its lightness falls evenly from L* 87 to 45; the dark third is left out so that lines
/// and numbers on top stay legible in a black-and-white copy.
pub const DEPTH: [&str; 6] = ["#d8e219", "#8bd646", "#4ac16d", "#22a884", "#228d8d", "#2c718e"];

/// Thin to thick film: cividis (J. Nunez, C. Anderton, R. Renslow, PLOS ONE 13(7), 2018; entries 252, 222, 192, 162, 132, 102
/// of its table of 256), made to look alike to people who see few colours. Its lightness falls evenly from L* 90 to 44, so
/// that thin is light and hatching, lines and numbers stay legible on it in a black-and-white copy.
pub const FILM: [&str; 6] = ["#fee434", "#dcc859", "#bcae6c", "#9d9576", "#807f78", "#666970"];

/// Little to much water: one blue ink from pale to deep, its lightness falling evenly (our own; L* 93, 80, 67, 53, 39, 25).
pub const WATER: [&str; 6] = ["#dcecf8", "#a9cbe9", "#74a9d8", "#4083bd", "#1e5e98", "#0b3a6b"];

/// The ink of a mark.
pub fn of(mark: Mark) -> &'static str {
    match mark {
        Mark::Conforms => GREEN,
        Mark::FallsShort => VERMILION,
        Mark::NotShown => BLACK,
        Mark::Departure => PURPLE,
        Mark::NotLookedAt => PALE,
    }
}

/// The lines a run is drawn with, one upon the other: white below, so that nothing shows through its gaps.
pub fn run(mark: Mark) -> Vec<Paint<'static>> {
    match mark {
        Mark::Conforms => vec![Paint::line(WHITE, 1.4), Paint::line(GREEN, 0.8)],
        Mark::FallsShort => vec![Paint::line(WHITE, 2.4), Paint::line(VERMILION, 1.8), Paint::line(WHITE, 0.5).dashed("1.2 1.2")],
        Mark::NotShown => {
            vec![Paint::line(WHITE, 2.0), Paint::line(BLACK, 1.3).dashed("2.2 1.5"), Paint::line(WHITE, 0.6).dashed("1.7 2").round()]
        }
        Mark::Departure => vec![Paint::line(WHITE, 2.0), Paint::line(PURPLE, 1.4).dashed("3.4 1 0.8 1")],
        Mark::NotLookedAt => vec![Paint::line(PALE, FINE_MM)],
    }
}

/// Name of the pattern of a mark's area.
pub fn pattern(mark: Mark) -> &'static str {
    match mark {
        Mark::Conforms => "conforms",
        Mark::FallsShort => "falls-short",
        Mark::NotShown => "not-shown",
        Mark::Departure => "departure",
        Mark::NotLookedAt => "not-looked-at",
    }
}

/// Defines the patterns of all marks.
pub fn define_marks(svg: &mut Svg) {
    let tile = |svg: &mut Svg, ink, mm| svg.rect(crate::page::Rect::new([0.0, 0.0], [mm, mm]), 0.0, Paint::fill(ink));
    svg.pattern("conforms", 6.0, 0.0, |svg| {
        tile(svg, "#e4f4ee", 6.0);
        svg.line([0.0, 3.0], [3.0, 3.0], Paint::line("#9fd6c3", FINE_MM));
    });
    svg.pattern("falls-short", 1.8, 45.0, |svg| {
        tile(svg, "#fbe3d3", 1.8);
        svg.line([0.9, 0.0], [0.9, 1.8], Paint::line(VERMILION, 0.45));
    });
    svg.pattern("not-shown", 3.2, -45.0, |svg| svg.line([1.6, 0.0], [1.6, 3.2], Paint::line(GREY, FINE_MM)));
    svg.pattern("departure", 2.4, 0.0, |svg| {
        tile(svg, "#f8e8f0", 2.4);
        svg.circle([1.2, 1.2], 0.4, Paint::fill(PURPLE));
    });
}
