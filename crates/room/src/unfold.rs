//! The room as one flat drawing: floor in the middle, walls folded out around it, recesses as small nets beside their wall.
//!
//! Exact: every face keeps its true size, so lengths and areas on the drawing are those of the room. A wall is folded out
//! about its floor edge when nothing lies there; beside a corner that points into the room, where two walls would land on
//! each other, it is moved outwards along its normal until it lies clear. Openings and the mouths of recesses are holes in
//! what is drawn of a wall ([`FaceOnSheet::holes_mm`]), not in the mapping.

mod seams;

pub use seams::{Seam, seams};

use crate::Room;
use crate::geometry::{Edge, ROUNDING_MM, area_of, contains, edges, extent, is_floor, rectangle};
use crate::nouns::{OpeningKind, Recess};
use crate::register::{Face, Place};
use crate::validate::normalised;
use geo::BooleanOps;
use measure::PointMm;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Height a wall is drawn to when neither it nor the room gives one.
pub const DRAWN_WALL_MM: f64 = 2400.0;
/// Clear space round a face that is moved away.
const CLEAR_MM: f64 = 100.0;

/// One face on the drawing.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FaceOnSheet {
    /// Which.
    pub face: Face,
    /// Its outline on the drawing.
    pub polygon_mm: Vec<PointMm>,
    /// Openings and mouths of recesses in it, on the drawing.
    pub holes_mm: Vec<Vec<PointMm>>,
    /// Whether it lies against the face it is folded from; else it was moved away.
    pub attached: bool,
    /// Whether its size is known; a wall without a height is drawn to [`DRAWN_WALL_MM`].
    pub size_known: bool,
    /// How far it was moved outwards along its normal.
    pub moved_mm: f64,
    frame: Frame,
}

/// Where a face's local axes lie on the drawing and in the room.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
struct Frame {
    sheet_origin: PointMm,
    sheet_axes: [[f64; 2]; 2],
    space_origin: [f64; 3],
    space_axes: [[f64; 3]; 2],
    /// Size in local coordinates, for rectangles; the floor has none.
    size: Option<[f64; 2]>,
}

impl Frame {
    fn to_sheet(&self, [a, b]: PointMm) -> PointMm {
        let [u, v] = self.sheet_axes;
        [self.sheet_origin[0] + a * u[0] + b * v[0], self.sheet_origin[1] + a * u[1] + b * v[1]]
    }

    /// The axes are at right angles and of unit length, so their products invert the mapping.
    fn local_of(&self, p: PointMm) -> PointMm {
        let d = [p[0] - self.sheet_origin[0], p[1] - self.sheet_origin[1]];
        self.sheet_axes.map(|axis| d[0] * axis[0] + d[1] * axis[1])
    }

    /// Whether the local axes run as they do for someone behind the face: the drawing shows every face from inside the room.
    fn seen_from_behind(&self) -> bool {
        let [u, v] = self.sheet_axes;
        u[0] * v[1] - u[1] * v[0] < 0.0
    }

    /// The axes in the room, too, are at right angles and of unit length.
    fn local_of_space(&self, p: [f64; 3]) -> (PointMm, f64) {
        let d: [f64; 3] = std::array::from_fn(|i| p[i] - self.space_origin[i]);
        let dot = |axis: &[f64; 3]| d[0] * axis[0] + d[1] * axis[1] + d[2] * axis[2];
        let local = [dot(&self.space_axes[0]), dot(&self.space_axes[1])];
        let on = self.to_space(local);
        (local, (0..3).map(|i| measure::math::sq(p[i] - on[i])).sum::<f64>().sqrt())
    }

    fn to_space(&self, [a, b]: PointMm) -> [f64; 3] {
        std::array::from_fn(|i| self.space_origin[i] + a * self.space_axes[0][i] + b * self.space_axes[1][i])
    }
}

/// A room laid flat.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Unfolded {
    outline_mm: Vec<PointMm>,
    faces: Vec<FaceOnSheet>,
}

impl Unfolded {
    /// Lays a room flat. Meant for a room without problems ([`crate::validate::check`]); one without a floor
    /// gives an empty drawing.
    pub fn new(room: &Room) -> Self {
        let room = normalised(room);
        if !is_floor(&room.outline_mm) {
            return Self { outline_mm: Vec::new(), faces: Vec::new() };
        }
        let mut faces = vec![floor(&room.outline_mm)];
        faces.extend(walls(&room));
        let mut taken: Vec<Vec<PointMm>> = faces.iter().map(|f| f.polygon_mm.clone()).collect();
        for recess in &room.recesses {
            faces.extend(recess_net(&room, recess, &mut taken));
        }
        Self { outline_mm: room.outline_mm, faces }
    }

    /// Every face: the floor, the walls in the order of the outline, the recesses' faces.
    pub fn faces(&self) -> &[FaceOnSheet] {
        &self.faces
    }

    /// One face.
    pub fn face(&self, face: &Face) -> Option<&FaceOnSheet> {
        self.faces.iter().find(|f| f.face == *face)
    }

    /// Where a place of a face lies on the drawing; `None` for a face the room has not.
    pub fn to_sheet(&self, face: &Face, local: PointMm) -> Option<PointMm> {
        Some(self.face(face)?.frame.to_sheet(local))
    }

    /// A place of the drawing in the coordinates of a face, also beyond its edge: the inverse of [`Unfolded::to_sheet`].
    /// `None` for a face the room has not.
    pub fn on_face(&self, face: &Face, sheet: PointMm) -> Option<PointMm> {
        Some(self.face(face)?.frame.local_of(sheet))
    }

    /// A detail's place on the drawing.
    pub fn place_on_sheet(&self, face: &Face, place: &Place) -> Option<Place> {
        let frame = &self.face(face)?.frame;
        let ring = |points: &Vec<PointMm>| points.iter().map(|p| frame.to_sheet(*p)).collect::<Vec<_>>();
        Some(match place {
            Place::Point(p) => Place::Point(frame.to_sheet(*p)),
            Place::Run(line) => Place::Run(ring(line)),
            Place::Patch(patch) => Place::Patch(patch.iter().map(|polygon| polygon.iter().map(ring).collect()).collect()),
        })
    }

    /// Which face lies at a place of the drawing, and where on it; on a common edge the floor comes first.
    pub fn from_sheet(&self, p: PointMm) -> Option<(Face, PointMm)> {
        self.faces.iter().find_map(|f| {
            let local = f.frame.local_of(p);
            let inside = match f.frame.size {
                None => contains(&self.outline_mm, local, ROUNDING_MM),
                Some([w, h]) => {
                    let within = |v: f64, most: f64| v >= -ROUNDING_MM && v <= most + ROUNDING_MM;
                    within(local[0], w) && within(local[1], h)
                }
            };
            inside.then(|| (f.face.clone(), local))
        })
    }

    /// Where a place of a face lies in the room: x, y on plan and z over the benchmark. The floor is taken as level at the
    /// benchmark.
    pub fn to_space(&self, face: &Face, local: PointMm) -> Option<[f64; 3]> {
        Some(self.face(face)?.frame.to_space(local))
    }

    /// Where a place in the room lies on a face, and how far it is off the face's plane: the inverse of [`Self::to_space`].
    pub fn from_space(&self, face: &Face, p: [f64; 3]) -> Option<(PointMm, f64)> {
        Some(self.face(face)?.frame.local_of_space(p))
    }

    /// A face in its own coordinates: its outline, then the openings and mouths of recesses in it.
    pub fn local_rings(&self, face: &Face) -> Option<Vec<Vec<PointMm>>> {
        let face = self.face(face)?;
        let rings = std::iter::once(&face.polygon_mm).chain(&face.holes_mm);
        Some(rings.map(|ring| ring.iter().map(|p| face.frame.local_of(*p)).collect()).collect())
    }

    /// Lower left and upper right corner of the whole drawing.
    pub fn extent_mm(&self) -> Option<[PointMm; 2]> {
        let points: Vec<PointMm> = self.faces.iter().flat_map(|f| f.polygon_mm.iter().copied()).collect();
        extent(&points)
    }
}

fn floor(outline: &[PointMm]) -> FaceOnSheet {
    let frame = Frame {
        sheet_origin: [0.0, 0.0],
        sheet_axes: [[1.0, 0.0], [0.0, 1.0]],
        space_origin: [0.0; 3],
        space_axes: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]],
        size: None,
    };
    FaceOnSheet {
        face: Face::Floor,
        polygon_mm: outline.to_vec(),
        holes_mm: Vec::new(),
        attached: true,
        size_known: true,
        moved_mm: 0.0,
        frame,
    }
}

/// The longest walls have first choice of lying against the floor; those that find no room there are moved clear after.
fn walls(room: &Room) -> Vec<FaceOnSheet> {
    let sides = edges(&room.outline_mm);
    let span = |i: usize| Span { edge: sides[i], along: [0.0, sides[i].length_mm()], height: drawn_height(room, i) };
    let mut order: Vec<usize> = (0..sides.len()).collect();
    order.sort_by(|a, b| sides[*b].length_mm().total_cmp(&sides[*a].length_mm()));
    let mut taken = vec![room.outline_mm.clone()];
    let mut away = vec![0.0; sides.len()];
    let mut crowded = Vec::new();
    for i in order {
        if first_free(span(i).blocked(&taken, 0.0), 0.0) == 0.0 {
            taken.push(span(i).at(0.0));
        } else {
            crowded.push(i);
        }
    }
    for i in crowded {
        away[i] = first_free(span(i).blocked(&taken, CLEAR_MM), CLEAR_MM);
        taken.push(span(i).at(away[i]));
    }
    sides.iter().zip(away).enumerate().map(|(i, (edge, away))| wall(room, i, edge, away)).collect()
}

fn drawn_height(room: &Room, i: usize) -> f64 {
    room.wall_height_mm(i + 1).unwrap_or(DRAWN_WALL_MM)
}

fn wall(room: &Room, i: usize, edge: &Edge, away: f64) -> FaceOnSheet {
    let (along, out) = (edge.along(), edge.outward());
    let frame = Frame {
        sheet_origin: edge.at(0.0, away),
        sheet_axes: [along, out],
        space_origin: [edge.from[0], edge.from[1], 0.0],
        space_axes: [[along[0], along[1], 0.0], [0.0, 0.0, 1.0]],
        size: Some([edge.length_mm(), drawn_height(room, i)]),
    };
    let name = room.walls[i].id.clone();
    let holes = wall_holes(room, &name, drawn_height(room, i));
    FaceOnSheet {
        polygon_mm: rectangle([0.0, 0.0], [edge.length_mm(), drawn_height(room, i)]).into_iter().map(|p| frame.to_sheet(p)).collect(),
        holes_mm: holes.into_iter().map(|(_, ring)| ring.into_iter().map(|p| frame.to_sheet(p)).collect()).collect(),
        face: Face::Wall(name),
        attached: away == 0.0,
        size_known: room.wall_height_mm(i + 1).is_some(),
        moved_mm: away,
        frame,
    }
}

/// What is not wall in a wall: id and ring, [along, height], of every opening and recess whose place is known. A door
/// without a height reaches the top of the wall.
pub fn wall_holes(room: &Room, wall: &str, height_mm: f64) -> Vec<(String, Vec<PointMm>)> {
    let openings = room.openings.iter().filter(|o| o.wall == wall).filter_map(|o| {
        let [lo, hi] = match o.kind {
            OpeningKind::Door => [0.0, o.height_mm.unwrap_or(height_mm)],
            OpeningKind::Window => [o.sill_mm?, o.sill_mm? + o.height_mm?],
        };
        Some((o.id.clone(), rectangle([o.from_mm, lo], [o.from_mm + o.width_mm, hi.min(height_mm)])))
    });
    let recesses = room.recesses.iter().filter(|r| r.wall == wall).map(|r| {
        let far = [r.from_mm + r.width_mm, (r.sill_mm + r.height_mm).min(height_mm)];
        (r.id.clone(), rectangle([r.from_mm, r.sill_mm], far))
    });
    openings.chain(recesses).collect()
}

/// The five faces of a recess as the net of an open box, beyond the head of its wall.
fn recess_net(room: &Room, r: &Recess, taken: &mut Vec<Vec<PointMm>>) -> Vec<FaceOnSheet> {
    let Some(i) = room.walls.iter().position(|w| w.id == r.wall) else { return Vec::new() };
    let edge = edges(&room.outline_mm)[i];
    let (w, h, d) = (r.width_mm, r.height_mm, r.depth_mm);
    let span = Span { edge, along: [r.from_mm - d, r.from_mm + w + d], height: h + 2.0 * d };
    let away = first_free(span.blocked(taken, CLEAR_MM), drawn_height(room, i) + CLEAR_MM);
    taken.push(span.at(away));

    let (along, out) = (edge.along(), edge.outward());
    let on_net = |u: f64, v: f64| edge.at(r.from_mm - d + u, away + v);
    let in_room = |u: f64, into: f64, up: f64| {
        let p = edge.at(r.from_mm + u, into);
        [p[0], p[1], r.sill_mm + up]
    };
    let minus = |[x, y]: [f64; 2]| [-x, -y];
    let (across, into, up) = ([along[0], along[1], 0.0], [out[0], out[1], 0.0], [0.0, 0.0, 1.0]);
    // Net: the back in the middle; each other face joins it with its inner edge and shows its mouth edge outside.
    let faces = [
        ("back", [w, h], on_net(d, d), [along, out], in_room(0.0, d, 0.0), [across, up]),
        ("sill", [w, d], on_net(d, 0.0), [along, out], in_room(0.0, 0.0, 0.0), [across, into]),
        ("head", [w, d], on_net(d, h + 2.0 * d), [along, minus(out)], in_room(0.0, 0.0, h), [across, into]),
        ("right", [d, h], on_net(0.0, d), [along, out], in_room(0.0, 0.0, 0.0), [into, up]),
        ("left", [d, h], on_net(w + 2.0 * d, d), [minus(along), out], in_room(w, 0.0, 0.0), [into, up]),
    ];
    faces
        .into_iter()
        .map(|(name, size, sheet_origin, sheet_axes, space_origin, space_axes)| {
            let frame = Frame { sheet_origin, sheet_axes, space_origin, space_axes, size: Some(size) };
            FaceOnSheet {
                face: Face::Recess(r.id.clone(), name.into()),
                polygon_mm: rectangle([0.0, 0.0], size).into_iter().map(|p| frame.to_sheet(p)).collect(),
                holes_mm: Vec::new(),
                attached: name != "back",
                size_known: true,
                moved_mm: away,
                frame,
            }
        })
        .collect()
}

/// A rectangle that stands on (part of) an edge and may slide outwards along its normal.
struct Span {
    edge: Edge,
    along: [f64; 2],
    height: f64,
}

impl Span {
    /// The rectangle, moved out.
    fn at(&self, away: f64) -> Vec<PointMm> {
        let [from, to] = self.along;
        vec![self.edge.at(from, away), self.edge.at(to, away), self.edge.at(to, away + self.height), self.edge.at(from, away + self.height)]
    }

    /// Intervals of the way out in which it would lie on something taken, or within `clear` of it in the way it slides.
    ///
    /// The rectangle is as wide as the strip it slides in, so it overlaps a connected part of the strip exactly when
    /// their extents along the strip do.
    fn blocked(&self, taken: &[Vec<PointMm>], clear: f64) -> Vec<[f64; 2]> {
        let strip = [self.along[0] + ROUNDING_MM, self.along[1] - ROUNDING_MM];
        taken
            .iter()
            .flat_map(|ring| {
                let local: Vec<PointMm> = ring.iter().map(|p| self.edge.local(*p)).collect();
                extents_in_strip(&local, strip)
            })
            .map(|[lo, hi]| [lo - self.height - clear, hi + clear])
            .collect()
    }
}

/// The least way out, not less than `start`, that lies in none of the intervals (their ends, give or take rounding, are
/// free).
fn first_free(mut blocked: Vec<[f64; 2]>, start: f64) -> f64 {
    blocked.sort_by(|a, b| a[0].total_cmp(&b[0]));
    blocked.iter().fold(start, |at, [lo, hi]| if lo + ROUNDING_MM < at && at < hi - ROUNDING_MM { *hi } else { at })
}

/// Extents in y of the connected parts of a ring that lie in a strip of x.
fn extents_in_strip(ring: &[PointMm], [lo, hi]: [f64; 2]) -> Vec<[f64; 2]> {
    let Some([least, most]) = extent(ring) else { return Vec::new() };
    if most[0] <= lo || least[0] >= hi || lo >= hi {
        return Vec::new();
    }
    if ring.len() == 4 && convex(ring) {
        let cut = clipped(&clipped(ring, lo, 1.0), hi, -1.0);
        return extent(&cut).map(|[a, b]| [a[1], b[1]]).into_iter().collect();
    }
    let strip = rectangle([lo, least[1] - 1.0], [hi, most[1] + 1.0]);
    let parts = area_of(ring).intersection(&area_of(&strip));
    parts
        .0
        .iter()
        .filter_map(|p| {
            let points: Vec<PointMm> = p.exterior().0.iter().map(|c| [c.x, c.y]).collect();
            extent(&points).map(|[a, b]| [a[1], b[1]])
        })
        .collect()
}

fn convex(ring: &[PointMm]) -> bool {
    let sides = edges(ring);
    (0..sides.len()).all(|i| sides[i].local(sides[(i + 1) % sides.len()].to)[1] <= ROUNDING_MM)
        || (0..sides.len()).all(|i| sides[i].local(sides[(i + 1) % sides.len()].to)[1] >= -ROUNDING_MM)
}

/// The part of a convex ring with `sign * x >= sign * bound`.
fn clipped(ring: &[PointMm], bound: f64, sign: f64) -> Vec<PointMm> {
    let inside = |p: &PointMm| sign * p[0] >= sign * bound;
    let mut out = Vec::with_capacity(ring.len() + 2);
    for side in edges(ring) {
        if inside(&side.from) {
            out.push(side.from);
        }
        if inside(&side.from) != inside(&side.to) {
            let share = (bound - side.from[0]) / (side.to[0] - side.from[0]);
            out.push([bound, side.from[1] + share * (side.to[1] - side.from[1])]);
        }
    }
    out
}

#[cfg(test)]
pub(crate) mod tests;
