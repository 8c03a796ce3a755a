//! Everything a coat log names is there, and what it says can be.

use super::{Area, Coat, CoatLog, CoatWhat, Delivery, Used};
use crate::faces::{Faces, TAPE_MM};
use crate::folder::{check_time, did_you_mean};
use crate::pattern;
use measure::{Bounds, Problem, Problems};
use room::quantities::What;
use room::register::Detail;
use room::sheet::DataSheet;
use std::collections::BTreeMap;

const SHARE: Bounds = Bounds { min: 0.0, max: 1.0, unit: "(a share; 5 % is 0.05)" };

/// What a log is held against.
pub struct Known<'a> {
    pub faces: &'a Faces<'a>,
    pub register: &'a [Detail],
    pub sheets: &'a [DataSheet],
}

/// Every problem of a coat log.
pub fn check(log: &CoatLog, known: &Known<'_>) -> Problems {
    let mut problems = Problems::new();
    unique("deliveries", log.deliveries.iter().map(|d| d.id.as_str()), &mut problems);
    unique("coats", log.coats.iter().map(|c| c.id.as_str()), &mut problems);
    unique("used", log.used.iter().map(|u| u.id.as_str()), &mut problems);
    for (i, delivery) in log.deliveries.iter().enumerate() {
        check_delivery(&format!("deliveries[{i}]"), delivery, known, &mut problems);
    }
    for (i, coat) in log.coats.iter().enumerate() {
        check_coat(&format!("coats[{i}]"), coat, log, known, &mut problems);
    }
    for (i, used) in log.used.iter().enumerate() {
        check_used(&format!("used[{i}]"), used, log, &mut problems);
    }
    problems
}

fn unique<'a>(list: &str, ids: impl Iterator<Item = &'a str>, problems: &mut Problems) {
    let mut first: BTreeMap<&str, usize> = BTreeMap::new();
    for (i, id) in ids.enumerate() {
        if id.trim().is_empty() {
            problems.push(Problem::at(format!("{list}[{i}].id"), "has no name", "a name of its own"));
        } else if let Some(before) = first.insert(id, i) {
            let what = format!("the same name as {list}[{before}]");
            problems.push(Problem::at(format!("{list}[{i}].id"), what, "names are unique").value(id));
            first.insert(id, before);
        }
    }
}

fn check_delivery(at: &str, delivery: &Delivery, known: &Known<'_>, problems: &mut Problems) {
    check_sheet(&format!("{at}.data_sheet"), delivery.data_sheet.as_deref(), known, problems);
    if let Some(expiry) = &delivery.expiry
        && expiry.parse::<jiff::civil::Date>().is_err()
    {
        let right = "year-month-day, such as 2024-11-30; where a month is printed, its last day";
        problems.push(Problem::at(format!("{at}.expiry"), "not a date", right).value(expiry));
    }
    if let Some(time) = &delivery.at {
        check_time(&format!("{at}.at"), time, problems);
    }
    for (name, amount) in [("litres", delivery.litres), ("kg", delivery.kg), ("m", delivery.m), ("pieces", delivery.pieces)] {
        not_negative(&format!("{at}.{name}"), amount, problems);
    }
}

fn check_coat(at: &str, coat: &Coat, log: &CoatLog, known: &Known<'_>, problems: &mut Problems) {
    check_sheet(&format!("{at}.data_sheet"), coat.data_sheet.as_deref(), known, problems);
    check_time(&format!("{at}.start"), &coat.start, problems);
    if let Some(end) = &coat.end {
        check_time(&format!("{at}.end"), end, problems);
        let times = (coat.start.parse::<jiff::Timestamp>(), end.parse::<jiff::Timestamp>());
        if matches!(times, (Ok(start), Ok(end)) if end < start) {
            problems.push(Problem::at(format!("{at}.end"), "the coat ends before it starts", format!("after {}", coat.start)).value(end));
        }
    }
    for (i, area) in coat.areas.iter().enumerate() {
        check_area(&format!("{at}.areas[{i}]"), area, coat, known, problems);
    }
    for (i, batch) in coat.batches.iter().enumerate() {
        check_batch(&format!("{at}.batches[{i}]"), batch, coat, log, problems);
    }
    if let Some(share) = coat.thinning.filter(|share| !SHARE.contains(*share)) {
        problems.push(Problem::at(format!("{at}.thinning"), "out of bounds", SHARE.words()).value(share));
    }
}

fn check_batch(field: &str, batch: &str, coat: &Coat, log: &CoatLog, problems: &mut Problems) {
    let Some(delivery) = log.deliveries.iter().find(|delivery| delivery.id == batch) else {
        let right = did_you_mean_of(batch, log.deliveries.iter().map(|d| d.id.as_str()), "the id of a delivery");
        problems.push(Problem::at(field, "the log has no such delivery", right).value(batch));
        return;
    };
    let (due, word) = match coat.what {
        CoatWhat::Primer => (What::Primer, "primer"),
        CoatWhat::Coat => (What::Membrane, "membrane"),
    };
    // Fabric and sealant may go into a coat; what must agree is the liquid it is of.
    let liquid = matches!(delivery.what, What::Primer | What::Membrane);
    if liquid && delivery.what != due || matches!(delivery.what, What::BondBreaker) {
        problems.push(Problem::at(field, "a delivery of something else", format!("a delivery of {word}")).value(batch));
    }
}

fn check_area(at: &str, area: &Area, coat: &Coat, known: &Known<'_>, problems: &mut Problems) {
    let drawn = area.on.is_some() || !area.polygon_mm.is_empty();
    let listed = !area.details.is_empty();
    if drawn == listed {
        let what = if drawn { "given both ways" } else { "nothing says where" };
        problems.push(Problem::at(at, what, "either details, or on and polygon_mm"));
        return;
    }
    for (i, text) in area.details.iter().enumerate() {
        check_details(&format!("{at}.details[{i}]"), text, coat, known, problems);
    }
    if drawn {
        check_drawn(at, area, known, problems);
    }
}

fn check_details(field: &str, text: &str, coat: &Coat, known: &Known<'_>, problems: &mut Problems) {
    let spoken: Vec<&Detail> = known.register.iter().filter(|detail| pattern::speaks_of(text, detail)).collect();
    if spoken.is_empty() {
        let names = known.register.iter().flat_map(|detail| [detail.id.as_str(), detail.group.as_str()]);
        problems
            .push(Problem::at(field, "speaks of no detail of this room", did_you_mean(intake::words::nearest(text, names))).value(text));
    } else if spoken.iter().all(|detail| detail.layer.is_some_and(|layer| layer != coat.layer)) {
        problems.push(Problem::at(field, "speaks of details of the other membrane only", "details of the coat's layer").value(text));
    }
}

fn check_drawn(at: &str, area: &Area, known: &Known<'_>, problems: &mut Problems) {
    let Some(on) = &area.on else {
        problems.push(Problem::at(format!("{at}.on"), "the face is missing", "floor, a wall's id, or recess/<its id>/<side>"));
        return;
    };
    let face = match known.faces.named(&format!("{at}.on"), on) {
        Ok(face) => face,
        Err(problem) => {
            problems.push(problem);
            return;
        }
    };
    let field = format!("{at}.polygon_mm");
    room::validate::ring(&area.polygon_mm, &field, problems);
    if let Some(corner) = area.polygon_mm.iter().find(|corner| known.faces.beyond(&face, **corner)) {
        let right = format!("corners on the face, or up to {TAPE_MM} mm over its edge");
        problems.push(Problem::at(field, "the area reaches beyond its face", right).value(format!("{corner:?}")));
    }
}

fn check_used(at: &str, used: &Used, log: &CoatLog, problems: &mut Problems) {
    if used.coats.is_empty() {
        problems.push(Problem::at(format!("{at}.coats"), "names no coat", "the ids of the coats it went into"));
    }
    for (i, id) in used.coats.iter().enumerate() {
        let field = format!("{at}.coats[{i}]");
        if !log.coats.iter().any(|coat| coat.id == *id) {
            let right = did_you_mean_of(id, log.coats.iter().map(|c| c.id.as_str()), "the id of a coat");
            problems.push(Problem::at(field, "the log has no such coat", right).value(id));
        } else if used.coats[..i].contains(id) {
            problems.push(Problem::at(field, "named twice", "each coat once").value(id));
        }
    }
    if let Some(time) = &used.at {
        check_time(&format!("{at}.at"), time, problems);
    }
    check_amount(at, used, problems);
}

/// One way of giving what was used, whole, and nothing below zero.
fn check_amount(at: &str, used: &Used, problems: &mut Problems) {
    let amounts = [
        ("litres", used.litres),
        ("kg", used.kg),
        ("pails", used.pails),
        ("opening_l", used.opening_l),
        ("delivered_l", used.delivered_l),
        ("closing_l", used.closing_l),
        ("opening_pails", used.opening_pails),
        ("delivered_pails", used.delivered_pails),
        ("closing_pails", used.closing_pails),
        ("elsewhere_m2", used.elsewhere_m2),
    ];
    for (name, amount) in amounts {
        not_negative(&format!("{at}.{name}"), amount, problems);
    }
    let pails = used.pails.is_some() || used.opening_pails.is_some() || used.delivered_pails.is_some() || used.closing_pails.is_some();
    if pails && used.pail_l.is_none() {
        problems.push(Problem::at(format!("{at}.pail_l"), "pails are counted, but nobody says what one holds", "the litres of one pail"));
    }
    for (name, litres, count) in [
        ("opening", used.opening_l, used.opening_pails),
        ("delivered", used.delivered_l, used.delivered_pails),
        ("closing", used.closing_l, used.closing_pails),
    ] {
        if litres.is_some() && count.is_some() {
            let right = format!("{name}_l or {name}_pails");
            problems.push(Problem::at(format!("{at}.{name}_pails"), "given in litres and in pails", right));
        }
    }
    let opening = used.opening_l.is_some() || used.opening_pails.is_some();
    let closing = used.closing_l.is_some() || used.closing_pails.is_some();
    let delivered = used.delivered_l.is_some() || used.delivered_pails.is_some();
    let stock = opening || closing || delivered;
    let ways = [used.litres.is_some(), used.kg.is_some(), used.pails.is_some(), stock].into_iter().filter(|way| *way).count();
    let right = "one of: litres, kg, pails with pail_l, or opening_l and closing_l (with delivered_l if any came)";
    match ways {
        0 => problems.push(Problem::at(at, "nothing says how much", right)),
        1 if stock && !(opening && closing) => problems.push(Problem::at(at, "the stock before or after is missing", right)),
        1 => {}
        _ => problems.push(Problem::at(at, "given in more than one way", right)),
    }
    if let (Some(before), Some(closing)) = (used.before_l(), used.closing())
        && closing > before
    {
        let right = format!("at most {before} L, the stock before and what came");
        problems.push(Problem::at(format!("{at}.closing_l"), "more is left than there was", right).value(closing));
    }
}

fn not_negative(field: &str, amount: Option<f64>, problems: &mut Problems) {
    if let Some(amount) = amount.filter(|amount| !(amount.is_finite() && *amount >= 0.0)) {
        problems.push(Problem::at(field, "an amount below zero", "zero or more").value(amount));
    }
}

fn check_sheet(field: &str, id: Option<&str>, known: &Known<'_>, problems: &mut Problems) {
    if let Some(id) = id.filter(|id| !known.sheets.iter().any(|sheet| sheet.id == *id)) {
        let right = did_you_mean_of(id, known.sheets.iter().map(|s| s.id.as_str()), "the id of a sheet in data-sheets.json");
        problems.push(Problem::at(field, "no such data sheet", right).value(id));
    }
}

fn did_you_mean_of<'a>(name: &str, known: impl Iterator<Item = &'a str>, or: &str) -> String {
    intake::words::nearest(name, known).map_or_else(|| or.into(), |near| format!("did you mean {near}?"))
}
