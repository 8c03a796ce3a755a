//! The bounds a quantity from outside must keep, defined once for checks, messages and tests.

/// A closed range a quantity from outside must lie in: one definition for checks, messages and tests.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// Least allowed.
    pub min: f64,
    /// Largest allowed.
    pub max: f64,
    /// Unit for the message.
    pub unit: &'static str,
}

impl Bounds {
    /// Whether the value is finite and inside.
    pub fn contains(&self, value: f64) -> bool {
        value.is_finite() && value >= self.min && value <= self.max
    }

    /// "between 0 and 50000 mm".
    pub fn words(&self) -> String {
        format!("between {} and {} {}", self.min, self.max, self.unit)
    }
}

/// A plan coordinate.
pub const PLAN_MM: Bounds = Bounds { min: -1.0e6, max: 1.0e6, unit: "mm" };
/// A level above or below the benchmark.
pub const LEVEL_MM: Bounds = Bounds { min: -1.0e5, max: 1.0e5, unit: "mm" };
/// Longest side of a room: 100 m. Larger is a slip of units.
pub const ROOM_SIDE_MM: Bounds = Bounds { min: 300.0, max: 100_000.0, unit: "mm" };
/// Height of a wall.
pub const WALL_HEIGHT_MM: Bounds = Bounds { min: 100.0, max: 20_000.0, unit: "mm" };
/// Thickness of a layer; a membrane has tenths of a millimetre.
pub const LAYER_MM: Bounds = Bounds { min: 0.0, max: 1_000.0, unit: "mm" };
/// Standard uncertainty of a level or length.
pub const U_MM: Bounds = Bounds { min: 0.0, max: 1_000.0, unit: "mm" };
/// Grid cell.
pub const CELL_MM: Bounds = Bounds { min: 0.1, max: 1_000.0, unit: "mm" };
/// Cells of one grid.
pub const GRID_CELLS: usize = 30_000_000;
/// Readings of one survey.
pub const READINGS: usize = 200_000;
/// Corners of one outline.
pub const CORNERS: usize = 1_000;
/// Bytes of one input document.
pub const DOCUMENT_BYTES: usize = 512 * 1024 * 1024;
/// A flow of water.
pub const FLOW_L_MIN: Bounds = Bounds { min: 0.0, max: 1_000.0, unit: "L/min" };
/// Air or surface temperature.
pub const TEMPERATURE_C: Bounds = Bounds { min: -60.0, max: 90.0, unit: "°C" };
/// Relative humidity as a share.
pub const RH: Bounds = Bounds { min: 0.0, max: 1.0, unit: "(a share; 65 % is 0.65)" };

/// A unit's name in data as people read it: `um` is "µm", every other stands for itself.
///
/// ```
/// assert_eq!([measure::bounds::unit_words("um"), measure::bounds::unit_words("mm")], ["µm", "mm"]);
/// ```
pub fn unit_words(unit: &str) -> &str {
    if unit == "um" { "µm" } else { unit }
}
