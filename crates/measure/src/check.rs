use crate::{Bounds, Problem, Problems};
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

/// Gathers what is wrong with an input and what was assumed for it.
#[derive(Debug, Default)]
pub struct Check {
    /// What is wrong.
    pub problems: Problems,
    /// What was assumed.
    pub assumed: Vec<Assumed>,
}

impl Check {
    /// The number; one outside its bounds makes a problem.
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
    pub fn or_assumed(&mut self, field: impl Into<String>, value: Option<f64>, bounds: Bounds, assumed: f64, why: &str) -> f64 {
        match value {
            Some(value) => self.bounded(field, value, bounds),
            None => {
                self.assumed.push(Assumed { field: field.into(), value: assumed, why: why.into() });
                assumed
            }
        }
    }

    /// A standard uncertainty, from zero to the largest value its quantity may have; one left out is taken as zero, which
    /// is noted.
    pub fn u(&mut self, field: impl Into<String>, u: Option<f64>, of: Bounds) -> f64 {
        self.or_assumed(field, u, Bounds { min: 0.0, ..of }, 0.0, "no uncertainty given: the value was taken as exact")
    }

    /// A problem at a field.
    pub fn wrong(&mut self, field: impl Into<String>, what: impl Into<String>, right: impl Into<String>) {
        self.problems.push(Problem::at(field, what, right));
    }
}
