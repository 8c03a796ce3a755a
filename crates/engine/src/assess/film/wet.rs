//! Wet readings of every coat: their sum, carried over to the dry film.

use super::asked::Asked;
use super::{LayerFilm, QUANTITY, sheet};
use crate::assess::{Context, lines};
use film::thickness::{self, Input, Kind};
use job::coats::CoatWhat;
use measure::{Judgement, Limit, Measured, Verdict, math};

/// Standard uncertainty of stated solids by volume: 3 points expanded, halved; common practice, no source.
const U_SOLIDS: f64 = 0.015;

/// The wet film of all coats of one stratum as the dry film it leaves.
pub struct Sum {
    /// Mean dry film of all coats together.
    pub film: Measured,
    /// The readings, by their place among those of the membrane.
    pub readings: Vec<usize>,
    /// The verdict it gives.
    pub judgement: Judgement,
}

/// For each stratum its sum, where every coat due was read wet. `None` where none was, or not every one.
pub fn sums(film: &LayerFilm, context: &Context<'_>, asked: &Asked) -> Vec<Option<Sum>> {
    let none = || film.strata.iter().map(|_| None).collect();
    let wet: Vec<usize> = (0..film.readings.len()).filter(|i| film.readings[*i].kind == Kind::Wet && film.counts(*i)).collect();
    let Some((coats, solids)) = sheet(context, film.layer).and_then(|sheet| Some((sheet.coats?, sheet.solids_by_volume?))) else {
        return none();
    };
    // Each coat of a stratum is a stratum of its own, all pooled.
    let name = |stratum: usize, coat: u32| format!("{}, coat {coat}", film.strata[stratum].words);
    let coat_of = |i: usize| film.readings[i].coat.or((coats == 1).then_some(1));
    let readings = wet.iter().filter_map(|i| Some(thickness::Reading { stratum: name(film.of[*i], coat_of(*i)?), ..film.reading(*i) }));
    let input = Input { kind: Kind::Wet, limit_um: asked.limit_um, readings: readings.collect(), ..Input::default() };
    let Some(output) = Some(input).filter(|input| !input.readings.is_empty()).and_then(|input| thickness::run(&input).ok()) else {
        return none();
    };
    let of_coat = |stratum: usize, coat: u32| output.strata.iter().find(|out| out.stratum == name(stratum, coat));
    let sum = |stratum: usize| {
        let mut dry = Dry::default();
        for coat in 1..=coats {
            dry.add(coat, of_coat(stratum, coat)?, solids / (1.0 + thinning(context, film, coat)))?;
        }
        let own: Vec<usize> =
            wet.iter().copied().filter(|i| film.of[*i] == stratum && coat_of(*i).is_some_and(|coat| coat <= coats)).collect();
        dry.judged(film, context, asked, solids, own)
    };
    (0..film.strata.len()).map(sum).collect()
}

/// Thinner in a coat by the log; of several entries the most.
fn thinning(context: &Context<'_>, film: &LayerFilm, number: u32) -> f64 {
    let of = context.job.coats.coats.iter().filter(|coat| coat.layer == film.layer && coat.what == CoatWhat::Coat && coat.number == number);
    of.filter_map(|coat| coat.thinning).fold(0.0, f64::max)
}

/// The dry film of the coats added so far.
#[derive(Default)]
struct Dry {
    mean: f64,
    variance: f64,
    /// Thinnest with thinnest, thickest with thickest: between these every place read lies.
    lowest: f64,
    highest: f64,
    least: Option<usize>,
    words: Vec<String>,
}

impl Dry {
    fn add(&mut self, coat: u32, wet: &thickness::StratumOut, factor: f64) -> Option<()> {
        let (mean, u) = (wet.mean_um?.value, wet.u_mean_um?);
        self.mean += factor * mean;
        self.variance += math::sq(factor * u);
        self.lowest += factor * wet.readings.iter().map(|dot| dot.lo_um).fold(f64::INFINITY, f64::min);
        self.highest += factor * wet.readings.iter().map(|dot| dot.hi_um.unwrap_or(f64::INFINITY)).fold(0.0, f64::max);
        self.least = Some(self.least.map_or(wet.n, |least| least.min(wet.n)));
        let readings = if wet.n == 1 { "1 reading".into() } else { format!("{} readings", wet.n) };
        self.words.push(format!("coat {coat}, {readings}, {mean:.0} µm wet"));
        Some(())
    }

    fn judged(self, film: &LayerFilm, context: &Context<'_>, asked: &Asked, solids: f64, readings: Vec<usize>) -> Option<Sum> {
        let u = math::hypot(self.variance.sqrt(), self.mean * U_SOLIDS / solids);
        let measured = Measured::new(self.mean, u).ok()?;
        let decision = lines::decision(context, QUANTITY);
        let words = format!("wet film of every coat ({}), {:.0} µm dry by the stated solids", self.words.join("; "), self.mean);
        let least = self.least?;
        let mean = asked.mean_um().unwrap_or(asked.limit_um);
        let says = format!("{words}; {}", asked.words());
        let of_mean = Judgement::of(measured, Limit::AtLeast(mean), decision, "um", &asked.rule, &asked.source, &says);
        let mut judgement = match asked.minimum_um().map(|minimum| (minimum, self.everywhere(minimum))) {
            Some((_, verdict)) if verdict <= of_mean.verdict => of_mean,
            Some((minimum, verdict)) => {
                Judgement { verdict, why: format!("{says}; {}", self.everywhere_words(verdict, minimum)), ..of_mean }
            }
            None => of_mean,
        };
        if least < asked.least && judgement.verdict == Verdict::Conforms {
            judgement = judgement.held_back(&format!("too few: {least} of a coat, {} wanted", asked.least));
        }
        judgement.grade = film.grade(readings.iter().copied());
        Some(Sum { film: measured, readings, judgement })
    }

    /// Whether every place reaches a minimum, the coats not being read at the same places.
    fn everywhere(&self, minimum: f64) -> Verdict {
        match (self.lowest >= minimum, self.highest <= minimum) {
            (true, _) => Verdict::Conforms,
            (_, true) => Verdict::FallsShort,
            _ => Verdict::NotShown,
        }
    }

    fn everywhere_words(&self, verdict: Verdict, minimum: f64) -> String {
        match verdict {
            Verdict::FallsShort => format!("thickest with thickest they leave {:.0} µm, under {minimum:.0} µm", self.highest),
            _ => format!(
                "thinnest with thinnest they leave {:.0} µm, under {minimum:.0} µm: whether both meet at one place is not shown",
                self.lowest
            ),
        }
    }
}
