//! Visits in the store.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, VisitId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::visit::{Revision, Visit, VisitFilter};
use crate::domain::ports::store::outcomes::Updated;
use async_trait::async_trait;
use chrono::NaiveDate;

/// Visits.
#[async_trait]
pub trait VisitStore: Send + Sync {
    /// Adds a visit; does nothing if the id exists already. Its system becomes stale.
    async fn insert_visit(&self, visit: &Visit) -> Stored<()>;
    /// One visit.
    async fn visit(&self, account: AccountId, id: VisitId) -> Stored<Option<Visit>>;
    /// The account's visits, latest day first: by `(visited_on, id)` descending. The next page therefore has the
    /// rows below the cursor's row.
    async fn visits(
        &self,
        account: AccountId,
        filter: &VisitFilter,
        page: &PageRequest<NaiveDate>,
    ) -> Stored<Vec<Visit>>;
    /// Replaces a visit whose stored version is `version`, and keeps the earlier version as a revision. Its system
    /// becomes stale.
    async fn update_visit(&self, account: AccountId, version: i64, new: &Visit) -> Stored<Updated>;
    /// The versions of a visit before each change, oldest first.
    async fn revisions(&self, id: VisitId) -> Stored<Vec<Revision>>;
}
