//! The plan's place of every pixel, from points known in both.

use measure::math;

/// A point of the photograph and its place on the plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pair {
    /// Pixel: x to the right, y down, the centre of the first pixel at (0, 0).
    pub px: [f64; 2],
    /// Place on the plan, millimetres.
    pub plan_mm: [f64; 2],
}

/// A projective map of one plane onto another, in homogeneous coordinates, row by row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Homography(pub [[f64; 3]; 3]);

/// Why points give no map.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refused {
    /// Fewer than four.
    TooFew,
    /// On one line, or all but one of them, or one upon another.
    Collinear,
    /// No camera sees them so: some would lie behind it. Usually two points are swapped.
    Crossed,
}

/// Below this share of the largest, a singular value (squared) is none: with coordinates scaled to unit size it stands for
/// points within about a thousandth of a line.
const NONE: f64 = 1e-7;

impl Homography {
    /// The pixel of each place of the plan: least squares over four or more points by the direct linear transform with
    /// normalised coordinates (Hartley and Zisserman, *Multiple View Geometry*, 2nd edition, algorithm 4.2).
    ///
    /// Exact for four points; for more, what is left over is to be looked at with [`Homography::at`].
    pub fn px_from_plan(pairs: &[Pair]) -> Result<Self, Refused> {
        if pairs.len() < 4 {
            return Err(Refused::TooFew);
        }
        let from = Scaling::of(pairs.iter().map(|p| p.plan_mm)).ok_or(Refused::Collinear)?;
        let to = Scaling::of(pairs.iter().map(|p| p.px)).ok_or(Refused::Collinear)?;
        let mut normal = [[0.0; 9]; 9];
        for pair in pairs {
            let [x, y] = from.apply(pair.plan_mm);
            let [u, v] = to.apply(pair.px);
            add_outer(&mut normal, [0.0, 0.0, 0.0, -x, -y, -1.0, v * x, v * y, v]);
            add_outer(&mut normal, [x, y, 1.0, 0.0, 0.0, 0.0, -u * x, -u * y, -u]);
        }
        let (values, vectors) = eigen(normal);
        let mut order: Vec<usize> = (0..9).collect();
        order.sort_by(|&a, &b| values[a].total_cmp(&values[b]));
        if values[order[1]] <= NONE * values[order[8]] {
            return Err(Refused::Collinear);
        }
        let h: Vec<f64> = (0..9).map(|row| vectors[row][order[0]]).collect();
        let unit = [[h[0], h[1], h[2]], [h[3], h[4], h[5]], [h[6], h[7], h[8]]];
        if determinant(&unit).abs() < 1e-6 {
            return Err(Refused::Collinear);
        }
        let mut map = Self(product(&to.undo(), &product(&unit, &from.matrix())));
        let depths: Vec<f64> = pairs.iter().map(|p| map.depth(p.plan_mm)).collect();
        if depths.iter().any(|d| d.signum() != depths[0].signum() || *d == 0.0) {
            return Err(Refused::Crossed);
        }
        map.scale(1.0 / depths[0]);
        Ok(map)
    }

    /// The point's image; `None` where it lies on the horizon or beyond.
    pub fn at(&self, point: [f64; 2]) -> Option<[f64; 2]> {
        let image = self.at_or_nan(point);
        (!image[0].is_nan()).then_some(image)
    }

    /// The same without a branch: no numbers on the horizon or beyond.
    pub(crate) fn at_or_nan(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let w = self.depth([x, y]);
        let by = if w > 1e-9 { 1.0 / w } else { f64::NAN };
        let row = |r: usize| (self.0[r][0] * x + self.0[r][1] * y + self.0[r][2]) * by;
        [row(0), row(1)]
    }

    /// How far before the horizon a point lies; 1 at the first reference point.
    fn depth(&self, [x, y]: [f64; 2]) -> f64 {
        self.0[2][0] * x + self.0[2][1] * y + self.0[2][2]
    }

    fn scale(&mut self, by: f64) {
        self.0.iter_mut().flatten().for_each(|h| *h *= by);
    }

    /// The way back.
    pub fn inverse(&self) -> Self {
        let m = &self.0;
        let cofactor = |r: usize, c: usize| {
            let (r1, r2, c1, c2) = ((r + 1) % 3, (r + 2) % 3, (c + 1) % 3, (c + 2) % 3);
            m[r1][c1] * m[r2][c2] - m[r1][c2] * m[r2][c1]
        };
        let det = determinant(m);
        Self(std::array::from_fn(|r| std::array::from_fn(|c| cofactor(c, r) / det)))
    }

    /// Square units of the image for one square unit at this point, negative where the map mirrors.
    pub fn area_scale(&self, point: [f64; 2]) -> f64 {
        let w = self.depth(point);
        determinant(&self.0) / (w * w * w)
    }
}

/// Moves points to their centroid and to a mean distance of sqrt 2.
struct Scaling {
    centre: [f64; 2],
    by: f64,
}

impl Scaling {
    fn of(points: impl Iterator<Item = [f64; 2]> + Clone) -> Option<Self> {
        let n = points.clone().count() as f64;
        let sum = points.clone().fold([0.0, 0.0], |s, p| [s[0] + p[0], s[1] + p[1]]);
        let centre = [sum[0] / n, sum[1] / n];
        let mean = points.map(|p| math::hypot(p[0] - centre[0], p[1] - centre[1])).sum::<f64>() / n;
        let by = std::f64::consts::SQRT_2 / mean;
        by.is_finite().then_some(Self { centre, by })
    }

    fn apply(&self, p: [f64; 2]) -> [f64; 2] {
        [(p[0] - self.centre[0]) * self.by, (p[1] - self.centre[1]) * self.by]
    }

    fn matrix(&self) -> [[f64; 3]; 3] {
        [[self.by, 0.0, -self.by * self.centre[0]], [0.0, self.by, -self.by * self.centre[1]], [0.0, 0.0, 1.0]]
    }

    fn undo(&self) -> [[f64; 3]; 3] {
        [[1.0 / self.by, 0.0, self.centre[0]], [0.0, 1.0 / self.by, self.centre[1]], [0.0, 0.0, 1.0]]
    }
}

fn add_outer(normal: &mut [[f64; 9]; 9], row: [f64; 9]) {
    for i in 0..9 {
        for j in 0..9 {
            normal[i][j] += row[i] * row[j];
        }
    }
}

fn product(a: &[[f64; 3]; 3], b: &[[f64; 3]; 3]) -> [[f64; 3]; 3] {
    std::array::from_fn(|r| std::array::from_fn(|c| (0..3).map(|k| a[r][k] * b[k][c]).sum()))
}

fn determinant(m: &[[f64; 3]; 3]) -> f64 {
    (0..3).map(|c| m[0][c] * (m[1][(c + 1) % 3] * m[2][(c + 2) % 3] - m[1][(c + 2) % 3] * m[2][(c + 1) % 3])).sum()
}

/// Eigenvalues of a symmetric matrix, and eigenvectors in columns, by Jacobi's rotations.
fn eigen<const N: usize>(mut a: [[f64; N]; N]) -> ([f64; N], [[f64; N]; N]) {
    let mut vectors: [[f64; N]; N] = std::array::from_fn(|i| std::array::from_fn(|j| f64::from(u8::from(i == j))));
    for _sweep in 0..60 {
        let off: f64 = (0..N).flat_map(|p| (0..p).map(move |q| (p, q))).map(|(p, q)| math::sq(a[p][q])).sum();
        let on: f64 = (0..N).map(|p| math::sq(a[p][p])).sum();
        if off <= 1e-32 * on {
            break;
        }
        for p in 0..N {
            for q in p + 1..N {
                if a[p][q] != 0.0 {
                    rotate(&mut a, &mut vectors, p, q);
                }
            }
        }
    }
    (std::array::from_fn(|i| a[i][i]), vectors)
}

fn rotate<const N: usize>(a: &mut [[f64; N]; N], vectors: &mut [[f64; N]; N], p: usize, q: usize) {
    let theta = (a[q][q] - a[p][p]) / (2.0 * a[p][q]);
    let t = if theta >= 0.0 { 1.0 } else { -1.0 } / (theta.abs() + (theta * theta + 1.0).sqrt());
    let c = 1.0 / (t * t + 1.0).sqrt();
    let s = t * c;
    for row in a.iter_mut().chain(vectors.iter_mut()) {
        let (left, right) = (row[p], row[q]);
        row[p] = c * left - s * right;
        row[q] = s * left + c * right;
    }
    let (upper, lower) = (a[p], a[q]);
    a[p] = std::array::from_fn(|i| c * upper[i] - s * lower[i]);
    a[q] = std::array::from_fn(|i| s * upper[i] + c * lower[i]);
}
