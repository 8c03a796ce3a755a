//! The unfolded room with what each coat of one membrane covers, and what no coat log covers.

use crate::ink::{self, BLACK, BLUE, FINE_MM, GREY, PURPLE, WHITE};
use crate::net::{self, Flat, OnPage, place_on_page};
use crate::page::Rect;
use crate::sheet::{Block, Head, Sample, Sheet, TEXT_MM};
use crate::signs::{mark_sample, pill};
use crate::svg::{At, Paint, Svg};
use crate::{Mark, Scene, contour, details, plan, text};
use measure::math;
use room::register::{Face, Place};
use room::unfold::Unfolded;
use std::collections::BTreeSet;

/// What the log of one membrane says.
#[derive(Clone, Copy)]
pub struct CoatsOnRoom<'a> {
    /// Root of the ids in the drawing: "coats-over-screed".
    pub id: &'a str,
    /// Which membrane: "upper membrane".
    pub words: &'a str,
    /// Its coats, first to last.
    pub coats: &'a [CoatLaid<'a>],
}

/// One coat.
#[derive(Clone, Copy)]
pub struct CoatLaid<'a> {
    /// Which: 1, 2.
    pub number: u32,
    /// Who, when, which colour: "27 Feb 2024, grey, stated by the applicator".
    pub words: &'a str,
    /// Which way it was laid.
    pub way: CoatWay,
    /// What its log covers, in the coordinates of each face.
    pub covers: &'a [(Face, Place)],
    /// What it should cover and no log says it does.
    pub lacks: &'a [(Face, Place)],
}

/// Which way a coat was laid on a face.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CoatWay {
    /// Along the face's x: along a wall.
    Along,
    /// Across it: up a wall.
    Across,
    /// Both ways.
    Both,
    /// Nobody noted it, or not one way for the whole coat.
    NotNoted,
}

impl CoatWay {
    fn words(self) -> &'static str {
        match self {
            Self::Along => "laid along x, along the wall",
            Self::Across => "laid along y, up the wall",
            Self::Both => "laid both ways",
            Self::NotNoted => "no one direction noted: drawn aslant",
        }
    }

    /// Directions of its hatching on the face; aslant where it is not known, each coat its own way.
    fn turns_deg(self, number: u32) -> Vec<f64> {
        match self {
            Self::Along => vec![0.0],
            Self::Across => vec![90.0],
            Self::Both => vec![0.0, 90.0],
            Self::NotNoted => vec![if number % 2 == 1 { 45.0 } else { -45.0 }],
        }
    }
}

const ABOUT: &str = "The room laid flat, floor in the middle and walls folded out, to scale. What the log of each coat covers is \
                     hatched the way the coat was laid, each coat with its own line and number; what no log covers is hatched bare \
                     and outlined in broken line.";
/// Distance of a coat's lines.
const APART_MM: f64 = 3.0;
/// The same words are not said again nearer than this.
const SAME_NUMBER_MM: f64 = 30.0;
/// Words this near to their place need no tie.
const TIE_MM: f64 = 1.6;

/// How the lines of a coat are drawn: ink, width, the drawn share of each distance.
fn line_of(number: u32) -> (&'static str, f64, f64) {
    match number % 3 {
        1 => (BLUE, 0.3, 1.0),
        2 => (DEEP_ORANGE, 0.45, 0.62),
        _ => (PURPLE, 0.6, 0.25),
    }
}

/// Orange of Okabe and Ito, darker: thin lines of it must show on white.
const DEEP_ORANGE: &str = "#b36b00";

/// The unfolded room with what each coat covers and what no log covers.
pub fn coats(scene: &Scene, given: &CoatsOnRoom) -> String {
    let flat = Flat::of(scene);
    let head = Head { name: given.id, what: &format!("Coats: {}", given.words), about: ABOUT, rest: "see the assessment" };
    flat.sheet(&head, scene, &blocks(scene, given), ink::define_marks, |sheet| {
        let Flat { room, net } = &flat;
        let mut hatchings = Hatchings::default();
        for coat in given.coats {
            covered(sheet, net, coat, &mut hatchings);
        }
        lacking(sheet, net, given);
        net::faces(sheet, net);
        let openings = net::holes(sheet, room, net);
        net::ties(sheet, room, net);
        net::floor(sheet, room);
        lines(sheet, net, given);
        plan::things(sheet, room);
        numbers(sheet, net, given);
        net::dimensions(sheet, room, net);
        net::names(sheet, room, net, &openings);
        plan::thing_names(sheet, room, net::NAMES_MM);
    })
}

fn blocks(scene: &Scene, given: &CoatsOnRoom) -> Vec<Block> {
    let mut blocks = Vec::new();
    if given.coats.is_empty() {
        blocks.push(Block::Text("No coat log of this membrane: its coats are not shown.".into()));
    }
    for coat in given.coats {
        let logged = [coat.words, coat.way.words()].into_iter().filter(|w| !w.is_empty()).collect::<Vec<_>>().join("; ");
        let words = if coat.covers.is_empty() { "in no log".to_owned() } else { logged };
        blocks.push(Block::Key {
            sample: sample(coat.number, coat.way),
            width_mm: 16.0,
            number: None,
            words: format!("coat {}: {words}", coat.number),
        });
    }
    if given.coats.iter().any(|coat| !coat.lacks.is_empty()) {
        let words = "no log says that this coat was laid here";
        blocks.push(Block::Key { sample: mark_sample(Mark::NotShown), width_mm: 25.0, number: None, words: words.into() });
    } else if !given.coats.is_empty() {
        blocks.push(Block::Text("Each coat has a log wherever it is due.".into()));
    }
    blocks.push(Block::Text("A log is what was stated. Colour of the coats, film readings and photographs bear it out or do not.".into()));
    blocks.extend(scene.notes.iter().map(|note| Block::Text(note.clone())));
    blocks
}

fn sample(number: u32, way: CoatWay) -> Sample {
    Box::new(move |svg, rect| {
        let own = Rect::about(rect.middle(), [13.0, 4.0]);
        svg.rect(own, 0.0, Paint::line(GREY, FINE_MM).filled(WHITE));
        let (ink, width, share) = line_of(number);
        let dash = dash(share);
        let paint = Paint::line(ink, width).dashed(&dash);
        for turn in way.turns_deg(number) {
            let (sin, cos) = math::sincos(turn.to_radians());
            // Lines across the box, cut to it.
            for k in -8..=8 {
                let off = f64::from(k) * APART_MM * 0.7;
                let at = [own.middle()[0] - off * sin, own.middle()[1] - off * cos];
                if let Some([a, b]) = cut(own, at, [cos, -sin]) {
                    svg.line(a, b, paint);
                }
            }
        }
    })
}

/// Lengths of stroke and gap along a line; none for a whole line.
fn dash(share: f64) -> String {
    if share >= 1.0 { String::new() } else { format!("{:.2} {:.2}", APART_MM * share, APART_MM * (1.0 - share)) }
}

/// The part of a line inside a rectangle.
fn cut(rect: Rect, at: At, unit: [f64; 2]) -> Option<[At; 2]> {
    let (mut from, mut to) = (-100.0_f64, 100.0_f64);
    for k in 0..2 {
        if unit[k].abs() < 1e-9 {
            if at[k] <= rect.lo[k] || at[k] >= rect.hi[k] {
                return None;
            }
            continue;
        }
        let ends = [(rect.lo[k] - at[k]) / unit[k], (rect.hi[k] - at[k]) / unit[k]];
        from = from.max(ends[0].min(ends[1]));
        to = to.min(ends[0].max(ends[1]));
    }
    let on = |t: f64| [at[0] + t * unit[0], at[1] + t * unit[1]];
    (to - from > 0.1).then(|| [on(from), on(to)])
}

/// Patterns defined so far: coat and direction on the page.
#[derive(Default)]
struct Hatchings {
    defined: BTreeSet<(u32, i64)>,
}

impl Hatchings {
    /// Fills of a coat's hatching on a face.
    fn fills(&mut self, svg: &mut Svg, net: &Unfolded, face: &Face, coat: &CoatLaid) -> Vec<String> {
        let direction = |turn: f64| {
            let (sin, cos) = math::sincos(turn.to_radians());
            let [a, b] = [[0.0, 0.0], [1000.0 * cos, 1000.0 * sin]].map(|p| net.to_sheet(face, p).unwrap_or(p));
            // Which way on the page, whose y runs down; a line has no sense.
            (-math::atan2(b[1] - a[1], b[0] - a[0]).to_degrees()).round().rem_euclid(180.0) as i64
        };
        coat.way
            .turns_deg(coat.number)
            .into_iter()
            .map(|turn| {
                let turned = direction(turn);
                let name = format!("coat-{}-{turned}", coat.number);
                if self.defined.insert((coat.number, turned)) {
                    let (ink, width, share) = line_of(coat.number);
                    svg.pattern(&name, APART_MM, turned as f64, |svg| {
                        svg.line([0.0, APART_MM / 2.0], [APART_MM * share, APART_MM / 2.0], Paint::line(ink, width));
                    });
                }
                svg.pattern_fill(&name)
            })
            .collect()
    }
}

fn covered(sheet: &mut Sheet, net: &Unfolded, coat: &CoatLaid, hatchings: &mut Hatchings) {
    for (face, place) in coat.covers {
        let Some(OnPage::Areas(rings)) = place_on_page(sheet, net, face, place) else { continue };
        let fills = hatchings.fills(&mut sheet.svg, net, face, coat);
        let (ink, ..) = line_of(coat.number);
        sheet.svg.named(&format!("coat {}: {}", coat.number, coat.words), |svg| {
            for fill in &fills {
                svg.rings(&rings, Paint::fill(fill));
            }
            svg.rings(&rings, Paint::line(ink, FINE_MM));
        });
    }
}

/// What of the same place lacks which coats.
fn gaps<'a>(given: &CoatsOnRoom<'a>) -> Vec<(&'a Face, &'a Place, Vec<u32>)> {
    let mut gaps: Vec<(&Face, &Place, Vec<u32>)> = Vec::new();
    for coat in given.coats {
        for (face, place) in coat.lacks {
            match gaps.iter_mut().find(|(f, p, _)| *f == face && *p == place) {
                Some((_, _, numbers)) => numbers.push(coat.number),
                None => gaps.push((face, place, vec![coat.number])),
            }
        }
    }
    gaps
}

fn no_coats(numbers: &[u32]) -> String {
    let all: Vec<String> = numbers.iter().map(ToString::to_string).collect();
    format!("no coat {}", all.join(", "))
}

fn lacking(sheet: &mut Sheet, net: &Unfolded, given: &CoatsOnRoom) {
    for (face, place, numbers) in gaps(given) {
        let Some(OnPage::Areas(rings)) = place_on_page(sheet, net, face, place) else { continue };
        let fill = sheet.svg.pattern_fill(ink::pattern(Mark::NotShown));
        sheet.svg.named(&format!("{} in any log", no_coats(&numbers)), |svg| {
            svg.rings(&rings, Paint::line(WHITE, 1.2).filled(&fill));
            svg.rings(&rings, Paint::line(BLACK, 0.5).dashed("1.8 1.1"));
        });
    }
}

/// Runs and places: those covered in the coat's line, those without it as not shown.
fn lines(sheet: &mut Sheet, net: &Unfolded, given: &CoatsOnRoom) {
    for coat in given.coats {
        let (ink, _, share) = line_of(coat.number);
        // Coat upon coat, side by side.
        let width = if share >= 1.0 { 1.2 } else { 0.6 };
        for (face, place) in coat.covers {
            match place_on_page(sheet, net, face, place) {
                Some(OnPage::Line(line)) => sheet.svg.polyline(&line, Paint::line(ink, width).dashed(&dash(share))),
                Some(OnPage::Point(at)) => sheet.svg.circle(at, width, Paint::fill(ink)),
                _ => {}
            }
        }
    }
    for (face, place, _) in gaps(given) {
        match place_on_page(sheet, net, face, place) {
            Some(OnPage::Line(line)) => {
                ink::run(Mark::NotShown).into_iter().for_each(|paint| sheet.svg.polyline(&line, paint));
                sheet.places.spare_line(&line, 1.4);
            }
            Some(OnPage::Point(at)) => {
                crate::signs::sign(&mut sheet.svg, Mark::NotShown, at, 3.4);
                sheet.places.take(Rect::about(at, [3.4, 3.4]));
            }
            _ => {}
        }
    }
}

/// Which coat is missing, at each place that lacks one.
fn numbers(sheet: &mut Sheet, net: &Unfolded, given: &CoatsOnRoom) {
    let mut pills: Vec<(At, String, Rect)> = Vec::new();
    for (face, place, numbers) in gaps(given) {
        let Some((at, clear)) = place_on_page(sheet, net, face, place).and_then(|on_page| details::anchor(&on_page)) else { continue };
        let words = no_coats(&numbers);
        if pills.iter().any(|(other, w, _)| *w == words && contour::distance(*other, at, at) < SAME_NUMBER_MM) {
            continue;
        }
        let size = [text::width_mm(&words, TEXT_MM, true) + 2.6, 4.6];
        if let Some(rect) = sheet.places.near(at, size, clear, 24.0) {
            pills.push((at, words, rect));
        }
    }
    for (at, _, rect) in &pills {
        sheet.tie(*at, rect, TIE_MM);
    }
    for (_, words, rect) in &pills {
        pill(&mut sheet.svg, Mark::NotShown, words, *rect, TEXT_MM);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_cut_to_its_box() {
        let rect = Rect::new([0.0, 0.0], [10.0, 4.0]);
        assert_eq!(cut(rect, [5.0, 2.0], [1.0, 0.0]), Some([[0.0, 2.0], [10.0, 2.0]]));
        assert_eq!(cut(rect, [5.0, 9.0], [1.0, 0.0]), None);
        assert_eq!(cut(rect, [5.0, 9.0], [0.0, 1.0]), Some([[5.0, 0.0], [5.0, 4.0]]));
    }

    #[test]
    fn gaps_of_several_coats_at_one_place_are_one() {
        let here = (Face::Floor, Place::Point([1.0, 2.0]));
        let coat = |number| CoatLaid { number, words: "", way: CoatWay::NotNoted, covers: &[], lacks: std::slice::from_ref(&here) };
        let coats = [coat(1), coat(2)];
        let gaps = gaps(&CoatsOnRoom { id: "", words: "", coats: &coats });
        assert_eq!(gaps.len(), 1);
        assert_eq!(no_coats(&gaps[0].2), "no coat 1, 2");
    }
}
