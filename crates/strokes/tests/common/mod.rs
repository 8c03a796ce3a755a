//! Rendered floors with known strokes, and a small generator of numbers.
#![allow(dead_code)]

use measure::math;
use strokes::{Area, Input, Picture, Reference};

/// Seeded numbers (SplitMix64; Steele, Lea and Flood 2014).
pub struct Random(pub u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Between 0 and 1.
    pub fn even(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Standard normal.
    pub fn normal(&mut self) -> f64 {
        (-2.0 * math::ln(1.0 - self.even())).sqrt() * math::cos(std::f64::consts::TAU * self.even())
    }
}

/// Grey on a square of the plan, one cell a millimetre, rows up the plan.
#[derive(Clone)]
pub struct Floor {
    pub side: usize,
    pub grey: Vec<f64>,
}

impl Floor {
    pub fn plain(side: usize) -> Self {
        Self { side, grey: vec![120.0; side * side] }
    }

    /// Ridges left by a coat laid along `deg`: fine lines a few millimetres apart, of random height, each some hundred
    /// millimetres long and wandering by about two degrees.
    pub fn coat(mut self, random: &mut Random, deg: f64, height: f64) -> Self {
        let side = self.side as f64;
        let ridges = (side * side / 300.0) as usize;
        for _ in 0..ridges {
            let turn = (deg + 2.0 * random.normal()).to_radians();
            let (cos, sin) = (math::cos(turn), math::sin(turn));
            let [x, y] = [random.even() * side, random.even() * side];
            let (long, high) = (30.0 + 60.0 * random.even(), height * (0.5 + random.even()));
            self.ridge([x, y], [cos, sin], long, high);
        }
        self
    }

    /// One ridge of a width of about 2 mm: bright on one side, dark on the other, as under slanting light.
    fn ridge(&mut self, [x, y]: [f64; 2], [cos, sin]: [f64; 2], long: f64, high: f64) {
        let reach = long * 0.5 + 5.0;
        let range = |at: f64| ((at - reach).max(0.0) as usize)..((at + reach).clamp(0.0, self.side as f64) as usize);
        for row in range(y) {
            for column in range(x) {
                let (dx, dy) = (column as f64 - x, row as f64 - y);
                let (along, across) = (dx * cos + dy * sin, dy * cos - dx * sin);
                if along.abs() < 0.5 * long && across.abs() < 5.0 {
                    let fade = 1.0 - (2.0 * along / long) * (2.0 * along / long);
                    self.grey[row * self.side + column] += high * fade * across * math::exp(0.5 - 0.5 * across * across);
                }
            }
        }
    }

    pub fn noise(mut self, random: &mut Random, sigma: f64) -> Self {
        self.grey.iter_mut().for_each(|grey| *grey += sigma * random.normal());
        self
    }

    /// Adds a function of the place.
    pub fn light(mut self, f: impl Fn(f64, f64) -> f64) -> Self {
        for row in 0..self.side {
            for column in 0..self.side {
                self.grey[row * self.side + column] += f(column as f64, row as f64);
            }
        }
        self
    }

    /// Out of focus: three passes of a running mean, nearly a Gaussian.
    pub fn blurred(mut self, reach: usize) -> Self {
        for _ in 0..3 {
            self.grey = smooth(&self.grey, self.side, reach);
            self.grey = smooth(&self.grey, self.side, reach);
        }
        self
    }

    /// As bytes, top row first as a photograph has it.
    pub fn bytes(&self) -> Vec<u8> {
        self.grey.chunks_exact(self.side).rev().flatten().map(|grey| (grey + 0.5).clamp(0.0, 255.0) as u8).collect()
    }

    /// Photographed from straight above, a millimetre a pixel.
    pub fn input(&self) -> (Input, Vec<u8>) {
        let last = self.side as f64;
        let point = |x: f64, y: f64| Reference { px: [x - 0.5, last - y - 0.5], plan_mm: [x, y] };
        let points = vec![point(0.0, 0.0), point(last, 0.0), point(last, last), point(0.0, last), point(0.4 * last, 0.3 * last)];
        (
            Input {
                image: Picture { width: self.side as u32, height: self.side as u32, ..Picture::default() },
                points,
                ..Input::default()
            },
            self.bytes(),
        )
    }

    /// Photographed askew: `px` are the corners' pixels, from the lower left anticlockwise.
    pub fn askew(&self, width: usize, height: usize, px: [[f64; 2]; 4]) -> (Input, Vec<u8>) {
        let last = self.side as f64;
        let plan = [[0.0, 0.0], [last, 0.0], [last, last], [0.0, last]];
        let points: Vec<Reference> = (0..4).map(|i| Reference { px: px[i], plan_mm: plan[i] }).collect();
        let pairs: Vec<_> = points.iter().map(|p| strokes::homography::Pair { px: p.px, plan_mm: p.plan_mm }).collect();
        let plan_from_px = strokes::homography::Homography::px_from_plan(&pairs).expect("corners of a camera").inverse();
        let grey = |i: usize| {
            let at = plan_from_px.at([(i % width) as f64, (i / width) as f64]);
            let inside = at.filter(|p| p.iter().all(|v| *v >= 0.5 && *v < last - 1.5));
            inside.map_or(60.0, |[x, y]| self.between(x - 0.5, y - 0.5))
        };
        let bytes = (0..width * height).map(|i| (grey(i) + 0.5).clamp(0.0, 255.0) as u8).collect();
        let area = Some(Area { from_mm: [20.0, 20.0], to_mm: [last - 20.0, last - 20.0] });
        (
            Input { image: Picture { width: width as u32, height: height as u32, ..Picture::default() }, points, area, ..Input::default() },
            bytes,
        )
    }

    fn between(&self, x: f64, y: f64) -> f64 {
        let (column, row) = (x as usize, y as usize);
        let (fx, fy) = (x - column as f64, y - row as f64);
        let at = |r: usize, c: usize| self.grey[r * self.side + c];
        (at(row, column) * (1.0 - fx) + at(row, column + 1) * fx) * (1.0 - fy)
            + (at(row + 1, column) * (1.0 - fx) + at(row + 1, column + 1) * fx) * fy
    }
}

/// A running mean along the rows, and the picture turned over its diagonal.
fn smooth(grey: &[f64], side: usize, reach: usize) -> Vec<f64> {
    let mut out = vec![0.0; side * side];
    for row in 0..side {
        for column in 0..side {
            let span = column.saturating_sub(reach)..(column + reach + 1).min(side);
            let n = span.len() as f64;
            out[column * side + row] = grey[row * side..(row + 1) * side][span].iter().sum::<f64>() / n;
        }
    }
    out
}

/// Degrees between two directions, which have no sign.
pub fn turned(a: f64, b: f64) -> f64 {
    let turn = (a - b).rem_euclid(180.0);
    turn.min(180.0 - turn)
}

/// Bytes in base64 (RFC 4648, section 4), without padding.
pub fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let three = |chunk: &[u8]| (0..3).fold(0_usize, |sum, i| sum << 8 | usize::from(chunk.get(i).copied().unwrap_or(0)));
    let four = |chunk: &[u8]| (0..=chunk.len()).map(|i| char::from(LETTERS[three(chunk) >> (18 - 6 * i) & 63])).collect::<String>();
    bytes.chunks(3).map(four).collect()
}
