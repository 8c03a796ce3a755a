//! Basins and passes of one strip of rows.

use super::lower::{self, FRESH, Links, NONE, RowKind, S, SE, STEP, SW, W};
use super::passes::{DRAIN, Forest, Height, Pass, contract, keep_between};
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
    /// Passes between basins still standing.
    pub passes: Vec<Pass>,
    /// Passes out of the strip; `a` is a basin, `b` a cell of another strip.
    pub beyond: Vec<Pass>,
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
    let Walk { mut births, n_births, mut passes, mut beyond, .. } = walk;
    births.truncate(n_births);
    let (basin_of, lowest) = basins(&births, labels, layout.nx, base);
    for pass in &mut beyond {
        pass.a = basin_of[pass.a as usize];
    }
    keep_between(&basin_of, &mut passes);
    for &cell in outlets {
        let a = basin_of[labels[cell - base] as usize];
        passes.push(Pass { z: Height::new(z[cell]), a, b: DRAIN, cell: cell as u32 });
    }
    let mut rim = vec![Height::TOP; lowest.len()];
    let rims = [(rows.start > 0).then_some(rows.start), (rows.end < layout.ny).then_some(rows.end - 1)];
    for j in rims.into_iter().flatten() {
        for cell in j * layout.nx..(j + 1) * layout.nx {
            let rim = &mut rim[basin_of[labels[cell - base] as usize] as usize];
            *rim = (*rim).min(Height::new(z[cell]));
        }
    }
    let forest = contract(lowest.len(), &mut passes, rim);
    let rank = ranks(&forest);
    Strip { basin_of, lowest, forest, passes, beyond, rank }
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

/// A cell that took a new label, and the ring position of its receiver.
#[derive(Clone, Copy, Default)]
struct Birth {
    cell: u32,
    receiver: u32,
}

/// Row by row: sets of lower neighbours, labels, passes.
struct Walk<'a> {
    z: &'a [f64],
    layout: Layout,
    rows: Range<usize>,
    labels: &'a mut [u32],
    /// Cells that took a new label; room for more behind the first `n_births`.
    births: Vec<Birth>,
    n_births: usize,
    passes: Vec<Pass>,
    beyond: Vec<Pass>,
    /// Heights of this row and the next, with a wall at both ends.
    row: Vec<f64>,
    next: Vec<f64>,
    /// Lower neighbours ahead, of the row below and this row.
    below_ahead: Vec<u8>,
    ahead: Vec<u8>,
    /// Sets of lower neighbours of this row and the row below.
    masks: Vec<u8>,
    below_masks: Vec<u8>,
    /// Which cells are passes between rows inside the strip.
    is_pass: Vec<u8>,
    /// Columns of the passes in this row and in the row below.
    found: Found,
    below_found: Found,
}

/// Columns of a row, the first `n` of room for all.
#[derive(Default)]
struct Found {
    columns: Vec<u32>,
    n: usize,
}

impl Found {
    fn new(nx: usize) -> Self {
        Self { columns: vec![0; nx + 1], n: 0 }
    }
}

impl<'a> Walk<'a> {
    fn new(z: &'a [f64], layout: Layout, rows: Range<usize>, labels: &'a mut [u32]) -> Self {
        let (nx, padded) = (layout.nx, layout.nx + 2);
        // Room for white noise, which has a pass in every third cell: growing would copy them all.
        let room = labels.len() / 3;
        let mut walk = Self {
            z,
            layout,
            labels,
            births: Vec::new(),
            n_births: 0,
            passes: Vec::with_capacity(room),
            beyond: Vec::new(),
            row: vec![f64::INFINITY; padded],
            next: vec![f64::INFINITY; padded],
            below_ahead: vec![0; padded],
            ahead: vec![0; padded],
            masks: vec![0; nx],
            below_masks: vec![0; nx],
            is_pass: vec![0; nx],
            found: Found::new(nx),
            below_found: Found::new(nx),
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
        std::mem::swap(&mut self.masks, &mut self.below_masks);
        lower::masks(&self.ahead, &self.below_ahead, &mut self.masks);
        let kind = RowKind { first: j == self.rows.start, last: j + 1 == self.rows.end };
        std::mem::swap(&mut self.found, &mut self.below_found);
        self.find(kind);
        self.label(j, kind);
        if !kind.first {
            // The row below could only be linked once this row had its labels.
            let below = RowKind { first: j - 1 == self.rows.start, last: false };
            let (masks, found) = (std::mem::take(&mut self.below_masks), std::mem::take(&mut self.below_found));
            self.link(j - 1, below, &masks, &found);
            (self.below_masks, self.below_found) = (masks, found);
        }
        if kind.last {
            let (masks, found) = (std::mem::take(&mut self.masks), std::mem::take(&mut self.found));
            self.link(j, kind, &masks, &found);
            (self.masks, self.found) = (masks, found);
        }
    }

    /// Gives every cell of the row the label of a lower neighbour that has one, or a new one.
    fn label(&mut self, j: usize, kind: RowKind) {
        let nx = self.layout.nx;
        let start = (j - self.rows.start) * nx;
        let mut next = self.n_births;
        if self.births.len() < next + nx + 1 {
            self.births.resize(2 * (next + nx + 1), Birth::default());
        }
        let births = &mut self.births[..];
        if kind.first || kind.last {
            label_any(&self.masks, kind, &mut self.labels[..start + nx], &mut next, births);
        } else {
            label_inner(&self.masks, &self.is_pass, &mut self.labels[..start + nx], &mut next, births);
        }
        self.n_births = next;
    }

    /// Notes the columns of passes.
    fn find(&mut self, kind: RowKind) {
        let mut n = 0;
        if kind.first || kind.last {
            let is_pass = &kind.table().is_pass;
            self.is_pass.iter_mut().zip(&self.masks).for_each(|(is, &mask)| *is = is_pass[mask as usize]);
        } else {
            lower::passes(&self.masks, &mut self.is_pass);
        }
        for (block, flags) in self.is_pass.chunks(16).enumerate() {
            if flags.iter().fold(0, |any, flag| any | flag) != 0 {
                for (i, &flag) in flags.iter().enumerate() {
                    self.found.columns[n] = (block * 16 + i) as u32;
                    n += usize::from(flag);
                }
            }
        }
        self.found.n = n;
    }

    /// Writes down the passes of a row whose neighbouring rows have their labels.
    fn link(&mut self, j: usize, kind: RowKind, masks: &[u8], found: &Found) {
        let nx = self.layout.nx;
        let base = self.rows.start * nx;
        let table = kind.table();
        for &i in &found.columns[..found.n] {
            let cell = j * nx + i as usize;
            let z = self.z[cell];
            if z.is_nan() {
                continue; // a wall is no pass
            }
            let z = Height::new(z);
            let Links { n_passes, passes: to, .. } = table.links[masks[i as usize] as usize];
            let a = self.labels[cell - base];
            for &position in &to[..n_passes as usize] {
                let (di, dj) = STEP[position as usize];
                let other = (cell as isize + dj * nx as isize + di) as usize;
                if self.rows.contains(&((j as isize + dj) as usize)) {
                    self.passes.push(Pass { z, a, b: self.labels[other - base], cell: cell as u32 });
                } else {
                    self.beyond.push(Pass { z, a, b: other as u32, cell: cell as u32 });
                }
            }
        }
    }
}

/// Labels of a row with a row below and above in its strip; `labels` holds the rows up to this one.
fn label_inner(masks: &[u8], is_pass: &[u8], labels: &mut [u32], next: &mut usize, births: &mut [Birth]) {
    let table = RowKind { first: false, last: false }.table();
    let nx = masks.len();
    let start = labels.len() - nx;
    let back = [nx, nx + 1, nx.wrapping_sub(1), 1, 0, 0, 0, 0];
    for (block, (masks, is_pass)) in masks.chunks(16).zip(is_pass.chunks(16)).enumerate() {
        let begin = start + block * 16;
        let end = begin + masks.len();
        // On even ground neighbouring cells have a lower neighbour on the same side. A pass must take the side its table says:
        // south comes first there, and south-west touches south.
        let any_pass = is_pass.iter().fold(0, |any, is| any | is) != 0;
        let sides = if any_pass { S | SW } else { S | SW | SE | W };
        let common = masks.iter().fold(sides, |all, mask| all & mask);
        if common & S != 0 {
            labels.copy_within(begin - nx..end - nx, begin);
        } else if common & SW != 0 {
            labels.copy_within(begin - nx - 1..end - nx - 1, begin);
        } else if common & SE != 0 {
            labels.copy_within(begin - nx + 1..end - nx + 1, begin);
        } else if common & W != 0 {
            let label = labels[begin - 1];
            labels[begin..end].fill(label);
        } else {
            for (cell, &mask) in (begin..end).zip(masks) {
                let source = table.source[mask as usize];
                labels[cell] = *next as u32;
                labels[cell] = labels[cell - back[source as usize & 7]];
                births[*next] = Birth { cell: cell as u32, receiver: u32::from(table.links[mask as usize].receiver) };
                *next += usize::from(source == FRESH);
            }
        }
    }
}

/// Labels of a row at the rim of its strip, where only neighbours inside count.
fn label_any(masks: &[u8], kind: RowKind, labels: &mut [u32], next: &mut usize, births: &mut [Birth]) {
    let table = kind.table();
    let nx = masks.len();
    for (cell, &mask) in (labels.len() - nx..).zip(masks) {
        labels[cell] = match table.source[mask as usize] {
            0 => labels[cell - nx],
            1 => labels[cell - nx - 1],
            2 => labels[cell - nx + 1],
            3 => labels[cell - 1],
            _ => {
                let receiver = u32::from(table.links[mask as usize].receiver);
                births[*next] = Birth { cell: cell as u32, receiver };
                *next += 1;
                *next as u32 - 1
            }
        };
    }
}

/// Follows every label to the lowest cell of its basin and numbers the basins from 1 (0 is the drain).
fn basins(births: &[Birth], labels: &[u32], nx: usize, base: usize) -> (Vec<u32>, Vec<u32>) {
    let step = |(di, dj): (isize, isize)| dj * nx as isize + di;
    // A cell that starts a basin stays where it is.
    let steps: [isize; 9] = std::array::from_fn(|k| STEP.get(k).map_or(0, |&way| step(way)));
    let mut root: Vec<u32> = births.iter().map(|birth| labels[(birth.cell as isize + steps[birth.receiver as usize]) as usize]).collect();
    loop {
        let mut moved = 0;
        for label in (0..root.len()).rev() {
            let once = root[label];
            let twice = root[once as usize];
            moved |= once ^ twice;
            root[label] = twice;
        }
        if moved == 0 {
            break;
        }
    }
    let mut lowest = vec![0; births.len() + 1];
    let mut basin_of = vec![0; births.len()];
    let mut n = 1;
    for (label, birth) in births.iter().enumerate() {
        (basin_of[label], lowest[n]) = (n as u32, (base + birth.cell as usize) as u32);
        n += usize::from(birth.receiver == u32::from(NONE));
    }
    lowest.truncate(n);
    for label in 0..root.len() {
        root[label] = basin_of[root[label] as usize];
    }
    (root, lowest)
}
