//! What more readings in a stratum would make of its verdict.
//!
//! A stratum's film is known as weights on a grid of (m, s) ([`crate::posterior`]); a further reading of that stratum
//! depends on nothing else, so each outcome it may have weighs those nodes anew, exactly, and the outcomes have the
//! probabilities the nodes give them. Summed over evenly spaced outcomes, that is how likely the verdict is to change
//! (preposterior analysis). Where several readings are still wanted they are taken as one, their mean; what their spread
//! would say of the scatter is left out. What a reading here would say of the other strata is left out too.

use crate::posterior::{Factor, Stratum};
use measure::{Decision, Verdict, math};

/// Outcomes summed over, and how far they reach, in deviations.
const OUTCOMES: usize = 33;
const REACH: f64 = 4.0;
/// Parts between two outcomes in which the verdict is taken.
const PARTS: usize = 8;
/// With less than this probability of conforming, no smaller uncertainty would make a mean conform ([`Decision`]).
pub(crate) const CLEARLY_OUTSIDE: f64 = 0.05;
/// A probability that counts for nothing.
const NOTHING: f64 = 1e-7;

/// What is asked of the stratum, and what is to be read.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Ask {
    /// Least mean.
    pub mean_um: f64,
    /// Least reading, where single readings are judged.
    pub reading_um: Option<f64>,
    /// How the mean is judged.
    pub decision: Decision,
    /// What turns readings into the film that is judged.
    pub factor: Factor,
    /// Readings taken.
    pub readings: u32,
    /// Standard uncertainty of one of them, as a share of the film.
    pub u: f64,
    /// The verdict now.
    pub verdict: Verdict,
}

/// What the readings are worth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Worth {
    /// Probability that the verdict will be another one.
    pub prob_changes: f64,
    /// Probability of taking the mean for on the wrong side of its limit, now.
    pub doubt: f64,
    /// The same after the readings, averaged over what they may show.
    pub doubt_after: f64,
}

/// A node of (m, s) with what follows at it.
struct Node {
    weight: f64,
    m: f64,
    /// Precision of the readings' mean about m, and its root.
    precision: f64,
    root: f64,
    /// Probability that the mean film reaches its limit, given the node.
    reaches: f64,
    /// The mean film.
    mean: f64,
    /// Probability that one of the readings alone falls short, given the node.
    short: f64,
}

/// Worth of more readings in one stratum.
pub(crate) fn worth(stratum: &Stratum, ask: &Ask) -> Worth {
    let nodes = nodes(stratum, ask);
    let (mut middle, mut square, mut now) = (0.0, 0.0, 0.0);
    for n in &nodes {
        middle += n.weight * n.m;
        square += n.weight * (n.m * n.m + 1.0 / n.precision);
        now += n.weight * n.reaches;
    }
    let deviation = (square - middle * middle).max(1e-12).sqrt();
    let step = 2.0 * REACH * deviation / (OUTCOMES - 1) as f64;
    let outcomes: Vec<Outcome> = (0..OUTCOMES).map(|k| Outcome::of(&nodes, middle - REACH * deviation + step * k as f64)).collect();
    // What follows is smooth between two outcomes, but the verdict jumps there.
    let between = outcomes.windows(2).flat_map(|pair| (0..PARTS).map(|i| pair[0].toward(&pair[1], (i as f64 + 0.5) / PARTS as f64)));
    let (mut total, mut changes, mut doubt_after) = (0.0, 0.0, 0.0);
    for outcome in between {
        total += outcome.density;
        changes += outcome.density * outcome.prob_other(ask);
        doubt_after += outcome.density * outcome.reaches.min(1.0 - outcome.reaches);
    }
    Worth {
        prob_changes: (changes / total).clamp(0.0, 1.0),
        doubt: now.min(1.0 - now).max(0.0),
        doubt_after: (doubt_after / total).max(0.0),
    }
}

fn nodes(stratum: &Stratum, ask: &Ask) -> Vec<Node> {
    let limit = math::ln(ask.mean_um) - ask.factor.ln;
    let count = f64::from(ask.readings);
    let mut nodes = Vec::new();
    for (weight, m, s, step) in stratum.nodes().filter(|n| n.0 > NOTHING) {
        let one = math::hypot(s, ask.u);
        let over = m + 0.5 * s * s - limit;
        let reaches = if ask.factor.r > 0.0 { math::normal_cdf(over / ask.factor.r) } else { (over / step + 0.5).clamp(0.0, 1.0) };
        let short = ask.reading_um.map_or(0.0, |least| {
            let alone = math::normal_cdf((shown_under(least, ask) - m) / one);
            1.0 - math::pow(1.0 - alone, count)
        });
        let root = count.sqrt() / one;
        nodes.push(Node { weight, m, precision: root * root, root, reaches, mean: math::exp(over) * ask.mean_um, short });
    }
    nodes
}

/// The logarithm of the reading at which a film is shown to be under a minimum.
fn shown_under(least: f64, ask: &Ask) -> f64 {
    let sure = match ask.decision {
        Decision::Guarded { risk } => -math::normal_quantile(risk) * ask.u,
        Decision::Simple { .. } => 0.0,
    };
    math::ln(least) - ask.factor.ln - sure
}

/// What is known after the readings' mean turned out as `y`.
#[derive(Clone, Copy)]
struct Outcome {
    y: f64,
    density: f64,
    reaches: f64,
    u: f64,
    short: f64,
}

impl Outcome {
    fn of(nodes: &[Node], y: f64) -> Self {
        let (mut density, mut reaches, mut mean, mut square, mut short) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for n in nodes {
            let weight = n.weight * n.root * math::exp(-0.5 * n.precision * math::sq(y - n.m));
            density += weight;
            reaches += weight * n.reaches;
            mean += weight * n.mean;
            square += weight * n.mean * n.mean;
            short += weight * n.short;
        }
        // An outcome no node allows counts for nothing, whatever it would say.
        let of = density.max(f64::MIN_POSITIVE);
        let u = (square / of - math::sq(mean / of)).max(0.0).sqrt();
        Self { y, density, reaches: (reaches / of).clamp(0.0, 1.0), u, short: short / of }
    }

    fn toward(&self, other: &Self, t: f64) -> Self {
        let mix = |a: f64, b: f64| a + t * (b - a);
        Self {
            y: mix(self.y, other.y),
            density: mix(self.density, other.density),
            reaches: mix(self.reaches, other.reaches),
            u: mix(self.u, other.u),
            short: mix(self.short, other.short),
        }
    }

    /// Probability that the verdict is another than now.
    fn prob_other(&self, ask: &Ask) -> f64 {
        // One reading tells by itself whether it falls short; of several only their mean is known here.
        let short = match ask.reading_um {
            Some(least) if ask.readings == 1 => f64::from(u8::from(self.y < shown_under(least, ask))),
            _ => self.short,
        };
        let of_mean = verdict(ask.decision, self.reaches, self.u);
        let prob_now = match ask.verdict {
            Verdict::FallsShort if of_mean == Verdict::FallsShort => 1.0,
            Verdict::FallsShort => short,
            now if of_mean == now => 1.0 - short,
            _ => 0.0,
        };
        1.0 - prob_now
    }
}

/// What the decision rule makes of a mean that reaches its limit with probability `p`.
fn verdict(decision: Decision, p: f64, u: f64) -> Verdict {
    match decision {
        Decision::Guarded { risk } if p >= 1.0 - risk => Verdict::Conforms,
        Decision::Guarded { risk } if p <= risk => Verdict::FallsShort,
        Decision::Guarded { .. } => Verdict::NotShown,
        Decision::Simple { u_max } if u > u_max && p > CLEARLY_OUTSIDE => Verdict::NotShown,
        Decision::Simple { .. } if p >= 0.5 => Verdict::Conforms,
        Decision::Simple { .. } => Verdict::FallsShort,
    }
}
