//! What an assessment says, as `assess --json` prints it.

use job::evidence::HoldPointOutcome;
use job::plan::{EvidenceOwed, Point, Whose};
use job::weights::Band;
use measure::{Judgement, Verdict};
use schemars::JsonSchema;
use serde::Serialize;

/// May this layer be covered?
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Assessment {
    /// Whose room.
    pub job: JobHead,
    /// Which rules held: packs, editions and the hash of their text.
    pub packs: Vec<PackUsed>,
    /// How values were judged.
    pub decision: String,
    /// Every hold point of the plan that this room has, in order.
    pub hold_points: Vec<HoldPointSummary>,
    /// The hold point answered below.
    pub hold_point: String,
    /// In one sentence.
    pub answer: String,
    /// Exit code of the command line: 1 falls short, 3 not shown, 4 only open departures, 0 all conforms.
    pub exit_code: i32,
    /// Groups of details as one would look at them, most water and most vulnerable first.
    pub groups: Vec<GroupResult>,
    /// What to do next, in that order.
    pub next: Vec<String>,
    /// What is unknown or assumed and bears on the answer.
    pub notes: Vec<String>,
    /// Where the shower's water goes in a day.
    pub water: Option<WaterBalance>,
    /// What the room needs of each material, with waste and in packs, beside what was delivered and used.
    pub materials: Vec<room::quantities::MaterialOut>,
    /// Cautions that always stand beside a result.
    pub cautions: Vec<String>,
}

/// Whose room.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct JobHead {
    /// Site, dwelling and room, as far as named.
    pub name: String,
    /// Basis date.
    pub basis_date: Option<String>,
    /// Class of building.
    pub building_class: Option<String>,
    /// Country and state.
    pub place: Option<String>,
    /// Drawing revision.
    pub drawing_revision: Option<String>,
}

/// A rule pack that was used.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct PackUsed {
    /// Pack.
    pub pack: String,
    /// Editions whose rules applied.
    pub editions: Vec<String>,
    /// SHA-256 of the pack's text.
    pub sha256: String,
}

/// One hold point in a line.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct HoldPointSummary {
    /// Id.
    pub id: String,
    /// Title.
    pub title: String,
    /// What may be covered after it.
    pub covers: String,
    /// Where it stands.
    pub state: State,
    /// Since when, by whom, under which conditions; or why it lapsed.
    pub says: String,
    /// How many lines of the plan conform, fall short ...
    pub counts: Counts,
}

/// Where a hold point stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub enum State {
    /// Nothing was decided yet.
    #[serde(rename = "open")]
    Open,
    /// May be covered.
    #[serde(rename = "released")]
    Released,
    /// May be covered when the conditions are met.
    #[serde(rename = "released with conditions")]
    ReleasedWithConditions,
    /// Was released, but too long ago or a later trade was in the room.
    #[serde(rename = "lapsed")]
    Lapsed,
    /// May not be covered.
    #[serde(rename = "not released")]
    NotReleased,
    /// The work was not ready.
    #[serde(rename = "not ready")]
    NotReady,
    /// No access.
    #[serde(rename = "no access")]
    NoAccess,
}

impl State {
    /// The words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Released => HoldPointOutcome::Released.words(),
            Self::ReleasedWithConditions => HoldPointOutcome::ReleasedWithConditions.words(),
            Self::Lapsed => "lapsed",
            Self::NotReleased => HoldPointOutcome::NotReleased.words(),
            Self::NotReady => HoldPointOutcome::NotReady.words(),
            Self::NoAccess => HoldPointOutcome::NoAccess.words(),
        }
    }

    /// Whether the layer may be covered.
    pub fn is_released(self) -> bool {
        matches!(self, Self::Released | Self::ReleasedWithConditions)
    }
}

impl From<HoldPointOutcome> for State {
    fn from(outcome: HoldPointOutcome) -> Self {
        match outcome {
            HoldPointOutcome::Released => Self::Released,
            HoldPointOutcome::ReleasedWithConditions => Self::ReleasedWithConditions,
            HoldPointOutcome::NotReleased => Self::NotReleased,
            HoldPointOutcome::NotReady => Self::NotReady,
            HoldPointOutcome::NoAccess => Self::NoAccess,
        }
    }
}

/// How many lines stand where.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Counts {
    /// Conform.
    pub conforms: usize,
    /// Fall short.
    pub falls_short: usize,
    /// Are not shown.
    pub not_shown: usize,
    /// Depart from a rule, openly, and wait for acceptance.
    pub open_departures: usize,
    /// Depart from a rule with acceptance.
    pub accepted_departures: usize,
    /// Were agreed to be out of scope.
    pub out_of_scope: usize,
}

impl Counts {
    /// Counts one line.
    pub fn add(&mut self, line: &Line) {
        match (line.departure, line.judgement.verdict) {
            (Some(DepartureStanding::Open), Verdict::FallsShort) => self.open_departures += 1,
            (Some(DepartureStanding::Accepted), Verdict::FallsShort) => self.accepted_departures += 1,
            (_, Verdict::Conforms) => self.conforms += 1,
            (_, Verdict::FallsShort) => self.falls_short += 1,
            (_, Verdict::NotShown) => self.not_shown += 1,
        }
    }

    /// The exit code these counts stand for.
    pub fn exit_code(&self) -> i32 {
        match self {
            Self { falls_short: 1.., .. } => 1,
            Self { not_shown: 1.., .. } => 3,
            Self { open_departures: 1.., .. } => 4,
            _ => 0,
        }
    }
}

/// Details one look covers, with all that is owed and known of them.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct GroupResult {
    /// Group of the register; empty for papers.
    pub id: String,
    /// "wall-floor junctions in the shower, 4 runs, 3.9 m".
    pub words: String,
    /// How many details it has.
    pub size: usize,
    /// Worst verdict of its lines.
    pub verdict: Verdict,
    /// How much water it sees.
    pub band: Band,
    /// Litres a day, of the wettest of its details; absent when no surface was measured.
    pub litres_per_day: Option<f64>,
    /// How easily this kind of detail fails, 0 to 10.
    pub vulnerability: f64,
    /// One line for each thing owed and each result that differs.
    pub lines: Vec<Line>,
}

/// One thing that is owed, for one or more details with the same result.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Line {
    /// Line of the plan; or `rule` when a rule of the packs asks more than the plan.
    pub owed: String,
    /// Details, by id.
    pub details: Vec<String>,
    /// Names of those details.
    pub names: Vec<String>,
    /// What right looks like.
    pub right: String,
    /// Evidence the plan asks for.
    pub evidence: EvidenceOwed,
    /// Hold point or witness point.
    pub point: Point,
    /// Whose evidence.
    pub whose: Whose,
    /// The verdict and what it rests on.
    pub judgement: Judgement,
    /// A departure that speaks of it.
    pub departure: Option<DepartureStanding>,
    /// What the verdict does not say by itself and helps to follow it: what a bond breaker's width does to the film over it.
    pub explains: Option<String>,
    /// What to do next; absent when nothing is.
    pub next: Option<String>,
    /// Where the deciding reading stands: file and line, or how it follows from the drawing.
    pub from: Option<String>,
}

/// State of a departure on a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum DepartureStanding {
    /// Waits for acceptance.
    Open,
    /// Accepted.
    Accepted,
}

/// Where a day's shower water goes.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct WaterBalance {
    /// Litres a day from the roses.
    pub in_l: f64,
    /// Litres a day to each outlet.
    pub outlets: Vec<(String, f64)>,
    /// Litres left standing.
    pub left_standing_l: f64,
    /// Which surface it ran over.
    pub surface: String,
}
