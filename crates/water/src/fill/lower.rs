//! Which of a cell's eight neighbours lie lower, and what follows from it.
//!
//! Cells are compared by height, and at equal height by their place in the grid: the earlier one counts as lower. So no two
//! cells are equal, flats need no special care, and heights are never changed.

/// Neighbours in ring order, as bits: east, north-east, north (the next row), north-west, west, south-west, south, south-east.
pub const E: u8 = 1;
pub const NE: u8 = 2;
pub const N: u8 = 4;
pub const NW: u8 = 8;
pub const W: u8 = 16;
pub const SW: u8 = 32;
pub const S: u8 = 64;
pub const SE: u8 = 128;

/// How many columns and rows away each neighbour of the ring is.
pub const STEP: [(isize, isize); 8] = [(1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1)];

/// No neighbour.
pub const NONE: u8 = 8;

/// What a cell does with the set of its lower neighbours.
///
/// Lower neighbours that touch each other around the ring are already joined below the cell's own height, so the cell links
/// only *runs* of them: it belongs to the basin of its receiver, and is a pass to one member of every other run.
#[derive(Clone, Copy)]
pub struct Links {
    /// Ring position of the lower neighbour whose basin the cell shares; [`NONE`] for a cell that starts a basin.
    pub receiver: u8,
    /// How many of `passes` are used.
    pub n_passes: u8,
    /// Ring positions of one lower neighbour in every other run.
    pub passes: [u8; 4],
}

/// Rows of a strip: the neighbouring row below or above may belong to another strip, whose basins are not yet known.
#[derive(Clone, Copy)]
pub struct RowKind {
    /// No row below in this strip.
    pub first: bool,
    /// No row above in this strip.
    pub last: bool,
}

/// [`Links`] for every set of lower neighbours.
pub struct Table {
    pub links: [Links; 256],
    /// Where a cell's label comes from: 0..4 the neighbour S, SW, SE, W; [`FRESH`] for a new label.
    pub source: [u8; 256],
    /// 1 where the cell is a pass.
    pub is_pass: [u8; 256],
}

/// In [`Table::source`]: no neighbour that already has a label lies lower.
pub const FRESH: u8 = 4;

static TABLES: [Table; 4] = [table(0xFF), table(!(SW | S | SE)), table(!(NW | N | NE)), table(E | W)];

impl RowKind {
    /// The table for such rows.
    pub fn table(self) -> &'static Table {
        &TABLES[usize::from(self.first) + 2 * usize::from(self.last)]
    }
}

const fn table(inside: u8) -> Table {
    let empty = Links { receiver: NONE, n_passes: 0, passes: [NONE; 4] };
    let mut table = Table { links: [empty; 256], source: [FRESH; 256], is_pass: [0; 256] };
    let mut mask = 0;
    while mask < 256 {
        let links = links(mask as u8, inside);
        table.links[mask] = links;
        table.is_pass[mask] = (links.n_passes > 0) as u8;
        table.source[mask] = match links.receiver {
            6 => 0,
            5 => 1,
            7 => 2,
            4 => 3,
            _ => FRESH,
        };
        mask += 1;
    }
    table
}

/// First set ring position in the order of preference: the row below first, so that labels need not wait for the cell before.
const fn preferred(bits: u8) -> u8 {
    let order = [6, 5, 7, 4, 0, 2, 3, 1];
    let mut k = 0;
    while k < 8 {
        if bits & (1 << order[k]) != 0 {
            return order[k];
        }
        k += 1;
    }
    NONE
}

/// The ring positions that touch `start` through lower neighbours; north and east touch each other across the corner.
const fn run_of(start: u8, mask: u8) -> u8 {
    let mut run: u8 = 1 << start;
    loop {
        let beside = run.rotate_left(1) | run.rotate_right(1);
        let orthogonal = run & (E | N | W | S);
        let across = orthogonal.rotate_left(2) | orthogonal.rotate_right(2);
        let grown = run | ((beside | across) & mask);
        if grown == run {
            return run;
        }
        run = grown;
    }
}

const fn links(mask: u8, inside: u8) -> Links {
    let mut links = Links { receiver: preferred(mask & inside), n_passes: 0, passes: [NONE; 4] };
    let mut left = mask;
    if links.receiver != NONE {
        left &= !run_of(links.receiver, mask);
    }
    while left != 0 {
        let run = run_of(left.trailing_zeros() as u8, mask);
        let known = preferred(run & inside);
        links.passes[links.n_passes as usize] = if known == NONE { preferred(run) } else { known };
        links.n_passes += 1;
        left &= !run;
    }
    links
}

/// For a padded row and the next one: which of the neighbours E, NE, N, NW of each cell lie lower; both pads say "all".
pub fn ahead(row: &[f64], next: &[f64], out: &mut [u8]) {
    const BLOCK: usize = 16;
    let n = row.len() - 2;
    out[0] = E | NE | N | NW;
    out[n + 1] = E | NE | N | NW;
    let mut at = 0;
    while at < n {
        // Blocks of one length, the last one over cells already done: the compiler then works on several cells at once.
        let begin = at.min(n.saturating_sub(BLOCK));
        let end = (begin + BLOCK).min(n);
        let mut codes = [0u64; BLOCK];
        let (here, above) = (&row[begin + 1..end + 2], &next[begin..end + 2]);
        for (k, code) in codes[..end - begin].iter_mut().enumerate() {
            let z = here[k];
            *code = u64::from(here[k + 1] < z)
                | u64::from(above[k + 2] < z) << 1
                | u64::from(above[k + 1] < z) << 2
                | u64::from(above[k] < z) << 3;
        }
        for (out, code) in out[begin + 1..end + 1].iter_mut().zip(codes) {
            *out = code as u8;
        }
        at += BLOCK;
    }
}

/// The full set of lower neighbours from what the row and the row below say of those ahead of them.
pub fn masks(row: &[u8], below: &[u8], out: &mut [u8]) {
    let n = row.len();
    let (here, west) = (&row[1..n - 1], &row[..n - 2]);
    let (south_west, south, south_east) = (&below[..n - 2], &below[1..n - 1], &below[2..]);
    for (((((out, &g), &w), &sw), &s), &se) in out.iter_mut().zip(here).zip(west).zip(south_west).zip(south).zip(south_east) {
        let higher_behind = (w & E) | (sw & NE) | (s & N) | (se & NW);
        *out = g | !(higher_behind << 4) & 0xF0;
    }
}

/// Which sets of lower neighbours fall into two runs or more: 1 for a pass, as in [`Table::is_pass`] for inner rows.
pub fn passes(masks: &[u8], out: &mut [u8]) {
    for (out, &mask) in out.iter_mut().zip(masks) {
        // North and east touch across the corner: fill it. Then a run begins where the position before is not lower.
        let orthogonal = mask & (E | N | W | S);
        let filled = mask | (orthogonal.rotate_left(1) & orthogonal.rotate_right(1));
        let begins = filled & !filled.rotate_left(1);
        *out = u8::from(begins & begins.wrapping_sub(1) != 0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn passes_of_inner_rows_are_those_of_the_table() {
        let masks: Vec<u8> = (0..=255).collect();
        let mut found = vec![0; 256];
        passes(&masks, &mut found);
        assert_eq!(found, RowKind { first: false, last: false }.table().is_pass);
    }
}
