//! The floor's outline, and every other polygon.

use super::{place, round};
use crate::Room;
use crate::geometry::{SAME_CORNER_MM, distance_mm, edges, extent, signed_area_mm2};
use measure::{PointMm, Problem, Problems, bounds};

/// Crossings listed for one polygon.
const CROSSINGS_LISTED: usize = 10;

pub fn check(room: &Room, problems: &mut Problems) {
    if !ring(&room.outline_mm, "outline_mm", problems) {
        return;
    }
    let Some([lo, hi]) = extent(&room.outline_mm) else { return };
    let sides = [("wide", hi[0] - lo[0]), ("deep", hi[1] - lo[1])];
    let longest = sides.iter().fold(0.0_f64, |most, (_, side)| most.max(*side));
    let unit = unit_of(longest);
    for (word, side) in sides {
        if !bounds::ROOM_SIDE_MM.contains(side) {
            let right = format!("sides {}{unit}", bounds::ROOM_SIDE_MM.words());
            problems.push(Problem::at("outline_mm", format!("a room {} mm {word}", round(side)), right).value(round(side)));
        }
    }
}

/// Which unit a room of this longest side was probably drawn in.
fn unit_of(longest: f64) -> &'static str {
    match longest {
        x if x > bounds::ROOM_SIDE_MM.max => "; wrong unit? Lengths are in millimetres",
        x if (1.0..30.0).contains(&x) => "; wrong unit? Looks like metres",
        x if x < bounds::ROOM_SIDE_MM.min => "; wrong unit? Looks like centimetres or metres",
        _ => "",
    }
}

/// Checks a polygon's corners: enough of them, on a plan, none repeated, no edge over another; every problem is named by `field`.
/// False when there are too few of them to go on with.
pub fn ring(corners: &[PointMm], field: &str, problems: &mut Problems) -> bool {
    if corners.len() > bounds::CORNERS {
        problems.push(Problem::at(field, "too many corners", format!("at most {}", bounds::CORNERS)).value(corners.len()));
        return false;
    }
    if !points(corners, field, problems) {
        return false;
    }
    if corners.len() < 3 {
        problems.push(Problem::at(field, "too few corners to be a floor", "at least 3, in order round it").value(corners.len()));
        return false;
    }
    let repeated = repeated_corners(corners, field, problems);
    let crossing = crossings(corners, field, problems);
    if !repeated && !crossing && signed_area_mm2(corners).abs() < SAME_CORNER_MM {
        problems.push(Problem::at(field, "encloses no area: all corners lie on one line", "corners in order round the floor"));
    }
    true
}

/// Every coordinate finite and within the bounds of a plan.
pub fn points(points: &[PointMm], field: &str, problems: &mut Problems) -> bool {
    let before = problems.problems.len();
    for (i, p) in points.iter().enumerate() {
        point(*p, &format!("{field}[{i}]"), problems);
    }
    problems.problems.len() == before
}

/// Both coordinates finite and within the bounds of a plan.
pub fn point(p: PointMm, field: &str, problems: &mut Problems) -> bool {
    let sound = p.iter().all(|v| bounds::PLAN_MM.contains(*v));
    if !sound {
        let found = format!("({}, {})", p[0], p[1]);
        problems.push(Problem::at(field, "not a place on plan", bounds::PLAN_MM.words()).value(found));
    }
    sound
}

fn repeated_corners(corners: &[PointMm], field: &str, problems: &mut Problems) -> bool {
    let n = corners.len();
    let before = problems.problems.len();
    for i in 0..n {
        let next = (i + 1) % n;
        if distance_mm(corners[i], corners[next]) < SAME_CORNER_MM {
            let right = if next == 0 { "leave out the last corner: the floor closes by itself" } else { "leave one of them out" };
            problems.push(
                Problem::at(format!("{field}[{}]", i.max(next)), format!("the same corner as number {}", i.min(next) + 1), right)
                    .value(place(corners[i.max(next)])),
            );
        }
    }
    problems.problems.len() > before
}

fn crossings(corners: &[PointMm], field: &str, problems: &mut Problems) -> bool {
    let sides = edges(corners);
    let n = sides.len();
    let mut found = 0;
    for i in 0..n {
        for j in i + 1..n {
            let Some(at) = cross(&sides, i, j) else { continue };
            found += 1;
            if found <= CROSSINGS_LISTED {
                let what = format!("edges {} and {} cross at {}", i + 1, j + 1, place(at));
                problems.push(Problem::at(field, what, "corners in order round the floor, no edge over another"));
            }
        }
    }
    if found > CROSSINGS_LISTED {
        problems.push(Problem::at(field, format!("{} more edges cross", found - CROSSINGS_LISTED), "put these right first"));
    }
    found > 0
}

/// Where two edges of a ring cross or touch, other than neighbours in the corner they share. Edges that have no length
/// are repeated corners, and told as such.
fn cross(sides: &[crate::geometry::Edge], i: usize, j: usize) -> Option<PointMm> {
    let (a, b) = (&sides[i], &sides[j]);
    if a.length_mm() < SAME_CORNER_MM || b.length_mm() < SAME_CORNER_MM {
        return None;
    }
    let shared = if j == i + 1 {
        Some(a.to)
    } else if i == 0 && j == sides.len() - 1 {
        Some(a.from)
    } else {
        None
    };
    let Some(shared) = shared else { return a.crossing(b) };
    // Neighbours overlap only when one runs back along the other.
    let (away_a, away_b) = if j == i + 1 { (a.from, b.to) } else { (a.to, b.from) };
    let back = |edge: &crate::geometry::Edge, p: PointMm| edge.distance_mm(p) < 1e-6 && distance_mm(p, shared) > SAME_CORNER_MM;
    if back(b, away_a) {
        Some(away_a)
    } else if back(a, away_b) {
        Some(away_b)
    } else {
        None
    }
}
