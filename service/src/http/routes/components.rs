//! Components.

use crate::domain::base::ids::{ComponentId, SystemId};
use crate::domain::base::paging::ListPage;
use crate::domain::context::Context;
use crate::domain::use_cases::components;
use crate::http::access::{Reader, SystemReader, Version, Writer};
use crate::http::acting::Cx;
use crate::http::body::Json;
use crate::http::conditional::{page, versioned};
use crate::http::idempotent::{Reply, once};
use crate::http::problem::ApiError;
use crate::http::query::Query;
use actix_web::{HttpRequest, HttpResponse, web};
use eavesward_contract as wire;
use serde::Deserialize;
use uuid::Uuid;

type Answer = Result<HttpResponse, ApiError>;

/// Which components to list.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct ComponentsQuery {
    /// Whether those taken out are listed too; `false` when absent.
    #[serde(default)]
    #[param(required = false)]
    pub include_retired: bool,
}

/// List components
///
/// All components of a system in one page, oldest first.
#[utoipa::path(get, path = "/v1/systems/{id}/components", tag = "components", operation_id = "list_components",
    params(("id" = Uuid, Path, description = "Id of the system"), ComponentsQuery),
    responses((status = 200, description = "The components", body = wire::Page<wire::Component>)))]
pub async fn list(
    req: HttpRequest,
    caller: SystemReader,
    cx: Cx,
    id: web::Path<Uuid>,
    query: Query<ComponentsQuery>,
) -> Answer {
    let id = SystemId(*id);
    let items = components::list(&cx, caller.reach.to(id)?, id, query.include_retired).await?;
    page::<_, wire::Component>(&req, ListPage { items, next: None })
}

/// Add a component
///
/// To a system that is registered already.
#[utoipa::path(post, path = "/v1/systems/{id}/components", tag = "components", operation_id = "add_component",
    params(("id" = Uuid, Path, description = "Id of the system")),
    request_body = wire::ComponentRequest,
    responses((status = 201, description = "The component", body = wire::Component)))]
pub async fn add(
    req: HttpRequest,
    caller: Writer,
    cx: Cx,
    id: web::Path<Uuid>,
    body: Json<wire::ComponentRequest>,
) -> Answer {
    let cx: &Context = &cx;
    once(cx, caller.0, &req, body.hash, |seed| async move {
        let made =
            components::add(cx, caller.0, SystemId(*id), ComponentId(seed), body.value.try_into()?).await?;
        let made = wire::Component::from(made);
        Reply::created(format!("/v1/components/{}", made.id), made.version, &made)
    })
    .await
}

/// Show a component
///
/// With its version as `ETag`.
#[utoipa::path(get, path = "/v1/components/{id}", tag = "components", operation_id = "get_component",
    params(("id" = Uuid, Path, description = "Id of the component")),
    responses((status = 200, description = "The component", body = wire::Component)))]
pub async fn get(req: HttpRequest, caller: Reader, cx: Cx, id: web::Path<Uuid>) -> Answer {
    let found = wire::Component::from(components::get(&cx, caller.0, ComponentId(*id)).await?);
    versioned(&req, found.version, &found)
}

/// Correct a component
///
/// Says that it always was so: its figures hold from the first day on, and its dates are forecast again. Replace the
/// component if it was changed on site.
#[utoipa::path(put, path = "/v1/components/{id}", tag = "components", operation_id = "update_component",
    params(
        ("id" = Uuid, Path, description = "Id of the component"),
        ("If-Match" = String, Header, description = "The version that was read, such as \"3\""),
    ),
    request_body = wire::ComponentRequest,
    responses((status = 200, description = "The component as it is now", body = wire::Component)))]
pub async fn update(
    req: HttpRequest,
    caller: Writer,
    cx: Cx,
    id: web::Path<Uuid>,
    version: Version,
    body: Json<wire::ComponentRequest>,
) -> Answer {
    let changed =
        components::update(&cx, caller.0, ComponentId(*id), version.0, body.value.try_into()?).await?;
    let changed = wire::Component::from(changed);
    versioned(&req, changed.version, &changed)
}

/// Replace a component
///
/// Puts a new one in its place on a day. The old one and its history stay.
#[utoipa::path(post, path = "/v1/components/{id}/replace", tag = "components", operation_id = "replace_component",
    params(("id" = Uuid, Path, description = "Id of the old component")),
    request_body = wire::ReplaceRequest,
    responses((status = 201, description = "The new component", body = wire::Component)))]
pub async fn replace(
    req: HttpRequest,
    caller: Writer,
    cx: Cx,
    id: web::Path<Uuid>,
    body: Json<wire::ReplaceRequest>,
) -> Answer {
    let cx: &Context = &cx;
    once(cx, caller.0, &req, body.hash, |seed| async move {
        let made =
            components::replace(cx, caller.0, ComponentId(*id), ComponentId(seed), body.value.try_into()?)
                .await?;
        let made = wire::Component::from(made);
        Reply::created(format!("/v1/components/{}", made.id), made.version, &made)
    })
    .await
}

/// Take a component out
///
/// For good, on a day. It and its history stay.
#[utoipa::path(post, path = "/v1/components/{id}/retire", tag = "components", operation_id = "retire_component",
    params(("id" = Uuid, Path, description = "Id of the component")),
    request_body = wire::RetireRequest,
    responses((status = 200, description = "The component as it is now", body = wire::Component)))]
pub async fn retire(
    req: HttpRequest,
    caller: Writer,
    cx: Cx,
    id: web::Path<Uuid>,
    body: Json<wire::RetireRequest>,
) -> Answer {
    let cx: &Context = &cx;
    once(cx, caller.0, &req, body.hash, |_| async move {
        let retired = components::retire(cx, caller.0, ComponentId(*id), body.value.on).await?;
        let retired = wire::Component::from(retired);
        Reply::done(retired.version, &retired)
    })
    .await
}
