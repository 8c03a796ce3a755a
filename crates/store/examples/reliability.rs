//! The trials of reliability in full: `cargo xtask reliability [kills N | crashes SEEDS | flips EVERY]`.

use std::path::Path;
use std::process::{Command, ExitCode};
use std::time::Instant;
use store::trials::{crashes, flips, kills};

const HELP: &str = "kills N        kills a recording process N times (10000): nothing acknowledged may be lost
crashes SEEDS  a simulated disk stops, fills up or fails at every operation of a piece of work, for so many seeds (200)
flips EVERY    turns over every bit of a reference store and of its export, or every so manieth (1)
";

/// Kills of one data folder; then it is checked whole and a new one begun.
const KILLS_A_FOLDER: u64 = 200;

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    let began = Instant::now();
    let done = match args[..] {
        ["child", folder, round] => number(round).and_then(|round| kills::record(Path::new(folder), round)).map(|()| String::new()),
        ["kills", count] => number(count).and_then(all_kills),
        ["crashes", seeds] => number(seeds).and_then(all_crashes),
        ["flips", every] => number(every).and_then(all_flips),
        _ => Err(HELP.into()),
    };
    match done {
        Ok(text) => {
            println!("{text}\n{:.0} s", began.elapsed().as_secs_f64());
            ExitCode::SUCCESS
        }
        Err(why) => {
            eprintln!("{why}");
            ExitCode::FAILURE
        }
    }
}

fn number(text: &str) -> Result<u64, String> {
    text.parse().map_err(|_| format!("{text} is no number\n{HELP}"))
}

fn all_kills(count: u64) -> Result<String, String> {
    let program = std::env::current_exe().map_err(|error| error.to_string())?;
    let mut all = kills::Seen::default();
    while all.kills < count {
        let folder = tempfile::tempdir().map_err(|error| error.to_string())?;
        let child = |round: u64| {
            let mut command = Command::new(&program);
            command.arg("child").arg(folder.path()).arg(round.to_string());
            command
        };
        let seen = kills::run(folder.path(), KILLS_A_FOLDER.min(count - all.kills), all.kills + 1, &child)?;
        all.kills += seen.kills;
        all.acknowledged += seen.acknowledged;
        all.cut_off += seen.cut_off;
        all.unanswered += seen.unanswered;
        all.kept += seen.kept;
        println!("{all:?}");
    }
    Ok(format!(
        "{} kills: {} events and photographs acknowledged, 0 lost, 0 corrupt; {} photographs cut off while written, {} batches unanswered",
        all.kills, all.acknowledged, all.cut_off, all.unanswered
    ))
}

fn all_crashes(seeds: u64) -> Result<String, String> {
    let mut all = crashes::Seen::default();
    for seed in 0..seeds {
        let seen = crashes::run(seed, crashes::open_folder)?;
        all.operations = seen.operations;
        all.trials += seen.trials;
        all.acknowledged += seen.acknowledged;
        all.unanswered += seen.unanswered;
        all.happened.operations += seen.happened.operations;
        all.happened.lost += seen.happened.lost;
        all.happened.torn += seen.happened.torn;
        all.happened.reordered += seen.happened.reordered;
        all.happened.names_lost += seen.happened.names_lost;
    }
    Ok(format!("{seeds} seeds: every transaction whole or absent, everything acknowledged there\n{all:?}"))
}

fn all_flips(every: u64) -> Result<String, String> {
    let place = tempfile::tempdir().map_err(|error| error.to_string())?;
    let (data, out) = (place.path().join("data"), place.path().join("record"));
    flips::reference(&data).map_err(|error| error.to_string())?;
    flips::export_folder(&data, &out).map_err(|error| error.to_string())?;
    let record = flips::record(&out, 0, every)?;
    let store = flips::store(&data, 0, every)?;
    Ok(format!("an exported record: {record:?}\nthe store: {store:?}\nevery flip found, or the export is equal"))
}
