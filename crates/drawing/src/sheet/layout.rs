//! How a page is shared out between the plan and its list, and at which scale.

use super::frame::{FOOT_MM, MARGIN_MM, head_mm};
use super::list::Block;
use crate::Scene;
use crate::page::Rect;
use crate::svg::At;

const GUTTER_MM: f64 = 5.0;

/// A4, lying.
pub const LYING: [f64; 2] = [297.0, 210.0];

/// Scales a drawing may have, as 1:n: those on rulers, and steps between them that fill a sheet better.
pub const SCALES: [f64; 24] = [
    1.0, 2.0, 5.0, 7.5, 10.0, 12.5, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0, 60.0, 75.0, 100.0, 125.0, 150.0, 200.0, 250.0, 300.0, 400.0, 500.0,
    750.0, 1000.0,
];

/// Narrowest column of the list, and least height of a list below the drawing.
const COLUMN_MM: f64 = 62.0;

const LOWEST_LIST_MM: f64 = 30.0;

/// For the sake of a whole list a drawing becomes smaller by at most so much.
const SMALLER: f64 = 1.35;

/// How the page is shared out.
pub struct Layout {
    pub size: [f64; 2],
    pub main: Rect,
    pub columns: Vec<Rect>,
    pub one_to: f64,
}

/// The largest drawing beside or below which the whole list finds room; a very long list is cut short rather than the
/// drawing made too small.
pub fn layout(scene: &Scene, span: [f64; 2], round_mm: f64, blocks: &[Block]) -> Layout {
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
pub fn main_of(scene: &Scene, [w, h]: [f64; 2]) -> Rect {
    Rect::new([MARGIN_MM, MARGIN_MM + head_mm(scene, w) + 1.0], [w - MARGIN_MM, h - MARGIN_MM - FOOT_MM])
}

/// Columns side by side.
pub fn split(list: Rect, columns: usize) -> Vec<Rect> {
    let columns = columns.max(1);
    let width = (list.size()[0] - GUTTER_MM * (columns - 1) as f64) / columns as f64;
    let column = |i: usize| {
        let x = list.lo[0] + i as f64 * (width + GUTTER_MM);
        Rect::new([x, list.lo[1]], [x + width, list.hi[1]])
    };
    (0..columns).map(column).collect()
}

/// How many blocks find room.
pub fn fitting(layout: &Layout, blocks: &[Block]) -> usize {
    flow(layout, blocks).len()
}

/// Where each block goes, until the columns are full. A heading never stands alone at the foot of a column.
pub fn flow(layout: &Layout, blocks: &[Block]) -> Vec<At> {
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
