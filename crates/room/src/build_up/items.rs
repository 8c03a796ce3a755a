//! What is compared with the finished floor.

use super::levels::{Levels, less, sum};
use super::{BesideOut, FilletIn, FilletOut, Input, LevelIn, LevelOut, LimitIn, MarkIn, MarkOut, PointIn, WaterStopIn, WaterStopOut};
use crate::geometry::distance_mm;
use crate::nouns::LayerKind;
use measure::{Decision, Judgement, Limit, Measured};

/// What a level belongs to: it decides which way the difference counts, and its words.
#[derive(Clone, Copy)]
pub enum What {
    Grate,
    Threshold,
    Upturn,
}

/// One difference to be judged, and where it was found.
struct Found {
    at: String,
    difference: Option<Measured>,
}

pub fn level(input: &Input, levels: &Levels, item: &LevelIn, what: What) -> LevelOut {
    let own = Measured::new(item.level_mm, item.u_mm).ok();
    let difference = |finished: Option<Measured>| {
        let (own, finished) = (own?, finished?);
        match what {
            What::Grate => less(finished, own),
            What::Threshold | What::Upturn => less(own, finished),
        }
    };
    let beside: Vec<BesideOut> = if let Some(finished) = item.finished_mm {
        let difference = difference(Measured::new(finished, item.u_finished_mm).ok());
        vec![beside("measured", None, difference)]
    } else {
        let points = beside_points(input, item);
        points.iter().map(|(p, away)| beside(&p.name, *away, difference(levels.finished(p.base_mm, p.u_mm)))).collect()
    };
    let found = beside.iter().map(|b| Found {
        at: format!("at {}", b.point),
        difference: b.difference_mm.zip(b.u_difference_mm).and_then(|(value, u)| Measured::new(value, u).ok()),
    });
    let says = |value: f64| match what {
        What::Grate if value < 0.0 => format!("the tile lies {} mm under the grate of {}", tenths(-value), item.id),
        What::Grate => format!("the tile lies {} mm over the grate of {}", tenths(value), item.id),
        What::Threshold => format!("the threshold {} stands {} mm over the finished floor", item.id, tenths(value)),
        What::Upturn => format!("the top of {} stands {} mm over the finished floor", item.id, tenths(value)),
    };
    let verdict = item.limit.as_ref().and_then(|limit| worst(input, levels, limit, found.collect(), says));
    LevelOut { id: item.id.clone(), beside, verdict }
}

fn beside(point: &str, away_mm: Option<f64>, difference: Option<Measured>) -> BesideOut {
    BesideOut { point: point.into(), away_mm, difference_mm: difference.map(|d| d.value()), u_difference_mm: difference.map(|d| d.u()) }
}

/// The points named, or the one nearest to the item's place, or the only one; with their distance where there is a place.
fn beside_points<'a>(input: &'a Input, item: &LevelIn) -> Vec<(&'a PointIn, Option<f64>)> {
    let place = item.x_mm.zip(item.y_mm).map(|(x, y)| [x, y]);
    let away = |p: &PointIn| place.map(|at| distance_mm(at, [p.x_mm, p.y_mm]));
    if !item.beside.is_empty() {
        let named = item.beside.iter().filter_map(|name| input.points.iter().find(|p| p.name == *name));
        return named.map(|p| (p, away(p))).collect();
    }
    let distance = |p: &PointIn| away(p).unwrap_or(0.0);
    let nearest = input.points.iter().min_by(|a, b| distance(a).total_cmp(&distance(b)));
    nearest.map(|p| (p, away(p))).into_iter().collect()
}

/// The worst of several judgements: falls short before not shown before conforms, then the least likely to conform.
fn worst(input: &Input, levels: &Levels, limit: &LimitIn, found: Vec<Found>, says: impl Fn(f64) -> String) -> Option<Judgement> {
    let judged = found.into_iter().map(|f| judge(input, limit, f.difference, || levels.why_unknown(), |v| format!("{} {}", says(v), f.at)));
    judged.flatten().max_by(|a, b| {
        let unlikely = |j: &Judgement| 1.0 - j.prob_conforms.unwrap_or(0.0);
        a.verdict.cmp(&b.verdict).then(unlikely(a).total_cmp(&unlikely(b)))
    })
}

fn judge(
    input: &Input,
    asked: &LimitIn,
    value: Option<Measured>,
    why_not: impl Fn() -> String,
    says: impl Fn(f64) -> String,
) -> Option<Judgement> {
    let limit = asked.limit()?;
    Some(match value {
        None => Judgement::not_shown("mm", &asked.rule, &asked.source, why_not()),
        Some(value) => {
            let says = format!("{}, {}", says(value.value()), words(limit));
            Judgement::of(value, limit, decision(input), "mm", &asked.rule, &asked.source, &says)
        }
    })
}

fn decision(input: &Input) -> Decision {
    input.decision.unwrap_or_default()
}

fn words(limit: Limit) -> String {
    match limit {
        Limit::AtLeast(min) => format!("at least {} asked", tenths(min)),
        Limit::AtMost(max) => format!("at most {} allowed", tenths(max)),
        Limit::Between(min, max) => format!("{} to {} asked", tenths(min), tenths(max)),
    }
}

/// Tenths of a millimetre, for words.
fn tenths(mm: f64) -> String {
    let rounded = (mm * 10.0).round() / 10.0;
    format!("{}", if rounded == 0.0 { 0.0 } else { rounded })
}

/// Foot, top and leg of a water stop: each given, or from the other two.
struct Stop {
    foot: Option<Measured>,
    top: Option<Measured>,
    leg: Option<Measured>,
}

impl Stop {
    fn of(stop: &WaterStopIn) -> Self {
        let level = |v: Option<f64>| v.and_then(|v| Measured::new(v, stop.u_mm).ok());
        let (foot, top) = (level(stop.foot_mm), level(stop.top_mm));
        let leg = stop.leg_mm.and_then(|v| Measured::new(v, stop.u_leg_mm).ok());
        Self {
            foot: foot.or_else(|| less(top?, leg?)),
            top: top.or_else(|| sum([foot, leg].into_iter())),
            leg: leg.or_else(|| less(top?, foot?)),
        }
    }
}

pub fn water_stop(input: &Input, levels: &Levels, item: &WaterStopIn) -> WaterStopOut {
    let stop = Stop::of(item);
    let membrane = item.membrane_on_leg_mm.and_then(|v| Measured::new(v, item.u_membrane_on_leg_mm).ok());
    let marks: Vec<MarkOut> = item.marks.iter().map(|m| mark(levels, item, &stop, membrane, m)).collect();
    let share = membrane.zip(stop.leg).and_then(|(m, leg)| ratio(m, leg));
    let found = marks.iter().map(|m| Found {
        at: format!("{} mm along", tenths(m.along_mm)),
        difference: m.height_mm.zip(m.u_height_mm).and_then(|(value, u)| Measured::new(value, u).ok()),
    });
    let why_not = || {
        if levels.layers.is_none() { levels.why_unknown() } else { "the level of its top is not known".into() }
    };
    let says = |value: f64| format!("water stop {} stands {} mm over the finished floor", item.id, tenths(value));
    let height_verdict = item.height_limit.as_ref().and_then(|limit| {
        let known = worst(input, levels, limit, found.collect(), says);
        match known {
            Some(judged) if judged.value.is_none() => Some(Judgement::not_shown("mm", &limit.rule, &limit.source, why_not())),
            other => other,
        }
    });
    let membrane_says = |value: f64| format!("the membrane goes {} mm up the leg of {}", tenths(value), item.id);
    let membrane_verdict = item
        .membrane_limit
        .as_ref()
        .and_then(|limit| judge(input, limit, membrane, || "nobody measured the membrane on the leg".into(), membrane_says));
    WaterStopOut {
        id: item.id.clone(),
        marks,
        membrane_share: share.map(|s| s.value()),
        u_membrane_share: share.map(|s| s.u()),
        height_verdict,
        membrane_verdict,
    }
}

fn mark(levels: &Levels, item: &WaterStopIn, stop: &Stop, membrane: Option<Measured>, m: &MarkIn) -> MarkOut {
    let finished = levels.finished(m.base_mm, m.u_mm);
    let pair = |a: Option<Measured>, b: Option<Measured>| less(a?, b?);
    // How far the finishes come up from the foot; what lies outside the leg covers none or all of it.
    let over_foot = pair(finished, stop.foot);
    let leg = stop.leg.map(|l| l.value());
    let covered = over_foot.and_then(|c| Measured::new(c.value().max(0.0).min(leg.unwrap_or(f64::MAX)), c.u()).ok());
    let cut = item.cut.and_then(|cut| Measured::new(over_foot?.value() + cut.over_mm(), over_foot?.u()).ok());
    let height = pair(stop.top, finished);
    let membrane_over = pair(membrane, over_foot);
    MarkOut {
        along_mm: m.along_mm,
        finished_mm: finished.map(|v| v.value()),
        u_finished_mm: finished.map(|v| v.u()),
        height_mm: height.map(|v| v.value()),
        u_height_mm: height.map(|v| v.u()),
        covered_mm: covered.map(|v| v.value()),
        u_covered_mm: covered.map(|v| v.u()),
        covered_share: covered.zip(leg).map(|(c, leg)| c.value() / leg),
        membrane_over_finished_mm: membrane_over.map(|v| v.value()),
        u_membrane_over_finished_mm: membrane_over.map(|v| v.u()),
        cut_over_foot_mm: cut.map(|v| v.value()),
        u_cut_over_foot_mm: cut.map(|v| v.u()),
        cut_fails: cut.and_then(|cut| cut_fails(cut.value(), leg)),
    }
}

fn cut_fails(cut_mm: f64, leg_mm: Option<f64>) -> Option<String> {
    if cut_mm < 0.0 {
        return Some(format!("the cut would lie {} mm below the foot", tenths(-cut_mm)));
    }
    let leg = leg_mm?;
    (cut_mm > leg).then(|| format!("the leg ends {} mm below the cut", tenths(cut_mm - leg)))
}

/// One length over another, independent of it (GUM 5.1.6, relative variances add), held to 0..1 as a share.
fn ratio(part: Measured, whole: Measured) -> Option<Measured> {
    if whole.value() <= 0.0 {
        return None;
    }
    let share = part.value() / whole.value();
    let u = measure::math::hypot(part.u(), share * whole.u()) / whole.value();
    Measured::new(share.clamp(0.0, 1.0), u).ok()
}

/// A fillet larger than bed and tile behind it holds the tile off the corner (common practice, no source).
pub fn fillet(input: &Input, item: &FilletIn) -> FilletOut {
    let behind = |kind: LayerKind| {
        let layer = input.layers.iter().find(|l| l.kind == kind)?;
        Measured::new(layer.thickness_mm?, layer.u_mm).ok()
    };
    let bed_and_tile = sum([behind(LayerKind::Bed), behind(LayerKind::Tile)].into_iter());
    let clear = bed_and_tile.zip(Measured::new(item.radius_mm, item.u_mm).ok()).and_then(|(room, radius)| less(room, radius));
    let asked = LimitIn {
        at_least_mm: Some(0.0),
        at_most_mm: None,
        rule: "fillet-within-bed-and-tile".into(),
        source: "geometry of the corner; common practice, no source".into(),
    };
    let says = |value: f64| {
        if value < 0.0 {
            format!("fillet {} stands {} mm out of bed and tile: the tile cannot close over it", item.id, tenths(-value))
        } else {
            format!("bed and tile cover fillet {} by {} mm", item.id, tenths(value))
        }
    };
    let verdict = judge(input, &asked, clear, || "the thickness of bed or tile is not known".into(), says);
    FilletOut {
        id: item.id.clone(),
        clear_mm: clear.map(|c| c.value()),
        u_clear_mm: clear.map(|c| c.u()),
        verdict: verdict.expect("the limit has a bound"),
    }
}
