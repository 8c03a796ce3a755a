//! A room like another one: mirrored, turned, or both.
//!
//! Only what lies on plan moves. What is measured along a wall counts from the wall's first corner in the order of the
//! outline, and corners keep their order; so openings, recesses and lines on walls stay as they are, also in a mirror.

use crate::Room;
use crate::geometry::extent;
use crate::nouns::FLOOR;
use measure::PointMm;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How a room lies against its pattern: first mirrored, then turned.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Laid {
    /// Left and right changed over.
    pub mirrored: bool,
    /// Turned counter-clockwise on plan.
    pub turned: Turned,
}

/// By how much a room is turned.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Turned {
    /// Not at all.
    #[default]
    #[serde(rename = "0")]
    Not,
    /// A quarter, left.
    #[serde(rename = "90")]
    Quarter,
    /// Half round.
    #[serde(rename = "180")]
    Half,
    /// A quarter, right.
    #[serde(rename = "270")]
    ThreeQuarters,
}

/// Coordinates come out in steps of a millionth of a millimetre: what is written with six decimals comes back the same when
/// the room is laid back.
const STEPS_PER_MM: f64 = 1e6;

impl Laid {
    /// Whether nothing moves.
    pub fn is_same(self) -> bool {
        self == Self::default()
    }

    /// The way back.
    pub fn back(self) -> Self {
        // Mirroring changes the sense of a turn, so a mirrored room goes back the way it came.
        let turned = match (self.mirrored, self.turned) {
            (false, Turned::Quarter) => Turned::ThreeQuarters,
            (false, Turned::ThreeQuarters) => Turned::Quarter,
            (_, same) => same,
        };
        Self { turned, ..self }
    }

    /// Where a place goes, before the room is moved back to its corner.
    fn place(self, [x, y]: PointMm) -> PointMm {
        let x = if self.mirrored { -x } else { x };
        match self.turned {
            Turned::Not => [x, y],
            Turned::Quarter => [-y, x],
            Turned::Half => [-x, -y],
            Turned::ThreeQuarters => [y, -x],
        }
    }
}

/// The room laid so; the left lower corner of its extent stays where it was.
///
/// Names, sizes and heights stay. A room of which no corner is drawn comes back as it is.
pub fn laid(room: &Room, how: Laid) -> Room {
    let Some([corner, _]) = extent(&room.outline_mm).filter(|_| !how.is_same()) else { return room.clone() };
    let moved: Vec<PointMm> = room.outline_mm.iter().map(|p| how.place(*p)).collect();
    let Some([least, _]) = extent(&moved) else { return room.clone() };
    let step = |v: f64| (v * STEPS_PER_MM).round() / STEPS_PER_MM;
    // Adding zero takes the sign off a negative zero.
    let at = |p: PointMm| {
        let [x, y] = how.place(p);
        [step(x - least[0] + corner[0]) + 0.0, step(y - least[1] + corner[1]) + 0.0]
    };
    let mut out = room.clone();
    move_areas(&mut out, &at);
    move_things(&mut out, &at);
    out
}

fn move_areas(room: &mut Room, at: &impl Fn(PointMm) -> PointMm) {
    let zones = room.zones.iter_mut().map(|zone| &mut zone.polygon_mm);
    let heated = room.heated_areas.iter_mut().map(|area| &mut area.polygon_mm);
    for area in zones.chain(heated).chain([&mut room.outline_mm]) {
        move_line(area, at);
    }
}

fn move_line(line: &mut [PointMm], at: &impl Fn(PointMm) -> PointMm) {
    line.iter_mut().for_each(|p| *p = at(*p));
}

fn move_things(room: &mut Room, at: &impl Fn(PointMm) -> PointMm) {
    for fixture in &mut room.fixtures {
        [fixture.x_mm, fixture.y_mm] = at([fixture.x_mm, fixture.y_mm]);
    }
    for outlet in &mut room.outlets {
        move_pair(&mut outlet.x_mm, &mut outlet.y_mm, at);
        move_line(&mut outlet.line_mm, at);
    }
    for penetration in &mut room.penetrations {
        move_pair(&mut penetration.x_mm, &mut penetration.y_mm, at);
    }
    let stops = room.water_stops.iter_mut().map(|stop| &mut stop.line_mm);
    let hobs = room.hobs.iter_mut().map(|hob| &mut hob.line_mm);
    let screens = room.screens.iter_mut().map(|screen| &mut screen.line_mm);
    stops.chain(hobs).chain(screens).for_each(|line| move_line(line, at));
    let joints = room.joints.iter_mut().map(|joint| (&joint.on, &mut joint.line_mm));
    let cracks = room.cracks.iter_mut().map(|crack| (&crack.on, &mut crack.line_mm));
    let meetings = room.meetings.iter_mut().map(|meeting| (&meeting.on, &mut meeting.line_mm));
    let services = room.services.iter_mut().map(|service| (&service.on, &mut service.path_mm));
    let laps = room.membranes.iter_mut().flat_map(|membrane| &mut membrane.laps).map(|lap| (&lap.on, &mut lap.line_mm));
    let on_faces = joints.chain(cracks).chain(meetings).chain(services).chain(laps);
    on_faces.filter(|(on, _)| *on == FLOOR).for_each(|(_, line)| move_line(line, at));
}

fn move_pair(x: &mut Option<f64>, y: &mut Option<f64>, at: &impl Fn(PointMm) -> PointMm) {
    if let (Some(x), Some(y)) = (x.as_mut(), y.as_mut()) {
        [*x, *y] = at([*x, *y]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::register::derive;
    use crate::test_rooms::{heron_row, rectangle, room, two_membranes};
    use crate::validate::{check, normalised};

    const ALL: [Turned; 4] = [Turned::Not, Turned::Quarter, Turned::Half, Turned::ThreeQuarters];

    fn every_way() -> impl Iterator<Item = Laid> {
        [false, true].into_iter().flat_map(|mirrored| ALL.map(|turned| Laid { mirrored, turned }))
    }

    fn json(room: &Room) -> serde_json::Value {
        serde_json::to_value(room).unwrap()
    }

    #[test]
    fn a_room_laid_back_is_itself() {
        for fields in [rectangle(), heron_row(), two_membranes()] {
            let room = room(fields);
            for how in every_way() {
                assert_eq!(json(&laid(&laid(&room, how), how.back())), json(&room), "{how:?}");
            }
        }
    }

    #[test]
    fn a_room_laid_otherwise_is_sound_and_has_details_of_the_same_sizes() {
        for fields in [rectangle(), heron_row(), two_membranes()] {
            let drawn = room(fields);
            // In a mirror a corner's two walls, and the pieces before and after a door, change over, and their names with them.
            let sizes = |room: &Room, named: bool| {
                let register = derive(&normalised(room));
                let milli = |size: Option<f64>| size.map(|size| (size * 1e3).round() as i64);
                let mut sizes: Vec<_> = register
                    .iter()
                    .map(|d| (if named { d.id.clone() } else { format!("{:?}", d.kind) }, milli(d.area_m2), milli(d.length_m)))
                    .collect();
                sizes.sort();
                sizes
            };
            for how in every_way() {
                let other = laid(&drawn, how);
                assert_eq!(check(&other), check(&drawn), "{how:?}");
                assert_eq!(sizes(&other, !how.mirrored), sizes(&drawn, !how.mirrored), "{how:?}");
            }
        }
    }
}
