//! From the lines of one log, its hashes and the heads that speak of it to what is sound and what is not.
//!
//! Three lists of leaf hashes can be held against a head: the entries as they stand, the entries in the order of the places
//! they claim, and the file of hashes. The list that fits the largest head is what the log was; entries are then found in it
//! by their hash, each for itself. So any number of entries may be altered, lost, doubled or out of order, and every other
//! one is still proven. What no head reaches is held against the file of hashes, and beyond that against the places the
//! entries claim.

use super::report::{Damage, HeadFault, LogReport, Origin, Span};
use crate::{Hash, Head, Tree};
use std::collections::BTreeMap;

/// A line of a log.
#[derive(Clone, Debug)]
pub(super) struct Entry {
    pub leaf: Hash,
    /// The place it claims, if its kind claims one and it reads.
    pub seq: Option<u64>,
    /// Why it is no entry of this log.
    pub fault: Option<Box<str>>,
}

/// A head that speaks of the log, its signature checked.
#[derive(Clone, Debug)]
pub(super) struct Claim {
    pub head: Head,
    pub origin: Origin,
    pub device: String,
}

/// All that is known of one log.
#[derive(Clone, Debug, Default)]
pub(super) struct Known {
    pub entries: Vec<Entry>,
    /// From the file of hashes; none where a line of it does not read.
    pub hashes: Vec<Option<Hash>>,
    pub claims: Vec<Claim>,
}

/// What the log was, as far as anything says, and how it stands to that.
struct Resolved {
    /// Leaf hash by place, where one is known.
    reference: Vec<Option<Hash>>,
    /// How many of them a head proves.
    proven: usize,
    /// The line of the entry at each place; none where it is damaged or missing.
    line: Vec<Option<usize>>,
    /// Damage by place.
    damage: BTreeMap<u64, Damage>,
}

impl Known {
    /// Fills in a report, and gives the log as it was: so far as a head proves it, and the sound entries after that.
    pub fn resolve(&self, report: &mut LogReport) -> Tree {
        let mut resolved = self.reference();
        self.find_entries(&mut resolved);
        self.follow_places(&mut resolved);
        self.order(&mut resolved);
        self.unmet_heads(&mut resolved);
        let mut tree = Tree::of(resolved.reference.iter().take(resolved.proven).map_while(|leaf| *leaf));
        self.say(&resolved, &tree, report);
        let after = resolved.line.iter().skip(resolved.proven).map_while(|line| *line);
        after.for_each(|line| tree.push(self.entries[line].leaf));
        tree
    }

    fn leaves(&self) -> Vec<Option<Hash>> {
        self.entries.iter().map(|entry| Some(entry.leaf)).collect()
    }

    /// The leaves in the order of the places claimed, up to the first that nothing claims.
    fn leaves_by_place(&self) -> Vec<Option<Hash>> {
        let mut by_place = BTreeMap::new();
        for entry in &self.entries {
            if let (Some(seq), None) = (entry.seq, &entry.fault) {
                by_place.entry(seq).or_insert(entry.leaf);
            }
        }
        by_place.into_iter().zip(0..).take_while(|((seq, _), i)| seq == i).map(|((_, leaf), _)| Some(leaf)).collect()
    }

    /// The list that fits the largest head, so far as it fits, and the hashes beyond.
    fn reference(&self) -> Resolved {
        let lists = [self.leaves(), self.leaves_by_place(), self.hashes.clone()];
        let mut best = 0;
        let mut proven = self.fits_to(&lists[0]);
        for (i, list) in lists.iter().enumerate().skip(1).filter(|(_, list)| **list != lists[0]) {
            let size = self.fits_to(list);
            if size > proven {
                (best, proven) = (i, size);
            }
        }
        let beyond = self.hashes.iter().skip(proven).copied();
        let reference: Vec<Option<Hash>> = lists[best][..proven].iter().copied().chain(beyond).collect();
        Resolved { line: vec![None; reference.len()], reference, proven, damage: BTreeMap::new() }
    }

    /// The size of the largest head the list fits.
    fn fits_to(&self, list: &[Option<Hash>]) -> usize {
        let tree = Tree::of(list.iter().map_while(|leaf| *leaf));
        let fitting = self.claims.iter().filter(|claim| tree.root_at(claim.head.size) == Some(claim.head.root));
        fitting.filter_map(|claim| usize::try_from(claim.head.size).ok()).max().unwrap_or(0)
    }

    /// Finds for each place whose hash is known the entry that has it.
    fn find_entries(&self, resolved: &mut Resolved) {
        let in_place = |place: usize, leaf: &Hash| self.entries.get(place).is_some_and(|entry| entry.leaf == *leaf);
        let mut astray: BTreeMap<Hash, usize> = BTreeMap::new();
        for (line, entry) in self.entries.iter().enumerate().rev() {
            if resolved.reference.get(line).is_none_or(|known| *known != Some(entry.leaf)) {
                astray.insert(entry.leaf, line);
            }
        }
        for (place, known) in resolved.reference.iter().enumerate() {
            resolved.line[place] = match known {
                Some(leaf) if in_place(place, leaf) => Some(place),
                Some(leaf) => astray.get(leaf).copied(),
                None => None,
            };
        }
        let used = self.used(resolved);
        for place in 0..resolved.reference.len() {
            let fault = match resolved.line[place] {
                Some(line) => {
                    self.entries[line].fault.as_deref().map(|fault| format!("logged as it stands, but no entry of this log: {fault}"))
                }
                None => Some(self.lost(place, &used)),
            };
            if let Some(what) = fault {
                resolved.line[place] = None;
                resolved.hurt(place as u64, what);
            }
        }
    }

    /// Which lines are some place's entry.
    fn used(&self, resolved: &Resolved) -> Vec<bool> {
        let mut used = vec![false; self.entries.len()];
        resolved.line.iter().flatten().for_each(|line| used[*line] = true);
        used
    }

    /// What became of the entry at a place whose hash is known and which no line has.
    fn lost(&self, place: usize, used: &[bool]) -> String {
        let claims = |line: &usize| self.entries[*line].seq == Some(place as u64) || *line == place;
        match (0..self.entries.len()).skip(place.saturating_sub(1)).take(3).find(|line| !used[*line] && claims(line)) {
            Some(line) => match &self.entries[line].fault {
                Some(fault) => format!("altered: {fault}"),
                None => "altered: its bytes are not those that were logged".into(),
            },
            None => "missing".into(),
        }
    }

    /// Entries beyond what hashes are known for, by the places they claim.
    fn follow_places(&self, resolved: &mut Resolved) {
        let used = self.used(resolved);
        if used.iter().all(|used| *used) {
            return;
        }
        let twins: BTreeMap<Hash, usize> =
            resolved.reference.iter().enumerate().rev().filter_map(|(place, leaf)| Some(((*leaf)?, place))).collect();
        let known = resolved.reference.len() as u64;
        let mut expected = known;
        for (line, entry) in self.entries.iter().enumerate().filter(|(line, _)| !used[*line]) {
            let place = entry.seq.unwrap_or(expected);
            // A line that claims a place already proven, or stands in the midst of proven ones, is an altered, doubled or
            // foreign one; the place it stands for is named already unless it is one too many.
            let stray = (line as u64) < known;
            if stray {
                self.too_many(line, &twins, resolved);
                continue;
            }
            let what = match &entry.fault {
                Some(fault) => Some(fault.to_string()),
                None if place < expected => {
                    self.come_late(line, place, &twins, resolved);
                    continue;
                }
                None if place > expected && self.goes_on(line, place) => {
                    (expected..place).for_each(|gap| resolved.add(gap, None, Some("missing".into())));
                    expected = place;
                    None
                }
                None if place > expected => Some(format!("claims place {place}")),
                None => None,
            };
            resolved.add(expected, what.is_none().then_some(line), what);
            expected += 1;
        }
    }

    /// Whether a leap to this place is borne out by the next line, so that entries are missing rather than a number wrong.
    fn goes_on(&self, line: usize, place: u64) -> bool {
        let next = self.entries.get(line + 1).map_or(Some(place + 1), |next| next.seq);
        next == Some(place + 1) && place < (2 * self.entries.len() + self.hashes.len() + 1_000) as u64
    }

    /// An entry whose place lies behind: it fills a gap, or is one too many.
    fn come_late(&self, line: usize, place: u64, twins: &BTreeMap<Hash, usize>, resolved: &mut Resolved) {
        let slot = usize::try_from(place).ok().filter(|slot| resolved.line.get(*slot).is_some_and(Option::is_none));
        match slot {
            // Where a hash is known and this line has another, the line is not what stood there.
            Some(slot) if resolved.reference.get(slot).is_none_or(Option::is_none) => {
                resolved.line[slot] = Some(line);
                resolved.damage.remove(&place);
            }
            _ => self.too_many(line, twins, resolved),
        }
    }

    /// A line that is no place's entry: nothing new where its place is damaged already.
    fn too_many(&self, line: usize, twins: &BTreeMap<Hash, usize>, resolved: &mut Resolved) {
        let entry = &self.entries[line];
        let twin = twins.get(&entry.leaf).copied();
        let place = twin.unwrap_or(line) as u64;
        if resolved.damage.contains_key(&place) || resolved.damage.contains_key(&(line as u64)) {
            return;
        }
        let what = match (twin, &entry.fault) {
            (Some(_), _) => format!("stands again on line {}", line + 1),
            (None, Some(fault)) => format!("line {} is none of the log's: {fault}", line + 1),
            (None, None) => format!("line {} is another entry for a place already taken", line + 1),
        };
        resolved.note(place, what);
    }

    /// The first entry that stands after one of a later place.
    fn order(&self, resolved: &mut Resolved) {
        let mut earliest = usize::MAX;
        let mut late = None;
        for (place, line) in resolved.line.iter().enumerate().rev() {
            let Some(line) = *line else { continue };
            if line > earliest {
                late = Some(place);
            }
            earliest = earliest.min(line);
        }
        if let Some(place) = late {
            resolved.note(place as u64, "stands out of order; nothing is lost by it".into());
        }
    }

    /// Heads beyond what is proven: something between was altered, or the end was cut off.
    fn unmet_heads(&self, resolved: &mut Resolved) {
        let proven = resolved.proven as u64;
        let Some(nearest) = self.claims.iter().map(|claim| claim.head.size).filter(|size| *size > proven).min() else { return };
        let found = resolved.line.len() as u64;
        let furthest = self.claims.iter().map(|claim| claim.head.size).max().unwrap_or(0);
        if furthest > found {
            let what = format!("missing: a signed head covers {furthest} entries and {found} are here");
            resolved.damage.entry(found).or_insert(Damage { at: (found..furthest).into(), what });
        }
        if nearest <= found && resolved.damage.range(proven..nearest).next().is_none() {
            let what = "altered: no signed head beyond fits; which of these it is cannot be told without the file of hashes".into();
            resolved.damage.insert(proven, Damage { at: (proven..nearest).into(), what });
            for place in proven..nearest {
                resolved.line[place as usize] = None;
            }
        }
    }

    fn say(&self, resolved: &Resolved, tree: &Tree, report: &mut LogReport) {
        report.entries = self.entries.len() as u64;
        report.proven = resolved.line.iter().take(resolved.proven).flatten().count() as u64;
        report.unproven = resolved.line.iter().skip(resolved.proven).flatten().count() as u64;
        report.sound_lines = resolved.line.iter().flatten().copied().collect();
        report.damage = resolved.damage.values().next().cloned();
        report.damaged = resolved.spans();
        for claim in &self.claims {
            if tree.root_at(claim.head.size) == Some(claim.head.root) {
                report.signed_by.push(claim.device.clone());
                if report.head.as_ref().is_none_or(|head| head.size < claim.head.size) {
                    report.head = Some(claim.head.clone());
                }
            } else if claim.head.size <= resolved.proven as u64 {
                let what = format!("signed, but of another history: at size {} the log had another root", claim.head.size);
                report.heads.push(HeadFault { origin: claim.origin, what });
            }
        }
        report.signed_by.sort();
        report.signed_by.dedup();
        for (line, (hash, known)) in self.hashes.iter().zip(tree.leaves()).enumerate() {
            if *hash != Some(*known) {
                let what = format!("the hash of entry {line} is another; a signed head proves which");
                report.heads.push(HeadFault { origin: Origin::Hashes { line: line as u64 }, what });
            }
        }
        report.heads.sort_by_key(|fault| fault.origin);
    }
}

impl Resolved {
    /// The next place, with its entry or what is wrong.
    fn add(&mut self, place: u64, line: Option<usize>, what: Option<String>) {
        self.line.push(line);
        if let Some(what) = what {
            self.hurt(place, what);
        }
    }

    /// The entry at this place is not sound.
    fn hurt(&mut self, place: u64, what: String) {
        self.damage.insert(place, Damage { at: (place..place + 1).into(), what });
    }

    /// Something is wrong at this place beside what may be wrong with its entry.
    fn note(&mut self, place: u64, what: String) {
        self.damage.entry(place).or_insert(Damage { at: (place..place + 1).into(), what });
    }

    /// Places without a sound entry, joined.
    fn spans(&self) -> Vec<Span> {
        let mut spans: Vec<Span> = Vec::new();
        let without =
            |damage: &&Damage| (damage.at.from..damage.at.to).any(|place| self.line.get(place as usize).is_none_or(Option::is_none));
        for damage in self.damage.values().filter(without) {
            match spans.last_mut() {
                Some(last) if last.to >= damage.at.from => last.to = last.to.max(damage.at.to),
                _ => spans.push(damage.at),
            }
        }
        spans
    }
}
