//! overflow
