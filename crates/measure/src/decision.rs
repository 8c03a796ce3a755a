use crate::{Limit, Measured, Verdict, math};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The least number of readings for a verdict when the rule does not say; 1 suffices for a direct comparison such as a
/// height.
pub const LEAST_READINGS: usize = 3;

/// How a measured value is judged against a limit (JCGM 106:2012, clauses 8.2 simple acceptance, 8.3 guard bands).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "rule", rename_all = "lowercase", deny_unknown_fields)]
pub enum Decision {
    /// Conforms only when the probability of conforming is at least 1 - risk; falls short only when it is at most risk.
    Guarded {
        /// Largest probability of a wrong acceptance, above 0 and below 0.5.
        #[schemars(range(min = 0.000001, max = 0.5))]
        risk: f64,
    },
    /// The value decides as it stands, provided its standard uncertainty is no larger than `u_max` (in the value's unit).
    /// A value so far outside that even its uncertainty leaves under 5 % for the limit falls short all the same.
    Simple {
        /// Largest standard uncertainty with which a value may decide.
        #[schemars(range(min = 0.0))]
        u_max: f64,
    },
}

/// With less than this probability of conforming, no smaller uncertainty would make a value conform.
const CLEARLY_OUTSIDE: f64 = 0.05;

impl Default for Decision {
    /// Guarded acceptance at 5 %.
    fn default() -> Self {
        Self::Guarded { risk: 0.05 }
    }
}

/// What a decision rule made of one value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Decided {
    /// The verdict.
    pub verdict: Verdict,
    /// Probability that the true value is inside the limit, the measured value being normally distributed.
    pub prob_conforms: f64,
    /// Why a verdict is not shown.
    pub because: Option<&'static str>,
}

impl Decision {
    /// Probability that the true value is inside the limit (JCGM 106:2012, 7.2 to 7.4: normal distribution, no prior
    /// knowledge). With no uncertainty it is 0 or 1.
    pub fn prob_conforms(measured: Measured, limit: Limit) -> f64 {
        if measured.u() == 0.0 {
            return if limit.allows(measured.value()) { 1.0 } else { 0.0 };
        }
        let below_max = limit.max().map_or(1.0, |max| math::normal_cdf((max - measured.value()) / measured.u()));
        let below_min = limit.min().map_or(0.0, |min| math::normal_cdf((min - measured.value()) / measured.u()));
        (below_max - below_min).clamp(0.0, 1.0)
    }

    /// Judges a value. How many readings stand behind it is the caller's question.
    pub fn decide(self, measured: Measured, limit: Limit) -> Decided {
        let prob_conforms = Self::prob_conforms(measured, limit);
        let (verdict, because) = match self {
            Self::Guarded { risk } => {
                if prob_conforms >= 1.0 - risk {
                    (Verdict::Conforms, None)
                } else if prob_conforms <= risk && !limit.allows(measured.value()) {
                    // A value inside a band much narrower than its uncertainty is unlikely to conform, and shows nothing.
                    (Verdict::FallsShort, None)
                } else {
                    (Verdict::NotShown, Some("the uncertainty straddles the limit"))
                }
            }
            Self::Simple { u_max } => {
                if measured.u() > u_max && prob_conforms > CLEARLY_OUTSIDE {
                    (Verdict::NotShown, Some("the uncertainty is larger than the largest allowed"))
                } else if limit.allows(measured.value()) {
                    (Verdict::Conforms, None)
                } else {
                    (Verdict::FallsShort, None)
                }
            }
        };
        Decided { verdict, prob_conforms, because }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FALL_BAND: Limit = Limit::Between(1.0 / 80.0, 1.0 / 50.0);

    fn guarded(value: f64, u: f64, limit: Limit) -> Verdict {
        Decision::default().decide(Measured::new(value, u).unwrap(), limit).verdict
    }

    /// JCGM 106:2012 with two levels of standard uncertainty 1 mm: in the middle of 1:80 to 1:50 the probability of
    /// conformity reaches 95 % only on planes longer than 2 * 1.959964 * sqrt(2) / (1/50 - 1/80) = 739.2 mm
    /// (own arithmetic with SciPy's quantile).
    #[test]
    fn two_levels_never_prove_a_fall_on_a_plane_under_739_mm() {
        let middle = (1.0 / 80.0 + 1.0 / 50.0) / 2.0;
        let u_at = |length_mm: f64| 2.0_f64.sqrt() / length_mm;
        assert_eq!(guarded(middle, u_at(739.0), FALL_BAND), Verdict::NotShown);
        assert_eq!(guarded(middle, u_at(740.0), FALL_BAND), Verdict::Conforms);
    }

    #[test]
    fn a_value_on_the_bound_conforms_when_it_is_exact() {
        for (value, limit) in [(1.0 / 48.0, Limit::AtMost(1.0 / 48.0)), (25.0, Limit::AtLeast(25.0)), (0.0, Limit::AtMost(0.0))] {
            assert_eq!(guarded(value, 0.0, limit), Verdict::Conforms, "{value} against {limit:?}");
        }
    }

    #[test]
    fn a_straddling_value_is_not_shown_and_says_why() {
        let decided = Decision::default().decide(Measured::new(25.5, 1.0).unwrap(), Limit::AtLeast(25.0));
        assert_eq!(decided.verdict, Verdict::NotShown);
        assert!((decided.prob_conforms - 0.6914624612740131).abs() < 1e-12, "SciPy norm.cdf(0.5)");
        assert_eq!(decided.because, Some("the uncertainty straddles the limit"));
    }

    #[test]
    fn a_value_inside_a_band_much_narrower_than_its_uncertainty_is_not_shown() {
        let decided = Decision::default().decide(Measured::new(0.016, 0.1).unwrap(), FALL_BAND);
        assert!(decided.prob_conforms < 0.05);
        assert_eq!(decided.verdict, Verdict::NotShown);
    }

    #[test]
    fn simple_acceptance_takes_the_value_as_it_stands_up_to_the_largest_uncertainty() {
        let simple = Decision::Simple { u_max: 1.0 };
        let verdict = |value, u| simple.decide(Measured::new(value, u).unwrap(), Limit::AtLeast(25.0)).verdict;
        assert_eq!(verdict(25.1, 1.0), Verdict::Conforms);
        assert_eq!(verdict(24.9, 1.0), Verdict::FallsShort);
        assert_eq!(verdict(40.0, 1.1), Verdict::NotShown, "never a pass with a poor instrument, however large the value");
        assert_eq!(verdict(24.0, 1.1), Verdict::NotShown);
        assert_eq!(verdict(23.0, 1.1), Verdict::FallsShort, "3.5 % left for the limit: SciPy norm.cdf(-2/1.1) = 0.0345");
    }

    proptest::proptest! {
        /// A wider limit never lowers the probability of conforming; swapping sides about the value mirrors it.
        #[test]
        fn probability_grows_with_the_band(value in -10.0..10.0f64, u in 0.001..5.0f64, lo in -10.0..0.0f64, hi in 0.0..10.0f64, more in 0.0..5.0f64) {
            let m = Measured::new(value, u).unwrap();
            let p = Decision::prob_conforms(m, Limit::Between(lo, hi));
            proptest::prop_assert!(Decision::prob_conforms(m, Limit::Between(lo - more, hi + more)) >= p - 1e-15);
            let mirrored = Decision::prob_conforms(Measured::new(-value, u).unwrap(), Limit::Between(-hi, -lo));
            proptest::prop_assert!((mirrored - p).abs() < 1e-12);
        }
    }
}
