//! How fast a floor fills: four million cells, as even as screed and as rough as a raw scan, on one thread and on all.
//!
//! The items are cells: "Mitem/s" are millions of cells a second. `benches/peers` races the same work against other libraries
//! on the same bytes.

use divan::{Bencher, counter::ItemsCount};
use std::sync::LazyLock;
use water::fill::{fill_on, levels_on};
use water::grid::Grid;
use water::noise::{Field, Random};

const SIDE: usize = 2000;
static EVEN: LazyLock<Grid> = LazyLock::new(|| floor(0.0));
static ROUGH: LazyLock<Grid> = LazyLock::new(|| floor(0.3));
const THREADS: [usize; 2] = [1, 2];

fn main() {
    divan::main();
}

/// Fall 1:80 to a channel along row 0, cells of 1 mm, unevenness of 1 mm over 150 mm, dips, walls; noise from cell to cell.
fn floor(noise_mm: f64) -> Grid {
    let mut random = Random::new(42, 0);
    let mut z_mm = Field::new(SIDE, SIDE, 150.0).draw(&mut random);
    for (cell, z) in z_mm.iter_mut().enumerate() {
        *z += (cell / SIDE) as f64 / 80.0;
    }
    for _ in 0..12 {
        let [cx, cy] = [0, 1].map(|_| (0.1 + 0.8 * random.uniform()) * SIDE as f64);
        let (radius, depth) = (50.0 + 150.0 * random.uniform(), 1.5 + 3.5 * random.uniform());
        for (cell, z) in z_mm.iter_mut().enumerate() {
            let (dx, dy) = ((cell % SIDE) as f64 - cx, (cell / SIDE) as f64 - cy);
            *z -= depth * measure::math::exp(-(dx * dx + dy * dy) / (2.0 * radius * radius));
        }
    }
    for (cell, z) in z_mm.iter_mut().enumerate() {
        let (i, j) = (cell % SIDE, cell / SIDE);
        *z = match () {
            _ if j == 0 => -20.0,
            _ if j == SIDE - 1 || i == 0 || i == SIDE - 1 => 200.0,
            _ => *z + noise_mm * random.normal(),
        };
    }
    Grid { x0_mm: 0.0, y0_mm: 0.0, cell_mm: 1.0, nx: SIDE, ny: SIDE, z_mm }
}

fn run<R>(bencher: Bencher, grid: &Grid, work: impl Fn(&Grid, &[usize]) -> R + Sync) {
    let outlets: Vec<usize> = (0..SIDE).collect();
    bencher.counter(ItemsCount::new(grid.len())).bench(|| work(grid, &outlets));
}

#[divan::bench(args = THREADS, sample_count = 10, sample_size = 1)]
fn levels_even(bencher: Bencher, threads: usize) {
    run(bencher, &EVEN, |grid, outlets| levels_on(threads, grid, outlets));
}

#[divan::bench(args = THREADS, sample_count = 10, sample_size = 1)]
fn levels_rough(bencher: Bencher, threads: usize) {
    run(bencher, &ROUGH, |grid, outlets| levels_on(threads, grid, outlets));
}

#[divan::bench(args = THREADS, sample_count = 10, sample_size = 1)]
fn ponds_even(bencher: Bencher, threads: usize) {
    run(bencher, &EVEN, |grid, outlets| fill_on(threads, grid, outlets));
}

#[divan::bench(args = THREADS, sample_count = 10, sample_size = 1)]
fn ponds_rough(bencher: Bencher, threads: usize) {
    run(bencher, &ROUGH, |grid, outlets| fill_on(threads, grid, outlets));
}
