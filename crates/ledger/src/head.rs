//! Heads: what a log was at one moment, signed.

use crate::event::MOST_ENTRIES;
use crate::key::Signature;
use crate::{Hash, Key, PublicKey, Tree, id, line};
use measure::{Problem, Problems};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Bytes of one line with a signed head.
pub const MOST_BYTES: usize = 10_000;

/// A log's size and root at a time, as one line of JSON.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Head {
    /// Whose log: a device id, or the job's id for the job log.
    pub log: String,
    /// Entries it had.
    pub size: u64,
    /// Root over them.
    #[schemars(with = "String")]
    pub root: Hash,
    /// When, by the clock of the one who signs; RFC 3339 with offset.
    pub at: String,
}

impl Head {
    /// The head of a log as it stands.
    pub fn of(log: impl Into<String>, tree: &Tree, at: impl Into<String>) -> Self {
        Self { log: log.into(), size: tree.size(), root: tree.root(), at: at.into() }
    }

    /// Reads one head, or says everything that is wrong with it. Fields of no name known here are left aside.
    pub fn read(text: &str) -> Result<Self, Problems> {
        // Nobody writes a head by hand: the first fault of its grammar is enough.
        let head: Self = line::glance(text.as_bytes(), MOST_BYTES)?;
        let mut wrong = Problems::new();
        if !id::is_log(&head.log) {
            wrong.push(Problem::at("log", "names no log", "a device id (32 lower-case hex digits) or a job's UUID").value(&head.log));
        }
        if head.size > MOST_ENTRIES {
            wrong.push(Problem::at("size", "out of bounds", "at most 2^40").value(head.size));
        }
        if !id::is_time(&head.at) {
            wrong.push(Problem::at("at", "not a time", "a time such as 2026-11-25T09:30:00+11:00").value(&head.at));
        }
        wrong.or(head)
    }

    /// Signs it. The text signed is this head as JSON, fields in the order of the struct, without spaces.
    pub fn sign(&self, key: &Key) -> SignedHead {
        let head = serde_json::to_string(self).expect("text, a number and a hash are always JSON");
        let signature = key.sign(head.as_bytes()).to_string();
        SignedHead { head, key: key.public().to_string(), signature }
    }
}

/// A head's exact text with the signature over it.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
pub struct SignedHead {
    /// The head's text, whose bytes are signed.
    pub head: String,
    /// Public key, hex.
    pub key: String,
    /// Ed25519 signature, hex.
    pub signature: String,
}

impl SignedHead {
    /// Reads one signed head and its head, or says everything that is wrong with their form. Whether the signature holds is
    /// for [`SignedHead::check`].
    pub fn read(bytes: &[u8]) -> Result<(Self, Head), Problems> {
        let signed: Self = line::read(bytes, MOST_BYTES)?;
        let head = signed.read_head()?;
        Ok((signed, head))
    }

    /// The same, content with the first fault of its grammar.
    pub(crate) fn glance(bytes: &[u8]) -> Result<(Self, Head), Problems> {
        let signed: Self = line::glance(bytes, MOST_BYTES)?;
        let head = signed.read_head()?;
        Ok((signed, head))
    }

    /// Its line, without the line break.
    pub fn to_line(&self) -> String {
        serde_json::to_string(self).expect("text is always JSON")
    }

    /// The head, its form, the key's and the signature's checked.
    pub fn read_head(&self) -> Result<Head, Problems> {
        let mut wrong = Problems::new();
        if PublicKey::from_hex(&self.key).is_none() {
            wrong.push(Problem::at("key", "not a public key", "64 lower-case hex digits").value(&self.key));
        }
        if Signature::from_hex(&self.signature).is_none() {
            wrong.push(Problem::at("signature", "not a signature", "128 lower-case hex digits").value(&self.signature));
        }
        match Head::read(&self.head) {
            Ok(head) => wrong.or(head),
            Err(mut problems) => {
                problems.problems.iter_mut().for_each(|problem| {
                    problem.field = if problem.field.is_empty() { "head".into() } else { format!("head.{}", problem.field) };
                });
                wrong.extend(problems);
                Err(wrong)
            }
        }
    }

    /// The head and the key that signed it, if the signature holds and the head of a device's log is signed by that device.
    /// Whose key may sign a job log is for the caller to know.
    pub fn check(&self) -> Result<(Head, PublicKey), Problems> {
        let head = self.read_head()?;
        let (Some(key), Some(signature)) = (PublicKey::from_hex(&self.key), Signature::from_hex(&self.signature)) else {
            unreachable!("read_head has read both");
        };
        if id::is_device(&head.log) && key.device() != head.log {
            return Err(Problem::at(
                "key",
                "not the key of the device whose log this is",
                format!("a key whose device id is {}", head.log),
            )
            .value(&self.key)
            .into());
        }
        if !key.signed(self.head.as_bytes(), &signature) {
            return Err(Problem::at("signature", "does not fit the head and the key", "the head as it was signed").into());
        }
        Ok((head, key))
    }
}
