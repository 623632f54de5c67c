//! Visits.

use super::paths::{at, below};
use crate::query::{RevisionQuery, VisitQuery};
use crate::{Error, Request};
use eavesward_contract as contract;
use uuid::Uuid;

/// `GET /v1/visits`.
pub fn list_visits(query: &VisitQuery) -> Request {
    Request::get("/v1/visits")
        .query_some("system_id", query.system_id)
        .query_some("from", query.from)
        .query_some("to", query.to)
        .query_some("include_withdrawn", query.include_withdrawn.then_some(true))
        .query_some("limit", query.limit)
        .query_some("cursor", query.cursor.as_deref())
}

/// `POST /v1/visits`.
pub fn log_visit(visit: &contract::VisitRequest) -> Result<Request, Error> {
    Request::post("/v1/visits").json(visit)
}

/// `GET /v1/visits/{id}`.
pub fn visit(id: Uuid) -> Request {
    Request::get(at("visits", id))
}

/// `PUT /v1/visits/{id}` with `If-Match`: corrects the visit. The earlier version is kept as a revision.
pub fn correct_visit(id: Uuid, version: i64, visit: &contract::VisitRequest) -> Result<Request, Error> {
    Request::put(at("visits", id)).if_match(version).json(visit)
}

/// `POST /v1/visits/{id}/withdraw`.
pub fn withdraw_visit(id: Uuid, withdraw: &contract::WithdrawRequest) -> Result<Request, Error> {
    Request::post(below("visits", id, "withdraw")).json(withdraw)
}

/// `GET /v1/visits/{id}/revisions`. All revisions are on one page; there is no `limit`.
pub fn list_visit_revisions(id: Uuid, query: &RevisionQuery) -> Request {
    Request::get(below("visits", id, "revisions")).query_some("cursor", query.cursor.as_deref())
}
