//! Problems of the input.

use super::{Cut, FilletIn, Input, LevelIn, LimitIn, UpturnIn, WaterStopIn};
use measure::{Bounds, Decision, Problem, Problems, bounds};
use std::collections::BTreeSet;

/// Items of one kind; a room has a handful.
const ITEMS: usize = 2_000;
const LEG_MM: Bounds = Bounds { min: 0.5, max: 500.0, unit: "mm" };
const RADIUS_MM: Bounds = Bounds { min: 0.0, max: 200.0, unit: "mm" };
const OFFSET_MM: Bounds = Bounds { min: -100.0, max: 100.0, unit: "mm" };
/// Foot, leg and top that disagree by more than this are a slip, whatever their uncertainties.
const DISAGREE_MM: f64 = 5.0;

pub fn check(input: &Input) -> Problems {
    let mut problems = Problems::new();
    if too_many(input, &mut problems) {
        return problems;
    }
    decision(input, &mut problems);
    layers(input, &mut problems);
    let names = points(input, &mut problems);
    let upturns: Vec<LevelIn> = input.upturns.iter().map(UpturnIn::level).collect();
    for (list, of_level, items) in
        [("grates", "level_mm", &input.grates), ("thresholds", "level_mm", &input.thresholds), ("upturns", "top_mm", &upturns)]
    {
        ids(list, items.iter().map(|i| &i.id), &mut problems);
        for (i, item) in items.iter().enumerate() {
            within(&mut problems, format!("{list}[{i}].{of_level}"), item.level_mm, bounds::LEVEL_MM);
            level_item(&format!("{list}[{i}]"), item, &names, input, &mut problems);
        }
    }
    ids("water_stops", input.water_stops.iter().map(|s| &s.id), &mut problems);
    for (i, stop) in input.water_stops.iter().enumerate() {
        water_stop(&format!("water_stops[{i}]"), stop, &mut problems);
    }
    ids("fillets", input.fillets.iter().map(|f| &f.id), &mut problems);
    for (i, FilletIn { radius_mm, u_mm, .. }) in input.fillets.iter().enumerate() {
        within(&mut problems, format!("fillets[{i}].radius_mm"), *radius_mm, RADIUS_MM);
        within(&mut problems, format!("fillets[{i}].u_mm"), *u_mm, bounds::U_MM);
    }
    problems
}

fn too_many(input: &Input, problems: &mut Problems) -> bool {
    let lists = [
        ("layers", input.layers.len(), 20),
        ("points", input.points.len(), bounds::READINGS),
        ("grates", input.grates.len(), ITEMS),
        ("thresholds", input.thresholds.len(), ITEMS),
        ("water_stops", input.water_stops.len(), ITEMS),
        ("upturns", input.upturns.len(), ITEMS),
        ("fillets", input.fillets.len(), ITEMS),
    ];
    for (field, count, most) in lists.into_iter().filter(|(_, count, most)| count > most) {
        problems.push(Problem::at(field, "too many", format!("at most {most}")).value(count));
    }
    !problems.is_empty()
}

fn decision(input: &Input, problems: &mut Problems) {
    match input.decision {
        Some(Decision::Guarded { risk }) if !(risk > 0.0 && risk < 0.5) => {
            problems.push(Problem::at("decision.risk", "not a risk", "above 0 and below 0.5").value(risk));
        }
        Some(Decision::Simple { u_max }) if !(u_max.is_finite() && u_max >= 0.0) => {
            problems.push(Problem::at("decision.u_max", "not an uncertainty", "zero or more").value(u_max));
        }
        _ => {}
    }
}

fn within(problems: &mut Problems, field: impl Into<String>, value: f64, bounds: Bounds) {
    crate::validate::within(problems, field, value, bounds);
}

fn layers(input: &Input, problems: &mut Problems) {
    for (i, layer) in input.layers.iter().enumerate() {
        if let Some(thickness) = layer.thickness_mm {
            within(problems, format!("layers[{i}].thickness_mm"), thickness, bounds::LAYER_MM);
        }
        within(problems, format!("layers[{i}].u_mm"), layer.u_mm, bounds::U_MM);
        if i > 0 && layer.kind <= input.layers[i - 1].kind {
            let right = "from below: substrate, under-screed-membrane, screed, over-screed-membrane, bed, tile";
            problems.push(Problem::at(format!("layers[{i}].kind"), "not above the layer before it", right));
        }
    }
}

fn points<'a>(input: &'a Input, problems: &mut Problems) -> BTreeSet<&'a str> {
    let mut names = BTreeSet::new();
    for (i, p) in input.points.iter().enumerate() {
        if !names.insert(p.name.as_str()) {
            let what = "another point has this name";
            problems.push(Problem::at(format!("points[{i}].name"), what, "names are unique").value(&p.name));
        }
        within(problems, format!("points[{i}].x_mm"), p.x_mm, bounds::PLAN_MM);
        within(problems, format!("points[{i}].y_mm"), p.y_mm, bounds::PLAN_MM);
        within(problems, format!("points[{i}].base_mm"), p.base_mm, bounds::LEVEL_MM);
        within(problems, format!("points[{i}].u_mm"), p.u_mm, bounds::U_MM);
    }
    names
}

fn ids<'a>(list: &str, ids: impl Iterator<Item = &'a String>, problems: &mut Problems) {
    let mut seen = BTreeSet::new();
    for (i, id) in ids.enumerate() {
        if !seen.insert(id) {
            problems.push(Problem::at(format!("{list}[{i}].id"), "another one has this name", "names are unique").value(id));
        }
    }
}

fn level_item(at: &str, item: &LevelIn, names: &BTreeSet<&str>, input: &Input, problems: &mut Problems) {
    within(problems, format!("{at}.u_mm"), item.u_mm, bounds::U_MM);
    within(problems, format!("{at}.u_finished_mm"), item.u_finished_mm, bounds::U_MM);
    for (field, value, bounds) in
        [("x_mm", item.x_mm, bounds::PLAN_MM), ("y_mm", item.y_mm, bounds::PLAN_MM), ("finished_mm", item.finished_mm, bounds::LEVEL_MM)]
    {
        if let Some(value) = value {
            within(problems, format!("{at}.{field}"), value, bounds);
        }
    }
    for (i, name) in item.beside.iter().enumerate().filter(|(_, name)| !names.contains(name.as_str())) {
        problems.push(Problem::at(format!("{at}.beside[{i}]"), "no point of that name", "the name of one of the points").value(name));
    }
    let placed = item.finished_mm.is_some() || !item.beside.is_empty() || (item.x_mm.is_some() && item.y_mm.is_some());
    if !placed && input.points.len() != 1 {
        let right = "beside: the points next to it; or x_mm and y_mm; or finished_mm";
        problems.push(Problem::at(at, format!("it is not said where {} is", item.id), right));
    } else if item.finished_mm.is_none() && input.points.is_empty() {
        problems.push(Problem::at("points", format!("none to compare {} with", item.id), "at least one, or finished_mm"));
    }
    limit(at, "limit", item.limit.as_ref(), problems);
}

fn limit(at: &str, field: &str, limit: Option<&LimitIn>, problems: &mut Problems) {
    let Some(limit) = limit else { return };
    let field = format!("{at}.{field}");
    let bounds = [limit.at_least_mm, limit.at_most_mm];
    if bounds.iter().flatten().any(|v| !bounds::LEVEL_MM.contains(*v)) {
        problems.push(Problem::at(field, "out of bounds", bounds::LEVEL_MM.words()));
    } else if let [None, None] = bounds {
        problems.push(Problem::at(field, "no limit given", "at_least_mm, at_most_mm or both"));
    } else if let [Some(least), Some(most)] = bounds
        && least > most
    {
        problems
            .push(Problem::at(field, "nothing can meet it", "at_least_mm no larger than at_most_mm").value(format!("{least} to {most}")));
    }
}

fn water_stop(at: &str, stop: &WaterStopIn, problems: &mut Problems) {
    let numbers = [
        ("foot_mm", stop.foot_mm, bounds::LEVEL_MM),
        ("top_mm", stop.top_mm, bounds::LEVEL_MM),
        ("leg_mm", stop.leg_mm, LEG_MM),
        ("u_mm", Some(stop.u_mm), bounds::U_MM),
        ("u_leg_mm", Some(stop.u_leg_mm), bounds::U_MM),
        ("membrane_on_leg_mm", stop.membrane_on_leg_mm, bounds::LAYER_MM),
        ("u_membrane_on_leg_mm", Some(stop.u_membrane_on_leg_mm), bounds::U_MM),
    ];
    for (field, value, bounds) in numbers {
        if let Some(value) = value {
            within(problems, format!("{at}.{field}"), value, bounds);
        }
    }
    if let Some(Cut::OverMm(over)) = stop.cut {
        within(problems, format!("{at}.cut"), over, OFFSET_MM);
    }
    if stop.marks.len() > ITEMS {
        problems.push(Problem::at(format!("{at}.marks"), "too many", format!("at most {ITEMS}")).value(stop.marks.len()));
        return;
    }
    if stop.marks.is_empty() {
        problems.push(Problem::at(format!("{at}.marks"), "no marks along it", "one or more, each with along_mm and base_mm"));
    }
    for (i, mark) in stop.marks.iter().enumerate() {
        within(problems, format!("{at}.marks[{i}].along_mm"), mark.along_mm, Bounds { min: 0.0, ..bounds::PLAN_MM });
        within(problems, format!("{at}.marks[{i}].base_mm"), mark.base_mm, bounds::LEVEL_MM);
        within(problems, format!("{at}.marks[{i}].u_mm"), mark.u_mm, bounds::U_MM);
    }
    if let (Some(foot), Some(top), Some(leg)) = (stop.foot_mm, stop.top_mm, stop.leg_mm)
        && (top - foot - leg).abs() > DISAGREE_MM
    {
        let what = format!("foot and leg make {}, not the top given", foot + leg);
        problems.push(Problem::at(format!("{at}.top_mm"), what, "measure again, or leave one of the three out").value(top));
    } else if let (Some(foot), Some(top), None) = (stop.foot_mm, stop.top_mm, stop.leg_mm)
        && top <= foot
    {
        problems.push(Problem::at(format!("{at}.top_mm"), "not above the foot", format!("above {foot}")).value(top));
    }
    limit(at, "height_limit", stop.height_limit.as_ref(), problems);
    limit(at, "membrane_limit", stop.membrane_limit.as_ref(), problems);
}
