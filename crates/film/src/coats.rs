//! Has a stratum one coat where two were due? Its readings weighed against the film of all coats and of one fewer.

use crate::likelihood::{Seen, column, step_for};
use crate::posterior::{Factor, Prior};
use measure::math;

/// Nodes of the scatter, evenly in its logarithm from 1 % to 150 %.
const NODES: usize = 40;

/// What is taken as known of coats.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Coats {
    /// Coats due, two or more.
    pub due: u32,
    /// Mean film of one coat, on the scale of the results.
    pub each_um: f64,
    /// Relative standard deviation of a stratum's mean about what its coats should give.
    pub u_share: f64,
    /// Probability that a coat is missing before anything is read.
    pub prior_short: f64,
}

/// For each stratum the probability that it is one coat short; `None` without readings.
///
/// Two hypotheses a stratum: the mean film is `due * each_um`, or `(due - 1) * each_um`, either with the relative
/// deviation `u_share` from stratum to stratum and that of `factor`; places scatter by the shared `s` of [`Prior`]. The
/// scatter is integrated over with every stratum's two hypotheses, so each learns it from all. Films unlike both count
/// for the nearer one.
pub fn prob_short(strata: &[Vec<Seen>], prior: &Prior, coats: &Coats, factor: Factor) -> Vec<Option<f64>> {
    let deviation = (math::sq(coats.u_share) + math::sq(factor.r)).sqrt();
    let expected = |count: u32| math::ln(f64::from(count) * coats.each_um) - factor.ln;
    let (ln_short, ln_full) = (math::ln(coats.prior_short), math::log1p(-coats.prior_short));
    let (from, to) = (math::ln(0.01), math::ln(1.5));
    // For each node of s: the weight of all strata together, and each stratum's share that is short.
    let mut nodes: Vec<(f64, Vec<Option<f64>>)> = Vec::with_capacity(NODES);
    for i in 0..NODES {
        let s = math::exp(from + (to - from) * i as f64 / (NODES - 1) as f64);
        let step = step_for(strata, s);
        let mut weight = -0.5 * math::sq(math::ln(s / prior.scatter) / prior.scatter_sigma());
        let short = strata
            .iter()
            .map(|readings| {
                if readings.is_empty() {
                    return None;
                }
                let column = column(readings, s, step);
                let of = |count: u32| column.ln_average(step, expected(count) - 0.5 * s * s, deviation);
                let (short, full) = (ln_short + of(coats.due - 1), ln_full + of(coats.due));
                let top = short.max(full);
                let both = top + math::ln(math::exp(short - top) + math::exp(full - top));
                weight += both;
                Some(math::exp(short - both))
            })
            .collect();
        nodes.push((weight, short));
    }
    let top = nodes.iter().map(|n| n.0).fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = nodes.iter().map(|n| math::exp(n.0 - top)).sum();
    (0..strata.len())
        .map(|j| (!strata[j].is_empty()).then(|| nodes.iter().map(|(w, short)| math::exp(w - top) / total * short[j].unwrap_or(0.0)).sum()))
        .collect()
}
