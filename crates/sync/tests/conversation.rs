//! Single conversations, step by step, and what hostile messages do: nothing.

#![allow(clippy::unwrap_used)]

use ledger::event::payload;
use ledger::{Draft, Hash, Key, SignedHead, Tree, id};
use proptest::prelude::*;
use std::collections::BTreeMap;
use sync::device::{Effect, Handed};
use sync::limits::{self, MOST_ENTRIES, MOST_MESSAGE_BYTES};
use sync::site::Evidence;
use sync::{Answer, Ask, Device, NotKept, Notice, Now, Refusal, Said, Site, Standing, Step, What, Wish};

const JOB: &str = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f";

fn now(ms: u64) -> Now {
    Now { wall_ms: 1_790_000_000_000 + ms as i64, steady_ms: ms }
}

fn key(n: u8) -> Key {
    Key::from_seed(&[n; 32])
}

fn device(n: u8) -> Device {
    Device::new(key(n), JOB, key(9).public(), 0)
}

fn site() -> Site {
    let mut site = Site::new(key(9), JOB);
    (1..4).for_each(|n| site.pair(key(n).public().device()));
    site
}

/// Adds an event and keeps it.
fn add(device: &mut Device, log: &mut Vec<Vec<u8>>, value: u64) {
    let draft = Draft {
        author: "J. Ngata".into(),
        at: "2026-11-25T09:30:00+11:00".into(),
        clock: None,
        seen: BTreeMap::new(),
        kind: "reading".into(),
        version: 1,
        payload: payload(&BTreeMap::from([("depth_mm", value)])).unwrap(),
        blobs: Vec::new(),
    };
    let (ticket, events) = device.add(now(1), vec![(id::uuid_v7(value, [value as u8; 10]), draft)]).unwrap();
    assert_eq!(device.standing(log.len() as u64), Standing::NotKept);
    log.extend(events.into_iter().map(|event| event.into_bytes()));
    let told = device.kept(ticket, Ok(()));
    assert_eq!(told, vec![Effect::Tell(Notice::KeptHere { size: log.len() as u64 })]);
}

/// Asks for all of a log to be kept.
fn push(device: &mut Device, log: &[Vec<u8>], from: usize) -> Ask {
    let wish = Wish::Push { from: from as u64, count: (log.len() - from) as u64 };
    device.ask(now(2), &wish, Handed::Entries(log[from..].to_vec())).unwrap()
}

/// The site's answer, everything kept at once.
fn answer(site: &mut Site, from: &Device, ask: Ask) -> (Answer, Option<Evidence>) {
    match site.ask(now(3), from.id(), ask) {
        Step::Answer(answer) => (answer, None),
        Step::Keep { ticket, .. } => (site.kept(now(4), ticket, Ok(())).unwrap(), None),
        Step::KeepEvidence { ticket, evidence } => (site.kept(now(4), ticket, Ok(())).unwrap(), Some(evidence)),
        other => panic!("{other:?}"),
    }
}

/// Hears an answer and keeps what is to be kept.
fn hear(device: &mut Device, answer: &Answer) -> Vec<Notice> {
    let mut notices = Vec::new();
    let mut effects = device.answer(now(5), answer);
    while let Some(effect) = effects.pop() {
        match effect {
            Effect::KeepLog { ticket, .. } | Effect::KeepReceipt { ticket, .. } => effects.extend(device.kept(ticket, Ok(()))),
            Effect::Tell(notice) => notices.push(notice),
            Effect::KeepKnown(_) | Effect::KeepPiece { .. } => {}
        }
    }
    notices
}

#[test]
fn an_event_is_on_the_site_record_when_its_receipt_is_proven_and_kept() {
    let (mut phone, mut site, mut log) = (device(1), site(), Vec::new());
    add(&mut phone, &mut log, 1);
    let ask = push(&mut phone, &log, 0);
    let Step::Keep { ticket, logs } = site.ask(now(3), phone.id(), ask.clone()) else { panic!("must be kept first") };
    assert_eq!(logs.iter().map(|lines| lines.entries.len()).collect::<Vec<_>>(), [1, 1], "an event and its receipt");
    // Until it is on the disk there is nothing to be seen of it, and the same question is put off.
    assert_eq!(site.sizes().len(), 1);
    assert_eq!(answer(&mut site, &phone, ask.clone()).0.said, Said::Refused(Refusal::NotNow {}));
    let acknowledged = site.kept(now(4), ticket, Ok(())).unwrap();
    assert_eq!(site.kept(now(4), ticket, Ok(())), None, "a ticket is good once");

    let effects = phone.answer(now(5), &acknowledged);
    assert_eq!(phone.standing(0), Standing::OnThisDevice, "the receipt is not kept yet");
    let Some(Effect::KeepReceipt { ticket, .. }) = effects.last() else { panic!("{effects:?}") };
    assert_eq!(phone.kept(*ticket, Ok(())), [Effect::Tell(Notice::KeptOnSite { size: 1 })]);
    assert_eq!(phone.standing(0), Standing::OnSiteRecord);
    assert_eq!(phone.clock().unwrap().offset_ms, 0.0);

    // The same again changes nothing, at either end.
    let again = answer(&mut site, &phone, ask).0;
    assert!(matches!(again.said, Said::Acknowledged { index: 0, .. }));
    assert_eq!(hear(&mut phone, &acknowledged), []);
    assert_eq!(hear(&mut phone, &again), []);
}

#[test]
fn a_full_disk_is_told_and_goes_on_when_there_is_room() {
    let (mut phone, mut site, mut log) = (device(1), site(), Vec::new());
    add(&mut phone, &mut log, 1);
    let ask = push(&mut phone, &log, 0);
    let Step::Keep { ticket, .. } = site.ask(now(3), phone.id(), ask.clone()) else { panic!("must be kept first") };
    let full = site.kept(now(4), ticket, Err(NotKept::Full)).unwrap();
    assert_eq!(hear(&mut phone, &full), [Notice::SiteFull]);
    assert_eq!(phone.standing(0), Standing::OnThisDevice);
    let (later, _) = answer(&mut site, &phone, ask);
    assert_eq!(hear(&mut phone, &later), [Notice::KeptOnSite { size: 1 }]);

    // After a failure that leaves it open what the disk holds, nothing is kept before the machine is made anew.
    add(&mut phone, &mut log, 2);
    let next = push(&mut phone, &log, 1);
    let Step::Keep { ticket, .. } = site.ask(now(3), phone.id(), next.clone()) else { panic!("must be kept first") };
    site.kept(now(4), ticket, Err(NotKept::Unknown)).unwrap();
    assert!(site.is_stale());
    assert_eq!(answer(&mut site, &phone, next).0.said, Said::Refused(Refusal::NotNow {}));
}

/// A phone with two acknowledged events.
fn acknowledged() -> (Device, Site, Vec<Vec<u8>>) {
    let (mut phone, mut site, mut log) = (device(1), site(), Vec::new());
    for value in 1..3 {
        add(&mut phone, &mut log, value);
        let from = log.len() - 1;
        let ask = push(&mut phone, &log, from);
        let (answer, _) = answer(&mut site, &phone, ask);
        assert_eq!(hear(&mut phone, &answer), [Notice::KeptOnSite { size: value }]);
    }
    (phone, site, log)
}

/// A site record of the same key with another history: first another device's event, then the log up to these sizes.
fn rewritten(log: &[Vec<u8>], sizes: &[usize]) -> Site {
    let mut site = site();
    let (mut second, mut others) = (device(2), Vec::new());
    add(&mut second, &mut others, 50);
    let ask = push(&mut second, &others, 0);
    answer(&mut site, &second, ask);
    let mut phone = device(1);
    let id = phone.id().to_owned();
    log.iter().for_each(|entry| phone.load_entry(&id, Hash::leaf(entry), &[]));
    for size in sizes {
        let ask = push(&mut phone, &log[..*size], 0);
        answer(&mut site, &phone, ask);
    }
    site
}

#[test]
fn a_site_record_that_rewrote_its_history_is_refused() {
    let (_, _, log) = acknowledged();
    for (mut site, what) in [
        (site(), "the job log is empty and was not"),
        (rewritten(&log, &[]), "the job log is shorter than it was"),
        (rewritten(&log, &[2]), "two job logs of one size"),
        (rewritten(&log, &[1, 2]), "the job log is not a continuation of what it was"),
    ] {
        let (mut phone, _, mut log) = acknowledged();
        add(&mut phone, &mut log, 3);
        let hello = phone.ask(now(6), &Wish::Hello, Handed::Nothing).unwrap();
        let (answer, _) = answer(&mut site, &phone, hello);
        let known = phone.known().unwrap().clone();
        let told = hear(&mut phone, &answer);
        let [Notice::SiteRewrote(fault)] = &told[..] else { panic!("{what}: {told:?}") };
        assert_eq!((fault.what.as_str(), &fault.known), (what, &known));
        assert_eq!(phone.wishes(), [], "nothing more is sent");
        phone.trust_anew();
        assert!(phone.wishes().contains(&Wish::Push { from: 0, count: 3 }), "until a person decides");
    }
}

#[test]
fn a_head_of_another_key_is_not_believed() {
    let (mut phone, _, _) = acknowledged();
    let mut stranger = Site::new(key(8), JOB);
    stranger.pair(phone.id());
    let mut log = Vec::new();
    let mut other = device(1);
    add(&mut other, &mut log, 1);
    let ask = push(&mut other, &log, 0);
    let (answer, _) = answer(&mut stranger, &other, ask);
    assert!(matches!(&hear(&mut phone, &answer)[..], [Notice::Wrong(_)]));
}

#[test]
fn a_log_continued_twice_is_refused_and_both_are_kept() {
    let (phone, mut site, log) = acknowledged();
    // The phone was copied when it had one event; the copy adds another second one.
    let (mut copy, mut other) = (device(1), log[..1].to_vec());
    copy.load_entry(phone.id(), Hash::leaf(&log[0]), &[]);
    add(&mut copy, &mut other, 77);
    for from in [0, 1] {
        let ask = push(&mut copy, &other, from);
        let (answer, evidence) = answer(&mut site, &copy, ask);
        let evidence = evidence.filter(|_| from == 0);
        if let Some(evidence) = &evidence {
            assert_eq!((evidence.seq, evidence.events.last().unwrap().as_bytes()), (1, other[1].as_slice()));
            let (head, _) = evidence.head.check().unwrap();
            assert_eq!(head.root, Tree::of(other.iter().map(|entry| Hash::leaf(entry))).root());
        }
        assert_eq!(answer.said, Said::Refused(Refusal::Forked { seq: 1 }));
        let told = hear(&mut copy, &answer);
        assert_eq!(told.is_empty(), from == 1, "told once: {told:?}");
    }
    assert_eq!(copy.forked(), Some(1));
    assert!(!copy.wishes().iter().any(|wish| matches!(wish, Wish::Push { .. })));
}

#[test]
fn events_after_a_revocation_are_refused_and_those_before_stay() {
    let (mut phone, mut site, mut log) = acknowledged();
    let revoked = site.revoke(phone.id(), "2026-11-25T10:00:00Z", "lost on the tram").unwrap();
    assert_eq!(revoked.kept, 2);
    add(&mut phone, &mut log, 3);
    let ask = push(&mut phone, &log, 2);
    let (answer, _) = answer(&mut site, &phone, ask);
    let told = hear(&mut phone, &answer);
    assert!(matches!(&told[..], [Notice::Revoked { kept: 2, why, .. }] if why == "lost on the tram"), "{told:?}");
    assert_eq!((phone.standing(1), phone.standing(2)), (Standing::OnSiteRecord, Standing::OnThisDevice));
    assert_eq!(phone.wishes(), []);
    let pull = Ask { v: 1, job: JOB.into(), no: 1, since: 0, what: What::Pull { log: phone.id().into(), from: 0 } };
    assert!(matches!(site.ask(now(7), phone.id(), pull), Step::Answer(Answer { said: Said::Refused(Refusal::Revoked { .. }), .. })));
}

#[test]
fn a_photograph_goes_on_where_it_broke_off() {
    let (mut phone, mut site) = (device(1), site());
    let bytes = b"a photograph".to_vec();
    let hash = Hash::of(&bytes);
    let draft = |blobs: Vec<Hash>| Draft {
        author: "J. Ngata".into(),
        at: "2026-11-25T09:30:00+11:00".into(),
        clock: None,
        seen: BTreeMap::new(),
        kind: "photograph".into(),
        version: 1,
        payload: payload(&BTreeMap::from([("face", "wall 2")])).unwrap(),
        blobs,
    };
    assert!(phone.add(now(0), vec![(id::uuid_v7(1, [1; 10]), draft(vec![hash]))]).is_err(), "the photograph must be kept first");
    phone.load_blob(hash, bytes.len() as u64);
    let (ticket, events) = phone.add(now(0), vec![(id::uuid_v7(1, [1; 10]), draft(vec![hash]))]).unwrap();
    phone.kept(ticket, Ok(()));
    let log = vec![events[0].as_bytes().to_vec()];

    // Blobs may come before the events that name them.
    let mut there = Vec::new();
    for (offset, upto) in [(0, 5), (0, 7), (5, 12)] {
        let wish = Wish::PushBlob { hash, offset, of: 12 };
        let ask = phone.ask(now(2), &wish, Handed::Bytes(bytes[offset as usize..upto].to_vec())).unwrap();
        let heard = match site.ask(now(3), phone.id(), ask) {
            Step::KeepPiece { ticket, piece } => {
                assert_eq!(piece.offset as usize, there.len());
                there.extend(piece.bytes);
                let kept = if there == bytes { sync::PieceKept::Whole } else { sync::PieceKept::Part(there.len() as u64) };
                site.piece_kept(now(4), ticket, kept).unwrap()
            }
            Step::Answer(answer) => answer,
            other => panic!("{other:?}"),
        };
        hear(&mut phone, &heard);
        let next = phone.wishes().into_iter().find(|wish| matches!(wish, Wish::PushBlob { .. }));
        assert_eq!(next, (there != bytes).then_some(Wish::PushBlob { hash, offset: 5, of: 12 }));
    }
    assert_eq!(phone.standing(0), Standing::OnThisDevice);
    let ask = push(&mut phone, &log, 0);
    let (acknowledged, _) = answer(&mut site, &phone, ask);
    hear(&mut phone, &acknowledged);
    assert_eq!(phone.standing(0), Standing::OnSiteRecord);
    assert_eq!(site.missing().count(), 0);
}

#[test]
fn strangers_and_other_jobs_get_nothing() {
    let mut site = site();
    let hello = |job: &str| Ask { v: 1, job: job.into(), no: 1, since: 0, what: What::Hello {} };
    let refused = |step: Step| match step {
        Step::Answer(Answer { said: Said::Refused(refusal), .. }) => refusal,
        other => panic!("{other:?}"),
    };
    assert_eq!(refused(site.ask(now(1), &key(7).public().device(), hello(JOB))), Refusal::NotPaired {});
    let other = hello("017f22e2-79b0-7cc3-98c4-dc0c0c07398e");
    assert!(matches!(refused(site.ask(now(1), device(1).id(), other)), Refusal::Wrong(_)));
}

#[test]
fn sizes_are_refused_just_above_their_limits() {
    let entries = |count: usize, bytes: usize| vec![vec![b'x'; bytes]; count];
    for (count, bytes, fits) in [(3, 10, 3), (600, 10, MOST_ENTRIES), (3, 900_000, 2), (1, 5_000_000, 1)] {
        let mut all = entries(count, bytes);
        limits::fit(&mut all);
        assert_eq!(all.len(), fits, "{count} of {bytes} bytes");
    }
    let offer = |count: usize| Ask { v: 1, job: JOB.into(), no: 1, since: 0, what: What::Offer { blobs: vec![Hash::of(b"x"); count] } };
    assert!(offer(limits::MOST_OFFERED).check().is_ok());
    assert!(offer(limits::MOST_OFFERED + 1).check().is_err());
    assert!(Ask::read(&vec![b' '; MOST_MESSAGE_BYTES + 1]).is_err());
    assert!(Ask::read("[".repeat(1_000_000).as_bytes()).is_err(), "nested without end");
    let ask = offer(2);
    assert_eq!(Ask::read(&ask.to_bytes()).unwrap(), ask);
}

/// Messages of every kind, as bytes.
fn messages() -> Vec<Vec<u8>> {
    let (mut phone, mut site, log) = acknowledged();
    let mut all = Vec::new();
    let hash = Hash::of(b"blob");
    let pull = Wish::Pull { log: phone.id().into(), from: 0 };
    for (wish, handed) in [
        (Wish::Hello, Handed::Nothing),
        (Wish::Push { from: 0, count: 2 }, Handed::Entries(log.clone())),
        (Wish::Offer { blobs: vec![hash] }, Handed::Nothing),
        (Wish::PushBlob { hash, offset: 0, of: 4 }, Handed::Bytes(b"blob".to_vec())),
        (pull, Handed::Nothing),
        (Wish::PullBlob { hash, offset: 0 }, Handed::Nothing),
    ] {
        let ask = phone.ask(now(8), &wish, handed).unwrap();
        all.push(ask.to_bytes());
        let answer = match site.ask(now(9), phone.id(), ask) {
            Step::Answer(answer) => answer,
            Step::ReadEntries(reading) => site.entries_read(now(9), reading, Some(log.clone())),
            Step::ReadPiece(reading) => site.piece_read(now(9), reading, Some(b"blob".to_vec())),
            Step::KeepPiece { ticket, .. } => site.piece_kept(now(9), ticket, sync::PieceKept::Whole).unwrap(),
            other => panic!("{other:?}"),
        };
        all.push(answer.to_bytes());
    }
    all
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// A message with some bytes changed, cut or a number made huge is refused or does no harm; nothing panics.
    #[test]
    fn hostile_messages_do_no_harm(which in 0usize..12, changes in prop::collection::vec((any::<u16>(), any::<u8>()), 0..4), cut in any::<u16>(), huge in any::<bool>()) {
        let mut bytes = messages()[which].clone();
        if huge {
            let text = String::from_utf8(bytes).unwrap();
            bytes = text.replacen(":0", ":18446744073709551615", 1).replacen(":2", ":1099511627776", 1).into_bytes();
        }
        for (place, byte) in changes {
            let place = usize::from(place) % bytes.len();
            bytes[place] = byte;
        }
        if cut % 3 == 0 {
            bytes.truncate(usize::from(cut) % bytes.len());
        }
        let (mut phone, mut site, log) = acknowledged();
        if let Ok(ask) = Ask::read(&bytes) {
            match site.ask(now(10), phone.id(), ask) {
                Step::ReadEntries(reading) => drop(site.entries_read(now(11), reading, Some(log))),
                Step::Keep { .. } => prop_assert!(false, "nothing new was sent"),
                _ => {}
            }
        }
        if let Ok(answer) = Answer::read(&bytes) {
            phone.answer(now(12), &answer);
            prop_assert_eq!(phone.standing(1), Standing::OnSiteRecord);
        }
    }

    #[test]
    fn any_bytes_are_read_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let _ = (Ask::read(&bytes), Answer::read(&bytes), SignedHead::read(&bytes));
    }
}
