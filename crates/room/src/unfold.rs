//! unfold
