//! What the readings say of one detail, in a line a person can follow.

use super::asked::Asked;
use super::{Against, Known, LayerFilm, QUANTITY, words};
use crate::assess::settled::Settled;
use crate::assess::{Context, facts, limits, lines::Judged};
use film::thickness::{Dot, StratumOut};
use job::plan::Owed;
use measure::{Judgement, Limit, Verdict};
use room::register::Detail;
use rules::{Facts, Rule};

/// A coat may be missing from this probability on: said in the line.
const SAID: f64 = 0.05;
/// From this one on it is likelier than not, and looked into first.
const LIKELY: f64 = 0.5;

/// The film of a detail against a rule of the packs.
pub fn by_rule(context: &Context<'_>, owed: &Owed, detail: &Detail, rule: &Rule, known: &Facts) -> (Settled, Option<String>) {
    let limit = rule.asked_for(known).ok().flatten().and_then(|asked| asked.limit.min());
    let told = limit.and_then(|limit| {
        let asked = |asked: &Asked| asked.rule == rule.id && asked.limit_um == limit;
        told(context, owed, detail, asked)
    });
    told.unwrap_or_else(|| {
        let why = if limit.is_some() { "no film reading" } else { "the rule has no least film" };
        (Settled::unmeasured(rule, known, why, "read the film by gauge or cut-out and enter it in film.csv"), None)
    })
}

/// The film of a detail against its data sheet.
pub fn by_sheet(context: &Context<'_>, owed: &Owed, detail: &Detail) -> Option<(Settled, Option<String>)> {
    let rule = limits::sheet_rule(facts::sheet_of(context.job, detail)?);
    told(context, owed, detail, |asked| asked.rule == rule)
}

/// Details that owe no film reading and have one that falls short: it is not lost.
pub fn elsewhere<'a>(context: &'a Context<'a>, owed: &'a Owed) -> Vec<Judged<'a>> {
    let layers = context.job.membrane_layers();
    let mut short = Vec::new();
    for film in
        context.film.iter().filter(|film| owed.layer.is_none_or(|asked| asked.in_room(&layers).is_none_or(|layer| layer == film.layer)))
    {
        for detail in &context.job.register {
            let read = film.readings.iter().any(|reading| reading.detail == detail.id);
            if !read || owes_film(context, detail) {
                continue;
            }
            let worst =
                film.judged.iter().filter_map(|against| film.told(context, against, detail)).max_by_key(|(s, _)| s.judgement.verdict);
            if let Some((settled, from)) = worst.filter(|(settled, _)| settled.judgement.verdict == Verdict::FallsShort) {
                short.push(Judged { owed, detail: Some(detail), judgement: settled.judgement, settle: settled.settle, from });
            }
        }
    }
    short
}

/// Whether a line of the plan asks the film of a detail.
pub(super) fn owes_film(context: &Context<'_>, detail: &Detail) -> bool {
    let layers = context.job.membrane_layers();
    let lines = context.job.plan.hold_points.iter().flat_map(|hold| &hold.owed);
    lines.filter(|owed| owed.quantity.as_deref() == Some(QUANTITY)).any(|owed| owed.speaks_of(detail, &layers))
}

fn told(context: &Context<'_>, owed: &Owed, detail: &Detail, is: impl Fn(&Asked) -> bool) -> Option<(Settled, Option<String>)> {
    let layer = detail.layer.or(owed.layer.and_then(|asked| asked.in_room(&context.job.membrane_layers())));
    let film = context.film.iter().find(|film| layer.is_none_or(|layer| layer == film.layer))?;
    let against = film.judged.iter().find(|against| is(&against.asked))?;
    film.told(context, against, detail)
}

impl LayerFilm {
    /// The verdict on one detail, what would settle it, and where the deciding reading stands.
    fn told(&self, context: &Context<'_>, against: &Against, detail: &Detail) -> Option<(Settled, Option<String>)> {
        let stratum = self.stratum_of(context, detail)?;
        let known = &against.strata[stratum];
        let telling = Telling { film: self, asked: &against.asked, known, stratum };
        let (judgement, settle, from) = telling.of(detail);
        let judgement = match &against.asked.held {
            Some(why) => judgement.held_back(why),
            None => judgement,
        };
        Some((Settled { judgement, settle }, from))
    }
}

/// One stratum about to be told.
struct Telling<'a> {
    film: &'a LayerFilm,
    asked: &'a Asked,
    known: &'a Known,
    stratum: usize,
}

type Told = (Judgement, Option<String>, Option<String>);

impl Telling<'_> {
    fn of(&self, detail: &Detail) -> Told {
        match (&self.known.dry, &self.known.wet) {
            (Some(out), _) if out.n > 0 => self.own(out, detail).unwrap_or_else(|| self.of_stratum(out)),
            (_, Some(sum)) => {
                let judgement = Judgement { why: format!("{}: {}", self.words(), sum.judgement.why), ..sum.judgement.clone() };
                let settle = (judgement.verdict != Verdict::Conforms).then(|| self.next(judgement.verdict)).flatten();
                (judgement, settle, self.from(&sum.readings))
            }
            _ => self.nothing(),
        }
    }

    fn words(&self) -> &str {
        &self.film.strata[self.stratum].words
    }

    fn judgement(&self, verdict: Verdict, why: String) -> Judgement {
        let limit = self.asked.mean_um().or(self.asked.minimum_um()).unwrap_or(self.asked.limit_um);
        Judgement {
            verdict,
            limit: Some(Limit::AtLeast(limit)),
            why,
            ..Judgement::not_shown("um", &self.asked.rule, &self.asked.source, "")
        }
    }

    /// A detail whose own reading is shown under the minimum, or may be.
    fn own(&self, out: &StratumOut, detail: &Detail) -> Option<Told> {
        let of_detail = |dot: &&Dot| self.film.of_dot(dot).is_some_and(|i| self.film.readings[i].detail == detail.id);
        let worst = out.readings.iter().filter(of_detail).filter(|dot| dot.verdict.is_some_and(|verdict| verdict > Verdict::Conforms));
        let worst =
            worst.max_by(|a, b| a.verdict.cmp(&b.verdict).then(b.value_um.unwrap_or(b.lo_um).total_cmp(&a.value_um.unwrap_or(a.lo_um))))?;
        let (verdict, minimum) = (worst.verdict?, self.asked.minimum_um()?);
        // What the stratum says may be worse than a reading that only may be short.
        if verdict < out.unread.verdict {
            return None;
        }
        let i = self.film.of_dot(worst)?;
        let reading = &self.film.readings[i];
        let at = || reading.place.as_ref().map_or(String::new(), |place| format!(" {}", words::place(detail, [place.x_mm, place.y_mm])));
        let counted: Vec<usize> = out.readings.iter().filter(|dot| dot.counts).filter_map(|dot| self.film.of_dot(dot)).collect();
        let what = if out.n == 1 {
            format!("one reading of {}{}", words::read(reading), at())
        } else if out.readings.iter().filter(|dot| dot.counts).all(|dot| dot.verdict == Some(verdict)) {
            words::several(self.film, &counted)
        } else {
            format!("of {} readings one of {}{}", out.n, words::read(reading), at())
        };
        let may =
            if verdict == Verdict::NotShown { format!(", so near {minimum:.0} µm that it may lie on either side") } else { String::new() };
        let why = format!("{}: {what}, {}{may}{}", self.words(), self.asked.words(), self.coats(out));
        let value = worst.value_um;
        let u = value.and(reading.u_um);
        let judgement =
            Judgement { value, u, limit: Some(Limit::AtLeast(minimum)), grade: Some(reading.grade), ..self.judgement(verdict, why) };
        Some((judgement, self.next(verdict), Some(reading.from.clone())))
    }

    /// A detail that has its stratum's verdict.
    fn of_stratum(&self, out: &StratumOut) -> Told {
        let counted: Vec<usize> = out.readings.iter().filter(|dot| dot.counts).filter_map(|dot| self.film.of_dot(dot)).collect();
        let head = format!("{}: {}", self.words(), words::several(self.film, &counted));
        let why = if out.n < self.asked.least {
            format!("{head}, {}; too few, {} wanted{}", self.asked.words(), self.asked.least, self.coats(out))
        } else {
            format!("{head}; {}{}", out.unread.why, self.coats(out))
        };
        let grade = self.film.grade(counted.iter().copied());
        let judgement = Judgement { why, grade, rule: self.asked.rule.clone(), ..out.unread.clone() };
        let settle = (judgement.verdict != Verdict::Conforms || self.known.next.is_some()).then(|| self.next(judgement.verdict)).flatten();
        (judgement, settle, self.from(&counted))
    }

    /// Nothing that counts.
    fn nothing(&self) -> Told {
        let read: Vec<usize> = (0..self.film.readings.len()).filter(|i| self.film.of[*i] == self.stratum).collect();
        let why = match &self.known.refused {
            Some(refused) if !read.is_empty() => format!("{}: {refused}", self.words()),
            _ if read.is_empty() => format!("{}: no film reading, {}", self.words(), self.asked.words()),
            _ if read.iter().all(|i| !self.film.counts(*i)) => format!(
                "{}: a comb serves the field only, what it read here counts for nothing; the colour of each coat, reinforcement seen, a photograph or a cut-out shows this place",
                self.words()
            ),
            _ => format!("{}: {}, not of every coat in the film as it dried", self.words(), self.wet_words(&read)),
        };
        (self.judgement(Verdict::NotShown, why), self.next(Verdict::NotShown), None)
    }

    /// "wet readings of coat 1 only".
    fn wet_words(&self, read: &[usize]) -> String {
        let mut coats: Vec<String> =
            read.iter().map(|i| self.film.readings[*i].coat.map_or("a coat not named".into(), |coat| format!("coat {coat}"))).collect();
        coats.sort();
        coats.dedup();
        format!("wet readings of {} only", coats.join(", "))
    }

    /// "; with 97 % probability one coat where two were due".
    fn coats(&self, out: &StratumOut) -> String {
        match (out.prob_one_coat_short, &self.asked.coats) {
            (Some(p), Some(coats)) if p >= SAID => format!("; with {} probability {}", words::percent(p), words::one_fewer(coats.due)),
            _ => String::new(),
        }
    }

    /// What to read next.
    fn next(&self, verdict: Verdict) -> Option<String> {
        let next = self.known.next.as_ref()?;
        let out = self.known.dry.as_ref().filter(|out| out.n > 0);
        let likely_short = out.and_then(|out| out.prob_one_coat_short).is_some_and(|p| p >= LIKELY);
        let wanted =
            if next.wanted > 1 && verdict == Verdict::NotShown { format!("{} readings wanted; ", next.wanted) } else { String::new() };
        let more = out.filter(|out| out.n >= self.asked.least).and_then(|out| out.more_readings);
        let about = more.map_or(String::new(), |more| format!("; about {more} more would settle it if the mean stays where it is"));
        let look = if likely_short { "; look at the colour of the coats there" } else { "" };
        Some(format!("{wanted}next: {}{about}{look}", next.words))
    }

    /// Where the readings stand.
    fn from(&self, readings: &[usize]) -> Option<String> {
        let first = &self.film.readings[*readings.first()?].from;
        Some(match readings.len() {
            1 => first.clone(),
            n => format!("{first} and {} more", n - 1),
        })
    }
}
