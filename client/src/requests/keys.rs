//! Keys of the account.

use super::paths::{at, paged};
use crate::query::ListQuery;
use crate::{Error, Request};
use eavesward_contract as contract;
use uuid::Uuid;

/// `GET /v1/keys`.
pub fn list_keys(query: &ListQuery) -> Request {
    paged(Request::get("/v1/keys"), query)
}

/// `POST /v1/keys`.
pub fn create_key(key: &contract::KeyRequest) -> Result<Request, Error> {
    Request::post("/v1/keys").json(key)
}

/// `DELETE /v1/keys/{id}`: revokes the key.
pub fn revoke_key(id: Uuid) -> Request {
    Request::delete(at("keys", id))
}
