//! The audit: who changed what.

use crate::domain::base::ids::KeyId;
use crate::domain::model::audit::AuditFilter;
use crate::domain::use_cases::audit;
use crate::http::access::Admin;
use crate::http::acting::Cx;
use crate::http::conditional::page;
use crate::http::problem::ApiError;
use crate::http::query::Query;
use actix_web::{HttpRequest, HttpResponse};
use chrono::{DateTime, Utc};
use eavesward_contract as wire;
use serde::Deserialize;
use uuid::Uuid;

/// Which entries to list.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct AuditQuery {
    /// Changes made with this key.
    pub key_id: Option<Uuid>,
    /// Changes of the thing with this id, 1 to 100 characters. A duty has its word.
    pub thing_id: Option<String>,
    /// Changes at this instant or later.
    pub from: Option<DateTime<Utc>>,
    /// Changes before this instant.
    pub until: Option<DateTime<Utc>>,
    /// `next_cursor` of the page before; from the newest entry when absent.
    pub cursor: Option<String>,
    /// Rows of a page, 1 to 500; 100 when absent.
    pub limit: Option<u32>,
}

/// List who changed what
///
/// Every change of the account, newest first: who made it, when, on what, and in which request. A change and its entry are
/// stored together, so neither is there without the other. A request that was refused, or that found nothing to change,
/// leaves no entry. A request leaves one entry, however much it changes. What the service does by itself, such as a
/// refresh or a delivery, is not recorded.
///
/// Nothing changes or removes an entry before its time is over: it is kept for 400 days unless the operator set otherwise.
/// Needs the scope `admin`.
#[utoipa::path(get, path = "/v1/audit", tag = "accounts", operation_id = "list_audit", params(AuditQuery),
    responses((status = 200, description = "One page of entries", body = wire::Page<wire::AuditEntry>)))]
pub async fn list(
    req: HttpRequest,
    caller: Admin,
    cx: Cx,
    query: Query<AuditQuery>,
) -> Result<HttpResponse, ApiError> {
    let filter = AuditFilter {
        key: query.key_id.map(KeyId),
        thing_id: query.thing_id.clone(),
        from: query.from,
        until: query.until,
    };
    let found = audit::list(&cx, caller.0, filter, query.cursor.as_deref(), query.limit).await?;
    page::<_, wire::AuditEntry>(&req, found)
}
