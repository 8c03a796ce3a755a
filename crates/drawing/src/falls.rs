//! The floor with its levels, which way it falls and how steeply.

use crate::contour;
use crate::floor::{self, define_hatching, label_line};
use crate::ink::{BLACK, BLUE, DARK_VERMILION, FINE_MM, GREY, LINE_MM, VERMILION, WHITE};
use crate::page::Rect;
use crate::sheet::{Block, Head, Sheet, TEXT_MM};
use crate::signs::{self, sign_sample};
use crate::slope;
use crate::svg::{Anchor, At, Paint, Svg, Text};
use crate::{FloorPart, Mark, Reading, Scene, SurfaceOnFloor, plan, text};
use measure::{PointMm, Verdict, math};
use room::Room;
use room::geometry;
use room::register::{Face, Place};
use water::falls::{BackFall, Output, PlaneOut};
use water::grid::Grid;

const HEAD: Head = Head {
    name: "falls",
    what: "Falls",
    about: "The floor to scale with spot levels, arrows downhill that are longer where it is steeper, lines of equal height, and \
            back-falls hatched.",
    rest: "see the assessment",
};
/// Least distance of arrows on the floor, and on the page.
const ARROWS_MM: f64 = 150.0;
const ARROWS_PAGE_MM: f64 = 11.0;
/// Slopes are looked at over this much floor, so that an arrow shows the fall and not the grain.
const WINDOW_MM: f64 = 70.0;
/// Lines of equal height are drawn of the surface smoothed over this distance to either side.
const SMOOTH_MM: f64 = 20.0;
/// Flatter than this is level: no arrow says which way.
const LEVEL: f64 = 1.0 / 1000.0;
/// Lines of equal height, at most.
const LINES: usize = 14;
/// Readings named on the plan, at most; more are thinned out evenly.
const NAMED: usize = 300;

/// The floor with spot levels, arrows downhill, lines of equal height, back-falls and what each plane falls.
pub fn falls(scene: &Scene) -> String {
    let Some(surface) = &scene.surface else {
        let words = "No levels of this surface: its falls are not shown.";
        return floor::sheet(&HEAD, scene, &[Block::Text(words.into())], Some(words), |_, _| {});
    };
    let scale = ArrowScale::of(surface);
    floor::sheet(&HEAD, scene, &blocks(scene, surface, &scale), None, |sheet, room| {
        define_hatching(&mut sheet.svg, "beyond", 2.6, 45.0, GREY, FINE_MM);
        define_hatching(&mut sheet.svg, "back", 1.5, -45.0, VERMILION, 0.4);
        ground(sheet, room, surface);
        let lines = height_lines(sheet, surface);
        plan::zones(sheet, room);
        plan::things(sheet, room);
        plan::outline(sheet, room);
        plan::dimensions(sheet, room);
        back_falls(sheet, surface);
        dots(sheet, surface.readings);
        planes(sheet, scene, surface);
        readings(sheet, room, surface.readings);
        back_fall_names(sheet, surface);
        faults(sheet, surface);
        for (line, words) in &lines {
            label_line(sheet, line, words, 80.0);
        }
        arrows(sheet, room, surface, &scale);
        plan::zone_names(sheet, room, 14.0);
    })
}

/// How long an arrow is for its fall.
struct ArrowScale {
    /// The fall of the longest arrow.
    full: f64,
}

impl ArrowScale {
    /// So that the steeper tenth of the floor has the longest arrows.
    fn of(surface: &SurfaceOnFloor) -> Self {
        let sampled = surface.parts.iter().flat_map(|part| {
            let every = (part.grid.len() / 400).max(1);
            let slopes = (0..part.grid.len()).step_by(every);
            slopes.filter_map(|cell| slope::gradient(part.grid, part.grid.centre_mm(cell), WINDOW_MM))
        });
        let mut falls: Vec<f64> = sampled.map(|[gx, gy]| (gx * gx + gy * gy).sqrt()).collect();
        falls.sort_by(f64::total_cmp);
        let full = falls.get(falls.len() * 9 / 10).copied().unwrap_or(0.02);
        Self { full: full.clamp(0.01, slope::STEP) }
    }

    fn length_mm(&self, fall: f64) -> f64 {
        (fall / self.full).min(1.0) * LONGEST_MM
    }
}

/// The longest arrow, on the page.
const LONGEST_MM: f64 = 0.8 * ARROWS_PAGE_MM;

fn blocks(scene: &Scene, surface: &SurfaceOnFloor, scale: &ArrowScale) -> Vec<Block> {
    let mut blocks = vec![Block::Text(surface.words.into())];
    if !surface.fall_limits.is_empty() {
        blocks.push(Block::Text(format!("Asked: {}", surface.fall_limits)));
    }
    let planes = all_planes(scene, surface);
    if !planes.is_empty() {
        blocks.push(Block::Heading("Planes (\u{b1} is 95 %)".into()));
    }
    for plane in &planes {
        let lettered = plane.letter.as_ref().map_or(String::new(), |letter| format!("{letter}: "));
        let words = format!("{lettered}{}, {}", plane.found.id, plane_words(plane.found));
        blocks.push(Block::Key { sample: sign_sample(plane.mark()), width_mm: 5.0, number: None, words });
    }
    let backs = all_back_falls(surface);
    if !backs.is_empty() {
        blocks.push(Block::Heading("Back-falls (\u{b1} is 95 %)".into()));
    }
    for back in backs.iter().take(BACK_FALLS) {
        blocks.push(Block::Key { sample: sign_sample(Mark::FallsShort), width_mm: 5.0, number: None, words: back_words(back) });
    }
    if backs.len() > BACK_FALLS {
        blocks.push(Block::Text(format!("and {} lower ones", backs.len() - BACK_FALLS)));
    }
    blocks.push(Block::Heading("Signs".into()));
    blocks.extend(legend(surface, scale));
    blocks.extend(plan::legend(scene.room));
    blocks.extend(scene.notes.iter().map(|note| Block::Text(note.clone())));
    blocks
}

fn legend(surface: &SurfaceOnFloor, scale: &ArrowScale) -> Vec<Block> {
    let key = |sample: crate::sheet::Sample, words: &str| Block::Key { sample, width_mm: 16.0, number: None, words: words.into() };
    let mut blocks = Vec::new();
    for run in [100.0, 50.0] {
        let length = scale.length_mm(1.0 / run);
        let sample = Box::new(move |svg: &mut Svg, rect: Rect| {
            let y = rect.middle()[1];
            arrow(svg, [rect.lo[0] + 1.0, y], [1.0, 0.0], length, false);
        });
        blocks.push(key(sample, &format!("downhill, 1:{run:.0}")));
    }
    if !surface.readings.is_empty() {
        let sample = Box::new(|svg: &mut Svg, rect: Rect| level_sample(svg, rect.middle()));
        blocks.push(key(sample, "level read: its name, its height over the benchmark in mm, where there is room"));
    }
    let sample = Box::new(|svg: &mut Svg, rect: Rect| {
        let y = rect.middle()[1];
        svg.line([rect.lo[0] + 1.0, y], [rect.hi[0] - 1.0, y], Paint::line(GREY, LINE_MM));
    });
    blocks.push(key(sample, "equal height, mm"));
    if all_falls(surface).any(|f| !f.backfalls.is_empty()) {
        blocks.push(key(hatched("back", VERMILION), "rises towards the outlet"));
    }
    let away = |f: &Output| f.drawing.as_ref().is_some_and(|d| d.fall.iter().flatten().any(|fall| *fall < 0.0));
    if all_falls(surface).any(away) {
        let sample = Box::new(|svg: &mut Svg, rect: Rect| arrow(svg, [rect.lo[0] + 1.0, rect.middle()[1]], [1.0, 0.0], 6.0, true));
        blocks.push(key(sample, "downhill, but away from the outlet"));
    }
    if surface.parts.iter().any(|part| part.extrapolated.contains(&true)) {
        blocks.push(key(hatched("beyond", GREY), "beyond the levels: carried on, not measured"));
    }
    blocks
}

fn level_sample(svg: &mut Svg, [x, y]: At) {
    let x = x - 2.5;
    dot(svg, [x, y]);
    svg.text(Text::new("7", [x - 1.2, y], TEXT_MM).anchor(Anchor::End).ink(GREY));
    svg.text(Text::new("\u{2212}3.1", [x + 1.2, y], TEXT_MM).bold());
}

/// A box filled with a pattern.
fn hatched(pattern: &'static str, ink: &'static str) -> crate::sheet::Sample {
    Box::new(move |svg, rect| {
        let fill = svg.pattern_fill(pattern);
        svg.rect(Rect::about(rect.middle(), [13.0, 3.6]), 0.0, Paint::line(ink, FINE_MM).filled(&fill));
    })
}

/// A plane, its place on the floor and the letter it has there, where that place can be told.
struct Plane<'a> {
    found: &'a PlaneOut,
    at: Option<PointMm>,
    letter: Option<String>,
}

impl Plane<'_> {
    fn mark(&self) -> Mark {
        mark_of(self.found.judgement.verdict)
    }
}

fn all_planes<'a>(scene: &Scene, surface: &SurfaceOnFloor<'a>) -> Vec<Plane<'a>> {
    let mut placed = 0;
    let planes = all_falls(surface).flat_map(|f| &f.planes).map(|found| {
        let at = place_of(scene, found);
        let letter = at.map(|_| {
            placed += 1;
            letter(placed - 1)
        });
        Plane { found, at, letter }
    });
    planes.collect()
}

fn all_falls<'a>(surface: &SurfaceOnFloor<'a>) -> impl Iterator<Item = &'a Output> + use<'a> {
    surface.parts.iter().filter_map(|part| part.falls)
}

fn mark_of(verdict: Verdict) -> Mark {
    match verdict {
        Verdict::Conforms => Mark::Conforms,
        Verdict::NotShown => Mark::NotShown,
        Verdict::FallsShort => Mark::FallsShort,
    }
}

/// A, B ... Z, AA, AB ...
fn letter(i: usize) -> String {
    let last = char::from(b'A' + (i % 26) as u8);
    if i < 26 { last.to_string() } else { format!("{}{last}", letter(i / 26 - 1)) }
}

fn plane_words(plane: &PlaneOut) -> String {
    let verdict = plane.judgement.verdict;
    match (plane.fall, plane.u_fall) {
        (Some(fall), u) => {
            let spread = u.map_or(String::new(), |u| format!(" \u{b1} {}", text::decimal(200.0 * u, 2)));
            let back = if fall < 0.0 { "back-fall " } else { "" };
            format!("{back}{} ({}{spread} %), {verdict}", text::one_to(fall), text::decimal(100.0 * fall.abs(), 2))
        }
        (None, _) => format!("fall {verdict}"),
    }
}

fn back_words(back: &BackFall) -> String {
    let run = contour::distance(back.at_mm, back.to_mm, back.to_mm);
    let spread = back.u_rise_mm.map_or(String::new(), |u| format!(" \u{b1} {}", text::decimal(2.0 * u, 1)));
    let levels = match back.readings.as_slice() {
        [] => String::new(),
        names => format!(", levels {}", names.join(" and ")),
    };
    format!("rises {}{spread} mm over {} mm{levels}", text::decimal(back.rise_mm, 1), text::decimal(run, 0))
}

/// What lies under everything: what was not measured, and what falls back.
fn ground(sheet: &mut Sheet, room: &Room, surface: &SurfaceOnFloor) {
    let outline = sheet.view.line(&room.outline_mm);
    let beyond: Vec<Vec<At>> = surface
        .parts
        .iter()
        .filter(|part| part.extrapolated.len() == part.grid.len())
        .flat_map(|part| floor::cells(sheet, part.grid, |cell| part.extrapolated[cell] && part.grid.is_floor(cell)))
        .collect();
    let least = all_back_falls(surface).get(BACK_FALLS).map_or(0.0, |b| b.rise_mm);
    let back: Vec<Vec<At>> = all_falls(surface).flat_map(|f| back_area(sheet, f, least)).collect();
    sheet.svg.clipped("floor", &[outline], |svg| {
        let (light, heavy) = (svg.pattern_fill("beyond"), svg.pattern_fill("back"));
        svg.rings(&beyond, Paint::line(GREY, FINE_MM).dashed("0.8 0.8").filled(&light));
        svg.rings(&back, Paint::line(VERMILION, LINE_MM).filled(&heavy));
    });
}

/// Cells that rise towards the outlet and hang together with a back-fall that is shown; between two levels alone a
/// band, for those that rise more than `least_mm`.
fn back_area(sheet: &Sheet, found: &Output, least_mm: f64) -> Vec<Vec<At>> {
    if found.backfalls.is_empty() {
        return Vec::new();
    }
    let mut bands = Vec::new();
    let Some(drawn) = &found.drawing else {
        return found.backfalls.iter().map(|b| sheet.view.line(&geometry::band(&[b.at_mm, b.to_mm], BAND_MM))).collect();
    };
    let z_mm = drawn.fall.iter().map(|f| f.unwrap_or(f64::NAN)).collect();
    let grid = Grid { x0_mm: drawn.x0_mm, y0_mm: drawn.y0_mm, cell_mm: drawn.cell_mm, nx: drawn.nx, ny: drawn.ny, z_mm };
    if grid.z_mm.len() != grid.len() {
        return Vec::new();
    }
    let mut inside = vec![false; grid.len()];
    for back in &found.backfalls {
        let mut open: Vec<usize> = (0..=20)
            .filter_map(|k| {
                let t = f64::from(k) / 20.0;
                let at = [0, 1].map(|i| back.at_mm[i] + t * (back.to_mm[i] - back.at_mm[i]));
                grid.cell_at(at).filter(|c| grid.z_mm[*c] < 0.0)
            })
            .collect();
        if open.is_empty() && back.rise_mm > least_mm {
            bands.push(sheet.view.line(&geometry::band(&[back.at_mm, back.to_mm], BAND_MM)));
        }
        while let Some(cell) = open.pop() {
            if !std::mem::replace(&mut inside[cell], true) {
                open.extend(grid.neighbours(cell).filter(|c| grid.z_mm[*c] < 0.0 && !inside[*c]));
            }
        }
    }
    bands.extend(floor::cells(sheet, &grid, |cell| inside[cell]));
    bands
}

/// Width of the band drawn between two levels that show a back-fall.
const BAND_MM: f64 = 60.0;

/// Back-falls drawn and listed, at most: the highest.
const BACK_FALLS: usize = 8;

fn all_back_falls<'a>(surface: &SurfaceOnFloor<'a>) -> Vec<&'a BackFall> {
    let mut all: Vec<&BackFall> = all_falls(surface).flat_map(|f| &f.backfalls).collect();
    all.sort_by(|a, b| b.rise_mm.total_cmp(&a.rise_mm));
    all
}

/// From the low end of each back-fall (open) to its high end (full).
fn back_falls(sheet: &mut Sheet, surface: &SurfaceOnFloor) {
    for back in all_back_falls(surface).into_iter().take(BACK_FALLS) {
        let (low, high) = (sheet.view.page(back.at_mm), sheet.view.page(back.to_mm));
        sheet.svg.line(low, high, Paint::line(WHITE, 1.3));
        sheet.svg.line(low, high, Paint::line(VERMILION, 0.6));
        sheet.svg.circle(low, 1.1, Paint::line(VERMILION, 0.4).filled(WHITE));
        sheet.svg.circle(high, 1.1, Paint::line(VERMILION, 0.4).filled(VERMILION));
        sheet.places.spare_line(&[low, high], 1.6);
    }
}

fn back_fall_names(sheet: &mut Sheet, surface: &SurfaceOnFloor) {
    for back in all_back_falls(surface).into_iter().take(BACK_FALLS) {
        let (low, high) = (sheet.view.page(back.at_mm), sheet.view.page(back.to_mm));
        let middle = [(low[0] + high[0]) / 2.0, (low[1] + high[1]) / 2.0];
        let words = format!("back-fall {} mm", text::decimal(back.rise_mm, 1));
        sheet.label_in(&words, middle, 1.6, 24.0, DARK_VERMILION, true);
    }
}

/// A letter and the fall of each plane, in its middle.
fn planes(sheet: &mut Sheet, scene: &Scene, surface: &SurfaceOnFloor) {
    for plane in all_planes(scene, surface) {
        let (Some(at), Some(letter)) = (plane.at, &plane.letter) else { continue };
        let words = match plane.found.fall {
            Some(fall) => format!("{letter} {}", text::one_to(fall)),
            None => letter.clone(),
        };
        let size = [text::width_mm(&words, PLANE_MM, true) + 2.6, PLANE_MM + 1.4];
        let page = sheet.view.page(at);
        if let Some(rect) = sheet.places.near(page, size, -size[1] / 2.0, 24.0) {
            signs::pill(&mut sheet.svg, plane.mark(), &words, rect, PLANE_MM);
        }
    }
}

const PLANE_MM: f64 = 3.6;

/// A place in the middle of a plane: of the zone or the detail it is named after, or between its wall and its outlet.
fn place_of(scene: &Scene, plane: &PlaneOut) -> Option<PointMm> {
    let room = scene.room;
    if let Some(zone) = room.zone(&plane.id) {
        return plan::middle_of(&zone.polygon_mm);
    }
    let named = scene.details.iter().map(|d| d.detail).find(|d| d.face == Face::Floor && (d.id == plane.id || d.name == plane.id));
    if let Some(Place::Patch(patch)) = named.map(|d| &d.place) {
        let area = |ring: &&Vec<PointMm>| geometry::signed_area_mm2(ring).abs();
        return patch
            .iter()
            .filter_map(|polygon| polygon.first())
            .max_by(|a, b| area(a).total_cmp(&area(b)))
            .and_then(|r| plan::middle_of(r));
    }
    let [a, b] = plane.wall_mm?;
    let middle = [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0];
    let outlet = plane.outlet.as_deref().and_then(|id| room.outlets.iter().find(|o| o.id == id));
    let goal = match outlet.and_then(|o| Some([o.x_mm?, o.y_mm?])) {
        Some(goal) => goal,
        None => {
            let (sin, cos) = math::sincos(plane.toward_deg.to_radians());
            let reach = 0.5 * contour::distance(a, b, b);
            [middle[0] + reach * cos, middle[1] + reach * sin]
        }
    };
    [0.45, 0.3, 0.2, 0.1]
        .into_iter()
        .map(|t| [middle[0] + t * (goal[0] - middle[0]), middle[1] + t * (goal[1] - middle[1])])
        .find(|p| geometry::contains(&room.outline_mm, *p, 0.0))
}

/// Places that are shown to be too flat or too steep.
fn faults(sheet: &mut Sheet, surface: &SurfaceOnFloor) {
    let of = |what: &'static str, found: &[water::falls::Patch]| -> Vec<(PointMm, String)> {
        found.iter().map(|p| (p.at_mm, format!("{what} {}", text::one_to(p.fall)))).collect()
    };
    for found in all_falls(surface) {
        for (at, words) in of("too flat", &found.too_flat).into_iter().chain(of("too steep", &found.too_steep)) {
            let page = sheet.view.page(at);
            sheet.label_in(&words, page, 0.0, 20.0, DARK_VERMILION, true);
        }
    }
}

fn dot(svg: &mut Svg, at: At) {
    svg.circle(at, 0.75, Paint::line(WHITE, LINE_MM).filled(BLACK));
}

/// A dot at each level.
fn dots(sheet: &mut Sheet, readings: &[Reading]) {
    for reading in readings {
        let at = sheet.view.page(reading.at_mm);
        dot(&mut sheet.svg, at);
        sheet.places.take(Rect::about(at, [1.8, 1.8]));
    }
}

/// The name of a level to one side of its dot and its height to the other; where there is no room the height alone, else
/// neither.
fn readings(sheet: &mut Sheet, room: &Room, readings: &[Reading]) {
    let outline = sheet.view.line(&room.outline_mm);
    let on_floor = |r: &Rect| r.corners().iter().all(|c| geometry::contains(&outline, *c, 0.0));
    let every = readings.len().div_ceil(NAMED).max(1);
    for reading in readings.iter().step_by(every) {
        let height = text::decimal(reading.z_mm, 1);
        let name = text::shortened(reading.name, TEXT_MM, false, 12.0);
        let size = |words: &str, bold: bool| [text::width_mm(words, TEXT_MM, bold) + 0.5, 3.4];
        let at = sheet.view.page(reading.at_mm);
        let best = ways(at, size(&name, false), size(&height, true))
            .filter_map(|way| {
                let over: f64 = way.name.iter().chain([&way.height]).map(|r| sheet.places.cost(r)).sum::<Option<f64>>()?;
                let leaves = way.name.iter().chain([&way.height]).any(|r| !on_floor(r));
                Some((over + way.cost + if leaves { LEAVES_FLOOR } else { 0.0 }, way))
            })
            .min_by(|a, b| a.0.total_cmp(&b.0));
        let Some((_, way)) = best else { continue };
        for (rect, words, bold) in way.name.map(|r| (r, &name, false)).into_iter().chain([(way.height, &height, true)]) {
            sheet.places.take(rect);
            sheet.svg.rect(rect, 0.0, Paint::fill(WHITE));
            let line = Text::new(words, rect.middle(), TEXT_MM).anchor(Anchor::Middle);
            sheet.svg.text(if bold { line.bold() } else { line.ink(GREY) });
        }
    }
}

/// What it costs to write beyond the outline, and to leave out the name.
const LEAVES_FLOOR: f64 = 14.0;
const ALONE: f64 = 8.0;

/// One way of writing a name and a height about a dot.
struct Way {
    name: Option<Rect>,
    height: Rect,
    cost: f64,
}

/// Ways in the order a reader likes them: on one line with the dot between, the name above or below the height, the height
/// alone.
fn ways(at: At, name: [f64; 2], height: [f64; 2]) -> impl Iterator<Item = Way> {
    const GAP: f64 = 1.0;
    let beside = move |size: [f64; 2], side: f64, up: f64| Rect::about([at[0] + side * (GAP + size[0] / 2.0), at[1] + up], size);
    let over = move |size: [f64; 2], up: f64| Rect::about([at[0], at[1] + up], size);
    let row = height[1];
    let both = [
        (beside(name, -1.0, 0.0), beside(height, 1.0, 0.0), 0.0),
        (beside(name, 1.0, 0.0), beside(height, -1.0, 0.0), 0.3),
        (beside(name, 1.0, row), beside(height, 1.0, 0.0), 0.4),
        (beside(name, -1.0, row), beside(height, -1.0, 0.0), 0.5),
        (beside(name, 1.0, 0.0), beside(height, 1.0, -row), 0.6),
        (beside(name, -1.0, 0.0), beside(height, -1.0, -row), 0.7),
        (over(name, GAP + 1.5 * row), over(height, GAP + 0.5 * row), 0.8),
        (over(name, -GAP - 0.5 * row), over(height, -GAP - 1.5 * row), 0.9),
        (over(name, GAP + 0.5 * row), over(height, -GAP - 0.5 * row), 1.0),
    ];
    // Above or below and to one side: for levels in a corner.
    let slanted = move |size: [f64; 2], side: f64, up: f64| Rect::about([at[0] + side * (size[0] / 2.0 - 1.2), at[1] + up], size);
    const SIDES: [[f64; 2]; 4] = [[1.0, -1.0], [-1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]];
    let corners = SIDES.map(|[side, up]| {
        let first = up * (GAP + 0.5 * row);
        (slanted(name, side, first + up * row), slanted(height, side, first), 1.2)
    });
    let alone = [beside(height, 1.0, 0.0), beside(height, -1.0, 0.0), over(height, -GAP - 0.5 * row), over(height, GAP + 0.5 * row)];
    let alone = alone.into_iter().chain(SIDES.map(|[side, up]| slanted(height, side, up * (GAP + 0.5 * row))));
    let both = both.into_iter().chain(corners).map(|(name, height, cost)| Way { name: Some(name), height, cost });
    both.chain(alone.map(|height| Way { name: None, height, cost: ALONE }))
}

/// Lines of equal height with their figures, drawn; the figures are set later, where there is room.
fn height_lines(sheet: &mut Sheet, surface: &SurfaceOnFloor) -> Vec<(Vec<At>, String)> {
    let smooth: Vec<Vec<f64>> = surface.parts.iter().map(|part| slope::smoothed(part.grid, SMOOTH_MM)).collect();
    let range = |of: &Vec<f64>| {
        let known = || of.iter().copied().filter(|z| !z.is_nan());
        (known().fold(f64::INFINITY, f64::min), known().fold(f64::NEG_INFINITY, f64::max))
    };
    // Steps by the part that differs most in height: the same in all of them.
    let most = smooth.iter().map(range).map(|(low, high)| high - low).fold(0.0, f64::max);
    let step = contour::step(most, LINES).max(0.5);
    let mut labelled = Vec::new();
    for (part, smooth) in surface.parts.iter().zip(&smooth) {
        let (low, high) = range(smooth);
        if high.partial_cmp(&low) != Some(std::cmp::Ordering::Greater) {
            continue;
        }
        let field = floor::field(part.grid, |cell| smooth[cell]);
        for k in (low / step).ceil() as i64..=(high / step).floor() as i64 {
            let level = k as f64 * step;
            let lines = floor::on_page(sheet, &field.lines(level));
            let width = if k % 5 == 0 { 0.5 } else { 0.3 };
            sheet.svg.polylines(&lines, Paint::line(CONTOUR, width).round());
            let words = text::decimal(level, if step < 1.0 { 1 } else { 0 });
            labelled.extend(lines.into_iter().map(|line| (line, words.clone())));
        }
    }
    labelled
}

/// Ink of lines of equal height: behind everything else.
const CONTOUR: &str = "#8a8a8a";

/// Arrows downhill on a lattice, each moved a little where something else stands.
fn arrows(sheet: &mut Sheet, room: &Room, surface: &SurfaceOnFloor, scale: &ArrowScale) {
    let apart = (ARROWS_PAGE_MM / sheet.view.k).max(ARROWS_MM);
    let Some([lo, hi]) = geometry::extent(&room.outline_mm) else { return };
    let count = |axis: usize| (((hi[axis] - lo[axis]) / apart).floor() as usize).min(200) + 1;
    let start = |axis: usize| lo[axis] + ((hi[axis] - lo[axis]) - (count(axis) - 1) as f64 * apart) / 2.0;
    for j in 0..count(1) {
        for i in 0..count(0) {
            let node = [start(0) + i as f64 * apart, start(1) + j as f64 * apart];
            for [di, dj] in NUDGES {
                let at = [node[0] + di * apart, node[1] + dj * apart];
                if surface.parts.iter().any(|part| lattice_arrow(sheet, part, at, scale)) {
                    break;
                }
            }
        }
    }
}

/// How an arrow may be moved, in distances of arrows.
const NUDGES: [[f64; 2]; 9] =
    [[0.0, 0.0], [0.2, 0.0], [-0.2, 0.0], [0.0, 0.2], [0.0, -0.2], [0.3, 0.3], [-0.3, 0.3], [0.3, -0.3], [-0.3, -0.3]];

/// Draws the arrow at one place; says whether the place is settled.
fn lattice_arrow(sheet: &mut Sheet, part: &FloorPart, at: PointMm, scale: &ArrowScale) -> bool {
    let Some([gx, gy]) = slope::gradient(part.grid, at, WINDOW_MM) else { return false };
    let fall = (gx * gx + gy * gy).sqrt();
    let middle = sheet.view.page(at);
    if fall < LEVEL {
        let free = sheet.places.is_free(&Rect::about(middle, [2.0, 2.0]));
        if free {
            sheet.svg.circle(middle, 0.7, Paint::line(BLUE, LINE_MM));
        }
        return free;
    }
    let unit = [-gx / fall, gy / fall];
    let length = scale.length_mm(fall).max(2.2);
    let start = [middle[0] - unit[0] * length / 2.0, middle[1] - unit[1] * length / 2.0];
    let way = |t: f64| Rect::about([start[0] + unit[0] * length * t, start[1] + unit[1] * length * t], [1.4, 1.4]);
    let boxes: Vec<Rect> = (0..=5).map(|k| way(f64::from(k) / 5.0)).collect();
    if !boxes.iter().all(|b| sheet.places.cost(b) == Some(0.0)) {
        return false;
    }
    let back = part.falls.and_then(|f| f.drawing.as_ref()).and_then(|d| fall_at(d, at)).is_some_and(|fall| fall < 0.0);
    arrow(&mut sheet.svg, start, unit, length, back);
    boxes.into_iter().for_each(|b| sheet.places.take(b));
    true
}

fn fall_at(drawn: &water::falls::Drawing, [x, y]: PointMm) -> Option<f64> {
    let index = |v: f64, origin: f64, n: usize| {
        let k = ((v - origin) / drawn.cell_mm + 0.5).floor();
        (k >= 0.0 && k < n as f64).then_some(k as usize)
    };
    let (i, j) = (index(x, drawn.x0_mm, drawn.nx)?, index(y, drawn.y0_mm, drawn.ny)?);
    drawn.fall.get(j * drawn.nx + i).copied().flatten()
}

/// An arrow from its tail; one that shows a back-fall has a broken shaft.
fn arrow(svg: &mut Svg, [x, y]: At, [ux, uy]: [f64; 2], length: f64, back: bool) {
    let head = (0.45 * length).clamp(1.2, 2.2);
    let at = |along: f64, across: f64| [x + ux * along - uy * across, y + uy * along + ux * across];
    let ink = if back { VERMILION } else { BLUE };
    let shaft = Paint::line(ink, 0.45);
    svg.line(at(0.0, 0.0), at(length - 0.7 * head, 0.0), if back { shaft.dashed("0.9 0.6") } else { shaft });
    svg.rings(&[vec![at(length, 0.0), at(length - head, 0.38 * head), at(length - head, -0.38 * head)]], Paint::fill(ink));
}

#[cfg(test)]
mod tests {
    #[test]
    fn planes_are_lettered_past_z() {
        assert_eq!(["A", "Z", "AA", "AZ", "BA"], [0, 25, 26, 51, 52].map(super::letter).each_ref().map(String::as_str));
    }
}
