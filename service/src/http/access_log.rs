//! One line of log for each request, with its id.

use actix_web::body::MessageBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use tracing::Span;
use tracing_actix_web::{DefaultRootSpanBuilder, RootSpanBuilder};

/// Opens a span for each request and says how it ended. Headers and bodies are never logged: keys and notes are in them.
#[derive(Debug)]
pub struct AccessLog;

impl RootSpanBuilder for AccessLog {
    fn on_request_start(request: &ServiceRequest) -> Span {
        // Health checks come every few seconds; their spans are only made when somebody debugs.
        let level = if matches!(request.path(), "/healthz" | "/readyz" | "/metrics") {
            tracing::Level::DEBUG
        } else {
            tracing::Level::INFO
        };
        tracing_actix_web::root_span!(level = level, request)
    }

    fn on_request_end<B: MessageBody>(span: Span, outcome: &Result<ServiceResponse<B>, actix_web::Error>) {
        DefaultRootSpanBuilder::on_request_end(span.clone(), outcome);
        if let Ok(response) = outcome {
            let status = response.status().as_u16();
            span.in_scope(|| tracing::info!(status, "answered {status}"));
        }
    }
}
