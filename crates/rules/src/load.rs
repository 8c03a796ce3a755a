//! Packs from their files, with everything that is wrong with them found at once.

use crate::format::{
    Case, Confidence, Edition, Expect, LimitFile, Number, PACK, PackFile, Printed, RULES, RuleFile, RulesFile, Status, Verification,
    VerifiedBy,
};
use crate::rule::{Asked, Standing};
use crate::{Facts, Quantity, Rule, Vocabulary, date};
use measure::{Limit, Problem, Problems, ratio};
use std::collections::{BTreeMap, BTreeSet};

/// Rules of one pack at most.
const RULES_MOST: usize = 5_000;

/// What one pack brings: its rules, and limits it verifies in other packs.
pub(crate) struct Loaded {
    pub(crate) file: PackFile,
    pub(crate) rules: Vec<Rule>,
    pub(crate) verified: Vec<(Verification, String)>,
}

/// A pack from `pack.json` and the files of rules beside it.
pub(crate) fn pack(main: (&str, &[u8]), beside: &[(&str, &[u8])], vocabulary: &Vocabulary) -> Result<Loaded, Problems> {
    let mut file: PackFile = intake::json::read(main.0, main.1)?;
    let mut problems = check_pack(&file).in_file(main.0);
    let mut sets = vec![(main.0, std::mem::take(&mut file.rules))];
    for (name, bytes) in beside {
        match intake::json::read::<RulesFile>(name, bytes) {
            Ok(rules) => {
                if rules.format != RULES {
                    problems.push(Problem::at("format", "not a file of rules", format!("\"{RULES}\"")).value(&rules.format).file(*name));
                }
                sets.push((name, rules.rules));
            }
            Err(errors) => problems.extend(errors),
        }
    }
    let count: usize = sets.iter().map(|(_, rules)| rules.len()).sum();
    if count > RULES_MOST {
        return Err(Problem::at("rules", format!("{count} rules"), format!("at most {RULES_MOST} in one pack")).file(main.0).into());
    }
    let mut seen = BTreeSet::new();
    let mut rules = Vec::new();
    for (name, set) in sets {
        for (i, written) in set.into_iter().enumerate() {
            let field = format!("rules[{i}]");
            if !seen.insert(written.id.clone()) {
                problems.push(Problem::at(format!("{field}.id"), "given twice", "one name a rule").value(&written.id).file(name));
            }
            let mut check = Check { problems: Problems::new(), field, vocabulary };
            let rule = check.rule(&file, written);
            problems.extend(check.problems.in_file(name));
            rules.extend(rule);
        }
    }
    let verified = std::mem::take(&mut file.verified).into_iter().map(|v| (v, main.0.to_string())).collect();
    problems.or(Loaded { file, rules, verified })
}

/// Limits under their facts, for a rule or a verification of one.
pub(crate) fn asked(
    field: &str,
    limit: Option<&LimitFile>,
    limits: &[LimitFile],
    unit: &str,
    vocabulary: &Vocabulary,
) -> Result<Vec<Asked>, Problems> {
    let mut check = Check { problems: Problems::new(), field: field.into(), vocabulary };
    let asked = check.limits(limit, limits, unit);
    check.problems.or(asked)
}

/// What is wrong with the cases of a verification.
pub(crate) fn check_cases_of(field: &str, verification: &Verification, rule: &Rule, vocabulary: &Vocabulary) -> Problems {
    let mut check = Check { problems: Problems::new(), field: field.into(), vocabulary };
    check.cases_of(&verification.cases, rule.unit(), rule.quantity.is_some());
    check.problems
}

/// What is wrong with who verified and where it stands.
pub(crate) fn check_verified_by(field: &str, by: &VerifiedBy) -> Problems {
    let mut problems = Problems::new();
    for (name, text) in [("by", &by.by), ("edition", &by.edition), ("clause", &by.clause), ("page", &by.page)] {
        if text.trim().is_empty() {
            problems.push(Problem::at(format!("{field}.{name}"), "missing", "who verified a limit says edition, clause and page"));
        }
    }
    if let Some(wrong) = date::wrong(format!("{field}.date"), &by.date) {
        problems.push(wrong);
    }
    problems
}

fn check_pack(file: &PackFile) -> Problems {
    let mut problems = Problems::new();
    if file.format != PACK {
        problems.push(Problem::at("format", "not a pack", format!("\"{PACK}\"")).value(&file.format));
    }
    if !is_name(&file.id) {
        problems.push(Problem::at("id", "not a name", "lower-case letters, digits and -").value(&file.id));
    }
    if file.title.trim().is_empty() {
        problems.push(Problem::at("title", "missing", "what the pack holds, in a line"));
    }
    if file.country.as_ref().is_some_and(|c| c.len() != 2 || !c.chars().all(|c| c.is_ascii_uppercase())) {
        let country = file.country.as_deref().unwrap_or_default();
        problems.push(Problem::at("country", "not a country code", "two capital letters (ISO 3166-1), such as AU").value(country));
    }
    if let Some(classes) = &file.membrane_classes {
        problems.extend(classes.check());
    }
    check_editions(&file.editions, &mut problems);
    problems
}

fn check_editions(editions: &[Edition], problems: &mut Problems) {
    let mut seen = BTreeSet::new();
    for (i, edition) in editions.iter().enumerate() {
        let field = |name: &str| format!("editions[{i}].{name}");
        if !is_name(&edition.id) || !seen.insert(&edition.id) {
            problems.push(Problem::at(field("id"), "not a name, or given twice", "one lower-case name an edition").value(&edition.id));
        }
        for (name, text) in [("title", &edition.title), ("family", &edition.family), ("dates_source", &edition.dates_source)] {
            if text.trim().is_empty() {
                problems.push(Problem::at(field(name), "missing", "every edition has a title, a family and a source of its dates"));
            }
        }
        check_dates(&field("from"), edition.from.as_deref(), edition.to.as_deref(), problems);
        let overlapping = editions[..i].iter().find(|other| {
            other.family == edition.family
                && other.must_be_named.is_none()
                && edition.must_be_named.is_none()
                && (other.states.is_empty() || edition.states.is_empty() || other.states.iter().any(|s| edition.states.contains(s)))
                && other.from.as_deref() <= edition.to.as_deref().or(Some("9999"))
                && edition.from.as_deref() <= other.to.as_deref().or(Some("9999"))
        });
        if let Some(other) = overlapping {
            let right = format!("of {} one edition holds at a time; {} holds then too", edition.family, other.id);
            problems.push(Problem::at(field("from"), "the dates overlap", right).value(&edition.id));
        }
    }
}

/// Adds what is wrong with a span of dates.
fn check_dates(field: &str, from: Option<&str>, to: Option<&str>, problems: &mut Problems) {
    for text in [from, to].into_iter().flatten() {
        if let Some(wrong) = date::wrong(field, text) {
            problems.push(wrong);
            return;
        }
    }
    if let (Some(from), Some(to)) = (from, to)
        && from > to
    {
        problems.push(Problem::at(field, "the first day is after the last", "the earlier day first").value(format!("{from} to {to}")));
    }
}

/// Lower-case letters, digits and hyphens.
fn is_name(text: &str) -> bool {
    !text.is_empty() && text.len() <= 80 && text.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-')
}

/// Gathers what is wrong with one rule.
struct Check<'a> {
    problems: Problems,
    field: String,
    vocabulary: &'a Vocabulary,
}

impl<'a> Check<'a> {
    fn wrong(&mut self, field: &str, what: impl Into<String>, right: impl Into<String>, value: &str) {
        let problem = Problem::at(format!("{}.{field}", self.field), what, right);
        self.problems.push(if value.is_empty() { problem } else { problem.value(value) });
    }

    /// The rule with its limits as numbers; `None` when they cannot be told.
    fn rule(&mut self, pack: &PackFile, written: RuleFile) -> Option<Rule> {
        self.words_of(&written);
        self.sources_of(pack, &written);
        self.facts_of(&written.when, "when");
        let quantity = self.quantity_of(&written);
        let unit = quantity.map_or("", |quantity| quantity.unit.as_str());
        let asked = self.limits(written.limit.as_ref(), &written.limits, unit);
        if quantity.is_none() && !asked.is_empty() {
            self.wrong("limit", "a limit without a quantity", "name the quantity, or leave the limit out", "");
        }
        if quantity.is_some() && written.limit.is_none() && written.limits.is_empty() {
            self.wrong("limit", "missing", "at_least, at_most or both", &written.id);
        }
        self.cases_of(&written.cases, unit, quantity.is_some());
        let titles: Vec<&str> =
            written.editions.iter().filter_map(|id| pack.editions.iter().find(|e| e.id == *id)).map(|e| e.title.as_str()).collect();
        Some(Rule {
            id: format!("{}/{}", pack.id, written.id),
            pack: pack.id.clone(),
            edition: titles.join(" and "),
            quantity: quantity.cloned(),
            asked,
            verified_by: written.verified_by.clone(),
            before: None,
            standing: Standing::Holds,
            written,
        })
    }

    fn words_of(&mut self, written: &RuleFile) {
        if !is_name(&written.id) {
            self.wrong("id", "not a name", "lower-case letters, digits and -", &written.id);
        }
        if written.title.trim().is_empty() {
            self.wrong("title", "missing", "what the rule asks, in a line", &written.id);
        }
        if let Some(datum) = &written.datum
            && self.vocabulary.datum(datum).is_none()
        {
            self.wrong("datum", "no such datum", format!("one of {}", self.vocabulary.datum_names()), datum);
        }
        if let Some(direction) = &written.direction
            && self.vocabulary.direction(direction).is_none()
        {
            self.wrong("direction", "no such direction", format!("one of {}", self.vocabulary.direction_names()), direction);
        }
        if let Some(area) = &written.area
            && !(area.radius_mm.is_finite() && area.radius_mm > 0.0)
        {
            self.wrong("area.radius_mm", "not a distance", "a number of millimetres above 0", &area.radius_mm.to_string());
        }
        if written.least_readings == Some(0) {
            self.wrong("least_readings", "zero readings show nothing", "1 or more", "");
        }
    }

    fn sources_of(&mut self, pack: &PackFile, written: &RuleFile) {
        if written.clause.trim().is_empty() && written.status != Status::Practice && written.verified_by.is_none() {
            self.wrong("clause", "missing", "where it stands in the source", &written.id);
        }
        if written.source.trim().is_empty() && written.confidence != Some(Confidence::P) && written.verified_by.is_none() {
            self.wrong("source", "missing", "publisher and page where it was read", &written.id);
        }
        if written.confidence.is_none() && written.verified_by.is_none() {
            self.wrong("confidence", "missing", "S, s2, M, D or P; or verified_by", &written.id);
        }
        if let Some(by) = &written.verified_by {
            let problems = check_verified_by(&format!("{}.verified_by", self.field), by);
            self.problems.extend(problems);
        }
        if written.editions.is_empty() && !pack.editions.is_empty() {
            self.wrong("editions", "missing", "name the editions the rule stands in", &written.id);
        }
        for id in &written.editions {
            if !pack.editions.iter().any(|edition| edition.id == *id) {
                self.wrong("editions", "no such edition in this pack", "one of the pack's editions", id);
            }
        }
        let field = format!("{}.effective_from", self.field);
        check_dates(&field, written.effective_from.as_deref(), written.effective_to.as_deref(), &mut self.problems);
    }

    fn facts_of(&mut self, when: &BTreeMap<String, Expect>, field: &str) {
        for (name, expect) in when {
            let problems = self.vocabulary.check_expect(&format!("{}.{field}.{name}", self.field), name, expect);
            self.problems.extend(problems);
        }
    }

    /// The quantity, after checking that unit, datum and direction go with it.
    fn quantity_of(&mut self, written: &RuleFile) -> Option<&'a Quantity> {
        let vocabulary = self.vocabulary;
        let name = match (&written.quantity, &written.requires) {
            (Some(name), None) => name,
            (None, Some(text)) if !text.trim().is_empty() => return None,
            _ => {
                self.wrong("quantity", "neither or both of quantity and requires", "quantity with a limit, or requires", &written.id);
                return None;
            }
        };
        let Some(quantity) = vocabulary.quantity(name) else {
            self.wrong("quantity", "no such quantity", "one from packs/quantities.json", name);
            return None;
        };
        if written.unit.as_deref() != Some(quantity.unit.as_str()) {
            let unit = written.unit.as_deref().unwrap_or("none");
            self.wrong("unit", format!("not the unit of {name}"), format!("\"{}\"", quantity.unit), unit);
        }
        if quantity.needs_datum && written.datum.is_none() {
            self.wrong("datum", format!("{name} without a datum"), format!("one of {}", vocabulary.datum_names()), "");
        }
        if quantity.needs_direction && written.direction.is_none() {
            self.wrong("direction", format!("{name} without a direction"), format!("one of {}", vocabulary.direction_names()), "");
        }
        Some(quantity)
    }

    fn limits(&mut self, limit: Option<&LimitFile>, limits: &[LimitFile], unit: &str) -> Vec<Asked> {
        if limit.is_some() && !limits.is_empty() {
            self.wrong("limits", "limit and limits both given", "one of the two", "");
        }
        let mut asked = Vec::new();
        if let Some(limit) = limit {
            if !limit.when.is_empty() {
                self.wrong("limit.when", "facts on the only limit", "put them on the rule", "");
            }
            asked.extend(self.asked(limit, "limit", unit));
        }
        for (i, limit) in limits.iter().enumerate() {
            let field = format!("limits[{i}]");
            if limit.when.is_empty() && i + 1 < limits.len() {
                self.wrong(&field, "no facts, so the limits after it never count", "give when, or put it last", "");
            }
            self.facts_of(&limit.when, &format!("{field}.when"));
            asked.extend(self.asked(limit, &field, unit));
        }
        asked
    }

    fn asked(&mut self, file: &LimitFile, field: &str, unit: &str) -> Option<Asked> {
        let (limit, words) = self.bounds(file.at_least.as_ref(), file.at_most.as_ref(), field, unit)?;
        let printed = match &file.printed {
            None => None,
            Some(Printed { at_least, at_most }) => {
                if at_least.is_some() != file.at_least.is_some() || at_most.is_some() != file.at_most.is_some() {
                    self.wrong(&format!("{field}.printed"), "not the same sides as the limit", "the same bounds in their printed form", "");
                }
                self.bounds(at_least.as_ref(), at_most.as_ref(), &format!("{field}.printed"), unit)
            }
        };
        Some(Asked { when: file.when.clone(), limit, words, printed })
    }

    fn bounds(&mut self, at_least: Option<&Number>, at_most: Option<&Number>, field: &str, unit: &str) -> Option<(Limit, String)> {
        let min = at_least.map(|bound| self.number(bound, &format!("{field}.at_least"), unit));
        let max = at_most.map(|bound| self.number(bound, &format!("{field}.at_most"), unit));
        if min.is_none() && max.is_none() {
            self.wrong(field, "no bound", "at_least, at_most or both", "");
            return None;
        }
        let (min, max) = (min.map_or(Some(None), |m| m.map(Some))?, max.map_or(Some(None), |m| m.map(Some))?);
        if let (Some(min), Some(max)) = (min, max)
            && min > max
        {
            self.wrong(field, "the lower bound is above the upper", "at_least no larger than at_most", &format!("{min} to {max}"));
        }
        let limit = Limit::from_bounds(min, max)?;
        Some((limit, limit_in_words(at_least, at_most, unit)))
    }

    /// A bound or a case's value as a number in the unit.
    fn number(&mut self, number: &Number, field: &str, unit: &str) -> Option<f64> {
        match number {
            Number::Plain(x) if x.is_finite() => Some(*x),
            Number::Fall(text) if unit == "ratio" => match ratio::parse(text) {
                Ok(x) => Some(x),
                Err(problem) => {
                    self.wrong(field, problem.what, problem.right, text);
                    None
                }
            },
            Number::Plain(_) => {
                self.wrong(field, "not a finite number", "a number", "");
                None
            }
            Number::Fall(text) => {
                self.wrong(field, "text where a number is due", format!("a number in {unit}"), text);
                None
            }
        }
    }

    fn cases_of(&mut self, cases: &[Case], unit: &str, has_number: bool) {
        for (i, case) in cases.iter().enumerate() {
            let field = format!("cases[{i}]");
            if let Some(value) = &case.value {
                self.number(value, &format!("{field}.value"), unit);
            }
            if case.expect.is_none() {
                self.wrong(&format!("{field}.expect"), "missing", "conforms, falls short or not shown", "");
            }
            if case.u.is_some_and(|u| !u.is_finite() || u < 0.0) {
                self.wrong(&format!("{field}.u"), "not a standard uncertainty", "0 or more", "");
            }
            if case.found.is_some() && (case.value.is_some() || has_number) {
                self.wrong(&format!("{field}.found"), "a look for a rule with a number", "a value, or nothing", "");
            }
            let facts = Facts::from(case.facts.clone());
            let problems = self.vocabulary.check_facts(&format!("{}.{field}.facts", self.field), &facts);
            self.problems.extend(problems);
        }
    }
}

/// "between 1:80 and 1:50", "at least 25 mm".
fn limit_in_words(at_least: Option<&Number>, at_most: Option<&Number>, unit: &str) -> String {
    let say = |number: &Number| match number {
        Number::Fall(text) => text.clone(),
        Number::Plain(x) if unit == "ratio" => ratio::words(*x),
        Number::Plain(x) if unit == "share" => format!("{} %", x * 100.0),
        Number::Plain(x) if unit == "count" => x.to_string(),
        Number::Plain(x) => format!("{x} {}", measure::bounds::unit_words(unit)),
    };
    match (at_least, at_most) {
        (Some(min), Some(max)) => format!("between {} and {}", say(min), say(max)),
        (Some(min), None) => format!("at least {}", say(min)),
        (None, Some(max)) => format!("at most {}", say(max)),
        (None, None) => String::new(),
    }
}

/// The value of a case, checked at load.
pub(crate) fn case_value(case: &Case) -> Option<f64> {
    match case.value.as_ref()? {
        Number::Plain(x) => Some(*x),
        Number::Fall(text) => ratio::parse(text).ok(),
    }
}
