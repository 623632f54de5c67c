//! Tasks and their digest.

use super::paths::at;
use crate::Request;
use crate::query::{DigestFormat, DigestQuery, TaskQuery};
use uuid::Uuid;

/// `GET /v1/tasks`, soonest first; tasks without a date come last.
pub fn list_tasks(query: &TaskQuery) -> Request {
    query.put_on(Request::get("/v1/tasks"))
}

/// `GET /v1/tasks/{id}`.
pub fn task(id: Uuid) -> Request {
    Request::get(at("tasks", id))
}

/// `GET /v1/digest`.
pub fn digest(query: &DigestQuery) -> Request {
    query.put_on(Request::get("/v1/digest"))
}

/// `GET /v1/digest.{format}`.
pub fn digest_as(query: &DigestQuery, format: DigestFormat) -> Request {
    query.put_on(Request::get(format!("/v1/digest.{}", format.ending())))
}
