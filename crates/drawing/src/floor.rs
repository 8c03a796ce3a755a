//! What the drawings of the floor alone share: the sheet, areas of cells, labelled lines.

use crate::contour::{self, Field};
use crate::ink::{BLACK, FINE_MM, GREY, WHITE};
use crate::page::Rect;
use crate::sheet::{Block, Head, Sheet, TEXT_MM};
use crate::svg::{Anchor, At, Paint, Svg, Text};
use crate::{Scene, plan, text};
use measure::PointMm;
use room::Room;
use room::geometry;
use room::validate::normalised;
use water::grid::Grid;

/// Free border round the floor, for its dimensions.
const ROUND_MM: f64 = 11.0;
/// More nodes than these are thinned out: finer than a pen.
const NODES: usize = 250_000;
/// Lines and areas keep within this of the exact ones, on paper.
const TOLERANCE_MM: f64 = 0.08;
/// A closed line shorter than this on paper is a speck.
const SPECK_MM: f64 = 3.0;

/// A sheet with the floor, drawn by `draw` between its ground and its names; without a surface it says what is missing.
pub fn sheet(head: &Head, scene: &Scene, blocks: &[Block], missing: Option<&str>, draw: impl FnOnce(&mut Sheet, &Room)) -> String {
    let room = normalised(scene.room);
    let extent = geometry::extent(&room.outline_mm).unwrap_or([[0.0; 2], [1000.0; 2]]);
    let mut sheet = Sheet::new(head, scene, extent, ROUND_MM, blocks);
    if !geometry::is_floor(&room.outline_mm) {
        let middle = sheet.main().middle();
        sheet.svg.text(Text::new("The room has no floor outline yet.", middle, TEXT_MM).anchor(Anchor::Middle));
        return sheet.finish();
    }
    match missing {
        None => draw(&mut sheet, &room),
        Some(words) => {
            bare(&mut sheet, &room, words);
            plan::things(&mut sheet, &room);
            plan::outline(&mut sheet, &room);
            plan::dimensions(&mut sheet, &room);
        }
    }
    plan::thing_names(&mut sheet, &room, 16.0);
    plan::opening_names(&mut sheet, &room);
    sheet.finish()
}

/// Bare hatching over the floor: nobody measured it.
fn bare(sheet: &mut Sheet, room: &Room, words: &str) {
    define_hatching(&mut sheet.svg, "bare", 3.2, -45.0, GREY, FINE_MM);
    let fill = sheet.svg.pattern_fill("bare");
    let ring = sheet.view.line(&room.outline_mm);
    sheet.svg.rings(&[ring], Paint::fill(&fill));
    if let Some(at) = plan::middle_of(&room.outline_mm).map(|p| sheet.view.page(p)) {
        let lines = text::wrapped(words, TEXT_MM + 0.6, true, 70.0, 3);
        for (i, line) in lines.iter().enumerate() {
            let y = at[1] + (i as f64 - (lines.len() as f64 - 1.0) / 2.0) * 5.2;
            let rect = Rect::about([at[0], y], [text::width_mm(line, TEXT_MM + 0.6, true) + 2.0, 5.4]);
            sheet.svg.rect(rect, 0.0, Paint::fill(WHITE));
            sheet.svg.text(Text::new(line, [at[0], y], TEXT_MM + 0.6).bold().anchor(Anchor::Middle));
            sheet.places.take(rect);
        }
    }
}

/// A pattern of parallel lines.
pub fn define_hatching(svg: &mut Svg, name: &str, apart_mm: f64, turned_deg: f64, ink: &str, width_mm: f64) {
    svg.pattern(name, apart_mm, turned_deg, |svg| {
        svg.line([apart_mm / 2.0, 0.0], [apart_mm / 2.0, apart_mm], Paint::line(ink, width_mm));
    });
}

/// A value for each cell of a grid, thinned out where the grid is finer than a pen.
pub fn field(grid: &Grid, of: impl Fn(usize) -> f64) -> Field {
    let mut every = 1;
    while grid.nx.div_ceil(every) * grid.ny.div_ceil(every) > NODES {
        every += 1;
    }
    let (nx, ny) = (grid.nx.div_ceil(every), grid.ny.div_ceil(every));
    let values = (0..ny).flat_map(|j| (0..nx).map(move |i| (i, j))).map(|(i, j)| of(j * every * grid.nx + i * every)).collect();
    Field { x0_mm: grid.x0_mm, y0_mm: grid.y0_mm, cell_mm: grid.cell_mm * every as f64, nx, ny, values }
}

/// Cells for which something holds, as rings on the page.
pub fn cells(sheet: &Sheet, grid: &Grid, holds: impl Fn(usize) -> bool) -> Vec<Vec<At>> {
    let mask = field(grid, |cell| if holds(cell) { 1.0 } else { 0.0 });
    on_page(sheet, &mask.areas(0.5))
}

/// Lines on the page with as few corners as show, specks left out.
pub fn on_page(sheet: &Sheet, lines: &[Vec<PointMm>]) -> Vec<Vec<At>> {
    lines
        .iter()
        .map(|line| contour::simplified(&sheet.view.line(line), TOLERANCE_MM))
        .filter(|line| contour::length(line) >= SPECK_MM)
        .collect()
}

/// Words along a line where there is room, the line broken under them: at most one every `apart_mm`.
pub fn label_line(sheet: &mut Sheet, line: &[At], words: &str, apart_mm: f64) {
    let size = [text::width_mm(words, TEXT_MM, false) + 1.0, TEXT_MM + 0.2];
    let total = contour::length(line);
    let mut way = (total / 2.0) % 6.0 + size[0] / 2.0;
    while way + size[0] / 2.0 < total {
        let Some((at, unit)) = contour::along(line, way) else { return };
        let straight = [-0.5, 0.5].iter().all(|half| {
            contour::along(line, way + half * size[0]).is_some_and(|(p, _)| {
                let on_line = [at[0] + half * size[0] * unit[0], at[1] + half * size[0] * unit[1]];
                contour::distance(p, on_line, on_line) < 0.8
            })
        });
        let turned = plan::upright(measure::math::atan2(unit[1], unit[0]).to_degrees());
        let ground = plan::turned_box(at, size, turned);
        let rect = plan::extent_of(&ground);
        if straight && sheet.places.is_free(&rect) {
            sheet.places.take(rect);
            sheet.svg.rings(&[ground.to_vec()], Paint::fill(WHITE));
            sheet.svg.text(Text::new(words, at, TEXT_MM).anchor(Anchor::Middle).ink(BLACK).turned(turned));
            way += apart_mm;
        } else {
            way += 3.0;
        }
    }
}
