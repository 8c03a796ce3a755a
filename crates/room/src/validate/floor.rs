//! What stands on the floor: zones, fixtures, outlets, water stops, hobs, screens, heating.

use super::names::Names;
use super::outline::{point, points, ring};
use super::{OUTSIDE_MM, level, measured, place, round, within, within_if};
use crate::Room;
use crate::geometry::{area_mm2, area_of, contains, is_floor, leaves, line_length_mm};
use crate::nouns::{Fixture, FixtureKind, Outlet, OutletKind, WaterStopAt, Zone};
use geo::BooleanOps;
use measure::{Bounds, PointMm, Problem, Problems, bounds};

/// Two zones may overlap by this much: what drawing by finger leaves.
const OVERLAP_MM2: f64 = 2_000.0;
/// A zone's corner may lie this far outside the outline.
const ZONE_OUTSIDE_MM: f64 = 10.0;
/// A water stop at a door may stand this far outside the outline: in the thickness of the wall.
const IN_DOORWAY_MM: f64 = 400.0;

const RADIUS_MM: Bounds = Bounds { min: 10.0, max: 500.0, unit: "mm" };
const CHANNEL_WIDTH_MM: Bounds = Bounds { min: 10.0, max: 1_000.0, unit: "mm" };
const FLANGE_MM: Bounds = Bounds { min: 1.0, max: 500.0, unit: "mm" };
const LEG_MM: Bounds = Bounds { min: 1.0, max: 500.0, unit: "mm" };
const ROSE_HEIGHT_MM: Bounds = Bounds { min: 300.0, max: 5_000.0, unit: "mm" };
const SPREAD_MM: Bounds = Bounds { min: 10.0, max: 3_000.0, unit: "mm" };
const MINUTES: Bounds = Bounds { min: 0.0, max: 1_440.0, unit: "minutes a day" };
const SET_DOWN_MM: Bounds = Bounds { min: -500.0, max: 500.0, unit: "mm" };

pub fn check(room: &Room, names: &Names, problems: &mut Problems) {
    zones(room, problems);
    for (i, fixture) in room.fixtures.iter().enumerate() {
        check_fixture(&format!("fixtures[{i}]"), fixture, names, room, problems);
    }
    for (i, outlet) in room.outlets.iter().enumerate() {
        check_outlet(&format!("outlets[{i}]"), outlet, names, room, problems);
    }
    for (i, stop) in room.water_stops.iter().enumerate() {
        let at = format!("water_stops[{i}]");
        let tolerance = if stop.at == WaterStopAt::Door { IN_DOORWAY_MM } else { OUTSIDE_MM };
        check_line(&format!("{at}.line_mm"), &format!("water stop {}", stop.id), &stop.line_mm, tolerance, room, problems);
        level(problems, &format!("{at}.foot_mm"), stop.foot_mm);
        level(problems, &format!("{at}.top_mm"), stop.top_mm);
        within_if(problems, format!("{at}.leg_mm"), stop.leg_mm, LEG_MM);
        measured(problems, &format!("{at}.membrane_on_leg_mm"), stop.membrane_on_leg_mm, bounds::LAYER_MM);
        if let (Some(foot), Some(top)) = (stop.foot_mm, stop.top_mm)
            && top.value() <= foot.value()
        {
            let right = format!("above its foot at {}", round(foot.value()));
            problems.push(Problem::at(format!("{at}.top_mm"), "the top is not above the foot", right).value(top.value()));
        }
    }
    for (i, hob) in room.hobs.iter().enumerate() {
        let at = format!("hobs[{i}]");
        check_line(&format!("{at}.line_mm"), &format!("hob {}", hob.id), &hob.line_mm, OUTSIDE_MM, room, problems);
        within(problems, format!("{at}.width_mm"), hob.width_mm, CHANNEL_WIDTH_MM);
        level(problems, &format!("{at}.top_mm"), hob.top_mm);
    }
    for (i, screen) in room.screens.iter().enumerate() {
        let at = format!("screens[{i}]");
        check_line(&format!("{at}.line_mm"), &format!("screen {}", screen.id), &screen.line_mm, OUTSIDE_MM, room, problems);
        within_if(problems, format!("{at}.height_mm"), screen.height_mm, bounds::WALL_HEIGHT_MM);
    }
    for (i, heated) in room.heated_areas.iter().enumerate() {
        let at = format!("heated_areas[{i}].polygon_mm");
        if ring(&heated.polygon_mm, &at, problems) {
            inside(&at, &format!("heated area {}", heated.id), &heated.polygon_mm, room, problems);
        }
    }
}

fn zones(room: &Room, problems: &mut Problems) {
    let mut sound: Vec<(usize, &Zone)> = Vec::new();
    for (i, zone) in room.zones.iter().enumerate() {
        let at = format!("zones[{i}]");
        within_if(problems, format!("{at}.wall_height_mm"), zone.wall_height_mm, bounds::WALL_HEIGHT_MM);
        measured(problems, &format!("{at}.set_down_mm"), zone.set_down_mm, SET_DOWN_MM);
        if ring(&zone.polygon_mm, &format!("{at}.polygon_mm"), problems) {
            inside(&format!("{at}.polygon_mm"), &format!("zone {}", zone.id), &zone.polygon_mm, room, problems);
            sound.push((i, zone));
        }
    }
    for (k, (i, zone)) in sound.iter().enumerate() {
        for (_, earlier) in &sound[..k] {
            let shared = area_mm2(&area_of(&zone.polygon_mm).intersection(&area_of(&earlier.polygon_mm)));
            if shared > OVERLAP_MM2 {
                let what = format!("zone {} overlaps zone {} by {:.3} m²", zone.id, earlier.id, shared / 1e6);
                problems.push(Problem::at(format!("zones[{i}].polygon_mm"), what, "each part of the floor in one zone"));
            }
        }
    }
}

/// Reports a polygon that sticks out of the room, with the corner furthest out.
fn inside(field: &str, what: &str, polygon: &[PointMm], room: &Room, problems: &mut Problems) {
    if !is_floor(&room.outline_mm) {
        return;
    }
    let corner = polygon.iter().find(|p| !contains(&room.outline_mm, **p, ZONE_OUTSIDE_MM));
    let outside_mm2 = area_mm2(&area_of(polygon).difference(&area_of(&room.outline_mm)));
    if let Some(corner) = corner {
        problems.push(Problem::at(field, format!("{what} reaches outside the room"), "corners within the outline").value(place(*corner)));
    } else if outside_mm2 > ZONE_OUTSIDE_MM * line_length_mm(polygon) {
        let found = format!("{:.3} m² outside", outside_mm2 / 1e6);
        problems.push(Problem::at(field, format!("{what} reaches outside the room"), "edges within the outline").value(found));
    }
}

fn check_fixture(at: &str, fixture: &Fixture, names: &Names, room: &Room, problems: &mut Problems) {
    let p = [fixture.x_mm, fixture.y_mm];
    if point(p, at, problems) && is_floor(&room.outline_mm) && !contains(&room.outline_mm, p, OUTSIDE_MM) {
        let what = format!("fixture {} lies outside the room", fixture.id);
        problems.push(Problem::at(at, what, "x_mm, y_mm within the outline").value(place(p)));
    }
    let heights = if fixture.kind == FixtureKind::ShowerRose { ROSE_HEIGHT_MM } else { bounds::LEVEL_MM };
    within_if(problems, format!("{at}.height_mm"), fixture.height_mm, heights);
    within_if(problems, format!("{at}.flow_l_min"), fixture.flow_l_min, bounds::FLOW_L_MIN);
    within_if(problems, format!("{at}.spread_mm"), fixture.spread_mm, SPREAD_MM);
    within_if(problems, format!("{at}.minutes_per_day"), fixture.minutes_per_day, MINUTES);
    if let Some(wall) = &fixture.wall {
        names.wall(&format!("{at}.wall"), wall, problems);
    }
}

fn check_outlet(at: &str, outlet: &Outlet, names: &Names, room: &Room, problems: &mut Problems) {
    match outlet.kind {
        OutletKind::Point => check_point(at, outlet, room, problems),
        OutletKind::Channel => check_channel(at, outlet, room, problems),
    }
    within_if(problems, format!("{at}.radius_mm"), outlet.radius_mm, RADIUS_MM);
    within_if(problems, format!("{at}.width_mm"), outlet.width_mm, CHANNEL_WIDTH_MM);
    within_if(problems, format!("{at}.riser_mm"), outlet.riser_mm, RADIUS_MM);
    level(problems, &format!("{at}.grate_mm"), outlet.grate_mm);
    for (i, flange) in outlet.flanges.iter().enumerate() {
        let at = format!("{at}.flanges[{i}]");
        level(problems, &format!("{at}.level_mm"), flange.level_mm);
        within_if(problems, format!("{at}.width_mm"), flange.width_mm, FLANGE_MM);
        if let Some(id) = &flange.membrane
            && !names.membranes.contains(&id.as_str())
        {
            problems.push(super::names::unknown(&format!("{at}.membrane"), "membrane", id, names.membranes.iter().copied()));
        }
    }
    for (i, pair) in outlet.flanges.windows(2).enumerate() {
        if let (Some(lower), Some(upper)) = (pair[0].level_mm, pair[1].level_mm)
            && upper.value() < lower.value()
        {
            let right = format!("lowest first: at least {}", round(lower.value()));
            let field = format!("{at}.flanges[{}].level_mm", i + 1);
            problems.push(Problem::at(field, "lower than the flange before it", right).value(upper.value()));
        }
    }
}

fn check_point(at: &str, outlet: &Outlet, room: &Room, problems: &mut Problems) {
    let Some((x, y)) = outlet.x_mm.zip(outlet.y_mm) else {
        problems.push(Problem::at(at, format!("point waste {} has no place", outlet.id), "x_mm and y_mm of its centre"));
        return;
    };
    if point([x, y], at, problems) && is_floor(&room.outline_mm) && !contains(&room.outline_mm, [x, y], OUTSIDE_MM) {
        let what = format!("outlet {} lies outside the room", outlet.id);
        problems.push(Problem::at(at, what, "its centre within the outline").value(place([x, y])));
    }
    if !outlet.line_mm.is_empty() {
        problems.push(Problem::at(format!("{at}.line_mm"), "a point waste has no line", "x_mm, y_mm; or kind \"channel\""));
    }
}

fn check_channel(at: &str, outlet: &Outlet, room: &Room, problems: &mut Problems) {
    if outlet.line_mm.is_empty() {
        problems.push(Problem::at(format!("{at}.line_mm"), format!("channel {} has no line", outlet.id), "two or more places on plan"));
    } else {
        check_line(&format!("{at}.line_mm"), &format!("channel {}", outlet.id), &outlet.line_mm, OUTSIDE_MM, room, problems);
    }
    if outlet.width_mm.is_none() {
        problems.push(Problem::at(format!("{at}.width_mm"), format!("channel {} has no width", outlet.id), "its width in mm"));
    }
    if outlet.x_mm.is_some() || outlet.y_mm.is_some() {
        problems.push(Problem::at(at, "a channel has no centre", "line_mm; or kind \"point\""));
    }
    let length = line_length_mm(&outlet.line_mm);
    let right = format!("between 0 and {} along its line", round(length));
    let beyond = |along: f64| !(along >= 0.0 && along <= length + 1.0);
    for (i, joint) in outlet.body_joints_mm.iter().enumerate().filter(|(_, j)| beyond(**j)) {
        problems.push(Problem::at(format!("{at}.body_joints_mm[{i}]"), "beyond the channel", &right).value(joint));
    }
    if let Some(spigot) = outlet.spigot_mm.filter(|s| beyond(*s)) {
        problems.push(Problem::at(format!("{at}.spigot_mm"), "beyond the channel", right).value(spigot));
    }
}

/// A line on plan: at least two places, some length, within the room.
pub fn check_line(field: &str, what: &str, line: &[PointMm], tolerance_mm: f64, room: &Room, problems: &mut Problems) {
    if !sound_line(field, line, problems) {
        return;
    }
    if is_floor(&room.outline_mm)
        && let Some(p) = leaves(&room.outline_mm, line, tolerance_mm)
    {
        problems.push(Problem::at(field, format!("{what} leaves the floor"), "places within the outline").value(place(p)));
    }
}

/// At least two finite places and some length.
pub fn sound_line(field: &str, line: &[PointMm], problems: &mut Problems) -> bool {
    if line.len() > bounds::CORNERS {
        problems.push(Problem::at(field, "too many places", format!("at most {}", bounds::CORNERS)).value(line.len()));
        return false;
    }
    if !points(line, field, problems) {
        return false;
    }
    if line.len() < 2 || line_length_mm(line) < 1.0 {
        problems.push(Problem::at(field, "not a line", "two or more places, some way apart").value(line.len()));
        return false;
    }
    true
}
