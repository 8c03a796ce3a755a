//! How often the 95 % intervals of `film` hold the truth, and how well `prob_one_coat_short` is calibrated.
//!
//! `cargo run --release -p film --example calibration [ROOMS]` (2,000 rooms a line unless given; some minutes).

#[path = "../tests/common/mod.rs"]
mod common;

use common::{With, cover};

fn main() {
    let rooms = std::env::args().nth(1).and_then(|n| n.parse().ok()).unwrap_or(2_000);
    println!("share of 95 % intervals that hold the truth, {rooms} rooms a line");
    println!("{:<28} {:>6} {:>9} {:>7} {:>7}", "strata", "read", "scatter", "mean", "p10");
    for sizes in [vec![3], vec![5], vec![10], vec![30], vec![3, 3, 5, 10, 30], vec![3; 5], vec![30; 3]] {
        for with in [With::Gauge, With::Comb] {
            for scatter in [None, Some(0.08), Some(0.15), Some(0.30)] {
                let hits = cover(7, rooms, scatter, &sizes, with);
                let words = scatter.map_or_else(|| "prior".to_string(), |s| format!("{:.0} %", s * 100.0));
                let mut by_size: Vec<(usize, [common::Hits; 2])> = Vec::new();
                for (&n, hit) in sizes.iter().zip(&hits) {
                    match by_size.iter_mut().find(|(size, _)| *size == n) {
                        Some((_, sum)) => (0..2).for_each(|j| {
                            sum[j].held += hit[j].held;
                            sum[j].of += hit[j].of;
                        }),
                        None => by_size.push((n, *hit)),
                    }
                }
                for (n, [mean, p10]) in by_size {
                    let name = format!("{n} of {sizes:?}");
                    println!("{name:<28} {:>6} {words:>9} {:>7.4} {:>7.4}", format!("{with:?}"), mean.share(), p10.share());
                }
            }
        }
    }
    println!("\nprobability of a missing coat against how often one was missing");
    println!("{:>12} {:>9} {:>9} {:>9}", "said", "mean said", "was so", "strata");
    for bin in common::coats::calibration(11, rooms * 5) {
        println!("{:>12} {:>9.4} {:>9.4} {:>9}", bin.words(), bin.said(), bin.was(), bin.of);
    }
}
