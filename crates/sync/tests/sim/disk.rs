//! A disk: what is on it stays, what was under way at a crash may or may not be.

use super::JOB;
use ledger::{Event, Hash, SignedHead};
use std::collections::BTreeMap;
use sync::site::Evidence;
use sync::{Lines, NotKept, Piece, PieceKept, Revoked};

/// What a node has kept.
#[derive(Clone, Debug, Default)]
pub struct Disk {
    pub logs: BTreeMap<String, Vec<Vec<u8>>>,
    pub heads: BTreeMap<String, SignedHead>,
    pub blobs: BTreeMap<Hash, Vec<u8>>,
    pub parts: BTreeMap<Hash, (Vec<u8>, u64)>,
    pub known: Option<SignedHead>,
    pub receipts: Vec<String>,
    pub revoked: BTreeMap<String, Revoked>,
    pub evidence: Vec<Evidence>,
}

/// Something to be kept.
#[derive(Clone, Debug)]
pub enum Write {
    Lines(Vec<Lines>),
    Piece(Piece),
    Receipt(String),
    Known(SignedHead),
    Evidence(Evidence),
}

/// What became of it.
pub enum Wrote {
    Plain(Result<(), NotKept>),
    Piece(PieceKept),
}

impl Write {
    /// What is said when there is no room.
    pub fn refused(&self, why: NotKept) -> Wrote {
        if matches!(self, Self::Piece(_)) { Wrote::Piece(PieceKept::No(why)) } else { Wrote::Plain(Err(why)) }
    }

    /// What is said when it is kept, without looking at the disk.
    pub fn promised(&self) -> Wrote {
        match self {
            Self::Piece(piece) if piece.offset + piece.bytes.len() as u64 == piece.of => Wrote::Piece(PieceKept::Whole),
            Self::Piece(piece) => Wrote::Piece(PieceKept::Part(piece.offset + piece.bytes.len() as u64)),
            _ => Wrote::Plain(Ok(())),
        }
    }
}

impl Disk {
    pub fn size(&self, log: &str) -> u64 {
        self.logs.get(log).map_or(0, |entries| entries.len() as u64)
    }

    /// Writes. A place that is taken must be asked for with the same bytes; a gap or another entry is the machine's mistake.
    pub fn write(&mut self, write: Write, doubling: bool) -> Result<Wrote, String> {
        match write {
            Write::Lines(all) => {
                for lines in all {
                    self.append(lines, doubling)?;
                }
            }
            Write::Piece(piece) => return self.piece(piece).map(Wrote::Piece),
            Write::Receipt(line) => self.receipts.push(line),
            Write::Known(head) => {
                let size = |head: &SignedHead| head.read_head().unwrap().size;
                if self.known.as_ref().is_none_or(|known| size(known) < size(&head)) {
                    self.known = Some(head);
                }
            }
            Write::Evidence(evidence) => self.evidence.push(evidence),
        }
        Ok(Wrote::Plain(Ok(())))
    }

    fn append(&mut self, lines: Lines, doubling: bool) -> Result<(), String> {
        let log = self.logs.entry(lines.log.clone()).or_default();
        for (place, entry) in (lines.from..).zip(lines.entries) {
            match log.get(place as usize) {
                Some(there) if *there == entry => {}
                Some(_) => return Err(format!("entry {place} of {} was to be overwritten", lines.log)),
                None if place as usize != log.len() => return Err(format!("entry {place} of {} leaves a gap", lines.log)),
                None => {
                    log.push(entry.clone());
                    if doubling {
                        log.push(entry);
                    }
                }
            }
        }
        self.heads.extend(lines.head.map(|head| (lines.log, head)));
        Ok(())
    }

    fn piece(&mut self, piece: Piece) -> Result<PieceKept, String> {
        let part = self.parts.entry(piece.hash).or_default();
        if piece.offset == 0 {
            part.0.clear();
        }
        if part.0.len() as u64 != piece.offset {
            return Err(format!("a piece at {} where {} bytes are", piece.offset, part.0.len()));
        }
        part.0.extend(piece.bytes);
        part.1 = piece.of;
        let have = part.0.len() as u64;
        if have < piece.of {
            return Ok(PieceKept::Part(have));
        }
        let (bytes, _) = self.parts.remove(&piece.hash).expect("just there");
        if Hash::of(&bytes) != piece.hash {
            return Ok(PieceKept::NotItsName);
        }
        self.blobs.insert(piece.hash, bytes);
        Ok(PieceKept::Whole)
    }

    /// Entries with the blobs they name: (log, leaf, blobs).
    pub fn entries(&self) -> impl Iterator<Item = (&String, Hash, Vec<Hash>)> {
        self.logs.iter().flat_map(|(log, entries)| {
            entries.iter().map(move |entry| {
                let blobs = if log == JOB { Vec::new() } else { Event::read(entry).unwrap().blobs };
                (log, Hash::leaf(entry), blobs)
            })
        })
    }

    /// The record as its files (`docs/format.md`).
    pub fn files(&self, site: &str) -> BTreeMap<String, Vec<u8>> {
        let manifest = ledger::Manifest {
            format: ledger::manifest::FORMAT.into(),
            job: JOB.into(),
            made_by: "simulation".into(),
            site: Some(site.into()),
        };
        let mut files = BTreeMap::from([("record.json".into(), manifest.to_bytes())]);
        let lines = |entries: &[Vec<u8>]| entries.iter().flat_map(|entry| [entry.as_slice(), b"\n"].concat()).collect::<Vec<u8>>();
        for (log, entries) in &self.logs {
            let name = if log == JOB { "job" } else { log };
            files.insert(format!("logs/{name}.jsonl"), lines(entries));
            if let Some(head) = self.heads.get(log) {
                files.insert(format!("logs/{name}.heads.jsonl"), lines(&[head.to_line().into_bytes()]));
            }
        }
        for (hash, bytes) in &self.blobs {
            files.insert(ledger::verify::blob_path(hash), bytes.clone());
        }
        files
    }

    /// The events of all devices by id, with how often each stands there.
    pub fn ids(&self) -> BTreeMap<String, usize> {
        let mut ids = BTreeMap::new();
        for entry in self.logs.iter().filter(|(log, _)| *log != JOB).flat_map(|(_, entries)| entries) {
            *ids.entry(Event::read(entry).unwrap().id).or_default() += 1;
        }
        ids
    }
}
