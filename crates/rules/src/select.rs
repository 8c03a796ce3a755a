//! Which rules hold for a job: by basis date, place, building class and what else its frame says.

use crate::facts::{Met, fact, unknown_in_words};
use crate::format::{Edition, Expect, Status};
use crate::{ClassOf, Facts, Fit, Pack, Packs, Rule, Standing, Vocabulary, date};
use measure::{Problem, Problems};
use room::nouns::{LayerKind, ZoneKind};
use room::register::DetailKind;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::sync::Arc;

/// What picks the rules. Anything left out is unknown, and is said to be.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Frame {
    /// Day whose rules hold, usually that of the permit: `YYYY-MM-DD`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub basis_date: Option<String>,
    /// Two-letter country (ISO 3166-1).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub country: Option<String>,
    /// State or region, in the pack's short form: `NSW`, `MN`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub state: Option<String>,
    /// Class of building in the country's terms: `1a`, `2`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub building_class: Option<String>,
    /// Editions that hold whatever the date says, by the pack's names: `ncc-2025`, `irc-2021`.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub editions: Vec<String>,
    /// Whether the room lies above another dwelling.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub above_dwelling: Option<bool>,
    /// Whether the room lies inside a dwelling.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub inside_dwelling: Option<bool>,
    /// Whether the room is one that must be accessible.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub accessible: Option<bool>,
}

impl Frame {
    /// What is wrong with it, read against these packs.
    pub fn check(&self, packs: &Packs) -> Problems {
        let mut problems = Problems::new();
        if let Some(wrong) = self.basis_date.as_deref().and_then(|day| date::wrong("basis_date", day)) {
            problems.push(wrong);
        }
        if let Some(country) = self.country.as_deref()
            && (country.len() != 2 || !country.chars().all(|c| c.is_ascii_alphabetic()))
        {
            problems.push(Problem::at("country", "not a country code", "two letters (ISO 3166-1), such as AU").value(country));
        }
        for id in &self.editions {
            if !packs.packs().iter().flat_map(|pack| &pack.editions).any(|edition| edition.id == *id) {
                let here = packs.packs().iter().filter(|pack| self.is_in(pack)).flat_map(|pack| &pack.editions);
                let known: Vec<&str> = here.map(|edition| edition.id.as_str()).collect();
                problems.push(Problem::at("editions", "no such edition", format!("one of {}", known.join(", "))).value(id));
            }
        }
        problems
    }

    fn facts(&self) -> Facts {
        Facts::new()
            .is(fact::ABOVE_DWELLING, self.above_dwelling)
            .is(fact::INSIDE_DWELLING, self.inside_dwelling)
            .is(fact::ACCESSIBLE, self.accessible)
    }

    /// Whether the pack is for this country; a pack without a country is for all.
    fn is_in(&self, pack: &Pack) -> bool {
        pack.country.as_deref().is_none_or(|pack| self.country.as_deref().is_some_and(|here| here.eq_ignore_ascii_case(pack)))
    }
}

/// The rules that hold, and what could not be decided.
#[derive(Clone, Debug)]
pub struct Applicable {
    /// Rules that hold.
    pub rules: Vec<Rule>,
    /// Rules that may hold: it hangs on something unknown.
    pub undecided: Vec<Undecided>,
    /// Rules of later editions, in place of the older ones today; they decide nothing of the job.
    pub later_editions: Vec<Rule>,
    /// Packs used, with the edition of each family that was picked and the hash of what was read.
    pub packs: Vec<PackUsed>,
    /// What could not be decided and why, and what was decided in a way someone might not expect.
    pub notes: Vec<String>,
    /// What each pack says whoever relies on it must know, and where the dates of the editions picked come from.
    pub remarks: Vec<String>,
    /// Local words for trade words.
    pub words: BTreeMap<String, String>,
    classes: Option<crate::format::MembraneClasses>,
    vocabulary: Arc<Vocabulary>,
}

/// A rule of which it cannot be said whether it holds.
#[derive(Clone, Debug)]
pub struct Undecided {
    /// The rule.
    pub rule: Rule,
    /// Why, in words.
    pub why: String,
}

/// A pack that was used.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct PackUsed {
    /// Name.
    pub id: String,
    /// What it holds.
    pub title: String,
    /// Editions picked.
    pub editions: Vec<String>,
    /// SHA-256 of what was read.
    pub sha256: String,
}

impl Packs {
    /// The rules that hold for a job, with what could not be decided. Nothing unknown is ever chosen silently: it makes a
    /// note, and the rules that hang on it are undecided.
    pub fn applicable(&self, frame: &Frame) -> Applicable {
        let mut found = Applicable {
            rules: Vec::new(),
            undecided: Vec::new(),
            later_editions: Vec::new(),
            packs: Vec::new(),
            notes: Vec::new(),
            remarks: Vec::new(),
            words: BTreeMap::new(),
            classes: None,
            vocabulary: self.shared_vocabulary(),
        };
        match &frame.country {
            None => found.notes.push("the country is not known, so no country's rules were used".into()),
            Some(country) if !self.packs().iter().any(|pack| pack.country.is_some() && frame.is_in(pack)) => {
                found.notes.push(format!("there is no pack for {country}: only common practice and the project's own rules were used"));
            }
            Some(_) => {}
        }
        for pack in self.packs().iter().filter(|pack| frame.is_in(pack)) {
            take_pack(pack, frame, &mut found);
        }
        give_way(&mut found);
        found
    }
}

/// Picks from one pack.
fn take_pack(pack: &Pack, frame: &Frame, found: &mut Applicable) {
    let mut families: Vec<(&str, Pick)> = Vec::new();
    for edition in &pack.editions {
        if !families.iter().any(|(family, _)| *family == edition.family) {
            families.push((&edition.family, pick(pack, &edition.family, frame)));
        }
    }
    let mut used = Vec::new();
    for (family, pick) in &families {
        match pick {
            Pick::One(edition, note) => {
                used.push(edition.title.clone());
                found.remarks.push(format!("{}: dates of {}: {}", pack.title, edition.title, edition.dates_source));
                found.notes.extend(note.clone());
            }
            Pick::None(why) => found.notes.push(format!("{family}: {why}")),
            Pick::Unknown(why) => found.notes.push(format!("{family}: {why}; its rules are undecided")),
        }
    }
    let pick_of = |edition: &Edition| families.iter().find(|(family, _)| *family == edition.family).map(|(_, pick)| pick);
    for rule in pack.rules.iter().filter(|rule| rule.written.status != Status::Reference) {
        let editions: Vec<&Edition> = pack.editions.iter().filter(|edition| rule.written.editions.contains(&edition.id)).collect();
        let picks: Vec<&Pick> = editions.iter().filter_map(|edition| pick_of(edition)).collect();
        let picked = editions.iter().find(|edition| matches!(pick_of(edition), Some(Pick::One(picked, _)) if picked.id == edition.id));
        let because = picks.iter().find_map(|pick| if let Pick::Unknown(why) = pick { Some(why.clone()) } else { None });
        match (picked, because) {
            (Some(edition), _) => take_rule(rule, Some(edition), frame, Standing::Holds, found),
            (None, _) if editions.is_empty() => take_rule(rule, None, frame, Standing::Holds, found),
            (None, Some(why)) => undecided_unless_ruled_out(rule, frame, why, found),
            (None, None) => {
                if let Some(edition) = editions.iter().find(|edition| is_newest(pack, edition, pick_of(edition))) {
                    take_rule(rule, Some(edition), frame, Standing::Later, found);
                }
            }
        }
    }
    found.remarks.extend(pack.notes.iter().map(|note| format!("{}: {note}", pack.title)));
    for (word, local) in &pack.words {
        found.words.entry(word.clone()).or_insert_with(|| local.clone());
    }
    if found.classes.is_none() {
        found.classes.clone_from(&pack.membrane_classes);
    }
    found.packs.push(PackUsed { id: pack.id.clone(), title: pack.title.clone(), editions: used, sha256: pack.sha256.clone() });
}

/// Which edition of a family holds.
enum Pick<'a> {
    One(&'a Edition, Option<String>),
    None(String),
    Unknown(String),
}

fn pick<'a>(pack: &'a Pack, family: &str, frame: &Frame) -> Pick<'a> {
    let of_family: Vec<&Edition> = pack.editions.iter().filter(|edition| edition.family == family).collect();
    if let Some(named) = of_family.iter().find(|edition| frame.editions.contains(&edition.id)) {
        let note = format!("{} holds because the job names it", named.title);
        return Pick::One(named, Some(note));
    }
    let by_date: Vec<&&Edition> = of_family.iter().filter(|edition| edition.must_be_named.is_none()).collect();
    if by_date.is_empty() {
        return unnamed(pack, &of_family, frame);
    }
    let dated = by_date.iter().any(|edition| edition.from.is_some() || edition.to.is_some());
    if dated && frame.basis_date.is_none() {
        return Pick::Unknown("the basis date is not known".into());
    }
    let day = frame.basis_date.as_deref().unwrap_or_default();
    let mut unknown_state = false;
    for edition in &by_date {
        if !dated || date::between(day, edition.from.as_deref(), edition.to.as_deref()) {
            match is_among(&edition.states, frame.state.as_deref()) {
                Some(true) => return Pick::One(edition, possible_later(&of_family, day)),
                Some(false) => {}
                None => unknown_state = true,
            }
        }
    }
    if unknown_state {
        Pick::Unknown("the state is not known".into())
    } else if of_family.iter().any(|edition| edition.must_be_named.is_some() && edition.from.is_none()) {
        unnamed(pack, &of_family, frame)
    } else {
        Pick::None("no edition in this pack held on the basis date in this place".into())
    }
}

/// Where only the job can say which edition holds and has not: a job that names others of the pack means those and no more.
fn unnamed<'a>(pack: &Pack, of_family: &[&Edition], frame: &Frame) -> Pick<'a> {
    if pack.editions.iter().any(|edition| frame.editions.contains(&edition.id)) {
        return Pick::None("not used, as the job names other editions".into());
    }
    let all: Vec<&str> = of_family.iter().filter(|edition| edition.must_be_named.is_some()).map(|edition| edition.id.as_str()).collect();
    let why = of_family.iter().find_map(|edition| edition.must_be_named.as_deref()).unwrap_or_default();
    Pick::Unknown(format!("{why}; name the one that holds under `editions`: {}", all.join(", ")))
}

/// A note when an edition that only the job can name may hold on the day.
fn possible_later(of_family: &[&Edition], day: &str) -> Option<String> {
    let possible = of_family.iter().find(|edition| {
        edition.must_be_named.is_some() && edition.from.is_some() && date::between(day, edition.from.as_deref(), edition.to.as_deref())
    })?;
    let why = possible.must_be_named.as_deref().unwrap_or_default();
    Some(format!("{} may hold on {day} ({why}); name it under `editions` if it does: {}", possible.title, possible.id))
}

/// Whether an edition is the newest of its family (the last listed), and another one or none holds.
fn is_newest(pack: &Pack, edition: &Edition, pick: Option<&Pick>) -> bool {
    let newest = pack.editions.iter().rfind(|other| other.family == edition.family);
    matches!(pick, Some(Pick::One(..) | Pick::None(_))) && newest.is_some_and(|newest| newest.id == edition.id)
}

/// Whether the place is among those named; `None` when that cannot be said.
fn is_among(named: &[String], here: Option<&str>) -> Option<bool> {
    if named.is_empty() {
        return Some(true);
    }
    here.map(|here| named.iter().any(|name| name.eq_ignore_ascii_case(here)))
}

/// Class `1` takes in 1a and 1b, not 10.
fn is_class(named: &[String], here: Option<&str>) -> Option<bool> {
    if named.is_empty() {
        return Some(true);
    }
    here.map(|here| {
        let here = here.trim().to_ascii_lowercase();
        named.iter().any(|class| {
            let class = class.to_ascii_lowercase();
            here == class || here.strip_prefix(&class).is_some_and(|rest| rest.chars().all(|c| c.is_ascii_alphabetic()))
        })
    })
}

/// Whether the frame rules a rule out, lets it hold, or leaves it open for reasons in words.
fn held_by(rule: &Rule, frame: &Frame, vocabulary: &Vocabulary) -> Result<bool, String> {
    let w = &rule.written;
    let of_frame: BTreeMap<String, Expect> =
        w.when.iter().filter(|(name, _)| vocabulary.of_frame(name)).map(|(name, expect)| (name.clone(), expect.clone())).collect();
    let mut open = Vec::new();
    match is_among(&w.states, frame.state.as_deref()) {
        Some(true) => {}
        Some(false) => return Ok(false),
        None => open.push("the state is not known".to_string()),
    }
    match is_class(&w.building_classes, frame.building_class.as_deref()) {
        Some(true) => {}
        Some(false) => return Ok(false),
        None => open.push("the building class is not known".into()),
    }
    match frame.facts().meet(&of_frame) {
        Met::Yes => {}
        Met::No => return Ok(false),
        Met::Unknown(unknown) => open.push(unknown_in_words(&unknown, Some(vocabulary))),
    }
    if w.effective_from.is_some() || w.effective_to.is_some() {
        match frame.basis_date.as_deref() {
            Some(day) if date::between(day, w.effective_from.as_deref(), w.effective_to.as_deref()) => {}
            Some(_) => return Ok(false),
            None => open.push("the basis date is not known".into()),
        }
    }
    if open.is_empty() { Ok(true) } else { Err(open.join("; ")) }
}

fn take_rule(rule: &Rule, edition: Option<&Edition>, frame: &Frame, standing: Standing, found: &mut Applicable) {
    let mut taken = rule.clone();
    taken.standing = standing;
    if let Some(edition) = edition {
        taken.edition.clone_from(&edition.title);
    }
    match (held_by(rule, frame, &found.vocabulary), standing) {
        (Ok(true), Standing::Holds) => found.rules.push(taken),
        (Ok(true), Standing::Later) => found.later_editions.push(taken),
        (Err(why), Standing::Holds) => found.undecided.push(Undecided { rule: taken, why }),
        (Ok(false), _) | (Err(_), Standing::Later) => {}
    }
}

fn undecided_unless_ruled_out(rule: &Rule, frame: &Frame, why: String, found: &mut Applicable) {
    if held_by(rule, frame, &found.vocabulary) != Ok(false) {
        found.undecided.push(Undecided { rule: rule.clone(), why });
    }
}

/// Variations take the place of what they vary; rules for silence go where something speaks.
fn give_way(found: &mut Applicable) {
    let replaced: Vec<String> = found.rules.iter().flat_map(|rule| rule.written.instead_of.clone()).collect();
    found.rules.retain(|rule| !replaced.contains(&rule.id));
    found.undecided.retain(|undecided| !replaced.contains(&undecided.rule.id));
    let spoken: Vec<(String, String)> = found
        .rules
        .iter()
        .filter(|rule| !rule.written.where_silent && rule.decides_nothing().is_none())
        .filter_map(|rule| Some((rule.written.quantity.clone()?, rule.id.clone())))
        .collect();
    let notes = &mut found.notes;
    found.rules.retain(|rule| {
        let speaker = spoken.iter().find(|(quantity, _)| rule.written.where_silent && rule.written.quantity.as_ref() == Some(quantity));
        if let Some((_, speaker)) = speaker {
            notes.push(format!("{} gives way to {speaker}", rule.id));
        }
        speaker.is_none()
    });
}

impl Applicable {
    /// A rule that holds, by its full name.
    pub fn rule(&self, id: &str) -> Option<&Rule> {
        self.rules.iter().find(|rule| rule.id == id)
    }

    /// Rules that hold for a quantity.
    pub fn of_quantity<'a>(&'a self, quantity: &'a str) -> impl Iterator<Item = &'a Rule> {
        self.rules.iter().filter(move |rule| rule.written.quantity.as_deref() == Some(quantity))
    }

    /// Rules for a detail of this kind in this zone, on this surface (`None`: any), with whether they apply: [`Fit::Not`] is
    /// left out. Facts nobody states are taken as `words.json` says they are unless said otherwise.
    pub fn fitting(&self, detail: DetailKind, zone: ZoneKind, surface: Option<LayerKind>, facts: &Facts) -> Vec<(&Rule, Fit)> {
        let facts = self.complete(facts);
        self.rules.iter().map(|rule| (rule, rule.fits(detail, zone, surface, &facts))).filter(|(_, fit)| *fit != Fit::Not).collect()
    }

    /// Rules about the room as a whole, with whether they apply.
    pub fn of_room(&self, facts: &Facts) -> Vec<(&Rule, Fit)> {
        let facts = self.complete(facts);
        let whole = self.rules.iter().filter(|rule| rule.written.details.is_empty());
        whole.map(|rule| (rule, rule.fits_facts(&facts))).filter(|(_, fit)| *fit != Fit::Not).collect()
    }

    /// The facts, with what is taken unless somebody says otherwise.
    pub fn complete(&self, facts: &Facts) -> Facts {
        facts.clone().and(&self.vocabulary.unless_said())
    }

    /// The class of a membrane by its elongation at break, where the place's pack has classes.
    pub fn membrane_class(&self, elongation_percent: f64) -> Option<ClassOf> {
        self.classes.as_ref()?.class_of(elongation_percent)
    }

    /// The local word for a trade word.
    pub fn local_word<'a>(&'a self, word: &'a str) -> &'a str {
        self.words.get(word).map_or(word, String::as_str)
    }
}
