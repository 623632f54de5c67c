//! The reminders' feed in the store.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::AccountId;
use crate::domain::model::reminder::{FeedPage, FeedRange, ReminderFilter};
use async_trait::async_trait;
use chrono::{DateTime, Utc};

/// The reminders' feed.
#[async_trait]
pub trait ReminderStore: Send + Sync {
    /// Reads a part of an account's feed. Entries become visible in the order of their numbers, so a reader never
    /// misses an earlier entry.
    async fn reminders(
        &self,
        account: AccountId,
        filter: &ReminderFilter,
        stretch: FeedRange,
    ) -> Stored<FeedPage>;
    /// Deletes entries that were raised before an instant, up to the first one that was not. Returns how many.
    async fn forget_reminders(&self, before: DateTime<Utc>) -> Stored<u64>;
}
