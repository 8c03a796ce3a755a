//! What a computation says of one detail.

use measure::{Grade, Judgement};
use rules::{Facts, Rule};

/// A verdict from a computation, with what would settle it.
pub struct Settled {
    /// The verdict.
    pub judgement: Judgement,
    /// What would settle it.
    pub settle: Option<String>,
}

impl Settled {
    /// Nothing was measured.
    pub fn unmeasured(rule: &Rule, known: &Facts, why: &str, settle: &str) -> Self {
        Self { judgement: Judgement { grade: None::<Grade>, ..rule.unmeasured(known, why) }, settle: Some(settle.into()) }
    }
}
