//! The readings: a sign at each place, what was read beside it, a bar where it is a bracket.

use super::{FilmDot, FilmOnRoom, FilmUm, Stands, um};
use crate::ink::{BLACK, BLUE, DARK_VERMILION, FINE_MM, GREEN, GREY, LINE_MM, VERMILION, WHITE};
use crate::net::on_page;
use crate::page::Rect;
use crate::sheet::{Block, Sample, Sheet, TEXT_MM};
use crate::svg::{Anchor, At, Paint, Svg, Text, number};
use crate::{details, text};
use room::unfold::Unfolded;

/// Half the size of a sign.
const HALF_MM: f64 = 1.3;
/// A bar of range: its length and what it takes under the figures.
const BAR_MM: f64 = 10.0;
const BAR_HIGH_MM: f64 = 2.2;
/// A bar ends at so many times the limit or the highest reading.
const BEYOND: f64 = 1.15;
/// What was read stands no further from its sign.
const REACH_MM: f64 = 9.0;
/// and with a tie from here on.
const TIE_MM: f64 = 2.4;
/// Readings that only name their detail are strewn no further from its middle.
const STREWN_MM: f64 = 40.0;
/// No film is this thick; a number beyond it is a slip.
const MOST_UM: f64 = 1e6;

/// The readings with the scale of their bars.
pub struct Dots<'a> {
    readings: &'a [FilmDot<'a>],
    limit_um: Option<f64>,
    /// The film at a bar's end.
    full_um: f64,
}

impl<'a> Dots<'a> {
    pub fn of(film: &FilmOnRoom<'a>) -> Self {
        let highest =
            film.readings.iter().filter(|r| r.stands != Stands::Wet).map(|r| top_of(r.um)).filter(|v| sound(*v)).fold(0.0, f64::max);
        let full_um = BEYOND * film.limit_um.filter(|v| sound(*v)).unwrap_or(0.0).max(highest);
        Self { readings: film.readings, limit_um: film.limit_um, full_um: full_um.max(1.0) }
    }

    /// The signs; what is not counted first, what is short on top. Gives where each reading was drawn.
    pub fn draw(&self, sheet: &mut Sheet, net: &Unfolded) -> Vec<Option<At>> {
        let mut drawn = vec![None; self.readings.len()];
        let mut order: Vec<usize> = (0..self.readings.len()).filter(|i| is_sound(self.readings[*i].um)).collect();
        // Places that are known are taken before any other sign is strewn among them.
        order.sort_by_key(|i| (self.readings[*i].at_mm.is_none(), self.readings[*i].stands));
        for i in order {
            let reading = &self.readings[i];
            let Some(at) = place(sheet, net, reading) else { continue };
            drawn[i] = Some(at);
            let title = format!("{}: {}, {}", reading.detail.name, said(reading), reading.stands.words());
            sheet.svg.named(&title, |svg| sign(svg, reading.stands, reading.cut_out.is_some(), reading.at_mm.is_none(), at));
            sheet.places.take(Rect::about(at, [2.0 * HALF_MM, 2.0 * HALF_MM]));
        }
        drawn
    }

    /// What was read, beside each sign where there is room: cut-outs and what is short first. Over a map nothing else.
    pub fn names(&self, sheet: &mut Sheet, drawn: &[Option<At>], on_map: bool) {
        let loud = |i: &usize| self.readings[*i].cut_out.is_some() || self.readings[*i].stands == Stands::Short;
        let mut order: Vec<usize> = (0..drawn.len()).filter(|i| drawn[*i].is_some() && (!on_map || loud(i))).collect();
        order.sort_by_key(|i| (!loud(i), std::cmp::Reverse(self.readings[*i].stands)));
        let mut placed = Vec::new();
        for i in order {
            let (reading, Some(at)) = (&self.readings[i], drawn[i]) else { continue };
            let words = said(reading);
            let bold = reading.stands == Stands::Short;
            let size = name_size(&words, bold, has_bar(reading));
            if let Some(rect) = sheet.places.near(at, size, HALF_MM + 0.4, REACH_MM) {
                placed.push((reading, at, words, bold, rect));
            }
        }
        for (_, at, _, _, rect) in &placed {
            tie(sheet, *at, rect);
        }
        for (reading, _, words, bold, rect) in &placed {
            self.name(&mut sheet.svg, reading, words, *bold, *rect);
        }
    }

    fn name(&self, svg: &mut Svg, reading: &FilmDot, words: &str, bold: bool, rect: Rect) {
        svg.rect(rect, 0.4, Paint::fill(WHITE));
        let middle = rect.middle()[0];
        let ink = if bold { DARK_VERMILION } else { BLACK };
        let line = Text::new(words, [middle, rect.lo[1] + TEXT_MM / 2.0 + 0.3], TEXT_MM).anchor(Anchor::Middle).ink(ink);
        svg.text(if bold { line.bold() } else { line });
        if let (FilmUm::Between(lo, hi), true) = (reading.um, has_bar(reading)) {
            self.bar(svg, [middle - BAR_MM / 2.0, rect.hi[1] - BAR_HIGH_MM / 2.0], lo, hi);
        }
    }

    /// From nothing to the full scale in a fine line, the bracket as a bar on it, open to the right where no tooth stayed
    /// dry; the limit as a tick.
    fn bar(&self, svg: &mut Svg, [x, y]: At, lo: f64, hi: Option<f64>) {
        let along = |um: f64| x + BAR_MM * (um / self.full_um).clamp(0.0, 1.0);
        svg.line([x, y], [x + BAR_MM, y], Paint::line(GREY, FINE_MM));
        let (from, to) = (along(lo), hi.map_or(x + BAR_MM, along).max(along(lo) + 0.4));
        svg.rect(Rect::new([from, y - 0.55], [to, y + 0.55]), 0.0, Paint::fill(BLACK));
        if hi.is_none() {
            svg.rings(&[vec![[to, y - 0.95], [to + 1.2, y], [to, y + 0.95]]], Paint::fill(BLACK));
        }
        if let Some(limit) = self.limit_um {
            let at = along(limit);
            svg.line([at, y - 1.1], [at, y + 1.1], Paint::line(WHITE, 0.8));
            svg.line([at, y - 1.1], [at, y + 1.1], Paint::line(VERMILION, 0.4));
        }
    }

    /// The signs that occur, with how often.
    pub fn legend(&self) -> Vec<Block> {
        let known = || self.readings.iter().filter(|r| is_sound(r.um));
        if known().next().is_none() {
            return vec![Block::Text("No reading of this film: its thickness is not shown.".into())];
        }
        let key = |sample: Sample, words: String| Block::Key { sample, width_mm: 13.0, number: None, words };
        let mut blocks = Vec::new();
        for stands in [Stands::Short, Stands::Near, Stands::Reaches, Stands::Wet, Stands::NotCounted] {
            let count = known().filter(|r| r.stands == stands).count();
            if count > 0 {
                let words = match self.limit_um {
                    None if stands == Stands::Reaches => "read".into(),
                    _ => stands.words().to_owned(),
                };
                blocks.push(key(Box::new(move |svg, rect| sign(svg, stands, false, false, rect.middle())), format!("{words}: {count}")));
            }
        }
        let cut_outs = known().filter(|r| r.cut_out.is_some()).count();
        if cut_outs > 0 {
            let sample = Box::new(|svg: &mut Svg, rect: Rect| sign(svg, Stands::Reaches, true, false, rect.middle()));
            blocks.push(key(sample, format!("square: at a cut-out, which must be patched: {cut_outs}")));
        }
        let strewn = known().filter(|r| r.at_mm.is_none()).count();
        if strewn > 0 {
            let sample = Box::new(|svg: &mut Svg, rect: Rect| sign(svg, Stands::Reaches, false, true, rect.middle()));
            blocks.push(key(sample, format!("ringed: somewhere in its detail, the place was not noted: {strewn}")));
        }
        if known().any(has_bar) {
            let scale = Dots { readings: &[], limit_um: self.limit_um, full_um: self.full_um };
            let (lo, hi) = (0.45 * self.full_um, 0.7 * self.full_um);
            let sample = Box::new(move |svg: &mut Svg, rect: Rect| scale.bar(svg, [rect.lo[0] + 1.0, rect.middle()[1]], lo, Some(hi)));
            let tick = if self.limit_um.is_some() { ", the tick is the limit" } else { "" };
            let words = format!("comb: between the last wetted and the next dry tooth{tick}; the line ends at {}", um(self.full_um));
            blocks.push(key(sample, words));
        }
        blocks
    }
}

/// A comb in dry film has a bar; wet film is held against nothing here.
fn has_bar(reading: &FilmDot) -> bool {
    matches!(reading.um, FilmUm::Between(..)) && reading.stands != Stands::Wet
}

fn sound(um: f64) -> bool {
    (0.0..=MOST_UM).contains(&um)
}

fn is_sound(um: FilmUm) -> bool {
    match um {
        FilmUm::Value(value) => sound(value),
        FilmUm::Between(lo, hi) => sound(lo) && hi.is_none_or(sound),
    }
}

fn top_of(um: FilmUm) -> f64 {
    match um {
        FilmUm::Value(value) => value,
        FilmUm::Between(lo, hi) => hi.unwrap_or(lo),
    }
}

/// "C1 610", "400-450", "from 600", "wet 900-1000".
fn said(reading: &FilmDot) -> String {
    let whole = |v: f64| text::decimal(v, 0);
    let read = match reading.um {
        FilmUm::Value(value) => whole(value),
        FilmUm::Between(lo, Some(hi)) => format!("{}\u{2013}{}", whole(lo), whole(hi)),
        FilmUm::Between(lo, None) => format!("from {}", whole(lo)),
    };
    let read = if reading.stands == Stands::Wet { format!("wet {read}") } else { read };
    match reading.cut_out {
        Some(name) => format!("{} {read}", text::shortened(name, TEXT_MM, false, 16.0)),
        None => read,
    }
}

fn name_size(words: &str, bold: bool, bar: bool) -> [f64; 2] {
    let width = text::width_mm(words, TEXT_MM, bold) + 0.8;
    if bar { [width.max(BAR_MM + 2.4), TEXT_MM + 0.4 + BAR_HIGH_MM] } else { [width, TEXT_MM + 0.6] }
}

/// Where a reading is drawn: its place, or a free place of its detail.
fn place(sheet: &mut Sheet, net: &Unfolded, reading: &FilmDot) -> Option<At> {
    if let Some((face, at)) = reading.at_mm {
        return net.to_sheet(face, at).map(|p| sheet.view.page(p)).filter(|p| p.iter().all(|v| v.is_finite()));
    }
    let on_page = on_page(sheet, net, reading.detail)?;
    let (at, _) = details::anchor(&on_page)?;
    let size = [2.0 * STREWN_RING_MM + 0.6, 2.0 * STREWN_RING_MM + 0.6];
    let free = match &on_page {
        crate::net::OnPage::Areas(rings) => rings.iter().find_map(|ring| sheet.places.inside(ring, at, size, STREWN_MM)),
        _ => None,
    };
    free.or_else(|| sheet.places.near(at, size, -HALF_MM, STREWN_MM)).map(|rect| rect.middle())
}

/// The ring round a reading whose place was not noted.
const STREWN_RING_MM: f64 = 2.1;

/// Full, half, hollow or a cross; round, or square at a cut-out.
fn sign(svg: &mut Svg, stands: Stands, square: bool, strewn: bool, at: At) {
    let shape = |svg: &mut Svg, half: f64, paint: Paint| {
        if square { svg.rect(Rect::about(at, [2.0 * half, 2.0 * half]), 0.0, paint) } else { svg.circle(at, half, paint) }
    };
    if strewn {
        svg.circle(at, STREWN_RING_MM, Paint::line(GREY, FINE_MM).dashed("0.7 0.6").filled(WHITE));
    }
    shape(svg, HALF_MM + 0.35, Paint::fill(WHITE));
    let [x, y] = at;
    let h = HALF_MM;
    match stands {
        Stands::Reaches => shape(svg, h, Paint::line(BLACK, FINE_MM).filled(GREEN)),
        Stands::Short => shape(svg, h - 0.1, Paint::line(VERMILION, 0.7).filled(WHITE)),
        Stands::Near => {
            shape(svg, h, Paint::line(BLACK, LINE_MM).filled(WHITE));
            if square {
                svg.rings(&[vec![[x - h, y - h], [x, y - h], [x, y + h], [x - h, y + h]]], Paint::fill(BLACK));
            } else {
                let n = number;
                let d = format!("M{} {}A{r} {r} 0 0 0 {} {}Z", n(x), n(y - h), n(x), n(y + h), r = n(h));
                svg.path(&d, Paint::fill(BLACK));
            }
        }
        Stands::Wet => {
            shape(svg, h, Paint::line(BLUE, LINE_MM).filled(WHITE));
            svg.line([x - 0.75 * h, y], [x + 0.75 * h, y], Paint::line(BLUE, 0.6));
        }
        Stands::NotCounted => {
            let d = 0.75 * h;
            if square {
                shape(svg, h, Paint::line(GREY, FINE_MM).filled(WHITE));
            }
            let cross = [vec![[x - d, y - d], [x + d, y + d]], vec![[x - d, y + d], [x + d, y - d]]];
            svg.polylines(&cross, Paint::line(GREY, 0.45));
        }
    }
}

fn tie(sheet: &mut Sheet, at: At, rect: &Rect) {
    let foot = rect.nearest(at);
    let way = crate::contour::distance(foot, at, at);
    if way > TIE_MM {
        // From the rim of the sign, so that it stays what it is.
        let from = [0, 1].map(|k| at[k] + (foot[k] - at[k]) * HALF_MM / way);
        sheet.svg.line(from, foot, Paint::line(WHITE, 0.7));
        sheet.svg.line(from, foot, Paint::line(BLACK, FINE_MM));
    }
}
