//! How many coats cover a detail, and where they do not, from what a log says was coated.
//!
//! A log names details, or draws areas on faces. A name speaks for what it names and for nothing beside it: who logs the
//! floor has said nothing of its junctions. A drawn area speaks for all it covers: of a field the part that lies in it, of a
//! run the stretch along which it lies on both sides and on both faces, of a place that which surrounds it.
//!
//! Coats of one number are one coat, put on in parts. What has at least `k` coats is built up coat by coat, `A_k` becoming
//! `A_k ∪ (A_{k-1} ∩ c)`, so that neither the order of the log nor of its areas matters.

#[cfg(test)]
mod tests;
mod tracks;

use crate::Room;
use crate::geometry::{self, AT_WALL_MM, area_mm2, area_of, contains, edges, rectangle};
use crate::register::{Detail, DetailKind, Face, Place};
use crate::unfold::Unfolded;
use geo::{BooleanOps, Coord, LineString, MultiPolygon, Polygon};
use measure::PointMm;
use std::collections::{BTreeMap, BTreeSet};

/// Rings of an area: polygons, each its outer ring followed by its holes.
pub type Patch = Vec<Vec<Vec<PointMm>>>;

/// What a log says one coat, or one part of it, covers.
#[derive(Clone, Debug, Default)]
pub struct Claim {
    /// Which coat, from 1.
    pub number: u32,
    /// Details it names, by id.
    pub details: BTreeSet<String>,
    /// Areas it draws, in the coordinates of their faces.
    pub drawn: Vec<(Face, Vec<PointMm>)>,
}

/// Less of a detail than this, in square metres or metres, no claim was meant to cover.
const TOUCH: f64 = 1e-4;

/// Areas drawn side by side may share as much along their common edge.
const SHARED_M2: f64 = 0.02;

/// Claims that count as one coat.
#[derive(Clone, Copy)]
enum Which {
    Number(u32),
    Claim(usize),
}

/// A room with what is said to cover it.
pub struct Cover<'a> {
    room: &'a Room,
    unfolded: Unfolded,
    register: &'a [Detail],
    claims: Vec<Claim>,
}

/// How far the coats due cover one detail.
#[derive(Clone, Debug, PartialEq)]
pub struct Covered {
    /// The whole of it.
    pub whole: Part,
    /// What has no first coat, no second, and so on up to the coats due.
    pub lacks: Vec<Part>,
}

/// Part of a detail.
#[derive(Clone, Debug, PartialEq)]
pub enum Part {
    /// Of an area.
    Patch(Patch),
    /// Of a run: stretches in millimetres from its first end, in order.
    Run(Vec<[f64; 2]>),
    /// A place, or nothing.
    Point(bool),
}

impl Part {
    /// Square metres of an area, metres of a run, 1 for a place.
    pub fn size(&self) -> f64 {
        match self {
            Self::Patch(patch) => geometry::patch_area_mm2(patch) / 1e6,
            Self::Run(stretches) => stretches.iter().map(|[from, to]| to - from).sum::<f64>() / 1e3,
            Self::Point(there) => f64::from(u8::from(*there)),
        }
    }

    /// What is wider or longer than a line drawn at a wall is off it ([`AT_WALL_MM`]): the rest is drawing, not site.
    pub fn without_slivers(&self) -> Self {
        match self {
            Self::Patch(patch) => Self::Patch(patch.iter().filter(|polygon| mean_width_mm(polygon) > AT_WALL_MM).cloned().collect()),
            Self::Run(stretches) => Self::Run(stretches.iter().filter(|[from, to]| to - from > AT_WALL_MM).copied().collect()),
            Self::Point(there) => Self::Point(*there),
        }
    }

    /// The same as places of the detail's face.
    pub fn places(&self, detail: &Detail) -> Vec<Place> {
        match (self, &detail.place) {
            (Self::Patch(patch), _) if !patch.is_empty() => vec![Place::Patch(patch.clone())],
            (Self::Run(stretches), Place::Run(line)) => {
                stretches.iter().map(|[from, to]| Place::Run(geometry::part_of_line(line, *from, *to))).collect()
            }
            (Self::Point(true), Place::Point(at)) => vec![Place::Point(*at)],
            _ => Vec::new(),
        }
    }

    /// Whether there is nothing of it.
    pub fn is_nothing(&self) -> bool {
        match self {
            Self::Patch(patch) => patch.is_empty(),
            Self::Run(stretches) => stretches.is_empty(),
            Self::Point(there) => !there,
        }
    }
}

/// Twice the area over the rim: the width of what is long and narrow.
fn mean_width_mm(polygon: &[Vec<PointMm>]) -> f64 {
    let rim: f64 = polygon.iter().flat_map(|ring| edges(ring)).map(|edge| edge.length_mm()).sum();
    if rim > 0.0 { 2.0 * geometry::patch_area_mm2(&[polygon.to_vec()]) / rim } else { 0.0 }
}

impl Covered {
    /// Coats that cover all of it, of the coats due.
    pub fn coats(&self) -> usize {
        self.lacks.iter().take_while(|lack| lack.without_slivers().is_nothing()).count()
    }
}

/// Area said to be coated.
#[derive(Clone, Debug, PartialEq)]
pub struct Coated {
    /// Square metres whose size is known.
    pub area_m2: f64,
    /// Details named whose area the room does not say.
    pub unknown: Vec<String>,
}

impl<'a> Cover<'a> {
    /// A room and what a log says of one of its membranes.
    pub fn new(room: &'a Room, register: &'a [Detail], claims: Vec<Claim>) -> Self {
        Self { room, unfolded: Unfolded::new(room), register, claims }
    }

    /// The coats claimed, by number, lowest first.
    pub fn numbers(&self) -> BTreeSet<u32> {
        self.claims.iter().map(|claim| claim.number).collect()
    }

    /// How far the coats cover a detail, of so many due. Where the room does not say where a detail lies, only its name
    /// covers it.
    pub fn of(&self, detail: &Detail, due: usize) -> Covered {
        let coats: Vec<Which> = self.numbers().into_iter().map(Which::Number).collect();
        self.counted(detail, due, &coats)
    }

    /// What of a detail one coat does not cover.
    pub fn lacks(&self, number: u32, detail: &Detail) -> Part {
        self.counted(detail, 1, &[Which::Number(number)]).lacks.swap_remove(0)
    }

    /// Whether a claim, by its place in the list, covers any of a detail.
    pub fn touches(&self, claim: usize, detail: &Detail) -> bool {
        let Some(said) = self.claims.get(claim) else { return false };
        if said.details.contains(&detail.id) || said.drawn.is_empty() {
            return said.details.contains(&detail.id);
        }
        let alone = self.counted(detail, 1, &[Which::Claim(claim)]);
        alone.lacks[0].size() < alone.whole.size() - TOUCH
    }

    fn counted(&self, detail: &Detail, due: usize, coats: &[Which]) -> Covered {
        match &detail.place {
            Place::Patch(patch) => {
                let whole = area(patch);
                let mut counted = Counted::new(due);
                coats.iter().for_each(|coat| counted.add(&self.on_patch(*coat, detail, &whole)));
                let lacks = counted.least.iter().map(|least| Part::Patch(rest(&whole, patch, least))).collect();
                Covered { whole: Part::Patch(patch.clone()), lacks }
            }
            Place::Run(line) => {
                let length = geometry::line_length_mm(line);
                let whole = Part::Run(if length > 0.0 { vec![[0.0, length]] } else { Vec::new() });
                Covered { whole, lacks: self.along(detail, line, due, coats).into_iter().map(Part::Run).collect() }
            }
            Place::Point(_) => {
                let probes = self.around(detail);
                let count = coats.iter().filter(|coat| self.names(**coat, detail) || self.holds(**coat, &probes)).count();
                Covered { whole: Part::Point(true), lacks: (1..=due).map(|k| Part::Point(count < k)).collect() }
            }
        }
    }

    /// Area that any of these claims (by their place in the list) coats, each place once.
    pub fn area_of_claims(&self, which: &[usize]) -> Coated {
        let mut by_face: BTreeMap<&Face, MultiPolygon<f64>> = BTreeMap::new();
        let mut unknown = Vec::new();
        for claim in which.iter().filter_map(|i| self.claims.get(*i)) {
            for detail in self.register.iter().filter(|detail| claim.details.contains(&detail.id)) {
                match surface(detail) {
                    Surface::None => {}
                    Surface::Unknown => unknown.push(detail.name.clone()),
                    Surface::Area(own) => join(by_face.entry(&detail.face).or_insert_with(nothing), &own),
                }
            }
            for (face, ring) in &claim.drawn {
                let Some(clear) = self.clear(face) else { continue };
                join(by_face.entry(face).or_insert_with(nothing), &clear.intersection(&area_of(ring)));
            }
        }
        unknown.sort();
        unknown.dedup();
        Coated { area_m2: by_face.values().map(area_mm2).sum::<f64>() / 1e6, unknown }
    }

    /// Whether two claims, by their place in the list, lie one over the other: both name a detail, or share some area.
    pub fn overlap(&self, a: usize, b: usize) -> bool {
        let (Some(one), Some(other)) = (self.claims.get(a), self.claims.get(b)) else { return false };
        let area = |which: &[usize]| self.area_of_claims(which).area_m2;
        !one.details.is_disjoint(&other.details) || area(&[a]) + area(&[b]) - area(&[a, b]) > SHARED_M2
    }

    /// For a drawing: the areas a coat covers, face by face.
    pub fn drawn(&self, number: u32) -> Vec<(Face, Patch)> {
        let mut by_face: BTreeMap<Face, MultiPolygon<f64>> = BTreeMap::new();
        for claim in self.claims_of(Which::Number(number)) {
            for detail in self.register.iter().filter(|detail| claim.details.contains(&detail.id)) {
                if let Some(own) = drawn_surface(detail) {
                    join(by_face.entry(detail.face.clone()).or_insert_with(nothing), &own);
                }
            }
            for (face, ring) in &claim.drawn {
                let Some(clear) = self.clear(face) else { continue };
                join(by_face.entry(face.clone()).or_insert_with(nothing), &clear.intersection(&area_of(ring)));
            }
        }
        by_face.into_iter().map(|(face, area)| (face, geometry::tidy(&area, &[]))).filter(|(_, patch)| !patch.is_empty()).collect()
    }

    /// A face without its openings and mouths.
    fn clear(&self, face: &Face) -> Option<MultiPolygon<f64>> {
        let rings = self.unfolded.local_rings(face)?;
        let (outline, holes) = rings.split_first()?;
        Some(holes.iter().fold(area_of(outline), |left, hole| left.difference(&area_of(hole))))
    }

    fn claims_of(&self, which: Which) -> impl Iterator<Item = &Claim> {
        let meant = move |i: usize, claim: &Claim| match which {
            Which::Number(number) => claim.number == number,
            Which::Claim(one) => i == one,
        };
        self.claims.iter().enumerate().filter(move |(i, claim)| meant(*i, claim)).map(|(_, claim)| claim)
    }

    fn names(&self, which: Which, detail: &Detail) -> bool {
        self.claims_of(which).any(|claim| claim.details.contains(&detail.id))
    }

    /// What a coat draws on a face.
    fn drawn_on(&self, which: Which, face: &Face) -> Vec<&[PointMm]> {
        let drawn = self.claims_of(which).flat_map(|claim| &claim.drawn);
        drawn.filter(|(on, _)| on == face).map(|(_, ring)| ring.as_slice()).collect()
    }

    fn on_patch(&self, which: Which, detail: &Detail, whole: &MultiPolygon<f64>) -> Share {
        if self.names(which, detail) {
            return Share::All;
        }
        let drawn = self.drawn_on(which, &detail.face);
        if drawn.is_empty() || !is_place_known(detail) {
            return Share::Nothing;
        }
        let mut all = nothing();
        drawn.iter().for_each(|ring| join(&mut all, &area_of(ring)));
        Share::Part(whole.intersection(&all))
    }
}

/// Whether the room says where a detail lies and how large it is.
fn is_place_known(detail: &Detail) -> bool {
    match detail.kind {
        DetailKind::UpturnTermination => detail.level_mm.is_some(),
        DetailKind::Penetration => detail.unknown.is_empty(),
        _ => match detail.place {
            Place::Patch(_) => detail.area_m2.is_some(),
            Place::Run(_) => detail.length_m.is_some(),
            Place::Point(_) => true,
        },
    }
}

/// The area a detail that is named adds to what was coated.
enum Surface {
    None,
    Unknown,
    Area(MultiPolygon<f64>),
}

fn surface(detail: &Detail) -> Surface {
    match drawn_surface(detail) {
        None => Surface::None,
        Some(_) if !is_place_known(detail) => Surface::Unknown,
        Some(area) => Surface::Area(area),
    }
}

/// A patch, or the strip of wall from the floor up to the upper edge of the membrane.
fn drawn_surface(detail: &Detail) -> Option<MultiPolygon<f64>> {
    match (&detail.place, detail.kind) {
        (Place::Patch(patch), _) => Some(area(patch)),
        (Place::Run(line), DetailKind::UpturnTermination) => {
            let [lo, hi] = geometry::extent(line)?;
            (hi[1] > 0.0 && hi[0] > lo[0]).then(|| area_of(&rectangle([lo[0], 0.0], hi)))
        }
        _ => None,
    }
}

/// What a coat covers of an area.
enum Share {
    All,
    Nothing,
    Part(MultiPolygon<f64>),
}

impl Share {
    fn and(&self, other: &Self) -> Self {
        match (self, other) {
            (Self::Nothing, _) | (_, Self::Nothing) => Self::Nothing,
            (Self::All, Self::All) => Self::All,
            (Self::All, Self::Part(part)) | (Self::Part(part), Self::All) => Self::Part(part.clone()),
            (Self::Part(a), Self::Part(b)) => Self::Part(a.intersection(b)),
        }
    }

    fn or(&self, other: &Self) -> Self {
        match (self, other) {
            (Self::All, _) | (_, Self::All) => Self::All,
            (Self::Nothing, Self::Nothing) => Self::Nothing,
            (Self::Nothing, Self::Part(part)) | (Self::Part(part), Self::Nothing) => Self::Part(part.clone()),
            (Self::Part(a), Self::Part(b)) => Self::Part(a.union(b)),
        }
    }
}

/// What has at least one coat, at least two, and so on.
struct Counted {
    least: Vec<Share>,
}

impl Counted {
    fn new(due: usize) -> Self {
        Self { least: (0..due).map(|_| Share::Nothing).collect() }
    }

    fn add(&mut self, coat: &Share) {
        for k in (0..self.least.len()).rev() {
            let below = if k == 0 { &Share::All } else { &self.least[k - 1] };
            self.least[k] = self.least[k].or(&below.and(coat));
        }
    }
}

/// What is left of an area.
fn rest(whole: &MultiPolygon<f64>, patch: &Patch, covered: &Share) -> Patch {
    match covered {
        Share::All => Vec::new(),
        Share::Nothing => patch.clone(),
        Share::Part(part) => geometry::tidy(&whole.difference(part), &patch.iter().flatten().flatten().copied().collect::<Vec<_>>()),
    }
}

fn nothing() -> MultiPolygon<f64> {
    MultiPolygon(Vec::new())
}

fn join(all: &mut MultiPolygon<f64>, more: &MultiPolygon<f64>) {
    *all = if all.0.is_empty() { more.union(more) } else { all.union(more) };
}

fn area(patch: &Patch) -> MultiPolygon<f64> {
    let ring = |points: &Vec<PointMm>| LineString(points.iter().map(|p| Coord { x: p[0], y: p[1] }).collect());
    let polygons = patch.iter().filter_map(|rings| {
        let (outer, holes) = rings.split_first()?;
        Some(Polygon::new(ring(outer), holes.iter().map(ring).collect()))
    });
    MultiPolygon(polygons.collect())
}
