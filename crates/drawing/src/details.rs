//! The unfolded room with every detail by its verdict.

use crate::ink::{self, FINE_MM, WHITE};
use crate::net::{self, Flat, OnPage, on_page};
use crate::page::Rect;
use crate::sheet::{self, Block, Head, Sheet, TEXT_MM};
use crate::signs::{self, mark_sample, sign, sign_sample};
use crate::svg::{At, Paint};
use crate::{Mark, MarkedDetail, Scene, contour, plan, text};
use room::unfold::Unfolded;
use std::collections::{BTreeMap, BTreeSet};

const HEAD: Head = Head {
    name: "details",
    what: "Details by verdict",
    about: "The room laid flat, floor in the middle and walls folded out, to scale. Each detail is drawn by its verdict: \
            conforms, falls short, not shown, departure. Numbers refer to the list.",
    rest: "see the next sheet",
};
const LIST: Head = Head {
    name: "details-list",
    what: "Details by verdict: the list goes on",
    about: "What the reference numbers on the drawing of details by verdict stand for.",
    rest: "see the next sheet",
};
/// A second number of the same entry within this distance says nothing new.
const SAME_NUMBER_MM: f64 = 20.0;
/// A number this near to its place needs no tie.
const TIE_MM: f64 = 1.6;
/// More numbers at one place than these are cut short.
const NUMBERS: usize = 5;

/// The unfolded room with every detail by its verdict, numbers keyed to the list beside it.
pub fn details(scene: &Scene) -> String {
    let flat = Flat::of(scene);
    flat.sheet(&HEAD, scene, &blocks(scene, &flat.net), ink::define_marks, |sheet| {
        let Flat { room, net } = &flat;
        let mut drawn: Vec<Drawn> =
            scene.details.iter().filter_map(|marked| Some(Drawn { marked, place: on_page(sheet, net, marked.detail)? })).collect();
        // The worst comes last, so that nothing lies on it.
        drawn.sort_by_key(|d| d.marked.mark);
        net::faces(sheet, net);
        areas(sheet, &drawn);
        let openings = net::holes(sheet, room, net);
        net::ties(sheet, room, net);
        net::floor(sheet, room);
        plan::zones(sheet, room);
        lines(sheet, &drawn);
        plan::things(sheet, room);
        points(sheet, &drawn);
        net::dimensions(sheet, room, net);
        numbers(sheet, &drawn);
        net::names(sheet, room, net, &openings);
        plan::thing_names(sheet, room, net::NAMES_MM);
        plan::zone_names(sheet, room, 6.0);
    })
}

/// Further sheets with what of the list found no room beside [`details`]; mostly none.
pub fn details_list(scene: &Scene) -> Vec<String> {
    let flat = Flat::of(scene);
    let [lo, hi] = flat.extent();
    let blocks = blocks(scene, &flat.net);
    let mut rest = &blocks[sheet::held(scene, [hi[0] - lo[0], hi[1] - lo[1]], net::ROUND_MM, &blocks)..];
    let mut sheets = Vec::new();
    while !rest.is_empty() {
        let (svg, held) = sheet::list_sheet(&LIST, scene, rest);
        sheets.push(svg);
        // A block higher than a sheet cannot be: at least one goes on each.
        rest = &rest[held.max(1)..];
    }
    sheets
}

struct Drawn<'a> {
    marked: &'a MarkedDetail<'a>,
    place: OnPage,
}

impl Drawn<'_> {
    fn title(&self) -> String {
        format!("{}: {}", self.marked.detail.name, self.marked.mark.words())
    }
}

fn blocks(scene: &Scene, laid_flat: &Unfolded) -> Vec<Block> {
    let mut blocks = Vec::new();
    for mark in [Mark::FallsShort, Mark::NotShown, Mark::Departure, Mark::Conforms, Mark::NotLookedAt] {
        let count = scene.details.iter().filter(|d| d.mark == mark).count();
        if count > 0 || mark != Mark::NotLookedAt {
            blocks.push(Block::Key {
                sample: mark_sample(mark),
                width_mm: 25.0,
                number: None,
                words: format!("{}: {count}", mark.words()),
            });
        }
    }
    blocks.extend(plan::legend(scene.room));
    blocks.extend(net::legend(laid_flat));
    if !scene.list.is_empty() {
        blocks.push(Block::Heading("What the numbers stand for".into()));
    }
    blocks.extend(scene.list.iter().map(|entry| Block::Key {
        sample: sign_sample(entry.mark),
        width_mm: 5.0,
        number: Some(entry.number),
        words: entry.words.into(),
    }));
    let open = scene.details.iter().any(|d| matches!(d.mark, Mark::FallsShort | Mark::NotShown | Mark::Departure));
    if scene.list.is_empty() && !open && !scene.details.is_empty() {
        blocks.push(Block::Text("No detail is open at this hold point.".into()));
    }
    blocks.extend(scene.notes.iter().map(|note| Block::Text(note.clone())));
    blocks
}

fn areas(sheet: &mut Sheet, drawn: &[Drawn]) {
    for d in drawn {
        let (OnPage::Areas(rings), true) = (&d.place, d.marked.mark != Mark::NotLookedAt) else { continue };
        let fill = sheet.svg.pattern_fill(ink::pattern(d.marked.mark));
        let ground = if d.marked.mark == Mark::NotShown { WHITE } else { "none" };
        let edge = Paint::line(ink::of(d.marked.mark), FINE_MM);
        sheet.svg.named(&d.title(), |svg| {
            // Under the worst mark the better one does not show through.
            svg.rings(rings, Paint::fill(ground));
            svg.rings(rings, edge.filled(&fill));
        });
    }
}

fn lines(sheet: &mut Sheet, drawn: &[Drawn]) {
    for d in drawn {
        let OnPage::Line(line) = &d.place else { continue };
        sheet.svg.named(&d.title(), |svg| ink::run(d.marked.mark).into_iter().for_each(|paint| svg.polyline(line, paint)));
        sheet.places.spare_line(line, 1.4);
    }
}

/// One sign for all details at one place, the worst; beside other things it is moved off them.
fn points(sheet: &mut Sheet, drawn: &[Drawn]) {
    let mut worst: BTreeMap<(i64, i64), &Drawn> = BTreeMap::new();
    for d in drawn {
        if let OnPage::Point(at) = d.place {
            worst.insert(key(at), d);
        }
    }
    let mut in_order: Vec<&Drawn> = worst.into_values().collect();
    in_order.sort_by_key(|d| d.marked.mark);
    for d in in_order {
        let OnPage::Point(at) = d.place else { continue };
        let size = match d.marked.mark {
            Mark::NotLookedAt => 2.4,
            Mark::Conforms => 2.6,
            _ => 3.6,
        };
        sheet.svg.named(&d.title(), |svg| sign(svg, d.marked.mark, at, size));
        if d.marked.mark != Mark::NotLookedAt {
            sheet.places.take(Rect::about(at, [size, size]));
        }
    }
}

/// Places closer than half a millimetre on the page are one place.
fn key(at: At) -> (i64, i64) {
    ((at[0] * 2.0).round() as i64, (at[1] * 2.0).round() as i64)
}

/// A number at every numbered detail, those at one place together; worst first, since they find room first.
fn numbers(sheet: &mut Sheet, drawn: &[Drawn]) {
    let mut at_place: BTreeMap<(i64, i64), Numbered> = BTreeMap::new();
    for d in drawn {
        let (Some(number), Some((at, clear))) = (d.marked.number, anchor(&d.place)) else { continue };
        let numbered = at_place.entry(key(at)).or_insert(Numbered {
            at,
            clear,
            mark: d.marked.mark,
            numbers: BTreeSet::new(),
            length: length(&d.place),
        });
        numbered.numbers.insert(number);
        numbered.mark = numbered.mark.max(d.marked.mark);
        numbered.clear = numbered.clear.max(clear);
    }
    let mut all: Vec<Numbered> = at_place.into_values().collect();
    all.sort_by(|a, b| b.mark.cmp(&a.mark).then(b.length.total_cmp(&a.length)));
    let mut said: Vec<(At, BTreeSet<usize>)> = Vec::new();
    let mut pills = Vec::new();
    for numbered in all {
        let near = |(at, _): &&(At, BTreeSet<usize>)| contour::distance(*at, numbered.at, numbered.at) < SAME_NUMBER_MM;
        if said.iter().filter(near).any(|(_, numbers)| numbered.numbers.is_subset(numbers)) {
            continue;
        }
        said.push((numbered.at, numbered.numbers.clone()));
        let words = numbered.words();
        let size = [(text::width_mm(&words, TEXT_MM, true) + 2.2).max(5.0), 4.6];
        if let Some(rect) = sheet.places.near(numbered.at, size, numbered.clear, 46.0) {
            pills.push((numbered, words, rect));
        }
    }
    // Ties first, so that none crosses a number.
    for (numbered, _, rect) in &pills {
        sheet.tie(numbered.at, rect, TIE_MM);
    }
    for (numbered, words, rect) in &pills {
        signs::pill(&mut sheet.svg, numbered.mark, words, *rect, TEXT_MM);
    }
}

struct Numbered {
    at: At,
    /// How far the thing itself reaches.
    clear: f64,
    mark: Mark,
    numbers: BTreeSet<usize>,
    length: f64,
}

/// Where a number points, and how far off it must stand.
pub fn anchor(place: &OnPage) -> Option<(At, f64)> {
    match place {
        OnPage::Point(at) => Some((*at, 2.2)),
        OnPage::Line(line) => Some((contour::along(line, contour::length(line) / 2.0)?.0, 1.2)),
        OnPage::Areas(rings) => {
            let largest = rings.iter().max_by(|a, b| area(a).total_cmp(&area(b)))?;
            Some((plan::middle_of(largest)?, -2.0))
        }
    }
}

fn area(ring: &[At]) -> f64 {
    room::geometry::signed_area_mm2(ring).abs()
}

fn length(place: &OnPage) -> f64 {
    match place {
        OnPage::Point(_) => 0.0,
        OnPage::Line(line) => contour::length(line),
        OnPage::Areas(rings) => rings.iter().map(|r| contour::length(r)).sum(),
    }
}

impl Numbered {
    fn words(&self) -> String {
        let mut words: Vec<String> = self.numbers.iter().take(NUMBERS).map(ToString::to_string).collect();
        if self.numbers.len() > NUMBERS {
            words.push("\u{2026}".into());
        }
        words.join(" ")
    }
}
