//! Ordinary kriging: a value at every place from readings at some, with its variance.
//!
//! With C the covariances between readings, c those between a place and the readings, `L L' = C`, `v = L^-1 c`,
//! `a = L^-1 1`, `b = L^-1 z`:
//!
//! ```text
//! mean     = a.b / a.a
//! value    = mean + v.(b - mean a)
//! variance = c(0) - v.v + (1 - v.a)^2 / a.a
//! ```
//!
//! which is the ordinary kriging system solved by blocks (Cressie 1993, *Statistics for Spatial Data*, 3.2; from memory).
//! C is factored once; places are then worked off many at a time. Checked against PyKrige.

mod neighbours;
mod strips;
pub mod variogram;

use strips::Packed;

/// How alike two places are, by their distance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Model {
    /// The shape of the curve.
    pub kind: Kind,
    /// Partial sill: the variance that fades with distance.
    pub sill: f64,
    /// Distance beyond which readings say (almost) nothing of each other.
    pub range: f64,
    /// Variance that readings at one place have among themselves.
    pub nugget: f64,
}

/// The shape of a variogram.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// `sill (1.5 h/range - 0.5 (h/range)^3)`, flat beyond the range.
    Spherical,
    /// `sill (1 - exp(-3 h/range))`: 95 % of the sill at the range.
    Exponential,
}

/// What the nugget is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NuggetIs {
    /// Error of the readings: values and variances are of the field beneath, without it.
    Error,
    /// Part of the field: readings are met exactly, and places elsewhere carry it in their variance.
    Field,
}

/// A value with its variance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// The value.
    pub value: f64,
    /// Its variance.
    pub variance: f64,
}

/// Readings that cannot be told apart: no distance between them and no nugget.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Singular;

/// Places nearer than this share of the range are the same place.
pub(crate) const SAME_PLACE: f64 = 1e-13;

impl Model {
    /// Covariance at a distance, without the nugget.
    pub fn covariance(&self, distance: f64) -> f64 {
        let h = distance / self.range;
        match self.kind {
            Kind::Spherical if h < 1.0 => self.sill * (1.0 - h * (1.5 - 0.5 * h * h)),
            Kind::Spherical => 0.0,
            Kind::Exponential => self.sill * strips::exp_negative(-3.0 * h),
        }
    }

    /// The variogram at a distance above zero.
    pub fn variogram(&self, distance: f64) -> f64 {
        self.nugget + self.sill - self.covariance(distance)
    }

    /// Variance of the field at a place nobody read.
    pub fn at_rest(&self, nugget_is: NuggetIs) -> f64 {
        self.sill + if nugget_is == NuggetIs::Field { self.nugget } else { 0.0 }
    }
}

/// Readings made ready for any number of places.
pub struct Kriging {
    model: Model,
    nugget_is: NuggetIs,
    packed: Packed,
    /// a and b - mean a, as long as the packed rows.
    ones: Vec<f64>,
    residuals: Vec<f64>,
    mean: f64,
    ones2: f64,
    ridge: f64,
}

impl Kriging {
    /// Factors the covariances between readings; `distance(i, j)` is that between readings i and j.
    ///
    /// Where distances run over a folded surface the covariances need not be those of any field; then the least ridge that
    /// makes them so is added, up to a ten-thousandth of the sill, and told by [`Kriging::ridge`].
    pub fn new(values: &[f64], distance: impl Fn(usize, usize) -> f64, model: Model, nugget_is: NuggetIs) -> Result<Self, Singular> {
        let n = values.len();
        let mut covariance = vec![0.0; n * n];
        for i in 0..n {
            covariance[i * n + i] = model.sill + model.nugget;
            for j in 0..i {
                let h = distance(i, j);
                let same = nugget_is == NuggetIs::Field && h <= SAME_PLACE * model.range;
                covariance[i * n + j] = model.covariance(h) + if same { model.nugget } else { 0.0 };
            }
        }
        for ridge in [0.0, 1e-10, 1e-8, 1e-6, 1e-4] {
            let mut factor = covariance.clone();
            let ridge = ridge * model.sill;
            (0..n).for_each(|i| factor[i * n + i] += ridge);
            if factor_in_place(&mut factor, n).is_ok() {
                return Ok(Self::from_factor(&factor, values, model, nugget_is, ridge));
            }
        }
        Err(Singular)
    }

    fn from_factor(factor: &[f64], values: &[f64], model: Model, nugget_is: NuggetIs, ridge: f64) -> Self {
        let n = values.len();
        let mut ones = solve(factor, vec![1.0; n]);
        let solved = solve(factor, values.to_vec());
        let ones2: f64 = ones.iter().map(|a| a * a).sum();
        let mean = ones.iter().zip(&solved).map(|(a, b)| a * b).sum::<f64>() / ones2;
        let mut residuals: Vec<f64> = solved.iter().zip(&ones).map(|(b, a)| b - mean * a).collect();
        let packed = Packed::new(factor, n);
        ones.resize(packed.rows(), 0.0);
        residuals.resize(packed.rows(), 0.0);
        Self { model, nugget_is, packed, ones, residuals, mean, ones2, ridge }
    }

    /// The best estimate of the mean of the field.
    pub fn mean(&self) -> f64 {
        self.mean
    }

    /// What was added to the variance of every reading to make the covariances those of a field; usually 0.
    pub fn ridge(&self) -> f64 {
        self.ridge
    }

    /// Values at places on a plane, the readings' places given as they were read.
    pub fn on_plane(&self, readings: &[[f64; 2]], places: &[[f64; 2]]) -> Vec<Estimate> {
        self.packed.estimate(self, strips::Distances::Plane { readings, places }, places.len())
    }

    /// Values at `count` places; `distance(place, reading)`.
    pub fn at(&self, count: usize, distance: &(dyn Fn(usize, usize) -> f64 + Sync)) -> Vec<Estimate> {
        self.packed.estimate(self, strips::Distances::Given(distance), count)
    }
}

/// Values at places on a plane, each from its `count` nearest readings only: for readings too many to factor together. The
/// memory needed does not grow with readings times places. Another neighbourhood is another answer: a little less sure,
/// with small steps where the neighbours change.
pub fn by_neighbours(
    readings: &[[f64; 2]],
    values: &[f64],
    places: &[[f64; 2]],
    model: Model,
    nugget_is: NuggetIs,
    count: usize,
) -> Result<Vec<Estimate>, Singular> {
    neighbours::estimate(readings, values, places, model, nugget_is, count)
}

/// Lower triangle of `L` with `L L' = C`, row by row, in place of the lower triangle of C.
pub(crate) fn factor_in_place(c: &mut [f64], n: usize) -> Result<(), Singular> {
    for i in 0..n {
        let (above, from) = c.split_at_mut(i * n);
        let row = &mut from[..n];
        let before = row[i];
        for j in 0..i {
            let other = &above[j * n..j * n + j + 1];
            let sum = dot(&row[..j], &other[..j]);
            row[j] = (row[j] - sum) / other[j];
        }
        let rest = before - dot(&row[..i], &row[..i]);
        if rest.is_nan() || rest <= 1e-13 * before {
            return Err(Singular);
        }
        row[i] = rest.sqrt();
    }
    Ok(())
}

/// `L^-1 y`.
pub(crate) fn solve(factor: &[f64], mut y: Vec<f64>) -> Vec<f64> {
    let n = y.len();
    for i in 0..n {
        let sum = dot(&factor[i * n..i * n + i], &y[..i]);
        y[i] = (y[i] - sum) / factor[i * n + i];
    }
    y
}

/// Sum of products in eight lanes, in the same order on every machine.
pub(crate) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let (a8, b8) = (a.chunks_exact(8), b.chunks_exact(8));
    let rest: f64 = a8.remainder().iter().zip(b8.remainder()).map(|(a, b)| a * b).sum();
    let mut lanes = [0.0; 8];
    for (a, b) in a8.zip(b8) {
        for i in 0..8 {
            lanes[i] += a[i] * b[i];
        }
    }
    lanes.iter().sum::<f64>() + rest
}
