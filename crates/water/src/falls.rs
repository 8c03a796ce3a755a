//! falls
