//! The unfolded room: walls folded out about the floor, their openings, the nets of recesses.

use crate::ink::{BLACK, FINE_MM, GREY, LINE_MM, PALE, WHITE};
use crate::page::Rect;
use crate::plan;
use crate::sheet::{Block, Head, Sheet, TEXT_MM};
use crate::svg::{Anchor, At, Paint, Svg, Text};
use crate::{Scene, text};
use measure::PointMm;
use room::Room;
use room::geometry::{Edge, edges};
use room::nouns::OpeningKind;
use room::register::{Detail, Face, Place};
use room::unfold::{FaceOnSheet, Unfolded, wall_holes};
use room::validate::normalised;

/// Free border round the net, for its dimensions.
pub const ROUND_MM: f64 = 8.0;
/// The sheet of a room without a floor.
const NO_ROOM: [PointMm; 2] = [[0.0; 2], [1000.0; 2]];

/// A room and its net.
pub struct Flat {
    /// The room, every wall named.
    pub room: Room,
    /// Laid flat.
    pub net: Unfolded,
}

impl Flat {
    /// Of a scene's room.
    pub fn of(scene: &Scene) -> Self {
        let room = normalised(scene.room);
        let net = Unfolded::new(&room);
        Self { room, net }
    }

    /// What the sheet must hold.
    pub fn extent(&self) -> [PointMm; 2] {
        self.net.extent_mm().unwrap_or(NO_ROOM)
    }

    /// A sheet with the net, drawn by `draw`; a room without a floor is said to have none. `patterns` defines the fills that
    /// list and drawing share.
    pub fn sheet(&self, head: &Head, scene: &Scene, blocks: &[Block], patterns: fn(&mut Svg), draw: impl FnOnce(&mut Sheet)) -> String {
        let mut sheet = Sheet::new(head, scene, self.extent(), ROUND_MM, blocks);
        patterns(&mut sheet.svg);
        if self.net.faces().is_empty() {
            let middle = sheet.main().middle();
            sheet.svg.text(Text::new("The room has no floor outline yet.", middle, TEXT_MM).anchor(Anchor::Middle));
        } else {
            draw(&mut sheet);
        }
        sheet.finish()
    }
}

/// A detail's place on the page.
pub enum OnPage {
    /// Areas, each its outer ring and its holes.
    Areas(Vec<Vec<At>>),
    /// A line.
    Line(Vec<At>),
    /// A point.
    Point(At),
}

/// Where a detail lies on the page; `None` when its face is not drawn.
pub fn on_page(sheet: &Sheet, net: &Unfolded, detail: &Detail) -> Option<OnPage> {
    place_on_page(sheet, net, &detail.face, &detail.place)
}

/// The same of any place on a face.
pub fn place_on_page(sheet: &Sheet, net: &Unfolded, face: &Face, place: &Place) -> Option<OnPage> {
    Some(match net.place_on_sheet(face, place)? {
        Place::Patch(patch) => OnPage::Areas(patch.iter().flatten().map(|ring| sheet.view.line(ring)).collect()),
        Place::Run(line) => OnPage::Line(sheet.view.line(&line)),
        Place::Point(p) => OnPage::Point(sheet.view.page(p)),
    })
}

/// The faces in fine lines; a wall whose height nobody gave ends in a broken line.
pub fn faces(sheet: &mut Sheet, net: &Unfolded) {
    for face in net.faces() {
        let ring = sheet.view.line(&face.polygon_mm);
        if face.size_known || ring.len() != 4 {
            sheet.svg.rings(&[ring], Paint::line(PALE, FINE_MM));
            continue;
        }
        sheet.svg.polyline(&[ring[3], ring[0], ring[1], ring[2]], Paint::line(PALE, FINE_MM));
        sheet.svg.line(ring[2], ring[3], Paint::line(GREY, FINE_MM).dashed(UNKNOWN_HEAD));
    }
}

/// Fine broken lines from a face that was moved away to where it belongs.
pub fn ties(sheet: &mut Sheet, room: &Room, net: &Unfolded) {
    let paint = Paint::line(GREY, FINE_MM).dashed(TIE);
    for (face, edge) in walls(room, net) {
        if !face.attached {
            for (i, end) in [edge.from, edge.to].into_iter().enumerate() {
                let (a, b) = (sheet.view.page(end), sheet.view.page(face.polygon_mm[i]));
                sheet.svg.line(a, b, paint);
            }
        }
    }
    for recess in &room.recesses {
        let face = |name: &str| net.face(&Face::Recess(recess.id.clone(), name.into()));
        let wall = Face::Wall(recess.wall.clone());
        let (Some(sill), Some(_)) = (face("sill"), net.face(&wall)) else { continue };
        let head = recess.sill_mm + recess.height_mm;
        for (corner, along) in [(0, recess.from_mm), (1, recess.from_mm + recess.width_mm)] {
            let Some(mouth) = net.to_sheet(&wall, [along, head]) else { continue };
            let (a, b) = (sheet.view.page(mouth), sheet.view.page(sill.polygon_mm[corner]));
            sheet.svg.line(a, b, paint);
        }
    }
}

/// Doors, windows and mouths of recesses: white, with a sign of what they are. Gives names and middles of the openings.
pub fn holes(sheet: &mut Sheet, room: &Room, net: &Unfolded) -> Vec<(String, At)> {
    let mut openings = Vec::new();
    for (face, _) in walls(room, net) {
        let Face::Wall(wall) = &face.face else { continue };
        let height = room.walls.iter().position(|w| w.id == *wall).and_then(|i| room.wall_height_mm(i + 1));
        for (id, ring) in wall_holes(room, wall, height.unwrap_or(room::unfold::DRAWN_WALL_MM)) {
            let Some(place) = net.place_on_sheet(&face.face, &Place::Run(ring)) else { continue };
            let Place::Run(ring) = place else { continue };
            let page = sheet.view.line(&ring);
            let door = room.openings.iter().any(|o| o.id == id && o.kind == OpeningKind::Door);
            let recess = room.recesses.iter().any(|r| r.id == id);
            sheet.svg.rings(std::slice::from_ref(&page), Paint::line(GREY, LINE_MM).filled(WHITE));
            if !recess {
                openings.push((id.clone(), plan::extent_of(&page).middle()));
                let crossing = if door {
                    vec![vec![page[0], middle(page[1], page[2])], vec![middle(page[1], page[2]), page[3]]]
                } else {
                    vec![vec![middle(page[0], page[1]), middle(page[2], page[3])], vec![middle(page[1], page[2]), middle(page[3], page[0])]]
                };
                sheet.svg.polylines(&crossing, Paint::line(PALE, FINE_MM));
            }
        }
    }
    openings
}

fn middle(a: At, b: At) -> At {
    [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0]
}

/// What the net alone shows, as far as there is any of it.
pub fn legend(net: &Unfolded) -> Vec<Block> {
    let line = |dash: &'static str, words: &str| Block::Key {
        sample: Box::new(move |svg, rect| {
            let y = rect.middle()[1];
            svg.line([rect.lo[0] + 1.0, y], [rect.hi[0] - 1.0, y], Paint::line(GREY, FINE_MM).dashed(dash));
        }),
        width_mm: 16.0,
        number: None,
        words: words.into(),
    };
    let unknown = net.faces().iter().any(|f| !f.size_known).then(|| line(UNKNOWN_HEAD, "head of a wall whose height is not given"));
    let away = net.faces().iter().any(|f| f.moved_mm > 0.0).then(|| line(TIE, "belongs together"));
    unknown.into_iter().chain(away).collect()
}

const UNKNOWN_HEAD: &str = "1 1";
const TIE: &str = "0.6 1.2";

/// How far the dimension of a wall lies below its head, on the page.
const HEAD_GAP_MM: f64 = 3.0;
/// Names of things lie no further from them, on the page: the floor is small here.
pub const NAMES_MM: f64 = 8.0;

/// Lengths of the walls at their heads; the height once for each different height.
pub fn dimensions(sheet: &mut Sheet, room: &Room, net: &Unfolded) {
    let mut heights: Vec<i64> = Vec::new();
    for (face, edge) in walls(room, net) {
        let size = height_on_sheet(face);
        // Inside the head of the wall, where it is seldom anything but bare.
        plan::dimension(sheet, &edge, face.moved_mm + size - (plan::DIMENSION_MM + HEAD_GAP_MM) / sheet.view.k, edge.length_mm());
        let rounded = size.round() as i64;
        if face.size_known && face.attached && !heights.contains(&rounded) {
            heights.push(rounded);
            // The upright side at the wall's first corner, walked so that its right is outside.
            let ring = &face.polygon_mm;
            plan::dimension(sheet, &Edge { from: ring[0], to: ring[3] }, 0.0, size);
        }
    }
}

fn height_on_sheet(face: &FaceOnSheet) -> f64 {
    let ring = &face.polygon_mm;
    Edge { from: ring[1], to: ring[2] }.length_mm()
}

/// Names of walls near their heads, of recesses beside their nets, of openings in their middle.
pub fn names(sheet: &mut Sheet, room: &Room, net: &Unfolded, openings: &[(String, At)]) {
    for (name, middle) in openings {
        sheet.label_in(name, *middle, -1.8, NAMES_MM, GREY, false);
    }
    for (face, edge) in walls(room, net) {
        let Face::Wall(id) = &face.face else { continue };
        let name = if id.contains("wall") { id.clone() } else { format!("{id} wall") };
        let size = height_on_sheet(face);
        let fits = [text::width_mm(&name, TEXT_MM, false), 2.0 * TEXT_MM];
        let inset = (fits[1] * edge.outward()[1].abs() + fits[0] * edge.outward()[0].abs()) / 2.0 + 1.5;
        let at = sheet.view.page(edge.at(edge.length_mm() / 2.0, face.moved_mm + size - (inset + HEAD_GAP_MM + 1.0) / sheet.view.k));
        sheet.label_in(&name, at, -TEXT_MM / 2.0, 24.0, GREY, false);
    }
    for recess in &room.recesses {
        let Some(back) = net.face(&Face::Recess(recess.id.clone(), "back".into())) else { continue };
        let ring = sheet.view.line(&back.polygon_mm);
        let rect: Rect = plan::extent_of(&ring);
        let half = rect.size()[0].max(rect.size()[1]) / 2.0;
        let name = if recess.id.contains("recess") { recess.id.clone() } else { format!("recess {}", recess.id) };
        sheet.label_in(&name, rect.middle(), half + sheet.view.mm(recess.depth_mm) + 1.0, half + 30.0, GREY, false);
    }
}

/// The walls with their edges.
fn walls<'a>(room: &'a Room, net: &'a Unfolded) -> Vec<(&'a FaceOnSheet, Edge)> {
    let sides = edges(&room.outline_mm);
    let walls = net.faces().iter().filter(|f| matches!(f.face, Face::Wall(_)));
    walls.zip(sides).collect()
}

/// The outline of the floor, heavy.
pub fn floor(sheet: &mut Sheet, room: &Room) {
    let ring: Vec<PointMm> = room.outline_mm.clone();
    let page = sheet.view.line(&ring);
    sheet.svg.rings(&[page], Paint::line(BLACK, 0.5));
}
