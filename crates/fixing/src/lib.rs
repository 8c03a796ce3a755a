//! What holds and what moves.
//!
//! * [`movement`]: how far a joint or crack opens, the strain of a membrane over it, the width it must be left unbonded, the
//!   width of a sealant joint.
//! * [`shrinkage`]: drying shrinkage of concrete after Eurocode 2.
//!
//! No material constant and no limit stands here: they come in with the input. Every `u` is a standard uncertainty (k = 1).

pub mod movement;
pub mod shrinkage;

pub use measure::Assumed;
