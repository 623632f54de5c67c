//! Systems.

use crate::domain::base::ids::{GaugeId, PropertyId, SystemId};
use crate::domain::context::Context;
use crate::domain::model::system::SystemFilter;
use crate::domain::use_cases::systems;
use crate::http::access::{Reader, Version, Writer};
use crate::http::acting::Cx;
use crate::http::body::Json;
use crate::http::conditional::{compound, page};
use crate::http::idempotent::{Reply, once};
use crate::http::problem::ApiError;
use crate::http::query::Query;
use crate::http::wire::system::registration;
use actix_web::{HttpRequest, HttpResponse, web};
use eavesward_contract as wire;
use serde::Deserialize;
use uuid::Uuid;

type Answer = Result<HttpResponse, ApiError>;

/// Which systems to list.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct SystemsQuery {
    /// Those at this property.
    pub property_id: Option<Uuid>,
    /// Those under this gauge.
    pub gauge_id: Option<Uuid>,
    /// `next_cursor` of the page before; from the start when absent.
    pub cursor: Option<String>,
    /// Rows of a page, 1 to 500; 100 when absent.
    pub limit: Option<u32>,
}

/// List systems
///
/// By name, each with its components in service.
#[utoipa::path(get, path = "/v1/systems", tag = "systems", operation_id = "list_systems", params(SystemsQuery),
    responses((status = 200, description = "One page of systems", body = wire::Page<wire::System>)))]
pub async fn list(req: HttpRequest, caller: Reader, cx: Cx, query: Query<SystemsQuery>) -> Answer {
    let filter = SystemFilter {
        property_id: query.property_id.map(PropertyId),
        gauge_id: query.gauge_id.map(GaugeId),
    };
    let found = systems::list(&cx, caller.0, &filter, query.cursor.as_deref(), query.limit).await?;
    page::<_, wire::System>(&req, found)
}

/// Register a system
///
/// With its components, all or nothing. Its tasks appear within seconds.
#[utoipa::path(post, path = "/v1/systems", tag = "systems", operation_id = "create_system",
    request_body = wire::SystemCreateRequest,
    responses((status = 201, description = "The system", body = wire::System)))]
pub async fn create(
    req: HttpRequest,
    caller: Writer,
    cx: Cx,
    body: Json<wire::SystemCreateRequest>,
) -> Answer {
    let cx: &Context = &cx;
    once(cx, caller.0, &req, body.hash, |seed| async move {
        let (facts, components) = registration(body.value)?;
        let made =
            wire::System::from(systems::create(cx, caller.0, SystemId(seed), facts, components).await?);
        Reply::created(format!("/v1/systems/{}", made.id), made.version, &made)
    })
    .await
}

/// Show a system
///
/// With its components in service. The `ETag` begins with its version; what follows the point changes with its
/// components. `If-Match` looks at the version alone.
#[utoipa::path(get, path = "/v1/systems/{id}", tag = "systems", operation_id = "get_system",
    params(("id" = Uuid, Path, description = "Id of the system")),
    responses((status = 200, description = "The system", body = wire::System)))]
pub async fn get(req: HttpRequest, caller: Reader, cx: Cx, id: web::Path<Uuid>) -> Answer {
    let found = wire::System::from(systems::get(&cx, caller.0, SystemId(*id)).await?);
    compound(&req, found.version, &found)
}

/// Change a system
///
/// Says that it always was so: the facts hold from the first day on, and its tasks are forecast again. Components have
/// routes of their own. A day in `retired_on` takes the system out of service.
#[utoipa::path(put, path = "/v1/systems/{id}", tag = "systems", operation_id = "update_system",
    params(
        ("id" = Uuid, Path, description = "Id of the system"),
        ("If-Match" = String, Header, description = "The version that was read, such as \"3\""),
    ),
    request_body = wire::SystemUpdateRequest,
    responses((status = 200, description = "The system as it is now", body = wire::System)))]
pub async fn update(
    req: HttpRequest,
    caller: Writer,
    cx: Cx,
    id: web::Path<Uuid>,
    version: Version,
    body: Json<wire::SystemUpdateRequest>,
) -> Answer {
    let changed = systems::update(&cx, caller.0, SystemId(*id), version.0, body.value.try_into()?).await?;
    let changed = wire::System::from(changed);
    compound(&req, changed.version, &changed)
}
