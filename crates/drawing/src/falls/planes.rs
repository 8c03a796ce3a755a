//! What each plane of the floor falls.

use super::all_falls;
use crate::sheet::Sheet;
use crate::signs;
use crate::{Mark, Scene, SurfaceOnFloor, contour, plan, text};
use measure::{PointMm, Verdict, math};
use room::geometry;
use room::register::{Face, Place};
use water::falls::PlaneOut;

/// A plane, its place on the floor and the letter it has there, where that place can be told.
pub struct Plane<'a> {
    pub found: &'a PlaneOut,
    at: Option<PointMm>,
    pub letter: Option<String>,
}

impl Plane<'_> {
    pub fn mark(&self) -> Mark {
        mark_of(self.found.judgement.verdict)
    }
}

pub fn all_planes<'a>(scene: &Scene, surface: &SurfaceOnFloor<'a>) -> Vec<Plane<'a>> {
    let mut placed = 0;
    let planes = all_falls(surface).flat_map(|f| &f.planes).map(|found| {
        let at = place_of(scene, found);
        let letter = at.map(|_| {
            placed += 1;
            letter(placed - 1)
        });
        Plane { found, at, letter }
    });
    planes.collect()
}

fn mark_of(verdict: Verdict) -> Mark {
    match verdict {
        Verdict::Conforms => Mark::Conforms,
        Verdict::NotShown => Mark::NotShown,
        Verdict::FallsShort => Mark::FallsShort,
    }
}

/// A, B ... Z, AA, AB ...
fn letter(i: usize) -> String {
    let last = char::from(b'A' + (i % 26) as u8);
    if i < 26 { last.to_string() } else { format!("{}{last}", letter(i / 26 - 1)) }
}

pub fn plane_words(plane: &PlaneOut) -> String {
    let verdict = plane.judgement.verdict;
    match (plane.fall, plane.u_fall) {
        (Some(fall), u) => {
            let spread = u.map_or(String::new(), |u| format!(" \u{b1} {}", text::decimal(200.0 * u, 2)));
            let back = if fall < 0.0 { "back-fall " } else { "" };
            format!("{back}{} ({}{spread} %), {verdict}", text::one_to(fall), text::decimal(100.0 * fall.abs(), 2))
        }
        (None, _) => format!("fall {verdict}"),
    }
}

/// A letter and the fall of each plane, in its middle.
pub fn planes(sheet: &mut Sheet, scene: &Scene, surface: &SurfaceOnFloor) {
    for plane in all_planes(scene, surface) {
        let (Some(at), Some(letter)) = (plane.at, &plane.letter) else { continue };
        let words = match plane.found.fall {
            Some(fall) => format!("{letter} {}", text::one_to(fall)),
            None => letter.clone(),
        };
        let size = [text::width_mm(&words, PLANE_MM, true) + 2.6, PLANE_MM + 1.4];
        let page = sheet.view.page(at);
        if let Some(rect) = sheet.places.near(page, size, -size[1] / 2.0, 24.0) {
            signs::pill(&mut sheet.svg, plane.mark(), &words, rect, PLANE_MM);
        }
    }
}

const PLANE_MM: f64 = 3.6;

/// A place in the middle of a plane: of the zone or the detail it is named after, or between its wall and its outlet.
fn place_of(scene: &Scene, plane: &PlaneOut) -> Option<PointMm> {
    let room = scene.room;
    if let Some(zone) = room.zone(&plane.id) {
        return plan::middle_of(&zone.polygon_mm);
    }
    let named = scene.details.iter().map(|d| d.detail).find(|d| d.face == Face::Floor && (d.id == plane.id || d.name == plane.id));
    if let Some(Place::Patch(patch)) = named.map(|d| &d.place) {
        let area = |ring: &&Vec<PointMm>| geometry::signed_area_mm2(ring).abs();
        return patch
            .iter()
            .filter_map(|polygon| polygon.first())
            .max_by(|a, b| area(a).total_cmp(&area(b)))
            .and_then(|r| plan::middle_of(r));
    }
    let [a, b] = plane.wall_mm?;
    let middle = [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0];
    let outlet = plane.outlet.as_deref().and_then(|id| room.outlets.iter().find(|o| o.id == id));
    let goal = match outlet.and_then(|o| Some([o.x_mm?, o.y_mm?])) {
        Some(goal) => goal,
        None => {
            let (sin, cos) = math::sincos(plane.toward_deg.to_radians());
            let reach = 0.5 * contour::distance(a, b, b);
            [middle[0] + reach * cos, middle[1] + reach * sin]
        }
    };
    [0.45, 0.3, 0.2, 0.1]
        .into_iter()
        .map(|t| [middle[0] + t * (goal[0] - middle[0]), middle[1] + t * (goal[1] - middle[1])])
        .find(|p| geometry::contains(&room.outline_mm, *p, 0.0))
}

#[cfg(test)]
mod tests {
    #[test]
    fn planes_are_lettered_past_z() {
        assert_eq!(["A", "Z", "AA", "AZ", "BA"], [0, 25, 26, 51, 52].map(super::letter).each_ref().map(String::as_str));
    }
}
