//! One, two or no direction in a tile, and why.

use crate::mixture::{self, Component, Fit};
use crate::tiles::{BINS, Sums, middle_of};
use measure::math;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::f64::consts::{PI, TAU};

/// What the marks in a tile say.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Class {
    /// Marks run one way, and marks a third as strong across them would have been seen. It does not say that there is one coat
    /// only: a second one laid the same way, or fainter still, looks the same.
    #[serde(rename = "one direction")]
    One,
    /// Marks run two ways, as when a second coat is laid across the first. A net of other lines as fine as marks and
    /// uneven, such as cracks or a torn fabric, looks the same.
    #[serde(rename = "two directions")]
    Two,
    /// Nothing can be said: flat, blurred, glaring, hidden, a few strong lines, lines at even distances, marks every way, or one
    /// way without ruling out a fainter other.
    #[serde(rename = "no direction")]
    None,
}

/// One way the marks run.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Direction {
    /// Along the marks: degrees on the plan from x to the right, turning towards y, 0 to 180.
    pub direction_deg: f64,
    /// Share of the marks' energy that runs this way.
    pub share: f64,
    /// How far marks of this direction scatter about it, standard deviation in degrees.
    pub scatter_deg: f64,
}

/// One tile of the picture.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Tile {
    /// Column, from 0 at the left of the plan.
    pub column: usize,
    /// Row, from 0 at the bottom of the plan.
    pub row: usize,
    /// Lower left corner on the plan, millimetres.
    pub from_mm: [f64; 2],
    /// Upper right corner.
    pub to_mm: [f64; 2],
    /// One, two or no direction.
    pub class: Class,
    /// Why, in one line.
    pub why: String,
    /// The directions found, the stronger first; none, one or two.
    pub directions: Vec<Direction>,
    /// Coherence of the tile's summed tensor, 0 to 1: near 1 where all marks run one way.
    pub coherence: f64,
    /// Energy-weighted mean length of the doubled angles: near 0 where two directions cross squarely. A mean direction is not
    /// given: between two directions it means nothing.
    pub r2: f64,
    /// The same of the quadrupled angles: high for one direction and for two that cross squarely, low for texture.
    pub r4: f64,
    /// Energy of changes along the marks as a share of that across them: what a second coat across the first, or noise, adds.
    pub across: f64,
    /// Its standard uncertainty; absent where it has none.
    pub u_across: Option<f64>,
    /// Independent looks, one a stroke's width: what the classes were decided with.
    pub n_effective: f64,
    /// Share of the tile in which something stands out, by blocks one stroke wide: low for a few strong lines.
    pub filled_share: f64,
    /// How far grey differs from its surroundings, root mean square, in levels of 0 to 255.
    pub contrast: f64,
    /// Typical distance from mark to mark, millimetres; absent where nothing stands out. Below some ten pixels it reads long.
    pub period_mm: Option<f64>,
    /// Share of the tile that could be looked at.
    pub seen_share: f64,
}

// What a tile must show before it is given a direction. All are our own choices, tried on rendered strokes and on textures
// without strokes (tests/confusion.rs); no source.

/// Less than this share seen: hidden.
const SEEN: f64 = 0.5;
/// Fainter than this many grey levels: flat. A camera's own steps come to half a level.
const CONTRAST: f64 = 1.5;
/// Fewer pixels across a stroke's width: too coarse.
const STROKE_PX: f64 = 5.5;
/// Fewer marks than one in this many strokes' widths: blurred.
const PERIOD_STROKES: f64 = 0.75;
/// Less of the tile filled: a few strong lines, such as tile joints, an edge of shadow or a tape. Strokes come to 0.9.
const FILLED: f64 = 0.8;
/// A block is filled from this share of the mean energy on.
const FILLED_FROM: f64 = 0.2;
/// Marks of a hand wander by a few degrees; all of them straighter than this are ruled: small tiles, boards, a fabric.
const RULED_DEG: f64 = 1.8;
/// Fewer looks: too small a tile.
const LOOKS: f64 = 12.0;
/// Doubled angles less concentrated than this (a scatter of some 13 degrees) are a broad preference, no direction.
const KAPPA: f64 = 5.0;
/// A second preference as broad as this forbids to claim one direction.
const KAPPA_DOUBT: f64 = 2.0;
/// A share of energy smaller than this is no direction of its own.
const SHARE: f64 = 0.06;
/// All directions together.
const SHARES: f64 = 0.3;
/// One direction is claimed where, with 95 % confidence, less than this share of energy lies across it. A second coat a third as
/// high as the first, crossing it by 60 degrees, adds 1/9 of 3/4, that is 0.083; at 90 degrees 0.111.
const ACROSS: f64 = 0.07;
/// Quantile of the standard normal distribution for 95 % on one side.
const SURE: f64 = 1.645;
/// Two directions nearer than this cannot be told from one that wanders, degrees.
const APART_DEG: f64 = 25.0;

/// How large the cells are.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Scale {
    pub mm_per_px: f64,
    pub stroke_mm: f64,
}

/// What a tile says; place and corners are filled in by the caller.
pub(crate) fn tile(sums: &Sums, scale: Scale) -> Tile {
    let seen = sums.seen as f64;
    let seen_share = if sums.cells > 0 { seen / sums.cells as f64 } else { 0.0 };
    let n_effective = sums.n_effective();
    let mut tile = Tile {
        column: 0,
        row: 0,
        from_mm: [0.0; 2],
        to_mm: [0.0; 2],
        class: Class::None,
        why: String::new(),
        directions: Vec::new(),
        coherence: sums.coherence(),
        r2: sums.r2(),
        r4: sums.r4(),
        across: sums.across().0,
        u_across: Some(sums.across().1).filter(|u| u.is_finite()),
        n_effective,
        filled_share: filled_share(sums, seen_share),
        contrast: if seen > 0.0 { (sums.squares / seen).sqrt() } else { 0.0 },
        period_mm: period_px(sums).map(|px| px * scale.mm_per_px),
        seen_share,
    };
    match unfit(&tile, scale) {
        Some(why) => tile.why = why,
        None => judge(&mut tile, sums),
    }
    tile
}

/// From the mean squared wave number, `sum |grad f|^2 / sum f^2`; a Sobel derivative is eight times the slope.
fn period_px(sums: &Sums) -> Option<f64> {
    let slopes = sums.energy() / 64.0;
    (slopes > 0.0).then(|| TAU * (sums.squares / slopes).sqrt())
}

/// Share of the blocks that could be seen with a fair part of the mean energy.
fn filled_share(sums: &Sums, seen_share: f64) -> f64 {
    let blocks = sums.blocks.len() as f64;
    let mean = sums.energy() / blocks / seen_share.max(1e-9);
    let filled = sums.energies().filter(|energy| *energy > 0.0 && *energy >= FILLED_FROM * mean).count();
    (filled as f64 / blocks / seen_share.max(1e-9)).min(1.0)
}

/// Why a tile cannot be judged at all.
fn unfit(tile: &Tile, scale: Scale) -> Option<String> {
    let stroke_px = scale.stroke_mm / scale.mm_per_px;
    if tile.seen_share < SEEN {
        return Some(format!("only {:.0} % of it can be seen: glare, hidden, or outside the photograph", 100.0 * tile.seen_share));
    }
    if stroke_px < STROKE_PX {
        return Some(format!("too coarse: {stroke_px:.1} pixels to a stroke's width, {STROKE_PX} are needed; go nearer"));
    }
    if tile.contrast < CONTRAST {
        return Some(format!("no marks stand out: {:.1} grey levels", tile.contrast));
    }
    if tile.period_mm.is_none_or(|period| period > PERIOD_STROKES * scale.stroke_mm) {
        return Some("blurred: nothing as fine as marks is in it".into());
    }
    if tile.filled_share < FILLED {
        return Some("a few strong lines, not marks all over: a joint, an edge of shadow, a tape".into());
    }
    (tile.n_effective < LOOKS).then(|| format!("{:.0} independent looks are too few", tile.n_effective))
}

/// Chooses between no, one and two directions by the Bayesian information criterion (Schwarz 1978), each look counted once.
fn judge(tile: &mut Tile, sums: &Sums) {
    let total: f64 = sums.histogram.iter().sum();
    let looks = sums.histogram.map(|energy| energy / total * tile.n_effective);
    let doubled: [f64; BINS] = std::array::from_fn(middle_of);
    let cost = |fit: &Fit, numbers: f64| numbers * math::ln(tile.n_effective) - 2.0 * fit.log_likelihood;
    let none = 2.0 * tile.n_effective * math::ln(TAU);
    let one = mixture::fit(&doubled, &looks, &[start(peak(&looks, None))], 0.3);
    let two = two(&doubled, &looks);
    let (cost_one, cost_two) = (cost(&one, 3.0), cost(&two, 6.0));
    if cost_two < cost_one.min(none) && sound(&two, KAPPA) && apart_deg(&two) >= APART_DEG {
        tile.class = Class::Two;
        tile.directions = directions(&two);
        tile.why = format!("marks run two ways, {:.0} degrees apart", apart_deg(&two));
    } else if cost_one < none && sound(&one, KAPPA) && !second(&two) {
        if tile.u_across.is_some_and(|u| tile.across + SURE * u < ACROSS) {
            tile.class = Class::One;
            tile.directions = directions(&one);
            tile.why = "marks run one way; a second coat laid the same way, or less than a third as strong, would look the same".into();
        } else {
            tile.why = "marks run one way, but fainter ones across them cannot be ruled out".into();
        }
    } else {
        tile.why = "marks run every way, or too few agree".into();
    }
    if !tile.directions.is_empty() && tile.directions.iter().all(|d| d.scatter_deg < RULED_DEG) {
        no_direction(tile, "straighter than a hand draws: small tiles, boards, a fabric".into());
    }
}

/// Takes the directions away again.
fn no_direction(tile: &mut Tile, why: String) {
    tile.class = Class::None;
    tile.directions.clear();
    tile.why = why;
}

/// A tile whose directions are those of lines at even distances has none; `distance_mm` looks for such lines along a direction.
pub(crate) fn without_ruled(tile: &mut Tile, distance_mm: impl Fn(f64) -> Option<f64>) {
    if let Some(mm) = tile.directions.iter().find_map(|found| distance_mm(found.direction_deg)) {
        no_direction(tile, format!("lines at even distances of {mm:.0} mm: joints, boards, a fabric"));
    }
}

/// Whether directions are sharp and strong enough to be called so.
fn sound(fit: &Fit, kappa: f64) -> bool {
    let strong = |c: &Component| c.kappa >= kappa && c.weight >= SHARE;
    fit.components.iter().all(strong) && fit.components.iter().map(|c| c.weight).sum::<f64>() >= SHARES
}

/// Whether a second direction may be there although the looks do not decide it, or it is broad: then one must not be claimed.
fn second(two: &Fit) -> bool {
    sound(two, KAPPA_DOUBT) && apart_deg(two) >= APART_DEG
}

/// Two directions from the likelier of two starts: square to the strongest, and the two strongest.
fn two(doubled: &[f64], looks: &[f64]) -> Fit {
    let first = peak(looks, None);
    let starts = [(first + PI) % TAU, peak(looks, Some(first))];
    let [a, b] = starts.map(|second| mixture::fit(doubled, looks, &[start(first), start(second)], 0.3));
    if a.log_likelihood >= b.log_likelihood { a } else { b }
}

fn start(doubled: f64) -> Component {
    Component { weight: 0.35, doubled, kappa: 5.0 }
}

/// Doubled angle where most lies within five bins, away from `not` by more than the least angle between two directions.
fn peak(looks: &[f64], not: Option<f64>) -> f64 {
    let near = |bin: usize| (0..5).map(|k| looks[(bin + BINS + k - 2) % BINS]).sum::<f64>();
    let away = |bin: usize| not.is_none_or(|not| turn(middle_of(bin), not) > 2.0 * APART_DEG.to_radians());
    let best = (0..BINS).filter(|bin| away(*bin)).max_by(|a, b| near(*a).total_cmp(&near(*b)));
    middle_of(best.expect("at most a third of the bins is left out"))
}

/// Between two angles on the circle, 0 to pi.
fn turn(a: f64, b: f64) -> f64 {
    let turn = (a - b).rem_euclid(TAU);
    turn.min(TAU - turn)
}

fn apart_deg(two: &Fit) -> f64 {
    (0.5 * turn(two.components[0].doubled, two.components[1].doubled)).to_degrees()
}

/// Marks run square to the gradient.
fn directions(fit: &Fit) -> Vec<Direction> {
    let of = |c: &Component| Direction {
        direction_deg: ((0.5 * c.doubled).to_degrees() + 90.0).rem_euclid(180.0),
        share: c.weight,
        scatter_deg: (0.5 * (1.0 / c.kappa).sqrt()).to_degrees(),
    };
    let mut directions: Vec<Direction> = fit.components.iter().map(of).collect();
    directions.sort_by(|a, b| b.share.total_cmp(&a.share));
    directions
}
