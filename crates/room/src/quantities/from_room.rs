//! The input from a room and its data sheets.

use super::{Input, Material, On, Rate, Size, SizeUnit, What};
use crate::Room;
use crate::nouns::{Membrane, MembraneForm, MembraneLayer};
use crate::register::{Detail, DetailKind, Face, Place, derive};
use crate::sheet::DataSheet;
use std::collections::BTreeMap;

/// Kind of the strip of wall under the upper edge of a membrane that is only turned up there: the register has its edge but
/// no field of it.
pub(super) const UPTURN: &str = "upturn";

/// What to order for a room: the sizes of its whole register, the membranes by layer with what their data sheets say, the
/// primer under them where a sheet gives its spread rate, the bond breaker of their junctions, the tape over the joints of
/// boards, and the sealant of its joints.
///
/// What neither room nor sheet says stays unknown: the height of an upturn, a sheet's spread rate, the sections of sealant.
/// Waste, packs and what came and went are the user's to add. An upturn's height is taken over the benchmark.
pub fn of_room(room: &Room, sheets: &[DataSheet]) -> Input {
    let details = derive(room);
    let mut sizes: Vec<Size> = details.iter().map(size).collect();
    sizes.extend(details.iter().filter_map(|edge| upturn(edge, &details)));
    let mut layers: BTreeMap<MembraneLayer, Vec<&Membrane>> = BTreeMap::new();
    for membrane in &room.membranes {
        layers.entry(membrane.layer).or_default().push(membrane);
    }
    let mut materials = Vec::new();
    for (layer, membranes) in layers {
        let sheet = one_sheet(&membranes, sheets);
        materials.push(membrane(layer, &membranes, sheet));
        materials.extend(primer(layer, sheet));
        materials.push(bond_breaker(layer, sheet));
        materials.extend(tape(layer, &membranes));
    }
    if details.iter().any(|detail| detail.kind == DetailKind::SealantJoint) {
        materials.push(material("sealant", What::Sealant, &[DetailKind::SealantJoint], None, None));
    }
    Input { sizes, materials }
}

fn size(detail: &Detail) -> Size {
    let (unit, value) = match detail.place {
        Place::Patch(_) => (SizeUnit::M2, detail.area_m2),
        Place::Run(_) => (SizeUnit::M, detail.length_m),
        Place::Point(_) => (SizeUnit::Each, Some(1.0)),
    };
    Size { id: detail.id.clone(), kind: word(detail.kind), layer: detail.layer, unit, value, u: None }
}

/// The strip of wall under an upper edge, where no field of the wall covers it.
fn upturn(edge: &Detail, details: &[Detail]) -> Option<Size> {
    if edge.kind != DetailKind::UpturnTermination {
        return None;
    }
    let (Face::Wall(_), Place::Run(line)) = (&edge.face, &edge.place) else { return None };
    let (first, last) = (line.first()?, line.last()?);
    let along = (first[0] + last[0]) / 2.0;
    let field = |detail: &&Detail| detail.kind == DetailKind::WallField && detail.face == edge.face && detail.layer == edge.layer;
    if details.iter().filter(field).any(|field| stands_at(&field.place, along)) {
        return None;
    }
    let area = edge.level_mm.zip(edge.length_m).map(|(level, length_m)| {
        let height_mm = level.value().max(0.0);
        (height_mm / 1000.0 * length_m, level.u() / 1000.0 * length_m)
    });
    Some(Size {
        id: format!("{}/strip", edge.id),
        kind: UPTURN.into(),
        layer: edge.layer,
        unit: SizeUnit::M2,
        value: area.map(|a| a.0),
        u: area.map(|a| a.1),
    })
}

/// Whether a field of the wall stands there along it.
fn stands_at(place: &Place, along: f64) -> bool {
    let Place::Patch(patch) = place else { return false };
    patch.iter().filter_map(|rings| rings.first()).any(|ring| {
        let (from, to) = ring.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), p| (lo.min(p[0]), hi.max(p[0])));
        from < along && along < to
    })
}

/// The sheet of all membranes of a layer, where they have one in common.
fn one_sheet<'a>(membranes: &[&Membrane], sheets: &'a [DataSheet]) -> Option<&'a DataSheet> {
    let id = membranes.first()?.data_sheet.as_ref()?;
    let same = membranes.iter().all(|membrane| membrane.data_sheet.as_ref() == Some(id));
    sheets.iter().find(|sheet| same && sheet.id == *id)
}

fn membrane(layer: MembraneLayer, membranes: &[&Membrane], sheet: Option<&DataSheet>) -> Material {
    let liquid = membranes.iter().all(|membrane| membrane.form == MembraneForm::Liquid);
    let rolled = membranes.iter().all(|membrane| membrane.form != MembraneForm::Liquid);
    let rate = if liquid {
        sheet.and_then(litres)
    } else {
        // Liquid and sheet on one layer cover nobody knows how much each.
        rolled.then_some(Rate::Sheet { strip_mm: None })
    };
    over_fields("membrane", What::Membrane, layer, rate)
}

/// One coat of primer where the sheet has one.
fn primer(layer: MembraneLayer, sheet: Option<&DataSheet>) -> Option<Material> {
    let m2_per_l = sheet?.primer_m2_per_l?;
    Some(over_fields("primer", What::Primer, layer, Some(Rate::Spread { m2_per_l, coats: 1, strip_mm: None })))
}

/// A material over all a membrane covers: fields, recesses, upturns.
fn over_fields(name: &str, what: What, layer: MembraneLayer, rate: Option<Rate>) -> Material {
    let kinds = [DetailKind::FloorField, DetailKind::WallField, DetailKind::RecessFace];
    let mut material = material(name, what, &kinds, Some(layer), rate);
    material.on.kinds.push(UPTURN.into());
    material
}

/// Tape over the joints of boards, and where boards meet floor and each other.
fn tape(layer: MembraneLayer, membranes: &[&Membrane]) -> Option<Material> {
    let boards = membranes.iter().any(|membrane| membrane.form == MembraneForm::Board);
    let kinds = [DetailKind::Lap, DetailKind::WallFloorJunction, DetailKind::WallWallJunction];
    boards.then(|| material("tape", What::Tape, &kinds, Some(layer), Some(Rate::Length { runs: 1 })))
}

/// By the spread rate of the sheet, or by its film and solids.
fn litres(sheet: &DataSheet) -> Option<Rate> {
    let coats = sheet.coats?;
    let by_spread = sheet.spread_m2_per_l.map(|m2_per_l| Rate::Spread { m2_per_l, coats, strip_mm: None });
    by_spread.or_else(|| {
        let dry_um = sheet.film_um_mean.or(sheet.film_um_min)?;
        Some(Rate::Film { dry_um, solids_by_volume: sheet.solids_by_volume?, coats, strip_mm: None })
    })
}

fn bond_breaker(layer: MembraneLayer, sheet: Option<&DataSheet>) -> Material {
    let kinds = [DetailKind::WallFloorJunction, DetailKind::WallWallJunction];
    let mut material = material("bond breaker", What::BondBreaker, &kinds, Some(layer), Some(Rate::Length { runs: 1 }));
    material.width_mm = sheet.and_then(|sheet| sheet.bond_breaker_mm_min);
    material
}

fn material(name: &str, what: What, kinds: &[DetailKind], layer: Option<MembraneLayer>, rate: Option<Rate>) -> Material {
    let id = match layer {
        Some(MembraneLayer::UnderScreed) => format!("{name}, under-screed"),
        Some(MembraneLayer::OverScreed) => format!("{name}, over-screed"),
        None => name.into(),
    };
    let on = On { kinds: kinds.iter().map(|kind| word(*kind)).collect(), ids: Vec::new(), layer };
    Material { id, what, width_mm: None, on, rate, u_rate_share: None, waste_share: None, pack: None, delivered: None, used: None }
}

/// A kind as it stands in files.
fn word(kind: DetailKind) -> String {
    match serde_json::to_value(kind) {
        Ok(serde_json::Value::String(word)) => word,
        // A kind without fields is written as a word.
        _ => String::new(),
    }
}
