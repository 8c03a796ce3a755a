//! Layers, membranes and their data sheets, and lines drawn on floor or wall.

use super::floor::{check_line, sound_line};
use super::names::{Names, Surface, unknown};
use super::{OUTSIDE_MM, measured, round, within, within_if};
use crate::Room;
use crate::geometry::Edge;
use crate::nouns::{Cover, FLOOR, Layer, Membrane};
use crate::sheet::DataSheet;
use measure::{Bounds, PointMm, Problem, Problems, bounds};

/// Width of a joint, lap or framing member.
const WIDTH_MM: Bounds = Bounds { min: 0.0, max: 1_000.0, unit: "mm" };
const CRACK_MM: Bounds = Bounds { min: 0.0, max: 100.0, unit: "mm" };
const DEPTH_MM: Bounds = Bounds { min: 0.0, max: 1_000.0, unit: "mm" };
const DIAMETER_MM: Bounds = Bounds { min: 0.5, max: 500.0, unit: "mm" };
/// A place on a wall may lie this far outside it.
const OFF_WALL_MM: f64 = 5.0;

pub fn check(room: &Room, names: &Names, problems: &mut Problems) {
    build_up(room, names, problems);
    for (i, membrane) in room.membranes.iter().enumerate() {
        check_membrane(&format!("membranes[{i}]"), membrane, names, room, problems);
    }
    for (i, meeting) in room.meetings.iter().enumerate() {
        let at = format!("meetings[{i}]");
        line_on(&at, "line_mm", &format!("meeting {}", meeting.id), &meeting.on, &meeting.line_mm, names, room, problems);
        within_if(problems, format!("{at}.overlap_mm"), meeting.overlap_mm, WIDTH_MM);
    }
    for (i, joint) in room.joints.iter().enumerate() {
        let at = format!("joints[{i}]");
        line_on(&at, "line_mm", &format!("joint {}", joint.id), &joint.on, &joint.line_mm, names, room, problems);
        within_if(problems, format!("{at}.width_mm"), joint.width_mm, WIDTH_MM);
    }
    for (i, crack) in room.cracks.iter().enumerate() {
        let at = format!("cracks[{i}]");
        line_on(&at, "line_mm", &format!("crack {}", crack.id), &crack.on, &crack.line_mm, names, room, problems);
        within_if(problems, format!("{at}.width_mm"), crack.width_mm, CRACK_MM);
    }
    for (i, service) in room.services.iter().enumerate() {
        let at = format!("services[{i}]");
        line_on(&at, "path_mm", &format!("service {}", service.id), &service.on, &service.path_mm, names, room, problems);
        within_if(problems, format!("{at}.diameter_mm"), service.diameter_mm, DIAMETER_MM);
        within_if(problems, format!("{at}.depth_mm"), service.depth_mm, DEPTH_MM);
        within_if(problems, format!("{at}.u_mm"), service.u_mm, bounds::U_MM);
    }
    for (i, framing) in room.framing.iter().enumerate() {
        let at = format!("framing[{i}]");
        within_if(problems, format!("{at}.width_mm"), framing.width_mm, WIDTH_MM);
        within_if(problems, format!("{at}.u_mm"), framing.u_mm, bounds::U_MM);
        if let Some((edge, line)) = names.wall(&format!("{at}.wall"), &framing.wall, problems) {
            let field = format!("{at}.line_mm");
            on_wall(&field, &format!("framing {}", framing.id), &framing.line_mm, edge, line, room, problems);
        }
    }
}

fn build_up(room: &Room, names: &Names, problems: &mut Problems) {
    let Some(build_up) = &room.build_up else { return };
    for (i, zone) in build_up.zones.iter().enumerate() {
        let at = format!("build_up.zones[{i}]");
        names.zone(&format!("{at}.zone"), &zone.zone, problems);
        if let Some(first) = build_up.zones[..i].iter().position(|z| z.zone == zone.zone) {
            let what = format!("the zone's layers are given twice, first as build_up.zones[{first}]");
            problems.push(Problem::at(format!("{at}.zone"), what, "once a zone").value(&zone.zone));
        }
        layers(&format!("{at}.layers"), &zone.layers, problems);
    }
}

fn layers(field: &str, layers: &[Layer], problems: &mut Problems) {
    for (i, layer) in layers.iter().enumerate() {
        measured(problems, &format!("{field}[{i}].thickness_mm"), layer.thickness_mm, bounds::LAYER_MM);
    }
    for (i, pair) in layers.windows(2).enumerate() {
        if pair[1].kind <= pair[0].kind {
            let what = if pair[1].kind == pair[0].kind { "the same layer twice" } else { "lies below the layer before it" };
            let right = "from below: substrate, under-screed-membrane, screed, over-screed-membrane, bed, tile";
            problems.push(Problem::at(format!("{field}[{}].kind", i + 1), what, right).value(word(&pair[1].kind)));
        }
    }
}

/// A noun's word as it stands in the file.
fn word(value: &impl serde::Serialize) -> String {
    serde_json::to_value(value).ok().and_then(|v| v.as_str().map(str::to_owned)).unwrap_or_default()
}

fn check_membrane(at: &str, membrane: &Membrane, names: &Names, room: &Room, problems: &mut Problems) {
    measured(problems, &format!("{at}.fillet_radius_mm"), membrane.fillet_radius_mm, WIDTH_MM);
    for (i, cover) in membrane.covers.iter().enumerate() {
        check_cover(&format!("{at}.covers[{i}]"), cover, names, room, problems);
    }
    for (i, lap) in membrane.laps.iter().enumerate() {
        let at = format!("{at}.laps[{i}]");
        line_on(&at, "line_mm", &format!("lap {}", lap.id), &lap.on, &lap.line_mm, names, room, problems);
        within_if(problems, format!("{at}.width_mm"), lap.width_mm, WIDTH_MM);
    }
}

fn check_cover(at: &str, cover: &Cover, names: &Names, room: &Room, problems: &mut Problems) {
    let Some(surface) = names.surface(&format!("{at}.on"), &cover.on, true, problems) else { return };
    if let Some(zone) = &cover.zone {
        names.zone(&format!("{at}.zone"), zone, problems);
        if cover.on != FLOOR {
            problems.push(Problem::at(format!("{at}.zone"), "a zone is part of the floor", "from_mm, to_mm, top_mm on a wall").value(zone));
        }
    }
    let Surface::Wall(edge, line) = surface else {
        if cover.from_mm.is_some() || cover.to_mm.is_some() || cover.top_mm.is_some() {
            problems.push(Problem::at(at, "from_mm, to_mm and top_mm belong to a wall", format!("leave them out on {}", cover.on)));
        }
        return;
    };
    let length = line.length_mm();
    let (from, to) = (cover.from_mm.unwrap_or(0.0), cover.to_mm.unwrap_or(length));
    if !(from >= -OFF_WALL_MM && to <= length + OFF_WALL_MM && from < to) {
        let right = format!("from_mm below to_mm, between 0 and {}", round(length));
        problems.push(Problem::at(at, "not a part of its wall", right).value(format!("{from} to {to}")));
    }
    if let Some(top) = cover.top_mm {
        let most = super::top_mm(room, edge).unwrap_or(bounds::WALL_HEIGHT_MM.max);
        within(problems, format!("{at}.top_mm"), top.value(), Bounds { min: bounds::LEVEL_MM.min, max: most, unit: "mm" });
        within(problems, format!("{at}.top_mm.u"), top.u(), bounds::U_MM);
    }
}

/// A line on the floor or on a wall lies on it.
fn line_on(at: &str, part: &str, what: &str, on: &str, line: &[PointMm], names: &Names, room: &Room, problems: &mut Problems) {
    let field = format!("{at}.{part}");
    match names.surface(&format!("{at}.on"), on, false, problems) {
        Some(Surface::Floor) => check_line(&field, what, line, OUTSIDE_MM, room, problems),
        Some(Surface::Wall(edge, wall)) => on_wall(&field, what, line, edge, wall, room, problems),
        Some(Surface::Recess) | None => {}
    }
}

fn on_wall(field: &str, what: &str, line: &[PointMm], edge: usize, wall: Edge, room: &Room, problems: &mut Problems) {
    if !sound_line(field, line, problems) {
        return;
    }
    let top = super::top_mm(room, edge).unwrap_or(bounds::WALL_HEIGHT_MM.max);
    let length = wall.length_mm();
    let off = |p: &&PointMm| p[0] < -OFF_WALL_MM || p[0] > length + OFF_WALL_MM || p[1] > top + OFF_WALL_MM;
    if let Some(p) = line.iter().find(off) {
        let right = format!("[along, height] within 0 to {} and up to {}", round(length), round(top));
        problems.push(Problem::at(field, format!("{what} leaves its wall"), right).value(super::place(*p)));
    }
}

/// Problems of a room's data sheets, and of the membranes that name one which is not there. Field paths of the sheets
/// start at `data_sheets[i]`.
pub fn check_sheets(room: &Room, sheets: &[DataSheet]) -> Problems {
    let mut problems = Problems::new();
    for (i, sheet) in sheets.iter().enumerate() {
        let at = format!("data_sheets[{i}]");
        if sheet.id.trim().is_empty() {
            problems.push(Problem::at(format!("{at}.id"), "has no name", "the name membranes give as data_sheet"));
        }
        if let Some(first) = sheets[..i].iter().position(|s| s.id == sheet.id) {
            let what = format!("the same name as data_sheets[{first}]");
            problems.push(Problem::at(format!("{at}.id"), what, "names are unique").value(&sheet.id));
        }
        check_sheet(&at, sheet, &mut problems);
    }
    for (i, membrane) in room.membranes.iter().enumerate() {
        if let Some(id) = &membrane.data_sheet
            && !sheets.iter().any(|s| s.id == *id)
        {
            problems.push(unknown(&format!("membranes[{i}].data_sheet"), "data sheet", id, sheets.iter().map(|s| s.id.as_str())));
        }
    }
    problems
}

fn check_sheet(at: &str, s: &DataSheet, problems: &mut Problems) {
    const PERCENT: Bounds = Bounds { min: 0.0, max: 5_000.0, unit: "%" };
    const SHARE: Bounds = Bounds { min: 0.01, max: 1.0, unit: "(a share; 60 % is 0.6)" };
    const FILM_UM: Bounds = Bounds { min: 10.0, max: 20_000.0, unit: "µm" };
    const SPREAD: Bounds = Bounds { min: 0.01, max: 100.0, unit: "m²/L" };
    const DENSITY: Bounds = Bounds { min: 0.5, max: 5.0, unit: "kg/L" };
    const THINNING: Bounds = Bounds { min: 0.0, max: 1.0, unit: "(a share; 5 % is 0.05)" };
    const HOURS: Bounds = Bounds { min: 0.0, max: 10_000.0, unit: "h" };
    const KELVIN: Bounds = Bounds { min: 0.0, max: 20.0, unit: "K" };
    const COATS: Bounds = Bounds { min: 1.0, max: 20.0, unit: "coats" };
    let one_by_one = [
        ("elongation_percent", s.elongation_percent, PERCENT),
        ("solids_by_volume", s.solids_by_volume, SHARE),
        ("coats", s.coats.map(f64::from), COATS),
        ("film_um_min", s.film_um_min, FILM_UM),
        ("film_um_mean", s.film_um_mean, FILM_UM),
        ("film_um_max", s.film_um_max, FILM_UM),
        ("coat_um_dry", s.coat_um_dry, FILM_UM),
        ("density_kg_l", s.density_kg_l, DENSITY),
        ("thinning_max", s.thinning_max, THINNING),
        ("spread_m2_per_l", s.spread_m2_per_l, SPREAD),
        ("primer_m2_per_l", s.primer_m2_per_l, SPREAD),
        ("air_c_min", s.air_c_min, bounds::TEMPERATURE_C),
        ("air_c_max", s.air_c_max, bounds::TEMPERATURE_C),
        ("surface_c_min", s.surface_c_min, bounds::TEMPERATURE_C),
        ("surface_c_max", s.surface_c_max, bounds::TEMPERATURE_C),
        ("rh_max", s.rh_max, bounds::RH),
        ("dew_margin_k_min", s.dew_margin_k_min, KELVIN),
        ("bond_breaker_mm_min", s.bond_breaker_mm_min, WIDTH_MM),
        ("strain_percent_max", s.strain_percent_max, PERCENT),
        ("joint_movement_mm_max", s.joint_movement_mm_max, WIDTH_MM),
        ("elongation_tested_at_c", s.elongation_tested_at_c, bounds::TEMPERATURE_C),
        ("lap_mm_min", s.lap_mm_min, WIDTH_MM),
    ];
    for (field, value, bounds) in one_by_one {
        within_if(problems, format!("{at}.{field}"), value, bounds);
    }
    if let Some(acceptance) = &s.film_acceptance {
        let mut asked = measure::Check::default();
        acceptance.check(&mut asked, FILM_UM);
        for problem in asked.problems.problems {
            let field = format!("{at}.film_{}", problem.field);
            problems.push(Problem { field, ..problem });
        }
    }
    let mut ordered = vec![
        (format!("{at}.film_um_mean"), s.film_um_min, s.film_um_mean),
        (format!("{at}.film_um_max"), s.film_um_mean.or(s.film_um_min), s.film_um_max),
        (format!("{at}.air_c_max"), s.air_c_min, s.air_c_max),
        (format!("{at}.surface_c_max"), s.surface_c_min, s.surface_c_max),
    ];
    for (i, w) in s.windows.iter().enumerate() {
        let at = format!("{at}.windows[{i}]");
        within(problems, format!("{at}.at_c"), w.at_c, bounds::TEMPERATURE_C);
        let hours = [
            ("recoat_h_min", w.recoat_h_min),
            ("recoat_h_max", w.recoat_h_max),
            ("flood_h_min", w.flood_h_min),
            ("tile_h_min", w.tile_h_min),
        ];
        for (field, value) in hours {
            within_if(problems, format!("{at}.{field}"), value, HOURS);
        }
        ordered.push((format!("{at}.recoat_h_max"), w.recoat_h_min, w.recoat_h_max));
    }
    for (field, least, most) in ordered {
        if let (Some(least), Some(most)) = (least, most)
            && most < least
        {
            problems.push(Problem::at(field, "below the least", format!("at least {least}")).value(most));
        }
    }
}
