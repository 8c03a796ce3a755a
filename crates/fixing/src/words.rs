//! Gathers what is wrong with an input and what was assumed for it.

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

    /// A standard uncertainty, from zero to the largest value its quantity may have; one left out is taken as zero, which
    /// is noted.
    pub fn u(&mut self, field: String, u: Option<f64>, of: Bounds) -> f64 {
        match u {
            Some(u) => self.bounded(field, u, Bounds { min: 0.0, ..of }),
            None => {
                self.assumed.push(Assumed { field, value: 0.0, why: "no uncertainty given: the value was taken as exact".into() });
                0.0
            }
        }
    }

    pub fn wrong(&mut self, field: impl Into<String>, what: impl Into<String>, right: impl Into<String>) {
        self.problems.push(Problem::at(field, what, right));
    }
}
