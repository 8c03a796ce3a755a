//! What a data sheet or pack asks of the readings of a stratum, and what they say to it.

use crate::next::CLEARLY_OUTSIDE;
use crate::posterior::{Factor, Quantity, Stratum};
use crate::words::percent;
use measure::Check;
use measure::{Bounds, Decision, Grade, Judgement, Limit, Verdict, math};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A share of something.
const SHARE: Bounds = Bounds { min: 0.01, max: 1.0, unit: "(a share; 80 % is 0.8)" };
/// Share of the surface a percentile speaks of, and the confidence in it.
const OPEN_SHARE: Bounds = Bounds { min: 0.5, max: 0.999, unit: "(a share; 90 % is 0.9)" };

/// How readings are accepted. The figures are those of the data sheet, specification or pack.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "rule", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Acceptance {
    /// A minimum no reading may be below, and a mean.
    MinimumAndMean {
        /// The minimum everywhere; `limit_um` when left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        minimum_um: Option<f64>,
        /// The least mean; `limit_um` when left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        mean_um: Option<f64>,
    },
    /// A mean, and nothing of single readings.
    Mean,
    /// The mean reaches the limit and every reading a share of it (80 % unless given); of the readings between the two
    /// only a share is allowed, where one is given (ISO 19840:2012 asks for 80 % and fewer than 20 %).
    #[serde(rename = "mean-and-80-percent")]
    MeanAnd80Percent {
        /// Least reading as a share of the limit.
        #[serde(default = "eighty")]
        #[schemars(range(min = 0.01, max = 1.0))]
        reading_share: f64,
        /// Readings under the limit must be a smaller share of all readings than this.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        #[schemars(range(min = 0.01, max = 1.0))]
        below_share_max: Option<f64>,
        /// Whether exactly that share is still allowed; the texts of the standard in circulation differ.
        #[serde(default)]
        below_share_inclusive: bool,
    },
    /// Readings are taken in spots of three or more; the mean of each spot and the mean of the spots are judged (the way of
    /// SSPC-PA 2). Each reading then names its `spot`.
    SpotOfThree {
        /// Least spot as a share of the limit; 1 when left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        #[schemars(range(min = 0.01, max = 1.0))]
        spot_share: Option<f64>,
        /// Largest film of a spot, where one is set.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        spot_max_um: Option<f64>,
    },
    /// The film reaches the limit on a share of the surface, with a confidence.
    Percentile {
        /// The share of the surface that must reach the limit.
        #[serde(default = "ninety")]
        #[schemars(range(min = 0.5, max = 0.999))]
        share: f64,
        /// With what probability that must be so.
        #[serde(default = "ninety_five")]
        #[schemars(range(min = 0.5, max = 0.999))]
        confidence: f64,
    },
}

fn eighty() -> f64 {
    0.8
}

fn ninety() -> f64 {
    0.9
}

fn ninety_five() -> f64 {
    0.95
}

impl Default for Acceptance {
    fn default() -> Self {
        Self::MinimumAndMean { minimum_um: None, mean_um: None }
    }
}

impl Acceptance {
    /// Figures out of bounds become problems of fields under `acceptance`; films are held to `film`.
    pub fn check(&self, check: &mut Check, film: Bounds) {
        match *self {
            Self::MinimumAndMean { minimum_um, mean_um } => {
                check.optional("acceptance.minimum_um", minimum_um, film);
                check.optional("acceptance.mean_um", mean_um, film);
            }
            Self::Mean => {}
            Self::MeanAnd80Percent { reading_share, below_share_max, .. } => {
                check.bounded("acceptance.reading_share", reading_share, SHARE);
                check.optional("acceptance.below_share_max", below_share_max, SHARE);
            }
            Self::SpotOfThree { spot_share, spot_max_um } => {
                check.optional("acceptance.spot_share", spot_share, SHARE);
                check.optional("acceptance.spot_max_um", spot_max_um, film);
            }
            Self::Percentile { share, confidence } => {
                check.bounded("acceptance.share", share, OPEN_SHARE);
                check.bounded("acceptance.confidence", confidence, OPEN_SHARE);
            }
        }
    }

    /// What every single reading must reach, where the rule asks that.
    pub(crate) fn reading_limit(&self, limit_um: f64) -> Option<f64> {
        match *self {
            Self::MinimumAndMean { minimum_um, .. } => Some(minimum_um.unwrap_or(limit_um)),
            Self::MeanAnd80Percent { reading_share, .. } => Some(reading_share * limit_um),
            Self::Mean | Self::SpotOfThree { .. } | Self::Percentile { .. } => None,
        }
    }

    /// The limit the mean is held against.
    pub(crate) fn mean_limit(&self, limit_um: f64) -> f64 {
        match *self {
            Self::MinimumAndMean { mean_um, .. } => mean_um.unwrap_or(limit_um),
            _ => limit_um,
        }
    }
}

/// One reading, or the mean of one spot, in micrometres of the film that is judged.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Direct {
    /// How a message names it: "reading 3", "spot a".
    pub name: String,
    /// Its value, or the lower end of its bracket.
    pub lo: f64,
    /// Its value, or the upper end of its bracket; infinite where open.
    pub hi: f64,
    /// Standard uncertainty of the value or of the ends.
    pub u: f64,
}

impl Direct {
    fn words(&self) -> String {
        match (self.lo == self.hi, self.hi.is_finite()) {
            (true, _) => format!("{} of {:.0} µm", self.name, self.lo),
            (false, true) => format!("{} between {:.0} and {:.0} µm", self.name, self.lo, self.hi),
            (false, false) => format!("{} over {:.0} µm", self.name, self.lo),
        }
    }

    fn middle(&self) -> f64 {
        if self.hi.is_finite() { 0.5 * (self.lo + self.hi) } else { self.lo }
    }

    /// Least and largest probability that it reaches `limit`: a bracket says no more than its ends.
    fn prob_reaches(&self, limit: f64) -> [f64; 2] {
        let bracket = self.lo < self.hi;
        let of = |end: f64, upper: bool| match end {
            _ if end.is_infinite() => f64::from(end > 0.0),
            // The next dry tooth itself was not reached.
            _ if self.u == 0.0 && bracket && upper => f64::from(end > limit),
            _ if self.u == 0.0 => f64::from(Limit::AtLeast(limit).allows(end)),
            _ => math::normal_cdf((end - limit) / self.u),
        };
        [of(self.lo, false), of(self.hi, true)]
    }

    /// Whether it reaches the limit.
    pub(crate) fn against(&self, limit: f64, decision: Decision) -> Verdict {
        let [least, most] = self.prob_reaches(limit);
        let (sure, ruled_out) = match decision {
            Decision::Guarded { risk } => (least >= 1.0 - risk, most <= risk),
            Decision::Simple { u_max } if self.u > u_max => (false, most <= CLEARLY_OUTSIDE),
            Decision::Simple { .. } => {
                // A bracket whose upper end is the limit lies below it.
                let short = if self.lo == self.hi { !Limit::AtLeast(limit).allows(self.hi) } else { self.hi <= limit };
                (Limit::AtLeast(limit).allows(self.lo), short)
            }
        };
        match (sure, ruled_out) {
            (true, _) => Verdict::Conforms,
            (_, true) => Verdict::FallsShort,
            _ => Verdict::NotShown,
        }
    }
}

/// What a stratum is judged on.
pub(crate) struct Evidence<'a> {
    pub stratum: &'a Stratum,
    pub factor: Factor,
    pub readings: &'a [Direct],
    pub limit_um: f64,
    pub decision: Decision,
    pub rule: &'a str,
    pub source: &'a str,
    pub grade: Grade,
    /// Whether the readings know the scatter.
    pub percentile_says: bool,
}

impl Evidence<'_> {
    /// Everything the rule asks, judged one by one.
    pub fn judged(&self, acceptance: &Acceptance) -> Vec<Judgement> {
        let limit = self.limit_um;
        match *acceptance {
            Acceptance::MinimumAndMean { minimum_um, mean_um } => {
                vec![self.mean(mean_um.unwrap_or(limit)), self.each(minimum_um.unwrap_or(limit), "everywhere")]
            }
            Acceptance::Mean => vec![self.mean(limit)],
            Acceptance::MeanAnd80Percent { reading_share, below_share_max, below_share_inclusive } => {
                let mut all = vec![self.mean(limit), self.each(reading_share * limit, "of every reading")];
                all.extend(below_share_max.map(|most| self.share_below(most, below_share_inclusive)));
                all
            }
            Acceptance::SpotOfThree { spot_share, spot_max_um } => {
                let mut all = vec![self.mean(limit), self.each(spot_share.unwrap_or(1.0) * limit, "of every spot")];
                all.extend(spot_max_um.map(|most| self.none_over(most)));
                all
            }
            Acceptance::Percentile { share, confidence } => vec![self.percentile(share, confidence)],
        }
    }

    fn judgement(
        &self,
        part: &str,
        verdict: Verdict,
        value: Option<f64>,
        u: Option<f64>,
        limit: Limit,
        prob: Option<f64>,
        why: String,
    ) -> Judgement {
        Judgement {
            verdict,
            value,
            u,
            limit: Some(limit),
            unit: "um".into(),
            prob_conforms: prob,
            grade: Some(self.grade),
            rule: format!("{}: {part}", self.rule),
            source: self.source.into(),
            why,
        }
    }

    fn mean(&self, limit: f64) -> Judgement {
        let value = self.stratum.quantile(Quantity::MEAN, self.factor, 0.5);
        let u = self.stratum.deviation(Quantity::MEAN, self.factor);
        let prob = self.stratum.prob_at_least(Quantity::MEAN, self.factor, limit);
        let (verdict, because) = decided(self.decision, value, u, limit, prob);
        let why = format!("mean {value:.0} µm; at least {limit:.0} µm asked; {because}");
        self.judgement("mean", verdict, Some(value), Some(u), Limit::AtLeast(limit), Some(prob), why)
    }

    fn percentile(&self, share: f64, confidence: f64) -> Judgement {
        let quantity = Quantity::exceeded_by(share);
        let value = self.stratum.quantile(quantity, self.factor, 0.5);
        let u = self.stratum.deviation(quantity, self.factor);
        let prob = self.stratum.prob_at_least(quantity, self.factor, self.limit_um);
        let (verdict, because) = decided(Decision::Guarded { risk: 1.0 - confidence }, value, u, self.limit_um, prob);
        // Few readings do not know a percentile; what passes then is the assumed scatter.
        let (verdict, because) = if verdict == Verdict::Conforms && !self.percentile_says {
            (Verdict::NotShown, format!("{because}, but that rests more on the assumed scatter than on the readings"))
        } else {
            (verdict, because)
        };
        let why = format!(
            "{:.0} % of the surface has {value:.0} µm or more; at least {:.0} µm asked with {:.0} % confidence; {because}",
            share * 100.0,
            self.limit_um,
            confidence * 100.0
        );
        self.judgement("percentile", verdict, Some(value), Some(u), Limit::AtLeast(self.limit_um), Some(prob), why)
    }

    /// Every reading held against a minimum: one shown below it is enough to fall short.
    fn each(&self, limit: f64, where_asked: &str) -> Judgement {
        let verdicts: Vec<Verdict> = self.readings.iter().map(|r| r.against(limit, self.decision)).collect();
        let worst = verdicts.iter().copied().max().unwrap_or(Verdict::NotShown);
        let lowest = self.readings.iter().min_by(|a, b| a.lo.total_cmp(&b.lo).then(a.hi.total_cmp(&b.hi)));
        let named: Vec<&Direct> = self.readings.iter().zip(&verdicts).filter(|(_, v)| **v == worst).map(|(r, _)| r).collect();
        let asked = format!("at least {limit:.0} µm asked {where_asked}");
        let why = match (worst, named.first()) {
            (Verdict::Conforms, _) => format!("lowest, {}; {asked}", lowest.map_or_else(String::new, Direct::words)),
            (Verdict::FallsShort, Some(first)) => format!("{}{}; {asked}", first.words(), more(named.len())),
            (_, Some(first)) => format!("{}{}; {asked}; it may lie on either side", first.words(), more(named.len())),
            (_, None) => asked,
        };
        self.judgement("minimum", worst, lowest.map(|r| r.lo), lowest.map(|r| r.u), Limit::AtLeast(limit), None, why)
    }

    /// No spot over a largest film.
    fn none_over(&self, limit: f64) -> Judgement {
        // Reaching is the same question turned round.
        let verdicts: Vec<Verdict> = self
            .readings
            .iter()
            .map(|r| Direct { lo: -r.hi, hi: -r.lo, name: String::new(), u: r.u }.against(-limit, self.decision))
            .collect();
        let worst = verdicts.iter().copied().max().unwrap_or(Verdict::NotShown);
        let highest = self.readings.iter().max_by(|a, b| a.hi.total_cmp(&b.hi));
        let why = format!("highest, {}; at most {limit:.0} µm asked of every spot", highest.map_or_else(String::new, Direct::words));
        self.judgement("largest", worst, highest.map(Direct::middle), highest.map(|r| r.u), Limit::AtMost(limit), None, why)
    }

    /// The share of readings under the limit, counted as they stand; a bracket counts by its middle.
    fn share_below(&self, most: f64, inclusive: bool) -> Judgement {
        let below = self.readings.iter().filter(|r| !Limit::AtLeast(self.limit_um).allows(r.middle())).count();
        let share = below as f64 / self.readings.len().max(1) as f64;
        let allowed = if inclusive { Limit::AtMost(most).allows(share) } else { share < most - 1e-12 };
        let verdict = if allowed { Verdict::Conforms } else { Verdict::FallsShort };
        let asked = if inclusive { "no more than" } else { "fewer than" };
        let why =
            format!("{below} of {} readings under {:.0} µm; {asked} {:.0} % allowed", self.readings.len(), self.limit_um, most * 100.0);
        let mut judgement = self.judgement("readings under the limit", verdict, Some(share), Some(0.0), Limit::AtMost(most), None, why);
        judgement.unit = "share".into();
        judgement
    }
}

fn more(named: usize) -> String {
    if named > 1 { format!(" and {} more", named - 1) } else { String::new() }
}

/// What a decision rule makes of an estimate with its own probability of reaching the limit.
fn decided(decision: Decision, value: f64, u: f64, limit: f64, prob: f64) -> (Verdict, String) {
    let reaches = Limit::AtLeast(limit).allows(value);
    match decision {
        Decision::Guarded { risk } if prob >= 1.0 - risk => (Verdict::Conforms, format!("{} sure", percent(prob))),
        Decision::Guarded { risk } if prob <= risk => (Verdict::FallsShort, format!("{} sure that it does not", percent(1.0 - prob))),
        Decision::Guarded { .. } => (Verdict::NotShown, format!("the uncertainty straddles the limit ({} sure)", percent(prob))),
        Decision::Simple { u_max } if u > u_max && prob > CLEARLY_OUTSIDE => {
            (Verdict::NotShown, format!("the uncertainty of {u:.0} µm is larger than the {u_max:.0} µm allowed ({} sure)", percent(prob)))
        }
        Decision::Simple { .. } if reaches && prob < 0.95 => {
            (Verdict::Conforms, format!("inside the limit, not proved to 95 % ({})", percent(prob)))
        }
        Decision::Simple { .. } if !reaches && prob > 0.05 => {
            (Verdict::FallsShort, format!("outside the limit, not proved to 95 % ({})", percent(1.0 - prob)))
        }
        Decision::Simple { .. } if reaches => (Verdict::Conforms, format!("{} sure", percent(prob))),
        Decision::Simple { .. } => (Verdict::FallsShort, format!("{} sure that it does not", percent(1.0 - prob))),
    }
}
