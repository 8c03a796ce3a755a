//! The unfolded room with which way the marks of brush or roller run, as photographs show them.

use crate::ink::{BLUE, FINE_MM, GREY, PALE, WHITE};
use crate::net::{self, Flat};
use crate::page::Rect;
use crate::sheet::{Block, Head, Sample, Sheet};
use crate::svg::{At, Paint, Svg};
use crate::{Scene, plan};
use measure::{PointMm, math};
use room::register::Face;
use room::unfold::Unfolded;

/// What the photographs of one membrane show.
#[derive(Clone, Copy)]
pub struct StrokesOnRoom<'a> {
    /// Root of the ids in the drawing: "strokes-over-screed".
    pub id: &'a str,
    /// Which photographs: "upper membrane, coat 2, 3 photographs".
    pub words: &'a str,
    /// Pieces of floor and wall that were looked at.
    pub tiles: &'a [StrokeTile<'a>],
    /// What each photograph shows, in a sentence.
    pub notes: &'a [String],
}

/// A piece of a face.
#[derive(Clone, Copy, Debug)]
pub struct StrokeTile<'a> {
    /// Which face.
    pub face: &'a Face,
    /// Its corners in order, in the face's coordinates.
    pub corners_mm: [PointMm; 4],
    /// The directions found, none, one or two: radians from the face's x towards its y.
    pub directions: &'a [f64],
    /// Whether it lies against the edge of its face, where the pattern of the field stops.
    pub junction: bool,
    /// Why it has these directions.
    pub words: &'a str,
}

const ABOUT: &str = "The room laid flat, floor in the middle and walls folded out, to scale. In each tile that was looked at one bar \
                     shows one direction of strokes, two bars show two that cross, a dot shows none. An aid to looking, never proof \
                     of thickness.";
/// What this is and what it is not; stands on every such drawing.
const CAUTION: &str = "An aid to looking, never proof of thickness: marks show which way a coat was laid, not how thick it is. No marks \
                       do not show that a coat is missing.";
/// Length of a bar in sides of its tile.
const BAR: f64 = 0.72;
/// A bar's width in sides of its tile, and its bounds.
const BAR_WIDE: f64 = 0.11;
const NARROWEST_MM: f64 = 0.3;
const WIDEST_MM: f64 = 0.9;
/// Grounds of tiles with one direction and with two.
const ONE: &str = "#fdf0d2";
const TWO: &str = "#d3e6f5";
/// Most tiles drawn.
const TILES: usize = 20_000;

/// The unfolded room with one or two bars in each tile, a dot where there is no direction.
pub fn strokes(scene: &Scene, given: &StrokesOnRoom) -> String {
    let flat = Flat::of(scene);
    let head = Head { name: given.id, what: &format!("Strokes: {}", given.words), about: ABOUT, rest: "see the assessment" };
    flat.sheet(
        &head,
        scene,
        &blocks(scene, given),
        |_| {},
        |sheet| {
            let Flat { room, net } = &flat;
            net::faces(sheet, net);
            tiles(sheet, net, given);
            let openings = net::holes(sheet, room, net);
            net::ties(sheet, room, net);
            net::floor(sheet, room);
            plan::things(sheet, room);
            net::dimensions(sheet, room, net);
            net::names(sheet, room, net, &openings);
            plan::thing_names(sheet, room, net::NAMES_MM);
        },
    )
}

fn blocks(scene: &Scene, given: &StrokesOnRoom) -> Vec<Block> {
    let mut blocks = vec![Block::Text(CAUTION.into())];
    if given.tiles.is_empty() {
        blocks.push(Block::Text("No photograph with points of known place: nothing can be said of strokes.".into()));
    } else {
        blocks.push(Block::Heading("Tiles".into()));
        for (directions, words) in [
            (&[0.4, 1.9][..], "two directions, as of a coat laid across another"),
            (&[0.4][..], "one direction"),
            (&[][..], "no direction: glare, blur, tile lines, shadow, or no marks"),
        ] {
            let of = |tile: &&StrokeTile| tile.directions.len().min(2) == directions.len();
            let count = given.tiles.iter().filter(of).count();
            blocks.push(Block::Key { sample: sample(directions, false), width_mm: 7.0, number: None, words: format!("{words}: {count}") });
        }
        if given.tiles.iter().any(|tile| tile.junction) {
            let words = "grey, on white: against the edge of its face, where the pattern of the field stops";
            blocks.push(Block::Key { sample: sample(&[0.4, 1.9], true), width_mm: 7.0, number: None, words: words.into() });
        }
        blocks.push(Block::Text("Floor and walls without tiles were not looked at.".into()));
    }
    if !given.notes.is_empty() {
        blocks.push(Block::Heading("Photographs".into()));
    }
    blocks.extend(given.notes.iter().map(|note| Block::Text(note.clone())));
    blocks.extend(scene.notes.iter().map(|note| Block::Text(note.clone())));
    blocks
}

fn sample(directions: &'static [f64], junction: bool) -> Sample {
    Box::new(move |svg, rect| {
        let own = Rect::about(rect.middle(), [4.2, 4.2]);
        let ring = own.corners().to_vec();
        let bars = directions.iter().map(|turn| bar(own.middle(), *turn, 4.2)).collect::<Vec<_>>();
        tile(svg, &ring, &bars, junction);
    })
}

fn bar([x, y]: At, turn: f64, side: f64) -> [At; 2] {
    let (sin, cos) = math::sincos(turn);
    let half = BAR * side / 2.0;
    [[x - half * cos, y + half * sin], [x + half * cos, y - half * sin]]
}

fn tiles(sheet: &mut Sheet, net: &Unfolded, given: &StrokesOnRoom) {
    for given in given.tiles.iter().take(TILES) {
        let on_sheet = given.corners_mm.map(|corner| net.to_sheet(given.face, corner));
        let [Some(a), Some(b), Some(c), Some(d)] = on_sheet else { continue };
        let ring = sheet.view.line(&[a, b, c, d]);
        let side = ring.windows(2).map(crate::contour::length).fold(f64::INFINITY, f64::min);
        let middle: PointMm = std::array::from_fn(|k| given.corners_mm.iter().map(|corner| corner[k]).sum::<f64>() / 4.0);
        let half = BAR * side / 2.0 / sheet.view.k;
        let bars: Vec<[At; 2]> = given
            .directions
            .iter()
            .take(2)
            .filter_map(|turn| {
                let (sin, cos) = math::sincos(*turn);
                let end = |sign: f64| net.to_sheet(given.face, [middle[0] + sign * half * cos, middle[1] + sign * half * sin]);
                Some([sheet.view.page(end(-1.0)?), sheet.view.page(end(1.0)?)])
            })
            .collect();
        // Names had better stand beside the tiles.
        sheet.places.spare(Rect::about(sheet.view.page(net.to_sheet(given.face, middle).unwrap_or(a)), [1.0, 1.0]));
        sheet.svg.named(given.words, |svg| tile(svg, &ring, &bars, given.junction));
    }
}

fn tile(svg: &mut Svg, ring: &[At], bars: &[[At; 2]], junction: bool) {
    let (ground, ink) = if junction { (WHITE, GREY) } else { ([WHITE, ONE, TWO][bars.len().min(2)], BLUE) };
    svg.rings(&[ring.to_vec()], Paint::line(PALE, FINE_MM).filled(ground));
    let side = crate::contour::length(&ring[..2]);
    let width = (BAR_WIDE * side).clamp(NARROWEST_MM, WIDEST_MM);
    if bars.is_empty() {
        let middle = std::array::from_fn(|k| ring.iter().map(|p| p[k]).sum::<f64>() / ring.len() as f64);
        svg.circle(middle, (0.08 * side).clamp(0.3, 0.6), Paint::fill(GREY));
    }
    svg.polylines(&bars.iter().map(|b| b.to_vec()).collect::<Vec<_>>(), Paint::line(ink, width).round());
}
