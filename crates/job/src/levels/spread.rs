//! How uncertain one level is: as given, as repeated readings of one point tell, or as is usual on such a surface.

use super::rows::{Raw, Rows};
use super::{Options, Repeats, UFrom};
use measure::math::sq;
use measure::{Problem, Problems};
use room::nouns::LayerKind;
use std::collections::BTreeMap;

/// Fewest degrees of freedom from which a scatter is taken as the uncertainty: with fewer it has no standard deviation of
/// its own (see [`decide`]).
const LEAST_DOF: usize = 3;

/// The uncertainty of one reading and where it comes from.
#[derive(Debug)]
pub(super) struct Spread {
    /// For readings that carry none of their own.
    pub u_mm: f64,
    pub from: UFrom,
    pub repeats: Option<Repeats>,
    pub notes: Vec<String>,
}

/// Expanded uncertainty of one level on a surface: 1 mm on tile, 1.5 mm on anything rougher. Common practice, no source.
fn usual_expanded_mm(layer: Option<LayerKind>) -> f64 {
    if layer == Some(LayerKind::Tile) { 1.0 } else { 1.5 }
}

/// Takes, in this order: each row's own, what the owner of the instrument states, what the file states, the scatter of
/// repeated readings (at least three degrees of freedom), the usual value of the layer.
///
/// A scatter `s` with `v` degrees of freedom is a t distribution's scale; its standard deviation `s sqrt(v / (v - 2))` is
/// taken (JCGM 101:2008, 6.4.9.4, from memory). An uncertainty that was not given is never below that of rounding to the
/// last digit written, step / sqrt(12) (JCGM 100:2008, 4.3.7).
pub(super) fn decide(rows: &Rows, layer: Option<LayerKind>, stated_mm: Option<f64>, options: &Options) -> Result<Spread, Problems> {
    let repeats = repeats(&rows.raws);
    let rounding_mm = if rows.step_mm.is_finite() { rows.step_mm / 12f64.sqrt() } else { 0.0 };
    let usual_mm = usual_expanded_mm(layer) / 2.0;
    let given = options.expanded_mm.map(|expanded| (expanded / 2.0, UFrom::Instrument)).or(stated_mm.map(|u| (u, UFrom::File)));
    let trusted = repeats.filter(|r| r.dof >= LEAST_DOF);
    let (u_mm, from) = match (given, trusted) {
        (Some(given), _) => given,
        (None, Some(r)) => {
            let dof = r.dof as f64;
            ((r.sd_mm * (dof / (dof - 2.0)).sqrt()).max(rounding_mm), UFrom::Repeats)
        }
        (None, None) => (usual_mm.max(rounding_mm), UFrom::Assumed),
    };
    let own = rows.raws.iter().filter(|raw| raw.u_mm.is_some()).count();
    let from = if own == rows.raws.len() { UFrom::Column } else { from };
    let mut notes = Vec::new();
    if from == UFrom::Assumed {
        notes.push(format!("uncertainty not given: ±{} mm assumed for one level (common practice, no source)", round(2.0 * u_mm)));
    }
    if matches!(from, UFrom::Assumed) && u_mm > usual_mm {
        notes.push(format!("readings in steps of {} mm: rounding alone makes ±{} mm", round(rows.step_mm), round(2.0 * rounding_mm)));
    }
    if let Some(r) = trusted.filter(|r| matches!(from, UFrom::Instrument | UFrom::File) && r.sd_mm > 2.0 * u_mm) {
        notes.push(format!("repeated readings scatter by {} mm, more than the stated u of {} mm", round(r.sd_mm), round(u_mm)));
    }
    conflicts(&rows.raws, given.map_or(usual_mm.max(rounding_mm), |(u, _)| u.max(rounding_mm)))?;
    Ok(Spread { u_mm, from, repeats, notes })
}

/// Two decimals are more than any staff shows.
pub(super) fn round(mm: f64) -> f64 {
    (mm * 100.0).round() / 100.0
}

/// Readings of one point from one station, in the order of the file.
pub(super) fn groups(raws: &[Raw]) -> BTreeMap<(&str, usize), Vec<&Raw>> {
    let mut groups: BTreeMap<(&str, usize), Vec<&Raw>> = BTreeMap::new();
    for raw in raws {
        groups.entry((raw.name.as_str(), raw.station)).or_default().push(raw);
    }
    groups
}

/// Pooled standard deviation of all points read more than once from one station.
fn repeats(raws: &[Raw]) -> Option<Repeats> {
    let (mut squares, mut dof, mut points) = (0.0, 0, 0);
    for group in groups(raws).values().filter(|group| group.len() > 1) {
        let mean = group.iter().map(|raw| raw.reading_mm).sum::<f64>() / group.len() as f64;
        squares += group.iter().map(|raw| sq(raw.reading_mm - mean)).sum::<f64>();
        dof += group.len() - 1;
        points += 1;
    }
    (dof > 0).then(|| Repeats { points, dof, sd_mm: (squares / dof as f64).sqrt() })
}

/// Repeats of one point that no scatter explains: one of them is a slip, and which one only the person knows. Known points
/// are left to the back-sight check.
fn conflicts(raws: &[Raw], u_mm: f64) -> Result<(), Problems> {
    let mut problems = Problems::new();
    for ((name, _), group) in groups(raws) {
        if group.len() < 2 || group.iter().any(|raw| raw.known_mm.is_some()) {
            continue;
        }
        let by_height = |a: &&&Raw, b: &&&Raw| a.reading_mm.total_cmp(&b.reading_mm);
        let (Some(low), Some(high)) = (group.iter().min_by(by_height), group.iter().max_by(by_height)) else { continue };
        let own = group.iter().filter_map(|raw| raw.u_mm).fold(u_mm, f64::max);
        // Four times the standard uncertainty of a difference: by scatter alone once in 15,000.
        if high.reading_mm - low.reading_mm > 4.0 * own * 2f64.sqrt() {
            let what = format!(
                "read {} times, up to {} mm apart (lines {} and {})",
                group.len(),
                round(high.reading_mm - low.reading_mm),
                low.line.min(high.line),
                low.line.max(high.line)
            );
            let right = "delete the slip, or read the point again; another point needs another name";
            problems
                .push(Problem::at(name, what, right).value(format!("{} and {}", low.written, high.written)).line(low.line.max(high.line)));
        }
    }
    problems.or(())
}
