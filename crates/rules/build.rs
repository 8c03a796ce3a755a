//! A new folder under `packs/` is a new place: build again when one appears.

fn main() {
    println!("cargo::rerun-if-changed=../../packs");
}
