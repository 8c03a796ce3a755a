//! A field given face by face, laid on the unfolded room so that its lines run on over every edge at which two faces lie
//! against each other.
//!
//! All faces share one lattice of the drawing. A face's field goes a node beyond its edge. Beyond the centres of its outermost
//! cells its values run straight to those of the neighbour; so two neighbours cut the squares along their edge alike.

use super::FilmGrid;
use crate::contour::Field;
use measure::PointMm;
use room::geometry::{contains, distance_mm, extent};
use room::register::Face;
use room::unfold::{FaceOnSheet, Unfolded, seams};

/// Most nodes of a drawing: finer than a pen.
const NODES: f64 = 250_000.0;
/// The lattice is so much finer than the grids, so that turned faces keep their edges.
const FINER: f64 = 2.0;
/// Cells a face's own values reach beyond the centres of its outermost ones: to its edge, and a node or two further.
const HALF_CELL: f64 = 0.55;
const BESIDE_CELLS: f64 = 1.6;
/// Ends of an edge this near to each other on the drawing are one place.
const SAME_MM: f64 = 0.1;

/// One face's part of the drawing.
pub struct Part {
    /// Outline of the face and what is cut out of it.
    pub rings: Vec<Vec<PointMm>>,
    /// The field in the coordinates of the drawing.
    pub field: Field,
}

/// The parts of a field on the drawing.
pub fn parts(net: &Unfolded, grids: &[FilmGrid], values: impl for<'a> Fn(&FilmGrid<'a>) -> &'a [Option<f64>]) -> Vec<Part> {
    let given: Vec<Given> = grids
        .iter()
        .filter(|grid| grid.cell_mm.is_finite() && grid.cell_mm > 0.0 && values(grid).len() == grid.nx * grid.ny && grid.nx * grid.ny > 0)
        .filter_map(|grid| Some(Given { grid: *grid, values: values(grid), on_sheet: net.face(grid.face)? }))
        .collect();
    let Some([lo, hi]) = net.extent_mm() else { return Vec::new() };
    let finest = given.iter().map(|g| g.grid.cell_mm).fold(f64::INFINITY, f64::min) / FINER;
    let apart = finest.max(((hi[0] - lo[0]) * (hi[1] - lo[1]) / NODES).sqrt());
    let joined = joined(net);
    given.iter().map(|own| own.part(net, &given, &joined, apart)).collect()
}

struct Given<'a> {
    grid: FilmGrid<'a>,
    values: &'a [Option<f64>],
    on_sheet: &'a FaceOnSheet,
}

/// Pairs of faces that lie against each other on the drawing as they do in the room.
fn joined(net: &Unfolded) -> Vec<[Face; 2]> {
    let on_sheet = |face: &Face, line: [PointMm; 2]| line.map(|p| net.to_sheet(face, p).unwrap_or([f64::NAN; 2]));
    seams(net)
        .into_iter()
        .filter(|seam| {
            let (a, b) = (on_sheet(&seam.faces[0], seam.first_mm), on_sheet(&seam.faces[1], seam.second_mm));
            a.iter().zip(b).all(|(a, b)| distance_mm(*a, b) < SAME_MM)
        })
        .map(|seam| seam.faces)
        .collect()
}

impl Given<'_> {
    fn part(&self, net: &Unfolded, all: &[Given], joined: &[[Face; 2]], apart: f64) -> Part {
        let outline = &self.on_sheet.polygon_mm;
        let [lo, hi] = extent(outline).unwrap_or_default();
        let first = lo.map(|v| (v / apart).floor() - 1.0);
        let count = |k: usize| ((hi[k] / apart).ceil() + 1.0 - first[k]) as usize + 1;
        let (nx, ny) = (count(0), count(1));
        let beside: Vec<&Given> = all.iter().filter(|other| joined.iter().any(|pair| self.joins(other, pair))).collect();
        let at = |k: usize| [(first[0] + (k % nx) as f64) * apart, (first[1] + (k / nx) as f64) * apart];
        let values = (0..nx * ny)
            .map(|k| {
                let sheet = at(k);
                let reach = if contains(outline, sheet, 0.0) { HALF_CELL } else { BESIDE_CELLS };
                self.joined_value(net, sheet, reach, &beside)
            })
            .collect();
        let rings = std::iter::once(outline).chain(&self.on_sheet.holes_mm).cloned().collect();
        Part { rings, field: Field { x0_mm: first[0] * apart, y0_mm: first[1] * apart, cell_mm: apart, nx, ny, values } }
    }

    fn joins(&self, other: &Given, pair: &[Face; 2]) -> bool {
        let (own, others) = (&self.on_sheet.face, &other.on_sheet.face);
        [own, others] == [&pair[0], &pair[1]] || [others, own] == [&pair[0], &pair[1]]
    }

    /// The value at a place of the drawing; beyond the centres of the outermost cells on the way to the nearest neighbour's.
    fn joined_value(&self, net: &Unfolded, sheet: PointMm, reach: f64, beside: &[&Given]) -> f64 {
        let Some((own, outside)) = self.value(net, sheet, reach) else { return f64::NAN };
        if outside == 0.0 {
            return own;
        }
        let others = beside.iter().filter_map(|other| other.value(net, sheet, BESIDE_CELLS));
        match others.min_by(|a, b| a.1.total_cmp(&b.1)) {
            Some((other, off)) => (own * off + other * outside) / (outside + off),
            None => own,
        }
    }

    /// The value linear between the centres of cells, that of the outermost cells up to `reach` cells beyond their centres,
    /// and how far beyond it is; `None` further off and where the nearest cell has none.
    fn value(&self, net: &Unfolded, sheet: PointMm, reach: f64) -> Option<(f64, f64)> {
        let local = net.on_face(self.grid.face, sheet)?;
        let most = [self.grid.nx, self.grid.ny].map(|n| n as f64 - 1.0);
        let index: [f64; 2] = std::array::from_fn(|k| (local[k] - self.grid.first_mm[k]) / self.grid.cell_mm);
        if !(0..2).all(|k| index[k] >= -reach && index[k] <= most[k] + reach) {
            return None;
        }
        let held: [f64; 2] = std::array::from_fn(|k| index[k].clamp(0.0, most[k]));
        let of = |i: f64, j: f64| self.values[j as usize * self.grid.nx + i as usize].filter(|v| v.is_finite());
        of(held[0].round(), held[1].round())?;
        let low = held.map(f64::floor);
        let (mut sum, mut weights) = (0.0, 0.0);
        for [di, dj] in [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 1.0]] {
            let [i, j] = [low[0] + di, low[1] + dj];
            let weight = (1.0 - (held[0] - i).abs()) * (1.0 - (held[1] - j).abs());
            if weight > 0.0
                && let Some(value) = of(i, j)
            {
                sum += weight * value;
                weights += weight;
            }
        }
        Some((sum / weights, self.grid.cell_mm * distance_mm(index, held)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use room::Room;
    use serde_json::json;

    fn net() -> Unfolded {
        let room: Room = serde_json::from_value(json!({
            "format": "undertile room 1", "outline_mm": [[0, 0], [2000, 0], [2000, 1500], [0, 1500]], "height_mm": 1200
        }))
        .unwrap();
        Unfolded::new(&room)
    }

    fn grid<'a>(face: &'a Face, [w, h]: [f64; 2], values: &'a [Option<f64>]) -> FilmGrid<'a> {
        let (nx, ny) = ((w / 50.0) as usize, (h / 50.0) as usize);
        FilmGrid { face, first_mm: [25.0, 25.0], cell_mm: 50.0, nx, ny, um: values, prob_below: &[] }
    }

    fn cells([w, h]: [f64; 2], of: impl Fn(f64, f64) -> f64) -> Vec<Option<f64>> {
        let (nx, ny) = ((w / 50.0) as usize, (h / 50.0) as usize);
        (0..nx * ny).map(|k| Some(of(25.0 + 50.0 * (k % nx) as f64, 25.0 + 50.0 * (k / nx) as f64))).collect()
    }

    /// A film that is one plane over floor and first wall, which lies below the floor on the drawing: its lines leave the
    /// floor where they enter the wall.
    #[test]
    fn lines_run_on_over_an_edge() {
        let (floor, wall) = (Face::Floor, Face::Wall("w1".into()));
        let of = |x: f64, y: f64| x + 0.5 * y;
        let (on_floor, on_wall) = (cells([2000.0, 1500.0], of), cells([2000.0, 1200.0], |x, up| of(x, -up)));
        let grids = [grid(&floor, [2000.0, 1500.0], &on_floor), grid(&wall, [2000.0, 1200.0], &on_wall)];
        let parts = parts(&net(), &grids, |g| g.um);
        assert_eq!(parts.len(), 2);
        for level in [400.0, 1000.0, 1500.0] {
            for part in &parts {
                let lines = part.field.lines(level);
                assert!(!lines.is_empty(), "{level}");
                let off = lines.iter().flatten().filter(|p| p[1] > -1100.0 && p[1] < 1400.0 && p[0] > 100.0 && p[0] < 1900.0);
                let most = off.map(|p| (of(p[0], p[1]) - level).abs()).fold(0.0, f64::max);
                assert!(most < 1e-6, "{level}: off by {most}");
                assert!(lines.iter().flatten().any(|p| p[1].abs() < 20.0), "{level}: reaches the edge");
            }
        }
    }

    #[test]
    fn a_face_without_cells_of_a_value_stays_bare() {
        let floor = Face::Floor;
        let mut values = cells([2000.0, 1500.0], |_, _| 500.0);
        for k in 0..values.len() / 2 {
            values[k] = None;
        }
        let parts = parts(&net(), &[grid(&floor, [2000.0, 1500.0], &values)], |g| g.um);
        let field = &parts[0].field;
        let at = |x: f64, y: f64| {
            let (i, j) = (((x - field.x0_mm) / field.cell_mm) as usize, ((y - field.y0_mm) / field.cell_mm) as usize);
            field.values[j * field.nx + i]
        };
        assert!(at(1000.0, 300.0).is_nan() && at(1000.0, 1200.0) == 500.0);
    }

    #[test]
    fn grids_that_are_none_are_left_out() {
        let (floor, nowhere) = (Face::Floor, Face::Wall("nowhere".into()));
        let values = cells([2000.0, 1500.0], |_, _| 500.0);
        let good = grid(&floor, [2000.0, 1500.0], &values);
        for bad in [
            FilmGrid { face: &nowhere, ..good },
            FilmGrid { cell_mm: 0.0, ..good },
            FilmGrid { cell_mm: f64::NAN, ..good },
            FilmGrid { nx: 7, ..good },
            FilmGrid { nx: 0, ny: 0, um: &[], ..good },
        ] {
            assert!(parts(&net(), &[bad], |g| g.um).is_empty());
        }
    }
}
