//! Points, areas, pixels and what is wrong with them.

mod common;

use common::{Floor, Random, base64};
use measure::{Problems, math};
use proptest::prelude::*;
use strokes::homography::{Homography, Pair, Refused};
use strokes::{Area, Class, Input, Output, Reference, run, run_on};

const CORNERS: [[f64; 2]; 4] = [[0.0, 0.0], [2000.0, 0.0], [2000.0, 1500.0], [0.0, 1500.0]];
/// A camera looking down slantingly; the third row makes it projective.
const CAMERA: Homography = Homography([[0.4, 0.05, 100.0], [0.02, -0.35, 900.0], [0.00002, 0.0001, 1.0]]);

fn pairs(plan: &[[f64; 2]]) -> Vec<Pair> {
    plan.iter().map(|p| Pair { px: CAMERA.at(*p).expect("before the camera"), plan_mm: *p }).collect()
}

#[test]
fn four_points_give_the_camera_back() {
    let found = Homography::px_from_plan(&pairs(&CORNERS)).unwrap();
    for (ours, theirs) in found.0.iter().flatten().zip(CAMERA.0.iter().flatten()) {
        assert!((ours - theirs).abs() < 1e-9 * theirs.abs().max(1.0), "{found:?}");
    }
}

#[test]
fn many_points_share_their_error() {
    let random = &mut Random(2);
    let plan: Vec<[f64; 2]> = (0..40).map(|_| [2000.0 * random.even(), 1500.0 * random.even()]).collect();
    let mut points = pairs(&plan);
    points.iter_mut().for_each(|p| p.px = [p.px[0] + random.normal(), p.px[1] + random.normal()]);
    let found = Homography::px_from_plan(&points).unwrap();
    for corner in CORNERS {
        let [a, b] = [found.at(corner).unwrap(), CAMERA.at(corner).unwrap()];
        assert!(math::hypot(a[0] - b[0], a[1] - b[1]) < 2.5, "{a:?} beside {b:?}");
    }
}

#[test]
fn points_that_show_nothing_are_refused() {
    let line = [[0.0, 0.0], [500.0, 500.0], [1000.0, 1000.0], [1500.0, 1500.0]];
    let nearly = [[0.0, 0.0], [500.0, 500.0], [1000.0, 1000.0], [1000.0, 0.0]];
    let twice = [CORNERS[0], CORNERS[0], CORNERS[1], CORNERS[2]];
    for plan in [line, nearly, twice, [CORNERS[0]; 4]] {
        assert_eq!(Homography::px_from_plan(&pairs(&plan)), Err(Refused::Collinear), "{plan:?}");
    }
    assert_eq!(Homography::px_from_plan(&pairs(&CORNERS[..3])), Err(Refused::TooFew));
    let mut swapped = pairs(&CORNERS);
    (swapped[0].px, swapped[1].px) = (swapped[1].px, swapped[0].px);
    assert_eq!(Homography::px_from_plan(&swapped), Err(Refused::Crossed));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]
    #[test]
    fn there_and_back_is_the_same_place(x in -500.0..2500.0_f64, y in -500.0..2000.0_f64, tilt in -1e-4..1e-4_f64, lean in -1e-4..1e-4_f64) {
        let camera = Homography([CAMERA.0[0], CAMERA.0[1], [tilt, lean, 1.0]]);
        let back = camera.inverse();
        let [u, v] = camera.at([x, y]).unwrap();
        let again = back.at([u, v]);
        // The inverse may come out with the other sign, beyond its own horizon.
        prop_assume!(again.is_some());
        let [a, b] = again.unwrap();
        prop_assert!(math::hypot(a - x, b - y) < 1e-6);
    }

    #[test]
    fn no_input_panics(width in 0_u32..40, height in 0_u32..40, points in prop::collection::vec((-50.0..50.0_f64, -50.0..50.0_f64, -300.0..300.0_f64, -300.0..300.0_f64), 0..7), tile in prop::option::of(-10.0..300.0_f64), fill in any::<u8>()) {
        let points = points.iter().map(|(a, b, c, d)| Reference { px: [*a, *b], plan_mm: [*c, *d] }).collect();
        let grey = Some(vec![fill; (width * height) as usize]);
        let input = Input { image: strokes::Picture { width, height, grey, ..strokes::Picture::default() }, points, tile_mm: tile, ..Input::default() };
        if let Err(problems) = run(&input) {
            prop_assert!(!problems.is_empty());
        }
    }
}

fn crossed() -> (Input, Vec<u8>) {
    let random = &mut Random(77);
    Floor::plain(400).coat(random, 30.0, 25.0).coat(random, 120.0, 25.0).noise(random, 3.0).input()
}

fn ok(input: &Input, bytes: &[u8]) -> Output {
    run_on(input, bytes).expect("a sound input")
}

#[test]
fn numbers_and_base64_say_the_same() {
    let (mut input, bytes) = crossed();
    let apart = ok(&input, &bytes);
    input.image.grey = Some(bytes.clone());
    assert_eq!(run(&input).unwrap(), apart);
    input.image.grey = None;
    input.image.grey_base64 = Some(base64(&bytes));
    assert_eq!(run(&input).unwrap(), apart);
}

#[test]
fn what_is_left_out_is_not_looked_at() {
    let (mut input, bytes) = crossed();
    assert!(ok(&input, &bytes).tiles.iter().all(|tile| tile.class == Class::Two));
    input.leave_out_mm = vec![vec![[-10.0, -10.0], [200.0, -10.0], [200.0, 200.0], [-10.0, 200.0]]];
    let out = ok(&input, &bytes);
    assert_eq!(out.tiles.iter().map(|tile| tile.class == Class::None).collect::<Vec<_>>(), [true, false, false, false]);
    assert_eq!(out.tiles[0].seen_share, 0.0);
    assert_eq!(out.tiles[0].from_mm, [0.0, 0.0]);
}

#[test]
fn what_lies_outside_the_photograph_is_not_seen() {
    let (mut input, bytes) = crossed();
    input.area = Some(Area { from_mm: [0.0, 0.0], to_mm: [800.0, 200.0] });
    let shares: Vec<f64> = ok(&input, &bytes).tiles.iter().map(|tile| tile.seen_share).collect();
    assert!(shares[0] > 0.9 && shares[1] > 0.9 && shares[2..] == [0.0, 0.0], "{shares:?}");
}

#[test]
fn a_slip_among_five_points_is_seen() {
    let (mut input, bytes) = crossed();
    assert!(ok(&input, &bytes).residual_rms_mm.unwrap() < 1e-6);
    input.points[4].plan_mm[0] += 100.0;
    let out = ok(&input, &bytes);
    assert!(out.residual_rms_mm.unwrap() > 20.0 && out.notes.iter().any(|note| note.contains("disagree")), "{:?}", out.notes);
    input.points.truncate(4);
    assert_eq!(ok(&input, &bytes).residual_rms_mm, None);
}

#[test]
fn a_mirrored_plan_is_said() {
    let (mut input, bytes) = crossed();
    input.points.iter_mut().for_each(|p| p.plan_mm[0] = 400.0 - p.plan_mm[0]);
    assert!(ok(&input, &bytes).notes.iter().any(|note| note.contains("mirror")));
}

#[test]
fn too_coarse_a_picture_says_go_nearer() {
    let (mut input, bytes) = crossed();
    input.points.iter_mut().for_each(|p| p.plan_mm = p.plan_mm.map(|mm| 5.0 * mm));
    assert!(ok(&input, &bytes).tiles.iter().all(|tile| tile.class == Class::None && tile.why.contains("nearer")));
}

fn wrong(change: impl Fn(&mut Input)) -> Problems {
    let (mut input, bytes) = crossed();
    input.image.grey = Some(bytes);
    change(&mut input);
    run(&input).expect_err("a slip")
}

#[test]
fn every_slip_is_named() {
    type Slip = (&'static str, fn(&mut Input));
    let slips: [Slip; 17] = [
        ("image", |i| i.image.grey = None),
        ("image.grey", |i| i.image.grey.as_mut().unwrap().truncate(99)),
        ("image", |i| i.image.grey_base64 = Some("AAAA".into())),
        ("image.file_base64", |i| (i.image.grey, i.image.file_base64) = (None, Some("?".into()))),
        ("image", |i| (i.image.grey, i.image.file_base64) = (None, Some("AAAA".into()))),
        ("image.grey_base64", |i| (i.image.grey, i.image.grey_base64) = (None, Some("?".into()))),
        ("image.width", |i| i.image.width = 3),
        ("image", |i| (i.image.width, i.image.height) = (19_999, 19_999)),
        ("points", |i| i.points.truncate(3)),
        ("points", |i| i.points.iter_mut().for_each(|p| p.plan_mm[1] = 0.0)),
        ("points[2].px", |i| i.points[2].px[0] = f64::NAN),
        ("area", |i| i.area = Some(Area { from_mm: [0.0, 0.0], to_mm: [400.0, -400.0] })),
        ("tile_mm", |i| i.tile_mm = Some(40.0)),
        ("stroke_mm", |i| i.stroke_mm = Some(0.0)),
        ("mm_per_px", |i| i.mm_per_px = Some(f64::INFINITY)),
        ("sigma_px", |i| i.sigma_px = Some(50.0)),
        ("leave_out_mm[0]", |i| i.leave_out_mm = vec![vec![[0.0, 0.0]]]),
    ];
    for (field, slip) in slips {
        let problems = wrong(slip);
        assert!(problems.problems.iter().any(|p| p.field == field && !p.right.is_empty()), "{field}: {problems}");
    }
    let both = wrong(|i| (i.image.grey, i.tile_mm, i.points) = (None, Some(-1.0), Vec::new()));
    assert!(both.problems.len() >= 3, "all at once: {both}");
}
