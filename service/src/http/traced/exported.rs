//! The exported span of a request, with the names of OpenTelemetry's conventions for HTTP.

use crate::domain::base::trace_context::{SPANS, TraceParent};
use crate::http::access_log::{percent_decode, without_secret};
use crate::http::methods::is_known;
use actix_web::body::MessageBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::StatusCode;
use actix_web::http::header::HeaderMap;
use actix_web::{Error, HttpMessage as _};
use opentelemetry::trace::{
    SpanContext, SpanId, Status, TraceContextExt as _, TraceFlags, TraceId, TraceState,
};
use opentelemetry::{Context, KeyValue};
use tracing::{Span, field};
use tracing_actix_web::RequestId;
use tracing_opentelemetry::OpenTelemetrySpanExt as _;

/// The most characters of `tracestate` that are taken. The standard asks for at least so many.
const LONGEST_STATE: usize = 512;
/// The most bytes of a path that a span shows.
const LONGEST_PATH: usize = 256;
/// How keys begin. The secrets of calendars are looked for as the log does.
const SECRETS: &str = "ew_";
/// Routes whose ids belong to keys and calendars.
const WITHOUT_PATH: [&str; 2] = ["/v1/keys", "/v1/calendars"];

/// A span that is exported.
pub struct ServerSpan {
    /// The span ends when this is dropped.
    _span: Span,
    context: Context,
    method: &'static str,
    path: String,
}

impl ServerSpan {
    /// Begins one. `None` if no traces are sent, and for the checks of load balancers, which come every few seconds.
    pub fn begin(req: &ServiceRequest, parent: Option<TraceParent>) -> Option<Self> {
        if matches!(req.path(), "/healthz" | "/readyz") {
            return None;
        }
        let method = match req.method().as_str() {
            // Callers could make up any number of them.
            _ if !is_known(req.method()) => "_OTHER",
            "GET" => "GET",
            "HEAD" => "HEAD",
            "POST" => "POST",
            "PUT" => "PUT",
            "DELETE" => "DELETE",
            "OPTIONS" => "OPTIONS",
            "PATCH" => "PATCH",
            "TRACE" => "TRACE",
            _ => "CONNECT",
        };
        let id = req.extensions().get::<RequestId>().map(|id| field::display(*id));
        let span = tracing::info_span!(
            target: SPANS,
            "request",
            otel.name = method,
            otel.kind = "server",
            http.request.method = method,
            url.scheme = "http",
            eavesward.request_id = id
        );
        if span.is_disabled() {
            return None;
        }
        if let Some(parent) = parent {
            // It fails only if nothing exports, and then nothing is lost.
            let _ = span.set_parent(remote(parent, req.headers()));
        }
        let context = span.context();
        Some(Self { _span: span, context, method, path: req.path().to_owned() })
    }

    /// The id of its trace.
    pub fn trace_id(&self) -> u128 {
        u128::from_be_bytes(self.context.span().span_context().trace_id().to_bytes())
    }

    /// Lasts for as long as the request is answered. Nobody enters it: the present span is the one of the log. What runs
    /// on another thread takes the present span along, and its lines of log would miss their request.
    pub async fn around<B: MessageBody>(
        self,
        answering: impl Future<Output = Result<ServiceResponse<B>, Error>>,
    ) -> Result<ServiceResponse<B>, Error> {
        let answer = answering.await;
        match &answer {
            Ok(answer) => {
                self.note_route(answer.request().match_pattern());
                self.note_status(answer.status());
            }
            Err(error) => self.note_status(error.as_response_error().status_code()),
        }
        answer
    }

    fn note_route(&self, route: Option<String>) {
        // A path that is no route is anything that a caller may think of.
        let Some(route) = route else { return };
        let span = self.context.span();
        span.update_name(format!("{} {route}", self.method));
        if let Some(path) = shown(&self.path, &route) {
            span.set_attribute(KeyValue::new("url.path", path.to_owned()));
        }
        span.set_attribute(KeyValue::new("http.route", route));
    }

    fn note_status(&self, status: StatusCode) {
        let span = self.context.span();
        span.set_attribute(KeyValue::new("http.response.status_code", i64::from(status.as_u16())));
        if status.is_server_error() {
            span.set_attribute(KeyValue::new("error.type", status.as_str().to_owned()));
            span.set_status(Status::error(""));
        }
    }
}

/// The caller's span.
fn remote(parent: TraceParent, headers: &HeaderMap) -> Context {
    let TraceParent { trace_id, parent_id, sampled } = parent;
    let flags = if sampled { TraceFlags::SAMPLED } else { TraceFlags::default() };
    let (trace_id, parent_id) = (TraceId::from(trace_id), SpanId::from(parent_id));
    let span = SpanContext::new(trace_id, parent_id, flags, true, state(headers));
    Context::new().with_remote_span_context(span)
}

/// What other systems wrote into `tracestate`; nothing if it is too long or not valid.
fn state(headers: &HeaderMap) -> TraceState {
    let parts: Option<Vec<&str>> = headers.get_all("tracestate").map(|part| part.to_str().ok()).collect();
    let whole = parts.unwrap_or_default().join(",");
    if whole.is_empty() || whole.len() > LONGEST_STATE {
        return TraceState::default();
    }
    whole.parse().unwrap_or_default()
}

/// What a span shows of a path: nothing where it may hold a key or the id of one.
fn shown<'a>(path: &'a str, route: &str) -> Option<&'a str> {
    let hidden = WITHOUT_PATH.iter().any(|start| route.starts_with(start))
        || without_secret(path) != path
        || percent_decode(path).contains(SECRETS)
        || path.len() > LONGEST_PATH;
    (!hidden).then_some(path)
}

#[cfg(test)]
mod tests {
    use super::*;
    use actix_web::http::header::{HeaderName, HeaderValue};

    #[test]
    fn a_state_is_taken_up_to_512_characters_and_as_far_as_it_is_valid() {
        let taken = |values: &[&str]| {
            let mut headers = HeaderMap::new();
            for value in values {
                let name = HeaderName::from_static("tracestate");
                headers.append(name, HeaderValue::from_str(value).unwrap());
            }
            state(&headers).header()
        };
        assert_eq!(taken(&[]), "");
        // The standard's own example, in one header and in two (W3C Trace Context, 3.3.1.5).
        let example = "rojo=00f067aa0ba902b7,congo=t61rcWkgMzE";
        assert_eq!(taken(&[example]), example);
        assert_eq!(taken(&["rojo=00f067aa0ba902b7", "congo=t61rcWkgMzE"]), example);
        assert_eq!(taken(&["no pair"]), "");
        let of_length = |length: usize| {
            let pairs = "a=".to_owned() + &"x".repeat(250) + ",b=";
            pairs.clone() + &"y".repeat(length - pairs.len())
        };
        assert_eq!(taken(&[&of_length(500)]).len(), 500);
        assert_eq!(taken(&[&of_length(513)]), "");
    }

    #[test]
    fn a_span_shows_no_path_with_a_key_or_the_id_of_one() {
        assert_eq!(shown("/v1/systems/0190", "/v1/systems/{id}"), Some("/v1/systems/0190"));
        for (path, route) in [
            ("/v1/keys/0190", "/v1/keys/{id}"),
            ("/v1/calendars/0190", "/v1/calendars/{id}"),
            ("/calendars/ewc_abc.ics", "/calendars/{secret}"),
            ("/v1/systems/ew_abc", "/v1/systems/{id}"),
            ("/v1/systems/%65w_abc", "/v1/systems/{id}"),
            (&*format!("/v1/systems/{}", "0".repeat(300)), "/v1/systems/{id}"),
        ] {
            assert_eq!(shown(path, route), None, "{path}");
        }
    }
}
