//! A device's key: Ed25519 (RFC 8032), handed in as 32 secret bytes.

use crate::Hash;
use crate::hash::{from_hex, to_hex};
use ed25519_dalek::{Signer, SigningKey, VerifyingKey};
use std::fmt;

/// A device's secret key. It signs heads; whatever else it may come to sign must not read as a head.
#[derive(Clone)]
pub struct Key(SigningKey);

impl Key {
    /// The key of 32 secret bytes, which must come from a good source of randomness.
    pub fn from_seed(seed: &[u8; 32]) -> Self {
        Self(SigningKey::from_bytes(seed))
    }

    /// The key others know.
    pub fn public(&self) -> PublicKey {
        PublicKey(self.0.verifying_key().to_bytes())
    }

    /// The signature over these bytes. The same bytes give the same signature (RFC 8032, 5.1.6).
    pub fn sign(&self, bytes: &[u8]) -> Signature {
        Signature(self.0.sign(bytes).to_bytes())
    }
}

/// Says whose key it is and never what it is.
impl fmt::Debug for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Key of {}", self.public().device())
    }
}

/// The public half; written as 64 lower-case hex digits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct PublicKey(pub [u8; 32]);

impl PublicKey {
    /// Reads 64 lower-case hex digits; anything else is `None`.
    pub fn from_hex(text: &str) -> Option<Self> {
        from_hex(text).map(Self)
    }

    /// The device id: the first 32 hex digits of the key's SHA-256.
    pub fn device(&self) -> String {
        to_hex(&Hash::of(&self.0).0[..16])
    }

    /// Whether the signature over these bytes is this key's.
    ///
    /// Strict: S must be below the group's order and neither R nor the key of small order, so nobody can turn one signature
    /// into another of the same bytes or make a key that anything fits (RFC 8032, 5.1.7 and 8.4).
    pub fn signed(&self, bytes: &[u8], signature: &Signature) -> bool {
        let signature = ed25519_dalek::Signature::from_bytes(&signature.0);
        VerifyingKey::from_bytes(&self.0).is_ok_and(|key| key.verify_strict(bytes, &signature).is_ok())
    }
}

impl fmt::Display for PublicKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&to_hex(&self.0))
    }
}

/// An Ed25519 signature; written as 128 lower-case hex digits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Signature(pub [u8; 64]);

impl Signature {
    /// Reads 128 lower-case hex digits; anything else is `None`.
    pub fn from_hex(text: &str) -> Option<Self> {
        from_hex(text).map(Self)
    }
}

impl fmt::Display for Signature {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&to_hex(&self.0))
    }
}
