//! Calendar feeds.

use super::paths::{at, paged};
use crate::query::ListQuery;
use crate::{Error, Request};
use eavesward_contract as contract;
use uuid::Uuid;

/// `GET /v1/calendars`.
pub fn list_calendars(query: &ListQuery) -> Request {
    paged(Request::get("/v1/calendars"), query)
}

/// `POST /v1/calendars`.
pub fn create_calendar(calendar: &contract::CalendarRequest) -> Result<Request, Error> {
    Request::post("/v1/calendars").json(calendar)
}

/// `DELETE /v1/calendars/{id}`: revokes the feed.
pub fn revoke_calendar(id: Uuid) -> Request {
    Request::delete(at("calendars", id))
}

/// `GET /calendars/{token}.ics`: the text of the feed with this path.
pub fn read_calendar(path: &str) -> Request {
    Request::get(path)
}
