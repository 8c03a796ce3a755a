use crate::{Decision, Limit, Measured};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::ser::SerializeStruct;
use serde::{Deserialize, Serialize, Serializer};
use std::borrow::Cow;
use std::fmt;

/// One of three. No evidence is never a pass.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
pub enum Verdict {
    /// Shown to be inside the limit.
    #[serde(rename = "conforms")]
    Conforms,
    /// Missing, too few, too uncertain, or judged by a rule nobody verified.
    #[serde(rename = "not shown")]
    NotShown,
    /// Shown to be outside the limit.
    #[serde(rename = "falls short")]
    FallsShort,
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Conforms => "conforms",
            Self::NotShown => "not shown",
            Self::FallsShort => "falls short",
        })
    }
}

/// Who stands behind a piece of evidence, strongest first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Grade {
    /// Measured by me.
    Measured,
    /// Seen by me.
    Seen,
    /// Photographed by another.
    Photographed,
    /// Stated by another.
    Stated,
}

impl fmt::Display for Grade {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Measured => "measured",
            Self::Seen => "seen",
            Self::Photographed => "photographed",
            Self::Stated => "stated",
        })
    }
}

/// A verdict with everything it rests on, as it stands in every result.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// The verdict.
    pub verdict: Verdict,
    /// What was measured; absent for a result by eye or without evidence.
    pub value: Option<f64>,
    /// Standard uncertainty of `value`.
    pub u: Option<f64>,
    /// What was asked.
    pub limit: Option<Limit>,
    /// Unit of value, u and limit: "mm", "K", "ratio" ...
    pub unit: String,
    /// Probability that the true value is inside the limit; absent for results by eye.
    pub prob_conforms: Option<f64>,
    /// Grade of the evidence; absent where there is none.
    pub grade: Option<Grade>,
    /// Id of the rule.
    pub rule: String,
    /// Where the limit comes from: edition, clause, source, confidence.
    pub source: String,
    /// One line that explains the verdict.
    pub why: String,
}

impl Judgement {
    /// Judges a measured value against a sourced limit. `why` starts with the plain statement of value and limit given by
    /// the caller in `says`, and goes on with what the decision rule made of it.
    pub fn of(measured: Measured, limit: Limit, decision: Decision, unit: &str, rule: &str, source: &str, says: &str) -> Self {
        let decided = decision.decide(measured, limit);
        let tail = match (decided.verdict, decided.because) {
            (_, Some(because)) => format!("; {because} ({} % sure)", percent(decided.prob_conforms)),
            (Verdict::Conforms, None) if decided.prob_conforms < 0.95 => {
                format!("; inside the limits, not proved to 95 % ({} %)", percent(decided.prob_conforms))
            }
            (Verdict::FallsShort, None) if decided.prob_conforms > 0.05 => {
                format!("; outside the limits, not proved to 95 % ({} %)", percent(1.0 - decided.prob_conforms))
            }
            _ => String::new(),
        };
        Self {
            verdict: decided.verdict,
            value: Some(measured.value()),
            u: Some(measured.u()),
            limit: Some(limit),
            unit: unit.into(),
            prob_conforms: Some(decided.prob_conforms),
            grade: Some(Grade::Measured),
            rule: rule.into(),
            source: source.into(),
            why: format!("{says}{tail}"),
        }
    }

    /// A verdict that cannot be given, with its reason.
    pub fn not_shown(unit: &str, rule: &str, source: &str, why: impl Into<String>) -> Self {
        Self {
            verdict: Verdict::NotShown,
            value: None,
            u: None,
            limit: None,
            unit: unit.into(),
            prob_conforms: None,
            grade: None,
            rule: rule.into(),
            source: source.into(),
            why: why.into(),
        }
    }

    /// The same judgement, held back: what was measured stays printed, the verdict becomes `not shown` with the reason.
    pub fn held_back(mut self, because: &str) -> Self {
        self.verdict = Verdict::NotShown;
        self.why = format!("{}; {because}", self.why);
        self
    }
}

/// A probability in whole per cent that never rounds to a certainty it has not.
fn percent(p: f64) -> String {
    if p > 0.99 && p < 1.0 {
        "over 99".into()
    } else if p > 0.0 && p < 0.01 {
        "under 1".into()
    } else {
        format!("{:.0}", p * 100.0)
    }
}

impl Serialize for Judgement {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut s = serializer.serialize_struct("Judgement", 11)?;
        s.serialize_field("verdict", &self.verdict)?;
        s.serialize_field("value", &self.value)?;
        s.serialize_field("u", &self.u)?;
        match self.limit {
            None => s.serialize_field("limit", &None::<f64>)?,
            Some(Limit::AtLeast(x) | Limit::AtMost(x)) => s.serialize_field("limit", &x)?,
            Some(Limit::Between(lo, hi)) => s.serialize_field("limit", &[lo, hi])?,
        }
        s.serialize_field("limit_is", &self.limit.map(Limit::words))?;
        s.serialize_field("unit", &self.unit)?;
        s.serialize_field("prob_conforms", &self.prob_conforms)?;
        s.serialize_field("grade", &self.grade)?;
        s.serialize_field("rule", &self.rule)?;
        s.serialize_field("source", &self.source)?;
        s.serialize_field("why", &self.why)?;
        s.end()
    }
}

impl JsonSchema for Judgement {
    fn schema_name() -> Cow<'static, str> {
        "Judgement".into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let verdict = generator.subschema_for::<Verdict>();
        let grade = generator.subschema_for::<Option<Grade>>();
        json_schema!({
            "type": "object",
            "description": "A verdict with everything it rests on. u is a standard uncertainty (k = 1).",
            "properties": {
                "verdict": verdict,
                "value": {"type": ["number", "null"]},
                "u": {"type": ["number", "null"]},
                "limit": {"description": "a number for a one-sided limit, [lower, upper] for a band", "anyOf": [{"type": "number"}, {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}, {"type": "null"}]},
                "limit_is": {"enum": ["at least", "at most", "between", null]},
                "unit": {"type": "string"},
                "prob_conforms": {"type": ["number", "null"], "minimum": 0, "maximum": 1},
                "grade": grade,
                "rule": {"type": "string"},
                "source": {"type": "string"},
                "why": {"type": "string"}
            },
            "required": ["verdict", "value", "u", "limit", "limit_is", "unit", "prob_conforms", "grade", "rule", "source", "why"]
        })
    }
}
