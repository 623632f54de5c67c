//! Refuses what an operation would not read: parameters of the query where it has none, a body where it takes none.

use super::payload::broken_off;
use super::problem::ApiError;
use actix_web::HttpMessage as _;
use actix_web::body::BoxBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::middleware::Next;
use eavesward_contract::{FieldProblem, ProblemCode};
use futures_util::StreamExt as _;

/// What an operation reads.
#[derive(Clone, Copy, Debug)]
pub struct Reads {
    /// Parameters of the query. The handler refuses those that it does not know.
    pub query: bool,
    /// A body. That of a GET has no meaning and is left alone.
    pub body: bool,
}

/// Lets a request through unless it carries something that nobody would read.
pub async fn refuse_unread(
    reads: Reads,
    mut req: ServiceRequest,
    next: Next<BoxBody>,
) -> Result<ServiceResponse, actix_web::Error> {
    match check(reads, &mut req).await {
        Ok(()) => next.call(req).await,
        Err(refusal) => Ok(ServiceResponse::from_err(refusal, req.into_parts().0)),
    }
}

async fn check(reads: Reads, req: &mut ServiceRequest) -> Result<(), actix_web::Error> {
    if !reads.query && !req.query_string().is_empty() {
        return Err(parameters_refused(req.query_string()).into());
    }
    if reads.body {
        return Ok(());
    }
    let mut payload = req.take_payload();
    let mut empty = true;
    while let (true, Some(piece)) = (empty, payload.next().await) {
        empty = piece.map_err(|error| broken_off(&error))?.is_empty();
    }
    if empty {
        return Ok(());
    }
    let detail = "This request takes no body, and nothing of the body was read. Send it without one.";
    Err(ApiError::new(ProblemCode::MalformedBody, detail).into())
}

fn parameters_refused(query: &str) -> ApiError {
    let detail = "This request takes no parameters in its query. Send it without them.";
    let mut refusal = ApiError::new(ProblemCode::MalformedParameter, detail);
    let names = url::form_urlencoded::parse(query.as_bytes()).map(|(name, _)| name.into_owned());
    let unknown = |field| FieldProblem { field, message: "there is no such parameter here".to_owned() };
    refusal.errors = names.map(unknown).collect();
    refusal
}
