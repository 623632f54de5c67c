//! Duties and the account's own figures.

use super::paths::at;
use crate::query::DutyQuery;
use crate::{Error, Request};
use eavesward_contract as contract;

/// `GET /v1/duties`. All duties are on one page; there is no `limit`.
pub fn list_duties(query: &DutyQuery) -> Request {
    Request::get("/v1/duties").query_some("cursor", query.cursor.as_deref())
}

/// `GET /v1/duties/{duty}`.
pub fn duty(duty: &contract::Duty) -> Request {
    Request::get(at("duties", duty))
}

/// `PUT /v1/duties/{duty}` with `If-Match`. An absent figure goes back to the default.
pub fn update_duty(
    duty: &contract::Duty,
    version: i64,
    settings: &contract::DutySettingsRequest,
) -> Result<Request, Error> {
    Request::put(at("duties", duty)).if_match(version).json(settings)
}
