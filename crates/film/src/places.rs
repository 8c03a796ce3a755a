//! Where one more reading would change most: the film as a field over one face.
//!
//! The logarithm of the film is taken as a normal field: one unknown level, a scatter from place to place, likeness that
//! fades with distance. After the readings so far, the film at a place is short of the limit with a probability p; whoever
//! judges that place now is wrong with probability `min(p, 1 - p)`. A reading elsewhere moves the middle of what is known
//! here by an amount not yet known, with deviation t, and leaves a deviation r of the s there was (`s^2 = t^2 + r^2`);
//! averaged over all it may turn out to be, the judge is then wrong with probability `2 T(|d| / s, r / t)`, with T of Owen
//! and d the distance of the middle from the limit ([`stats::owens_t`]; exact, nothing is drawn at random). The next
//! reading is the one after which the doubt, so averaged and weighted over the whole face, is least. Without a limit, or
//! without values to hold against it, the doubt is the deviation itself.

use crate::geometry::distance;
use crate::sampling::Read;
use measure::{PointMm, math};
use stats::owens_t;

/// Deviation of the common level before any reading, in logarithms: as good as unknown.
const LEVEL: f64 = 1.0;
/// Readings used at most: of more, an even part.
const MOST_READ: usize = 200;

/// How films are alike from place to place.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Likeness {
    /// Relative scatter from place to place.
    pub scatter: f64,
    /// Distance over which likeness fades to a twentieth.
    pub range_mm: f64,
    /// Relative standard uncertainty of one reading.
    pub u: f64,
}

impl Likeness {
    /// A film rolled or trowelled on site, read by gauge; common practice, no source.
    pub const ASSUMED: Self = Self { scatter: 0.18, range_mm: 600.0, u: 0.03 };
}

/// One place chosen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Chosen {
    /// Where.
    pub at: PointMm,
    /// Probability that the film there is short of the limit, as far as is known now; absent without limit or values.
    pub prob_short: Option<f64>,
    /// Weighted mean, over the face, of the probability of judging a place wrongly, before this reading; of the relative
    /// deviation where there is no limit.
    pub before: f64,
    /// The same after it, averaged over what it may show.
    pub after: f64,
}

/// The next `count` of the candidate places; each stands for an equal part of the face, with its weight. The second and
/// third are chosen as if the first were read and showed what is expected of it.
pub(crate) fn next(
    candidates: &[PointMm],
    weights: &[f64],
    read: &[Read],
    limit_um: Option<f64>,
    like: Likeness,
    count: usize,
) -> Vec<Chosen> {
    let mut field = Field::new(candidates, read, limit_um, like);
    let total: f64 = weights.iter().sum();
    if total <= 0.0 {
        return Vec::new();
    }
    let mut chosen = Vec::new();
    for _ in 0..count {
        let before = field.doubt(weights) / total;
        let after = |x: usize| field.doubt_after(x, weights) / total;
        let Some((x, after)) = (0..candidates.len()).map(|x| (x, after(x))).min_by(|a, b| a.1.total_cmp(&b.1)) else { break };
        chosen.push(Chosen { at: candidates[x], prob_short: field.prob_short(x), before, after });
        field.read(x, None);
    }
    chosen
}

/// What is known of the film at every place: middle and covariance of its logarithm.
struct Field {
    ln: Vec<f64>,
    covariance: Vec<Vec<f64>>,
    /// Logarithm of the limit, where the readings have values to hold against it.
    ln_limit: Option<f64>,
    u2: f64,
    /// The first places are candidates, the rest was read.
    candidates: usize,
}

impl Field {
    fn new(candidates: &[PointMm], read: &[Read], limit_um: Option<f64>, like: Likeness) -> Self {
        let read: Vec<Read> = read.iter().step_by(read.len().div_ceil(MOST_READ).max(1)).copied().collect();
        let places: Vec<PointMm> = candidates.iter().copied().chain(read.iter().map(|r| [r.x_mm, r.y_mm])).collect();
        let alike = |a: PointMm, b: PointMm| math::sq(LEVEL) + math::sq(like.scatter) * math::exp(-3.0 * distance(a, b) / like.range_mm);
        let values: Vec<f64> = read.iter().filter_map(|r| r.value_um).map(math::ln).collect();
        let level = values.iter().sum::<f64>() / values.len().max(1) as f64;
        let mut field = Self {
            ln: vec![level; places.len()],
            covariance: places.iter().map(|a| places.iter().map(|b| alike(*a, *b)).collect()).collect(),
            ln_limit: limit_um.map(math::ln).filter(|_| !values.is_empty()),
            u2: math::sq(like.u),
            candidates: candidates.len(),
        };
        for (i, r) in read.iter().enumerate() {
            field.read(candidates.len() + i, r.value_um.map(math::ln));
        }
        field
    }

    /// Takes in a reading at a place; without a value, only that it was read.
    fn read(&mut self, at: usize, ln: Option<f64>) {
        let row = self.covariance[at].clone();
        let variance = row[at] + self.u2;
        let off = ln.map_or(0.0, |ln| ln - self.ln[at]);
        for (i, of) in self.covariance.iter_mut().enumerate() {
            let gain = row[i] / variance;
            self.ln[i] += gain * off;
            of.iter_mut().zip(&row).for_each(|(c, r)| *c -= gain * r);
        }
    }

    /// Distance of the middle from the limit; none where nothing is known of it.
    fn off(&self, z: usize) -> f64 {
        self.ln_limit.map_or(0.0, |limit| self.ln[z] - limit)
    }

    fn deviation(&self, z: usize) -> f64 {
        self.covariance[z][z].max(0.0).sqrt()
    }

    fn prob_short(&self, z: usize) -> Option<f64> {
        self.ln_limit.map(|_| math::normal_cdf(-self.off(z) / self.deviation(z)))
    }

    /// Doubt at all candidates now.
    fn doubt(&self, weights: &[f64]) -> f64 {
        (0..self.candidates).map(|z| weights[z] * self.doubt_at(z)).sum()
    }

    fn doubt_at(&self, z: usize) -> f64 {
        match self.ln_limit {
            Some(_) => math::normal_cdf(-self.off(z).abs() / self.deviation(z)),
            None => self.deviation(z),
        }
    }

    /// Doubt at all candidates after a reading at one of them, averaged over what it may show.
    fn doubt_after(&self, x: usize, weights: &[f64]) -> f64 {
        let variance = self.covariance[x][x] + self.u2;
        let of = |z: usize| {
            let all = self.covariance[z][z];
            let moved = math::sq(self.covariance[x][z]) / variance;
            let left = (all - moved).max(0.0);
            match self.ln_limit {
                _ if moved < 1e-6 * all => self.doubt_at(z),
                Some(_) => 2.0 * owens_t(self.off(z) / all.sqrt(), (left / moved).sqrt()),
                None => left.sqrt(),
            }
        };
        (0..self.candidates).filter(|z| weights[*z] > 0.0).map(|z| weights[z] * of(z)).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIKE: Likeness = Likeness { scatter: 0.18, range_mm: 600.0, u: 0.05 };

    fn read(x_mm: f64, value_um: f64) -> Read {
        Read { x_mm, y_mm: 0.0, value_um: Some(value_um) }
    }

    /// A wall cut into a row of places, some read.
    fn row() -> (Vec<PointMm>, Vec<Read>) {
        (
            (0..12).map(|i| [100.0 + 200.0 * f64::from(i), 0.0]).collect(),
            vec![read(150.0, 1150.0), read(300.0, 1100.0), read(1900.0, 960.0)],
        )
    }

    /// The closed form against plain summation over what the reading may show, each outcome judged anew.
    #[test]
    fn doubt_after_a_reading_agrees_with_summing_over_its_outcomes() {
        let (places, reads) = row();
        let weights: Vec<f64> = (0..places.len()).map(|i| 1.0 + i as f64).collect();
        let field = Field::new(&places, &reads, Some(1000.0), LIKE);
        for x in 0..places.len() {
            let deviation = (field.covariance[x][x] + field.u2).sqrt();
            let (mut sum, steps) = (0.0, 4_000);
            for k in 0..steps {
                // Each outcome as likely as the next.
                let z = math::normal_quantile((f64::from(k) + 0.5) / f64::from(steps));
                let mut after = Field { ln: field.ln.clone(), covariance: field.covariance.clone(), ..field };
                after.read(x, Some(field.ln[x] + z * deviation));
                sum += after.doubt(&weights) / f64::from(steps);
            }
            let closed = field.doubt_after(x, &weights);
            assert!((sum - closed).abs() < 2e-3 * closed, "place {x}: {sum} by summation, {closed}");
            assert!(closed < field.doubt(&weights), "a reading never adds doubt");
        }
    }

    /// Of all places one by one, the best by summation is the one chosen.
    #[test]
    fn the_first_place_is_the_best_of_all() {
        let (places, reads) = row();
        let weights = vec![1.0; places.len()];
        let first = next(&places, &weights, &reads, Some(1000.0), LIKE, 1)[0];
        assert!((1300.0..=1800.0).contains(&first.at[0]), "near the reading that lies by the limit, not on it: {first:?}");
        assert!(first.after < first.before && first.prob_short.is_some_and(|p| (0.2..0.8).contains(&p)), "{first:?}");
        // Water draws the reading to where it runs.
        let wet: Vec<f64> = places.iter().map(|p| if p[0] < 800.0 { 50.0 } else { 1.0 }).collect();
        assert!(next(&places, &wet, &reads, Some(1000.0), LIKE, 1)[0].at[0] < 900.0);
    }
}
