//! The inspection and test plan: what evidence is owed for each kind of detail at each hold point.

use measure::{Problem, Problems};
use room::nouns::{LayerKind, MembraneLayer, ZoneKind};
use room::register::{Detail, DetailKind};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A plan: hold points in the order of the work.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    /// `undertile plan 1`.
    #[schemars(extend("const" = "undertile plan 1"))]
    pub format: String,
    /// Name of the preset, or of the user's own plan.
    pub id: String,
    /// For which kind of room.
    pub title: String,
    /// Where the plan comes from.
    pub source: String,
    /// Days after which a release lapses.
    pub release_lapses_days: u32,
    /// Hold points in order.
    pub hold_points: Vec<HoldPoint>,
}

/// One hold point.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct HoldPoint {
    /// Name used in files.
    pub id: String,
    /// In words.
    pub title: String,
    /// What may be covered after it.
    pub covers: String,
    /// Only where the room has this membrane.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub needs_layer: Option<MembraneLayer>,
    /// Only where the room's build-up has, or may have, a screed.
    #[serde(default)]
    pub needs_screed: bool,
    /// What is owed.
    pub owed: Vec<Owed>,
}

/// One line of a plan: what is owed for details of these kinds.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Owed {
    /// Unique in the plan.
    pub id: String,
    /// Kinds of detail; empty for what is owed once for the room: a paper, or a quantity of the room as a whole.
    #[serde(default)]
    pub details: Vec<DetailKind>,
    /// Only in these zones.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub zones: Vec<ZoneKind>,
    /// Only details of this membrane.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub layer: Option<OwedLayer>,
    /// What kind of evidence.
    pub evidence: EvidenceOwed,
    /// Also a photograph.
    #[serde(default)]
    pub photograph: bool,
    /// For measured evidence: the quantity, by its name in the packs. Where no rule gives a limit, it is judged by eye.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub quantity: Option<String>,
    /// Surface whose levels decide, for falls and ponds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub surface: Option<LayerKind>,
    /// The surface whose rules are asked, where the measured one foreshadows it: a screed's falls become the tile's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stands_for: Option<LayerKind>,
    /// Owed only where a rule or data sheet limits the quantity.
    #[serde(default)]
    pub where_ruled: bool,
    /// Owed only where a piece was cut out of the membrane to measure it: its patch.
    #[serde(default)]
    pub where_cut_out: bool,
    /// What right looks like.
    pub right: String,
    /// Hold point or witness point.
    #[serde(default)]
    pub point: Point,
    /// Whose evidence it is.
    #[serde(default)]
    pub whose: Whose,
    /// Share of like rooms in which it is owed, above 0 up to 1.
    #[serde(default = "all_rooms")]
    #[schemars(range(min = 0.0, max = 1.0))]
    pub share: f64,
}

/// Which membrane a line speaks of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum OwedLayer {
    /// The one under the screed.
    UnderScreed,
    /// The one over the screed.
    OverScreed,
    /// Whichever goes on first.
    First,
    /// The one over the screed where there is another below it.
    Second,
    /// The highest there is: what is measured on a surface is asked once, not by membrane.
    Highest,
}

impl OwedLayer {
    /// The membrane meant in a room with these membranes, if it has it.
    pub fn in_room(self, layers: &[MembraneLayer]) -> Option<MembraneLayer> {
        let has = |layer| layers.contains(&layer).then_some(layer);
        match self {
            Self::UnderScreed => has(MembraneLayer::UnderScreed),
            Self::OverScreed => has(MembraneLayer::OverScreed),
            Self::First => has(MembraneLayer::UnderScreed).or(has(MembraneLayer::OverScreed)),
            Self::Second => has(MembraneLayer::UnderScreed).and(has(MembraneLayer::OverScreed)),
            Self::Highest => has(MembraneLayer::OverScreed).or(has(MembraneLayer::UnderScreed)),
        }
    }
}

fn all_rooms() -> f64 {
    1.0
}

/// Evidence a plan can ask for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum EvidenceOwed {
    /// A reading.
    Measured,
    /// Seen by the inspector.
    Seen,
    /// A photograph, by anybody.
    Photographed,
    /// Another's record.
    Stated,
    /// Agreed not to be inspected.
    OutOfScope,
}

/// Hold point or witness point.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Point {
    /// Work stops until it is released.
    #[default]
    Hold,
    /// The inspector may attend; work goes on.
    Witness,
}

/// Whose evidence.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Whose {
    /// The inspector's.
    #[default]
    Inspector,
    /// The applicator's.
    Applicator,
    /// A later trade's.
    Trade,
    /// The builder's.
    Builder,
}

/// `plan.json`: a preset with the user's changes.
#[derive(Clone, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct PlanFile {
    /// `undertile plan-edits 1`.
    #[schemars(extend("const" = "undertile plan-edits 1"))]
    pub format: String,
    /// Preset to start from.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub preset: Option<String>,
    /// Changes to lines of the preset.
    pub changes: Vec<Change>,
    /// Further lines.
    pub more: Vec<MoreOwed>,
    /// Who agreed the plan, and when.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub agreed: Option<Agreed>,
}

/// A change to one line.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Change {
    /// The line, by id.
    pub id: String,
    /// Evidence owed instead.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub evidence: Option<EvidenceOwed>,
    /// With or without a photograph.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub photograph: Option<bool>,
    /// Whose it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub whose: Option<Whose>,
    /// Share of like rooms.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub share: Option<f64>,
    /// Why it was changed.
    pub because: String,
}

/// A further line at a hold point.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MoreOwed {
    /// Hold point, by id.
    pub hold_point: String,
    /// The line.
    pub owed: Owed,
}

/// Agreement on a plan.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Agreed {
    /// Between whom.
    pub by: Vec<String>,
    /// When.
    #[schemars(extend("format" = "date-time"))]
    pub at: String,
}

/// The embedded presets by name.
const PRESETS: [(&str, &str); 3] = [
    ("bathroom", include_str!("../../../plans/bathroom.json")),
    ("laundry", include_str!("../../../plans/laundry.json")),
    ("toilet", include_str!("../../../plans/toilet.json")),
];

/// Names of the presets.
pub fn preset_names() -> impl Iterator<Item = &'static str> {
    PRESETS.iter().map(|(name, _)| *name)
}

/// A preset by name.
pub fn preset(name: &str) -> Option<Plan> {
    let (_, text) = PRESETS.iter().find(|(known, _)| *known == name)?;
    Some(serde_json::from_str(text).expect("embedded presets are read by a test"))
}

impl Plan {
    /// The preset named in a plan file (bathroom when none is), with the file's changes.
    pub fn with_changes(file: &PlanFile) -> Result<Self, Problems> {
        let mut problems = Problems::new();
        let name = file.preset.as_deref().unwrap_or("bathroom");
        let Some(mut plan) = preset(name) else {
            let known: Vec<_> = preset_names().collect();
            return Err(Problem::at("preset", "no plan of that name", format!("one of: {}", known.join(", "))).value(name).into());
        };
        for (i, change) in file.changes.iter().enumerate() {
            match plan.hold_points.iter_mut().flat_map(|hold| &mut hold.owed).find(|owed| owed.id == change.id) {
                None => problems.push(
                    Problem::at(format!("changes[{i}].id"), "the plan has no line of that name", "a line's id as in the preset")
                        .value(&change.id),
                ),
                Some(owed) => change.apply(owed),
            }
        }
        for (i, more) in file.more.iter().enumerate() {
            let taken = plan.hold_points.iter().flat_map(|hold| &hold.owed).any(|owed| owed.id == more.owed.id);
            if taken {
                problems.push(
                    Problem::at(format!("more[{i}].owed.id"), "the plan already has a line of that name", "a new name")
                        .value(&more.owed.id),
                );
            }
            let ids: Vec<_> = plan.hold_points.iter().map(|hold| hold.id.clone()).collect();
            match plan.hold_points.iter_mut().find(|hold| hold.id == more.hold_point) {
                None => problems.push(
                    Problem::at(format!("more[{i}].hold_point"), "no hold point of that name", format!("one of: {}", ids.join(", ")))
                        .value(&more.hold_point),
                ),
                Some(hold) => hold.owed.push(more.owed.clone()),
            }
        }
        problems.or(plan)
    }

    /// A hold point by id.
    pub fn hold_point(&self, id: &str) -> Option<&HoldPoint> {
        self.hold_points.iter().find(|hold| hold.id == id)
    }
}

impl Change {
    fn apply(&self, owed: &mut Owed) {
        owed.evidence = self.evidence.unwrap_or(owed.evidence);
        owed.photograph = self.photograph.unwrap_or(owed.photograph);
        owed.whose = self.whose.unwrap_or(owed.whose);
        owed.share = self.share.unwrap_or(owed.share);
    }
}

impl Owed {
    /// Whether this line speaks of a detail of a room with these membranes.
    pub fn speaks_of(&self, detail: &Detail, layers: &[MembraneLayer]) -> bool {
        let right_layer = match self.layer {
            None => true,
            Some(_) if layers.is_empty() => true,
            Some(asked) => asked.in_room(layers).is_some_and(|layer| detail.layer.is_none_or(|own| own == layer)),
        };
        right_layer && self.details.contains(&detail.kind) && (self.zones.is_empty() || self.zones.contains(&detail.zone))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_preset_can_be_read_and_names_each_line_once() {
        for name in preset_names() {
            let plan = preset(name).unwrap();
            assert_eq!(plan.id, name);
            let ids: Vec<_> = plan.hold_points.iter().flat_map(|hold| &hold.owed).map(|owed| &owed.id).collect();
            assert_eq!(ids.len(), ids.iter().collect::<BTreeSet<_>>().len(), "{name}: a line id stands twice");
            for owed in plan.hold_points.iter().flat_map(|hold| &hold.owed) {
                assert!(!owed.right.is_empty(), "{}: says what right looks like", owed.id);
                assert!(owed.evidence != EvidenceOwed::Measured || owed.quantity.is_some(), "{}: measured what?", owed.id);
            }
        }
    }

    #[test]
    fn the_bathroom_plan_has_the_ten_usual_hold_points_in_order() {
        let plan = preset("bathroom").unwrap();
        let ids: Vec<_> = plan.hold_points.iter().map(|hold| hold.id.as_str()).collect();
        assert_eq!(
            ids,
            [
                "substrate",
                "primer",
                "lower-membrane",
                "lower-flood",
                "screed",
                "upper-membrane",
                "upper-flood",
                "tiling",
                "water-test",
                "papers"
            ]
        );
    }

    #[test]
    fn changes_to_unknown_lines_are_all_named() {
        let change =
            |id: &str| Change { id: id.into(), evidence: None, photograph: None, whose: None, share: None, because: "test".into() };
        let file = PlanFile { changes: vec![change("nope"), change("nor this")], ..Default::default() };
        let problems = Plan::with_changes(&file).unwrap_err().problems;
        assert_eq!(problems.iter().map(|p| p.field.as_str()).collect::<Vec<_>>(), ["changes[0].id", "changes[1].id"]);
    }
}
