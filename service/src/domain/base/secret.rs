//! Secrets that are shown once, and the hash by which they are found.

use crate::domain::base::error::Result;
use crate::domain::base::ids;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use sha2::{Digest, Sha256};

/// A secret that is hidden in debug output.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(String);

impl Secret {
    /// A new secret: a word that says what it is for, and 256 random bits.
    ///
    /// # Errors
    /// If the operating system gives no randomness.
    pub(crate) fn random(word: &str) -> Result<Self> {
        Ok(Self(format!("{word}_{}", URL_SAFE_NO_PAD.encode(ids::random_256()?))))
    }

    /// Its first characters, to tell it from other secrets: the word and six more.
    pub(crate) fn hint(&self, word: &str) -> String {
        self.0.chars().take(word.len() + 7).collect()
    }

    /// The text of the secret, to be shown to its owner once.
    pub fn reveal(&self) -> &str {
        &self.0
    }
}

impl std::fmt::Debug for Secret {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Secret(..)")
    }
}

/// The hash by which a secret is found.
pub fn hash(secret: &str) -> [u8; 32] {
    Sha256::digest(secret.as_bytes()).into()
}
