//! A job folder's bytes to room, frame, plan, readings, coats, photographs and evidence.
//!
//! Bytes in, values out: the crate never opens a file. [`Job::read`] takes the folder as a map from name to bytes and gives
//! either a job in which every name resolves, or every problem of every file at once.

pub mod coats;
pub mod evidence;
pub mod faces;
pub mod film;
pub mod folder;
pub mod frame;
pub mod levels;
pub mod pattern;
pub mod photographs;
pub mod plan;
pub mod readings;
pub mod record;
mod table;
pub mod weights;

pub use folder::{Files, Job};
