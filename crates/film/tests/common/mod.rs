//! Films and readings drawn at random, always the same for the same seed.

#![allow(dead_code, reason = "each test and example uses some")]

pub mod coats;

use film::Seen;
use film::posterior::Prior;
use measure::math;

/// Numbers spread evenly, by SplitMix64 (Steele, Lea, Flood 2014; from memory).
pub struct Random(pub u64);

impl Random {
    pub fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn normal(&mut self) -> f64 {
        math::normal_quantile(self.uniform().clamp(1e-15, 1.0 - 1e-15))
    }
}

/// What `film` takes as known when nothing is given.
pub const PRIOR: Prior = Prior { scatter: 0.18, scatter_factor: 3.0, between: 0.25 };

/// A comb with teeth every 50 µm to 1000, then every 100.
pub fn comb(film_um: f64) -> [f64; 2] {
    let tooth = if film_um < 1000.0 { 50.0 } else { 100.0 };
    let lo = (film_um / tooth).floor() * tooth;
    [lo, lo + tooth]
}

/// How a film is read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum With {
    Gauge,
    Comb,
}

pub fn read(random: &mut Random, film_um: f64, with: With) -> Seen {
    match with {
        With::Gauge => {
            let value = (film_um + 15.0 * random.normal()).max(20.0);
            Seen::Value { ln: math::ln(value), r: 15.0 / value }
        }
        With::Comb => {
            let [lo, hi] = comb(film_um);
            Seen::Between { lo: if lo > 0.0 { math::ln(lo) } else { f64::NEG_INFINITY }, hi: math::ln(hi), r: 0.0 }
        }
    }
}

/// A room: the true middle and scatter of each stratum, and its readings.
pub struct Room {
    pub scatter: f64,
    pub middles: Vec<f64>,
    pub readings: Vec<Vec<Seen>>,
}

/// Draws scatter and strata from the prior (or the scatter as given), then readings.
pub fn room(random: &mut Random, scatter: Option<f64>, sizes: &[usize], with: With) -> Room {
    let drawn = loop {
        let s = PRIOR.scatter * math::exp(PRIOR.scatter_sigma() * random.normal());
        if (0.01..=1.5).contains(&s) {
            break s;
        }
    };
    let scatter = scatter.unwrap_or(drawn);
    let between = PRIOR.between * random.normal().abs();
    let common = math::ln(600.0 + 800.0 * random.uniform());
    let middles: Vec<f64> = sizes.iter().map(|_| common + between * random.normal()).collect();
    let readings = middles
        .iter()
        .zip(sizes)
        .map(|(m, &n)| {
            (0..n)
                .map(|_| {
                    let film = math::exp(m + scatter * random.normal());
                    read(random, film, with)
                })
                .collect()
        })
        .collect();
    Room { scatter, middles, readings }
}

/// How often an interval held the truth.
#[derive(Clone, Copy, Default)]
pub struct Hits {
    pub held: u32,
    pub of: u32,
}

impl Hits {
    pub fn add(&mut self, held: bool) {
        self.held += u32::from(held);
        self.of += 1;
    }

    pub fn share(self) -> f64 {
        f64::from(self.held) / f64::from(self.of.max(1))
    }
}

/// How often the 95 % intervals of mean and lower percentile held the truth in rooms with strata of these sizes; one pair
/// for each stratum.
pub fn cover(seed: u64, rooms: usize, scatter: Option<f64>, sizes: &[usize], with: With) -> Vec<[Hits; 2]> {
    use film::posterior::{Factor, Quantity, posterior};
    let mut random = Random(seed);
    let mut hits = vec![[Hits::default(); 2]; sizes.len()];
    let p10 = Quantity::exceeded_by(0.9);
    for _ in 0..rooms {
        let room = room(&mut random, scatter, sizes, with);
        let known = posterior(&room.readings, &PRIOR);
        for (i, stratum) in known.strata.iter().enumerate() {
            let stratum = stratum.as_ref().expect("every stratum has readings");
            let (m, s) = (room.middles[i], room.scatter);
            let z = math::normal_quantile(0.1);
            for (j, (quantity, truth)) in [(Quantity::MEAN, m + 0.5 * s * s), (p10, m + z * s)].into_iter().enumerate() {
                let above = stratum.prob_at_least(quantity, Factor::ONE, math::exp(truth));
                hits[i][j].add((0.025..=0.975).contains(&above));
            }
        }
    }
    hits
}

/// Twelve readings of a comb, each between the last wetted and the next dry tooth.
pub const COMB: [[f64; 2]; 12] = [
    [700., 800.],
    [800., 900.],
    [700., 800.],
    [900., 1000.],
    [800., 900.],
    [800., 900.],
    [600., 700.],
    [1000., 1200.],
    [800., 900.],
    [700., 800.],
    [900., 1000.],
    [800., 900.],
];
