//! The coat log as it stands in `coats.json`: what came, what went on where and when, what was used up.

use film::coverage::LitresBy;
use measure::{Grade, PointMm};
use room::nouns::MembraneLayer;
use room::quantities::What;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

mod check;

pub(crate) use check::{Known, check};

/// Most coats one above the other.
pub const MOST_NUMBER: u32 = 10;
/// Most coats, deliveries or uses of one log.
pub const MOST: usize = 1_000;

/// `coats.json`.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct CoatLog {
    /// `undertile coats 1`.
    #[schemars(extend("const" = "undertile coats 1"))]
    pub format: String,
    /// What was delivered.
    #[schemars(length(max = 1000))]
    pub deliveries: Vec<Delivery>,
    /// What was put on, in any order; times decide.
    #[schemars(length(max = 1000))]
    pub coats: Vec<Coat>,
    /// What was used up.
    #[schemars(length(max = 1000))]
    pub used: Vec<Used>,
}

/// One batch of one material. Of the amounts, what is printed on the pack.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Delivery {
    /// Name, by which coats say what they were put on from.
    pub id: String,
    /// What it is.
    pub what: What,
    /// Data sheet it goes by.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub data_sheet: Option<String>,
    /// Batch number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub batch: Option<String>,
    /// Last day it may be used, `2024-11-30`; where a month is printed, its last day.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(extend("format" = "date"))]
    pub expiry: Option<String>,
    /// Colour.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub colour: Option<String>,
    /// Litres delivered.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 100000.0))]
    pub litres: Option<f64>,
    /// Kilograms delivered.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 200000.0))]
    pub kg: Option<f64>,
    /// Metres delivered.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 100000.0))]
    pub m: Option<f64>,
    /// Width of what comes in metres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 1.0, max = 5000.0))]
    pub width_mm: Option<f64>,
    /// Pieces delivered.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 100000.0))]
    pub pieces: Option<f64>,
    /// When.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(extend("format" = "date-time"))]
    pub at: Option<String>,
    /// Who took it in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
}

/// One coat on one or more areas, put on in one go.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Coat {
    /// Name, unique in the log.
    pub id: String,
    /// Membrane it is of; of a primer, the membrane that goes on it.
    pub layer: MembraneLayer,
    /// A coat of the membrane, or of primer.
    #[serde(default)]
    pub what: CoatWhat,
    /// Which coat: 1 for the first.
    #[schemars(range(min = 1, max = 10))]
    pub number: u32,
    /// Data sheet it goes by; the membrane's of the room when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub data_sheet: Option<String>,
    /// Who put it on.
    pub by: String,
    /// Their licence.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub licence: Option<String>,
    /// When it was begun.
    #[schemars(extend("format" = "date-time"))]
    pub start: String,
    /// When it was finished.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(extend("format" = "date-time"))]
    pub end: Option<String>,
    /// Where.
    #[schemars(length(min = 1, max = 1000))]
    pub areas: Vec<Area>,
    /// Its colour: two coats in contrast show each other.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub colour: Option<String>,
    /// Deliveries it was put on from, by id.
    #[serde(default)]
    #[schemars(length(max = 100))]
    pub batches: Vec<String>,
    /// Thinner added as a share of the product's volume.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 1.0))]
    pub thinning: Option<f64>,
    /// Which way it was laid.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub strokes: Option<Strokes>,
    /// Photographs, by file name.
    #[serde(default)]
    #[schemars(length(max = 1000))]
    pub photographs: Vec<String>,
    /// Who stands behind it: as a rule the applicator.
    #[serde(default = "stated")]
    pub grade: Grade,
    /// In the person's words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

fn stated() -> Grade {
    Grade::Stated
}

/// What a coat is of.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum CoatWhat {
    /// Primer.
    Primer,
    /// The membrane.
    #[default]
    Coat,
}

/// Which way a coat was laid.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Strokes {
    /// Along x of the plan.
    AlongX,
    /// Along y of the plan.
    AlongY,
    /// Up and down a wall.
    Up,
    /// Along a wall.
    Across,
    /// Both ways.
    Both,
}

/// Where a coat went: details of the register, or a polygon drawn on a face. One of the two.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Area {
    /// Detail ids, group ids, or patterns such as `junction/*`.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 1000))]
    pub details: Vec<String>,
    /// Face the polygon lies on: `floor`, a wall's id, `recess/<id>/<side>`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub on: Option<String>,
    /// Corners in the face's coordinates, in order round it.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 1000))]
    pub polygon_mm: Vec<PointMm>,
}

/// What some coats used up together: given as an amount, or as stock before, what came, and stock after.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Used {
    /// Name, unique in the log.
    pub id: String,
    /// Coats it went into, by id.
    #[schemars(length(max = 1000))]
    pub coats: Vec<String>,
    /// Litres used.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 100000.0))]
    pub litres: Option<f64>,
    /// Kilograms used.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 200000.0))]
    pub kg: Option<f64>,
    /// Pails used, whole and in part; with `pail_l`.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 10000.0))]
    pub pails: Option<f64>,
    /// Stock before.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 100000.0))]
    pub opening_l: Option<f64>,
    /// What came in between; none when left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 100000.0))]
    pub delivered_l: Option<f64>,
    /// Stock after.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 100000.0))]
    pub closing_l: Option<f64>,
    /// Stock before in pails, in place of `opening_l`; with `pail_l`.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 10000.0))]
    pub opening_pails: Option<f64>,
    /// What came in pails, in place of `delivered_l`.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 10000.0))]
    pub delivered_pails: Option<f64>,
    /// Stock after in pails, in place of `closing_l`.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 10000.0))]
    pub closing_pails: Option<f64>,
    /// What one pail holds.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.1, max = 1000.0))]
    pub pail_l: Option<f64>,
    /// How it was found; decides the uncertainty assumed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub how: Option<LitresBy>,
    /// Standard uncertainty (k = 1) of the litres used.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 100000.0))]
    pub u_litres: Option<f64>,
    /// Area of other rooms coated from the same stock, every coat counted.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 100000.0))]
    pub elsewhere_m2: Option<f64>,
    /// Standard uncertainty (k = 1) of that area.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 100000.0))]
    pub u_elsewhere_m2: Option<f64>,
    /// Share that never reached the surface: left in pails, rollers, on the floor beside.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 0.9))]
    pub loss_share: Option<f64>,
    /// Who found it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// When.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(extend("format" = "date-time"))]
    pub at: Option<String>,
    /// In the person's words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// An amount used, as it was found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Amount {
    /// Litres.
    Litres(f64),
    /// Kilograms.
    Kg(f64),
}

impl Used {
    /// What was used, whichever way it was given.
    pub fn amount(&self) -> Option<Amount> {
        self.used_l().map(Amount::Litres).or(self.kg.map(Amount::Kg))
    }

    /// Litres before, without what came in between, and after, where they are given and decide.
    pub fn stock_l(&self) -> Option<(f64, f64)> {
        let direct = self.litres.is_some() || self.pails.is_some();
        let before = self.opening_l.or_else(|| self.in_pails(self.opening_pails));
        before.zip(self.closing()).filter(|_| !direct)
    }

    fn used_l(&self) -> Option<f64> {
        let by_stock = || Some(self.before_l()? - self.closing()?);
        self.litres.or_else(|| self.in_pails(self.pails)).or_else(by_stock)
    }

    fn in_pails(&self, pails: Option<f64>) -> Option<f64> {
        Some(pails? * self.pail_l?)
    }

    fn closing(&self) -> Option<f64> {
        self.closing_l.or_else(|| self.in_pails(self.closing_pails))
    }

    /// Stock before and what came.
    fn before_l(&self) -> Option<f64> {
        let opening = self.opening_l.or_else(|| self.in_pails(self.opening_pails))?;
        Some(opening + self.delivered_l.or_else(|| self.in_pails(self.delivered_pails)).unwrap_or(0.0))
    }
}
