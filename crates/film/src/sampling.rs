//! How many readings, and where; and what they cannot find.

use crate::geometry::{area, extent, from_edge, inside};
use crate::places::{self, Likeness};
use measure::{Assumed, Check};
use measure::{Bounds, PointMm, Problems, bounds, math};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stats::proportion;

const SHARE: Bounds = Bounds { min: 1e-6, max: 1.0, unit: "(a share; 5 % is 0.05)" };
const CONFIDENCE: Bounds = Bounds { min: 0.5, max: 0.999, unit: "(a share; 95 % is 0.95)" };
const SPOT_MM: Bounds = Bounds { min: 1.0, max: 100_000.0, unit: "mm" };
const SHAPE: Bounds = Bounds { min: 0.05, max: 1.0, unit: "(short over long axis)" };
const AREA_M2: Bounds = Bounds { min: 1e-4, max: 100_000.0, unit: "m2" };
const MARGIN_MM: Bounds = Bounds { min: 0.0, max: 5_000.0, unit: "mm" };
const WEIGHT: Bounds = Bounds { min: 0.0, max: 1_000.0, unit: "times" };
/// Room for a gauge's foot at an edge.
const MARGIN: f64 = 50.0;
/// Most places listed; more are given by their number, or the spacing of the grid, alone.
const MOST_PLACES: usize = 20_000;
/// Places among which the next ones are chosen.
const CANDIDATES: usize = 150;
/// The same for one field among many of a room.
const FEW_CANDIDATES: usize = 40;
/// The next places given.
const NEXT: usize = 3;
const SCATTER: Bounds = Bounds { min: 0.02, max: 1.0, unit: "(relative; 15 % is 0.15)" };
const RANGE_MM: Bounds = Bounds { min: 1.0, max: 100_000.0, unit: "mm" };
const U_SHARE: Bounds = Bounds { min: 0.001, max: 1.0, unit: "(relative; 5 % is 0.05)" };
/// A palm: the miss an inspector would like to find (common practice, no source).
const PALM_MM: f64 = 100.0;

/// What is to be found, where, and how surely.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Input {
    /// Share of the surface, or of the population, that is thin or missed and must be found. Either this or `spot_mm`.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.000001, max = 1.0))]
    pub missed_share: Option<f64>,
    /// Diameter of a round spot that must be found by a grid, or the long axis of an oval one.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 1.0, max = 100000.0))]
    pub spot_mm: Option<f64>,
    /// Short axis over long axis of the spot; 1 when left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.05, max = 1.0))]
    pub spot_shape: Option<f64>,
    /// How the grid is laid; square when left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub grid: Option<Grid>,
    /// Area of the surface; from the outline when left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0001, max = 100000.0))]
    pub area_m2: Option<f64>,
    /// Probability of finding it.
    #[schemars(range(min = 0.5, max = 0.999))]
    pub confidence: f64,
    /// Number of like places in all (rooms, outlets), where they can be counted.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 1, max = 1000000))]
    pub population: Option<usize>,
    /// Corners of the surface; then places are given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub outline_mm: Option<Vec<PointMm>>,
    /// Places keep this far from the outline; 50 mm when left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 5000.0))]
    pub margin_mm: Option<f64>,
    /// Parts of the surface that see more water, or less: readings are shared out by area times weight. What lies in no
    /// zone has weight 1.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub zones: Vec<Zone>,
    /// Places read already; then the next places to read are given.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub readings: Vec<Read>,
    /// What was asked of the film, for the next places: near the limit a reading changes more.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 1.0, max = 50000.0))]
    pub limit_um: Option<f64>,
    /// For the next places: relative scatter of the film from place to place.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.02, max = 1.0))]
    pub scatter: Option<f64>,
    /// For the next places: distance at which two places (almost) cease to say anything of each other.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 1.0, max = 100000.0))]
    pub range_mm: Option<f64>,
    /// For the next places: relative standard uncertainty (k = 1) of one reading of the tool used.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.001, max = 1.0))]
    pub u_share: Option<f64>,
}

/// How a grid is laid.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Grid {
    /// Rows and columns.
    #[default]
    Square,
    /// Every second row shifted by half a step.
    Triangular,
}

/// Part of the surface with its weight.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Zone {
    /// Its name.
    pub id: String,
    /// Its corners.
    pub polygon_mm: Vec<PointMm>,
    /// How much more a place here matters than one in no zone.
    #[schemars(range(min = 0.0, max = 1000.0))]
    pub weight: f64,
}

/// A place read already.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Read {
    /// Place.
    pub x_mm: f64,
    /// Place.
    pub y_mm: f64,
    /// Film there, when known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value_um: Option<f64>,
}

/// How many, and where.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Output {
    /// Readings needed.
    pub n: usize,
    /// Spacing of the grid, for a spot.
    pub grid_mm: Option<f64>,
    /// Probability with which so many find it: at least the confidence asked.
    pub prob_found: f64,
    /// Diameter of the smallest round patch that so many readings find with the confidence asked; absent without an area.
    pub smallest_patch_mm: Option<f64>,
    /// Where, when an outline is given.
    pub places: Vec<Place>,
    /// The next three places to read, the one that would change most first.
    pub next: Vec<NextPlace>,
    /// What these readings cannot find, and what can.
    pub notes: Vec<String>,
    /// What was not given and was therefore assumed.
    pub assumed: Vec<Assumed>,
}

/// A place to read.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Place {
    /// Place.
    pub x_mm: f64,
    /// Place.
    pub y_mm: f64,
    /// The zone it lies in, if any.
    pub zone: Option<String>,
}

/// A place to read next, and what that is worth.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct NextPlace {
    /// Place.
    pub x_mm: f64,
    /// Place.
    pub y_mm: f64,
    /// The zone it lies in, if any.
    pub zone: Option<String>,
    /// Probability, from the readings so far, that the film there is under `limit_um`.
    pub prob_below: Option<f64>,
    /// Probability of judging a place of the surface wrongly now, mean over the surface by area times weight; without
    /// `limit_um` or values, the mean relative deviation of what is known of the film.
    pub doubt: f64,
    /// The same after this reading (and those before it in the list), averaged over what it may show.
    pub doubt_after: f64,
}

/// Answers how many readings and where.
///
/// A share is found by places taken at random: `n = ln(1 - c) / ln(1 - p)`; in a counted population by the hypergeometric
/// distribution. A spot is found by a grid as in [`reach_over_spacing`]. Places are the same every time. Errors: everything
/// out of bounds, both or neither of `missed_share` and `spot_mm`, an outline without area.
pub fn run(input: &Input) -> Result<Output, Problems> {
    let (job, assumed) = Job::of(input)?;
    let c = input.confidence;
    let (n, grid_mm, prob_found) = match job.target {
        Target::Share(share) => match input.population {
            Some(population) => {
                let defective = ((share * population as f64 + 1e-9).floor() as usize).max(1);
                let n = proportion::readings_to_find_among(population, defective, c).unwrap_or(population);
                (n, None, proportion::prob_found(population, defective, n))
            }
            None => {
                let n = proportion::readings_to_find(share, c);
                (n, None, 1.0 - math::pow(1.0 - share, n as f64))
            }
        },
        Target::Spot { long_mm, shape, grid } => {
            let spacing = 0.5 * long_mm / reach_over_spacing(grid, shape, c);
            let cell = spacing * spacing * grid.cell();
            // Without an area the grid is still known; one place then stands for one cell.
            (job.area_mm2.map_or(1, |area| (area / cell).ceil().max(1.0) as usize), Some(spacing), c)
        }
    };
    let places = job.places(n, grid_mm);
    let n = if grid_mm.is_some() && !places.is_empty() { places.len() } else { n };
    let smallest_patch_mm = job.area_mm2.map(|area| match grid_mm {
        Some(_) => input.spot_mm.unwrap_or_default() * input.spot_shape.unwrap_or(1.0),
        None => patch_mm(area * (1.0 - math::pow(1.0 - c, 1.0 / n as f64))),
    });
    Ok(Output { n, grid_mm, prob_found, smallest_patch_mm, next: job.next(), notes: job.notes(n, smallest_patch_mm), places, assumed })
}

/// Diameter of a round patch of that area.
fn patch_mm(area_mm2: f64) -> f64 {
    2.0 * (area_mm2 / std::f64::consts::PI).sqrt()
}

impl Grid {
    /// Area of a cell with spacing 1.
    fn cell(self) -> f64 {
        match self {
            Self::Square => 1.0,
            Self::Triangular => 0.75f64.sqrt(),
        }
    }

    /// The lattice with spacing 1.
    fn basis(self) -> [[f64; 2]; 2] {
        match self {
            Self::Square => [[1.0, 0.0], [0.0, 1.0]],
            Self::Triangular => [[1.0, 0.0], [0.5, 0.75f64.sqrt()]],
        }
    }
}

/// Probability that a grid of spacing 1 has a node in a circle of radius `r` laid anywhere: the share of a cell that circles
/// about its nodes cover (Singer and Wickman 1969; Gilbert 1987, *Statistical Methods for Environmental Pollution
/// Monitoring*, ch. 10; both as told by later papers, their tables not seen).
pub fn prob_grid_finds(grid: Grid, r: f64) -> f64 {
    if r <= 0.0 {
        return 0.0;
    }
    let (cell, lenses, full) = match grid {
        Grid::Square => (1.0, 4.0, 0.5f64.sqrt()),
        Grid::Triangular => (0.75f64.sqrt(), 6.0, 1.0 / 3.0f64.sqrt()),
    };
    if r >= full {
        return 1.0;
    }
    // Half a lens, the overlap of two neighbouring circles.
    let overlap = if r > 0.5 { r * r * math::acos(0.5 / r) - 0.5 * (r * r - 0.25).sqrt() } else { 0.0 };
    ((std::f64::consts::PI * r * r - lenses * overlap) / cell).clamp(0.0, 1.0)
}

/// Half the long axis of a spot over the spacing of the grid that finds it with the given probability, whichever way it
/// lies. `shape` is short over long axis.
///
/// For a circle by [`prob_grid_finds`]; for an oval by stretching the plane until it is a circle, whereupon the probability
/// that it holds a node is the share of the stretched cell within its radius of one: the answer is a quantile of the
/// distance to the nearest node over all places and directions. Within 0.003 for shapes from 0.2 up.
pub fn reach_over_spacing(grid: Grid, shape: f64, probability: f64) -> f64 {
    if shape >= 1.0 {
        let (mut low, mut high) = (0.0, 1.0);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if prob_grid_finds(grid, middle) < probability { low = middle } else { high = middle }
        }
        return high;
    }
    const DIRECTIONS: usize = 30;
    const ACROSS: usize = 48;
    let mut distances = Vec::with_capacity(DIRECTIONS * ACROSS * ACROSS);
    for i in 0..DIRECTIONS {
        let turn = std::f64::consts::PI * (i as f64 + 0.5) / DIRECTIONS as f64;
        let (sin, cos) = math::sincos(turn);
        let stretched = grid.basis().map(|[x, y]| [x * cos + y * sin, (y * cos - x * sin) / shape]);
        let [a, b] = reduced(stretched);
        for j in 0..ACROSS * ACROSS {
            let (u, v) = (((j % ACROSS) as f64 + 0.5) / ACROSS as f64, ((j / ACROSS) as f64 + 0.5) / ACROSS as f64);
            distances.push(to_node(a, b, u, v));
        }
    }
    distances.sort_by(f64::total_cmp);
    let at = (probability * distances.len() as f64).ceil() as usize;
    distances[at.clamp(1, distances.len()) - 1]
}

/// The same lattice by its two shortest vectors (Lagrange and Gauss).
fn reduced([mut a, mut b]: [[f64; 2]; 2]) -> [[f64; 2]; 2] {
    let dot = |p: [f64; 2], q: [f64; 2]| p[0] * q[0] + p[1] * q[1];
    for _ in 0..100 {
        if dot(a, a) > dot(b, b) {
            std::mem::swap(&mut a, &mut b);
        }
        let times = (dot(a, b) / dot(a, a)).round();
        if times == 0.0 {
            break;
        }
        b = [b[0] - times * a[0], b[1] - times * a[1]];
    }
    [a, b]
}

/// Distance from the place u a + v b of a reduced cell to the nearest node.
fn to_node(a: [f64; 2], b: [f64; 2], u: f64, v: f64) -> f64 {
    let mut nearest = f64::INFINITY;
    for i in -1..=2 {
        for j in -1..=2 {
            let (p, q) = (u - f64::from(i), v - f64::from(j));
            nearest = nearest.min(math::sq(p * a[0] + q * b[0]) + math::sq(p * a[1] + q * b[1]));
        }
    }
    nearest.sqrt()
}

#[derive(Clone, Copy)]
enum Target {
    Share(f64),
    Spot { long_mm: f64, shape: f64, grid: Grid },
}

/// A checked input.
struct Job<'a> {
    input: &'a Input,
    target: Target,
    area_mm2: Option<f64>,
    margin_mm: f64,
    like: Likeness,
}

impl<'a> Job<'a> {
    fn of(input: &'a Input) -> Result<(Self, Vec<Assumed>), Problems> {
        let mut check = Check::default();
        check.bounded("confidence", input.confidence, CONFIDENCE);
        let shape = check.optional("spot_shape", input.spot_shape, SHAPE).unwrap_or(1.0);
        let target = match (input.missed_share, input.spot_mm) {
            (Some(share), None) => Target::Share(check.bounded("missed_share", share, SHARE)),
            (None, Some(long_mm)) => {
                Target::Spot { long_mm: check.bounded("spot_mm", long_mm, SPOT_MM), shape, grid: input.grid.unwrap_or_default() }
            }
            (Some(_), Some(_)) => {
                check.wrong("spot_mm", "given beside missed_share", "one of the two");
                Target::Share(1.0)
            }
            (None, None) => {
                check.wrong("missed_share", "missing", "the share to find, or spot_mm");
                Target::Share(1.0)
            }
        };
        if input.population.is_some_and(|n| !(1..=1_000_000).contains(&n)) {
            check.wrong("population", "out of bounds", "between 1 and 1000000");
        }
        if input.population.is_some() && input.spot_mm.is_some() {
            check.wrong("population", "given with spot_mm", "a population is counted, a spot lies on a surface");
        }
        let mut area_mm2 = check.optional("area_m2", input.area_m2, AREA_M2).map(|m2| m2 * 1e6);
        if let Some(outline) = &input.outline_mm
            && ring(&mut check, "outline_mm", outline)
        {
            area_mm2 = area_mm2.or(Some(area(outline)));
        }
        for (i, zone) in input.zones.iter().enumerate() {
            ring(&mut check, &format!("zones[{i}].polygon_mm"), &zone.polygon_mm);
            check.bounded(format!("zones[{i}].weight"), zone.weight, WEIGHT);
        }
        if input.zones.len() > 1000 {
            check.wrong("zones", "too many", "at most 1000");
        }
        if input.readings.len() > 5_000 {
            check.wrong("readings", "too many", "at most 5000");
        } else {
            for (i, read) in input.readings.iter().enumerate() {
                check.bounded(format!("readings[{i}].x_mm"), read.x_mm, bounds::PLAN_MM);
                check.bounded(format!("readings[{i}].y_mm"), read.y_mm, bounds::PLAN_MM);
                check.optional(format!("readings[{i}].value_um"), read.value_um, crate::thickness::FILM_UM);
            }
        }
        check.optional("limit_um", input.limit_um, crate::thickness::FILM_UM);
        let margin_mm = if input.outline_mm.is_some() {
            check.or_assumed("margin_mm", input.margin_mm, MARGIN_MM, MARGIN, "room for a gauge's foot; common practice, no source")
        } else {
            check.optional("margin_mm", input.margin_mm, MARGIN_MM).unwrap_or(0.0)
        };
        let like = likeness(&mut check, input);
        let assumed = std::mem::take(&mut check.assumed);
        check.problems.or((Self { input, target, area_mm2, margin_mm, like }, assumed))
    }

    fn outline(&self) -> Option<&[PointMm]> {
        self.input.outline_mm.as_deref()
    }

    /// The first zone a place lies in.
    fn zone(&self, p: PointMm) -> Option<&Zone> {
        self.input.zones.iter().find(|zone| inside(&zone.polygon_mm, p))
    }

    fn weight(&self, p: PointMm) -> f64 {
        self.zone(p).map_or(1.0, |zone| zone.weight)
    }

    fn allowed(&self, outline: &[PointMm], margin: f64, p: PointMm) -> bool {
        inside(outline, p) && from_edge(outline, p) >= margin
    }

    fn place(&self, [x_mm, y_mm]: PointMm) -> Place {
        Place { x_mm, y_mm, zone: self.zone([x_mm, y_mm]).map(|zone| zone.id.clone()) }
    }

    fn places(&self, n: usize, grid_mm: Option<f64>) -> Vec<Place> {
        let Some(outline) = self.outline() else { return Vec::new() };
        let points = match (grid_mm, self.target) {
            (Some(spacing), Target::Spot { grid, .. }) => self.lattice(outline, spacing, grid),
            _ => {
                let heaviest = self.input.zones.iter().map(|z| z.weight).fold(1.0, f64::max);
                if n > MOST_PLACES { Vec::new() } else { self.spread(outline, n, heaviest, |p| self.weight(p)) }
            }
        };
        points.into_iter().map(|p| self.place(p)).collect()
    }

    /// The nodes of a grid inside the outline, half a step from its extent; empty when they are too many to list. A node
    /// too near an edge moves to the margin's distance if that is possible, else it stays out.
    fn lattice(&self, outline: &[PointMm], spacing: f64, grid: Grid) -> Vec<PointMm> {
        let [lo, hi] = extent(outline);
        let row_step = spacing * grid.cell();
        let (columns, rows) = ((hi[0] - lo[0]) / spacing, (hi[1] - lo[1]) / row_step);
        if columns * rows > 2.0 * MOST_PLACES as f64 {
            return Vec::new();
        }
        let margin = self.margin_mm.min(0.45 * spacing);
        let mut points = Vec::new();
        // Centred, so that what remains is shared by both sides.
        let (columns, rows) = (columns.ceil().max(1.0) as usize, rows.ceil().max(1.0) as usize);
        let start = [0.5 * (lo[0] + hi[0] - (columns - 1) as f64 * spacing), 0.5 * (lo[1] + hi[1] - (rows - 1) as f64 * row_step)];
        for j in 0..rows {
            let shift = if grid == Grid::Triangular && j % 2 == 1 { -0.5 * spacing } else { 0.0 };
            let extra = usize::from(shift != 0.0);
            for i in 0..columns + extra {
                let p = [
                    (start[0] + shift + i as f64 * spacing).clamp(lo[0] + margin, (hi[0] - margin).max(lo[0] + margin)),
                    (start[1] + j as f64 * row_step).clamp(lo[1] + margin, (hi[1] - margin).max(lo[1] + margin)),
                ];
                if self.allowed(outline, margin - 1e-9, p) {
                    points.push(p);
                }
            }
        }
        points
    }

    /// Places spread evenly without rows, shared out by area times weight: Halton's points (bases 2 and 3; Halton 1960, from
    /// memory), each kept with the chance its weight gives it, drawn from a third base.
    fn spread(&self, outline: &[PointMm], n: usize, heaviest: f64, weight: impl Fn(PointMm) -> f64) -> Vec<PointMm> {
        let [lo, hi] = extent(outline);
        let deepest = self.margin_mm.min(widest(outline) * 0.5);
        let mut points = Vec::with_capacity(n);
        for i in 1..=most_tries(n) {
            if points.len() == n {
                break;
            }
            let p = [lo[0] + (hi[0] - lo[0]) * halton(i, 2), lo[1] + (hi[1] - lo[1]) * halton(i, 3)];
            if self.allowed(outline, deepest, p) && halton(i, 5) * heaviest < weight(p) {
                points.push(p);
            }
        }
        points
    }

    /// Up to three places that would change most ([`crate::places`]).
    fn next(&self) -> Vec<NextPlace> {
        let Some(outline) = self.outline().filter(|_| !self.input.readings.is_empty()) else { return Vec::new() };
        let candidates = self.spread(outline, CANDIDATES, 1.0, |_| 1.0);
        let weights: Vec<f64> = candidates.iter().map(|p| self.weight(*p)).collect();
        let chosen = places::next(&candidates, &weights, &self.input.readings, self.input.limit_um, self.like, NEXT);
        chosen
            .into_iter()
            .map(|place| {
                let Place { x_mm, y_mm, zone } = self.place(place.at);
                NextPlace { x_mm, y_mm, zone, prob_below: place.prob_short, doubt: place.before, doubt_after: place.after }
            })
            .collect()
    }

    fn notes(&self, n: usize, smallest_patch_mm: Option<f64>) -> Vec<String> {
        let mut notes = Vec::new();
        if let Some(patch) = smallest_patch_mm.filter(|patch| *patch > PALM_MM) {
            notes.push(format!("{n} readings say how thick; a miss smaller than {patch:.0} mm across they are not likely to meet"));
        }
        if let Some(area) = self.area_mm2 {
            let palm = std::f64::consts::PI * math::sq(PALM_MM / 2.0);
            let random = proportion::readings_to_find((palm / area).min(1.0), self.input.confidence);
            notes.push(format!(
                "a palm-sized miss ({PALM_MM:.0} mm) would take {random} places at random here: look over the whole surface, photograph all of it in raking light, and flood it"
            ));
        }
        notes.push(
            "the count takes misses as lying anywhere alike; corners, upturns and outlets are missed first: look at each of them".into(),
        );
        notes
    }
}

/// The next place to read on a drawn surface, an area of polygons each with its holes: the places read on it, the limit, and
/// a reading of the gauge. Places keep 50 mm from every edge where the surface is wide enough. With no reading yet it is the
/// place that says most of all others.
pub fn next_in(area: &[Vec<Vec<PointMm>>], read: &[Read], limit_um: Option<f64>) -> Option<NextPlace> {
    let corners: Vec<PointMm> = area.iter().filter_map(|polygon| polygon.first()).flatten().copied().collect();
    let [lo, hi] = extent(&corners);
    if corners.is_empty() || !(lo[0] < hi[0] && lo[1] < hi[1]) {
        return None;
    }
    let on = |p: PointMm, margin: f64| {
        let rings = || area.iter().flatten();
        // A place in a hole lies inside two rings.
        rings().filter(|ring| inside(ring, p)).count() % 2 == 1 && rings().all(|ring| from_edge(ring, p) >= margin)
    };
    let spread = |margin: f64| -> Vec<PointMm> {
        let tries =
            (1..=most_tries(FEW_CANDIDATES)).map(|i| [lo[0] + (hi[0] - lo[0]) * halton(i, 2), lo[1] + (hi[1] - lo[1]) * halton(i, 3)]);
        tries.filter(|p| on(*p, margin)).take(FEW_CANDIDATES).collect()
    };
    let candidates = [MARGIN, 0.4 * MARGIN, 0.0].into_iter().map(spread).find(|places| !places.is_empty())?;
    let weights = vec![1.0; candidates.len()];
    let next = places::next(&candidates, &weights, read, limit_um, Likeness::ASSUMED, 1).pop()?;
    let [x_mm, y_mm] = next.at;
    Some(NextPlace { x_mm, y_mm, zone: None, prob_below: next.prob_short, doubt: next.before, doubt_after: next.after })
}

/// Tries at placing `n` points in an outline of any shape.
fn most_tries(n: usize) -> u64 {
    (40 * n + 20_000) as u64
}

/// How films are alike; what is assumed is noted only where the next places need it.
fn likeness(check: &mut Check, input: &Input) -> Likeness {
    let why = "a film rolled or trowelled on site; common practice, no source";
    let mut given = |field: &str, value: Option<f64>, bounds: Bounds, assumed: f64, why: &str| {
        if input.readings.is_empty() || input.outline_mm.is_none() {
            return check.optional(field, value, bounds).unwrap_or(assumed);
        }
        check.or_assumed(field, value, bounds, assumed, why)
    };
    Likeness {
        scatter: given("scatter", input.scatter, SCATTER, Likeness::ASSUMED.scatter, why),
        range_mm: given("range_mm", input.range_mm, RANGE_MM, Likeness::ASSUMED.range_mm, why),
        u: given("u_share", input.u_share, U_SHARE, Likeness::ASSUMED.u, "a gauge or cut-out; common practice, no source"),
    }
}

fn widest(outline: &[PointMm]) -> f64 {
    let [lo, hi] = extent(outline);
    0.5 * (hi[0] - lo[0]).min(hi[1] - lo[1])
}

/// The digits of `i` in a base, mirrored behind the point.
fn halton(mut i: u64, base: u64) -> f64 {
    let (mut value, mut digit) = (0.0, 1.0 / base as f64);
    while i > 0 {
        value += (i % base) as f64 * digit;
        i /= base;
        digit /= base as f64;
    }
    value
}

/// Whether the corners make a ring with an area.
fn ring(check: &mut Check, field: &str, corners: &[PointMm]) -> bool {
    let before = check.problems.problems.len();
    if !(3..=bounds::CORNERS).contains(&corners.len()) {
        check.wrong(field, format!("{} corners", corners.len()), format!("3 to {} corners", bounds::CORNERS));
        return false;
    }
    for (i, corner) in corners.iter().enumerate() {
        for x in corner {
            check.bounded(format!("{field}[{i}]"), *x, bounds::PLAN_MM);
        }
    }
    if check.problems.problems.len() == before && area(corners) < 1.0 {
        check.wrong(field, "has no area", "corners in order round the surface, in millimetres");
    }
    check.problems.problems.len() == before
}
