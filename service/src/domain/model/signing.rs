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

/// A signing secret of 256 random bits. Both ends need it, so it is stored encrypted and not as a hash.
#[derive(Clone, Eq)]
pub struct SigningSecret {
    /// Its bytes. `None` if it was stored under a key that this process does not have; it then signs nothing.
    plain: Option<Vec<u8>>,
    /// As it was stored. `None` if it is new.
    stored: Option<Vec<u8>>,
}

impl PartialEq for SigningSecret {
    fn eq(&self, other: &Self) -> bool {
        // How a secret is stored tells two apart only where nobody can read them.
        self.plain == other.plain && (self.plain.is_some() || self.stored == other.stored)
    }
}

impl SigningSecret {
    /// A new secret.
    ///
    /// # Errors
    /// If the operating system gives no randomness.
    pub fn new() -> Result<Self> {
        Ok(Self::of(ids::random_256()?.to_vec()))
    }

    /// A new secret of these bytes.
    pub fn of(bytes: Vec<u8>) -> Self {
        Self { plain: Some(bytes), stored: None }
    }

    /// A secret that was stored, and its bytes if they can be read.
    pub fn of_stored(stored: Vec<u8>, plain: Option<Vec<u8>>) -> Self {
        Self { plain, stored: Some(stored) }
    }

    /// Its bytes, if they can be read.
    pub fn bytes(&self) -> Option<&[u8]> {
        self.plain.as_deref()
    }

    /// As it was stored, if it was.
    pub fn stored(&self) -> Option<&[u8]> {
        self.stored.as_deref()
    }

    /// The text that its owner sees: `whsec_` and Base64. `None` if it cannot be read.
    pub fn reveal(&self) -> Option<String> {
        self.plain.as_ref().map(|bytes| format!("{PREFIX}{}", STANDARD.encode(bytes)))
    }

    fn sign(&self, id: &str, timestamp: i64, body: &str) -> Option<String> {
        // HMAC takes keys of any length.
        let mut mac = Hmac::<Sha256>::new_from_slice(self.plain.as_ref()?).ok()?;
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
        let current = Some(self.current).filter(|secret| secret.bytes().is_some());
        let mut before =
            Vec::from_iter(current.map(|secret| ReplacedSecret { secret, until: now + OVERLAP }));
        before.extend(self.before.into_iter().filter(|one| one.until > now).take(MOST_BEFORE));
        Ok(Self { current: SigningSecret::new()?, before })
    }

    /// The value of `webhook-signature`: a signature for each secret that signs, separated by spaces. `None` if the current
    /// one cannot be read.
    pub fn signature(&self, id: &str, now: DateTime<Utc>, body: &str) -> Option<String> {
        let current = self.current.sign(id, now.timestamp(), body)?;
        let before = self.before.iter().filter(|one| one.until > now).map(|one| &one.secret);
        let before = before.filter_map(|secret| secret.sign(id, now.timestamp(), body));
        Some(std::iter::once(current).chain(before).collect::<Vec<_>>().join(" "))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_secret_that_cannot_be_read_signs_nothing_and_goes_when_it_is_replaced() {
        let now = DateTime::from_timestamp(1_780_000_000, 0).unwrap();
        let lost = Secrets { current: SigningSecret::of_stored(vec![9; 56], None), before: Vec::new() };
        assert_eq!((lost.signature("msg_1", now, "{}"), lost.current.reveal()), (None, None));
        let new = lost.rotated(now).unwrap();
        assert!(new.before.is_empty() && new.signature("msg_1", now, "{}").is_some());
    }

    #[test]
    fn a_replaced_secret_signs_for_a_day() {
        let now = DateTime::from_timestamp(1_780_000_000, 0).unwrap();
        let first = Secrets { current: SigningSecret::of(vec![1; 32]), before: Vec::new() };
        let alone = first.signature("msg_1", now, "{}").unwrap();
        let both = first.rotated(now).unwrap();
        let signed = both.signature("msg_1", now, "{}").unwrap();
        assert!(signed.ends_with(&format!(" {alone}")), "{signed}");
        let later = both.signature("msg_1", now + OVERLAP, "{}").unwrap();
        assert_eq!(later.split(' ').count(), 1);
        let third = both.clone().rotated(now).unwrap().signature("msg_1", now, "{}").unwrap();
        assert!(third.split(' ').count() == 3 && third.ends_with(&alone), "the first has its day, too");
        assert!(
            both.current.reveal().is_some_and(|text| text.starts_with("whsec_"))
                && !format!("{both:?}").contains("whsec")
        );
    }
}
