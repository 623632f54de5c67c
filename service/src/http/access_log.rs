//! One line of log for each request, with its id.

use actix_web::HttpMessage;
use actix_web::body::MessageBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use tracing::{Span, field};
use tracing_actix_web::{RequestId, RootSpanBuilder};

/// Opens a span for each request and says how it ended. Headers, query and bodies are never logged: keys and notes are
/// in them.
#[derive(Debug)]
pub struct AccessLog;

impl RootSpanBuilder for AccessLog {
    fn on_request_start(request: &ServiceRequest) -> Span {
        let (method, path) = (request.method().as_str(), request.path());
        let id = request.extensions().get::<RequestId>().map(|id| field::display(*id));
        // Health checks come every few seconds; they are only told of when somebody debugs.
        if matches!(path, "/healthz" | "/readyz" | "/metrics") {
            tracing::debug_span!("request", method, path, id, status = field::Empty)
        } else {
            tracing::info_span!("request", method, path, id, status = field::Empty)
        }
    }

    fn on_request_end<B: MessageBody>(span: Span, outcome: &Result<ServiceResponse<B>, actix_web::Error>) {
        let status = match outcome {
            Ok(response) => response.status(),
            Err(error) => error.as_response_error().status_code(),
        };
        span.record("status", status.as_u16());
        if span.metadata().is_some_and(|metadata| *metadata.level() == tracing::Level::INFO) {
            span.in_scope(|| tracing::info!("answered"));
        } else {
            span.in_scope(|| tracing::debug!("answered"));
        }
    }
}
