//! What the plan owes at one hold point, line by line, with what is known of it.

use super::climate;
use super::coats;
use super::eye;
use super::facts;
use super::falls;
use super::film;
use super::found::Found;
use super::limits::{self, Sourced};
use super::litres;
use super::movement;
use super::result::{DepartureStanding, Line};
use super::{Context, departures};
use job::plan::{EvidenceOwed, HoldPoint, Owed};
use measure::{Decision, Judgement, Verdict};
use room::nouns::{LayerKind, MembraneLayer};
use room::register::{Detail, Face};
use rules::{Facts, Fit, Rule};

/// The one face of a recess that falls.
const SILL: &str = "sill";

/// One judged thing at one detail, before like results are put together.
pub struct Judged<'a> {
    /// Line of the plan.
    pub owed: &'a Owed,
    /// Detail; none for a paper.
    pub detail: Option<&'a Detail>,
    /// The verdict.
    pub judgement: Judgement,
    /// What would settle it, where the computation can say more than the plan.
    pub settle: Option<String>,
    /// Where the deciding reading stands: file and line.
    pub from: Option<String>,
}

/// Everything owed at a hold point.
pub fn of<'a>(context: &'a Context<'a>, hold: &'a HoldPoint) -> Vec<Judged<'a>> {
    let layers = context.job.membrane_layers();
    let mut judged = Vec::new();
    for owed in hold.owed.iter().filter(|owed| owed.evidence != EvidenceOwed::OutOfScope) {
        match owed.quantity.as_deref() {
            _ if owed.where_cut_out => judged.extend(film::patches(context, owed)),
            Some(coats::COUNT) => judged.extend(coats::of(context, owed)),
            Some(litres::FILM) => judged.extend(litres::of(context, owed)),
            _ if owed.details.is_empty() => judged.extend(of_room(context, hold, owed)),
            Some(film::QUANTITY) => {
                judged.extend(at_details(context, hold, owed, &layers));
                judged.extend(film::elsewhere(context, owed));
            }
            _ => judged.extend(at_details(context, hold, owed, &layers)),
        }
    }
    judged
}

fn at_details<'a>(context: &'a Context<'a>, hold: &'a HoldPoint, owed: &'a Owed, layers: &[MembraneLayer]) -> Vec<Judged<'a>> {
    let details = context.job.register.iter().filter(|detail| owed.speaks_of(detail, layers));
    details.flat_map(|detail| at_detail(context, hold, owed, detail)).collect()
}

/// Lines of the plan that were agreed to be out of scope.
pub fn out_of_scope(hold: &HoldPoint) -> usize {
    hold.owed.iter().filter(|owed| owed.evidence == EvidenceOwed::OutOfScope).count()
}

/// What is owed once for the room: a paper, or a quantity of the room as a whole where a rule limits it.
fn of_room<'a>(context: &'a Context<'a>, hold: &HoldPoint, owed: &'a Owed) -> Vec<Judged<'a>> {
    let judged = |judgement| Judged { owed, detail: None, judgement, settle: None, from: None };
    let Some(quantity) = owed.quantity.as_deref() else {
        return vec![judged(eye::judge_paper(context.job, owed))];
    };
    let known = context.applicable.complete(&Facts::new());
    let rules = context.applicable.of_room(&known).into_iter().filter(|(rule, _)| rule.written.quantity.as_deref() == Some(quantity));
    rules
        .map(|(rule, _)| {
            let here = context.found.iter().filter(|found| {
                found.quantity == quantity
                    && found.detail == job::readings::ROOM
                    && found.hold_point.as_ref().is_none_or(|at| *at == hold.id)
            });
            let decision = decision(context, quantity);
            let worst =
                here.map(|found| with_u(found, rule.judge_reading(&known, &found.reading, &[], decision))).max_by_key(|j| j.verdict);
            judged(worst.unwrap_or_else(|| rule.unmeasured(&known, "not measured")))
        })
        .collect()
}

/// The job's decision for a quantity.
pub fn decision(context: &Context<'_>, quantity: &str) -> Decision {
    let u_max = context.job.packs.quantity(quantity).map_or(0.0, |quantity| quantity.u_max);
    context.job.frame.decision.clone().unwrap_or_default().for_quantity(quantity, u_max)
}

/// A reading without an uncertainty decides nothing.
fn with_u(found: &Found, judgement: Judgement) -> Judgement {
    if found.has_u { judgement } else { judgement.held_back("no uncertainty is given with the reading") }
}

fn at_detail<'a>(context: &'a Context<'a>, hold: &HoldPoint, owed: &'a Owed, detail: &'a Detail) -> Vec<Judged<'a>> {
    let by_eye = || {
        vec![Judged { owed, detail: Some(detail), judgement: eye::judge(context.job, &hold.id, owed, detail), settle: None, from: None }]
    };
    let (EvidenceOwed::Measured, Some(quantity)) = (owed.evidence, owed.quantity.as_deref()) else {
        return by_eye();
    };
    let known = context.applicable.complete(&facts::of(context, detail));
    let rules = rules_for(context, owed, detail, quantity, &known);
    let sheet = facts::sheet_of(context.job, detail).and_then(|sheet| limits::of_sheet(sheet, quantity));
    let moved = if quantity == movement::WIDTH { movement::by_sheet(context, owed, hold, detail) } else { Vec::new() };
    if rules.is_empty() && sheet.is_none() && moved.is_empty() {
        return if owed.where_ruled { Vec::new() } else { by_eye() };
    }
    let asks = Asks { context, hold, owed, detail, quantity, known: &known };
    let mut judged: Vec<Judged<'a>> = rules.into_iter().map(|(rule, fit)| asks.by_rule(rule, fit)).collect();
    judged.extend(sheet.map(|sheet| asks.by_sheet(&sheet)));
    judged.extend(moved);
    judged
}

/// Rules on a quantity that fit a detail, or may. Among rules of which one way is enough, each stands for itself here.
fn rules_for<'a>(context: &'a Context<'a>, owed: &Owed, detail: &Detail, quantity: &str, known: &Facts) -> Vec<(&'a Rule, Fit)> {
    let upright = matches!(&detail.face, Face::Recess(_, face) if face != SILL);
    if upright && quantity.starts_with("fall") {
        return Vec::new();
    }
    let fitting = context.applicable.fitting(detail.kind, detail.zone, owed.stands_for.or(owed.surface), known);
    fitting.into_iter().filter(|(rule, _)| rule.written.quantity.as_deref() == Some(quantity)).collect()
}

/// What rules and the data sheet ask of a quantity at a detail; in place of a rule that decides nothing here, why.
pub fn asked<'a>(context: &'a Context<'a>, owed: &'a Owed, detail: &'a Detail, quantity: &str) -> Vec<Result<Sourced, Box<Judged<'a>>>> {
    let known = context.applicable.complete(&facts::of(context, detail));
    let rules = rules_for(context, owed, detail, quantity, &known);
    let open = |rule: &Rule, why: &str, settle: Option<String>| {
        Err(Box::new(Judged { owed, detail: Some(detail), judgement: rule.unmeasured(&known, why), settle, from: None }))
    };
    let mut asked: Vec<_> = rules
        .into_iter()
        .filter_map(|(rule, fit)| match (fit, rule.decides_nothing(), rule.asked_for(&known)) {
            (Fit::Unknown(unknown), ..) => {
                let unknown = unknown.join(", ").replace('_', " ");
                let why = format!("whether the rule applies is not known: {unknown}");
                Some(open(rule, &why, Some(format!("enter {unknown} in the job folder"))))
            }
            (_, Some(why), _) => Some(open(rule, &why, None)),
            (_, None, Err(why)) => Some(open(rule, &why, None)),
            (_, None, Ok(limit)) => Some(Ok(sourced(rule, limit?.limit))),
        })
        .collect();
    asked.extend(facts::sheet_of(context.job, detail).and_then(|sheet| limits::of_sheet(sheet, quantity)).map(Ok));
    asked
}

/// What rules ask of a quantity of the room as a whole.
pub fn asked_of_room(context: &Context<'_>, quantity: &str) -> Vec<Sourced> {
    let known = context.applicable.complete(&Facts::new());
    let rules = context.applicable.of_room(&known).into_iter().map(|(rule, _)| rule);
    let speaking = rules.filter(|rule| rule.written.quantity.as_deref() == Some(quantity) && rule.decides_nothing().is_none());
    speaking.filter_map(|rule| Some(sourced(rule, rule.asked_for(&known).ok()??.limit))).collect()
}

fn sourced(rule: &Rule, limit: measure::Limit) -> Sourced {
    Sourced { limit, rule: rule.id.clone(), source: rule.source() }
}

/// One measured thing asked of one detail.
struct Asks<'a, 'b> {
    context: &'a Context<'a>,
    hold: &'b HoldPoint,
    owed: &'a Owed,
    detail: &'a Detail,
    quantity: &'b str,
    known: &'b Facts,
}

impl<'a> Asks<'a, '_> {
    fn judged(&self, judgement: Judgement, settle: Option<String>) -> Judged<'a> {
        Judged { owed: self.owed, detail: Some(self.detail), judgement, settle, from: None }
    }

    fn decision(&self) -> Decision {
        decision(self.context, self.quantity)
    }

    fn by_rule(&self, rule: &Rule, fit: Fit) -> Judged<'a> {
        if let Fit::Unknown(unknown) = fit {
            let why = format!("whether the rule applies is not known: {}", unknown.join(", ").replace('_', " "));
            let settle = format!("enter {} in the job folder", unknown.join(", ").replace('_', " "));
            return self.judged(rule.unmeasured(self.known, &why), Some(settle));
        }
        let (context, owed, hold, detail, known, decision) = (self.context, self.owed, self.hold, self.detail, self.known, self.decision());
        let settled = match self.quantity {
            "fall" => falls::judge(context, owed, detail, rule, known, decision),
            "fall_least" if owed.surface.is_some() => falls::judge_least(context, owed, detail, rule, known, decision),
            "pond_depth_mm" => falls::judge_ponds(context, owed, detail, rule, known, decision),
            "air_rh" => climate::judge_rh(context, hold, detail, rule, decision),
            "dew_margin_k" => climate::judge(context, hold, detail, rule, decision),
            film::QUANTITY => {
                let (settled, from) = film::by_rule(context, owed, detail, rule, known);
                return Judged { from, ..self.judged(settled.judgement, settled.settle) };
            }
            _ => {
                let judge = |found: &Found| rule.judge_reading(known, &found.reading, &[], decision);
                return self.worst(judge, || rule.unmeasured(known, "not measured"));
            }
        };
        self.judged(settled.judgement, settled.settle)
    }

    fn by_sheet(&self, sheet: &Sourced) -> Judged<'a> {
        if self.quantity == film::QUANTITY
            && let Some((settled, from)) = film::by_sheet(self.context, self.owed, self.detail)
        {
            return Judged { from, ..self.judged(settled.judgement, settled.settle) };
        }
        let unit = self.context.job.packs.quantity(self.quantity).map_or("", |q| q.unit.as_str());
        let judge = |found: &Found| {
            let measured = found.reading.measured;
            let shown = measure::bounds::unit_words(unit);
            let says =
                format!("{} {shown}; the data sheet asks {} {}", measured.value(), sheet.limit.words(), bounds_words(sheet.limit, shown));
            let judgement = Judgement::of(measured, sheet.limit, self.decision(), unit, &sheet.rule, &sheet.source, &says);
            Judgement { grade: Some(found.reading.grade), ..judgement }
        };
        let none = || Judgement { limit: Some(sheet.limit), ..Judgement::not_shown(unit, &sheet.rule, &sheet.source, "not measured") };
        self.worst(judge, none)
    }

    /// The worst of all readings of this quantity here; `none` without any.
    fn worst(&self, judge: impl Fn(&Found) -> Judgement, none: impl Fn() -> Judgement) -> Judged<'a> {
        let here = self.context.found.iter().filter(|found| {
            found.quantity == self.quantity
                && found.detail == self.detail.id
                && found.hold_point.as_ref().is_none_or(|at| *at == self.hold.id)
        });
        // What is asked on the tile is not answered by where the tile is expected to lie.
        let on_tile = self.owed.surface == Some(LayerKind::Tile);
        let worst = here
            .filter(|found| !(on_tile && found.foreseen))
            .map(|found| (with_u(found, judge(found)), &found.from))
            .max_by_key(|(judgement, _)| judgement.verdict);
        match worst {
            Some((judgement, from)) => Judged { from: Some(from.clone()), ..self.judged(judgement, None) },
            None => self.judged(none(), None),
        }
    }
}

/// "100 mm", "10 to 35 °C".
fn bounds_words(limit: measure::Limit, unit: &str) -> String {
    match (limit.min(), limit.max()) {
        (Some(min), Some(max)) => format!("{min} and {max} {unit}"),
        (Some(one), None) | (None, Some(one)) => format!("{one} {unit}"),
        (None, None) => String::new(),
    }
}

/// Puts together what has the same result, and says what to do next.
pub fn lines(context: &Context<'_>, hold: &HoldPoint, judged: &[Judged<'_>]) -> Vec<Line> {
    let mut lines: Vec<Line> = Vec::new();
    for one in judged {
        let id = one.detail.map(|detail| detail.id.clone());
        let departure = one.detail.and_then(|detail| departures::of(context.job, detail, &one.judgement.rule));
        let same = lines.iter_mut().find(|line| {
            line.owed == one.owed.id
                && line.judgement == one.judgement
                && line.departure == departure
                && same_group(context, line, one.detail)
        });
        match (same, one.detail) {
            (Some(line), Some(detail)) => {
                line.details.push(detail.id.clone());
                line.names.push(detail.name.clone());
            }
            _ => lines.push(Line {
                owed: one.owed.id.clone(),
                details: id.into_iter().collect(),
                names: one.detail.map(|detail| detail.name.clone()).into_iter().collect(),
                right: one.owed.right.clone(),
                evidence: one.owed.evidence,
                point: one.owed.point,
                whose: one.owed.whose,
                judgement: one.judgement.clone(),
                departure,
                explains: None,
                next: one.settle.clone(),
                from: one.from.clone(),
            }),
        }
    }
    for line in &mut lines {
        line.next = next(context, hold, line);
        line.explains = movement::explains(context, hold, line);
    }
    lines
}

fn same_group(context: &Context<'_>, line: &Line, detail: Option<&Detail>) -> bool {
    let group_of = |id: &String| context.job.register.iter().find(|d| d.id == *id).map(|d| d.group.as_str());
    line.details.first().and_then(group_of) == detail.map(|detail| detail.group.as_str())
}

/// What to do about a line, where it stands.
fn next(context: &Context<'_>, hold: &HoldPoint, line: &Line) -> Option<String> {
    match (line.judgement.verdict, line.departure) {
        (Verdict::Conforms, _) | (Verdict::FallsShort, Some(DepartureStanding::Accepted)) => None,
        (Verdict::FallsShort, Some(DepartureStanding::Open)) => Some("have the departure accepted or refused".into()),
        (Verdict::FallsShort, None) => {
            let more = line.next.as_ref().map_or(String::new(), |settle| format!("; {settle}"));
            Some(format!("have it put right and look again, or argue a departure{more}"))
        }
        (Verdict::NotShown, _) if line.next.is_some() => line.next.clone(),
        (Verdict::NotShown, _) => Some(match line.evidence {
            _ if line.judgement.why.contains("rule not verified") => {
                "have someone who holds the standard enter the limit in pack.json, or agree one for the project".into()
            }
            EvidenceOwed::Measured => measure_next(context, hold, line),
            EvidenceOwed::Photographed => "photograph it".into(),
            EvidenceOwed::Stated => "ask for it".into(),
            EvidenceOwed::Seen | EvidenceOwed::OutOfScope if line.judgement.why.contains(eye::NO_PHOTOGRAPH) => "photograph it".into(),
            EvidenceOwed::Seen | EvidenceOwed::OutOfScope => "look at it".into(),
        }),
    }
}

fn measure_next(context: &Context<'_>, hold: &HoldPoint, line: &Line) -> String {
    let owed = hold.owed.iter().find(|owed| owed.id == line.owed);
    let quantity = owed.and_then(|owed| context.job.packs.quantity(owed.quantity.as_deref()?));
    match quantity {
        Some(quantity) => format!("measure it: {}", quantity.measured),
        None => "measure it".into(),
    }
}
