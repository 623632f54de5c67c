//! The audit.

use crate::Request;
use crate::query::AuditQuery;

/// `GET /v1/audit`.
pub fn list_audit(query: &AuditQuery) -> Request {
    query.put_on(Request::get("/v1/audit"))
}
