//! Trials of reliability: each does the worst it can to a store and says what it saw. The tests run a sample; `cargo xtask
//! reliability` runs all.

pub mod crashes;
pub mod flips;
pub mod kills;
