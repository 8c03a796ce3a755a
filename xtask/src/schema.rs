//! The published JSON Schemas in `docs/schema`: the test that compares them with the program's also writes them.

use crate::tools::{Done, cargo, run};

/// Writes every schema anew and removes those of computations that are gone.
pub fn write() -> Done {
    let test = ["test", "--quiet", "--package", "undertile", "--test", "program", "published_schemas"];
    run(cargo().args(test).env("UNDERTILE_UPDATE_SCHEMAS", "1"))
}
