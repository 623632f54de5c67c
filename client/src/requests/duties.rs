//! Duties and the account's own figures.

use super::paths::at;
use crate::query::word;
use crate::{Error, Request};
use eavesward_contract as contract;

/// `GET /v1/duties`. All duties are on one page; there is no `limit`.
pub fn list_duties(cursor: Option<&str>) -> Request {
    Request::get("/v1/duties").query_some("cursor", cursor)
}

/// `GET /v1/duties/{duty}`.
pub fn duty(duty: contract::Duty) -> Request {
    Request::get(at("duties", word(&duty)))
}

/// `PUT /v1/duties/{duty}` with `If-Match`. An absent figure goes back to the default.
pub fn update_duty(
    duty: contract::Duty,
    version: i64,
    settings: &contract::DutySettingsRequest,
) -> Result<Request, Error> {
    Request::put(at("duties", word(&duty))).if_match(version).json(settings)
}
