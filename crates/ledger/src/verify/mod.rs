//! Is a record what it was? How much of it is sound, and where is the first damage?
//!
//! Everything that can speak for the record is held against everything else: entries against their log's hashes, hashes
//! against signed heads, heads against keys, receipts against the devices' logs, heads kept outside against all of it, blobs
//! against their names. Files are handed in by their names in the layout of `docs/format.md`, in pieces and in any order.

mod lines;
mod log;
mod report;
mod resolve;

pub use report::{AnchorReport, BlobReport, Damage, HeadFault, LogReport, MissingBlob, Origin, Report, Span, Standing};

use crate::{Hash, Head, Manifest, SignedHead, Tree, hash, id};
use log::{LogCheck, Part, Witness};
use measure::{Problem, Problems};
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;

/// The job log's name among the files.
const JOB: &str = "job";
/// Bytes of `record.json` that are looked at.
const MOST_MANIFEST: usize = 100_000;

/// A head kept outside the record: in a dossier, an e-mail, the manifest of a backup.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Anchor {
    /// Where it was kept, in the words of whoever kept it.
    pub name: String,
    /// What it says.
    pub head: Head,
    /// With its signature, where that was kept too; one without is taken at its holder's word.
    pub signed: Option<SignedHead>,
}

impl Anchor {
    /// A head kept with its signature; whether that holds the check will say.
    pub fn signed(name: impl Into<String>, signed: SignedHead) -> Result<Self, Problems> {
        Ok(Self { name: name.into(), head: signed.read_head()?, signed: Some(signed) })
    }
}

/// Checks a record while it streams by.
///
/// Kept in memory are some hundred bytes for each entry and head, and nothing of the blobs.
#[derive(Clone, Debug, Default)]
pub struct Verifier {
    manifest: Vec<u8>,
    logs: BTreeMap<String, LogCheck>,
    blobs: BTreeMap<Hash, Found>,
    witness: Witness,
    anchors: Vec<Anchor>,
    files: Vec<Problem>,
}

#[derive(Clone, Debug)]
enum Found {
    /// Still streaming by.
    Part(Sha256, u64),
    Whole(Hash, u64),
}

impl Verifier {
    /// Nothing seen yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// The next piece of a file, by its name in the layout; an empty file is one empty piece. False when no file of a
    /// record has that name, and then nothing is done with it.
    pub fn feed(&mut self, path: &str, piece: &[u8]) -> bool {
        if path == "record.json" {
            let room = MOST_MANIFEST.saturating_sub(self.manifest.len());
            self.manifest.extend_from_slice(&piece[..piece.len().min(room)]);
            return true;
        }
        if let Some(rest) = path.strip_prefix("logs/") {
            let Some((name, part)) = Part::of(rest) else { return false };
            if name != JOB && !id::is_device(name) {
                return false;
            }
            self.log(name).feed(part, piece);
            self.witness_new(name);
            return true;
        }
        let Some((folder, name)) = path.strip_prefix("blobs/").and_then(|rest| rest.split_once('/')) else { return false };
        let Some(blob) = Hash::from_hex(name) else { return false };
        if folder != &name[..2] {
            return false;
        }
        if let Found::Part(sum, bytes) = self.blobs.entry(blob).or_insert_with(|| Found::Part(Sha256::new(), 0)) {
            sum.update(piece);
            *bytes += piece.len() as u64;
        }
        true
    }

    /// The next entry of a log, without line break: for a store that keeps rows. The job log's name is `job`.
    pub fn entry(&mut self, log: &str, bytes: &[u8]) {
        self.log(log).entry(bytes);
        self.witness_new(log);
    }

    /// The hash a store keeps for the next entry of a log.
    pub fn hash(&mut self, log: &str, leaf: Hash) {
        self.log(log).known.hashes.push(Some(leaf));
    }

    /// A signed head of a log, as its line.
    pub fn head(&mut self, log: &str, line: &[u8]) {
        self.log(log).head(line);
        self.witness_new(log);
    }

    /// A blob whose bytes somebody else has hashed: the name it is kept under, the hash of its bytes, how many there are.
    pub fn blob(&mut self, name: Hash, sha256: Hash, bytes: u64) {
        self.blobs.insert(name, Found::Whole(sha256, bytes));
    }

    /// A head kept outside.
    pub fn anchor(&mut self, anchor: Anchor) {
        self.anchors.push(anchor);
    }

    fn log(&mut self, name: &str) -> &mut LogCheck {
        self.logs.entry(name.into()).or_insert_with(|| LogCheck::new(name, name == JOB))
    }

    /// Carries what a log has just read to what is known of all logs.
    fn witness_new(&mut self, name: &str) {
        if let Some(log) = self.logs.get_mut(name) {
            log.testify(&mut self.witness);
        }
    }

    /// What all of it comes to.
    pub fn finish(mut self) -> Report {
        for log in self.logs.values_mut() {
            log.finish();
            log.testify(&mut self.witness);
        }
        let manifest = self.read_manifest();
        let mut report = Report { job: manifest.as_ref().map(|manifest| manifest.job.clone()), ..Report::default() };
        self.anchors_testify();
        let mut trees = BTreeMap::new();
        for (name, mut log) in std::mem::take(&mut self.logs) {
            let (of_log, tree) = log.resolve(&mut self.witness, manifest.as_ref());
            trees.insert(name, tree);
            report.logs.push(of_log);
        }
        report.anchors = self.anchors.iter().map(|anchor| self.stands(anchor, &trees, manifest.as_ref())).collect();
        report.blobs = self.blobs();
        // A device whose log is not here at all, though a receipt or an anchor speaks of it.
        report.logs.extend(self.witness.logs_without_file());
        report.files = self.files;
        report
    }

    fn read_manifest(&mut self) -> Option<Manifest> {
        match Manifest::read(&self.manifest) {
            Ok(manifest) => Some(manifest),
            Err(problems) => {
                self.files.extend(problems.in_file("record.json").problems);
                None
            }
        }
    }

    /// Signed heads kept outside speak for their logs as those within do.
    fn anchors_testify(&mut self) {
        for (number, anchor) in self.anchors.iter().enumerate() {
            if let Some(signed) = &anchor.signed {
                // One that is forged is said where it stands, and speaks for nothing.
                let _ = self.witness.take(signed, Origin::Anchor { number: number as u64 });
            }
        }
    }

    fn stands(&self, anchor: &Anchor, trees: &BTreeMap<String, Tree>, manifest: Option<&Manifest>) -> AnchorReport {
        let head = anchor.head.clone();
        let name = if manifest.is_some_and(|manifest| manifest.job == head.log) { JOB } else { head.log.as_str() };
        let forged = anchor.signed.as_ref().is_some_and(|signed| signed.check().ok().is_none_or(|(within, _)| within != head));
        let stands = match trees.get(name) {
            _ if forged => Standing::Forged,
            None => Standing::NoLog,
            Some(tree) => match tree.root_at(head.size) {
                None => Standing::Below,
                Some(root) if root == head.root => Standing::Fits,
                Some(_) => Standing::Differs,
            },
        };
        AnchorReport { name: anchor.name.clone(), head, stands }
    }

    fn blobs(&mut self) -> BlobReport {
        let mut report = BlobReport::default();
        for (name, found) in std::mem::take(&mut self.blobs) {
            let (sha256, bytes) = match found {
                Found::Part(sum, bytes) => (Hash(sum.finalize().into()), bytes),
                Found::Whole(sha256, bytes) => (sha256, bytes),
            };
            let named = self.witness.named.remove(&name).is_some();
            if sha256 == name {
                report.sound += 1;
                report.bytes += bytes;
                report.unnamed += u64::from(!named);
            } else {
                report.damaged.push(name);
            }
        }
        let missing = std::mem::take(&mut self.witness.named).into_iter();
        report.missing = missing.map(|(blob, (log, seq))| MissingBlob { blob, log, seq }).collect();
        report
    }
}

/// The path of a blob in the layout.
pub fn blob_path(blob: &Hash) -> String {
    let name = hash::to_hex(&blob.0);
    format!("blobs/{}/{name}", &name[..2])
}
