//! How the program behaves as a program: names, help, pipes, settings of the machine.

use crate::examples;
use crate::run::{finish, problems, program, undertile};
use std::process::Stdio;

#[test]
fn the_list_names_every_computation_with_its_help_and_sources() {
    let list = undertile(&["compute", "--list"], b"");
    assert_eq!((list.code, list.err.as_str()), (Some(0), ""));
    for computation in engine::registry::ALL {
        let line = list.out.lines().find(|line| line.split_whitespace().next() == Some(computation.name)).unwrap_or_default();
        assert!(line.contains(computation.help), "{} is not listed with its help", computation.name);
        assert!(!computation.sources.is_empty(), "{} names no source", computation.name);
        assert!(computation.sources.iter().all(|source| list.out.contains(source)), "{} is listed without its sources", computation.name);
    }
    let mut names: Vec<_> = engine::registry::ALL.iter().map(|computation| computation.name).collect();
    names.sort_unstable();
    names.dedup();
    assert_eq!(names.len(), engine::registry::ALL.len(), "one name for each computation");
}

#[test]
fn an_unknown_name_is_refused_with_the_known_ones() {
    for args in [["compute", "fals"], ["schema", "fals"]] {
        let problems = problems(&undertile(&args, b"{}"));
        assert!(problems[0]["right"].as_str().unwrap().contains("falls"), "{problems:?}");
    }
}

#[test]
fn help_and_version_answer_and_a_wrong_command_is_refused() {
    for args in [&["--help"][..], &["--version"], &["compute", "--help"], &["assess", "--help"]] {
        let ran = undertile(args, b"");
        assert!(ran.code == Some(0) && !ran.out.is_empty(), "{args:?}: {ran:?}");
    }
    for args in [&[][..], &["compute"], &["measure-everything"], &["compute", "falls", "ponding"], &["assess"]] {
        assert_eq!(undertile(args, b"").code, Some(2), "{args:?}");
    }
}

/// The same input gives the same bytes, whatever the machine's language, time zone and colours.
#[test]
fn answers_do_not_depend_on_the_machines_settings() {
    for computation in engine::registry::ALL {
        let input = examples::input(computation.name).to_string();
        let settings = [[("LC_ALL", "C"), ("TZ", "UTC")], [("LC_ALL", "de_DE.UTF-8"), ("TZ", "Australia/Sydney")]];
        let [first, second] = settings.map(|setting| {
            let ran = finish(program().args(["compute", computation.name]).envs(setting), input.as_bytes());
            assert_eq!(ran.code, Some(0), "{}: {}", computation.name, ran.err);
            ran.out
        });
        assert_eq!(first, second, "{}", computation.name);
    }
}

/// A pager that was closed, `head`: no complaint.
#[test]
fn a_reader_that_goes_away_is_no_error() {
    let mut child = program().args(["schema", "room"]).spawn().unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(String::from_utf8_lossy(&output.stderr), "");
    assert_eq!(output.status.code(), Some(0));
}

/// A result that could not be written is never reported as given.
#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_reported() {
    let full = std::fs::File::create("/dev/full").unwrap();
    let ran = finish(program().args(["compute", "--list"]).stdout(Stdio::from(full)), b"");
    assert_eq!(problems(&ran).len(), 1);
}
