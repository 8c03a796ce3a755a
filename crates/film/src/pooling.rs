//! Strata that borrow from each other.

use crate::likelihood::Column;
use measure::math;

/// The strata drawn from a common mean M with deviation tau, at one scatter.
pub(crate) struct Pooling<'a> {
    columns: &'a [Column],
    step: f64,
    /// Normal density of each whole distance in steps, summing to 1.
    kernel: Vec<f64>,
    /// Half the kernel's length.
    reach: i64,
    /// Step of the first node of M, and steps from node to node.
    first: i64,
    stride: i64,
    /// For each stratum, its likelihood averaged about each node of M.
    averages: Vec<Vec<f64>>,
}

impl<'a> Pooling<'a> {
    pub fn new(columns: &'a [Column], step: f64, tau: f64) -> Self {
        let reach = ((6.0 * tau / step).ceil() as i64).max(1);
        let mut kernel: Vec<f64> = (-reach..=reach).map(|d| math::exp(-0.5 * math::sq(d as f64 * step / tau))).collect();
        let total: f64 = kernel.iter().sum();
        kernel.iter_mut().for_each(|k| *k /= total);
        let root = (columns.len() as f64).sqrt();
        let stride = ((0.5 * tau / (root * step)).floor() as i64).max(1);
        let beyond = (5.0 * tau / (root * step)).ceil() as i64;
        let first = columns.iter().map(|c| c.first).min().unwrap_or(0) - beyond;
        let last = columns.iter().map(|c| c.first + c.like.len() as i64).max().unwrap_or(0) + beyond;
        let nodes = ((last - first) / stride + 1) as usize;
        let mut pooling = Self { columns, step, kernel, reach, first, stride, averages: Vec::new() };
        pooling.averages = columns.iter().map(|c| (0..nodes).map(|t| pooling.average(c, first + t as i64 * stride)).collect()).collect();
        pooling
    }

    /// The column's likelihood averaged over the kernel about step `at`.
    fn average(&self, column: &Column, at: i64) -> f64 {
        let from = (at - self.reach).max(column.first);
        let to = (at + self.reach + 1).min(column.first + column.like.len() as i64);
        if from >= to {
            return 0.0;
        }
        let like = &column.like[(from - column.first) as usize..(to - column.first) as usize];
        let offset = (from - at + self.reach) as usize;
        dot(like, &self.kernel[offset..offset + like.len()])
    }

    fn products(&self) -> Vec<f64> {
        let mut products = vec![1.0; self.averages[0].len()];
        for averages in &self.averages {
            products.iter_mut().zip(averages).for_each(|(p, a)| *p *= a);
        }
        products
    }

    pub fn ln_evidence(&self) -> f64 {
        math::ln(self.products().iter().sum::<f64>() * self.step * self.stride as f64)
    }

    /// Mean and deviation of M.
    pub fn common(&self) -> (f64, f64) {
        let products = self.products();
        let total: f64 = products.iter().sum();
        let at = |t: usize| (self.first + t as i64 * self.stride) as f64 * self.step;
        let mean = products.iter().enumerate().map(|(t, p)| p * at(t)).sum::<f64>() / total;
        let variance = products.iter().enumerate().map(|(t, p)| p * math::sq(at(t) - mean)).sum::<f64>() / total;
        (mean, variance.max(0.0).sqrt().max(0.3 * self.step))
    }

    /// For each stratum, what the others say of it: the density of its m, on the steps of its column.
    pub fn by_others(&self) -> Vec<Vec<f64>> {
        let count = self.averages.len();
        let nodes = self.averages[0].len();
        // Products of all before and all after, so that nothing is divided by a zero.
        let mut after = vec![vec![1.0; nodes]; count + 1];
        for j in (0..count).rev() {
            after[j] = after[j + 1].iter().zip(&self.averages[j]).map(|(a, b)| a * b).collect();
        }
        let mut before = vec![1.0; nodes];
        (0..count)
            .map(|j| {
                let others: Vec<f64> = before.iter().zip(&after[j + 1]).map(|(a, b)| a * b).collect();
                before.iter_mut().zip(&self.averages[j]).for_each(|(b, a)| *b *= a);
                let column = &self.columns[j];
                (0..column.like.len()).map(|k| self.spread(&others, column.first + k as i64)).collect()
            })
            .collect()
    }

    /// The nodes' weights spread by the kernel onto step `at`.
    fn spread(&self, weights: &[f64], at: i64) -> f64 {
        let from = (at - self.reach - self.first).div_euclid(self.stride).max(-1) + 1;
        let to = ((at + self.reach - self.first).div_euclid(self.stride)).min(weights.len() as i64 - 1);
        (from..=to)
            .map(|t| {
                let distance = at - (self.first + t * self.stride) + self.reach;
                weights[t as usize] * self.kernel[distance as usize]
            })
            .sum()
    }
}

/// Sum of products in four lanes, which the compiler can take together.
fn dot(a: &[f64], b: &[f64]) -> f64 {
    let (a4, b4) = (a.chunks_exact(4), b.chunks_exact(4));
    let rest: f64 = a4.remainder().iter().zip(b4.remainder()).map(|(a, b)| a * b).sum();
    let mut lanes = [0.0; 4];
    for (a, b) in a4.zip(b4) {
        for i in 0..4 {
            lanes[i] += a[i] * b[i];
        }
    }
    (lanes[0] + lanes[1]) + (lanes[2] + lanes[3]) + rest
}
