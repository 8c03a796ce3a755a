//! The roots that the heads of a batch speak of, taken down while its entries are added.

use crate::batch::CheckedHead;
use crate::{Error, Result};
use ledger::{Frontier, Hash};
use std::collections::BTreeMap;

/// The roots that a log must have had at the sizes its heads name.
#[derive(Debug)]
pub(crate) struct RootsWanted(BTreeMap<u64, Option<Hash>>);

impl RootsWanted {
    /// The sizes of these heads; the root of the size the log has now is known.
    pub fn of(now: &Frontier, heads: &[CheckedHead]) -> Self {
        let mut wanted = Self(heads.iter().map(|head| (head.size, None)).collect());
        wanted.grown(now);
        wanted
    }

    /// Takes the root of a size down, if it is wanted.
    pub fn grown(&mut self, tree: &Frontier) {
        if let Some(root) = self.0.get_mut(&tree.size()) {
            *root = Some(tree.root());
        }
    }

    /// Whether the root of this size is known.
    pub fn has(&self, size: u64) -> bool {
        self.0.get(&size).is_some_and(Option::is_some)
    }

    /// Refuses a head that says another root than the log had, or more entries than it has.
    pub fn check(&self, log: &str, size: u64, head: &CheckedHead) -> Result<()> {
        match self.0.get(&head.size) {
            Some(Some(root)) if *root == head.root => Ok(()),
            Some(Some(root)) => {
                let what = format!("the head of {} entries of log {log} does not fit the entries that are here", head.size);
                Err(Error::refused("heads", head.root, what, format!("root {root}")))
            }
            _ => Err(Error::refused("heads", head.size, format!("a head of more entries than log {log} has"), format!("at most {size}"))),
        }
    }
}
