//! Installs what the tests need and the machine lacks. May be run again at any time.

use crate::tools::{Done, command, in_ci, works};
use crate::wasm;

/// Looks for each tool, installs it where this machine allows, and says what is missing and how to get it.
pub fn setup() -> Done {
    let mut missing = Vec::new();
    if wasm::find().is_none() && !add_wasm() {
        missing.push(
            "a compiler for WebAssembly. With rustup: rustup target add wasm32-unknown-unknown. On Debian without rustup's \
             target: apt-get install rustc-web cargo-web rust-web-src. Without it `cargo xtask test` skips the check that the \
             engine compiles for the browser.",
        );
    }
    if !works(command("cargo").args(["nextest", "--version"])) {
        println!("setup: cargo-nextest is not here; the tests run under cargo test instead, more slowly");
    }
    for what in &missing {
        println!("setup: missing {what}");
    }
    if !missing.is_empty() && in_ci() {
        return Err("setup: a checking machine must have all of this".into());
    }
    Ok(())
}

fn add_wasm() -> bool {
    println!("setup: adding a compiler for WebAssembly");
    works(command("rustup").args(["target", "add", "wasm32-unknown-unknown"])) || apt_install(&wasm::DEBIAN_PACKAGES)
}

/// Installs Debian packages, as root or where sudo asks for no password.
fn apt_install(packages: &[&str]) -> bool {
    if !works(command("apt-get").arg("--version")) {
        return false;
    }
    let apt = |args: &[&str]| {
        let as_root = ["env", "DEBIAN_FRONTEND=noninteractive", "apt-get", "-qq", "-y"];
        works(command(as_root[0]).args(&as_root[1..]).args(args)) || works(command("sudo").arg("-n").args(as_root).args(args))
    };
    let install = [&["install", "--no-install-recommends"], packages].concat();
    apt(&install) || (apt(&["update"]) && apt(&install))
}
