//! Repeated requests: a POST with an `Idempotency-Key` is carried out once.
//!
//! The first request claims the key together with a seed, from which the id of what it makes is taken. A request that
//! was cut off half-way, by a crash say, is carried out again with the same seed, so that it finds what the first one
//! made instead of making it twice. The answer is then kept and given to every repetition.

use crate::domain::base::ids::AccountId;
use chrono::{DateTime, TimeDelta, Utc};
use uuid::Uuid;

/// How long answers are kept.
pub const RETENTION: TimeDelta = TimeDelta::hours(24);

/// How long a claim without an answer holds others off; a request does not run longer.
pub const CLAIM_TIMEOUT: TimeDelta = TimeDelta::seconds(60);

/// A request, as far as repetition goes.
#[derive(Clone, Debug)]
pub struct Attempt {
    /// Whose it is.
    pub account_id: AccountId,
    /// The caller's key.
    pub key: String,
    /// Hash of method, path and body: the same key with another request is a mistake.
    pub fingerprint: [u8; 32],
    /// The seed to use if this is the first attempt.
    pub seed: Uuid,
    /// When it came.
    pub now: DateTime<Utc>,
}

/// The answer that is kept.
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

/// What a claim met.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Claim {
    /// Go ahead, with this seed.
    Go {
        /// The first attempt's seed.
        seed: Uuid,
    },
    /// Another attempt is running.
    Running,
    /// It was answered already.
    Answered(Answer),
    /// The key was used for another request.
    Mismatch,
}
