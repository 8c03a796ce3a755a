//! The list beside a drawing: headings, signs with what they stand for, paragraphs.

use super::layout::{Layout, flow};
use super::{PITCH_MM, TEXT_MM};
use crate::page::Rect;
use crate::svg::{Anchor, At, Svg, Text};
use crate::text;

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
    pub fn lines(&self, width: f64) -> Vec<String> {
        match self {
            Self::Heading(words) => text::wrapped(words, HEADING_MM, true, width, 2),
            Self::Key { width_mm, number, words, .. } => {
                let taken = width_mm + 1.0 + if number.is_some() { NUMBER_MM } else { 0.0 };
                text::wrapped(words, TEXT_MM, false, width - taken, ENTRY_LINES)
            }
            Self::Text(words) => text::wrapped(words, TEXT_MM, false, width, 2 * ENTRY_LINES),
        }
    }

    pub fn height(&self, width: f64) -> f64 {
        let lines = self.lines(width).len().max(1) as f64;
        match self {
            Self::Heading(_) => 3.4 + lines * 4.6,
            Self::Key { .. } => lines * PITCH_MM + 0.8,
            Self::Text(_) => lines * PITCH_MM + 1.2,
        }
    }

    pub fn draw(&self, svg: &mut Svg, at: At, width: f64) {
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

pub fn draw_blocks(svg: &mut Svg, layout: &Layout, blocks: &[Block], rest: &str) {
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
