//! Which column of a level file is which, and in what unit.

use super::units::Unit;
use intake::csv::Table;
use measure::{Problem, Problems};

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Holds {
    Name,
    X,
    Y,
    Level,
    Staff,
    Known,
    U,
    Expanded,
    Station,
}

/// The spellings people use. Case, underscores and hyphens do not count.
const SPELLINGS: [(Holds, &[&str]); 9] = [
    (Holds::Name, &["name", "point", "id", "no", "nr", "number", "pt", "label", "mark", "point name", "point no"]),
    (Holds::X, &["x", "east", "easting", "right"]),
    (Holds::Y, &["y", "north", "northing", "up the plan"]),
    (Holds::Level, &["level", "height", "z", "h", "elevation", "rl", "reduced level", "up"]),
    (Holds::Staff, &["staff", "reading", "staff reading", "rod", "rod reading", "down", "staff down", "laser"]),
    (Holds::Known, &["known", "known level", "known height", "given level", "benchmark level", "bm level"]),
    (Holds::U, &["u", "standard uncertainty", "u z", "u level", "sd"]),
    (Holds::Expanded, &["plus minus", "±", "+/", "+ /", "expanded", "tolerance", "uncertainty"]),
    (Holds::Station, &["station", "set up", "setup", "instrument", "stand"]),
];

/// A column of lengths.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lengths {
    pub column: usize,
    pub unit: Unit,
}

/// The columns of a level file.
#[derive(Debug)]
pub(super) struct Columns {
    pub name: Option<usize>,
    pub x: Lengths,
    pub y: Lengths,
    /// The readings.
    pub reading: Lengths,
    /// Readings count down from a beam.
    pub down: bool,
    pub known: Option<Lengths>,
    /// Standard uncertainty.
    pub u: Option<Lengths>,
    /// Expanded uncertainty (about 95 %).
    pub expanded: Option<Lengths>,
    pub station: Option<usize>,
    /// No unit was declared for the plan coordinates.
    pub plan_unit_assumed: bool,
    /// Columns that stand in the file and are not used.
    pub unused: Vec<String>,
}

impl Columns {
    /// From the heading; `told` is the unit a `# unit:` line gives.
    pub fn of(table: &Table, told: Option<Unit>) -> Result<Self, Problems> {
        let mut problems = Problems::new();
        let mut found: Vec<(Holds, usize, Option<Unit>)> = Vec::new();
        let mut unused = Vec::new();
        for (column, heading) in table.header().iter().enumerate() {
            let (base, unit) = base_and_unit(heading);
            let holds = SPELLINGS.iter().find(|(_, spellings)| spellings.contains(&base.as_str())).map(|(holds, _)| *holds);
            let Some(holds) = holds else {
                unused.push(heading.clone());
                continue;
            };
            if let Some(before) = found.iter().find(|(other, ..)| *other == holds) {
                let what = format!("the columns {} and {heading} mean the same", table.header()[before.1]);
                problems.push(Problem::at(heading, what, "one of them").line(table.header_line()));
            }
            let unit = match unit {
                Some(Err(unknown)) => {
                    problems.push(Problem::at(heading, "unknown unit", Unit::KNOWN).value(unknown).line(table.header_line()));
                    None
                }
                Some(Ok(unit)) => Some(unit),
                None => told,
            };
            found.push((holds, column, unit));
        }
        let lengths = |holds| {
            found.iter().find(|(h, ..)| *h == holds).map(|(_, column, unit)| Lengths { column: *column, unit: unit.unwrap_or(Unit::Mm) })
        };
        let plain = |holds| found.iter().find(|(h, ..)| *h == holds).map(|(_, column, _)| *column);
        let line = table.header_line();
        let heading = table.header().join(", ");
        let mut missing = |field: &str, right: &str| problems.push(Problem::at(field, "no such column", right).value(&heading).line(line));
        let (x, y) = (lengths(Holds::X), lengths(Holds::Y));
        if x.is_none() {
            missing("x", "a column x, to the right on plan");
        }
        if y.is_none() {
            missing("y", "a column y, up the plan");
        }
        let reading = match (lengths(Holds::Level), lengths(Holds::Staff)) {
            (Some(level), None) => Some((level, false)),
            (None, Some(staff)) => Some((staff, true)),
            (None, None) => {
                missing("level", "a column level (counted up) or staff (read down from the beam)");
                None
            }
            (Some(_), Some(_)) => {
                problems.push(Problem::at("level", "both levels and staff readings", "one of the two columns").line(line));
                None
            }
        };
        let plan_unit_assumed = found.iter().any(|(holds, _, unit)| matches!(holds, Holds::X | Holds::Y) && unit.is_none());
        let (Some(x), Some(y), Some((reading, down)), true) = (x, y, reading, problems.is_empty()) else { return Err(problems) };
        Ok(Self {
            name: plain(Holds::Name),
            x,
            y,
            reading,
            down,
            known: lengths(Holds::Known),
            u: lengths(Holds::U),
            expanded: lengths(Holds::Expanded),
            station: plain(Holds::Station),
            plan_unit_assumed,
            unused,
        })
    }
}

impl Columns {
    /// Which column holds what.
    pub fn headings(&self) -> Vec<super::Heading> {
        let reading = if self.down { "staff_mm" } else { "level_mm" };
        let lengths = [("x_mm", Some(self.x)), ("y_mm", Some(self.y)), (reading, Some(self.reading)), ("known_mm", self.known)];
        let unsure = [("u_mm", self.u), ("plus_minus_mm", self.expanded)];
        let plain = [("name", self.name), ("station", self.station)];
        let lengths = lengths.into_iter().chain(unsure).filter_map(|(name, lengths)| {
            let Lengths { column, unit } = lengths?;
            Some(super::Heading { name, column, unit_mm: unit.in_mm() })
        });
        lengths.chain(plain.into_iter().filter_map(|(name, column)| Some(super::Heading { name, column: column?, unit_mm: 1.0 }))).collect()
    }
}

/// Remarks in brackets that are no unit.
const REMARKS: [&str; 10] = ["down", "up", "east", "north", "right", "laser", "95 %", "95%", "k=2", "k=1"];

/// `Height (cm)` is height in cm; `x_m`, `x m`, `x, m` and `x in m` are x in metres. A unit nobody knows stands as the error.
fn base_and_unit(heading: &str) -> (String, Option<Result<Unit, String>>) {
    let plain: String =
        heading.to_lowercase().chars().map(|c| if matches!(c, '_' | '-' | ',' | '.') { ' ' } else { c }).collect::<String>();
    let tidy = |s: &str| s.split_whitespace().collect::<Vec<_>>().join(" ");
    for (open, close) in [('[', ']'), ('(', ')')] {
        if let Some((base, inner)) = plain.trim_end().strip_suffix(close).and_then(|rest| rest.split_once(open)) {
            let base = tidy(base);
            return match Unit::named(inner) {
                Some(unit) => (base, Some(Ok(unit))),
                None if REMARKS.contains(&inner.trim()) => (base, None),
                None => (base, Some(Err(inner.trim().into()))),
            };
        }
    }
    let words: Vec<&str> = plain.split_whitespace().collect();
    for taken in [2, 1] {
        if words.len() > taken {
            let (base, unit) = words.split_at(words.len() - taken);
            if let Some(unit) = Unit::named(&unit.concat()) {
                let base = match base {
                    [first @ .., "in"] if !first.is_empty() => first,
                    all => all,
                };
                return (base.join(" "), Some(Ok(unit)));
            }
        }
    }
    (words.join(" "), None)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_are_taken_from_the_heading() {
        for (heading, base, unit) in [
            ("x", "x", None),
            ("X [m]", "x", Some(Ok(Unit::M))),
            ("Height (cm)", "height", Some(Ok(Unit::Cm))),
            ("x_m", "x", Some(Ok(Unit::M))),
            ("staff_in", "staff", Some(Ok(Unit::Inch))),
            ("staff 1/16 in", "staff", Some(Ok(Unit::Sixteenth))),
            ("staff [1/16 in]", "staff", Some(Ok(Unit::Sixteenth))),
            ("Height in mm", "height", Some(Ok(Unit::Mm))),
            ("Staff reading, mm", "staff reading", Some(Ok(Unit::Mm))),
            ("staff (down)", "staff", None),
            ("height (yd)", "height", Some(Err("yd".into()))),
            ("m", "m", None),
        ] {
            assert_eq!(base_and_unit(heading), (base.to_string(), unit), "{heading}");
        }
    }
}
