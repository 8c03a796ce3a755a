//! A log as a Merkle tree (RFC 9162, section 2.1): roots, and the proofs that an entry stands in it and that it only grew.

use crate::Hash;

/// A log's hashes: leaves appended one at a time, the root known at every size it ever had.
///
/// Kept are the roots of all complete subtrees, about 64 bytes an entry; an append hashes once for every subtree it
/// completes, one on average. RFC 9162, 2.1.1.
///
/// ```
/// use ledger::{Hash, Tree};
/// let mut tree = Tree::new();
/// for event in ["a", "b", "c"] {
///     tree.push(Hash::leaf(event.as_bytes()));
/// }
/// let proof = tree.inclusion(1, 3).unwrap();
/// assert!(ledger::tree::is_included(&Hash::leaf(b"b"), 1, 3, &proof, &tree.root()));
/// ```
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Tree {
    /// `levels[h][i]` is the root over the leaves i 2^h .. (i + 1) 2^h.
    levels: Vec<Vec<Hash>>,
}

impl Tree {
    /// No entries.
    pub fn new() -> Self {
        Self::default()
    }

    /// The tree of leaf hashes that were stored.
    pub fn of(leaves: impl IntoIterator<Item = Hash>) -> Self {
        let mut tree = Self::new();
        leaves.into_iter().for_each(|leaf| tree.push(leaf));
        tree
    }

    /// How many entries it has.
    pub fn size(&self) -> u64 {
        self.leaves().len() as u64
    }

    /// The leaf hashes in order.
    pub fn leaves(&self) -> &[Hash] {
        self.levels.first().map_or(&[], Vec::as_slice)
    }

    /// Appends an entry by its leaf hash.
    pub fn push(&mut self, leaf: Hash) {
        let mut hash = leaf;
        for height in 0.. {
            if self.levels.len() == height {
                self.levels.push(Vec::new());
            }
            let level = &mut self.levels[height];
            level.push(hash);
            if !level.len().is_multiple_of(2) {
                return;
            }
            hash = Hash::node(&level[level.len() - 2], &level[level.len() - 1]);
        }
    }

    /// The root over all entries.
    pub fn root(&self) -> Hash {
        self.subtree(0, self.leaves().len())
    }

    /// The root when it had so many entries; `None` when it never had as many.
    pub fn root_at(&self, size: u64) -> Option<Hash> {
        Some(self.subtree(0, self.within(size)?))
    }

    /// The proof that entry `index` stands in the tree of the first `size`, lowest sibling first (RFC 9162, 2.1.3.1). `None`
    /// when there is no such entry or size.
    pub fn inclusion(&self, index: u64, size: u64) -> Option<Vec<Hash>> {
        let size = self.within(size)?;
        let index = self.within(index).filter(|index| *index < size)?;
        let mut proof = Vec::new();
        self.path(index, 0, size, &mut proof);
        Some(proof)
    }

    /// The proof that the tree of the first `old` entries is the beginning of that of the first `new`, in the RFC's order
    /// (RFC 9162, 2.1.4.1). Empty for equal sizes. `None` for `old` of zero, which RFC 9162 gives no proof, and for sizes it
    /// never had.
    pub fn consistency(&self, old: u64, new: u64) -> Option<Vec<Hash>> {
        let new = self.within(new)?;
        let old = self.within(old).filter(|old| (1..=new).contains(old))?;
        let mut proof = Vec::new();
        self.subproof(old, 0, new, true, &mut proof);
        Some(proof)
    }

    fn within(&self, size: u64) -> Option<usize> {
        usize::try_from(size).ok().filter(|size| *size <= self.leaves().len())
    }

    /// MTH over the leaves `from..to`: stored when they are a complete subtree, else made of two.
    fn subtree(&self, from: usize, to: usize) -> Hash {
        let count = to - from;
        if count == 0 {
            return Hash::of(b"");
        }
        let height = count.trailing_zeros() as usize;
        if count.is_power_of_two() {
            return self.levels[height][from >> height];
        }
        let middle = from + split(count);
        Hash::node(&self.subtree(from, middle), &self.subtree(middle, to))
    }

    /// PATH(index, D[from:to]).
    fn path(&self, index: usize, from: usize, to: usize, proof: &mut Vec<Hash>) {
        if to - from == 1 {
            return;
        }
        let middle = from + split(to - from);
        if index < middle {
            self.path(index, from, middle, proof);
            proof.push(self.subtree(middle, to));
        } else {
            self.path(index, middle, to, proof);
            proof.push(self.subtree(from, middle));
        }
    }

    /// SUBPROOF(old - from, D[from:to], known): `known` while the old tree is a subtree the asker has the root of.
    fn subproof(&self, old: usize, from: usize, to: usize, known: bool, proof: &mut Vec<Hash>) {
        if old == to {
            if !known {
                proof.push(self.subtree(from, to));
            }
            return;
        }
        let middle = from + split(to - from);
        if old <= middle {
            self.subproof(old, from, middle, known, proof);
            proof.push(self.subtree(middle, to));
        } else {
            self.subproof(old, middle, to, false, proof);
            proof.push(self.subtree(from, middle));
        }
    }
}

/// The largest power of two below a count above one: where RFC 9162 divides a tree.
fn split(count: usize) -> usize {
    1 << (count - 1).ilog2()
}

/// Whether the proof shows entry `index`, of this leaf hash, in a tree of so many entries with this root (RFC 9162, 2.1.3.2).
pub fn is_included(leaf: &Hash, index: u64, size: u64, proof: &[Hash], root: &Hash) -> bool {
    if index >= size {
        return false;
    }
    let (mut f, mut s, mut r) = (index, size - 1, *leaf);
    for p in proof {
        if s == 0 {
            return false;
        }
        if f & 1 == 1 || f == s {
            r = Hash::node(p, &r);
            while f & 1 == 0 && f != 0 {
                f >>= 1;
                s >>= 1;
            }
        } else {
            r = Hash::node(&r, p);
        }
        f >>= 1;
        s >>= 1;
    }
    s == 0 && r == *root
}

/// A tree's size and root, as a head says it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sized {
    /// Entries.
    pub size: u64,
    /// Root over them.
    pub root: Hash,
}

/// Whether the proof shows the old tree as the beginning of the new one (RFC 9162, 2.1.4.2). Equal sizes need equal roots
/// and an empty proof; an empty old tree is the beginning of every tree, if its root is the empty tree's.
pub fn is_consistent(old: &Sized, new: &Sized, proof: &[Hash]) -> bool {
    if old.size == 0 {
        return proof.is_empty() && old.root == Hash::of(b"") && (new.size > 0 || new.root == old.root);
    }
    if old.size >= new.size {
        return old == new && proof.is_empty();
    }
    // A complete old tree is its own first node and is not repeated in the proof.
    let first = if old.size.is_power_of_two() { Some(old.root) } else { None };
    let mut nodes = first.into_iter().chain(proof.iter().copied());
    let (mut f, mut s) = (old.size - 1, new.size - 1);
    while f & 1 == 1 {
        f >>= 1;
        s >>= 1;
    }
    let Some(start) = nodes.next() else { return false };
    if proof.is_empty() {
        return false;
    }
    let (mut fr, mut sr) = (start, start);
    for c in nodes {
        if s == 0 {
            return false;
        }
        if f & 1 == 1 || f == s {
            fr = Hash::node(&c, &fr);
            sr = Hash::node(&c, &sr);
            while f & 1 == 0 && f != 0 {
                f >>= 1;
                s >>= 1;
            }
        } else {
            sr = Hash::node(&sr, &c);
        }
        f >>= 1;
        s >>= 1;
    }
    fr == old.root && sr == new.root && s == 0
}
