//! SHA-256, as hex and as the leaves and nodes of a log.

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use sha2::{Digest, Sha256};
use std::fmt;

/// A SHA-256 value; written as 64 lower-case hex digits.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Hash(pub [u8; 32]);

impl Hash {
    /// SHA-256 of bytes: the name of a blob.
    pub fn of(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }

    /// The hash of a leaf, SHA-256(0x00 || bytes) (RFC 9162, 2.1.1).
    pub fn leaf(bytes: &[u8]) -> Self {
        Self(Sha256::new().chain_update([0]).chain_update(bytes).finalize().into())
    }

    /// The hash of a node over its two children, SHA-256(0x01 || left || right) (RFC 9162, 2.1.1).
    pub fn node(left: &Self, right: &Self) -> Self {
        Self(Sha256::new().chain_update([1]).chain_update(left.0).chain_update(right.0).finalize().into())
    }

    /// Reads 64 lower-case hex digits; anything else is `None`.
    pub fn from_hex(text: &str) -> Option<Self> {
        from_hex(text).map(Self)
    }
}

impl fmt::Display for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&to_hex(&self.0))
    }
}

impl fmt::Debug for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl Serialize for Hash {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&to_hex(&self.0))
    }
}

impl<'de> Deserialize<'de> for Hash {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        Self::from_hex(&text).ok_or_else(|| serde::de::Error::custom("not 64 lower-case hex digits"))
    }
}

/// Bytes as lower-case hex digits.
pub fn to_hex(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 16] = b"0123456789abcdef";
    bytes.iter().flat_map(|b| [b >> 4, b & 15]).map(|d| char::from(DIGITS[usize::from(d)])).collect()
}

/// The bytes of so many lower-case hex digits, no more and no fewer. Upper case is refused: one value has one spelling, so
/// no change of a record's text goes unseen.
pub fn from_hex<const N: usize>(text: &str) -> Option<[u8; N]> {
    let digit = |c: u8| match c {
        b'0'..=b'9' => Some(c - b'0'),
        b'a'..=b'f' => Some(c - b'a' + 10),
        _ => None,
    };
    if text.len() != 2 * N {
        return None;
    }
    let mut bytes = [0; N];
    for (byte, pair) in bytes.iter_mut().zip(text.as_bytes().chunks_exact(2)) {
        *byte = digit(pair[0])? << 4 | digit(pair[1])?;
    }
    Some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hex_has_one_spelling() {
        let hash = Hash::of(b"abc");
        // FIPS 180-4's example for "abc", as any `sha256sum` prints it.
        assert_eq!(hash.to_string(), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
        assert_eq!(Hash::from_hex(&hash.to_string()), Some(hash));
        for wrong in ["", "ba78", &hash.to_string().to_uppercase(), &format!("{hash}0"), &"é".repeat(32)] {
            assert_eq!(Hash::from_hex(wrong), None, "{wrong}");
        }
    }
}
