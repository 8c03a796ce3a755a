//! Moist air against other people's figures; each table names its source.

use air::moist::{RANGE_C, STANDARD_PA, TRIPLE_C, dew_point_c, humidity_ratio, saturation_pa, vapour_from_wet_bulb_pa};

#[track_caller]
fn close(what: &str, found: f64, expected: f64, tolerance: f64) {
    assert!((found - expected).abs() <= tolerance, "{what}: {found} for {expected} within {tolerance}");
}

/// PsychroLib's tolerances: pressures to 1e-6, dew points to 1e-3 K, humidity ratios to 1e-5, wet bulbs to 2e-3 K.
#[test]
fn the_whole_psychrolib_table_agrees() {
    let table = include_str!("psychrolib.csv").lines().filter(|line| !line.starts_with('#')).skip(1);
    let mut rows = 0;
    for line in table {
        let row: Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap()).collect();
        let [air_c, rh, saturation, vapour, dew_point, ratio, wet_bulb] = row[..] else { panic!("{line}") };
        close(line, saturation_pa(air_c), saturation, 1e-6 * saturation);
        close(line, rh * saturation_pa(air_c), vapour, 1e-6 * vapour);
        close(line, dew_point_c(rh * saturation_pa(air_c)).unwrap(), dew_point, 1e-3);
        close(line, humidity_ratio(rh * saturation_pa(air_c), STANDARD_PA).unwrap(), ratio, 1e-5 * ratio);
        // The library finds the wet bulb by halving to 1e-3 K: our vapour pressures 2e-3 K to either side must enclose its own.
        let by_bulb = |shift: f64| vapour_from_wet_bulb_pa(air_c, wet_bulb + shift, STANDARD_PA);
        assert!(by_bulb(-2e-3) < vapour && vapour < by_bulb(2e-3), "{line}: wet bulb");
        rows += 1;
    }
    assert_eq!(rows, 24);
}

/// ASHRAE Fundamentals 2017, chapter 1, table 3, as quoted in PsychroLib's tests, whose relative tolerance is 3e-4.
#[test]
fn saturation_pressures_of_the_ashrae_table_agree() {
    for (t_c, pa) in [(-20.0, 103.24), (-5.0, 401.74), (5.0, 872.6), (25.0, 3169.7), (50.0, 12_351.3), (100.0, 101_418.0)] {
        close("table 3", saturation_pa(t_c), pa, 3e-4 * pa);
    }
}

/// CoolProp 8.0.0 (IAPWS-95): a different equation of state.
#[test]
fn saturation_pressures_agree_with_the_reference_equation_of_state() {
    for (t_c, pa) in
        [(5.0, 872.575), (10.0, 1228.198931), (15.0, 1705.792916), (20.0, 2339.318183), (30.0, 4246.970837), (40.0, 7384.938074)]
    {
        close("IAPWS-95", saturation_pa(t_c), pa, 3e-4 * pa);
    }
}

/// ASHRAE Fundamentals 2017, chapter 1, example 1, as quoted in PsychroLib's tests: 40 °C with the wet bulb at 20 °C has
/// a humidity ratio of 0.0065, a dew point of 7 °C, and a relative humidity of 14 %.
#[test]
fn the_ashrae_example_agrees() {
    let vapour = vapour_from_wet_bulb_pa(40.0, 20.0, STANDARD_PA);
    close("ratio", humidity_ratio(vapour, STANDARD_PA).unwrap(), 0.0065, 1e-4);
    close("dew point", dew_point_c(vapour).unwrap(), 7.0, 0.5);
    close("rh", vapour / saturation_pa(40.0), 0.14, 0.01);
}

/// Dew points others printed or computed with other formulas, in °C: (air, share, dew point, tolerance, source).
#[test]
fn dew_points_of_other_formulas_agree() {
    for (air_c, rh, expected, tolerance, source) in [
        (22.0, 0.78, 17.98, 0.02, "worked example with the Magnus pair 17.27 / 237.7 (assignmentexpert.com)"),
        (20.0, 0.60, 12.00, 0.02, "Magnus pair 17.625 / 243.04"),
        (20.0, 0.50, 9.26, 0.02, "Magnus pair 17.625 / 243.04"),
        (15.0, 0.80, 11.58, 0.02, "Magnus pair 17.625 / 243.04"),
        (25.0, 0.70, 19.15, 0.02, "Magnus pair 17.625 / 243.04"),
        (10.0, 0.85, 7.59, 0.02, "Magnus pair 17.625 / 243.04"),
        (20.0, 0.50, 9.2744, 0.005, "CoolProp 8.0.0, real gas"),
        (25.0, 0.60, 16.7035, 0.005, "CoolProp 8.0.0, real gas"),
        (16.0, 0.71, 11.0, 0.5, "a coating guide's example (scribd 146044552)"),
    ] {
        close(source, dew_point_c(rh * saturation_pa(air_c)).unwrap(), expected, tolerance);
    }
    let whirled = vapour_from_wet_bulb_pa(21.0, 17.0, STANDARD_PA);
    close("a coating guide's example (scribd 146044552)", dew_point_c(whirled).unwrap(), 15.0, 0.5);
    // A chart in °F that cuts off the decimals (handypdf.com): (air, share, dew point).
    for (air_f, rh, dew_f) in [(70.0, 0.65, 57.0), (80.0, 0.50, 59.0), (60.0, 0.80, 54.0), (90.0, 0.70, 78.0)] {
        let c = |f: f64| (f - 32.0) / 1.8;
        close("chart", 32.0 + 1.8 * dew_point_c(rh * saturation_pa(c(air_f))).unwrap(), dew_f, 1.0);
    }
}

#[test]
fn the_dew_point_of_saturated_air_is_its_temperature() {
    let mut t = RANGE_C[0];
    while t <= RANGE_C[1] {
        close("inverse", dew_point_c(saturation_pa(t)).unwrap(), t, 1e-8);
        t += 0.37;
    }
    close("inverse at the triple point", dew_point_c(saturation_pa(TRIPLE_C + 1e-9)).unwrap(), TRIPLE_C, 1e-6);
}

#[test]
fn what_has_no_dew_point_gives_none() {
    for pa in [0.0, -1.0, f64::NAN, f64::INFINITY, 1e-12, 1e9] {
        assert_eq!(dew_point_c(pa), None, "{pa}");
    }
    assert_eq!(humidity_ratio(2.0e5, STANDARD_PA), None);
}
