//! The triangulation.

use super::check::Places;
use super::extend::Extension;
use super::{BETWEEN_LEVELS, Facet, Levels, ON_LINE_MM, Vertex};
use crate::plan;
use measure::math::sq;
use measure::{PointMm, Problem, Problems};
use spade::{ConstrainedDelaunayTriangulation, HasPosition, Point2, Triangulation};

/// The triangles inside the outline, and their corners.
pub struct Mesh {
    pub vertices: Vec<Vertex>,
    pub facets: Vec<Facet>,
}

/// A corner as the triangulation sees it.
struct Corner {
    at: Point2<f64>,
    index: usize,
}

impl HasPosition for Corner {
    type Scalar = f64;
    fn position(&self) -> Point2<f64> {
        self.at
    }
}

/// Triangulates the levels alone, learns from that how the surface goes on to the outline, and triangulates levels,
/// breaklines and outline together.
pub fn build(levels: &Levels) -> Result<Mesh, Problems> {
    let bare = triangles(&levels.levels, Vec::new())?;
    let extension = Extension::new(&levels.levels, &bare);
    let mut mesh = Builder::new(&levels.levels);
    for line in &levels.breaklines_mm {
        mesh.breakline(line, &extension);
    }
    mesh.outline(&levels.outline_mm, &extension);
    let Builder { vertices, edges, .. } = mesh;
    let facets = triangles(&vertices, edges)?
        .into_iter()
        .filter(|corners| plan::contains(&levels.outline_mm, centroid(corners.map(|k| vertices[k].at_mm))))
        .map(|corners| facet(corners, &vertices))
        .collect();
    Ok(Mesh { vertices, facets })
}

fn triangles(vertices: &[Vertex], edges: Vec<[usize; 2]>) -> Result<Vec<[usize; 3]>, Problems> {
    let corners = vertices.iter().enumerate().map(|(index, v)| Corner { at: Point2::new(v.at_mm[0], v.at_mm[1]), index }).collect();
    // An edge that meets another away from a corner is left out: the checks leave only pieces within the tolerance of
    // being on a line, where it does not matter which side keeps the edge.
    let triangulation = ConstrainedDelaunayTriangulation::<Corner>::try_bulk_load_cdt(corners, edges, |_| ())
        .map_err(|error| Problem::at("surface.readings", format!("no triangulation: {error}"), "finite places of ordinary size"))?;
    let triangles: Vec<[usize; 3]> = triangulation.inner_faces().map(|face| face.vertices().map(|v| v.data().index)).collect();
    if triangles.is_empty() {
        return Err(
            Problem::at("surface.readings", "the levels stand on one line", "three or more levels that do not stand on one line").into()
        );
    }
    Ok(triangles)
}

fn centroid([a, b, c]: [PointMm; 3]) -> PointMm {
    [(a[0] + b[0] + c[0]) / 3.0, (a[1] + b[1] + c[1]) / 3.0]
}

fn facet(corners: [usize; 3], vertices: &[Vertex]) -> Facet {
    let [a, b, c] = corners.map(|k| vertices[k]);
    let twice_area = plan::turn(a.at_mm, b.at_mm, c.at_mm);
    let (zb, zc) = (b.z_mm - a.z_mm, c.z_mm - a.z_mm);
    let gx = (zb * (c.at_mm[1] - a.at_mm[1]) - zc * (b.at_mm[1] - a.at_mm[1])) / twice_area;
    let gy = (zc * (b.at_mm[0] - a.at_mm[0]) - zb * (c.at_mm[0] - a.at_mm[0])) / twice_area;
    Facet { corners, gradient: [gx, gy], extrapolated: a.extrapolated || b.extrapolated || c.extrapolated }
}

/// Levels, then points on breaklines and on the outline, and the edges to keep.
struct Builder {
    vertices: Vec<Vertex>,
    edges: Vec<[usize; 2]>,
    places: Places,
    levels: usize,
}

impl Builder {
    fn new(levels: &[Vertex]) -> Self {
        let mut places = Places::default();
        levels.iter().enumerate().for_each(|(k, l)| places.add(l.at_mm, k));
        Self { vertices: levels.to_vec(), edges: Vec::new(), places, levels: levels.len() }
    }

    /// The vertex at a place, made with `vertex` when there is none.
    fn vertex_at(&mut self, place: PointMm, vertex: impl FnOnce() -> Vertex) -> usize {
        if let Some(k) = self.places.find(place, &self.vertices) {
            return k;
        }
        self.places.add(place, self.vertices.len());
        self.vertices.push(vertex());
        self.vertices.len() - 1
    }

    /// Everything already placed that lies on a piece of line, with its distance along it.
    fn on_piece(&self, a: PointMm, b: PointMm) -> Vec<(f64, usize)> {
        let Some([dx, dy]) = plan::direction(a, b) else { return Vec::new() };
        let length = plan::distance(a, b);
        let along = |p: PointMm| (p[0] - a[0]) * dx + (p[1] - a[1]) * dy;
        self.vertices
            .iter()
            .enumerate()
            .filter(|(_, v)| plan::nearest_on_segment(v.at_mm, a, b).1 <= ON_LINE_MM)
            .map(|(k, v)| (along(v.at_mm).clamp(0.0, length), k))
            .collect()
    }

    /// A breakline runs through the levels on it; its own points take their height from the levels on the line before and
    /// after, or from the levels around when there are none.
    fn breakline(&mut self, line: &[PointMm], extension: &Extension) {
        let mut start = 0.0;
        let mut stations: Vec<(f64, usize)> = Vec::new(); // levels on the line, by distance along it
        let mut own: Vec<(f64, PointMm)> = vec![(0.0, line[0])];
        for piece in line.windows(2) {
            stations.extend(self.on_piece(piece[0], piece[1]).into_iter().map(|(s, k)| (start + s, k)));
            start += plan::distance(piece[0], piece[1]);
            own.push((start, piece[1]));
        }
        stations.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        stations.dedup_by_key(|s| s.1);
        let known = stations.clone();
        for (s, place) in own {
            let made = self.between(&known, s, place).unwrap_or_else(|| extension.at(place));
            stations.push((s, self.vertex_at(place, || made)));
        }
        self.keep_edges(stations);
    }

    /// Height on a breakline by straight interpolation between the levels on it; constant beyond the last of them.
    fn between(&self, known: &[(f64, usize)], s: f64, at_mm: PointMm) -> Option<Vertex> {
        let after = known.partition_point(|k| k.0 < s);
        let (s0, before) = *known.get(after.saturating_sub(1))?;
        let (s1, next) = known.get(after).copied().unwrap_or((s0, before));
        let (a, b) = (self.vertices[before], self.vertices[next]);
        let t = if s1 > s0 { ((s - s0) / (s1 - s0)).clamp(0.0, 1.0) } else { 0.0 };
        let away = (s - s0).abs().min((s1 - s).abs());
        let u_mm = (sq((1.0 - t) * a.u_mm) + sq(t * b.u_mm) + sq(BETWEEN_LEVELS * away)).sqrt();
        Some(Vertex { at_mm, z_mm: a.z_mm + t * (b.z_mm - a.z_mm), u_mm, extrapolated: a.extrapolated || b.extrapolated })
    }

    /// The outline: its corners, what already lies on it, and the foot of every level that stands close before a wall.
    fn outline(&mut self, outline: &[PointMm], extension: &Extension) {
        for (a, b) in plan::edges(outline) {
            let mut stations = self.on_piece(a, b);
            let Some([dx, dy]) = plan::direction(a, b) else { continue };
            let length = plan::distance(a, b);
            for level in 0..self.levels {
                let p = self.vertices[level].at_mm;
                let s = (p[0] - a[0]) * dx + (p[1] - a[1]) * dy;
                let foot = [a[0] + s * dx, a[1] + s * dy];
                let away = plan::distance(p, foot);
                let stands_before = s > ON_LINE_MM && s < length - ON_LINE_MM && away > ON_LINE_MM && away <= extension.reach(level);
                if stands_before && sees(outline, p, foot) {
                    stations.push((s, self.vertex_at(foot, || extension.at(foot))));
                }
            }
            for (s, corner) in [(0.0, a), (length, b)] {
                stations.push((s, self.vertex_at(corner, || extension.at(corner))));
            }
            self.keep_edges(stations);
        }
    }

    fn keep_edges(&mut self, mut stations: Vec<(f64, usize)>) {
        stations.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        stations.dedup_by_key(|s| s.1);
        self.edges.extend(stations.windows(2).map(|w| [w[0].1, w[1].1]).filter(|[a, b]| a != b));
    }
}

/// Whether the straight way from a level to its foot on a wall crosses no other wall.
fn sees(outline: &[PointMm], from: PointMm, foot: PointMm) -> bool {
    let short = [foot[0] + (from[0] - foot[0]) * 1e-3, foot[1] + (from[1] - foot[1]) * 1e-3];
    !plan::edges(outline).any(|(a, b)| plan::segments_meet(from, short, a, b))
}
