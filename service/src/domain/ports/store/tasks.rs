//! Tasks and statuses in the store, and the refresh that writes them.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, ClaimId, SystemId, TaskId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::status::{Polled, Status};
use crate::domain::model::task::{Counted, MovedTask, Task, TaskFilter};
use crate::domain::rules::reminders::inputs::ReminderInputs;
use async_trait::async_trait;
use chrono::{DateTime, NaiveDate, Utc};

/// A stale system that this process has claimed, to refresh it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StaleSystem {
    /// The account that owns it.
    pub account_id: AccountId,
    /// The system.
    pub system_id: SystemId,
    /// The version of its inputs at the time of the claim.
    pub inputs_version: i64,
    /// The claim.
    pub held_by: ClaimId,
}

/// What a refresh writes.
#[derive(Clone, Debug)]
pub struct Refreshed {
    /// The claim that it completes.
    pub claim: StaleSystem,
    /// The system's tasks. Other rows of the system are removed.
    pub tasks: Vec<Task>,
    /// Its status.
    pub status: Status,
    /// When the local day begins. Before that, the result comes from a clock that was ahead.
    pub day_at: DateTime<Utc>,
    /// When the local day ends and it is stale again.
    pub next_at: DateTime<Utc>,
    /// What is needed to decide which reminders to send.
    pub reminders: ReminderInputs,
}

/// Tasks, status and the work of refreshing them.
#[async_trait]
pub trait TaskStore: Send + Sync {
    /// The account's tasks by `(sort_on, id)`. Tasks without a date come last
    /// ([`crate::domain::model::task::NO_DATE`]). A filter by `from` or `to` leaves them out.
    async fn tasks(
        &self,
        account: AccountId,
        filter: &TaskFilter,
        page: &PageRequest<NaiveDate>,
    ) -> Stored<Vec<Task>>;
    /// The same tasks, and how their due dates moved.
    async fn moved_tasks(
        &self,
        account: AccountId,
        filter: &TaskFilter,
        page: &PageRequest<NaiveDate>,
    ) -> Stored<Vec<MovedTask>>;
    /// How many tasks a filter finds.
    async fn count_tasks(&self, account: AccountId, filter: &TaskFilter) -> Stored<Counted>;
    /// One task.
    async fn task(&self, account: AccountId, id: TaskId) -> Stored<Option<Task>>;
    /// A system's status, if it was ever refreshed. It has the end of its day unless a refresh is due.
    async fn status(&self, account: AccountId, system: SystemId) -> Stored<Option<Polled>>;
    /// Claims up to `limit` stale systems that no other worker holds, grouped by rain gauge, until `until`. A
    /// system is stale if its inputs are newer than its last refresh, or if its local day is over.
    ///
    /// Two replicas never get the same system at once. A claim is ignored if a clock that was ahead has made it.
    async fn claim_stale(
        &self,
        now: DateTime<Utc>,
        until: DateTime<Utc>,
        limit: u32,
    ) -> Stored<Vec<StaleSystem>>;
    /// Extends claims until `until`. Claims that were lost to another worker stay lost.
    async fn renew_stale(
        &self,
        claims: &[StaleSystem],
        now: DateTime<Utc>,
        until: DateTime<Utc>,
    ) -> Stored<()>;
    /// Stores refreshed systems in one transaction, and releases them. The same transaction appends reminders of
    /// their tasks ([`crate::domain::rules::reminders::decide::decide`]) to the feeds. Returns the number of
    /// reminders.
    ///
    /// A system that another worker has claimed meanwhile is left to that worker. A system whose inputs changed
    /// since the claim stays stale.
    async fn finish_refresh(&self, refreshed: &[Refreshed], now: DateTime<Utc>) -> Stored<usize>;
    /// Releases claims that are still held. These systems cannot be claimed before `at`.
    async fn release_stale(
        &self,
        claims: &[StaleSystem],
        now: DateTime<Utc>,
        at: DateTime<Utc>,
    ) -> Stored<()>;
    /// When the first of the stale systems that are held now is free, unless it is released before.
    async fn stale_held_until(&self, now: DateTime<Utc>) -> Stored<Option<DateTime<Utc>>>;
    /// How many systems are stale now, but for those that a newer version of the model has refreshed.
    async fn stale_count(&self, now: DateTime<Utc>) -> Stored<i64>;
}
