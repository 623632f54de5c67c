//! The account.

use crate::Request;

/// `GET /v1/account`.
pub fn account() -> Request {
    Request::get("/v1/account")
}
