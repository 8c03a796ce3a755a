//! What readings say of the film of each stratum, all strata looked at together.
//!
//! On the scale of logarithms, because a film cannot be negative and its scatter grows with its thickness, so that one
//! scatter serves a thin stratum and a thick one (on the twelve comb brackets of the tests the lognormal fits slightly
//! better than the normal: log-likelihood -17.28 against -17.38, SciPy):
//!
//! * a place of stratum i has film `exp(t)`, `t ~ N(m_i, s^2)`, the scatter `s` shared by all strata;
//! * the strata's `m_i ~ N(M, tau^2)`; M flat, so that a single stratum is pulled nowhere;
//! * `ln s ~ N`, `tau` half-normal ([`Prior`]).
//!
//! Everything is integrated by quadrature over (s, tau, M, m_i): no random numbers, the same digits everywhere. The step
//! in m follows the sharpest stratum, and steps in s are laid anew over where the probability is.

use crate::likelihood::{Column, LN_FILM, Seen, column, step_for};
use crate::pooling::Pooling;
use measure::math;

/// Least and largest scatter considered: a film rolled or trowelled on is never evener than 1 %.
const SCATTER: [f64; 2] = [0.01, 1.5];
/// Nodes in s: a first look over the whole range, then over where the probability is.
const FIRST_LOOK: usize = 16;
const NODES: usize = 20;
/// Nodes in tau, evenly spread in its logarithm.
const BETWEEN_NODES: usize = 12;
const BETWEEN: [f64; 2] = [0.015, 1.2];

/// What is taken as known before any reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Prior {
    /// Middle of the scatter from place to place, relative.
    pub scatter: f64,
    /// The scatter lies within this factor of its middle with 90 % probability.
    pub scatter_factor: f64,
    /// Typical difference between strata, relative.
    pub between: f64,
}

impl Prior {
    /// Standard deviation of ln s.
    pub fn scatter_sigma(&self) -> f64 {
        math::ln(self.scatter_factor) / 1.6448536269514722
    }

    /// Logarithm of the density of ln s, up to a constant.
    fn ln_scatter(&self, s: f64) -> f64 {
        -0.5 * math::sq(math::ln(s / self.scatter) / self.scatter_sigma())
    }
}

/// A density of m at one scatter, straight from node to node.
struct Slice {
    weight: f64,
    s: f64,
    from: f64,
    step: f64,
    /// Density at each node, times the step, summing to 1.
    density: Vec<f64>,
    /// Probability below each node.
    below: Vec<f64>,
}

impl Slice {
    /// From a density on the steps from `first` on.
    fn new(weight: f64, s: f64, first: i64, step: f64, density: &[f64]) -> Self {
        // An end that the range of films cuts off lies half a step out; a density of zero there closes it.
        let padded: Vec<f64> = std::iter::once(0.0).chain(density.iter().copied()).chain([0.0]).collect();
        let total: f64 = padded.iter().sum();
        let density: Vec<f64> = padded.iter().map(|d| if total > 0.0 { d / total } else { 0.0 }).collect();
        let mut sum = 0.0;
        let below = (0..density.len())
            .map(|k| {
                sum += if k > 0 { 0.5 * (density[k - 1] + density[k]) } else { 0.0 };
                sum
            })
            .collect();
        Self { weight, s, from: (first as f64 - 1.0) * step, step, density, below }
    }

    fn cdf(&self, m: f64) -> f64 {
        let at = (m - self.from) / self.step;
        if at <= 0.0 {
            return 0.0;
        }
        let k = at as usize;
        if k + 1 >= self.below.len() {
            return 1.0;
        }
        let t = at - k as f64;
        self.below[k] + t * (self.density[k] + 0.5 * t * (self.density[k + 1] - self.density[k]))
    }

    /// Nodes three times as dense, each with its density up to a factor.
    fn thirds(&self) -> Vec<(f64, f64)> {
        let inner = self.density.windows(3).enumerate().filter(|(_, d)| d[1] > 1e-12);
        let fine = inner.flat_map(|(k, d)| {
            // A step so steep lies in a tail, or where the range of films cuts the density off.
            let [before, here, after] = [d[0], d[1], d[2]].map(|near| math::ln(near.max(0.05 * d[1])));
            let (slope, bend) = (0.5 * (after - before), after - 2.0 * here + before);
            let middle = self.from + (k + 1) as f64 * self.step;
            [-1.0 / 3.0, 0.0, 1.0 / 3.0].map(|t| (middle + t * self.step, math::exp(here + t * slope + 0.5 * t * t * bend)))
        });
        fine.collect()
    }

    /// Nodes with their probability.
    fn nodes(&self) -> impl Iterator<Item = (f64, f64)> {
        self.density.iter().enumerate().map(|(k, d)| (self.from + k as f64 * self.step, *d))
    }
}

/// What is known of one stratum.
pub struct Stratum {
    slices: Vec<Slice>,
    /// How much of the estimate rests on the stratum's own readings, 0 to 1; the rest is borrowed from the other strata.
    pub own_share: f64,
}

/// A factor on every film that all readings share, such as solids by volume.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Factor {
    /// Logarithm of the factor.
    pub ln: f64,
    /// Its relative standard uncertainty.
    pub r: f64,
}

/// Five nodes and weights that integrate over a normal distribution (Gauss and Hermite; Abramowitz and Stegun 1964, table
/// 25.10, from memory, rescaled to standard deviation 1).
const NORMAL_NODES: [(f64, f64); 5] = [
    (-2.856_970_013_872_806, 0.011_257_411_327_721),
    (-1.355_626_179_974_266, 0.222_075_922_005_613),
    (0.0, 0.533_333_333_333_333),
    (1.355_626_179_974_266, 0.222_075_922_005_613),
    (2.856_970_013_872_806, 0.011_257_411_327_721),
];

impl Factor {
    /// No factor.
    pub const ONE: Self = Self { ln: 0.0, r: 0.0 };

    fn nodes(&self) -> Vec<(f64, f64)> {
        if self.r == 0.0 { vec![(self.ln, 1.0)] } else { NORMAL_NODES.iter().map(|&(z, w)| (self.ln + z * self.r, w)).collect() }
    }
}

/// A quantity of a stratum as a function of (m, s): `exp(m + a s + b s^2)`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quantity {
    a: f64,
    b: f64,
}

impl Quantity {
    /// The mean of a lognormal film.
    pub const MEAN: Self = Self { a: 0.0, b: 0.5 };

    /// The film that the share `share` of all places exceeds.
    pub fn exceeded_by(share: f64) -> Self {
        Self { a: math::normal_quantile(1.0 - share), b: 0.0 }
    }

    fn shift(self, s: f64) -> f64 {
        self.a * s + self.b * s * s
    }
}

impl Stratum {
    /// Nodes as (probability, m, s, step in m), three for each step of the grid: between its nodes the density follows the
    /// parabola of its logarithm, which for a normal one is exact.
    pub(crate) fn nodes(&self) -> impl Iterator<Item = (f64, f64, f64, f64)> + '_ {
        self.slices.iter().flat_map(|slice| {
            let fine = slice.thirds();
            let total: f64 = fine.iter().map(|(_, d)| d).sum();
            fine.into_iter().map(move |(m, d)| (slice.weight * d / total, m, slice.s, slice.step / 3.0))
        })
    }

    /// Probability that the quantity lies at or over `limit` micrometres.
    pub fn prob_at_least(&self, quantity: Quantity, factor: Factor, limit: f64) -> f64 {
        (1.0 - self.cdf(quantity, &factor.nodes(), math::ln(limit))).clamp(0.0, 1.0)
    }

    fn cdf(&self, quantity: Quantity, nodes: &[(f64, f64)], ln: f64) -> f64 {
        let of = |slice: &Slice| {
            let at = ln - quantity.shift(slice.s);
            slice.weight * nodes.iter().map(|(shift, w)| w * slice.cdf(at - shift)).sum::<f64>()
        };
        self.slices.iter().map(of).sum()
    }

    /// The value in micrometres below which the quantity lies with probability `p`.
    pub fn quantile(&self, quantity: Quantity, factor: Factor, p: f64) -> f64 {
        let nodes = factor.nodes();
        let (mut low, mut high) = (LN_FILM[0] - 6.0, LN_FILM[1] + 6.0);
        for _ in 0..44 {
            let middle = 0.5 * (low + high);
            if self.cdf(quantity, &nodes, middle) < p { low = middle } else { high = middle }
        }
        math::exp(0.5 * (low + high))
    }

    /// Standard deviation of the quantity in micrometres.
    pub fn deviation(&self, quantity: Quantity, factor: Factor) -> f64 {
        let (mut first, mut second) = (0.0, 0.0);
        for slice in &self.slices {
            for (m, share) in slice.nodes().filter(|c| c.1 > 0.0) {
                let x = math::exp(m + quantity.shift(slice.s) + factor.ln);
                first += slice.weight * share * x;
                second += slice.weight * share * x * x;
            }
        }
        (second * (1.0 + factor.r * factor.r) - first * first).max(0.0).sqrt()
    }

    /// Expected share of all places whose film is below `limit` micrometres.
    pub fn share_below(&self, factor: Factor, limit: f64) -> f64 {
        let at = math::ln(limit) - factor.ln;
        let of = |slice: &Slice| slice.weight * slice.nodes().map(|(m, share)| share * math::normal_cdf((at - m) / slice.s)).sum::<f64>();
        self.slices.iter().map(of).sum::<f64>().clamp(0.0, 1.0)
    }
}

/// What is known after the readings.
pub struct Posterior {
    /// One for each stratum, in the order given; `None` where there are no readings.
    pub strata: Vec<Option<Stratum>>,
    /// Scatter nodes with their probability.
    scatter: Vec<(f64, f64)>,
    /// Parts of the distribution of M (weight, mean, deviation) with their scatter.
    common: Vec<Common>,
}

/// Part of the distribution of M: its weight, mean and deviation, with the scatter and the spread of strata it goes with.
struct Common {
    weight: f64,
    mean: f64,
    deviation: f64,
    s: f64,
    tau: f64,
}

/// A value with its 95 % interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// Middle: as likely above as below.
    pub value: f64,
    /// 2.5 % lie below.
    pub lo: f64,
    /// 2.5 % lie above.
    pub hi: f64,
}

impl Posterior {
    /// The scatter from place to place, relative.
    pub fn scatter(&self) -> Interval {
        let step = self.scatter.get(1).map_or(0.0, |second| second.0 - self.scatter[0].0);
        let at = |p: f64| {
            let mut sum = 0.0;
            for &(ln, weight) in &self.scatter {
                if weight > 0.0 && sum + weight >= p {
                    return math::exp(ln + step * ((p - sum) / weight - 0.5));
                }
                sum += weight;
            }
            self.scatter.last().map_or(0.0, |last| math::exp(last.0))
        };
        Interval { value: at(0.5), lo: at(0.025), hi: at(0.975) }
    }

    /// How much narrower the readings made the scatter: 1 when they say all, 0 when it is still the assumed one.
    pub fn scatter_learnt(&self, prior: &Prior) -> f64 {
        let mean: f64 = self.scatter.iter().map(|(ln, w)| ln * w).sum();
        let variance: f64 = self.scatter.iter().map(|(ln, w)| math::sq(ln - mean) * w).sum();
        (1.0 - variance / math::sq(prior.scatter_sigma())).clamp(0.0, 1.0)
    }

    /// What is known of a stratum like these in which nothing was read; nothing where nothing was read at all.
    pub(crate) fn unread(&self) -> Option<Stratum> {
        const NODES: i64 = 40;
        let slices: Vec<Slice> = (self.common.iter().filter(|c| c.weight > 1e-4))
            .map(|c| {
                let deviation = math::hypot(c.deviation, c.tau);
                let step = 10.0 * deviation / NODES as f64;
                let at = (c.mean / step).round() as i64 - NODES / 2;
                let density: Vec<f64> =
                    (at..=at + NODES).map(|k| math::exp(-0.5 * math::sq((k as f64 * step - c.mean) / deviation))).collect();
                Slice::new(c.weight, c.s, at, step, &density)
            })
            .collect();
        (!slices.is_empty()).then_some(Stratum { slices, own_share: 0.0 })
    }

    /// The mean film of a stratum like these.
    pub fn common_mean(&self, factor: Factor) -> Interval {
        let nodes = factor.nodes();
        let cdf = |ln: f64| -> f64 {
            self.common
                .iter()
                .map(|c| {
                    let at = ln - 0.5 * c.s * c.s;
                    c.weight * nodes.iter().map(|(shift, v)| v * math::normal_cdf((at - shift - c.mean) / c.deviation)).sum::<f64>()
                })
                .sum()
        };
        let at = |p: f64| {
            let (mut low, mut high) = (LN_FILM[0] - 12.0, LN_FILM[1] + 12.0);
            for _ in 0..44 {
                let middle = 0.5 * (low + high);
                if cdf(middle) < p { low = middle } else { high = middle }
            }
            math::exp(0.5 * (low + high))
        };
        Interval { value: at(0.5), lo: at(0.025), hi: at(0.975) }
    }
}

/// Nodes of tau with the logarithm of their prior weight.
fn between_nodes(prior: &Prior) -> Vec<(f64, f64)> {
    let [from, to] = BETWEEN.map(math::ln);
    let step = (to - from) / (BETWEEN_NODES - 1) as f64;
    (0..BETWEEN_NODES)
        .map(|i| {
            let tau = math::exp(from + step * i as f64);
            let half = math::exp(0.5 * step);
            // The probability between this node and its neighbours; the first takes all below, the last all above.
            let below = |t: f64| math::erf(t / (prior.between * std::f64::consts::SQRT_2));
            let lower = if i == 0 { 0.0 } else { below(tau / half) };
            let upper = if i == BETWEEN_NODES - 1 { 1.0 } else { below(tau * half) };
            (tau, math::ln((upper - lower).max(1e-300)))
        })
        .collect()
}

/// Everything at one scatter: the columns of all strata and, for each tau, how well it agrees with them.
struct Node {
    s: f64,
    step: f64,
    columns: Vec<Column>,
    /// Logarithm of the joint weight of (s, tau); one entry without tau where there is a single stratum.
    ln_weights: Vec<f64>,
}

/// What readings say. `strata` may hold empty ones.
pub fn posterior(strata: &[Vec<Seen>], prior: &Prior) -> Posterior {
    let with: Vec<usize> = (0..strata.len()).filter(|&i| !strata[i].is_empty()).collect();
    if with.is_empty() {
        return Posterior { strata: strata.iter().map(|_| None).collect(), scatter: Vec::new(), common: Vec::new() };
    }
    let readings: Vec<Vec<Seen>> = with.iter().map(|&i| strata[i].clone()).collect();
    let between = if readings.len() > 1 { between_nodes(prior) } else { vec![(0.0, 0.0)] };
    let nodes = scatter_nodes(&readings, prior, &between);
    let gathered = gather(&readings, &nodes, &between, prior);
    let mut out: Vec<Option<Stratum>> = strata.iter().map(|_| None).collect();
    for (slot, stratum) in with.into_iter().zip(gathered.strata) {
        out[slot] = Some(stratum);
    }
    Posterior { strata: out, scatter: gathered.scatter, common: gathered.common }
}

/// Nodes of s laid where the probability is.
fn scatter_nodes(readings: &[Vec<Seen>], prior: &Prior, between: &[(f64, f64)]) -> Vec<Node> {
    let [mut from, mut to] = SCATTER.map(math::ln);
    let lay = |from: f64, to: f64, count: usize| -> Vec<Node> {
        (0..count).map(|i| Node::new(readings, prior, between, math::exp(from + (to - from) * i as f64 / (count - 1) as f64))).collect()
    };
    let mut nodes = lay(from, to, FIRST_LOOK);
    for _ in 0..4 {
        let tops: Vec<f64> = nodes.iter().map(Node::ln_total).collect();
        let top = tops.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let first = tops.iter().position(|&t| t > top - 9.0).unwrap_or(0);
        let last = tops.iter().rposition(|&t| t > top - 9.0).unwrap_or(nodes.len() - 1);
        if nodes.len() == NODES && last - first >= 8 {
            break;
        }
        let step = (to - from) / (nodes.len() - 1) as f64;
        let start = from;
        from = (start + step * (first as f64 - 0.7)).max(math::ln(SCATTER[0]));
        to = (start + step * (last as f64 + 0.7)).min(math::ln(SCATTER[1]));
        nodes = lay(from, to, NODES);
    }
    nodes
}

impl Node {
    fn new(readings: &[Vec<Seen>], prior: &Prior, between: &[(f64, f64)], s: f64) -> Self {
        let step = step_for(readings, s);
        let columns: Vec<Column> = readings.iter().map(|r| column(r, s, step)).collect();
        let peaks: f64 = columns.iter().map(|c| c.ln_peak).sum::<f64>() + prior.ln_scatter(s);
        let ln_weights = if columns.len() == 1 {
            vec![peaks + math::ln(columns[0].like.iter().sum::<f64>() * step)]
        } else {
            between.iter().map(|&(tau, ln)| peaks + ln + Pooling::new(&columns, step, tau).ln_evidence()).collect()
        };
        Self { s, step, columns, ln_weights }
    }

    fn ln_total(&self) -> f64 {
        let top = self.ln_weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if top.is_finite() { top + math::ln(self.ln_weights.iter().map(|w| math::exp(w - top)).sum()) } else { f64::NEG_INFINITY }
    }
}

struct Gathered {
    strata: Vec<Stratum>,
    scatter: Vec<(f64, f64)>,
    common: Vec<Common>,
}

/// Sums all nodes up into what is known of each stratum.
fn gather(readings: &[Vec<Seen>], nodes: &[Node], between: &[(f64, f64)], prior: &Prior) -> Gathered {
    let top = nodes.iter().map(Node::ln_total).fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = nodes.iter().map(|n| math::exp(n.ln_total() - top)).sum();
    let count = readings.len();
    let mut strata: Vec<Stratum> = (0..count).map(|_| Stratum { slices: Vec::new(), own_share: 0.0 }).collect();
    let (mut scatter, mut common) = (Vec::new(), Vec::new());
    for node in nodes {
        let weight = math::exp(node.ln_total() - top) / total;
        scatter.push((math::ln(node.s), weight));
        if weight < 1e-9 {
            continue;
        }
        let mut densities: Vec<Vec<f64>> = node.columns.iter().map(|c| vec![0.0; c.like.len()]).collect();
        if count == 1 {
            densities[0].clone_from(&node.columns[0].like);
            strata[0].own_share += weight;
            let slice = Slice::new(1.0, node.s, node.columns[0].first, node.step, &densities[0]);
            let mean: f64 = slice.nodes().map(|(m, share)| m * share).sum();
            let variance: f64 = slice.nodes().map(|(m, share)| math::sq(m - mean) * share).sum();
            // A single stratum says nothing of how strata differ: their root mean square difference is the prior's.
            common.push(Common { weight, mean, deviation: variance.sqrt().max(0.3 * node.step), s: node.s, tau: prior.between });
        } else {
            for (&(tau, _), &ln) in between.iter().zip(&node.ln_weights) {
                let joint = math::exp(ln - top) / total;
                if joint < 1e-8 {
                    continue;
                }
                let pooling = Pooling::new(&node.columns, node.step, tau);
                let (mean, deviation) = pooling.common();
                common.push(Common { weight: joint, mean, deviation, s: node.s, tau });
                for (j, others) in pooling.by_others().into_iter().enumerate() {
                    let column = &node.columns[j];
                    let product: Vec<f64> = others.iter().zip(&column.like).map(|(o, l)| o * l).collect();
                    let sum: f64 = product.iter().sum();
                    if sum > 0.0 {
                        densities[j].iter_mut().zip(&product).for_each(|(d, p)| *d += joint * p / sum);
                    }
                    let precision: f64 = readings[j].iter().map(|r| 1.0 / r.variance(node.s)).sum();
                    strata[j].own_share += joint * tau * tau / (tau * tau + 1.0 / precision);
                }
            }
        }
        for (j, density) in densities.iter().enumerate() {
            strata[j].slices.push(Slice::new(weight, node.s, node.columns[j].first, node.step, density));
        }
    }
    Gathered { strata, scatter, common }
}
