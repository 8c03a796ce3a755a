//! The levels water stands at, against plain ways to find them.

use proptest::prelude::*;
use std::cmp::Reverse;
use std::collections::BinaryHeap;
use water::fill::{Filled, fill, fill_on, levels};
use water::grid::Grid;

fn grid(nx: usize, ny: usize, z_mm: Vec<f64>) -> Grid {
    Grid { x0_mm: 0.0, y0_mm: 0.0, cell_mm: 1.0, nx, ny, z_mm }
}

/// Levels by repetition: every cell takes the lowest level of its neighbours, but not less than its height, until nothing moves.
fn by_relaxation(grid: &Grid, outlets: &[usize]) -> Vec<f64> {
    let mut level: Vec<f64> = grid.z_mm.iter().map(|z| if z.is_nan() { f64::NAN } else { f64::INFINITY }).collect();
    for &outlet in outlets {
        level[outlet] = grid.z_mm[outlet];
    }
    loop {
        let mut moved = false;
        for cell in 0..grid.len() {
            let around = grid.neighbours(cell).map(|n| level[n]).fold(f64::INFINITY, f64::min);
            let new = around.max(grid.z_mm[cell]);
            if new < level[cell] {
                level[cell] = new;
                moved = true;
            }
        }
        if !moved {
            return level;
        }
    }
}

/// A height that orders like the number it is.
#[derive(PartialEq, Eq, PartialOrd, Ord, Clone, Copy)]
struct Height(i64);
impl From<f64> for Height {
    fn from(z: f64) -> Self {
        let bits = z.to_bits() as i64;
        Self(bits ^ ((bits >> 63) as u64 >> 1) as i64)
    }
}

/// Levels by priority-flood (Barnes, Lehman, Mulla 2014, algorithm 1), the outlets in the queue first.
fn by_priority_flood(grid: &Grid, outlets: &[usize]) -> Vec<f64> {
    let mut level: Vec<f64> = grid.z_mm.iter().map(|z| if z.is_nan() { f64::NAN } else { f64::INFINITY }).collect();
    let mut queue: BinaryHeap<Reverse<(Height, usize)>> = outlets.iter().map(|&o| Reverse((Height::from(grid.z_mm[o]), o))).collect();
    for &outlet in outlets {
        level[outlet] = grid.z_mm[outlet];
    }
    while let Some(Reverse((_, cell))) = queue.pop() {
        let z = level[cell];
        for n in grid.neighbours(cell) {
            if level[n] == f64::INFINITY {
                level[n] = grid.z_mm[n].max(z);
                queue.push(Reverse((level[n].into(), n)));
            }
        }
    }
    level
}

/// Ponds by searching: neighbouring cells under water; (level, cells, sum of depths, deepest).
fn ponds_by_search(grid: &Grid, level: &[f64]) -> Vec<(f64, usize, f64, usize)> {
    let wet = |c: usize| level[c].is_finite() && level[c] > grid.z_mm[c];
    let mut seen = vec![false; grid.len()];
    let mut ponds = Vec::new();
    for start in 0..grid.len() {
        if seen[start] || !wet(start) {
            continue;
        }
        let mut members = vec![start];
        seen[start] = true;
        let mut k = 0;
        while k < members.len() {
            for n in grid.neighbours(members[k]) {
                if wet(n) && !seen[n] {
                    assert_eq!(level[n], level[start], "one pond, one level");
                    seen[n] = true;
                    members.push(n);
                }
            }
            k += 1;
        }
        let deepest =
            *members.iter().min_by(|&&a, &&b| grid.z_mm[a].total_cmp(&grid.z_mm[b]).then(a.cmp(&b))).expect("a pond has a first cell");
        let sum = members.iter().map(|&c| level[c] - grid.z_mm[c]).sum();
        ponds.push((level[start], members.len(), sum, deepest));
    }
    ponds.sort_by(|a, b| (b.0 - grid.z_mm[b.3]).total_cmp(&(a.0 - grid.z_mm[a.3])).then(a.3.cmp(&b.3)));
    ponds
}

fn same(a: &[f64], b: &[f64]) -> bool {
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| a == b || (a.is_nan() && b.is_nan()))
}

/// Levels, ponds and undrained cells agree with the plain ways.
fn check(grid: &Grid, outlets: &[usize], filled: &Filled) -> Result<(), String> {
    let expected = by_priority_flood(grid, outlets);
    if !same(&filled.level_mm, &expected) {
        return Err(format!("{grid:?} {outlets:?}\n got {:?}\nwant {expected:?}", filled.level_mm));
    }
    let ponds = ponds_by_search(grid, &expected);
    let found: Vec<_> = filled.ponds.iter().map(|p| (p.level_mm, p.cells, p.deepest)).collect();
    let wanted: Vec<_> = ponds.iter().map(|p| (p.0, p.1, p.3)).collect();
    if found != wanted {
        return Err(format!("{grid:?} {outlets:?}\n got {found:?}\nwant {wanted:?}"));
    }
    for (found, wanted) in filled.ponds.iter().zip(&ponds) {
        if (found.depth_sum_mm - wanted.2).abs() > 1e-9 * wanted.2 {
            return Err(format!("volume {} is not {}", found.depth_sum_mm, wanted.2));
        }
        if grid.z_mm[found.spill] != found.level_mm || found.depth_mm != found.level_mm - grid.z_mm[found.deepest] {
            return Err(format!("{grid:?} {outlets:?}: spill and depth of {found:?}"));
        }
    }
    let undrained = expected.iter().filter(|z| z.is_infinite()).count();
    if undrained != filled.undrained { Err(format!("undrained {} is not {undrained}", filled.undrained)) } else { Ok(()) }
}

#[test]
fn all_three_by_three_floors_fill_as_by_brute_force() {
    let mut floor = grid(3, 3, vec![0.0; 9]);
    for code in 0..4_u32.pow(9) {
        for (k, z) in floor.z_mm.iter_mut().enumerate() {
            *z = f64::from(code >> (2 * k) & 3);
        }
        for outlets in [[4].as_slice(), &[0]] {
            let filled = fill(&floor, outlets);
            assert!(same(&filled.level_mm, &by_relaxation(&floor, outlets)), "{:?} from {outlets:?}", floor.z_mm);
            check(&floor, outlets, &filled).unwrap();
        }
    }
}

#[test]
fn checker_sees_one_basin_a_step_too_high() {
    let floor = grid(5, 1, vec![0.0, 3.0, 1.0, 4.0, 2.0]);
    let mut filled = fill(&floor, &[0]);
    assert_eq!(check(&floor, &[0], &filled), Ok(()));
    filled.level_mm[4] += 1e-12 * 4.0;
    assert!(check(&floor, &[0], &filled).is_err());
    let mut filled = fill(&floor, &[0]);
    filled.ponds[0].depth_sum_mm *= 1.0 + 1e-8;
    assert!(check(&floor, &[0], &filled).is_err());
}

/// Heights with many equal ones, some outside, and outlets anywhere on the floor.
fn floors() -> impl Strategy<Value = (Grid, Vec<usize>)> {
    (1usize..50, 1usize..40, 1u32..30, 0u32..5).prop_flat_map(|(nx, ny, steps, walls)| {
        let heights = prop::collection::vec((0..steps, 0u32..10), nx * ny);
        let outlets = prop::collection::vec(any::<prop::sample::Index>(), 0..4);
        (heights, outlets).prop_map(move |(heights, outlets)| {
            let z: Vec<f64> = heights.iter().map(|&(z, wall)| if wall < walls { f64::NAN } else { f64::from(z) * 0.37 - 2.0 }).collect();
            let outlets = outlets.iter().map(|o| o.index(nx * ny)).filter(|&o| !z[o].is_nan()).collect();
            (grid(nx, ny, z), outlets)
        })
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 600, ..ProptestConfig::default() })]
    #[test]
    fn random_floors_fill_as_by_priority_flood((floor, outlets) in floors()) {
        prop_assert_eq!(check(&floor, &outlets, &fill(&floor, &outlets)), Ok(()));
        prop_assert!(same(&levels(&floor, &outlets), &by_priority_flood(&floor, &outlets)));
    }
}

/// A repeatable stream of numbers in 0..1.
fn random(seed: u64) -> impl FnMut() -> f64 {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    move || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1u64 << 53) as f64
    }
}

/// A floor large enough for several strips: a gentle fall, waves, noise, a few walls.
fn large_floor(nx: usize, ny: usize, noise: f64, seed: u64) -> (Grid, Vec<usize>) {
    let mut next = random(seed);
    let z = (0..nx * ny)
        .map(|c| {
            let (x, y) = ((c % nx) as f64, (c / nx) as f64);
            let wave = ((x * 0.013).sin_wave() + (y * 0.017).sin_wave()) * 2.0;
            if next() < 0.002 { f64::NAN } else { y / 80.0 + wave + noise * (next() - 0.5) }
        })
        .collect();
    let floor = grid(nx, ny, z);
    let outlets = (0..5).map(|_| (next() * (nx * ny) as f64) as usize).filter(|&o| floor.is_floor(o)).collect();
    (floor, outlets)
}

trait Wave {
    fn sin_wave(self) -> f64;
}
impl Wave for f64 {
    /// A smooth wave of period 1, without the functions the engine forbids.
    fn sin_wave(self) -> f64 {
        let t = self - self.floor();
        16.0 * t * t * (1.0 - t) * (1.0 - t)
    }
}

#[test]
fn floor_of_several_strips_fills_as_by_priority_flood_on_any_number_of_threads() {
    for (noise, seed) in [(0.0, 1), (0.02, 2), (3.0, 3)] {
        let (floor, outlets) = large_floor(1100, 900, noise, seed);
        let one = fill_on(1, &floor, &outlets);
        check(&floor, &outlets, &one).unwrap();
        for threads in [2, 3, 8] {
            let many = fill_on(threads, &floor, &outlets);
            assert!(same(&one.level_mm, &many.level_mm));
            assert_eq!((&one.ponds, one.undrained), (&many.ponds, many.undrained));
        }
    }
}

#[test]
fn floor_without_outlet_fills_to_no_level() {
    let floor = grid(3, 1, vec![1.0, f64::NAN, 2.0]);
    let filled = fill(&floor, &[0]);
    assert_eq!((filled.level_mm[0], filled.level_mm[2]), (1.0, f64::INFINITY));
    assert!(filled.level_mm[1].is_nan() && filled.ponds.is_empty());
    assert_eq!(filled.undrained, 1);
    assert_eq!(fill(&floor, &[]).undrained, 2);
}

#[test]
fn one_cell_and_none() {
    assert_eq!(fill(&grid(1, 1, vec![4.0]), &[0]).level_mm, [4.0]);
    assert_eq!(fill(&grid(1, 1, vec![4.0]), &[]).undrained, 1);
    assert!(fill(&grid(0, 0, vec![]), &[]).level_mm.is_empty());
    assert!(fill(&grid(1, 1, vec![f64::NAN]), &[]).level_mm[0].is_nan());
}

#[test]
fn raised_outlet_stands_in_its_own_puddle() {
    // The waste stands 2 mm proud of the floor around it.
    let filled = fill(&grid(5, 1, vec![1.0, 0.0, 2.0, 0.5, 3.0]), &[2]);
    assert_eq!(filled.level_mm, [2.0, 2.0, 2.0, 2.0, 3.0]);
    assert_eq!(filled.ponds.iter().map(|p| (p.cells, p.depth_mm)).collect::<Vec<_>>(), [(2, 2.0), (1, 1.5)]);
}

#[test]
fn level_cells_that_touch_only_at_corners_drain_together() {
    // A level path through walls, over a corner at both ends of a block of cells with one side in common.
    let mut z = vec![f64::NAN; 19 * 5];
    for cell in [19 + 18, 2 * 19 + 15, 2 * 19 + 16, 2 * 19 + 17, 3 * 19 + 18] {
        z[cell] = -2.0;
    }
    let floor = grid(19, 5, z);
    for outlet in [19 + 18, 2 * 19 + 15, 3 * 19 + 18] {
        assert_eq!(check(&floor, &[outlet], &fill(&floor, &[outlet])), Ok(()));
    }
}
