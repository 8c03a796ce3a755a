//! Drawings of a room as SVG text: its details by verdict on the unfolded room, the falls of its floor, its ponds, the water
//! its details see, the film of its membranes, what each coat covers, which way its marks run.
//!
//! Text out, no files. The crate judges nothing: verdicts, numbers and words come in with a [`Scene`]. A sheet is A4, lying or
//! standing as the room fits best, to a scale that stands on it; letters are at least 3.2 mm, nothing is told by colour
//! alone. The same scene gives the same bytes.

mod coats;
mod contour;
mod details;
mod exposure;
mod falls;
mod film;
mod floor;
mod ink;
mod net;
mod page;
mod plan;
mod ponds;
mod scene;
mod sheet;
mod signs;
mod slope;
mod strokes;
mod svg;
mod text;

pub use coats::{CoatLaid, CoatWay, CoatsOnRoom, coats};
pub use details::{details, details_list};
pub use exposure::water;
pub use falls::falls;
pub use film::{FilmDot, FilmGrid, FilmOnRoom, FilmStratum, FilmUm, Stands, film};
pub use ponds::ponds;
pub use scene::{Entry, FloorPart, Mark, MarkedDetail, PondsOnFloor, Reading, Scene, SurfaceOnFloor};
pub use strokes::{StrokeTile, StrokesOnRoom, strokes};
