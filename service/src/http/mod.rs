//! The HTTP edge: extract, call a use case, answer.
//!
//! DEVELOPERS.md has the steps that add a route.

mod access;
mod access_log;
mod acting;
mod body;
mod claim;
mod conditional;
mod decode;
mod idempotent;
mod limits;
mod methods;
mod negotiate;
pub mod openapi;
mod path;
mod payload;
mod problem;
mod query;
mod rate_headers;
mod router;
mod routes;
mod shape;
mod slow_body;
mod stopping;
pub mod streams;
mod table;
mod traced;
mod unread;
mod wire;

use crate::domain::context::Context;
use crate::gate::Gate;
use actix_web::web::{self, ServiceConfig};
use eavesward_contract::ProblemCode;
use routes::service::ServedDocument;
use std::sync::LazyLock;

pub use access_log::AccessLog;
pub use methods::refuse_made_up;
pub use problem::{ApiError, explain};
pub use slow_body::{BodyTimeout, bound_body};
pub use stopping::close_when_stopping;
pub use traced::traced;
pub use wire::subscription::ContractPayloads;

/// The document, made once for all workers.
static DOCUMENT: LazyLock<web::Data<ServedDocument>> =
    LazyLock::new(|| web::Data::new(ServedDocument::new(openapi::text())));

/// The whole API over a context. The caller wraps it in [`explain`], [`bound_body`] and whatever else it likes.
pub fn configure(
    cfg: &mut ServiceConfig,
    cx: web::Data<Context>,
    slots: web::Data<streams::StreamSlots>,
    gate: web::Data<Gate>,
) {
    cfg.app_data(cx)
        .app_data(slots)
        .app_data(gate)
        .app_data(web::Data::clone(&DOCUMENT))
        .app_data(web::PathConfig::default().error_handler(|_, _| {
            let detail = "The id in the path has to be a UUID, such as those that lists and answers show.";
            ApiError::new(ProblemCode::MalformedParameter, detail).into()
        }))
        .configure(router::configure)
        .configure(routes::docs::configure)
        .configure(routes::service::configure);
}
