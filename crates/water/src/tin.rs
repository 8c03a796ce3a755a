//! tin
