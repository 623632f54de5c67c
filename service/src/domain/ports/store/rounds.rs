//! Kept rounds in the store.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, PropertyId, RoundId, TaskId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::property::Position;
use crate::domain::model::round::{Round, RoundFilter};
use crate::domain::model::task::Task;
use crate::domain::model::visit::Visit;
use crate::domain::ports::store::outcomes::{Cancelled, Finished, Inserted};
use async_trait::async_trait;
use chrono::NaiveDate;
use std::collections::HashMap;

/// A task of a planned round.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PlannedTask {
    /// The task.
    pub task_id: TaskId,
    /// The round.
    pub round_id: RoundId,
    /// The day it is planned for.
    pub on: NaiveDate,
    /// The time zone of the task's property.
    pub zone: chrono_tz::Tz,
}

/// Kept rounds.
#[async_trait]
pub trait RoundStore: Send + Sync {
    /// The account's tasks in planned rounds that no visit has done since, in no order.
    async fn planned_tasks(&self, account: AccountId) -> Stored<Vec<PlannedTask>>;
    /// The positions of properties of the account. Properties that do not exist are left out.
    async fn positions(
        &self,
        account: AccountId,
        properties: &[PropertyId],
    ) -> Stored<HashMap<PropertyId, Position>>;
    /// The tasks of this list that the account has, in no order.
    async fn tasks_by_id(&self, account: AccountId, ids: &[TaskId]) -> Stored<Vec<Task>>;
    /// Keeps a round as planned; does nothing if the id exists already. If two rounds with a common task are kept
    /// at once, one is refused.
    async fn insert_round(&self, round: &Round) -> Stored<Inserted>;
    /// One round, with present names.
    async fn round(&self, account: AccountId, id: RoundId) -> Stored<Option<Round>>;
    /// The account's rounds by `(on, id)`.
    async fn rounds(
        &self,
        account: AccountId,
        filter: &RoundFilter,
        page: &PageRequest<NaiveDate>,
    ) -> Stored<Vec<Round>>;
    /// Removes a planned round if the version is current. Its tasks can be planned again.
    async fn delete_round(&self, account: AccountId, id: RoundId, version: i64) -> Stored<Cancelled>;
    /// Stores a round as done and logs its visits, all or nothing. The systems visited become stale, and the
    /// round's tasks can be planned again.
    ///
    /// It changes nothing if the round is already done. It also changes nothing if a visit has done a task of the
    /// round and [`crate::domain::model::round::RoundTask::done_elsewhere`] does not say so.
    async fn finish_round(&self, round: &Round, visits: &[Visit]) -> Stored<Finished>;
}
