//! What stands on the floor of every drawing: outline, zones, outlets, water stops, screens, fixtures, dimensions.

use crate::ink::{BLACK, BLUE, FINE_MM, GREY, HEAVY_MM, LINE_MM, PALE, WHITE};
use crate::page::Rect;
use crate::sheet::{Block, Sheet, TEXT_MM};
use crate::svg::{Anchor, At, Paint, Svg, Text};
use crate::text;
use measure::{PointMm, math};
use room::Room;
use room::geometry::{self, Edge, edges};
use room::nouns::{Fixture, FixtureKind, Opening, OpeningKind, Outlet, OutletKind, Zone};

/// An edge of a zone this near to a wall is the wall.
const AT_WALL_MM: f64 = 15.0;
/// How far a dimension line stands off.
pub const DIMENSION_MM: f64 = 6.5;
/// A dimension shorter than this on the page has no room for its figure.
const SHORTEST_DIMENSION_MM: f64 = 7.0;
/// Names of doors and windows lie no further from them.
const REACH_MM: f64 = 16.0;

/// The outline of the floor, doors left open.
pub fn outline(sheet: &mut Sheet, room: &Room) {
    let mut page = sheet.view.line(&room.outline_mm);
    sheet.svg.rings(std::slice::from_ref(&page), Paint::line(BLACK, HEAVY_MM));
    page.extend(page.first().copied());
    sheet.places.spare_line(&page, 1.0);
    for (opening, edge) in openings(room) {
        let (from, to) = (edge.at(opening.from_mm, 0.0), edge.at(opening.from_mm + opening.width_mm, 0.0));
        let (a, b) = (sheet.view.page(from), sheet.view.page(to));
        sheet.svg.line(a, b, Paint::line(WHITE, HEAVY_MM + 0.5));
        let half = 0.5 / sheet.view.k;
        for out in [-half, half] {
            let line = [sheet.view.page(edge.at(opening.from_mm, out)), sheet.view.page(edge.at(opening.from_mm + opening.width_mm, out))];
            sheet.svg.line(line[0], line[1], Paint::line(BLACK, FINE_MM));
        }
    }
}

/// Doors and windows with the edge of the outline they lie in.
fn openings(room: &Room) -> Vec<(&Opening, Edge)> {
    let sides = edges(&room.outline_mm);
    let of = |opening: &Opening| room.walls.iter().position(|w| w.id == opening.wall).and_then(|i| sides.get(i).copied());
    room.openings.iter().filter_map(|o| of(o).map(|edge| (o, edge))).collect()
}

/// Names of doors and windows, outside the floor.
pub fn opening_names(sheet: &mut Sheet, room: &Room) {
    for (opening, edge) in openings(room) {
        let out = edge.outward();
        let middle = sheet.view.page(edge.at(opening.from_mm + opening.width_mm / 2.0, 0.0));
        let at = [middle[0] + 2.0 * out[0], middle[1] - 2.0 * out[1]];
        let name = match opening.kind {
            OpeningKind::Door if !opening.id.contains("door") => format!("door {}", opening.id),
            OpeningKind::Window if !opening.id.contains("window") => format!("window {}", opening.id),
            _ => opening.id.clone(),
        };
        sheet.label_in(&name, at, 0.5, REACH_MM, GREY, false);
    }
}

/// What the lines on the floor stand for, as far as there are any.
pub fn legend(room: &Room) -> Vec<Block> {
    let line =
        |draw: fn(&mut Svg, Rect), words: &str| Block::Key { sample: Box::new(draw), width_mm: 16.0, number: None, words: words.into() };
    let mut blocks = Vec::new();
    if !room.water_stops.is_empty() {
        blocks.push(line(|svg, rect| water_stop(svg, &across(rect)), "water stop"));
    }
    if !room.screens.is_empty() {
        blocks.push(line(|svg, rect| svg.polyline(&across(rect), SCREEN), "screen"));
    }
    if room.zones.iter().any(|zone| zone.set_down_mm.is_some()) {
        blocks.push(line(
            |svg, rect| {
                let [a, b] = across(rect);
                svg.line(a, b, Paint::line(BLACK, LINE_MM));
                let tooth = |x: f64| vec![[x - 0.5, a[1]], [x, a[1] + 1.3], [x + 0.5, a[1]]];
                svg.rings(&(1..4).map(|i| tooth(a[0] + 3.4 * f64::from(i))).collect::<Vec<_>>(), Paint::fill(BLACK));
            },
            "set-down, teeth to the lower side",
        ));
    }
    if room.zones.iter().any(|zone| zone.set_down_mm.is_none()) {
        blocks.push(line(|svg, rect| svg.polyline(&across(rect), ZONE), "edge of a zone"));
    }
    blocks
}

fn across(rect: Rect) -> [At; 2] {
    let y = rect.middle()[1];
    [[rect.lo[0] + 1.0, y], [rect.hi[0] - 1.0, y]]
}

const ZONE: Paint = Paint::line(GREY, FINE_MM).dashed("4 1.2 0.8 1.2");
const SCREEN: Paint = Paint::line(BLUE, 0.5).dashed("5 0.8");

fn water_stop(svg: &mut Svg, line: &[At]) {
    svg.polyline(line, Paint::line(BLACK, 0.9));
    svg.polyline(line, Paint::line(WHITE, 0.3));
}

/// Edges of zones in fine broken lines; a set-down with teeth towards its lower side.
pub fn zones(sheet: &mut Sheet, room: &Room) {
    for zone in &room.zones {
        for edge in inner_edges(room, zone) {
            let line = sheet.view.line(&[edge.from, edge.to]);
            if zone.set_down_mm.is_some() {
                set_down(sheet, &edge, &zone.polygon_mm);
            } else {
                sheet.svg.line(line[0], line[1], ZONE);
            }
        }
    }
}

/// A solid line with teeth on the lower side.
fn set_down(sheet: &mut Sheet, edge: &Edge, zone: &[PointMm]) {
    let (a, b) = (sheet.view.page(edge.from), sheet.view.page(edge.to));
    sheet.svg.line(a, b, Paint::line(BLACK, LINE_MM));
    let middle = edge.at(edge.length_mm() / 2.0, 1.0);
    let side = if geometry::contains(zone, middle, 0.0) { 1.0 } else { -1.0 };
    let (tooth, gap) = (1.3 / sheet.view.k, 4.0 / sheet.view.k);
    let count = (edge.length_mm() / gap).floor().min(400.0) as usize;
    let teeth: Vec<Vec<At>> = (0..count)
        .map(|i| {
            let along = gap * (i as f64 + 0.5);
            [edge.at(along - 0.4 * tooth, 0.0), edge.at(along, side * tooth), edge.at(along + 0.4 * tooth, 0.0)]
                .map(|p| sheet.view.page(p))
                .to_vec()
        })
        .collect();
    sheet.svg.rings(&teeth, Paint::fill(BLACK));
}

fn inner_edges(room: &Room, zone: &Zone) -> Vec<Edge> {
    let at_wall = |e: &Edge| {
        let middle = e.at(e.length_mm() / 2.0, 0.0);
        geometry::distance_to_ring_mm(&room.outline_mm, middle) <= AT_WALL_MM
    };
    edges(&zone.polygon_mm).into_iter().filter(|e| e.length_mm() > 0.0 && !at_wall(e)).collect()
}

/// Names of zones, near their middle, and the depths of set-downs at their edges, where there is room.
pub fn zone_names(sheet: &mut Sheet, room: &Room, reach_mm: f64) {
    for zone in &room.zones {
        let longest = inner_edges(room, zone).into_iter().max_by(|a, b| a.length_mm().total_cmp(&b.length_mm()));
        if let (Some(depth), Some(edge)) = (zone.set_down_mm, longest) {
            let at = sheet.view.page(edge.at(0.5 * edge.length_mm(), 0.0));
            sheet.label_in(&format!("set-down {} mm", text::figures(depth.value())), at, 1.6, reach_mm, GREY, false);
        }
        let Some(middle) = middle_of(&zone.polygon_mm) else { continue };
        let at = sheet.view.page(middle);
        let ring = sheet.view.line(&zone.polygon_mm);
        // A name outside its zone would name something else.
        sheet.label_inside(&zone.id, &ring, at, GREY);
    }
}

/// A place in the middle of a ring.
pub fn middle_of(ring: &[PointMm]) -> Option<PointMm> {
    let [lo, hi] = geometry::extent(ring)?;
    let centre = [(lo[0] + hi[0]) / 2.0, (lo[1] + hi[1]) / 2.0];
    if geometry::contains(ring, centre, 0.0) {
        return Some(centre);
    }
    // Of a lattice, the place deepest inside.
    let lattice = (1..12).flat_map(|i| (1..12).map(move |j| (f64::from(i) / 12.0, f64::from(j) / 12.0)));
    lattice
        .map(|(s, t)| [lo[0] + s * (hi[0] - lo[0]), lo[1] + t * (hi[1] - lo[1])])
        .filter(|p| geometry::contains(ring, *p, 0.0))
        .max_by(|a, b| geometry::distance_to_ring_mm(ring, *a).total_cmp(&geometry::distance_to_ring_mm(ring, *b)))
        .or(Some(centre))
}

/// Outlets, water stops, hobs, screens and fixtures, without their names; what they cover is better left free of labels.
pub fn things(sheet: &mut Sheet, room: &Room) {
    for hob in &room.hobs {
        let ring = sheet.view.line(&geometry::band(&hob.line_mm, hob.width_mm));
        sheet.svg.rings(&[ring], Paint::line(BLACK, LINE_MM).filled("#eeeeee"));
    }
    for stop in &room.water_stops {
        let line = sheet.view.line(&stop.line_mm);
        water_stop(&mut sheet.svg, &line);
        sheet.places.spare_line(&line, 1.2);
    }
    for screen in &room.screens {
        let line = sheet.view.line(&screen.line_mm);
        // Drawn beside a water stop of the same line, not on it.
        let beside: Vec<At> = sheet.view.line(&geometry::beside(&screen.line_mm, 1.1 / sheet.view.k));
        sheet.svg.polyline(&beside, SCREEN);
        sheet.places.spare_line(&line, 1.2);
    }
    for outlet in &room.outlets {
        draw_outlet(sheet, outlet);
    }
    for fixture in &room.fixtures {
        let at = sheet.view.page([fixture.x_mm, fixture.y_mm]);
        fixture_sign(sheet, fixture.kind, at);
    }
}

/// Names of what [`things`] drew, no further off than `reach_mm` of the page.
pub fn thing_names(sheet: &mut Sheet, room: &Room, reach_mm: f64) {
    let place = |outlet: &Outlet| match outlet.kind {
        OutletKind::Point => Some([outlet.x_mm?, outlet.y_mm?]),
        OutletKind::Channel => geometry::along_line(&outlet.line_mm, geometry::line_length_mm(&outlet.line_mm) / 2.0),
    };
    let outlets = room.outlets.iter().filter_map(|o| {
        let clear = o.radius_mm.filter(|_| o.kind == OutletKind::Point).or(o.width_mm.map(|w| w / 2.0)).unwrap_or(0.0);
        Some((o.id.as_str(), place(o)?, clear, 2.4))
    });
    let fixtures = room.fixtures.iter().map(|f: &Fixture| (f.id.as_str(), [f.x_mm, f.y_mm], 0.0, fixture_size(f.kind)[0] / 2.0 + 0.4));
    let middle = |line: &[PointMm]| geometry::along_line(line, geometry::line_length_mm(line) / 2.0);
    let stops = room.water_stops.iter().filter_map(|s| Some((s.id.as_str(), middle(&s.line_mm)?, 0.0, 1.4)));
    let screens = room.screens.iter().filter_map(|s| Some((s.id.as_str(), middle(&s.line_mm)?, 0.0, 1.4)));
    let hobs = room.hobs.iter().filter_map(|h| Some((h.id.as_str(), middle(&h.line_mm)?, h.width_mm / 2.0, 1.0)));
    for (name, at, clear, off) in outlets.chain(hobs).chain(stops).chain(screens).chain(fixtures) {
        let page = sheet.view.page(at);
        sheet.label(name, page, sheet.view.mm(clear) + off, reach_mm + sheet.view.mm(clear));
    }
}

fn draw_outlet(sheet: &mut Sheet, outlet: &Outlet) {
    let paint = Paint::line(BLACK, LINE_MM).filled(WHITE);
    match (outlet.kind, outlet.x_mm, outlet.y_mm) {
        (OutletKind::Point, Some(x), Some(y)) => {
            let at = sheet.view.page([x, y]);
            let r = sheet.view.mm(outlet.radius_mm.unwrap_or(0.0)).max(1.6);
            sheet.svg.circle(at, r, paint);
            let d = r * std::f64::consts::FRAC_1_SQRT_2;
            let cross = [vec![[at[0] - d, at[1] - d], [at[0] + d, at[1] + d]], vec![[at[0] - d, at[1] + d], [at[0] + d, at[1] - d]]];
            sheet.svg.polylines(&cross, Paint::line(BLACK, FINE_MM));
            sheet.svg.circle(at, 0.6, Paint::fill(BLACK));
            sheet.places.take(Rect::about(at, [2.0 * r, 2.0 * r]));
        }
        (OutletKind::Channel, ..) if outlet.line_mm.len() >= 2 => {
            let width = outlet.width_mm.unwrap_or(0.0).max(2.0 / sheet.view.k);
            let ring = sheet.view.line(&geometry::band(&outlet.line_mm, width));
            sheet.svg.rings(&[ring], paint);
            let line = sheet.view.line(&outlet.line_mm);
            sheet.svg.polyline(&line, Paint::line(BLACK, (sheet.view.mm(width) * 0.5).max(0.5)).dashed("0.6 1.2"));
            sheet.places.spare_line(&line, sheet.view.mm(width));
        }
        _ => {}
    }
}

/// How large the sign of a fixture is.
fn fixture_size(kind: FixtureKind) -> [f64; 2] {
    match kind {
        FixtureKind::ShowerRose | FixtureKind::WashingMachine => [4.2, 4.2],
        FixtureKind::Tap => [3.6, 2.4],
        FixtureKind::Basin | FixtureKind::Cabinet | FixtureKind::Rail => [5.2, 3.8],
        FixtureKind::Bath => [7.2, 4.0],
        FixtureKind::Wc => [3.4, 4.4],
    }
}

/// A small sign of a fixture, the same size on every sheet.
fn fixture_sign(sheet: &mut Sheet, kind: FixtureKind, at: At) {
    let paint = Paint::line(GREY, LINE_MM).filled(WHITE);
    let svg = &mut sheet.svg;
    let [x, y] = at;
    match kind {
        FixtureKind::ShowerRose => {
            svg.circle(at, 1.9, paint);
            for [dx, dy] in [[0.0, 0.0], [1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]] {
                svg.circle([x + dx, y + dy], 0.3, Paint::fill(GREY));
            }
        }
        FixtureKind::Tap => {
            svg.circle(at, 1.1, paint);
            svg.line([x - 1.7, y], [x + 1.7, y], Paint::line(GREY, LINE_MM));
        }
        FixtureKind::Basin => {
            svg.rect(Rect::about(at, [5.0, 3.6]), 1.6, paint);
            svg.circle(at, 0.4, Paint::fill(GREY));
        }
        FixtureKind::Bath => {
            svg.rect(Rect::about(at, [7.0, 3.8]), 0.3, paint);
            svg.rect(Rect::about(at, [5.8, 2.6]), 1.2, Paint::line(GREY, FINE_MM));
        }
        FixtureKind::Wc => {
            svg.rect(Rect::about([x, y - 1.5], [3.2, 1.2]), 0.2, paint);
            svg.circle([x, y + 0.6], 1.5, paint);
        }
        FixtureKind::WashingMachine => {
            svg.rect(Rect::about(at, [4.0, 4.0]), 0.3, paint);
            svg.circle(at, 1.3, Paint::line(GREY, FINE_MM));
        }
        FixtureKind::Cabinet => {
            svg.rect(Rect::about(at, [4.4, 3.2]), 0.0, paint);
            svg.line([x - 2.2, y - 1.6], [x + 2.2, y + 1.6], Paint::line(GREY, FINE_MM));
        }
        FixtureKind::Rail => {
            svg.polylines(
                &[
                    vec![[x - 2.4, y], [x + 2.4, y]],
                    vec![[x - 2.4, y - 1.0], [x - 2.4, y + 1.0]],
                    vec![[x + 2.4, y - 1.0], [x + 2.4, y + 1.0]],
                ],
                Paint::line(GREY, LINE_MM),
            );
        }
    }
    sheet.places.take(Rect::about(at, fixture_size(kind)));
}

/// The length of each edge of the outline, outside it.
pub fn dimensions(sheet: &mut Sheet, room: &Room) {
    for edge in edges(&room.outline_mm) {
        dimension(sheet, &edge, 0.0, edge.length_mm());
    }
}

/// A dimension line beside an edge, `out_mm` of the plan and then [`DIMENSION_MM`] of the page off it.
pub fn dimension(sheet: &mut Sheet, edge: &Edge, out_mm: f64, value_mm: f64) {
    let off = out_mm + DIMENSION_MM / sheet.view.k;
    let (a, b) = (sheet.view.page(edge.at(0.0, off)), sheet.view.page(edge.at(edge.length_mm(), off)));
    let length = crate::contour::length(&[a, b]);
    let words = text::decimal(value_mm, 0);
    let size = [text::width_mm(&words, TEXT_MM, false) + 1.2, TEXT_MM + 0.6];
    let middle = [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0];
    let turned = upright(math::atan2(b[1] - a[1], b[0] - a[0]).to_degrees());
    let ground = turned_box(middle, size, turned);
    if length < SHORTEST_DIMENSION_MM || sheet.places.cost(&extent_of(&ground)) != Some(0.0) {
        // No room for a line: the figure alone, close by.
        let foot = sheet.view.page(edge.at(edge.length_mm() / 2.0, out_mm));
        let out = edge.outward();
        let at = [foot[0] + 1.5 * out[0], foot[1] - 1.5 * out[1]];
        if length > 1.0 {
            sheet.label_in(&words, at, 0.3, 10.0, GREY, false);
        }
        return;
    }
    let unit = [(b[0] - a[0]) / length, (b[1] - a[1]) / length];
    let paint = Paint::line(GREY, FINE_MM);
    sheet.svg.line(a, b, paint);
    for end in [a, b] {
        // Oblique strokes at the ends, and a fine line back towards the edge.
        let (p, q) = ([unit[0] - unit[1], unit[1] + unit[0]], 0.9);
        sheet.svg.line([end[0] - q * p[0], end[1] - q * p[1]], [end[0] + q * p[0], end[1] + q * p[1]], Paint::line(GREY, LINE_MM));
    }
    if out_mm == 0.0 {
        for (end, along) in [(a, 0.0), (b, edge.length_mm())] {
            let foot = sheet.view.page(edge.at(along, 1.2 / sheet.view.k));
            sheet.svg.line(foot, end, Paint::line(PALE, FINE_MM));
        }
    }
    sheet.svg.rings(&[ground.to_vec()], Paint::fill(WHITE));
    sheet.svg.text(Text::new(&words, middle, TEXT_MM).anchor(Anchor::Middle).ink(GREY).turned(turned));
    sheet.places.take(extent_of(&ground));
    sheet.places.spare_line(&[a, b], 0.8);
}

/// The same direction for a reader who does not turn the sheet upside down.
pub fn upright(degrees: f64) -> f64 {
    let turned = degrees.rem_euclid(180.0);
    // Standing text is read from the right.
    if turned >= 90.0 - 1e-9 { turned - 180.0 } else { turned }
}

/// Corners of a box turned about its middle.
pub fn turned_box([x, y]: At, [w, h]: [f64; 2], degrees: f64) -> [At; 4] {
    let (sin, cos) = math::sincos(degrees.to_radians());
    [[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]].map(|[u, v]| [x + u * w * cos - v * h * sin, y + u * w * sin + v * h * cos])
}

/// The upright rectangle round some places.
pub fn extent_of(points: &[At]) -> Rect {
    let first = points.first().copied().unwrap_or_default();
    let lo = points.iter().fold(first, |m, p| [m[0].min(p[0]), m[1].min(p[1])]);
    let hi = points.iter().fold(first, |m, p| [m[0].max(p[0]), m[1].max(p[1])]);
    Rect { lo, hi }
}
