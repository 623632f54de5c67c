//! Forecasts: one system explained in full.

use crate::domain::base::ids::SystemId;
use crate::domain::use_cases::{forecasts, sketch};
use crate::http::access::{Reader, SystemReader};
use crate::http::acting::Cx;
use crate::http::body::Json;
use crate::http::conditional::{hashed, json};
use crate::http::problem::ApiError;
use crate::http::query::Query;
use crate::http::wire::forecast::sketch;
use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::NaiveDate;
use eavesward_contract as wire;
use serde::Deserialize;
use uuid::Uuid;

type Answer = Result<HttpResponse, ApiError>;

/// For which day.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct ForecastQuery {
    /// The day to forecast for, with what was known by then; today at the property when absent.
    pub as_of: Option<NaiveDate>,
}

/// Explain a system
///
/// Every duty of every component with its window, accumulated, limit, chances, curve and reasons. A day in the past uses only
/// the rain, visits and components up to that day.
#[utoipa::path(get, path = "/v1/systems/{id}/forecast", tag = "forecasts", operation_id = "get_forecast",
    params(("id" = Uuid, Path, description = "Id of the system"), ForecastQuery),
    responses((status = 200, description = "The forecast", body = wire::SystemForecast)))]
pub async fn of_system(
    req: HttpRequest,
    caller: SystemReader,
    cx: Cx,
    id: web::Path<Uuid>,
    query: Query<ForecastQuery>,
) -> Answer {
    let id = SystemId(*id);
    let found = forecasts::stored(&cx, caller.reach.to(id)?, id, query.as_of).await?;
    hashed(&req, &wire::SystemForecast::from(found))
}

/// Forecast without registering
///
/// For a system that is not registered, such as a job that an installer quotes. Nothing is stored, and the same request
/// gives the same answer on any day.
#[utoipa::path(post, path = "/v1/forecast", tag = "forecasts", operation_id = "forecast_unregistered",
    request_body = wire::ForecastRequest,
    responses((status = 200, description = "The forecast", body = wire::SystemForecast)))]
pub async fn stateless(_caller: Reader, body: Json<wire::ForecastRequest>) -> Answer {
    let found = sketch::stateless(sketch(body.value)?).await?;
    Ok(HttpResponse::Ok()
        .content_type("application/json")
        .insert_header((header::CACHE_CONTROL, "no-store"))
        .body(json(&wire::SystemForecast::from(found))?))
}
