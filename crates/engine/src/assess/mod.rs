//! May this layer be covered? The register, the plan, the packs and all evidence to one answer.
//!
//! [`run`] returns every result and everything it could not judge; nothing stops half-way. How an answer comes about: the
//! plan says what is owed at a hold point for each kind of detail ([`lines`]); what was measured ([`found`], [`falls`],
//! [`climate`], [`film`]) is judged by the rules that fit, what is owed by eye by the looks ([`eye`]); the water each detail sees
//! ([`water`]) puts the groups in order.

mod climate;
mod coats;
mod departures;
mod drawn;
mod eye;
mod facts;
mod falls;
mod film;
mod finished;
mod floor;
mod found;
pub mod limits;
mod lines;
mod litres;
pub(crate) mod materials;
mod movement;
mod result;
mod settled;
mod standing;
mod strokes;
mod water;
mod words;

pub use coats::CoatDrawn;
pub use drawn::{DrawnFloor, DrawnPart};
pub use film::{DotDrawn, FaceGrid, FilmDrawn, LayerMean, MapDrawn, StratumDrawn};
pub use floor::Floor;
pub use result::*;
pub use strokes::{StrokesDrawn, TileDrawn};

use found::Found;
use job::Job;
use job::plan::HoldPoint;
use measure::{Problem, Problems, Verdict};
use room::nouns::{LayerKind, MembraneLayer};
use room::register::{self, Detail};
use rules::Applicable;

/// What is asked.
#[derive(Clone, Copy, Debug, Default)]
pub struct Options<'a> {
    /// Hold point; without it the first one not released.
    pub hold_point: Option<&'a str>,
    /// The moment for which releases are judged, RFC 3339. Without it no release lapses by age.
    pub now: Option<&'a str>,
    /// Also compute what drawings need.
    pub drawings: bool,
}

/// An assessment, and the measured floors it was made from, for drawings.
pub struct Assessed {
    /// The answer.
    pub assessment: Assessment,
    /// Measured surfaces, lowest layer first.
    pub floors: Vec<Floor>,
    /// The same floors, computed for drawing.
    pub drawn: Vec<DrawnFloor>,
    /// Film readings of each membrane that was read, computed for drawing.
    pub film: Vec<FilmDrawn>,
    /// Litres a day at each detail by id, where a surface was measured.
    pub litres: Vec<(String, f64)>,
    /// Which way the coats were laid, one for each photograph that could be looked at.
    pub strokes: Vec<StrokesDrawn>,
    /// Coats by membrane and number, with what they do not cover; only with drawings.
    pub coats: Vec<CoatDrawn>,
}

/// Everything known, once.
pub(crate) struct Context<'a> {
    pub job: &'a Job,
    pub applicable: Applicable,
    pub floors: &'a [Floor],
    pub regions: Vec<floor::Region>,
    pub found: Vec<Found>,
    pub logs: Vec<coats::LayerLog<'a>>,
    pub film: Vec<film::LayerFilm>,
}

impl<'a> Context<'a> {
    /// The log of a membrane's coats.
    pub fn log(&self, layer: MembraneLayer) -> Option<&coats::LayerLog<'a>> {
        self.logs.iter().find(|log| log.layer == layer)
    }

    /// The measured surface of a layer.
    pub fn floor(&self, layer: LayerKind) -> Option<&Floor> {
        self.floors.iter().find(|floor| floor.layer == layer)
    }

    /// Depth of water that the rules let pass as held by surface tension.
    pub fn pond_depth_ignored_mm(&self) -> f64 {
        self.applicable.of_quantity("pond_depth_mm").find_map(|rule| rule.asked.first()?.limit.max()).unwrap_or(0.0)
    }
}

/// Cautions that always stand beside a result.
const CAUTIONS: [&str; 2] = [
    "Results support a competent person's judgement. They do not replace the adopted code, the membrane maker's data sheet or licensed practice.",
    "Before drilling or cutting: locate services and heating cables, isolate, and leave electricity, gas and water to licensed trades.",
];

/// Exit code when something is not shown.
const NOT_SHOWN: i32 = 3;
/// Exit code when only departures are open.
const ONLY_DEPARTURES: i32 = 4;

/// Steps listed under what to do next.
const NEXT: usize = 8;

/// Assesses a job.
///
/// # Errors
/// A hold point the plan has not, or a moment that is not a time.
pub fn run(job: &Job, options: &Options<'_>) -> Result<Assessed, Problems> {
    let now = options.now.map(read_time).transpose()?;
    let regions = floor::regions(job);
    let (floors, mut notes) = floor::all(job, &regions);
    let applicable = job.packs.applicable(&job.frame.of_rules());
    let finished = finished::Finished::of(&floors);
    let found = found::all(job, finished.as_ref());
    let mut context = Context { job, applicable, floors: &floors, regions, found, logs: coats::logs(job), film: Vec::new() };
    let water = water::run(&context);
    context.film = film::all(&context, &water);
    let holds = hold_points(job);
    let ids: Vec<String> = holds.iter().map(|hold| hold.id.clone()).collect();
    let judged: Vec<(&HoldPoint, Vec<Line>)> =
        holds.iter().map(|hold| (*hold, lines::lines(&context, hold, &lines::of(&context, hold)))).collect();
    let summaries: Vec<HoldPointSummary> =
        judged.iter().enumerate().map(|(i, (hold, lines))| summary(job, hold, lines, &ids[i + 1..], now)).collect();
    let asked = pick(&summaries, options.hold_point, job)?;
    let (hold, lines) = judged.into_iter().nth(asked).expect("picked from the list");
    notes.extend(gather_notes(&context, finished.as_ref(), &water));
    let (strokes, seen) = strokes::all(job, &hold.id);
    notes.extend(seen);
    notes.extend(coats::notes(&context, hold));
    let (materials, material_notes) = materials::all(&context);
    notes.extend(material_notes);
    notes.extend(movement::notes(&context, hold));
    let groups = groups(&context, lines, &water);
    let assessment = Assessment {
        job: head(job),
        packs: packs(&context.applicable),
        decision: decision_words(job),
        hold_point: hold.id.clone(),
        answer: answer(hold, &summaries[asked]),
        exit_code: exit_code(&summaries[asked]),
        next: groups.iter().flat_map(|group| group.lines.iter().filter_map(|line| next_step(group, line))).take(NEXT).collect(),
        hold_points: summaries,
        groups,
        notes,
        water: water.balance,
        materials,
        cautions: CAUTIONS.map(Into::into).to_vec(),
    };
    let (drawn, film) = if options.drawings { (drawn::all(&context), film::drawings(&context)) } else { Default::default() };
    let coats = if options.drawings { coats::drawn(&context) } else { Vec::new() };
    drop(context);
    Ok(Assessed { assessment, litres: water.litres, drawn, film, floors, coats, strokes })
}

fn read_time(text: &str) -> Result<jiff::Timestamp, Problems> {
    text.parse()
        .map_err(|_| Problem::at("at", "not a time with an offset", "RFC 3339, such as 2024-02-21T16:40:00+11:00").value(text).into())
}

/// The plan's hold points that this room has.
fn hold_points(job: &Job) -> Vec<&HoldPoint> {
    let layers = job.membrane_layers();
    let has_screed = match &job.room.build_up {
        None => true,
        Some(build_up) => {
            let preset = build_up.preset.is_some_and(|preset| preset != room::nouns::BuildUpPreset::Bonded);
            preset || build_up.zones.iter().flat_map(|zone| &zone.layers).any(|layer| layer.kind == LayerKind::Screed)
        }
    };
    let has = |hold: &&HoldPoint| {
        hold.needs_layer.is_none_or(|layer| layers.is_empty() || layers.contains(&layer)) && (!hold.needs_screed || has_screed)
    };
    job.plan.hold_points.iter().filter(has).collect()
}

fn summary(job: &Job, hold: &HoldPoint, lines: &[Line], later: &[String], now: Option<jiff::Timestamp>) -> HoldPointSummary {
    let lapses_days = job.frame.release_lapses_days.unwrap_or(job.plan.release_lapses_days);
    let standing = standing::of(&hold.id, later, &job.evidence.entries, lapses_days, now);
    let mut counts = Counts { out_of_scope: lines::out_of_scope(hold), ..Default::default() };
    lines.iter().for_each(|line| counts.add(line));
    HoldPointSummary {
        id: hold.id.clone(),
        title: hold.title.clone(),
        covers: hold.covers.clone(),
        state: standing.state,
        says: standing.says,
        counts,
    }
}

/// The asked hold point, or the first not released, or the last.
fn pick(summaries: &[HoldPointSummary], asked: Option<&str>, job: &Job) -> Result<usize, Problems> {
    let known = || summaries.iter().map(|hold| hold.id.as_str()).collect::<Vec<_>>().join(", ");
    match asked {
        None => Ok(summaries.iter().position(|hold| !hold.state.is_released()).unwrap_or(summaries.len().saturating_sub(1))),
        Some(id) => summaries.iter().position(|hold| hold.id == id).ok_or_else(|| {
            let what = if job.plan.hold_point(id).is_some() { "this room has no such layer" } else { "the plan has no such hold point" };
            Problem::at("hold_point", what, format!("one of: {}", known())).value(id).into()
        }),
    }
}

/// Lines by group, in the order of risk: water seen, then how easily it fails, then how little was shown.
fn groups(context: &Context<'_>, lines: Vec<Line>, water: &water::Water) -> Vec<GroupResult> {
    let register = &context.job.register;
    let mut results: Vec<GroupResult> = Vec::new();
    let known = register::groups(register);
    for line in lines {
        let detail = line.details.first().and_then(|id| register.iter().find(|detail| detail.id == *id));
        let id = detail.map_or("", |detail| detail.group.as_str());
        match results.iter_mut().find(|group| group.id == id) {
            Some(group) => group.lines.push(line),
            None => results.push(new_group(context, id, &known, detail, line, water)),
        }
    }
    for group in &mut results {
        group.lines.sort_by_key(|line| std::cmp::Reverse(line.judgement.verdict));
        group.verdict = group.lines.first().map_or(Verdict::NotShown, |line| line.judgement.verdict);
    }
    results.sort_by(|a, b| {
        let shown = |group: &GroupResult| std::cmp::Reverse(group.verdict);
        a.band.cmp(&b.band).then(b.vulnerability.total_cmp(&a.vulnerability)).then(shown(a).cmp(&shown(b))).then(a.id.cmp(&b.id))
    });
    results
}

/// A step as one would say it on the way there: where, then what.
fn next_step(group: &GroupResult, line: &Line) -> Option<String> {
    let place = if line.names.is_empty() || line.names.len() == group.size { group.words.clone() } else { words::names(&line.names) };
    Some(format!("{place}: {} ({})", line.next.as_ref()?, line.right))
}

fn new_group(
    context: &Context<'_>,
    id: &str,
    known: &[register::Group],
    detail: Option<&Detail>,
    line: Line,
    water: &water::Water,
) -> GroupResult {
    let members = context.job.register.iter().filter(|detail| !id.is_empty() && detail.group == id);
    let litres = members.filter_map(|detail| water.of(&detail.id)).max_by(f64::total_cmp);
    GroupResult {
        id: id.into(),
        words: known.iter().find(|group| group.id == id).map_or("the room as a whole".into(), |group| group.words.clone()),
        size: context.job.register.iter().filter(|detail| !id.is_empty() && detail.group == id).count(),
        verdict: line.judgement.verdict,
        band: water.band(context.job, detail, litres),
        litres_per_day: litres,
        vulnerability: detail.map_or(0.0, |detail| context.job.weights.vulnerability(detail.kind)),
        lines: vec![line],
    }
}

fn gather_notes(context: &Context<'_>, finished: Option<&finished::Finished<'_>>, water: &water::Water) -> Vec<String> {
    let job = context.job;
    let mut notes = context.applicable.notes.clone();
    notes.extend(context.applicable.undecided.iter().map(|open| format!("{} may hold: {}", open.rule.id, open.why)));
    notes.extend(class_notes(context));
    notes.extend(context.floors.iter().flat_map(|floor| floor.assumed.iter().map(move |assumed| format!("{}: {assumed}", floor.file))));
    notes.extend(job.surveys.iter().flat_map(survey_notes));
    notes.extend(finished.map(finished::Finished::words));
    notes.extend(falls::feasibility(context));
    notes.extend(film::notes(context));
    notes.extend(water.note.clone());
    let unknown: Vec<String> =
        job.register.iter().flat_map(|detail| &detail.unknown).cloned().collect::<std::collections::BTreeSet<_>>().into_iter().collect();
    if !unknown.is_empty() {
        notes.push(format!("the drawing does not say: {}", unknown.join("; ")));
    }
    if job.agreed.is_none() {
        notes.push("nobody has agreed the plan yet (plan.json, agreed)".into());
    }
    notes.extend(job.notes.iter().cloned());
    notes.extend(job.unread.iter().map(|file| format!("{file} was not read: this version does not know the file")));
    notes
}

/// What must be said of a membrane's class by elongation.
fn class_notes(context: &Context<'_>) -> Vec<String> {
    let classes =
        context.job.sheets.iter().filter_map(|sheet| Some((sheet, context.applicable.membrane_class(sheet.elongation_percent?)?)));
    classes.filter_map(|(sheet, class)| Some(format!("data sheet {}, class {}: {}", sheet.id, class.id, class.note?))).collect()
}

/// What was noticed in a level file.
fn survey_notes(survey: &job::folder::LayerSurvey) -> Vec<String> {
    let found = &survey.survey;
    let file = &survey.file;
    let misclosed = found.misclosure.iter().filter(|m| !m.closes).map(|m| {
        format!("{file}: station {} does not close: {:.1} mm over the back-sights, {:.1} mm allowed", m.station, m.size_mm, m.allowed_mm)
    });
    let suspects = found.suspects.iter().map(|suspect| {
        let likely = suspect.likely.as_ref().map_or(String::new(), |likely| format!("; perhaps {likely} was meant"));
        format!(
            "{file}:{}: {} lies {:.1} mm off its neighbours (written {}){likely}; it was used as it stands",
            suspect.line, suspect.name, suspect.off_by_mm, suspect.written
        )
    });
    let notes = found.notes.iter().map(|note| format!("{file}: {note}"));
    notes.chain(misclosed).chain(suspects).collect()
}

fn head(job: &Job) -> JobHead {
    let frame = &job.frame;
    let dwelling = match (frame.site.as_deref(), frame.dwelling.as_deref()) {
        // A number follows its street: "Mill Lane 7".
        (Some(site), Some(number)) if number.starts_with(|c: char| c.is_ascii_digit()) => Some(format!("{site} {number}")),
        (Some(site), Some(name)) => Some(format!("{site}, {name}")),
        (site, dwelling) => site.or(dwelling).map(str::to_owned),
    };
    let room = Some(job.room.name.clone()).filter(|name| !name.is_empty());
    let names: Vec<String> = [dwelling, room].into_iter().flatten().collect();
    JobHead {
        name: if names.is_empty() { "a room without a name".into() } else { names.join(", ") },
        basis_date: frame.basis_date.clone(),
        building_class: frame.building_class.clone(),
        place: frame.place.as_ref().map(|place| match &place.state {
            Some(state) => format!("{}, {state}", place.country),
            None => place.country.clone(),
        }),
        drawing_revision: frame.drawing_revision.clone(),
    }
}

fn packs(applicable: &Applicable) -> Vec<PackUsed> {
    applicable
        .packs
        .iter()
        .map(|pack| PackUsed { pack: pack.title.clone(), editions: pack.editions.clone(), sha256: pack.sha256.clone() })
        .collect()
}

fn decision_words(job: &Job) -> String {
    match job.frame.decision.clone().unwrap_or_default() {
        job::frame::JobDecision::Simple { .. } => {
            "Simple acceptance: a value decides as it stands while its uncertainty is small enough; what is not proved to 95 % says so."
                .into()
        }
        job::frame::JobDecision::Guarded { risk } => {
            format!("Guarded acceptance: conforms only when that is at least {} % sure.", (1.0 - risk) * 100.0)
        }
    }
}

/// The exit code of a hold point. What was shown before a release lapsed is not shown any more.
fn exit_code(summary: &HoldPointSummary) -> i32 {
    match summary.counts.exit_code() {
        0 | ONLY_DEPARTURES if summary.state == State::Lapsed => NOT_SHOWN,
        code => code,
    }
}

fn answer(hold: &HoldPoint, summary: &HoldPointSummary) -> String {
    let counts = &summary.counts;
    let count = |n: usize, one: &str, many: &str| (n > 0).then(|| format!("{n} {}", if n == 1 { one } else { many }));
    let open: Vec<String> = [
        count(counts.falls_short, "falls short", "fall short"),
        count(counts.not_shown, "is not shown", "are not shown"),
        count(counts.open_departures, "departs from a rule and waits for acceptance", "depart from a rule and wait for acceptance"),
    ]
    .into_iter()
    .flatten()
    .collect();
    let verdict = match exit_code(summary) {
        _ if summary.state == State::Lapsed && counts.exit_code() == 0 => {
            "Not any more: the release lapsed, look again before it is covered.".into()
        }
        0 => format!("Yes: nothing is open. {} of the plan's lines conform.", counts.conforms),
        _ => format!("Not yet: {}.", open.join(", ")),
    };
    format!("{}: may it be covered by {}? {verdict} State: {}.", hold.title, hold.covers, summary.says)
}
