//! What a device asks and the site record answers.
//!
//! Each question is whole in itself and may be asked again; each answer says what it answers, so one that comes late, twice or
//! after another does no harm. As JSON a message has at most [`MOST_MESSAGE_BYTES`]; [`Ask::read`] and [`Answer::read`] check
//! every size before anything is done with it.

use crate::limits::*;
use ledger::event::MOST_ENTRIES as MOST_SIZE;
use ledger::{Clock, Hash, SignedHead, id};
use measure::{Problem, Problems};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

/// A question of a device.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Ask {
    /// Version of the messages.
    pub v: u32,
    /// The job: a UUID.
    pub job: String,
    /// The question's number on this device, given back with the answer.
    pub no: u64,
    /// Size of the job log that the device has seen proven: the answer shows that it only grew since.
    pub since: u64,
    /// What is asked.
    pub what: What,
}

/// What is asked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum What {
    /// How far is the site record? Answered by [`Said::Logs`].
    Hello {},
    /// Keep these events of mine. Answered by [`Said::Acknowledged`] or [`Said::Goon`].
    Push {
        /// Place of the first.
        from: u64,
        /// Their exact text, in order.
        events: Vec<String>,
        /// My log's head just after the last.
        head: SignedHead,
        /// How far my clock is off, once measured.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        clock: Option<Clock>,
    },
    /// How much of these blobs is there? Answered by [`Said::Blobs`].
    Offer {
        /// Their names.
        blobs: Vec<Hash>,
    },
    /// Keep this piece of a blob. Answered by [`Said::Blobs`].
    PushBlob(PieceSent),
    /// Entries of a log, please. Answered by [`Said::Entries`].
    Pull {
        /// A device, or the job's id for the job log.
        log: String,
        /// Place of the first.
        from: u64,
    },
    /// A piece of a blob, please. Answered by [`Said::Piece`] or [`Said::Blobs`].
    PullBlob {
        /// Its name.
        hash: Hash,
        /// Where to begin.
        offset: u64,
    },
}

/// A piece of a blob on its way. Over HTTP the bytes are the body as they are; in JSON they are hex.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PieceSent {
    /// The blob's name.
    pub hash: Hash,
    /// Where the piece begins.
    pub offset: u64,
    /// Bytes of the whole blob.
    pub of: u64,
    /// The bytes.
    #[serde(with = "hex")]
    pub bytes: Vec<u8>,
}

/// An answer of the site record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Answer {
    /// Version of the messages.
    pub v: u32,
    /// The job.
    pub job: String,
    /// Number of the question.
    pub no: u64,
    /// Size of the job log that the question named.
    pub since: u64,
    /// When the question came, by the site's clock: milliseconds since 1970.
    pub received_ms: i64,
    /// When this answer was made, by the same clock.
    pub answered_ms: i64,
    /// The job log's head, signed by the site record; absent until there is a receipt.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub head: Option<SignedHead>,
    /// That the job log of size `since` is the beginning of the one of that head (RFC 9162, 2.1.4).
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub proof: Vec<Hash>,
    /// What is said.
    pub said: Said,
}

/// What is said.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Said {
    /// How far each log is.
    Logs {
        /// Each log with its size, by name.
        logs: Vec<LogSize>,
    },
    /// The events are on the site record's disk, up to the size the receipt says.
    Acknowledged {
        /// The receipt: an entry of the job log.
        receipt: String,
        /// Its place there.
        index: u64,
        /// That it stands there, in the log of this answer's head (RFC 9162, 2.1.3).
        inclusion: Vec<Hash>,
    },
    /// Your log has this size here; go on from there.
    Goon {
        /// Entries.
        size: u64,
    },
    /// How much of each blob is there.
    Blobs {
        /// One for each that was asked for.
        blobs: Vec<BlobThere>,
    },
    /// Entries of a log.
    Entries {
        /// Whose.
        log: String,
        /// Place of the first.
        from: u64,
        /// Their exact text, in order; none when there are no more.
        entries: Vec<String>,
        /// A head of that log that covers them; absent when there are none.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        head: Option<SignedHead>,
        /// That the log up to the last of them is the beginning of the one of that head.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        proof: Vec<Hash>,
    },
    /// A piece of a blob.
    Piece(PieceSent),
    /// No.
    Refused(Refusal),
}

/// A log's size.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LogSize {
    /// A device, or the job's id.
    pub log: String,
    /// Entries.
    pub size: u64,
}

/// How much of a blob is there.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct BlobThere {
    /// Its name.
    pub hash: Hash,
    /// Bytes from the beginning that are there; the next piece begins here.
    pub have: u64,
    /// Whether it is whole, checked and on the disk.
    pub whole: bool,
}

/// Why not.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Refusal {
    /// No device of this job.
    NotPaired {},
    /// The device was revoked; what came before is kept.
    Revoked {
        /// Events of its log that are kept.
        kept: u64,
        /// When, by the site's clock.
        at: String,
        /// Why, as the person who did it wrote.
        why: String,
    },
    /// There is another event at this place already: the log was continued twice, from a copy or a backup. Both are kept.
    Forked {
        /// The place, or the first place that was sent when it lies before that.
        seq: u64,
    },
    /// No room on the site record's disk; nothing of this was kept. Ask again later.
    NoRoom {},
    /// Something else is being kept just now, or the disk failed; nothing is known to be kept. Ask again later.
    NotNow {},
    /// The blob was whole and its bytes are not what its name says; it was thrown away.
    NotItsName {
        /// The name.
        hash: Hash,
    },
    /// More blobs are on their way than are taken at once; finish some first.
    TooMany {},
    /// The question is not as it must be.
    Wrong(Problems),
}

impl Ask {
    /// Reads a question, or says what is wrong with it.
    pub fn read(bytes: &[u8]) -> Result<Self, Problems> {
        let ask: Self = read(bytes)?;
        ask.check()?;
        Ok(ask)
    }

    /// As JSON.
    pub fn to_bytes(&self) -> Vec<u8> {
        serde_json::to_vec(self).expect("text, numbers and hashes are always JSON")
    }

    /// Whether every size is within its limit.
    pub fn check(&self) -> Result<(), Problems> {
        let mut wrong = Wrong::default();
        wrong.envelope(self.v, &self.job, self.since);
        match &self.what {
            What::Hello {} => {}
            What::Push { from, events, head, clock } => {
                wrong.entries("events", events);
                wrong.size("from", *from);
                wrong.head(head);
                wrong.must(!events.is_empty(), "events", "none", "at least one event");
                if let Some(clock) = clock {
                    wrong.must(clock.offset_ms.is_finite() && clock.u_ms.is_finite(), "clock", "not finite", "milliseconds");
                }
            }
            What::Offer { blobs } => wrong.most("blobs", blobs.len(), MOST_OFFERED),
            What::PushBlob(piece) => wrong.piece(piece),
            What::Pull { log, from } => {
                wrong.log(log);
                wrong.size("from", *from);
            }
            What::PullBlob { offset, .. } => wrong.must(*offset <= MOST_BLOB_BYTES, "offset", offset, "at most 16 GB"),
        }
        wrong.0.or(())
    }
}

impl Answer {
    /// Reads an answer, or says what is wrong with it.
    pub fn read(bytes: &[u8]) -> Result<Self, Problems> {
        let answer: Self = read(bytes)?;
        answer.check()?;
        Ok(answer)
    }

    /// As JSON.
    pub fn to_bytes(&self) -> Vec<u8> {
        serde_json::to_vec(self).expect("text, numbers and hashes are always JSON")
    }

    /// Whether every size is within its limit.
    pub fn check(&self) -> Result<(), Problems> {
        let mut wrong = Wrong::default();
        wrong.envelope(self.v, &self.job, self.since);
        wrong.most("proof", self.proof.len(), MOST_PROOF);
        for (field, time) in [("received_ms", self.received_ms), ("answered_ms", self.answered_ms)] {
            wrong.must((0..=MOST_TIME_MS).contains(&time), field, time, "between the years 1970 and 9999");
        }
        if let Some(head) = &self.head {
            wrong.head(head);
        }
        wrong.said(&self.said);
        wrong.0.or(())
    }
}

fn read<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, Problems> {
    if bytes.len() > MOST_MESSAGE_BYTES {
        let problem = Problem::at("", "the message is too long", format!("at most {MOST_MESSAGE_BYTES} bytes"));
        return Err(problem.value(format!("{} bytes", bytes.len())).into());
    }
    serde_json::from_slice(bytes).map_err(|error| Problem::at("", error.to_string(), "a message of version 1").into())
}

/// Gathers what is wrong with a message.
#[derive(Default)]
struct Wrong(Problems);

impl Wrong {
    fn must(&mut self, holds: bool, field: &str, value: impl std::fmt::Display, right: &str) {
        if !holds {
            self.0.push(Problem::at(field, "not as it must be", right).value(value));
        }
    }

    fn most(&mut self, field: &str, count: usize, most: usize) {
        self.must(count <= most, field, count, &format!("at most {most}"));
    }

    fn envelope(&mut self, v: u32, job: &str, since: u64) {
        self.must(v == VERSION, "v", v, "1; use the same version of the program at both ends");
        self.must(id::is_uuid(job), "job", job, "a UUID in lower case");
        self.size("since", since);
    }

    fn size(&mut self, field: &str, size: u64) {
        self.must(size <= MOST_SIZE, field, size, "at most 2^40");
    }

    fn log(&mut self, log: &str) {
        self.must(id::is_log(log), "log", log, "a device id or the job's UUID");
    }

    fn head(&mut self, head: &SignedHead) {
        let bytes = head.head.len() + head.key.len() + head.signature.len();
        self.most("head", bytes, ledger::head::MOST_BYTES);
    }

    fn entries(&mut self, field: &str, entries: &[String]) {
        self.most(field, entries.len(), MOST_ENTRIES);
        let bytes: usize = entries.iter().map(String::len).sum();
        let fits = bytes <= MOST_ENTRIES_BYTES || entries.len() == 1 && bytes <= ledger::event::MOST_BYTES;
        self.must(fits, field, format!("{bytes} bytes"), "at most 2,000,000 bytes together");
    }

    fn piece(&mut self, piece: &PieceSent) {
        self.most("bytes", piece.bytes.len(), MOST_PIECE_BYTES);
        self.must(piece.of <= MOST_BLOB_BYTES, "of", piece.of, "at most 16 GB");
        let end = piece.offset.checked_add(piece.bytes.len() as u64);
        self.must(end.is_some_and(|end| end <= piece.of), "offset", piece.offset, "a piece that ends within the blob");
        self.must(!piece.bytes.is_empty() || piece.of == 0, "bytes", "none", "at least one byte");
    }

    fn said(&mut self, said: &Said) {
        match said {
            Said::Logs { logs } => {
                self.most("logs", logs.len(), MOST_LOGS);
                for LogSize { log, size } in logs.iter().take(MOST_LOGS) {
                    self.log(log);
                    self.size("size", *size);
                }
            }
            Said::Acknowledged { receipt, index, inclusion } => {
                self.most("receipt", receipt.len(), ledger::head::MOST_BYTES);
                self.most("inclusion", inclusion.len(), MOST_PROOF);
                self.size("index", *index);
            }
            Said::Goon { size } => self.size("size", *size),
            Said::Blobs { blobs } => {
                self.most("blobs", blobs.len(), MOST_OFFERED);
                let most = blobs.iter().map(|blob| blob.have).max().unwrap_or(0);
                self.must(most <= MOST_BLOB_BYTES, "have", most, "at most 16 GB");
            }
            Said::Entries { log, from, entries, head, proof } => {
                self.log(log);
                self.size("from", *from);
                self.entries("entries", entries);
                self.most("proof", proof.len(), MOST_PROOF);
                if let Some(head) = head {
                    self.head(head);
                }
            }
            Said::Piece(piece) => self.piece(piece),
            Said::Refused(refusal) => self.refusal(refusal),
        }
    }

    fn refusal(&mut self, refusal: &Refusal) {
        match refusal {
            Refusal::Revoked { kept, at, why } => {
                self.size("kept", *kept);
                self.most("at", at.len(), 64);
                self.most("why", why.len(), 4 * MOST_WHY);
            }
            Refusal::Forked { seq } => self.size("seq", *seq),
            Refusal::Wrong(problems) => self.most("problems", problems.problems.len(), Problems::MOST + 1),
            Refusal::NotPaired {} | Refusal::NoRoom {} | Refusal::NotNow {} | Refusal::NotItsName { .. } | Refusal::TooMany {} => {}
        }
    }
}

/// Bytes as hex in JSON.
mod hex {
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    pub fn serialize<S: Serializer>(bytes: &[u8], serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&ledger::hash::to_hex(bytes))
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Vec<u8>, D::Error> {
        let text = String::deserialize(deserializer)?;
        let wrong = || D::Error::custom("not lower-case hex digits, two a byte");
        let pairs = text.as_bytes().chunks(2).map(|pair| std::str::from_utf8(pair).ok().and_then(ledger::hash::from_hex::<1>));
        pairs.map(|byte| byte.map(|[byte]| byte).ok_or_else(wrong)).collect()
    }
}
