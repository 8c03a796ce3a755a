//! job

pub mod levels;
