use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// A value with its standard uncertainty (k = 1), both finite, the uncertainty not negative.
///
/// What a person writes as "±1 mm" is an expanded uncertainty at about 95 %: use [`Measured::from_expanded`].
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(try_from = "Raw", into = "Raw")]
pub struct Measured {
    value: f64,
    u: f64,
}

/// How [`Measured`] stands in a file.
#[derive(Clone, Copy, Serialize, Deserialize, JsonSchema)]
struct Raw {
    /// The value.
    value: f64,
    /// Standard uncertainty (k = 1).
    #[serde(default)]
    #[schemars(range(min = 0.0))]
    u: f64,
}

/// A value or uncertainty that is not a finite number, or an uncertainty below zero.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NotFinite;

impl fmt::Display for NotFinite {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("not a finite number with an uncertainty of zero or more")
    }
}

impl std::error::Error for NotFinite {}

impl Measured {
    /// A value with its standard uncertainty.
    pub fn new(value: f64, u: f64) -> Result<Self, NotFinite> {
        if value.is_finite() && u.is_finite() && u >= 0.0 { Ok(Self { value, u }) } else { Err(NotFinite) }
    }

    /// A value known exactly (a count, a definition).
    pub fn exact(value: f64) -> Result<Self, NotFinite> {
        Self::new(value, 0.0)
    }

    /// A value with an expanded uncertainty at about 95 % (k = 2), as people write "±".
    pub fn from_expanded(value: f64, expanded: f64) -> Result<Self, NotFinite> {
        Self::new(value, expanded / 2.0)
    }

    /// The value.
    pub fn value(self) -> f64 {
        self.value
    }

    /// The standard uncertainty.
    pub fn u(self) -> f64 {
        self.u
    }
}

impl TryFrom<Raw> for Measured {
    type Error = NotFinite;
    fn try_from(raw: Raw) -> Result<Self, NotFinite> {
        Self::new(raw.value, raw.u)
    }
}

impl From<Measured> for Raw {
    fn from(m: Measured) -> Raw {
        Raw { value: m.value, u: m.u }
    }
}
