//! The reminders' feed in the store.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::AccountId;
use crate::domain::model::reminder::{FeedPage, FeedRange, ReminderFilter};
use async_trait::async_trait;
use chrono::{DateTime, Utc};

/// The reminders' feed.
#[async_trait]
pub trait ReminderStore: Send + Sync {
    /// Reads a stretch of an account's feed. Entries become visible in the order of their numbers: one that is read has all
    /// before it beside it.
    async fn reminders(
        &self,
        account: AccountId,
        filter: &ReminderFilter,
        stretch: FeedRange,
    ) -> Stored<FeedPage>;
    /// Forgets entries that were raised before an instant, but for those behind one that was not; says how many.
    async fn forget_reminders(&self, before: DateTime<Utc>) -> Stored<u64>;
}
