//! `record.json`: which job a record is of.

use crate::id;
use measure::{Problem, Problems};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The first line of every record.
pub const FORMAT: &str = "undertile record 1";

/// What `record.json` says.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Manifest {
    /// `undertile record 1`.
    #[schemars(extend("const" = "undertile record 1"))]
    pub format: String,
    /// The job: a UUID.
    pub job: String,
    /// Version that wrote it.
    pub made_by: String,
    /// Device id of the key that signs the job log. Without it, the key of the log's first head is taken.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub site: Option<String>,
}

impl Manifest {
    /// Reads the file, or says everything that is wrong with it. Fields of no name known here are left aside.
    pub fn read(bytes: &[u8]) -> Result<Self, Problems> {
        let manifest: Self = intake::json::read("", bytes)?;
        let mut wrong = Problems::new();
        if !id::is_uuid(&manifest.job) {
            wrong.push(Problem::at("job", "not a UUID", "a UUID in lower case").value(&manifest.job));
        }
        if let Some(site) = manifest.site.as_ref().filter(|site| !id::is_device(site)) {
            wrong.push(Problem::at("site", "not a device id", "32 lower-case hex digits").value(site));
        }
        wrong.or(manifest)
    }

    /// The file's bytes.
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut bytes = serde_json::to_vec(self).expect("text is always JSON");
        bytes.push(b'\n');
        bytes
    }
}
