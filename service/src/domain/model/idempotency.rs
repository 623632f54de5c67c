//! Repeated requests: a POST with an `Idempotency-Key` is carried out once.
//!
//! The first request claims the key together with a seed, and the id of what it creates is made from that seed. If
//! a request is cut off half-way, for example by a crash, its repetition uses the same seed. So it finds what the
//! first one created instead of creating it twice. The answer is then stored and given to every repetition.
//!
//! While an attempt runs it renews its claim. When it ends without an answer it gives the claim back, so that the next
//! attempt need not wait.

use crate::domain::base::ids::AccountId;
use chrono::{DateTime, TimeDelta, Utc};
use uuid::Uuid;

/// How long answers are stored.
pub const RETENTION: TimeDelta = TimeDelta::hours(24);

/// How long a claim holds unless it is renewed. After the end of its process it blocks the key for this long.
pub const CLAIM_LEASE: TimeDelta = TimeDelta::seconds(10);

/// What identifies a request that may be repeated.
#[derive(Clone, Debug)]
pub struct Attempt {
    /// The account that owns it.
    pub account_id: AccountId,
    /// The caller's key.
    pub key: String,
    /// Hash of method, path and body. Using the same key for a different request is an error.
    pub fingerprint: [u8; 32],
    /// The seed to use if this is the first attempt.
    pub seed: Uuid,
    /// When it came.
    pub now: DateTime<Utc>,
}

/// A claim that an attempt holds.
#[derive(Clone, Debug)]
pub struct HeldClaim {
    /// The account that owns it.
    pub account_id: AccountId,
    /// The caller's key.
    pub key: String,
    /// When it was made or last renewed. If it differs from what is stored, another attempt has taken over.
    pub claimed_at: DateTime<Utc>,
}

/// The answer that is stored.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Answer {
    /// HTTP status.
    pub status: u16,
    /// The `ETag`, if one was sent.
    pub etag: Option<String>,
    /// The `Location`, if one was sent.
    pub location: Option<String>,
    /// The body, as JSON text.
    pub body: String,
}

/// The result of a claim.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Claim {
    /// Carry the request out, with this seed.
    Go {
        /// The first attempt's seed.
        seed: Uuid,
    },
    /// Another attempt is running.
    Running {
        /// When its claim ends, unless it is renewed or given back before.
        until: DateTime<Utc>,
    },
    /// It was answered already.
    Answered(Answer),
    /// The key was used for a different request.
    Mismatch,
}
