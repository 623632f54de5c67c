//! Helpers for paths and pages.

use crate::Request;
use crate::query::ListQuery;
use std::fmt::Display;

/// Adds the cursor and the length of a page.
pub(super) fn paged(request: Request, query: &ListQuery) -> Request {
    request.query_some("limit", query.limit).query_some("cursor", query.cursor.as_deref())
}

/// The path of one resource.
pub(super) fn at(resource: &str, id: impl Display) -> String {
    format!("/v1/{resource}/{id}")
}

/// A path below one resource.
pub(super) fn below(resource: &str, id: impl Display, rest: &str) -> String {
    format!("/v1/{resource}/{id}/{rest}")
}
