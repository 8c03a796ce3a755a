//! The lowest pass out of every basin, and the next, until all are joined to the drain.
//!
//! Borůvka's contraction (O. Borůvka 1926, *O jistém problému minimálním*; in English in Nešetřil, Milková, Nešetřilová 2001,
//! Discrete Mathematics 233) used for the lowest *highest point* on the way out: a group of basins has to rise to its lowest
//! pass before any water leaves, so its level is the higher of that pass and of the level on the other side.

/// A pass between two basins.
#[derive(Clone, Copy)]
pub struct Pass {
    /// Height: that of the higher of its two cells.
    pub z: f64,
    /// Basin of the higher cell.
    pub a: u32,
    /// Basin of the lower one; with `beyond` the cell itself, in another strip.
    pub b: u32,
    /// The higher cell.
    pub cell: u32,
    /// Whether `b` is a cell of another strip.
    pub beyond: bool,
}

/// The drain: basin 0 of every graph; all outlets lead there.
pub const DRAIN: u32 = 0;

/// How basins were joined: a tree whose root is the drain, or a group that cannot be judged further.
pub struct Forest {
    /// The group a basin joined (its own number while it stands by itself).
    pub up: Vec<u32>,
    /// Height of the pass by which it joined.
    pub z: Vec<f64>,
    /// Cell of that pass.
    pub cell: Vec<u32>,
    /// Basins in the order in which they joined.
    pub joined: Vec<u32>,
    /// Basins that stand by themselves at the end, ascending; the drain first.
    pub standing: Vec<u32>,
}

impl Forest {
    /// Level of every basin from those of the standing ones, given in their order.
    pub fn levels(&self, standing: impl Iterator<Item = f64>) -> Vec<f64> {
        let mut level = vec![f64::INFINITY; self.up.len()];
        for (&basin, z) in self.standing.iter().zip(standing) {
            level[basin as usize] = z;
        }
        for &basin in self.joined.iter().rev() {
            let basin = basin as usize;
            level[basin] = self.z[basin].max(level[self.up[basin] as usize]);
        }
        level
    }

    /// For every basin the basin that heads its pond: the one whose pass is the pond's spill, alone or for a group.
    /// Heads among the standing are given in their order.
    pub fn heads<T: Copy>(&self, level: &[f64], standing: impl Iterator<Item = T>, mut own: impl FnMut(u32) -> T, none: T) -> Vec<T> {
        let mut head = vec![none; self.up.len()];
        for (&basin, given) in self.standing.iter().zip(standing) {
            head[basin as usize] = given;
        }
        for &basin in self.joined.iter().rev() {
            let i = basin as usize;
            head[i] = if self.z[i] == level[i] { own(basin) } else { head[self.up[i] as usize] };
        }
        head
    }
}

#[derive(Clone, Copy)]
struct Best {
    z: f64,
    pass: u32,
}

const UNKNOWN: Best = Best { z: f64::INFINITY, pass: u32::MAX };

/// Joins basins over their lowest passes as far as can be known.
///
/// `rim` is for each basin the lowest height at which unknown ground may be reached: a basin whose lowest known pass is not
/// below it waits. Passes keep their order, which breaks ties the same way everywhere, so no ring of equal passes can form.
/// `passes` keeps those between basins that still stand.
pub fn contract(basins: usize, passes: &mut Vec<Pass>, mut rim: Vec<f64>) -> Forest {
    let mut forest = Forest {
        up: (0..basins as u32).collect(),
        z: vec![f64::INFINITY; basins],
        cell: vec![0; basins],
        joined: Vec::with_capacity(basins),
        standing: (0..basins as u32).collect(),
    };
    rim[DRAIN as usize] = f64::NEG_INFINITY;
    let mut best = vec![UNKNOWN; basins];
    loop {
        lowest_passes(passes, &mut best);
        choose(&mut forest, &best, passes, &rim);
        if !join(&mut forest, &mut best, passes, &mut rim) {
            return forest;
        }
        let up = &forest.up;
        passes.retain_mut(|pass| {
            pass.a = up[pass.a as usize];
            if !pass.beyond {
                pass.b = up[pass.b as usize];
            }
            pass.beyond || pass.a != pass.b
        });
    }
}

fn lowest_passes(passes: &[Pass], best: &mut [Best]) {
    for (i, pass) in passes.iter().enumerate() {
        if !pass.beyond {
            for basin in [pass.a, pass.b] {
                let best = &mut best[basin as usize];
                if pass.z < best.z {
                    *best = Best { z: pass.z, pass: i as u32 };
                }
            }
        }
    }
}

/// Points `up` of every basin that knows its lowest pass across it; of two that choose each other the earlier one stays.
fn choose(forest: &mut Forest, best: &[Best], passes: &[Pass], rim: &[f64]) {
    for &basin in &forest.standing {
        let found = best[basin as usize];
        if found.z < rim[basin as usize] {
            let pass = passes[found.pass as usize];
            forest.up[basin as usize] = pass.a ^ pass.b ^ basin;
        }
    }
    for &basin in &forest.standing {
        let other = forest.up[basin as usize];
        if basin < other && forest.up[other as usize] == basin {
            forest.up[basin as usize] = basin;
        }
    }
}

/// Follows the choices to where they end and joins everybody on the way there; false when nobody had a choice.
fn join(forest: &mut Forest, best: &mut [Best], passes: &[Pass], rim: &mut [f64]) -> bool {
    let before = forest.joined.len();
    for k in 0..forest.standing.len() {
        let basin = forest.standing[k];
        let mut end = forest.up[basin as usize];
        while forest.up[end as usize] != end {
            end = forest.up[end as usize];
        }
        let mut at = basin;
        while forest.up[at as usize] != end && at != end {
            at = std::mem::replace(&mut forest.up[at as usize], end);
        }
        if basin != end {
            let found = best[basin as usize];
            forest.z[basin as usize] = found.z;
            forest.cell[basin as usize] = passes[found.pass as usize].cell;
            forest.joined.push(basin);
            rim[end as usize] = rim[end as usize].min(rim[basin as usize]);
        }
        best[basin as usize] = UNKNOWN;
    }
    let up = &forest.up;
    forest.standing.retain(|&basin| up[basin as usize] == basin);
    forest.joined.len() > before
}
