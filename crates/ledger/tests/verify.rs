//! Damage of every kind: found, and named at its place.
#![cfg(test)]

mod common;

use common::*;
use ledger::verify::{LogReport, Origin, Span, Standing};
use ledger::{Anchor, Hash, Head, Report, SignedHead, Tree};
use proptest::prelude::*;

/// The report of a record of which one file was changed.
fn changed(path: &str, change: impl FnOnce(Vec<u8>) -> Vec<u8>) -> Report {
    let mut files = record();
    let bytes = files.remove(path).unwrap();
    files.insert(path.into(), change(bytes));
    verify(&files)
}

/// The first device's log after its lines were changed; with and without the file of hashes.
fn events_changed(with_hashes: bool, change: impl FnOnce(&mut Vec<Vec<u8>>)) -> LogReport {
    let mut files = record();
    if !with_hashes {
        files.remove(&file(&device(1), ".hashes"));
    }
    let path = file(&device(1), ".jsonl");
    let mut events = split(&files[&path]);
    change(&mut events);
    files.insert(path, lines(events));
    verify(&files).log(&device(1)).unwrap().clone()
}

fn at(report: &LogReport) -> (u64, u64) {
    let damage = report.damage.as_ref().expect("damage");
    (damage.at.from, damage.at.to)
}

fn what(report: &LogReport) -> &str {
    &report.damage.as_ref().expect("damage").what
}

#[test]
fn a_sound_record_is_sound_and_proven() {
    let report = verify(&record());
    assert!(report.is_sound(), "{report:#?}");
    assert_eq!(report.job.as_deref(), Some(JOB));
    let logs: Vec<(String, u64, u64)> = report.logs.iter().map(|log| (log.log.clone(), log.proven, log.unproven)).collect();
    let mut expected = vec![(device(1), 5, 0), (device(2), 3, 1), (JOB.into(), 3, 0)];
    expected.sort();
    let mut sorted = logs;
    sorted.sort();
    assert_eq!(sorted, expected);
    assert_eq!((report.blobs.sound, report.blobs.missing.len(), report.blobs.unnamed), (2, 0, 0));
    assert_eq!(report.log(JOB).unwrap().signed_by, [device(9)]);
}

#[test]
fn the_order_and_the_pieces_files_come_in_do_not_matter() {
    let files = record();
    let sound = verify(&files);
    for size in [1, 7, 1000] {
        let mut verifier = ledger::Verifier::new();
        for (path, bytes) in files.iter().rev() {
            bytes.chunks(size).for_each(|piece| assert!(verifier.feed(path, piece)));
        }
        assert_eq!(verifier.finish(), sound, "by {size}");
    }
}

#[test]
fn an_altered_event_is_named_and_all_others_are_still_proven() {
    let report = events_changed(true, |events| events[3] = replaced(&events[3], "1.5", "9.5"));
    assert_eq!((at(&report), report.proven, report.damaged.as_slice()), ((3, 4), 4, &[Span { from: 3, to: 4 }][..]));
    assert!(what(&report).contains("altered"), "{report:?}");
    assert_eq!(report.sound_lines, [0, 1, 2, 4]);
}

#[test]
fn without_the_file_of_hashes_the_heads_tell_between_which_sizes_it_was_altered() {
    let report = events_changed(false, |events| events[3] = replaced(&events[3], "1.5", "9.5"));
    assert_eq!((at(&report), report.proven), ((2, 5), 2), "{report:?}");
}

fn replaced(line: &[u8], from: &str, to: &str) -> Vec<u8> {
    let text = String::from_utf8(line.to_vec()).unwrap();
    assert!(text.contains(from), "{text}");
    text.replace(from, to).into_bytes()
}

/// What was done to the events, where the damage is, with the file of hashes how many are still proven, and a word of it.
type Case = (&'static str, fn(&mut Vec<Vec<u8>>), u64, u64, &'static str);

#[test]
fn lost_doubled_swapped_and_foreign_events_are_named_at_their_place() {
    let table: [Case; 12] = [
        ("removed", |e| drop(e.remove(2)), 2, 4, "missing"),
        ("first removed", |e| drop(e.remove(0)), 0, 4, "missing"),
        ("doubled", |e| e.insert(2, e[1].clone()), 1, 5, "stands again"),
        ("doubled at the end", |e| e.push(e[2].clone()), 2, 5, "stands again"),
        ("swapped", |e| e.swap(2, 3), 2, 5, "out of order"),
        ("reversed", |e| e.reverse(), 0, 5, "out of order"),
        ("cut off at a line", |e| e.truncate(3), 3, 3, "missing"),
        ("all gone", |e| e.clear(), 0, 0, "missing"),
        ("event of another device", |e| e[1] = event(2, 1), 1, 4, "another device"),
        ("its place changed", |e| e[1] = replaced(&e[1], r#""seq":1"#, r#""seq":4"#), 1, 4, "altered"),
        ("a line between", |e| e.insert(3, b"{}".to_vec()), 3, 5, "none of the log's"),
        ("an empty line between", |e| e.insert(1, Vec::new()), 1, 5, "none of the log's"),
    ];
    for (name, change, place, proven, word) in table {
        let report = events_changed(true, change);
        assert_eq!((at(&report).0, report.proven), (place, proven), "{name}: {report:#?}");
        assert!(what(&report).contains(word), "{name}: {}", what(&report));
        let bare = events_changed(false, change);
        assert!(at(&bare).0 <= place && at(&bare).1 > place.min(4), "{name} without hashes: {bare:#?}");
    }
}

#[test]
fn a_tail_that_an_append_left_cut_off_is_said_and_is_no_damage() {
    let path = file(&device(2), ".jsonl");
    let whole = record()[&path].len();
    let last = event(2, 3).len() + 1;
    for cut in 2..last {
        let mut files = record();
        files.get_mut(&path).unwrap().truncate(whole - cut);
        files.insert(file(&device(2), ".hashes"), Vec::new());
        let report = verify(&files);
        assert!(report.is_sound(), "{cut} bytes cut: {report:#?}");
        let log = report.log(&device(2)).unwrap();
        assert_eq!((log.entries, log.proven, log.torn_bytes), (3, 3, (last - cut) as u64));
        // The hash is written after the event: an event whose hash is there had been written whole.
        files.insert(file(&device(2), ".hashes"), record()[&file(&device(2), ".hashes")].clone());
        assert_eq!(at(verify(&files).log(&device(2)).unwrap()), (3, 4), "{cut} bytes cut, its hash there");
    }
}

#[test]
fn a_tail_cut_off_below_a_head_is_damage() {
    let path = file(&device(1), ".jsonl");
    let whole = record()[&path].len();
    for cut in 2..event(1, 4).len() {
        for with_hashes in [true, false] {
            let mut files = record();
            files.get_mut(&path).unwrap().truncate(whole - cut);
            if !with_hashes {
                files.remove(&file(&device(1), ".hashes"));
            }
            let log = verify(&files).log(&device(1)).unwrap().clone();
            assert_eq!((at(&log), log.torn_bytes > 0), ((4, 5), true), "{cut} bytes cut: {log:#?}");
        }
    }
}

#[test]
fn damage_in_the_midst_is_never_a_torn_tail() {
    // The last line's break is gone, and it is no beginning of an event: nothing an append leaves.
    for tail in [&b"}J"[..], b"x", b"\"", b"\0"] {
        let report = changed(&file(&device(2), ".jsonl"), |mut bytes| {
            bytes.truncate(bytes.len() - 2);
            [&bytes[..], tail].concat()
        });
        let log = report.log(&device(2)).unwrap();
        assert!(log.damage.is_some() && log.torn_bytes == 0, "{tail:?}: {log:#?}");
    }
}

#[test]
fn a_record_rolled_back_whole_is_found_below_a_head_kept_outside() {
    let tree = Tree::of((0..5).map(|seq| Hash::leaf(&event(1, seq))));
    let kept = head(&device(1), &tree, 1, 5);
    let mut files = record();
    // Events, heads and hashes cut back to two, and the job log to the one receipt that speaks of them: nothing within tells.
    for (path, count) in [(file(&device(1), ".jsonl"), 2), (file(&device(1), ".heads.jsonl"), 1), (file(&device(1), ".hashes"), 2)] {
        cut_to(&mut files, &path, count);
    }
    for end in [".jsonl", ".heads.jsonl", ".hashes"] {
        cut_to(&mut files, &file("job", end), 1);
    }
    assert!(verify(&files).is_sound(), "from within it looks sound");
    let mut verifier = verifier(&files);
    verifier.anchor(Anchor::signed("dossier of 25 November", kept.clone()).unwrap());
    let report = verifier.finish();
    assert!(!report.is_sound());
    assert_eq!(report.anchors[0].stands, Standing::Below);
    assert_eq!(at(report.log(&device(1)).unwrap()), (2, 5));
    // The same without its signature, as a printed page has it.
    let mut verifier = common::verifier(&files);
    verifier.anchor(Anchor { name: "page 3".into(), head: kept.read_head().unwrap(), signed: None });
    assert_eq!(verifier.finish().anchors[0].stands, Standing::Below);
}

fn cut_to(files: &mut Files, path: &str, count: usize) {
    let kept = split(&files[path]).into_iter().take(count);
    files.insert(path.into(), lines(kept));
}

#[test]
fn heads_kept_outside_fit_differ_or_are_forged() {
    let tree = Tree::of((0..5).map(|seq| Hash::leaf(&event(1, seq))));
    let other = Tree::of((10..15).map(|seq| Hash::leaf(&event(1, seq))));
    let forged = SignedHead { signature: head(&device(1), &other, 1, 4).signature, ..head(&device(1), &tree, 1, 4) };
    let table = [
        (head(&device(1), &tree, 1, 3), Standing::Fits, true),
        (head(JOB, &Tree::new(), 9, 0), Standing::Fits, true),
        (head(&device(1), &other, 1, 3), Standing::Differs, false),
        (head(&device(3), &other, 3, 3), Standing::NoLog, false),
        (forged, Standing::Forged, false),
    ];
    for (anchor, stands, sound) in table {
        let mut verifier = verifier(&record());
        verifier.anchor(Anchor::signed("e-mail", anchor).unwrap());
        let report = verifier.finish();
        assert_eq!((report.anchors[0].stands, report.is_sound()), (stands, sound), "{report:#?}");
    }
}

#[test]
fn heads_that_are_forged_or_of_another_key_or_history_are_named_by_their_line() {
    let tree = Tree::of((0..5).map(|seq| Hash::leaf(&event(1, seq))));
    let other = Tree::of((10..15).map(|seq| Hash::leaf(&event(1, seq))));
    let good = head(&device(1), &tree, 1, 4);
    let table: [(&str, SignedHead, &str); 5] = [
        ("a forged signature", SignedHead { signature: head(&device(1), &tree, 1, 3).signature, ..good.clone() }, "does not fit"),
        ("another device's key", head(&device(1), &tree, 2, 4), "not the key of the device"),
        ("another device's head", head(&device(2), &tree, 2, 4), "another log"),
        ("another history", head(&device(1), &other, 1, 4), "another history"),
        ("no head", SignedHead { head: "{}".into(), ..good }, "head"),
    ];
    for (name, bad, word) in table {
        let path = file(&device(1), ".heads.jsonl");
        let report = changed(&path, |bytes| {
            let mut heads = split(&bytes);
            heads.insert(1, bad.to_line().into_bytes());
            lines(heads)
        });
        let log = report.log(&device(1)).unwrap();
        assert_eq!(log.heads.len(), 1, "{name}: {log:#?}");
        assert_eq!(log.heads[0].origin, Origin::Heads { line: 1 }, "{name}");
        assert!(log.heads[0].what.contains(word), "{name}: {}", log.heads[0].what);
        assert!(log.damage.is_none() && log.proven == 5, "{name}: no event is blamed");
    }
}

#[test]
fn a_job_log_signed_by_another_key_is_said() {
    let receipts = split(&record()[&file("job", ".jsonl")]);
    let tree = Tree::of(receipts.iter().map(|line| Hash::leaf(line)));
    let report = changed(&file("job", ".heads.jsonl"), |_| lines([head(JOB, &tree, 7, 3).to_line().into_bytes()]));
    let log = report.log(JOB).unwrap();
    assert!(log.heads[0].what.contains("not the site record's key"), "{log:#?}");
    assert_eq!((log.proven, log.unproven), (0, 3));
}

#[test]
fn a_receipt_proves_a_log_whose_own_heads_are_gone() {
    let report = changed(&file(&device(1), ".heads.jsonl"), |_| Vec::new());
    assert_eq!(report.log(&device(1)).unwrap().proven, 5);
    let mut files = record();
    for end in [".jsonl", ".heads.jsonl", ".hashes"] {
        files.remove(&file(&device(1), end));
    }
    let report = verify(&files);
    assert_eq!(at(report.log(&device(1)).unwrap()), (0, 5), "a receipt speaks of a log that is not here");
}

#[test]
fn an_event_of_a_later_version_is_proven_though_not_understood() {
    let mut events: Vec<Vec<u8>> = (0..3).map(|seq| event(1, seq)).collect();
    let later = format!(r#"{{"v":2,"device":"{}","seq":3,"blobs":["{}"],"what":["new",1]}}"#, device(1), Hash::of(PHOTOGRAPHS[0]));
    events.push(later.into_bytes());
    let mut files = record();
    log(&mut files, &device(1), &device(1), 1, &events, &[4]);
    cut_to(&mut files, &file("job", ".jsonl"), 0);
    files.retain(|path, _| !path.starts_with("logs/job"));
    let report = verify(&files);
    let log = report.log(&device(1)).unwrap();
    assert!(report.is_sound(), "{report:#?}");
    assert_eq!((log.proven, log.newer, report.blobs.missing.len()), (4, 1, 0));
}

#[test]
fn blobs_that_are_altered_missing_or_unnamed_are_told_apart() {
    let [first, second] = PHOTOGRAPHS.map(Hash::of);
    let mut files = record();
    files.insert(ledger::verify::blob_path(&first), b"another photograph".to_vec());
    files.remove(&ledger::verify::blob_path(&second));
    files.insert(ledger::verify::blob_path(&Hash::of(b"")), Vec::new());
    let report = verify(&files);
    assert!(!report.is_sound());
    assert_eq!((report.blobs.damaged.as_slice(), report.blobs.sound, report.blobs.unnamed), (&[first][..], 1, 1));
    let missing = &report.blobs.missing[0];
    assert_eq!((missing.blob, missing.log.as_str(), missing.seq), (second, device(2).as_str(), 1));
    let mut verifier = verifier(&record());
    verifier.blob(first, second, 9);
    assert_eq!(verifier.finish().blobs.damaged, [first], "hashed by somebody else");
}

#[test]
fn what_is_no_file_of_a_record_is_handed_back() {
    let mut verifier = verifier(&record());
    for path in ["", "readme.txt", "logs/", "logs/phone.jsonl", "logs/job.txt", "../record.json", "blobs/aa/bb", "blobs/x", "logs/é.jsonl"]
    {
        assert!(!verifier.feed(path, b"x"), "{path}");
    }
    let moved = format!("blobs/00/{}", Hash::of(PHOTOGRAPHS[0]));
    assert!(!verifier.feed(&moved, b"x"), "a blob in the wrong folder");
    assert!(verifier.finish().is_sound());
    assert!(!ledger::Verifier::new().finish().is_sound(), "no record.json");
}

/// What of the record the bit is in, by file and byte.
fn line_of(bytes: &[u8], byte: usize) -> u64 {
    bytes[..byte].iter().filter(|byte| **byte == b'\n').count() as u64
}

/// Every bit of the files that are looked `within` changed in turn: the file and bit of those changes that `check` does not
/// find, or does not place.
fn unplaced_bits(within: impl Fn(&str) -> bool, check: impl Fn(&ledger::Verifier, &str, &[u8], &[u8]) -> Report) -> Vec<(String, usize)> {
    let files = record();
    let mut unplaced = Vec::new();
    for (path, whole) in files.iter().filter(|(path, _)| within(path)) {
        let mut others = files.clone();
        others.remove(path);
        let others = verifier(&others);
        let mut bytes = whole.clone();
        for bit in 0..bytes.len() * 8 {
            bytes[bit / 8] ^= 1 << (bit % 8);
            let report = check(&others, path, &bytes, whole);
            if !is_placed(&report, path, whole, bit / 8, &bytes) {
                unplaced.push((path.clone(), bit));
            }
            bytes[bit / 8] ^= 1 << (bit % 8);
        }
    }
    unplaced
}

/// Whether the report names the line that was changed, and holds every other entry of the log for sound and unchanged.
fn is_placed(report: &Report, path: &str, whole: &[u8], byte: usize, bytes: &[u8]) -> bool {
    let line = line_of(whole, byte);
    if path == "record.json" {
        // The version that wrote it is a note on which nothing rests.
        // Without the site's key, whose name is a field that may be absent, that of the first head is taken.
        let harmless = ["0.1.0", "site"].map(|word| whole.windows(word.len()).position(|part| part == word.as_bytes()).unwrap());
        return !report.is_sound() || harmless.iter().zip([5, 4]).any(|(from, length)| (*from..from + length).contains(&byte));
    }
    if let Some(blob) = path.strip_prefix("blobs/") {
        return report.blobs.damaged == [Hash::from_hex(&blob[3..]).unwrap()];
    }
    let name = path.strip_prefix("logs/").unwrap().split('.').next().unwrap();
    let log = report.log(if name == "job" { JOB } else { name }).unwrap();
    let healthy_elsewhere = report.logs.iter().filter(|other| other.log != log.log).all(|other| other.damage.is_none());
    if path.ends_with(".heads.jsonl") {
        let named = log.heads.first().is_some_and(|fault| fault.origin == Origin::Heads { line });
        return named && log.damage.is_none() && healthy_elsewhere;
    }
    let Some(damage) = &log.damage else {
        return path.ends_with(".hashes")
            && log.heads.first().is_some_and(|fault| fault.origin == Origin::Hashes { line })
            && healthy_elsewhere;
    };
    if path.ends_with(".hashes") {
        // No head covers the entry: entry and hash differ, and nothing tells which of them was changed.
        return damage.at == Span { from: line, to: line + 1 } && name == device(2) && line == 3;
    }
    let (now, then) = (split(bytes), split(whole));
    let sound = log.sound_lines.iter().all(|at| then.contains(&now[*at]));
    // A changed line break takes the next entry with it.
    let lost = if whole[byte] == b'\n' && line + 1 < then.len() as u64 { 2 } else { 1 };
    let placed = damage.at.from == line && log.damaged.iter().all(|span| span.from >= line && span.to <= line + 2);
    placed && sound && log.sound_lines.len() + lost >= then.len() && healthy_elsewhere
}

#[test]
fn every_changed_bit_is_found_and_placed() {
    let unplaced = unplaced_bits(
        |_| true,
        |others, path, bytes, _| {
            let mut verifier = others.clone();
            verifier.feed(path, bytes);
            verifier.finish()
        },
    );
    assert!(unplaced.is_empty(), "{} bits, first {:?}", unplaced.len(), &unplaced[..unplaced.len().min(20)]);
}

/// The planted fault: a verifier that reads entries and never hashes them sees a changed entry that still reads as the
/// unchanged one. The test above must not pass it.
#[test]
fn a_verifier_that_skips_the_leaf_check_is_caught() {
    let events = file(&device(1), ".jsonl");
    let unseen = unplaced_bits(
        |path| path == events,
        |others, path, bytes, whole| {
            let reads = |line: &[u8]| ledger::Event::read(line).is_ok_and(|event| path.contains(&event.device));
            let seen = split(bytes).into_iter().zip(split(whole)).map(|(now, then)| if reads(&now) { then } else { now });
            let seen = if split(bytes).len() == split(whole).len() { lines(seen) } else { bytes.to_vec() };
            let mut verifier = others.clone();
            verifier.feed(path, &seen);
            verifier.finish()
        },
    );
    assert!(unseen.len() > 1000, "only {} changed bits went unseen by a verifier that looks at no leaf", unseen.len());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// However many entries are altered, lost, doubled and moved: with the file of hashes every untouched one stays proven,
    /// and the first damage is at the first touched.
    #[test]
    fn untouched_events_stay_proven(blows in proptest::collection::vec((0usize..5, 0usize..12, 0usize..12), 1..6)) {
        let events: Vec<Vec<u8>> = (0..12).map(|seq| event(1, seq)).collect();
        let mut files = record();
        files.retain(|path, _| !path.starts_with("logs/job"));
        log(&mut files, &device(1), &device(1), 1, &events, &[4, 12]);
        let mut found = events.clone();
        for (kind, a, b) in blows {
            let (a, b) = (a % found.len().max(1), b % found.len().max(1));
            if found.is_empty() {
                continue;
            }
            match kind {
                0 => found[a].push(b' '),
                1 => drop(found.remove(a)),
                2 => found.insert(b, found[a].clone()),
                3 => found.swap(a, b),
                _ => found[a].truncate(b),
            }
        }
        files.insert(file(&device(1), ".jsonl"), lines(found.iter().cloned()));
        let report = verify(&files);
        let log = report.log(&device(1)).unwrap();
        let here = events.iter().filter(|event| found.contains(event)).count();
        prop_assert_eq!(log.proven, here as u64);
        prop_assert_eq!(log.damage.is_none(), found == events);
        let exported: Vec<&Vec<u8>> = log.sound_lines.iter().map(|line| &found[*line]).collect();
        let expected: Vec<&Vec<u8>> = events.iter().filter(|event| found.contains(event)).collect();
        prop_assert_eq!(exported, expected);
        let first_lost = events.iter().position(|event| !found.contains(event));
        if let Some(first) = first_lost {
            prop_assert!(log.damage.as_ref().unwrap().at.from <= first as u64);
        }
    }

    #[test]
    fn no_bytes_make_the_verifier_panic(which in any::<prop::sample::Index>(), at in any::<prop::sample::Index>(), bytes in proptest::collection::vec(any::<u8>(), 0..40), length in 0usize..900) {
        let mut files = record();
        let path = files.keys().nth(which.index(files.len())).unwrap().clone();
        let file = files.get_mut(&path).unwrap();
        let at = at.index(file.len());
        file.splice(at..(at + length).min(file.len()), bytes);
        verify(&files);
    }
}

#[test]
fn a_head_that_is_read_and_signed_again_is_the_same() {
    let (signed, head) = SignedHead::read(&split(&record()[&file(&device(1), ".heads.jsonl")])[0]).unwrap();
    assert_eq!(head.sign(&key(1)), signed);
    assert_eq!(Head::read(&signed.head).unwrap(), head);
}

/// Enough that time growing with the square would be noticed.
const ENTRIES: u64 = 20_000;

/// A log of many short lines with its hashes proven by a head, after all its lines were changed.
fn after(change: impl Fn(u64, Vec<u8>) -> Vec<u8>) -> LogReport {
    let event = |seq: u64| format!(r#"{{"v":2,"device":"{}","seq":{seq}}}"#, device(1)).into_bytes();
    let mut files = record();
    files.retain(|path, _| !path.starts_with("logs/job"));
    let events: Vec<Vec<u8>> = (0..ENTRIES).map(event).collect();
    log(&mut files, &device(1), &device(1), 1, &events, &[ENTRIES]);
    files.insert(file(&device(1), ".jsonl"), lines(events.into_iter().enumerate().map(|(seq, line)| change(seq as u64, line))));
    verify(&files).log(&device(1)).unwrap().clone()
}

#[test]
fn a_log_whose_every_line_was_changed_is_answered() {
    let altered = after(|_, line| [&line[..], b" "].concat());
    assert_eq!((altered.proven, altered.damaged.len()), (0, 1));
    let elsewhere =
        after(|seq, line| String::from_utf8(line).unwrap().replace(&format!(":{seq}}}"), &format!(":{}}}", seq * 7919)).into_bytes());
    assert_eq!(elsewhere.proven, 3, "0, and the two that have become what another was");
    let one = after(|_, _| b"{}".to_vec());
    assert_eq!((one.proven, one.damage.unwrap().at.from), (0, 0));
}
