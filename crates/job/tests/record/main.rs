//! Records folded: whatever the order of arrival, and whoever adds what.
#![cfg(test)]

mod conflicts;
mod files;
mod hostile;
mod order;
mod tell;
