//! Tasks and visits.

use super::list_methods;
use crate::{Client, Error, Items, ListQuery, TaskQuery, VisitQuery, requests};
use eavesward_contract::{Page, Task, Visit, VisitRequest, VisitRevision, WithdrawRequest};
use uuid::Uuid;

/// What falls due, soonest first; tasks without a date come last.
#[derive(Clone, Copy, Debug)]
pub struct Tasks<'a>(pub(super) &'a Client);

impl Tasks<'_> {
    list_methods!(Task, TaskQuery, requests::list_tasks);

    /// One task.
    pub async fn get(&self, id: Uuid) -> Result<Task, Error> {
        self.0.call(requests::task(id)).await
    }
}

/// What was done and found.
#[derive(Clone, Copy, Debug)]
pub struct Visits<'a>(pub(super) &'a Client);

impl Visits<'_> {
    list_methods!(Visit, VisitQuery, requests::list_visits);

    /// Logs a visit: tallies of what was done begin anew, and the marks learn from what was found.
    pub async fn log(&self, visit: &VisitRequest) -> Result<Visit, Error> {
        self.0.call(requests::log_visit(visit)?).await
    }

    /// One visit.
    pub async fn get(&self, id: Uuid) -> Result<Visit, Error> {
        self.0.call(requests::visit(id)).await
    }

    /// Corrects a visit, if it still has this version. It is kept as it stood as a revision.
    pub async fn correct(&self, id: Uuid, version: i64, visit: &VisitRequest) -> Result<Visit, Error> {
        self.0.call(requests::correct_visit(id, version, visit)?).await
    }

    /// Withdraws a visit that did not happen as logged. It is kept, and counts for nothing.
    pub async fn withdraw(&self, id: Uuid, withdraw: &WithdrawRequest) -> Result<Visit, Error> {
        self.0.call(requests::withdraw_visit(id, withdraw)?).await
    }

    /// The visit as it stood before each correction, as a stream.
    pub fn revisions(&self, id: Uuid, query: &ListQuery) -> Items<VisitRevision> {
        let query = query.clone();
        self.0.follow(query.cursor.clone(), move |cursor| {
            requests::list_visit_revisions(id, &ListQuery { cursor, ..query.clone() })
        })
    }

    /// One page of [`Visits::revisions`].
    pub async fn revisions_page(&self, id: Uuid, query: &ListQuery) -> Result<Page<VisitRevision>, Error> {
        self.0.call(requests::list_visit_revisions(id, query)).await
    }
}
