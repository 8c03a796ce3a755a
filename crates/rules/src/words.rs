//! The words rules may use: quantities, datums, directions, facts. They are data beside the packs.

use crate::format::{Expect, FactKind, FactOf, FactWord, QUANTITIES, QuantitiesFile, Quantity, WORDS, WordsFile};
use crate::{Fact, Facts};
use measure::{Problem, Problems};
use std::collections::{BTreeMap, BTreeSet};

/// What packs may speak of.
#[derive(Clone, Debug, Default)]
pub struct Vocabulary {
    quantities: BTreeMap<String, Quantity>,
    words: WordsFile,
}

impl Vocabulary {
    /// From the two files, or everything that is wrong with them.
    pub fn read(quantities: (&str, &[u8]), words: (&str, &[u8])) -> Result<Self, Problems> {
        let quantities_file: QuantitiesFile = intake::json::read(quantities.0, quantities.1)?;
        let words_file: WordsFile = intake::json::read(words.0, words.1)?;
        let mut problems = check_quantities(&quantities_file).in_file(quantities.0);
        problems.extend(check_words(&words_file).in_file(words.0));
        let quantities = quantities_file.quantities.into_iter().map(|q| (q.id.clone(), q)).collect();
        problems.or(Self { quantities, words: words_file })
    }

    /// A quantity by name.
    pub fn quantity(&self, id: &str) -> Option<&Quantity> {
        self.quantities.get(id)
    }

    /// All quantities in order of name.
    pub fn quantities(&self) -> impl Iterator<Item = &Quantity> {
        self.quantities.values()
    }

    /// What a datum means.
    pub fn datum(&self, id: &str) -> Option<&str> {
        self.words.datums.get(id).map(String::as_str)
    }

    /// What a direction means.
    pub fn direction(&self, id: &str) -> Option<&str> {
        self.words.directions.get(id).map(String::as_str)
    }

    /// A fact by name.
    pub fn fact(&self, id: &str) -> Option<&FactWord> {
        self.words.facts.iter().find(|fact| fact.id == id)
    }

    /// All facts.
    pub fn facts(&self) -> &[FactWord] {
        &self.words.facts
    }

    /// What is taken where nobody says: written down in `words.json`, only where the other is the exception someone would
    /// mention.
    pub fn unless_said(&self) -> Facts {
        let taken = self.words.facts.iter().filter_map(|fact| Some((fact.id.clone(), fact.unless_said.clone()?)));
        taken.collect::<BTreeMap<_, _>>().into()
    }

    /// Whether the fact belongs to the job's frame.
    pub(crate) fn of_frame(&self, id: &str) -> bool {
        self.fact(id).is_some_and(|fact| fact.of == FactOf::Frame)
    }

    /// Names of all datums, for a message.
    pub(crate) fn datum_names(&self) -> String {
        names(self.words.datums.keys())
    }

    /// Names of all directions, for a message.
    pub(crate) fn direction_names(&self) -> String {
        names(self.words.directions.keys())
    }

    /// What is wrong with an expectation of a rule.
    pub(crate) fn check_expect(&self, field: &str, name: &str, expect: &Expect) -> Problems {
        let mut problems = Problems::new();
        let Some(word) = self.fact(name) else {
            let right = format!("one of {}", names(self.words.facts.iter().map(|fact| &fact.id)));
            problems.push(Problem::at(field, "no such fact", right).value(name));
            return problems;
        };
        match (expect, &word.is) {
            (Expect::Is(_), FactKind::YesNo) => {}
            (Expect::OneOf(words), FactKind::Word(allowed)) => {
                if words.is_empty() {
                    problems.push(Problem::at(field, "no word given", "name at least one"));
                }
                for given in words.iter().filter(|given| !allowed.is_empty() && !allowed.contains(given)) {
                    problems.push(Problem::at(field, "no such word for this fact", format!("one of {}", names(allowed))).value(given));
                }
            }
            (Expect::Within(within), FactKind::Number(_)) => {
                let bounds = [within.at_least, within.at_most, within.above, within.below];
                if bounds.iter().all(Option::is_none) || bounds.iter().flatten().any(|b| !b.is_finite()) {
                    problems.push(Problem::at(field, "no bound given", "give at_least, at_most, above or below as a number"));
                }
            }
            (_, kind) => problems.push(Problem::at(field, "the fact is of another kind", kind_in_words(kind))),
        }
        problems
    }

    /// What is wrong with facts that somebody states: names and kinds.
    pub fn check_facts(&self, field: &str, facts: &Facts) -> Problems {
        let mut problems = Problems::new();
        for (name, fact) in facts.iter() {
            let field = format!("{field}.{name}");
            let expect = match fact {
                Fact::Is(b) => Expect::Is(*b),
                Fact::Word(word) => Expect::OneOf(vec![word.to_lowercase()]),
                Fact::Number(x) => Expect::Within(crate::format::Within { at_least: Some(*x), ..Default::default() }),
            };
            problems.extend(self.check_expect(&field, name, &expect));
        }
        problems
    }
}

fn names<'a>(words: impl IntoIterator<Item = &'a String>) -> String {
    words.into_iter().cloned().collect::<Vec<_>>().join(", ")
}

fn kind_in_words(kind: &FactKind) -> String {
    match kind {
        FactKind::YesNo => "true or false".into(),
        FactKind::Word(words) if words.is_empty() => "a list of words".into(),
        FactKind::Word(words) => format!("a list of words from {}", names(words)),
        FactKind::Number(unit) => format!("bounds in {unit}: at_least, at_most, above, below"),
    }
}

/// Units a quantity may have, with the ending its name then has.
const UNITS: [(&str, &str); 12] = [
    ("ratio", ""),
    ("mm", "_mm"),
    ("m2", "_m2"),
    ("um", "_um"),
    ("K", "_k"),
    ("°C", "_c"),
    ("share", ""),
    ("h", "_h"),
    ("min", "_min"),
    ("L/min", "_l_min"),
    ("kPa", "_kpa"),
    ("count", "_count"),
];

fn check_quantities(file: &QuantitiesFile) -> Problems {
    let mut problems = Problems::new();
    if file.format != QUANTITIES {
        problems.push(Problem::at("format", "not a list of quantities", format!("\"{QUANTITIES}\"")).value(&file.format));
    }
    let mut seen = BTreeSet::new();
    for (i, quantity) in file.quantities.iter().enumerate() {
        let mut wrong = |field: &str, what: &str, right: &str| {
            problems.push(Problem::at(format!("quantities[{i}].{field}"), what, right).value(&quantity.id));
        };
        if quantity.id.is_empty() || !quantity.id.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_') {
            wrong("id", "not a name", "lower-case words joined by _, unit last");
        }
        if !seen.insert(&quantity.id) {
            wrong("id", "given twice", "one entry a quantity");
        }
        match UNITS.iter().find(|(unit, _)| *unit == quantity.unit) {
            None => wrong("unit", "no such unit", &UNITS.map(|(unit, _)| unit).join(", ")),
            Some((_, ending)) if !quantity.id.ends_with(ending) => wrong("id", "does not end with its unit", ending),
            Some(_) => {}
        }
        if quantity.meaning.trim().is_empty() || quantity.measured.trim().is_empty() {
            wrong("meaning", "what it is or how it is measured is missing", "a line each");
        }
        if quantity.least_readings == 0 {
            wrong("least_readings", "zero readings show nothing", "3, or 1 for a direct comparison");
        }
        if !quantity.u_max.is_finite() || quantity.u_max <= 0.0 || quantity.u_max_source.trim().is_empty() {
            wrong("u_max", "no largest standard uncertainty with its source", "a number above 0 and where it comes from");
        }
    }
    problems
}

fn check_words(file: &WordsFile) -> Problems {
    let mut problems = Problems::new();
    if file.format != WORDS {
        problems.push(Problem::at("format", "not a list of words", format!("\"{WORDS}\"")).value(&file.format));
    }
    let mut seen = BTreeSet::new();
    for (i, fact) in file.facts.iter().enumerate() {
        if !seen.insert(&fact.id) {
            problems.push(Problem::at(format!("facts[{i}].id"), "given twice", "one entry a fact").value(&fact.id));
        }
        let fits = match (&fact.unless_said, &fact.is) {
            (None, _) | (Some(Fact::Is(_)), FactKind::YesNo) | (Some(Fact::Number(_)), FactKind::Number(_)) => true,
            (Some(Fact::Word(word)), FactKind::Word(words)) => words.is_empty() || words.contains(word),
            _ => false,
        };
        if !fits {
            problems.push(Problem::at(format!("facts[{i}].unless_said"), "of another kind than the fact", kind_in_words(&fact.is)));
        }
    }
    problems
}
