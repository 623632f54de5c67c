//! The HTTP edge: extract, call a use case, answer.
//!
//! To add a route: a wire type in the contract crate, its conversion in `wire`, a handler of a few lines in `routes`
//! with its `#[utoipa::path]`, a line in `routes::configure` and one in the list of [`openapi`]; then
//! `UPDATE_OPENAPI=1 ./tests/run openapi` writes the document anew.

mod access;
mod access_log;
mod body;
mod conditional;
mod idempotent;
mod negotiate;
pub mod openapi;
mod precise;
mod problem;
mod query;
mod routes;
mod samples;
pub mod service;
mod wire;

use crate::domain::context::Context;
use actix_web::middleware::from_fn;
use actix_web::web::{self, ServiceConfig};
use eavesward_contract::ProblemCode;

pub use access_log::AccessLog;
pub use problem::{ApiError, explain};
pub use wire::WirePayloads;

/// The whole API over a context. The caller wraps it in [`explain`] and whatever else it likes.
pub fn configure(cfg: &mut ServiceConfig, cx: web::Data<Context>, open: web::Data<service::Open>) {
    cfg.app_data(cx)
        .app_data(open)
        .app_data(web::PayloadConfig::new(routes::JSON_LIMIT))
        .app_data(web::PathConfig::default().error_handler(|_, _| {
            let detail = "The id in the path has to be a UUID, such as those that lists and answers show.";
            ApiError::new(ProblemCode::MalformedParameter, detail).into()
        }))
        .service(web::scope("/v1").wrap(from_fn(access::authenticate)).configure(routes::configure))
        .configure(service::configure);
}
