//! Where it is thin: film between many readings, with its variance, over a plane or a folded room.

use crate::surface::{On, Seam, SharedEdge, Surface};
use measure::Check;
use measure::{Bounds, PointMm, Problems, bounds, math};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stats::kriging::{self, Estimate, Kriging, Singular, variogram};
use std::collections::BTreeMap;

/// Fewest readings a variogram is drawn from (common guidance says 50 to 100, from memory); with fewer draw dots.
pub const LEAST_TO_FIT: usize = 50;
/// Most readings factored together; more are kriged from their neighbours.
const MOST_TOGETHER: usize = 1_000;
/// Neighbours where none are asked for.
const NEIGHBOURS: usize = 64;
/// Most readings and places of one map.
const MOST_READINGS: usize = 50_000;
const MOST_PLACES: usize = 2_000_000;
/// Most pairs of places and readings whose distance runs over a folded surface.
const MOST_FOLDED_PAIRS: usize = 200_000_000;
/// Lags of a fitted variogram, over half the largest distance between readings.
const LAGS: usize = 15;
/// Readings used at most to fit: pairs grow with their square.
const MOST_TO_FIT: usize = 2_000;
const RANGE_MM: Bounds = Bounds { min: 0.001, max: 1.0e7, unit: "mm" };
const VARIANCE: Bounds = Bounds { min: 0.0, max: 1.0e12, unit: "(the readings' unit squared)" };
const VALUE: Bounds = Bounds { min: -1.0e9, max: 1.0e9, unit: "(a finite number)" };

/// Readings, a model of how they hang together, and the places to map.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Input {
    /// The readings.
    pub readings: Vec<Reading>,
    /// The model, or "fit" to draw one from about fifty readings or more.
    pub model: ModelGiven,
    /// The places: `[x, y]`, or with a face.
    pub at: Vec<Place>,
    /// Whether the nugget is error of the readings (a gauge's scatter; the usual case) or part of the film.
    #[serde(default)]
    pub nugget_is: NuggetIs,
    /// Shape of the curve that is fitted; spherical when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fit_kind: Option<Kind>,
    /// Shared edges of the faces; distances then run over the surface, round internal corners.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub seams: Vec<Seam>,
    /// Each place from so many nearest readings only. All are used up to 1000 readings, 64 beyond, unless given. On one
    /// plane only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 4, max = 400))]
    pub neighbours: Option<usize>,
    /// A limit in the readings' unit; then the probability of being below it is given for each place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limit: Option<f64>,
}

/// One reading.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Reading {
    /// Place on its face.
    #[schemars(range(min = -1000000.0, max = 1000000.0))]
    pub x_mm: f64,
    /// Place on its face.
    #[schemars(range(min = -1000000.0, max = 1000000.0))]
    pub y_mm: f64,
    /// What was read, in any unit.
    pub value: f64,
    /// The face it lies on: floor, a wall, a patch; left out where there is only one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub face: Option<String>,
}

/// A place to map.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Place {
    /// `[x, y]` in millimetres.
    Plain(PointMm),
    /// On a face.
    OnFace(FacePlace),
}

/// A place on a face.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FacePlace {
    /// Place on its face.
    pub x_mm: f64,
    /// Place on its face.
    pub y_mm: f64,
    /// The face.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub face: Option<String>,
}

/// A model, or the wish for one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum ModelGiven {
    /// "fit".
    Fit(Fit),
    /// The model as given; it is used whatever the number of readings.
    Given(Model),
}

/// The word "fit".
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Fit {
    /// Draw the model from the readings.
    Fit,
}

/// How alike two places are, by their distance.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Model {
    /// The shape of the curve.
    pub kind: Kind,
    /// Partial sill: the variance that fades with distance.
    pub sill: f64,
    /// Distance at which readings (almost) cease to say anything of each other.
    #[schemars(range(min = 0.001, max = 10000000.0))]
    pub range_mm: f64,
    /// Variance of readings at one place.
    #[serde(default)]
    pub nugget: f64,
}

/// Shapes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// `sill (1.5 h/range - 0.5 (h/range)^3)`, flat beyond the range.
    #[default]
    Spherical,
    /// `sill (1 - exp(-3 h/range))`.
    Exponential,
}

/// What the nugget is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum NuggetIs {
    /// Error of the readings: value and variance are of the film itself.
    #[default]
    Error,
    /// Part of the film: readings are met exactly.
    Field,
}

/// The map.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Output {
    /// Value at each place.
    pub value: Vec<f64>,
    /// Its variance.
    pub variance: Vec<f64>,
    /// Probability that the film is below the limit; empty without one.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub prob_below: Vec<f64>,
    /// The model used.
    pub model: Model,
    /// Readings each place rests on, at most.
    pub neighbours: usize,
    /// What to know when using the map.
    pub notes: Vec<String>,
}

/// Maps readings by ordinary kriging ([`stats::kriging`]).
///
/// Readings at one place are averaged where nothing else tells them apart (no nugget, or one that is part of the film).
/// Errors: everything out of bounds, "fit" with fewer than [`LEAST_TO_FIT`] readings or from readings that do not vary,
/// faces that no seam names while there are several.
pub fn run(input: &Input) -> Result<Output, Problems> {
    let job = Job::of(input)?;
    let model = job.model(input)?;
    let mut notes = Vec::new();
    let (estimates, neighbours) = job.krige(model, &mut notes).map_err(|_| cannot_solve())?;
    let prob_below = input.limit.map_or_else(Vec::new, |limit| estimates.iter().map(|e| below(e, limit)).collect());
    if input.readings.len() < LEAST_TO_FIT {
        notes.push(format!(
            "{} readings: the map shows the model as much as the film; draw the readings as dots over it",
            input.readings.len()
        ));
    }
    notes.push("a map between readings does not show a missed patch between them".into());
    Ok(Output {
        value: estimates.iter().map(|e| e.value).collect(),
        variance: estimates.iter().map(|e| e.variance).collect(),
        prob_below,
        model,
        neighbours,
        notes,
    })
}

fn cannot_solve() -> Problems {
    measure::Problem::at(
        "model",
        "the readings cannot be told apart under this model",
        "a nugget above zero, or one reading for each place",
    )
    .into()
}

/// Probability that a normal variable is below a limit.
fn below(estimate: &Estimate, limit: f64) -> f64 {
    if estimate.variance > 0.0 {
        math::normal_cdf((limit - estimate.value) / estimate.variance.sqrt())
    } else {
        f64::from(u8::from(estimate.value < limit))
    }
}

/// A checked input.
struct Job {
    readings: Vec<On>,
    values: Vec<f64>,
    places: Vec<On>,
    nugget_is: NuggetIs,
    neighbours: Option<usize>,
    /// Where more than one face is in play.
    surface: Option<Surface>,
}

impl Job {
    fn of(input: &Input) -> Result<Self, Problems> {
        let mut check = Check::default();
        if input.readings.is_empty() || input.readings.len() > MOST_READINGS {
            check.wrong("readings", format!("{} readings", input.readings.len()), format!("between 1 and {MOST_READINGS}"));
        }
        if input.at.len() > MOST_PLACES {
            check.wrong("at", format!("{} places", input.at.len()), format!("at most {MOST_PLACES}"));
        }
        if !check.problems.is_empty() {
            return Err(check.problems);
        }
        let mut faces = Faces::default();
        let readings: Vec<On> = input
            .readings
            .iter()
            .enumerate()
            .map(|(i, r)| {
                check.bounded(format!("readings[{i}].value"), r.value, VALUE);
                faces.place(&mut check, || format!("readings[{i}]"), r.face.as_deref(), [r.x_mm, r.y_mm])
            })
            .collect();
        let places: Vec<On> = input
            .at
            .iter()
            .enumerate()
            .map(|(i, place)| match place {
                Place::Plain(at) => faces.place(&mut check, || format!("at[{i}]"), None, *at),
                Place::OnFace(p) => faces.place(&mut check, || format!("at[{i}]"), p.face.as_deref(), [p.x_mm, p.y_mm]),
            })
            .collect();
        check.optional("limit", input.limit, VALUE);
        if input.neighbours.is_some_and(|n| !(4..=400).contains(&n)) {
            check.wrong("neighbours", "out of bounds", "between 4 and 400");
        }
        if let ModelGiven::Given(model) = &input.model {
            check.bounded("model.sill", model.sill, VARIANCE);
            check.bounded("model.nugget", model.nugget, VARIANCE);
            check.bounded("model.range_mm", model.range_mm, RANGE_MM);
            if model.sill == 0.0 {
                check.wrong("model.sill", "nothing varies", "above zero");
            }
        }
        let surface = faces.surface(&mut check, &input.seams);
        if surface.is_some() {
            if input.neighbours.is_some() || readings.len() > MOST_TOGETHER {
                check.wrong(
                    "neighbours",
                    "over a folded surface all readings are used together",
                    format!("one face, or at most {MOST_TOGETHER} readings"),
                );
            }
            if readings.len().saturating_mul(places.len()) > MOST_FOLDED_PAIRS {
                check.wrong("at", "too many places for so many readings over a folded surface", "a coarser map");
            }
        }
        check.problems.or(())?;
        let values = input.readings.iter().map(|r| r.value).collect();
        Ok(Self { readings, values, places, nugget_is: input.nugget_is, neighbours: input.neighbours, surface })
    }

    fn distance(&self, a: On, b: On) -> f64 {
        self.surface.as_ref().map_or_else(|| crate::geometry::distance(a.at, b.at), |surface| surface.distance(a, b))
    }

    fn model(&self, input: &Input) -> Result<Model, Problems> {
        let kind = match &input.model {
            ModelGiven::Given(model) => return Ok(*model),
            ModelGiven::Fit(_) => input.fit_kind.unwrap_or_default(),
        };
        let n = self.readings.len();
        if n < LEAST_TO_FIT {
            let what = format!("{n} readings do not show how alike neighbours are");
            return Err(measure::Problem::at(
                "model",
                what,
                format!("at least {LEAST_TO_FIT} readings to fit, or a model; else draw the readings as dots"),
            )
            .into());
        }
        // Every k-th reading is a fair sample of a scan.
        let every = n.div_ceil(MOST_TO_FIT);
        let some: Vec<usize> = (0..n).step_by(every).collect();
        let values: Vec<f64> = some.iter().map(|i| self.values[*i]).collect();
        let between = |i: usize, j: usize| self.distance(self.readings[some[i]], self.readings[some[j]]);
        let largest = (0..some.len())
            .flat_map(|i| (0..i).map(move |j| (i, j)))
            .map(|(i, j)| between(i, j))
            .filter(|h| h.is_finite())
            .fold(0.0, f64::max);
        let lags = variogram::experimental(&values, between, LAGS, 0.5 * largest);
        let model = variogram::fit(&lags, kind.into()).ok_or_else(|| {
            Problems::from(measure::Problem::at(
                "model",
                "the readings show no likeness between neighbours",
                "a model of your own, or draw the readings as dots",
            ))
        })?;
        Ok(Model { kind, sill: model.sill, range_mm: model.range, nugget: model.nugget })
    }

    fn krige(&self, model: Model, notes: &mut Vec<String>) -> Result<(Vec<Estimate>, usize), Singular> {
        let nugget_is = self.nugget_is.into();
        let of = kriging::Model { kind: model.kind.into(), sill: model.sill, range: model.range_mm, nugget: model.nugget };
        let apart = model.nugget > 0.0 && self.nugget_is == NuggetIs::Error;
        let (readings, values) = if apart { (self.readings.clone(), self.values.clone()) } else { averaged(&self.readings, &self.values) };
        if readings.len() < self.readings.len() {
            notes.push(format!("{} readings at places read before were averaged", self.readings.len() - readings.len()));
        }
        if let Some(surface) = &self.surface {
            let kriging = Kriging::new(&values, |i, j| surface.distance(readings[i], readings[j]), of, nugget_is)?;
            if kriging.ridge() > 0.0 {
                notes.push("distances round corners fit no field exactly; a trace of gauge error was added".into());
            }
            return Ok((kriging.at(self.places.len(), &|p, r| surface.distance(self.places[p], readings[r])), readings.len()));
        }
        let flat = |of: &[On]| of.iter().map(|on| on.at).collect::<Vec<PointMm>>();
        let (on_plane, places) = (flat(&readings), flat(&self.places));
        match self.neighbours.or((readings.len() > MOST_TOGETHER).then_some(NEIGHBOURS)) {
            Some(count) => {
                let count = count.min(readings.len());
                notes.push(format!("each place from its {count} nearest readings"));
                Ok((kriging::by_neighbours(&on_plane, &values, &places, of, nugget_is, count)?, count))
            }
            None => {
                let between = |i: usize, j: usize| crate::geometry::distance(on_plane[i], on_plane[j]);
                let kriging = Kriging::new(&values, between, of, nugget_is)?;
                Ok((kriging.on_plane(&on_plane, &places), readings.len()))
            }
        }
    }
}

/// One reading for each place: the mean of those that were read there.
fn averaged(readings: &[On], values: &[f64]) -> (Vec<On>, Vec<f64>) {
    let mut places: BTreeMap<(usize, u64, u64), (usize, f64, f64)> = BTreeMap::new();
    for (i, (on, value)) in readings.iter().zip(values).enumerate() {
        // Adding zero makes one of the two zeros.
        let key = (on.face, (on.at[0] + 0.0).to_bits(), (on.at[1] + 0.0).to_bits());
        let entry = places.entry(key).or_insert((i, 0.0, 0.0));
        entry.1 += value;
        entry.2 += 1.0;
    }
    let mut kept: Vec<(usize, f64)> = places.into_values().map(|(first, sum, n)| (first, sum / n)).collect();
    kept.sort_by_key(|k| k.0);
    kept.into_iter().map(|(i, mean)| (readings[i], mean)).unzip()
}

/// Faces by name.
#[derive(Default)]
struct Faces {
    numbers: BTreeMap<String, usize>,
}

impl Faces {
    fn number(&mut self, face: &str) -> usize {
        let next = self.numbers.len();
        match self.numbers.get(face) {
            Some(number) => *number,
            None => *self.numbers.entry(face.to_string()).or_insert(next),
        }
    }

    fn place(&mut self, check: &mut Check, field: impl Fn() -> String, face: Option<&str>, at: PointMm) -> On {
        if !at.iter().all(|x| bounds::PLAN_MM.contains(*x)) {
            check.wrong(field(), format!("[{}, {}] is out of bounds", at[0], at[1]), bounds::PLAN_MM.words());
        }
        On { face: self.number(face.unwrap_or_default()), at }
    }

    /// The surface, where there is more than one face.
    fn surface(&mut self, check: &mut Check, seams: &[Seam]) -> Option<Surface> {
        if seams.len() > 200 {
            check.wrong("seams", "too many", "at most 200");
            return None;
        }
        let mut numbered = Vec::with_capacity(seams.len());
        for (i, seam) in seams.iter().enumerate() {
            let lengths = [seam.first_mm, seam.second_mm].map(|s| crate::geometry::distance(s[0], s[1]));
            let sound = lengths.iter().all(|l| l.is_finite() && *l > 0.0 && *l < bounds::PLAN_MM.max);
            if !sound || (lengths[0] - lengths[1]).abs() > 1.0 + 1e-3 * lengths[0] {
                check.wrong(
                    format!("seams[{i}]"),
                    "is not one edge: its two lengths differ or are nothing",
                    "the same two ends in each face's coordinates",
                );
            } else if seam.faces[0] == seam.faces[1] {
                check.wrong(format!("seams[{i}].faces"), "joins a face to itself", "two faces");
            } else {
                let faces = [self.number(&seam.faces[0]), self.number(&seam.faces[1])];
                let Seam { first_mm, second_mm, mirrored, .. } = *seam;
                numbered.push(SharedEdge { faces, first_mm, second_mm, mirrored });
            }
        }
        if self.numbers.len() < 2 {
            return None;
        }
        for (name, number) in &self.numbers {
            if !numbered.iter().any(|s| s.faces.contains(number)) {
                let name = if name.is_empty() { "a place without a face" } else { name };
                check.wrong("seams", format!("{name} hangs on no other face"), "a seam for every face, or one face only");
            }
        }
        Some(Surface::new(self.numbers.len(), &numbered))
    }
}

impl From<Kind> for kriging::Kind {
    fn from(kind: Kind) -> Self {
        match kind {
            Kind::Spherical => Self::Spherical,
            Kind::Exponential => Self::Exponential,
        }
    }
}

impl From<NuggetIs> for kriging::NuggetIs {
    fn from(nugget_is: NuggetIs) -> Self {
        match nugget_is {
            NuggetIs::Error => Self::Error,
            NuggetIs::Field => Self::Field,
        }
    }
}
