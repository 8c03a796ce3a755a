//! Drying shrinkage of concrete after Eurocode 2.
//!
//! ```text
//! eps_cd,0 = 0.85 [(220 + 110 a_ds1) exp(-a_ds2 f_cm / 10)] 1e-6 b_RH     (B.11)
//! b_RH     = 1.55 [1 - (RH / 100)^3]                                      (B.12)
//! eps_cd(t) = b_ds(t, t_s) k_h eps_cd,0                                   (3.9)
//! b_ds     = (t - t_s) / ((t - t_s) + 0.04 sqrt(h_0^3))                   (3.10)
//! ```
//!
//! EN 1992-1-1:2004, 3.1.4 and annex B.2; `f_cm = f_ck + 8` MPa. The formula, 3.9, 3.10 and `k_h` were read in secondary
//! copies; `a_ds1`, `a_ds2` and `b_RH` are from memory. Drying only: the autogenous part (3.11), which stronger concrete adds
//! in its first weeks, is not in it. The standard gives the formula a coefficient of variation of about 30 %.

use measure::{Bounds, math};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Characteristic strength (cylinder) the formula is used for.
pub const FCK_MPA: Bounds = Bounds { min: 12.0, max: 90.0, unit: "MPa" };
/// Relative humidity the formula is used for; near saturation concrete swells instead.
pub const RH: Bounds = Bounds { min: 0.2, max: 0.99, unit: "(a share; 65 % is 0.65)" };
/// Notional size.
pub const NOTIONAL_MM: Bounds = Bounds { min: 10.0, max: 2_000.0, unit: "mm" };
/// Days of drying.
pub const DRYING_D: Bounds = Bounds { min: 0.0, max: 100_000.0, unit: "days" };
/// Coefficient of variation of the prediction (EN 1992-1-1:2004, annex B.2, read in a secondary copy).
pub const VARIATION: f64 = 0.3;

/// How fast the cement gains strength (EN 1992-1-1:2004, 3.1.2 (6)).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Cement {
    /// Slow.
    S,
    /// Normal.
    N,
    /// Rapid.
    R,
}

/// A concrete or cement screed that dries.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Drying {
    /// Characteristic cylinder strength f_ck: 20 for C20/25.
    #[schemars(range(min = 12.0, max = 90.0))]
    pub fck_mpa: f64,
    /// Class of the cement.
    pub cement: Cement,
    /// Relative humidity of the air about it, as a share.
    #[schemars(range(min = 0.2, max = 0.99))]
    pub rh: f64,
    /// Notional size h_0 = 2 A_c / u, u the drying part of the perimeter: twice the thickness of a screed that dries to one
    /// side.
    #[schemars(range(min = 10.0, max = 2000.0))]
    pub notional_mm: f64,
    /// Days it had dried when the membrane or sealant went on: what shrank before does not strain it. Zero counts it all.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 100000.0))]
    pub dried_before_d: f64,
    /// Days of drying up to which to count; left out, to the end.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 100000.0))]
    pub until_d: Option<f64>,
}

impl Drying {
    /// Strain from `dried_before_d` to `until_d`, positive for shrinking. Inside the bounds above it is finite and not
    /// negative when `until_d` is not before `dried_before_d`.
    pub fn strain(&self) -> f64 {
        let until = self.until_d.map_or(1.0, |days| developed(days, self.notional_mm));
        let before = developed(self.dried_before_d, self.notional_mm);
        (until - before) * size_factor(self.notional_mm) * basic_strain(self.fck_mpa, self.cement, self.rh)
    }
}

/// eps_cd,0 (B.11), a strain. Checked against C20/25, class N: 0.616 / 0.582 / 0.487 / 0.303 / 0.168 per mille at 20 / 40 / 60
/// / 80 / 90 % RH.
pub fn basic_strain(fck_mpa: f64, cement: Cement, rh: f64) -> f64 {
    let (ds1, ds2) = match cement {
        Cement::S => (3.0, 0.13),
        Cement::N => (4.0, 0.12),
        Cement::R => (6.0, 0.11),
    };
    let humidity = 1.55 * (1.0 - rh * rh * rh);
    0.85 * (220.0 + 110.0 * ds1) * math::exp(-ds2 * (fck_mpa + 8.0) / 10.0) * 1e-6 * humidity
}

/// b_ds (3.10): the share of drying shrinkage reached after so many days of drying.
pub fn developed(days: f64, notional_mm: f64) -> f64 {
    days / (days + 0.04 * (notional_mm * notional_mm * notional_mm).sqrt())
}

/// k_h (table 3.3): 1.0, 0.85, 0.75, 0.70 at 100, 200, 300, 500 mm, straight between, level outside.
pub fn size_factor(notional_mm: f64) -> f64 {
    const TABLE: [(f64, f64); 4] = [(100.0, 1.0), (200.0, 0.85), (300.0, 0.75), (500.0, 0.70)];
    let h = notional_mm.clamp(TABLE[0].0, TABLE[3].0);
    let between = TABLE.windows(2).find(|pair| h <= pair[1].0).map(|pair| {
        let ((h0, k0), (h1, k1)) = (pair[0], pair[1]);
        k0 + (k1 - k0) * (h - h0) / (h1 - h0)
    });
    between.unwrap_or(TABLE[3].1)
}
