//! A sheet of paper: the plan on it at a scale, its head and foot, the list and legend beside it.

mod frame;
mod layout;
mod list;

pub use list::{Block, Sample};

use crate::ink::{BLACK, FINE_MM, WHITE};
use crate::page::{Places, Rect};
use crate::svg::{Anchor, At, Paint, Svg, Text};
use crate::{Scene, text};
use frame::{draw_foot, draw_head};
use layout::{LYING, Layout, fitting, flow, layout, main_of, split};
use list::draw_blocks;
use measure::PointMm;

/// Letters whose capitals are 2.3 mm high: nothing on a sheet is smaller.
pub const TEXT_MM: f64 = 3.2;

/// From one line of text to the next.
pub const PITCH_MM: f64 = 4.1;

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

/// What a sheet shows, in its head.
pub struct Head<'a> {
    /// Root of the ids.
    pub name: &'a str,
    /// What is drawn.
    pub what: &'a str,
    /// In a sentence, for those who do not see it.
    pub about: &'a str,
    /// Where a list goes on that finds no room.
    pub rest: &'a str,
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
