//! Falls and ponds of the measured floor, judged at one floor field.

use super::floor::{self, Floor, Region};
use super::settled::Settled;
use super::{Context, facts};
use job::Job;
use job::evidence::Entry;
use job::plan::Owed;
use measure::{Decision, Grade, Judgement, Limit, Measured, PointMm, Verdict, math};
use room::geometry;
use room::nouns::{LayerKind, OutletKind};
use room::register::Detail;
use rules::{Facts, Fit, Rule};
use water::falls::{FallIn, GradientIn, Input, ObservedPondIn, Output, ZoneIn};
use water::surface::SurfaceIn;

/// A level this near a region's edge belongs to it.
const AT_EDGE_MM: f64 = 2.0;
/// Levels a plane needs before its scatter says anything.
const A_PLANE: usize = 4;

/// Judges the fall of one floor field.
pub fn judge(context: &Context<'_>, owed: &Owed, detail: &Detail, rule: &Rule, known: &Facts, decision: Decision) -> Settled {
    let (limit, floor, region) = match ready(context, owed, detail, rule, known) {
        Ok(ready) => ready,
        Err(settled) => return *settled,
    };
    match output(context, (region, floor, layer(owed)), detail, rule, Some(limit), decision) {
        Err(why) => Settled::unmeasured(rule, known, &why, "take levels again"),
        Ok(output) => {
            let settle = settle(&output);
            let judgement = Judgement { why: with_surface(&output.judgement.why, owed), ..output.judgement };
            Settled { judgement: held(rule, judgement), settle }
        }
    }
}

/// Judges the least fall of one floor field: whether it falls back anywhere.
pub fn judge_least(context: &Context<'_>, owed: &Owed, detail: &Detail, rule: &Rule, known: &Facts, decision: Decision) -> Settled {
    let (limit, floor, region) = match ready(context, owed, detail, rule, known) {
        Ok(ready) => ready,
        Err(settled) => return *settled,
    };
    let output = match output(context, (region, floor, layer(owed)), detail, rule, None, decision) {
        Ok(output) => output,
        Err(why) => return Settled::unmeasured(rule, known, &why, "take levels again"),
    };
    let least = output.planes.iter().filter_map(|plane| Some((plane.fall?, plane.u_fall?, plane.n))).min_by(|a, b| a.0.total_cmp(&b.0));
    let judgement = match (output.backfalls.first(), least) {
        (Some(back), _) => Judgement {
            verdict: Verdict::FallsShort,
            value: Some(back.fall),
            limit: Some(limit),
            grade: Some(Grade::Measured),
            why: with_surface(&format!("falls back {:.1} mm near ({:.0}, {:.0}) mm", back.rise_mm, back.at_mm[0], back.at_mm[1]), owed),
            ..rule.unmeasured(known, "")
        },
        (None, Some((fall, u, n))) => match Measured::new(fall, u) {
            Ok(measured) => rule.judge_for(known, measured, n, Grade::Measured, decision),
            Err(_) => rule.unmeasured(known, "the fall could not be computed"),
        },
        (None, None) => rule.unmeasured(known, "too few levels here"),
    };
    Settled { judgement: held(rule, judgement), settle: settle(&output) }
}

/// The limit, the measured layer where levels make a surface, the region.
type Ready<'a> = (Limit, Option<&'a Floor>, &'a Region);

/// The limit, the measured layer and the region, or what keeps the fall from being judged.
fn ready<'a>(context: &'a Context<'_>, owed: &Owed, detail: &Detail, rule: &Rule, known: &Facts) -> Result<Ready<'a>, Box<Settled>> {
    let refuse = |why: &str, settle: &str| Box::new(Settled::unmeasured(rule, known, why, settle));
    let limit = match rule.asked_for(known) {
        Ok(Some(asked)) => asked.limit,
        Ok(None) => return Err(refuse("the rule has no number", "judge it by eye")),
        Err(why) => return Err(refuse(&why, "enter what is missing in the job folder")),
    };
    let layer = layer(owed);
    let floor = context.floor(layer);
    if floor.is_none() && gradients(context.job, layer).is_empty() {
        let least = rule.least_readings().max(A_PLANE);
        let settle =
            format!("take levels on the {}, at least {least} in every plane, corners and beside the outlet first", layer_words(layer));
        return Err(refuse(&format!("no levels on the {}", layer_words(layer)), &settle));
    }
    let region = floor::region_of(&context.regions, detail)
        .ok_or_else(|| refuse("the field lies in no part of the floor", "check the zones in room.json"))?;
    if region.outlets.is_empty() {
        return Err(refuse("no outlet is drawn to which this floor could fall", "draw the outlet in room.json"));
    }
    Ok((limit, floor, region))
}

/// A rule nobody verified decides nothing, whatever the water says.
fn held(rule: &Rule, judgement: Judgement) -> Judgement {
    match rule.decides_nothing() {
        Some(why) => judgement.held_back(&why),
        None => judgement,
    }
}

fn with_surface(why: &str, owed: &Owed) -> String {
    match (owed.surface, owed.stands_for) {
        (Some(surface), Some(stands_for)) => {
            format!("on the {}, which the {} follows: {why}", layer_words(surface), layer_words(stands_for))
        }
        (Some(surface), None) if surface != LayerKind::Tile => format!("on the {}: {why}", layer_words(surface)),
        _ => why.into(),
    }
}

/// A layer in words.
pub fn layer_words(layer: LayerKind) -> &'static str {
    match layer {
        LayerKind::Substrate => "substrate",
        LayerKind::UnderScreedMembrane => "lower membrane",
        LayerKind::Screed => "screed",
        LayerKind::OverScreedMembrane => "upper membrane",
        LayerKind::Bed => "bed",
        LayerKind::Tile => "tile",
    }
}

/// What would settle it, from the planes that are open.
fn settle(output: &Output) -> Option<String> {
    let several = output.planes.len() > 1;
    let open = output
        .planes
        .iter()
        .filter(|plane| !plane.next.is_empty())
        .map(|plane| if several { format!("{}: {}", plane.id, plane.next) } else { plane.next.clone() });
    let again = output
        .planes
        .iter()
        .filter_map(|plane| plane.look_again.as_ref())
        .map(|look| format!("read {} again, it lies {:.1} mm off", look.reading, look.off_by_mm));
    let all: Vec<String> = open.chain(again).collect();
    (!all.is_empty()).then(|| all.join("; "))
}

/// Falls of a field with arrows, for drawing.
pub fn for_drawing(
    context: &Context<'_>,
    region: &Region,
    floor: &Floor,
    detail: &Detail,
    limit: Option<Limit>,
    decision: Decision,
) -> Result<Output, String> {
    water::falls::run(&Input { drawing: true, decision, ..input(context, (region, Some(floor), floor.layer), detail, limit)? })
        .map_err(|problems| problems.to_string())
}

fn output(
    context: &Context<'_>,
    measured: OnLayer<'_>,
    detail: &Detail,
    rule: &Rule,
    limit: Option<Limit>,
    decision: Decision,
) -> Result<Output, String> {
    let input = Input {
        decision,
        least_readings: Some(rule.least_readings()),
        rule: Some(rule.id.clone()),
        source: Some(rule.source()),
        ..input(context, measured, detail, limit)?
    };
    water::falls::run(&input).map_err(|problems| problems.to_string())
}

/// The floor as input: a zone with the outlet in it stands by itself and is divided into its planes; a field elsewhere is one
/// plane of its region.
fn input(context: &Context<'_>, (region, floor, layer): OnLayer<'_>, detail: &Detail, limit: Option<Limit>) -> Result<Input, String> {
    let job = context.job;
    let own = floor::with_outlet(job, detail);
    let zones = match &own {
        Some(_) => vec![],
        None => {
            let ring = floor::ring(detail).ok_or("the field has no area")?;
            vec![ZoneIn { id: detail.name.clone(), polygon_mm: ring.to_vec(), toward: None }]
        }
    };
    let region = own.as_ref().unwrap_or(region);
    Ok(Input {
        surface: Some(SurfaceIn {
            outline_mm: region.outline_mm.clone(),
            readings: floor.map_or(vec![], |floor| region.levels(&floor.levels)),
            ..Default::default()
        }),
        outlets: region.outlets.clone(),
        fall_min: limit.and_then(Limit::min).map(FallIn::Ratio),
        fall_max: limit.and_then(Limit::max).map(FallIn::Ratio),
        gradients: gradients(job, layer)
            .into_iter()
            .filter(|g| geometry::contains(&region.outline_mm, [g.x_mm, g.y_mm], AT_EDGE_MM))
            .collect(),
        observed_ponds: observed_ponds(job, layer, &region.outline_mm),
        depth_ignored_mm: context.pond_depth_ignored_mm(),
        zones,
        ..Default::default()
    })
}

/// Where a layer was measured: a part of the floor, its surface if levels make one, and which layer it is.
type OnLayer<'a> = (&'a Region, Option<&'a Floor>, LayerKind);

/// The layer whose levels a line of the plan asks for.
fn layer(owed: &Owed) -> LayerKind {
    owed.surface.unwrap_or(LayerKind::Tile)
}

/// Readings of a digital level on a layer.
fn gradients(job: &Job, layer: LayerKind) -> Vec<GradientIn> {
    let readings = job.gradients.iter().filter(|file| file.layer == layer).flat_map(|file| &file.readings);
    readings
        .map(|reading| GradientIn {
            x_mm: reading.x_mm,
            y_mm: reading.y_mm,
            toward_deg: reading.toward_deg,
            fall_percent: Some(reading.fall_percent),
            fall_deg: None,
            base_mm: reading.base_mm,
            u_percent: reading.u_percent,
            reversed_percent: reading.reversed_percent,
            reversed_deg: None,
            name: Some(reading.name.clone()),
        })
        .collect()
}

/// Ponds seen on a layer inside a part of the floor.
fn observed_ponds(job: &Job, on: LayerKind, outline_mm: &[PointMm]) -> Vec<ObservedPondIn> {
    let inside =
        |ring: &[PointMm]| ring.iter().filter(|corner| geometry::contains(outline_mm, **corner, AT_EDGE_MM)).count() * 2 > ring.len();
    let seen = job.evidence.entries.iter().filter_map(|entry| match entry {
        Entry::Pond { layer, outline_mm, depth_mm, minutes, .. } if *layer == on && inside(outline_mm) => {
            Some(ObservedPondIn { outline_mm: outline_mm.clone(), depth_mm: *depth_mm, minutes: *minutes })
        }
        _ => None,
    });
    seen.collect()
}

/// Judges the deepest pond of one floor field, with water stops standing on the floor.
pub fn judge_ponds(context: &Context<'_>, owed: &Owed, detail: &Detail, rule: &Rule, known: &Facts, decision: Decision) -> Settled {
    let floor = match ready(context, owed, detail, rule, known) {
        Ok((_, Some(floor), _)) => floor,
        Ok((_, None, _)) => {
            return Settled::unmeasured(rule, known, "a digital level shows no hollows", "take levels, or run water and mark what stays");
        }
        Err(settled) => return *settled,
    };
    let ponds = match &floor.ponds {
        Ok(ponds) => ponds,
        Err(why) => return Settled::unmeasured(rule, known, why, "draw the outlet in room.json"),
    };
    let ring = floor::ring(detail).unwrap_or(&[]);
    let deepest = ponds.iter().find(|pond| geometry::contains(ring, pond.deepest_mm, AT_EDGE_MM));
    // A depth is the difference of two levels.
    let u = deepest.map_or(0.0, |pond| std::f64::consts::SQRT_2 * u_at(floor, pond.deepest_mm));
    let here = floor.levels.iter().filter(|level| geometry::contains(ring, [level.x_mm, level.y_mm], AT_EDGE_MM)).count();
    let judgement = match Measured::new(deepest.map_or(0.0, |pond| pond.depth_max_mm), u) {
        Ok(measured) if here > 0 => rule.judge_for(known, measured, here, Grade::Measured, decision),
        _ => rule.unmeasured(known, "no level in this field"),
    };
    let place = deepest.filter(|_| judgement.verdict != Verdict::Conforms).map(|pond| {
        format!(
            "water stands {:.1} mm deep, {:.2} L, deepest near ({:.0}, {:.0}) mm; ",
            pond.depth_max_mm, pond.volume_l, pond.deepest_mm[0], pond.deepest_mm[1]
        )
    });
    let why = with_surface(&format!("{}{}", place.unwrap_or_default(), judgement.why), owed);
    Settled { judgement: Judgement { why, ..judgement }, settle: None }
}

/// Mean uncertainty of the levels around a place: the three nearest.
fn u_at(floor: &Floor, at: PointMm) -> f64 {
    let mut near: Vec<(f64, f64)> =
        floor.levels.iter().map(|level| (math::hypot(level.x_mm - at[0], level.y_mm - at[1]), level.u_mm.unwrap_or(0.0))).collect();
    near.sort_by(|a, b| a.0.total_cmp(&b.0));
    let nearest = &near[..near.len().min(3)];
    nearest.iter().map(|(_, u)| u).sum::<f64>() / nearest.len().max(1) as f64
}

/// Showers whose level edge and single waste cannot keep both limits: said before anything is built.
pub fn feasibility(context: &Context<'_>) -> Vec<String> {
    let mut notes = Vec::new();
    for detail in context.job.register.iter().filter(|detail| detail.kind == room::register::DetailKind::FloorField) {
        let Some(region) = floor::region_of(&context.regions, detail) else { continue };
        let wastes: Vec<_> = context.job.room.outlets.iter().filter(|outlet| outlet.kind == OutletKind::Point).collect();
        let [waste] = wastes[..] else { continue };
        let Some(at) = waste
            .x_mm
            .zip(waste.y_mm)
            .map(|(x, y)| [x, y])
            .filter(|at| floor::ring(detail).is_some_and(|ring| geometry::contains(ring, *at, 0.0)))
        else {
            continue;
        };
        let known = context.applicable.complete(&facts::of(context, detail));
        for (rule, fit) in context.applicable.fitting(detail.kind, detail.zone, Some(LayerKind::Tile), &known) {
            let limit = rule.asked_for(&known).ok().flatten().map(|asked| asked.limit);
            let (true, Fit::Applies, Some(Limit::Between(min, max))) = (rule.written.quantity.as_deref() == Some("fall"), fit, limit)
            else {
                continue;
            };
            if let Some(level) = water::falls::level_perimeter(&region.outline_mm, at, min, max).filter(|level| !level.feasible) {
                let note = format!("{}: {} ({})", detail.name, level.why, rule.source());
                if !notes.contains(&note) {
                    notes.push(note);
                }
            }
        }
    }
    notes
}
