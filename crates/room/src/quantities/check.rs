//! Problems of the input.

use super::{Input, Material, Rate, Size, SizeUnit};
use crate::register::DetailKind;
use crate::validate::within;
use measure::{Bounds, Problem, Problems};
use std::collections::BTreeSet;

const SIZES: usize = 20_000;
const MATERIALS: usize = 500;
/// Kinds of one material; the register has some thirty.
const KINDS: usize = 200;
const SIZE: Bounds = Bounds { min: 0.0, max: 100_000.0, unit: "of its unit" };
const M2_PER_L: Bounds = Bounds { min: 0.05, max: 100.0, unit: "m2 to the litre" };
const COATS: Bounds = Bounds { min: 1.0, max: 10.0, unit: "coats" };
const STRIP_MM: Bounds = Bounds { min: 1.0, max: 5_000.0, unit: "mm" };
const FILM_UM: Bounds = Bounds { min: 1.0, max: 50_000.0, unit: "µm" };
const SOLIDS: Bounds = Bounds { min: 0.05, max: 1.0, unit: "(a share; 55 % is 0.55)" };
const SECTION_MM: Bounds = Bounds { min: 0.5, max: 500.0, unit: "mm" };
const RUNS: Bounds = Bounds { min: 1.0, max: 10.0, unit: "runs" };
const PIECES: Bounds = Bounds { min: 1.0, max: 1_000.0, unit: "pieces" };
const U_SHARE: Bounds = Bounds { min: 0.0, max: 1.0, unit: "(a share; 5 % is 0.05)" };
const WASTE: Bounds = Bounds { min: 0.0, max: 3.0, unit: "(a share; 10 % is 0.1)" };
const PACK: Bounds = Bounds { min: 0.001, max: 100_000.0, unit: "of the material's unit" };
const AMOUNT: Bounds = Bounds { min: 0.0, max: 10_000_000.0, unit: "of the material's unit" };

pub fn check(input: &Input) -> Problems {
    let mut problems = Problems::new();
    if input.materials.is_empty() {
        problems.push(Problem::at("materials", "none", "at least one"));
    }
    for (field, count, most) in [("sizes", input.sizes.len(), SIZES), ("materials", input.materials.len(), MATERIALS)] {
        if count > most {
            problems.push(Problem::at(field, "too many", format!("at most {most}")).value(count));
        }
    }
    if !problems.is_empty() {
        return problems;
    }
    unique("sizes", input.sizes.iter().map(|size| &size.id), &mut problems);
    unique("materials", input.materials.iter().map(|material| &material.id), &mut problems);
    for (i, size) in input.sizes.iter().enumerate() {
        check_size(&format!("sizes[{i}]"), size, &mut problems);
    }
    let kinds: BTreeSet<&str> = input.sizes.iter().map(|size| size.kind.as_str()).collect();
    let ids: BTreeSet<&str> = input.sizes.iter().map(|size| size.id.as_str()).collect();
    for (i, material) in input.materials.iter().enumerate() {
        let at = format!("materials[{i}]");
        on(&at, material, &kinds, &ids, &mut problems);
        amounts(&at, material, &mut problems);
        if let Some(rate) = material.rate {
            check_rate(&format!("{at}.rate"), rate, &mut problems);
            fits(&at, material, rate, &input.sizes, &mut problems);
        }
    }
    problems
}

fn unique<'a>(list: &str, ids: impl Iterator<Item = &'a String>, problems: &mut Problems) {
    let mut seen = BTreeSet::new();
    for (i, id) in ids.enumerate() {
        if !seen.insert(id) {
            problems.push(Problem::at(format!("{list}[{i}].id"), "another one has this name", "names are unique").value(id));
        }
    }
}

fn check_size(at: &str, size: &Size, problems: &mut Problems) {
    if let Some(value) = size.value {
        within(problems, format!("{at}.value"), value, SIZE);
    }
    if let Some(u) = size.u {
        within(problems, format!("{at}.u"), u, SIZE);
    }
}

/// A word that is neither among the sizes nor a kind of the register is a slip of the pen, which would order nothing.
fn on(at: &str, material: &Material, kinds: &BTreeSet<&str>, ids: &BTreeSet<&str>, problems: &mut Problems) {
    let on = &material.on;
    if on.kinds.is_empty() && on.ids.is_empty() {
        problems.push(Problem::at(format!("{at}.on"), "nothing it goes on", "kinds of detail, or sizes by name"));
    }
    if on.kinds.len() > KINDS || on.ids.len() > SIZES {
        problems.push(Problem::at(format!("{at}.on"), "too many", format!("at most {KINDS} kinds and {SIZES} names")));
        return;
    }
    for (i, kind) in on.kinds.iter().enumerate().filter(|(_, kind)| !kinds.contains(kind.as_str()) && !registered(kind)) {
        let what = "no such kind among the sizes or in the detail register";
        problems.push(Problem::at(format!("{at}.on.kinds[{i}]"), what, "a kind of detail, such as floor-field").value(kind));
    }
    for (i, id) in on.ids.iter().enumerate().filter(|(_, id)| !ids.contains(id.as_str())) {
        problems.push(Problem::at(format!("{at}.on.ids[{i}]"), "no size of that name", "the id of one of the sizes").value(id));
    }
}

fn registered(kind: &str) -> bool {
    kind == super::from_room::UPTURN || serde_json::from_value::<DetailKind>(kind.into()).is_ok()
}

fn amounts(at: &str, material: &Material, problems: &mut Problems) {
    for (field, value, bounds) in [
        ("width_mm", material.width_mm, STRIP_MM),
        ("u_rate_share", material.u_rate_share, U_SHARE),
        ("waste_share", material.waste_share, WASTE),
        ("pack", material.pack, PACK),
    ] {
        if let Some(value) = value {
            within(problems, format!("{at}.{field}"), value, bounds);
        }
    }
    for (field, amount) in [("delivered", material.delivered), ("used", material.used)] {
        if let Some(amount) = amount {
            within(problems, format!("{at}.{field}.amount"), amount.amount, AMOUNT);
            within(problems, format!("{at}.{field}.u"), amount.u, AMOUNT);
        }
    }
}

fn check_rate(at: &str, rate: Rate, problems: &mut Problems) {
    let mut inside = |field: &str, value: f64, bounds: Bounds| within(problems, format!("{at}.{field}"), value, bounds);
    let strip = match rate {
        Rate::Spread { m2_per_l, coats, strip_mm } => {
            inside("m2_per_l", m2_per_l, M2_PER_L);
            inside("coats", f64::from(coats), COATS);
            strip_mm
        }
        Rate::Film { dry_um, solids_by_volume, coats, strip_mm } => {
            inside("dry_um", dry_um, FILM_UM);
            inside("solids_by_volume", solids_by_volume, SOLIDS);
            inside("coats", f64::from(coats), COATS);
            strip_mm
        }
        Rate::Sheet { strip_mm } => strip_mm,
        Rate::Length { runs } => {
            inside("runs", f64::from(runs), RUNS);
            None
        }
        Rate::Section { width_mm, depth_mm } => {
            inside("width_mm", width_mm, SECTION_MM);
            inside("depth_mm", depth_mm, SECTION_MM);
            None
        }
        Rate::Pieces { each } => {
            inside("each", f64::from(each), PIECES);
            None
        }
    };
    if let Some(strip) = strip {
        inside("strip_mm", strip, STRIP_MM);
    }
}

/// A rate must speak of every size it is put on; the first it does not is named.
fn fits(at: &str, material: &Material, rate: Rate, sizes: &[Size], problems: &mut Problems) {
    let Some(size) = material.on.covered(sizes).into_iter().find(|size| rate.per(size.unit).is_none()) else { return };
    let unit = match size.unit {
        SizeUnit::M2 => "an area",
        SizeUnit::M => "a length",
        SizeUnit::Each => "a number of places",
    };
    let coated = matches!(rate, Rate::Spread { .. } | Rate::Film { .. } | Rate::Sheet { .. });
    let right = match (coated, size.unit) {
        (true, SizeUnit::M) => "strip_mm, the width along it",
        (true, _) => "areas, or lengths with strip_mm",
        (false, _) if matches!(rate, Rate::Pieces { .. }) => "sizes counted in each",
        (false, _) => "sizes in m",
    };
    problems.push(Problem::at(format!("{at}.rate"), format!("{} is {unit}, of which this rate does not speak", size.id), right));
}
