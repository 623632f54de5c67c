//! Rounds.

use super::paths::{at, below};
use crate::query::{KeptRoundQuery, RoundQuery, word};
use crate::{Error, Request};
use eavesward_contract as contract;
use uuid::Uuid;

/// `GET /v1/rounds/proposal`: groups tasks into trips. Nothing is stored.
pub fn propose_rounds(query: &RoundQuery) -> Request {
    query.put_on(Request::get("/v1/rounds/proposal"))
}

/// `POST /v1/rounds`: keeps a planned round.
pub fn keep_round(round: &contract::RoundRequest) -> Result<Request, Error> {
    Request::post("/v1/rounds").json(round)
}

/// `GET /v1/rounds`, including rounds that are done.
pub fn list_rounds(query: &KeptRoundQuery) -> Request {
    Request::get("/v1/rounds")
        .query_some("state", query.state.as_ref().map(word))
        .query_some("from", query.from)
        .query_some("to", query.to)
        .query_some("limit", query.limit)
        .query_some("cursor", query.cursor.as_deref())
}

/// `GET /v1/rounds/{id}`.
pub fn round(id: Uuid) -> Request {
    Request::get(at("rounds", id))
}

/// `DELETE /v1/rounds/{id}` with `If-Match`: cancels a planned round.
pub fn cancel_round(id: Uuid, version: i64) -> Request {
    Request::delete(at("rounds", id)).if_match(version)
}

/// `POST /v1/rounds/{id}/done`: logs one visit for each system.
pub fn finish_round(id: Uuid, report: &contract::RoundDoneRequest) -> Result<Request, Error> {
    Request::post(below("rounds", id, "done")).json(report)
}
