//! How well past forecasts matched what was found.

use crate::Request;
use crate::query::{AnswerQuery, SkillQuery, word};

/// `GET /v1/skill`. All duties are on one page; there is no `limit`.
pub fn skill(query: &SkillQuery) -> Request {
    Request::get("/v1/skill")
        .query_some("system_id", query.system_id)
        .query_some("from", query.from)
        .query_some("to", query.to)
}

/// `GET /v1/skill/answers`.
pub fn list_answers(query: &AnswerQuery) -> Request {
    Request::get("/v1/skill/answers")
        .query_some("system_id", query.system_id)
        .query_some("duty", query.duty.as_ref().map(word))
        .query_some("from", query.from)
        .query_some("to", query.to)
        .query_some("limit", query.limit)
        .query_some("cursor", query.cursor.as_deref())
}
