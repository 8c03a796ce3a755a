//! May a coat go on now? The margin of a surface over the dew point, and what a data sheet asks of air and surface.

use crate::moist;
pub use measure::Assumed;
use measure::{Bounds, Decision, Judgement, Limit, Measured, Problem, Problems, Verdict, bounds};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Pressure of the air at inhabited heights.
const PRESSURE_PA: Bounds = Bounds { min: 50_000.0, max: 115_000.0, unit: "Pa" };
/// Standard uncertainty of a thermometer.
const U_K: Bounds = Bounds { min: 0.0, max: 20.0, unit: "K" };
/// Standard uncertainty of a relative humidity.
const U_RH: Bounds = Bounds { min: 0.0, max: 0.5, unit: "(a share; 2.5 % is 0.025)" };

/// One reading of air and surface.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Input {
    /// Temperature of the air.
    #[schemars(range(min = -60.0, max = 90.0))]
    pub air_c: f64,
    /// Relative humidity as a share: 65 % is 0.65. Either this or `wet_bulb_c`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 1.0))]
    pub rh: Option<f64>,
    /// The wetted thermometer of a whirling hygrometer, in place of `rh`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = -60.0, max = 90.0))]
    pub wet_bulb_c: Option<f64>,
    /// Temperature of the surface the coat goes on.
    #[schemars(range(min = -60.0, max = 90.0))]
    pub surface_c: f64,
    /// Pressure of the air; 101325 when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 50000.0, max = 115000.0))]
    pub pressure_pa: Option<f64>,
    /// Standard uncertainty (k = 1) of `air_c`, in K.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 20.0))]
    pub u_air_c: Option<f64>,
    /// Standard uncertainty (k = 1) of `rh`, as a share.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 0.5))]
    pub u_rh: Option<f64>,
    /// Standard uncertainty (k = 1) of `wet_bulb_c`, in K.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 20.0))]
    pub u_wet_bulb_c: Option<f64>,
    /// Standard uncertainty (k = 1) of `surface_c`, in K.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 20.0))]
    pub u_surface_c: Option<f64>,
    /// What the membrane's data sheet asks of air and surface.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub data_sheet: Option<SheetLimits>,
    /// How values are judged; guarded at 5 % when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub decision: Option<Decision>,
}

/// The climate limits of a data sheet. What the sheet does not say is left out.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct SheetLimits {
    /// Title and revision of the sheet.
    pub source: String,
    /// Least air temperature.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub air_c_min: Option<f64>,
    /// Largest air temperature.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub air_c_max: Option<f64>,
    /// Least surface temperature.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub surface_c_min: Option<f64>,
    /// Largest surface temperature.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub surface_c_max: Option<f64>,
    /// Largest relative humidity, 0 to 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 1.0))]
    pub rh_max: Option<f64>,
    /// Least surface temperature over the dew point.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dew_margin_k_min: Option<f64>,
}

/// The rule a margin over the dew point is judged by, as the pack gives it.
#[derive(Clone, Debug, PartialEq)]
pub struct MarginRule {
    /// Id of the rule.
    pub rule: String,
    /// What it asks, in K.
    pub limit: Limit,
    /// Edition, clause, source, confidence.
    pub source: String,
    /// Why this rule may not say `conforms` (nobody verified it, for one); `None` when it may.
    pub held_back: Option<String>,
}

/// What the reading says.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Output {
    /// Temperature at which moisture settles on a surface: the dew point, or the frost point below 0.01 °C (then also given
    /// as `frost_point_c`).
    pub dew_point_c: f64,
    /// Standard uncertainty of the dew point, in K.
    pub u_dew_point_c: f64,
    /// The same, where it is frost that settles.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub frost_point_c: Option<f64>,
    /// Surface temperature over the dew point.
    pub margin_k: f64,
    /// Standard uncertainty of the margin.
    pub u_margin_k: f64,
    /// Relative humidity of the air as a share.
    pub rh: f64,
    /// Relative humidity of that air at the temperature of the surface; over 1 the surface is wet.
    pub surface_rh: f64,
    /// Kilograms of water to a kilogram of dry air.
    pub humidity_ratio: f64,
    /// Pressure of the water vapour.
    pub vapour_pa: f64,
    /// The worst of all judgements.
    pub verdict: Verdict,
    /// The judgement that decides: the first with that verdict.
    pub judgement: Judgement,
    /// Every limit judged: the margin first, then what the data sheet asks.
    pub judgements: Vec<Judgement>,
    /// What was not given and was therefore assumed.
    pub assumed: Vec<Assumed>,
}

/// Judges one reading of air and surface. One reading is enough: it is a direct comparison.
///
/// The margin is `surface - dew point`; its uncertainty follows from those of air, humidity and surface by the law of
/// propagation (JCGM 100:2008, 5.1.2), the derivatives taken by finite differences in the model itself. Readings are taken
/// as independent. Errors: everything out of bounds, both or neither of `rh` and `wet_bulb_c`, air too dry to have a dew
/// point over -100 °C.
pub fn run(input: &Input, margin: &MarginRule) -> Result<Output, Problems> {
    let reading = Reading::of(input)?;
    let dew_point_c = reading.dew_point(0.0, 0.0).ok_or_else(|| no_dew_point(input))?;
    let u_dew_point_c = reading.u_dew_point();
    let vapour_pa = reading.vapour_pa(0.0, 0.0);
    let humidity_ratio = moist::humidity_ratio(vapour_pa, reading.pressure_pa).ok_or_else(|| no_dew_point(input))?;
    let margin_k = input.surface_c - dew_point_c;
    let u_margin_k = measure::math::hypot(u_dew_point_c, reading.u_surface);
    let found = Found {
        air: (input.air_c, reading.u_air),
        surface: (input.surface_c, reading.u_surface),
        rh: (vapour_pa / moist::saturation_pa(input.air_c), reading.u_rh()),
        margin: (margin_k, u_margin_k),
        dew_point_c,
    };
    let judgements = found.judged(input, margin)?;
    let worst = judgements.iter().fold(&judgements[0], |worst, next| if next.verdict > worst.verdict { next } else { worst });
    Ok(Output {
        dew_point_c,
        u_dew_point_c,
        frost_point_c: (dew_point_c < moist::TRIPLE_C).then_some(dew_point_c),
        margin_k,
        u_margin_k,
        rh: found.rh.0,
        surface_rh: vapour_pa / moist::saturation_pa(input.surface_c),
        humidity_ratio,
        vapour_pa,
        verdict: worst.verdict,
        judgement: worst.clone(),
        judgements,
        assumed: reading.assumed,
    })
}

/// How the moisture of the air was read.
#[derive(Clone, Copy)]
enum Moisture {
    Rh(f64),
    WetBulb(f64),
}

/// A checked reading with its uncertainties, given or assumed.
struct Reading {
    air_c: f64,
    moisture: Moisture,
    pressure_pa: f64,
    u_air: f64,
    u_moisture: f64,
    u_surface: f64,
    assumed: Vec<Assumed>,
}

impl Reading {
    fn of(input: &Input) -> Result<Self, Problems> {
        let moisture = checked(input)?;
        let mut assumed = Vec::new();
        let mut take = |given: Option<f64>, field: &str, value: f64, why: &str| {
            given.unwrap_or_else(|| {
                assumed.push(Assumed { field: field.into(), value, why: why.into() });
                value
            })
        };
        let u_air = take(input.u_air_c, "u_air_c", 0.5, "a hygrometer after 15 minutes: 1 K expanded, halved; common practice, no source");
        let u_moisture = match moisture {
            Moisture::Rh(_) => {
                take(input.u_rh, "u_rh", 0.025, "a hygrometer after 15 minutes: 5 % RH expanded, halved; common practice, no source")
            }
            Moisture::WetBulb(_) => {
                take(input.u_wet_bulb_c, "u_wet_bulb_c", 0.5, "a whirled thermometer: 1 K expanded, halved; common practice, no source")
            }
        };
        let u_surface = take(input.u_surface_c, "u_surface_c", 0.5, "a contact probe: 1 K expanded, halved; common practice, no source");
        let pressure_pa = take(input.pressure_pa, "pressure_pa", moist::STANDARD_PA, "the standard atmosphere");
        Ok(Self { air_c: input.air_c, moisture, pressure_pa, u_air, u_moisture, u_surface, assumed })
    }

    /// Vapour pressure with the readings shifted.
    fn vapour_pa(&self, air: f64, moisture: f64) -> f64 {
        match self.moisture {
            Moisture::Rh(rh) => (rh + moisture) * moist::saturation_pa(self.air_c + air),
            Moisture::WetBulb(bulb) => moist::vapour_from_wet_bulb_pa(self.air_c + air, bulb + moisture, self.pressure_pa),
        }
    }

    fn dew_point(&self, air: f64, moisture: f64) -> Option<f64> {
        moist::dew_point_c(self.vapour_pa(air, moisture))
    }

    /// How much `f` changes with the uncertainties of air and moisture, taken as independent.
    fn u_of(&self, f: impl Fn(f64, f64) -> Option<f64>) -> f64 {
        let moisture_step = match self.moisture {
            Moisture::Rh(rh) => 1e-3 * rh,
            Moisture::WetBulb(_) => 1e-3,
        };
        let slope = |air: f64, moisture: f64| match (f(air, moisture), f(-air, -moisture)) {
            (Some(up), Some(down)) => (up - down) / (2.0 * (air + moisture)),
            _ => 0.0,
        };
        measure::math::hypot(slope(1e-3, 0.0) * self.u_air, slope(0.0, moisture_step) * self.u_moisture)
    }

    fn u_dew_point(&self) -> f64 {
        self.u_of(|air, moisture| self.dew_point(air, moisture))
    }

    fn u_rh(&self) -> f64 {
        match self.moisture {
            Moisture::Rh(_) => self.u_moisture,
            Moisture::WetBulb(_) => self.u_of(|air, moisture| Some(self.vapour_pa(air, moisture) / moist::saturation_pa(self.air_c + air))),
        }
    }
}

/// Every value out of bounds; how the moisture was read.
fn checked(input: &Input) -> Result<Moisture, Problems> {
    let mut problems = Problems::new();
    for (field, value, bounds) in [
        ("air_c", Some(input.air_c), bounds::TEMPERATURE_C),
        ("surface_c", Some(input.surface_c), bounds::TEMPERATURE_C),
        ("wet_bulb_c", input.wet_bulb_c, bounds::TEMPERATURE_C),
        ("rh", input.rh, bounds::RH),
        ("pressure_pa", input.pressure_pa, PRESSURE_PA),
        ("u_air_c", input.u_air_c, U_K),
        ("u_wet_bulb_c", input.u_wet_bulb_c, U_K),
        ("u_surface_c", input.u_surface_c, U_K),
        ("u_rh", input.u_rh, U_RH),
    ] {
        bounded(&mut problems, field, value, bounds);
    }
    if let Some(sheet) = &input.data_sheet {
        check_sheet(&mut problems, sheet);
    }
    let moisture = match (input.rh, input.wet_bulb_c) {
        (Some(rh), None) => Some(Moisture::Rh(rh)),
        (None, Some(bulb)) => {
            if bulb > input.air_c {
                problems.push(
                    Problem::at(
                        "wet_bulb_c",
                        format!("warmer than the air at {} °C", input.air_c),
                        "the wetted bulb is never the warmer; are the two swapped?",
                    )
                    .value(bulb),
                );
            }
            Some(Moisture::WetBulb(bulb))
        }
        (Some(_), Some(_)) => {
            problems.push(Problem::at("wet_bulb_c", "given beside rh", "one of the two"));
            None
        }
        (None, None) => {
            problems.push(Problem::at("rh", "missing", "the relative humidity as a share (65 % is 0.65), or wet_bulb_c"));
            None
        }
    };
    match moisture {
        Some(moisture) => problems.or(moisture),
        None => Err(problems),
    }
}

fn bounded(problems: &mut Problems, field: &str, value: Option<f64>, bounds: Bounds) {
    if let Some(x) = value.filter(|x| !bounds.contains(*x)) {
        problems.push(Problem::at(field, "out of bounds", bounds.words()).value(x));
    }
}

fn check_sheet(problems: &mut Problems, sheet: &SheetLimits) {
    bounded(problems, "data_sheet.rh_max", sheet.rh_max, bounds::RH);
    for (field, value) in [
        ("data_sheet.air_c_min", sheet.air_c_min),
        ("data_sheet.air_c_max", sheet.air_c_max),
        ("data_sheet.surface_c_min", sheet.surface_c_min),
        ("data_sheet.surface_c_max", sheet.surface_c_max),
        ("data_sheet.dew_margin_k_min", sheet.dew_margin_k_min),
    ] {
        bounded(problems, field, value, bounds::TEMPERATURE_C);
    }
    for (what, min, max) in [("air_c", sheet.air_c_min, sheet.air_c_max), ("surface_c", sheet.surface_c_min, sheet.surface_c_max)] {
        if let (Some(min), Some(max)) = (min, max)
            && min > max
        {
            let what_is = format!("lies over {what}_max = {max}");
            problems.push(Problem::at(format!("data_sheet.{what}_min"), what_is, "the least first").value(min));
        }
    }
}

fn no_dew_point(input: &Input) -> Problems {
    let (field, value) = match (input.rh, input.wet_bulb_c) {
        (_, Some(bulb)) => ("wet_bulb_c", bulb),
        (rh, None) => ("rh", rh.unwrap_or_default()),
    };
    Problem::at(field, "no air is this dry: it would have no dew point over -100 °C", "read the hygrometer again").value(value).into()
}

/// What was found, each with its standard uncertainty.
struct Found {
    air: (f64, f64),
    surface: (f64, f64),
    rh: (f64, f64),
    margin: (f64, f64),
    dew_point_c: f64,
}

impl Found {
    /// The margin by its rule, then whatever the data sheet limits.
    fn judged(&self, input: &Input, rule: &MarginRule) -> Result<Vec<Judgement>, Problems> {
        let decision = input.decision.unwrap_or_default();
        let of = |(value, u): (f64, f64), limit, unit: &str, rule: &str, source: &str, says: &str| {
            let measured = Measured::new(value, u)
                .map_err(|_| Problem::at("", "the result is not a finite number", "values nearer to those of a room"))?;
            Ok::<_, Problems>(Judgement::of(measured, limit, decision, unit, rule, source, says))
        };
        let says = |limit| self.margin_words(limit);
        let mut judgement = of(self.margin, rule.limit, "K", &rule.rule, &rule.source, &says(rule.limit))?;
        if let Some(because) = rule.held_back.as_deref().filter(|_| judgement.verdict == Verdict::Conforms) {
            judgement = judgement.held_back(because);
        }
        let mut judgements = vec![judgement];
        let Some(sheet) = &input.data_sheet else { return Ok(judgements) };
        let source = if sheet.source.is_empty() { "the membrane's data sheet" } else { &sheet.source };
        for (value, limit, unit, name, words) in [
            (self.margin, sheet.dew_margin_k_min.map(Limit::AtLeast), "K", "data sheet: margin over the dew point", None),
            (self.air, Limit::from_bounds(sheet.air_c_min, sheet.air_c_max), "°C", "data sheet: air temperature", Some("air at")),
            (
                self.surface,
                Limit::from_bounds(sheet.surface_c_min, sheet.surface_c_max),
                "°C",
                "data sheet: surface temperature",
                Some("surface at"),
            ),
            (self.rh, sheet.rh_max.map(Limit::AtMost), "share", "data sheet: relative humidity", Some("relative humidity")),
        ] {
            let Some(limit) = limit else { continue };
            let says = match words {
                None => says(limit),
                Some(words) if unit == "share" => format!("{words} {:.0} %; {} asked", value.0 * 100.0, limit_words(limit, 100.0, "%")),
                Some(words) => format!("{words} {:.1} {unit}; {} asked", value.0, limit_words(limit, 1.0, unit)),
            };
            judgements.push(of(value, limit, unit, name, source, &says)?);
        }
        Ok(judgements)
    }

    /// "surface 16.2 °C, 2.97 K over the dew point of 13.23 °C; at least 3 K asked".
    fn margin_words(&self, limit: Limit) -> String {
        let point = if self.dew_point_c < moist::TRIPLE_C { "frost point" } else { "dew point" };
        let side = if self.margin.0 < 0.0 { "below" } else { "over" };
        format!(
            "surface {:.1} °C, {:.2} K {side} the {point} of {:.2} °C; {} asked",
            self.surface.0,
            self.margin.0.abs(),
            self.dew_point_c,
            limit_words(limit, 1.0, "K")
        )
    }
}

/// "at least 3 K", "between 10 and 30 °C".
fn limit_words(limit: Limit, times: f64, unit: &str) -> String {
    // Rounded to a millionth so that 0.85 as per cent reads 85.
    let plain = |x: f64| (x * times * 1e6).round() / 1e6;
    match limit {
        Limit::Between(min, max) => format!("between {} and {} {unit}", plain(min), plain(max)),
        Limit::AtLeast(x) | Limit::AtMost(x) => format!("{} {} {unit}", limit.words(), plain(x)),
    }
}
