//! Duties: the figures that decide when they fall due, and the account's own.

use crate::domain::base::paging::ListPage;
use crate::domain::model::duty::Duty;
use crate::domain::use_cases::duty_settings;
use crate::http::access::{Reader, Version, Writer};
use crate::http::acting::Cx;
use crate::http::body::Json;
use crate::http::conditional::{page, versioned};
use crate::http::problem::ApiError;
use actix_web::{HttpRequest, HttpResponse, web};
use eavesward_contract as wire;
use eavesward_contract::ProblemCode;

type Answer = Result<HttpResponse, ApiError>;

/// The duty that a path names.
fn duty_named(word: &str) -> Result<Duty, ApiError> {
    Duty::of_word(word).ok_or_else(|| {
        let detail = format!("There is no duty {word:?}; GET /v1/duties lists them.");
        ApiError::new(ProblemCode::NotFound, detail)
    })
}

/// List duties
///
/// All duties on one page. Each has its longest interval with a source, and the chance of being past the limit at which it
/// falls due. The account's own figures stand beside them.
#[utoipa::path(get, path = "/v1/duties", tag = "duties", operation_id = "list_duties",
    responses((status = 200, description = "The duties", body = wire::Page<wire::DutySettings>)))]
pub async fn list(req: HttpRequest, caller: Reader, cx: Cx) -> Answer {
    let items = duty_settings::list(&cx, caller.0).await?;
    page::<_, wire::DutySettings>(&req, ListPage { items, next: None })
}

/// Show a duty
///
/// With its version as `ETag`; it is 0 until the account first sets something.
#[utoipa::path(get, path = "/v1/duties/{duty}", tag = "duties", operation_id = "get_duty",
    params(("duty" = wire::Duty, Path, description = "The duty")),
    responses((status = 200, description = "The duty", body = wire::DutySettings)))]
pub async fn get(req: HttpRequest, caller: Reader, cx: Cx, duty: web::Path<String>) -> Answer {
    let found = wire::DutySettings::from(duty_settings::get(&cx, caller.0, duty_named(&duty)?).await?);
    versioned(&req, found.version, &found)
}

/// Set an account's own figures
///
/// For all systems of the account, which are forecast again. What is absent goes back to the default. Every duty can have a
/// longest interval. Only a duty whose date is predicted from a limit can have a tolerance.
#[utoipa::path(put, path = "/v1/duties/{duty}", tag = "duties", operation_id = "update_duty",
    params(
        ("duty" = wire::Duty, Path, description = "The duty"),
        ("If-Match" = String, Header, description = "The version that was read, such as \"3\""),
    ),
    request_body = wire::DutySettingsRequest,
    responses((status = 200, description = "The duty as it is now", body = wire::DutySettings)))]
pub async fn update(
    req: HttpRequest,
    caller: Writer,
    cx: Cx,
    duty: web::Path<String>,
    version: Version,
    body: Json<wire::DutySettingsRequest>,
) -> Answer {
    let duty = duty_named(&duty)?;
    let changed = duty_settings::set(&cx, caller.0, duty, version.0, body.value.into()).await?;
    let changed = wire::DutySettings::from(changed);
    versioned(&req, changed.version, &changed)
}
