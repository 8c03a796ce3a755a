//! Results by eye: what a look says of a detail, against what the plan asks.

use job::Job;
use job::evidence::{Entry, LookResult};
use job::pattern;
use job::plan::{EvidenceOwed, Owed};
use measure::{Grade, Judgement, Verdict};
use room::register::Detail;

/// The rule named in a result by eye: the plan's line.
fn rule(owed: &Owed) -> String {
    format!("plan/{}", owed.id)
}

/// How a missing photograph is said.
pub const NO_PHOTOGRAPH: &str = "no photograph of it";

const SOURCE: &str = "the job's inspection and test plan";

/// What the looks say of one detail; without one it is not shown.
pub fn judge(job: &Job, hold_point: &str, owed: &Owed, detail: &Detail) -> Judgement {
    let looks = job.evidence.entries.iter().filter_map(|entry| Look::of(entry, hold_point, owed, detail));
    let Some(latest) = looks.max_by_key(|look| look.at) else {
        return not_shown(owed, None, &missing(owed));
    };
    latest.judge(owed, other_photographs(job, hold_point, owed, detail))
}

/// What a paper says; without one it is not shown.
pub fn judge_paper(job: &Job, owed: &Owed) -> Judgement {
    let paper = job.evidence.entries.iter().find_map(|entry| match entry {
        Entry::Paper { answers, what, by, at } if *answers == owed.id => Some(format!("{what}, {by}, {}", super::words::time(at))),
        _ => None,
    });
    match paper {
        Some(what) => Judgement { verdict: Verdict::Conforms, grade: Some(Grade::Stated), why: what, ..not_shown(owed, None, "") },
        None => not_shown(owed, None, "no paper"),
    }
}

struct Look<'a> {
    result: LookResult,
    grade: Grade,
    photographs: &'a [String],
    by: &'a str,
    note: Option<&'a str>,
    at: Option<jiff::Timestamp>,
}

impl<'a> Look<'a> {
    /// The look, if it speaks of this detail, at this hold point, for this line.
    fn of(entry: &'a Entry, hold_point: &str, owed: &Owed, detail: &Detail) -> Option<Self> {
        let Entry::Look { hold_point: at_point, details, except, answers, result, grade, photographs, by, at, note } = entry else {
            return None;
        };
        let speaks = at_point == hold_point
            && answers.as_ref().is_none_or(|line| *line == owed.id)
            && details.iter().any(|text| pattern::speaks_of(text, detail))
            && !except.iter().any(|text| pattern::speaks_of(text, detail));
        speaks.then(|| Self { result: *result, grade: *grade, photographs, by, note: note.as_deref(), at: at.parse().ok() })
    }

    fn judge(&self, owed: &Owed, photographed_elsewhere: bool) -> Judgement {
        let note = self.note.map_or(String::new(), |note| format!(": {note}"));
        let seen = format!("{} by {}{note}", seen_words(self.grade), self.by);
        match self.result {
            LookResult::NoAccess => return not_shown(owed, Some(self.grade), &format!("no access, {seen}")),
            LookResult::Concealed => return not_shown(owed, Some(self.grade), &format!("concealed, {seen}")),
            LookResult::Wrong => {
                return Judgement {
                    verdict: Verdict::FallsShort,
                    why: format!("not right, {seen}"),
                    ..not_shown(owed, Some(self.grade), "")
                };
            }
            LookResult::Right => {}
        }
        let photographed = !self.photographs.is_empty() || photographed_elsewhere;
        if (owed.photograph || owed.evidence == EvidenceOwed::Photographed) && !photographed {
            return not_shown(owed, Some(self.grade), &format!("right, {seen}, but {NO_PHOTOGRAPH}"));
        }
        if self.grade > weakest(owed.evidence) {
            return not_shown(owed, Some(self.grade), &format!("only {seen}; the plan asks that the inspector sees it"));
        }
        Judgement { verdict: Verdict::Conforms, why: format!("right, {seen}"), ..not_shown(owed, Some(self.grade), "") }
    }
}

/// The weakest grade that answers what a plan asks.
pub fn weakest(asked: EvidenceOwed) -> Grade {
    match asked {
        EvidenceOwed::Measured | EvidenceOwed::Seen => Grade::Seen,
        EvidenceOwed::Photographed => Grade::Photographed,
        EvidenceOwed::Stated | EvidenceOwed::OutOfScope => Grade::Stated,
    }
}

/// A photograph taken at this hold point for another line still shows the detail.
fn other_photographs(job: &Job, hold_point: &str, owed: &Owed, detail: &Detail) -> bool {
    job.evidence.entries.iter().any(|entry| match entry {
        Entry::Look { photographs, .. } if !photographs.is_empty() => {
            let any_line = Owed { id: answered(entry).unwrap_or(&owed.id).into(), ..owed.clone() };
            Look::of(entry, hold_point, &any_line, detail).is_some()
        }
        _ => false,
    })
}

fn answered(entry: &Entry) -> Option<&str> {
    match entry {
        Entry::Look { answers, .. } => answers.as_deref(),
        _ => None,
    }
}

fn not_shown(owed: &Owed, grade: Option<Grade>, why: &str) -> Judgement {
    Judgement { grade, ..Judgement::not_shown("", &rule(owed), SOURCE, why) }
}

fn missing(owed: &Owed) -> String {
    match (owed.evidence, owed.photograph) {
        (EvidenceOwed::Photographed, _) => "no photograph".into(),
        (EvidenceOwed::Stated, _) => "nobody states it".into(),
        (_, true) => "not inspected: no look, no photograph".into(),
        (_, false) => "not inspected".into(),
    }
}

fn seen_words(grade: Grade) -> &'static str {
    match grade {
        Grade::Measured => "measured",
        Grade::Seen => "seen",
        Grade::Photographed => "photographed",
        Grade::Stated => "stated",
    }
}
