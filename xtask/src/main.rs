//! The project's own tasks, called as `cargo xtask NAME`.

mod bench;
mod demo;
mod layers;
mod peers;
#[cfg(test)]
mod purity;
mod reliability;
mod schema;
mod setup;
mod suite;
#[cfg(test)]
mod tokens;
mod tools;
mod wasm;

use std::process::ExitCode;

const HELP: &str = "cargo xtask NAME

  setup            installs what the tests need and this machine lacks; says what it cannot
  test             everything that must hold before a change lands: format, lints, tests, WebAssembly, licences
  wasm [rustup|debian]
                   checks that the engine crates compile for wasm32-unknown-unknown, with the toolchain found or named
  arrows           prints which crate knows which, or the arrows that point the wrong way
  bench [WORD]     runs the benchmarks, or those whose name holds WORD
  peers [WORD]     slow checks against libraries from the Python index, or those whose path holds WORD
  reliability [kills N | crashes SEEDS | flips EVERY]
                   kills a recording process, fails a simulated disk, turns bits of a record over; without a name all of
                   them in full, which takes hours
  schema           writes docs/schema/*.json from the built program; the tests say when they are out of date
  demo             builds the program, writes the demo job to out/demo and judges it
";

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    let done = match args[..] {
        ["setup"] => setup::setup(),
        ["test"] => suite::test(),
        ["wasm"] => wasm::check(None),
        ["wasm", name] => wasm::named(name).and_then(|toolchain| wasm::check(Some(toolchain))),
        ["arrows"] => layers::draw(),
        ["bench"] => bench::bench(None),
        ["bench", word] => bench::bench(Some(word)),
        ["peers"] => peers::peers(None),
        ["peers", word] => peers::peers(Some(word)),
        ["reliability", ref trial @ ..] => reliability::reliability(trial),
        ["schema"] => schema::write(),
        ["demo"] => demo::demo(),
        [] | ["help" | "--help" | "-h"] => {
            print!("{HELP}");
            Ok(())
        }
        _ => Err(format!("no such task: {}\n\n{HELP}", args.join(" "))),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("{}", why.trim_end());
            ExitCode::FAILURE
        }
    }
}
