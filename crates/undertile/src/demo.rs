//! `demo`: writes the demo job, which is data only.

use crate::{compute, files};
use include_dir::{Dir, include_dir};
use measure::{Problem, Problems};
use std::fs;
use std::path::Path;
use std::process::ExitCode;

static DEMO: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/../../demo/heron-row-12");

/// Writes the demo job into a folder that is new, empty, or an earlier demo.
pub fn run(folder: &Path) -> ExitCode {
    match write(folder) {
        Err(problems) => compute::refuse(&problems),
        Ok(()) => compute::print(what_to_try(folder).as_bytes()),
    }
}

fn write(folder: &Path) -> Result<(), Problems> {
    let shown = folder.display().to_string();
    let refuse = |error: std::io::Error| {
        Problem::at("", format!("the demo cannot be written: {error}"), "a folder that can be written").file(&shown)
    };
    fs::create_dir_all(folder).map_err(refuse)?;
    let others: Vec<String> = fs::read_dir(folder)
        .map_err(refuse)?
        .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
        .filter(|name| name.ends_with(".json") && DEMO.get_file(name).is_none())
        .collect();
    if !others.is_empty() {
        return Err(Problem::at("", "the folder holds another job", "a new or empty folder").value(others.join(", ")).file(&shown).into());
    }
    for file in DEMO.files() {
        files::write(&folder.join(file.path()), file.contents()).map_err(refuse)?;
    }
    Ok(())
}

fn what_to_try(folder: &Path) -> String {
    let d = folder.display();
    format!(
        "Heron Row 12, upstairs shower room (invented), written to {d}\n\
         \n\
         Try:\n\
         \x20 undertile assess {d}\n\
         \x20     may the first hold point not yet released be covered?\n\
         \x20 undertile assess {d} --hold-point upper-membrane\n\
         \x20     the upper membrane, as its photographs and readings show it\n\
         \x20 undertile assess {d} --drawings {d}/drawings\n\
         \x20     the unfolded room with falls, ponds and details by verdict, as SVG\n\
         \x20 undertile assess {d} --json\n\
         \x20     everything, for another program\n\
         Then change a level in levels-screed.csv or a height in room.json and ask again.\n"
    )
}
