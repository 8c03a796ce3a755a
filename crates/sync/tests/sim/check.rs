//! What must hold, whatever happened.

use super::{Disk, JOB, Now, World};
use ledger::{Event, Hash, Verifier};
use std::collections::BTreeMap;

/// What was said to be kept is kept.
pub fn promises(world: &mut World) {
    let mut broken = Vec::new();
    for (d, phone) in world.phones.iter().enumerate() {
        let id = phone.id();
        let (here, there) = (phone.disk.size(&id), world.site_disk.size(&id));
        if here < phone.said_here {
            broken.push(format!("device {d} said that {} events were kept here and has {here}", phone.said_here));
        }
        if there < phone.said_on_site {
            broken.push(format!("device {d} said that {} events were on the site record, which has {there}", phone.said_on_site));
        }
        if let Some(hash) = phone.blobs_on_site.iter().find(|hash| !world.site_disk.blobs.contains_key(hash)) {
            broken.push(format!("device {d} said that blob {hash} was on the site record"));
        }
    }
    broken.into_iter().for_each(|why| world.fail(why));
}

/// The measured offset of a device's clock is right within its bound.
pub fn clock(world: &mut World, d: usize, now: Now) {
    let (phone, site) = (&world.phones[d], world.site_now());
    if let (Some(measured), None) = (phone.machine.clock(), phone.clock_set) {
        let off = measured.offset_ms - (site.wall_ms - now.wall_ms) as f64;
        if off.abs() > measured.bound_at(now.wall_ms) + 1.0 {
            world.fail(format!("device {d}: its clock's offset is {off} ms from the truth, {measured:?}"));
        }
    }
}

/// After healing.
pub fn all(world: &mut World) {
    if world.failure.is_some() {
        return;
    }
    promises(world);
    let found = [site_is_sound(world), nothing_doubled(&world.site_disk), all_equal(world), revoked_ends(world), clocks_told(world)];
    found.into_iter().flatten().for_each(|why| world.fail(why));
}

/// The site's record verifies by itself, with each device's last known head as an anchor.
fn site_is_sound(world: &World) -> Option<String> {
    let mut verifier = Verifier::new();
    for (path, bytes) in world.site_disk.files(&world.site_key.public().device()) {
        if !verifier.feed(&path, &bytes) {
            return Some(format!("{path} is no file of a record"));
        }
    }
    for (d, phone) in world.phones.iter().enumerate() {
        if let Some(known) = phone.machine.known() {
            verifier.anchor(ledger::Anchor::signed(format!("device {d}"), known.clone()).unwrap());
        }
    }
    let report = verifier.finish();
    (!report.is_sound()).then(|| format!("the site's record is not sound: {report:?}"))
}

fn nothing_doubled(disk: &Disk) -> Option<String> {
    disk.ids().into_iter().find(|(_, count)| *count != 1).map(|(id, count)| format!("event {id} stands {count} times"))
}

/// Every device that stayed has what the site has, and the site has what every device made.
fn all_equal(world: &World) -> Option<String> {
    let site = &world.site_disk;
    // What a device lost when it was copied back, nobody can send.
    let gone = |log: &str, hash: &Hash| {
        world.phones.iter().any(|phone| phone.copied_back && phone.id() == log && !phone.disk.blobs.contains_key(hash))
    };
    for (log, _, blobs) in site.entries() {
        if let Some(hash) = blobs.iter().find(|hash| !site.blobs.contains_key(hash) && !gone(log, hash)) {
            return Some(format!("blob {hash} never came to the site"));
        }
    }
    for (d, phone) in world.phones.iter().enumerate() {
        let id = phone.id();
        if site.revoked.contains_key(&id) {
            continue;
        }
        let forked = phone.copied_back && phone.machine.forked().is_some();
        if forked && site.evidence.iter().all(|evidence| evidence.device != id) {
            return Some(format!("device {d} continued its log twice and nothing shows it"));
        }
        let mut logs: BTreeMap<&String, &Vec<Vec<u8>>> = site.logs.iter().collect();
        let mut own: BTreeMap<&String, &Vec<Vec<u8>>> = phone.disk.logs.iter().collect();
        if forked {
            logs.remove(&id);
            own.remove(&id);
        }
        if logs != own {
            let sizes = |logs: BTreeMap<&String, &Vec<Vec<u8>>>| logs.values().map(|log| log.len()).collect::<Vec<_>>();
            return Some(format!("device {d} has other logs than the site: {:?}, {:?}", sizes(own), sizes(logs)));
        }
        // A device whose log was continued twice does not take over what the other copy added.
        let due = site.entries().filter(|(log, ..)| !forked || **log != id).flat_map(|(.., blobs)| blobs);
        if let Some(hash) = due.into_iter().find(|hash| phone.disk.blobs.get(hash) != site.blobs.get(hash)) {
            return Some(format!("device {d} has another blob {hash} than the site, or none"));
        }
    }
    None
}

/// Of a revoked device the site has the events it had then, and no other; they are the device's own.
fn revoked_ends(world: &World) -> Option<String> {
    for (device, revoked) in &world.site_disk.revoked {
        let phone = world.phones.iter().find(|phone| phone.id() == *device).expect("one of them");
        let kept = world.site_disk.logs.get(device).map_or(&[][..], Vec::as_slice);
        let made = phone.disk.logs.get(device).map_or(&[][..], Vec::as_slice);
        if kept.len() as u64 != revoked.kept || !made.starts_with(kept) {
            return Some(format!("{} events of a device revoked at {} are there", kept.len(), revoked.kept));
        }
    }
    None
}

/// Whoever's clock was set after it had been measured was told.
fn clocks_told(world: &World) -> Option<String> {
    let silent = world.phones.iter().position(|phone| {
        let revoked = world.site_disk.revoked.contains_key(&phone.id());
        phone.clock_set == Some(true) && !phone.clock_set_told && !revoked
    });
    silent.map(|d| format!("device {d}'s clock was set and nobody was told"))
}

/// Pairs of edits of one field that had not seen each other; both stand in the site's record, and so in every other.
pub fn conflicts(world: &World) -> usize {
    let logs = world.site_disk.logs.iter().filter(|(log, _)| *log != JOB);
    let events: Vec<Event> = logs.flat_map(|(_, entries)| entries.iter().map(|entry| Event::read(entry).unwrap())).collect();
    let field = |event: &Event| event.payload.get().split('"').nth(3).map(str::to_owned);
    let saw = |a: &Event, b: &Event| a.seen.get(&b.device).is_some_and(|size| *size > b.seq);
    let pairs = events.iter().enumerate().flat_map(|(i, a)| events[..i].iter().map(move |b| (a, b)));
    pairs.filter(|(a, b)| a.device != b.device && field(a) == field(b) && !saw(a, b) && !saw(b, a)).count()
}
