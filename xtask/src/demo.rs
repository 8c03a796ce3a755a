//! The README's first command: the demo job, written and judged.

use crate::tools::{Done, build_undertile, command, run};

/// Writes the demo job to `out/demo`, judges it and says what the exit code meant.
pub fn demo() -> Done {
    let undertile = build_undertile()?;
    run(command(&undertile).args(["demo", "--dir", "out/demo"]))?;
    let status = command(&undertile)
        .args(["assess", "out/demo", "--drawings", "out/drawings"])
        .status()
        .map_err(|e| format!("undertile assess: {e}"))?;
    let meaning = match status.code() {
        Some(0) => "everything conforms",
        Some(1) => "something falls short, as planted in the demo",
        Some(3) => "something is not shown",
        Some(4) => "only departures are open",
        _ => return Err(format!("undertile assess out/demo: {status}")),
    };
    println!("\nexit code {}: {meaning}", status.code().unwrap_or_default());
    Ok(())
}
