//! How long an answer takes. `cargo xtask bench film`.

#[path = "../tests/common/mod.rs"]
mod common;

use common::{Random, comb};
use film::thickness::{CoatsDue, Input, Kind, Reading, run};
use measure::math;

fn main() {
    divan::main();
}

/// A room of sixty readings in five strata, half by comb.
fn room(kind: Kind) -> Input {
    let mut random = Random(4);
    let names = ["field", "upturn", "recess", "water stop", "step"];
    let readings = (0..60)
        .map(|i| {
            let film = 900.0 * math::exp(0.15 * random.normal());
            let stratum = names[i % 5].to_string();
            if kind == Kind::Wet {
                let [lo, hi] = comb(film);
                Reading { stratum, lo_um: Some(lo), hi_um: Some(hi), ..Reading::default() }
            } else {
                Reading { stratum, value_um: Some(film), u_um: Some(15.0), ..Reading::default() }
            }
        })
        .collect();
    let coats = Some(CoatsDue { due: 2, each_um: 450.0, u_share: None, prior_short: None });
    Input { kind, limit_um: 800.0, readings, coats, ..Input::default() }
}

/// The aim is under 30 ms.
#[divan::bench]
fn sixty_comb_readings_in_five_strata(bencher: divan::Bencher) {
    let input = room(Kind::Wet);
    bencher.bench(|| run(divan::black_box(&input)));
}

/// The same by gauge.
#[divan::bench]
fn sixty_gauge_readings_in_five_strata(bencher: divan::Bencher) {
    let input = room(Kind::Dry);
    bencher.bench(|| run(divan::black_box(&input)));
}
