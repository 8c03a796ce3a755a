//! The server through a real socket.

// The lint's own leave for tests does not reach the helpers of an integration test.
#![allow(clippy::unwrap_used)]

mod client;
mod compute;
mod jobs;
mod manners;
mod who;
