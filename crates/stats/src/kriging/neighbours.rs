//! Kriging from the nearest readings only.

use super::{Estimate, Model, NuggetIs, SAME_PLACE, Singular, dot, factor_in_place, solve};

/// Readings sorted into square cells, about two to a cell.
struct Cells {
    lo: [f64; 2],
    size: f64,
    columns: usize,
    rows: usize,
    /// Where each cell starts in `order`; one more than there are cells.
    starts: Vec<usize>,
    order: Vec<usize>,
}

impl Cells {
    fn new(readings: &[[f64; 2]]) -> Self {
        let lo = [0, 1].map(|k| readings.iter().map(|r| r[k]).fold(f64::INFINITY, f64::min));
        let hi = [0, 1].map(|k| readings.iter().map(|r| r[k]).fold(f64::NEG_INFINITY, f64::max));
        let (w, h) = (hi[0] - lo[0], hi[1] - lo[1]);
        let size = (w * h * 2.0 / readings.len() as f64).sqrt().max(w.max(h) / (readings.len() as f64 / 2.0).max(1.0)).max(1e-9);
        let (columns, rows) = ((w / size) as usize + 1, (h / size) as usize + 1);
        let mut cells = Self { lo, size, columns, rows, starts: vec![0; columns * rows + 1], order: vec![0; readings.len()] };
        let own: Vec<usize> = readings.iter().map(|r| cells.cell(*r)).collect();
        own.iter().for_each(|c| cells.starts[c + 1] += 1);
        (0..columns * rows).for_each(|c| cells.starts[c + 1] += cells.starts[c]);
        let mut next = cells.starts.clone();
        for (i, c) in own.into_iter().enumerate() {
            cells.order[next[c]] = i;
            next[c] += 1;
        }
        cells
    }

    fn column_row(&self, p: [f64; 2]) -> [i64; 2] {
        [((p[0] - self.lo[0]) / self.size).floor(), ((p[1] - self.lo[1]) / self.size).floor()].map(|x| x as i64)
    }

    fn cell(&self, p: [f64; 2]) -> usize {
        let [c, r] = self.column_row(p);
        (r.clamp(0, self.rows as i64 - 1) as usize) * self.columns + c.clamp(0, self.columns as i64 - 1) as usize
    }

    /// The `count` readings nearest to a place with their squared distances, nearest first; ties by number.
    fn nearest(&self, readings: &[[f64; 2]], p: [f64; 2], count: usize, found: &mut Vec<(f64, usize)>) {
        found.clear();
        let [column, row] = self.column_row(p);
        let (column, row) = (column.clamp(0, self.columns as i64 - 1), row.clamp(0, self.rows as i64 - 1));
        for ring in 0..=(self.columns.max(self.rows) as i64) {
            self.ring(column, row, ring, |i| {
                let (dx, dy) = (readings[i][0] - p[0], readings[i][1] - p[1]);
                found.push((dx * dx + dy * dy, i));
            });
            if found.len() >= count {
                found.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
                // A place beyond the readings lies outside its cell; then all further rings may still hold nearer ones.
                let reach = self.reach(p, column, row, ring);
                if found[count - 1].0 <= reach * reach {
                    break;
                }
            }
        }
        found.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        found.truncate(count);
    }

    /// How far from the place everything is that lies outside the rings looked through; below 0 nothing is certain.
    fn reach(&self, p: [f64; 2], column: i64, row: i64, ring: i64) -> f64 {
        let side = |k: usize, at: i64| {
            let (low, high) = (self.lo[k] + (at - ring) as f64 * self.size, self.lo[k] + (at + ring + 1) as f64 * self.size);
            (p[k] - low).min(high - p[k])
        };
        side(0, column).min(side(1, row)).max(0.0)
    }

    fn ring(&self, column: i64, row: i64, ring: i64, mut each: impl FnMut(usize)) {
        for r in row - ring..=row + ring {
            if r < 0 || r >= self.rows as i64 {
                continue;
            }
            let whole = r == row - ring || r == row + ring;
            let step = if whole || ring == 0 { 1 } else { 2 * ring };
            for c in (column - ring..=column + ring).step_by(step as usize) {
                if (0..self.columns as i64).contains(&c) {
                    let cell = r as usize * self.columns + c as usize;
                    self.order[self.starts[cell]..self.starts[cell + 1]].iter().for_each(|i| each(*i));
                }
            }
        }
    }
}

pub(super) fn estimate(
    readings: &[[f64; 2]],
    values: &[f64],
    places: &[[f64; 2]],
    model: Model,
    nugget_is: NuggetIs,
    count: usize,
) -> Result<Vec<Estimate>, Singular> {
    if readings.is_empty() || count == 0 {
        return Err(Singular);
    }
    let cells = Cells::new(readings);
    let mut found = Vec::new();
    places
        .iter()
        .map(|p| {
            cells.nearest(readings, *p, count, &mut found);
            one(readings, values, &found, model, nugget_is)
        })
        .collect()
}

/// The kriging system of one place.
fn one(readings: &[[f64; 2]], values: &[f64], found: &[(f64, usize)], model: Model, nugget_is: NuggetIs) -> Result<Estimate, Singular> {
    let n = found.len();
    let at_reading = |h: f64| if nugget_is == NuggetIs::Field && h <= SAME_PLACE * model.range { model.nugget } else { 0.0 };
    let covariance = |h: f64| model.covariance(h) + at_reading(h);
    let mut factor = vec![0.0; n * n];
    for i in 0..n {
        let a = readings[found[i].1];
        for j in 0..i {
            let b = readings[found[j].1];
            let (dx, dy) = (a[0] - b[0], a[1] - b[1]);
            factor[i * n + j] = covariance((dx * dx + dy * dy).sqrt());
        }
        factor[i * n + i] = model.sill + model.nugget;
    }
    factor_in_place(&mut factor, n)?;
    let to_place = solve(&factor, found.iter().map(|f| covariance(f.0.sqrt())).collect());
    let ones = solve(&factor, vec![1.0; n]);
    let solved = solve(&factor, found.iter().map(|f| values[f.1]).collect());
    let ones2 = dot(&ones, &ones);
    let mean = dot(&ones, &solved) / ones2;
    let rest = 1.0 - dot(&to_place, &ones);
    Ok(Estimate {
        value: mean + dot(&to_place, &solved) - mean * dot(&to_place, &ones),
        variance: (model.at_rest(nugget_is) - dot(&to_place, &to_place) + rest * rest / ones2).max(0.0),
    })
}
