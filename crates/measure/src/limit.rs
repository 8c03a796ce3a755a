use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What a rule asks of a quantity: at least, at most, or between two values. Bounds belong to the allowed side.
///
/// In results a one-sided limit is a bare number with `limit_is` beside it ("at least", "at most"); a band is a pair.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub enum Limit {
    /// The value must not be below this.
    #[serde(rename = "at least")]
    AtLeast(f64),
    /// The value must not be above this.
    #[serde(rename = "at most")]
    AtMost(f64),
    /// The value must lie in this closed band, lower bound first.
    #[serde(rename = "between")]
    Between(f64, f64),
}

/// Two numbers this close, relative to their size, are the same number: it removes the rounding of a division such as
/// 1/48, and nothing a gauge could see.
const SAME: f64 = 1e-9;

impl Limit {
    /// From optional bounds; `None` when there is neither.
    pub fn from_bounds(min: Option<f64>, max: Option<f64>) -> Option<Self> {
        match (min, max) {
            (Some(min), Some(max)) => Some(Self::Between(min, max)),
            (Some(min), None) => Some(Self::AtLeast(min)),
            (None, Some(max)) => Some(Self::AtMost(max)),
            (None, None) => None,
        }
    }

    /// The lower bound, where there is one.
    pub fn min(self) -> Option<f64> {
        match self {
            Self::AtLeast(min) | Self::Between(min, _) => Some(min),
            Self::AtMost(_) => None,
        }
    }

    /// The upper bound, where there is one.
    pub fn max(self) -> Option<f64> {
        match self {
            Self::AtMost(max) | Self::Between(_, max) => Some(max),
            Self::AtLeast(_) => None,
        }
    }

    /// Whether an exactly known value is allowed. A value on the bound is.
    pub fn allows(self, value: f64) -> bool {
        self.min().is_none_or(|min| value >= min - SAME * min.abs()) && self.max().is_none_or(|max| value <= max + SAME * max.abs())
    }

    /// The words "at least", "at most" or "between".
    pub fn words(self) -> &'static str {
        match self {
            Self::AtLeast(_) => "at least",
            Self::AtMost(_) => "at most",
            Self::Between(..) => "between",
        }
    }
}
