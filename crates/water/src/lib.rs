//! Where water goes on a measured surface: falls, ponding, overflow, exposure.
//!
//! Heights in millimetres, z up; x to the right on plan, y up the plan. The crate knows nothing of rooms, layers or rules:
//! a surface, outlets and limits come in, numbers and verdicts go out. No clock, no files, no randomness without a seed.
//!
//! * [`surface`]: what comes in, spot levels inside an outline or a grid, and outlets.
//! * [`grid`]: the grid every computation runs on.
//! * [`plan`]: points, lines and outlines.
//! * [`tin`]: spot levels to a grid through a constrained Delaunay triangulation.
//! * [`fill`]: the level every cell fills to before it drains.
//! * [`noise`]: errors of a surface drawn at random.
//! * [`falls`], [`ponding`], [`overflow`], [`exposure`]: one module a computation, each with its `Input` and `Output`.

pub mod exposure;
pub mod falls;
pub mod fill;
pub mod grid;
pub mod noise;
pub mod overflow;
pub mod plan;
pub mod ponding;
pub mod surface;
pub mod tin;
