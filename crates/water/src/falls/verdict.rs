//! One verdict for the floor.

use super::input::{Checked, Input};
use super::local::{BackFall, Patch};
use super::planes::{Asked, PlaneOut, limit_words};
use super::ways::Target;
use super::{Floor, LevelPerimeter, level_perimeter};
use measure::{Grade, Judgement, Limit, Verdict, ratio};

/// A pond seen sooner than this after the water stopped may still be running off. Common practice, no source.
const RUN_OFF_MINUTES: f64 = 5.0;

/// Water that stands after it was turned off is a wrong fall, seen by eye.
pub(super) fn ponds(input: &Input, asked: &Asked, notes: &mut Vec<String>) -> Option<Judgement> {
    let limit = Limit::AtMost(input.depth_ignored_mm);
    let standing = input.observed_ponds.iter().filter(|p| p.minutes > 0.0 && !limit.allows(p.depth_mm));
    let deepest = standing.max_by(|a, b| a.depth_mm.total_cmp(&b.depth_mm))?;
    if deepest.minutes < RUN_OFF_MINUTES {
        notes.push(format!("the pond was seen {} minutes after the water stopped; look again after {RUN_OFF_MINUTES}", deepest.minutes));
    }
    let n = deepest.outline_mm.len() as f64;
    let sum = deepest.outline_mm.iter().fold([0.0; 2], |s, p| [s[0] + p[0], s[1] + p[1]]);
    Some(Judgement {
        verdict: Verdict::FallsShort,
        value: Some(deepest.depth_mm),
        u: None,
        limit: Some(limit),
        unit: "mm".into(),
        prob_conforms: None,
        grade: Some(Grade::Seen),
        rule: asked.rule.into(),
        source: asked.source.into(),
        why: format!(
            "water {} mm deep was seen standing around ({:.0}, {:.0}) mm, {} minutes after it stopped: the floor falls the wrong way there",
            deepest.depth_mm,
            sum[0] / n,
            sum[1] / n,
            deepest.minutes
        ),
    })
}

/// The worst of planes, places and ponds. Without a limit nothing is judged.
pub(super) fn overall(
    asked: &Asked,
    floor: &Floor,
    planes: &[PlaneOut],
    back: &[BackFall],
    flat: &[Patch],
    steep: &[Patch],
    pond: Option<Judgement>,
) -> Judgement {
    let Some(limit) = asked.limit else {
        let but = back.first().map_or(String::new(), |b| format!(", but {}", back_words(b)));
        return pond.unwrap_or_else(|| Judgement::not_shown("ratio", asked.rule, asked.source, format!("no limit given{but}")));
    };
    let shown = |fall: f64, limit: Limit, why: String| Judgement {
        verdict: Verdict::FallsShort,
        value: Some(fall),
        u: None,
        limit: Some(limit),
        unit: "ratio".into(),
        prob_conforms: None,
        grade: Some(Grade::Measured),
        rule: asked.rule.into(),
        source: asked.source.into(),
        why,
    };
    if let Some(worst) = back.first() {
        let others = if back.len() > 1 {
            format!("; {}", more(back.len() - 1, "more place falls back", "more places fall back"))
        } else {
            String::new()
        };
        return shown(worst.fall, limit, format!("{}{others}", back_words(worst)));
    }
    if let Some(pond) = pond {
        return pond;
    }
    let worst_plane = planes.iter().filter(|p| p.judgement.verdict == Verdict::FallsShort).min_by(|a, b| {
        let p = |plane: &PlaneOut| plane.judgement.prob_conforms.unwrap_or(0.0);
        p(a).total_cmp(&p(b))
    });
    if let Some(plane) = worst_plane {
        return plane.judgement.clone();
    }
    for (patches, word) in [(flat, "flatter"), (steep, "steeper")] {
        if let Some(largest) = patches.iter().max_by(|a, b| a.area_m2.total_cmp(&b.area_m2)) {
            let area: f64 = patches.iter().map(|p| p.area_m2).sum();
            let why = format!(
                "{area:.2} m² is shown to be {word} than asked, {} near ({:.0}, {:.0}) mm; asked {}",
                ratio::words(largest.fall),
                largest.at_mm[0],
                largest.at_mm[1],
                limit_words(limit)
            );
            return shown(largest.fall, limit, why);
        }
    }
    if let Some(open) = planes.iter().find(|p| p.judgement.verdict == Verdict::NotShown) {
        let others = planes.iter().filter(|p| p.judgement.verdict == Verdict::NotShown).count() - 1;
        let mut judgement = open.judgement.clone();
        let cause = floor.levels.as_ref().and_then(|l| l.too_few()).filter(|_| planes.iter().all(|p| p.fall.is_none()));
        if let Some(cause) = cause {
            judgement.why = format!("{cause}; three or more that do not stand on one line make a plane");
        } else if others > 0 {
            judgement.why = format!("{}; {}", judgement.why, more(others, "more plane is not shown", "more planes are not shown"));
        }
        return judgement;
    }
    // Every plane conforms; the one nearest to not doing so speaks.
    let nearest = planes.iter().min_by(|a, b| {
        let p = |plane: &PlaneOut| plane.judgement.prob_conforms.unwrap_or(0.0);
        p(a).total_cmp(&p(b))
    });
    match nearest {
        Some(plane) if planes.len() > 1 => Judgement {
            why: format!("all {} planes conform; nearest to a limit {}", planes.len(), plane.judgement.why),
            ..plane.judgement.clone()
        },
        Some(plane) => plane.judgement.clone(),
        None => Judgement::not_shown("ratio", asked.rule, asked.source, "no part of the floor was read"),
    }
}

/// "1 more place falls back", "2 more places fall back".
fn more(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

fn back_words(b: &BackFall) -> String {
    format!(
        "the floor rises {:.1} mm towards the outlet between ({:.0}, {:.0}) and ({:.0}, {:.0}) mm",
        b.rise_mm, b.at_mm[0], b.at_mm[1], b.to_mm[0], b.to_mm[1]
    )
}

/// Whether a level edge could keep both limits, for a floor with one point waste.
pub(super) fn perimeter(checked: &Checked, floor: &Floor) -> Option<LevelPerimeter> {
    let [Target::Point(waste)] = checked.targets[..] else { return None };
    let Limit::Between(min, max) = checked.limit? else { return None };
    level_perimeter(&floor.outline, waste, min, max)
}
