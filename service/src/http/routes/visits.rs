//! Visits.

use crate::domain::base::ids::{SystemId, VisitId};
use crate::domain::base::paging::ListPage;
use crate::domain::context::Context;
use crate::domain::model::visit::VisitFilter;
use crate::domain::use_cases::visits;
use crate::http::access::{Reader, Version, Writer};
use crate::http::acting::Cx;
use crate::http::body::Json;
use crate::http::conditional::{page, versioned};
use crate::http::idempotent::{Reply, once};
use crate::http::problem::ApiError;
use crate::http::query::Query;
use crate::http::wire::visit::visit_facts;
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::NaiveDate;
use eavesward_contract as wire;
use serde::Deserialize;
use uuid::Uuid;

type Answer = Result<HttpResponse, ApiError>;

/// Which visits to list.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct VisitsQuery {
    /// Those to this system.
    pub system_id: Option<Uuid>,
    /// Those on or after this day.
    pub from: Option<NaiveDate>,
    /// Those on or before this day.
    pub to: Option<NaiveDate>,
    /// Whether withdrawn ones are listed too; `false` when absent.
    #[serde(default)]
    #[param(required = false)]
    pub include_withdrawn: bool,
    /// `next_cursor` of the page before; from the start when absent.
    pub cursor: Option<String>,
    /// Rows of a page, 1 to 500; 100 when absent.
    pub limit: Option<u32>,
}

/// List visits
///
/// Latest day first.
#[utoipa::path(get, path = "/v1/visits", tag = "visits", operation_id = "list_visits", params(VisitsQuery),
    responses((status = 200, description = "One page of visits", body = wire::Page<wire::Visit>)))]
pub async fn list(req: HttpRequest, caller: Reader, cx: Cx, query: Query<VisitsQuery>) -> Answer {
    let filter = VisitFilter {
        system_id: query.system_id.map(SystemId),
        from: query.from,
        to: query.to,
        include_withdrawn: query.include_withdrawn,
    };
    let found = visits::list(&cx, caller.0, &filter, query.cursor.as_deref(), query.limit).await?;
    page::<_, wire::Visit>(&req, found)
}

/// Log a visit
///
/// What was done and what was found. A duty that was done starts again at 0 on that day. Rain of the day
/// itself counts as fallen before the visit.
#[utoipa::path(post, path = "/v1/visits", tag = "visits", operation_id = "log_visit",
    request_body = wire::VisitRequest,
    responses((status = 201, description = "The visit", body = wire::Visit)))]
pub async fn log(req: HttpRequest, caller: Writer, cx: Cx, body: Json<wire::VisitRequest>) -> Answer {
    let cx: &Context = &cx;
    once(cx, caller.0, &req, body.hash, |seed| async move {
        let facts = visit_facts(body.value)?;
        let made = wire::Visit::from(visits::log(cx, caller.0, VisitId(seed), facts).await?);
        Reply::created(format!("/v1/visits/{}", made.id), made.version, &made)
    })
    .await
}

/// Show a visit
///
/// With its version as `ETag`.
#[utoipa::path(get, path = "/v1/visits/{id}", tag = "visits", operation_id = "get_visit",
    params(("id" = Uuid, Path, description = "Id of the visit")),
    responses((status = 200, description = "The visit", body = wire::Visit)))]
pub async fn get(req: HttpRequest, caller: Reader, cx: Cx, id: web::Path<Uuid>) -> Answer {
    let found = wire::Visit::from(visits::get(&cx, caller.0, VisitId(*id)).await?);
    versioned(&req, found.version, &found)
}

/// Correct a visit
///
/// Forecasts are then as if the error had not been made. The earlier version is kept as a revision.
#[utoipa::path(put, path = "/v1/visits/{id}", tag = "visits", operation_id = "correct_visit",
    params(
        ("id" = Uuid, Path, description = "Id of the visit"),
        ("If-Match" = String, Header, description = "The version that was read, such as \"3\""),
    ),
    request_body = wire::VisitRequest,
    responses((status = 200, description = "The visit as it is now", body = wire::Visit)))]
pub async fn correct(
    req: HttpRequest,
    caller: Writer,
    cx: Cx,
    id: web::Path<Uuid>,
    version: Version,
    body: Json<wire::VisitRequest>,
) -> Answer {
    let facts = visit_facts(body.value)?;
    let changed = wire::Visit::from(visits::correct(&cx, caller.0, VisitId(*id), version.0, facts).await?);
    versioned(&req, changed.version, &changed)
}

/// Withdraw a visit
///
/// For one that did not happen as logged. It is kept, and counts for nothing. Withdrawing twice changes nothing.
#[utoipa::path(post, path = "/v1/visits/{id}/withdraw", tag = "visits", operation_id = "withdraw_visit",
    params(("id" = Uuid, Path, description = "Id of the visit")),
    request_body = wire::WithdrawRequest,
    responses((status = 200, description = "The visit as it is now", body = wire::Visit)))]
pub async fn withdraw(
    req: HttpRequest,
    caller: Writer,
    cx: Cx,
    id: web::Path<Uuid>,
    body: Json<wire::WithdrawRequest>,
) -> Answer {
    let cx: &Context = &cx;
    once(cx, caller.0, &req, body.hash, |_| async move {
        let withdrawn = visits::withdraw(cx, caller.0, VisitId(*id), body.value.because).await?;
        let withdrawn = wire::Visit::from(withdrawn);
        Reply::done(withdrawn.version, &withdrawn)
    })
    .await
}

/// List a visit's revisions
///
/// What it was before each correction or withdrawal, oldest first, all in one page.
#[utoipa::path(get, path = "/v1/visits/{id}/revisions", tag = "visits", operation_id = "list_visit_revisions",
    params(("id" = Uuid, Path, description = "Id of the visit")),
    responses((status = 200, description = "The revisions", body = wire::Page<wire::VisitRevision>)))]
pub async fn revisions(req: HttpRequest, caller: Reader, cx: Cx, id: web::Path<Uuid>) -> Answer {
    let items = visits::revisions(&cx, caller.0, VisitId(*id)).await?;
    page::<_, wire::VisitRevision>(&req, ListPage { items, next: None })
}
