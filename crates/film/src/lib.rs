//! Is it thick enough, everywhere: what film readings say, what was used, how many readings and where, a map.
//!
//! * [`thickness`]: each stratum's mean and lower percentile from a few readings, against what was asked.
//! * [`coverage`]: litres used against area coated.
//! * [`sampling`]: how many readings and where, and what they cannot find.
//! * [`map`]: where it is thin, from many readings; over the corners of a room by [`surface`].
//!
//! No limit stands here: they come in with the input, from a data sheet or a pack. Every `u` is a standard uncertainty
//! (k = 1).

mod acceptance;
mod coats;
pub mod coverage;
mod geometry;
mod likelihood;
pub mod map;
mod next;
mod places;
mod pooling;
pub mod posterior;
pub mod sampling;
pub mod surface;
pub mod thickness;
mod words;

pub use acceptance::Acceptance;
pub use coats::{Coats, prob_short};
pub use likelihood::Seen;
pub use measure::Assumed;
