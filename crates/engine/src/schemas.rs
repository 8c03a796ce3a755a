//! Published schemas of the files of a job folder.

use serde_json::Value;

/// A file of the job folder with its schema.
pub struct FileSchema {
    /// Name for the command line: the file's name without its ending.
    pub name: &'static str,
    /// What the file holds.
    pub holds: &'static str,
    schema: fn() -> Value,
}

/// Every kind of JSON file a job folder may hold, and what events of a record say.
pub const FILES: &[FileSchema] = &[
    FileSchema { name: "room", holds: "the room as drawn", schema: intake::schema::of::<room::Room> },
    FileSchema { name: "job", holds: "the job's frame", schema: intake::schema::of::<job::frame::Frame> },
    FileSchema { name: "data-sheets", holds: "what the membranes' makers ask", schema: intake::schema::of::<job::folder::DataSheets> },
    FileSchema { name: "plan", holds: "changes to the inspection and test plan", schema: intake::schema::of::<job::plan::PlanFile> },
    FileSchema {
        name: "evidence",
        holds: "what was seen, photographed, stated and decided",
        schema: intake::schema::of::<job::evidence::Evidence>,
    },
    FileSchema {
        name: "coats",
        holds: "the coat log: what came, went on and was used up",
        schema: intake::schema::of::<job::coats::CoatLog>,
    },
    FileSchema {
        name: "photographs",
        holds: "which photograph shows which face",
        schema: intake::schema::of::<job::photographs::Photographs>,
    },
    FileSchema { name: "weights", holds: "the order of risk", schema: intake::schema::of::<job::weights::Weights> },
    FileSchema { name: "event-payloads", holds: "what the events of a record may say", schema: job::record::schema },
    FileSchema { name: "pack", holds: "the project's own rules", schema: intake::schema::of::<rules::format::PackFile> },
];

/// The schema of a file, by its name without ending.
pub fn of_file(name: &str) -> Option<Value> {
    FILES.iter().find(|file| file.name == name).map(|file| (file.schema)())
}
