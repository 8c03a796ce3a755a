//! Places on the faces of the room, as files name them: `floor`, a wall's id, `recess/<id>/<side>`.

use measure::{PointMm, Problem};
use room::Room;
use room::geometry::contains;
use room::nouns::{FLOOR, MembraneLayer};
use room::register::{Detail, DetailKind, Face, Place};
use room::unfold::{FaceOnSheet, Unfolded};

/// A place may be given so far beyond the edge it belongs to: what a tape leaves open.
pub const TAPE_MM: f64 = 20.0;

/// The kinds of detail that are fields: film is read on them, and a place finds the one it lies in.
const FIELDS: [DetailKind; 3] = [DetailKind::FloorField, DetailKind::WallField, DetailKind::RecessFace];

/// A place on a face, in the coordinates of that face.
#[derive(Clone, Debug, PartialEq)]
pub struct FacePlace {
    /// The face.
    pub face: Face,
    /// On the floor x on plan; on a wall the way along it from the first corner of its edge, its right end as seen from inside;
    /// on a recess as the register has it.
    pub x_mm: f64,
    /// On the floor y on plan; on a wall the height over the room's zero.
    pub y_mm: f64,
}

/// The faces of one room.
pub struct Faces<'a> {
    room: &'a Room,
    register: &'a [Detail],
    unfolded: Unfolded,
}

impl<'a> Faces<'a> {
    /// Of a checked room.
    pub fn of(room: &'a Room, register: &'a [Detail]) -> Self {
        Self { room, register, unfolded: Unfolded::new(room) }
    }

    /// The face a file names, or what would be right.
    #[expect(clippy::result_large_err, reason = "a problem is built once, when the input is wrong")]
    pub fn named(&self, field: &str, name: &str) -> Result<Face, Problem> {
        let found = self.unfolded.faces().iter().map(|f| &f.face).find(|face| words(face) == name).cloned();
        found.ok_or_else(|| {
            let names: Vec<String> = self.unfolded.faces().iter().map(|f| words(&f.face)).collect();
            let right = match intake::words::nearest(name, names.iter().map(String::as_str)) {
                Some(near) => format!("did you mean {near}?"),
                None => format!("floor, a wall ({}), or recess/<its id>/<back, sill, head, left or right>", self.walls()),
            };
            Problem::at(field, "the room has no such face", right).value(name)
        })
    }

    fn walls(&self) -> String {
        self.room.walls.iter().map(|wall| wall.id.as_str()).collect::<Vec<_>>().join(", ")
    }

    /// Whether a place lies further beyond the edge of its face than a tape leaves open.
    pub fn beyond(&self, face: &Face, at: PointMm) -> bool {
        let inside = |f: &FaceOnSheet| self.unfolded.to_sheet(face, at).is_some_and(|p| contains(&f.polygon_mm, p, TAPE_MM));
        !self.unfolded.face(face).is_some_and(inside)
    }

    /// Why a place does not lie on its face, if it does not.
    pub fn off(&self, place: &FacePlace) -> Option<String> {
        if self.beyond(&place.face, [place.x_mm, place.y_mm]) {
            return Some("the place lies outside the face".into());
        }
        let face = self.unfolded.face(&place.face)?;
        let at = self.unfolded.to_sheet(&place.face, [place.x_mm, place.y_mm])?;
        // within reach of a tape of an opening's edge is still wall
        let hole = face.holes_mm.iter().any(|hole| contains(hole, at, 0.0) && room::geometry::distance_to_ring_mm(hole, at) > TAPE_MM);
        hole.then(|| "the place lies in an opening or in the mouth of a recess".into())
    }

    /// The field of a layer a place lies in; failing that, one whose edge is within reach of a tape.
    pub fn field_at(&self, layer: MembraneLayer, place: &FacePlace) -> Option<&'a Detail> {
        let fields =
            || self.register.iter().filter(|d| FIELDS.contains(&d.kind) && d.face == place.face && d.layer.is_none_or(|l| l == layer));
        [0.0, TAPE_MM].into_iter().find_map(|reach| fields().find(|detail| lies_in(detail, [place.x_mm, place.y_mm], reach)))
    }
}

/// Whether a detail is a field, and the place lies in it or within reach of its edge.
pub fn lies_in(detail: &Detail, at: PointMm, reach_mm: f64) -> bool {
    let Place::Patch(polygons) = &detail.place else { return false };
    polygons.iter().any(|rings| match rings.split_first() {
        Some((outer, holes)) => {
            let in_hole = |hole: &Vec<PointMm>| contains(hole, at, 0.0) && room::geometry::distance_to_ring_mm(hole, at) > reach_mm;
            contains(outer, at, reach_mm) && !holes.iter().any(in_hole)
        }
        None => false,
    })
}

/// A detail on which film may be read by place.
pub fn is_field(detail: &Detail) -> bool {
    FIELDS.contains(&detail.kind)
}

/// A face as files name it.
pub fn words(face: &Face) -> String {
    match face {
        Face::Floor => FLOOR.into(),
        Face::Wall(id) => id.clone(),
        Face::Recess(id, side) => format!("recess/{id}/{side}"),
    }
}
