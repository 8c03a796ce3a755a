//! Strata: details of one kind of place where one would look at once.

use crate::assess::water::Water;
use job::Job;
use room::nouns::{MembraneLayer, ZoneKind};
use room::register::{Detail, DetailKind, Face};

/// The one face of a recess that water stands on.
const SILL: &str = "sill";

/// One stratum of one membrane.
pub struct Stratum {
    /// In trade words: "floor, shower", "recess sill".
    pub words: String,
    /// Its details, by their place in the register.
    pub details: Vec<usize>,
    /// Litres a day each of them sees.
    pub detail_litres: Vec<f64>,
    /// Whether it is a field: floor, wall or face of a recess.
    pub is_field: bool,
    /// Area of its details, as far as known.
    pub area_m2: f64,
    /// Litres a day at the wettest of them, or in its zone where none of them has water of its own.
    pub litres: f64,
}

/// The strata of a membrane in the order of the register; a detail that names no layer belongs to every one.
pub fn of(job: &Job, layer: MembraneLayer, water: &Water) -> Vec<Stratum> {
    let mut strata: Vec<Stratum> = Vec::new();
    let of_layer = |detail: &Detail| detail.layer.is_none_or(|own| own == layer);
    for (i, detail) in job.register.iter().enumerate().filter(|(_, detail)| of_layer(detail)) {
        let words = words(job, detail);
        let litres = litres(job, water, detail);
        let area = detail.area_m2.unwrap_or(0.0);
        match strata.iter_mut().find(|stratum| stratum.words == words) {
            Some(stratum) => {
                stratum.details.push(i);
                stratum.detail_litres.push(litres);
                stratum.area_m2 += area;
                stratum.litres = stratum.litres.max(litres);
            }
            None => strata.push(Stratum {
                words,
                details: vec![i],
                detail_litres: vec![litres],
                is_field: is_field(detail.kind),
                area_m2: area,
                litres,
            }),
        }
    }
    strata
}

/// Floor, wall, face of a recess.
pub fn is_field(kind: DetailKind) -> bool {
    matches!(kind, DetailKind::FloorField | DetailKind::WallField | DetailKind::RecessFace)
}

fn litres(job: &Job, water: &Water, detail: &Detail) -> f64 {
    let zone = || job.register.iter().filter(|other| other.zone == detail.zone && other.zone_id == detail.zone_id);
    let of_zone = || zone().filter_map(|other| water.of(&other.id)).fold(0.0, f64::max);
    water.of(&detail.id).unwrap_or_else(of_zone)
}

/// What a stratum is called. Where a comb cannot be believed the words say so by what they name ([`film::thickness::no_comb`]).
fn words(job: &Job, detail: &Detail) -> String {
    use DetailKind as K;
    let zone = zone(detail);
    let recess =
        |what: &str| if job.room.recesses.len() > 1 { format!("{what} of recess {}", detail.of) } else { format!("recess {what}") };
    match detail.kind {
        K::FloorField => format!("floor, {zone}"),
        K::WallField => format!("walls, {zone}"),
        K::WallFloorJunction | K::WallWallJunction => format!("junctions, {zone}"),
        K::InternalCorner | K::ExternalCorner => format!("corners at the floor, {zone}"),
        K::OutletFlange => format!("outlet flange, {}", detail.of),
        K::ChannelFlangeSide | K::ChannelFlangeCorner | K::ChannelEnd | K::ChannelStrip | K::ChannelBodyJoint => {
            format!("flange of channel {}", detail.of)
        }
        K::SpigotToRiser | K::ChannelLevel | K::GrateToTile => format!("outlet {}", detail.of),
        K::WaterStop => format!("water stop, {}", detail.of),
        K::Hob => format!("hob, {}", detail.of),
        K::Threshold => format!("threshold, {}", detail.of),
        K::UpturnTermination => format!("upturns, {zone}"),
        K::Penetration => format!("penetrations, {zone}"),
        K::RecessFace if matches!(&detail.face, Face::Recess(_, side) if side == SILL) => recess("sill"),
        K::RecessFace => recess("faces but the sill"),
        K::RecessEdge => recess("corners"),
        K::MovementJoint | K::SealantJoint => "joints".into(),
        K::Crack => "cracks".into(),
        K::Lap | K::SystemMeeting => "laps and meetings".into(),
        K::DrainagePath => "drainage paths".into(),
    }
}

/// The zone by its drawn name, or by its kind where that says the same or it has none.
fn zone(detail: &Detail) -> String {
    let kind = match detail.zone {
        ZoneKind::Shower => "shower",
        ZoneKind::Splash => "splash zone",
        ZoneKind::Dry => "dry area",
    };
    detail.zone_id.as_deref().filter(|id| !kind.contains(*id)).unwrap_or(kind).into()
}
