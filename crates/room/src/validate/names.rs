//! Names: unique, readable, and known wherever they are used.

use crate::Room;
use crate::geometry::{Edge, edges};
use crate::nouns::{FLOOR, REST};
use measure::{Problem, Problems};
use std::collections::BTreeMap;

/// Longest name of a thing.
const NAME_CHARS: usize = 60;

/// What may be referred to.
pub struct Names<'a> {
    walls: BTreeMap<String, usize>,
    edges: Vec<Edge>,
    zones: Vec<&'a str>,
    recesses: Vec<&'a str>,
    pub membranes: Vec<&'a str>,
}

impl<'a> Names<'a> {
    /// Collects the names and reports those that are empty, repeated or unreadable.
    pub fn of(room: &'a Room, problems: &mut Problems) -> Self {
        let mut walls = BTreeMap::new();
        for (i, name) in room.wall_names().into_iter().enumerate() {
            if let Some(first) = walls.get(&name).copied() {
                // Two listed walls of one name are told below; here a name that is another edge's own `w` and number.
                let default_first = !room.walls.iter().any(|w| w.edge == first + 1);
                let default_here = !room.walls.iter().any(|w| w.edge == i + 1);
                if default_first || default_here {
                    let what = format!("two walls are called {name}: edge {} and edge {}", first + 1, i + 1);
                    problems.push(Problem::at("walls", what, format!("{name} means the wall on its edge number; choose another name")));
                }
            } else {
                walls.insert(name, i);
            }
        }
        unique(room, problems);
        Self {
            walls,
            edges: edges(&room.outline_mm),
            zones: room.zones.iter().map(|z| z.id.as_str()).collect(),
            recesses: room.recesses.iter().map(|r| r.id.as_str()).collect(),
            membranes: room.membranes.iter().map(|m| m.id.as_str()).collect(),
        }
    }

    /// The edge (from 0) a wall stands on; reports a name no wall has.
    pub fn wall(&self, field: &str, id: &str, problems: &mut Problems) -> Option<(usize, Edge)> {
        let found = self.walls.get(id).copied();
        if found.is_none() {
            problems.push(unknown(field, "wall", id, self.walls.keys().map(String::as_str)));
        }
        found.map(|i| (i, self.edges[i]))
    }

    /// Reports a zone no zone is called; `rest` is always known.
    pub fn zone(&self, field: &str, id: &str, problems: &mut Problems) {
        if id != REST && !self.zones.contains(&id) {
            problems.push(unknown(field, "zone", id, self.zones.iter().copied().chain([REST])));
        }
    }

    /// What something lies on: the floor, or a wall with its edge; reports anything else. Recesses count where `recesses`.
    pub fn surface(&self, field: &str, on: &str, recesses: bool, problems: &mut Problems) -> Option<Surface> {
        if on == FLOOR {
            return Some(Surface::Floor);
        }
        if let Some(i) = self.walls.get(on) {
            return Some(Surface::Wall(*i, self.edges[*i]));
        }
        if recesses && self.recesses.contains(&on) {
            return Some(Surface::Recess);
        }
        let known = self.walls.keys().map(String::as_str).chain([FLOOR]).chain(self.recesses.iter().copied().filter(|_| recesses));
        problems.push(unknown(field, if recesses { "floor, wall or recess" } else { "floor or wall" }, on, known));
        None
    }
}

/// What something lies on.
#[derive(Clone, Copy)]
pub enum Surface {
    /// The floor.
    Floor,
    /// The wall on an edge (from 0).
    Wall(usize, Edge),
    /// A recess.
    Recess,
}

/// A name nothing has, with the nearest that something does.
pub fn unknown<'a>(field: &str, kind: &str, id: &str, known: impl Iterator<Item = &'a str>) -> Problem {
    let known: Vec<&str> = known.collect();
    let near = known.iter().map(|k| (distance(id, k), *k)).min().filter(|(d, _)| *d <= 2 || *d * 2 <= id.chars().count());
    let right = match (near, known.len()) {
        (Some((_, near)), _) => format!("did you mean {near}?"),
        (None, 0) => format!("there is no {kind} in this room"),
        (None, n) if n <= 12 => format!("one of {}", known.join(", ")),
        (None, _) => format!("one of {} ...", known[..12].join(", ")),
    };
    Problem::at(field, format!("no {kind} of that name"), right).value(id)
}

/// Letters to change, add or leave out to make one name of the other (Levenshtein), case aside; names are short.
fn distance(a: &str, b: &str) -> usize {
    let letters = |s: &str| s.to_lowercase().chars().take(NAME_CHARS).collect::<Vec<_>>();
    let (a, b) = (letters(a), letters(b));
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.iter().enumerate() {
        let mut before = row[0];
        row[0] = i + 1;
        for (j, y) in b.iter().enumerate() {
            let change = before + usize::from(x != y);
            before = row[j + 1];
            row[j + 1] = change.min(before + 1).min(row[j] + 1);
        }
    }
    row[b.len()]
}

/// Every name readable, and no two alike within one list; walls and recesses share one, for `on` may name either.
fn unique(room: &Room, problems: &mut Problems) {
    let mut seen = BTreeMap::new();
    named(room.walls.iter().map(|w| &w.id), "walls", &mut seen, problems);
    named(room.recesses.iter().map(|r| &r.id), "recesses", &mut seen, problems);
    for (i, name) in room.wall_names().iter().enumerate() {
        if let Some(j) = room.recesses.iter().position(|r| r.id == *name && !room.walls.iter().any(|w| w.id == *name)) {
            let what = format!("also the name of the wall on edge {}", i + 1);
            problems.push(Problem::at(format!("recesses[{j}].id"), what, "a name of its own").value(name));
        }
    }
    alone(room.openings.iter().map(|x| &x.id), "openings", problems);
    alone(room.zones.iter().map(|x| &x.id), "zones", problems);
    alone(room.fixtures.iter().map(|x| &x.id), "fixtures", problems);
    alone(room.outlets.iter().map(|x| &x.id), "outlets", problems);
    for (i, outlet) in room.outlets.iter().enumerate() {
        alone(outlet.flanges.iter().map(|x| &x.id), &format!("outlets[{i}].flanges"), problems);
    }
    alone(room.water_stops.iter().map(|x| &x.id), "water_stops", problems);
    alone(room.hobs.iter().map(|x| &x.id), "hobs", problems);
    alone(room.screens.iter().map(|x| &x.id), "screens", problems);
    alone(room.penetrations.iter().map(|x| &x.id), "penetrations", problems);
    alone(room.joints.iter().map(|x| &x.id), "joints", problems);
    alone(room.cracks.iter().map(|x| &x.id), "cracks", problems);
    alone(room.membranes.iter().map(|x| &x.id), "membranes", problems);
    let mut laps = BTreeMap::new();
    for (i, membrane) in room.membranes.iter().enumerate() {
        named(membrane.laps.iter().map(|x| &x.id), &format!("membranes[{i}].laps"), &mut laps, problems);
    }
    alone(room.meetings.iter().map(|x| &x.id), "meetings", problems);
    alone(room.services.iter().map(|x| &x.id), "services", problems);
    alone(room.framing.iter().map(|x| &x.id), "framing", problems);
    alone(room.heated_areas.iter().map(|x| &x.id), "heated_areas", problems);
    for (i, zone) in room.zones.iter().enumerate() {
        if zone.id == REST {
            problems.push(Problem::at(format!("zones[{i}].id"), "that name means the floor outside all zones", "another name").value(REST));
        }
    }
}

fn alone<'a>(ids: impl Iterator<Item = &'a String>, list: &str, problems: &mut Problems) {
    named(ids, list, &mut BTreeMap::new(), problems);
}

fn named<'a>(ids: impl Iterator<Item = &'a String>, list: &str, seen: &mut BTreeMap<&'a str, String>, problems: &mut Problems) {
    for (i, id) in ids.enumerate() {
        let field = format!("{list}[{i}].id");
        if id.trim().is_empty() {
            problems.push(Problem::at(&field, "has no name", "a short name, unique in the room").value(format!("{id:?}")));
        } else if id.chars().count() > NAME_CHARS || id.contains(['/', '+']) || id.chars().any(char::is_control) {
            problems.push(Problem::at(&field, "not a usable name", format!("up to {NAME_CHARS} characters, no / or +")).value(id));
        } else if id == FLOOR {
            problems.push(Problem::at(&field, "that name means the floor", "another name").value(id));
        } else if let Some(first) = seen.get(id.as_str()) {
            problems.push(Problem::at(&field, format!("the same name as {first}"), "names are unique").value(id));
        } else {
            seen.insert(id, field);
        }
    }
}
