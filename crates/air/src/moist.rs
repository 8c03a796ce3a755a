//! Moist air: saturation pressure, dew and frost point, humidity ratio.
//!
//! Source of all equations: ASHRAE Handbook Fundamentals (SI) 2017, chapter 1; the saturation pressures are those of
//! Hyland and Wexler. Checked against PsychroLib 2.5.0, the handbook's own table 3 and example 1, and CoolProp
//! (IAPWS-95); see `tests/moist.rs`.

use measure::math::{exp, ln};

/// 0 °C in kelvins.
const KELVIN: f64 = 273.15;
/// Triple point of water, where the two saturation curves meet. The handbook switches at 0 °C; at the triple point the
/// step between the curves is smallest.
pub const TRIPLE_C: f64 = 0.01;
/// Coldest and warmest temperature the saturation pressures hold for.
pub const RANGE_C: [f64; 2] = [-100.0, 200.0];
/// Molar mass of water over that of dry air.
const WATER_OVER_AIR: f64 = 0.621945;
/// Standard atmosphere in pascals.
pub const STANDARD_PA: f64 = 101_325.0;

/// Logarithm of the saturation pressure and its derivative: over liquid water (equation 6) or over ice (equation 5).
fn ln_saturation(t_c: f64, ice: bool) -> (f64, f64) {
    let t = t_c + KELVIN;
    if ice {
        let value = -5.6745359e3 / t + 6.3925247 - 9.677843e-3 * t + 6.2215701e-7 * t * t + 2.0747825e-9 * t * t * t
            - 9.484024e-13 * t * t * t * t
            + 4.1635019 * ln(t);
        let slope = 5.6745359e3 / (t * t) - 9.677843e-3 + 2.0 * 6.2215701e-7 * t + 3.0 * 2.0747825e-9 * t * t
            - 4.0 * 9.484024e-13 * t * t * t
            + 4.1635019 / t;
        (value, slope)
    } else {
        let value = -5.8002206e3 / t + 1.3914993 - 4.8640239e-2 * t + 4.1764768e-5 * t * t - 1.4452093e-8 * t * t * t + 6.5459673 * ln(t);
        let slope = 5.8002206e3 / (t * t) - 4.8640239e-2 + 2.0 * 4.1764768e-5 * t - 3.0 * 1.4452093e-8 * t * t + 6.5459673 / t;
        (value, slope)
    }
}

/// Pressure of saturated vapour in pascals: over ice up to the triple point, over liquid water above.
///
/// Range -100 to 200 °C ([`RANGE_C`]). ASHRAE Fundamentals 2017, chapter 1, equations 5 and 6.
pub fn saturation_pa(t_c: f64) -> f64 {
    exp(ln_saturation(t_c, t_c <= TRIPLE_C).0)
}

/// Temperature in °C at which moisture settles from air of this vapour pressure: the dew point, or below 0.01 °C the frost
/// point. `None` outside the range of the saturation curves.
///
/// The saturation curve is inverted by Newton's method on its logarithm, which is nearly straight in 1/T; the handbook's
/// regressions (equations 37 and 38) are less exact.
pub fn dew_point_c(vapour_pa: f64) -> Option<f64> {
    if !(vapour_pa >= saturation_pa(RANGE_C[0]) && vapour_pa <= saturation_pa(RANGE_C[1])) {
        return None;
    }
    let target = ln(vapour_pa);
    let ice = vapour_pa < exp(ln_saturation(TRIPLE_C, false).0);
    let mut t = if ice { -10.0 } else { 10.0 };
    for _ in 0..50 {
        let (value, slope) = ln_saturation(t, ice);
        // In x = 1/T the curve is nearly a line: a step there never overshoots into absurd temperatures.
        let kelvin = t + KELVIN;
        let x = 1.0 / kelvin + (value - target) / (slope * kelvin * kelvin);
        let next = (1.0 / x - KELVIN).clamp(RANGE_C[0], RANGE_C[1]);
        let moved = (next - t).abs();
        t = next;
        if moved < 1e-10 {
            break;
        }
    }
    Some(if ice { t.min(TRIPLE_C) } else { t.max(TRIPLE_C) })
}

/// Kilograms of water to a kilogram of dry air. `None` where the vapour pressure reaches the air pressure.
///
/// ASHRAE Fundamentals 2017, chapter 1, equation 20.
pub fn humidity_ratio(vapour_pa: f64, pressure_pa: f64) -> Option<f64> {
    (vapour_pa >= 0.0 && vapour_pa < pressure_pa).then(|| WATER_OVER_AIR * vapour_pa / (pressure_pa - vapour_pa))
}

/// Vapour pressure in pascals from the two thermometers of a whirling hygrometer, the bulb wetted (or iced below 0 °C).
/// Negative when the bulb is too cold for any air.
///
/// ASHRAE Fundamentals 2017, chapter 1, equations 33 and 35 (numbers as in PsychroLib 2.5.0).
pub fn vapour_from_wet_bulb_pa(air_c: f64, wet_bulb_c: f64, pressure_pa: f64) -> f64 {
    let saturated = saturation_pa(wet_bulb_c);
    let at_bulb = WATER_OVER_AIR * saturated / (pressure_pa - saturated);
    let apart = air_c - wet_bulb_c;
    let ratio = if wet_bulb_c >= 0.0 {
        ((2501.0 - 2.326 * wet_bulb_c) * at_bulb - 1.006 * apart) / (2501.0 + 1.86 * air_c - 4.186 * wet_bulb_c)
    } else {
        ((2830.0 - 0.24 * wet_bulb_c) * at_bulb - 1.006 * apart) / (2830.0 + 1.86 * air_c - 2.1 * wet_bulb_c)
    };
    pressure_pa * ratio / (WATER_OVER_AIR + ratio)
}
