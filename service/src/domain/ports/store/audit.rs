//! The audit in the store. Entries are written by [`super::Store::acting`].

use crate::domain::base::error::Stored;
use crate::domain::base::ids::AccountId;
use crate::domain::base::paging::PageRequest;
use crate::domain::model::audit::{AuditEntry, AuditFilter};
use async_trait::async_trait;
use chrono::{DateTime, Utc};

/// Who changed what. Nothing changes an entry, and only [`AuditStore::forget_audit`] removes any.
#[async_trait]
pub trait AuditStore: Send + Sync {
    /// The account's entries, newest first, by `(at, id)`.
    async fn audit(
        &self,
        account: AccountId,
        filter: &AuditFilter,
        page: &PageRequest<DateTime<Utc>>,
    ) -> Stored<Vec<AuditEntry>>;
    /// The instant of the oldest entry of all accounts.
    async fn oldest_audit(&self) -> Stored<Option<DateTime<Utc>>>;
    /// Removes the oldest entries from before an instant, at most so many. Returns how many there were.
    async fn forget_audit(&self, before: DateTime<Utc>, most: u32) -> Stored<u64>;
}
