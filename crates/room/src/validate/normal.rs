//! One form of a room for everything that works on it.

use crate::Room;
use crate::geometry::{edges, signed_area_mm2};
use crate::nouns::{FLOOR, Wall};
use measure::PointMm;
use std::collections::BTreeMap;

/// The room with its outline counter-clockwise and a [`Wall`] for every edge, in the order of the edges.
///
/// Walls keep their names (`w3` stays the wall its user drew third); edge numbers and everything measured along a wall are
/// turned round where the outline was. Doing it twice changes nothing. Meant for rooms without problems; edges that do not
/// exist are dropped.
pub fn normalised(room: &Room) -> Room {
    let mut out = room.clone();
    let count = out.outline_mm.len();
    let names = room.wall_names();
    out.walls.retain(|w| w.edge >= 1 && w.edge <= count);
    for (i, name) in names.iter().enumerate() {
        if !out.walls.iter().any(|w| w.edge == i + 1) {
            out.walls.push(Wall { id: name.clone(), edge: i + 1, height_mm: None, substrate: None, construction: None, outer: None });
        }
    }
    out.walls.sort_by_key(|w| w.edge);
    out.walls.dedup_by_key(|w| w.edge);
    if signed_area_mm2(&out.outline_mm) < 0.0 {
        turn_round(&mut out, &names);
    }
    out
}

/// Reverses the outline and all that counts along it.
fn turn_round(room: &mut Room, names: &[String]) {
    let count = room.outline_mm.len();
    let lengths: BTreeMap<&str, f64> =
        names.iter().map(String::as_str).zip(edges(&room.outline_mm).iter().map(|e| e.length_mm())).collect();
    room.outline_mm.reverse();
    for wall in &mut room.walls {
        // The corners now run n-1 .. 0, so the edge that ran from corner k-1 to k lies n-k from the front; the closing edge
        // stays the closing edge.
        wall.edge = if wall.edge == count { count } else { count - wall.edge };
    }
    room.walls.sort_by_key(|w| w.edge);
    for opening in &mut room.openings {
        if let Some(length) = lengths.get(opening.wall.as_str()) {
            opening.from_mm = length - opening.from_mm - opening.width_mm;
        }
    }
    for recess in &mut room.recesses {
        if let Some(length) = lengths.get(recess.wall.as_str()) {
            recess.from_mm = length - recess.from_mm - recess.width_mm;
        }
    }
    for penetration in &mut room.penetrations {
        if let Some(length) = penetration.wall.as_deref().and_then(|w| lengths.get(w)) {
            penetration.along_mm = penetration.along_mm.map(|along| length - along);
        }
    }
    for membrane in &mut room.membranes {
        for cover in &mut membrane.covers {
            if let Some(length) = lengths.get(cover.on.as_str()) {
                (cover.from_mm, cover.to_mm) = (cover.to_mm.map(|to| length - to), cover.from_mm.map(|from| length - from));
            }
        }
        for lap in &mut membrane.laps {
            turn_line(&lap.on, &mut lap.line_mm, &lengths);
        }
    }
    for joint in &mut room.joints {
        turn_line(&joint.on, &mut joint.line_mm, &lengths);
    }
    for crack in &mut room.cracks {
        turn_line(&crack.on, &mut crack.line_mm, &lengths);
    }
    for meeting in &mut room.meetings {
        turn_line(&meeting.on, &mut meeting.line_mm, &lengths);
    }
    for service in &mut room.services {
        turn_line(&service.on, &mut service.path_mm, &lengths);
    }
    for framing in &mut room.framing {
        turn_line(&framing.wall, &mut framing.line_mm, &lengths);
    }
}

fn turn_line(on: &str, line: &mut [PointMm], lengths: &BTreeMap<&str, f64>) {
    if let Some(length) = lengths.get(on).filter(|_| on != FLOOR) {
        for p in line {
            p[0] = length - p[0];
        }
    }
}
