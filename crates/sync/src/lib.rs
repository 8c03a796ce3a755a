//! Keeps devices and the site record in step: messages in, messages out.
//!
//! Two state machines. A [`Device`] makes events, has days without reception, and then asks; the [`Site`] answers. Whatever
//! is asked may be lost, cut off, doubled, delayed or overtaken, and may be asked again: nothing is done twice and nothing is
//! believed before it was proven. No socket, no clock, no disk: the shell around a machine hands in bytes and times
//! ([`Now`]), keeps what it is told to keep, and reports when that is on its disk. Only then does the machine speak of it,
//! so an acknowledgement can't run ahead of the disk.
//!
//! * [`message`]: what is asked and answered, with a limit on every size.
//! * [`clock`]: how far a device's clock is off, measured with each answer.
//! * [`Device`], [`Site`]: the two ends.
//!
//! `docs/sync.md` shows the conversation. What an event is about is not known here: payloads are not looked into.

pub mod clock;
pub mod device;
pub mod limits;
mod log;
pub mod message;
pub mod site;

pub use clock::{Measured, Now};
pub use device::{Device, Notice, Standing, Wish};
pub use message::{Answer, Ask, Refusal, Said, What};
pub use site::{Revoked, Site, Step};

use ledger::{Hash, SignedHead};

/// Names something a machine gave out to be kept, until the shell says what became of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Ticket(pub(crate) u64);

/// Why something was not kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotKept {
    /// No room on the disk; nothing of it was kept.
    Full,
    /// Refused or failed; nothing of it was kept.
    Failed,
    /// The disk failed and it is not known what it holds. The machine must be made anew from what the disk says.
    Unknown,
}

/// What became of a piece of a blob.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PieceKept {
    /// So many bytes from the beginning are kept; the blob goes on there.
    Part(u64),
    /// The blob is whole, its bytes are what its name says, and it is on the disk.
    Whole,
    /// All bytes were there and are not what the name says; they were thrown away.
    NotItsName,
    /// It was not kept.
    No(NotKept),
}

/// Entries for a log.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lines {
    /// The device whose log it is, or the job's id for the job log.
    pub log: String,
    /// Place of the first.
    pub from: u64,
    /// Events, or receipts for the job log; without line breaks.
    pub entries: Vec<Vec<u8>>,
    /// A signed head of that log which covers them, to be kept with them; the log may be larger than what came so far.
    pub head: Option<SignedHead>,
}

/// A piece of a blob.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Piece {
    /// The blob's name.
    pub hash: Hash,
    /// Where the piece begins; always where the kept part ends.
    pub offset: u64,
    /// Bytes of the whole blob.
    pub of: u64,
    /// The bytes.
    pub bytes: Vec<u8>,
}
