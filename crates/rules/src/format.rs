//! How packs stand in files: the published format. `packs/README.md` explains it to whoever adds a place.

use room::nouns::{LayerKind, ZoneKind};
use room::register::DetailKind;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// `format` of a pack.
pub const PACK: &str = "undertile pack 1";
/// `format` of a file of rules beside `pack.json`.
pub const RULES: &str = "undertile rules 1";
/// `format` of `packs/quantities.json`.
pub const QUANTITIES: &str = "undertile quantities 1";
/// `format` of `packs/words.json`.
pub const WORDS: &str = "undertile words 1";

/// A pack: one jurisdiction (`pack.json` in its folder), or the project's own (one file).
#[derive(Clone, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct PackFile {
    /// `undertile pack 1`.
    #[schemars(extend("const" = "undertile pack 1"))]
    pub format: String,
    /// Short name, the first part of every rule's full name: `au`, `se`, `project`.
    pub id: String,
    /// What the pack holds, in a line.
    pub title: String,
    /// Two-letter country the pack is for (ISO 3166-1); left out, the pack holds everywhere.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub country: Option<String>,
    /// What whoever relies on the pack must know.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<String>,
    /// Codes and standards the rules come from, each with the dates between which it holds.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub editions: Vec<Edition>,
    /// How membranes are put into classes by elongation at break.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub membrane_classes: Option<MembraneClasses>,
    /// Local words for trade words: `departure` is a performance solution, `recess` a niche.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub words: BTreeMap<String, String>,
    /// Rules; in a folder they may stand in files beside `pack.json` instead.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub rules: Vec<RuleFile>,
    /// Limits of other packs' rules, entered by someone who holds the standard.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub verified: Vec<Verification>,
}

/// A file of rules beside `pack.json`.
#[derive(Clone, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct RulesFile {
    /// `undertile rules 1`.
    #[schemars(extend("const" = "undertile rules 1"))]
    pub format: String,
    /// The rules.
    pub rules: Vec<RuleFile>,
}

/// One edition of a code, standard or trade rule.
#[derive(Clone, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Edition {
    /// Name used by rules: `ncc-2022`.
    pub id: String,
    /// As printed: `NCC 2022`.
    pub title: String,
    /// What it is an edition of; of one family only one edition holds at a time.
    pub family: String,
    /// First day it holds, `YYYY-MM-DD`; left out, since ever.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from: Option<String>,
    /// Last day it holds; left out, until now.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub to: Option<String>,
    /// States or regions it holds in; none named means all.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub states: Vec<String>,
    /// It holds only where a place adopted it, or from a day that differs by state, so the date alone cannot pick it: why,
    /// in words. The frame must name it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub must_be_named: Option<String>,
    /// Where the dates come from, and how sure they are.
    pub dates_source: String,
}

/// Classes of membrane by elongation at break, lowest first.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MembraneClasses {
    /// The classes, lowest (strictest) first.
    pub classes: Vec<MembraneClass>,
    /// What to say of a value no class names; the lower class beside it is taken.
    pub gap: String,
    /// Standard and clause.
    pub clause: String,
    /// How sure the figures are.
    pub confidence: Confidence,
    /// Where they were read.
    pub source: String,
}

/// One class.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MembraneClass {
    /// Name: `II`.
    pub id: String,
    /// Least elongation of the class.
    pub elongation_percent_min: f64,
    /// Largest elongation the wording gives the class; left out with `below` or for the last.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub elongation_percent_max: Option<f64>,
    /// The class ends below this.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub below_percent: Option<f64>,
}

/// One rule. Either a `quantity` with a limit, or `requires`: what must be there or done, judged by eye.
#[derive(Clone, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct RuleFile {
    /// Name within the pack: `fall-to-waste`.
    pub id: String,
    /// In a line, in our own words.
    pub title: String,
    /// What is measured, from `quantities.json`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub quantity: Option<String>,
    /// Unit of the quantity, so that a slip shows.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// What must be there or done, judged by eye.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub requires: Option<String>,
    /// What a height or distance counts from, from `words.json`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub datum: Option<String>,
    /// Kinds of detail it applies to; none means the room as a whole.
    pub details: Vec<DetailKind>,
    /// Zones it applies in; none means all.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub zones: Vec<ZoneKind>,
    /// Surfaces it applies to (the layer whose top is meant); none means whichever the quantity is measured on.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub surfaces: Vec<LayerKind>,
    /// Only this near to something.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub area: Option<Area>,
    /// Which way a fall is taken, from `words.json`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub direction: Option<String>,
    /// Facts that must be so for the rule to hold, by names from `words.json`.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub when: BTreeMap<String, Expect>,
    /// What the quantity must keep.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit: Option<LimitFile>,
    /// Instead of `limit`: different limits under different facts; the first whose `when` is met counts.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub limits: Vec<LimitFile>,
    /// The rule is one way among several: meeting all rules of any one route of the group is enough.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub one_of: Option<OneOf>,
    /// Least number of readings where it differs from the quantity's.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub least_readings: Option<usize>,
    /// Editions of this pack the rule stands in.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub editions: Vec<String>,
    /// First day, where it differs from the edition's.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub effective_from: Option<String>,
    /// Last day, where it differs from the edition's.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub effective_to: Option<String>,
    /// States or regions it holds in; none means all.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub states: Vec<String>,
    /// Building classes it holds for; `1` takes in 1a and 1b; none means all.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub building_classes: Vec<String>,
    /// Full names of rules it takes the place of where it holds (a state's variation of a national rule).
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub instead_of: Vec<String>,
    /// Holds only where no other rule judges the same quantity.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub where_silent: bool,
    /// Clause.
    pub clause: String,
    /// What kind of rule.
    pub status: Status,
    /// How sure the limit is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub confidence: Option<Confidence>,
    /// Where it was read: publisher and page.
    pub source: String,
    /// What contradicts it; while that stands the rule decides nothing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unresolved: Option<String>,
    /// Someone who read it in the standard and answers for it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub verified_by: Option<VerifiedBy>,
    /// What else to know.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// Worked cases: below, at and above every bound, and unknown.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub cases: Vec<Case>,
}

/// What kind of rule.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Status {
    /// The code, or a standard it calls up.
    #[default]
    Normative,
    /// Guidance of a regulator or trade body.
    Guidance,
    /// The trade's practice, a data sheet, or what the parties agreed.
    Practice,
    /// Kept for comparison; never applied to a room.
    Reference,
}

/// How sure a limit is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Confidence {
    /// Read in the source.
    S,
    /// Read in a secondary source.
    #[serde(rename = "s2")]
    S2,
    /// From memory, not seen, or only in a research note: decides nothing.
    M,
    /// Derived by arithmetic from values read.
    D,
    /// Common practice, no source.
    P,
}

/// Who verified a limit, and where it stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct VerifiedBy {
    /// Name of the person.
    pub by: String,
    /// Edition held: title and year.
    pub edition: String,
    /// Clause.
    pub clause: String,
    /// Page.
    pub page: String,
    /// Day it was entered, `YYYY-MM-DD`.
    pub date: String,
}

/// A limit of another pack's rule, entered by someone who holds the standard.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Verification {
    /// Full name of the rule: `au/bond-breaker-width`.
    pub rule: String,
    /// The limit as it stands in the standard; left out for a rule judged by eye.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limit: Option<LimitFile>,
    /// Or different limits under different facts.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub limits: Vec<LimitFile>,
    /// Who, and where it stands.
    pub verified_by: VerifiedBy,
    /// Worked cases for the limit entered; they take the place of the rule's own.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cases: Vec<Case>,
}

/// Only this near to something.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Area {
    /// What it is near to.
    pub around: Around,
    /// How near, on plan; a wall inside it ends it.
    pub radius_mm: f64,
}

/// What an area lies around.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Around {
    /// The edge of the outlet.
    Outlet,
    /// The point on the floor under the shower rose.
    Rose,
    /// A door's threshold.
    Door,
}

/// One way among several.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OneOf {
    /// The group: one name for all ways.
    pub group: String,
    /// The route within the group.
    pub route: String,
}

/// What a quantity must keep.
#[derive(Clone, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct LimitFile {
    /// Facts under which this limit counts (only in `limits`).
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub when: BTreeMap<String, Expect>,
    /// Not below.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at_least: Option<Number>,
    /// Not above.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at_most: Option<Number>,
    /// The same limit as the source prints it beside, rounded or in another unit. The limit above decides; where the
    /// printed one would decide otherwise, the verdict says so.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub printed: Option<Printed>,
}

/// The second form of a limit.
#[derive(Clone, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Printed {
    /// Not below.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at_least: Option<Number>,
    /// Not above.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at_most: Option<Number>,
}

/// A number, or a fall as text ("1:80", "2 %").
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Number {
    /// A number in the quantity's unit.
    Plain(f64),
    /// A fall as written.
    Fall(String),
}

/// What a fact must be.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Expect {
    /// Yes or no.
    Is(bool),
    /// One of these words.
    OneOf(Vec<String>),
    /// A number inside these bounds.
    Within(Within),
}

/// Bounds of a numeric fact.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Within {
    /// Not below.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at_least: Option<f64>,
    /// Not above.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at_most: Option<f64>,
    /// Above, and not at.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub above: Option<f64>,
    /// Below, and not at.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub below: Option<f64>,
}

/// A worked case: a value known exactly (or a standard uncertainty with it), judged with guarded acceptance at 5 %.
#[derive(Clone, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Case {
    /// The value; left out, nothing was measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<Number>,
    /// Its standard uncertainty.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub u: Option<f64>,
    /// For a rule judged by eye: whether it was found as required; left out, nobody looked.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub found: Option<bool>,
    /// Facts of the case.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub facts: BTreeMap<String, crate::Fact>,
    /// Verdict to expect.
    pub expect: Option<measure::Verdict>,
    /// For a rule that decides nothing: the verdict to expect once someone has verified it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub if_verified: Option<measure::Verdict>,
}

/// What can be measured: `packs/quantities.json`.
#[derive(Clone, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct QuantitiesFile {
    /// `undertile quantities 1`.
    #[schemars(extend("const" = "undertile quantities 1"))]
    pub format: String,
    /// The quantities.
    pub quantities: Vec<Quantity>,
}

/// Something a rule can put a limit to.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Quantity {
    /// Name, unit last: `upturn_height_mm`.
    pub id: String,
    /// Unit of value, uncertainty and limit.
    pub unit: String,
    /// What it is.
    pub meaning: String,
    /// How it is measured on site.
    pub measured: String,
    /// Least number of readings for a verdict: 3, or 1 for a direct comparison such as a height.
    pub least_readings: usize,
    /// Largest standard uncertainty with which simple acceptance lets a value decide.
    pub u_max: f64,
    /// Where `u_max` comes from.
    pub u_max_source: String,
    /// A height or distance that means nothing without saying what it counts from.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub needs_datum: bool,
    /// A fall that means nothing without saying which way.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub needs_direction: bool,
}

/// Words rules may use: `packs/words.json`.
#[derive(Clone, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct WordsFile {
    /// `undertile words 1`.
    #[schemars(extend("const" = "undertile words 1"))]
    pub format: String,
    /// What heights and distances count from, with its meaning.
    pub datums: BTreeMap<String, String>,
    /// Ways a fall is taken, with their meaning.
    pub directions: BTreeMap<String, String>,
    /// Facts a rule may depend on.
    pub facts: Vec<FactWord>,
}

/// A fact a rule may depend on.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FactWord {
    /// Name.
    pub id: String,
    /// What it says.
    pub meaning: String,
    /// Known for the whole job, or for one detail.
    pub of: FactOf,
    /// What it can be.
    pub is: FactKind,
    /// What is taken when nobody says: only where the other is the exception someone would mention.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unless_said: Option<crate::Fact>,
}

/// Whose fact.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum FactOf {
    /// Of the job's frame.
    Frame,
    /// Of one detail.
    Detail,
}

/// What a fact can be.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum FactKind {
    /// Yes or no.
    YesNo,
    /// One of these words; an empty list takes any (the class names of a pack, say).
    Word(Vec<String>),
    /// A number in this unit.
    Number(String),
}
