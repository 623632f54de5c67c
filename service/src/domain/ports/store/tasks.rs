//! Tasks and statuses in the store, and the refresh that writes them.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, SystemId, TaskId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::status::{Polled, Status};
use crate::domain::model::task::{Counted, MovedTask, Task, TaskFilter};
use crate::domain::rules::reminders::inputs::ReminderInputs;
use async_trait::async_trait;
use chrono::{DateTime, NaiveDate, Utc};

/// A stale system that this process is to refresh.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StaleSystem {
    /// Whose it is.
    pub account_id: AccountId,
    /// The system.
    pub system_id: SystemId,
    /// The version of its inputs at the time of the claim.
    pub inputs_version: i64,
}

/// What a refresh writes.
#[derive(Clone, Debug)]
pub struct Refreshed {
    /// The claim it answers.
    pub claim: StaleSystem,
    /// The system's tasks; rows of the system that are not among them are removed.
    pub tasks: Vec<Task>,
    /// Its status.
    pub status: Status,
    /// When the local day ends and it is stale again.
    pub next_at: DateTime<Utc>,
    /// What has to be known to tell its readers.
    pub reminders: ReminderInputs,
}

/// Tasks, status and the work of refreshing them.
#[async_trait]
pub trait TaskStore: Send + Sync {
    /// The account's tasks by `(sort_on, id)`, where tasks without a date come last ([`crate::domain::model::task::NO_DATE`]).
    /// A filter by `from` or `to` leaves those without a date out.
    async fn tasks(
        &self,
        account: AccountId,
        filter: &TaskFilter,
        page: &PageRequest<NaiveDate>,
    ) -> Stored<Vec<Task>>;
    /// The same, with how their due dates moved.
    async fn moved_tasks(
        &self,
        account: AccountId,
        filter: &TaskFilter,
        page: &PageRequest<NaiveDate>,
    ) -> Stored<Vec<MovedTask>>;
    /// How many tasks a filter finds, in no order.
    async fn count_tasks(&self, account: AccountId, filter: &TaskFilter) -> Stored<Counted>;
    /// One task.
    async fn task(&self, account: AccountId, id: TaskId) -> Stored<Option<Task>>;
    /// A system's status, if it was ever refreshed, with the end of its day unless a refresh is waited for.
    async fn status(&self, account: AccountId, system: SystemId) -> Stored<Option<Polled>>;
    /// Claims up to `limit` stale systems (inputs newer than the last refresh, or the local day over) that nobody else
    /// holds, grouped by gauge, and holds them until `until`. Two replicas never get the same system at once. A hold that
    /// a clock far ahead has made counts for nothing.
    async fn claim_stale(
        &self,
        now: DateTime<Utc>,
        until: DateTime<Utc>,
        limit: u32,
    ) -> Stored<Vec<StaleSystem>>;
    /// Writes refreshed systems, all in one transaction, and lets go of them. What there is to tell of their tasks
    /// ([`crate::domain::rules::reminders::decide::decide`]) is appended to the feeds in the same transaction; says how many entries. A system
    /// whose inputs changed since the claim stays stale. A system refreshed by another replica from newer inputs is not set
    /// back.
    async fn finish_refresh(&self, refreshed: &[Refreshed], now: DateTime<Utc>) -> Stored<usize>;
    /// Lets go of claimed systems that could not be refreshed, to be tried again at `at`.
    async fn release_stale(&self, claims: &[StaleSystem], at: DateTime<Utc>) -> Stored<()>;
    /// How many systems are stale now.
    async fn stale_count(&self, now: DateTime<Utc>) -> Stored<i64>;
}
