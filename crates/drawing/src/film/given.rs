//! What the drawing of a film is given.

use crate::Mark;
use measure::PointMm;
use room::register::{Detail, Face};

/// The film of one membrane and what was made of it.
#[derive(Clone, Copy)]
pub struct FilmOnRoom<'a> {
    /// Root of the ids in the drawing: "film-over-screed".
    pub id: &'a str,
    /// Which film: "upper membrane, dry film".
    pub words: &'a str,
    /// What is asked of the dry film: "at least 1000 µm asked as a mean and 800 µm everywhere"; empty where nothing is.
    pub asked: &'a str,
    /// What a reading is held against, where something is asked.
    pub limit_um: Option<f64>,
    /// The readings.
    pub readings: &'a [FilmDot<'a>],
    /// Kinds of place that were judged together, in the order they are lettered.
    pub strata: &'a [FilmStratum<'a>],
    /// The film between the readings, face by face; empty where there are too few of them.
    pub map: &'a [FilmGrid<'a>],
    /// What to know of it.
    pub notes: &'a [String],
}

/// A reading at its place.
#[derive(Clone, Copy, Debug)]
pub struct FilmDot<'a> {
    /// The detail it was read at.
    pub detail: &'a Detail,
    /// Where on which face; `None` when only the detail is known.
    pub at_mm: Option<(&'a Face, PointMm)>,
    /// What was read, wet or dry.
    pub um: FilmUm,
    /// How that stands to the limit.
    pub stands: Stands,
    /// Name of the cut-out it was read at.
    pub cut_out: Option<&'a str>,
}

/// What a reading says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FilmUm {
    /// A gauge, a coupon.
    Value(f64),
    /// A comb: the last tooth that was wetted and the next that was dry, where there was one.
    Between(f64, Option<f64>),
}

/// How a reading by itself stands to the limit. The verdict is the stratum's.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stands {
    /// Left out of the judgement.
    NotCounted,
    /// Read wet: it counts for its stratum, and is not by itself held against a limit of dry film.
    Wet,
    /// At the limit or over it, or nothing is asked.
    Reaches,
    /// It may lie on either side of the limit: a bracket about it, a value too near to it.
    Near,
    /// Shown to be below the limit.
    Short,
}

impl Stands {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Self::NotCounted => "not counted",
            Self::Wet => "read wet: counts with its kind of place, not by itself",
            Self::Reaches => "reaches the limit",
            Self::Near => "may lie on either side of the limit",
            Self::Short => "below the limit",
        }
    }
}

/// Places judged together.
#[derive(Clone, Copy, Debug)]
pub struct FilmStratum<'a> {
    /// Which places: "floor field, 12 readings".
    pub words: &'a str,
    /// Their details.
    pub details: &'a [&'a Detail],
    /// Mean, and the bounds between which it lies to 95 %; `None` where nothing was read.
    pub mean_um: Option<[f64; 3]>,
    /// The verdict.
    pub mark: Mark,
    /// Probability that one coat is there where more are due.
    pub prob_one_coat_short: Option<f64>,
}

/// The film of one face on a square grid, row by row from the lowest y; `None` where there is none.
#[derive(Clone, Copy, Debug)]
pub struct FilmGrid<'a> {
    /// Which face.
    pub face: &'a Face,
    /// Centre of the first cell, in the face's coordinates.
    pub first_mm: PointMm,
    /// Side of a cell.
    pub cell_mm: f64,
    /// Cells along x.
    pub nx: usize,
    /// Cells along y.
    pub ny: usize,
    /// Estimate for each cell.
    pub um: &'a [Option<f64>],
    /// Probability that it is below the limit, for each cell.
    pub prob_below: &'a [Option<f64>],
}
