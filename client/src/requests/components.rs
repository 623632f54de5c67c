//! Components.

use super::paths::{at, below};
use crate::query::ComponentQuery;
use crate::{Error, Request};
use eavesward_contract as contract;
use uuid::Uuid;

/// `GET /v1/systems/{id}/components`.
pub fn list_components(system: Uuid, query: &ComponentQuery) -> Request {
    Request::get(below("systems", system, "components"))
        .query_some("include_retired", query.include_retired.then_some(true))
        .query_some("cursor", query.cursor.as_deref())
}

/// `POST /v1/systems/{id}/components`.
pub fn add_component(system: Uuid, component: &contract::ComponentRequest) -> Result<Request, Error> {
    Request::post(below("systems", system, "components")).json(component)
}

/// `GET /v1/components/{id}`.
pub fn component(id: Uuid) -> Request {
    Request::get(at("components", id))
}

/// `PUT /v1/components/{id}` with `If-Match`: corrects the component's data.
pub fn update_component(
    id: Uuid,
    version: i64,
    component: &contract::ComponentRequest,
) -> Result<Request, Error> {
    Request::put(at("components", id)).if_match(version).json(component)
}

/// `POST /v1/components/{id}/replace`.
pub fn replace_component(id: Uuid, replace: &contract::ReplaceRequest) -> Result<Request, Error> {
    Request::post(below("components", id, "replace")).json(replace)
}

/// `POST /v1/components/{id}/retire`.
pub fn retire_component(id: Uuid, retire: &contract::RetireRequest) -> Result<Request, Error> {
    Request::post(below("components", id, "retire")).json(retire)
}
