//! Checks that a webhook comes from the service, by the open Standard Webhooks scheme.
//!
//! A message is signed with HMAC-SHA256 over its id, its timestamp and its body. Check the signature before you
//! read the body. Pass the body's bytes unchanged: JSON that was parsed and written again may differ.
//!
//! ```
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! use eavesward_client::webhook::{Signed, Verifier};
//!
//! let verifier = Verifier::new("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")?;
//! # let (id, timestamp, body) = ("msg_1", 1_614_265_330, b"{}".as_slice());
//! # let signature = verifier.sign(id, timestamp, body);
//! # let (timestamp, now) = (timestamp.to_string(), timestamp);
//! // Take the headers `webhook-id`, `webhook-timestamp` and `webhook-signature`, and the clock of this machine.
//! let signed = Signed { id, timestamp: &timestamp, signature: &signature };
//! verifier.verify(&signed, body, now)?;
//! // A message may arrive more than once. Store the ids that you handled and skip repeated ones.
//! # Ok(()) }
//! ```

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;
use std::fmt;

/// How far a message's timestamp may be from this machine's clock, in seconds, before or after. Five minutes, as in
/// the scheme's own libraries.
pub const TOLERANCE_S: u64 = 300;

/// The prefix of a written secret.
const PREFIX: &str = "whsec_";
/// The prefix of a signature of this scheme. A changed scheme would add signatures with other prefixes.
const VERSION: &str = "v1,";

/// The headers that sign a message.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Signed<'a> {
    /// `webhook-id`: the same for every delivery of one message.
    pub id: &'a str,
    /// `webhook-timestamp`: seconds since 1970.
    pub timestamp: &'a str,
    /// `webhook-signature`: one or more signatures, separated by spaces. There are two while a secret is being
    /// replaced.
    pub signature: &'a str,
}

/// Why a message must not be trusted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum WebhookError {
    /// The secret is empty or not base64, with or without the prefix `whsec_`.
    Secret,
    /// The timestamp is not a number of seconds.
    Timestamp,
    /// The message is older than the tolerance. It may be a copy that an attacker sent again.
    TooOld,
    /// The message is further in the future than the tolerance. One of the two clocks is wrong.
    TooNew,
    /// No signature has the version that this SDK knows.
    NoSignature,
    /// No signature matches. The secret differs, the body was changed, or the message is forged.
    Mismatch,
}

impl fmt::Display for WebhookError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Secret => "the webhook secret is empty or not base64, with or without the prefix whsec_",
            Self::Timestamp => "webhook-timestamp is not a number of seconds",
            Self::TooOld => "the webhook is too old",
            Self::TooNew => "the webhook is from the future; one of the clocks is wrong",
            Self::NoSignature => "webhook-signature has no signature of a known version",
            Self::Mismatch => "no signature of the webhook matches",
        })
    }
}

impl std::error::Error for WebhookError {}

/// Checks signatures with one secret.
#[derive(Clone)]
pub struct Verifier {
    secret: Vec<u8>,
    tolerance_s: u64,
}

impl Verifier {
    /// Takes the secret as the service showed it: `whsec_` and base64. The prefix may be missing.
    ///
    /// # Errors
    /// [`WebhookError::Secret`] if the secret is empty or not base64.
    pub fn new(secret: &str) -> Result<Self, WebhookError> {
        let text = secret.trim();
        let text = text.strip_prefix(PREFIX).unwrap_or(text);
        let secret = STANDARD.decode(text).map_err(|_| WebhookError::Secret)?;
        if secret.is_empty() {
            return Err(WebhookError::Secret);
        }
        Ok(Self { secret, tolerance_s: TOLERANCE_S })
    }

    /// Sets another tolerance than [`TOLERANCE_S`], in seconds.
    pub fn tolerance_s(self, tolerance_s: u64) -> Self {
        Self { tolerance_s, ..self }
    }

    /// Checks that a message comes from a holder of the secret and is not an old one sent again.
    ///
    /// `now` is this machine's clock in seconds since 1970. `body` is the unchanged bytes of the message.
    ///
    /// # Errors
    /// Any [`WebhookError`] except [`WebhookError::Secret`].
    pub fn verify(&self, signed: &Signed<'_>, body: &[u8], now: i64) -> Result<(), WebhookError> {
        let timestamp: i64 = signed.timestamp.trim().parse().map_err(|_| WebhookError::Timestamp)?;
        if timestamp.abs_diff(now) > self.tolerance_s {
            return Err(if timestamp < now { WebhookError::TooOld } else { WebhookError::TooNew });
        }
        let mac = self.mac(signed.id, timestamp, body);
        let mut known = false;
        for signature in signed.signature.split_ascii_whitespace() {
            let Some(code) = signature.strip_prefix(VERSION) else { continue };
            known = true;
            // The comparison takes the same time wherever the first difference is, so timing reveals nothing.
            if STANDARD.decode(code).is_ok_and(|code| mac.clone().verify_slice(&code).is_ok()) {
                return Ok(());
            }
        }
        Err(if known { WebhookError::Mismatch } else { WebhookError::NoSignature })
    }

    /// The signature of a message, as in `webhook-signature`, for tests of a receiver.
    pub fn sign(&self, id: &str, timestamp: i64, body: &[u8]) -> String {
        let code = self.mac(id, timestamp, body).finalize().into_bytes();
        format!("{VERSION}{}", STANDARD.encode(code))
    }

    fn mac(&self, id: &str, timestamp: i64, body: &[u8]) -> Hmac<Sha256> {
        let Ok(mut mac) = Hmac::<Sha256>::new_from_slice(&self.secret) else {
            unreachable!("HMAC takes a key of any length")
        };
        mac.update(format!("{id}.{timestamp}.").as_bytes());
        mac.update(body);
        mac
    }
}

impl fmt::Debug for Verifier {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Verifier")
            .field("secret", &"(redacted)")
            .field("tolerance_s", &self.tolerance_s)
            .finish()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use WebhookError as E;
    use standardwebhooks::Webhook as Foreign;

    const SECRET: &str = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw";
    const ID: &str = "msg_p5jXN8AQM9LWM0D4loKWxJek";
    const BODY: &[u8] = br#"{"test": 2432232314}"#;
    const NOW: i64 = 1_614_265_330;

    fn check(timestamp: &str, signature: &str, body: &[u8], now: i64) -> Result<(), WebhookError> {
        Verifier::new(SECRET).expect("a secret").verify(&Signed { id: ID, timestamp, signature }, body, now)
    }

    #[test]
    fn the_published_example_of_the_scheme_fits() {
        // Secret, id, time, body and signature of the test vector in the scheme's own libraries.
        let signature = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=";
        assert_eq!(check("1614265330", signature, BODY, NOW), Ok(()));
        assert_eq!(Verifier::new(SECRET).expect("a secret").sign(ID, NOW, BODY), signature);
    }

    #[test]
    fn a_foreign_implementation_signs_as_we_do() {
        let foreign = Foreign::new(SECRET).expect("a secret");
        let own = Verifier::new(SECRET).expect("a secret");
        for body in [&b""[..], BODY, "{\"name\": \"\u{fc}ber\"}".as_bytes()] {
            for timestamp in [0, NOW, 4_102_444_800] {
                let signature = foreign.sign(ID, timestamp, body).expect("a signature");
                assert_eq!(own.sign(ID, timestamp, body), signature);
                assert_eq!(check(&timestamp.to_string(), &signature, body, timestamp), Ok(()));
            }
        }
    }

    #[test]
    fn what_was_changed_on_the_way_is_refused() {
        let own = Verifier::new(SECRET).expect("a secret");
        let good = own.sign(ID, NOW, BODY);
        let other = Verifier::new("whsec_AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA").expect("a secret");
        let wrong = other.sign(ID, NOW, BODY);
        let stamp = NOW.to_string();
        for (signature, body, want) in [
            (good.clone(), BODY, Ok(())),
            (format!("{wrong} {good}"), BODY, Ok(())),
            (format!("v2,abc {good} v1a,xyz"), BODY, Ok(())),
            (wrong.clone(), BODY, Err(E::Mismatch)),
            (good.clone(), b"{\"test\": 2432232315}", Err(E::Mismatch)),
            (good[..good.len() - 4].to_owned(), BODY, Err(E::Mismatch)),
            ("v1,".to_owned(), BODY, Err(E::Mismatch)),
            ("v1,not base64!".to_owned(), BODY, Err(E::Mismatch)),
            (good.replace("v1,", "v2,"), BODY, Err(E::NoSignature)),
            (String::new(), BODY, Err(E::NoSignature)),
        ] {
            assert_eq!(check(&stamp, &signature, body, NOW), want, "{signature}");
        }
        let of_another = Signed { id: "msg_other", timestamp: &stamp, signature: &good };
        assert_eq!(own.verify(&of_another, BODY, NOW), Err(E::Mismatch));
    }

    #[test]
    fn old_messages_and_wrong_clocks_are_refused() {
        let good = Verifier::new(SECRET).expect("a secret").sign(ID, NOW, BODY);
        for (now, want) in [
            (NOW + 300, Ok(())),
            (NOW - 300, Ok(())),
            (NOW + 301, Err(E::TooOld)),
            (NOW - 301, Err(E::TooNew)),
            (i64::MAX, Err(E::TooOld)),
            (i64::MIN, Err(E::TooNew)),
        ] {
            assert_eq!(check(&NOW.to_string(), &good, BODY, now), want, "{now}");
        }
        for nonsense in ["", "soon", "1614265330.5", "99999999999999999999"] {
            assert_eq!(check(nonsense, &good, BODY, NOW), Err(E::Timestamp), "{nonsense}");
        }
        // The timestamp is signed too.
        assert_eq!(check(&(NOW + 1).to_string(), &good, BODY, NOW), Err(E::Mismatch));
        let patient = Verifier::new(SECRET).expect("a secret").tolerance_s(3600);
        let signed = Signed { id: ID, timestamp: "1614265330", signature: &good };
        assert_eq!(patient.verify(&signed, BODY, NOW + 3600), Ok(()));
    }

    #[test]
    fn secrets_are_checked_and_never_shown() {
        for bad in ["", "whsec_", "whsec_***", "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaS"] {
            assert_eq!(Verifier::new(bad).expect_err(bad), WebhookError::Secret);
        }
        let bare = Verifier::new(&SECRET[PREFIX.len()..]).expect("the prefix may be left out");
        assert_eq!(bare.sign(ID, NOW, BODY), Verifier::new(SECRET).expect("a secret").sign(ID, NOW, BODY));
        assert!(!format!("{bare:?}").contains("MfKQ") && !format!("{bare:?}").contains("49"));
    }
}
