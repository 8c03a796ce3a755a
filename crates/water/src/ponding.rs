//! ponding
