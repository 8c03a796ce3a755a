//! One rule, and the verdicts it gives.

use crate::datum::{Step, to_datum};
use crate::facts::{Met, unknown_in_words};
use crate::format::{Confidence, Expect, Quantity, RuleFile, Status, VerifiedBy};
use crate::{Fact, Facts};
use measure::{Decision, Grade, Judgement, Limit, Measured, Verdict, ratio};
use room::nouns::{LayerKind, ZoneKind};
use room::register::DetailKind;
use std::collections::BTreeMap;

/// A rule with its limits as numbers, ready to judge.
#[derive(Clone, Debug)]
pub struct Rule {
    /// Full name: `au/fall-to-waste`.
    pub id: String,
    /// Name of its pack.
    pub pack: String,
    /// Edition it is taken from, as printed; all editions it stands in until one was picked.
    pub edition: String,
    /// What is measured; `None` for a rule judged by eye.
    pub quantity: Option<Quantity>,
    /// Its limits: none for a rule judged by eye, several where they depend on facts.
    pub asked: Vec<Asked>,
    /// Who verified it.
    pub verified_by: Option<VerifiedBy>,
    /// What the pack had, where the verified limit differs from it.
    pub before: Option<String>,
    /// Whether it holds, or belongs to a later edition.
    pub standing: Standing,
    /// As written in the pack.
    pub written: RuleFile,
}

/// Whether a rule holds for the job.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// It holds.
    Holds,
    /// It stands in a later edition: today's practice, shown beside, deciding nothing of the job.
    Later,
}

/// A limit and the facts under which it counts.
#[derive(Clone, Debug, PartialEq)]
pub struct Asked {
    /// Facts under which it counts; empty means always.
    pub when: BTreeMap<String, Expect>,
    /// The limit that decides.
    pub limit: Limit,
    /// As the pack writes it: "between 1:80 and 1:50".
    pub words: String,
    /// The second form the source prints, and as written.
    pub printed: Option<(Limit, String)>,
}

/// Whether a rule applies to a detail.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fit {
    /// It does.
    Applies,
    /// It does not.
    Not,
    /// It hangs on these facts, which are not known.
    Unknown(Vec<String>),
}

/// A measured value as evidence.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Value and standard uncertainty in the quantity's unit.
    pub measured: Measured,
    /// How many readings stand behind it.
    pub n: usize,
    /// Who stands behind it.
    pub grade: Grade,
    /// What a height counts from; `None` where the quantity has no datum.
    pub datum: Option<String>,
}

impl Rule {
    /// Whether the rule applies to a detail of this kind in this zone, on this surface (`None`: any).
    pub fn fits(&self, detail: DetailKind, zone: ZoneKind, surface: Option<LayerKind>, facts: &Facts) -> Fit {
        let w = &self.written;
        let here = w.details.contains(&detail)
            && (w.zones.is_empty() || w.zones.contains(&zone))
            && surface.is_none_or(|surface| w.surfaces.is_empty() || w.surfaces.contains(&surface));
        if here { self.fits_facts(facts) } else { Fit::Not }
    }

    /// Whether the facts are those the rule holds under.
    pub fn fits_facts(&self, facts: &Facts) -> Fit {
        match facts.meet(&self.written.when) {
            Met::Yes => Fit::Applies,
            Met::No => Fit::Not,
            Met::Unknown(unknown) => Fit::Unknown(unknown),
        }
    }

    /// The limit that counts under these facts; `Ok(None)` for a rule judged by eye; else why none can be named.
    pub fn asked_for(&self, facts: &Facts) -> Result<Option<&Asked>, String> {
        for asked in &self.asked {
            match facts.meet(&asked.when) {
                Met::Yes => return Ok(Some(asked)),
                Met::No => {}
                Met::Unknown(unknown) => return Err(format!("which limit counts cannot be said; {}", unknown_in_words(&unknown, None))),
            }
        }
        if self.asked.is_empty() { Ok(None) } else { Err("the rule gives no limit for these facts".into()) }
    }

    /// Why the rule decides nothing, if it does not: nobody verified it, or what was read contradicts itself.
    pub fn decides_nothing(&self) -> Option<String> {
        if self.verified_by.is_some() {
            return None;
        }
        if let Some(contradiction) = &self.written.unresolved {
            return Some(format!("rule not verified: {contradiction}"));
        }
        (self.written.confidence.is_none_or(|c| c == Confidence::M)).then(|| "rule not verified".into())
    }

    /// Least number of readings for a verdict.
    pub fn least_readings(&self) -> usize {
        let of_quantity = self.quantity.as_ref().map_or(measure::LEAST_READINGS, |quantity| quantity.least_readings);
        self.written.least_readings.unwrap_or(of_quantity)
    }

    /// Simple acceptance with the quantity's largest standard uncertainty; `None` for a rule judged by eye.
    pub fn simple(&self) -> Option<Decision> {
        self.quantity.as_ref().map(|quantity| Decision::Simple { u_max: quantity.u_max })
    }

    /// Judges a value that counts from the rule's own datum. See [`Rule::judge_for`].
    pub fn judge(&self, measured: Measured, n: usize, grade: Grade, decision: Decision) -> Judgement {
        self.judge_for(&Facts::new(), measured, n, grade, decision)
    }

    /// Judges a value under these facts. Fewer readings than the rule asks, a rule nobody verified, and a limit that hangs
    /// on something unknown all give `not shown`, with value and limit still there. Only the rule's limits look at the facts:
    /// whether the rule applies is asked of [`Rule::fits`].
    pub fn judge_for(&self, facts: &Facts, measured: Measured, n: usize, grade: Grade, decision: Decision) -> Judgement {
        let asked = match self.asked_for(facts) {
            Ok(Some(asked)) => asked,
            Ok(None) => return self.with_value(measured, grade, "the rule is judged by eye and has no number"),
            Err(why) => return self.with_value(measured, grade, &why),
        };
        let unit = self.unit();
        let says = format!("{}; asked {}", in_words(measured, unit), asked.words);
        let mut judgement = Judgement::of(measured, asked.limit, decision, unit, &self.id, &self.source(), &says);
        judgement.grade = Some(grade);
        if let Some((printed, words)) = &asked.printed {
            let other = decision.decide(measured, *printed).verdict;
            if other != judgement.verdict {
                judgement.why.push_str(&format!("; against the form printed beside it ({words}) the answer would be: {other}"));
            }
        }
        if n < self.least_readings() {
            judgement = judgement.held_back(&too_few(n, self.least_readings()));
        }
        match self.decides_nothing() {
            Some(why) => judgement.held_back(&why),
            None => judgement,
        }
    }

    /// Judges evidence, carrying a height over to the rule's datum by the known steps; where that cannot be done the answer
    /// is `not shown`.
    pub fn judge_reading(&self, facts: &Facts, reading: &Reading, steps: &[Step], decision: Decision) -> Judgement {
        let Some(datum) = self.written.datum.as_deref() else {
            return self.judge_for(facts, reading.measured, reading.n, reading.grade, decision);
        };
        let Some(from) = reading.datum.as_deref() else {
            return self.with_value(
                reading.measured,
                reading.grade,
                &format!("it is not said what the value counts from; the rule counts from {datum}"),
            );
        };
        match to_datum(reading.measured, from, datum, steps) {
            Some(measured) => self.judge_for(facts, measured, reading.n, reading.grade, decision),
            None => {
                let why = format!("the value counts from {from}, the rule from {datum}, and the height between them is not known");
                self.with_value(reading.measured, reading.grade, &why)
            }
        }
    }

    /// The verdict of a look: found as required, or not. A rule nobody verified stays `not shown`.
    pub fn seen(&self, found: bool, grade: Grade, remark: &str) -> Judgement {
        let verdict = if found { Verdict::Conforms } else { Verdict::FallsShort };
        let by_eye = if found { "found as required" } else { "not as required" };
        let what = self.written.requires.as_deref().unwrap_or(&self.written.title);
        let remark = if remark.trim().is_empty() { String::new() } else { format!(": {}", remark.trim()) };
        let mut judgement = self.unmeasured(&Facts::new(), "");
        judgement.verdict = verdict;
        judgement.grade = Some(grade);
        judgement.why = format!("{what}; {by_eye}, by eye{remark}");
        match self.decides_nothing() {
            Some(why) => judgement.held_back(&why),
            None => judgement,
        }
    }

    /// `not shown` without a value, the limit still printed where the facts pick one.
    pub fn unmeasured(&self, facts: &Facts, why: &str) -> Judgement {
        let mut judgement = Judgement::not_shown(self.unit(), &self.id, &self.source(), why);
        if let Ok(Some(asked)) = self.asked_for(facts) {
            judgement.limit = Some(asked.limit);
            judgement.why =
                [why, &format!("asked {}", asked.words)].iter().filter(|t| !t.is_empty()).copied().collect::<Vec<_>>().join("; ");
        }
        judgement
    }

    /// Unit of value and limit; empty for a rule judged by eye.
    pub fn unit(&self) -> &str {
        self.quantity.as_ref().map_or("", |quantity| &quantity.unit)
    }

    /// Where the limit comes from, in a line: edition, clause, status, how sure.
    pub fn source(&self) -> String {
        let w = &self.written;
        let later = if self.standing == Standing::Later { "today's practice, a later edition than the job's: " } else { "" };
        if let Some(v) = &self.verified_by {
            let before = self.before.as_ref().map(|words| format!("; the pack has {words}")).unwrap_or_default();
            return format!("{later}verified by {}, {}, {}, page {} ({}){before}", v.by, v.edition, v.clause, v.page, v.date);
        }
        let place: Vec<&str> = [self.edition.as_str(), w.clause.as_str()].into_iter().filter(|text| !text.is_empty()).collect();
        let sure = match w.confidence {
            Some(Confidence::S) => format!("read in the source: {}", w.source),
            Some(Confidence::S2) => format!("read in a secondary source: {}", w.source),
            Some(Confidence::D) => format!("derived by arithmetic: {}", w.source),
            Some(Confidence::P) => "common practice, no source".into(),
            Some(Confidence::M) | None => format!("not verified: {}", w.source),
        };
        let status = match w.status {
            Status::Normative => "normative",
            Status::Guidance => "guidance",
            Status::Practice => "practice",
            Status::Reference => "for comparison only",
        };
        let place = if place.is_empty() { String::new() } else { format!("{}; ", place.join(", ")) };
        format!("{later}{place}{status}; {sure}")
    }

    /// A value with no verdict, and why.
    fn with_value(&self, measured: Measured, grade: Grade, why: &str) -> Judgement {
        let mut judgement = Judgement::not_shown(self.unit(), &self.id, &self.source(), why);
        judgement.value = Some(measured.value());
        judgement.u = Some(measured.u());
        judgement.grade = Some(grade);
        judgement.why = format!("{}; {why}", in_words(measured, self.unit()));
        judgement
    }
}

impl std::fmt::Display for Fact {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Is(true) => f.write_str("yes"),
            Self::Is(false) => f.write_str("no"),
            Self::Number(x) => write!(f, "{x}"),
            Self::Word(word) => f.write_str(word),
        }
    }
}

fn too_few(n: usize, least: usize) -> String {
    let readings = if n == 1 { "reading" } else { "readings" };
    format!("{n} {readings}, the rule asks for at least {least}")
}

/// A value with its expanded uncertainty, as a person writes it: "23 mm ± 1 mm", "1:66 (1.52 %) ± 0.16 %".
pub(crate) fn in_words(measured: Measured, unit: &str) -> String {
    let (value, u) = (measured.value(), 2.0 * measured.u());
    let (value, plus_minus) = match measure::bounds::unit_words(unit) {
        "ratio" => (ratio::words(value), format!("{} %", number(100.0 * u))),
        "share" => (format!("{} %", number(100.0 * value)), format!("{} %", number(100.0 * u))),
        "count" => (number(value), number(u)),
        unit => (format!("{} {unit}", number(value)), format!("{} {unit}", number(u))),
    };
    if u == 0.0 { value } else { format!("{value} ± {plus_minus}") }
}

/// With at most two decimals, no trailing zeros; what would round to nothing keeps two digits.
fn number(x: f64) -> String {
    if x != 0.0 && x.abs() < 0.01 {
        return format!("{x:.1e}");
    }
    let text = format!("{x:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".into() } else { text.into() }
}
