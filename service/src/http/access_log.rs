//! One line of log for each request, with its id.

use crate::domain::base::clock::Stopwatch;
use crate::domain::model::account::Key;
use crate::domain::model::calendar::SECRET_PREFIX;
use actix_web::HttpMessage;
use actix_web::body::MessageBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use std::rc::Rc;
use tracing::{Span, field};
use tracing_actix_web::{RequestId, RootSpanBuilder};

/// What is shown of a path: all of it, but for the secret in the address of a calendar, however it is spelt.
pub fn without_secret(path: &str) -> &str {
    let plain = percent_decode(path);
    if plain.contains(SECRET_PREFIX) || plain.trim_start_matches('/').starts_with("calendars") {
        "/calendars/(secret)"
    } else {
        path
    }
}

/// A path without its percent signs, as far as it can be read; only to look for something in it.
pub fn percent_decode(path: &str) -> String {
    let bytes = path.as_bytes();
    let (mut out, mut at) = (Vec::with_capacity(bytes.len()), 0);
    while let Some(&byte) = bytes.get(at) {
        let hex = bytes.get(at + 1..at + 3).filter(|_| byte == b'%');
        let read = hex.and_then(|hex| u8::from_str_radix(std::str::from_utf8(hex).ok()?, 16).ok());
        out.push(read.unwrap_or(byte));
        at += if read.is_some() { 3 } else { 1 };
    }
    String::from_utf8_lossy(&out).into_owned()
}

/// Opens a span for each request and says how it ended, with the ids of its trace, key and account. Headers, query and
/// bodies are never logged: keys and notes are in them.
#[derive(Debug)]
pub struct AccessLog;

impl RootSpanBuilder for AccessLog {
    fn on_request_start(request: &ServiceRequest) -> Span {
        let (method, path) = (request.method().as_str(), without_secret(request.path()));
        let id = request.extensions().get::<RequestId>().map(|id| field::display(*id));
        request.extensions_mut().insert(Stopwatch::start());
        let peer = request.peer_addr().map(|address| field::display(address.ip()));
        // Health checks come every few seconds; they are logged at the level debug only.
        if matches!(path, "/healthz" | "/readyz") {
            tracing::debug_span!(
                "request",
                method,
                path,
                peer,
                id,
                trace_id = field::Empty,
                status = field::Empty
            )
        } else {
            tracing::info_span!(
                "request",
                method,
                path,
                peer,
                id,
                trace_id = field::Empty,
                key = field::Empty,
                account = field::Empty,
                status = field::Empty,
                duration_ms = field::Empty
            )
        }
    }

    fn on_request_end<B: MessageBody>(span: Span, outcome: &Result<ServiceResponse<B>, actix_web::Error>) {
        let status = match outcome {
            Ok(response) => {
                let extensions = response.request().extensions();
                if let Some(key) = extensions.get::<Rc<Key>>() {
                    span.record("key", field::display(key.id))
                        .record("account", field::display(key.account_id));
                }
                if let Some(since) = extensions.get::<Stopwatch>() {
                    span.record(
                        "duration_ms",
                        u64::try_from(since.elapsed().as_millis()).unwrap_or(u64::MAX),
                    );
                }
                response.status()
            }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_secret_of_a_calendar_is_not_shown_however_it_is_spelt() {
        for path in [
            "/calendars/ewc_abc.ics",
            "/%63alendars/ewc_abc.ics",
            "/calendars/%65wc_abc.ics",
            "//calendars/e%77c%5fabc",
            "/calendars/abc",
            "/v1/calendars/ewc_abc",
            "/v1/tasks/ewc_abc",
            "/calendars",
        ] {
            assert_eq!(without_secret(path), "/calendars/(secret)", "{path}");
        }
        for path in ["/v1/calendars", "/v1/calendars/0190", "/v1/tasks", "/", "/%", "/%zz/%2"] {
            assert_eq!(without_secret(path), path);
        }
    }
}
