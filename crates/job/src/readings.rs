//! Readings of heights, widths, depths and of the air, as CSV files beside the room.
//!
//! `readings.csv`: `hold_point, detail, quantity, value, unit, datum, u` (or `plus_minus`, expanded), `grade, by, at`; one row a reading.
//! `gradients-tile.csv`: `name, x_mm, y_mm, toward_deg, fall_percent, base_mm`, and if wanted `u_percent, reversed_percent`.
//! `climate.csv`: `hold_point, what, detail, air_c, rh, surface_c, at`. Columns in any order; those after the value may be left out.

use crate::table::{self, Columns};
use measure::{Bounds, Grade, Measured, Problems, bounds};

/// The detail of a reading that speaks of the room as a whole.
pub const ROOM: &str = "room";

/// A table with these columns, and others that are passed over.
fn of<'a>(needed: &'a [&'a str]) -> Columns<'a> {
    Columns { rows: 100_000, needed, known: &[] }
}

/// One reading of a quantity at a detail.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Hold point it was taken for.
    pub hold_point: String,
    /// Detail, by id.
    pub detail: String,
    /// Quantity, by its name in the packs.
    pub quantity: String,
    /// Value in the quantity's unit.
    pub value: f64,
    /// Unit as written, if it was.
    pub unit: Option<String>,
    /// What a height or distance counts from, by its name in the packs.
    pub datum: Option<String>,
    /// Standard uncertainty, if it was given.
    pub u: Option<f64>,
    /// Grade.
    pub grade: Grade,
    /// Who took it.
    pub by: Option<String>,
    /// When, as written.
    pub at: Option<String>,
    /// File and line, for the record.
    pub from: String,
}

/// One reading of the air and a surface.
#[derive(Clone, Debug, PartialEq)]
pub struct ClimateReading {
    /// Hold point it was taken for.
    pub hold_point: String,
    /// What was being done, in the person's words.
    pub what: String,
    /// Details it speaks for: an id, a group, or a beginning with `*`; every detail of the hold point when left out.
    pub detail: Option<String>,
    /// Air temperature.
    pub air_c: f64,
    /// Relative humidity, a share.
    pub rh: f64,
    /// Surface temperature.
    pub surface_c: f64,
    /// When, as written.
    pub at: Option<String>,
    /// File and line, for the record.
    pub from: String,
}

/// One reading of a digital level laid on the floor.
#[derive(Clone, Debug, PartialEq)]
pub struct GradientReading {
    /// Name of the place.
    pub name: String,
    /// Middle of the base on plan.
    pub x_mm: f64,
    /// Middle of the base on plan.
    pub y_mm: f64,
    /// The way it looks downhill: 0 along x, 90 along y.
    pub toward_deg: f64,
    /// Fall that way; negative where it rises.
    pub fall_percent: f64,
    /// Length of the base.
    pub base_mm: f64,
    /// Standard uncertainty, if it was given.
    pub u_percent: Option<f64>,
    /// The same place read with the level turned end for end.
    pub reversed_percent: Option<f64>,
}

/// The rows of `gradients-tile.csv` and its like.
pub fn gradients(file: &str, bytes: &[u8]) -> Result<Vec<GradientReading>, Problems> {
    const ANGLE: Bounds = Bounds { min: -360.0, max: 360.0, unit: "degrees" };
    const FALL: Bounds = Bounds { min: -50.0, max: 50.0, unit: "%" };
    const BASE: Bounds = Bounds { min: 50.0, max: 5_000.0, unit: "mm" };
    table::rows(file, bytes, &of(&["x_mm", "y_mm", "toward_deg", "fall_percent", "base_mm"]), |cells, problems| {
        let x_mm = cells.number("x_mm", &bounds::PLAN_MM, problems);
        let y_mm = cells.number("y_mm", &bounds::PLAN_MM, problems);
        let toward_deg = cells.number("toward_deg", &ANGLE, problems);
        let fall_percent = cells.number("fall_percent", &FALL, problems);
        let base_mm = cells.number("base_mm", &BASE, problems);
        let u_percent = cells.optional("u_percent", problems);
        let turned = !cells.cell("reversed_percent").is_empty();
        let reversed_percent = if turned { cells.number("reversed_percent", &FALL, problems) } else { None };
        Some(GradientReading {
            name: cells.optional_text("name").unwrap_or_else(|| format!("line {}", cells.row.line())),
            x_mm: x_mm?,
            y_mm: y_mm?,
            toward_deg: toward_deg?,
            fall_percent: fall_percent?,
            base_mm: base_mm?,
            u_percent,
            reversed_percent,
        })
    })
}

/// The rows of `readings.csv`.
pub fn readings(file: &str, bytes: &[u8]) -> Result<Vec<Reading>, Problems> {
    table::rows(file, bytes, &of(&["hold_point", "detail", "quantity", "value"]), |cells, problems| {
        let u = match (cells.optional("u", problems), cells.optional("plus_minus", problems)) {
            (Some(u), _) => Some(u),
            (None, Some(expanded)) => Some(expanded / 2.0),
            (None, None) => None,
        };
        let value = cells.number("value", &ANY, problems)?;
        if let Err(error) = Measured::new(value, u.unwrap_or(0.0)) {
            problems.push(cells.problem("u", error.to_string(), "a standard uncertainty of zero or more"));
        }
        Some(Reading {
            hold_point: cells.text("hold_point"),
            detail: cells.text("detail"),
            quantity: cells.text("quantity"),
            value,
            unit: cells.optional_text("unit"),
            datum: cells.optional_text("datum"),
            u,
            grade: cells.grade(problems),
            by: cells.optional_text("by"),
            at: cells.time(problems),
            from: cells.from(),
        })
    })
}

/// The rows of `climate.csv`.
pub fn climate(file: &str, bytes: &[u8]) -> Result<Vec<ClimateReading>, Problems> {
    table::rows(file, bytes, &of(&["hold_point", "air_c", "rh", "surface_c"]), |cells, problems| {
        let air_c = cells.number("air_c", &bounds::TEMPERATURE_C, problems);
        let rh = cells.number("rh", &bounds::RH, problems);
        let surface_c = cells.number("surface_c", &bounds::TEMPERATURE_C, problems);
        Some(ClimateReading {
            hold_point: cells.text("hold_point"),
            what: cells.optional_text("what").unwrap_or_default(),
            detail: cells.optional_text("detail"),
            air_c: air_c?,
            rh: rh?,
            surface_c: surface_c?,
            at: cells.time(problems),
            from: cells.from(),
        })
    })
}

const ANY: Bounds = Bounds { min: -1.0e9, max: 1.0e9, unit: "" };

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_are_read_in_any_order_of_columns_with_a_decimal_comma() {
        let text = "quantity;value;detail;hold_point;plus_minus\nupturn_height_mm;110,5;upturn/north;upper-membrane;2\n";
        let read = readings("readings.csv", text.as_bytes()).unwrap();
        assert_eq!((read[0].value, read[0].u, read[0].grade), (110.5, Some(1.0), Grade::Measured));
        assert_eq!(read[0].from, "readings.csv:2");
    }

    #[test]
    fn every_bad_cell_is_named_with_its_line() {
        let text = "hold_point,detail,quantity,value,grade,at\na,b,c,twelve,measured,\na,b,c,12,guessed,yesterday\n";
        let problems = readings("readings.csv", text.as_bytes()).unwrap_err().problems;
        let places: Vec<_> = problems.iter().map(|p| (p.line, p.field.as_str())).collect();
        assert_eq!(places, [(Some(2), "value"), (Some(3), "grade"), (Some(3), "at")]);
    }

    #[test]
    fn a_digital_level_is_read_with_its_turned_round_check() {
        let text = "name;x_mm;y_mm;toward_deg;fall_percent;base_mm;reversed_percent\nA;600;450;180;1,4;600;1,6\nB;200;450;0;-0,3;600;\n";
        let read = gradients("gradients-tile.csv", text.as_bytes()).unwrap();
        assert_eq!((read[0].fall_percent, read[0].reversed_percent), (1.4, Some(1.6)));
        assert_eq!((read[1].fall_percent, read[1].reversed_percent), (-0.3, None));
    }

    #[test]
    fn humidity_in_per_cent_is_refused() {
        let text = "hold_point,air_c,rh,surface_c\nprimer,20,65,18\n";
        let problems = climate("climate.csv", text.as_bytes()).unwrap_err().problems;
        assert_eq!(problems[0].field, "rh");
    }

    #[test]
    fn a_missing_column_is_named_once() {
        let problems = climate("climate.csv", b"hold_point,air_c,rh\nprimer,20,0.65\n").unwrap_err().problems;
        assert_eq!(problems.len(), 1);
        assert_eq!(problems[0].field, "surface_c");
    }
}
