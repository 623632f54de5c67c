//! Puts a request into the trace that its caller names, and tells the log which trace that is.
//!
//! The header `traceparent` is read in every build. Spans are made where the feature `otlp` is built in and traces are
//! sent.

#[cfg(feature = "otlp")]
mod exported;

use crate::domain::base::trace_context::{TRACEPARENT, TraceParent};
use actix_web::Error;
use actix_web::body::MessageBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::header::HeaderMap;
use actix_web::middleware::Next;
use tracing::{Span, field};

/// Reads the caller's trace, writes its id into the log's span, and makes a span that is exported. Without a caller's
/// trace the id is that of the exported span.
pub async fn traced<B: MessageBody>(req: ServiceRequest, next: Next<B>) -> Result<ServiceResponse<B>, Error> {
    let (log, parent) = (Span::current(), parent_of(req.headers()));
    #[cfg(feature = "otlp")]
    if let Some(span) = exported::ServerSpan::begin(&req, parent) {
        note(&log, span.trace_id());
        return span.around(next.call(req)).await;
    }
    if let Some(parent) = parent {
        note(&log, parent.trace_id);
    }
    next.call(req).await
}

fn note(log: &Span, trace_id: u128) {
    log.record("trace_id", field::display(format_args!("{trace_id:032x}")));
}

/// What the caller says of its trace. A header that is not valid is none, and so are several of them.
fn parent_of(headers: &HeaderMap) -> Option<TraceParent> {
    let mut given = headers.get_all(TRACEPARENT);
    let only = given.next().filter(|_| given.next().is_none())?;
    TraceParent::parse(only.to_str().ok()?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use actix_web::http::header::{HeaderName, HeaderValue};

    #[test]
    fn one_header_counts_and_several_do_not() {
        let one = "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01";
        let read = |values: &[&str]| {
            let mut headers = HeaderMap::new();
            for value in values {
                let name = HeaderName::from_static(TRACEPARENT);
                headers.append(name, HeaderValue::from_str(value).unwrap());
            }
            parent_of(&headers).map(|parent| parent.to_string())
        };
        assert_eq!(read(&[one]).as_deref(), Some(one));
        for none in [&[][..], &[one, one], &["", one], &[one, "x"], &["x"]] {
            assert_eq!(read(none), None, "{none:?}");
        }
    }
}
