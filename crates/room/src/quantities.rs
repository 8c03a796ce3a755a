//! What to order, and whether what came and went agrees with it.
//!
//! ```text
//! by spread   L  = A coats / (m2 per litre and coat)          by film    L = A dft / (1000 solids)
//! in lengths  m  = L runs                                      section   L = L width depth / 1000
//! with waste  needed (1 + waste)                               packs     rounded up
//! ```
//!
//! `A` in square metres, a run's area being its length times the width of its strip; `dft` in micrometres, all coats together;
//! width and depth in millimetres (definitions). Sizes are independent of each other; the uncertainty of a rate is shared by
//! all of a material (JCGM 100:2008, 5.1.2).
//!
//! A size or rate nobody knows is listed as unknown and never counted as nothing: what is needed is then *at least* the sum of
//! what is known. Laps of a sheet, overlaps of tape and what stays in the pail are waste, and come with the input.

mod check;
mod from_room;
#[cfg(test)]
mod tests;

pub use from_room::of_room;

use crate::nouns::MembraneLayer;
use measure::{Problems, math};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// Beyond so many standard uncertainties two amounts disagree (95 %, normal distribution).
const DISAGREE: f64 = 1.959_963_984_540_054;
/// Amounts this close, relative to their size, are the same: it removes the rounding of a division, so that nine litres are
/// three packs of three.
const SAME: f64 = 1e-9;

/// Sizes of what is to be covered, and the materials that cover it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Input {
    /// Areas, lengths and counts, as the detail register gives them or as taken off by hand.
    #[schemars(length(max = 20000))]
    pub sizes: Vec<Size>,
    /// What is to be ordered.
    #[schemars(length(min = 1, max = 500))]
    pub materials: Vec<Material>,
}

/// The size of one detail.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Size {
    /// Name, unique among the sizes.
    pub id: String,
    /// Kind, in the words of the detail register (`floor-field`, `wall-floor-junction`) or your own.
    pub kind: String,
    /// Membrane it belongs to, where it belongs to one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub layer: Option<MembraneLayer>,
    /// Unit of the size.
    pub unit: SizeUnit,
    /// The size; left out where nobody knows it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 100000.0))]
    pub value: Option<f64>,
    /// Its standard uncertainty (k = 1); left out, the size counts as exact.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 100000.0))]
    pub u: Option<f64>,
}

/// What a size is counted in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum SizeUnit {
    /// Square metres.
    M2,
    /// Metres.
    M,
    /// Places.
    Each,
}

/// One material.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Material {
    /// Name, unique among the materials.
    pub id: String,
    /// What it is.
    pub what: What,
    /// Width of what comes in lengths: bond breaker, tape. For the order alone; nothing is computed with it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 1.0, max = 5000.0))]
    pub width_mm: Option<f64>,
    /// Where it goes.
    pub on: On,
    /// How much of it goes there; left out where nobody knows, and the material is then listed as unknown.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rate: Option<Rate>,
    /// Standard uncertainty (k = 1) of the rate as a share of it; exact when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 1.0))]
    pub u_rate_share: Option<f64>,
    /// What is added for waste, laps and offcuts, as a share of what is needed: 0.1 orders a tenth more. None when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 3.0))]
    pub waste_share: Option<f64>,
    /// What one pack holds, in the unit of the material.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.001, max = 100000.0))]
    pub pack: Option<f64>,
    /// What was delivered, in the unit of the material.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub delivered: Option<Amount>,
    /// What was used, in the unit of the material.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub used: Option<Amount>,
}

/// An amount counted, weighed or stated.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Amount {
    /// How much.
    #[schemars(range(min = 0.0, max = 10000000.0))]
    pub amount: f64,
    /// Its standard uncertainty (k = 1).
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 10000000.0))]
    pub u: f64,
}

/// Kinds of material.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum What {
    /// Membrane.
    Membrane,
    /// Primer.
    Primer,
    /// Bond breaker.
    BondBreaker,
    /// Tape.
    Tape,
    /// Reinforcing fabric.
    Fabric,
    /// Sealant.
    Sealant,
    /// Something that comes by the piece: a collar, a corner.
    Piece,
}

/// Where a material goes: every size of one of the kinds, and those named. With a layer, only what belongs to that membrane.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct On {
    /// Kinds of detail.
    pub kinds: Vec<String>,
    /// Sizes by name.
    pub ids: Vec<String>,
    /// Membrane.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub layer: Option<MembraneLayer>,
}

/// How much of a material goes on a size.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "by", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Rate {
    /// Litres from the area one litre covers in one coat.
    Spread {
        /// Area one litre covers in one coat.
        #[schemars(range(min = 0.05, max = 100.0))]
        m2_per_l: f64,
        /// Coats.
        #[schemars(range(min = 1, max = 10))]
        coats: u32,
        /// Width coated along a length; needed where a length is to be coated.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        #[schemars(range(min = 1.0, max = 5000.0))]
        strip_mm: Option<f64>,
    },
    /// Litres from the dry film and the solids.
    Film {
        /// Dry film of all coats together.
        #[schemars(range(min = 1.0, max = 50000.0))]
        dry_um: f64,
        /// Solids by volume as a share.
        #[schemars(range(min = 0.05, max = 1.0))]
        solids_by_volume: f64,
        /// Coats it is put on in.
        #[schemars(range(min = 1, max = 10))]
        coats: u32,
        /// Width coated along a length; needed where a length is to be coated.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        #[schemars(range(min = 1.0, max = 5000.0))]
        strip_mm: Option<f64>,
    },
    /// Square metres of sheet, board or fabric; laps are waste.
    Sheet {
        /// Width laid along a length; needed where a length is to be covered.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        #[schemars(range(min = 1.0, max = 5000.0))]
        strip_mm: Option<f64>,
    },
    /// Metres along a length.
    Length {
        /// Runs side by side.
        #[schemars(range(min = 1, max = 10))]
        runs: u32,
    },
    /// Litres from the cross-section of a joint and its length.
    Section {
        /// Width of the joint.
        #[schemars(range(min = 0.5, max = 500.0))]
        width_mm: f64,
        /// Depth of the sealant.
        #[schemars(range(min = 0.5, max = 500.0))]
        depth_mm: f64,
    },
    /// Pieces to a place.
    Pieces {
        /// How many to each place.
        #[schemars(range(min = 1, max = 1000))]
        each: u32,
    },
}

/// What to order.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Output {
    /// In the order of the input.
    pub materials: Vec<MaterialOut>,
    /// Whether everything asked for is known.
    pub complete: bool,
    /// What to know when using these results.
    pub notes: Vec<String>,
}

/// What to order of one material.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct MaterialOut {
    /// Name.
    pub id: String,
    /// What it is.
    pub what: What,
    /// Width of what comes in lengths.
    pub width_mm: Option<f64>,
    /// Unit of every amount: "L", "m2", "m" or "pieces"; absent where the rate is unknown.
    pub unit: Option<&'static str>,
    /// Needed on the surface, without waste; absent where nothing of it is known.
    pub needed: Option<f64>,
    /// Its standard uncertainty.
    pub u_needed: Option<f64>,
    /// Needed for each coat, where it goes on in coats.
    pub per_coat: Option<f64>,
    /// With waste.
    pub with_waste: Option<f64>,
    /// Its standard uncertainty.
    pub u_with_waste: Option<f64>,
    /// Packs, rounded up; absent where no pack size is given.
    pub packs: Option<u64>,
    /// What those packs hold.
    pub in_packs: Option<f64>,
    /// What is left over when all goes to plan.
    pub left_over: Option<f64>,
    /// Whether more is needed than all these amounts say, because something is unknown.
    pub at_least: bool,
    /// The same by kind of detail.
    pub by_kind: Vec<ByKind>,
    /// What is unknown.
    pub unknown: Vec<Unknown>,
    /// What was delivered and used, against what is needed.
    pub compared: Vec<Compared>,
}

/// A material on one kind of detail.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ByKind {
    /// Kind of detail.
    pub kind: String,
    /// Sum of the sizes that are known.
    pub size: f64,
    /// Unit of that sum.
    pub size_unit: SizeUnit,
    /// How many sizes it is the sum of.
    pub count: usize,
    /// Needed there, without waste.
    pub needed: f64,
}

/// Something nobody knows.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Unknown {
    /// The size, or the material itself where its rate is unknown or nothing is there to put it on.
    pub id: String,
    /// What is unknown of it.
    pub what: String,
}

/// An amount delivered or used beside what is needed.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Compared {
    /// "delivered" or "used".
    pub what: &'static str,
    /// Delivered or used.
    pub amount: f64,
    /// What it is held against: with waste for what was delivered, without for what was used.
    pub against: Option<f64>,
    /// Amount less what it is held against.
    pub difference: Option<f64>,
    /// Standard uncertainty of the difference.
    pub u_difference: Option<f64>,
    /// Which way it differs.
    pub way: Way,
    /// The same in words.
    pub why: String,
}

/// Which way an amount differs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Way {
    /// Less than needed.
    Less,
    /// The same within 95 %.
    Agrees,
    /// More than needed.
    More,
    /// Cannot be said, because something is unknown.
    NotShown,
}

/// What to order of each material, and what was delivered and used beside it.
///
/// Formulas in the [module](self). Amounts say how much was there, never where it went: a room can have used its litres and be
/// thin at every corner.
pub fn run(input: &Input) -> Result<Output, Problems> {
    check::check(input).or(())?;
    let materials: Vec<MaterialOut> = input.materials.iter().map(|material| material.of(&input.sizes)).collect();
    let complete = materials.iter().all(|material| !material.at_least);
    let mut notes = vec!["amounts say how much there was, not where it went".to_owned()];
    if !complete {
        notes.push("something is unknown: order what is known only as a first part".into());
    }
    Ok(Output { materials, complete, notes })
}

impl On {
    /// The sizes it goes on, in their order.
    fn covered<'a>(&self, sizes: &'a [Size]) -> Vec<&'a Size> {
        let kinds: BTreeSet<&str> = self.kinds.iter().map(String::as_str).collect();
        let ids: BTreeSet<&str> = self.ids.iter().map(String::as_str).collect();
        let layer = |size: &Size| self.layer.is_none() || self.layer == size.layer;
        let named = |size: &Size| kinds.contains(size.kind.as_str()) || ids.contains(size.id.as_str());
        sizes.iter().filter(|size| layer(size) && named(size)).collect()
    }
}

impl Rate {
    fn unit(self) -> &'static str {
        match self {
            Self::Spread { .. } | Self::Film { .. } | Self::Section { .. } => "L",
            Self::Sheet { .. } => "m2",
            Self::Length { .. } => "m",
            Self::Pieces { .. } => "pieces",
        }
    }

    fn coats(self) -> Option<u32> {
        match self {
            Self::Spread { coats, .. } | Self::Film { coats, .. } => Some(coats),
            _ => None,
        }
    }

    /// How much goes on one of the unit; `None` where this rate does not speak of such sizes.
    fn per(self, unit: SizeUnit) -> Option<f64> {
        let area = |strip_mm: Option<f64>| match unit {
            SizeUnit::M2 => Some(1.0),
            SizeUnit::M => strip_mm.map(|mm| mm / 1000.0),
            SizeUnit::Each => None,
        };
        match (self, unit) {
            (Self::Spread { m2_per_l, coats, strip_mm }, _) => area(strip_mm).map(|a| a * f64::from(coats) / m2_per_l),
            (Self::Film { dry_um, solids_by_volume, strip_mm, .. }, _) => area(strip_mm).map(|a| a * dry_um / (1000.0 * solids_by_volume)),
            (Self::Sheet { strip_mm }, _) => area(strip_mm),
            (Self::Length { runs }, SizeUnit::M) => Some(f64::from(runs)),
            (Self::Section { width_mm, depth_mm }, SizeUnit::M) => Some(width_mm * depth_mm / 1000.0),
            (Self::Pieces { each }, SizeUnit::Each) => Some(f64::from(each)),
            _ => None,
        }
    }
}

impl Material {
    fn of(&self, sizes: &[Size]) -> MaterialOut {
        let covered = self.on.covered(sizes);
        let unknown = self.unknown(&covered);
        let known: Vec<(&Size, f64, f64)> = covered
            .iter()
            .filter_map(|size| {
                let per = self.rate?.per(size.unit)?;
                Some((*size, size.value?, per))
            })
            .collect();
        let sum: f64 = known.iter().map(|(_, value, per)| value * per).sum();
        let u_sizes = known.iter().fold(0.0, |u, (size, _, per)| math::hypot(u, size.u.unwrap_or(0.0) * per));
        let u_sum = math::hypot(u_sizes, sum * self.u_rate_share.unwrap_or(0.0));
        let needed = (!known.is_empty()).then_some((sum, u_sum));
        let more = 1.0 + self.waste_share.unwrap_or(0.0);
        let with_waste = needed.map(|(value, u)| (value * more, u * more));
        let packs = with_waste.zip(self.pack).map(|((value, _), pack)| whole_packs(value / pack));
        let in_packs = packs.zip(self.pack).map(|(packs, pack)| packs as f64 * pack);
        let at_least = !unknown.is_empty();
        let unit = self.rate.map(Rate::unit);
        let against = |what, amount: Option<Amount>, needed| amount.map(|amount| compare(what, amount, needed, at_least, unit));
        MaterialOut {
            id: self.id.clone(),
            what: self.what,
            width_mm: self.width_mm,
            unit,
            needed: needed.map(|n| n.0),
            u_needed: needed.map(|n| n.1),
            per_coat: needed.zip(self.rate.and_then(Rate::coats)).map(|((value, _), coats)| value / f64::from(coats)),
            with_waste: with_waste.map(|w| w.0),
            u_with_waste: with_waste.map(|w| w.1),
            packs,
            in_packs,
            left_over: in_packs.zip(with_waste).map(|(held, (value, _))| (held - value).max(0.0)),
            at_least,
            by_kind: by_kind(&known),
            unknown,
            compared: against("delivered", self.delivered, with_waste).into_iter().chain(against("used", self.used, needed)).collect(),
        }
    }

    fn unknown(&self, covered: &[&Size]) -> Vec<Unknown> {
        let mut unknown = Vec::new();
        let mut own = |what: &str| unknown.push(Unknown { id: self.id.clone(), what: what.into() });
        if self.rate.is_none() {
            own("how much of it goes there");
        }
        if covered.is_empty() {
            own("where it goes: nothing of these kinds, names and layer is among the sizes");
        }
        unknown.extend(covered.iter().filter(|size| size.value.is_none()).map(|size| {
            let what = match size.unit {
                SizeUnit::M2 => "area",
                SizeUnit::M => "length",
                SizeUnit::Each => "number",
            };
            Unknown { id: size.id.clone(), what: what.into() }
        }));
        unknown
    }
}

fn whole_packs(packs: f64) -> u64 {
    // Bounds of sizes, rates and packs keep this far below the largest whole number.
    (packs - SAME * packs.max(1.0)).ceil().max(0.0) as u64
}

fn by_kind(known: &[(&Size, f64, f64)]) -> Vec<ByKind> {
    let mut kinds: BTreeMap<(&str, SizeUnit), ByKind> = BTreeMap::new();
    for (size, value, per) in known {
        let new = ByKind { kind: size.kind.clone(), size: 0.0, size_unit: size.unit, count: 0, needed: 0.0 };
        let kind = kinds.entry((&size.kind, size.unit)).or_insert(new);
        kind.size += value;
        kind.count += 1;
        kind.needed += value * per;
    }
    kinds.into_values().collect()
}

fn compare(what: &'static str, amount: Amount, needed: Option<(f64, f64)>, at_least: bool, unit: Option<&str>) -> Compared {
    let difference = needed.map(|(value, u)| (amount.amount - value, math::hypot(amount.u, u)));
    let way = match (difference, needed) {
        (Some((difference, u)), Some((value, _))) => {
            let agrees = difference.abs() <= DISAGREE * u + SAME * value.abs();
            match (agrees, difference < 0.0) {
                // Even of the part that is known there was too little.
                (false, true) => Way::Less,
                _ if at_least => Way::NotShown,
                (true, _) => Way::Agrees,
                (false, false) => Way::More,
            }
        }
        _ => Way::NotShown,
    };
    let unit = unit.unwrap_or_default();
    let by = difference.map_or(0.0, |d| d.0.abs());
    let waste = if what == "delivered" { "needed with waste" } else { "needed" };
    let why = match way {
        Way::Less if at_least => format!("{by:.2} {unit} less {what} than {waste} for what is known alone"),
        Way::Less => format!("{by:.2} {unit} less {what} than {waste}"),
        Way::More => format!("{by:.2} {unit} more {what} than {waste}"),
        Way::Agrees => format!("what was {what} agrees with what is {waste}"),
        Way::NotShown => format!("how much is {waste} is not known, so what was {what} shows nothing"),
    };
    Compared {
        what,
        amount: amount.amount,
        against: needed.map(|n| n.0),
        difference: difference.map(|d| d.0),
        u_difference: difference.map(|d| d.1),
        way,
        why,
    }
}
