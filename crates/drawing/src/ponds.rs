//! Where water stays on the floor, how deep and how much.

use crate::contour::{self, Field};
use crate::floor::{self, define_hatching, label_line};
use crate::ink::{BLACK, DEPTH, FINE_MM, LINE_MM, WHITE};
use crate::page::Rect;
use crate::sheet::{Block, Head, Sheet, TEXT_MM};
use crate::svg::{Anchor, At, Paint, Svg, Text};
use crate::{PondsOnFloor, Scene, plan, text};
use room::Room;
use water::grid::Grid;
use water::ponding::PondOut;

const HEAD: Head = Head {
    name: "ponds",
    what: "Standing water",
    about: "The floor to scale with the water that stays on it: lines of equal depth, the deepest place, depth and volume of \
            each pond, and where it runs over.",
    rest: "see the assessment",
};
/// Ponds drawn and listed, at most: the deepest.
const PONDS: usize = 20;

/// The floor with its ponds: lines of equal depth, deepest places, volumes, where each runs over.
pub fn ponds(scene: &Scene) -> String {
    let measured = scene.surface.and_then(|s| Some((s.words, s.ponds.filter(|p| p.level_mm.len() == p.grid.len())?)));
    let Some((words, surface)) = &measured else {
        let words = "No levels of this surface: whether water stays is not shown.";
        return floor::sheet(&HEAD, scene, &[Block::Text(words.into())], Some(words), |_, _| {});
    };
    let shown = Shown::of(surface);
    floor::sheet(&HEAD, scene, &blocks(scene, words, surface, &shown), None, |sheet, room| {
        define_hatching(&mut sheet.svg, "cut-off", 2.6, 45.0, BLACK, LINE_MM);
        let lines = water(sheet, room, surface, &shown);
        plan::zones(sheet, room);
        plan::things(sheet, room);
        plan::outline(sheet, room);
        plan::dimensions(sheet, room);
        marks(sheet, &shown);
        for (line, words) in &lines {
            label_line(sheet, line, words, 60.0);
        }
        plan::zone_names(sheet, room, 14.0);
    })
}

/// The ponds that are drawn, and the steps of depth.
struct Shown<'a> {
    ponds: &'a [PondOut],
    /// Depth of each cell in one of them, negative on the dry floor beside it.
    depth: Vec<f64>,
    step_mm: f64,
}

impl<'a> Shown<'a> {
    fn of(surface: &PondsOnFloor<'a>) -> Self {
        let ponds = &surface.ponds[..surface.ponds.len().min(PONDS)];
        let deepest = ponds.iter().map(|p| p.depth_max_mm).filter(|d| d.is_finite()).fold(0.0, f64::max);
        let step_mm = contour::step(deepest, DEPTH.len()).max(0.1);
        Self { ponds, depth: depths(surface, ponds), step_mm }
    }

    /// Lower bounds of the steps.
    fn steps(&self) -> Vec<f64> {
        let deepest = self.ponds.iter().map(|p| p.depth_max_mm).fold(0.0, f64::max);
        (0..DEPTH.len()).map(|k| k as f64 * self.step_mm).take_while(|from| *from < deepest || *from == 0.0).collect()
    }

    fn decimals(&self) -> usize {
        if self.step_mm >= 1.0 { 0 } else { 1 }
    }
}

/// The ink of a step: light for shallow water, whatever their number.
fn ink_of(step: usize, steps: usize) -> &'static str {
    DEPTH[if steps > 1 { step * (DEPTH.len() - 1) / (steps - 1).max(3) } else { 0 }]
}

/// Depths of the cells of some ponds; dry floor beside a pond as far below zero as it lies above the water, so that the
/// water's edge lies between two cells where it belongs.
fn depths(surface: &PondsOnFloor, ponds: &[PondOut]) -> Vec<f64> {
    let grid = surface.grid;
    let depth_at = |cell: usize| surface.level_mm[cell] - grid.z_mm[cell];
    let mut depth: Vec<f64> = grid.z_mm.iter().map(|z| if z.is_nan() { f64::NAN } else { f64::NEG_INFINITY }).collect();
    for pond in ponds {
        let Some(start) = grid.cell_at(pond.deepest_mm).filter(|c| depth_at(*c) > 0.0 && depth_at(*c).is_finite()) else { continue };
        let level = surface.level_mm[start];
        let mut open = vec![start];
        depth[start] = depth_at(start);
        while let Some(cell) = open.pop() {
            for beside in grid.neighbours(cell) {
                if !grid.is_floor(beside) || depth[beside] > 0.0 {
                    continue;
                }
                let wet = surface.level_mm[beside] == level && depth_at(beside) > 0.0;
                depth[beside] = if wet { depth_at(beside) } else { depth[beside].max(level - grid.z_mm[beside]).min(0.0) };
                if wet {
                    open.push(beside);
                }
            }
        }
    }
    depth
}

fn blocks(scene: &Scene, words: &str, surface: &PondsOnFloor, shown: &Shown) -> Vec<Block> {
    let mut blocks = vec![Block::Text(words.into())];
    let ignored = surface.depth_ignored_mm;
    let more = if ignored > 0.0 { format!(" deeper than {} mm", text::figures(ignored).trim_end_matches(".0")) } else { String::new() };
    if surface.ponds.is_empty() {
        blocks.push(Block::Text(format!("No water{more} stays on this surface as it was measured.")));
    } else {
        blocks.push(Block::Heading(format!("Ponds{more}")));
    }
    for (i, pond) in shown.ponds.iter().enumerate() {
        let sample = number_sample(i + 1);
        blocks.push(Block::Key { sample, width_mm: 6.0, number: None, words: pond_words(pond) });
    }
    if surface.ponds.len() > shown.ponds.len() {
        blocks.push(Block::Text(format!("and {} shallower ones, not drawn", surface.ponds.len() - shown.ponds.len())));
    }
    if surface.ponds.len() > 1 {
        let volume = litres(surface.ponds.iter().map(|p| p.volume_l).sum());
        blocks.push(Block::Text(format!("in all {}", volume)));
    }
    blocks.push(Block::Heading("Signs".into()));
    let steps = shown.steps();
    if !shown.ponds.is_empty() {
        for (k, from) in steps.iter().enumerate() {
            let ink = ink_of(k, steps.len());
            let decimals = shown.decimals();
            let to = text::decimal(from + shown.step_mm, decimals);
            let sample = Box::new(move |svg: &mut Svg, rect: Rect| {
                svg.rect(Rect::about(rect.middle(), [13.0, 3.8]), 0.0, Paint::line(BLACK, FINE_MM).filled(ink));
            });
            let words = format!("{} to {to} mm deep", text::decimal(*from, decimals));
            blocks.push(Block::Key { sample, width_mm: 16.0, number: None, words });
        }
        let key = |sample: crate::sheet::Sample, words: &str| Block::Key { sample, width_mm: 16.0, number: None, words: words.into() };
        blocks.push(key(Box::new(|svg, rect| deepest_sign(svg, rect.middle())), "deepest place"));
        blocks.push(key(Box::new(|svg, rect| spill_sign(svg, rect.middle())), "runs over here when full"));
    }
    if undrained(surface).next().is_some() {
        let sample = Box::new(|svg: &mut Svg, rect: Rect| {
            let fill = svg.pattern_fill("cut-off");
            svg.rect(Rect::about(rect.middle(), [13.0, 3.6]), 0.0, Paint::line(BLACK, FINE_MM).filled(&fill));
        });
        blocks.push(Block::Key { sample, width_mm: 16.0, number: None, words: "no way to an outlet".into() });
    }
    blocks.extend(plan::legend(scene.room));
    blocks.extend(scene.notes.iter().map(|note| Block::Text(note.clone())));
    blocks
}

/// A volume in litres, small ones in millilitres.
fn litres(volume_l: f64) -> String {
    match volume_l {
        v if v < 0.0005 => "under 1 mL".into(),
        v if v < 0.0995 => format!("{} mL", text::decimal(v * 1000.0, 0)),
        v if v < 0.995 => format!("{} L", text::decimal(v, 2)),
        v => format!("{} L", text::figures(v)),
    }
}

fn undrained<'a>(surface: &PondsOnFloor<'a>) -> impl Iterator<Item = usize> + use<'a> {
    let levels = surface.level_mm;
    (0..levels.len()).filter(move |cell| levels[*cell] == f64::INFINITY)
}

fn pond_words(pond: &PondOut) -> String {
    let area = if pond.area_m2 < 0.01 {
        format!("{} cm\u{b2}", text::figures(pond.area_m2 * 1e4))
    } else {
        format!("{} m\u{b2}", text::decimal(pond.area_m2, if pond.area_m2 < 0.1 { 3 } else { 2 }))
    };
    let (depth, volume, over) = (text::figures(pond.depth_max_mm), litres(pond.volume_l), text::decimal(pond.spill_mm[2], 1));
    format!("{depth} mm deep, {volume} on {area}; runs over at {over} mm")
}

fn number_sample(number: usize) -> crate::sheet::Sample {
    let words = number.to_string();
    Box::new(move |svg, rect| {
        svg.rect(Rect::about(rect.middle(), [6.0, 4.2]), 2.1, Paint::line(BLACK, LINE_MM).filled(WHITE));
        svg.text(Text::new(&words, rect.middle(), TEXT_MM).bold().anchor(Anchor::Middle));
    })
}

/// The water in steps of depth, from shallow to deep one upon the other; gives the lines to be labelled.
fn water(sheet: &mut Sheet, room: &Room, surface: &PondsOnFloor, shown: &Shown) -> Vec<(Vec<At>, String)> {
    let field: Field = floor::field(surface.grid, |cell| shown.depth[cell]);
    let steps = shown.steps();
    let layers: Vec<Vec<Vec<At>>> =
        steps.iter().map(|from| floor::on_page(sheet, &field.areas(if *from == 0.0 { EDGE_MM } else { *from }))).collect();
    let cut_off = cut_off(sheet, surface);
    let outline = sheet.view.line(&room.outline_mm);
    sheet.svg.clipped("floor", &[outline], |svg| {
        for (k, rings) in layers.iter().enumerate() {
            svg.rings(rings, Paint::line(BLACK, if k == 0 { LINE_MM } else { FINE_MM }).filled(ink_of(k, steps.len())));
        }
        let fill = svg.pattern_fill("cut-off");
        svg.rings(&cut_off, Paint::line(BLACK, LINE_MM).filled(&fill));
    });
    for ring in layers.first().into_iter().flatten() {
        spare_inside(sheet, ring);
    }
    let mut labelled = Vec::new();
    for from in steps.iter().skip(1) {
        let words = text::decimal(*from, shown.decimals());
        labelled.extend(floor::on_page(sheet, &field.lines(*from)).into_iter().map(|line| (line, words.clone())));
    }
    labelled
}

/// Names had better stand beside a pond than in it.
fn spare_inside(sheet: &mut Sheet, ring: &[At]) {
    const APART_MM: f64 = 3.0;
    let rect = plan::extent_of(ring);
    let [w, h] = rect.size().map(|v| ((v / APART_MM) as usize).min(100));
    for (i, j) in (0..=h).flat_map(|j| (0..=w).map(move |i| (i, j))) {
        let at = [rect.lo[0] + APART_MM * i as f64, rect.lo[1] + APART_MM * j as f64];
        if room::geometry::contains(ring, at, 0.0) {
            sheet.places.spare(Rect::about(at, [0.5, 0.5]));
        }
    }
}

/// Depth at which the water's edge is drawn: less than a film.
const EDGE_MM: f64 = 0.001;

fn cut_off(sheet: &Sheet, surface: &PondsOnFloor) -> Vec<Vec<At>> {
    if undrained(surface).next().is_none() {
        return Vec::new();
    }
    let grid: &Grid = surface.grid;
    floor::cells(sheet, grid, |cell| surface.level_mm[cell] == f64::INFINITY)
}

fn deepest_sign(svg: &mut Svg, [x, y]: At) {
    let cross = [vec![[x - 1.1, y - 1.1], [x + 1.1, y + 1.1]], vec![[x - 1.1, y + 1.1], [x + 1.1, y - 1.1]]];
    svg.polylines(&cross, Paint::line(WHITE, 1.1));
    svg.polylines(&cross, Paint::line(BLACK, 0.5));
}

/// A notch over which a drop leaves.
fn spill_sign(svg: &mut Svg, [x, y]: At) {
    let lip = [[x - 1.8, y - 0.9], [x - 0.7, y - 0.9], [x, y + 0.5], [x + 0.7, y - 0.9], [x + 1.8, y - 0.9]];
    svg.polyline(&lip, Paint::line(WHITE, 1.3));
    svg.polyline(&lip, Paint::line(BLACK, 0.5));
    svg.circle([x, y + 1.5], 0.5, Paint::line(WHITE, FINE_MM).filled(BLACK));
}

/// Number, depth and volume of each pond beside its deepest place; where it runs over.
fn marks(sheet: &mut Sheet, shown: &Shown) {
    for pond in shown.ponds {
        let deepest = sheet.view.page(pond.deepest_mm);
        let spill = sheet.view.page([pond.spill_mm[0], pond.spill_mm[1]]);
        deepest_sign(&mut sheet.svg, deepest);
        spill_sign(&mut sheet.svg, spill);
        sheet.places.take(Rect::about(deepest, [2.6, 2.6]));
        sheet.places.take(Rect::about(spill, [3.8, 3.8]));
    }
    let mut placed = Vec::new();
    for (i, pond) in shown.ponds.iter().enumerate() {
        let at = sheet.view.page(pond.deepest_mm);
        let whole = format!("{}: {} mm, {}", i + 1, text::figures(pond.depth_max_mm), litres(pond.volume_l));
        let short = (i + 1).to_string();
        let found = sheet.place(&whole, at, 2.0, 24.0).map(|rect| (whole, rect));
        if let Some((words, rect)) = found.or_else(|| sheet.place(&short, at, 1.5, 24.0).map(|rect| (short, rect))) {
            placed.push((at, words, rect));
        }
    }
    // Ties first, so that none crosses a name.
    for (at, _, rect) in &placed {
        sheet.tie(*at, rect, 2.5);
        deepest_sign(&mut sheet.svg, *at);
    }
    for (_, words, rect) in &placed {
        sheet.write(words, *rect, BLACK, true);
    }
}
