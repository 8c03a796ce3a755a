//! Triangles laid on a grid.

use super::mesh::Mesh;
use super::{BETWEEN_LEVELS, Facet, Levels, NO_FACET, Surface, Vertex};
use crate::grid::Grid;
use crate::plan;
use measure::math::sq;
use measure::{PointMm, Problem, Problems};

/// A cell is floor when its centre lies inside the outline; each takes the height of the triangle it lies in.
pub fn lay(levels: &Levels, mesh: Mesh) -> Result<Surface, Problems> {
    let (mut grid, is_floor) = floor(&levels.outline_mm, levels.cell_mm);
    if !is_floor.contains(&true) {
        let right = "a side well under the room's narrowest part";
        return Err(Problem::at("surface.cell_mm", "no cell centre lies inside the outline", right).value(levels.cell_mm).into());
    }
    let mut facet = vec![NO_FACET; grid.len()];
    let mut z_mm = vec![f64::NAN; grid.len()];
    let mut u_mm = vec![f64::NAN; grid.len()];
    for (k, triangle) in mesh.facets.iter().enumerate() {
        let face = Face::new(triangle, &mesh.vertices);
        for_cells_in(&grid, face.corners.map(|c| c.at_mm), |cell, place| {
            if is_floor[cell] && facet[cell] == NO_FACET {
                facet[cell] = k as u32;
                (z_mm[cell], u_mm[cell]) = face.at(place);
            }
        });
    }
    for cell in (0..grid.len()).filter(|&cell| is_floor[cell] && facet[cell] == NO_FACET).collect::<Vec<_>>() {
        // A centre within rounding of an edge or an outline corner can fall between two triangles.
        let place = grid.centre_mm(cell);
        let nearest = nearest_facet(&mesh, place);
        facet[cell] = nearest as u32;
        (z_mm[cell], u_mm[cell]) = Face::new(&mesh.facets[nearest], &mesh.vertices).at(place);
    }
    grid.z_mm = z_mm;
    let extrapolated = facet.iter().map(|&k| k != NO_FACET && mesh.facets[k as usize].extrapolated).collect();
    Ok(Surface {
        grid,
        u_mm,
        extrapolated,
        facet,
        facets: mesh.facets,
        vertices: mesh.vertices,
        outline_mm: levels.outline_mm.clone(),
        assumed: levels.assumed.clone(),
    })
}

/// A floor of height 0.
pub fn flat(outline: &[PointMm], cell_mm: f64) -> Grid {
    let (mut grid, is_floor) = floor(outline, cell_mm);
    grid.z_mm = is_floor.into_iter().map(|floor| if floor { 0.0 } else { f64::NAN }).collect();
    grid
}

/// The grid over the outline's box, its heights still to come, and which cells have their centre inside the outline.
fn floor(outline: &[PointMm], cell_mm: f64) -> (Grid, Vec<bool>) {
    let (lo, hi) = plan::bounds(outline).expect("a checked outline has corners");
    // A side that is a whole number of cells must not gain one by rounding.
    let cells = |length: f64| ((length / cell_mm - 1e-9).ceil() as usize).max(1);
    let (nx, ny) = (cells(hi[0] - lo[0]), cells(hi[1] - lo[1]));
    let grid = Grid { x0_mm: lo[0] + cell_mm / 2.0, y0_mm: lo[1] + cell_mm / 2.0, cell_mm, nx, ny, z_mm: Vec::new() };
    let mut is_floor = vec![false; nx * ny];
    let mut crossings = Vec::new();
    for j in 0..ny {
        let y = grid.y0_mm + j as f64 * cell_mm;
        crossings.clear();
        crossings.extend(
            plan::edges(outline).filter(|(a, b)| (a[1] > y) != (b[1] > y)).map(|(a, b)| a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0])),
        );
        crossings.sort_by(f64::total_cmp);
        for span in crossings.chunks_exact(2) {
            let (first, last) = columns(&grid, span[0], span[1]);
            is_floor[j * nx + first.min(nx)..j * nx + last.min(nx).max(first.min(nx))].fill(true);
        }
    }
    (grid, is_floor)
}

/// The columns whose centre lies between two x, as a half-open range.
fn columns(grid: &Grid, from: f64, to: f64) -> (usize, usize) {
    let index = |x: f64| ((x - grid.x0_mm) / grid.cell_mm).clamp(-1.0, grid.nx as f64 + 1.0);
    (index(from).ceil().max(0.0) as usize, (index(to).floor() + 1.0).max(0.0) as usize)
}

/// Calls `visit` for each cell whose centre lies in a triangle, its edges included.
fn for_cells_in(grid: &Grid, [a, b, c]: [PointMm; 3], mut visit: impl FnMut(usize, PointMm)) {
    let row = |y: f64| ((y - grid.y0_mm) / grid.cell_mm).clamp(-1.0, grid.ny as f64);
    let low = a[1].min(b[1]).min(c[1]);
    let high = a[1].max(b[1]).max(c[1]);
    let slack = grid.cell_mm * 1e-9;
    for j in row(low - slack).ceil().max(0.0) as usize..(row(high + slack).floor() + 1.0).clamp(0.0, grid.ny as f64) as usize {
        let y = grid.y0_mm + j as f64 * grid.cell_mm;
        let (mut left, mut right) = (f64::INFINITY, f64::NEG_INFINITY);
        for (p, q) in [(a, b), (b, c), (c, a)] {
            let (p, q) = if p[1] <= q[1] { (p, q) } else { (q, p) };
            if y < p[1] - slack || y > q[1] + slack {
                continue;
            }
            if q[1] - p[1] <= slack {
                left = left.min(p[0].min(q[0]));
                right = right.max(p[0].max(q[0]));
            } else {
                let x = p[0] + ((y - p[1]) / (q[1] - p[1])).clamp(0.0, 1.0) * (q[0] - p[0]);
                left = left.min(x);
                right = right.max(x);
            }
        }
        let (first, last) = columns(grid, left - slack, right + slack);
        for i in first..last.min(grid.nx) {
            visit(j * grid.nx + i, [grid.x0_mm + i as f64 * grid.cell_mm, y]);
        }
    }
}

/// A triangle ready to say height and uncertainty at a place.
struct Face {
    corners: [Vertex; 3],
    gradient: [f64; 2],
    twice_area: f64,
}

impl Face {
    fn new(facet: &Facet, vertices: &[Vertex]) -> Self {
        let corners = facet.corners.map(|k| vertices[k]);
        let twice_area = plan::turn(corners[0].at_mm, corners[1].at_mm, corners[2].at_mm);
        Self { corners, gradient: facet.gradient, twice_area }
    }

    /// The uncertainties of the corners by their share, and what the floor may do between them.
    fn at(&self, p: PointMm) -> (f64, f64) {
        let [a, b, c] = self.corners;
        let z = a.z_mm + self.gradient[0] * (p[0] - a.at_mm[0]) + self.gradient[1] * (p[1] - a.at_mm[1]);
        let share_b = plan::turn(a.at_mm, p, c.at_mm) / self.twice_area;
        let share_c = plan::turn(a.at_mm, b.at_mm, p) / self.twice_area;
        let from_corners = sq((1.0 - share_b - share_c) * a.u_mm) + sq(share_b * b.u_mm) + sq(share_c * c.u_mm);
        let away2 = self.corners.iter().map(|v| sq(v.at_mm[0] - p[0]) + sq(v.at_mm[1] - p[1])).fold(f64::INFINITY, f64::min);
        (z, (from_corners + sq(BETWEEN_LEVELS) * away2).sqrt())
    }
}

fn nearest_facet(mesh: &Mesh, place: PointMm) -> usize {
    let away = |k: usize| {
        let [a, b, c] = mesh.facets[k].corners.map(|v| mesh.vertices[v].at_mm);
        [(a, b), (b, c), (c, a)].into_iter().map(|(a, b)| plan::nearest_on_segment(place, a, b).1).fold(f64::INFINITY, f64::min)
    };
    (0..mesh.facets.len()).min_by(|&a, &b| away(a).total_cmp(&away(b))).expect("a triangulation has triangles")
}
