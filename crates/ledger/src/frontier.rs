//! A log's size and root without its entries: the roots of the complete subtrees that make it up.

use crate::Hash;

/// As much of a log's tree (RFC 9162, 2.1.1) as an append needs: one hash for each bit set in the size, largest subtree
/// first. An append hashes once on average, the root at most once for each of them.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Frontier {
    size: u64,
    subtrees: Vec<Hash>,
}

impl Frontier {
    /// What was stored by [`Frontier::to_bytes`]; `None` when it can't be of that size.
    pub fn of(size: u64, bytes: &[u8]) -> Option<Self> {
        let (hashes, rest) = bytes.as_chunks::<32>();
        let fits = rest.is_empty() && hashes.len() as u32 == size.count_ones();
        fits.then(|| Self { size, subtrees: hashes.iter().map(|hash| Hash(*hash)).collect() })
    }

    /// Its hashes one after the other.
    pub fn to_bytes(&self) -> Vec<u8> {
        self.subtrees.iter().flat_map(|hash| hash.0).collect()
    }

    /// Entries.
    pub fn size(&self) -> u64 {
        self.size
    }

    /// Appends an entry by its leaf hash.
    pub fn push(&mut self, leaf: Hash) {
        let mut hash = leaf;
        for _ in 0..self.size.trailing_ones() {
            let left = self.subtrees.pop().expect("there is a subtree for each bit of the size");
            hash = Hash::node(&left, &hash);
        }
        self.subtrees.push(hash);
        self.size += 1;
    }

    /// The root over all entries.
    pub fn root(&self) -> Hash {
        let from_small = self.subtrees.iter().rev().copied();
        from_small.reduce(|right, left| Hash::node(&left, &right)).unwrap_or_else(|| Hash::of(b""))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Tree;

    #[test]
    fn has_the_root_of_the_whole_tree_at_every_size() {
        let (mut tree, mut frontier) = (Tree::new(), Frontier::default());
        for i in 0..300_u32 {
            assert_eq!((tree.size(), tree.root()), (frontier.size(), frontier.root()));
            assert_eq!(Frontier::of(frontier.size(), &frontier.to_bytes()).as_ref(), Some(&frontier));
            assert_eq!(Frontier::of(frontier.size() + 2, &frontier.to_bytes()).is_some(), (i + 2).count_ones() == i.count_ones());
            let leaf = Hash::leaf(&i.to_be_bytes());
            tree.push(leaf);
            frontier.push(leaf);
        }
    }
}
