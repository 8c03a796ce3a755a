//! What is wrong with a room, all of it at once; and the room put into the one form everything else works on.

mod floor;
mod layers;
mod names;
mod normal;
mod outline;
#[cfg(test)]
mod tests;
mod walls;

pub use layers::check_sheets;
pub use normal::normalised;
pub use outline::ring;

use crate::Room;
use crate::nouns::FORMAT;
use measure::{Bounds, Measured, Problem, Problems, bounds};
use names::Names;

/// Things of one kind in one room. More is not a room.
pub const THINGS: usize = 2_000;
/// Parts of one thing: flanges of an outlet, covers of a membrane.
pub const PARTS: usize = 200;
/// Zones of one room.
pub const ZONES: usize = 50;
/// How far outside the outline a thing may be drawn: what a tape leaves open.
const OUTSIDE_MM: f64 = 5.0;

/// Every problem of a room, with field, value and what would be right. An outline, a door, a shower and an outlet are
/// enough; what is left out is never a problem.
///
/// ```
/// let room: room::Room = serde_json::from_str(r#"{"format": "undertile room 1", "outline_mm": [[0,0],[2350,0],[2350,1700]],
///     "height_mm": 2.4}"#).unwrap();
/// let problems = room::validate::check(&room);
/// assert_eq!(problems.problems[0].field, "height_mm");
/// assert!(problems.problems[0].right.contains("2400 mm"));
/// ```
pub fn check(room: &Room) -> Problems {
    let mut problems = Problems::new();
    if room.format != FORMAT {
        problems.push(Problem::at("format", "not a room file of this version", format!("write {FORMAT:?}")).value(&room.format));
    }
    if let Some(height) = room.height_mm {
        within(&mut problems, "height_mm", height, bounds::WALL_HEIGHT_MM);
    }
    level(&mut problems, "outside_level_mm", room.outside_level_mm);
    outline::check(room, &mut problems);
    if room.outline_mm.len() > bounds::CORNERS || too_many(room, &mut problems) {
        return problems;
    }
    let names = Names::of(room, &mut problems);
    walls::check(room, &names, &mut problems);
    floor::check(room, &names, &mut problems);
    layers::check(room, &names, &mut problems);
    problems
}

/// Lists too long to be a room are named, and not looked into.
fn too_many(room: &Room, problems: &mut Problems) -> bool {
    let before = problems.problems.len();
    let lists = [
        ("walls", room.walls.len(), THINGS),
        ("openings", room.openings.len(), THINGS),
        ("zones", room.zones.len(), ZONES),
        ("fixtures", room.fixtures.len(), THINGS),
        ("outlets", room.outlets.len(), THINGS),
        ("water_stops", room.water_stops.len(), THINGS),
        ("hobs", room.hobs.len(), THINGS),
        ("screens", room.screens.len(), THINGS),
        ("recesses", room.recesses.len(), THINGS),
        ("penetrations", room.penetrations.len(), THINGS),
        ("joints", room.joints.len(), THINGS),
        ("cracks", room.cracks.len(), THINGS),
        ("membranes", room.membranes.len(), PARTS),
        ("meetings", room.meetings.len(), THINGS),
        ("services", room.services.len(), THINGS),
        ("framing", room.framing.len(), THINGS),
        ("heated_areas", room.heated_areas.len(), THINGS),
    ];
    let within_outlets = room.outlets.iter().enumerate().flat_map(|(i, o)| {
        [(format!("outlets[{i}].flanges"), o.flanges.len(), PARTS), (format!("outlets[{i}].body_joints_mm"), o.body_joints_mm.len(), PARTS)]
    });
    let within_membranes = room.membranes.iter().enumerate().flat_map(|(i, m)| {
        [(format!("membranes[{i}].covers"), m.covers.len(), PARTS), (format!("membranes[{i}].laps"), m.laps.len(), THINGS)]
    });
    let build_up = room.build_up.iter().flat_map(|b| {
        let layers = b.zones.iter().enumerate().map(|(i, z)| (format!("build_up.zones[{i}].layers"), z.layers.len(), PARTS));
        std::iter::once(("build_up.zones".to_owned(), b.zones.len(), THINGS)).chain(layers)
    });
    let all = lists.into_iter().map(|(field, count, most)| (field.to_owned(), count, most));
    for (field, count, most) in all.chain(within_outlets).chain(within_membranes).chain(build_up) {
        if count > most {
            problems.push(Problem::at(field, "too many for one room", format!("at most {most}")).value(count));
        }
    }
    problems.problems.len() > before
}

/// A number must lie in its bounds; one that would fit in another unit is told so.
pub(crate) fn within(problems: &mut Problems, field: impl Into<String>, value: f64, bounds: Bounds) {
    if bounds.contains(value) {
        return;
    }
    let mut right = bounds.words();
    if bounds.unit == "mm" {
        let guesses = [("metres", 1000.0), ("centimetres", 10.0)];
        if let Some((unit, by)) = guesses.iter().find(|(_, by)| value > 0.0 && bounds.contains(value * by)) {
            right = format!("{right}; looks like {unit}: write {} mm", round(value * by));
        }
    }
    let what = if !value.is_finite() {
        "not a number"
    } else if value < 0.0 && bounds.min >= 0.0 {
        "negative"
    } else {
        "out of bounds"
    };
    problems.push(Problem::at(field, what, right).value(value));
}

fn within_if(problems: &mut Problems, field: impl Into<String>, value: Option<f64>, bounds: Bounds) {
    if let Some(value) = value {
        within(problems, field, value, bounds);
    }
}

/// A measured length must lie in its bounds, its uncertainty in [`bounds::U_MM`].
fn measured(problems: &mut Problems, field: &str, value: Option<Measured>, bounds: Bounds) {
    if let Some(m) = value {
        within(problems, field, m.value(), bounds);
        within(problems, format!("{field}.u"), m.u(), bounds::U_MM);
    }
}

fn level(problems: &mut Problems, field: &str, value: Option<Measured>) {
    measured(problems, field, value, bounds::LEVEL_MM);
}

/// Three decimals at most, for messages.
fn round(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}

/// A place in a message.
fn place(p: [f64; 2]) -> String {
    format!("({}, {})", round(p[0]), round(p[1]))
}

/// The height of the wall on an edge (from 0), where it is known and possible: a wall of 2.4 mm is told once, not again for
/// everything in it.
fn top_mm(room: &Room, edge: usize) -> Option<f64> {
    room.wall_height_mm(edge + 1).filter(|h| bounds::WALL_HEIGHT_MM.contains(*h))
}
