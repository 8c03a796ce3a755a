//! Film readings judged: pooled by kind of place and by where one would look, told at each detail.
//!
//! A stratum ([`strata`]) is judged by [`film::thickness`] on the dry readings of its membrane, all strata together, against
//! what the data sheet or a rule asks ([`asked`]). One with wet readings of every coat and no dry one is judged on their sum
//! ([`wet`]). A detail that was not read itself has its stratum's verdict; one with a reading shown under the minimum falls
//! short by itself. Where something is open, [`next`] says which reading would change most, and where.

mod asked;
mod drawn;
mod next;
mod patches;
mod strata;
mod told;
mod wet;
mod words;

pub use drawn::{DotDrawn, FaceGrid, FilmDrawn, MapDrawn, StratumDrawn, all as drawings};
pub use patches::of as patches;
pub use told::{by_rule, by_sheet, elsewhere};

use super::water::Water;
use super::{Context, facts, lines};
use asked::Asked;
use film::thickness::{self, Dot, Input, Kind, StratumOut, no_comb};
use job::film::FilmReading;
use measure::{Grade, Measured, math};
use room::nouns::MembraneLayer;
use room::register::Detail;
use room::sheet::DataSheet;
use std::collections::BTreeSet;
use strata::Stratum;
use wet::Sum;

/// The quantity's name in the packs.
pub const QUANTITY: &str = "film_um";
/// Uncertainty of a reading whose tool is not known, where none is given: a gauge's.
const U_UM: f64 = 15.0;

/// More water than any detail sees in a day: what the order of the next readings counts to.
const MOST_LITRES: f64 = 1.0e6;

/// What the film readings of one membrane say.
pub struct LayerFilm {
    /// Membrane.
    pub layer: MembraneLayer,
    /// Its readings, those of `film.csv` first.
    readings: Vec<FilmReading>,
    /// The stratum of each reading.
    of: Vec<usize>,
    /// Places where one would look.
    strata: Vec<Stratum>,
    /// One for each thing asked of its film.
    judged: Vec<Against>,
}

/// The readings held against one thing that is asked.
struct Against {
    asked: Asked,
    /// One for each stratum.
    strata: Vec<Known>,
}

/// What is known of one stratum.
#[derive(Default)]
struct Known {
    /// From the dry readings.
    dry: Option<StratumOut>,
    /// From the wet readings of every coat, where there is no dry one.
    wet: Option<Sum>,
    /// Why the readings could not be used.
    refused: Option<String>,
    /// The reading to take next.
    next: Option<next::Reading>,
}

impl Known {
    /// Dry readings that count.
    fn dry_count(&self) -> usize {
        self.dry.as_ref().map_or(0, |out| out.n)
    }
}

/// Every membrane of the room, or of the readings where the room names none.
pub fn all(context: &Context<'_>, water: &Water) -> Vec<LayerFilm> {
    let readings = taken(context);
    let named = context.job.membrane_layers();
    let layers: BTreeSet<MembraneLayer> = named.into_iter().chain(readings.iter().map(|reading| reading.layer)).collect();
    layers.into_iter().map(|layer| of_layer(context, water, layer, &readings)).collect()
}

/// Rows of `film.csv`, and film entered among the other readings: dry film at a detail.
fn taken(context: &Context<'_>) -> Vec<FilmReading> {
    let job = context.job;
    let elsewhere = job.readings.iter().filter(|reading| reading.quantity == QUANTITY).filter_map(|reading| {
        let detail = job.register.iter().find(|detail| detail.id == reading.detail)?;
        Some(FilmReading {
            layer: detail.layer.or(job.membrane_layers().first().copied())?,
            detail: reading.detail.clone(),
            place: None,
            kind: Kind::Dry,
            coat: None,
            tool: None,
            lo_um: None,
            hi_um: None,
            value_um: Some(reading.value),
            u_um: reading.u,
            spot: None,
            cut_out: None,
            grade: reading.grade,
            by: None,
            at: None,
            from: reading.from.clone(),
        })
    });
    job.film.iter().cloned().chain(elsewhere).collect()
}

fn of_layer(context: &Context<'_>, water: &Water, layer: MembraneLayer, readings: &[FilmReading]) -> LayerFilm {
    let readings: Vec<FilmReading> = readings.iter().filter(|reading| reading.layer == layer).cloned().collect();
    let strata = strata::of(context.job, layer, water);
    let stratum_of = |reading: &FilmReading| {
        let holds = |stratum: &Stratum| stratum.details.iter().any(|i| context.job.register[*i].id == reading.detail);
        strata.iter().position(holds).unwrap_or(0)
    };
    let of = readings.iter().map(stratum_of).collect();
    let mut film = LayerFilm { layer, readings, of, strata, judged: Vec::new() };
    film.judged = asked::all(context, layer).into_iter().map(|asked| film.against(context, asked)).collect();
    film
}

/// The data sheet of a membrane layer.
fn sheet<'a>(context: &'a Context<'_>, layer: MembraneLayer) -> Option<&'a DataSheet> {
    let of_layer = |detail: &&Detail| detail.layer == Some(layer);
    let detail = context.job.register.iter().find(of_layer).or(context.job.register.first())?;
    facts::sheet_of(context.job, detail)
}

impl LayerFilm {
    fn against(&self, context: &Context<'_>, asked: Asked) -> Against {
        let mut strata: Vec<Known> = self.strata.iter().map(|_| Known::default()).collect();
        if self.readings.iter().any(|reading| reading.kind == Kind::Dry) {
            match thickness::run(&self.input(context, &asked)) {
                Ok(output) => output.strata.into_iter().for_each(|out| {
                    if let Some(i) = self.strata.iter().position(|stratum| stratum.words == out.stratum) {
                        strata[i].dry = Some(out);
                    }
                }),
                Err(problems) => {
                    let why = problems.problems.first().map(ToString::to_string).unwrap_or_default();
                    strata.iter_mut().for_each(|known| known.refused = Some(why.clone()));
                }
            }
        }
        // Wet readings beside dry ones decide nothing.
        let only_wet = |i: usize| self.readings[i].kind == Kind::Wet && strata[self.of[i]].dry_count() == 0;
        if (0..self.readings.len()).any(only_wet) {
            let sums = wet::sums(self, context, &asked);
            for (known, sum) in strata.iter_mut().zip(sums) {
                known.wet = sum.filter(|_| known.dry_count() == 0);
            }
        }
        let mut against = Against { asked, strata };
        for i in 0..self.strata.len() {
            against.strata[i].next = next::reading(context, self, &against, i);
        }
        against
    }

    /// The dry readings as the pooled estimate takes them, in their order here.
    fn input(&self, context: &Context<'_>, asked: &Asked) -> Input {
        let readings = self.dry().map(|i| self.reading(i)).collect();
        let water_l = self.strata.iter().map(|stratum| (stratum.words.clone(), stratum.litres.clamp(0.0, MOST_LITRES))).collect();
        Input {
            kind: Kind::Dry,
            limit_um: asked.limit_um,
            readings,
            water_l,
            coats: asked.coats.clone(),
            acceptance: Some(asked.acceptance.clone()),
            least_readings: Some(asked.least),
            decision: Some(lines::decision(context, QUANTITY)),
            rule: Some(asked.rule.clone()),
            source: Some(asked.source.clone()),
            ..Input::default()
        }
    }

    /// Dry readings, by their place among all: the index in a [`Dot`] counts these.
    fn dry(&self) -> impl Iterator<Item = usize> + '_ {
        (0..self.readings.len()).filter(|i| self.readings[*i].kind == Kind::Dry)
    }

    fn reading(&self, i: usize) -> thickness::Reading {
        let r = &self.readings[i];
        let given = r.value_um.map(|_| r.u_um.unwrap_or(U_UM)).or(r.u_um);
        thickness::Reading {
            stratum: self.strata[self.of[i]].words.clone(),
            lo_um: r.lo_um,
            hi_um: r.hi_um,
            value_um: r.value_um,
            u_um: given,
            kind: None,
            tool: r.tool,
            spot: r.spot.clone(),
        }
    }

    /// Whether a reading counts: a comb is believed only where it stands on a plane.
    fn counts(&self, i: usize) -> bool {
        let by_comb = self.readings[i].tool.map_or(self.readings[i].value_um.is_none(), |tool| tool == thickness::Tool::Comb);
        !(by_comb && no_comb(&self.strata[self.of[i]].words))
    }

    /// The stratum a detail lies in.
    fn stratum_of(&self, context: &Context<'_>, detail: &Detail) -> Option<usize> {
        self.strata.iter().position(|stratum| stratum.details.iter().any(|i| context.job.register[*i].id == detail.id))
    }

    /// The weakest grade of readings.
    fn grade(&self, of: impl Iterator<Item = usize>) -> Option<Grade> {
        of.map(|i| self.readings[i].grade).max()
    }

    /// The reading a dot of the pooled estimate stands for.
    fn of_dot(&self, dot: &Dot) -> Option<usize> {
        self.dry().nth(dot.index)
    }
}

/// The mean film of a membrane over the fields that were read, by their area.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LayerMean {
    /// From dry readings, or from wet ones of every coat carried over.
    pub dry_um: Measured,
    /// Area of the fields it speaks of.
    pub area_m2: f64,
    /// Readings it rests on.
    pub readings: usize,
}

/// The mean film of a membrane over its fields, each by its area; `None` where no field was read or none has a known area.
/// Strata are taken as independent; fields that were not read are left out, which `area_m2` shows.
pub fn layer_mean(context: &Context<'_>, layer: MembraneLayer) -> Option<LayerMean> {
    let film = context.film.iter().find(|film| film.layer == layer)?;
    let against = film.judged.first()?;
    let (mut sum, mut variance, mut area, mut readings) = (0.0, 0.0, 0.0, 0);
    for (stratum, known) in film.strata.iter().zip(&against.strata).filter(|(stratum, _)| stratum.is_field) {
        let (mean, u, n) = match (&known.dry, &known.wet) {
            (Some(StratumOut { n: n @ 1.., mean_um: Some(mean), u_mean_um: Some(u), .. }), _) => (mean.value, *u, *n),
            (_, Some(sum)) => (sum.film.value(), sum.film.u(), sum.readings.len()),
            _ => continue,
        };
        let of = stratum.area_m2;
        sum += of * mean;
        variance += math::sq(of * u);
        area += of;
        readings += n;
    }
    if area <= 0.0 {
        return None;
    }
    let dry_um = Measured::new(sum / area, variance.sqrt() / area).ok()?;
    Some(LayerMean { dry_um, area_m2: area, readings })
}

/// What must be said of readings that count for nothing, and of what was taken as known.
pub fn notes(context: &Context<'_>) -> Vec<String> {
    let mut notes = Vec::new();
    for film in &context.film {
        for i in (0..film.readings.len()).filter(|i| !film.counts(*i)) {
            let reading = &film.readings[i];
            notes.push(format!(
                "{}: a comb's reading at {} counts for nothing: a comb serves the field only; the colour of each coat, reinforcement seen, a photograph or a cut-out shows this place, and a cut-out must be patched",
                reading.from,
                words::detail(context, &reading.detail)
            ));
        }
        let without = film.readings.iter().filter(|reading| reading.value_um.is_some() && reading.u_um.is_none()).count();
        if without > 0 {
            notes.push(format!(
                "{without} film reading{} given without an uncertainty: taken as {U_UM:.0} µm (k = 1), a gauge or cut-out on a smooth face; common practice, no source",
                if without == 1 { " was" } else { "s were" }
            ));
        }
        notes.extend(film.judged.iter().filter_map(|against| against.asked.note.clone()));
    }
    if context.film.iter().any(|film| !film.readings.is_empty()) {
        notes.push(
            "film readings say how thick; a palm-sized miss they do not find: look at the colour of each coat and its strokes, photograph all of it in raking light, and flood it"
                .into(),
        );
    }
    notes
}
