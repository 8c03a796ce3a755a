//! A reading that its neighbours do not believe, and what was probably meant. Suggested, never dropped.

use super::rows::Raw;
use super::spread::round;
use super::{Level, Suspect};
use measure::math::sq;

/// Neighbours asked about a point.
const NEIGHBOURS: usize = 8;
/// Fewest levels among which one can stand out.
const LEAST: usize = 7;
/// At most so many are suggested: a file with more is wrong in another way.
const WORST: usize = 20;
/// More levels than this are a scan, not a survey by hand: nobody misread them.
pub(super) const MOST: usize = 2_000;
/// How many standard uncertainties of its own a reading must lie from every plane its neighbours can make.
const STANDS_OUT: f64 = 5.0;
/// The same against the usual misfit of all readings, on a surface rougher than the readings are uncertain.
const UNUSUAL: f64 = 6.0;

/// What the neighbours of a level say of its place.
#[derive(Clone, Copy)]
struct Expected {
    /// Median of all planes.
    median_mm: f64,
    /// The plane nearest to what was read.
    nearest_mm: f64,
}

/// Readings that no plane through their neighbours comes near, the worst first.
///
/// Asked are all triangles of the eight nearest neighbours (without those that would have to be stretched too far). Where
/// one of them meets the reading, the reading is believed: at the edge of a set-down the triangles of its own side do,
/// on a ridge those of its own slope, and a bad neighbour spoils only the triangles it is in. A slip of ten millimetres
/// has no triangle on its side. After each find the reading is taken out of the neighbourhood of the others and all are
/// looked at again, so that one misread does not accuse its neighbours. What was meant is sought near the median of the
/// triangles, a Theil-Sen estimate.
pub(super) fn suspects(levels: &[Level], raws: &[Raw], down: bool) -> Vec<Suspect> {
    let mut suspects = Vec::new();
    if !(LEAST..=MOST).contains(&levels.len()) {
        return suspects;
    }
    let mut believed = vec![true; levels.len()];
    while suspects.len() < (1 + levels.len() / 10).min(WORST) {
        let expected: Vec<Option<Expected>> =
            (0..levels.len()).map(|i| believed[i].then(|| expected(levels, &believed, i)).flatten()).collect();
        let misfit = |i: usize| expected[i].map_or(0.0, |e| (levels[i].z_mm - e.nearest_mm).abs());
        let mut sizes: Vec<f64> = (0..levels.len()).filter(|i| expected[*i].is_some()).map(misfit).collect();
        let usual = 1.4826 * median(&mut sizes).unwrap_or(0.0);
        let stands_out = |i: &usize| misfit(*i) > (UNUSUAL * usual).max(STANDS_OUT * levels[*i].u_mm);
        let Some(worst) = (0..levels.len()).filter(stands_out).max_by(|a, b| misfit(*a).total_cmp(&misfit(*b))) else { break };
        suspects.extend(expected[worst].map(|e| suspect(&levels[worst], e, raws, down)));
        believed[worst] = false;
    }
    suspects
}

fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

/// What the neighbours expect at a level's place.
fn expected(levels: &[Level], believed: &[bool], i: usize) -> Option<Expected> {
    let here = [levels[i].x_mm, levels[i].y_mm];
    let mut others: Vec<(f64, usize)> = (0..levels.len())
        .filter(|j| *j != i && believed[*j])
        .map(|j| (sq(levels[j].x_mm - here[0]) + sq(levels[j].y_mm - here[1]), j))
        .collect();
    if others.len() > NEIGHBOURS {
        others.select_nth_unstable_by(NEIGHBOURS - 1, |a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        others.truncate(NEIGHBOURS);
    }
    let near: Vec<&Level> = others.iter().map(|(_, j)| &levels[*j]).collect();
    let mut says = Vec::new();
    for a in 0..near.len() {
        for b in a + 1..near.len() {
            for c in b + 1..near.len() {
                says.extend(plane_at([near[a], near[b], near[c]], here));
            }
        }
    }
    let z = levels[i].z_mm;
    let nearest_mm = says.iter().copied().min_by(|a, b| (a - z).abs().total_cmp(&(b - z).abs()))?;
    Some(Expected { median_mm: median(&mut says)?, nearest_mm })
}

/// Height at a place of the plane through three levels, by barycentric weights; none where the triangle is a line or would
/// be stretched (weights that add up to more than 3 without their signs).
fn plane_at([a, b, c]: [&Level; 3], [x, y]: [f64; 2]) -> Option<f64> {
    let area = (b.x_mm - a.x_mm) * (c.y_mm - a.y_mm) - (c.x_mm - a.x_mm) * (b.y_mm - a.y_mm);
    let longest = [(a, b), (b, c), (c, a)].iter().map(|(p, q)| sq(p.x_mm - q.x_mm) + sq(p.y_mm - q.y_mm)).fold(0.0, f64::max);
    if area.abs() <= 1e-3 * longest {
        return None;
    }
    let of_b = ((x - a.x_mm) * (c.y_mm - a.y_mm) - (c.x_mm - a.x_mm) * (y - a.y_mm)) / area;
    let of_c = ((b.x_mm - a.x_mm) * (y - a.y_mm) - (x - a.x_mm) * (b.y_mm - a.y_mm)) / area;
    let of_a = 1.0 - of_b - of_c;
    let stretched = of_a.abs() + of_b.abs() + of_c.abs() > 3.0 + 1e-9;
    (!stretched).then_some(of_a * a.z_mm + of_b * b.z_mm + of_c * c.z_mm)
}

fn suspect(level: &Level, expected: Expected, raws: &[Raw], down: bool) -> Suspect {
    let expected_mm = expected.median_mm;
    let misfit = level.z_mm - expected_mm;
    // What was meant may differ from the median as much as the neighbours differ among themselves.
    let near_mm = (3.0 * level.u_mm).max((expected.median_mm - expected.nearest_mm).abs());
    let raw = raws.iter().find(|raw| raw.line == level.line);
    let likely = raw.filter(|_| level.n == 1).and_then(|raw| likely(raw, if down { misfit } else { -misfit }, near_mm));
    let meant = likely.as_ref().map_or(String::new(), |(written, how, _)| format!("; perhaps {written} was meant ({how})"));
    let side = if misfit < 0.0 { "below" } else { "above" };
    let written = raw.map_or(String::new(), |raw| raw.written.clone());
    Suspect {
        name: level.name.clone(),
        line: level.line,
        z_mm: level.z_mm,
        expected_mm,
        off_by_mm: misfit,
        why: format!("{}: {written} lies {} mm {side} what its neighbours expect{meant}; read it again", level.name, round(misfit.abs())),
        written,
        likely: likely.as_ref().map(|l| l.0.clone()),
        likely_z_mm: likely.as_ref().map(|l| if down { level.z_mm - l.2 } else { level.z_mm + l.2 }),
    }
}

/// The slip that best explains a reading which should have been `change_mm` larger: the reading meant, what kind of slip,
/// and the change.
fn likely(raw: &Raw, change_mm: f64, near_mm: f64) -> Option<(String, &'static str, f64)> {
    let mut slips = digit_slips(raw);
    if raw.digits.is_none() {
        // A tape or staff in inches is misread by a whole foot, a whole inch, a half or a quarter.
        for inches in [12.0, 1.0, 0.5, 0.25] {
            for change in [inches * 25.4, -inches * 25.4] {
                slips.push((format!("{} in {}", inches, if change > 0.0 { "more" } else { "less" }), "a mark too far", change));
            }
        }
    }
    slips
        .into_iter()
        .filter(|(_, _, change)| (change - change_mm).abs() <= near_mm)
        .min_by(|a, b| (a.2 - change_mm).abs().total_cmp(&(b.2 - change_mm).abs()))
}

/// Every reading that differs from the one written by one digit or by two neighbouring digits swapped.
fn digit_slips(raw: &Raw) -> Vec<(String, &'static str, f64)> {
    let Some(written) = &raw.digits else { return Vec::new() };
    let mut slips = Vec::new();
    let mut add = |changed: &super::units::Digits, how| {
        slips.push((in_words(changed, &raw.written), how, changed.mm() - written.mm()));
    };
    for i in 0..written.digits.len() {
        for digit in (0..=9).filter(|d| *d != written.digits[i]) {
            let mut changed = written.clone();
            changed.digits[i] = digit;
            add(&changed, "one digit off");
        }
        if i > 0 && written.digits[i] != written.digits[i - 1] {
            let mut changed = written.clone();
            changed.digits.swap(i, i - 1);
            add(&changed, "two digits swapped");
        }
    }
    let tens = |by: i64| {
        let mut changed = written.clone();
        let whole = written.digits.iter().fold(0i64, |n, d| n * 10 + i64::from(*d)) + by;
        let text = format!("{whole:0width$}", width = written.digits.len());
        changed.digits = text.bytes().map(|b| b.wrapping_sub(b'0')).collect();
        (whole >= 0).then_some(changed)
    };
    // A graduation read one too far carries over: 1095 for 1105.
    for place in 0..written.digits.len() as u32 {
        for by in [10i64.pow(place), -(10i64.pow(place))] {
            if let Some(changed) = tens(by) {
                add(&changed, "one mark off");
            }
        }
    }
    slips
}

/// Digits written as the reading was, with its decimal sign.
fn in_words(digits: &super::units::Digits, like: &str) -> String {
    let mut text: String = digits.digits.iter().map(|d| (b'0' + d) as char).collect();
    if digits.decimals > 0 && digits.decimals < text.len() {
        text.insert(text.len() - digits.decimals, if like.contains(',') { ',' } else { '.' });
    }
    if digits.negative { format!("-{text}") } else { text }
}
