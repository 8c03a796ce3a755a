//! Writes every sheet of some rooms with invented results, to be looked at: `cargo run -p drawing --example sheets -- DIR`.

#[path = "../tests/scenes/mod.rs"]
#[allow(dead_code)]
mod scenes;

fn main() {
    let folder = std::env::args().nth(1).unwrap_or_else(|| "out".into());
    std::fs::create_dir_all(&folder).expect("the folder can be made");
    for made in scenes::rooms() {
        for (sheet, svg) in made.sheets() {
            let file = format!("{folder}/{}-{sheet}.svg", made.name);
            std::fs::write(&file, svg).expect("the file can be written");
            println!("{file}");
        }
    }
}
