//! The floor divided into planes: the zones somebody drew, or one plane a wall around a waste and one each side of a channel.

use super::input::ZoneIn;
use super::ways::{Part, Sector, Target, Way, Ways};
use crate::plan;
use crate::surface::OutletIn;
use measure::PointMm;
use std::collections::BTreeMap;

/// A part smaller than this share of the floor, before a nib or between a waste and the wall beside it, is no plane that spot
/// levels could judge by itself; what they show there counts place by place. Common practice, no source.
const SLIVER: f64 = 0.05;

/// Walls whose directions differ by less than this (sine of 1 degree) are one wall.
const SAME_WALL: f64 = 0.0175;

/// A level this close to the edge of a plane counts for the planes on both sides: it stands on the crease.
const CREASE_MM: f64 = 5.0;

/// No plane.
pub const NO_PART: u32 = u32::MAX;

/// One part of the floor, to be judged as a plane.
#[derive(Clone, Debug)]
pub struct PartOfFloor {
    pub id: String,
    pub outlet: Option<usize>,
    pub wall_mm: Option<[PointMm; 2]>,
    /// The way it must fall, a unit vector.
    pub toward: PointMm,
    /// Whether somebody said which way it must fall.
    pub toward_given: bool,
    pub cells: usize,
    /// Too small for spot levels to judge it by itself.
    pub sliver: bool,
    /// How long the part is in the direction it must fall.
    pub length_mm: f64,
}

/// The floor divided.
pub struct Parts<'a> {
    pub parts: Vec<PartOfFloor>,
    /// Part of each cell; [`NO_PART`] outside the floor, in an outlet and outside all zones.
    pub of_cell: Vec<u32>,
    /// The way water must go at each cell, a unit vector.
    pub toward: Vec<[f32; 2]>,
    zones: &'a [ZoneIn],
    ways: &'a Ways<'a>,
    by_sector: BTreeMap<Sector, u32>,
}

impl Parts<'_> {
    /// The part a place belongs to.
    pub fn at(&self, place: PointMm) -> Option<usize> {
        if self.zones.is_empty() {
            let part = self.ways.sector(place).and_then(|s| self.by_sector.get(&s))?;
            Some(*part as usize)
        } else {
            self.zones.iter().position(|z| plan::contains(&z.polygon_mm, place))
        }
    }

    /// The way water must go from a place, and how far: to the outlet or the corner before it, or as the zone says.
    pub fn toward_from(&self, place: PointMm) -> Option<(PointMm, f64)> {
        if let Some(part) = self.at(place).map(|part| &self.parts[part]).filter(|part| part.toward_given) {
            return Some((part.toward, part.length_mm));
        }
        let way = self.ways.way(place)?;
        Some((plan::direction(place, way.to)?, plan::distance(place, way.to)))
    }

    /// The parts a reading belongs to: more than one when it stands on a crease.
    pub fn of_reading(&self, [x, y]: PointMm) -> Vec<usize> {
        let around = [[x, y], [x + CREASE_MM, y], [x - CREASE_MM, y], [x, y + CREASE_MM], [x, y - CREASE_MM]];
        let mut parts: Vec<usize> = around.into_iter().filter_map(|p| self.at(p)).collect();
        parts.sort_unstable();
        parts.dedup();
        parts
    }
}

/// A place to divide: centre, and its index among the cells.
pub type Cell = (usize, PointMm);

/// Divides the floor; `cells` are its floor cells without the outlets, `len` the size of the grid they stand on.
pub fn divide<'a>(
    cells: &[Cell],
    len: usize,
    zones: &'a [ZoneIn],
    ways: &'a Ways<'a>,
    targets: &[Target],
    outlets: &[OutletIn],
    outline: &[PointMm],
) -> Parts<'a> {
    let mut parts =
        Parts { parts: Vec::new(), of_cell: vec![NO_PART; len], toward: vec![[0.0; 2]; len], zones, ways, by_sector: BTreeMap::new() };
    let way_of: Vec<Option<Way>> = cells.iter().map(|&(_, place)| ways.way(place)).collect();
    for (&(cell, place), way) in cells.iter().zip(&way_of) {
        if let Some(d) = way.and_then(|w| plan::direction(place, w.to)) {
            parts.toward[cell] = [d[0] as f32, d[1] as f32];
        }
    }
    if zones.is_empty() {
        by_sectors(&mut parts, cells, &way_of, outlets, outline)
    } else {
        by_zones(&mut parts, cells, targets)
    }
    lengths(&mut parts, cells);
    parts
}

/// How long each part is in the direction it must fall.
fn lengths(parts: &mut Parts, cells: &[Cell]) {
    let mut spans = vec![(f64::INFINITY, f64::NEG_INFINITY); parts.parts.len()];
    for &(cell, p) in cells {
        if let Some(part) = parts.parts.get(parts.of_cell[cell] as usize) {
            let along = p[0] * part.toward[0] + p[1] * part.toward[1];
            let (lo, hi) = &mut spans[parts.of_cell[cell] as usize];
            (*lo, *hi) = (lo.min(along), hi.max(along));
        }
    }
    parts.parts.iter_mut().zip(spans).for_each(|(part, (lo, hi))| part.length_mm = (hi - lo).max(0.0));
}

fn by_zones(parts: &mut Parts, cells: &[Cell], targets: &[Target]) {
    let zones = parts.zones;
    let mut middles = vec![([0.0; 2], 0usize); zones.len()];
    for &(cell, place) in cells {
        let Some(zone) = zones.iter().position(|z| plan::contains(&z.polygon_mm, place)) else { continue };
        parts.of_cell[cell] = zone as u32;
        let (sum, n) = &mut middles[zone];
        *sum = [sum[0] + place[0], sum[1] + place[1]];
        *n += 1;
        if let Some(toward) = zones[zone].toward {
            let [x, y] = plan::unit_from_degrees(toward);
            parts.toward[cell] = [x as f32, y as f32];
        }
    }
    for (zone, ([sx, sy], n)) in zones.iter().zip(middles) {
        let corners = zone.polygon_mm.len() as f64;
        let middle = if n > 0 {
            [sx / n as f64, sy / n as f64]
        } else {
            [zone.polygon_mm.iter().map(|p| p[0]).sum::<f64>() / corners, zone.polygon_mm.iter().map(|p| p[1]).sum::<f64>() / corners]
        };
        let way = parts.ways.way(middle);
        let toward = zone.toward.map(plan::unit_from_degrees).or_else(|| {
            // Square to a channel, straight to a waste.
            let way = way?;
            let to = targets.get(way.outlet).map_or(way.to, |t| if way.round.is_some() { way.to } else { t.nearest(middle) });
            plan::direction(middle, to)
        });
        parts.parts.push(PartOfFloor {
            id: zone.id.clone(),
            outlet: way.map(|w| w.outlet),
            wall_mm: None,
            toward: toward.unwrap_or([1.0, 0.0]),
            toward_given: zone.toward.is_some(),
            cells: n,
            sliver: false,
            length_mm: 0.0,
        });
    }
}

fn by_sectors(parts: &mut Parts, cells: &[Cell], way_of: &[Option<Way>], outlets: &[OutletIn], outline: &[PointMm]) {
    let mut count: BTreeMap<Sector, (usize, PointMm)> = BTreeMap::new();
    let sectors: Vec<Option<Sector>> =
        cells.iter().zip(way_of).map(|(&(_, place), way)| way.map(|way| parts.ways.sector_on(way, place))).collect();
    for (sector, (_, place)) in sectors.iter().zip(cells) {
        if let Some(sector) = sector {
            let (n, sum) = count.entry(*sector).or_insert((0, [0.0; 2]));
            *n += 1;
            *sum = [sum[0] + place[0], sum[1] + place[1]];
        }
    }
    let joined = join(&count, outline);
    for leader in count.keys().filter(|s| joined[*s] == **s) {
        let members: Vec<&Sector> = count.keys().filter(|s| joined[*s] == *leader).collect();
        let (n, sum) = members.iter().map(|s| count[*s]).fold((0, [0.0; 2]), |(n, s), (m, t)| (n + m, [s[0] + t[0], s[1] + t[1]]));
        let middle = [sum[0] / n as f64, sum[1] / n as f64];
        let toward = parts.ways.must_fall(*leader).or_else(|| parts.ways.way(middle).and_then(|w| plan::direction(middle, w.to)));
        let id = outlets.get(leader.outlet).map_or("outlet", |o| &o.id);
        let (id, wall_mm) = match leader.part {
            Part::Wall(i) => (format!("{id}, wall {}", i + 1), Some([outline[i], outline[(i + 1) % outline.len()]])),
            Part::Side(side) => (format!("{id}, {} side", ["left", "right"][side.min(1)]), None),
            Part::Round(corner) => (format!("{id}, round corner {}", corner + 1), None),
            Part::Whole => (id.to_owned(), None),
        };
        let index = parts.parts.len() as u32;
        parts.by_sector.extend(members.iter().map(|s| (**s, index)));
        parts.parts.push(PartOfFloor {
            id,
            outlet: Some(leader.outlet),
            wall_mm,
            toward: toward.unwrap_or([1.0, 0.0]),
            toward_given: false,
            cells: n,
            sliver: (n as f64) < SLIVER * cells.len() as f64,
            length_mm: 0.0,
        });
    }
    for (sector, &(cell, _)) in sectors.iter().zip(cells) {
        if let Some(part) = sector.and_then(|s| parts.by_sector.get(&s)) {
            parts.of_cell[cell] = *part;
        }
    }
}

/// Gradient readings on a floor nobody drew belong together when they look the same way, within this cosine (30 degrees).
const SAME_WAY: f64 = 0.866;

/// Parts of a floor known only by gradient readings: one for each way they look. Also the part of each reading.
pub fn by_directions(toward: impl Iterator<Item = PointMm>) -> (Vec<PartOfFloor>, Vec<usize>) {
    let mut parts: Vec<PartOfFloor> = Vec::new();
    let of_reading = toward
        .map(|d| {
            let known = parts.iter().position(|p| p.toward[0] * d[0] + p.toward[1] * d[1] >= SAME_WAY);
            known.unwrap_or_else(|| {
                parts.push(PartOfFloor {
                    id: format!("towards {:.0}°", plan::degrees_of(d)),
                    outlet: None,
                    wall_mm: None,
                    toward: d,
                    toward_given: true,
                    cells: 0,
                    sliver: false,
                    length_mm: 0.0,
                });
                parts.len() - 1
            })
        })
        .collect();
    (parts, of_reading)
}

/// Which sector each sector is judged with: walls in one line make one plane.
fn join(count: &BTreeMap<Sector, (usize, PointMm)>, outline: &[PointMm]) -> BTreeMap<Sector, Sector> {
    let n = outline.len();
    let wall = |i: usize| plan::direction(outline[i], outline[(i + 1) % n]).unwrap_or([1.0, 0.0]);
    let mut leader: BTreeMap<Sector, Sector> = count.keys().map(|s| (*s, *s)).collect();
    for sector in count.keys() {
        let Part::Wall(i) = sector.part else { continue };
        let next = Sector { part: Part::Wall((i + 1) % n), ..*sector };
        let (a, b) = (wall(i), wall((i + 1) % n));
        if count.contains_key(&next) && (a[0] * b[1] - a[1] * b[0]).abs() < SAME_WALL && a[0] * b[0] + a[1] * b[1] > 0.0 {
            let (from, into) = (leader[&next], leader[sector]);
            leader.values_mut().filter(|l| **l == from).for_each(|l| *l = into);
        }
    }
    leader
}
