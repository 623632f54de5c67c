//! Gauges.

use super::Paging;
use crate::domain::base::ids::GaugeId;
use crate::domain::context::Context;
use crate::domain::use_cases::gauges;
use crate::http::access::{Reader, Version, Writer};
use crate::http::acting::Cx;
use crate::http::body::Json;
use crate::http::conditional::{compound, page, versioned};
use crate::http::idempotent::{Reply, once};
use crate::http::problem::ApiError;
use crate::http::query::Query;
use actix_web::{HttpRequest, HttpResponse, web};
use eavesward_contract as wire;
use uuid::Uuid;

type Answer = Result<HttpResponse, ApiError>;

/// List gauges
///
/// By name.
#[utoipa::path(get, path = "/v1/gauges", tag = "gauges", operation_id = "list_gauges", params(Paging),
    responses((status = 200, description = "One page of gauges", body = wire::Page<wire::Gauge>)))]
pub async fn list(req: HttpRequest, caller: Reader, cx: Cx, paging: Query<Paging>) -> Answer {
    let found = gauges::list(&cx, caller.0, paging.cursor.as_deref(), paging.limit).await?;
    page::<_, wire::Gauge>(&req, found)
}

/// Register a gauge
///
/// Where rain is measured. Send daily readings to `/v1/gauges/{id}/rain`, or monthly normals here, or both.
#[utoipa::path(post, path = "/v1/gauges", tag = "gauges", operation_id = "create_gauge",
    request_body = wire::GaugeRequest,
    responses((status = 201, description = "The gauge", body = wire::Gauge)))]
pub async fn create(req: HttpRequest, caller: Writer, cx: Cx, body: Json<wire::GaugeRequest>) -> Answer {
    let cx: &Context = &cx;
    once(cx, caller.0, &req, body.hash, |seed| async move {
        let made = wire::Gauge::from(gauges::create(cx, caller.0, GaugeId(seed), body.value.into()).await?);
        Reply::created(format!("/v1/gauges/{}", made.id), made.version, &made)
    })
    .await
}

/// Show a gauge
///
/// The `ETag` begins with its version; what follows the point changes with its rain. `If-Match` looks at the version alone.
#[utoipa::path(get, path = "/v1/gauges/{id}", tag = "gauges", operation_id = "get_gauge",
    params(("id" = Uuid, Path, description = "Id of the gauge")),
    responses((status = 200, description = "The gauge", body = wire::Gauge)))]
pub async fn get(req: HttpRequest, caller: Reader, cx: Cx, id: web::Path<Uuid>) -> Answer {
    let found = wire::Gauge::from(gauges::get(&cx, caller.0, GaugeId(*id)).await?);
    compound(&req, found.version, &found)
}

/// Change a gauge
///
/// Replaces all facts of the rain gauge and its normals, but not its readings. Its systems are forecast again.
#[utoipa::path(put, path = "/v1/gauges/{id}", tag = "gauges", operation_id = "update_gauge",
    params(
        ("id" = Uuid, Path, description = "Id of the gauge"),
        ("If-Match" = String, Header, description = "The version that was read, such as \"3\""),
    ),
    request_body = wire::GaugeRequest,
    responses((status = 200, description = "The gauge as it is now", body = wire::Gauge)))]
pub async fn update(
    req: HttpRequest,
    caller: Writer,
    cx: Cx,
    id: web::Path<Uuid>,
    version: Version,
    body: Json<wire::GaugeRequest>,
) -> Answer {
    let changed = gauges::update(&cx, caller.0, GaugeId(*id), version.0, body.value.into()).await?;
    let changed = wire::Gauge::from(changed);
    versioned(&req, changed.version, &changed)
}

/// Remove a gauge
///
/// Only when no system uses it, retired ones included. Its readings go with it.
#[utoipa::path(delete, path = "/v1/gauges/{id}", tag = "gauges", operation_id = "delete_gauge",
    params(
        ("id" = Uuid, Path, description = "Id of the gauge"),
        ("If-Match" = String, Header, description = "The version that was read, such as \"3\""),
    ),
    responses((status = 204, description = "It is gone")))]
pub async fn remove(caller: Writer, cx: Cx, id: web::Path<Uuid>, version: Version) -> Answer {
    gauges::delete(&cx, caller.0, GaugeId(*id), version.0).await?;
    Ok(HttpResponse::NoContent().finish())
}
