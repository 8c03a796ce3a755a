//! Editing one level of a survey: how long until falls and ponds are there again. Aim: under 20 ms together, on one core.

use std::sync::atomic::{AtomicU32, Ordering};
use water::falls::{self, FallIn};
use water::surface::{LevelIn, OutletIn, OutletKind, SurfaceIn};
use water::{exposure, ponding};

fn main() {
    divan::main();
}

/// A room of 2.35 x 1.70 m with a return beside the door, a waste off centre, and 60 levels, one of them just edited.
fn survey(edited: f64) -> (SurfaceIn, Vec<OutletIn>) {
    let outline_mm = vec![[0.0, 0.0], [2050.0, 0.0], [2050.0, 300.0], [2350.0, 300.0], [2350.0, 1700.0], [0.0, 1700.0]];
    let level = |k: usize| {
        let (x_mm, y_mm) = (60.0 + 220.0 * (k % 10) as f64, 60.0 + 310.0 * (k / 10) as f64);
        let rough = ((k * 7919) % 13) as f64 * 0.1 - 0.6;
        let z_mm = (x_mm - 900.0).abs().max((y_mm - 800.0).abs()) / 66.0 + rough + if k == 27 { edited } else { 0.0 };
        LevelIn { x_mm, y_mm, z_mm, u_mm: Some(0.75), name: None }
    };
    let inside = |l: &LevelIn| l.x_mm < 2040.0 || l.y_mm > 310.0;
    let readings: Vec<LevelIn> =
        (0..60).map(level).filter(inside).chain([level(27)].map(|l| LevelIn { x_mm: l.x_mm + 90.0, y_mm: l.y_mm + 90.0, ..l })).collect();
    let waste = OutletIn {
        id: "w1".into(),
        kind: OutletKind::Point,
        x_mm: Some(900.0),
        y_mm: Some(800.0),
        radius_mm: Some(50.0),
        line_mm: vec![],
        width_mm: None,
    };
    (SurfaceIn { outline_mm, readings, ..SurfaceIn::default() }, vec![waste])
}

fn falls_of(edited: f64) -> falls::Input {
    let (surface, outlets) = survey(edited);
    let fall = |text: &str| Some(FallIn::Words(text.into()));
    falls::Input { surface: Some(surface), outlets, fall_min: fall("1:80"), fall_max: fall("1:50"), ..falls::Input::default() }
}

fn ponds_of(edited: f64) -> ponding::Input {
    let (surface, outlets) = survey(edited);
    ponding::Input { surface, outlets, ..ponding::Input::default() }
}

/// The figure that counts.
#[divan::bench]
fn edit_one_level_and_see_falls_and_ponds(bencher: divan::Bencher) {
    let edits = AtomicU32::new(0);
    bencher
        .with_inputs(|| {
            let edited = 0.1 * f64::from(edits.fetch_add(1, Ordering::Relaxed) % 40);
            (falls_of(edited), ponds_of(edited))
        })
        .bench_refs(|(falls, ponds)| (falls::run(falls), ponding::run(ponds)));
}

#[divan::bench]
fn falls_alone(bencher: divan::Bencher) {
    bencher.with_inputs(|| falls_of(0.5)).bench_refs(|input| falls::run(input));
}

#[divan::bench]
fn ponds_alone(bencher: divan::Bencher) {
    bencher.with_inputs(|| ponds_of(0.5)).bench_refs(|input| ponding::run(input));
}

#[divan::bench]
fn surface_alone(bencher: divan::Bencher) {
    bencher.with_inputs(|| survey(0.5).0).bench_refs(|surface| water::tin::surface(surface, None));
}

/// A shower over the same floor, twenty details along its walls.
#[divan::bench]
fn exposure_of_twenty_details(bencher: divan::Bencher) {
    let input = || {
        let (surface, outlets) = survey(0.5);
        let shower =
            exposure::ShowerIn { x_mm: 800.0, y_mm: 1200.0, height_mm: 2000.0, flow_l_min: 9.0, minutes_per_day: 20.0, spread_mm: 350.0 };
        let detail = |k: usize| exposure::DetailIn {
            id: format!("d{k}"),
            line_mm: vec![[0.0, 85.0 * k as f64], [0.0, 85.0 * (k + 1) as f64]],
            polygon_mm: vec![],
        };
        exposure::Input { surface, outlets, showers: vec![shower], details: (0..20).map(detail).collect(), ..exposure::Input::default() }
    };
    bencher.with_inputs(input).bench_refs(|input| exposure::run(input));
}
