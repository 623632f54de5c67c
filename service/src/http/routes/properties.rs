//! Properties.

use super::Paging;
use crate::domain::base::ids::PropertyId;
use crate::domain::context::Context;
use crate::domain::use_cases::properties;
use crate::http::access::{Reader, Version, Writer};
use crate::http::acting::Cx;
use crate::http::body::Json;
use crate::http::conditional::{page, versioned};
use crate::http::idempotent::{Reply, once};
use crate::http::problem::ApiError;
use crate::http::query::Query;
use actix_web::{HttpRequest, HttpResponse, web};
use eavesward_contract as wire;
use uuid::Uuid;

type Answer = Result<HttpResponse, ApiError>;

/// List properties
///
/// By name.
#[utoipa::path(get, path = "/v1/properties", tag = "properties", operation_id = "list_properties", params(Paging),
    responses((status = 200, description = "One page of properties", body = wire::Page<wire::Property>)))]
pub async fn list(req: HttpRequest, caller: Reader, cx: Cx, paging: Query<Paging>) -> Answer {
    let found = properties::list(&cx, caller.0, paging.cursor.as_deref(), paging.limit).await?;
    page::<_, wire::Property>(&req, found)
}

/// Register a property
///
/// A place that systems stand at. Its time zone says when its days begin.
#[utoipa::path(post, path = "/v1/properties", tag = "properties", operation_id = "create_property",
    request_body = wire::PropertyRequest,
    responses((status = 201, description = "The property", body = wire::Property)))]
pub async fn create(req: HttpRequest, caller: Writer, cx: Cx, body: Json<wire::PropertyRequest>) -> Answer {
    let cx: &Context = &cx;
    once(cx, caller.0, &req, body.hash, |seed| async move {
        let made = wire::Property::from(
            properties::create(cx, caller.0, PropertyId(seed), body.value.into()).await?,
        );
        Reply::created(format!("/v1/properties/{}", made.id), made.version, &made)
    })
    .await
}

/// Show a property
///
/// With its version as `ETag`.
#[utoipa::path(get, path = "/v1/properties/{id}", tag = "properties", operation_id = "get_property",
    params(("id" = Uuid, Path, description = "Id of the property")),
    responses((status = 200, description = "The property", body = wire::Property)))]
pub async fn get(req: HttpRequest, caller: Reader, cx: Cx, id: web::Path<Uuid>) -> Answer {
    let found = wire::Property::from(properties::get(&cx, caller.0, PropertyId(*id)).await?);
    versioned(&req, found.version, &found)
}

/// Change a property
///
/// Replaces all facts of the property, as if they had always been so. Its systems are forecast again.
#[utoipa::path(put, path = "/v1/properties/{id}", tag = "properties", operation_id = "update_property",
    params(
        ("id" = Uuid, Path, description = "Id of the property"),
        ("If-Match" = String, Header, description = "The version that was read, such as \"3\""),
    ),
    request_body = wire::PropertyRequest,
    responses((status = 200, description = "The property as it is now", body = wire::Property)))]
pub async fn update(
    req: HttpRequest,
    caller: Writer,
    cx: Cx,
    id: web::Path<Uuid>,
    version: Version,
    body: Json<wire::PropertyRequest>,
) -> Answer {
    let changed = properties::update(&cx, caller.0, PropertyId(*id), version.0, body.value.into()).await?;
    let changed = wire::Property::from(changed);
    versioned(&req, changed.version, &changed)
}

/// Remove a property
///
/// Only when no system stands at it, retired ones included.
#[utoipa::path(delete, path = "/v1/properties/{id}", tag = "properties", operation_id = "delete_property",
    params(
        ("id" = Uuid, Path, description = "Id of the property"),
        ("If-Match" = String, Header, description = "The version that was read, such as \"3\""),
    ),
    responses((status = 204, description = "It is gone")))]
pub async fn remove(caller: Writer, cx: Cx, id: web::Path<Uuid>, version: Version) -> Answer {
    properties::delete(&cx, caller.0, PropertyId(*id), version.0).await?;
    Ok(HttpResponse::NoContent().finish())
}
