//! The record that only grows: bytes in, bytes out.
//!
//! Whatever a person adds is an [`Event`]: one line of JSON, kept and hashed as the exact bytes it was made with. Each
//! device writes its events into a log of its own, a Merkle tree after RFC 9162 ([`Tree`]), and signs the tree's size and
//! root as a [`Head`]. The site record keeps a log of the heads it received: [`Receipt`]s. [`Verifier`] says
//! of all this together how much is sound and where the first damage lies.
//!
//! Nothing here knows what an event is about: its payload is text. No clock, no randomness, no files: times, ids, keys and
//! bytes are handed in, so the same inputs give the same record everywhere.
//!
//! `docs/format.md` says the same for somebody who has the files and not this program.

pub mod event;
pub mod frontier;
pub mod hash;
pub mod head;
pub mod id;
pub mod key;
mod line;
pub mod manifest;
pub mod receipt;
pub mod tree;
pub mod verify;

pub use event::{Clock, Draft, Event, EventBytes, Payload, payload};
pub use frontier::Frontier;
pub use hash::Hash;
pub use head::{Head, SignedHead};
pub use key::{Key, PublicKey};
pub use manifest::Manifest;
pub use receipt::Receipt;
pub use tree::Tree;
pub use verify::{Anchor, Report, Verifier};
