//! The job's frame as it stands in `job.json`: where, when, under which rules, for whom.

use measure::Decision;
use room::nouns::LayerKind;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// `job.json`.
#[derive(Clone, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Frame {
    /// `undertile job 1`.
    #[schemars(extend("const" = "undertile job 1"))]
    pub format: String,
    /// Site.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub site: Option<String>,
    /// Dwelling on the site.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dwelling: Option<String>,
    /// Address.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub address: Option<String>,
    /// Who engaged whom.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub engaged_by: Option<String>,
    /// What the inspection covers, in the user's words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scope: Option<String>,
    /// Building permit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub permit: Option<String>,
    /// Drawing and revision the work is built to.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drawing_revision: Option<String>,
    /// Day whose rules hold, `2024-03-18`.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(extend("format" = "date"))]
    pub basis_date: Option<String>,
    /// Class of building as the place's code names it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub building_class: Option<String>,
    /// Country, state or region.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub place: Option<Place>,
    /// Editions that hold whatever the date says, by the pack's names: `ncc-2025`.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub editions: Vec<String>,
    /// Whether the room lies inside a dwelling.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub inside_dwelling: Option<bool>,
    /// Whether the room must be accessible.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub accessible: Option<bool>,
    /// Whether the room lies above another dwelling or a public space.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub above_dwelling: Option<bool>,
    /// Also show today's edition beside the one of the basis date, labelled as today's practice.
    pub show_later_edition: bool,
    /// How values are judged; simple acceptance when left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub decision: Option<JobDecision>,
    /// Days after which a release lapses if the layer is not covered; the plan's own figure when left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub release_lapses_days: Option<u32>,
    /// How the bodies that meet at a junction move, where it is known; what is usual is taken for the rest, and said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub movement: Option<Movement>,
    /// What the level files measured. `levels-tile.csv` needs no entry: its name says the layer.
    pub surveys: Vec<SurveyFile>,
}

/// What moves the joints of this room after the membrane went on. Each uncertainty of a figure given here is a quarter of it
/// (k = 1): common practice, no source.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Movement {
    /// What carries the floor.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub floor: Option<FloorCarrier>,
    /// Change of the room's temperature, as far up as down.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 100.0))]
    pub temperature_k: Option<f64>,
    /// The same for a floor that is heated.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 100.0))]
    pub heated_k: Option<f64>,
    /// Change of the air's humidity behind and under the membrane, as a share, as far up as down: 0.3 for 30 %.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 1.0))]
    pub humidity_change: Option<f64>,
    /// Days the screed had dried when the membrane went on it.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 36500.0))]
    pub screed_dried_d: Option<f64>,
    /// How far the floor sinks away from the foot of the walls under what it comes to carry.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 100.0))]
    pub floor_deflection_mm: Option<f64>,
}

/// What carries a floor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum FloorCarrier {
    /// Sheet on timber joists.
    Timber,
    /// A concrete slab.
    Concrete,
}

/// Country by ISO 3166-1 two-letter code; state as its users write it.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Place {
    /// `AU`, `SE`, `US` ...
    #[schemars(length(min = 2, max = 2))]
    pub country: String,
    /// State or region.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub state: Option<String>,
}

/// The decision rule of a job.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "rule", rename_all = "lowercase", deny_unknown_fields)]
pub enum JobDecision {
    /// The value decides as it stands, up to a largest standard uncertainty by quantity; the quantity's own default where
    /// none is given here.
    Simple {
        /// Largest standard uncertainty by quantity, in the quantity's unit.
        #[serde(default)]
        u_max: BTreeMap<String, f64>,
    },
    /// Guarded acceptance at a stated risk, for disputes.
    Guarded {
        /// Largest probability of a wrong decision.
        #[schemars(range(min = 0.000001, max = 0.5))]
        risk: f64,
    },
}

impl Frame {
    /// What picks the rules.
    pub fn of_rules(&self) -> rules::Frame {
        rules::Frame {
            basis_date: self.basis_date.clone(),
            country: self.place.as_ref().map(|place| place.country.clone()),
            state: self.place.as_ref().and_then(|place| place.state.clone()),
            building_class: self.building_class.clone(),
            editions: self.editions.clone(),
            above_dwelling: self.above_dwelling,
            inside_dwelling: self.inside_dwelling,
            accessible: self.accessible,
        }
    }
}

impl Default for JobDecision {
    fn default() -> Self {
        Self::Simple { u_max: BTreeMap::new() }
    }
}

impl JobDecision {
    /// The decision for one quantity whose default largest uncertainty is `default_u_max`.
    pub fn for_quantity(&self, quantity: &str, default_u_max: f64) -> Decision {
        match self {
            Self::Guarded { risk } => Decision::Guarded { risk: *risk },
            Self::Simple { u_max } => Decision::Simple { u_max: u_max.get(quantity).copied().unwrap_or(default_u_max) },
        }
    }
}

/// What a level file measured.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SurveyFile {
    /// File name in the job folder.
    pub file: String,
    /// Which layer's surface.
    pub layer: LayerKind,
    /// Expanded (about 95 %) uncertainty of one level, as the instrument's owner states it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expanded_mm: Option<f64>,
}
