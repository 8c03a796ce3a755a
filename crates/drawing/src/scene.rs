//! What is drawn: a room, the verdicts on its details, a measured surface.

use measure::PointMm;
use room::Room;
use room::register::Detail;
use water::falls;
use water::grid::Grid;
use water::ponding::PondOut;

/// Everything a drawing may show. What is not known is left out, and the drawing says so.
#[derive(Clone, Copy)]
pub struct Scene<'a> {
    /// The room.
    pub room: &'a Room,
    /// Whose room: "Heron Row, 12, upstairs shower room".
    pub title: &'a str,
    /// Which hold point, of which day, which revision.
    pub subtitle: &'a str,
    /// Details of the register with what was made of them.
    pub details: &'a [MarkedDetail<'a>],
    /// What the reference numbers stand for, in the order it is listed.
    pub list: &'a [Entry<'a>],
    /// The measured floor.
    pub surface: Option<SurfaceOnFloor<'a>>,
    /// Sentences to stand below the list.
    pub notes: &'a [String],
}

/// How a detail stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Mark {
    /// Belongs to no line of this hold point.
    NotLookedAt,
    /// Conforms.
    Conforms,
    /// Departs from a rule, openly.
    Departure,
    /// Not shown.
    NotShown,
    /// Falls short.
    FallsShort,
}

impl Mark {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Self::NotLookedAt => "not part of this hold point",
            Self::Conforms => "conforms",
            Self::Departure => "departure",
            Self::NotShown => "not shown",
            Self::FallsShort => "falls short",
        }
    }
}

/// A detail with its mark.
#[derive(Clone, Copy, Debug)]
pub struct MarkedDetail<'a> {
    /// Which.
    pub detail: &'a Detail,
    /// How it stands; of several lines about it the worst.
    pub mark: Mark,
    /// Reference number of its entry in the list; several details may share one.
    pub number: Option<usize>,
    /// Water it sees, where that is known.
    pub litres_per_day: Option<f64>,
}

/// A line of the list beside the drawing.
#[derive(Clone, Debug)]
pub struct Entry<'a> {
    /// Reference number.
    pub number: usize,
    /// Its sign.
    pub mark: Mark,
    /// "wall-floor junction, return: no photograph".
    pub words: &'a str,
}

/// A measured floor and what was computed on it.
#[derive(Clone, Copy)]
pub struct SurfaceOnFloor<'a> {
    /// Which surface: "screed, 79 levels of 12 Feb".
    pub words: &'a str,
    /// The levels read.
    pub readings: &'a [Reading<'a>],
    /// What was asked of the falls: "1:80 to 1:50"; empty when nothing was.
    pub fall_limits: &'a str,
    /// The floor in the parts that were judged by themselves, cut at its steps.
    pub parts: &'a [FloorPart<'a>],
    /// Its ponds, where they were computed.
    pub ponds: Option<PondsOnFloor<'a>>,
}

/// A part of the floor without a step in it.
#[derive(Clone, Copy)]
pub struct FloorPart<'a> {
    /// Its heights.
    pub grid: &'a Grid,
    /// Cells beyond the outermost levels: one for each cell of `grid`, or none.
    pub extrapolated: &'a [bool],
    /// Its falls, computed with `drawing`.
    pub falls: Option<&'a falls::Output>,
}

/// Standing water on the whole floor.
#[derive(Clone, Copy)]
pub struct PondsOnFloor<'a> {
    /// Heights of the floor, water stops standing on it.
    pub grid: &'a Grid,
    /// Water level of each cell when it is full ([`water::fill::Filled::level_mm`]).
    pub level_mm: &'a [f64],
    /// Ponds, deepest first.
    pub ponds: &'a [PondOut],
    /// Ponds no deeper than this were left out.
    pub depth_ignored_mm: f64,
}

/// A spot level.
#[derive(Clone, Copy, Debug)]
pub struct Reading<'a> {
    /// Name of the point.
    pub name: &'a str,
    /// Place on plan.
    pub at_mm: PointMm,
    /// Height over the benchmark.
    pub z_mm: f64,
}
