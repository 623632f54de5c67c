//! Kept rounds in the store.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, PropertyId, RoundId, TaskId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::property::Position;
use crate::domain::model::round::{Round, RoundFilter};
use crate::domain::model::task::Task;
use crate::domain::model::visit::Visit;
use crate::domain::ports::store::outcomes::{CalledOff, Finished, Inserted};
use async_trait::async_trait;
use chrono::NaiveDate;
use std::collections::HashMap;

/// A task that stands in a round that is planned.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PlannedTask {
    /// The task.
    pub task_id: TaskId,
    /// The round.
    pub round_id: RoundId,
    /// The day it is planned for.
    pub on: NaiveDate,
    /// Where the task's property counts its days.
    pub zone: chrono_tz::Tz,
}

/// Rounds that are kept.
#[async_trait]
pub trait RoundStore: Send + Sync {
    /// The account's tasks that stand in rounds that are planned and that no visit did since, in no order.
    async fn planned_tasks(&self, account: AccountId) -> Stored<Vec<PlannedTask>>;
    /// Where properties of the account are; those that are not there are left out.
    async fn positions(
        &self,
        account: AccountId,
        properties: &[PropertyId],
    ) -> Stored<HashMap<PropertyId, Position>>;
    /// Those of these tasks that the account has, in no order.
    async fn tasks_by_id(&self, account: AccountId, ids: &[TaskId]) -> Stored<Vec<Task>>;
    /// Keeps a round as planned; does nothing when the id is there already. Of two rounds with a task in common that are
    /// kept at once, one is refused.
    async fn insert_round(&self, round: &Round) -> Stored<Inserted>;
    /// One round. Names are those of now.
    async fn round(&self, account: AccountId, id: RoundId) -> Stored<Option<Round>>;
    /// The account's rounds by `(on, id)`.
    async fn rounds(
        &self,
        account: AccountId,
        filter: &RoundFilter,
        page: &PageRequest<NaiveDate>,
    ) -> Stored<Vec<Round>>;
    /// Removes a planned round if the version is current; its tasks are free.
    async fn delete_round(&self, account: AccountId, id: RoundId, version: i64) -> Stored<CalledOff>;
    /// Writes a round as it was done and logs its visits, all or nothing, unless it was done before, or a visit did a task of
    /// it that is without [`crate::domain::model::round::RoundTask::done_elsewhere`]. The systems visited
    /// become stale, and the tasks of the round are free.
    async fn finish_round(&self, round: &Round, visits: &[Visit]) -> Stored<Finished>;
}
