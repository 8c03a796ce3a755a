//! Readings from one or several stations, reduced to the room's benchmark.
//!
//! A station that reads a point of known level hangs on it, as in any level book; points it shares with other stations are
//! then its check. One could spread the misclosure over all of them by least squares: the gain is a fraction of a
//! millimetre, and nobody on site could follow it with a pencil.

use super::rows::Raw;
use super::spread::round;
use super::{Misclosure, Station};
use measure::math::{hypot, sq};
use measure::{Problem, Problems};
use std::collections::BTreeMap;

/// More stations than this in one room are a slip of columns.
const MOST: usize = 100;

/// Stations with their beams, and what checks them.
#[derive(Debug)]
pub(super) struct Reduced {
    pub stations: Vec<Station>,
    pub misclosure: Vec<Misclosure>,
    pub notes: Vec<String>,
}

/// A height with its variance.
#[derive(Clone, Copy)]
struct Height {
    mm: f64,
    variance: f64,
}

impl Height {
    fn mean(of: &[Height]) -> Option<Self> {
        let n = of.len() as f64;
        (!of.is_empty())
            .then(|| Self { mm: of.iter().map(|h| h.mm).sum::<f64>() / n, variance: of.iter().map(|h| h.variance).sum::<f64>() / (n * n) })
    }
}

/// Finds the height of every station's beam over the benchmark.
///
/// A station hangs on the points of known level it reads (mean of all), or else on those it shares with stations already
/// found. For levels counted up the 'beam' is what must be added to them: zero when no point of known level was read.
/// Problems: a station nothing ties to the others.
pub(super) fn reduce(raws: &[Raw], names: &[String], down: bool, u_mm: f64) -> Result<Reduced, Problems> {
    if names.len() > MOST {
        let right = format!("at most {MOST}; is another column headed 'station'?");
        return Err(Problem::at("station", "too many stations", right).value(names.len()).into());
    }
    let book = Book::of(raws, names, down, u_mm);
    let mut beams: Vec<Option<Height>> = vec![None; names.len()];
    let mut notes = Vec::new();
    if raws.iter().all(|raw| raw.known_mm.is_none()) {
        if down {
            beams[0] = Some(Height { mm: raws[0].reading_mm, variance: 0.0 });
            notes.push(format!("no benchmark was read: heights count from {} (line {})", raws[0].name, raws[0].line));
        } else {
            beams.fill(Some(Height { mm: 0.0, variance: 0.0 }));
        }
    }
    for _ in 0..names.len() {
        let found: Vec<(usize, Height)> =
            (0..names.len()).filter(|s| beams[*s].is_none()).filter_map(|s| book.beam(s, &beams).map(|beam| (s, beam))).collect();
        if found.is_empty() {
            break;
        }
        for (station, beam) in found {
            beams[station] = Some(beam);
        }
    }
    let misclosure = book.checks();
    notes.extend(book.unchecked(&misclosure));
    notes.extend(misclosure.iter().filter(|m| !m.closes).map(in_words));
    let mut problems = Problems::new();
    let mut stations = Vec::new();
    for (name, beam) in names.iter().zip(&beams) {
        match beam {
            Some(beam) => stations.push(Station { name: name.clone(), beam_mm: beam.mm, u_mm: beam.variance.sqrt() }),
            None => {
                let what = "shares no point with the other stations and reads no benchmark";
                let right = "a back-sight: read the benchmark or a point already read, under the same name";
                problems.push(Problem::at("station", what, right).value(name));
            }
        }
    }
    problems.or(Reduced { stations, misclosure, notes })
}

fn in_words(m: &Misclosure) -> String {
    let (size, allowed) = (round(m.size_mm), round(m.allowed_mm));
    format!("station {} does not close: {size} mm at {}, {allowed} mm allowed; read it again", m.station, m.points.join(" and "))
}

/// All readings by station and by point.
struct Book<'a> {
    names: &'a [String],
    raws: &'a [Raw],
    u_mm: f64,
    /// Points of known level.
    known: BTreeMap<&'a str, f64>,
    /// For each station, how far over its beam each point lies: the mean of its readings.
    over_beam: Vec<BTreeMap<&'a str, Height>>,
}

impl<'a> Book<'a> {
    fn of(raws: &'a [Raw], names: &'a [String], down: bool, u_mm: f64) -> Self {
        let known = raws.iter().filter_map(|raw| Some((raw.name.as_str(), raw.known_mm?))).collect();
        let mut readings: Vec<BTreeMap<&str, Vec<Height>>> = vec![BTreeMap::new(); names.len()];
        for raw in raws {
            let mm = if down { -raw.reading_mm } else { raw.reading_mm };
            let height = Height { mm, variance: sq(raw.u_mm.unwrap_or(u_mm)) };
            readings[raw.station].entry(&raw.name).or_default().push(height);
        }
        let mean =
            |points: BTreeMap<&'a str, Vec<Height>>| points.into_iter().filter_map(|(name, of)| Some((name, Height::mean(&of)?))).collect();
        Self { names, raws, u_mm, known, over_beam: readings.into_iter().map(mean).collect() }
    }

    fn u(&self, raw: &Raw) -> f64 {
        raw.u_mm.unwrap_or(self.u_mm)
    }

    /// Beam of a station from the known points it reads, else from points other stations have found.
    fn beam(&self, station: usize, beams: &[Option<Height>]) -> Option<Height> {
        let known = |name: &str| self.known.get(name).map(|mm| Height { mm: *mm, variance: 0.0 });
        self.beam_by(station, known).or_else(|| self.beam_by(station, |name| self.level_elsewhere(name, beams)))
    }

    /// Beam of a station from every point it reads whose level is found.
    fn beam_by(&self, station: usize, level: impl Fn(&str) -> Option<Height>) -> Option<Height> {
        let ties = self.over_beam[station].iter().filter_map(|(name, over)| Some((level(name)?, over)));
        let beams: Vec<Height> =
            ties.map(|(level, over)| Height { mm: level.mm - over.mm, variance: level.variance + over.variance }).collect();
        Height::mean(&beams)
    }

    /// Mean level of a point from the stations already found.
    fn level_elsewhere(&self, name: &str, beams: &[Option<Height>]) -> Option<Height> {
        let levels: Vec<Height> = beams
            .iter()
            .zip(&self.over_beam)
            .filter_map(|(beam, points)| Some(((*beam)?, points.get(name)?)))
            .map(|(beam, over)| Height { mm: beam.mm + over.mm, variance: beam.variance + over.variance })
            .collect();
        Height::mean(&levels)
    }

    /// Every check there is: closing sights, two known points from one station, two common points of two stations.
    fn checks(&self) -> Vec<Misclosure> {
        let mut checks = Vec::new();
        for (station, points) in self.over_beam.iter().enumerate() {
            checks.extend(self.closing(station));
            let known = points.iter().filter_map(|(name, over)| Some((*name, *self.known.get(name)?, over)));
            checks.extend(self.apart(station, known.map(|(name, level, over)| (name, Height { mm: level - over.mm, ..*over }))));
            for others in &self.over_beam[..station] {
                let common = points.iter().filter_map(|(name, here)| Some((*name, here, others.get(name)?)));
                let moved =
                    common.map(|(name, here, there)| (name, Height { mm: there.mm - here.mm, variance: here.variance + there.variance }));
                checks.extend(self.apart(station, moved));
            }
        }
        checks
    }

    /// How far apart the points that should all say the same are, when there are at least two.
    fn apart<'b>(&self, station: usize, says: impl Iterator<Item = (&'b str, Height)>) -> Option<Misclosure> {
        let says: Vec<(&str, Height)> = says.collect();
        let low = says.iter().min_by(|a, b| a.1.mm.total_cmp(&b.1.mm))?;
        let high = says.iter().max_by(|a, b| a.1.mm.total_cmp(&b.1.mm))?;
        let mut points = vec![low.0.to_string(), high.0.to_string()];
        points.sort();
        let u = (low.1.variance + high.1.variance).sqrt();
        (says.len() > 1).then(|| Misclosure::of(&self.names[station], points, high.1.mm - low.1.mm, u))
    }

    /// The closing sight of a station: its known point read again at the end.
    fn closing(&self, station: usize) -> Option<Misclosure> {
        let mut here = self.raws.iter().filter(|raw| raw.station == station);
        let first = here.find(|raw| self.known.contains_key(raw.name.as_str()))?;
        let last = here.rfind(|raw| raw.name == first.name)?;
        let size = (last.reading_mm - first.reading_mm).abs();
        Some(Misclosure::of(&self.names[station], vec![first.name.clone()], size, hypot(self.u(first), self.u(last))))
    }

    /// Later stations that hang on one sight with nothing to check it.
    fn unchecked(&self, checks: &[Misclosure]) -> Vec<String> {
        let unchecked = self.names.iter().skip(1).filter(|name| checks.iter().all(|check| check.station != **name));
        unchecked.map(|name| format!("station {name} hangs on one back-sight, which nothing checks")).collect()
    }
}
