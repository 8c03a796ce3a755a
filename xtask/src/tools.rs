//! Running other programs, from the root of the workspace.

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// What went wrong, in words for the person at the terminal.
pub type Done<T = ()> = Result<T, String>;

/// The folder that holds the workspace.
pub fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("xtask lies in the workspace")
}

/// A command that runs in the root of the workspace and reads nothing.
pub fn command(program: impl AsRef<std::ffi::OsStr>) -> Command {
    let mut command = Command::new(program);
    command.current_dir(root()).stdin(Stdio::null());
    command
}

/// The cargo that runs this task.
pub fn cargo() -> Command {
    command(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()))
}

/// The command as typed, for messages.
fn words(command: &Command) -> String {
    let program = Path::new(command.get_program()).file_name().unwrap_or(command.get_program()).to_string_lossy().into_owned();
    let args = command.get_args().map(|arg| arg.to_string_lossy().into_owned());
    std::iter::once(program).chain(args).collect::<Vec<_>>().join(" ")
}

/// Runs to the end; anything but success is an error.
pub fn run(command: &mut Command) -> Done {
    let status = command.status().map_err(|e| format!("{}: {e}", words(command)))?;
    if status.success() { Ok(()) } else { Err(format!("{}: {status}", words(command))) }
}

/// Runs to the end and hands back what it wrote to standard output; its complaints are in the error.
pub fn output(command: &mut Command) -> Done<String> {
    let output = command.output().map_err(|e| format!("{}: {e}", words(command)))?;
    if !output.status.success() {
        return Err(format!("{}: {}\n{}", words(command), output.status, String::from_utf8_lossy(&output.stderr)));
    }
    String::from_utf8(output.stdout).map_err(|e| format!("{}: {e}", words(command)))
}

/// Whether the command runs and succeeds; its output is dropped.
pub fn works(command: &mut Command) -> bool {
    command.stdout(Stdio::null()).stderr(Stdio::null()).status().is_ok_and(|status| status.success())
}

/// What cargo says about the workspace itself.
pub fn metadata() -> Done<Value> {
    let text = output(cargo().args(["metadata", "--no-deps", "--format-version", "1", "--offline"]))?;
    serde_json::from_str(&text).map_err(|e| format!("cargo metadata: {e}"))
}

/// Where builds go, as cargo sees it.
pub fn target_dir() -> Done<PathBuf> {
    metadata()?["target_directory"].as_str().map(PathBuf::from).ok_or_else(|| "cargo metadata names no target directory".into())
}

/// Builds the program and says where it lies.
pub fn build_undertile() -> Done<PathBuf> {
    run(cargo().args(["build", "--quiet", "--package", "undertile"]))?;
    Ok(target_dir()?.join("debug").join(format!("undertile{}", std::env::consts::EXE_SUFFIX)))
}

/// Whether a machine checks this, where a skipped step would go unseen.
pub fn in_ci() -> bool {
    std::env::var_os("CI").is_some_and(|value| value == "true")
}
