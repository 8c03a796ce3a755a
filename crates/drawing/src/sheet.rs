//! A sheet of paper: which way it lies, at which scale, its head and foot, the list and legend beside the drawing.

use crate::ink::{self, BLACK, FINE_MM, GREY, LINE_MM, WHITE};
use crate::page::{Places, Rect};
use crate::svg::{Anchor, At, Paint, Svg, Text};
use crate::{Scene, text};
use measure::PointMm;

/// Letters whose capitals are 2.3 mm high: nothing on a sheet is smaller.
pub const TEXT_MM: f64 = 3.2;
/// From one line of text to the next.
pub const PITCH_MM: f64 = 4.1;
const TITLE_MM: f64 = 5.4;
const MARGIN_MM: f64 = 9.0;
const HEAD_MM: f64 = 15.0;
/// What a second line of the head takes.
const SECOND_MM: f64 = 5.0;
const UNDER_TITLE_MM: f64 = TEXT_MM + 0.3;
const FOOT_MM: f64 = 14.0;
const GUTTER_MM: f64 = 5.0;
/// A4, lying.
const LYING: [f64; 2] = [297.0, 210.0];

/// What stands at the foot of every sheet.
const CAUTION: &str = "Results support a competent person's judgement. They do not replace the adopted code, the membrane maker's \
                       data sheet or licensed practice.";

/// Lines the caution takes at the narrowest; it is never cut.
const CAUTION_LINES: usize = 4;

/// Scales a drawing may have, as 1:n: those on rulers, and steps between them that fill a sheet better.
const SCALES: [f64; 24] = [
    1.0, 2.0, 5.0, 7.5, 10.0, 12.5, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0, 60.0, 75.0, 100.0, 125.0, 150.0, 200.0, 250.0, 300.0, 400.0, 500.0,
    750.0, 1000.0,
];

/// A sign or sample in a box of the list.
pub type Sample = Box<dyn Fn(&mut Svg, Rect)>;

/// One entry of the list beside the drawing.
pub enum Block {
    /// A heading.
    Heading(String),
    /// A sign with what it stands for.
    Key {
        /// Drawn in the first column.
        sample: Sample,
        /// How wide that column is.
        width_mm: f64,
        /// A reference number.
        number: Option<usize>,
        /// What it stands for.
        words: String,
    },
    /// A paragraph.
    Text(String),
}

const NUMBER_MM: f64 = 6.5;
const HEADING_MM: f64 = 3.6;
/// Lines an entry may have.
const ENTRY_LINES: usize = 4;

impl Block {
    fn lines(&self, width: f64) -> Vec<String> {
        match self {
            Self::Heading(words) => text::wrapped(words, HEADING_MM, true, width, 2),
            Self::Key { width_mm, number, words, .. } => {
                let taken = width_mm + 1.0 + if number.is_some() { NUMBER_MM } else { 0.0 };
                text::wrapped(words, TEXT_MM, false, width - taken, ENTRY_LINES)
            }
            Self::Text(words) => text::wrapped(words, TEXT_MM, false, width, 2 * ENTRY_LINES),
        }
    }

    fn height(&self, width: f64) -> f64 {
        let lines = self.lines(width).len().max(1) as f64;
        match self {
            Self::Heading(_) => 3.4 + lines * 4.6,
            Self::Key { .. } => lines * PITCH_MM + 0.8,
            Self::Text(_) => lines * PITCH_MM + 1.2,
        }
    }

    fn draw(&self, svg: &mut Svg, at: At, width: f64) {
        let lines = self.lines(width);
        match self {
            Self::Heading(_) => {
                for (i, line) in lines.iter().enumerate() {
                    svg.text(Text::new(line, [at[0], at[1] + 5.2 + 4.6 * i as f64], HEADING_MM).bold());
                }
            }
            Self::Key { sample, width_mm, number, .. } => {
                let middle = at[1] + PITCH_MM / 2.0 + 0.45;
                sample(svg, Rect::about([at[0] + width_mm / 2.0, middle], [*width_mm, PITCH_MM]));
                let mut x = at[0] + width_mm + 1.0;
                if let Some(number) = number {
                    svg.text(Text::new(&number.to_string(), [x + NUMBER_MM - 1.5, middle], TEXT_MM).bold().anchor(Anchor::End));
                    x += NUMBER_MM;
                }
                for (i, line) in lines.iter().enumerate() {
                    svg.text(Text::new(line, [x, middle + PITCH_MM * i as f64], TEXT_MM));
                }
            }
            Self::Text(_) => {
                for (i, line) in lines.iter().enumerate() {
                    svg.text(Text::new(line, [at[0], at[1] + PITCH_MM * (i as f64 + 0.5) + 0.6], TEXT_MM));
                }
            }
        }
    }
}

/// How much of a list found room beside a drawing.
pub fn held(scene: &Scene, span: [f64; 2], round_mm: f64, blocks: &[Block]) -> usize {
    let layout = layout(scene, span, round_mm, blocks);
    let held = fitting(&layout, blocks);
    // The last place goes to the word that there is more.
    if held < blocks.len() { held.saturating_sub(1) } else { held }
}

/// A sheet with nothing but a list, in two columns, and how many of the blocks it holds.
pub fn list_sheet(head: &Head, scene: &Scene, blocks: &[Block]) -> (String, usize) {
    let size = [LYING[1], LYING[0]];
    let whole = main_of(scene, size);
    let layout = Layout { size, main: whole, columns: split(whole, 2), one_to: 0.0 };
    let mut svg = Svg::page(head.name, size, &format!("{}: {}", head.what, scene.title), head.about);
    draw_head(&mut svg, &layout, head, scene);
    draw_foot(&mut svg, &layout);
    let places = flow(&layout, blocks);
    let width = layout.columns[0].size()[0];
    for (at, block) in places.iter().zip(blocks) {
        block.draw(&mut svg, *at, width);
    }
    (svg.finish(), places.len())
}

/// From the plan to the page.
#[derive(Clone, Copy, Debug)]
pub struct View {
    plan_lo: PointMm,
    page_lo: At,
    /// Millimetres of the page for one of the plan.
    pub k: f64,
}

impl View {
    /// A place of the plan on the page.
    pub fn page(&self, [x, y]: PointMm) -> At {
        [self.page_lo[0] + (x - self.plan_lo[0]) * self.k, self.page_lo[1] - (y - self.plan_lo[1]) * self.k]
    }

    /// A line of the plan on the page.
    pub fn line(&self, line: &[PointMm]) -> Vec<At> {
        line.iter().map(|p| self.page(*p)).collect()
    }

    /// A length of the plan on the page.
    pub fn mm(&self, plan_mm: f64) -> f64 {
        plan_mm * self.k
    }
}

/// How the page is shared out.
struct Layout {
    size: [f64; 2],
    main: Rect,
    columns: Vec<Rect>,
    one_to: f64,
}

/// A sheet being drawn.
pub struct Sheet {
    /// What is written.
    pub svg: Svg,
    /// Where the plan lies on it.
    pub view: View,
    /// What is taken of the drawing's part of the page.
    pub places: Places,
    main: Rect,
}

/// What a sheet shows, in its head.
pub struct Head<'a> {
    /// Root of the ids.
    pub name: &'static str,
    /// What is drawn.
    pub what: &'a str,
    /// In a sentence, for those who do not see it.
    pub about: &'a str,
    /// Where a list goes on that finds no room.
    pub rest: &'a str,
}

impl Sheet {
    /// A sheet on which a part of the plan fits, with `round_mm` of the page left free round it.
    pub fn new(head: &Head, scene: &Scene, extent: [PointMm; 2], round_mm: f64, blocks: &[Block]) -> Self {
        let span = [extent[1][0] - extent[0][0], extent[1][1] - extent[0][1]].map(|v| v.max(1.0));
        let layout = layout(scene, span, round_mm, blocks);
        let title = format!("{}: {}", head.what, scene.title);
        let mut svg = Svg::page(head.name, layout.size, &title, head.about);
        let k = 1.0 / layout.one_to;
        let middle = layout.main.middle();
        let page_lo = [middle[0] - span[0] * k / 2.0, middle[1] + span[1] * k / 2.0];
        let view = View { plan_lo: extent[0], page_lo, k };
        draw_head(&mut svg, &layout, head, scene);
        draw_foot(&mut svg, &layout);
        draw_blocks(&mut svg, &layout, blocks, head.rest);
        Self { svg, view, places: Places::new(layout.main), main: layout.main }
    }

    /// The part of the page the drawing has.
    pub fn main(&self) -> Rect {
        self.main
    }

    /// A name near a place, on a white ground, where there is room for it; gives where it stands.
    pub fn label(&mut self, words: &str, at: At, clear: f64, reach: f64) -> Option<Rect> {
        self.label_in(words, at, clear, reach, BLACK, false)
    }

    /// The same in another ink or in bold.
    pub fn label_in(&mut self, words: &str, at: At, clear: f64, reach: f64, ink: &str, bold: bool) -> Option<Rect> {
        let words = text::shortened(words, TEXT_MM, bold, LONGEST_LABEL_MM);
        let rect = self.places.near(at, label_size(&words, bold), clear, reach)?;
        self.write(&words, rect, ink, bold);
        Some(rect)
    }

    /// A name of an area, only where there is room inside it.
    pub fn label_inside(&mut self, words: &str, ring: &[At], at: At, ink: &str) -> Option<Rect> {
        let words = text::shortened(words, TEXT_MM, false, LONGEST_LABEL_MM);
        let rect = self.places.inside(ring, at, label_size(&words, false), REACH_INSIDE_MM)?;
        self.write(&words, rect, ink, false);
        Some(rect)
    }

    /// A place for a name in bold, to be written later.
    pub fn place(&mut self, words: &str, at: At, clear: f64, reach: f64) -> Option<Rect> {
        self.places.near(at, label_size(words, true), clear, reach)
    }

    /// Writes a name into its place.
    pub fn write(&mut self, words: &str, rect: Rect, ink: &str, bold: bool) {
        self.svg.rect(rect, 0.4, Paint::fill(WHITE));
        let line = Text::new(words, rect.middle(), TEXT_MM).anchor(Anchor::Middle).ink(ink);
        self.svg.text(if bold { line.bold() } else { line });
    }

    /// A fine line from a place to what is written of it, where the two are apart.
    pub fn tie(&mut self, at: At, rect: &Rect, apart_mm: f64) {
        let foot = rect.nearest(at);
        if crate::contour::distance(foot, at, at) > apart_mm {
            self.svg.line(at, foot, Paint::line(WHITE, 0.8));
            self.svg.line(at, foot, Paint::line(BLACK, FINE_MM));
            self.svg.circle(at, 0.45, Paint::line(WHITE, FINE_MM).filled(BLACK));
        }
    }

    /// The finished document.
    pub fn finish(self) -> String {
        self.svg.finish()
    }
}

fn label_size(words: &str, bold: bool) -> [f64; 2] {
    [text::width_mm(words, TEXT_MM, bold) + 1.0, TEXT_MM + 0.8]
}

/// A name of an area is no further from its middle.
const REACH_INSIDE_MM: f64 = 60.0;
/// A name in the drawing is not longer.
const LONGEST_LABEL_MM: f64 = 34.0;

/// Narrowest column of the list, and least height of a list below the drawing.
const COLUMN_MM: f64 = 62.0;
const LOWEST_LIST_MM: f64 = 30.0;
/// For the sake of a whole list a drawing becomes smaller by at most so much.
const SMALLER: f64 = 1.35;

/// The largest drawing beside or below which the whole list finds room; a very long list is cut short rather than the
/// drawing made too small.
fn layout(scene: &Scene, span: [f64; 2], round_mm: f64, blocks: &[Block]) -> Layout {
    let largest = (0..).map(scale).find(|n| !layouts(scene, span, round_mm, *n, &[]).is_empty()).expect("at some scale everything fits");
    let scales = (0..).map(scale).skip_while(|n| *n < largest).take_while(|n| *n <= SMALLER * largest);
    let mut widest: Option<(usize, Layout)> = None;
    for one_to in scales {
        for layout in layouts(scene, span, round_mm, one_to, blocks) {
            let held = fitting(&layout, blocks);
            if held == blocks.len() {
                return layout;
            }
            if widest.as_ref().is_none_or(|(most, _)| held > *most) {
                widest = Some((held, layout));
            }
        }
    }
    widest.expect("the largest scale has a layout").1
}

/// The scales in order; beyond the usual ones each is twice the last.
fn scale(i: usize) -> f64 {
    let last = SCALES.len() - 1;
    SCALES[i.min(last)] * (0..i.saturating_sub(last).min(60)).fold(1.0, |n, _| 2.0 * n)
}

/// The ways to share out a page at a scale: the list beside or below the drawing, in one column or more.
fn layouts(scene: &Scene, span: [f64; 2], round_mm: f64, one_to: f64, blocks: &[Block]) -> Vec<Layout> {
    let [w, h] = span.map(|v| v / one_to + 2.0 * round_mm);
    let mut layouts = Vec::new();
    let whole = main_of(scene, LYING);
    let left = whole.size()[0] - w - GUTTER_MM;
    if h <= whole.size()[1] && left >= COLUMN_MM {
        for columns in 1..=((left + GUTTER_MM) / (COLUMN_MM + GUTTER_MM)) as usize {
            let list = Rect::new([whole.hi[0] - left, whole.lo[1]], whole.hi);
            let main = Rect::new(whole.lo, [list.lo[0] - GUTTER_MM, whole.hi[1]]);
            layouts.push(Layout { size: LYING, main, columns: split(list, columns), one_to });
        }
    }
    for size in [[LYING[1], LYING[0]], LYING] {
        let whole = main_of(scene, size);
        let left = whole.size()[1] - h - 2.0;
        if w <= whole.size()[0] && left >= LOWEST_LIST_MM {
            let columns = ((whole.size()[0] + GUTTER_MM) / (COLUMN_MM + 20.0 + GUTTER_MM)) as usize;
            let with = |height: f64| {
                let list = Rect::new([whole.lo[0], whole.hi[1] - height], whole.hi);
                let main = Rect::new(whole.lo, [whole.hi[0], list.lo[1] - 2.0]);
                Layout { size, main, columns: split(list, columns), one_to }
            };
            // No higher than the list needs: columns of like height.
            let lower = (6..60).map(|k| 5.0 * f64::from(k)).take_while(|height| *height < left);
            let enough = lower.clone().find(|height| fitting(&with(*height), blocks) == blocks.len());
            layouts.push(with(enough.unwrap_or(left)));
        }
    }
    layouts
}

/// What head and foot leave of a page.
fn main_of(scene: &Scene, [w, h]: [f64; 2]) -> Rect {
    Rect::new([MARGIN_MM, MARGIN_MM + head_mm(scene, w) + 1.0], [w - MARGIN_MM, h - MARGIN_MM - FOOT_MM])
}

/// Columns side by side.
fn split(list: Rect, columns: usize) -> Vec<Rect> {
    let columns = columns.max(1);
    let width = (list.size()[0] - GUTTER_MM * (columns - 1) as f64) / columns as f64;
    let column = |i: usize| {
        let x = list.lo[0] + i as f64 * (width + GUTTER_MM);
        Rect::new([x, list.lo[1]], [x + width, list.hi[1]])
    };
    (0..columns).map(column).collect()
}

/// How many blocks find room.
fn fitting(layout: &Layout, blocks: &[Block]) -> usize {
    flow(layout, blocks).len()
}

/// Where each block goes, until the columns are full. A heading never stands alone at the foot of a column.
fn flow(layout: &Layout, blocks: &[Block]) -> Vec<At> {
    let mut places = Vec::new();
    let mut column = 0;
    let mut y = layout.columns.first().map_or(0.0, |c| c.lo[1]);
    for (i, block) in blocks.iter().enumerate() {
        let Some(mut rect) = layout.columns.get(column).copied() else { break };
        let width = rect.size()[0];
        let height = block.height(width);
        let follower = match block {
            Block::Heading(_) => blocks.get(i + 1).map_or(0.0, |next| next.height(width)),
            _ => 0.0,
        };
        if y + height + follower > rect.hi[1] {
            column += 1;
            match layout.columns.get(column) {
                Some(next) => rect = *next,
                None => break,
            }
            y = rect.lo[1];
        }
        places.push([rect.lo[0], y]);
        y += height;
    }
    places
}

fn draw_blocks(svg: &mut Svg, layout: &Layout, blocks: &[Block], rest: &str) {
    let Some(column) = layout.columns.first() else { return };
    let width = column.size()[0];
    let mut places = flow(layout, blocks);
    let mut left_out = blocks.len() - places.len();
    if left_out > 0
        && let Some(at) = places.pop()
    {
        left_out += 1;
        let more = format!("\u{2026} and {left_out} more: {rest}");
        svg.text(Text::new(&text::shortened(&more, TEXT_MM, true, width), [at[0], at[1] + PITCH_MM / 2.0 + 0.45], TEXT_MM).bold());
    }
    for (at, block) in places.iter().zip(blocks) {
        block.draw(svg, *at, width);
    }
}

fn draw_head(svg: &mut Svg, layout: &Layout, head: &Head, scene: &Scene) {
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
fn head_mm(scene: &Scene, width: f64) -> f64 {
    HEAD_MM + SECOND_MM * under_title(scene, width - 2.0 * MARGIN_MM).len().saturating_sub(1) as f64
}

const HEAD_RULE_MM: f64 = 0.6;

fn scale_words(one_to: f64) -> String {
    let n = if one_to.fract() == 0.0 { format!("{one_to:.0}") } else { format!("{one_to:.1}") };
    format!("1:{n} on A4")
}

fn draw_foot(svg: &mut Svg, layout: &Layout) {
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
