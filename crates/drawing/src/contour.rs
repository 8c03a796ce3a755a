//! Lines of equal height and areas of more than a depth, by marching squares.
//!
//! Each square of four neighbouring nodes is cut where the field passes the level, linearly between two nodes; a saddle is
//! parted by the mean of its four nodes. Pieces are joined into lines by the edge of the square they share, so that the
//! result is exact in its connections whatever the numbers are.

use crate::svg::At;
use measure::PointMm;
use std::collections::BTreeMap;

/// Values on the nodes of a square grid; `NaN` where there is none.
#[derive(Clone, Debug)]
pub struct Field {
    /// First node.
    pub x0_mm: f64,
    /// First node.
    pub y0_mm: f64,
    /// Distance of nodes.
    pub cell_mm: f64,
    /// Nodes along x.
    pub nx: usize,
    /// Nodes along y.
    pub ny: usize,
    /// Row by row from the lowest y.
    pub values: Vec<f64>,
}

/// Where a line passes between two neighbouring nodes: the lower node's index times two, plus one when it lies between two
/// rows.
type Crossing = usize;

impl Field {
    /// Lines on which the field has a value, open where they meet the rim of the field. Squares with an unknown corner have
    /// none.
    pub fn lines(&self, level: f64) -> Vec<Vec<PointMm>> {
        let mut links: BTreeMap<Crossing, [Option<Crossing>; 2]> = BTreeMap::new();
        for j in 0..self.ny.saturating_sub(1) {
            for i in 0..self.nx.saturating_sub(1) {
                for [a, b] in self.pieces(i, j, level).into_iter().flatten() {
                    for (from, to) in [(a, b), (b, a)] {
                        let link = links.entry(from).or_default();
                        link[usize::from(link[0].is_some())] = Some(to);
                    }
                }
            }
        }
        joined(&links).into_iter().map(|line| line.into_iter().map(|c| self.place(c, level)).collect()).collect()
    }

    /// Rings round everything that has at least a value, holes by the even-odd rule. What is unknown or beyond the field
    /// has less.
    pub fn areas(&self, level: f64) -> Vec<Vec<PointMm>> {
        let (nx, ny) = (self.nx + 2, self.ny + 2);
        let mut values = vec![f64::NEG_INFINITY; nx * ny];
        for j in 0..self.ny {
            for i in 0..self.nx {
                let value = self.values[j * self.nx + i];
                values[(j + 1) * nx + i + 1] = if value.is_nan() { f64::NEG_INFINITY } else { value };
            }
        }
        let (x0_mm, y0_mm) = (self.x0_mm - self.cell_mm, self.y0_mm - self.cell_mm);
        Field { x0_mm, y0_mm, cell_mm: self.cell_mm, nx, ny, values }.lines(level)
    }

    /// The pieces of the line in one square: none, one, or two at a saddle.
    fn pieces(&self, i: usize, j: usize, level: f64) -> [Option<[Crossing; 2]>; 2] {
        let node = j * self.nx + i;
        let corners = [node, node + 1, node + 1 + self.nx, node + self.nx];
        let values = corners.map(|c| self.values[c]);
        if values.iter().any(|v| v.is_nan()) {
            return [None, None];
        }
        let [bottom, right, top, left] = [2 * node, 2 * (node + 1) + 1, 2 * (node + self.nx), 2 * node + 1];
        let above = values.map(|v| v >= level);
        let case = above.iter().rev().fold(0, |bits, up| bits * 2 + usize::from(*up));
        let middle_above = values.iter().sum::<f64>() / 4.0 >= level;
        match case {
            1 | 14 => [Some([left, bottom]), None],
            2 | 13 => [Some([bottom, right]), None],
            4 | 11 => [Some([right, top]), None],
            8 | 7 => [Some([top, left]), None],
            3 | 12 => [Some([left, right]), None],
            6 | 9 => [Some([bottom, top]), None],
            5 if middle_above => [Some([left, top]), Some([bottom, right])],
            5 => [Some([left, bottom]), Some([right, top])],
            10 if middle_above => [Some([left, bottom]), Some([right, top])],
            10 => [Some([left, top]), Some([bottom, right])],
            _ => [None, None],
        }
    }

    /// Where the line passes: linear between two nodes, half-way beside one that has no value.
    fn place(&self, crossing: Crossing, level: f64) -> PointMm {
        let node = crossing / 2;
        let (i, j) = ((node % self.nx) as f64, (node / self.nx) as f64);
        let upright = crossing % 2 == 1;
        let (a, b) = (self.values[node], self.values[if upright { node + self.nx } else { node + 1 }]);
        let t = if a.is_finite() && b.is_finite() && a != b { ((level - a) / (b - a)).clamp(0.0, 1.0) } else { 0.5 };
        let (di, dj) = if upright { (0.0, t) } else { (t, 0.0) };
        [self.x0_mm + (i + di) * self.cell_mm, self.y0_mm + (j + dj) * self.cell_mm]
    }
}

/// Pieces that share a crossing, joined: open lines first, then rings, which end where they began.
fn joined(links: &BTreeMap<Crossing, [Option<Crossing>; 2]>) -> Vec<Vec<Crossing>> {
    let mut seen: BTreeMap<Crossing, ()> = BTreeMap::new();
    let mut lines = Vec::new();
    let ends = links.iter().filter(|(_, link)| link[1].is_none()).map(|(c, _)| *c);
    for start in ends.chain(links.keys().copied()) {
        if seen.insert(start, ()).is_some() {
            continue;
        }
        let mut line = vec![start];
        let mut at = start;
        while let Some(next) = links[&at].iter().flatten().copied().find(|c| !seen.contains_key(c)) {
            seen.insert(next, ());
            line.push(next);
            at = next;
        }
        let is_ring = line.len() > 2 && links[&at].contains(&Some(start));
        if is_ring {
            line.push(start);
        }
        lines.push(line);
    }
    lines
}

/// A line with as few corners as keep it within a tolerance (the method of Ramer 1972 and Douglas and Peucker 1973).
pub fn simplified(line: &[At], tolerance: f64) -> Vec<At> {
    if line.len() < 3 {
        return line.to_vec();
    }
    let mut keep = vec![false; line.len()];
    (keep[0], keep[line.len() - 1]) = (true, true);
    let mut open = vec![(0, line.len() - 1)];
    while let Some((from, to)) = open.pop() {
        let farthest = (from + 1..to).map(|i| (i, distance(line[i], line[from], line[to]))).max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((i, away)) = farthest
            && away > tolerance
        {
            keep[i] = true;
            open.extend([(from, i), (i, to)]);
        }
    }
    line.iter().zip(keep).filter(|(_, k)| *k).map(|(p, _)| *p).collect()
}

/// Distance of a place from a piece of line.
pub fn distance(p: At, a: At, b: At) -> f64 {
    let [dx, dy] = [b[0] - a[0], b[1] - a[1]];
    let length2 = dx * dx + dy * dy;
    let t = if length2 > 0.0 { (((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / length2).clamp(0.0, 1.0) } else { 0.0 };
    let [ex, ey] = [p[0] - a[0] - t * dx, p[1] - a[1] - t * dy];
    (ex * ex + ey * ey).sqrt()
}

/// Length of a line.
pub fn length(line: &[At]) -> f64 {
    line.windows(2).map(|w| distance(w[0], w[1], w[1])).sum()
}

/// Place and direction at a way along a line.
pub fn along(line: &[At], way: f64) -> Option<(At, [f64; 2])> {
    let mut left = way;
    for w in line.windows(2) {
        let piece = distance(w[0], w[1], w[1]);
        if piece > 0.0 && left <= piece {
            let unit = [(w[1][0] - w[0][0]) / piece, (w[1][1] - w[0][1]) / piece];
            return Some(([w[0][0] + unit[0] * left, w[0][1] + unit[1] * left], unit));
        }
        left -= piece;
    }
    None
}

/// Steps between contour lines: the smallest of 1, 2 and 5 times a power of ten that gives no more than `most` lines.
pub fn step(range: f64, most: usize) -> f64 {
    let mut decade = 0.01;
    for _ in 0..12 {
        for part in [1.0, 2.0, 5.0] {
            let step = part * decade;
            if range / step <= most as f64 {
                return step;
            }
        }
        decade *= 10.0;
    }
    range.max(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn field(nx: usize, ny: usize, of: impl Fn(f64, f64) -> f64) -> Field {
        let values = (0..nx * ny).map(|k| of((k % nx) as f64, (k / nx) as f64)).collect();
        Field { x0_mm: 0.0, y0_mm: 0.0, cell_mm: 1.0, nx, ny, values }
    }

    fn area(ring: &[PointMm]) -> f64 {
        ring.windows(2).map(|w| w[0][0] * w[1][1] - w[1][0] * w[0][1]).sum::<f64>() / 2.0
    }

    #[test]
    fn a_plane_has_straight_lines_at_the_right_place() {
        let plane = field(5, 4, |x, y| 2.0 * x + y);
        let lines = plane.lines(3.5);
        assert_eq!(lines.len(), 1);
        assert!(lines[0].iter().all(|[x, y]| (2.0 * x + y - 3.5).abs() < 1e-12), "{lines:?}");
    }

    /// A cone of slope 1 is cut by level h in a circle of radius r - h: area pi r^2, here within the chord error of the grid.
    #[test]
    fn a_cone_is_cut_in_rings() {
        let cone = field(101, 101, |x, y| 40.0 - ((x - 50.0) * (x - 50.0) + (y - 50.0) * (y - 50.0)).sqrt());
        let rings = cone.areas(10.0);
        assert_eq!(rings.len(), 1);
        assert_eq!(rings[0].first(), rings[0].last());
        let exact = std::f64::consts::PI * 900.0;
        assert!((area(&rings[0]).abs() / exact - 1.0).abs() < 1e-3, "{}", area(&rings[0]));
    }

    #[test]
    fn what_is_unknown_bounds_an_area_half_way() {
        let mut full = field(4, 4, |_, _| 1.0);
        let area_of = |f: &Field| f.areas(0.5).iter().map(|r| area(r).abs()).sum::<f64>();
        assert!((area_of(&full) - (16.0 - 0.5)).abs() < 1e-12, "sixteen cells, their corners cut: {}", area_of(&full));
        full.values[0] = f64::NAN;
        assert!(area_of(&full) < 15.5 && full.lines(0.5).is_empty());
    }

    #[test]
    fn a_saddle_joins_what_its_middle_joins() {
        for (high, rings) in [(3.0, 1), (1.1, 2)] {
            let saddle = field(2, 2, |x, y| if x == y { high } else { 0.0 });
            assert_eq!(saddle.areas(1.0).len(), rings, "{high}");
        }
    }

    #[test]
    fn simplified_lines_stay_within_the_tolerance() {
        let line: Vec<At> = (0..200).map(|i| [f64::from(i), measure::math::sin(f64::from(i) / 10.0) * 5.0]).collect();
        let short = simplified(&line, 0.1);
        assert!(short.len() < 100 && short.first() == line.first() && short.last() == line.last());
        let away = |p: &At| short.windows(2).map(|w| distance(*p, w[0], w[1])).fold(f64::INFINITY, f64::min);
        assert!(line.iter().all(|p| away(p) <= 0.1 + 1e-12));
    }

    #[test]
    fn steps_are_round() {
        for (range, expected) in [(4.0, 0.5), (40.0, 5.0), (41.0, 5.0), (0.9, 0.1), (100.0, 10.0), (0.0, 0.01)] {
            assert_eq!(step(range, 10), expected, "{range}");
        }
    }

    proptest::proptest! {
        #![proptest_config(proptest::prelude::ProptestConfig::with_cases(64))]

        /// Whatever the heights, rings are closed, and more depth never covers more floor.
        #[test]
        fn areas_are_closed_and_shrink_with_depth(values in proptest::collection::vec(proptest::prop_oneof![4 => -1.0..1.0f64, 1 => proptest::strategy::Just(f64::NAN)], 36)) {
            let field = Field { x0_mm: 0.0, y0_mm: 0.0, cell_mm: 1.0, nx: 6, ny: 6, values };
            let mut last = f64::INFINITY;
            for level in [-0.5, 0.0, 0.25, 0.5] {
                let rings = field.areas(level);
                proptest::prop_assert!(rings.iter().all(|r| r.first() == r.last() && r.iter().flatten().all(|v| v.is_finite())));
                let covered: usize = field.values.iter().filter(|v| **v >= level).count();
                proptest::prop_assert_eq!(rings.is_empty(), covered == 0);
                proptest::prop_assert!(covered as f64 <= last);
                last = covered as f64;
            }
        }
    }
}
