//! Repeated requests in the store.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::AccountId;
use crate::domain::model::idempotency::{Answer, Attempt, Claim, HeldClaim};
use async_trait::async_trait;
use chrono::{DateTime, Utc};

/// Repeated requests.
#[async_trait]
pub trait IdempotencyStore: Send + Sync {
    /// Claims a key, or says why that is not possible. Only one of several simultaneous claims succeeds. A claim
    /// without an answer that is older than [`crate::domain::model::idempotency::CLAIM_LEASE`], or as far in the
    /// future, is taken over with the first attempt's seed. An answer that is older than [`crate::domain::model::idempotency::RETENTION`]
    /// counts as deleted.
    async fn claim(&self, attempt: &Attempt) -> Stored<Claim>;
    /// Makes a claim last from `now` on; `false` if it has an answer or another attempt has taken over.
    async fn renew_claim(&self, claim: &HeldClaim, now: DateTime<Utc>) -> Stored<bool>;
    /// Ends a claim and keeps its seed for the next attempt. Does nothing if the claim has an answer or another attempt
    /// has taken over.
    async fn release_claim(&self, claim: &HeldClaim) -> Stored<()>;
    /// Stores the answer.
    async fn answer(&self, account: AccountId, key: &str, answer: &Answer) -> Stored<()>;
    /// Deletes a claim whose request failed without doing anything.
    async fn forget(&self, account: AccountId, key: &str) -> Stored<()>;
    /// Deletes answers and claims made before an instant. Returns how many.
    async fn purge(&self, before: DateTime<Utc>) -> Stored<u64>;
}
