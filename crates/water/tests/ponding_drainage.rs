//! Which way water runs over a filled floor.

use proptest::prelude::*;
use water::fill::{NOWHERE, drainage, fill};
use water::grid::Grid;

fn grid(nx: usize, ny: usize, z_mm: Vec<f64>) -> Grid {
    Grid { x0_mm: 0.0, y0_mm: 0.0, cell_mm: 1.0, nx, ny, z_mm }
}

#[test]
fn water_leaves_a_pond_over_its_spill() {
    // Outlet, sill, a pond of two cells, a slope.
    let floor = grid(6, 1, vec![0.0, 2.0, 1.0, 1.5, 3.0, 4.0]);
    let filled = fill(&floor, &[0]);
    let run = drainage(&floor, &[0], &filled);
    assert_eq!(run.receiver, [0, 0, 1, 2, 3, 4]);
    assert_eq!(run.order, [0, 1, 2, 3, 4, 5]);
    assert_eq!(run.pond, [NOWHERE, NOWHERE, 0, 0, NOWHERE, NOWHERE]);
}

#[test]
fn steepest_way_counts_the_longer_diagonal() {
    // Down 1.0 to the side or 1.3 across the corner: the side is steeper (1.0 against 0.92).
    let floor = grid(2, 2, vec![2.0, 1.0, 9.0, 0.7]);
    let run = drainage(&floor, &[3], &fill(&floor, &[3]));
    assert_eq!(run.receiver[0], 1);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]
    #[test]
    fn every_drained_cell_follows_the_one_it_drains_to(
        nx in 1usize..20, ny in 1usize..20, heights in prop::collection::vec((0u32..6, 0u32..8), 400), at in any::<prop::sample::Index>()
    ) {
        let z = heights[..nx * ny].iter().map(|&(z, wall)| if wall == 0 { f64::NAN } else { f64::from(z) }).collect();
        let floor = grid(nx, ny, z);
        let outlet = at.index(nx * ny);
        prop_assume!(floor.is_floor(outlet));
        let filled = fill(&floor, &[outlet]);
        let run = drainage(&floor, &[outlet], &filled);
        let mut place = vec![usize::MAX; floor.len()];
        for (k, &cell) in run.order.iter().enumerate() {
            place[cell as usize] = k;
        }
        let drained = filled.level_mm.iter().filter(|z| z.is_finite()).count();
        prop_assert_eq!(run.order.len(), drained);
        for &cell in &run.order {
            let (cell, to) = (cell as usize, run.receiver[cell as usize] as usize);
            prop_assert!(cell == outlet || (place[to] < place[cell] && filled.level_mm[to] <= filled.level_mm[cell]));
            prop_assert!(cell == to || floor.neighbours(cell).any(|n| n == to));
            for other in floor.neighbours(cell).filter(|&n| filled.level_mm[n] < filled.level_mm[cell]) {
                prop_assert!(place[other] < place[cell]);
            }
        }
        for (k, pond) in filled.ponds.iter().enumerate() {
            prop_assert_eq!(run.pond.iter().filter(|&&p| p == k as u32).count(), pond.cells);
        }
    }
}
