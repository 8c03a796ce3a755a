//! The packs: those built in, and the project's own.

use crate::format::{Edition, MembraneClasses, Verification};
use crate::{Asked, Quantity, Rule, Vocabulary, load};
use include_dir::{Dir, File, include_dir};
use measure::{Problem, Problems};
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::sync::{Arc, OnceLock};

/// Everything under `packs/`.
static BUILT_IN: Dir<'static> = include_dir!("$CARGO_MANIFEST_DIR/../../packs");

/// One pack, ready to pick from.
#[derive(Clone, Debug)]
pub struct Pack {
    /// Name.
    pub id: String,
    /// What it holds.
    pub title: String,
    /// Country it is for; `None` holds everywhere.
    pub country: Option<String>,
    /// What whoever relies on it must know.
    pub notes: Vec<String>,
    /// Editions.
    pub editions: Vec<Edition>,
    /// Classes of membrane.
    pub membrane_classes: Option<MembraneClasses>,
    /// Local words.
    pub words: BTreeMap<String, String>,
    /// Rules.
    pub rules: Vec<Rule>,
    /// SHA-256 of what it was read from, in hex. Of one file: of its bytes. Of a folder: of what `sha256sum *.json` prints
    /// there with the names in byte order.
    pub sha256: String,
}

/// All packs a job is judged by.
#[derive(Clone, Debug)]
pub struct Packs {
    vocabulary: Arc<Vocabulary>,
    packs: Vec<Pack>,
}

/// A file by name with its bytes.
type Named<'a> = (&'a str, &'a [u8]);

impl Packs {
    /// The packs built in. They are right: a test reads them with every check.
    pub fn embedded() -> Self {
        static READ: OnceLock<Packs> = OnceLock::new();
        READ.get_or_init(|| Self::read_built_in().expect("the packs built in are checked by a test")).clone()
    }

    /// Reads the packs built in, or says everything that is wrong with them.
    pub fn read_built_in() -> Result<Self, Problems> {
        let file = |name: &str| BUILT_IN.get_file(name).map_or(&[][..], File::contents);
        let vocabulary = Vocabulary::read(("packs/quantities.json", file("quantities.json")), ("packs/words.json", file("words.json")))?;
        let mut packs = Self { vocabulary: Arc::new(vocabulary), packs: Vec::new() };
        let mut problems = Problems::new();
        for folder in BUILT_IN.dirs() {
            let mut files: Vec<(String, &[u8])> = folder
                .files()
                .filter(|file| file.path().extension().is_some_and(|ending| ending == "json"))
                .map(|file| (format!("packs/{}", file.path().to_string_lossy().replace('\\', "/")), file.contents()))
                .collect();
            files.sort();
            let named: Vec<Named> = files.iter().map(|(name, bytes)| (name.as_str(), *bytes)).collect();
            match packs.clone().with_folder(&named) {
                Ok(more) => packs = more,
                Err(errors) => problems.extend(errors),
            }
        }
        problems.or(packs)
    }

    /// Only the words and quantities, no pack: what a pack given as text is read against.
    pub fn none() -> Self {
        Self { vocabulary: Self::embedded().vocabulary, packs: Vec::new() }
    }

    /// With one more pack, given as one file: the project's own, or a place not built in. It may verify rules of the packs
    /// already here.
    pub fn with(self, file: &str, bytes: &[u8]) -> Result<Self, Problems> {
        let hash = hex(&Sha256::digest(bytes));
        self.add((file, bytes), &[], hash)
    }

    /// With one more pack, given as the files of its folder, `pack.json` among them.
    pub fn with_folder(self, files: &[Named]) -> Result<Self, Problems> {
        let name = |path: &str| path.rsplit('/').next().unwrap_or_default().to_string();
        let Some(main) = files.iter().find(|(path, _)| name(path) == "pack.json") else {
            let folder = files.first().map_or("", |(path, _)| path);
            return Err(Problem::at("", "a folder without pack.json", "every pack has one; see packs/README.md").file(folder).into());
        };
        let mut sorted: Vec<(String, &[u8])> = files.iter().map(|(path, bytes)| (name(path), *bytes)).collect();
        sorted.sort();
        let lines: String = sorted.iter().map(|(name, bytes)| format!("{}  {name}\n", hex(&Sha256::digest(bytes)))).collect();
        let beside: Vec<Named> = files.iter().filter(|(path, _)| name(path) != "pack.json").copied().collect();
        self.add(*main, &beside, hex(&Sha256::digest(lines.as_bytes())))
    }

    fn add(mut self, main: Named, beside: &[Named], sha256: String) -> Result<Self, Problems> {
        let loaded = load::pack(main, beside, &self.vocabulary)?;
        let mut problems = Problems::new();
        if self.packs.iter().any(|pack| pack.id == loaded.file.id) {
            problems.push(Problem::at("id", "a pack of this name is already there", "another name").value(&loaded.file.id).file(main.0));
        }
        for rule in &loaded.rules {
            for id in &rule.written.instead_of {
                problems.extend(self.check_instead_of(&loaded.file.id, &loaded.rules, rule, id).in_file(main.0));
            }
        }
        self.packs.push(Pack {
            id: loaded.file.id,
            title: loaded.file.title,
            country: loaded.file.country,
            notes: loaded.file.notes,
            editions: loaded.file.editions,
            membrane_classes: loaded.file.membrane_classes,
            words: loaded.file.words,
            rules: loaded.rules,
            sha256,
        });
        for (i, (verification, file)) in loaded.verified.iter().enumerate() {
            problems.extend(self.verify(&format!("verified[{i}]"), verification).in_file(file));
        }
        problems.or(self)
    }

    /// A rule of the same pack may be replaced freely (a state's variation); one of another pack only while it decides
    /// nothing, else leaving it is a departure, which belongs in the job with its reasons.
    fn check_instead_of(&self, pack: &str, own: &[Rule], rule: &Rule, id: &str) -> Problems {
        let mut problems = Problems::new();
        let field = format!("rules.{}.instead_of", rule.written.id);
        let replaced = own.iter().find(|other| other.id == id).or_else(|| self.rule(id));
        match replaced {
            None => problems.push(Problem::at(field, "no such rule", "the full name of a rule: pack/rule").value(id)),
            Some(other) if other.pack != pack && other.decides_nothing().is_none() => {
                problems.push(
                    Problem::at(
                        field,
                        "this rule holds and cannot be replaced here",
                        "leave it in, and record a departure with its reasons",
                    )
                    .value(id),
                );
            }
            Some(_) => {}
        }
        problems
    }

    /// Puts a verified limit in place.
    fn verify(&mut self, field: &str, verification: &Verification) -> Problems {
        let mut problems = load::check_verified_by(&format!("{field}.verified_by"), &verification.verified_by);
        let vocabulary = Arc::clone(&self.vocabulary);
        let found = self.packs.iter_mut().flat_map(|pack| &mut pack.rules).find(|rule| rule.id == verification.rule);
        let Some(rule) = found else {
            problems
                .push(Problem::at(format!("{field}.rule"), "no such rule", "the full name of a rule: pack/rule").value(&verification.rule));
            return problems;
        };
        let given = verification.limit.is_some() || !verification.limits.is_empty();
        if given != rule.quantity.is_some() {
            let right =
                if rule.quantity.is_some() { "the limit as it stands in the standard" } else { "no limit: the rule is judged by eye" };
            problems.push(Problem::at(format!("{field}.limit"), "missing, or given for a rule without a number", right).value(&rule.id));
            return problems;
        }
        problems.extend(load::check_cases_of(field, verification, rule, &vocabulary));
        match load::asked(field, verification.limit.as_ref(), &verification.limits, rule.unit(), &vocabulary) {
            Ok(asked) if problems.is_empty() => {
                let words = |asked: &[Asked]| asked.iter().map(|one| one.words.clone()).collect::<Vec<_>>().join(", or ");
                rule.before = (words(&asked) != words(&rule.asked)).then(|| words(&rule.asked));
                rule.asked = asked;
                rule.verified_by = Some(verification.verified_by.clone());
                rule.written.cases.clone_from(&verification.cases);
            }
            Ok(_) => {}
            Err(errors) => problems.extend(errors),
        }
        problems
    }

    /// Every pack.
    pub fn packs(&self) -> &[Pack] {
        &self.packs
    }

    /// A pack by name.
    pub fn pack(&self, id: &str) -> Option<&Pack> {
        self.packs.iter().find(|pack| pack.id == id)
    }

    /// A rule by its full name, whether it holds or not.
    pub fn rule(&self, id: &str) -> Option<&Rule> {
        self.packs.iter().flat_map(|pack| &pack.rules).find(|rule| rule.id == id)
    }

    /// The words packs may use.
    pub fn vocabulary(&self) -> &Vocabulary {
        &self.vocabulary
    }

    /// The same words, to keep.
    pub(crate) fn shared_vocabulary(&self) -> Arc<Vocabulary> {
        Arc::clone(&self.vocabulary)
    }

    /// A quantity by name.
    pub fn quantity(&self, id: &str) -> Option<&Quantity> {
        self.vocabulary.quantity(id)
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
