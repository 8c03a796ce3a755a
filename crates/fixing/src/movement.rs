//! Is the bond breaker wide enough: how far a joint moves, what that does to the membrane over it, how wide a sealant joint
//! must be.
//!
//! ```text
//! temperature   m = -L a dT          moisture   m = -L (e / 10 % RH) dRH          strain   m = L eps
//! membrane      strain = m / w0      so         w = 100 m / eps_allowed           (allowed strain in per cent)
//! sealant       W = (100 / X) M + t                                               (capability X in per cent, tolerance t)
//! ```
//!
//! A part's movement is positive where it opens the joint: cooling, drying and shrinking open it. A part marked `either_way`
//! goes as far both ways. Two sums stand side by side. *Worst case*: all parts that open it at once, and none that close it
//! to relieve them, since they need not come at the same time. *Root of squares*: for parts that are independent and seldom
//! at their largest together; it is no upper bound. Deflection and rotation are counted as if they opened the joint straight
//! across, which is never less than the true lengthening of a film that is sheared.
//!
//! A film bonded right up to a joint has no length to stretch over, and its strain is without bound whatever the membrane;
//! that is why it is left unbonded over a width w0. The allowed strain is a share of the elongation at break at the coldest
//! service temperature, never the break value: that is measured once on a free film when new, and a joint moves again and
//! again. The film is taken to slide freely over all of w0; where it sticks, the strain is larger.
//!
//! Sources: the strain is geometry; the sealant's width after a public course note (Cornell, ARCH 262, joint design), its
//! movement over a movement accommodation factor after a public worked example (engineeringcivil.com). Uncertainties by
//! JCGM 100:2008, 5.1.2, inputs independent.
//!
//! Usual values, to be replaced by those of the product: thermal expansion in 1e-6/K of concrete 8 to 12 (EN 1992-1-1, from
//! memory), ceramic tile 4 to 8 (tested by EN ISO 10545-8; secondary), plywood about 6 (weak); moisture expansion of tile
//! up to 0.6 mm/m (EN ISO 10545-10, guidance; secondary); plywood 0.2 mm/m for 10 % RH (secondary); drying shrinkage of
//! concrete about 0.4 mm/m (textbook; secondary); a room indoors spans some 20 K (secondary), a heated floor more.

use crate::shrinkage::{self, Drying};
use measure::{Assumed, Check};
use measure::{Bounds, Decision, Grade, Judgement, Limit, Measured, Problems, bounds, math};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

const LENGTH_MM: Bounds = Bounds { min: 1.0, max: 200_000.0, unit: "mm" };
const EXPANSION_E6: Bounds = Bounds { min: -50.0, max: 300.0, unit: "1e-6/K" };
const CHANGE_K: Bounds = Bounds { min: -150.0, max: 150.0, unit: "K" };
const STRAIN_MM_M: Bounds = Bounds { min: -50.0, max: 50.0, unit: "mm/m" };
const CHANGE_RH: Bounds = Bounds { min: -1.0, max: 1.0, unit: "(a share; 40 % is 0.4)" };
const GIVEN_MM: Bounds = Bounds { min: -500.0, max: 500.0, unit: "mm" };
const WIDTH_MM: Bounds = Bounds { min: 0.0, max: 2_000.0, unit: "mm" };
const PERCENT: Bounds = Bounds { min: 0.01, max: 5_000.0, unit: "%" };
const CAPABILITY: Bounds = Bounds { min: 1.0, max: 200.0, unit: "%" };
const VARIATION: Bounds = Bounds { min: 0.0, max: 2.0, unit: "(a share; 30 % is 0.3)" };
/// Parts of one joint.
const PARTS: usize = 200;
const RULE: &str = "movement";

/// A joint, crack or junction, and what lies over it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Input {
    /// What makes the joint move, one entry for each body and cause. At least one.
    #[schemars(length(min = 1, max = 200))]
    pub parts: Vec<Part>,
    /// Which sum the widths and verdicts follow; the worst case when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub combine: Option<Combine>,
    /// Width over which the membrane is not bonded (the bond breaker's). Zero is a fully bonded film; left out, not known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 2000.0))]
    pub unbonded_mm: Option<f64>,
    /// Standard uncertainty (k = 1) of that width.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 2000.0))]
    pub u_unbonded_mm: Option<f64>,
    /// Who stands behind that width; stated by another when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub grade: Option<Grade>,
    /// Strain the membrane may take again and again.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub allowed: Option<Allowed>,
    /// Width a data sheet or rule asks whatever the movement.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub asked: Option<Asked>,
    /// Sealant in the joint.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sealant: Option<Sealant>,
    /// How widths are judged; guarded at 5 % when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub decision: Option<Decision>,
}

/// One cause of movement in one body. Each `u` is a standard uncertainty (k = 1); one left out is taken as zero and said.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Part {
    /// A body that warms or cools.
    Temperature {
        /// Name, unique among the parts.
        id: String,
        /// Length that moves towards or away from the joint: to the next joint, or to where it is held.
        #[schemars(range(min = 1.0, max = 200000.0))]
        length_mm: f64,
        /// Standard uncertainty of the length.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_length_mm: Option<f64>,
        /// Coefficient of expansion in 1e-6/K: 10 for 0.01 mm to the metre and kelvin.
        #[schemars(range(min = -50.0, max = 300.0))]
        coefficient_e6_per_k: f64,
        /// Standard uncertainty of the coefficient.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_coefficient_e6_per_k: Option<f64>,
        /// Change of the body's temperature after the membrane went on; cooling is negative and opens the joint.
        #[schemars(range(min = -150.0, max = 150.0))]
        change_k: f64,
        /// Standard uncertainty of the change.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_change_k: Option<f64>,
        /// Whether it changes as much the other way too.
        #[serde(default)]
        either_way: bool,
    },
    /// A body that takes up or gives off moisture with the air.
    Moisture {
        /// Name, unique among the parts.
        id: String,
        /// Length that moves.
        #[schemars(range(min = 1.0, max = 200000.0))]
        length_mm: f64,
        /// Standard uncertainty of the length.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_length_mm: Option<f64>,
        /// Growth in mm to the metre for 10 % more relative humidity.
        #[schemars(range(min = -50.0, max = 50.0))]
        mm_per_m_per_10rh: f64,
        /// Standard uncertainty of that growth.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_mm_per_m_per_10rh: Option<f64>,
        /// Change of relative humidity as a share, 0.4 for 40 %; drying is negative and opens the joint.
        #[schemars(range(min = -1.0, max = 1.0))]
        change_rh: f64,
        /// Standard uncertainty of the change.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_change_rh: Option<f64>,
        /// Whether it changes as much the other way too.
        #[serde(default)]
        either_way: bool,
    },
    /// A body whose shrinkage is known: drying shrinkage, or with a minus sign the moisture expansion of tile.
    Strain {
        /// Name, unique among the parts.
        id: String,
        /// Length that moves.
        #[schemars(range(min = 1.0, max = 200000.0))]
        length_mm: f64,
        /// Standard uncertainty of the length.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_length_mm: Option<f64>,
        /// Shrinkage after the membrane went on; swelling is negative and closes the joint.
        #[schemars(range(min = -50.0, max = 50.0))]
        shrinks_mm_per_m: f64,
        /// Standard uncertainty of the shrinkage.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_shrinks_mm_per_m: Option<f64>,
    },
    /// Concrete or cement screed whose drying shrinkage is predicted after Eurocode 2.
    Drying {
        /// Name, unique among the parts.
        id: String,
        /// Length that moves.
        #[schemars(range(min = 1.0, max = 200000.0))]
        length_mm: f64,
        /// Standard uncertainty of the length.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_length_mm: Option<f64>,
        /// The concrete and its drying.
        concrete: Drying,
        /// Standard uncertainty of the predicted strain as a share of it; 0.3 when left out, the standard's own figure.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        #[schemars(range(min = 0.0, max = 2.0))]
        u_share: Option<f64>,
    },
    /// A movement given as such: deflection, rotation, settlement.
    Given {
        /// Name, unique among the parts.
        id: String,
        /// How far it opens the joint; closing is negative.
        #[schemars(range(min = -500.0, max = 500.0))]
        opens_mm: f64,
        /// Standard uncertainty.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_opens_mm: Option<f64>,
        /// Whether it goes as far the other way too.
        #[serde(default)]
        either_way: bool,
    },
}

/// How parts are summed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Combine {
    /// All at their largest together.
    #[default]
    WorstCase,
    /// The root of the sum of squares: only for independent parts, and no upper bound.
    RootOfSquares,
}

/// What strain the membrane may take: a strain, or a share of its elongation at break.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Allowed {
    /// Allowed strain in per cent, from whoever answers for the membrane. Either this or the elongation with its share.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.01, max = 5000.0))]
    pub strain_percent: Option<f64>,
    /// Standard uncertainty (k = 1) of the allowed strain, or of the elongation.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 5000.0))]
    pub u_percent: Option<f64>,
    /// Elongation at break of the free film, in per cent.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.01, max = 5000.0))]
    pub elongation_percent: Option<f64>,
    /// Share of the elongation that may be used again and again: above 0 and below 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(extend("exclusiveMinimum" = 0.0, "exclusiveMaximum" = 1.0))]
    pub share: Option<f64>,
    /// Temperature at which the elongation was tested.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = -60.0, max = 90.0))]
    pub tested_at_c: Option<f64>,
    /// Coldest temperature in service.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = -60.0, max = 90.0))]
    pub coldest_c: Option<f64>,
    /// Where it comes from: sheet, test report, edition.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
}

/// A width asked whatever the movement.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Asked {
    /// Least unbonded width.
    #[schemars(range(min = 0.0, max = 2000.0))]
    pub width_mm_min: f64,
    /// Where it comes from: sheet or rule, edition, clause.
    pub source: String,
}

/// A sealant joint.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Sealant {
    /// Movement capability or movement accommodation factor, in per cent of the joint's width.
    #[schemars(range(min = 1.0, max = 200.0))]
    pub capability_percent: f64,
    /// Which movement that percentage is of.
    pub capability_of: CapabilityOf,
    /// Construction tolerance added to the width; none when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 2000.0))]
    pub tolerance_mm: Option<f64>,
    /// Width built or planned, to be judged.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 2000.0))]
    pub width_mm: Option<f64>,
    /// Standard uncertainty (k = 1) of that width.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 2000.0))]
    pub u_width_mm: Option<f64>,
}

/// What a sealant's percentage speaks of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum CapabilityOf {
    /// The whole movement from tightest to widest, as a movement accommodation factor.
    Range,
    /// The larger of opening and closing, as a capability written with a plus and minus sign.
    EachWay,
}

/// How the joint moves, and what that asks.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Output {
    /// Each part's movement.
    pub parts: Vec<PartOut>,
    /// How far the joint opens.
    pub opening: Combined,
    /// How far it closes, as a positive number.
    pub closing: Combined,
    /// From tightest to widest.
    pub range: Combined,
    /// The sum that widths and verdicts follow.
    pub combined: Combine,
    /// Opening after that sum: what the membrane is stretched by.
    pub movement_mm: f64,
    /// Its standard uncertainty.
    pub u_movement_mm: f64,
    /// Whether the membrane's strain can be said.
    pub strain_is: StrainIs,
    /// Strain of the membrane over the unbonded width, in per cent; absent unless finite.
    pub strain_percent: Option<f64>,
    /// Its standard uncertainty, to first order.
    pub u_strain_percent: Option<f64>,
    /// Strain allowed, in per cent.
    pub allowed_percent: Option<f64>,
    /// Its standard uncertainty.
    pub u_allowed_percent: Option<f64>,
    /// Least unbonded width for the allowed strain.
    pub required_mm: Option<f64>,
    /// Its standard uncertainty.
    pub u_required_mm: Option<f64>,
    /// The unbonded width against the one the movement requires; `u` is that of both.
    pub judgement: Judgement,
    /// The unbonded width against the one asked, where one was.
    pub judgement_asked: Option<Judgement>,
    /// The sealant joint, where there is one.
    pub sealant: Option<SealantOut>,
    /// What to know when using these results.
    pub notes: Vec<String>,
    /// What was not given and was therefore assumed.
    pub assumed: Vec<Assumed>,
}

/// Movement of one part.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PartOut {
    /// Name.
    pub id: String,
    /// How far it opens the joint; closing is negative.
    pub opens_mm: f64,
    /// Standard uncertainty.
    pub u_mm: f64,
    /// Whether it goes as far the other way too.
    pub either_way: bool,
    /// Its strain, positive for shrinking; absent for a movement given as such.
    pub shrinks_mm_per_m: Option<f64>,
}

/// Two sums of the same parts.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Combined {
    /// All at their largest together.
    pub worst_mm: f64,
    /// Its standard uncertainty.
    pub u_worst_mm: f64,
    /// Root of the sum of squares.
    pub rss_mm: f64,
    /// Its standard uncertainty, to first order.
    pub u_rss_mm: f64,
}

/// Whether a strain can be said.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum StrainIs {
    /// It is finite and given.
    Finite,
    /// The film is fully bonded: without bound.
    Unbounded,
    /// The unbonded width is not known.
    NotKnown,
}

/// A sealant joint's width.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct SealantOut {
    /// Movement the percentage is of.
    pub movement_mm: f64,
    /// Its standard uncertainty.
    pub u_movement_mm: f64,
    /// Least width of the joint.
    pub required_mm: f64,
    /// Its standard uncertainty.
    pub u_required_mm: f64,
    /// The width built or planned against it, where one was given; `u` is that of both.
    pub judgement: Option<Judgement>,
}

/// Movement of a joint, the membrane's strain over it, and the widths both ask.
///
/// Formulas, signs and sources in the [module](self). A missing width or allowed strain is `not shown`; a fully bonded film
/// never conforms.
pub fn run(input: &Input) -> Result<Output, Problems> {
    let mut check = Check::default();
    let parts = parts(&mut check, input);
    let unbonded = optional_width(&mut check, "unbonded_mm", input.unbonded_mm, input.u_unbonded_mm);
    let allowed = input.allowed.as_ref().and_then(|allowed| allowed.checked(&mut check));
    let built = input.sealant.as_ref().and_then(|sealant| sealant.checked(&mut check));
    if let Some(asked) = &input.asked {
        check.bounded("asked.width_mm_min", asked.width_mm_min, WIDTH_MM);
    }
    decision(&mut check, input.decision);
    check.problems.or(())?;

    let combine = input.combine.unwrap_or_default();
    let opening = Combined::of(parts.iter().map(|part| part.opening()));
    let closing = Combined::of(parts.iter().map(|part| part.closing()));
    let range = Combined::of(parts.iter().map(|part| part.range()));
    let (movement, u_movement) = opening.by(combine);
    let required = allowed.map(|(strain, u)| over(100.0 * movement, 100.0 * u_movement, strain, u));
    let strain = unbonded.filter(|(width, _)| *width > 0.0).map(|(width, u)| over(100.0 * movement, 100.0 * u_movement, width, u));
    let sealant = input.sealant.as_ref().map(|sealant| {
        let (movement, u) = match sealant.capability_of {
            CapabilityOf::Range => range.by(combine),
            CapabilityOf::EachWay if closing.by(combine).0 > movement => closing.by(combine),
            CapabilityOf::EachWay => (movement, u_movement),
        };
        sealant.width(movement, u, built, input)
    });
    Ok(Output {
        opening,
        closing,
        range,
        combined: combine,
        movement_mm: movement,
        u_movement_mm: u_movement,
        strain_is: match unbonded {
            None => StrainIs::NotKnown,
            Some((width, _)) if width > 0.0 => StrainIs::Finite,
            Some(_) => StrainIs::Unbounded,
        },
        strain_percent: strain.map(|s| s.0),
        u_strain_percent: strain.map(|s| s.1),
        allowed_percent: allowed.map(|a| a.0),
        u_allowed_percent: allowed.map(|a| a.1),
        required_mm: required.map(|r| r.0),
        u_required_mm: required.map(|r| r.1),
        judgement: judged(input, unbonded, required, movement, strain),
        judgement_asked: input.asked.as_ref().map(|asked| asked.judged(input, unbonded)),
        sealant,
        notes: notes(input, combine, &closing),
        assumed: check.assumed,
        parts,
    })
}

fn notes(input: &Input, combine: Combine, closing: &Combined) -> Vec<String> {
    let mut notes = vec!["the film is taken to slide freely over the whole unbonded width: where it sticks it is strained more".into()];
    if combine == Combine::RootOfSquares {
        notes.push("root of squares: right only for parts that do not move together, and no upper bound".into());
    }
    if closing.worst_mm > 0.0 {
        notes.push("parts that close the joint are not set against those that open it: they need not come together".into());
    }
    if input.parts.iter().any(|part| matches!(part, Part::Drying { .. })) {
        notes.push("drying shrinkage only: the autogenous shrinkage of strong concrete is not in it".into());
    }
    if input.unbonded_mm == Some(0.0) {
        notes.push("fully bonded: the strain over an opening joint is without bound, whatever the membrane".into());
    }
    notes
}

impl PartOut {
    fn opening(&self) -> (f64, f64) {
        if self.either_way { (self.opens_mm.abs(), self.u_mm) } else { one_way(self.opens_mm, self.u_mm) }
    }

    fn closing(&self) -> (f64, f64) {
        if self.either_way { (self.opens_mm.abs(), self.u_mm) } else { one_way(-self.opens_mm, self.u_mm) }
    }

    fn range(&self) -> (f64, f64) {
        let ways = if self.either_way { 2.0 } else { 1.0 };
        (ways * self.opens_mm.abs(), ways * self.u_mm)
    }
}

/// A movement that counts one way; one not shown to go the other way (within two standard uncertainties of nil) keeps its
/// uncertainty.
fn one_way(movement: f64, u: f64) -> (f64, f64) {
    if movement >= 0.0 {
        (movement, u)
    } else if movement > -2.0 * u {
        (0.0, u)
    } else {
        (0.0, 0.0)
    }
}

impl Combined {
    fn of(movements: impl Iterator<Item = (f64, f64)>) -> Self {
        let (mut worst, mut u_worst, mut rss, mut u_rss) = (0.0, 0.0, 0.0, 0.0);
        for (m, u) in movements {
            worst += m;
            u_worst = math::hypot(u_worst, u);
            rss = math::hypot(rss, m);
            u_rss = math::hypot(u_rss, m * u);
        }
        let u_rss = if rss > 0.0 { u_rss / rss } else { u_worst };
        Self { worst_mm: worst, u_worst_mm: u_worst, rss_mm: rss, u_rss_mm: u_rss }
    }

    fn by(&self, combine: Combine) -> (f64, f64) {
        match combine {
            Combine::WorstCase => (self.worst_mm, self.u_worst_mm),
            Combine::RootOfSquares => (self.rss_mm, self.u_rss_mm),
        }
    }
}

/// A quotient of independent quantities and its standard uncertainty.
fn over(a: f64, u_a: f64, b: f64, u_b: f64) -> (f64, f64) {
    (a / b, math::hypot(u_a / b, a / b * u_b / b))
}

/// A product of independent quantities and its standard uncertainty.
fn product(factors: [(f64, f64); 3]) -> (f64, f64) {
    let [(a, u_a), (b, u_b), (c, u_c)] = factors;
    (a * b * c, [u_a * b * c, a * u_b * c, a * b * u_c].into_iter().fold(0.0, math::hypot))
}

fn judged(
    input: &Input,
    unbonded: Option<(f64, f64)>,
    required: Option<(f64, f64)>,
    movement: f64,
    strain: Option<(f64, f64)>,
) -> Judgement {
    let allowed = input.allowed.as_ref();
    let source = allowed.and_then(|allowed| allowed.source.as_deref()).unwrap_or("allowed strain as given");
    let Some((width, u_width)) = unbonded else {
        return Judgement::not_shown("mm", RULE, source, "the unbonded width is not known");
    };
    let Some((required, u_required)) = required else {
        let bonded = if width == 0.0 { "fully bonded, so the strain is without bound; " } else { "" };
        return Judgement::not_shown("mm", RULE, source, format!("{bonded}no allowed strain is given"));
    };
    let says = match strain {
        Some((strain, _)) => {
            format!("{width:.1} mm unbonded, {required:.1} mm required: {movement:.2} mm of movement strains the film {strain:.1} %")
        }
        None => format!("fully bonded: {movement:.2} mm of movement strains the film without bound; {required:.1} mm unbonded required"),
    };
    let judgement = judge(input, (width, math::hypot(u_width, u_required)), required, source, &says);
    match allowed.and_then(Allowed::unfit) {
        // What is too narrow for the warm film is too narrow for the cold one.
        Some(why) if judgement.verdict != measure::Verdict::FallsShort => judgement.held_back(&why),
        _ if width == 0.0 && judgement.verdict == measure::Verdict::Conforms => {
            judgement.held_back("a fully bonded film is never shown to bear a joint")
        }
        _ => judgement,
    }
}

fn judge(input: &Input, (width, u): (f64, f64), least: f64, source: &str, says: &str) -> Judgement {
    match Measured::new(width, u) {
        Ok(measured) => {
            let decision = input.decision.unwrap_or_default();
            let judgement = Judgement::of(measured, Limit::AtLeast(least), decision, "mm", RULE, source, says);
            Judgement { grade: Some(input.grade.unwrap_or(Grade::Stated)), ..judgement }
        }
        Err(_) => Judgement::not_shown("mm", RULE, source, "the width required is not a finite number"),
    }
}

impl Asked {
    fn judged(&self, input: &Input, unbonded: Option<(f64, f64)>) -> Judgement {
        let Some(unbonded) = unbonded else {
            return Judgement::not_shown("mm", RULE, &self.source, "the unbonded width is not known");
        };
        let says = format!("{:.1} mm unbonded, at least {:.1} mm asked", unbonded.0, self.width_mm_min);
        let judgement = judge(input, unbonded, self.width_mm_min, &self.source, &says);
        if unbonded.0 == 0.0 && judgement.verdict == measure::Verdict::Conforms {
            return judgement.held_back("a fully bonded film is never shown to bear a joint");
        }
        judgement
    }
}

impl Allowed {
    /// The allowed strain in per cent with its uncertainty, where it is given soundly.
    fn checked(&self, check: &mut Check) -> Option<(f64, f64)> {
        let u = check.u("allowed.u_percent", self.u_percent, PERCENT);
        for (field, at) in [("allowed.tested_at_c", self.tested_at_c), ("allowed.coldest_c", self.coldest_c)] {
            at.map(|at| check.bounded(field, at, bounds::TEMPERATURE_C));
        }
        match (self.strain_percent, self.elongation_percent, self.share) {
            (Some(strain), None, None) => Some((check.bounded("allowed.strain_percent", strain, PERCENT), u)),
            (None, Some(elongation), Some(share)) => {
                check.bounded("allowed.elongation_percent", elongation, PERCENT);
                if !(share > 0.0 && share < 1.0) {
                    let right = "above 0 and below 1: the elongation at break itself is no allowed strain";
                    check.wrong("allowed.share", format!("{share} is no share of the elongation"), right);
                }
                Some((elongation * share, u * share))
            }
            (None, Some(_), None) => {
                check.wrong("allowed.share", "missing beside elongation_percent", "the share of it that may be used again and again");
                None
            }
            (None, None, _) => {
                check.wrong("allowed", "no strain in it", "strain_percent, or elongation_percent with share");
                None
            }
            (Some(_), _, _) => {
                check.wrong("allowed.strain_percent", "given beside elongation_percent or share", "one of the two ways");
                None
            }
        }
    }

    /// Why an elongation is no basis for a pass at the coldest temperature.
    fn unfit(&self) -> Option<String> {
        self.elongation_percent?;
        match (self.tested_at_c, self.coldest_c) {
            (Some(tested), Some(coldest)) if tested <= coldest => None,
            (Some(tested), Some(coldest)) => {
                Some(format!("the elongation was tested at {tested} °C and it gets {coldest} °C: a film stretches less when cold"))
            }
            _ => Some("it is not said that the elongation holds at the coldest service temperature".into()),
        }
    }
}

impl Sealant {
    /// The width built, where there is one.
    fn checked(&self, check: &mut Check) -> Option<(f64, f64)> {
        check.bounded("sealant.capability_percent", self.capability_percent, CAPABILITY);
        if let Some(tolerance) = self.tolerance_mm {
            check.bounded("sealant.tolerance_mm", tolerance, WIDTH_MM);
        }
        optional_width(check, "sealant.width_mm", self.width_mm, self.u_width_mm)
    }

    fn width(&self, movement: f64, u: f64, built: Option<(f64, f64)>, input: &Input) -> SealantOut {
        let (moves, u_required) = (100.0 / self.capability_percent * movement, 100.0 / self.capability_percent * u);
        let required = moves + self.tolerance_mm.unwrap_or(0.0);
        let judgement = built.map(|(width, u_width)| {
            let says = format!("joint of {width:.1} mm, {required:.1} mm required for {movement:.2} mm of movement");
            judge(input, (width, math::hypot(u_width, u_required)), required, "movement capability as given", &says)
        });
        SealantOut { movement_mm: movement, u_movement_mm: u, required_mm: required, u_required_mm: u_required, judgement }
    }
}

fn optional_width(check: &mut Check, field: &str, width: Option<f64>, u: Option<f64>) -> Option<(f64, f64)> {
    let u_field = match field.rsplit_once('.') {
        Some((at, name)) => format!("{at}.u_{name}"),
        None => format!("u_{field}"),
    };
    match width {
        Some(width) => Some((check.bounded(field, width, WIDTH_MM), check.u(u_field, u, WIDTH_MM))),
        None => {
            if u.is_some() {
                check.wrong(u_field, "given without its width", format!("{field} beside it"));
            }
            None
        }
    }
}

fn decision(check: &mut Check, decision: Option<Decision>) {
    match decision {
        Some(Decision::Guarded { risk }) if !(risk > 0.0 && risk < 0.5) => {
            check.wrong("decision.risk", format!("{risk} is not a risk"), "above 0 and below 0.5");
        }
        Some(Decision::Simple { u_max }) if !(u_max.is_finite() && u_max >= 0.0) => {
            check.wrong("decision.u_max", format!("{u_max} is not an uncertainty"), "zero or more");
        }
        _ => {}
    }
}

fn parts(check: &mut Check, input: &Input) -> Vec<PartOut> {
    if input.parts.is_empty() || input.parts.len() > PARTS {
        check.wrong("parts", format!("{} of them", input.parts.len()), format!("between 1 and {PARTS}"));
        return Vec::new();
    }
    let mut names = BTreeSet::new();
    let mut out = Vec::new();
    for (i, part) in input.parts.iter().enumerate() {
        let part = part.moves(check, &format!("parts[{i}]"));
        if !names.insert(part.id.clone()) {
            check.wrong(format!("parts[{i}].id"), "another part has this name", "names are unique");
        }
        out.push(part);
    }
    out
}

impl Part {
    /// Its movement; what is wrong with it goes into `check`.
    fn moves(&self, check: &mut Check, at: &str) -> PartOut {
        let mut with_u = |field: &str, value: f64, u: Option<f64>, bounds: Bounds| {
            (check.bounded(format!("{at}.{field}"), value, bounds), check.u(format!("{at}.u_{field}"), u, bounds))
        };
        match *self {
            Self::Temperature {
                ref id,
                length_mm,
                u_length_mm,
                coefficient_e6_per_k,
                u_coefficient_e6_per_k,
                change_k,
                u_change_k,
                either_way,
            } => {
                let length = with_u("length_mm", length_mm, u_length_mm, LENGTH_MM);
                let (a, u_a) = with_u("coefficient_e6_per_k", coefficient_e6_per_k, u_coefficient_e6_per_k, EXPANSION_E6);
                let change = with_u("change_k", change_k, u_change_k, CHANGE_K);
                strained(id, product([length, (-a * 1e-6, u_a * 1e-6), change]), either_way, Some(-a * change_k / 1000.0))
            }
            Self::Moisture {
                ref id,
                length_mm,
                u_length_mm,
                mm_per_m_per_10rh,
                u_mm_per_m_per_10rh,
                change_rh,
                u_change_rh,
                either_way,
            } => {
                let length = with_u("length_mm", length_mm, u_length_mm, LENGTH_MM);
                let (e, u_e) = with_u("mm_per_m_per_10rh", mm_per_m_per_10rh, u_mm_per_m_per_10rh, STRAIN_MM_M);
                let change = with_u("change_rh", change_rh, u_change_rh, CHANGE_RH);
                // mm/m for 0.1 of humidity: a hundredth is the strain for the whole of it.
                strained(id, product([length, (-e / 100.0, u_e / 100.0), change]), either_way, Some(-e * 10.0 * change_rh))
            }
            Self::Strain { ref id, length_mm, u_length_mm, shrinks_mm_per_m, u_shrinks_mm_per_m } => {
                let length = with_u("length_mm", length_mm, u_length_mm, LENGTH_MM);
                let (strain, u_strain) = with_u("shrinks_mm_per_m", shrinks_mm_per_m, u_shrinks_mm_per_m, STRAIN_MM_M);
                strained(id, product([length, (strain / 1000.0, u_strain / 1000.0), (1.0, 0.0)]), false, Some(strain))
            }
            Self::Drying { ref id, length_mm, u_length_mm, concrete, u_share } => {
                let length = with_u("length_mm", length_mm, u_length_mm, LENGTH_MM);
                let share = drying(check, at, &concrete, u_share);
                let strain = concrete.strain();
                strained(id, product([length, (strain, strain * share), (1.0, 0.0)]), false, Some(strain * 1000.0))
            }
            Self::Given { ref id, opens_mm, u_opens_mm, either_way } => {
                strained(id, with_u("opens_mm", opens_mm, u_opens_mm, GIVEN_MM), either_way, None)
            }
        }
    }
}

fn strained(id: &str, (opens_mm, u_mm): (f64, f64), either_way: bool, shrinks_mm_per_m: Option<f64>) -> PartOut {
    PartOut { id: id.into(), opens_mm, u_mm, either_way, shrinks_mm_per_m }
}

/// Checks a drying concrete; its prediction's standard uncertainty as a share.
fn drying(check: &mut Check, at: &str, concrete: &Drying, u_share: Option<f64>) -> f64 {
    check.bounded(format!("{at}.concrete.fck_mpa"), concrete.fck_mpa, shrinkage::FCK_MPA);
    check.bounded(format!("{at}.concrete.rh"), concrete.rh, shrinkage::RH);
    check.bounded(format!("{at}.concrete.notional_mm"), concrete.notional_mm, shrinkage::NOTIONAL_MM);
    check.bounded(format!("{at}.concrete.dried_before_d"), concrete.dried_before_d, shrinkage::DRYING_D);
    if let Some(until) = concrete.until_d {
        check.bounded(format!("{at}.concrete.until_d"), until, shrinkage::DRYING_D);
        if until < concrete.dried_before_d {
            check.wrong(format!("{at}.concrete.until_d"), format!("{until} is before dried_before_d"), "the same day or later");
        }
    }
    match u_share {
        Some(share) => check.bounded(format!("{at}.u_share"), share, VARIATION),
        None => {
            let why = "coefficient of variation of the prediction, EN 1992-1-1:2004 annex B.2 (read in a secondary copy)";
            check.assumed.push(Assumed { field: format!("{at}.u_share"), value: shrinkage::VARIATION, why: why.into() });
            shrinkage::VARIATION
        }
    }
}
