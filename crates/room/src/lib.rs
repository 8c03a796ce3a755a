//! The room: geometry, layers, fixtures; its unfolding, its detail register, its build-up.
//!
//! Pure data in, pure data out: no files, no clock. Lengths in millimetres; x to the right on plan, y up the plan, z up,
//! z = 0 the room's benchmark. Heights named `z_mm`, `top_mm`, `level_mm` are above that benchmark.

pub mod build_up;
pub mod cover;
pub mod geometry;
pub mod like;
pub mod nouns;
pub mod quantities;
pub mod register;
pub mod sheet;
#[cfg(test)]
mod test_rooms;
pub mod unfold;
pub mod validate;

pub use nouns::Room;
