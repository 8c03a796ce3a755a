//! The film between the readings: bands with numbered lines, hatched by the probability of being below the limit.

use super::mosaic::{Part, parts};
use super::{FilmOnRoom, um};
use crate::contour;
use crate::floor::{label_line, on_page};
use crate::ink::{BLACK, FILM, FINE_MM, LINE_MM, VERMILION, WHITE};
use crate::page::Rect;
use crate::sheet::{Block, Sample, Sheet};
use crate::svg::{At, Paint, Svg};
use crate::text;
use room::unfold::Unfolded;

/// Probabilities of being below the limit from which on a place is hatched, each with more strokes than the one before.
const HATCHED: [(f64, &str, &str); 3] = [(0.05, "below-5", "over 5 %"), (0.5, "below-50", "over 50 %"), (0.95, "below-95", "over 95 %")];

/// The bands of a film.
pub struct Bands {
    um: Vec<Part>,
    prob: Vec<Part>,
    /// Lower bounds of the bands, rising.
    from: Vec<f64>,
    step: f64,
    limit_um: Option<f64>,
}

impl Bands {
    /// `None` without a map.
    pub fn of(net: &Unfolded, film: &FilmOnRoom) -> Option<Self> {
        let um = parts(net, film.map, |grid| grid.um);
        let values = || um.iter().flat_map(|part| &part.field.values).copied().filter(|v| v.is_finite());
        let (least, most) = values().fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), v| (lo.min(v), hi.max(v)));
        if least > most {
            return None;
        }
        let step = contour::step((most - least).max(1.0), FILM.len() - 1).max(1.0);
        let first = (least / step).floor();
        let from = (0..=FILM.len()).map(|k| (first + k as f64) * step).take_while(|from| *from <= most).collect();
        Some(Self { um, prob: parts(net, film.map, |grid| grid.prob_below), from, step, limit_um: film.limit_um })
    }

    /// Light where it is thin, whatever their number.
    fn ink(&self, band: usize) -> &'static str {
        let last = self.from.len().saturating_sub(1).max(3);
        FILM[(band * (FILM.len() - 1) / last).min(FILM.len() - 1)]
    }

    /// Bands, lines, hatching; gives the lines to be numbered.
    pub fn draw(&self, sheet: &mut Sheet) -> Vec<(Vec<At>, String)> {
        let mut numbered = Vec::new();
        for (i, part) in self.um.iter().enumerate() {
            let rings: Vec<Vec<At>> = part.rings.iter().map(|ring| sheet.view.line(ring)).collect();
            let known = on_page(sheet, &part.field.areas(f64::MIN));
            let bands: Vec<Vec<Vec<At>>> = self.from.iter().skip(1).map(|from| on_page(sheet, &part.field.areas(*from))).collect();
            let lines: Vec<Vec<Vec<At>>> = self.from.iter().skip(1).map(|from| on_page(sheet, &part.field.lines(*from))).collect();
            sheet.svg.clipped(&format!("band-{i}"), &rings, |svg| {
                svg.rings(&known, Paint::fill(self.ink(0)));
                for (k, band) in bands.iter().enumerate() {
                    svg.rings(band, Paint::fill(self.ink(k + 1)));
                }
                for line in &lines {
                    svg.polylines(line, Paint::line(BLACK, FINE_MM));
                }
            });
            for (from, lines) in self.from.iter().skip(1).zip(lines) {
                numbered.extend(lines.into_iter().map(|line| (line, text::decimal(*from, 0))));
            }
        }
        for (i, part) in self.prob.iter().enumerate() {
            let rings: Vec<Vec<At>> = part.rings.iter().map(|ring| sheet.view.line(ring)).collect();
            let areas = HATCHED.map(|(prob, name, _)| (on_page(sheet, &part.field.areas(prob)), sheet.svg.pattern_fill(name)));
            let half = on_page(sheet, &part.field.lines(0.5));
            sheet.svg.clipped(&format!("likely-{i}"), &rings, |svg| {
                for (area, fill) in &areas {
                    svg.rings(area, Paint::fill(fill));
                }
                svg.polylines(&half, Paint::line(WHITE, 1.3));
                svg.polylines(&half, Paint::line(VERMILION, 0.7));
            });
        }
        numbered
    }

    /// Bands and hatchings with what they stand for.
    pub fn legend(&self) -> Vec<Block> {
        let key = |sample: Sample, words: String| Block::Key { sample, width_mm: 16.0, number: None, words };
        let whole = |v: f64| text::decimal(v, 0);
        let band = |(k, from): (usize, &f64)| {
            let ink = self.ink(k);
            let sample = Box::new(move |svg: &mut Svg, rect: Rect| svg.rect(swatch(rect), 0.0, Paint::line(BLACK, FINE_MM).filled(ink)));
            key(sample, format!("{} to {}", whole(*from), um(from + self.step)))
        };
        let mut blocks: Vec<Block> = self.from.iter().enumerate().map(band).collect();
        if let (Some(limit), false) = (self.limit_um, self.prob.is_empty()) {
            for (k, (_, _, words)) in HATCHED.into_iter().enumerate() {
                let sample = Box::new(move |svg: &mut Svg, rect: Rect| {
                    svg.rect(swatch(rect), 0.0, Paint::line(BLACK, FINE_MM).filled(WHITE));
                    for (_, name, _) in &HATCHED[..=k] {
                        let fill = svg.pattern_fill(name);
                        svg.rect(swatch(rect), 0.0, Paint::fill(&fill));
                    }
                });
                blocks.push(key(sample, format!("probability of less than {}: {words}", um(limit))));
            }
            let sample = Box::new(|svg: &mut Svg, rect: Rect| {
                let y = rect.middle()[1];
                svg.line([rect.lo[0] + 1.5, y], [rect.hi[0] - 1.5, y], Paint::line(VERMILION, 0.7));
            });
            blocks.push(key(sample, format!("as likely below {} as above", um(limit))));
        }
        blocks
    }
}

/// Numbers along the lines.
pub fn names(sheet: &mut Sheet, lines: &[(Vec<At>, String)]) {
    for (line, words) in lines {
        label_line(sheet, line, words, 80.0);
    }
}

fn swatch(rect: Rect) -> Rect {
    Rect::about(rect.middle(), [13.0, 3.8])
}

/// Each hatching is drawn over the one before: strokes, crossed strokes, crossed strokes with dense ones.
pub fn define_hatching(svg: &mut Svg) {
    let lines = |svg: &mut Svg, name: &str, apart: f64, turned: f64, width: f64| {
        svg.pattern(name, apart, turned, |svg| svg.line([apart / 2.0, 0.0], [apart / 2.0, apart], Paint::line(BLACK, width)));
    };
    lines(svg, HATCHED[0].1, 2.6, 45.0, FINE_MM);
    lines(svg, HATCHED[1].1, 2.6, -45.0, LINE_MM);
    lines(svg, HATCHED[2].1, 1.3, 90.0, LINE_MM);
}
