//! Strata with and without their second coat.

use super::{PRIOR, Random, With, read};
use film::posterior::Factor;
use film::{Coats, prob_short};
use measure::math;

pub const COATS: Coats = Coats { due: 2, each_um: 500.0, u_share: 0.15, prior_short: 0.1 };

/// Strata that were given about the same probability of a missing coat.
#[derive(Clone, Copy, Default)]
pub struct Bin {
    pub from: f64,
    pub to: f64,
    pub of: u32,
    sum: f64,
    short: u32,
}

impl Bin {
    pub fn words(&self) -> String {
        format!("{}-{}", self.from, self.to)
    }

    pub fn said(&self) -> f64 {
        self.sum / f64::from(self.of.max(1))
    }

    pub fn was(&self) -> f64 {
        f64::from(self.short) / f64::from(self.of.max(1))
    }
}

/// Draws rooms of four strata with 1 to 10 readings and sorts what is said of each by how sure it is.
pub fn calibration(seed: u64, rooms: usize) -> Vec<Bin> {
    let edges = [0.0, 0.02, 0.05, 0.2, 0.5, 0.8, 0.95, 1.0];
    let mut bins: Vec<Bin> = edges.windows(2).map(|e| Bin { from: e[0], to: e[1], ..Bin::default() }).collect();
    let mut random = Random(seed);
    for round in 0..rooms {
        let scatter = (PRIOR.scatter * math::exp(PRIOR.scatter_sigma() * random.normal())).clamp(0.01, 1.5);
        let with = if round % 2 == 0 { With::Gauge } else { With::Comb };
        let mut short = Vec::new();
        let strata: Vec<Vec<film::Seen>> = [1, 3, 5, 10]
            .iter()
            .map(|&n| {
                let missing = random.uniform() < COATS.prior_short;
                short.push(missing);
                let coats = if missing { COATS.due - 1 } else { COATS.due };
                let mean = math::ln(f64::from(coats) * COATS.each_um) + COATS.u_share * random.normal();
                let middle = mean - 0.5 * scatter * scatter;
                (0..n)
                    .map(|_| {
                        let film = math::exp(middle + scatter * random.normal());
                        read(&mut random, film, with)
                    })
                    .collect()
            })
            .collect();
        for (said, was) in prob_short(&strata, &PRIOR, &COATS, Factor::ONE).into_iter().zip(short) {
            let said = said.expect("every stratum has readings");
            let bin = bins.iter_mut().find(|b| said <= b.to).expect("the last bin ends at 1");
            bin.of += 1;
            bin.sum += said;
            bin.short += u32::from(was);
        }
    }
    bins
}
