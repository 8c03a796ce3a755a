//! Which way was it stroked: a photograph laid onto the plan, and the directions of the marks in each tile of it.
//!
//! The first thing looked for on a membrane is a second coat laid across the first. This crate takes a photograph and four
//! or more points whose place on the plan is known, and gives numbers: one, two or no direction in each tile. It is an aid to looking: marks say nothing of thickness, and every answer carries that
//! sentence ([`CAUTION`]).
//!
//! * [`picture`]: a PNG or JPEG file in grey, the right way up.
//! * [`homography`]: the plan's place of every pixel.
//! * [`rectify`]: the photograph as seen straight from above.
//! * [`tensor`]: the structure tensor, the digits of scikit-image.
//! * [`mixture`]: one or two directions among many angles.
//! * [`run`]: all of it.

mod answer;
mod base64;
mod classify;
pub mod homography;
pub mod mixture;
pub mod picture;
pub mod rectify;
mod ruled;
pub mod tensor;
mod tiles;

pub use answer::{Area, Counts, Input, Output, Picture, Reference, Residual, run, run_on, run_on_file};
pub use classify::{Class, Direction, Tile};
pub use tiles::{Sums, whole};

/// What every answer says.
pub const CAUTION: &str = "An aid to looking, never proof of thickness: marks show which way a coat was laid, not how thick it is, and no marks \
    do not show that a coat is missing. Look at the place itself, at the colour of the coats and at the film readings.";
