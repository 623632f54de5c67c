//! Tasks: what falls due.

use super::lists::list_methods;
use crate::{Client, Error, TaskQuery, requests};
use eavesward_contract::Task;
use uuid::Uuid;

/// Tasks, soonest first; tasks without a date come last.
#[derive(Clone, Copy, Debug)]
pub struct Tasks<'a>(pub(super) &'a Client);

impl Tasks<'_> {
    list_methods!(Task, TaskQuery, requests::list_tasks);

    /// One task.
    pub async fn get(&self, id: Uuid) -> Result<Task, Error> {
        self.0.call(requests::task(id)).await
    }
}
