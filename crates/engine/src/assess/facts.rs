//! What is known of a detail, in the names rules use.

use super::{Context, floor};
use job::Job;
use room::nouns::{Construction, Membrane, MembraneForm, PenetrationKind, WaterStopAt, ZoneKind};
use room::register::{Detail, DetailKind, Face};
use room::sheet::DataSheet;
use rules::{Applicable, Facts, fact};

/// Facts of one detail; what the job does not say stays unknown.
pub fn of(context: &Context<'_>, detail: &Detail) -> Facts {
    let job = context.job;
    let facts = wall_facts(job, detail, membrane_facts(job, &context.applicable, detail, Facts::new()));
    let facts = shower_facts(context, detail, facts);
    thing_facts(job, detail, facts)
}

/// The data sheet of the membrane a detail belongs to.
pub fn sheet_of<'a>(job: &'a Job, detail: &Detail) -> Option<&'a DataSheet> {
    let id = membrane_of(job, detail)?.data_sheet.as_ref()?;
    job.sheets.iter().find(|sheet| sheet.id == *id)
}

/// The membrane a detail belongs to: by its layer, or the only one there is.
fn membrane_of<'a>(job: &'a Job, detail: &Detail) -> Option<&'a Membrane> {
    match detail.layer {
        Some(layer) => job.room.membranes.iter().find(|membrane| membrane.layer == layer),
        None if job.room.membranes.len() == 1 => job.room.membranes.first(),
        None => None,
    }
}

fn membrane_facts(job: &Job, applicable: &Applicable, detail: &Detail, facts: Facts) -> Facts {
    let form = membrane_of(job, detail).map(|membrane| match membrane.form {
        MembraneForm::Liquid => "liquid",
        MembraneForm::Sheet => "sheet",
        MembraneForm::Board => "board",
    });
    let sheet = sheet_of(job, detail);
    let class = sheet.and_then(|sheet| applicable.membrane_class(sheet.elongation_percent?));
    facts
        .word(fact::MEMBRANE_FORM, form)
        .word(fact::MEMBRANE_BASE, sheet.and_then(|sheet| sheet.base.as_deref()))
        .word(fact::MEMBRANE_CLASS, class.as_ref().map(|class| class.id.as_str()))
        .is(fact::BONDED, form.map(|form| form == "liquid"))
}

fn wall_facts(job: &Job, detail: &Detail, facts: Facts) -> Facts {
    let on = match detail.face {
        Face::Floor => "floor",
        Face::Wall(_) | Face::Recess(..) => "wall",
    };
    let id = match &detail.face {
        Face::Wall(id) => Some(id),
        Face::Recess(recess, _) => job.room.recesses.iter().find(|r| r.id == *recess).map(|r| &r.wall),
        Face::Floor => None,
    };
    let wall = id.and_then(|id| job.room.walls.iter().find(|wall| wall.id == *id));
    let construction = wall.and_then(|wall| wall.construction).map(|construction| match construction {
        Construction::TimberFrame => "timber-frame",
        Construction::SteelFrame => "steel-frame",
        Construction::Block => "block",
        Construction::Concrete => "concrete",
    });
    facts
        .word(fact::ON, on)
        .word(fact::SUBSTRATE, wall.and_then(|wall| wall.substrate.as_deref()))
        .word(fact::CONSTRUCTION, construction)
        .is(fact::OUTER_WALL, wall.and_then(|wall| wall.outer))
}

fn shower_facts(context: &Context<'_>, detail: &Detail, facts: Facts) -> Facts {
    let job = context.job;
    let showers: Vec<_> = job.room.zones.iter().filter(|zone| zone.kind == ZoneKind::Shower).collect();
    let zone = detail.zone_id.as_ref().and_then(|id| job.room.zones.iter().find(|zone| zone.id == *id));
    let shower = zone.filter(|zone| zone.kind == ZoneKind::Shower).or(if showers.len() == 1 { showers.first().copied() } else { None });
    let edge = shower.map(|shower| {
        if !job.room.hobs.is_empty() {
            "hob"
        } else if shower.set_down_mm.is_some() {
            "set-down"
        } else {
            "level"
        }
    });
    // A room without any outlet drawn may only be unfinished; with one, each part of the floor drains to it or does not.
    let region = floor::region_of(&context.regions, detail).filter(|_| !job.room.outlets.is_empty());
    let outlets_drain_the_floor = region.map(|region| !region.outlets.is_empty());
    facts
        .is(fact::ENCLOSED, shower.and_then(|shower| shower.enclosed))
        .word(fact::SHOWER_EDGE, edge)
        .is(fact::OUTLET_PRESENT, outlets_drain_the_floor)
}

fn thing_facts(job: &Job, detail: &Detail, facts: Facts) -> Facts {
    let at = detail.at.map(|at| match at {
        WaterStopAt::Screen => "screen",
        WaterStopAt::ShowerEdge => "shower-edge",
        WaterStopAt::Door => "door",
    });
    let has_screen = detail.at.map(|at| at == WaterStopAt::Screen);
    let penetration = (detail.kind == DetailKind::Penetration).then(|| job.room.penetrations.iter().find(|p| p.id == detail.of)).flatten();
    let goes_through = penetration.map(|p| match p.kind {
        PenetrationKind::Pipe => "pipe",
        PenetrationKind::Tap => "tap",
        PenetrationKind::Waste => "waste",
        PenetrationKind::Cable => "cable",
        PenetrationKind::Fixing => "fixing",
    });
    let heated = (detail.kind == DetailKind::FloorField && job.room.heated_areas.is_empty()).then_some(false);
    facts
        .word(fact::WATER_STOP_AT, at)
        .is(fact::HAS_SCREEN, has_screen)
        .word(fact::PENETRATION, goes_through)
        .number(fact::DIAMETER_MM, penetration.and_then(|p| p.diameter_mm))
        .is(fact::HEATED, heated)
}
