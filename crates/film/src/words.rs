//! Small words shared by the answers.

use measure::{Bounds, Problem, Problems};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A value taken because none was given.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Assumed {
    /// Field of the input.
    pub field: String,
    /// Value taken.
    pub value: f64,
    /// Where it comes from.
    pub why: String,
}

/// Gathers what is wrong and what was assumed.
#[derive(Default)]
pub(crate) struct Check {
    pub problems: Problems,
    pub assumed: Vec<Assumed>,
}

impl Check {
    /// The number, if it is inside; else a problem.
    pub fn bounded(&mut self, field: impl Into<String>, value: f64, bounds: Bounds) -> f64 {
        if !bounds.contains(value) {
            self.problems.push(Problem::at(field, "out of bounds", bounds.words()).value(value));
        }
        value
    }

    /// The same for one that may be left out.
    pub fn optional(&mut self, field: impl Into<String>, value: Option<f64>, bounds: Bounds) -> Option<f64> {
        value.map(|value| self.bounded(field, value, bounds))
    }

    /// The number given, or the one assumed, which is noted.
    pub fn or_assumed(&mut self, field: &str, value: Option<f64>, bounds: Bounds, assumed: f64, why: &str) -> f64 {
        match value {
            Some(value) => self.bounded(field, value, bounds),
            None => {
                self.assumed.push(Assumed { field: field.into(), value: assumed, why: why.into() });
                assumed
            }
        }
    }

    pub fn wrong(&mut self, field: impl Into<String>, what: impl Into<String>, right: impl Into<String>) {
        self.problems.push(Problem::at(field, what, right));
    }
}

/// A probability in whole per cent that never rounds to a certainty it has not.
pub(crate) fn percent(p: f64) -> String {
    if p > 0.99 && p < 1.0 {
        "over 99 %".into()
    } else if p > 0.0 && p < 0.01 {
        "under 1 %".into()
    } else {
        format!("{:.0} %", p * 100.0)
    }
}

/// "1 reading", "3 readings".
pub(crate) fn count(n: usize, one: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {one}s") }
}
