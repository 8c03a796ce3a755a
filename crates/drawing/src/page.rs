//! Rectangles on the page, and where a label finds room.

use crate::svg::At;
use std::collections::BTreeMap;

/// An upright rectangle on the page.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rect {
    /// Upper left corner.
    pub lo: At,
    /// Lower right corner.
    pub hi: At,
}

impl Rect {
    /// Between two corners, in any order.
    pub fn new(a: At, b: At) -> Self {
        Self { lo: [a[0].min(b[0]), a[1].min(b[1])], hi: [a[0].max(b[0]), a[1].max(b[1])] }
    }

    /// Of a size about a middle.
    pub fn about([x, y]: At, [w, h]: [f64; 2]) -> Self {
        Self { lo: [x - w / 2.0, y - h / 2.0], hi: [x + w / 2.0, y + h / 2.0] }
    }

    /// Width and height.
    pub fn size(&self) -> [f64; 2] {
        [self.hi[0] - self.lo[0], self.hi[1] - self.lo[1]]
    }

    /// Its corners.
    pub fn corners(&self) -> [At; 4] {
        [self.lo, [self.hi[0], self.lo[1]], self.hi, [self.lo[0], self.hi[1]]]
    }

    /// Its middle.
    pub fn middle(&self) -> At {
        [(self.lo[0] + self.hi[0]) / 2.0, (self.lo[1] + self.hi[1]) / 2.0]
    }

    /// Whether two rectangles share more than an edge.
    pub fn meets(&self, other: &Self) -> bool {
        self.lo[0] < other.hi[0] && other.lo[0] < self.hi[0] && self.lo[1] < other.hi[1] && other.lo[1] < self.hi[1]
    }

    /// Whether the other lies inside.
    pub fn holds(&self, other: &Self) -> bool {
        self.lo[0] <= other.lo[0] && self.lo[1] <= other.lo[1] && self.hi[0] >= other.hi[0] && self.hi[1] >= other.hi[1]
    }

    /// The nearest place of the rectangle.
    pub fn nearest(&self, [x, y]: At) -> At {
        [x.max(self.lo[0]).min(self.hi[0]), y.max(self.lo[1]).min(self.hi[1])]
    }
}

/// Side of a square of the page in which taken places are looked up.
const BIN_MM: f64 = 8.0;

/// Rectangles in squares of the page, so that a label asks its neighbours only.
#[derive(Clone, Debug, Default)]
struct Taken {
    bins: BTreeMap<(i32, i32), Vec<Rect>>,
}

impl Taken {
    fn add(&mut self, rect: Rect) {
        for bin in bins(&rect) {
            self.bins.entry(bin).or_default().push(rect);
        }
    }

    fn met_by(&self, rect: &Rect) -> usize {
        bins(rect).filter_map(|bin| self.bins.get(&bin)).flatten().filter(|other| other.meets(rect)).count()
    }
}

fn bins(rect: &Rect) -> impl Iterator<Item = (i32, i32)> + use<> {
    // A page has some thousand squares at most, whatever is drawn on it.
    let index = |v: f64| (v / BIN_MM).floor().clamp(-1.0, 200.0) as i32;
    let [i0, j0] = rect.lo.map(index);
    let [i1, j1] = rect.hi.map(index);
    (j0..=j1).flat_map(move |j| (i0..=i1).map(move |i| (i, j)))
}

/// What of the page is taken, so that labels neither touch each other nor hide what matters.
#[derive(Clone, Debug)]
pub struct Places {
    within: Rect,
    /// Never drawn over.
    hard: Taken,
    /// Drawn over where there is no better place.
    soft: Taken,
}

impl Places {
    /// All free, within a part of the page.
    pub fn new(within: Rect) -> Self {
        Self { within, hard: Taken::default(), soft: Taken::default() }
    }

    /// Takes a place for good.
    pub fn take(&mut self, rect: Rect) {
        self.hard.add(rect);
    }

    /// Marks a place as better left free.
    pub fn spare(&mut self, rect: Rect) {
        self.soft.add(rect);
    }

    /// Marks what lies along a line as better left free.
    pub fn spare_line(&mut self, line: &[At], width: f64) {
        for piece in line.windows(2) {
            let [dx, dy] = [piece[1][0] - piece[0][0], piece[1][1] - piece[0][1]];
            let length = (dx * dx + dy * dy).sqrt();
            if !length.is_finite() || length > 1e4 {
                continue;
            }
            let steps = (length / 2.0).ceil().max(1.0);
            for k in 0..=steps as usize {
                let t = k as f64 / steps;
                self.spare(Rect::about([piece[0][0] + t * dx, piece[0][1] + t * dy], [width, width]));
            }
        }
    }

    /// Whether a place is free of what must not be drawn over.
    pub fn is_free(&self, rect: &Rect) -> bool {
        self.within.holds(rect) && self.hard.met_by(rect) == 0
    }

    /// What it costs to draw over a place: what had better be left free there; `None` where it must not be drawn over.
    pub fn cost(&self, rect: &Rect) -> Option<f64> {
        self.is_free(rect).then(|| 1.5 * self.soft.met_by(rect) as f64)
    }

    /// The best of some places, each with its own cost, and takes it; `None` when all are taken.
    pub fn best(&mut self, candidates: impl Iterator<Item = (Rect, f64)>) -> Option<Rect> {
        let mut best: Option<(f64, Rect)> = None;
        for (rect, cost) in candidates {
            if best.is_some_and(|(least, _)| cost >= least) {
                continue;
            }
            let Some(cost) = self.cost(&rect).map(|over| over + cost) else { continue };
            if best.is_none_or(|(least, _)| cost < least) {
                best = Some((cost, rect));
            }
        }
        let (_, rect) = best?;
        self.take(rect);
        Some(rect)
    }

    /// A place for something of a size near `at`, which has the radius `clear` itself, no further than `reach` away.
    pub fn near(&mut self, at: At, size: [f64; 2], clear: f64, reach: f64) -> Option<Rect> {
        self.best(around(at, size, clear, reach))
    }

    /// The same, but wholly inside a ring.
    pub fn inside(&mut self, ring: &[At], at: At, size: [f64; 2], reach: f64) -> Option<Rect> {
        let holds = |rect: &Rect| rect.corners().iter().all(|c| room::geometry::contains(ring, *c, 0.0));
        self.best(around(at, size, -size[1] / 2.0, reach).filter(|(rect, _)| holds(rect)))
    }
}

/// Directions about a place: right, up-right, up ... in the order a reader expects a label.
const WAYS: [[f64; 2]; 16] = [
    [1.0, 0.0],
    [0.92, -0.38],
    [0.71, -0.71],
    [0.38, -0.92],
    [0.0, -1.0],
    [-0.38, -0.92],
    [-0.71, -0.71],
    [-0.92, -0.38],
    [-1.0, 0.0],
    [-0.92, 0.38],
    [-0.71, 0.71],
    [-0.38, 0.92],
    [0.0, 1.0],
    [0.38, 0.92],
    [0.71, 0.71],
    [0.92, 0.38],
];

/// Rectangles about a place, nearer ones cheaper.
fn around(at: At, size: [f64; 2], clear: f64, reach: f64) -> impl Iterator<Item = (Rect, f64)> {
    let rings = ((reach - clear).max(0.0) / 2.0).floor() as usize;
    (0..=rings).flat_map(move |ring| {
        let away = clear + 2.0 * ring as f64;
        WAYS.into_iter().enumerate().map(move |(i, [ux, uy])| {
            let middle = [at[0] + ux * (away + size[0] / 2.0), at[1] + uy * (away + size[1] / 2.0)];
            (Rect::about(middle, size), ring as f64 + 0.05 * i as f64)
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_never_touch() {
        let page = Rect::new([0.0, 0.0], [60.0, 60.0]);
        let mut places = Places::new(page);
        let placed: Vec<Rect> = (0..200).filter_map(|i| places.near([30.0 + (i % 7) as f64, 30.0], [8.0, 3.0], 1.0, 40.0)).collect();
        assert!(placed.len() > 20);
        for (i, a) in placed.iter().enumerate() {
            assert!(page.holds(a));
            assert!(placed[i + 1..].iter().all(|b| !a.meets(b)));
        }
    }

    #[test]
    fn a_label_leaves_a_line_free_where_it_can() {
        let mut places = Places::new(Rect::new([0.0, 0.0], [100.0, 100.0]));
        places.spare_line(&[[50.0, 50.0], [100.0, 50.0]], 1.0);
        let label = places.near([50.0, 50.0], [10.0, 3.0], 1.0, 20.0).unwrap();
        assert!(label.hi[1] <= 50.0 || label.lo[1] >= 50.0 || label.hi[0] <= 50.0, "{label:?}");
    }
}
