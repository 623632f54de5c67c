//! Paths and pages, which all requests share.

use crate::Request;
use crate::query::ListQuery;
use std::fmt::Display;

/// Adds where a page begins and how long it may be.
pub(super) fn paged(request: Request, query: &ListQuery) -> Request {
    request.query_some("limit", query.limit).query_some("cursor", query.cursor.as_deref())
}

/// The path of one thing.
pub(super) fn at(resource: &str, id: impl Display) -> String {
    format!("/v1/{resource}/{id}")
}

/// A path below one thing.
pub(super) fn below(resource: &str, id: impl Display, rest: &str) -> String {
    format!("/v1/{resource}/{id}/{rest}")
}
