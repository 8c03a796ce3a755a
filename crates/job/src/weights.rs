//! Risk order: bands of water seen, then how easily a kind of detail fails. Data, visible and editable.

use room::nouns::ZoneKind;
use room::register::DetailKind;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// `weights.json`; the embedded default is common practice, no source.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Weights {
    /// Where the figures come from.
    pub source: String,
    /// A detail that sees at least this share of the room's daily shower water is in the band 'most'.
    pub most_share: f64,
    /// ... and at least this share in the band 'some'.
    pub some_share: f64,
    /// Band where no water was computed, by zone.
    pub by_zone: BTreeMap<ZoneKind, Band>,
    /// How easily each kind of detail fails, 0 to 10. Kinds not listed count 1.
    pub vulnerability: BTreeMap<DetailKind, f64>,
}

/// Water seen, in three bands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Band {
    /// Most of the water.
    Most,
    /// Some.
    Some,
    /// Little.
    Little,
}

impl Band {
    /// "most water", "some water", "little water".
    pub fn words(self) -> &'static str {
        match self {
            Self::Most => "most water",
            Self::Some => "some water",
            Self::Little => "little water",
        }
    }
}

impl Weights {
    /// The default weights.
    pub fn embedded() -> Self {
        serde_json::from_str(include_str!("../../../plans/weights.json")).expect("the embedded weights are read by a test")
    }

    /// How easily a kind of detail fails.
    pub fn vulnerability(&self, kind: DetailKind) -> f64 {
        self.vulnerability.get(&kind).copied().unwrap_or(1.0)
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn embedded_weights_can_be_read_and_keep_their_order() {
        let weights = super::Weights::embedded();
        assert!(weights.most_share > weights.some_share && weights.some_share > 0.0);
    }
}
