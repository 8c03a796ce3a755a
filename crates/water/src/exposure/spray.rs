//! Where the water of a rose lands.

use super::{ShowerIn, WallOut};
use crate::grid::Grid;
use crate::plan;
use crate::surface::floor_cell_at;
use measure::PointMm;
use measure::math::sq;
use std::collections::BTreeMap;

/// A rose's spread is laid out on at least so many places across its radius, at most one a cell.
const PLACES: f64 = 100.0;
/// Walls are reported in pieces no longer than this.
const PIECE_MM: f64 = 300.0;

/// What one shower does in a day.
pub struct Spray {
    /// Litres that come to each floor cell from the air or down a wall.
    pub landed: Vec<(usize, f64)>,
    /// What hit walls and screens.
    pub hits: Vec<Hit>,
}

/// Water on a wall or screen.
pub struct Hit {
    /// Which wall, or which piece of which screen.
    pub on: On,
    /// Distance along it from its first end.
    pub along_mm: f64,
    pub height_mm: f64,
    pub litres: f64,
}

/// What stands in the way of the spray.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum On {
    /// A wall, by its first corner.
    Wall(usize),
    /// A screen and which piece of its line.
    Screen(usize, usize),
}

/// Spreads the water of a shower over the floor, and over what stands in its way.
pub fn spray(grid: &Grid, walls: &[PointMm], screens: &[&[PointMm]], shower: &ShowerIn) -> Spray {
    let rose = [shower.x_mm, shower.y_mm];
    let below = floor_cell_at(grid, rose).expect("a rose over the floor was asked for");
    let litres = shower.flow_l_min * shower.minutes_per_day;
    let barriers = barriers(walls, screens);
    let places = places(grid, rose, shower.spread_mm);
    let weight: f64 = places.iter().map(|p| p.1).sum();
    let mut spray = Spray { landed: Vec::new(), hits: Vec::new() };
    if weight <= 0.0 {
        spray.landed.push((below, litres));
        return spray;
    }
    for (place, w) in places {
        let part = litres * w / weight;
        let cell = match first_in_the_way(&barriers, rose, place) {
            None => grid.cell_at(place).filter(|&c| grid.is_floor(c)).or_else(|| back_to_floor(grid, place, rose)),
            Some((t, on, along_mm)) => {
                spray.hits.push(Hit { on, along_mm, height_mm: shower.height_mm * (1.0 - t), litres: part });
                let foot = [rose[0] + t * (place[0] - rose[0]), rose[1] + t * (place[1] - rose[1])];
                back_to_floor(grid, foot, rose)
            }
        };
        spray.landed.push((cell.unwrap_or(below), part));
    }
    spray
}

/// Places under a rose with the weight of the water that lands there: a bell that ends at the spread.
fn places(grid: &Grid, rose: PointMm, spread: f64) -> Vec<(PointMm, f64)> {
    let step = grid.cell_mm.max(spread / PLACES);
    // On the cells' own centres, so that a cell is hit once, or a lattice through them when cells are finer.
    let first = |v: f64, origin: f64| ((v - spread - origin) / step).ceil() as i64;
    let last = |v: f64, origin: f64| ((v + spread - origin) / step).floor() as i64;
    let mut places = Vec::new();
    for j in first(rose[1], grid.y0_mm)..=last(rose[1], grid.y0_mm) {
        for i in first(rose[0], grid.x0_mm)..=last(rose[0], grid.x0_mm) {
            let p = [grid.x0_mm + i as f64 * step, grid.y0_mm + j as f64 * step];
            let r2 = (sq(p[0] - rose[0]) + sq(p[1] - rose[1])) / sq(spread);
            if r2 < 1.0 {
                places.push((p, sq(1.0 - r2)));
            }
        }
    }
    places
}

type Barrier = (On, PointMm, PointMm);

fn barriers(walls: &[PointMm], screens: &[&[PointMm]]) -> Vec<Barrier> {
    let of_walls = plan::edges(walls).enumerate().map(|(i, (a, b))| (On::Wall(i), a, b));
    let of_screens =
        screens.iter().enumerate().flat_map(|(s, line)| line.windows(2).enumerate().map(move |(k, w)| (On::Screen(s, k), w[0], w[1])));
    of_walls.chain(of_screens).collect()
}

/// The first barrier on the way from the rose: how far along the way (0 to 1), which, and where on it.
fn first_in_the_way(barriers: &[Barrier], rose: PointMm, place: PointMm) -> Option<(f64, On, f64)> {
    let (dx, dy) = (place[0] - rose[0], place[1] - rose[1]);
    barriers
        .iter()
        .filter_map(|&(on, a, b)| {
            let (ex, ey) = (b[0] - a[0], b[1] - a[1]);
            let cross = dx * ey - dy * ex;
            if cross == 0.0 {
                return None;
            }
            let (wx, wy) = (a[0] - rose[0], a[1] - rose[1]);
            let (t, s) = ((wx * ey - wy * ex) / cross, (wx * dy - wy * dx) / cross);
            // A rose that points at a wall is not stopped by that wall.
            let met = t > 1e-9 && t < 1.0 && (-1e-9..=1.0 + 1e-9).contains(&s);
            met.then(|| (t, on, s.clamp(0.0, 1.0) * (ex * ex + ey * ey).sqrt()))
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))
}

/// The floor cell at the foot of what was hit, on the side of the rose: the first one on the way back to it.
fn back_to_floor(grid: &Grid, foot: PointMm, rose: PointMm) -> Option<usize> {
    let length = plan::distance(foot, rose);
    let steps = (length / (grid.cell_mm / 4.0)).ceil() as usize;
    (1..=steps).find_map(|k| {
        let t = (k as f64 * grid.cell_mm / 4.0 / length).min(1.0);
        grid.cell_at([foot[0] + t * (rose[0] - foot[0]), foot[1] + t * (rose[1] - foot[1])]).filter(|&c| grid.is_floor(c))
    })
}

/// What hit each piece of wall and screen.
pub fn pieces(sprays: &[Spray], walls: &[PointMm], screens: &[&[PointMm]]) -> Vec<WallOut> {
    let line = |on: On| match on {
        On::Wall(i) => (walls[i], walls[(i + 1) % walls.len()]),
        On::Screen(s, k) => (screens[s][k], screens[s][k + 1]),
    };
    let mut sums: BTreeMap<(On, usize), (f64, f64, f64)> = BTreeMap::new();
    for hit in sprays.iter().flat_map(|s| &s.hits) {
        let (a, b) = line(hit.on);
        let count = (plan::distance(a, b) / PIECE_MM).ceil().max(1.0);
        let piece = (hit.along_mm / plan::distance(a, b) * count).floor().clamp(0.0, count - 1.0) as usize;
        let (litres, low, high) = sums.entry((hit.on, piece)).or_insert((0.0, f64::INFINITY, 0.0));
        *litres += hit.litres;
        *low = low.min(hit.height_mm);
        *high = high.max(hit.height_mm);
    }
    sums.into_iter()
        .map(|((on, piece), (litres_per_day, height_from_mm, height_mm))| {
            let (a, b) = line(on);
            let count = (plan::distance(a, b) / PIECE_MM).ceil().max(1.0);
            let at = |k: f64| [a[0] + (b[0] - a[0]) * k / count, a[1] + (b[1] - a[1]) * k / count];
            let screen = match on {
                On::Wall(_) => None,
                On::Screen(s, _) => Some(s),
            };
            WallOut { from_mm: at(piece as f64), to_mm: at(piece as f64 + 1.0), litres_per_day, height_from_mm, height_mm, screen }
        })
        .collect()
}
