//! Keys, heads and receipts: the RFC's vectors, and what must be refused.
#![cfg(test)]

use ledger::hash::{from_hex, to_hex};
use ledger::key::Signature;
use ledger::{Clock, Hash, Head, Key, PublicKey, Receipt, SignedHead, Tree};

const AT: &str = "2026-11-25T09:30:00+11:00";

fn key(n: u8) -> Key {
    Key::from_seed(&[n; 32])
}

fn log(size: u64) -> Tree {
    Tree::of((0..size).map(|i| Hash::leaf(&i.to_be_bytes())))
}

fn signed(n: u8, size: u64) -> SignedHead {
    Head::of(key(n).public().device(), &log(size), AT).sign(&key(n))
}

/// RFC 8032, 7.1, tests 1, 2, 3 and "SHA(abc)": seed, public key, message, signature.
const RFC_8032: [[&str; 4]; 4] = [
    [
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
    ],
    [
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ],
    [
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
    ],
    [
        "833fe62409237b9d62ec77587520911e9a759cec1d19755b7da901b96dca3d42",
        "ec172b93ad5e563bf4932c70e1245034c35467ef2efd4d64ebf819683467e2bf",
        "ddaf35a193617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a2192992a274fc1a836ba3c23a3feebbd454d4423643ce80e2a9ac94fa54ca49f",
        "dc2a4459e7369633a52b1bf277839a00201009a3efbf3ecb69bea2186c26b58909351fc9ac90b3ecfdfbc7c66431e0303dca179c138ac17ad9bef1177331a704",
    ],
];

#[test]
fn keys_and_signatures_are_those_of_rfc_8032() {
    for [seed, public, message, signature] in RFC_8032 {
        let message: Vec<u8> = (0..message.len() / 2).map(|i| u8::from_str_radix(&message[2 * i..2 * i + 2], 16).unwrap()).collect();
        let key = Key::from_seed(&from_hex(seed).unwrap());
        assert_eq!(key.public().to_string(), public);
        assert_eq!(key.sign(&message).to_string(), signature);
        assert!(key.public().signed(&message, &Signature::from_hex(signature).unwrap()));
        assert!(!key.public().signed(&[&message[..], b"x"].concat(), &Signature::from_hex(signature).unwrap()));
    }
}

#[test]
fn one_signature_cannot_be_made_into_another() {
    let key = key(1);
    let signature = key.sign(b"head");
    // S + L, the same scalar above the group's order L (RFC 8032, 5.1): a lax verifier takes it.
    let order: [u8; 32] = from_hex("edd3f55c1a631258d69cf7a2def9de1400000000000000000000000000000010").unwrap();
    let mut malleated = signature;
    let mut carry = 0;
    for (s, l) in malleated.0[32..].iter_mut().zip(order) {
        let sum = u16::from(*s) + u16::from(l) + carry;
        *s = sum.to_le_bytes()[0];
        carry = sum >> 8;
    }
    assert!(key.public().signed(b"head", &signature));
    assert!(!key.public().signed(b"head", &malleated));
    // The neutral element as key and as R, S = 0: it would "sign" everything.
    let mut neutral = [0; 32];
    neutral[0] = 1;
    let mut nothing = [0; 64];
    nothing[0] = 1;
    assert!(!PublicKey(neutral).signed(b"head", &Signature(nothing)));
}

#[test]
fn a_signed_head_is_read_back_and_checked() {
    let signed = signed(1, 5);
    let (read, head) = SignedHead::read(signed.to_line().as_bytes()).unwrap();
    assert_eq!(read, signed);
    assert_eq!((head.size, head.root, head.at.as_str()), (5, log(5).root(), AT));
    let (checked, by) = signed.check().unwrap();
    assert_eq!((checked, by), (head, key(1).public()));
    assert_eq!(by.device(), to_hex(&Hash::of(&by.0).0)[..32]);
}

#[test]
fn every_changed_bit_of_a_signed_head_is_refused() {
    let line = signed(1, 5).to_line();
    for bit in 0..line.len() * 8 {
        let mut changed = line.clone().into_bytes();
        changed[bit / 8] ^= 1 << (bit % 8);
        assert!(SignedHead::read(&changed).is_err() || SignedHead::read(&changed).unwrap().0.check().is_err(), "bit {bit}");
    }
}

#[test]
fn a_head_signed_by_another_device_is_refused() {
    let forged = Head::of(key(1).public().device(), &log(5), AT).sign(&key(2));
    assert!(forged.check().unwrap_err().to_string().contains("not the key of the device"), "{:?}", forged.check());
    let borrowed = SignedHead { signature: signed(1, 6).signature, ..signed(1, 5) };
    assert!(borrowed.check().unwrap_err().to_string().contains("does not fit"));
}

#[test]
fn a_job_log_may_be_signed_by_any_key() {
    let head = Head::of("017f22e2-79b0-7cc3-98c4-dc0c0c07398f", &log(2), AT);
    assert_eq!(head.sign(&key(3)).check().unwrap().1, key(3).public());
}

#[test]
fn all_that_is_wrong_with_a_head_is_named_at_once() {
    let wrong = r#"{"head":"{\"log\":\"bathroom\",\"size\":1099511627777,\"root\":\"00\",\"at\":\"today\"}","key":"00","signature":"11"}"#;
    let problems = SignedHead::read(wrong.as_bytes()).unwrap_err().to_string();
    for part in ["key", "signature", "head"] {
        assert!(problems.contains(part), "{part} in {problems}");
    }
    let root = Hash::of(b"");
    let wrong = format!(r#"{{"log":"bathroom","size":1099511627777,"root":"{root}","at":"today"}}"#);
    assert_eq!(Head::read(&wrong).unwrap_err().problems.len(), 3);
}

#[test]
fn a_head_of_a_later_version_keeps_its_text() {
    let text = format!(r#"{{"log":"{}","size":0,"root":"{}","at":"{AT}","tide":"low"}}"#, key(1).public().device(), Hash::of(b""));
    let signed = SignedHead { signature: key(1).sign(text.as_bytes()).to_string(), key: key(1).public().to_string(), head: text.clone() };
    let (read, _) = SignedHead::read(signed.to_line().as_bytes()).unwrap();
    assert_eq!(read.head, text);
    assert!(read.check().is_ok());
}

#[test]
fn a_receipt_holds_the_head_and_says_the_same() {
    let clock = Some(Clock { offset_ms: -1250.5, u_ms: 40.0 });
    let receipt = Receipt::of(&signed(1, 5), "2026-11-25T10:00:00+11:00", clock).unwrap();
    assert_eq!(Receipt::read(receipt.to_line().as_bytes()).unwrap(), receipt);
    assert_eq!(receipt.check().unwrap().0.size, 5);
    let other = Receipt { size: 4, ..receipt.clone() };
    assert!(Receipt::read(other.to_line().as_bytes()).unwrap_err().to_string().contains("another log, size or root"));
    let borrowed = SignedHead { signature: signed(1, 6).signature, ..signed(1, 5) };
    assert!(Receipt::of(&borrowed, AT, None).is_err(), "a head that does not fit is not received");
    let wrong = Receipt::of(&signed(1, 5), "noon", Some(Clock { offset_ms: f64::NAN, u_ms: -1.0 })).unwrap_err();
    assert_eq!(wrong.problems.len(), 3, "{wrong}");
}
