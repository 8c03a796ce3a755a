//! The unfolded room with the water each of its details sees in a day.

use crate::ink::{FINE_MM, GREY, WATER, WHITE};
use crate::net::NAMES_MM;
use crate::net::{self, Flat, OnPage, on_page};
use crate::page::Rect;
use crate::sheet::{Block, Head, Sheet, TEXT_MM};
use crate::svg::{Anchor, At, Paint, Svg, Text};
use crate::{MarkedDetail, Scene, contour, details, plan, text};

const HEAD: Head = Head {
    name: "water",
    what: "Water each detail sees",
    about: "The room laid flat, each detail tinted from pale to deep blue by the litres a day that reach it, the wettest with \
            their litres.",
    rest: "see the assessment",
};
/// Litres written at details, at most: the wettest.
const NUMBERED: usize = 60;
/// and only from this share of the most on.
const SHARE: f64 = 0.005;

/// The unfolded room, its details tinted by litres a day.
pub fn water(scene: &Scene) -> String {
    let flat = Flat::of(scene);
    let scale = Scale::of(scene);
    flat.sheet(
        &HEAD,
        scene,
        &blocks(scene, &scale),
        |_| {},
        |sheet| {
            let Flat { room, net } = &flat;
            let mut drawn: Vec<(&MarkedDetail, OnPage)> =
                scene.details.iter().filter_map(|marked| Some((marked, on_page(sheet, net, marked.detail)?))).collect();
            drawn.sort_by(|a, b| litres(a.0).unwrap_or(-1.0).total_cmp(&litres(b.0).unwrap_or(-1.0)));
            net::faces(sheet, net);
            tint(sheet, &drawn, &scale, Layer::Areas);
            let openings = net::holes(sheet, room, net);
            net::ties(sheet, room, net);
            net::floor(sheet, room);
            tint(sheet, &drawn, &scale, Layer::Lines);
            plan::things(sheet, room);
            tint(sheet, &drawn, &scale, Layer::Points);
            net::dimensions(sheet, room, net);
            numbers(sheet, &drawn);
            net::names(sheet, room, net, &openings);
            plan::thing_names(sheet, room, NAMES_MM);
        },
    )
}

/// Less than this is written as none.
const LEAST_LITRES: f64 = 0.01;
/// More litres a day than any fixture gives are a slip.
const MOST_LITRES: f64 = 1e7;

/// Litres a day where they are known and make sense.
fn litres(marked: &MarkedDetail) -> Option<f64> {
    marked.litres_per_day.filter(|l| (0.0..=MOST_LITRES).contains(l))
}

/// Steps of litres a day, each about three times the one before.
struct Scale {
    /// Lower bound of each step but the first, rising.
    from: Vec<f64>,
}

impl Scale {
    fn of(scene: &Scene) -> Self {
        let most = scene.details.iter().filter_map(litres).fold(0.0, f64::max);
        let mut bounds: Vec<f64> = vec![0.01, 0.03];
        while bounds.last().is_some_and(|last| *last < 1e6) {
            let next = bounds[bounds.len() - 2] * 10.0;
            bounds.push(next);
        }
        let below = bounds.iter().filter(|b| **b <= 0.8 * most).count();
        let from = bounds[below.saturating_sub(WATER.len() - 1)..below].to_vec();
        Self { from }
    }

    fn step(&self, litres: f64) -> usize {
        self.from.iter().filter(|from| litres >= **from).count()
    }

    /// Deepest ink for the last step.
    fn ink(&self, step: usize) -> &'static str {
        WATER[WATER.len() - 1 - self.from.len().min(WATER.len() - 1) + step]
    }

    fn width_mm(&self, step: usize) -> f64 {
        0.6 + 0.35 * (step + WATER.len() - 1 - self.from.len()) as f64
    }

    fn words(&self, step: usize) -> String {
        let figure = |v: f64| text::figures(v).trim_end_matches(".0").to_owned();
        match (step.checked_sub(1).and_then(|i| self.from.get(i)), self.from.get(step)) {
            (Some(from), Some(to)) => format!("{} to {} L a day", figure(*from), figure(*to)),
            (Some(from), None) => format!("{} L a day and more", figure(*from)),
            (None, Some(to)) => format!("less than {} L a day", figure(*to)),
            (None, None) => "no water".into(),
        }
    }
}

fn blocks(scene: &Scene, scale: &Scale) -> Vec<Block> {
    let mut blocks = Vec::new();
    if scene.details.iter().all(|d| litres(d).is_none()) {
        blocks.push(Block::Text("Nothing is known of the water yet: it needs a shower rose and a measured floor.".into()));
    } else {
        if let Some(surface) = &scene.surface {
            blocks.push(Block::Text(format!("Shower water of one day, run over: {}", surface.words)));
        }
        for step in (0..=scale.from.len()).rev() {
            let (ink, width) = (scale.ink(step), scale.width_mm(step));
            let sample = Box::new(move |svg: &mut Svg, rect: Rect| {
                let y = rect.middle()[1];
                svg.rect(Rect::new([rect.lo[0], y - 1.9], [rect.lo[0] + 9.0, y + 1.9]), 0.0, Paint::line(GREY, FINE_MM).filled(ink));
                svg.line([rect.lo[0] + 11.0, y], [rect.hi[0], y], Paint::line(GREY, width + 0.35));
                svg.line([rect.lo[0] + 11.0, y], [rect.hi[0], y], Paint::line(ink, width));
            });
            blocks.push(Block::Key { sample, width_mm: 22.0, number: None, words: scale.words(step) });
        }
    }
    let unknown = scene.details.iter().filter(|d| litres(d).is_none()).count();
    if unknown > 0 {
        let sample = Box::new(|svg: &mut Svg, rect: Rect| {
            let y = rect.middle()[1];
            svg.line([rect.lo[0] + 1.0, y], [rect.hi[0], y], Paint::line(GREY, LINE_OF_UNKNOWN.0).dashed(LINE_OF_UNKNOWN.1));
        });
        blocks.push(Block::Key { sample, width_mm: 22.0, number: None, words: format!("not computed: {unknown}") });
    }
    let mut wettest: Vec<&MarkedDetail> = scene.details.iter().filter(|d| litres(d).is_some_and(|l| l >= LEAST_LITRES)).collect();
    wettest.sort_by(|a, b| litres(b).unwrap_or(0.0).total_cmp(&litres(a).unwrap_or(0.0)));
    if !wettest.is_empty() {
        blocks.push(Block::Heading("Wettest, litres a day".into()));
    }
    for marked in wettest.iter().take(12) {
        let words = text::figures(litres(marked).unwrap_or(0.0));
        let sample = Box::new(move |svg: &mut Svg, rect: Rect| {
            svg.text(Text::new(&words, [rect.hi[0], rect.middle()[1]], TEXT_MM).bold().anchor(Anchor::End));
        });
        blocks.push(Block::Key { sample, width_mm: 10.0, number: None, words: marked.detail.name.clone() });
    }
    blocks.extend(scene.notes.iter().map(|note| Block::Text(note.clone())));
    blocks
}

const LINE_OF_UNKNOWN: (f64, &str) = (0.3, "0.8 0.8");

#[derive(Clone, Copy, PartialEq, Eq)]
enum Layer {
    Areas,
    Lines,
    Points,
}

fn tint(sheet: &mut Sheet, drawn: &[(&MarkedDetail, OnPage)], scale: &Scale, layer: Layer) {
    for (marked, place) in drawn {
        let step = litres(marked).map(|l| scale.step(l));
        let ink = step.map_or(WHITE, |s| scale.ink(s));
        let width = step.map_or(LINE_OF_UNKNOWN.0, |s| scale.width_mm(s));
        let title = match litres(marked) {
            Some(l) => format!("{}: {} L a day", marked.detail.name, text::figures(l)),
            None => format!("{}: not computed", marked.detail.name),
        };
        match (place, layer) {
            (OnPage::Areas(rings), Layer::Areas) => {
                let edge = Paint::line(GREY, FINE_MM);
                sheet.svg.named(&title, |svg| svg.rings(rings, if step.is_some() { edge.filled(ink) } else { edge.dashed("0.8 0.8") }));
            }
            (OnPage::Line(line), Layer::Lines) => {
                sheet.svg.named(&title, |svg| match step {
                    Some(_) => {
                        svg.polyline(line, Paint::line(GREY, width + 0.35));
                        svg.polyline(line, Paint::line(ink, width));
                    }
                    None => svg.polyline(line, Paint::line(GREY, LINE_OF_UNKNOWN.0).dashed(LINE_OF_UNKNOWN.1)),
                });
                sheet.places.spare_line(line, width);
            }
            (OnPage::Point(at), Layer::Points) => {
                let at: At = *at;
                sheet.svg.named(&title, |svg| svg.circle(at, 0.7 + 0.5 * width, Paint::line(GREY, FINE_MM).filled(ink)));
                sheet.places.take(Rect::about(at, [1.4 + width, 1.4 + width]));
            }
            _ => {}
        }
    }
}

/// The litres at the wettest details, wettest first; one figure at one place.
fn numbers(sheet: &mut Sheet, drawn: &[(&MarkedDetail, OnPage)]) {
    let mut said: Vec<At> = Vec::new();
    let most = drawn.last().and_then(|(marked, _)| litres(marked)).unwrap_or(0.0);
    for (marked, place) in drawn.iter().rev() {
        let Some(litres) = litres(marked).filter(|l| *l >= SHARE * most && *l >= LEAST_LITRES) else { continue };
        let Some((at, clear)) = details::anchor(place) else { continue };
        if said.len() >= NUMBERED || said.iter().any(|other| contour::distance(*other, at, at) < 6.0) {
            continue;
        }
        if sheet.label_in(&text::figures(litres), at, clear, 12.0, crate::ink::BLACK, true).is_some() {
            said.push(at);
        }
    }
}
