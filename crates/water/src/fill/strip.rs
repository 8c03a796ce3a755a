//! Basins and passes of one strip of rows.

use super::lower::{self, FRESH, Links, NONE, RowKind, STEP};
use super::passes::{DRAIN, Forest, Pass, contract};
use std::ops::Range;

/// A grid cut into strips of whole rows. The cut depends on the size of the grid only, so one thread and many give the same.
#[derive(Clone, Copy)]
pub struct Layout {
    pub nx: usize,
    pub ny: usize,
    rows: usize,
}

impl Layout {
    /// Strips of about a quarter of a million cells: enough for every thread, few enough that their rims do not matter.
    pub fn new(nx: usize, ny: usize) -> Self {
        const CELLS: usize = 1 << 18;
        Self { nx, ny, rows: (CELLS / nx.max(1)).max(16) }
    }

    /// With strips of this many rows.
    #[cfg(test)]
    pub fn with_rows(nx: usize, ny: usize, rows: usize) -> Self {
        Self { nx, ny, rows }
    }

    /// Cells of a strip, the last one may be shorter.
    pub fn cells(self) -> usize {
        self.rows * self.nx
    }

    /// The rows of a strip.
    pub fn rows(self, strip: usize) -> Range<usize> {
        strip * self.rows..((strip + 1) * self.rows).min(self.ny)
    }

    /// The strip a cell lies in.
    pub fn strip_of(self, cell: usize) -> usize {
        cell / self.cells()
    }
}

/// What is known of a strip by itself.
pub struct Strip {
    /// Basin of every label.
    pub basin_of: Vec<u32>,
    /// Lowest cell of every basin, in the whole grid; that of the drain means nothing.
    pub lowest: Vec<u32>,
    /// How its basins join.
    pub forest: Forest,
    /// Passes between basins still standing, and out of the strip.
    pub passes: Vec<Pass>,
    /// Rank of the standing basin every basin has joined.
    pub rank: Vec<u32>,
}

/// Labels the cells of a strip and joins its basins as far as they can be known from inside.
///
/// `labels` has a place for every cell of the strip; `outlets` are cells of the strip, in the whole grid's numbers.
pub fn survey(z: &[f64], layout: Layout, strip: usize, outlets: &[usize], labels: &mut [u32]) -> Strip {
    let rows = layout.rows(strip);
    let base = rows.start * layout.nx;
    let mut walk = Walk::new(z, layout, rows.clone(), labels);
    for j in rows.clone() {
        walk.row(j);
    }
    let Walk { births, mut passes, .. } = walk;
    let (basin_of, lowest) = basins(&births, labels, layout.nx, base);
    passes.retain_mut(|pass| {
        pass.a = basin_of[pass.a as usize];
        if !pass.beyond {
            pass.b = basin_of[pass.b as usize];
        }
        pass.beyond || pass.a != pass.b
    });
    for &cell in outlets {
        let a = basin_of[labels[cell - base] as usize];
        passes.push(Pass { z: z[cell], a, b: DRAIN, cell: cell as u32, beyond: false });
    }
    let mut rim = vec![f64::INFINITY; lowest.len()];
    let rims = [(rows.start > 0).then_some(rows.start), (rows.end < layout.ny).then_some(rows.end - 1)];
    for j in rims.into_iter().flatten() {
        for cell in j * layout.nx..(j + 1) * layout.nx {
            let rim = &mut rim[basin_of[labels[cell - base] as usize] as usize];
            *rim = rim.min(z[cell]);
        }
    }
    let forest = contract(lowest.len(), &mut passes, rim);
    let rank = ranks(&forest);
    Strip { basin_of, lowest, forest, passes, rank }
}

/// Rank of the standing basin each basin has joined.
fn ranks(forest: &Forest) -> Vec<u32> {
    let mut rank = vec![0; forest.up.len()];
    for (r, &basin) in forest.standing.iter().enumerate() {
        rank[basin as usize] = r as u32;
    }
    for &basin in forest.joined.iter().rev() {
        rank[basin as usize] = rank[forest.up[basin as usize] as usize];
    }
    rank
}

/// A cell that took a new label, and its lower neighbours inside the strip's table.
#[derive(Clone, Copy, Default)]
struct Birth {
    cell: u32,
    receiver: u8,
}

/// Row by row: sets of lower neighbours, labels, passes.
struct Walk<'a> {
    z: &'a [f64],
    layout: Layout,
    rows: Range<usize>,
    labels: &'a mut [u32],
    next_label: usize,
    births: Vec<Birth>,
    passes: Vec<Pass>,
    /// Heights of this row and the next, with a wall at both ends.
    row: Vec<f64>,
    next: Vec<f64>,
    /// Lower neighbours ahead, of the row below and this row.
    below_ahead: Vec<u8>,
    ahead: Vec<u8>,
    masks: Vec<u8>,
    /// Columns and links of the passes in this row and in the row below.
    found: Vec<(u32, u8)>,
    waiting: Vec<(u32, u8)>,
}

impl<'a> Walk<'a> {
    fn new(z: &'a [f64], layout: Layout, rows: Range<usize>, labels: &'a mut [u32]) -> Self {
        let padded = layout.nx + 2;
        let mut walk = Self {
            z,
            layout,
            labels,
            next_label: 0,
            births: Vec::new(),
            passes: Vec::new(),
            row: vec![f64::INFINITY; padded],
            next: vec![f64::INFINITY; padded],
            below_ahead: vec![0; padded],
            ahead: vec![0; padded],
            masks: vec![0; layout.nx],
            found: Vec::new(),
            waiting: Vec::new(),
            rows: rows.clone(),
        };
        if rows.start > 0 {
            walk.load(rows.start - 1);
        }
        std::mem::swap(&mut walk.row, &mut walk.next);
        walk.load(rows.start);
        lower::ahead(&walk.row, &walk.next, &mut walk.ahead);
        walk
    }

    /// Reads a row into `next`; outside the floor is a wall.
    fn load(&mut self, j: usize) {
        let nx = self.layout.nx;
        if j >= self.layout.ny {
            self.next.fill(f64::INFINITY);
            return;
        }
        for (to, &z) in self.next[1..=nx].iter_mut().zip(&self.z[j * nx..(j + 1) * nx]) {
            *to = if z.is_nan() { f64::INFINITY } else { z };
        }
    }

    fn row(&mut self, j: usize) {
        std::mem::swap(&mut self.row, &mut self.next);
        self.load(j + 1);
        std::mem::swap(&mut self.ahead, &mut self.below_ahead);
        lower::ahead(&self.row, &self.next, &mut self.ahead);
        lower::masks(&self.ahead, &self.below_ahead, &mut self.masks);
        let kind = RowKind { first: j == self.rows.start, last: j + 1 == self.rows.end };
        std::mem::swap(&mut self.found, &mut self.waiting);
        self.label(j, kind);
        if !kind.first {
            // The row below could only be linked once this row had its labels.
            let below = RowKind { first: j - 1 == self.rows.start, last: false };
            link(self.labels, &mut self.passes, self.z, self.layout, &self.rows, j - 1, below, &self.waiting);
        }
        if kind.last {
            link(self.labels, &mut self.passes, self.z, self.layout, &self.rows, j, kind, &self.found);
        }
    }

    /// Gives every cell of the row the label of a lower neighbour that has one, or a new one; notes the passes.
    fn label(&mut self, j: usize, kind: RowKind) {
        let nx = self.layout.nx;
        let table = kind.table();
        let back = [nx, nx + 1, nx.wrapping_sub(1), 1, 0];
        let start = (j - self.rows.start) * nx;
        self.births.resize(self.next_label + nx + 1, Birth::default());
        self.found.clear();
        self.found.resize(nx + 1, (0, 0));
        let mut n_found = 0;
        let mut next = self.next_label;
        for (i, &mask) in self.masks.iter().enumerate() {
            let source = table.source[mask as usize];
            let cell = start + i;
            let fresh = source == FRESH;
            let from = self.labels[cell - back[source as usize]];
            self.labels[cell] = if fresh { next as u32 } else { from };
            self.births[next] = Birth { cell: cell as u32, receiver: table.links[mask as usize].receiver };
            next += usize::from(fresh);
            self.found[n_found] = (i as u32, mask);
            n_found += usize::from(table.is_pass[mask as usize]);
        }
        self.next_label = next;
        self.births.truncate(next);
        self.found.truncate(n_found);
    }
}

/// Writes down the passes of a row whose neighbouring rows have their labels.
fn link(
    labels: &[u32],
    passes: &mut Vec<Pass>,
    z: &[f64],
    layout: Layout,
    rows: &Range<usize>,
    j: usize,
    kind: RowKind,
    found: &[(u32, u8)],
) {
    let nx = layout.nx;
    let base = rows.start * nx;
    let table = kind.table();
    for &(i, mask) in found {
        let cell = j * nx + i as usize;
        let height = z[cell];
        if height.is_nan() {
            continue; // a wall is no pass
        }
        let Links { n_passes, passes: to, .. } = table.links[mask as usize];
        let a = labels[cell - base];
        for &position in &to[..n_passes as usize] {
            let (di, dj) = STEP[position as usize];
            let other = (cell as isize + dj * nx as isize + di) as usize;
            let beyond = !rows.contains(&((j as isize + dj) as usize));
            let b = if beyond { other as u32 } else { labels[other - base] };
            if beyond || a != b {
                passes.push(Pass { z: height, a, b, cell: cell as u32, beyond });
            }
        }
    }
}

/// Follows every label to the lowest cell of its basin and numbers the basins from 1 (0 is the drain).
fn basins(births: &[Birth], labels: &[u32], nx: usize, base: usize) -> (Vec<u32>, Vec<u32>) {
    let mut parent: Vec<u32> = births
        .iter()
        .enumerate()
        .map(|(label, birth)| {
            if birth.receiver == NONE {
                return label as u32;
            }
            let (di, dj) = STEP[birth.receiver as usize];
            labels[(birth.cell as isize + dj * nx as isize + di) as usize]
        })
        .collect();
    let mut lowest = vec![0];
    let mut basin_of = vec![0; births.len()];
    for (label, birth) in births.iter().enumerate() {
        if birth.receiver == NONE {
            basin_of[label] = lowest.len() as u32;
            lowest.push((base + birth.cell as usize) as u32);
        }
    }
    for label in 0..births.len() {
        let mut root = label;
        while parent[root] as usize != root {
            root = parent[root] as usize;
        }
        let mut at = label;
        while at != root {
            at = std::mem::replace(&mut parent[at], root as u32) as usize;
        }
        basin_of[label] = basin_of[root];
    }
    (basin_of, lowest)
}
