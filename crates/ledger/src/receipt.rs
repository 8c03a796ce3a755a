//! The job log: what the site record has received, one receipt for each head of a device.

use crate::event::MOST_ENTRIES;
use crate::{Clock, Hash, Head, PublicKey, SignedHead, head, id, line};
use measure::{Problem, Problems};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A device's signed head as the site record received it: one line of the job log, whose leaves are these lines.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Receipt {
    /// Device.
    pub device: String,
    /// Size of its log, as its head says.
    pub size: u64,
    /// Root of its log, as its head says.
    #[schemars(with = "String")]
    pub root: Hash,
    /// The head's text.
    pub head: String,
    /// The device's signature over it, hex.
    pub signature: String,
    /// The device's public key, hex.
    pub key: String,
    /// When it was received, by the site record's clock; RFC 3339 with offset.
    pub received_at: String,
    /// How far the device's clock was off then, when measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clock: Option<Clock>,
}

impl Receipt {
    /// The receipt for a device's head, which is checked.
    pub fn of(signed: &SignedHead, received_at: impl Into<String>, clock: Option<Clock>) -> Result<Self, Problems> {
        let (head, _) = signed.check()?;
        let receipt = Self {
            device: head.log,
            size: head.size,
            root: head.root,
            head: signed.head.clone(),
            signature: signed.signature.clone(),
            key: signed.key.clone(),
            received_at: received_at.into(),
            clock,
        };
        receipt.fits()?;
        Ok(receipt)
    }

    /// Reads one receipt, or says everything that is wrong with it: also where it says something else than the head it
    /// holds. Whether the signature holds is for [`Receipt::check`].
    pub fn read(bytes: &[u8]) -> Result<Self, Problems> {
        let receipt: Self = line::read(bytes, head::MOST_BYTES)?;
        receipt.fits()?;
        Ok(receipt)
    }

    /// The same, content with the first fault of its grammar.
    pub(crate) fn glance(bytes: &[u8]) -> Result<Self, Problems> {
        let receipt: Self = line::glance(bytes, head::MOST_BYTES)?;
        receipt.fits()?;
        Ok(receipt)
    }

    /// Its line, without the line break.
    pub fn to_line(&self) -> String {
        serde_json::to_string(self).expect("text and finite numbers are always JSON")
    }

    /// The device's signed head it holds.
    pub fn signed_head(&self) -> SignedHead {
        SignedHead { head: self.head.clone(), key: self.key.clone(), signature: self.signature.clone() }
    }

    /// The head and the device's key, if the signature holds.
    pub fn check(&self) -> Result<(Head, PublicKey), Problems> {
        self.signed_head().check()
    }

    fn fits(&self) -> Result<(), Problems> {
        let mut wrong = Problems::new();
        if !id::is_device(&self.device) {
            wrong.push(Problem::at("device", "not a device id", "32 lower-case hex digits").value(&self.device));
        }
        if self.size > MOST_ENTRIES {
            wrong.push(Problem::at("size", "out of bounds", "at most 2^40").value(self.size));
        }
        if !id::is_time(&self.received_at) {
            wrong.push(Problem::at("received_at", "not a time", "a time such as 2026-11-25T09:30:00+11:00").value(&self.received_at));
        }
        if let Some(clock) = &self.clock {
            clock.check(&mut wrong);
        }
        match self.signed_head().read_head() {
            Err(problems) => wrong.extend(problems),
            Ok(head) if (&head.log, head.size, head.root) != (&self.device, self.size, self.root) => {
                wrong.push(
                    Problem::at("head", "says another log, size or root than the receipt", "the head that was received").value(&self.head),
                );
            }
            Ok(_) => {}
        }
        wrong.or(())
    }
}
