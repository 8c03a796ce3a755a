//! How far a junction opens, what that does to the film over its bond breaker, and whether the data sheet lets it.
//!
//! The bodies that meet come from the drawn room ([`bodies`]); the movement and the strain from [`fixing::movement`]. How wide a
//! bond breaker must be for its class of membrane is the pack's question and judged elsewhere. Here a verdict stands only where
//! a data sheet limits the strain or the movement; else the strain is told beside the width that was read.

mod bodies;

use super::found::Found;
use super::limits::sheet_source;
use super::lines::{self, Judged};
use super::{Context, Line, facts};
use bodies::Joint;
use fixing::movement::{self, Allowed, Input, Output};
use job::plan::{HoldPoint, Owed};
use measure::{Judgement, Limit, Measured};
use room::register::{Detail, DetailKind};
use room::sheet::DataSheet;

/// The quantity of a bond breaker's width.
pub const WIDTH: &str = "bond_breaker_width_mm";
/// Share of the elongation at break that a film over a joint is told beside: common practice, no source. No verdict rests on it.
const SHARE: f64 = 0.25;

/// The narrowest width read at a detail for a hold point.
fn narrowest<'a>(context: &'a Context<'_>, hold: &HoldPoint, detail: &Detail) -> Option<&'a Found> {
    let here = context
        .found
        .iter()
        .filter(|found| found.quantity == WIDTH && found.detail == detail.id && found.hold_point.as_ref().is_none_or(|at| *at == hold.id));
    here.min_by(|a, b| a.reading.measured.value().total_cmp(&b.reading.measured.value()))
}

/// The movement of a junction with the width read over it.
fn computed(context: &Context<'_>, hold: &HoldPoint, detail: &Detail) -> Option<(Joint, Output)> {
    let read = narrowest(context, hold, detail)?;
    let joint = bodies::of(context.job, detail)?;
    let sheet = facts::sheet_of(context.job, detail);
    let input = Input {
        parts: joint.parts.clone(),
        unbonded_mm: Some(read.reading.measured.value()),
        u_unbonded_mm: Some(read.reading.measured.u()),
        grade: Some(read.reading.grade),
        allowed: sheet.and_then(allowed),
        decision: Some(lines::decision(context, WIDTH)),
        ..Input::default()
    };
    // Whatever keeps it from being computed (a width out of all bounds) is no verdict.
    let output = movement::run(&input).ok()?;
    Some((joint, output))
}

/// The strain a data sheet allows.
fn allowed(sheet: &DataSheet) -> Option<Allowed> {
    let strain = sheet.strain_percent_max?;
    Some(Allowed { strain_percent: Some(strain), source: Some(sheet_source(sheet)), ..Allowed::default() })
}

/// What a data sheet's limits on strain and movement make of a junction; nothing where it sets none.
pub fn by_sheet<'a>(context: &Context<'_>, owed: &'a Owed, hold: &HoldPoint, detail: &'a Detail) -> Vec<Judged<'a>> {
    let Some(sheet) = facts::sheet_of(context.job, detail) else { return Vec::new() };
    if sheet.strain_percent_max.is_none() && sheet.joint_movement_mm_max.is_none() {
        return Vec::new();
    }
    let Some((_, output)) = computed(context, hold, detail) else { return Vec::new() };
    let from = narrowest(context, hold, detail).map(|read| read.from.clone());
    let rule = format!("data-sheet/{}", sheet.id);
    let strain = sheet.strain_percent_max.map(|_| Judgement { rule: rule.clone(), ..output.judgement.clone() });
    let most = sheet.joint_movement_mm_max.and_then(|most| {
        let moves = Measured::new(output.movement_mm, output.u_movement_mm).ok()?;
        let says = format!("the joint may open {} mm; the data sheet lets the film bridge {most} mm", told(moves.value(), moves.u()));
        let decision = lines::decision(context, WIDTH);
        let judgement = Judgement::of(moves, Limit::AtMost(most), decision, "mm", &rule, &sheet_source(sheet), &says);
        Some(Judgement { grade: output.judgement.grade, ..judgement })
    });
    strain
        .into_iter()
        .chain(most)
        .map(|judgement| Judged { owed, detail: Some(detail), judgement, settle: None, from: from.clone() })
        .collect()
}

/// What a line on a bond breaker's width does not say by itself: how far the joint opens and what that does to the film, at the
/// detail of the line where the film is strained most.
pub fn explains(context: &Context<'_>, hold: &HoldPoint, line: &Line) -> Option<String> {
    let owed = hold.owed.iter().find(|owed| owed.id == line.owed)?;
    if owed.quantity.as_deref() != Some(WIDTH) {
        return None;
    }
    let details = context.job.register.iter().filter(|detail| line.details.contains(&detail.id) && is_junction(detail));
    let all = details.filter_map(|detail| Some((detail, computed(context, hold, detail)?)));
    let strain = |output: &Output| output.strain_percent.unwrap_or(f64::INFINITY);
    let (detail, (joint, output)) = all.max_by(|a, b| strain(&a.1.1).total_cmp(&strain(&b.1.1)))?;
    Some(words(&joint, &output, facts::sheet_of(context.job, detail)))
}

/// What was taken as usual for the joints of a hold point's junctions.
pub fn notes(context: &Context<'_>, hold: &HoldPoint) -> Vec<String> {
    let layers = context.job.membrane_layers();
    let owed: Vec<&Owed> = hold.owed.iter().filter(|owed| owed.quantity.as_deref() == Some(WIDTH)).collect();
    let details = context.job.register.iter().filter(|detail| {
        is_junction(detail) && owed.iter().any(|owed| owed.speaks_of(detail, &layers)) && narrowest(context, hold, detail).is_some()
    });
    let assumed: std::collections::BTreeSet<String> =
        details.filter_map(|detail| bodies::of(context.job, detail)).flat_map(|joint| joint.assumed).collect();
    if assumed.is_empty() {
        return Vec::new();
    }
    let assumed: Vec<String> = assumed.into_iter().collect();
    let stands = "the strain over a bond breaker is told as if the film slid freely over all of it; the width its class of membrane asks \
                  stands whatever the strain";
    vec![stands.into(), format!("movement of junctions, taken as usual where job.json does not say (movement): {}", assumed.join("; "))]
}

fn is_junction(detail: &Detail) -> bool {
    matches!(detail.kind, DetailKind::WallFloorJunction | DetailKind::WallWallJunction)
}

/// A movement with its uncertainty as people write it (k = 2).
fn told(value: f64, u: f64) -> String {
    format!("{value:.1} ± {:.1}", 2.0 * u)
}

fn words(joint: &Joint, output: &Output, sheet: Option<&DataSheet>) -> String {
    let opening = |part: &movement::PartOut| if part.either_way { part.opens_mm.abs() } else { part.opens_mm };
    let parts: Vec<String> =
        output.parts.iter().filter(|part| opening(part) >= 0.005).map(|part| format!("{} {:.2}", part.id, opening(part))).collect();
    let moves = told(output.movement_mm, output.u_movement_mm);
    let mut says = format!("the joint may open {moves} mm ({}; {})", parts.join(", "), joint.over);
    says += &match (output.strain_percent, output.u_strain_percent) {
        (Some(strain), Some(u)) => format!(": over this width the film stretches {} %", told(strain, u)),
        _ => ": a fully bonded film is torn by any opening".into(),
    };
    if let Some(required) = output.required_mm.zip(output.allowed_percent) {
        says += &format!("; {:.0} mm keep it to the {} % the data sheet allows", required.0.ceil(), required.1);
    } else if let Some(elongation) = sheet.and_then(|sheet| sheet.elongation_percent).filter(|elongation| *elongation > 0.0) {
        let width = 100.0 * output.movement_mm / (SHARE * elongation);
        let at = sheet.and_then(|sheet| sheet.elongation_tested_at_c).map_or(String::new(), |at| format!(" at {at} °C"));
        says += &format!(
            "; new and free it breaks at {elongation} %{at}, and {:.0} mm keep it to a quarter of that (common practice, no source)",
            width.ceil()
        );
    }
    says
}
