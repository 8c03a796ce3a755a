//! Many places at once: the covariances of a strip of places with all readings, solved against the factor in registers.
//!
//! One strip is `W` places wide and the factor is worked off `R` rows at a time, so that the inner loop does `R W` products
//! for `R + W` loads. Every product and sum of a place stands in the same order whatever `R` and `W` are and however wide
//! the machine's registers, and none is fused: every machine gives the same digits. On x86-64 the widest registers there
//! are used.

use super::{Estimate, Kind, Kriging, NuggetIs, SAME_PLACE};
use std::ops::Range;

/// Where distances come from.
pub(super) enum Distances<'a> {
    /// Straight lines on a plane.
    Plane { readings: &'a [[f64; 2]], places: &'a [[f64; 2]] },
    /// Some other way, from place and reading.
    Given(&'a (dyn Fn(usize, usize) -> f64 + Sync)),
}

/// How wide the machine's registers are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Width {
    Plain,
    #[cfg(target_arch = "x86_64")]
    Avx2,
    #[cfg(target_arch = "x86_64")]
    Avx512,
}

impl Width {
    fn here() -> Self {
        #[cfg(target_arch = "x86_64")]
        {
            if std::arch::is_x86_feature_detected!("avx512f") {
                return Self::Avx512;
            }
            if std::arch::is_x86_feature_detected!("avx2") {
                return Self::Avx2;
            }
        }
        Self::Plain
    }

    /// Rows of the factor taken together.
    fn rows(self) -> usize {
        match self {
            Self::Plain => 4,
            #[cfg(target_arch = "x86_64")]
            Self::Avx2 => 4,
            #[cfg(target_arch = "x86_64")]
            Self::Avx512 => 10,
        }
    }
}

/// The factor, laid out in the order it is used: for each block of rows, column by column, then the block's own triangle
/// with the diagonal inverted. Rows are filled up to whole blocks with those of the identity.
pub(super) struct Packed {
    width: Width,
    readings: usize,
    rows: usize,
    data: Vec<f64>,
}

impl Packed {
    pub fn new(factor: &[f64], n: usize) -> Self {
        Self::with_width(factor, n, Width::here())
    }

    fn with_width(factor: &[f64], n: usize, width: Width) -> Self {
        let r = width.rows();
        let rows = n.div_ceil(r) * r;
        let at = |i: usize, j: usize| {
            if i < n && j < n { factor[i * n + j] } else { f64::from(u8::from(i == j)) }
        };
        let mut data = Vec::with_capacity(rows * (rows + r) / 2);
        for block in (0..rows).step_by(r) {
            for k in 0..block {
                data.extend((block..block + r).map(|i| at(i, k)));
            }
            for i in block..block + r {
                data.extend((block..block + r).map(|j| {
                    if j < i {
                        at(i, j)
                    } else if j == i {
                        1.0 / at(i, i)
                    } else {
                        0.0
                    }
                }));
            }
        }
        Self { width, readings: n, rows, data }
    }

    pub fn rows(&self) -> usize {
        self.rows
    }

    /// Estimates at all places.
    pub fn estimate(&self, kriging: &Kriging, distances: Distances, count: usize) -> Vec<Estimate> {
        #[cfg(feature = "threads")]
        if let Some(parts) = parts(count) {
            return std::thread::scope(|scope| {
                let part = |places: Range<usize>| scope.spawn(|| self.range(kriging, &distances, places));
                let running: Vec<_> = parts.into_iter().map(part).collect();
                running.into_iter().flat_map(|part| part.join().expect("a part panics only where the whole would")).collect()
            });
        }
        self.range(kriging, &distances, 0..count)
    }

    fn range(&self, kriging: &Kriging, distances: &Distances, places: Range<usize>) -> Vec<Estimate> {
        match self.width {
            Width::Plain => all_strips::<4, 4>(self, kriging, distances, places),
            #[cfg(target_arch = "x86_64")]
            #[expect(unsafe_code, reason = "the feature was found on this machine when the factor was packed")]
            // SAFETY: `Width::here` names a width only where the machine has it.
            Width::Avx2 => unsafe { wide::avx2(self, kriging, distances, places) },
            #[cfg(target_arch = "x86_64")]
            #[expect(unsafe_code, reason = "the feature was found on this machine when the factor was packed")]
            // SAFETY: as above.
            Width::Avx512 => unsafe { wide::avx512(self, kriging, distances, places) },
        }
    }
}

/// Equal parts of many places, one for each thread the machine runs at once; none where it is not worth one.
#[cfg(feature = "threads")]
fn parts(count: usize) -> Option<Vec<Range<usize>>> {
    let threads = std::thread::available_parallelism().map_or(1, |n| n.get()).min(count / 1_000);
    (threads > 1).then(|| (0..threads).map(|i| count * i / threads..count * (i + 1) / threads).collect())
}

/// The same code, compiled once for each width.
#[cfg(target_arch = "x86_64")]
mod wide {
    use super::*;

    #[target_feature(enable = "avx2")]
    pub(super) fn avx2(packed: &Packed, kriging: &Kriging, distances: &Distances, places: Range<usize>) -> Vec<Estimate> {
        all_strips::<4, 8>(packed, kriging, distances, places)
    }

    #[target_feature(enable = "avx512f")]
    pub(super) fn avx512(packed: &Packed, kriging: &Kriging, distances: &Distances, places: Range<usize>) -> Vec<Estimate> {
        all_strips::<10, 8>(packed, kriging, distances, places)
    }
}

#[inline(always)]
fn all_strips<const R: usize, const W: usize>(
    packed: &Packed,
    kriging: &Kriging,
    distances: &Distances,
    places: Range<usize>,
) -> Vec<Estimate> {
    let mut strip = vec![[0.0; W]; packed.rows];
    let mut out = Vec::with_capacity(places.len());
    for first in places.clone().step_by(W) {
        let lanes = W.min(places.end - first);
        fill(&mut strip[..packed.readings], distances, first, lanes);
        covariances(&mut strip[..packed.readings], kriging);
        strip[packed.readings..].fill([0.0; W]);
        solve::<R, W>(&packed.data, &mut strip);
        out.extend(sums(&strip, kriging).into_iter().take(lanes));
    }
    out
}

/// Distances of a strip's places from every reading; lanes beyond the last place repeat it.
#[inline(always)]
fn fill<const W: usize>(strip: &mut [[f64; W]], distances: &Distances, first: usize, lanes: usize) {
    let place = |w: usize| first + w.min(lanes - 1);
    match distances {
        Distances::Plane { readings, places } => {
            let (mut x, mut y) = ([0.0; W], [0.0; W]);
            for w in 0..W {
                [x[w], y[w]] = places[place(w)];
            }
            for (row, [rx, ry]) in strip.iter_mut().zip(*readings) {
                for w in 0..W {
                    let (dx, dy) = (x[w] - rx, y[w] - ry);
                    row[w] = (dx * dx + dy * dy).sqrt();
                }
            }
        }
        Distances::Given(distance) => {
            for (i, row) in strip.iter_mut().enumerate() {
                for (w, h) in row.iter_mut().enumerate() {
                    *h = distance(place(w), i);
                }
            }
        }
    }
}

/// Distances become covariances, in place.
#[inline(always)]
fn covariances<const W: usize>(strip: &mut [[f64; W]], kriging: &Kriging) {
    let model = kriging.model;
    let (sill, per_range) = (model.sill, 1.0 / model.range);
    let at_reading = if kriging.nugget_is == NuggetIs::Field { model.nugget } else { 0.0 };
    let each = |x: &mut f64, fading: f64, h: f64| *x = sill * fading + if h <= SAME_PLACE { at_reading } else { 0.0 };
    match model.kind {
        Kind::Spherical => {
            for x in strip.as_flattened_mut() {
                let h = *x * per_range;
                each(x, if h < 1.0 { 1.0 - h * (1.5 - 0.5 * h * h) } else { 0.0 }, h);
            }
        }
        Kind::Exponential => {
            for x in strip.as_flattened_mut() {
                let h = *x * per_range;
                each(x, exp_negative(-3.0 * h), h);
            }
        }
    }
}

/// `L^-1` times the strip, in place.
///
/// The sums of a block must stay in registers: with more than 80 of them the compiler gives up and the loop is thirty times
/// slower.
#[inline(always)]
fn solve<const R: usize, const W: usize>(mut data: &[f64], strip: &mut [[f64; W]]) {
    for block in (0..strip.len()).step_by(R) {
        let (done, rest) = strip.split_at_mut(block);
        let (columns, after) = data.split_at(block * R);
        let (triangle, after) = after.split_at(R * R);
        let Some(rest) = rest.first_chunk_mut::<R>() else { return };
        let mut sums = *rest;
        for (column, v) in columns.as_chunks::<R>().0.iter().zip(done.iter()) {
            for (sum, l) in sums.iter_mut().zip(column) {
                for w in 0..W {
                    sum[w] -= l * v[w];
                }
            }
        }
        *rest = sums;
        for i in 0..R {
            let (known, own) = rest.split_at_mut(i);
            let own = &mut own[0];
            for (known, l) in known.iter().zip(&triangle[i * R..]) {
                for w in 0..W {
                    own[w] -= l * known[w];
                }
            }
            own.iter_mut().for_each(|x| *x *= triangle[i * R + i]);
        }
        data = after;
    }
}

/// Value and variance of each lane.
#[inline(always)]
fn sums<const W: usize>(strip: &[[f64; W]], kriging: &Kriging) -> [Estimate; W] {
    let (mut vv, mut va, mut vr) = ([0.0; W], [0.0; W], [0.0; W]);
    for ((v, a), r) in strip.iter().zip(&kriging.ones).zip(&kriging.residuals) {
        for w in 0..W {
            vv[w] += v[w] * v[w];
            va[w] += v[w] * a;
            vr[w] += v[w] * r;
        }
    }
    let at_rest = kriging.model.at_rest(kriging.nugget_is);
    std::array::from_fn(|w| {
        let unknown_mean = (1.0 - va[w]) * (1.0 - va[w]) / kriging.ones2;
        Estimate { value: kriging.mean + vr[w], variance: (at_rest - vv[w] + unknown_mean).max(0.0) }
    })
}

/// `exp(x)` for `x <= 0` with plain products and sums only, so that many can be taken at once; within two units in the last
/// place of the libm crate's. `x` below -700 counts as -700.
///
/// `2^n exp(r)` with `r = x - n ln 2`, |r| < 0.35, by the first terms of the series of exp.
#[inline(always)]
pub(crate) fn exp_negative(x: f64) -> f64 {
    /// Adding it rounds to a whole number, kept in the lowest bits.
    const ROUNDER: f64 = 6_755_399_441_055_744.0;
    const LN_2_HIGH: f64 = 0.693_147_180_369_123_8;
    const LN_2_LOW: f64 = 1.908_214_929_270_587_7e-10;
    let x = if x < -700.0 { -700.0 } else { x };
    let rounded = x * std::f64::consts::LOG2_E + ROUNDER;
    let n = rounded - ROUNDER;
    let r = (x - n * LN_2_HIGH) - n * LN_2_LOW;
    let mut sum = 1.0 / 479_001_600.0;
    for term in [
        1.0 / 39_916_800.0,
        1.0 / 3_628_800.0,
        1.0 / 362_880.0,
        1.0 / 40_320.0,
        1.0 / 5_040.0,
        1.0 / 720.0,
        1.0 / 120.0,
        1.0 / 24.0,
        1.0 / 6.0,
        0.5,
        1.0,
        1.0,
    ] {
        sum = sum * r + term;
    }
    let power = f64::from_bits((rounded.to_bits() << 52).wrapping_add(1023 << 52));
    sum * power
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kriging::{Model, factor_in_place};

    #[test]
    fn exp_agrees_with_libm() {
        for i in 0..=70_000 {
            let x = -f64::from(i) * 0.01;
            let (own, libm) = (exp_negative(x), measure::math::exp(x));
            assert!((own - libm).abs() <= 5e-16 * libm, "{x}: {own} {libm}");
        }
        assert_eq!(exp_negative(0.0), 1.0);
        assert!(exp_negative(f64::NEG_INFINITY) < 1e-303);
    }

    /// Every width the machine has gives the same bits as none.
    #[test]
    fn every_width_gives_the_same_digits() {
        let at = |i: usize| [((i * 37) % 101) as f64, ((i * 53) % 97) as f64];
        let readings: Vec<[f64; 2]> = (0..61).map(at).collect();
        let places: Vec<[f64; 2]> = (0..45).map(|i| [at(i + 7)[1] + 0.5, at(i)[0]]).collect();
        let values: Vec<f64> = (0..61).map(|i| ((i * 29) % 17) as f64).collect();
        for kind in [Kind::Spherical, Kind::Exponential] {
            let model = Model { kind, sill: 2.0, range: 60.0, nugget: 0.1 };
            let distance = |i: usize, j: usize| measure::math::hypot(readings[i][0] - readings[j][0], readings[i][1] - readings[j][1]);
            let mut factor: Vec<f64> = (0..61 * 61)
                .map(|k| model.covariance(distance(k / 61, k % 61)) + if k / 61 == k % 61 { model.nugget } else { 0.0 })
                .collect();
            factor_in_place(&mut factor, 61).unwrap();
            let mut kriging = Kriging::from_factor(&factor, &values, model, NuggetIs::Error, 0.0);
            let own = kriging.on_plane(&readings, &places);
            kriging.packed = Packed::with_width(&factor, 61, Width::Plain);
            assert_eq!(kriging.on_plane(&readings, &places), own);
            #[cfg(target_arch = "x86_64")]
            if std::arch::is_x86_feature_detected!("avx2") {
                kriging.packed = Packed::with_width(&factor, 61, Width::Avx2);
                assert_eq!(kriging.on_plane(&readings, &places), own);
            }
        }
    }
}
