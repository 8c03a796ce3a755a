//! Rooms like a pattern room: its files laid as the room lies, and what a change of the pattern means for them.

use super::payload::Like;
use measure::Problem;
use room::Room;
use std::collections::BTreeMap;

/// Files a pattern room shares with the rooms like it: room, plan, membrane system, the project's own rules.
pub const SHARED: [&str; 4] = ["room.json", "plan.json", "data-sheets.json", "pack.json"];
const ROOM: &str = "room.json";

/// The pattern's files as they are in a room that lies so. Nothing but the room's drawing changes; one that is laid as it was
/// drawn and keeps its name keeps every byte.
#[allow(clippy::result_large_err)] // once for each room
pub(crate) fn laid_files(like: &Like) -> Result<BTreeMap<String, String>, Problem> {
    let mut files = like.files.clone();
    if like.laid.is_same() && like.name.is_none() {
        return Ok(files);
    }
    let drawn = files.get(ROOM).map(String::as_str).unwrap_or_default();
    let room: Room = intake::json::read(ROOM, drawn.as_bytes()).map_err(|problems| {
        problems.problems.into_iter().next().unwrap_or_else(|| Problem::at("files", "the pattern's room cannot be read", ""))
    })?;
    let mut room = room::like::laid(&room, like.laid);
    if let Some(name) = &like.name {
        room.name = name.clone();
    }
    let text = serde_json::to_string_pretty(&room).map_err(|error| Problem::at("files", error.to_string(), "a room of finite numbers"))?;
    files.insert(ROOM.into(), text + "\n");
    Ok(files)
}
