//! Readings of the air judged at the hold point they were taken for.

use super::settled::Settled;
use super::{Context, facts, limits};
use air::climate::{Input, MarginRule, run};
use job::pattern;
use job::plan::HoldPoint;
use job::readings::ClimateReading;
use measure::{Decision, Grade, Judgement, Measured, Verdict};
use room::register::Detail;
use rules::{Facts, Rule};

/// Expanded uncertainty of a hygrometer after 15 minutes: 4 % RH, common practice, no source.
const EXPANDED_RH: f64 = 0.04;

/// Readings of the air that speak of a detail.
pub fn speaking<'a>(context: &'a Context<'_>, hold: &'a HoldPoint, detail: &'a Detail) -> impl Iterator<Item = &'a ClimateReading> {
    let speaks = |reading: &&ClimateReading| reading.detail.as_ref().is_none_or(|text| pattern::speaks_of(text, detail));
    context.job.climate.iter().filter(|reading| reading.hold_point == hold.id).filter(speaks)
}

/// The worst reading of the air against the margin and the membrane's data sheet.
pub fn judge(context: &Context<'_>, hold: &HoldPoint, detail: &Detail, rule: &Rule, decision: Decision) -> Settled {
    let readings = speaking(context, hold, detail);
    let sheet = facts::sheet_of(context.job, detail).map(limits::climate_of_sheet);
    let limit = rule.asked.first().map(|asked| asked.limit);
    let judged = readings.filter_map(|reading| {
        let margin = MarginRule { rule: rule.id.clone(), limit: limit?, source: rule.source(), held_back: rule.decides_nothing() };
        let input = Input {
            air_c: reading.air_c,
            rh: Some(reading.rh),
            surface_c: reading.surface_c,
            data_sheet: sheet.clone(),
            decision: Some(decision),
            ..Default::default()
        };
        let output = run(&input, &margin).ok()?;
        let when = reading.at.as_ref().map_or(String::new(), |at| format!(" on {}", super::words::time(at)));
        Some(Judgement { why: format!("{}{when}: {}", reading.what, output.judgement.why), ..output.judgement })
    });
    match judged.max_by_key(|judgement| judgement.verdict) {
        None => Settled::unmeasured(
            rule,
            &Facts::new(),
            "no reading of air and surface",
            "read air, humidity and surface while the coat goes on and enter them in climate.csv",
        ),
        Some(judgement) => {
            let settle =
                (judgement.verdict == Verdict::NotShown).then(|| "read again with a better instrument, or wait for a wider margin".into());
            Settled { judgement, settle }
        }
    }
}

/// The dampest reading of the air against a rule on humidity.
pub fn judge_rh(context: &Context<'_>, hold: &HoldPoint, detail: &Detail, rule: &Rule, decision: Decision) -> Settled {
    let judged = speaking(context, hold, detail).filter_map(|reading| {
        let measured = Measured::from_expanded(reading.rh, EXPANDED_RH).ok()?;
        let judgement = rule.judge(measured, 1, Grade::Measured, decision);
        Some(Judgement { why: format!("{}: {}", reading.what, judgement.why), ..judgement })
    });
    match judged.max_by_key(|judgement| judgement.verdict) {
        None => Settled::unmeasured(
            rule,
            &Facts::new(),
            "no reading of the air",
            "read the humidity while the coat goes on and enter it in climate.csv",
        ),
        Some(judgement) => Settled { judgement, settle: None },
    }
}
