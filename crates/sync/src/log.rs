//! A log's hashes as both ends hold them.

use ledger::tree::Sized;
use ledger::{Frontier, Hash, SignedHead, Tree};

/// A log's tree, with as much of its edge as tells the root it will have.
#[derive(Clone, Debug, Default)]
pub(crate) struct Log {
    tree: Tree,
    edge: Frontier,
    /// The largest signed head known, which may be ahead of the entries here.
    pub head: Option<(Sized, SignedHead)>,
}

impl Log {
    pub fn size(&self) -> u64 {
        self.tree.size()
    }

    pub fn tree(&self) -> &Tree {
        &self.tree
    }

    pub fn push(&mut self, leaf: Hash) {
        self.tree.push(leaf);
        self.edge.push(leaf);
    }

    /// Size and root once these are appended.
    pub fn with(&self, leaves: &[Hash]) -> Sized {
        let mut edge = self.edge.clone();
        leaves.iter().for_each(|leaf| edge.push(*leaf));
        Sized { size: edge.size(), root: edge.root() }
    }

    /// The first of these leaves, which begin at `from`, that differs from the one that stands there.
    pub fn first_other(&self, from: u64, leaves: &[Hash]) -> Option<u64> {
        let mut places = (from..self.size()).zip(leaves);
        places.find(|(place, leaf)| self.leaf(*place) != Some(**leaf)).map(|(place, _)| place)
    }

    pub fn leaf(&self, place: u64) -> Option<Hash> {
        usize::try_from(place).ok().and_then(|place| self.tree.leaves().get(place).copied())
    }

    /// Takes a head if it is larger than the one known.
    pub fn take_head(&mut self, sized: Sized, signed: &SignedHead) {
        if self.head.as_ref().is_none_or(|(known, _)| known.size < sized.size) {
            self.head = Some((sized, signed.clone()));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_root_to_come_is_the_root_the_tree_will_have() {
        let leaves: Vec<Hash> = (0..40u8).map(|n| Hash::leaf(&[n])).collect();
        for from in 0..leaves.len() {
            let mut log = Log::default();
            leaves[..from].iter().for_each(|leaf| log.push(*leaf));
            for to in from..leaves.len() {
                let tree = Tree::of(leaves[..to].iter().copied());
                assert_eq!(log.with(&leaves[from..to]), Sized { size: to as u64, root: tree.root() });
            }
        }
    }

    #[test]
    fn the_first_other_entry_is_found() {
        let mut log = Log::default();
        (0..5u8).for_each(|n| log.push(Hash::leaf(&[n])));
        let leaf = |n: u8| Hash::leaf(&[n]);
        assert_eq!(log.first_other(3, &[leaf(3), leaf(4), leaf(9)]), None, "what lies beyond is new, not other");
        assert_eq!(log.first_other(3, &[leaf(3), leaf(7)]), Some(4));
        assert_eq!(log.first_other(7, &[leaf(3)]), None);
    }
}
