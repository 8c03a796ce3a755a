//! The lowest pass out of every basin, and the next, until all are joined to the drain.
//!
//! Borůvka's contraction (O. Borůvka 1926, *O jistém problému minimálním*; in English in Nešetřil, Milková, Nešetřilová 2001,
//! Discrete Mathematics 233) used for the lowest *highest point* on the way out: a group of basins has to rise to its lowest
//! pass before any water leaves, so its level is the higher of that pass and of the level on the other side.

/// A pass between two basins.
#[derive(Clone, Copy)]
pub struct Pass {
    /// Height: that of the higher of its two cells.
    pub z: Height,
    /// Basin of the higher cell.
    pub a: u32,
    /// Basin of the lower one; for a pass out of a strip the cell itself.
    pub b: u32,
    /// The higher cell.
    pub cell: u32,
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
    z: Height,
    pass: u32,
}

const UNKNOWN: Best = Best { z: Height::TOP, pass: u32::MAX };

/// A height as a whole number that orders the same way, without loss: compared and chosen without a branch.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Height(i64);

impl Height {
    /// Above every height.
    pub const TOP: Self = Self(i64::MAX);
    /// Below every height.
    const BOTTOM: Self = Self(i64::MIN);

    /// From a height; zero has no sign.
    pub fn new(z: f64) -> Self {
        let bits = (z + 0.0).to_bits() as i64;
        Self(bits ^ ((bits >> 63) & i64::MAX))
    }

    /// The height again.
    pub fn z(self) -> f64 {
        f64::from_bits((self.0 ^ ((self.0 >> 63) & i64::MAX)) as u64)
    }
}

/// Joins basins over their lowest passes as far as can be known.
///
/// `rim` is for each basin the lowest height at which unknown ground may be reached: a basin whose lowest known pass is not
/// below it waits. Passes keep their order, which breaks ties the same way everywhere, so no ring of equal passes can form.
/// `passes` keeps those between basins that still stand.
///
/// The loops carry out both sides of every choice that depends on heights: on rough ground no branch could be foreseen.
pub fn contract(basins: usize, passes: &mut Vec<Pass>, mut rim: Vec<Height>) -> Forest {
    let mut forest = Forest {
        up: (0..basins as u32).collect(),
        z: vec![f64::INFINITY; basins],
        cell: vec![0; basins],
        joined: Vec::with_capacity(basins),
        standing: (0..basins as u32).collect(),
    };
    rim[DRAIN as usize] = Height::BOTTOM;
    let mut best = vec![UNKNOWN; basins];
    while !passes.is_empty() {
        lowest_passes(passes, &mut best);
        choose(&mut forest, &mut best, passes, &rim);
        if !join(&mut forest, &mut rim) {
            break;
        }
        keep_between(&forest.up, passes);
    }
    forest
}

fn lowest_passes(passes: &[Pass], best: &mut [Best]) {
    for (i, pass) in passes.iter().enumerate() {
        let found = Best { z: pass.z, pass: i as u32 };
        for basin in [pass.a, pass.b] {
            let best = &mut best[basin as usize];
            let lower = found.z < best.z;
            best.z = if lower { found.z } else { best.z };
            best.pass = if lower { found.pass } else { best.pass };
        }
    }
}

/// Points `up` of every basin that knows its lowest pass across it; of two that choose each other the earlier one stays.
fn choose(forest: &mut Forest, best: &mut [Best], passes: &[Pass], rim: &[Height]) {
    for &basin in &forest.standing {
        let found = std::mem::replace(&mut best[basin as usize], UNKNOWN);
        if found.z < rim[basin as usize] {
            let pass = passes[found.pass as usize];
            let i = basin as usize;
            (forest.up[i], forest.z[i], forest.cell[i]) = (pass.a ^ pass.b ^ basin, found.z.z(), pass.cell);
        }
    }
    for &basin in &forest.standing {
        let other = forest.up[basin as usize];
        let stays = basin < other && forest.up[other as usize] == basin;
        forest.up[basin as usize] = if stays { basin } else { other };
    }
}

/// Follows the choices to where they end and joins everybody on the way there; false when nobody had a choice.
fn join(forest: &mut Forest, rim: &mut [Height]) -> bool {
    let up = &mut forest.up;
    loop {
        let mut moved = 0;
        for &basin in &forest.standing {
            let once = up[basin as usize];
            let twice = up[once as usize];
            moved |= once ^ twice;
            up[basin as usize] = twice;
        }
        if moved == 0 {
            break;
        }
    }
    let before = forest.joined.len();
    forest.joined.resize(before + forest.standing.len(), 0);
    let (mut joined, mut standing) = (before, 0);
    for k in 0..forest.standing.len() {
        let basin = forest.standing[k];
        let end = up[basin as usize];
        rim[end as usize] = rim[end as usize].min(rim[basin as usize]);
        forest.joined[joined] = basin;
        joined += usize::from(end != basin);
        forest.standing[standing] = basin;
        standing += usize::from(end == basin);
    }
    forest.joined.truncate(joined);
    forest.standing.truncate(standing);
    joined > before
}

/// Renames both sides of each pass and keeps those that still differ, in their order.
pub fn keep_between(up: &[u32], passes: &mut Vec<Pass>) {
    let mut kept = 0;
    for i in 0..passes.len() {
        let pass = passes[i];
        let (a, b) = (up[pass.a as usize], up[pass.b as usize]);
        passes[kept] = Pass { a, b, ..pass };
        kept += usize::from(a != b);
    }
    passes.truncate(kept);
}
