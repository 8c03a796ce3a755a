//! `verify`, `record`, `backup` and `restore` over the command line.

use crate::run::{Ran, folder, problems, undertile};
use std::fs;
use std::path::{Path, PathBuf};
use store::suite::{JOB, Pen, photograph};
use store::{Batch, Sqlite, Store, put_from};

/// An empty folder of this name.
fn fresh(name: &str) -> PathBuf {
    fs::remove_dir_all(folder(name)).unwrap();
    folder(name)
}

/// A data folder with one job: a device's events, a photograph, a signed head; what the test says of the device.
fn data(within: &Path) -> (PathBuf, Pen) {
    let data = within.join("data");
    let store = Sqlite::open(&data).unwrap();
    let mut pen = Pen::new(1);
    let blob = put_from(&store, JOB, &mut &photograph(1, 5_000)[..]).unwrap();
    let mut events = pen.events(8);
    events.push(pen.event("corner of the shower", vec![blob.hash]));
    store.append(JOB, Batch::of(events).head(pen.head())).unwrap();
    (data, pen)
}

fn ask(args: &[&str], paths: &[&Path]) -> Ran {
    let mut paths = paths.iter();
    let args: Vec<String> =
        args.iter().map(|arg| if *arg == "@" { paths.next().unwrap().display().to_string() } else { (*arg).into() }).collect();
    undertile(&args.iter().map(String::as_str).collect::<Vec<_>>(), b"")
}

#[test]
fn a_record_goes_out_and_in_and_is_sound_everywhere() {
    let within = fresh("record-round-trip");
    let (data, pen) = data(&within);
    let (bundle, out, backup) = (within.join("job.zip"), within.join("out"), within.join("backup.zip"));
    // While the program itself holds the folder.
    let held = Sqlite::open(&data).unwrap();
    for (args, paths) in [
        (vec!["record", "export", "--data", "@", "-o", "@"], vec![&*data, &*bundle]),
        (vec!["record", "export", "--data", "@", "--job", JOB, "-o", "@"], vec![&*data, &*out]),
        (vec!["backup", "--data", "@", "-o", "@"], vec![&*data, &*backup]),
        (vec!["verify", "@"], vec![&*data]),
        (vec!["verify", "@"], vec![&*bundle]),
        (vec!["verify", "@"], vec![&*out]),
        (vec!["verify", "@"], vec![&*backup]),
    ] {
        let ran = ask(&args, &paths);
        assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""), "{args:?}: {}", ran.out);
        if args[0] == "verify" {
            assert!(ran.out.contains(&format!("job {JOB}: sound")) && ran.out.contains("9 proven"), "{}", ran.out);
        }
    }
    let busy = ask(&["record", "import", "@", "--data", "@"], &[&bundle, &data]);
    assert!(problems(&busy)[0]["what"].as_str().unwrap().contains("another undertile"), "{}", busy.err);
    drop(held);
    let again = ask(&["record", "import", "@", "--data", "@"], &[&bundle, &data]);
    assert!(again.out.contains("0 entries are new, 9 were there; 0 blobs are new"), "{again:?}");
    let new = within.join("new");
    let restored = ask(&["restore", "@", "--data", "@"], &[&backup, &new]);
    assert_eq!(restored.code, Some(0), "{restored:?}");
    assert_eq!(Sqlite::open(&new).unwrap().log(JOB, &pen.device).unwrap().root, pen.tree.root());
    assert_eq!(ask(&["restore", "@", "--data", "@"], &[&backup, &new]).code, Some(2), "never into a folder with records");
}

#[test]
fn the_first_damaged_event_is_named() {
    let within = fresh("record-damaged");
    let (data, pen) = data(&within);
    let out = within.join("out");
    assert_eq!(ask(&["record", "export", "--data", "@", "-o", "@"], &[&data, &out]).code, Some(0));
    let log = out.join(format!("logs/{}.jsonl", pen.device));
    let text = fs::read_to_string(&log).unwrap();
    fs::write(&log, text.replacen("level 5: 12.5", "level 5: 11.5", 1)).unwrap();
    let ran = ask(&["verify", "@"], &[&out]);
    assert_eq!((ran.code, ran.err.as_str()), (Some(1), ""));
    assert!(ran.out.contains(&format!("job {JOB}: DAMAGED")) && ran.out.contains("first damage: entry 5: "), "{}", ran.out);
    assert!(ran.out.contains("sound: 8 entries, 5 of them before it"), "{}", ran.out);
    let new = within.join("new");
    let refused = ask(&["record", "import", "@", "--data", "@"], &[&out, &new]);
    assert!(refused.code == Some(1) && refused.out.contains("Nothing of this job was taken in"), "{refused:?}");
    let part = ask(&["record", "import", "@", "--data", "@", "--sound-part"], &[&out, &new]);
    assert!(part.code == Some(0) && part.out.contains("5 entries are new"), "{part:?}");
}

#[test]
fn a_head_kept_elsewhere_finds_a_record_taken_back() {
    let within = fresh("record-heads");
    let (data, mut pen) = data(&within);
    let heads = within.join("heads.jsonl");
    fs::write(&heads, pen.head().to_line() + "\n\n").unwrap();
    assert_eq!(ask(&["verify", "@", "--heads", "@"], &[&data, &heads]).code, Some(0));
    pen.events(1);
    fs::write(&heads, pen.head().to_line()).unwrap();
    let ran = ask(&["verify", "@", "--heads", "@"], &[&data, &heads]);
    assert!(ran.code == Some(1) && ran.out.contains("THE RECORD IS SHORTER"), "{ran:?}");
}

#[test]
fn what_is_no_record_is_not_readable() {
    let within = fresh("record-none");
    let text = within.join("text");
    fs::write(&text, "neither a zip nor a record, but some text").unwrap();
    for path in [&*within, &*text, &within.join("not-there")] {
        problems(&ask(&["verify", "@"], &[path]));
    }
    let heads = ask(&["verify", "@", "--heads", "@"], &[&within, &text]);
    assert!(!problems(&heads).is_empty());
}

#[test]
fn a_job_folder_goes_in_and_comes_out_byte_for_byte() {
    let within = fresh("record-job-folder");
    let (job, data, out) = (within.join("job"), within.join("data"), within.join("out"));
    assert_eq!(ask(&["demo", "--dir", "@"], &[&job]).code, Some(0));
    fs::write(job.join("corner.jpg"), photograph(1, 9_000)).unwrap();
    let taken = ask(&["record", "import", "@", "--data", "@"], &[&job, &data]);
    assert_eq!((taken.code, taken.err.as_str()), (Some(0), ""), "{}", taken.out);
    let verified = ask(&["verify", "@"], &[&data]);
    assert!(verified.code == Some(0) && verified.out.contains("blobs: 2 sound"), "{}", verified.out);
    let written = ask(&["record", "export", "--data", "@", "--job-folder", "-o", "@"], &[&data, &out]);
    assert_eq!((written.code, written.err.as_str()), (Some(0), ""), "{}", written.out);
    let read = |folder: &Path| {
        let entries = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
        let mut files: Vec<_> = entries.map(|path| (path.file_name().unwrap().to_owned(), fs::read(&path).unwrap())).collect();
        files.sort();
        files
    };
    assert!(read(&job) == read(&out), "{} and {} differ", job.display(), out.display());
    let judged = |folder: &Path| ask(&["assess", "@", "--json", "--at", "2026-03-02T09:00:00+11:00"], &[folder]);
    let (before, after) = (judged(&job), judged(&out));
    assert!((before.code, before.out) == (after.code, after.out), "the same answer from both");
}

/// A data folder with the demo job and photographs that say where they were taken (`crates/photo/tests/peers/fixtures.py`).
fn photographed(within: &Path) -> (PathBuf, PathBuf) {
    let (job, data) = (within.join("job"), within.join("data"));
    assert_eq!(ask(&["demo", "--dir", "@"], &[&job]).code, Some(0));
    let fixtures = Path::new(env!("CARGO_MANIFEST_DIR")).join("../photo/tests/fixtures");
    for name in ["phone.jpg", "camera.jpg", "screen.png", "lossy.webp", "phone.heic"] {
        fs::copy(fixtures.join(name), job.join(name)).unwrap();
    }
    fs::write(job.join("cut-off.jpg"), &fs::read(job.join("phone.jpg")).unwrap()[..1500]).unwrap();
    fs::write(job.join("words.txt"), "the outlet is where the plan has it").unwrap();
    let taken = ask(&["record", "import", "@", "--data", "@"], &[&job, &data]);
    assert_eq!((taken.code, taken.err.as_str()), (Some(0), ""), "{}", taken.out);
    assert!(taken.out.contains("with the time 6 (1 without offset from UTC), with the place 6"), "{}", taken.out);
    assert!(taken.out.contains("cut-off.jpg: the file ends early"), "{}", taken.out);
    (job, data)
}

#[test]
fn a_photograph_comes_in_with_what_it_says_of_itself() {
    let within = fresh("record-photographs");
    let (_, data) = photographed(&within);
    let out = within.join("out");
    assert_eq!(ask(&["record", "export", "--data", "@", "-o", "@"], &[&data, &out]).code, Some(0));
    let logs = fs::read_dir(out.join("logs")).unwrap().map(|entry| fs::read_to_string(entry.unwrap().path()).unwrap());
    let logs: String = logs.collect();
    let payload = |file: &str| -> serde_json::Value {
        let events = logs.lines().filter_map(|line| serde_json::from_str::<serde_json::Value>(line).ok());
        let mut payloads = events.filter(|event| event["kind"] == "photograph").map(|event| event["payload"].clone());
        payloads.find(|payload| payload["file"] == file).unwrap()
    };
    let (phone, camera, heic) = (payload("phone.jpg"), payload("camera.jpg"), payload("phone.heic"));
    assert_eq!(phone["taken_at"], "2026-05-03T14:22:05.250+10:00");
    assert_eq!(phone["taken_where"]["latitude_deg"], -37.814025);
    assert_eq!(phone["taken_where"]["horizontal_error_m"], 4.7);
    assert_eq!((&phone["orientation"], &phone["width_px"], &phone["height_px"]), (&6.into(), &24.into(), &16.into()));
    assert_eq!(phone["camera"], "Maker of Cameras Model 7");
    assert_eq!(camera["taken_at"], "2026-05-03T14:22:05.250", "no offset is made up");
    assert!(camera["taken_where"].get("horizontal_error_m").is_none());
    assert_eq!((&heic["orientation"], &heic["type"]), (&6.into(), &"image/heic".into()));
}

#[test]
fn copies_for_others_do_not_say_where() {
    let within = fresh("record-strip-location");
    let (job, data) = photographed(&within);
    let out = within.join("out");
    let written = ask(&["record", "export", "--data", "@", "--job-folder", "--strip-location", "-o", "@"], &[&data, &out]);
    assert_eq!((written.code, written.err.as_str()), (Some(1), ""), "{}", written.out);
    for (name, why) in [("phone.heic", "out of a HEIC file"), ("cut-off.jpg", "the file ends early")] {
        let line = written.out.lines().find(|line| line.contains(name)).unwrap();
        assert!(line.contains("LEFT OUT") && line.contains(why), "{line}");
        assert!(!out.join(name).exists());
    }
    for name in ["phone.jpg", "camera.jpg", "screen.png", "lossy.webp"] {
        let of = |folder: &Path| photo::read(fs::File::open(folder.join(name)).unwrap()).unwrap();
        let (before, after) = (of(&job), of(&out));
        assert!(before.place.is_some() && after.place.is_none(), "{name}");
        assert_eq!((before.taken_at, before.orientation), (after.taken_at, after.orientation), "{name}");
    }
    for name in ["words.txt", "room.json", "job.json"] {
        assert!(fs::read(job.join(name)).unwrap() == fs::read(out.join(name)).unwrap(), "{name}");
    }
    let whole = within.join("whole");
    assert_eq!(ask(&["record", "export", "--data", "@", "--job-folder", "-o", "@"], &[&data, &whole]).code, Some(0));
    assert!(fs::read(job.join("phone.jpg")).unwrap() == fs::read(whole.join("phone.jpg")).unwrap(), "the record keeps its original");
}

#[test]
fn a_record_is_never_written_without_its_places() {
    let within = fresh("record-strip-refused");
    let (data, _) = data(&within);
    for name in ["job.zip", "out"] {
        let out = within.join(name);
        let refused = ask(&["record", "export", "--data", "@", "--strip-location", "-o", "@"], &[&data, &out]);
        let problem = &problems(&refused)[0];
        assert!(problem["field"] == "--strip-location" && problem["what"].as_str().unwrap().contains("hashes"), "{problem}");
        assert!(!out.exists());
    }
}
