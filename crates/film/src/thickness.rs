//! Is each stratum thick enough, and how sure is that, from comb brackets and gauge readings.
//!
//! The model and why it is so stands in [`crate::posterior`]. Three to ten readings are the usual case: strata share their
//! scatter, and each borrows a little from the others; how much of an estimate is its own stands beside it. What few
//! readings make of it:
//!
//! * *One bracket or one reading*: an estimate with the width of the bracket and of the usual scatter; `not shown`, being
//!   fewer than the least number.
//! * *All in one bracket, or all equal*: the scatter is small but never under 1 %; the estimate fills the bracket.
//! * *A gross outlier*: named, and kept. It widens the scatter of every stratum, so nothing conforms by it; whoever read it
//!   looks again.

use crate::acceptance::{Acceptance, Direct, Evidence};
use crate::coats::{self, Coats};
use crate::likelihood::Seen;
use crate::next::{self, Ask};
use crate::posterior::{self, Factor, Posterior, Prior, Quantity, Stratum};
use crate::words::{count, percent};
use measure::{Assumed, Check};
use measure::{Bounds, Decision, Grade, Judgement, LEAST_READINGS, Problem, Problems, Verdict, math};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A film, or a tooth of a comb.
pub const FILM_UM: Bounds = Bounds { min: 1.0, max: 50_000.0, unit: "µm" };
/// Standard uncertainty of a reading.
const U_UM: Bounds = Bounds { min: 0.0, max: 5_000.0, unit: "µm" };
/// Solids by volume.
pub const SOLIDS: Bounds = Bounds { min: 0.05, max: 1.0, unit: "(a share; 55 % is 0.55)" };
const U_SOLIDS: Bounds = Bounds { min: 0.0, max: 0.3, unit: "(a share)" };
/// Thinner added, as a share of the product's volume.
pub const THINNING: Bounds = Bounds { min: 0.0, max: 1.0, unit: "(a share; 5 % is 0.05)" };
const SCATTER: Bounds = Bounds { min: 0.02, max: 1.0, unit: "(relative; 15 % is 0.15)" };
const FACTOR: Bounds = Bounds { min: 1.1, max: 10.0, unit: "times" };
const PROBABILITY: Bounds = Bounds { min: 0.001, max: 0.999, unit: "(a probability)" };
const WATER_L: Bounds = Bounds { min: 0.0, max: 1.0e6, unit: "L a day" };
const COATS: Bounds = Bounds { min: 2.0, max: 10.0, unit: "coats" };
/// Most readings and strata of one input: what a room, or forty like rooms, could have.
pub const MOST_READINGS: usize = 5_000;
/// Most strata.
pub const MOST_STRATA: usize = 60;
/// Half of the last digit of a gauge that shows whole micrometres, as a standard uncertainty: readings agree no better.
const DIGIT_UM: f64 = 0.29;
/// A reading further from the middle of its stratum than this many robust deviations stands out (Iglewicz and Hoaglin
/// 1993, quoted in the NIST/SEMATECH e-Handbook, 1.3.5.17).
const STANDS_OUT: f64 = 3.5;
/// The percentile says something when the readings took this share of the doubt about the scatter away.
const LEARNT: f64 = 0.5;
/// Strata given as the next to read.
const NEXT: usize = 3;
/// A chance of changing a verdict already given that is worth no reading.
const WORTH_NOTHING: f64 = 0.01;
/// What ends the rule of a judgement of single readings.
const MINIMUM: &str = ": minimum";
/// Kinds of place where a comb does not stand on two points of one plane (common practice, no source).
const NO_COMB: [&str; 7] = ["junction", "corner", "fillet", "outlet", "flange", "penetration", "fabric"];

/// Film readings, what is asked of them, and what is known of the product.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Input {
    /// Whether the film was wet or dry when read.
    pub kind: Kind,
    /// What is asked, in micrometres: of the dry film when `kind` is dry or `solids_by_volume` is given, else of the wet
    /// film.
    #[schemars(range(min = 1.0, max = 50000.0))]
    pub limit_um: f64,
    /// Solids by volume as a share; wet readings are then turned into dry film.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.05, max = 1.0))]
    pub solids_by_volume: Option<f64>,
    /// Standard uncertainty (k = 1) of `solids_by_volume`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 0.3))]
    pub u_solids_by_volume: Option<f64>,
    /// Thinner added as a share of the product's volume.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 1.0))]
    pub thinning: Option<f64>,
    /// The readings.
    pub readings: Vec<Reading>,
    /// Strata that owe readings; one without any is `not shown`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub strata_due: Vec<String>,
    /// Litres of water a day by stratum: among the next readings, those of wet strata come first. A stratum not named counts
    /// as one litre.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub water_l: BTreeMap<String, f64>,
    /// Coats due and what each gives; then the probability of a missing coat is given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub coats: Option<CoatsDue>,
    /// How readings are accepted; a minimum everywhere and a mean when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub acceptance: Option<Acceptance>,
    /// Fewest readings a stratum is judged on; 3 when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 1, max = 1000))]
    pub least_readings: Option<usize>,
    /// What is taken as known of films like this one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub prior: Option<PriorGiven>,
    /// How values are judged; guarded at 5 % when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub decision: Option<Decision>,
    /// Id of the rule the limit comes from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rule: Option<String>,
    /// Where the limit comes from: data sheet, edition, clause.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
    /// Grade of the readings; `measured` when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub grade: Option<Grade>,
}

/// Whether a film was wet or dry.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// Read in the fresh coat.
    Wet,
    /// Read in the hardened film.
    #[default]
    Dry,
}

/// What a film was read with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Tool {
    /// A comb: the last wetted tooth and the next dry one.
    Comb,
    /// A gauge.
    Gauge,
    /// A piece cut out and measured; its place must be patched.
    CutOut,
}

/// One reading: a bracket (`lo_um`, `hi_um`) or a value (`value_um`, `u_um`).
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Reading {
    /// The kind of place: field, junction, outlet, penetration, water stop, recess; or any name.
    pub stratum: String,
    /// Last tooth of the comb that was wetted; left out when none was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 50000.0))]
    pub lo_um: Option<f64>,
    /// Next tooth, which stayed dry; left out when all were wetted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 1.0, max = 50000.0))]
    pub hi_um: Option<f64>,
    /// A value, in place of a bracket.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 50000.0))]
    pub value_um: Option<f64>,
    /// Standard uncertainty (k = 1) of the value, or of where the comb's feet stood (rough screed: half of the 100 to 200 µm
    /// it adds). Assumed for a value when left out; 0 for a bracket.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 5000.0))]
    pub u_um: Option<f64>,
    /// `dry` for a cut-out or gauge reading among wet ones; needs `solids_by_volume`, whose doubt it then shares.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kind: Option<Kind>,
    /// What it was read with; a bracket in a wet film is taken as a comb's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tool: Option<Tool>,
    /// Readings of one small circle carry the same name; needed by `spot-of-three` only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spot: Option<String>,
}

/// Coats due.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CoatsDue {
    /// How many, two or more.
    #[schemars(range(min = 2, max = 10))]
    pub due: u32,
    /// Mean film of one coat in micrometres, wet or dry as the results are.
    #[schemars(range(min = 1.0, max = 50000.0))]
    pub each_um: f64,
    /// Relative standard deviation of the mean film of a stratum about what its coats should give.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.02, max = 1.0))]
    pub u_share: Option<f64>,
    /// Probability that a stratum lacks a coat before anything is read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.001, max = 0.999))]
    pub prior_short: Option<f64>,
}

/// What is taken as known of films like this one before any reading.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct PriorGiven {
    /// Middle of the relative scatter from place to place.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.02, max = 1.0))]
    pub scatter: Option<f64>,
    /// The scatter lies within this factor of it with 90 % probability.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 1.1, max = 10.0))]
    pub scatter_factor: Option<f64>,
    /// Typical relative difference between strata.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.02, max = 1.0))]
    pub between: Option<f64>,
}

/// What the readings say.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Output {
    /// Whether the results are of the wet or the dry film.
    pub film: Kind,
    /// One for each stratum, in the order first named.
    pub strata: Vec<StratumOut>,
    /// All strata together.
    pub pooled: Pooled,
    /// Up to three strata to read next: those whose verdict further readings are most likely to change, by the water each
    /// sees. Without any reading yet, the wettest.
    pub next: Vec<Next>,
    /// The worst verdict of all strata.
    pub verdict: Verdict,
    /// The judgement that decides.
    pub judgement: Judgement,
    /// What to know when using these results.
    pub notes: Vec<String>,
    /// What was not given and was therefore assumed.
    pub assumed: Vec<Assumed>,
}

/// A stratum to read next.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Next {
    /// The stratum.
    pub stratum: String,
    /// Readings to take there.
    pub readings: u32,
    /// What they are worth; absent before anything was read.
    pub worth: Option<Worth>,
    /// In words.
    pub why: String,
}

/// What further readings of a stratum are worth.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Worth {
    /// Probability that the stratum's verdict will be another one.
    pub prob_verdict_changes: f64,
    /// Probability of taking the mean for on the wrong side of its limit, now.
    pub doubt: f64,
    /// The same after the readings, averaged over what they may show.
    pub doubt_after: f64,
}

/// A value with its 95 % interval.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct WithInterval {
    /// As likely above as below.
    pub value: f64,
    /// 2.5 % lie below.
    pub lo: f64,
    /// 2.5 % lie above.
    pub hi: f64,
}

impl From<posterior::Interval> for WithInterval {
    fn from(i: posterior::Interval) -> Self {
        Self { value: i.value, lo: i.lo, hi: i.hi }
    }
}

/// One stratum.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct StratumOut {
    /// Its name.
    pub stratum: String,
    /// Readings that count.
    pub n: usize,
    /// Mean film; absent without readings.
    pub mean_um: Option<WithInterval>,
    /// Standard uncertainty of the mean.
    pub u_mean_um: Option<f64>,
    /// The film that nine tenths of the places exceed.
    pub p10_um: Option<WithInterval>,
    /// Standard uncertainty of that percentile.
    pub u_p10_um: Option<f64>,
    /// Whether the percentile rests on the readings more than on the assumed scatter.
    pub p10_says: bool,
    /// Probability that the mean reaches its limit.
    pub prob_mean_ok: Option<f64>,
    /// Probability that the percentile reaches `limit_um`.
    pub prob_p10_ok: Option<f64>,
    /// Expected share of the places under `limit_um`.
    pub share_below: Option<f64>,
    /// How much of the estimate rests on the stratum's own readings; the rest is borrowed from the others.
    pub own_share: Option<f64>,
    /// Probability that one coat is missing; absent unless `coats` is given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub prob_one_coat_short: Option<f64>,
    /// About how many more readings would settle the mean if it stays where it is; absent when it is settled.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub more_readings: Option<u32>,
    /// The verdict.
    pub verdict: Verdict,
    /// The judgement that decides: the first with that verdict.
    pub judgement: Judgement,
    /// The judgement of a place of this stratum that was not read itself: without what single readings are held against.
    pub unread: Judgement,
    /// Everything the rule asks, one by one.
    pub judgements: Vec<Judgement>,
    /// Every reading of the stratum, to be drawn as a dot.
    pub readings: Vec<Dot>,
    /// What to know when using this stratum's results.
    pub notes: Vec<String>,
}

/// One reading as it is drawn, on the scale of the results.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Dot {
    /// Place in the input's `readings`, from 0.
    pub index: usize,
    /// Its value; absent for a bracket.
    pub value_um: Option<f64>,
    /// Lower end: of the bracket, or two standard uncertainties under the value.
    pub lo_um: f64,
    /// Upper end likewise; absent where open.
    pub hi_um: Option<f64>,
    /// Whether it counts; a comb's reading at a junction does not.
    pub counts: bool,
    /// Whether it reaches what every single reading must; absent where the rule asks nothing of single readings, and where
    /// it does not count.
    pub verdict: Option<Verdict>,
    /// Whether it lies so far from the others that it should be looked at again. It still counts.
    pub stands_out: bool,
}

/// All strata together.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Pooled {
    /// Readings that count.
    pub n: usize,
    /// Mean film of a stratum like these.
    pub mean_um: Option<WithInterval>,
    /// Relative scatter from place to place within a stratum.
    pub scatter: Option<WithInterval>,
}

/// Judges film readings.
///
/// Errors: everything out of bounds, readings that are neither a value nor a bracket or both, brackets upside down, more
/// than [`MOST_READINGS`] readings or [`MOST_STRATA`] strata. No reading at all is no error: every stratum due is then
/// `not shown`.
pub fn run(input: &Input) -> Result<Output, Problems> {
    let job = Job::of(input)?;
    let counted = posterior::posterior(&job.seen(|r| r.counts), &job.prior);
    // What a comb said where it does not serve is shown, apart, so that it cannot colour what does.
    let with_all = job.readings.iter().any(|r| !r.counts).then(|| posterior::posterior(&job.seen(|_| true), &job.prior));
    let short = job.coats.map(|coats| coats::prob_short(&job.seen(|r| r.counts), &job.prior, &coats, job.factor));
    let strata: Vec<StratumOut> = (0..job.names.len())
        .map(|i| {
            let shown = counted.strata[i].as_ref().or_else(|| with_all.as_ref().and_then(|p| p.strata[i].as_ref()));
            job.stratum(i, shown, &counted, short.as_ref().and_then(|s| s[i]))
        })
        .collect();
    let next = job.next(&strata, &counted);
    let n = strata.iter().map(|s| s.n).sum();
    let pooled =
        Pooled { n, mean_um: (n > 0).then(|| counted.common_mean(job.factor).into()), scatter: (n > 0).then(|| counted.scatter().into()) };
    let judgement = strata
        .iter()
        .map(|s| &s.judgement)
        .fold(None, |worst: Option<&Judgement>, next| worst.filter(|w| w.verdict >= next.verdict).or(Some(next)))
        .cloned()
        .unwrap_or_else(|| Judgement::not_shown("um", &job.rule, &job.source, "no film reading"));
    Ok(Output { film: job.film, strata, pooled, next, verdict: judgement.verdict, judgement, notes: job.notes(), assumed: job.assumed })
}

/// A checked reading.
struct Checked {
    stratum: usize,
    index: usize,
    /// As read, in micrometres: a value has both ends equal.
    lo: f64,
    hi: f64,
    u: f64,
    spot: Option<String>,
    counts: bool,
    stands_out: bool,
}

impl Checked {
    fn is_value(&self) -> bool {
        self.lo == self.hi
    }

    fn seen(&self) -> Seen {
        if self.is_value() && self.lo > 2.0 * self.u && self.lo >= FILM_UM.min {
            let r = math::hypot(self.u, DIGIT_UM) / self.lo;
            return Seen::Value { ln: math::ln(self.lo), r };
        }
        if self.is_value() {
            // A value that its uncertainty could make nothing only says: no more than this.
            return Seen::Between { lo: f64::NEG_INFINITY, hi: math::ln((self.lo + 2.0 * self.u).max(FILM_UM.min)), r: 0.05 };
        }
        let (lo, hi) = (if self.lo > 0.0 { math::ln(self.lo) } else { f64::NEG_INFINITY }, math::ln(self.hi));
        let middle = match (self.lo > 0.0, self.hi.is_finite()) {
            (true, true) => (self.lo * self.hi).sqrt(),
            (true, false) => self.lo,
            _ => self.hi,
        };
        Seen::Between { lo, hi, r: self.u / middle }
    }
}

/// A checked input.
struct Job<'a> {
    input: &'a Input,
    acceptance: Acceptance,
    names: Vec<String>,
    readings: Vec<Checked>,
    film: Kind,
    factor: Factor,
    prior: Prior,
    coats: Option<Coats>,
    least: usize,
    decision: Decision,
    rule: String,
    source: String,
    assumed: Vec<Assumed>,
}

impl<'a> Job<'a> {
    fn of(input: &'a Input) -> Result<Self, Problems> {
        let mut check = Check::default();
        check.bounded("limit_um", input.limit_um, FILM_UM);
        let acceptance = input.acceptance.clone().unwrap_or_default();
        acceptance.check(&mut check, FILM_UM);
        check_decision(&mut check, input.decision);
        for (stratum, litres) in &input.water_l {
            check.bounded(format!("water_l.{stratum}"), *litres, WATER_L);
        }
        let least = input.least_readings.unwrap_or(LEAST_READINGS);
        if !(1..=1000).contains(&least) {
            check.wrong("least_readings", "out of bounds", "between 1 and 1000");
        }
        let (film, factor) = factor(&mut check, input);
        let (names, readings) = readings(&mut check, input, factor, matches!(acceptance, Acceptance::SpotOfThree { .. }));
        let prior = prior(&mut check, input.prior.unwrap_or_default());
        let coats = input.coats.as_ref().map(|coats| coats_due(&mut check, coats));
        let assumed = std::mem::take(&mut check.assumed);
        check.problems.or(())?;
        let mut job = Self {
            input,
            acceptance,
            names,
            readings,
            film,
            factor,
            prior,
            coats,
            least,
            decision: input.decision.unwrap_or_default(),
            rule: input.rule.clone().unwrap_or_else(|| "film".into()),
            source: input.source.clone().unwrap_or_else(|| "limit as given".into()),
            assumed,
        };
        job.find_what_stands_out();
        Ok(job)
    }

    /// The readings of each stratum; those of one spot as their mean where spots are judged.
    fn seen(&self, which: impl Fn(&Checked) -> bool) -> Vec<Vec<Seen>> {
        let mut strata = vec![Vec::new(); self.names.len()];
        if matches!(self.acceptance, Acceptance::SpotOfThree { .. }) {
            for (stratum, seen) in strata.iter_mut().enumerate() {
                seen.extend(self.spots(stratum, &which).iter().map(|(_, spot)| spot.seen()));
            }
        } else {
            self.readings.iter().filter(|r| which(r)).for_each(|r| strata[r.stratum].push(r.seen()));
        }
        strata
    }

    /// The spots of a stratum: name with how many readings, and their mean.
    fn spots(&self, stratum: usize, which: &impl Fn(&Checked) -> bool) -> Vec<((String, usize), Checked)> {
        let mut spots: BTreeMap<&str, Vec<&Checked>> = BTreeMap::new();
        for r in self.readings.iter().filter(|r| r.stratum == stratum && which(r)) {
            spots.entry(r.spot.as_deref().unwrap_or_default()).or_default().push(r);
        }
        let mean = |of: &[&Checked], f: fn(&Checked) -> f64| of.iter().map(|r| f(r)).sum::<f64>() / of.len() as f64;
        spots
            .into_iter()
            .map(|(name, of)| {
                let u = of.iter().map(|r| r.u * r.u).sum::<f64>().sqrt() / of.len() as f64;
                let spot = Checked {
                    stratum,
                    index: 0,
                    lo: mean(&of, |r| r.lo),
                    hi: mean(&of, |r| r.hi),
                    u,
                    spot: None,
                    counts: true,
                    stands_out: false,
                };
                ((name.to_string(), of.len()), spot)
            })
            .collect()
    }

    /// Marks readings far from the middle of their stratum, measured by the median of all such distances.
    fn find_what_stands_out(&mut self) {
        let seen: Vec<(usize, f64)> = self.readings.iter().map(|r| (r.stratum, r.seen().middle())).collect();
        let middles: Vec<f64> = (0..self.names.len())
            .map(|s| {
                let own: Vec<f64> = seen.iter().filter(|r| r.0 == s).map(|r| r.1).collect();
                // One or two readings have no middle that one of them could stand out from.
                median(if own.len() >= 3 { own } else { seen.iter().map(|r| r.1).collect() })
            })
            .collect();
        if seen.len() < 4 {
            return;
        }
        let distances: Vec<f64> = seen.iter().map(|(s, x)| (x - middles[*s]).abs()).collect();
        let usual = (1.4826 * median(distances.clone())).max(self.prior.scatter);
        for (reading, distance) in self.readings.iter_mut().zip(distances) {
            reading.stands_out = distance > STANDS_OUT * usual;
        }
    }

    fn direct(&self, name: String, r: &Checked) -> Direct {
        let f = math::exp(self.factor.ln);
        let middle = if r.hi.is_finite() { 0.5 * (r.lo + r.hi) } else { r.lo };
        Direct { name, lo: r.lo * f, hi: r.hi * f, u: f * math::hypot(r.u, middle * self.factor.r) }
    }

    fn stratum(&self, index: usize, shown: Option<&Stratum>, all: &Posterior, short: Option<f64>) -> StratumOut {
        let own: Vec<&Checked> = self.readings.iter().filter(|r| r.stratum == index).collect();
        let n = own.iter().filter(|r| r.counts).count();
        let interval = |quantity| {
            shown.map(|s| {
                let at = |p| s.quantile(quantity, self.factor, p);
                WithInterval { value: at(0.5), lo: at(0.025), hi: at(0.975) }
            })
        };
        let p10 = Quantity::exceeded_by(0.9);
        let mean_limit = self.acceptance.mean_limit(self.input.limit_um);
        let p10_says = n >= self.least && all.scatter_learnt(&self.prior) >= LEARNT;
        let judgements = match shown {
            Some(stratum) if n > 0 => self.judged(index, stratum, p10_says),
            _ => Vec::new(),
        };
        let each: Vec<&Judgement> = judgements.iter().collect();
        let judgement = self.deciding(index, &own, n, &each);
        let of_single = |j: &Judgement| self.reading_limit().is_some() && j.rule.ends_with(MINIMUM);
        let apart: Vec<&Judgement> = judgements.iter().filter(|j| !of_single(j)).collect();
        let unread = self.deciding(index, &own, n, &apart);
        let mean_um = interval(Quantity::MEAN);
        StratumOut {
            stratum: self.names[index].clone(),
            n,
            mean_um,
            u_mean_um: shown.map(|s| s.deviation(Quantity::MEAN, self.factor)),
            p10_um: interval(p10),
            u_p10_um: shown.map(|s| s.deviation(p10, self.factor)),
            p10_says,
            prob_mean_ok: shown.map(|s| s.prob_at_least(Quantity::MEAN, self.factor, mean_limit)),
            prob_p10_ok: shown.map(|s| s.prob_at_least(p10, self.factor, self.input.limit_um)),
            share_below: shown.map(|s| s.share_below(self.factor, self.input.limit_um)),
            own_share: shown.map(|s| s.own_share),
            prob_one_coat_short: short,
            more_readings: self.more_readings(n, mean_um, mean_limit, all, shown),
            verdict: judgement.verdict,
            judgement,
            unread,
            judgements,
            readings: own.iter().map(|r| self.dot(r)).collect(),
            notes: self.stratum_notes(&own, n, p10_says),
        }
    }

    fn judged(&self, index: usize, stratum: &Stratum, percentile_says: bool) -> Vec<Judgement> {
        let direct: Vec<Direct> = if matches!(self.acceptance, Acceptance::SpotOfThree { .. }) {
            self.spots(index, &|r: &Checked| r.counts).iter().map(|((name, _), r)| self.direct(format!("spot {name}"), r)).collect()
        } else {
            let own = self.readings.iter().filter(|r| r.stratum == index && r.counts);
            own.map(|r| self.direct(format!("reading {}", r.index + 1), r)).collect()
        };
        let evidence = Evidence {
            stratum,
            factor: self.factor,
            readings: &direct,
            limit_um: self.input.limit_um,
            decision: self.decision,
            rule: &self.rule,
            source: &self.source,
            grade: self.input.grade.unwrap_or(Grade::Measured),
            percentile_says,
        };
        evidence.judged(&self.acceptance)
    }

    /// The worst judgement, held back where there are too few readings. A reading shown below the minimum falls short
    /// however few there are.
    fn deciding(&self, index: usize, own: &[&Checked], n: usize, judgements: &[&Judgement]) -> Judgement {
        let worst = judgements.iter().copied().reduce(|worst, next| if next.verdict > worst.verdict { next } else { worst });
        let Some(worst) = worst else {
            let why = if own.is_empty() {
                "no reading".to_string()
            } else {
                format!("{} by comb: a comb serves the field only", count(own.len(), "reading"))
            };
            return Judgement::not_shown("um", &self.rule, &self.source, format!("{}: {why}", self.names[index]));
        };
        let few =
            |judgement: &Judgement| judgement.clone().held_back(&format!("{}, fewer than the {} asked", count(n, "reading"), self.least));
        let direct = judgements.iter().find(|j| j.verdict == Verdict::FallsShort && j.rule.ends_with(MINIMUM));
        if n < self.least {
            return direct.map_or_else(|| few(worst), |direct| (*direct).clone());
        }
        if let Some(thin) = self.thin_spot(index) {
            return worst.clone().held_back(&thin);
        }
        worst.clone()
    }

    /// A spot with fewer than three readings, where spots are judged.
    fn thin_spot(&self, index: usize) -> Option<String> {
        if !matches!(self.acceptance, Acceptance::SpotOfThree { .. }) {
            return None;
        }
        let spots = self.spots(index, &|r: &Checked| r.counts);
        spots
            .into_iter()
            .find(|((_, of), _)| *of < 3)
            .map(|((name, of), _)| format!("spot {name} has {}, three asked", count(of, "reading")))
    }

    /// Readings that would bring the mean's doubt down to the distance from the limit, the scatter being what it is.
    fn more_readings(&self, n: usize, mean: Option<WithInterval>, limit: f64, all: &Posterior, shown: Option<&Stratum>) -> Option<u32> {
        let (mean, shown) = (mean?, shown?);
        let Decision::Guarded { risk } = self.decision else { return None };
        let prob = shown.prob_at_least(Quantity::MEAN, self.factor, limit);
        if n == 0 || (prob >= 1.0 - risk || prob <= risk) && n >= self.least {
            return None;
        }
        let distance = math::ln(mean.value / limit).abs();
        let z = math::normal_quantile(1.0 - risk);
        // What all readings share stays however many there are.
        let room = math::sq(distance / z) - math::sq(self.factor.r);
        if room <= 0.0 {
            return None;
        }
        let needed = math::sq(all.scatter().value) / room;
        let more = (needed.ceil() - n as f64).max(self.least as f64 - n as f64).max(1.0);
        (more <= 1000.0).then_some(more as u32)
    }

    fn dot(&self, r: &Checked) -> Dot {
        let d = self.direct(String::new(), r);
        let (lo, hi) = if r.is_value() { ((d.lo - 2.0 * d.u).max(0.0), d.lo + 2.0 * d.u) } else { (d.lo, d.hi) };
        Dot {
            index: r.index,
            value_um: r.is_value().then_some(d.lo),
            lo_um: lo,
            hi_um: Some(hi).filter(|hi| hi.is_finite()),
            counts: r.counts,
            verdict: self.reading_limit().filter(|_| r.counts).map(|limit| d.against(limit, self.decision)),
            stands_out: r.stands_out,
        }
    }

    fn reading_limit(&self) -> Option<f64> {
        self.acceptance.reading_limit(self.input.limit_um)
    }

    /// The strata whose verdict further readings are most likely to change for each reading taken, by their water.
    fn next(&self, strata: &[StratumOut], all: &Posterior) -> Vec<Next> {
        let unread = all.unread();
        let known = |i: usize| all.strata[i].as_ref().or(unread.as_ref());
        let mut asked: Vec<(f64, f64, Next)> = (strata.iter().enumerate())
            .filter_map(|(i, stratum)| {
                let readings = self.least.saturating_sub(stratum.n).max(1) as u32;
                let worth = known(i).map(|known| self.worth(i, stratum, known, readings));
                if stratum.verdict != Verdict::NotShown && worth.is_some_and(|w| w.prob_verdict_changes < WORTH_NOTHING) {
                    return None;
                }
                let water = self.input.water_l.get(&stratum.stratum).copied().unwrap_or(1.0);
                let changes = worth.map_or(1.0, |w| w.prob_verdict_changes) / f64::from(readings);
                let drops = worth.map_or(0.0, |w| w.doubt - w.doubt_after);
                let why = self.next_words(stratum, readings, worth);
                Some((water * changes, water * drops, Next { stratum: stratum.stratum.clone(), readings, worth, why }))
            })
            .collect();
        asked.sort_by(|a, b| b.0.total_cmp(&a.0).then(b.1.total_cmp(&a.1)));
        asked.into_iter().take(NEXT).map(|(.., next)| next).collect()
    }

    fn worth(&self, index: usize, stratum: &StratumOut, known: &Stratum, readings: u32) -> Worth {
        let ask = Ask {
            mean_um: self.acceptance.mean_limit(self.input.limit_um),
            reading_um: self.reading_limit(),
            decision: self.decision,
            factor: self.factor,
            readings,
            u: self.usual_u(index),
            verdict: stratum.verdict,
        };
        let worth = next::worth(known, &ask);
        // A reading shown to be short stays so, whatever is read beside it.
        let shown_short = stratum.readings.iter().any(|dot| dot.verdict == Some(Verdict::FallsShort));
        let prob_verdict_changes = if shown_short { 0.0 } else { worth.prob_changes };
        Worth { prob_verdict_changes, doubt: worth.doubt, doubt_after: worth.doubt_after }
    }

    /// Relative uncertainty of the stratum's readings, of all where it has none: what one more will have.
    fn usual_u(&self, index: usize) -> f64 {
        let of = |own: bool| -> Vec<f64> {
            let which = self.readings.iter().filter(|r| r.counts && (!own || r.stratum == index));
            which.map(|r| r.seen().variance(0.0).sqrt()).collect()
        };
        let own = of(true);
        median(if own.is_empty() { of(false) } else { own }).clamp(0.005, 0.3)
    }

    fn next_words(&self, stratum: &StratumOut, readings: u32, worth: Option<Worth>) -> String {
        let what = format!("{}: {}", stratum.stratum, count(readings as usize, "further reading"));
        match worth {
            None => format!("{what}; nothing was read yet"),
            Some(worth) => {
                let now = if stratum.n < self.least { "would settle it" } else { "would change the verdict" };
                format!("{what} {now} with a probability of {}", percent(worth.prob_verdict_changes))
            }
        }
    }

    fn stratum_notes(&self, own: &[&Checked], n: usize, p10_says: bool) -> Vec<String> {
        let mut notes = Vec::new();
        let not_counted = own.iter().filter(|r| !r.counts).count();
        if not_counted > 0 {
            notes.push(format!(
                "{} by comb does not count here: a comb serves the field only; colour of each coat, reinforcement seen, a photograph or a cut-out shows this place, and a cut-out must be patched",
                count(not_counted, "reading")
            ));
        }
        for r in own.iter().filter(|r| r.stands_out) {
            notes.push(format!("reading {} stands far from the others: look again; it counts as it is", r.index + 1));
        }
        if n > 0 && !p10_says {
            notes.push("the lower percentile rests more on the assumed scatter than on these readings".into());
        }
        notes
    }

    fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        let wet = self.input.kind == Kind::Wet;
        if wet && self.film == Kind::Dry {
            notes.push("wet readings are turned into dry film by the stated solids; they cannot check the solids themselves".into());
        }
        if !wet && (self.input.solids_by_volume.is_some() || self.input.thinning.is_some()) {
            notes.push("the film was read dry: solids and thinning play no part".into());
        }
        if wet && self.coats.is_some() {
            notes.push("a comb reads the coat that is still wet; readings of a single coat say nothing of how many there are".into());
        }
        notes.push(
            "thickness readings say how thick; a palm-sized miss they do not find: look at the colour of each coat and its strokes, photograph all of it in raking light, and flood it"
                .into(),
        );
        notes
    }
}

fn median(mut of: Vec<f64>) -> f64 {
    if of.is_empty() {
        return 0.0;
    }
    of.sort_by(f64::total_cmp);
    let middle = of.len() / 2;
    if of.len() % 2 == 1 { of[middle] } else { 0.5 * (of[middle - 1] + of[middle]) }
}

fn check_decision(check: &mut Check, decision: Option<Decision>) {
    match decision {
        Some(Decision::Guarded { risk }) if !(risk > 0.0 && risk < 0.5) => {
            check.problems.push(Problem::at("decision.risk", "out of bounds", "above 0 and below 0.5").value(risk));
        }
        Some(Decision::Simple { u_max }) if !(u_max >= 0.0 && u_max.is_finite()) => {
            check.problems.push(Problem::at("decision.u_max", "out of bounds", "zero or more, in µm").value(u_max));
        }
        _ => {}
    }
}

/// Of which film the results are, and what turns readings into it.
fn factor(check: &mut Check, input: &Input) -> (Kind, Factor) {
    let solids = check.optional("solids_by_volume", input.solids_by_volume, SOLIDS);
    let thinning = check.optional("thinning", input.thinning, THINNING).unwrap_or(0.0);
    check.optional("u_solids_by_volume", input.u_solids_by_volume, U_SOLIDS);
    match (input.kind, solids) {
        (Kind::Wet, Some(solids)) => {
            let u = check.or_assumed(
                "u_solids_by_volume",
                input.u_solids_by_volume,
                U_SOLIDS,
                0.015,
                "a stated 3 points expanded, halved; common practice, no source",
            );
            (Kind::Dry, Factor { ln: math::ln(solids / (1.0 + thinning)), r: u / solids })
        }
        (kind, _) => (kind, Factor::ONE),
    }
}

fn prior(check: &mut Check, given: PriorGiven) -> Prior {
    let why = "a film rolled or trowelled on site; common practice, no source";
    Prior {
        scatter: check.or_assumed("prior.scatter", given.scatter, SCATTER, 0.18, why),
        scatter_factor: check.or_assumed("prior.scatter_factor", given.scatter_factor, FACTOR, 3.0, why),
        between: check.or_assumed("prior.between", given.between, SCATTER, 0.25, why),
    }
}

fn coats_due(check: &mut Check, coats: &CoatsDue) -> Coats {
    check.bounded("coats.due", f64::from(coats.due), COATS);
    Coats {
        due: coats.due,
        each_um: check.bounded("coats.each_um", coats.each_um, FILM_UM),
        u_share: check.or_assumed(
            "coats.u_share",
            coats.u_share,
            SCATTER,
            0.15,
            "how near an applicator comes to the stated film; common practice, no source",
        ),
        prior_short: check.or_assumed(
            "coats.prior_short",
            coats.prior_short,
            PROBABILITY,
            0.1,
            "one stratum in ten lacks a coat; assumed, no source",
        ),
    }
}

/// The strata in the order first named, and every sound reading.
fn readings(check: &mut Check, input: &Input, factor: Factor, spots: bool) -> (Vec<String>, Vec<Checked>) {
    let mut names: Vec<String> = Vec::new();
    let mut places: BTreeMap<String, usize> = BTreeMap::new();
    let mut place = |name: &str| {
        *places.entry(name.to_string()).or_insert_with(|| {
            names.push(name.to_string());
            names.len() - 1
        })
    };
    if input.readings.len() > MOST_READINGS {
        let what = format!("{} readings", input.readings.len());
        check.wrong("readings", what, format!("at most {MOST_READINGS} at once; more belong on a map"));
        return (names, Vec::new());
    }
    let mut checked = Vec::new();
    for (i, reading) in input.readings.iter().enumerate() {
        if reading.stratum.trim().is_empty() {
            check.wrong(format!("readings[{i}].stratum"), "missing", "the kind of place, such as field or junction");
        }
        if spots && reading.spot.is_none() {
            check.wrong(format!("readings[{i}].spot"), "missing", "which spot the reading belongs to; three readings a spot");
        }
        let kind = reading.kind.unwrap_or(input.kind);
        if kind != input.kind && !(input.kind == Kind::Wet && input.solids_by_volume.is_some()) {
            let right = "dry readings among wet ones with solids_by_volume given, or inputs of one kind";
            check.wrong(format!("readings[{i}].kind"), "cannot be turned into the other film", right);
        }
        let stratum = place(reading.stratum.trim());
        if let Some([lo, hi, u]) = read(check, i, reading) {
            let comb = reading.tool.map_or(reading.value_um.is_none() && kind == Kind::Wet, |tool| tool == Tool::Comb);
            let counts = !(comb && no_comb(&reading.stratum));
            // On the scale of the wet film it would have come from; the results turn it back.
            let wet = if kind == input.kind { 1.0 } else { math::exp(-factor.ln) };
            let [lo, hi, u] = [lo, hi, u].map(|x| x * wet);
            checked.push(Checked { stratum, index: i, lo, hi, u, spot: reading.spot.clone(), counts, stands_out: false });
        }
    }
    input.strata_due.iter().for_each(|name| {
        place(name.trim());
    });
    if names.len() > MOST_STRATA {
        check.wrong("readings", format!("{} strata", names.len()), format!("at most {MOST_STRATA}"));
    }
    (names, checked)
}

/// Whether a comb cannot be believed at such a place.
pub fn no_comb(stratum: &str) -> bool {
    let name = stratum.to_lowercase();
    NO_COMB.iter().any(|word| name.contains(word))
}

/// Ends and uncertainty of one reading, if it is sound.
fn read(check: &mut Check, i: usize, reading: &Reading) -> Option<[f64; 3]> {
    let before = check.problems.problems.len();
    let at = |field: &str| format!("readings[{i}].{field}");
    let u = check.optional(at("u_um"), reading.u_um, U_UM);
    let tooth = Bounds { min: 0.0, ..FILM_UM };
    let ends = match (reading.value_um, reading.lo_um, reading.hi_um) {
        (Some(value), None, None) => {
            check.bounded(at("value_um"), value, tooth);
            let u = u.unwrap_or_else(|| assumed_u(check, reading.tool));
            if value == 0.0 && u == 0.0 {
                check.wrong(
                    at("value_um"),
                    "no film at all, known exactly",
                    "a place without film is a defect, not a reading; else give u_um",
                );
            }
            [value, value, u]
        }
        (None, None, None) => {
            check.wrong(format!("readings[{i}]"), "neither a value nor a bracket", "value_um with u_um, or lo_um and hi_um");
            return None;
        }
        (Some(_), ..) => {
            check.wrong(at("value_um"), "given beside a bracket", "one of the two");
            return None;
        }
        (None, lo, hi) => {
            let lo = check.optional(at("lo_um"), lo, tooth).unwrap_or(0.0);
            let hi = check.optional(at("hi_um"), hi, FILM_UM).unwrap_or(f64::INFINITY);
            if hi <= lo {
                check
                    .problems
                    .push(Problem::at(at("hi_um"), format!("not over lo_um = {lo}"), "the next dry tooth is the higher one").value(hi));
            }
            if lo == 0.0 && hi.is_infinite() {
                check.wrong(format!("readings[{i}]"), "a bracket without ends says nothing", "the last wetted and the next dry tooth");
            }
            [lo, hi, u.unwrap_or(0.0)]
        }
    };
    (check.problems.problems.len() == before).then_some(ends)
}

/// The standard uncertainty of a value read without one; noted once.
fn assumed_u(check: &mut Check, tool: Option<Tool>) -> f64 {
    let (value, why) = match tool {
        Some(Tool::Comb) => (50.0, "one tooth of a comb expanded, halved; common practice, no source"),
        _ => (15.0, "a gauge or cut-out on a smooth face: 30 µm expanded, halved; common practice, no source"),
    };
    let noted = Assumed { field: "readings[].u_um".into(), value, why: why.into() };
    if !check.assumed.contains(&noted) {
        check.assumed.push(noted);
    }
    value
}
