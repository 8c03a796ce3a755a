//! Running the program and reading what it says.

use serde_json::Value;
use std::io::Write;
use std::path::PathBuf;
use std::process::{Command, Stdio};

/// How a run ended.
#[derive(Debug)]
pub struct Ran {
    /// Exit code; none when a signal ended it.
    pub code: Option<i32>,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

/// The program, in an empty folder of its own: it may rely on nothing that happens to lie about.
pub fn program() -> Command {
    let folder = folder("nothing-here");
    let mut command = Command::new(env!("CARGO_BIN_EXE_undertile"));
    command.current_dir(folder).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

/// A folder for one test, made where it is missing.
pub fn folder(name: &str) -> PathBuf {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(name);
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

/// Runs the program on this input. Whatever happens, it must not panic.
pub fn undertile(args: &[&str], input: &[u8]) -> Ran {
    finish(program().args(args), input)
}

/// Runs a prepared command on this input.
pub fn finish(command: &mut Command, input: &[u8]) -> Ran {
    let mut child = command.stdin(Stdio::piped()).spawn().unwrap();
    let mut stdin = child.stdin.take().unwrap();
    let input = input.to_vec();
    // On a thread of its own, for the program may answer before it has read everything; and it may never read.
    let writer = std::thread::spawn(move || drop(stdin.write_all(&input)));
    let output = child.wait_with_output().unwrap();
    writer.join().unwrap();
    let text = |bytes| String::from_utf8(bytes).expect("the program writes UTF-8");
    let ran = Ran { code: output.status.code(), out: text(output.stdout), err: text(output.stderr) };
    assert!(ran.code.is_some_and(|code| code < 100) && !ran.err.contains("panicked"), "it broke down: {ran:?}");
    ran
}

/// The answer to an input that must be accepted.
pub fn compute(name: &str, input: &Value) -> Value {
    let ran = undertile(&["compute", name], input.to_string().as_bytes());
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""), "{name} refused {input}");
    serde_json::from_str(&ran.out).unwrap()
}

/// The problems of an input that must be refused: exit 2, JSON on standard error, nothing on standard output.
pub fn refused(name: &str, input: &[u8]) -> Vec<Value> {
    problems(&undertile(&["compute", name], input))
}

/// The problems a refusal lists, each with all its parts.
pub fn problems(ran: &Ran) -> Vec<Value> {
    assert_eq!((ran.code, ran.out.as_str()), (Some(2), ""), "not refused: {}", ran.err);
    assert!(ran.err.len() < 200_000, "a refusal stays readable: {} bytes", ran.err.len());
    let mut refusal: Value = serde_json::from_str(&ran.err).unwrap_or_else(|e| panic!("{e}: {}", ran.err));
    let Value::Array(problems) = refusal["problems"].take() else { panic!("no list of problems: {}", ran.err) };
    assert!(!problems.is_empty(), "a refusal gives a reason");
    for problem in &problems {
        for part in ["field", "what", "right"] {
            assert!(problem[part].is_string(), "{part} is missing: {problem}");
        }
        assert_ne!(problem["what"], "", "{problem}");
        assert_ne!(problem["right"], "", "a refusal says what would be right: {problem}");
    }
    problems
}
