//! exposure
