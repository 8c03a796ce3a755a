//! Records folded: whatever the order of arrival, and whoever adds what.
#![cfg(test)]

mod archive;
mod conflicts;
mod files;
mod hostile;
mod imports;
mod offers;
mod order;
mod tell;
