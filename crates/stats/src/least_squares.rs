//! Weighted linear least squares.

/// A linear model fitted to data: `y = X beta`.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// The coefficients.
    pub beta: Vec<f64>,
    /// `(X' W X)^-1`, row by row: the covariance of `beta` when the `u` given are right, and to be multiplied by
    /// [`Fit::scatter`] when only the residuals can tell.
    pub unscaled_cov: Vec<f64>,
    /// Observed minus fitted, in the unit of `y`.
    pub residuals: Vec<f64>,
    /// Leverage of each row, 0 to 1; they sum to the number of coefficients.
    pub leverages: Vec<f64>,
    /// Sum of squared weighted residuals.
    pub chi2: f64,
    /// Rows less coefficients.
    pub dof: usize,
}

impl Fit {
    /// `chi2 / dof`: the variance of one row of unit weight; `None` without a degree of freedom.
    pub fn scatter(&self) -> Option<f64> {
        (self.dof > 0).then(|| self.chi2 / self.dof as f64)
    }
}

/// Fewer independent rows than coefficients: some coefficient is not determined.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NotDetermined;

/// A column whose part independent of the ones before it is smaller than this, relative to its length, says nothing new.
const DEPENDENT: f64 = 1e-12;

/// Fits `y = X beta` by weighted least squares; `design` is X row by row, `u` the standard uncertainty of each `y`
/// (all 1 for ordinary least squares; none may be 0).
///
/// Householder reflections on the weighted, column-scaled matrix (Golub and Van Loan, *Matrix Computations*, section
/// 5.3; from memory), which keep the digits that the normal equations lose. Checked against the certified values of the
/// Longley set (NIST Statistical Reference Datasets) and against statsmodels.
///
/// # Panics
/// When the lengths of `design`, `y` and `u` do not belong together, or there is no column.
pub fn fit(design: &[f64], columns: usize, y: &[f64], u: &[f64]) -> Result<Fit, NotDetermined> {
    let rows = y.len();
    assert!(columns > 0 && design.len() == rows * columns && u.len() == rows, "design, y and u belong together");
    if rows < columns {
        return Err(NotDetermined);
    }
    let scale = column_lengths(design, columns, u);
    if scale.contains(&0.0) {
        return Err(NotDetermined);
    }
    let mut a: Vec<f64> = (0..rows * columns).map(|k| design[k] / (u[k / columns] * scale[k % columns])).collect();
    let mut b: Vec<f64> = y.iter().zip(u).map(|(y, u)| y / u).collect();
    triangularise(&mut a, columns, &mut b)?;

    let inverse = invert_upper(&a, columns);
    let beta: Vec<f64> = (0..columns).map(|i| dot(&inverse[i * columns..(i + 1) * columns], &b[..columns]) / scale[i]).collect();
    let unscaled_cov = (0..columns * columns)
        .map(|k| {
            let (i, j) = (k / columns, k % columns);
            dot(&inverse[i * columns..(i + 1) * columns], &inverse[j * columns..(j + 1) * columns]) / (scale[i] * scale[j])
        })
        .collect();
    let residuals: Vec<f64> = (0..rows).map(|r| y[r] - dot(&design[r * columns..(r + 1) * columns], &beta)).collect();
    let chi2 = residuals.iter().zip(u).map(|(e, u)| (e / u) * (e / u)).sum();
    let leverages = (0..rows).map(|r| leverage(&design[r * columns..(r + 1) * columns], &inverse, &scale, u[r])).collect();
    Ok(Fit { beta, unscaled_cov, residuals, leverages, chi2, dof: rows - columns })
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

fn column_lengths(design: &[f64], columns: usize, u: &[f64]) -> Vec<f64> {
    (0..columns).map(|c| u.iter().enumerate().map(|(r, u)| measure::math::sq(design[r * columns + c] / u)).sum::<f64>().sqrt()).collect()
}

/// Turns the matrix into its upper triangle in place, and the right-hand side with it.
fn triangularise(a: &mut [f64], columns: usize, b: &mut [f64]) -> Result<(), NotDetermined> {
    let rows = b.len();
    for c in 0..columns {
        let length = (c..rows).map(|r| measure::math::sq(a[r * columns + c])).sum::<f64>().sqrt();
        // Columns have length 1, so this is the share of the column that those before it do not explain.
        if length.is_nan() || length <= DEPENDENT {
            return Err(NotDetermined);
        }
        let pivot = if a[c * columns + c] > 0.0 { -length } else { length };
        let mut mirror: Vec<f64> = (c..rows).map(|r| a[r * columns + c]).collect();
        mirror[0] -= pivot;
        let half = dot(&mirror, &mirror) / 2.0;
        for k in c..columns {
            let along = (c..rows).map(|r| mirror[r - c] * a[r * columns + k]).sum::<f64>() / half;
            (c..rows).for_each(|r| a[r * columns + k] -= along * mirror[r - c]);
        }
        let along = dot(&mirror, &b[c..]) / half;
        (c..rows).for_each(|r| b[r] -= along * mirror[r - c]);
        a[c * columns + c] = pivot;
    }
    Ok(())
}

/// The inverse of the upper triangle, row by row.
fn invert_upper(a: &[f64], n: usize) -> Vec<f64> {
    let mut inverse = vec![0.0; n * n];
    for j in 0..n {
        inverse[j * n + j] = 1.0 / a[j * n + j];
        for i in (0..j).rev() {
            let sum: f64 = (i + 1..=j).map(|k| a[i * n + k] * inverse[k * n + j]).sum();
            inverse[i * n + j] = -sum / a[i * n + i];
        }
    }
    inverse
}

fn leverage(row: &[f64], inverse: &[f64], scale: &[f64], u: f64) -> f64 {
    let n = row.len();
    (0..n).map(|j| measure::math::sq((0..=j).map(|i| row[i] / (u * scale[i]) * inverse[i * n + j]).sum::<f64>())).sum()
}
