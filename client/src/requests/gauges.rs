//! Rain gauges and their readings.

use super::paths::{at, below, paged};
use crate::query::{ListQuery, RainFileOptions, RainOptions, RainQuery};
use crate::{Error, Request};
use chrono::NaiveDate;
use eavesward_contract as contract;
use uuid::Uuid;

/// `GET /v1/gauges`.
pub fn list_gauges(query: &ListQuery) -> Request {
    paged(Request::get("/v1/gauges"), query)
}

/// `POST /v1/gauges`.
pub fn create_gauge(gauge: &contract::GaugeRequest) -> Result<Request, Error> {
    Request::post("/v1/gauges").json(gauge)
}

/// `GET /v1/gauges/{id}`.
pub fn gauge(id: Uuid) -> Request {
    Request::get(at("gauges", id))
}

/// `PUT /v1/gauges/{id}` with `If-Match`.
pub fn update_gauge(id: Uuid, version: i64, gauge: &contract::GaugeRequest) -> Result<Request, Error> {
    Request::put(at("gauges", id)).if_match(version).json(gauge)
}

/// `DELETE /v1/gauges/{id}` with `If-Match`.
pub fn delete_gauge(id: Uuid, version: i64) -> Request {
    Request::delete(at("gauges", id)).if_match(version)
}

/// `PUT /v1/gauges/{id}/rain` as JSON: adds or replaces readings by date.
pub fn send_rain(id: Uuid, rain: &contract::RainRequest, options: &RainOptions) -> Result<Request, Error> {
    Request::put(below("gauges", id, "rain"))
        .query_some("all_or_nothing", options.all_or_nothing.then_some(true))
        .json(rain)
}

/// `PUT /v1/gauges/{id}/rain` as CSV: adds or replaces readings by date.
pub fn send_rain_file(id: Uuid, text: impl Into<Vec<u8>>, options: &RainFileOptions) -> Request {
    options.put_on(Request::put(below("gauges", id, "rain"))).csv(text)
}

/// `GET /v1/gauges/{id}/rain`.
pub fn list_rain(id: Uuid, query: &RainQuery) -> Request {
    Request::get(below("gauges", id, "rain"))
        .query_some("from", query.from)
        .query_some("to", query.to)
        .query_some("limit", query.limit)
        .query_some("cursor", query.cursor.as_deref())
}

/// `DELETE /v1/gauges/{id}/rain`: deletes the readings from one day to another, both included.
pub fn delete_rain(id: Uuid, from: NaiveDate, to: NaiveDate) -> Request {
    Request::delete(below("gauges", id, "rain")).query("from", from).query("to", to)
}
