//! How much an account has of what its quotas count.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::AccountId;
use crate::domain::model::quota::Usage;
use async_trait::async_trait;
use chrono::NaiveDate;

/// Reads what an account has used.
///
/// The writes count: one that would take an account over its quota is refused with
/// [`StoreError::QuotaReached`](crate::domain::base::error::StoreError::QuotaReached) and leaves no trace. Two writes
/// at once never both take the last place.
#[async_trait]
pub trait UsageStore: Send + Sync {
    /// Every kind that is counted, in the order of its words. `today` is the day in UTC, for what counts by day.
    async fn usage(&self, account: AccountId, today: NaiveDate) -> Stored<Vec<Usage>>;
}
