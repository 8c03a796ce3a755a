//! Everything that must hold before a change lands, one line a step.

use crate::tools::{Done, cargo, in_ci, run, works};
use crate::wasm;
use std::io::{BufRead, BufReader};
use std::ops::AddAssign;
use std::process::{Command, Stdio};
use std::time::Instant;

/// How many tests ran, as their runners said.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Tally {
    passed: u64,
    failed: u64,
    skipped: u64,
}

impl AddAssign for Tally {
    fn add_assign(&mut self, other: Self) {
        self.passed += other.passed;
        self.failed += other.failed;
        self.skipped += other.skipped;
    }
}

/// What became of a step.
enum Step {
    Done,
    Skipped(&'static str),
}

/// The steps run so far.
#[derive(Default)]
struct Suite {
    failed: Vec<&'static str>,
}

impl Suite {
    fn step(&mut self, name: &'static str, work: impl FnOnce() -> Done<Step>) {
        let start = Instant::now();
        let done = work();
        let seconds = start.elapsed().as_secs_f64();
        match done {
            Ok(Step::Done) => println!("{name:<10} ok       {seconds:7.1} s"),
            Ok(Step::Skipped(why)) if !in_ci() => println!("{name:<10} skipped  {why}"),
            Ok(Step::Skipped(why)) => {
                println!("{name:<10} FAILED   {why}");
                self.failed.push(name);
            }
            Err(why) => {
                println!("{}\n{name:<10} FAILED   {seconds:7.1} s", why.trim_end());
                self.failed.push(name);
            }
        }
    }
}

/// Runs every step, also after one has failed, and ends with the count of tests.
pub fn test() -> Done {
    let mut suite = Suite::default();
    let mut tally = Tally::default();
    suite.step("format", || run(cargo().args(["fmt", "--all", "--check"])).map(|()| Step::Done));
    suite.step("lints", || {
        run(cargo().args(["clippy", "--quiet", "--locked", "--workspace", "--all-targets", "--", "-D", "warnings"])).map(|()| Step::Done)
    });
    suite.step("tests", || counted(&mut test_runner(), &mut tally).map(|()| Step::Done));
    suite.step("doc tests", || {
        counted(cargo().args(["test", "--quiet", "--locked", "--workspace", "--doc"]), &mut tally).map(|()| Step::Done)
    });
    suite.step("wasm", || match wasm::find() {
        None => Ok(Step::Skipped("no compiler here can make WebAssembly; run: cargo xtask setup")),
        found => wasm::check(found).map(|()| Step::Done),
    });
    if works(cargo().args(["deny", "--version"])) {
        suite.step("licences", || {
            run(cargo().args(["deny", "--log-level", "error", "check", "bans", "licenses", "sources"])).map(|()| Step::Done)
        });
    } else {
        println!("{:<10} skipped  cargo-deny is not here; to have it: cargo install cargo-deny", "licences");
    }
    println!("tests: {} passed, {} failed, {} skipped", tally.passed, tally.failed, tally.skipped);
    if suite.failed.is_empty() { Ok(()) } else { Err(format!("failed: {}", suite.failed.join(", "))) }
}

/// All tests but those in the documentation, under nextest where it is at hand.
fn test_runner() -> Command {
    let mut cargo = cargo();
    if works(self::cargo().args(["nextest", "--version"])) {
        cargo.args(["nextest", "run", "--cargo-quiet", "--locked", "--workspace", "--no-fail-fast"]);
        cargo.args(["--status-level", "slow", "--final-status-level", "fail", "--show-progress", "none"]);
    } else {
        cargo.args(["test", "--quiet", "--locked", "--workspace", "--all-targets", "--no-fail-fast"]);
    }
    cargo
}

/// Runs a test runner, passes on what it says of failures and adds up its closing lines.
fn counted(command: &mut Command, tally: &mut Tally) -> Done {
    // Nextest speaks on standard error, cargo test on standard output; joined in one pipe, neither can stall the other.
    let (reader, writer) = std::io::pipe().map_err(|e| format!("pipe: {e}"))?;
    let second = writer.try_clone().map_err(|e| format!("pipe: {e}"))?;
    let mut child = command.stdout(Stdio::from(writer)).stderr(Stdio::from(second)).spawn().map_err(|e| format!("test runner: {e}"))?;
    // The command keeps its ends of the pipe until they are replaced; only then does the pipe end with the child.
    command.stdout(Stdio::null()).stderr(Stdio::null());
    for line in BufReader::new(reader).split(b'\n') {
        let line = line.map_err(|e| format!("test runner: {e}"))?;
        let line = String::from_utf8_lossy(&line);
        match closing_line(&line) {
            Some(count) => *tally += count,
            None if is_noise(&line) => {}
            None => println!("{line}"),
        }
    }
    let status = child.wait().map_err(|e| format!("test runner: {e}"))?;
    if status.success() { Ok(()) } else { Err(format!("the test runner ended with {status}")) }
}

/// The counts in a runner's closing line, where the line is one: `Summary [..] 9 tests run: 8 passed, 1 failed, 0 skipped`
/// of nextest, `test result: ok. 8 passed; 1 failed; 0 ignored; ..` of cargo test.
fn closing_line(line: &str) -> Option<Tally> {
    let line = line.trim();
    let counts = match line.strip_prefix("test result:") {
        Some(rest) => rest.split_once(". ")?.1,
        None => line.strip_prefix("Summary [")?.split_once(" run: ")?.1,
    };
    let mut tally = Tally::default();
    for count in counts.split([',', ';']) {
        let mut words = count.split_whitespace();
        let (Some(Ok(n)), Some(what)) = (words.next().map(str::parse::<u64>), words.next()) else { continue };
        match what {
            "passed" => tally.passed += n,
            "failed" | "timed" => tally.failed += n,
            "skipped" | "ignored" => tally.skipped += n,
            _ => {}
        }
    }
    Some(tally)
}

/// Lines that say only that nothing happened.
fn is_noise(line: &str) -> bool {
    let line = line.trim();
    line.is_empty()
        || line.chars().all(|c| matches!(c, '.' | '─' | '-' | 'i'))
        || (line.starts_with("running ") && line.ends_with(['s', 't']))
        || line.starts_with("Nextest run ID")
        || line.starts_with("Starting ")
        || line.starts_with("all doctests ran in")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn closing_lines_of_both_runners_are_counted() {
        let tally = |passed, failed, skipped| Some(Tally { passed, failed, skipped });
        for (line, expected) in [
            ("     Summary [   0.012s] 9 tests run: 8 passed, 1 failed, 2 skipped", tally(8, 1, 2)),
            ("     Summary [   0.012s] 1 test run: 1 passed, 0 skipped", tally(1, 0, 0)),
            ("     Summary [   9.012s] 9/12 tests run: 6 passed (1 slow), 2 failed, 1 timed out, 0 skipped", tally(6, 3, 0)),
            ("test result: ok. 3 passed; 0 failed; 1 ignored; 0 measured; 0 filtered out; finished in 0.30s", tally(3, 0, 1)),
            ("test result: FAILED. 3 passed; 2 failed; 0 ignored; 0 measured; 0 filtered out", tally(3, 2, 0)),
            ("        PASS [   0.005s] xtask::arrows", None),
            ("3 passed, 0 failed", None),
        ] {
            assert_eq!(closing_line(line), expected, "{line}");
        }
    }
}
