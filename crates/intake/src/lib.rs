//! Bytes from outside to checked values: text, JSON against its schema, CSV.
//!
//! Everything a person or another program hands in comes through here, so that every problem is named with its file,
//! line, field, the value found and what would be right, all of them at once, and nothing handed in can panic or fill
//! the memory. This crate knows nothing of rooms or rules, and opens no files: it is given bytes.
//!
//! * [`text::decode`]: UTF-8 or UTF-16, with or without a byte order mark.
//! * [`json::read`]: a JSON document checked against the schema of the type it becomes.
//! * [`schema::of`]: that schema, as published.
//! * [`csv::Table::read`]: a table as people and spreadsheets write it.
//! * [`words::nearest`]: the known word somebody probably meant.

pub mod csv;
pub mod json;
pub mod schema;
pub mod text;
pub mod words;
