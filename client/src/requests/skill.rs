//! How well past forecasts met what was found.

use crate::Request;
use crate::query::{AnswerQuery, SkillQuery, word};

/// `GET /v1/skill`. The service gives all in one page, which has no limit to choose.
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
