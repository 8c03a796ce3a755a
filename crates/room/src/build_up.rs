//! build_up
