//! Posts to addresses that callers chose: only to public ones, once for each request, within limits of time
//! and size.
//!
//! Each connection resolves its name again and checks the addresses found. So a name that was public at
//! registration and now leads inside is refused. Redirects are never followed and no proxy is used.

mod tls;

pub use tls::choose as choose_tls;

use crate::domain::base::addresses::{is_inside, is_public};
use crate::domain::base::plural::counted;
use crate::domain::base::trace_context::{TRACEPARENT, TraceParent};
use crate::domain::model::delivery::WebhookResponse;
use crate::domain::model::subscription::address as checked;
use crate::domain::ports::senders::{WebhookRequest, WebhookSender};
use async_trait::async_trait;
use chrono::TimeDelta;
use reqwest::dns::{Addrs, Name, Resolve, Resolving};
use reqwest::header::{CONTENT_TYPE, DATE, HeaderMap, HeaderName, RETRY_AFTER};
use reqwest::redirect::Policy;
use std::net::SocketAddr;
use std::time::Duration;

/// The longest time to connect, resolving the name included. Judgement.
const CONNECT: Duration = Duration::from_secs(5);
/// The longest time for a whole request. The scheme advises 15 to 30 s (from memory). A receiver that only
/// notes the request needs less.
const WHOLE: Duration = Duration::from_secs(15);
/// The longest request, bytes. Judgement: a digest has at most 2,000 tasks, about 2 MB.
const LARGEST: usize = 8 * 1024 * 1024;

/// The error for an address that is not public, and for one that does not answer: who chose the address learns nothing of
/// what is reachable from here.
const NO_CONNECTION: &str = "no connection could be made";

/// Posts over HTTP.
#[derive(Clone, Debug)]
pub struct HttpSender {
    http: reqwest::Client,
    local: bool,
}

impl HttpSender {
    /// Makes a sender. With `local` it may post to any address, also without encryption.
    ///
    /// # Errors
    /// If the TLS roots of the machine cannot be read.
    pub fn new(local: bool) -> Result<Self, reqwest::Error> {
        tls::choose();
        let builder = reqwest::Client::builder()
            .user_agent(concat!("eavesward/", env!("CARGO_PKG_VERSION")))
            .redirect(Policy::none())
            .no_proxy()
            .connect_timeout(CONNECT)
            .timeout(WHOLE)
            .pool_idle_timeout(Duration::from_secs(30))
            .pool_max_idle_per_host(4);
        let http = if local { builder.build()? } else { builder.dns_resolver(PublicOnly).build()? };
        Ok(Self { http, local })
    }

    async fn try_post(&self, request: &WebhookRequest) -> Result<WebhookResponse, String> {
        if request.body.len() > LARGEST {
            return Err(format!(
                "the body has {}; at most {LARGEST} are sent",
                counted(request.body.len() as u64, "byte", "bytes")
            ));
        }
        // The rules may have changed since registration. An address given as a number is not resolved, so it
        // is checked here.
        let url = checked(&request.url, self.local)?;
        if !self.local && url.host().is_none_or(|host| is_inside(&host)) {
            return Err(NO_CONNECTION.to_owned());
        }
        let mut to_send = self
            .http
            .post(url)
            .header(CONTENT_TYPE, &request.media_type)
            .header("webhook-id", &request.id)
            .header("webhook-timestamp", request.timestamp)
            .header("webhook-signature", &request.signature)
            .body(request.body.clone());
        if let Some(parent) = trace_parent() {
            to_send = to_send.header(TRACEPARENT, parent.to_string());
        }
        let answer = to_send.send().await.map_err(|error| cause(&error))?;
        // The answer's body is not read: nothing depends on it, and it could be endless.
        let retry_after = retry_after(answer.headers());
        Ok(WebhookResponse { status: Some(answer.status().as_u16()), retry_after, error: None })
    }
}

#[async_trait]
impl WebhookSender for HttpSender {
    async fn post(&self, request: &WebhookRequest) -> WebhookResponse {
        self.try_post(request).await.unwrap_or_else(|error| WebhookResponse {
            status: None,
            retry_after: None,
            error: Some(error),
        })
    }
}

/// The span that sends, for a receiver that goes on with the trace. `None` if no traces are sent.
fn trace_parent() -> Option<TraceParent> {
    #[cfg(feature = "otlp")]
    {
        use opentelemetry::trace::TraceContextExt as _;
        use tracing_opentelemetry::OpenTelemetrySpanExt as _;
        let context = tracing::Span::current().context();
        let span = context.span().span_context().clone();
        span.is_valid().then(|| TraceParent {
            trace_id: u128::from_be_bytes(span.trace_id().to_bytes()),
            parent_id: u64::from_be_bytes(span.span_id().to_bytes()),
            sampled: span.is_sampled(),
        })
    }
    #[cfg(not(feature = "otlp"))]
    None
}

/// The wait that a receiver asks for, in seconds or until a date (RFC 9110, 10.2.3). A date is counted from
/// the receiver's own `Date`, so that a wrong clock at either end does not matter. A past date gives no wait.
fn retry_after(headers: &HeaderMap) -> Option<TimeDelta> {
    let text = |name: HeaderName| headers.get(name)?.to_str().ok().map(str::trim);
    let asked = text(RETRY_AFTER)?;
    if !asked.is_empty() && asked.bytes().all(|byte| byte.is_ascii_digit()) {
        // A number too large for `u32` counts as the largest one.
        return Some(TimeDelta::seconds(asked.parse::<u32>().unwrap_or(u32::MAX).into()));
    }
    let then = httpdate::parse_http_date(asked).ok()?;
    let now = httpdate::parse_http_date(text(DATE)?).ok()?;
    Some(then.duration_since(now).ok().and_then(|wait| TimeDelta::from_std(wait).ok()).unwrap_or_default())
}

/// Says why no answer came, without showing the address or anything of the network behind it.
fn cause(error: &reqwest::Error) -> String {
    let text = if error.is_timeout() {
        "no answer in time"
    } else if error.is_connect() {
        NO_CONNECTION
    } else {
        "the connection was lost before an answer came"
    };
    text.to_owned()
}

/// The error for a name that resolves to no public address.
#[derive(Debug, thiserror::Error)]
#[error("no public address")]
struct NotPublic;

/// Resolves names as the machine does, and leaves out addresses that are not public.
#[derive(Debug)]
struct PublicOnly;

impl Resolve for PublicOnly {
    fn resolve(&self, name: Name) -> Resolving {
        Box::pin(async move {
            let found = tokio::net::lookup_host((name.as_str(), 0)).await?;
            let public: Vec<SocketAddr> = found.filter(|address| is_public(address.ip())).collect();
            if public.is_empty() {
                return Err(NotPublic.into());
            }
            Ok(Box::new(public.into_iter()) as Addrs)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn request(url: &str) -> WebhookRequest {
        WebhookRequest {
            url: url.to_owned(),
            id: "a".to_owned(),
            timestamp: 0,
            signature: "v1,b".to_owned(),
            media_type: "application/json".to_owned(),
            body: "{}".to_owned(),
        }
    }

    #[tokio::test]
    async fn nothing_is_posted_to_where_it_should_not_go() {
        let sender = HttpSender::new(false).unwrap();
        // Numbers in every notation, and names that resolve to this machine.
        for url in [
            "https://127.0.0.1:9/",
            "https://2130706433/",
            "https://0x7f.1/",
            "https://[::1]/",
            "https://[::ffff:127.0.0.1]/",
            "https://169.254.169.254/latest/",
            "https://10.1.2.3/",
            "https://localhost:9/",
        ] {
            let posted = sender.post(&request(url)).await;
            assert_eq!(posted.error.as_deref(), Some(NO_CONNECTION), "{url}");
        }
        let posted = sender.post(&request("http://hooks.example/")).await;
        assert!(posted.error.is_some_and(|error| error.contains("https")));
    }

    #[test]
    fn what_a_receiver_asks_to_wait_is_read_in_every_form() {
        let asked = |headers: &[(HeaderName, &str)]| {
            let headers = headers.iter().map(|(name, value)| (name.clone(), value.parse().unwrap()));
            retry_after(&headers.collect()).map(|wait| wait.num_seconds())
        };
        let after = |text: &str| asked(&[(RETRY_AFTER, text), (DATE, "Sun, 06 Nov 1994 08:49:37 GMT")]);
        for (text, seconds) in [
            ("120", Some(120)),
            (" 0 ", Some(0)),
            ("99999999999999999999", Some(i64::from(u32::MAX))),
            // The three forms of RFC 9110, 5.6.7, an hour on.
            ("Sun, 06 Nov 1994 09:49:37 GMT", Some(3600)),
            ("Sunday, 06-Nov-94 09:49:37 GMT", Some(3600)),
            ("Sun Nov  6 09:49:37 1994", Some(3600)),
            ("Sun, 06 Nov 1994 08:00:00 GMT", Some(0)),
            ("Fri, 31 Dec 9999 23:59:59 GMT", Some(252_618_189_022)),
            ("+5", None),
            ("-5", None),
            ("1.5", None),
            ("", None),
            ("soon", None),
        ] {
            assert_eq!(after(text), seconds, "{text}");
        }
        assert_eq!(asked(&[(RETRY_AFTER, "Sun, 06 Nov 1994 09:49:37 GMT")]), None, "an hour from when?");
        assert_eq!(asked(&[]), None);
    }

    #[tokio::test]
    async fn a_letter_that_is_too_large_stays() {
        let sender = HttpSender::new(true).unwrap();
        let body = "x".repeat(LARGEST + 1);
        let posted = sender.post(&WebhookRequest { body, ..request("http://127.0.0.1:9/") }).await;
        assert!(posted.error.is_some_and(|error| error.contains("bytes")));
    }
}
