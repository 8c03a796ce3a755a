//! `demo`: writes the demo job, which is data only.

use crate::{compute, files};
use include_dir::{Dir, include_dir};
use measure::{Problem, Problems};
use std::fs;
use std::path::Path;
use std::process::ExitCode;

static DEMO: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/../../demo/heron-row-12");

/// Writes the demo job into a folder that is new, empty, or holds the demo as it is: nothing of the user's is written over.
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
    let mut others = Vec::new();
    for entry in fs::read_dir(folder).map_err(refuse)? {
        let entry = entry.map_err(refuse)?;
        let name = entry.file_name().to_string_lossy().into_owned();
        let known = DEMO.get_file(&name).map(include_dir::File::contents);
        let is_file = entry.file_type().map_err(refuse)?.is_file();
        let same = is_file && known.is_some_and(|demo| fs::read(entry.path()).is_ok_and(|bytes| bytes == demo));
        if is_file && !same {
            others.push(name);
        }
    }
    if !others.is_empty() {
        others.sort();
        let what = "the folder holds files of a job, or of a demo that was changed; nothing was written";
        return Err(Problem::at("", what, "a new or empty folder: --dir").value(others.join(", ")).file(&shown).into());
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
