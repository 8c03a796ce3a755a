//! Values with uncertainty, limits, verdicts, and problems found in the input.
//!
//! Everything else in the workspace stands on this crate; it knows nothing of rooms, rules or files.
//!
//! * [`Measured`]: a value with its *standard* uncertainty (k = 1).
//! * [`Limit`] and [`Decision`]: what is asked, and how a measured value is judged against it
//!   (JCGM 106:2012, *The role of measurement uncertainty in conformity assessment*).
//! * [`Judgement`]: the verdict everybody prints, with the one line that explains it.
//! * [`Problem`] and [`Problems`]: what is wrong with the input, all of it at once.
//! * [`math`]: the only transcendental functions the engine may use.

pub mod bounds;
mod check;
mod decision;
mod judgement;
mod limit;
pub mod math;
mod problem;
pub mod ratio;
mod value;

pub use bounds::Bounds;
pub use check::{Assumed, Check};
pub use decision::{Decided, Decision, LEAST_READINGS};
pub use judgement::{Grade, Judgement, Verdict};
pub use limit::Limit;
pub use problem::{Problem, Problems};
pub use value::{Measured, NotFinite};

/// A place on a plan or on an unfolded surface in millimetres: x to the right, y up the drawing.
pub type PointMm = [f64; 2];
