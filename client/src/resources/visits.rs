//! Visits: what was done and found.

use super::lists::list_methods;
use crate::{Client, Error, Items, RevisionQuery, VisitQuery, requests};
use eavesward_contract::{Visit, VisitRequest, VisitRevision, WithdrawRequest};
use uuid::Uuid;

/// What was done and found.
#[derive(Clone, Copy, Debug)]
pub struct Visits<'a>(pub(super) &'a Client);

impl Visits<'_> {
    list_methods!(Visit, VisitQuery, requests::list_visits);

    /// Logs a visit. For each duty that was done, the accumulated figure starts at zero again. The limits learn
    /// from the findings.
    pub async fn log(&self, visit: &VisitRequest) -> Result<Visit, Error> {
        self.0.call(requests::log_visit(visit)?).await
    }

    /// One visit.
    pub async fn get(&self, id: Uuid) -> Result<Visit, Error> {
        self.0.call(requests::visit(id)).await
    }

    /// Corrects a visit, if it still has this version. The earlier version is kept as a revision.
    pub async fn correct(&self, id: Uuid, version: i64, visit: &VisitRequest) -> Result<Visit, Error> {
        self.0.call(requests::correct_visit(id, version, visit)?).await
    }

    /// Withdraws a visit that did not happen as logged. It stays stored, but forecasts ignore it.
    pub async fn withdraw(&self, id: Uuid, withdraw: &WithdrawRequest) -> Result<Visit, Error> {
        self.0.call(requests::withdraw_visit(id, withdraw)?).await
    }

    /// The versions of a visit before each correction or withdrawal, as a stream, oldest first.
    pub fn revisions(&self, id: Uuid, query: &RevisionQuery) -> Items<VisitRevision> {
        self.0.follow(query.cursor.clone(), move |cursor| {
            requests::list_visit_revisions(id, &RevisionQuery { cursor })
        })
    }
}
