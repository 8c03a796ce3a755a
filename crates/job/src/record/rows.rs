//! Payload rows as rows of the folder's tables.

use super::payload::*;
use super::table::{Cell, Hand, Row};
use film::thickness::{Kind, Tool};
use measure::{Bounds, Grade, bounds};
use room::nouns::MembraneLayer;

const ANY: Bounds = Bounds { min: -1e9, max: 1e9, unit: "" };
const U: Bounds = Bounds { min: 0.0, max: 1e9, unit: "" };
const ANGLE: Bounds = Bounds { min: -360.0, max: 360.0, unit: "degrees" };
const FALL: Bounds = Bounds { min: -50.0, max: 50.0, unit: "%" };
const BASE: Bounds = Bounds { min: 50.0, max: 5_000.0, unit: "mm" };

/// What the numbers of a column must keep.
pub(crate) fn bounds_of(column: &str) -> &'static Bounds {
    match column {
        "u" | "plus_minus" | "u_percent" => &U,
        "air_c" | "surface_c" => &bounds::TEMPERATURE_C,
        "rh" => &bounds::RH,
        "x_mm" | "y_mm" => &bounds::PLAN_MM,
        "level_mm" | "staff_mm" | "known_mm" => &bounds::LEVEL_MM,
        "u_mm" => &bounds::U_MM,
        "toward_deg" => &ANGLE,
        "fall_percent" | "reversed_percent" => &FALL,
        "base_mm" => &BASE,
        "lo_um" | "hi_um" | "value_um" | "u_um" | "plus_minus_um" => &U,
        _ => &ANY,
    }
}

/// A row of a payload.
pub(crate) trait ToRow {
    /// How its table is written.
    const HAND: Hand;
    /// Columns of words that must not be empty.
    const NEEDED: &'static [&'static str] = &[];

    /// The cells that hold something.
    fn cells(&self) -> Row<'_>;

    /// When it was taken, if the row says.
    fn at(&self) -> Option<&str> {
        None
    }
}

fn text<'a>(name: &'static str, text: &'a str) -> Option<(&'static str, Cell<'a>)> {
    (!text.is_empty()).then(|| (name, Cell::Text(text.into())))
}

fn words<'a>(name: &'static str, words: &'a Option<String>) -> Option<(&'static str, Cell<'a>)> {
    text(name, words.as_deref()?)
}

fn number<'a>(name: &'static str, number: &'a Number) -> Option<(&'static str, Cell<'a>)> {
    Some((name, Cell::Number(number.text())))
}

fn given<'a>(name: &'static str, value: &'a Option<Number>) -> Option<(&'static str, Cell<'a>)> {
    number(name, value.as_ref()?)
}

fn grade(grade: Option<Grade>) -> Option<(&'static str, Cell<'static>)> {
    let word = match grade? {
        Grade::Measured => "measured",
        Grade::Seen => "seen",
        Grade::Photographed => "photographed",
        Grade::Stated => "stated",
    };
    text("grade", word)
}

impl ToRow for ReadingRow {
    const NEEDED: &'static [&'static str] = &["hold_point", "detail", "quantity"];
    const HAND: Hand = Hand {
        columns: &["hold_point", "detail", "quantity", "value", "unit", "datum", "u", "plus_minus", "grade", "by", "at"],
        levels: false,
    };

    fn cells(&self) -> Row<'_> {
        let cells = [
            text("hold_point", &self.hold_point),
            text("detail", &self.detail),
            text("quantity", &self.quantity),
            number("value", &self.value),
            words("unit", &self.unit),
            words("datum", &self.datum),
            given("u", &self.u),
            given("plus_minus", &self.plus_minus),
            grade(self.grade),
            words("by", &self.by),
            words("at", &self.at),
        ];
        cells.into_iter().flatten().collect()
    }

    fn at(&self) -> Option<&str> {
        self.at.as_deref()
    }
}

impl ToRow for ClimateRow {
    const NEEDED: &'static [&'static str] = &["hold_point"];
    const HAND: Hand = Hand { columns: &["hold_point", "what", "detail", "at", "air_c", "rh", "surface_c"], levels: false };

    fn cells(&self) -> Row<'_> {
        let cells = [
            text("hold_point", &self.hold_point),
            words("what", &self.what),
            words("detail", &self.detail),
            words("at", &self.at),
            number("air_c", &self.air_c),
            number("rh", &self.rh),
            number("surface_c", &self.surface_c),
        ];
        cells.into_iter().flatten().collect()
    }

    fn at(&self) -> Option<&str> {
        self.at.as_deref()
    }
}

impl ToRow for GradientRow {
    const HAND: Hand = Hand {
        columns: &["name", "x_mm", "y_mm", "toward_deg", "fall_percent", "base_mm", "u_percent", "reversed_percent"],
        levels: false,
    };

    fn cells(&self) -> Row<'_> {
        let cells = [
            words("name", &self.name),
            number("x_mm", &self.x_mm),
            number("y_mm", &self.y_mm),
            number("toward_deg", &self.toward_deg),
            number("fall_percent", &self.fall_percent),
            number("base_mm", &self.base_mm),
            given("u_percent", &self.u_percent),
            given("reversed_percent", &self.reversed_percent),
        ];
        cells.into_iter().flatten().collect()
    }
}

impl ToRow for FilmRow {
    const HAND: Hand = Hand { columns: &crate::film::COLUMNS, levels: false };

    fn cells(&self) -> Row<'_> {
        let layer = match self.layer {
            MembraneLayer::UnderScreed => "under-screed",
            MembraneLayer::OverScreed => "over-screed",
        };
        let kind = self.kind.map(|kind| match kind {
            Kind::Wet => "wet",
            Kind::Dry => "dry",
        });
        let tool = self.tool.map(|tool| match tool {
            Tool::Comb => "comb",
            Tool::Gauge => "gauge",
            Tool::CutOut => "cut-out",
        });
        let cells = [
            text("layer", layer),
            words("detail", &self.detail),
            words("face", &self.face),
            given("x_mm", &self.x_mm),
            given("y_mm", &self.y_mm),
            text("kind", kind.unwrap_or_default()),
            given("coat", &self.coat),
            text("tool", tool.unwrap_or_default()),
            given("lo_um", &self.lo_um),
            given("hi_um", &self.hi_um),
            given("value_um", &self.value_um),
            given("u_um", &self.u_um),
            given("plus_minus_um", &self.plus_minus_um),
            words("spot", &self.spot),
            words("cut_out", &self.cut_out),
            grade(self.grade),
            words("by", &self.by),
            words("at", &self.at),
        ];
        cells.into_iter().flatten().collect()
    }

    fn at(&self) -> Option<&str> {
        self.at.as_deref()
    }
}

impl ToRow for LevelRow {
    const HAND: Hand = Hand { columns: &["name", "x_mm", "y_mm", "level_mm", "staff_mm", "station", "known_mm", "u_mm"], levels: true };

    fn cells(&self) -> Row<'_> {
        let cells = [
            words("name", &self.name),
            given("x_mm", &self.x_mm),
            given("y_mm", &self.y_mm),
            given("level_mm", &self.level_mm),
            given("staff_mm", &self.staff_mm),
            words("station", &self.station),
            given("known_mm", &self.known_mm),
            given("u_mm", &self.u_mm),
        ];
        cells.into_iter().flatten().collect()
    }
}
