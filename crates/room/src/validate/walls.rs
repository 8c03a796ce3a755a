//! Walls, and what is in them: openings, recesses, penetrations.

use super::names::Names;
use super::{OUTSIDE_MM, level, round, within, within_if};
use crate::Room;
use crate::geometry::{Edge, contains, is_floor};
use crate::nouns::{Opening, OpeningKind, Penetration, Recess};
use measure::{Bounds, Problem, Problems, bounds};
use std::collections::BTreeMap;

/// A door, window or the mouth of a recess may be drawn this far past the wall's end.
const PAST_END_MM: f64 = 1.0;

const ALONG_MM: Bounds = Bounds { min: 0.0, max: 100_000.0, unit: "mm" };
const OPENING_MM: Bounds = Bounds { min: 100.0, max: 20_000.0, unit: "mm" };
const RECESS_MM: Bounds = Bounds { min: 20.0, max: 10_000.0, unit: "mm" };
const RECESS_DEPTH_MM: Bounds = Bounds { min: 5.0, max: 1_000.0, unit: "mm" };
const DIAMETER_MM: Bounds = Bounds { min: 1.0, max: 500.0, unit: "mm" };
/// Rise over run of a recess's sill: back-falling sills occur, walls do not.
const SILL_FALL: Bounds = Bounds { min: -0.5, max: 0.5, unit: "(rise over run; 1:50 is 0.02)" };

pub fn check(room: &Room, names: &Names, problems: &mut Problems) {
    on_edges(room, problems);
    let mut cuts: BTreeMap<usize, Vec<Cut>> = BTreeMap::new();
    for (i, opening) in room.openings.iter().enumerate() {
        check_opening(i, opening, names, problems, &mut cuts, room);
    }
    for (i, recess) in room.recesses.iter().enumerate() {
        check_recess(i, recess, names, problems, &mut cuts, room);
    }
    for cuts in cuts.values_mut() {
        overlaps(cuts, problems);
    }
    for (i, penetration) in room.penetrations.iter().enumerate() {
        check_penetration(i, penetration, names, problems, room);
    }
}

fn on_edges(room: &Room, problems: &mut Problems) {
    let edges = room.outline_mm.len();
    let mut taken: BTreeMap<usize, usize> = BTreeMap::new();
    for (i, wall) in room.walls.iter().enumerate() {
        let field = format!("walls[{i}].edge");
        if wall.edge == 0 || wall.edge > edges {
            problems.push(Problem::at(&field, "the outline has no such edge", format!("1 to {edges}")).value(wall.edge));
        } else if let Some(first) = taken.insert(wall.edge, i) {
            let what = format!("walls {} and {} stand on the same edge", room.walls[first].id, wall.id);
            problems.push(Problem::at(&field, what, "one wall an edge").value(wall.edge));
        }
        within_if(problems, format!("walls[{i}].height_mm"), wall.height_mm, bounds::WALL_HEIGHT_MM);
    }
}

/// Part of a wall that is not wall: `[along, height]` from and to.
struct Cut {
    field: String,
    name: String,
    along: [f64; 2],
    /// Unknown for a window without sill or height.
    height: Option<[f64; 2]>,
}

fn check_opening(i: usize, opening: &Opening, names: &Names, problems: &mut Problems, cuts: &mut BTreeMap<usize, Vec<Cut>>, room: &Room) {
    let at = format!("openings[{i}]");
    within(problems, format!("{at}.width_mm"), opening.width_mm, OPENING_MM);
    within(problems, format!("{at}.from_mm"), opening.from_mm, ALONG_MM);
    within_if(problems, format!("{at}.height_mm"), opening.height_mm, OPENING_MM);
    within_if(problems, format!("{at}.sill_mm"), opening.sill_mm, bounds::LEVEL_MM);
    level(problems, &format!("{at}.threshold_mm"), opening.threshold_mm);
    if opening.kind == OpeningKind::Window && opening.threshold_mm.is_some() {
        problems.push(Problem::at(format!("{at}.threshold_mm"), "a window has no threshold", "its lower edge is sill_mm"));
    }
    if opening.kind == OpeningKind::Door && opening.sill_mm.is_some() {
        problems.push(Problem::at(format!("{at}.sill_mm"), "a door has no sill", "its lower edge is threshold_mm"));
    }
    let Some((edge, line)) = names.wall(&format!("{at}.wall"), &opening.wall, problems) else { return };
    let along = [opening.from_mm, opening.from_mm + opening.width_mm];
    past_end(&at, &opening.wall, along, line, problems);
    let top = super::top_mm(room, edge);
    let height = match opening.kind {
        OpeningKind::Door => Some([0.0, opening.height_mm.or(top).unwrap_or(f64::INFINITY)]),
        OpeningKind::Window => opening.sill_mm.zip(opening.height_mm).map(|(sill, height)| [sill, sill + height]),
    };
    over_top(&at, height.filter(|_| opening.height_mm.is_some()), top, problems);
    cuts.entry(edge).or_default().push(Cut { field: at, name: format!("opening {}", opening.id), along, height });
}

fn check_recess(i: usize, recess: &Recess, names: &Names, problems: &mut Problems, cuts: &mut BTreeMap<usize, Vec<Cut>>, room: &Room) {
    let at = format!("recesses[{i}]");
    within(problems, format!("{at}.width_mm"), recess.width_mm, RECESS_MM);
    within(problems, format!("{at}.height_mm"), recess.height_mm, RECESS_MM);
    within(problems, format!("{at}.depth_mm"), recess.depth_mm, RECESS_DEPTH_MM);
    within(problems, format!("{at}.from_mm"), recess.from_mm, ALONG_MM);
    within(problems, format!("{at}.sill_mm"), recess.sill_mm, bounds::LEVEL_MM);
    if let Some(fall) = recess.sill_fall {
        within(problems, format!("{at}.sill_fall"), fall.value(), SILL_FALL);
    }
    let Some((edge, line)) = names.wall(&format!("{at}.wall"), &recess.wall, problems) else { return };
    let along = [recess.from_mm, recess.from_mm + recess.width_mm];
    past_end(&at, &recess.wall, along, line, problems);
    let height = [recess.sill_mm, recess.sill_mm + recess.height_mm];
    over_top(&at, Some(height), super::top_mm(room, edge), problems);
    cuts.entry(edge).or_default().push(Cut { field: at, name: format!("recess {}", recess.id), along, height: Some(height) });
}

fn past_end(at: &str, wall: &str, along: [f64; 2], line: Edge, problems: &mut Problems) {
    let length = line.length_mm();
    if along[1] > length + PAST_END_MM {
        let what = format!("ends {} mm past the end of wall {wall}", round(along[1] - length));
        problems.push(Problem::at(at, what, format!("from_mm + width_mm at most {}", round(length))).value(round(along[1])));
    }
}

fn over_top(at: &str, height: Option<[f64; 2]>, top: Option<f64>, problems: &mut Problems) {
    if let (Some([_, upper]), Some(top)) = (height, top)
        && upper > top + PAST_END_MM
    {
        let what = format!("reaches {} mm over the top of its wall", round(upper - top));
        problems.push(Problem::at(at, what, format!("no higher than {}", round(top))).value(round(upper)));
    }
}

/// Cuts of one wall that overlap, each told once with the first it overlaps.
fn overlaps(cuts: &mut [Cut], problems: &mut Problems) {
    cuts.sort_by(|a, b| a.along[0].total_cmp(&b.along[0]));
    for (i, cut) in cuts.iter().enumerate() {
        let meets = |other: &&Cut| match (cut.height, other.height) {
            (Some(a), Some(b)) => cut.along[0] < other.along[1] - PAST_END_MM && a[0] < b[1] - PAST_END_MM && b[0] < a[1] - PAST_END_MM,
            _ => false,
        };
        if let Some(other) = cuts[..i].iter().find(meets) {
            problems.push(Problem::at(&cut.field, format!("{} overlaps {}", cut.name, other.name), "each in its own part of the wall"));
        }
    }
}

fn check_penetration(i: usize, p: &Penetration, names: &Names, problems: &mut Problems, room: &Room) {
    let at = format!("penetrations[{i}]");
    within_if(problems, format!("{at}.diameter_mm"), p.diameter_mm, DIAMETER_MM);
    let Some(wall) = &p.wall else {
        match (p.x_mm, p.y_mm) {
            (Some(x), Some(y)) => {
                if is_floor(&room.outline_mm) && !contains(&room.outline_mm, [x, y], OUTSIDE_MM) {
                    let found = super::place([x, y]);
                    problems
                        .push(Problem::at(at, format!("penetration {} lies outside the room", p.id), "a place on the floor").value(found));
                }
            }
            _ => problems.push(Problem::at(at, "has no place", "wall, along_mm and height_mm; or x_mm and y_mm on the floor")),
        }
        return;
    };
    if p.x_mm.is_some() || p.y_mm.is_some() {
        problems.push(Problem::at(&at, "on a wall and on the floor at once", "either wall, along_mm, height_mm or x_mm, y_mm"));
    }
    let Some((edge, line)) = names.wall(&format!("{at}.wall"), wall, problems) else { return };
    if let Some(along) = p.along_mm {
        let length = line.length_mm();
        if !(along >= -PAST_END_MM && along <= length + PAST_END_MM) {
            let right = format!("between 0 and {}", round(length));
            problems.push(Problem::at(format!("{at}.along_mm"), format!("beyond the end of wall {wall}"), right).value(along));
        }
    }
    if let Some(height) = p.height_mm {
        let top = super::top_mm(room, edge).unwrap_or(bounds::WALL_HEIGHT_MM.max);
        if !(height.is_finite() && height >= -1000.0 && height <= top) {
            let right = format!("between the floor and {}", round(top));
            problems.push(Problem::at(format!("{at}.height_mm"), "not on its wall", right).value(height));
        }
    }
}
