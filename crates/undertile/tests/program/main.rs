//! The built program, over its command line: what goes in, what comes out, how it ends.

// The lint's own leave for tests does not reach the helpers of an integration test.
#![allow(clippy::unwrap_used)]

mod answers;
mod bad_input;
mod examples;
mod jobs;
mod records;
mod run;
mod schemas;
mod serve;
mod terminal;
