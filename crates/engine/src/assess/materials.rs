//! What the room needs of each material, what was delivered and what was used.

use super::Context;
use super::coats::{LayerLog, sheet_of_layer};
use super::litres;
use job::Job;
use job::coats::Delivery;
use room::nouns::MembraneLayer;
use room::quantities::{self, Amount, Input, Material, MaterialOut, Rate, Way, What};
use room::sheet::DataSheet;
use serde::Deserialize;
use std::collections::BTreeMap;

/// What is usually added for waste.
#[derive(Deserialize)]
struct Waste {
    shares: BTreeMap<String, f64>,
}

/// Every material of the room; and what is worth knowing of them.
pub fn all(context: &Context<'_>) -> (Vec<MaterialOut>, Vec<String>) {
    let job = context.job;
    let mut input = shared(job, quantities::of_room(&job.room, &job.sheets));
    if input.materials.is_empty() {
        return (Vec::new(), Vec::new());
    }
    let waste = usual_waste();
    let mut taken: Vec<&str> = Vec::new();
    for material in &mut input.materials {
        let layers = layers_of(job, material);
        let sheet = layers.first().and_then(|layer| sheet_of_layer(job, *layer));
        material.waste_share = sheet.and_then(|sheet| own_waste(sheet, material.what)).or(waste.get(&word(material.what)).copied());
        material.pack = sheet.and_then(|sheet| pack(sheet, material.what));
        let deliveries: Vec<&Delivery> = deliveries(job, material, sheet).collect();
        taken.extend(deliveries.iter().map(|delivery| delivery.id.as_str()));
        material.delivered = sum(&deliveries, material, sheet);
        material.used = used(job, &context.logs, material, &layers, sheet);
    }
    let Ok(output) = quantities::run(&input) else { return (Vec::new(), Vec::new()) };
    let mut notes = notes(&output.materials);
    let stray = job.coats.deliveries.iter().filter(|delivery| !taken.contains(&delivery.id.as_str()));
    notes.extend(stray.map(|delivery| {
        format!("coats.json: delivery {} ({}): neither the drawing nor a data sheet says where it goes", delivery.id, word(delivery.what))
    }));
    (output.materials, notes)
}

/// Both membranes of one data sheet come out of the same pails: one material for both.
fn shared(job: &Job, mut input: Input) -> Input {
    let sheets = [MembraneLayer::UnderScreed, MembraneLayer::OverScreed].map(|layer| sheet_of_layer(job, layer));
    let [Some(lower), Some(upper)] = sheets else { return input };
    if lower.id != upper.id {
        return input;
    }
    let mut kept: Vec<Material> = Vec::new();
    for material in std::mem::take(&mut input.materials) {
        let same = kept.iter_mut().find(|one| {
            one.what == material.what && one.rate == material.rate && one.width_mm == material.width_mm && one.on.kinds == material.on.kinds
        });
        match same {
            Some(one) if one.on.layer.is_some() && material.on.layer.is_some() => {
                one.on.layer = None;
                one.id = one.id.split(", ").next().unwrap_or_default().into();
            }
            _ => kept.push(material),
        }
    }
    Input { materials: kept, ..input }
}

/// Membranes a material goes into.
fn layers_of(job: &Job, material: &Material) -> Vec<MembraneLayer> {
    material.on.layer.map_or_else(|| job.membrane_layers(), |layer| vec![layer])
}

fn usual_waste() -> BTreeMap<String, f64> {
    let waste: Waste = serde_json::from_str(include_str!("../../../../packs/waste.json")).expect("an embedded file: a test reads it");
    waste.shares
}

fn own_waste(sheet: &DataSheet, what: What) -> Option<f64> {
    (what == What::Membrane).then_some(sheet.waste_share)?
}

fn pack(sheet: &DataSheet, what: What) -> Option<f64> {
    (what == What::Membrane).then_some(sheet.pack_l)?
}

/// Deliveries of a material: of its kind, and of its data sheet where they say one.
fn deliveries<'a>(job: &'a Job, material: &Material, sheet: Option<&'a DataSheet>) -> impl Iterator<Item = &'a Delivery> + use<'a> {
    let what = material.what;
    let fits = move |delivery: &&Delivery| {
        let same = delivery.data_sheet.as_ref().is_none_or(|id| sheet.is_some_and(|sheet| sheet.id == *id));
        // What comes by its width need only have the width, whoever made it.
        delivery.what == what && (same || !matches!(what, What::Membrane))
    };
    job.coats.deliveries.iter().filter(fits)
}

/// Sum of deliveries in the unit of the material; nothing where none came or one cannot be counted.
fn sum(deliveries: &[&Delivery], material: &Material, sheet: Option<&DataSheet>) -> Option<Amount> {
    let amounts: Option<Vec<f64>> = deliveries.iter().map(|delivery| in_unit(delivery, material, sheet)).collect();
    let amounts = amounts.filter(|amounts| !amounts.is_empty())?;
    Some(Amount { amount: amounts.iter().sum(), u: 0.0 })
}

fn in_unit(delivery: &Delivery, material: &Material, sheet: Option<&DataSheet>) -> Option<f64> {
    match material.rate {
        Some(Rate::Length { .. }) => {
            // Narrower than asked is not what was asked.
            let wide_enough = material.width_mm.is_none_or(|asked| delivery.width_mm.is_none_or(|width| width >= asked));
            Some(if wide_enough { delivery.m? } else { 0.0 })
        }
        Some(Rate::Sheet { .. }) => Some(delivery.m? * delivery.width_mm? / 1e3),
        Some(Rate::Pieces { .. }) => delivery.pieces,
        _ => delivery.litres.or_else(|| Some(delivery.kg? / sheet?.density_kg_l?)),
    }
}

/// What of a liquid was used here.
fn used(job: &Job, logs: &[LayerLog<'_>], material: &Material, layers: &[MembraneLayer], sheet: Option<&DataSheet>) -> Option<Amount> {
    let of = |log: &LayerLog<'_>| match material.what {
        What::Membrane => Some(litres::share(job, logs, log, sheet)),
        What::Primer => Some(litres::share_of_primer(job, logs, log)),
        _ => None,
    };
    let shares = logs.iter().filter(|log| layers.contains(&log.layer)).filter_map(of).filter(|share| !share.coats.is_empty());
    let shares: Vec<litres::Share> = shares.collect();
    let known = !shares.is_empty() && shares.iter().all(|share| share.unknown.is_empty());
    let u = shares.iter().fold(0.0, |u, share| measure::math::hypot(u, share.u_litres));
    known.then(|| Amount { amount: shares.iter().map(|share| share.litres).sum(), u })
}

/// Amounts that do not agree, said as what they are.
fn notes(materials: &[MaterialOut]) -> Vec<String> {
    let mut notes = Vec::new();
    for material in materials {
        for compared in material.compared.iter().filter(|compared| compared.way == Way::Less) {
            notes.push(format!("{}: {}; no proof of anything, a thing to look into", material.id, compared.why));
        }
    }
    notes
}

/// A material as files write it.
fn word(what: What) -> String {
    match serde_json::to_value(what) {
        Ok(serde_json::Value::String(word)) => word,
        // A kind without fields is written as a word.
        _ => String::new(),
    }
}

/// Whether any amount disagrees, so that the table is worth printing.
pub fn disagree(materials: &[MaterialOut]) -> bool {
    materials.iter().flat_map(|material| &material.compared).any(|compared| compared.way == Way::Less)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_material_has_a_usual_waste() {
        let waste = usual_waste();
        for what in [What::Membrane, What::Primer, What::BondBreaker, What::Tape, What::Fabric, What::Sealant, What::Piece] {
            assert!(waste.get(&word(what)).is_some_and(|share| (0.0..1.0).contains(share)), "{what:?}");
        }
    }
}
