//! Whether the engine compiles for WebAssembly: the phone without reception runs the same engine as the server.

use crate::layers;
use crate::tools::{Done, cargo, command, run, target_dir, works};
use std::path::Path;
use std::process::Command;

const TARGET: &str = "wasm32-unknown-unknown";

/// Debian's compiler, which ships the sources of the standard library: where rustup has no such target, the standard
/// library is built with the engine.
pub const DEBIAN_PACKAGES: [&str; 3] = ["rustc-web", "cargo-web", "rust-web-src"];
const DEBIAN_CARGO: &str = "/usr/bin/cargo";
const DEBIAN_RUSTC: &str = "/usr/bin/rustc";

/// A compiler that can make WebAssembly.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Toolchain {
    /// The compiler in use has the target.
    Rustup,
    /// The distribution's compiler with the sources of its standard library.
    Debian,
}

/// The toolchain of that name.
pub fn named(name: &str) -> Done<Toolchain> {
    match name {
        "rustup" => Ok(Toolchain::Rustup),
        "debian" => Ok(Toolchain::Debian),
        _ => Err(format!("no such toolchain: {name}; rustup or debian")),
    }
}

/// The toolchain this machine has.
pub fn find() -> Option<Toolchain> {
    if has_rustup_target() {
        Some(Toolchain::Rustup)
    } else if has_debian() {
        Some(Toolchain::Debian)
    } else {
        None
    }
}

fn has_rustup_target() -> bool {
    let rustc = std::env::var_os("RUSTC").unwrap_or_else(|| "rustc".into());
    let libdir = command(rustc).args(["--print", "target-libdir", "--target", TARGET]).output();
    libdir.is_ok_and(|out| out.status.success() && Path::new(String::from_utf8_lossy(&out.stdout).trim()).is_dir())
}

fn has_debian() -> bool {
    let sources = Path::new("/usr/lib/rustlib/src/rust/library/std/Cargo.toml");
    let in_sysroot = || {
        let sysroot = command(DEBIAN_RUSTC).args(["--print", "sysroot"]).output().ok()?;
        let sysroot = String::from_utf8(sysroot.stdout).ok()?;
        Some(Path::new(sysroot.trim()).join("lib/rustlib/src/rust/library/std/Cargo.toml").is_file())
    };
    works(&mut debian_cargo(&["--version"])) && (sources.is_file() || in_sysroot().unwrap_or(false))
}

/// The distribution's cargo, freed of what rustup and the cargo that runs this task tell their children: with it,
/// the wrong compiler and the wrong libraries would be picked up.
fn debian_cargo(args: &[&str]) -> Command {
    let mut cargo = command(DEBIAN_CARGO);
    for name in ["CARGO", "RUSTUP_TOOLCHAIN", "RUSTUP_HOME", "RUSTDOC", "RUSTC_WRAPPER", "LD_LIBRARY_PATH"] {
        cargo.env_remove(name);
    }
    // RUSTC_BOOTSTRAP: building the standard library is still an unstable option of a stable compiler.
    cargo.env("RUSTC", DEBIAN_RUSTC).env("RUSTC_BOOTSTRAP", "1").args(args);
    cargo
}

/// Checks every engine crate for WebAssembly.
pub fn check(toolchain: Option<Toolchain>) -> Done {
    let toolchain = toolchain.or_else(find).ok_or("no compiler here can make WebAssembly; run: cargo xtask setup")?;
    let mut cargo = match toolchain {
        Toolchain::Rustup => cargo(),
        Toolchain::Debian => {
            let mut cargo = debian_cargo(&[]);
            cargo.arg("-Zbuild-std=std,panic_abort").env("CARGO_TARGET_DIR", target_dir()?.join("wasm-debian"));
            cargo
        }
    };
    cargo.args(["check", "--quiet", "--locked", "--target", TARGET]);
    for package in layers::pure() {
        cargo.args(["--package", package]);
    }
    run(&mut cargo)
}
