//! The published shape of inputs and outputs.

use schemars::{JsonSchema, generate::SchemaSettings};

/// The JSON Schema (2020-12) of what may be handed in as a `T`, with `$schema` set.
pub fn of<T: JsonSchema>() -> serde_json::Value {
    SchemaSettings::draft2020_12().for_deserialize().into_generator().into_root_schema_for::<T>().to_value()
}

/// The JSON Schema (2020-12) of a `T` as it is written, with `$schema` set.
pub fn of_output<T: JsonSchema>() -> serde_json::Value {
    SchemaSettings::draft2020_12().for_serialize().into_generator().into_root_schema_for::<T>().to_value()
}
