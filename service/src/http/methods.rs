//! Methods that are none of HTTP's own. They are refused before anything counts requests by method: a caller could make up
//! any number of them.

use super::problem::ApiError;
use actix_web::body::{EitherBody, MessageBody};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::{Method, header};
use actix_web::middleware::Next;
use actix_web::{Error, ResponseError as _};
use eavesward_contract::ProblemCode;

/// The methods of RFC 9110 and of RFC 5789.
const KNOWN: [Method; 9] = [
    Method::GET,
    Method::HEAD,
    Method::POST,
    Method::PUT,
    Method::DELETE,
    Method::OPTIONS,
    Method::PATCH,
    Method::TRACE,
    Method::CONNECT,
];

/// Whether it is one of HTTP's own.
pub fn is_known(method: &Method) -> bool {
    KNOWN.contains(method)
}

/// Refuses a method that is made up.
pub async fn refuse_made_up<B: MessageBody>(
    req: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<EitherBody<B>>, Error> {
    if is_known(req.method()) {
        return Ok(next.call(req).await?.map_into_left_body());
    }
    let detail = "This is no method of HTTP; /docs/ lists the paths with their methods.";
    let mut answer = ApiError::new(ProblemCode::MethodNotAllowed, detail).error_response();
    let allowed = header::HeaderValue::from_static("GET, HEAD, POST, PUT, DELETE");
    answer.headers_mut().insert(header::ALLOW, allowed);
    Ok(req.into_response(answer).map_into_right_body())
}
