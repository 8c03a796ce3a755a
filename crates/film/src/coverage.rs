//! Does what was used agree with what was coated: litres over area, and the film that should give.

use crate::thickness::{FILM_UM, SOLIDS, THINNING};
use crate::words::percent;
use measure::{Assumed, Check};
use measure::{Bounds, Decision, Judgement, Limit, Measured, Problems, math};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

const LITRES: Bounds = Bounds { min: 0.001, max: 100_000.0, unit: "L" };
const MASS_KG: Bounds = Bounds { min: 0.001, max: 200_000.0, unit: "kg" };
const DENSITY_KG_L: Bounds = Bounds { min: 0.5, max: 5.0, unit: "kg/L" };
const AREA_M2: Bounds = Bounds { min: 0.01, max: 100_000.0, unit: "m2" };
const LOSS: Bounds = Bounds { min: 0.0, max: 0.9, unit: "(a share; 5 % is 0.05)" };
const U_SHARE: Bounds = Bounds { min: 0.0, max: 0.5, unit: "(a share)" };
/// Beyond so many standard uncertainties two values disagree (95 %).
const DISAGREE: f64 = 1.959_963_984_540_054;

/// What was used and where.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Input {
    /// Product used, thinner included. Either this, or `mass_kg` with `density_kg_l`.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.001, max = 100000.0))]
    pub litres: Option<f64>,
    /// Product used by mass.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.001, max = 200000.0))]
    pub mass_kg: Option<f64>,
    /// Density of the product as used.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.5, max = 5.0))]
    pub density_kg_l: Option<f64>,
    /// Area coated, each coat's area once for each coat if the litres are of several coats of one area: give the area once
    /// and the film is that of all coats together.
    #[schemars(range(min = 0.01, max = 100000.0))]
    pub area_m2: f64,
    /// Solids by volume as a share.
    #[schemars(range(min = 0.05, max = 1.0))]
    pub solids_by_volume: f64,
    /// Thinner added as a share of the product's volume.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 1.0))]
    pub thinning: Option<f64>,
    /// Share of the litres that never reached the surface: left in pails, rollers, on the floor beside.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 0.9))]
    pub loss_share: Option<f64>,
    /// How the litres were found; decides the uncertainty assumed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub litres_by: Option<LitresBy>,
    /// Standard uncertainty (k = 1) of the litres.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 100000.0))]
    pub u_litres: Option<f64>,
    /// Standard uncertainty (k = 1) of the area.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 100000.0))]
    pub u_area_m2: Option<f64>,
    /// Standard uncertainty (k = 1) of the solids.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 0.5))]
    pub u_solids_by_volume: Option<f64>,
    /// Standard uncertainty (k = 1) of the loss.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 0.5))]
    pub u_loss_share: Option<f64>,
    /// Standard uncertainty (k = 1) of the thinning.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 0.5))]
    pub u_thinning: Option<f64>,
    /// Mean wet film read, to compare with.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wet: Option<Film>,
    /// Mean dry film read, to compare with.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dry: Option<Film>,
    /// Coats due, to see whether the litres are those of one coat fewer.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub coats: Option<Coats>,
    /// Mean dry film asked; the litres are then judged against it.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 1.0, max = 50000.0))]
    pub limit_um: Option<f64>,
    /// How the film is judged; guarded at 5 % when left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub decision: Option<Decision>,
    /// Where the limit comes from.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
}

/// How litres were found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum LitresBy {
    /// Pails weighed before and after.
    Weighed,
    /// Whole pails and parts of pails counted.
    Counted,
    /// By eye: what is left in open pails is guessed.
    Eye,
}

impl LitresBy {
    /// Standard uncertainty of litres found so, as a share of them, and where the figure comes from.
    pub fn u_share(self) -> (f64, &'static str) {
        match self {
            Self::Weighed => (0.05, "weighed: 10 % expanded, halved; common practice, no source"),
            Self::Counted => (0.075, "pails counted: 15 % expanded, halved; common practice, no source"),
            Self::Eye => (0.125, "by eye: 25 % expanded, halved; common practice, no source"),
        }
    }
}

/// A mean film that was read.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Film {
    /// Mean in micrometres.
    #[schemars(range(min = 1.0, max = 50000.0))]
    pub mean_um: f64,
    /// Its standard uncertainty (k = 1).
    #[schemars(range(min = 0.0, max = 50000.0))]
    pub u_um: f64,
}

/// Coats due.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Coats {
    /// How many, two or more.
    #[schemars(range(min = 2, max = 10))]
    pub due: u32,
    /// Dry film of one coat.
    #[schemars(range(min = 1.0, max = 50000.0))]
    pub each_um: f64,
}

/// What the litres say.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Output {
    /// Mean wet film the litres give.
    pub wft_um: f64,
    /// Its standard uncertainty.
    pub u_wft_um: f64,
    /// Mean dry film they leave.
    pub dft_um: f64,
    /// Its standard uncertainty.
    pub u_dft_um: f64,
    /// Area one litre covers here.
    pub spread_m2_l: f64,
    /// Each film read, held against what the litres give.
    pub compared: Vec<Compared>,
    /// Whether all that was compared agrees; absent when nothing was.
    pub agree: Option<bool>,
    /// What a disagreement points at, likeliest reason first. Each is to be looked into, none is proved.
    pub points_at: Vec<PointsAt>,
    /// The dry film against what was asked, where `limit_um` was given.
    pub judgement: Option<Judgement>,
    /// What to know when using these results.
    pub notes: Vec<String>,
    /// What was not given and was therefore assumed.
    pub assumed: Vec<Assumed>,
}

/// One film read beside what the litres give.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Compared {
    /// "wet film", "dry film" or "coats due".
    pub what: String,
    /// Read, or due.
    pub read_um: f64,
    /// From the litres.
    pub litres_um: f64,
    /// Read less litres.
    pub difference_um: f64,
    /// Standard uncertainty of the difference.
    pub u_difference_um: f64,
    /// Whether they agree within 95 %.
    pub agree: bool,
}

/// A reason a disagreement points at.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PointsAt {
    /// The reason.
    pub reason: Reason,
    /// What is the matter and what to look at.
    pub why: String,
}

/// Reasons.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Reason {
    /// The film read is more than the litres could give over the area stated: part of it was not coated, or litres are
    /// missing from the log.
    AreaTooLarge,
    /// The film read is less than the litres should give: more was coated or lost than stated.
    AreaTooSmall,
    /// Wet film agrees, dry film is too thin: thinned, or poorer in solids than stated.
    Thinned,
    /// The litres are those of one coat fewer.
    CoatMissing,
}

/// Sets litres against area.
///
/// `WFT = 1000 L (1 - loss) / A` in micrometres with litres and square metres, `DFT = WFT VS / (1 + thinning)`
/// (definitions); uncertainties by the law of propagation (JCGM 100:2008, 5.1.2), the inputs taken as independent. A comb
/// reading of the wet film is no check of the solids (significance and use of ASTM D4414, as published by ASTM).
pub fn run(input: &Input) -> Result<Output, Problems> {
    let used = Used::of(input)?;
    let judgement = input.limit_um.map(|limit| used.judged(input, limit));
    let (compared, points_at) = used.compared(input);
    Ok(Output {
        wft_um: used.wft.value(),
        u_wft_um: used.wft.u(),
        dft_um: used.dft.value(),
        u_dft_um: used.dft.u(),
        spread_m2_l: input.area_m2 / used.litres,
        agree: (!compared.is_empty()).then(|| compared.iter().all(|c| c.agree)),
        compared,
        points_at,
        judgement,
        notes: vec!["litres give a mean over the whole area: they say nothing of where it is thin".into()],
        assumed: used.assumed,
    })
}

struct Used {
    litres: f64,
    wft: Measured,
    dft: Measured,
    assumed: Vec<Assumed>,
}

impl Used {
    fn of(input: &Input) -> Result<Self, Problems> {
        let mut check = Check::default();
        let litres = litres(&mut check, input);
        let area = check.bounded("area_m2", input.area_m2, AREA_M2);
        let solids = check.bounded("solids_by_volume", input.solids_by_volume, SOLIDS);
        let thinning = check.optional("thinning", input.thinning, THINNING).unwrap_or(0.0);
        let (by, why) = input.litres_by.unwrap_or(LitresBy::Eye).u_share();
        let r_litres = match input.u_litres {
            Some(u) => check.bounded("u_litres", u, Bounds { min: 0.0, ..LITRES }) / litres,
            None => {
                check.assumed.push(Assumed { field: "u_litres".into(), value: by * litres, why: why.into() });
                by
            }
        };
        let u_area = check.or_assumed(
            "u_area_m2",
            input.u_area_m2,
            Bounds { min: 0.0, ..AREA_M2 },
            0.01 * area,
            "2 % expanded, halved; common practice, no source",
        );
        let u_solids = check.or_assumed(
            "u_solids_by_volume",
            input.u_solids_by_volume,
            U_SHARE,
            0.015,
            "a stated 3 points expanded, halved; common practice, no source",
        );
        let loss = check.or_assumed("loss_share", input.loss_share, LOSS, 0.0, "nothing said to be lost");
        let u_loss = check.or_assumed(
            "u_loss_share",
            input.u_loss_share,
            U_SHARE,
            0.02,
            "what stays in pail and roller; common practice, no source",
        );
        let u_thinning = check.optional("u_thinning", input.u_thinning, U_SHARE).unwrap_or(0.0);
        for (field, film) in [("wet", input.wet), ("dry", input.dry)] {
            if let Some(film) = film {
                check.bounded(format!("{field}.mean_um"), film.mean_um, FILM_UM);
                check.bounded(format!("{field}.u_um"), film.u_um, Bounds { min: 0.0, ..FILM_UM });
            }
        }
        if let Some(coats) = input.coats {
            check.bounded("coats.due", f64::from(coats.due), Bounds { min: 2.0, max: 10.0, unit: "coats" });
            check.bounded("coats.each_um", coats.each_um, FILM_UM);
        }
        check.optional("limit_um", input.limit_um, FILM_UM);
        if let Some(Decision::Guarded { risk }) =
            input.decision.filter(|d| matches!(d, Decision::Guarded { risk } if !(*risk > 0.0 && *risk < 0.5)))
        {
            check.wrong("decision.risk", format!("{risk} is out of bounds"), "above 0 and below 0.5");
        }
        let assumed = std::mem::take(&mut check.assumed);
        check.problems.or(())?;
        let wet = 1000.0 * litres * (1.0 - loss) / area;
        let r_wet = [r_litres, u_area / area, u_loss / (1.0 - loss)].iter().fold(0.0, |sum, r| math::hypot(sum, *r));
        let dry = wet * solids / (1.0 + thinning);
        let r_dry = [u_solids / solids, u_thinning / (1.0 + thinning)].iter().fold(r_wet, |sum, r| math::hypot(sum, *r));
        let measured = |value: f64, r: f64| Measured::new(value, value * r).map_err(|_| Problems::from(too_far()));
        Ok(Self { litres, wft: measured(wet, r_wet)?, dft: measured(dry, r_dry)?, assumed })
    }

    fn judged(&self, input: &Input, limit: f64) -> Judgement {
        let says = format!("dry film of {:.0} µm from the litres; mean of at least {limit:.0} µm asked", self.dft.value());
        let source = input.source.as_deref().unwrap_or("limit as given");
        let mut judgement =
            Judgement::of(self.dft, Limit::AtLeast(limit), input.decision.unwrap_or_default(), "um", "coverage", source, &says);
        judgement.grade = Some(measure::Grade::Stated);
        judgement
    }

    /// Every film read or due beside the litres, and what the disagreements point at.
    fn compared(&self, input: &Input) -> (Vec<Compared>, Vec<PointsAt>) {
        let wet = input.wet.map(|film| beside("wet film", film, self.wft));
        let dry = input.dry.map(|film| beside("dry film", film, self.dft));
        let coats = input.coats.map(|c| {
            let due = f64::from(c.due) * c.each_um;
            (c, beside("coats due", Film { mean_um: due, u_um: 0.0 }, self.dft))
        });
        let mut points_at = Vec::new();
        if let Some((coats, found)) = coats.as_ref().filter(|(_, found)| !found.agree && found.difference_um > 0.0) {
            let fewer = f64::from(coats.due - 1) * coats.each_um;
            // Nearer, in proportion, to one coat fewer than to all of them.
            if self.dft.value() < (fewer * found.read_um).sqrt() {
                points_at.push(PointsAt {
                    reason: Reason::CoatMissing,
                    why: format!(
                        "the litres leave {:.0} µm; {} coats are due {:.0} µm, one fewer {fewer:.0} µm: look at the colour of the coats",
                        self.dft.value(),
                        coats.due,
                        found.read_um
                    ),
                });
            }
        }
        points_at.extend(reasons(wet.as_ref(), dry.as_ref()));
        (wet.into_iter().chain(dry).chain(coats.map(|c| c.1)).collect(), points_at)
    }
}

fn too_far() -> measure::Problem {
    measure::Problem::at("", "the result is not a finite number", "values nearer to those of a room")
}

fn litres(check: &mut Check, input: &Input) -> f64 {
    match (input.litres, input.mass_kg, input.density_kg_l) {
        (Some(litres), None, _) => check.bounded("litres", litres, LITRES),
        (None, Some(mass), Some(density)) => check.bounded("mass_kg", mass, MASS_KG) / check.bounded("density_kg_l", density, DENSITY_KG_L),
        (None, Some(_), None) => {
            check.wrong("density_kg_l", "missing beside mass_kg", "kilograms to the litre, from the data sheet");
            1.0
        }
        (Some(_), Some(_), _) => {
            check.wrong("mass_kg", "given beside litres", "one of the two");
            1.0
        }
        (None, None, _) => {
            check.wrong("litres", "missing", "litres used, or mass_kg with density_kg_l");
            1.0
        }
    }
}

fn beside(what: &str, read: Film, litres: Measured) -> Compared {
    let difference_um = read.mean_um - litres.value();
    let u_difference_um = math::hypot(read.u_um, litres.u());
    let agree = difference_um.abs() <= DISAGREE * u_difference_um;
    Compared { what: what.into(), read_um: read.mean_um, litres_um: litres.value(), difference_um, u_difference_um, agree }
}

/// What films read against the litres point at.
fn reasons(wet: Option<&Compared>, dry: Option<&Compared>) -> Vec<PointsAt> {
    let too_thin = |c: &&Compared| !c.agree && c.difference_um < 0.0;
    let too_thick = |c: &&Compared| !c.agree && c.difference_um > 0.0;
    let off = |c: &Compared| percent((c.difference_um / c.litres_um).abs());
    let mut out = Vec::new();
    if let Some(dry) = dry.filter(too_thin)
        && wet.is_none_or(|w| w.agree)
    {
        out.push(PointsAt {
            reason: Reason::Thinned,
            why: format!("the dry film is {} less than the litres should leave: thinned, or poorer in solids than stated?", off(dry)),
        });
    }
    if let Some(thin) = wet.filter(too_thin).or(dry.filter(too_thin)) {
        out.push(PointsAt {
            reason: Reason::AreaTooSmall,
            why: format!(
                "the {} is {} less than the litres should give: more coated or lost than stated, or read where it is thin?",
                thin.what,
                off(thin)
            ),
        });
    }
    if let Some(thick) = wet.filter(too_thick).or(dry.filter(too_thick)) {
        out.push(PointsAt {
            reason: Reason::AreaTooLarge,
            why: format!(
                "the {} is {} more than the litres could give over this area: was all of it coated, are litres missing from the log?",
                thick.what,
                off(thick)
            ),
        });
    }
    out
}
