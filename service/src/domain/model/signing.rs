//! Signatures of what is sent, by the open Standard Webhooks scheme: HMAC-SHA256 over id, timestamp and body.

use crate::domain::base::error::Result;
use crate::domain::base::ids;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use chrono::{DateTime, TimeDelta, Utc};
use hmac::{Hmac, KeyInit as _, Mac as _};
use sha2::Sha256;

/// How the scheme's secrets begin.
const PREFIX: &str = "whsec_";

/// How long a replaced secret still signs together with the new one. Judgement: a day is enough to change it at the
/// other end.
pub const OVERLAP: TimeDelta = TimeDelta::hours(24);

/// The most replaced secrets that still sign.
const MOST_BEFORE: usize = 8;

/// A signing secret of 256 random bits. Both ends need it, so it is stored in clear.
#[derive(Clone, PartialEq, Eq)]
pub struct SigningSecret(Vec<u8>);

impl SigningSecret {
    /// A new secret.
    ///
    /// # Errors
    /// If the operating system gives no randomness.
    pub fn new() -> Result<Self> {
        Ok(Self(ids::random_256()?.to_vec()))
    }

    /// A secret that was stored.
    pub fn of(bytes: Vec<u8>) -> Self {
        Self(bytes)
    }

    /// Its bytes, to be stored.
    pub fn bytes(&self) -> &[u8] {
        &self.0
    }

    /// The text that its owner sees: `whsec_` and Base64.
    pub fn reveal(&self) -> String {
        format!("{PREFIX}{}", STANDARD.encode(&self.0))
    }

    fn sign(&self, id: &str, timestamp: i64, body: &str) -> Option<String> {
        // HMAC takes keys of any length.
        let mut mac = Hmac::<Sha256>::new_from_slice(&self.0).ok()?;
        mac.update(format!("{id}.{timestamp}.").as_bytes());
        mac.update(body.as_bytes());
        Some(format!("v1,{}", STANDARD.encode(mac.finalize().into_bytes())))
    }
}

impl std::fmt::Debug for SigningSecret {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("SigningSecret(..)")
    }
}

/// A secret that was replaced.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReplacedSecret {
    /// The secret.
    pub secret: SigningSecret,
    /// Until when it signs together with the new one.
    pub until: DateTime<Utc>,
}

/// The secrets of a subscription.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Secrets {
    /// The current one.
    pub current: SigningSecret,
    /// Earlier ones that may still sign, latest first.
    pub before: Vec<ReplacedSecret>,
}

impl Secrets {
    /// Until when the last replaced secret signs, if it still does.
    pub fn old_until(&self, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
        self.before.first().map(|one| one.until).filter(|until| *until > now)
    }

    /// Replaces the current secret, which keeps signing for [`OVERLAP`].
    ///
    /// # Errors
    /// If the operating system gives no randomness.
    pub fn rotated(self, now: DateTime<Utc>) -> Result<Self> {
        let mut before = vec![ReplacedSecret { secret: self.current, until: now + OVERLAP }];
        before.extend(self.before.into_iter().filter(|one| one.until > now).take(MOST_BEFORE));
        Ok(Self { current: SigningSecret::new()?, before })
    }

    /// The value of `webhook-signature`: a signature for each secret that signs, separated by spaces.
    pub fn signature(&self, id: &str, now: DateTime<Utc>, body: &str) -> String {
        let before = self.before.iter().filter(|one| one.until > now).map(|one| &one.secret);
        let all = std::iter::once(&self.current).chain(before);
        all.filter_map(|secret| secret.sign(id, now.timestamp(), body)).collect::<Vec<_>>().join(" ")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_replaced_secret_signs_for_a_day() {
        let now = DateTime::from_timestamp(1_780_000_000, 0).unwrap();
        let first = Secrets { current: SigningSecret::of(vec![1; 32]), before: Vec::new() };
        let alone = first.signature("msg_1", now, "{}");
        let both = first.rotated(now).unwrap();
        let signed = both.signature("msg_1", now, "{}");
        assert!(signed.ends_with(&format!(" {alone}")), "{signed}");
        let later = both.signature("msg_1", now + OVERLAP, "{}");
        assert_eq!(later.split(' ').count(), 1);
        let third = both.clone().rotated(now).unwrap().signature("msg_1", now, "{}");
        assert!(third.split(' ').count() == 3 && third.ends_with(&alone), "the first has its day, too");
        assert!(both.current.reveal().starts_with("whsec_") && !format!("{both:?}").contains("whsec"));
    }
}
