//! What the service says of itself: whether it lives, whether it is ready, its document, and what its problems mean.

use crate::domain::context::Context;
use crate::http::conditional::{hash, tagged};
use crate::http::path::at;
use crate::http::problem::ApiError;
use crate::http::streams::StreamSlots;
use actix_web::http::Method;
use actix_web::web::{self, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse};
use eavesward_contract::ProblemCode;
use std::time::Duration;

/// How long the database may take to show that it is ready.
const READY_WITHIN: Duration = Duration::from_millis(1500);

/// Ask whether the service runs
///
/// Answers as long as the process runs.
#[utoipa::path(get, path = "/healthz", tag = "service", operation_id = "healthz",
    responses((status = 200, description = "It runs", body = String, content_type = "text/plain")))]
pub async fn healthz() -> HttpResponse {
    HttpResponse::Ok().content_type("text/plain; charset=utf-8").body("alive\n")
}

/// Ask whether it is ready
///
/// Answers `503` while the service is shutting down and while the database cannot be used. That is so if it cannot be
/// reached or written, does not answer within 1.5 seconds, or its SQLite file was replaced. The detail says which.
#[utoipa::path(get, path = "/readyz", tag = "service", operation_id = "readyz",
    responses((status = 200, description = "It is ready", body = String, content_type = "text/plain")))]
pub async fn readyz(cx: web::Data<Context>, slots: web::Data<StreamSlots>) -> Result<HttpResponse, ApiError> {
    if !slots.is_accepting() {
        return Err(ApiError::new(ProblemCode::Unavailable, "The service is shutting down."));
    }
    if let Some(fault) = cx.store.fault() {
        return Err(ApiError::new(ProblemCode::Unavailable, fault));
    }
    match tokio::time::timeout(READY_WITHIN, cx.store.check(cx.clock.now())).await {
        Ok(Ok(())) => {}
        Ok(Err(error)) => return Err(ApiError::not_ready(error)),
        Err(_) => return Err(ApiError::new(ProblemCode::Unavailable, "The database does not answer.")),
    }
    Ok(HttpResponse::Ok().content_type("text/plain; charset=utf-8").body("ready\n"))
}

/// The OpenAPI document with the tag it is known by.
pub struct ServedDocument {
    text: String,
    tag: String,
}

impl ServedDocument {
    /// Keeps a text for those who ask for it.
    pub fn new(text: String) -> Self {
        Self { tag: hash(&text), text }
    }
}

/// Get this document
///
/// As OpenAPI 3.1; `/docs/` shows it for reading and trying.
#[utoipa::path(get, path = "/openapi.json", tag = "service", operation_id = "get_openapi",
    responses((status = 200, description = "The OpenAPI document", body = serde_json::Value)))]
pub async fn document(req: HttpRequest, document: web::Data<ServedDocument>) -> HttpResponse {
    tagged(&req, &document.tag, document.text.clone())
}

/// What the document leaves out: the front page and what problems mean. An unknown path ends here, too.
pub fn configure(cfg: &mut ServiceConfig) {
    cfg.service(at("/", vec![(Method::GET, web::to(front))]))
        .service(at("/problems/{code}", vec![(Method::GET, web::to(problem))]))
        .default_service(web::to(nothing));
}

/// What the `type` of a problem document leads to: its code, its status and what it means.
async fn problem(code: web::Path<String>) -> Result<HttpResponse, ApiError> {
    let known = ProblemCode::ALL.iter().find(|known| known.as_str() == code.as_str());
    let known =
        known.ok_or_else(|| ApiError::new(ProblemCode::NotFound, "There is no problem with that code."))?;
    let text = format!("{}\n\n{} ({})\n", known.as_str(), known.title(), known.status());
    Ok(HttpResponse::Ok().content_type("text/plain; charset=utf-8").body(text))
}

/// A page for people who open the service in a browser.
async fn front() -> HttpResponse {
    HttpResponse::Ok()
        .content_type("text/plain; charset=utf-8")
        .body("Eavesward\n\nThe API is under /v1, its documentation at /docs/, its OpenAPI document at /openapi.json.\n")
}

async fn nothing() -> Result<HttpResponse, ApiError> {
    Err(ApiError::new(ProblemCode::NotFound, "There is nothing at this path; /docs/ lists the paths."))
}
