//! What was seen, photographed, stated and decided, as it stands in `evidence.json`.

use measure::Grade;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// `evidence.json`.
#[derive(Clone, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Evidence {
    /// `undertile evidence 1`.
    #[schemars(extend("const" = "undertile evidence 1"))]
    pub format: String,
    /// In any order; times decide.
    pub entries: Vec<Entry>,
}

/// One piece of evidence. Times are RFC 3339 with an offset.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Entry {
    /// Details looked at, by the person or by another.
    Look {
        /// Hold point it was for.
        hold_point: String,
        /// Detail ids, group ids, or patterns such as `junction/*`.
        details: Vec<String>,
        /// Details of these that the look does not speak for.
        #[serde(default)]
        except: Vec<String>,
        /// The plan's line it answers; without it, every line judged by eye at these details.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        answers: Option<String>,
        /// What was found.
        result: LookResult,
        /// Who stands behind it.
        grade: Grade,
        /// Photographs, by file name.
        #[serde(default)]
        photographs: Vec<String>,
        /// Who looked.
        by: String,
        /// When.
        #[schemars(extend("format" = "date-time"))]
        at: String,
        /// In the person's words.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    },
    /// Water seen standing on a layer after it stopped running.
    Pond {
        /// Layer it stood on.
        layer: room::nouns::LayerKind,
        /// Its edge on plan.
        #[schemars(length(min = 3, max = 1000))]
        outline_mm: Vec<measure::PointMm>,
        /// Depth by rule at its deepest.
        #[schemars(range(min = 0.0, max = 1000.0))]
        depth_mm: f64,
        /// Minutes since the water stopped.
        #[schemars(range(min = 0.0))]
        minutes: f64,
        /// Who saw it.
        by: String,
        /// When.
        #[schemars(extend("format" = "date-time"))]
        at: String,
    },
    /// The hole of a cut-out was patched: both coats, lapped onto the film around it.
    PatchClosed {
        /// The cut-out, as the film readings name it.
        cut_out: String,
        /// Who closed it, or saw it closed.
        by: String,
        /// When.
        #[schemars(extend("format" = "date-time"))]
        at: String,
        /// Who stands behind it.
        grade: Grade,
        /// Photographs, by file name.
        #[serde(default)]
        photographs: Vec<String>,
        /// In the person's words.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    },
    /// A paper that exists: a data sheet, a licence, a test record.
    Paper {
        /// The plan's line it answers.
        answers: String,
        /// What it is, with number or date.
        what: String,
        /// Whose it is.
        by: String,
        /// Its date or when it was seen.
        #[schemars(extend("format" = "date-time"))]
        at: String,
    },
    /// The outcome of a hold point.
    Outcome {
        /// Hold point.
        hold_point: String,
        /// What was decided.
        outcome: HoldPointOutcome,
        /// Who decided.
        by: String,
        /// In which role, with licence if any.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        role: Option<String>,
        /// Conditions of a release.
        #[serde(default)]
        conditions: Vec<String>,
        /// When.
        #[schemars(extend("format" = "date-time"))]
        at: String,
    },
    /// A later trade was in the room: releases made before it lapse unless their layer was already covered.
    TradeEntered {
        /// Which trade.
        trade: String,
        /// When.
        #[schemars(extend("format" = "date-time"))]
        at: String,
        /// What it did there.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    },
    /// A rule knowingly not met, argued by performance.
    Departure {
        /// Rule it departs from, by id.
        rule: String,
        /// Detail ids, group ids, or patterns.
        details: Vec<String>,
        /// Why.
        reason: String,
        /// Open until somebody entitled accepts it.
        state: DepartureState,
        /// Who proposes or accepts it.
        by: String,
        /// When.
        #[schemars(extend("format" = "date-time"))]
        at: String,
    },
}

/// What a look found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum LookResult {
    /// As it should be.
    Right,
    /// Not as it should be: a defect.
    Wrong,
    /// Could not be reached.
    NoAccess,
    /// Already covered.
    Concealed,
}

/// Outcomes of a hold point.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum HoldPointOutcome {
    /// May be covered.
    #[serde(rename = "released")]
    Released,
    /// May be covered when the conditions are met.
    #[serde(rename = "released with conditions")]
    ReleasedWithConditions,
    /// May not be covered.
    #[serde(rename = "not released")]
    NotReleased,
    /// The work was not ready to be looked at.
    #[serde(rename = "not ready")]
    NotReady,
    /// The inspector could not get in.
    #[serde(rename = "no access")]
    NoAccess,
}

impl HoldPointOutcome {
    /// The words of the outcome.
    pub fn words(self) -> &'static str {
        match self {
            Self::Released => "released",
            Self::ReleasedWithConditions => "released with conditions",
            Self::NotReleased => "not released",
            Self::NotReady => "not ready",
            Self::NoAccess => "no access",
        }
    }

    /// Whether the layer may be covered.
    pub fn releases(self) -> bool {
        matches!(self, Self::Released | Self::ReleasedWithConditions)
    }
}

/// State of a departure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum DepartureState {
    /// Proposed, not accepted.
    Open,
    /// Accepted by somebody entitled to.
    Accepted,
    /// Refused.
    Refused,
}
