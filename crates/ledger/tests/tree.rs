//! Roots and proofs against the published reference vectors, an independent computation, and every change of a bit.
#![cfg(test)]

use ledger::tree::{Sized, is_consistent, is_included};
use ledger::{Hash, Tree};
use proptest::prelude::*;
use sha2::{Digest, Sha256};

/// The eight-leaf reference tree of the Certificate Transparency project (`merkle_tree_test.cc` and, as of today,
/// `testonly/reference_test.go` of transparency-dev/merkle): leaves in hex.
const REFERENCE: [&str; 8] = ["", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"];

/// Its roots from no leaf to all. From the same files; `peers/tree.py`'s functions give the same.
const ROOTS: [&str; 9] = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
];

fn bytes(hex: &str) -> Vec<u8> {
    (0..hex.len() / 2).map(|i| u8::from_str_radix(&hex[2 * i..2 * i + 2], 16).unwrap()).collect()
}

fn reference() -> Tree {
    Tree::of(REFERENCE.iter().map(|leaf| Hash::leaf(&bytes(leaf))))
}

/// The tree whose leaves are the numbers from 0 as decimal text.
fn numbers(size: u64) -> Tree {
    Tree::of((0..size).map(number))
}

fn number(i: u64) -> Hash {
    Hash::leaf(i.to_string().as_bytes())
}

fn sized(tree: &Tree, size: u64) -> Sized {
    Sized { size, root: tree.root_at(size).unwrap() }
}

fn words(proof: &[Hash]) -> Vec<String> {
    proof.iter().map(Hash::to_string).collect()
}

#[test]
fn the_reference_roots_come_out_as_published() {
    let tree = reference();
    for (size, root) in ROOTS.iter().enumerate() {
        assert_eq!(tree.root_at(size as u64).unwrap().to_string(), *root, "at {size}");
        assert_eq!(Tree::of(tree.leaves()[..size].iter().copied()).root().to_string(), *root, "grown to {size}");
    }
    assert_eq!(tree.root_at(9), None);
}

#[test]
fn the_reference_proofs_come_out_as_published() {
    // Source as of the leaves; the index is counted from 0 here.
    let inclusion: [(u64, u64, &[&str]); 5] = [
        (0, 1, &[]),
        (
            0,
            8,
            &[
                "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
                "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
                "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
            ],
        ),
        (
            5,
            8,
            &[
                "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
                "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
                "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
            ],
        ),
        (2, 3, &["fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125"]),
        (
            1,
            5,
            &[
                "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
                "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
                "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
            ],
        ),
    ];
    let tree = reference();
    for (index, size, proof) in inclusion {
        assert_eq!(words(&tree.inclusion(index, size).unwrap()), proof, "{index} in {size}");
    }
    let consistency: [(u64, u64, &[&str]); 4] = [
        (1, 1, &[]),
        (
            1,
            8,
            &[
                "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
                "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
                "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
            ],
        ),
        (
            6,
            8,
            &[
                "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a",
                "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
                "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
            ],
        ),
        (
            2,
            5,
            &[
                "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
                "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
            ],
        ),
    ];
    for (old, new, proof) in consistency {
        assert_eq!(words(&tree.consistency(old, new).unwrap()), proof, "{old} to {new}");
    }
}

/// What `peers/tree.py` prints: how many hashes, and the SHA-256 over all of them.
#[test]
fn all_roots_and_proofs_to_size_64_equal_the_independent_computation() {
    let tree = numbers(64);
    let all = |hashes: Vec<Hash>| {
        let sum = hashes.iter().fold(Sha256::new(), |sum, hash| sum.chain_update(hash.0));
        (hashes.len(), Hash(sum.finalize().into()).to_string())
    };
    let roots = (0..=64).map(|n| tree.root_at(n).unwrap()).collect();
    let pairs = |from: u64| (1..=64).flat_map(move |new| (from..new + from).map(move |old| (old, new)));
    let inclusion = pairs(0).flat_map(|(index, size)| tree.inclusion(index, size).unwrap()).collect();
    let consistency = pairs(1).flat_map(|(old, new)| tree.consistency(old, new).unwrap()).collect();
    assert_eq!(all(roots), (65, "7546a184641a45045e4658bd2f6e3894d54e84ed4b1f2912f80006dd43be45f7".into()));
    assert_eq!(all(inclusion), (11376, "bbc6047f50324b0e174128779a1a326d40461bb4256e00fcdcc57359523a298d".into()));
    assert_eq!(all(consistency), (11055, "11ad42e399adf119b37249c9dd98ae0359cab86c54145b7fce63f1410511da9e".into()));
}

#[test]
fn every_proof_holds_and_none_holds_for_a_neighbour() {
    let tree = numbers(40);
    for size in 1..=40 {
        let root = tree.root_at(size).unwrap();
        for index in 0..size {
            let proof = tree.inclusion(index, size).unwrap();
            assert!(is_included(&number(index), index, size, &proof, &root), "{index} in {size}");
            assert!(!is_included(&number(index + 1), index, size, &proof, &root), "another leaf at {index} in {size}");
            assert!(!is_included(&number(index), index + size, size, &proof, &root), "beyond {size}");
            for other in (0..size).filter(|other| *other != index) {
                assert!(!is_included(&number(index), other, size, &proof, &root), "{index} at {other} in {size}");
            }
        }
        for old in 1..=size {
            let proof = tree.consistency(old, size).unwrap();
            assert!(is_consistent(&sized(&tree, old), &sized(&tree, size), &proof), "{old} to {size}");
            for other in (1..=size).filter(|other| *other != old) {
                assert!(!is_consistent(&sized(&tree, other), &sized(&tree, size), &proof), "{other} to {size} by the proof of {old}");
            }
            assert!(old == size || !is_consistent(&sized(&tree, size), &sized(&tree, old), &proof), "backwards");
        }
    }
}

#[test]
fn what_there_is_not_has_no_proof() {
    let tree = numbers(5);
    assert_eq!((tree.inclusion(5, 5), tree.inclusion(0, 6), tree.inclusion(0, 0)), (None, None, None));
    assert_eq!((tree.consistency(0, 5), tree.consistency(4, 3), tree.consistency(2, u64::MAX)), (None, None, None));
    let (empty, full) = (sized(&tree, 0), sized(&tree, 5));
    assert!(is_consistent(&empty, &full, &[]) && is_consistent(&empty, &empty, &[]), "every log begins empty");
    assert!(!is_consistent(&Sized { size: 0, root: full.root }, &full, &[]), "an empty log has the empty root");
    assert!(!is_consistent(&sized(&tree, 4), &full, &[]), "no proof proves nothing");
    assert!(!is_consistent(&full, &Sized { size: 5, root: empty.root }, &[]), "one size, two roots");
}

fn flipped(hash: &Hash, bit: usize) -> Hash {
    let mut hash = *hash;
    hash.0[bit / 8 % 32] ^= 1 << (bit % 8);
    hash
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn a_changed_bit_breaks_an_inclusion_proof(size in 1u64..300, at in any::<u64>(), bit in 0usize..256, which in any::<usize>()) {
        let tree = numbers(size);
        let (index, root) = (at % size, tree.root());
        let proof = tree.inclusion(index, size).unwrap();
        prop_assert!(is_included(&number(index), index, size, &proof, &root));
        prop_assert!(!is_included(&flipped(&number(index), bit), index, size, &proof, &root));
        prop_assert!(!is_included(&number(index), index, size, &proof, &flipped(&root, bit)));
        for (longer, changed) in changed(&proof, which, bit).into_iter().enumerate() {
            prop_assert!(!is_included(&number(index), index, size, &changed, &root), "{longer}");
        }
    }

    #[test]
    fn a_changed_bit_breaks_a_consistency_proof(size in 2u64..300, at in any::<u64>(), bit in 0usize..256, which in any::<usize>()) {
        let tree = numbers(size);
        let (old, new) = (sized(&tree, 1 + at % (size - 1)), sized(&tree, size));
        let proof = tree.consistency(old.size, size).unwrap();
        prop_assert!(is_consistent(&old, &new, &proof));
        let broken = [Sized { root: flipped(&old.root, bit), ..old }, Sized { root: flipped(&new.root, bit), ..new }];
        prop_assert!(!is_consistent(&broken[0], &new, &proof) && !is_consistent(&old, &broken[1], &proof));
        for changed in changed(&proof, which, bit) {
            prop_assert!(!is_consistent(&old, &new, &changed));
        }
    }
}

/// A proof with one bit changed, one hash left out, one doubled, and one too many.
fn changed(proof: &[Hash], which: usize, bit: usize) -> Vec<Vec<Hash>> {
    let mut longer = proof.to_vec();
    longer.push(Hash::of(b""));
    if proof.is_empty() {
        return vec![longer];
    }
    let at = which % proof.len();
    let (mut other, mut shorter, mut doubled) = (proof.to_vec(), proof.to_vec(), proof.to_vec());
    other[at] = flipped(&other[at], bit);
    shorter.remove(at);
    doubled.insert(at, proof[at]);
    vec![longer, other, shorter, doubled]
}
