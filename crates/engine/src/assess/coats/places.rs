//! How much of a detail is meant, and where: "0.80 m² of 1.04 m² beside outlet waste, about (520, 1280)".

use job::Job;
use measure::PointMm;
use room::cover::Part;
use room::geometry::{self, contains, distance_mm, distance_to_ring_mm};
use room::nouns::OpeningKind;
use room::register::{Detail, Face};

/// What lies this near is beside it.
const BESIDE_MM: f64 = 300.0;
/// A part this much of the whole is all of it.
const ALL: f64 = 0.999;

/// A part of a detail in words; `None` where it is all of it.
pub fn of(job: &Job, detail: &Detail, whole: &Part, part: &Part) -> Option<String> {
    if part.size() >= ALL * whole.size() {
        return None;
    }
    match part {
        Part::Patch(patch) => {
            let largest = patch.iter().max_by(|a, b| size_of(a).total_cmp(&size_of(b)))?;
            let pieces = if patch.len() > 1 { format!(" in {} pieces, the largest", patch.len()) } else { String::new() };
            Some(format!("{:.2} m² of {:.2} m²{pieces} {}", part.size(), whole.size(), whereabouts(job, &detail.face, largest.first()?)))
        }
        Part::Run(stretches) => {
            let said: Vec<String> = stretches.iter().map(|[from, to]| format!("{:.2} to {:.2} m", from / 1e3, to / 1e3)).collect();
            Some(format!("{:.2} m of {:.2} m ({} along)", part.size(), whole.size(), super::words::names(&said)))
        }
        Part::Point(_) => None,
    }
}

fn size_of(polygon: &[Vec<PointMm>]) -> f64 {
    geometry::patch_area_mm2(&[polygon.to_vec()])
}

/// Beside what a piece lies, and about where.
fn whereabouts(job: &Job, face: &Face, ring: &[PointMm]) -> String {
    let near = |at: PointMm| if contains(ring, at, 0.0) { 0.0 } else { distance_to_ring_mm(ring, at) };
    let nearest = things(job, face).into_iter().map(|(name, at)| (name, near(at))).min_by(|a, b| a.1.total_cmp(&b.1));
    let beside = nearest.filter(|(_, distance)| *distance <= BESIDE_MM).map_or(String::new(), |(name, _)| format!("beside {name}, "));
    let [x, y] = middle(ring);
    match face {
        Face::Floor => format!("{beside}about ({x:.0}, {y:.0})"),
        Face::Wall(_) | Face::Recess(..) => format!("{beside}about {x:.0} mm along and {y:.0} mm up"),
    }
}

/// What a person would point at on a face.
fn things(job: &Job, face: &Face) -> Vec<(String, PointMm)> {
    let room = &job.room;
    match face {
        Face::Floor => {
            let outlets = room.outlets.iter().filter_map(|outlet| {
                let at = outlet.x_mm.zip(outlet.y_mm).map(|(x, y)| [x, y]);
                let middle = || geometry::along_line(&outlet.line_mm, geometry::line_length_mm(&outlet.line_mm) / 2.0);
                Some((format!("outlet {}", outlet.id), at.or_else(middle)?))
            });
            let names = room.wall_names();
            let doors = room.openings.iter().filter(|opening| opening.kind == OpeningKind::Door).filter_map(|door| {
                let edges = geometry::edges(&room.outline_mm);
                let edge = edges.get(names.iter().position(|name| *name == door.wall)?)?;
                Some((door.id.clone(), edge.at(door.from_mm + door.width_mm / 2.0, 0.0)))
            });
            outlets.chain(doors).collect()
        }
        Face::Wall(id) => {
            let pipes = room.penetrations.iter().filter(|p| p.wall.as_ref() == Some(id));
            let pipes = pipes.filter_map(|p| Some((p.id.clone(), [p.along_mm?, p.height_mm?])));
            let recesses = room.recesses.iter().filter(|recess| recess.wall == *id);
            let recesses = recesses.map(|r| (format!("recess {}", r.id), [r.from_mm + r.width_mm / 2.0, r.sill_mm]));
            pipes.chain(recesses).collect()
        }
        Face::Recess(..) => Vec::new(),
    }
}

/// A place inside a piece: the middle of its extent where that lies inside, else of its first edge.
fn middle(ring: &[PointMm]) -> PointMm {
    let centre = geometry::extent(ring).map_or([0.0, 0.0], |[lo, hi]| [(lo[0] + hi[0]) / 2.0, (lo[1] + hi[1]) / 2.0]);
    let inside = |p: &PointMm| contains(ring, *p, 0.0);
    let edge_middles = geometry::edges(ring).into_iter().map(|edge| edge.at(edge.length_mm() / 2.0, 0.0));
    if inside(&centre) {
        return centre;
    }
    edge_middles.min_by(|a, b| distance_mm(*a, centre).total_cmp(&distance_mm(*b, centre))).unwrap_or(centre)
}
