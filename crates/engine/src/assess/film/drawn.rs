//! What drawings need of the film: every reading as a dot, the strata, and a map where there are enough readings.

use super::told::owes_film;
use super::{Against, LayerFilm, LayerMean, layer_mean, strata};
use crate::assess::Context;
use film::map::{self, Fit, LEAST_TO_FIT, ModelGiven, NuggetIs};
use film::surface::Seam;
use film::thickness::Kind;
use job::faces;
use measure::{PointMm, Verdict};
use room::geometry::{contains, extent};
use room::nouns::MembraneLayer;
use room::register::{Detail, Face, Place};
use room::unfold::{Unfolded, seams};

/// Cells of a map at most, and their least side.
const CELLS: f64 = 2_500.0;
const LEAST_CELL_MM: f64 = 25.0;

/// The film of one membrane, computed for drawing.
pub struct FilmDrawn {
    /// Membrane.
    pub layer: MembraneLayer,
    /// What every place must reach, or the mean where nothing is asked of single places; absent where nothing is asked.
    pub limit_um: Option<f64>,
    /// What is asked, in words; absent where nothing is.
    pub asked: Option<String>,
    /// Mean over the fields that were read.
    pub mean: Option<LayerMean>,
    /// Every reading.
    pub readings: Vec<DotDrawn>,
    /// The strata that were read, and those that are owed a reading and have none.
    pub strata: Vec<StratumDrawn>,
    /// Between the readings, where there are about fifty with their places.
    pub map: Option<MapDrawn>,
    /// Why there is no map, though there are enough readings; what to know when using it.
    pub notes: Vec<String>,
}

/// One reading.
pub struct DotDrawn {
    /// Face.
    pub face: Face,
    /// Place on the face.
    pub x_mm: f64,
    /// Place on the face.
    pub y_mm: f64,
    /// Whether that is where it was taken; else it stands in the middle of its detail.
    pub placed: bool,
    /// Detail.
    pub detail: String,
    /// Coat it was read wet in; absent for dry film.
    pub wet_coat: Option<u32>,
    /// Whether it was read wet.
    pub wet: bool,
    /// Value, as read.
    pub value_um: Option<f64>,
    /// Last tooth wetted.
    pub lo_um: Option<f64>,
    /// Next tooth, which stayed dry.
    pub hi_um: Option<f64>,
    /// Name of its cut-out.
    pub cut_out: Option<String>,
    /// Whether it counts.
    pub counts: bool,
    /// Whether it is shown to be under what every reading must reach.
    pub short: bool,
}

/// One stratum.
pub struct StratumDrawn {
    /// In words.
    pub words: String,
    /// Its details, by id.
    pub details: Vec<String>,
    /// Readings that count.
    pub n: usize,
    /// Mean dry film and the ends of its 95 % interval; absent where nothing that counts was read.
    pub mean_um: Option<[f64; 3]>,
    /// Verdict.
    pub verdict: Verdict,
    /// Probability that a coat is missing, where coats are known.
    pub prob_one_coat_short: Option<f64>,
}

/// The film between the readings.
pub struct MapDrawn {
    /// One grid for each face that carries the membrane.
    pub faces: Vec<FaceGrid>,
    /// The limit its probabilities speak of.
    pub limit_um: f64,
}

/// A grid on one face.
pub struct FaceGrid {
    /// Face.
    pub face: Face,
    /// Centre of the first cell.
    pub x0_mm: f64,
    /// Centre of the first cell.
    pub y0_mm: f64,
    /// Side of a cell.
    pub cell_mm: f64,
    /// Cells along x.
    pub nx: usize,
    /// Cells along y.
    pub ny: usize,
    /// Film, row by row from the first cell; `None` outside the membrane.
    pub value_um: Vec<Option<f64>>,
    /// Probability that the film is under the limit.
    pub prob_below: Vec<Option<f64>>,
}

/// Every membrane with readings.
pub fn all(context: &Context<'_>) -> Vec<FilmDrawn> {
    context.film.iter().filter(|film| !film.readings.is_empty()).map(|film| film.drawn(context)).collect()
}

impl LayerFilm {
    fn drawn(&self, context: &Context<'_>) -> FilmDrawn {
        let against = self.judged.first();
        let limit_um = against.map(|against| against.asked.minimum_um().unwrap_or(against.asked.limit_um));
        let readings = (0..self.readings.len()).filter_map(|i| self.dot(context, against, i)).collect();
        let strata = against.map_or_else(Vec::new, |against| self.strata_drawn(context, against));
        let mut notes = Vec::new();
        let map = limit_um.and_then(|limit| self.map(context, limit, &mut notes));
        let asked = against.map(|against| against.asked.words());
        FilmDrawn { layer: self.layer, limit_um, asked, mean: layer_mean(context, self.layer), readings, strata, map, notes }
    }

    fn dot(&self, context: &Context<'_>, against: Option<&Against>, i: usize) -> Option<DotDrawn> {
        let r = &self.readings[i];
        let detail = context.job.register.iter().find(|detail| detail.id == r.detail)?;
        let (face, [x_mm, y_mm]) = match &r.place {
            Some(place) => (place.face.clone(), [place.x_mm, place.y_mm]),
            None => (detail.face.clone(), middle(detail)?),
        };
        let dots = against.iter().filter_map(|against| against.strata[self.of[i]].dry.as_ref()).flat_map(|out| &out.readings);
        let short = dots.filter(|dot| self.of_dot(dot) == Some(i)).any(|dot| dot.verdict == Some(Verdict::FallsShort));
        Some(DotDrawn {
            face,
            x_mm,
            y_mm,
            placed: r.place.is_some(),
            detail: r.detail.clone(),
            wet_coat: r.coat,
            wet: r.kind == Kind::Wet,
            value_um: r.value_um,
            lo_um: r.lo_um,
            hi_um: r.hi_um,
            cut_out: r.cut_out.clone(),
            counts: self.counts(i),
            short,
        })
    }

    fn strata_drawn(&self, context: &Context<'_>, against: &Against) -> Vec<StratumDrawn> {
        let known = self.strata.iter().zip(&against.strata);
        known
            .filter_map(|(stratum, known)| {
                let (n, mean_um, verdict, short) = match (&known.dry, &known.wet) {
                    (Some(out), _) if out.n > 0 => {
                        let mean = out.mean_um?;
                        (out.n, Some([mean.value, mean.lo, mean.hi]), out.judgement.verdict, out.prob_one_coat_short)
                    }
                    (_, Some(sum)) => {
                        let (value, half) = (sum.film.value(), 1.96 * sum.film.u());
                        (sum.readings.len(), Some([value, value - half, value + half]), sum.judgement.verdict, None)
                    }
                    _ if stratum.details.iter().any(|i| owes_film(context, &context.job.register[*i])) => {
                        (0, None, Verdict::NotShown, None)
                    }
                    _ => return None,
                };
                let details = stratum.details.iter().map(|i| context.job.register[*i].id.clone()).collect();
                let words = stratum.words.clone();
                Some(StratumDrawn { words, details, n, mean_um, verdict, prob_one_coat_short: short })
            })
            .collect()
    }

    /// The film between dry readings with their places, over the corners of the room.
    fn map(&self, context: &Context<'_>, limit_um: f64, notes: &mut Vec<String>) -> Option<MapDrawn> {
        let readings: Vec<map::Reading> = self.dry().filter(|i| self.counts(*i)).filter_map(|i| self.on_face(i)).collect();
        if readings.len() < LEAST_TO_FIT {
            return None;
        }
        let mut grids = self.grids(context);
        let places = |grid: &FaceGrid| {
            let inside = (0..grid.nx * grid.ny).filter(|cell| grid.value_um[*cell].is_some()).collect::<Vec<_>>();
            inside.into_iter().map(|cell| grid.centre(cell)).collect::<Vec<PointMm>>()
        };
        let at = |grid: &FaceGrid| {
            let face = faces::words(&grid.face);
            places(grid).into_iter().map(move |[x_mm, y_mm]| map::Place::OnFace(map::FacePlace { x_mm, y_mm, face: Some(face.clone()) }))
        };
        let input = map::Input {
            at: grids.iter().flat_map(at).collect(),
            model: ModelGiven::Fit(Fit::Fit),
            nugget_is: NuggetIs::Error,
            fit_kind: None,
            seams: room_seams(context),
            neighbours: None,
            limit: Some(limit_um),
            readings,
        };
        let output = map::run(&input).map_err(|problems| notes.extend(problems.problems.first().map(ToString::to_string))).ok()?;
        let mut cells = output.value.into_iter().zip(output.prob_below);
        for grid in &mut grids {
            for cell in 0..grid.value_um.len() {
                if grid.value_um[cell].is_some() {
                    let (value, below) = cells.next().unzip();
                    (grid.value_um[cell], grid.prob_below[cell]) = (value, below);
                }
            }
        }
        notes.extend(output.notes);
        Some(MapDrawn { faces: grids, limit_um })
    }

    /// A dry reading with its place, brackets by their middle.
    fn on_face(&self, i: usize) -> Option<map::Reading> {
        let r = &self.readings[i];
        let place = r.place.as_ref()?;
        let value = r.value_um.or_else(|| Some(0.5 * (r.lo_um? + r.hi_um?)))?;
        Some(map::Reading { x_mm: place.x_mm, y_mm: place.y_mm, value, face: Some(faces::words(&place.face)) })
    }

    /// Empty grids over every face that carries a field of the membrane; cells on it are marked by a value.
    fn grids(&self, context: &Context<'_>) -> Vec<FaceGrid> {
        let fields: Vec<&Detail> = (self.strata.iter().filter(|stratum| stratum.is_field))
            .flat_map(|stratum| stratum.details.iter().map(|i| &context.job.register[*i]))
            .filter(|detail| strata::is_field(detail.kind))
            .collect();
        let area_mm2: f64 = fields.iter().filter_map(|detail| detail.area_m2).sum::<f64>() * 1e6;
        let cell_mm = (area_mm2 / CELLS).sqrt().max(LEAST_CELL_MM);
        let mut on: Vec<&Face> = Vec::new();
        fields.iter().for_each(|detail| {
            if !on.contains(&&detail.face) {
                on.push(&detail.face);
            }
        });
        let grid = |face: &&Face| {
            let own: Vec<&Vec<Vec<PointMm>>> = (fields.iter().filter(|detail| detail.face == **face))
                .filter_map(|detail| if let Place::Patch(patch) = &detail.place { Some(patch) } else { None })
                .flatten()
                .collect();
            FaceGrid::over((*face).clone(), &own, cell_mm)
        };
        on.iter().filter_map(grid).collect()
    }
}

impl FaceGrid {
    fn over(face: Face, polygons: &[&Vec<Vec<PointMm>>], cell_mm: f64) -> Option<Self> {
        let corners: Vec<PointMm> = polygons.iter().filter_map(|polygon| polygon.first()).flatten().copied().collect();
        let [lo, hi] = extent(&corners)?;
        let along = |axis: usize| ((hi[axis] - lo[axis]) / cell_mm).ceil().max(1.0);
        let (nx, ny) = (along(0), along(1));
        // Centred, so that what the last cell stands out is shared by both sides.
        let start = |axis: usize, n: f64| 0.5 * (lo[axis] + hi[axis]) - 0.5 * (n - 1.0) * cell_mm;
        let (x0_mm, y0_mm, nx, ny) = (start(0, nx), start(1, ny), nx as usize, ny as usize);
        let mut grid = Self { face, x0_mm, y0_mm, cell_mm, nx, ny, value_um: Vec::new(), prob_below: vec![None; nx * ny] };
        let on = |p: PointMm| {
            let of = |polygon: &&Vec<Vec<PointMm>>| {
                polygon
                    .split_first()
                    .is_some_and(|(outer, holes)| contains(outer, p, 0.0) && !holes.iter().any(|hole| contains(hole, p, 0.0)))
            };
            polygons.iter().any(of)
        };
        grid.value_um = (0..nx * ny).map(|cell| on(grid.centre(cell)).then_some(0.0)).collect();
        Some(grid)
    }

    /// Centre of a cell.
    pub fn centre(&self, cell: usize) -> PointMm {
        [self.x0_mm + (cell % self.nx) as f64 * self.cell_mm, self.y0_mm + (cell / self.nx) as f64 * self.cell_mm]
    }
}

/// The seams of the room as the map takes them.
fn room_seams(context: &Context<'_>) -> Vec<Seam> {
    let named = seams(&Unfolded::new(&context.job.room)).into_iter().map(|seam| Seam {
        faces: seam.faces.map(|face| faces::words(&face)),
        first_mm: seam.first_mm,
        second_mm: seam.second_mm,
        mirrored: seam.mirrored,
    });
    named.collect()
}

/// Somewhere in the middle of a detail.
fn middle(detail: &Detail) -> Option<PointMm> {
    match &detail.place {
        Place::Point(at) => Some(*at),
        Place::Run(line) => room::geometry::along_line(line, 0.5 * room::geometry::line_length_mm(line)),
        Place::Patch(patch) => film::sampling::next_in(patch, &[], None).map(|place| [place.x_mm, place.y_mm]),
    }
}
