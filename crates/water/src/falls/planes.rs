//! Planes through all readings of a part of the floor, and their verdict.

use super::input::Gradient;
use super::parts::PartOfFloor;
use crate::plan;
use measure::math::{self, sq};
use measure::{Decision, Judgement, Limit, Measured, PointMm, Verdict, ratio};
use schemars::JsonSchema;
use serde::Serialize;
use stats::plane::{self, Level};
use stats::{least_squares, outlier};

/// One plane of the floor and what was made of it.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct PlaneOut {
    /// The zone's name, or outlet and wall or side.
    pub id: String,
    /// The outlet it falls to.
    pub outlet: Option<String>,
    /// The wall it falls from, where it lies between a wall and a point waste.
    pub wall_mm: Option<[PointMm; 2]>,
    /// The way it must fall, in degrees: square from its wall towards the waste, square to a channel, or as the zone says.
    pub toward_deg: f64,
    /// Area on plan.
    pub area_m2: f64,
    /// Fall of the fitted plane that way, as rise over run; negative when it falls back.
    pub fall: Option<f64>,
    /// Standard uncertainty of `fall`.
    pub u_fall: Option<f64>,
    /// Steepest fall of the fitted plane.
    pub steepest: Option<f64>,
    /// The way the fitted plane really falls, in degrees.
    pub direction_deg: Option<f64>,
    /// Median fall along the steepest way from here down to the outlet; it goes on where planes meet, which are flatter.
    pub way_fall_median: Option<f64>,
    /// Readings it rests on: levels, gradient readings, or cells of a grid.
    pub n: usize,
    /// How much the readings scatter beyond their uncertainty (Birge ratio, at least 1); it widens `u_fall`.
    pub scatter: Option<f64>,
    /// The verdict on the fall.
    pub judgement: Judgement,
    /// How many levels in all, spread like these, would decide it; absent when it is decided or no number in reason would.
    pub levels_needed: Option<usize>,
    /// What would decide it, in words; empty when it is decided.
    pub next: String,
    /// The reading that fits least well with the others, when it stands out by more than chance (5 %).
    pub look_again: Option<LookAgain>,
}

/// A reading to look at again; it was used all the same.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct LookAgain {
    /// Its name.
    pub reading: String,
    /// How far it lies from what the others say of its place.
    pub off_by_mm: f64,
    /// Probability that a reading stands out this much by chance.
    pub p_value: f64,
}

/// What the readings of one part are.
pub(super) struct Evidence<'a> {
    pub levels: Vec<Level>,
    pub names: Vec<&'a str>,
    pub gradients: Vec<&'a Gradient>,
    /// Cells of a grid rather than levels somebody took.
    pub from_grid: bool,
}

/// A gradient with its covariance.
pub(super) struct Fitted {
    pub gradient: [f64; 2],
    cov: [f64; 3],
    scatter: f64,
    /// Only the fall in the direction it must have was read.
    one_way: bool,
}

impl Fitted {
    /// The same with no uncertainty.
    pub fn without_doubt(self) -> Self {
        Self { cov: [0.0; 3], ..self }
    }

    fn fall(&self, [dx, dy]: PointMm) -> (f64, f64) {
        let [xx, xy, yy] = self.cov;
        (-(self.gradient[0] * dx + self.gradient[1] * dy), (dx * dx * xx + 2.0 * dx * dy * xy + dy * dy * yy).max(0.0).sqrt())
    }
}

/// A fall this certain is known exactly: no instrument sees a ten-thousandth of a millimetre in a metre.
const EXACT: f64 = 1e-7;
/// An exactly known fall this close to a limit, relative to it, is on the limit: 1:80 and 1:80.08. It covers heights
/// written down to a thousandth of a millimetre, and nothing a gauge could see.
pub(super) const ON_THE_LIMIT: f64 = 1e-3;
/// More levels in one plane than this nobody takes.
const IN_REASON: usize = 60;
/// Gradient readings within this cosine of the direction asked (18 degrees) speak for it alone.
const ALONG: f64 = 0.95;

/// Fits levels and gradient readings together. `Err` says why nothing can be fitted.
pub(super) fn fit(evidence: &Evidence, toward: PointMm, least: usize) -> Result<Fitted, String> {
    let n = evidence.levels.len() + evidence.gradients.len();
    if n < least.max(if evidence.gradients.is_empty() { 3 } else { 1 }) {
        return Err(match n {
            0 => "no reading was taken here".into(),
            1 => format!("1 reading, at least {} are needed", least.max(3)),
            _ => format!("{n} readings, at least {} are needed", least.max(3)),
        });
    }
    if evidence.gradients.is_empty() {
        return from_levels(&evidence.levels).map_err(|_| format!("all {n} levels stand on one line"));
    }
    together(evidence)
        .or_else(|()| one_way(&evidence.gradients, toward))
        .map_err(|()| "the readings do not say how it falls that way".into())
}

fn from_levels(levels: &[Level]) -> Result<Fitted, plane::NotAPlane> {
    let plane = plane::fit(levels)?;
    Ok(Fitted { gradient: plane.gradient, cov: [plane.cov[1][1], plane.cov[1][2], plane.cov[2][2]], scatter: plane.birge, one_way: false })
}

/// Levels fix height and gradient, gradient readings the gradient alone; one system holds both.
fn together(evidence: &Evidence) -> Result<Fitted, ()> {
    let levels = if evidence.levels.len() > 1 { &evidence.levels[..] } else { &[] };
    let columns = if levels.is_empty() { 2 } else { 3 };
    let centre = levels.first().map_or([0.0; 2], |l| [l.x, l.y]);
    let smallest = |u: f64, least: f64| if u > 0.0 { u } else { least };
    let (mut design, mut observed, mut u) = (Vec::new(), Vec::new(), Vec::new());
    for l in levels {
        design.extend([1.0, l.x - centre[0], l.y - centre[1]]);
        observed.push(l.z);
        u.push(smallest(l.u, 1e-3));
    }
    for g in &evidence.gradients {
        design.extend(&[0.0, -g.toward[0], -g.toward[1]][3 - columns..]);
        observed.push(g.fall);
        u.push(smallest(g.u, 1e-6));
    }
    let fit = least_squares::fit(&design, columns, &observed, &u).map_err(|_| ())?;
    let scatter = fit.scatter().unwrap_or(1.0).max(1.0);
    let (a, b) = (columns - 2, columns - 1);
    let cov = [(a, a), (a, b), (b, b)].map(|(i, j)| fit.unscaled_cov[i * columns + j] * scatter);
    Ok(Fitted { gradient: [fit.beta[a], fit.beta[b]], cov, scatter: scatter.sqrt(), one_way: false })
}

/// Readings all taken along the fall: the weighted mean of what they say of it, and nothing of what lies across.
fn one_way(gradients: &[&Gradient], toward: PointMm) -> Result<Fitted, ()> {
    let along: Vec<(f64, f64)> = gradients
        .iter()
        .map(|g| (g, g.toward[0] * toward[0] + g.toward[1] * toward[1]))
        .filter(|(_, cos)| cos.abs() >= ALONG)
        .map(|(g, cos)| (g.fall / cos, g.u.max(1e-6)))
        .collect();
    let weight: f64 = along.iter().map(|(_, u)| 1.0 / sq(*u)).sum();
    if along.is_empty() {
        return Err(());
    }
    let mean = along.iter().map(|(f, u)| f / sq(*u)).sum::<f64>() / weight;
    let chi2: f64 = along.iter().map(|(f, u)| sq((f - mean) / u)).sum();
    let scatter = if along.len() > 1 { (chi2 / (along.len() - 1) as f64).max(1.0) } else { 1.0 };
    let v = scatter / weight;
    let cov = [toward[0] * toward[0] * v, toward[0] * toward[1] * v, toward[1] * toward[1] * v];
    Ok(Fitted { gradient: [-mean * toward[0], -mean * toward[1]], cov, scatter: scatter.sqrt(), one_way: true })
}

/// What is asked, and under which rule.
pub(super) struct Asked<'a> {
    pub limit: Option<Limit>,
    pub decision: Decision,
    pub least: usize,
    pub rule: &'a str,
    pub source: &'a str,
}

/// The limits in the words of the trade.
pub(super) fn limit_words(limit: Limit) -> String {
    match limit {
        Limit::AtLeast(min) => format!("at least {}", ratio::words(min)),
        Limit::AtMost(max) => format!("at most {}", ratio::words(max)),
        Limit::Between(min, max) => format!("{} to {}", ratio::words(min), ratio::words(max)),
    }
}

/// An exactly known fall a hair off a limit is put on it.
pub(super) fn on_the_limit(fall: f64, u: f64, limit: Limit) -> f64 {
    let close = |bound: f64| (fall - bound).abs() <= ON_THE_LIMIT * bound;
    let bounds = [limit.min(), limit.max()];
    if u > 0.0 { fall } else { bounds.into_iter().flatten().find(|b| close(*b)).unwrap_or(fall) }
}

/// Judges one part of the floor.
pub(super) fn judge(
    part: &PartOfFloor,
    evidence: &Evidence,
    fitted: Result<&Fitted, &String>,
    asked: &Asked,
    area_m2: f64,
    outlet: Option<&str>,
) -> PlaneOut {
    let mut out = PlaneOut {
        id: part.id.clone(),
        outlet: outlet.map(str::to_owned),
        wall_mm: part.wall_mm,
        toward_deg: plan::degrees_of(part.toward),
        area_m2,
        fall: None,
        u_fall: None,
        steepest: None,
        direction_deg: None,
        way_fall_median: None,
        n: evidence.levels.len() + evidence.gradients.len(),
        scatter: None,
        judgement: Judgement::not_shown("ratio", asked.rule, asked.source, ""),
        levels_needed: None,
        next: String::new(),
        look_again: look_again(evidence),
    };
    let fitted = match fitted {
        Ok(fitted) => fitted,
        Err(why) => {
            out.judgement.limit = asked.limit;
            out.judgement.why = format!("{}: {why}", part.id);
            out.levels_needed = asked.limit.map(|limit| levels_from_nothing(part, evidence, limit, asked));
            out.next = format!("take {} levels spread over it, none in one line", out.levels_needed.unwrap_or(asked.least.max(3)));
            return out;
        }
    };
    let (fall, u) = fitted.fall(part.toward);
    let u = if u < EXACT { 0.0 } else { u };
    out.fall = Some(fall);
    out.u_fall = Some(u);
    out.scatter = Some(fitted.scatter);
    if !fitted.one_way {
        let [gx, gy] = fitted.gradient;
        out.steepest = Some(math::hypot(gx, gy));
        out.direction_deg = (gx != 0.0 || gy != 0.0).then(|| plan::degrees_of([-gx, -gy]));
    }
    let Some(limit) = asked.limit else {
        out.judgement = Judgement {
            value: Some(fall),
            u: Some(u),
            ..Judgement::not_shown("ratio", asked.rule, asked.source, format!("{}: {}; no limit given", part.id, ratio::words(fall)))
        };
        return out;
    };
    let Ok(measured) = Measured::new(on_the_limit(fall, u, limit), u) else {
        out.judgement.why = format!("{}: the fit is not finite", part.id);
        return out;
    };
    let of = if evidence.from_grid { "cells" } else { "readings" };
    let says = format!("{}: {} from {} {of}, asked {}", part.id, ratio::words(fall), out.n, limit_words(limit));
    out.judgement = Judgement::of(measured, limit, asked.decision, "ratio", asked.rule, asked.source, &says);
    if out.judgement.verdict == Verdict::NotShown && !evidence.from_grid {
        let wanted = u_that_decides(measured.value(), limit, asked.decision);
        let levels = (out.n as f64 * sq(u / wanted)).ceil();
        if wanted > 0.0 && levels <= IN_REASON as f64 {
            out.levels_needed = Some((levels as usize).max(out.n + 1));
            out.next = format!(
                "about {} levels spread like these would decide it, {} more",
                levels as usize,
                (levels as usize).max(out.n + 1) - out.n
            );
        } else {
            out.next = "so near the limit, or so scattered, that no number of levels within reason would decide it".into();
        }
    }
    out
}

fn look_again(evidence: &Evidence) -> Option<LookAgain> {
    if evidence.from_grid {
        return None;
    }
    let suspect = outlier::from_plane(&evidence.levels).ok()??;
    let reading = evidence.names.get(suspect.index)?;
    // What its own uncertainty explains is no misreading, however exactly the others agree.
    let stands_out = suspect.p_value < 0.05 && suspect.off_by.abs() > 2.0 * evidence.levels[suspect.index].u;
    stands_out.then(|| LookAgain { reading: (*reading).to_owned(), off_by_mm: suspect.off_by, p_value: suspect.p_value })
}

/// The largest standard uncertainty at which the decision rule would settle a value: for the limit when the value is
/// inside, against it when outside; 0 when it stands on the limit.
pub(super) fn u_that_decides(value: f64, limit: Limit, decision: Decision) -> f64 {
    let risk = match decision {
        Decision::Simple { u_max } => return u_max,
        Decision::Guarded { risk } => risk,
    };
    let settled = |u: f64| {
        Measured::new(value, u).is_ok_and(|m| {
            let p = Decision::prob_conforms(m, limit);
            if limit.allows(value) { p >= 1.0 - risk } else { p <= risk }
        })
    };
    // Upwards from nothing: against a band, an uncertainty without bound makes conformity unlikely again, and shows nothing.
    let mut u = LEAST_U;
    while u < 1.0 && settled(u) {
        u *= 1.02;
    }
    if u > LEAST_U { u / 1.02 } else { 0.0 }
}

/// A fall is never asked to be known better than this.
const LEAST_U: f64 = 1e-6;

/// How many evenly spread levels would prove a plane in the middle of the band, from what one level is known to:
/// `u(fall) = u(level) sqrt(12 / n) / length`.
fn levels_from_nothing(part: &PartOfFloor, evidence: &Evidence, limit: Limit, asked: &Asked) -> usize {
    let middle = match limit {
        Limit::Between(min, max) => (min + max) / 2.0,
        Limit::AtLeast(min) => 1.25 * min,
        Limit::AtMost(max) => 0.75 * max,
    };
    let u_level = evidence.levels.iter().map(|l| l.u).fold(0.0, f64::max);
    let u_level = if u_level > 0.0 { u_level } else { crate::tin::U_SCREED_MM };
    let wanted = u_that_decides(middle, limit, asked.decision);
    let n = if part.length_mm > 0.0 && wanted > 0.0 { (12.0 * sq(u_level / (part.length_mm * wanted))).ceil() } else { f64::INFINITY };
    (n.min(IN_REASON as f64) as usize).max(asked.least).max(3)
}
