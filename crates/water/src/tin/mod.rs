//! Spot levels inside an outline to a surface: a constrained Delaunay triangulation, laid on a grid.
//!
//! Between levels the surface is flat in each triangle and keeps the breaklines as edges. From the outermost levels to
//! the outline it goes on with the gradient found there (see `extend.rs`); what lies there is marked `extrapolated`, and its
//! uncertainty grows with the distance. A step (a set-down, a water stop) is entered as two breaklines, one along its top
//! and one along its foot, with levels on each.
//!
//! The uncertainty of a height has two parts: what the levels carry, and what the floor may do between them. For the
//! second, [`BETWEEN_LEVELS`] and [`BEYOND_LEVELS`] are common practice, no source.

mod check;
mod extend;
mod mesh;
mod raster;
mod trace;

pub use check::{Levels, U_SCREED_MM, U_TILE_MM, check};

use crate::grid::Grid;
use crate::surface::SurfaceIn;
use measure::{PointMm, Problems};

/// Side of a grid cell made from spot levels unless another is asked for.
pub const CELL_MM: f64 = 10.0;

/// How much a floor may depart from straight at a distance from the nearest level: standard uncertainty per distance,
/// 1.5 mm at 1 m. Common practice, no source.
pub const BETWEEN_LEVELS: f64 = 0.0015;

/// The same beyond the levels, where nothing holds the surface: 5 mm at 1 m. Common practice, no source.
pub const BEYOND_LEVELS: f64 = 0.005;

/// Places closer than this are the same place.
pub const SAME_PLACE_MM: f64 = 0.5;

/// What lies within this of a line lies on it.
pub const ON_LINE_MM: f64 = 1.0;

/// A measured surface, ready for every computation.
#[derive(Clone, Debug, PartialEq)]
pub struct Surface {
    /// Heights on cells.
    pub grid: Grid,
    /// Standard uncertainty of each cell's height; `NaN` outside the floor.
    pub u_mm: Vec<f64>,
    /// Cells that lie beyond the levels.
    pub extrapolated: Vec<bool>,
    /// Triangle of each cell, an index into `facets`; [`NO_FACET`] outside the floor. Empty for a grid from input.
    pub facet: Vec<u32>,
    /// The triangles. Empty for a grid from input.
    pub facets: Vec<Facet>,
    /// Corners of the triangles: the levels first and in their order, then points on breaklines and on the outline.
    pub vertices: Vec<Vertex>,
    /// Corners of the floor; empty for a grid from input that came without.
    pub outline_mm: Vec<PointMm>,
    /// What was assumed because the input did not say, one sentence each.
    pub assumed: Vec<String>,
}

impl Surface {
    /// Corners of the walls round the floor, counter-clockwise: the outline as given, or found from the cells of a grid.
    pub fn walls(&self) -> Vec<PointMm> {
        if self.outline_mm.is_empty() { trace::outline(&self.grid) } else { self.outline_mm.clone() }
    }
}

/// No triangle.
pub const NO_FACET: u32 = u32::MAX;

/// A corner of the triangulation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Vertex {
    /// Place.
    pub at_mm: PointMm,
    /// Height.
    pub z_mm: f64,
    /// Standard uncertainty of the height.
    pub u_mm: f64,
    /// Whether its height was carried on beyond the levels rather than read.
    pub extrapolated: bool,
}

/// A triangle of the surface.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Facet {
    /// Indices into the vertices, counter-clockwise.
    pub corners: [usize; 3],
    /// Rise per run along x and y.
    pub gradient: [f64; 2],
    /// Whether a corner lies beyond the levels.
    pub extrapolated: bool,
}

impl Facet {
    /// Standard uncertainty of the fall along a unit direction, from the uncertainty of the three corners.
    pub fn u_fall(&self, vertices: &[Vertex], [dx, dy]: PointMm) -> f64 {
        let [a, b, c] = self.corners.map(|k| vertices[k]);
        let twice_area = crate::plan::turn(a.at_mm, b.at_mm, c.at_mm);
        let share = |from: Vertex, to: Vertex, u: f64| {
            let across = (to.at_mm[0] - from.at_mm[0]) * dy - (to.at_mm[1] - from.at_mm[1]) * dx;
            measure::math::sq(across / twice_area * u)
        };
        (share(b, c, a.u_mm) + share(c, a, b.u_mm) + share(a, b, c.u_mm)).sqrt()
    }
}

/// A surface from input: spot levels are triangulated, a grid is taken as it stands. `cell_mm` stands in for the
/// surface's own.
///
/// # Errors
/// Everything wrong with the surface at once; see [`check`] and [`Grid::from_input`]; also fewer than three levels, or
/// levels that all stand on one line.
pub fn surface(input: &SurfaceIn, cell_mm: Option<f64>) -> Result<Surface, Problems> {
    if let Some(grid) = &input.grid {
        check::refuse_both(input)?;
        let outline_mm = check::outline_beside_grid(input)?;
        let u = check::grid_u(grid)?;
        let grid = Grid::from_input(grid, "surface.grid")?;
        let u_mm = grid.z_mm.iter().map(|z| if z.is_nan() { f64::NAN } else { u }).collect();
        let extrapolated = vec![false; grid.len()];
        let (facet, facets, vertices, assumed) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
        return Ok(Surface { grid, u_mm, extrapolated, facet, facets, vertices, outline_mm, assumed });
    }
    let levels = check(input, cell_mm)?;
    match levels.too_few() {
        None => levels.triangulate(),
        Some(why) => Err(measure::Problem::at("surface.readings", why, "three or more levels that do not stand on one line").into()),
    }
}

/// A level floor of height 0 inside an outline, for work on plan before there are levels.
pub(crate) fn flat(outline: &[PointMm], cell_mm: f64) -> Grid {
    raster::flat(outline, cell_mm)
}

impl Surface {
    /// Height of the surface at a place inside a floor cell: on the cell's triangle where there is one, else the cell's.
    pub fn height_at(&self, cell: usize, [x, y]: PointMm) -> f64 {
        let facet = self.facet.get(cell).filter(|facet| **facet != NO_FACET).and_then(|facet| self.facets.get(*facet as usize));
        facet.map_or(self.grid.z_mm[cell], |facet| {
            let corner = self.vertices[facet.corners[0]];
            corner.z_mm + facet.gradient[0] * (x - corner.at_mm[0]) + facet.gradient[1] * (y - corner.at_mm[1])
        })
    }
}

impl Levels {
    /// Triangulates the levels and lays the triangles on a grid.
    ///
    /// # Errors
    /// Fewer than three levels, or all on one line ([`Levels::too_few`] says so beforehand); a grid without a floor cell.
    pub fn triangulate(&self) -> Result<Surface, Problems> {
        let mesh = mesh::build(self)?;
        raster::lay(self, mesh)
    }
}
