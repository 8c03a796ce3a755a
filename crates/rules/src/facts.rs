//! What is known of a job or a detail, and what a rule expects of it. What is not known stays unknown.

use crate::Vocabulary;
use crate::format::{Expect, Within};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Names of the facts in `packs/words.json` that the engine can tell; the meaning of each stands there.
pub mod fact {
    /// The room lies above another dwelling.
    pub const ABOVE_DWELLING: &str = "above_dwelling";
    /// The room lies inside a dwelling.
    pub const INSIDE_DWELLING: &str = "inside_dwelling";
    /// The room is one that must be accessible.
    pub const ACCESSIBLE: &str = "accessible";
    /// The floor in question drains to an outlet.
    pub const OUTLET_PRESENT: &str = "outlet_present";
    /// The shower is closed off by a screen and door.
    pub const ENCLOSED: &str = "enclosed";
    /// A screen stands on the water stop or beside the detail.
    pub const HAS_SCREEN: &str = "has_screen";
    /// Someone can stand there.
    pub const WALKABLE: &str = "walkable";
    /// Material of the substrate.
    pub const SUBSTRATE: &str = "substrate";
    /// What carries the wall.
    pub const CONSTRUCTION: &str = "construction";
    /// Weather is behind the wall.
    pub const OUTER_WALL: &str = "outer_wall";
    /// Liquid, sheet or board.
    pub const MEMBRANE_FORM: &str = "membrane_form";
    /// Class by elongation, in the pack's names.
    pub const MEMBRANE_CLASS: &str = "membrane_class";
    /// Base of a liquid membrane.
    pub const MEMBRANE_BASE: &str = "membrane_base";
    /// Kind of lining.
    pub const LINING: &str = "lining";
    /// Where a water stop stands.
    pub const WATER_STOP_AT: &str = "water_stop_at";
    /// What goes through the membrane.
    pub const PENETRATION: &str = "penetration";
    /// The penetration serves the shower itself.
    pub const SERVES_SHOWER: &str = "serves_shower";
    /// Outside diameter of the pipe.
    pub const DIAMETER_MM: &str = "diameter_mm";
    /// The screed or floor is heated.
    pub const HEATED: &str = "heated";
    /// Height of the threshold over the outlet's floor.
    pub const THRESHOLD_HEIGHT_MM: &str = "threshold_height_mm";
    /// Width of the screen at a bath.
    pub const BATH_SCREEN_MM: &str = "bath_screen_mm";
    /// Air temperature.
    pub const AIR_C: &str = "air_c";
    /// How one gets into the shower.
    pub const SHOWER_ENTRY: &str = "shower_entry";
    /// What the tile lies in: sun or moisture.
    pub const EXPOSED: &str = "exposed";
    /// Floor or wall.
    pub const ON: &str = "on";
    /// How the outer floor of the shower is held off from the rest: hob, set-down, level.
    pub const SHOWER_EDGE: &str = "shower_edge";
    /// The membrane sticks to its substrate.
    pub const BONDED: &str = "bonded";

    /// All of them.
    pub const ALL: [&str; 27] = [
        ABOVE_DWELLING,
        INSIDE_DWELLING,
        ACCESSIBLE,
        OUTLET_PRESENT,
        ENCLOSED,
        HAS_SCREEN,
        WALKABLE,
        SUBSTRATE,
        CONSTRUCTION,
        OUTER_WALL,
        MEMBRANE_FORM,
        MEMBRANE_CLASS,
        MEMBRANE_BASE,
        LINING,
        WATER_STOP_AT,
        PENETRATION,
        SERVES_SHOWER,
        DIAMETER_MM,
        HEATED,
        THRESHOLD_HEIGHT_MM,
        BATH_SCREEN_MM,
        AIR_C,
        SHOWER_ENTRY,
        EXPOSED,
        ON,
        SHOWER_EDGE,
        BONDED,
    ];
}

/// One fact: yes or no, a number, or a word.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Fact {
    /// Yes or no.
    Is(bool),
    /// A number in the fact's unit.
    Number(f64),
    /// A word.
    Word(String),
}

/// What is known, by the names in `packs/words.json`; a fact that is not here is unknown.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Facts(BTreeMap<String, Fact>);

impl Facts {
    /// Nothing known.
    pub fn new() -> Self {
        Self::default()
    }

    /// Also this: yes or no; `None` stays unknown.
    pub fn is(mut self, name: &str, value: impl Into<Option<bool>>) -> Self {
        if let Some(value) = value.into() {
            self.0.insert(name.into(), Fact::Is(value));
        }
        self
    }

    /// Also this word; `None` stays unknown. Words compare without regard to case.
    pub fn word<'a>(mut self, name: &str, value: impl Into<Option<&'a str>>) -> Self {
        if let Some(value) = value.into() {
            self.0.insert(name.into(), Fact::Word(value.into()));
        }
        self
    }

    /// Also this number; `None` and what is not finite stay unknown.
    pub fn number(mut self, name: &str, value: impl Into<Option<f64>>) -> Self {
        if let Some(value) = value.into().filter(|value| value.is_finite()) {
            self.0.insert(name.into(), Fact::Number(value));
        }
        self
    }

    /// These facts and, where they are silent, those.
    pub fn and(mut self, others: &Facts) -> Self {
        for (name, fact) in &others.0 {
            self.0.entry(name.clone()).or_insert_with(|| fact.clone());
        }
        self
    }

    /// One fact, if known.
    pub fn get(&self, name: &str) -> Option<&Fact> {
        self.0.get(name)
    }

    /// All of them in order of name.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &Fact)> {
        self.0.iter().map(|(name, fact)| (name.as_str(), fact))
    }

    /// Whether all expectations are met; where that hangs on something unknown, on what.
    pub(crate) fn meet(&self, expectations: &BTreeMap<String, Expect>) -> Met {
        let mut unknown = Vec::new();
        for (name, expect) in expectations {
            match self.get(name).map(|fact| met(expect, fact)) {
                Some(true) => {}
                Some(false) => return Met::No,
                None => unknown.push(name.clone()),
            }
        }
        if unknown.is_empty() { Met::Yes } else { Met::Unknown(unknown) }
    }
}

impl From<BTreeMap<String, Fact>> for Facts {
    fn from(map: BTreeMap<String, Fact>) -> Self {
        Self(map)
    }
}

/// Whether expectations are met.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Met {
    /// All.
    Yes,
    /// At least one is not.
    No,
    /// None failed, but these are unknown.
    Unknown(Vec<String>),
}

/// A fact of another kind than expected is not met: vocabulary checks keep that from happening with packs.
fn met(expect: &Expect, fact: &Fact) -> bool {
    match (expect, fact) {
        (Expect::Is(expected), Fact::Is(found)) => expected == found,
        (Expect::OneOf(words), Fact::Word(found)) => words.iter().any(|word| word.eq_ignore_ascii_case(found)),
        (Expect::Within(bounds), Fact::Number(found)) => within(bounds, *found),
        _ => false,
    }
}

fn within(bounds: &Within, x: f64) -> bool {
    bounds.at_least.is_none_or(|b| x >= b)
        && bounds.at_most.is_none_or(|b| x <= b)
        && bounds.above.is_none_or(|b| x > b)
        && bounds.below.is_none_or(|b| x < b)
}

/// Unknown facts in words: "whether a screen stands there is not known".
pub(crate) fn unknown_in_words(unknown: &[String], vocabulary: Option<&Vocabulary>) -> String {
    let each: Vec<String> = unknown
        .iter()
        .map(|name| match vocabulary.and_then(|v| v.fact(name)) {
            Some(fact) => format!("{name} ({})", fact.meaning),
            None => name.replace('_', " "),
        })
        .collect();
    format!("not known: {}", each.join("; "))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn expect(json: &str) -> BTreeMap<String, Expect> {
        serde_json::from_str(json).unwrap()
    }

    #[test]
    fn an_unknown_fact_is_neither_met_nor_failed() {
        let rule = expect(r#"{"enclosed": true, "substrate": ["timber", "plywood"], "diameter_mm": {"at_most": 32}}"#);
        let all = Facts::new().is("enclosed", true).word("substrate", "Timber").number("diameter_mm", 32.0);
        assert_eq!(all.meet(&rule), Met::Yes);
        assert_eq!(Facts::new().is("enclosed", true).meet(&rule), Met::Unknown(vec!["diameter_mm".into(), "substrate".into()]));
        assert_eq!(Facts::new().is("enclosed", false).meet(&rule), Met::No, "one failure decides, whatever is unknown");
        assert_eq!(Facts::new().number("diameter_mm", f64::NAN).get("diameter_mm"), None);
    }

    #[test]
    fn bounds_say_whether_the_bound_itself_is_in() {
        let table = [
            (r#"{"d": {"at_most": 32}}"#, 32.0, true),
            (r#"{"d": {"above": 32}}"#, 32.0, false),
            (r#"{"d": {"below": 10}}"#, 10.0, false),
            (r#"{"d": {"at_least": 10}}"#, 10.0, true),
        ];
        for (rule, value, inside) in table {
            assert_eq!(Facts::new().number("d", value).meet(&expect(rule)) == Met::Yes, inside, "{rule} {value}");
        }
    }
}
