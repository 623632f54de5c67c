//! Properties.

use super::paths::{at, paged};
use crate::query::ListQuery;
use crate::{Error, Request};
use eavesward_contract as contract;
use uuid::Uuid;

/// `GET /v1/properties`.
pub fn list_properties(query: &ListQuery) -> Request {
    paged(Request::get("/v1/properties"), query)
}

/// `POST /v1/properties`.
pub fn create_property(property: &contract::PropertyRequest) -> Result<Request, Error> {
    Request::post("/v1/properties").json(property)
}

/// `GET /v1/properties/{id}`.
pub fn property(id: Uuid) -> Request {
    Request::get(at("properties", id))
}

/// `PUT /v1/properties/{id}` with `If-Match`.
pub fn update_property(
    id: Uuid,
    version: i64,
    property: &contract::PropertyRequest,
) -> Result<Request, Error> {
    Request::put(at("properties", id)).if_match(version).json(property)
}

/// `DELETE /v1/properties/{id}` with `If-Match`.
pub fn delete_property(id: Uuid, version: i64) -> Request {
    Request::delete(at("properties", id)).if_match(version)
}
