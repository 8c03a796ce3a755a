//! An assessment as text for a terminal of 80 columns. Signs carry the meaning; colour is only a second sign.

use crate::assess::materials;
use crate::assess::{Assessment, Counts, DepartureStanding, GroupResult, Line};
use measure::Verdict;
use room::quantities::MaterialOut;

/// Columns of a line.
const WIDTH: usize = 80;
/// Names listed in full; more are counted.
const NAMES: usize = 3;

/// How to print.
#[derive(Clone, Copy, Debug, Default)]
pub struct Style {
    /// With ANSI colours.
    pub color: bool,
    /// Also every line that conforms.
    pub all: bool,
}

/// The whole answer.
pub fn text(assessment: &Assessment, style: &Style) -> String {
    let mut out = String::new();
    head(&mut out, assessment);
    hold_points(&mut out, assessment, style);
    out += &format!("\n{}\n", wrap(&assessment.answer, 0));
    groups(&mut out, assessment, style);
    listed(&mut out, "Bear in mind", &assessment.notes);
    materials(&mut out, assessment, style);
    water(&mut out, assessment);
    for caution in &assessment.cautions {
        out += &format!("\n{}\n", wrap(caution, 0));
    }
    out
}

fn head(out: &mut String, assessment: &Assessment) {
    let job = &assessment.job;
    *out += &format!("{}\n", job.name);
    let known = [
        job.place.clone(),
        job.building_class.as_ref().map(|class| format!("class {class}")),
        job.basis_date.as_ref().map(|date| format!("rules of {date}")),
        job.drawing_revision.as_ref().map(|drawing| format!("drawing {drawing}")),
    ];
    let known: Vec<String> = known.into_iter().flatten().collect();
    if !known.is_empty() {
        *out += &format!("{}\n", wrap(&known.join(", "), 0));
    }
    for pack in &assessment.packs {
        let editions = if pack.editions.is_empty() { String::new() } else { format!(": {}", pack.editions.join("; ")) };
        *out += &format!("{}\n", wrap(&format!("{}{editions}", pack.pack), 0));
    }
    *out += &format!("{}\n\n", wrap(&assessment.decision, 0));
}

fn hold_points(out: &mut String, assessment: &Assessment, style: &Style) {
    for hold in &assessment.hold_points {
        let here = if hold.id == assessment.hold_point { ">" } else { " " };
        let head = format!("{here} {:<32} {:<24}", shorten(&hold.title, 32), hold.state.words());
        let plain = counted(&hold.counts, &Style::default());
        let fits = head.chars().count() + 1 + plain.chars().count() <= WIDTH;
        let between = if fits { " " } else { "\n    " };
        *out += &format!("{head}{between}{}\n", counted(&hold.counts, style));
    }
}

fn counted(counts: &Counts, style: &Style) -> String {
    let departures = counts.open_departures + counts.accepted_departures;
    let parts: Vec<String> = [
        (counts.falls_short, Sign::FallsShort),
        (counts.not_shown, Sign::NotShown),
        (departures, Sign::Departure),
        (counts.conforms, Sign::Conforms),
    ]
    .iter()
    .filter(|(count, _)| *count > 0)
    .map(|(count, sign)| format!("{} {count:<2}", sign.text(style)))
    .collect();
    parts.join(" ").trim_end().into()
}

fn groups(out: &mut String, assessment: &Assessment, style: &Style) {
    let mut band = None;
    for group in &assessment.groups {
        if group.verdict == Verdict::Conforms && !style.all && !group.lines.iter().any(|line| line.departure.is_some()) {
            continue;
        }
        if band != Some(group.band) {
            *out += &format!("\n{}\n", group.band.words().to_uppercase());
            band = Some(group.band);
        }
        group_text(out, group, style);
    }
    if !style.all {
        conforming(out, assessment, style);
    }
    *out += &format!(
        "\n{} conforms   {} falls short   {} not shown   {} departure\n",
        Sign::Conforms.text(style),
        Sign::FallsShort.text(style),
        Sign::NotShown.text(style),
        Sign::Departure.text(style)
    );
}

fn group_text(out: &mut String, group: &GroupResult, style: &Style) {
    let water = group.litres_per_day.map_or(String::new(), |litres| format!(", {} a day", litres_words(litres)));
    *out += &format!("\n{}\n", wrap(&format!("{}{water}", group.words), 0));
    let is_open = |line: &&Line| line.judgement.verdict != Verdict::Conforms || line.departure.is_some();
    let (open, fine): (Vec<&Line>, Vec<&Line>) = group.lines.iter().partition(is_open);
    for alike in alike(&open) {
        lines_alike(out, group, &alike, style);
    }
    if style.all {
        fine.iter().for_each(|line| lines_alike(out, group, &[line], style));
    } else if !fine.is_empty() {
        *out += &format!("{} {} more {}\n", Sign::Conforms.text(style), fine.len(), if fine.len() == 1 { "conforms" } else { "conform" });
    }
}

/// Lines that say the same but for the rule that asks it are put together.
fn alike<'a>(lines: &[&'a Line]) -> Vec<Vec<&'a Line>> {
    let mut sets: Vec<Vec<&Line>> = Vec::new();
    for line in lines {
        let same = |set: &&mut Vec<&Line>| {
            let first = set[0];
            first.owed == line.owed
                && first.details == line.details
                && first.judgement.value.is_none()
                && line.judgement.value.is_none()
                && first.judgement.verdict == line.judgement.verdict
                && first.next == line.next
        };
        match sets.iter_mut().find(same) {
            Some(set) => set.push(line),
            None => sets.push(vec![line]),
        }
    }
    sets
}

fn lines_alike(out: &mut String, group: &GroupResult, lines: &[&Line], style: &Style) {
    let first = lines[0];
    let which =
        if first.names.is_empty() || first.names.len() == group.size { String::new() } else { format!("{}: ", names(&first.names)) };
    let whys: Vec<&str> = lines.iter().map(|line| line.judgement.why.as_str()).collect();
    let text = format!("{which}{}: {}", first.right, whys.join("; and "));
    *out += &format!("{} {}\n", Sign::of(first).text(style), wrap(&text, 4).trim_start());
    if first.judgement.verdict != Verdict::Conforms || style.all {
        let rules: Vec<String> =
            lines.iter().map(|line| short_source(&line.judgement.source)).filter(|source| !source.is_empty()).collect();
        if !rules.is_empty() && !first.judgement.rule.starts_with("plan/") {
            *out += &format!("{}\n", wrap(&format!("rule: {}", rules.join("; ")), 4));
        }
    }
    if let Some(explains) = &first.explains {
        *out += &format!("{}\n", wrap(explains, 4));
    }
    if let Some(next) = &first.next {
        *out += &format!("{}\n", wrap(&format!("> {next}"), 4));
    }
}

/// Edition and clause, and what kind of rule; where it was read stands in the JSON.
fn short_source(source: &str) -> String {
    source.split("; ").take(2).collect::<Vec<_>>().join(", ")
}

fn conforming(out: &mut String, assessment: &Assessment, style: &Style) {
    let groups: Vec<&str> = assessment
        .groups
        .iter()
        .filter(|group| group.verdict == Verdict::Conforms && !group.lines.iter().any(|line| line.departure.is_some()))
        .map(|group| group.words.as_str())
        .collect();
    if groups.is_empty() {
        return;
    }
    *out += "\nCONFORMS (--all lists each)\n";
    for words in groups {
        *out += &format!("{} {}\n", Sign::Conforms.text(style), wrap(words, 4).trim_start());
    }
}

fn listed(out: &mut String, title: &str, items: &[String]) {
    if items.is_empty() {
        return;
    }
    *out += &format!("\n{}\n", title.to_uppercase());
    for item in items {
        *out += &format!("  - {}\n", wrap(item, 4).trim_start());
    }
}

/// Materials, where asked for or where an amount is less than needed.
fn materials(out: &mut String, assessment: &Assessment, style: &Style) {
    if !style.all && !materials::disagree(&assessment.materials) {
        return;
    }
    let lines: Vec<String> = assessment.materials.iter().map(material).collect();
    listed(out, "Materials", &lines);
}

/// "membrane: 14.2 L needed, 15.6 L with waste, in 2 packs; delivered 15.0 L, used 13.1 L".
fn material(material: &MaterialOut) -> String {
    let unit = material.unit.unwrap_or("");
    let at_least = if material.at_least { "at least " } else { "" };
    let needed = match (material.needed, material.with_waste) {
        (Some(needed), Some(with_waste)) => format!("{at_least}{needed:.1} {unit} needed, {with_waste:.1} {unit} with waste"),
        _ => "how much is needed is not known".into(),
    };
    let packs = material.packs.map_or(String::new(), |packs| format!(", {packs} {}", if packs == 1 { "pack" } else { "packs" }));
    let compared: Vec<String> = material.compared.iter().map(|c| format!("{:.1} {unit} {}", c.amount, c.what)).collect();
    let compared = if compared.is_empty() { String::new() } else { format!("; {}", compared.join(", ")) };
    format!("{}: {needed}{packs}{compared}", material.id)
}

fn water(out: &mut String, assessment: &Assessment) {
    let Some(water) = &assessment.water else { return };
    let outlets: Vec<String> = water.outlets.iter().map(|(id, litres)| format!("{} to {id}", litres_words(*litres))).collect();
    let standing =
        if water.left_standing_l >= 0.005 { format!(", {} left standing", litres_words(water.left_standing_l)) } else { String::new() };
    let line = format!(
        "Water in a day over the {}: {} from the roses; {}{standing}.",
        water.surface,
        litres_words(water.in_l),
        outlets.join(", ")
    );
    *out += &format!("\n{}\n", wrap(&line, 0));
}

fn litres_words(litres: f64) -> String {
    if litres >= 10.0 {
        format!("{litres:.0} L")
    } else if litres >= 0.1 {
        format!("{litres:.1} L")
    } else {
        format!("{litres:.2} L")
    }
}

fn names(names: &[String]) -> String {
    if names.len() <= NAMES {
        return names.join(", ");
    }
    format!("{} and {} more", names[..NAMES].join(", "), names.len() - NAMES)
}

/// A verdict's sign: readable without colour.
#[derive(Clone, Copy)]
enum Sign {
    Conforms,
    FallsShort,
    NotShown,
    Departure,
}

impl Sign {
    fn of(line: &Line) -> Self {
        match (line.departure, line.judgement.verdict) {
            (Some(DepartureStanding::Open | DepartureStanding::Accepted), Verdict::FallsShort) => Self::Departure,
            (_, Verdict::Conforms) => Self::Conforms,
            (_, Verdict::FallsShort) => Self::FallsShort,
            (_, Verdict::NotShown) => Self::NotShown,
        }
    }

    fn text(self, style: &Style) -> String {
        let (sign, code) = match self {
            Self::Conforms => ("[=]", "36"),
            Self::FallsShort => ("[!]", "1;31"),
            Self::NotShown => ("[ ]", "1"),
            Self::Departure => ("[/]", "35"),
        };
        if style.color { format!("\x1b[{code}m{sign}\x1b[0m") } else { sign.into() }
    }
}

fn shorten(text: &str, most: usize) -> String {
    if text.chars().count() <= most { text.into() } else { text.chars().take(most - 1).chain(['…']).collect() }
}

/// Wraps at spaces to 80 columns, every line indented; a word longer than a line stands alone.
fn wrap(text: &str, indent: usize) -> String {
    let margin = " ".repeat(indent);
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let fits = line.is_empty() || indent + line.chars().count() + 1 + word.chars().count() <= WIDTH;
        if !fits {
            lines.push(format!("{margin}{line}"));
            line.clear();
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line += word;
    }
    lines.push(format!("{margin}{line}"));
    lines.join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_line_is_wider_than_eighty_columns() {
        let text = "a wall-floor junction between the shower and the return beside the door, ".repeat(10);
        for line in wrap(&text, 4).lines() {
            assert!(line.chars().count() <= WIDTH && line.starts_with("    "), "{line:?}");
        }
    }

    #[test]
    fn a_word_longer_than_a_line_is_kept_whole() {
        let word = "x".repeat(200);
        assert!(wrap(&format!("see {word} there"), 2).lines().any(|line| line.trim() == word));
    }
}
