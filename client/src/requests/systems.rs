//! Systems, their status and their forecast.

use super::paths::{at, below};
use crate::query::{ForecastQuery, SystemQuery};
use crate::{Error, Request};
use eavesward_contract as contract;
use uuid::Uuid;

/// `GET /v1/systems`.
pub fn list_systems(query: &SystemQuery) -> Request {
    Request::get("/v1/systems")
        .query_some("property_id", query.property_id)
        .query_some("gauge_id", query.gauge_id)
        .query_some("limit", query.limit)
        .query_some("cursor", query.cursor.as_deref())
}

/// `POST /v1/systems`.
pub fn create_system(system: &contract::SystemCreateRequest) -> Result<Request, Error> {
    Request::post("/v1/systems").json(system)
}

/// `GET /v1/systems/{id}`.
pub fn system(id: Uuid) -> Request {
    Request::get(at("systems", id))
}

/// `PUT /v1/systems/{id}` with `If-Match`.
pub fn update_system(
    id: Uuid,
    version: i64,
    system: &contract::SystemUpdateRequest,
) -> Result<Request, Error> {
    Request::put(at("systems", id)).if_match(version).json(system)
}

/// `GET /v1/systems/{id}/forecast`.
pub fn system_forecast(system: Uuid, query: &ForecastQuery) -> Request {
    Request::get(below("systems", system, "forecast")).query_some("as_of", query.as_of)
}

/// `GET /v1/systems/{id}/status`.
pub fn system_status(system: Uuid) -> Request {
    Request::get(below("systems", system, "status"))
}

/// `GET /v1/systems/{id}/status/events`: server-sent events, which only [`crate::Systems::events`] reads.
///
/// # Errors
/// `last_event_id` has characters that a header cannot hold.
pub fn system_status_events(system: Uuid, last_event_id: Option<&str>) -> Result<Request, Error> {
    let request = Request::get(below("systems", system, "status/events"));
    match last_event_id {
        Some(id) => request.header("last-event-id", id),
        None => Ok(request),
    }
}

/// `POST /v1/forecast`: a forecast of a system that is not registered.
pub fn forecast(request: &contract::ForecastRequest) -> Result<Request, Error> {
    Request::post("/v1/forecast").json(request)
}
