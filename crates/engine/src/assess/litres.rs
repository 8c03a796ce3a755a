//! Does what was used agree with what was coated: the litres of each membrane against its area, the data sheet's film and
//! the film read.
//!
//! A stock that served several membranes or rooms is shared out by area, every coat counted: `L k A_here / (A_here +
//! A_elsewhere)`. What the litres leave is a mean over all of the area; it says nothing of where it is thin.

use super::Context;
use super::coats::{LayerLog, layer_of, layer_words, name, sheet_of_layer};
use super::limits::{self, Sourced};
use super::lines::{self, Judged};
use film::coverage::{self, Film, LitresBy, Output};
use film::thickness::Kind;
use job::Job;
use job::coats::{Amount, CoatWhat, Used};
use job::plan::Owed;
use measure::{Grade, Judgement, Verdict, math};
use room::nouns::MembraneLayer;
use room::sheet::DataSheet;

/// The quantity: the mean dry film the litres leave.
pub const FILM: &str = "film_by_litres_um";

/// What one membrane used up in this room.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Share {
    /// Litres, thinner included.
    pub litres: f64,
    /// Their standard uncertainty.
    pub u_litres: f64,
    /// Share lost, where the log says one.
    pub loss: Option<f64>,
    /// Coats these litres went into, by their place in the layer's log.
    pub coats: Vec<usize>,
    /// What each use gave a coat, in words.
    pub by_use: Vec<String>,
    /// Why litres that are logged could not be shared out.
    pub unknown: Vec<String>,
}

/// What a line of the plan on film by litres owes.
pub fn of<'a>(context: &'a Context<'a>, owed: &'a Owed) -> Vec<Judged<'a>> {
    let Some(layer) = layer_of(context.job, owed, None) else { return Vec::new() };
    let sheet = sheet_of_layer(context.job, layer);
    let mut asked: Vec<Sourced> = sheet.and_then(|sheet| limits::of_sheet(sheet, FILM)).into_iter().collect();
    asked.extend(lines::asked_of_room(context, FILM));
    let found = balance(context, layer, sheet);
    let judged = |judgement, settle: Option<String>| Judged { owed, detail: None, judgement, settle, from: None };
    let mut out: Vec<Judged<'a>> = Vec::new();
    for limit in &asked {
        let (judgement, settle) = against(context, limit, &found);
        out.push(judged(judgement, settle));
    }
    if let (Ok(balance), false) = (&found, asked.is_empty()) {
        out.extend(disagreement(layer, balance).map(|(judgement, settle)| judged(judgement, Some(settle))));
    }
    out
}

/// A membrane's litres over its area.
struct Balance {
    share: Share,
    area_m2: f64,
    input: coverage::Input,
    /// What keeps the litres from being those of the whole membrane.
    open: Vec<String>,
}

/// Sets out the balance, or why there is none.
fn balance(context: &Context<'_>, layer: MembraneLayer, sheet: Option<&DataSheet>) -> Result<Balance, String> {
    let what = layer_words(layer);
    let log = context.log(layer).filter(|log| !log.coats.is_empty()).ok_or(format!("no coat of the {what} is logged"))?;
    let share = share(context.job, &context.logs, log, sheet);
    if let Some(why) = share.unknown.first() {
        return Err(why.clone());
    }
    if share.coats.is_empty() {
        return Err(format!("nobody logged what the coats of the {what} used up"));
    }
    let coated = log.cover.area_of_claims(&share.coats);
    if !coated.unknown.is_empty() {
        return Err(format!(
            "the area coated is not known: the drawing does not say how high {} goes",
            super::words::names(&coated.unknown)
        ));
    }
    let solids = sheet.and_then(|sheet| sheet.solids_by_volume).ok_or("data-sheets.json does not say the solids by volume")?;
    let due = sheet.and_then(|sheet| sheet.coats);
    let each = sheet.and_then(|sheet| sheet.coat_um_dry);
    let thinning = thinning(log, &share.coats);
    let (wet, dry) = film_read(context, layer, solids / (1.0 + thinning.unwrap_or(0.0)));
    let input = coverage::Input {
        litres: Some(share.litres),
        u_litres: Some(share.u_litres),
        area_m2: coated.area_m2,
        solids_by_volume: solids,
        thinning,
        loss_share: share.loss,
        wet,
        dry,
        coats: due.filter(|due| *due >= 2).zip(each).map(|(due, each_um)| coverage::Coats { due, each_um }),
        decision: Some(lines::decision(context, FILM)),
        ..Default::default()
    };
    Ok(Balance { open: open(log, &share, due), area_m2: coated.area_m2, share, input })
}

/// Coats without litres, and coats due that nobody logged.
fn open(log: &LayerLog<'_>, share: &Share, due: Option<u32>) -> Vec<String> {
    let mut open = Vec::new();
    let without: Vec<String> = (0..log.coats.len()).filter(|i| !share.coats.contains(i)).map(|i| name(log.coats[i])).collect();
    if !without.is_empty() {
        open.push(format!("no litres are logged for {}", super::words::names(&without)));
    }
    let logged = log.cover.numbers().len();
    if let Some(due) = due.filter(|due| logged < *due as usize) {
        open.push(format!("{logged} of {due} coats are logged, and the litres of the rest are not known"));
    }
    open
}

/// What of all that is logged as used went into one membrane here.
pub fn share(job: &Job, logs: &[LayerLog<'_>], log: &LayerLog<'_>, sheet: Option<&DataSheet>) -> Share {
    of_coats(job, logs, log, CoatWhat::Coat, sheet.and_then(|sheet| sheet.density_kg_l))
}

/// The same of primer; its density is on no membrane's data sheet.
pub fn share_of_primer(job: &Job, logs: &[LayerLog<'_>], log: &LayerLog<'_>) -> Share {
    of_coats(job, logs, log, CoatWhat::Primer, None)
}

fn of_coats(job: &Job, logs: &[LayerLog<'_>], log: &LayerLog<'_>, what: CoatWhat, density_kg_l: Option<f64>) -> Share {
    let own = if what == CoatWhat::Coat { &log.coats } else { &log.primer };
    let mut share = Share::default();
    let (mut variance, mut lost) = (0.0, 0.0);
    for used in &job.coats.used {
        let here: Vec<usize> = (0..own.len()).filter(|i| used.coats.contains(&own[*i].id)).collect();
        if here.is_empty() {
            continue;
        }
        let Some((litres, u_litres)) = litres(used, density_kg_l) else {
            share.unknown.push(format!("{} is in kilograms, and data-sheets.json gives no density", used.id));
            continue;
        };
        let (cover, area) = (if what == CoatWhat::Coat { &log.cover } else { &log.primed }, area_of_use(logs, used));
        let here_m2: f64 = here.iter().map(|i| cover.area_of_claims(&[*i]).area_m2).sum();
        let all_m2 = area + used.elsewhere_m2.unwrap_or(0.0);
        if here_m2 <= 0.0 || all_m2 <= 0.0 {
            share.unknown.push(format!("{} went into coats whose area is not known", used.id));
            continue;
        }
        let part = here_m2 / all_m2;
        let u_part = part * used.u_elsewhere_m2.unwrap_or(used.elsewhere_m2.unwrap_or(0.0) * U_ELSEWHERE) / all_m2;
        share.litres += litres * part;
        variance += math::sq(u_litres * part) + math::sq(litres * u_part);
        lost += litres * part * used.loss_share.unwrap_or(0.0);
        share.by_use.push(format!("{}: {:.1} L over {here_m2:.1} m²", coat_names(own, &here), litres * part));
        share.coats.extend(here);
    }
    share.u_litres = variance.sqrt();
    share.loss = (lost > 0.0).then(|| lost / share.litres);
    share.coats.sort_unstable();
    share.coats.dedup();
    share
}

/// Share of an area elsewhere taken as its uncertainty where none is given: 2 % expanded as for a room's own, doubled for
/// a room nobody here measured (common practice, no source).
const U_ELSEWHERE: f64 = 0.02;

fn coat_names(own: &[&job::coats::Coat], which: &[usize]) -> String {
    super::words::names(&which.iter().map(|i| name(own[*i])).collect::<Vec<_>>())
}

/// Area of all coats of this room that a use went into, each coat's area for itself.
fn area_of_use(logs: &[LayerLog<'_>], used: &Used) -> f64 {
    let of = |log: &LayerLog<'_>| {
        let part = |coats: &[&job::coats::Coat], cover: &room::cover::Cover<'_>| -> f64 {
            (0..coats.len()).filter(|i| used.coats.contains(&coats[*i].id)).map(|i| cover.area_of_claims(&[i]).area_m2).sum()
        };
        part(&log.coats, &log.cover) + part(&log.primer, &log.primed)
    };
    logs.iter().map(of).sum()
}

/// Litres of one use with their standard uncertainty. Of a stock, before and after were found each for itself; what came in
/// between is printed on its packs.
fn litres(used: &Used, density_kg_l: Option<f64>) -> Option<(f64, f64)> {
    let (share, _) = used.how.unwrap_or(LitresBy::Eye).u_share();
    let (litres, u) = match used.amount()? {
        Amount::Kg(kg) => {
            let litres = kg / density_kg_l?;
            (litres, share * litres)
        }
        Amount::Litres(litres) => match used.stock_l() {
            Some((before, after)) => (litres, share * math::hypot(before, after)),
            None => (litres, share * litres),
        },
    };
    Some((litres, used.u_litres.unwrap_or(u)))
}

/// Thinner as a share of the product, the coats weighted by their area.
fn thinning(log: &LayerLog<'_>, coats: &[usize]) -> Option<f64> {
    let weighted = coats.iter().map(|i| (log.cover.area_of_claims(&[*i]).area_m2, log.coats[*i].thinning.unwrap_or(0.0)));
    let (area, sum) = weighted.fold((0.0, 0.0), |(area, sum), (m2, share)| (area + m2, sum + m2 * share));
    (sum > 0.0 && area > 0.0).then(|| sum / area)
}

/// The mean film of a membrane by its readings, wet and dry. Wet readings carried over by the solids are no evidence of the
/// solids: without a dry reading among them they are held against the wet film.
fn film_read(context: &Context<'_>, layer: MembraneLayer, dry_over_wet: f64) -> (Option<Film>, Option<Film>) {
    let Some(mean) = super::film::layer_mean(context, layer) else { return (None, None) };
    let film = |over: f64| Some(Film { mean_um: mean.dry_um.value() / over, u_um: mean.dry_um.u() / over });
    let read_dry = context.job.film.iter().any(|reading| reading.layer == layer && reading.kind == Kind::Dry);
    if read_dry { (None, film(1.0)) } else { (film(dry_over_wet), None) }
}

/// The mean film the litres leave against one limit.
fn against(context: &Context<'_>, limit: &Sourced, found: &Result<Balance, String>) -> (Judgement, Option<String>) {
    let none = |why: &str| Judgement { limit: Some(limit.limit), ..Judgement::not_shown("um", &limit.rule, &limit.source, why) };
    let settle = "weigh the pails, or count them, before and after each coat and enter them in coats.json".to_owned();
    let balance = match found {
        Ok(balance) => balance,
        Err(why) => return (none(why), Some(settle)),
    };
    let output = match coverage::run(&balance.input) {
        Ok(output) => output,
        Err(problems) => return (none(&problems.to_string().replace('\n', "; ")), Some(settle)),
    };
    let Ok(dry) = measure::Measured::new(output.dft_um, output.u_dft_um) else { return (none("the litres give no film"), Some(settle)) };
    let says = format!(
        "{:.1} L over {:.1} m² leave {:.0} µm dry; {} {} µm asked ({})",
        balance.share.litres,
        balance.area_m2,
        output.dft_um,
        limit.limit.words(),
        limit.limit.min().or(limit.limit.max()).unwrap_or_default(),
        balance.share.by_use.join("; ")
    );
    let decision = lines::decision(context, FILM);
    let mut judgement = Judgement::of(dry, limit.limit, decision, "um", &limit.rule, &limit.source, &says);
    judgement.grade = Some(Grade::Stated);
    // Litres still to come only add: what is enough already stays so.
    if judgement.verdict != Verdict::Conforms && !balance.open.is_empty() {
        return (judgement.held_back(&balance.open.join("; ")), Some("have the missing litres or coats logged".into()));
    }
    let settle = match judgement.verdict {
        Verdict::Conforms => None,
        Verdict::FallsShort => Some("see whether the coats and the litres are those of this area; measure the dry film".into()),
        Verdict::NotShown => Some("weigh the pails, and read the dry film at a few places".into()),
    };
    (judgement, settle)
}

/// What disagrees with the litres, and which way: a defect to look into, a line of its own.
fn disagreement(layer: MembraneLayer, balance: &Balance) -> Option<(Judgement, String)> {
    let output = coverage::run(&balance.input).ok().filter(|_| balance.open.is_empty())?;
    if output.points_at.is_empty() {
        return None;
    }
    let reasons: Vec<&str> = output.points_at.iter().map(|reason| reason.why.as_str()).collect();
    let why = format!("{}: {}", layer_words(layer), reasons.join("; and "));
    let worst = worst(&output)?;
    let source = "litres against film, both with their uncertainty (JCGM 100:2008, 5.1.2); 95 %";
    let judgement = Judgement {
        verdict: Verdict::FallsShort,
        value: Some(worst.difference_um),
        u: Some(worst.u_difference_um),
        grade: Some(Grade::Stated),
        ..Judgement::not_shown("um", "coverage/agreement", source, why)
    };
    Some((judgement, "look into it: the colour of the coats, the pails left over, a cut-out where it is thin".into()))
}

/// The comparison furthest off for its uncertainty.
fn worst(output: &Output) -> Option<&coverage::Compared> {
    let off = |compared: &&coverage::Compared| (compared.difference_um / compared.u_difference_um).abs();
    output.compared.iter().filter(|compared| !compared.agree).max_by(|a, b| off(a).total_cmp(&off(b)))
}
