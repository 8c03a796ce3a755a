//! How long an answer takes. `cargo xtask bench film`.

#[path = "../tests/common/mod.rs"]
mod common;

use common::{Random, comb};
use film::map;
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

/// Seeded readings over 5 by 5 m.
fn scan(readings: usize, across: usize) -> map::Input {
    let mut random = Random(9);
    let readings = (0..readings)
        .map(|_| {
            let (x_mm, y_mm) = (5000.0 * random.uniform(), 5000.0 * random.uniform());
            let value = 1.0 + 0.15 * math::sin(x_mm / 800.0) + 0.1 * math::cos(y_mm / 600.0) + 0.05 * random.normal();
            map::Reading { x_mm, y_mm, value, face: None }
        })
        .collect();
    let at = (0..across * across)
        .map(|i| map::Place::Plain([i % across, i / across].map(|k| 5000.0 * k as f64 / (across - 1) as f64)))
        .collect();
    let model = map::Model { kind: map::Kind::Exponential, sill: 0.04, range_mm: 1000.0, nugget: 0.0025 };
    map::Input {
        readings,
        model: map::ModelGiven::Given(model),
        at,
        nugget_is: map::NuggetIs::Error,
        fit_kind: None,
        seams: Vec::new(),
        neighbours: None,
        limit: None,
    }
}

/// The aim is under 0.8 s (8.8 us a place); a general library's time stands beside it in `tests/peers/kriging.py`.
#[divan::bench(sample_count = 5)]
fn five_hundred_readings_to_ninety_thousand_places(bencher: divan::Bencher) {
    let input = scan(500, 300);
    bencher.bench(|| map::run(divan::black_box(&input)));
}

/// From 64 neighbours each.
#[divan::bench(sample_count = 3)]
fn ten_thousand_readings_to_ten_thousand_places(bencher: divan::Bencher) {
    let input = scan(10_000, 100);
    bencher.bench(|| map::run(divan::black_box(&input)));
}
