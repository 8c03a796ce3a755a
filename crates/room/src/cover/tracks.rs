//! Runs and places under drawn areas: lines beside a run and points around a place, on every face they lie on.

use super::{Cover, Which, contains, is_place_known};
use crate::geometry::{self, Edge, SAME_CORNER_MM, pieces};
use crate::nouns::OutletKind;
use crate::register::{Detail, DetailKind, Face, Place};
use measure::{PointMm, math};

/// How far beside a run, or round a place, the membrane belongs to it: more than a line drawn at a wall may be off it.
const BESIDE_MM: f64 = 15.0;
/// Places looked at round a place.
const AROUND: usize = 16;

impl Cover<'_> {
    /// Stretches of a run with fewer than one coat, fewer than two, and so on.
    pub(super) fn along(&self, detail: &Detail, line: &[PointMm], due: usize, coats: &[Which]) -> Vec<Vec<[f64; 2]>> {
        let drawn_counts = is_place_known(detail);
        let mut lacks: Vec<Vec<[f64; 2]>> = vec![Vec::new(); due];
        let mut start = 0.0;
        for piece in pieces(line) {
            let length = piece.length_mm();
            let tracks = if drawn_counts { self.tracks(detail, &piece) } else { Vec::new() };
            for [from, to] in self.intervals(&tracks, length, coats) {
                let at = (from + to) / 2.0 / length;
                let count = coats.iter().filter(|coat| self.names(**coat, detail) || self.runs_under(**coat, &tracks, at)).count();
                for lack in lacks.iter_mut().skip(count) {
                    push(lack, [start + from, start + to]);
                }
            }
            start += length;
        }
        lacks
    }

    /// Lines beside a piece of a run, on each side and face where there is something to coat.
    fn tracks(&self, detail: &Detail, piece: &Edge) -> Vec<(Face, Edge)> {
        let space = |p| self.unfolded.to_space(&detail.face, p);
        let (Some(from), Some(to)) = (space(piece.from), space(piece.to)) else { return Vec::new() };
        let off = self.half_width_mm(detail) + BESIDE_MM;
        let mut tracks = Vec::new();
        for face in self.unfolded.faces() {
            let on = |p| self.unfolded.from_space(&face.face, p).filter(|(_, off)| *off <= SAME_CORNER_MM).map(|(local, _)| local);
            let (Some(from), Some(to)) = (on(from), on(to)) else { continue };
            let edge = Edge { from, to };
            for side in [-off, off] {
                let track = Edge { from: edge.at(0.0, side), to: edge.at(edge.length_mm(), side) };
                let above = detail.kind == DetailKind::UpturnTermination && track.from[1] > edge.from[1];
                if !above && self.is_surface(&face.face, track.at(track.length_mm() / 2.0, 0.0)) {
                    tracks.push((face.face.clone(), track));
                }
            }
        }
        tracks
    }

    /// A hob is coated over its width, and beside it.
    fn half_width_mm(&self, detail: &Detail) -> f64 {
        let hob = self.room.hobs.iter().find(|hob| detail.kind == DetailKind::Hob && hob.id == detail.of);
        hob.map_or(0.0, |hob| hob.width_mm / 2.0)
    }

    fn is_surface(&self, face: &Face, p: PointMm) -> bool {
        let Some(rings) = self.unfolded.local_rings(face) else { return false };
        rings.split_first().is_some_and(|(outline, holes)| contains(outline, p, 0.0) && !holes.iter().any(|hole| contains(hole, p, 0.0)))
    }

    /// A piece cut wherever the rim of a drawn area crosses one of its tracks.
    fn intervals(&self, tracks: &[(Face, Edge)], length: f64, coats: &[Which]) -> Vec<[f64; 2]> {
        let mut stops = vec![0.0, length];
        for (face, track) in tracks {
            for coat in coats {
                let rims = self.drawn_on(*coat, face).into_iter().flat_map(geometry::edges);
                stops.extend(rims.filter_map(|rim| track.crossing(&rim)).map(|p| track.local(p)[0].max(0.0).min(length)));
            }
        }
        stops.sort_by(f64::total_cmp);
        stops.windows(2).map(|pair| [pair[0], pair[1]]).filter(|[from, to]| to > from).collect()
    }

    /// Whether a coat's drawn areas lie at a share of the way along every track.
    fn runs_under(&self, coat: Which, tracks: &[(Face, Edge)], at: f64) -> bool {
        !tracks.is_empty() && tracks.iter().all(|(face, track)| self.holds_at(coat, face, track.at(track.length_mm() * at, 0.0)))
    }

    fn holds_at(&self, coat: Which, face: &Face, p: PointMm) -> bool {
        self.drawn_on(coat, face).iter().any(|ring| contains(ring, p, SAME_CORNER_MM))
    }

    /// Places round a place, on every face it lies on; none where the room does not say where it lies.
    pub(super) fn around(&self, detail: &Detail) -> Vec<(Face, PointMm)> {
        let Place::Point(centre) = detail.place else { return Vec::new() };
        let Some(space) = self.unfolded.to_space(&detail.face, centre).filter(|_| is_place_known(detail)) else { return Vec::new() };
        let radius = self.radius_mm(detail) + BESIDE_MM;
        let step = 2.0 * std::f64::consts::PI / AROUND as f64;
        let mut probes = Vec::new();
        for face in self.unfolded.faces() {
            let Some((at, off)) = self.unfolded.from_space(&face.face, space) else { continue };
            if off > SAME_CORNER_MM {
                continue;
            }
            for i in 0..AROUND {
                let angle = (i as f64 + 0.5) * step;
                let p = [at[0] + radius * math::cos(angle), at[1] + radius * math::sin(angle)];
                if self.is_surface(&face.face, p) {
                    probes.push((face.face.clone(), p));
                }
            }
        }
        probes
    }

    pub(super) fn holds(&self, coat: Which, probes: &[(Face, PointMm)]) -> bool {
        !probes.is_empty() && probes.iter().all(|(face, p)| self.holds_at(coat, face, *p))
    }

    /// What stands in the middle of a place: a pipe, a grate.
    fn radius_mm(&self, detail: &Detail) -> f64 {
        let outlet = self.room.outlets.iter().find(|outlet| outlet.id == detail.of && outlet.kind == OutletKind::Point);
        let pipe = self.room.penetrations.iter().find(|penetration| penetration.id == detail.of);
        match detail.kind {
            DetailKind::OutletFlange => outlet.and_then(|outlet| outlet.radius_mm).unwrap_or(0.0),
            DetailKind::Penetration => pipe.and_then(|pipe| pipe.diameter_mm).unwrap_or(0.0) / 2.0,
            _ => 0.0,
        }
    }
}

/// Adds a stretch, joined to the last where they touch.
fn push(stretches: &mut Vec<[f64; 2]>, [from, to]: [f64; 2]) {
    match stretches.last_mut() {
        Some(last) if from - last[1] <= geometry::ROUNDING_MM => last[1] = to,
        _ => stretches.push([from, to]),
    }
}
