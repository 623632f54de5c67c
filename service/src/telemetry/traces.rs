//! Sends spans to a receiver of OpenTelemetry, as protobuf over HTTP.
//!
//! A thread of its own sends them in batches. A request only puts its spans into a queue of bounded length; a span that
//! finds it full is left out.

use super::failing::{Failing, Remark};
use super::trace_settings::TraceSettings;
use crate::domain::base::ids::spread;
use crate::domain::base::trace_context::SPANS;
use anyhow::{Context as _, Result};
use async_trait::async_trait;
use opentelemetry::trace::{Link, SpanContext, SpanKind, TraceContextExt as _, TraceId, TracerProvider as _};
use opentelemetry::{Context, KeyValue};
use opentelemetry_http::{Bytes, HttpClient, HttpError, Request, Response, ResponseBodyTooLarge};
use opentelemetry_otlp::{Protocol, RetryPolicy, WithExportConfig as _, WithHttpConfig as _};
use opentelemetry_sdk::Resource;
use opentelemetry_sdk::error::OTelSdkResult;
use opentelemetry_sdk::trace::{
    BatchConfigBuilder, BatchSpanProcessor, SamplingDecision, SamplingResult, SdkTracerProvider,
    ShouldSample, SpanData, SpanExporter,
};
use reqwest::redirect::Policy;
use std::sync::{Mutex, PoisonError};
use std::time::Duration;
use tokio::runtime::Handle;
use tracing::level_filters::LevelFilter;
use tracing::subscriber::Interest;
use tracing::{Metadata, Subscriber};
use tracing_subscriber::Layer;
use tracing_subscriber::filter::dynamic_filter_fn;
use tracing_subscriber::registry::LookupSpan;

/// Spans that wait to be sent. Judgement: they take about 2 MB.
const QUEUE: usize = 2048;
/// Spans of one request to the receiver.
const BATCH: usize = 512;
/// The longest wait before spans are sent.
const EVERY: Duration = Duration::from_secs(5);
/// The longest time to send a batch, repeats included. Judgement: a receiver stands nearby.
const LONGEST: Duration = Duration::from_secs(5);
/// Repeats of a batch. Judgement: one lost connection loses no span, and a receiver that is away holds up little.
const REPEATS: usize = 1;
/// The most of an answer that is read. It only says how many spans were refused.
const LARGEST_ANSWER: usize = 64 * 1024;

/// What sends the spans.
#[derive(Debug)]
pub struct Sending(SdkTracerProvider);

impl Sending {
    /// Sends what is left, and gives up after `longest`.
    pub async fn end(self, longest: Duration) {
        // It waits on a thread of its own: the runtime has to go on sending.
        let ended = tokio::task::spawn_blocking(move || self.0.shutdown_with_timeout(longest)).await;
        if !matches!(ended, Ok(Ok(()))) {
            tracing::warn!("the last traces may not have been sent");
        }
    }
}

/// A layer that hands spans on, and what sends them.
pub fn layer<S>(settings: &TraceSettings) -> Result<(impl Layer<S> + use<S>, Sending)>
where
    S: Subscriber + for<'a> LookupSpan<'a>,
{
    let exporter = Noticed { inner: exporter(settings)?, failing: Mutex::default() };
    let batches = BatchConfigBuilder::default()
        .with_max_queue_size(QUEUE)
        .with_max_export_batch_size(BATCH)
        .with_scheduled_delay(EVERY)
        .build();
    let provider = SdkTracerProvider::builder()
        .with_span_processor(BatchSpanProcessor::builder(exporter).with_batch_config(batches).build())
        .with_sampler(Share(settings.sampled_share))
        .with_resource(
            Resource::builder()
                .with_service_name("eavesward")
                .with_attribute(KeyValue::new("service.version", env!("CARGO_PKG_VERSION")))
                .build(),
        )
        .build();
    let layer = tracing_opentelemetry::layer()
        .with_tracer(provider.tracer("eavesward"))
        .with_context_activation(false)
        .with_location(false)
        .with_threads(false)
        .with_target(false)
        .with_level(false)
        .with_tracked_inactivity(false);
    // Steps are told only as parts of something: the job loop looks for work every few seconds and mostly finds none.
    let exported = dynamic_filter_fn(|metadata, cx| {
        is_exported(metadata) || (is_step(metadata) && cx.lookup_current().is_some())
    })
    .with_callsite_filter(|metadata| {
        if is_exported(metadata) || is_step(metadata) { Interest::sometimes() } else { Interest::never() }
    })
    .with_max_level_hint(LevelFilter::DEBUG);
    Ok((layer.with_filter(exported), Sending(provider)))
}

/// A span that was made to be exported. Events are not: they hold causes, which may name anything.
fn is_exported(metadata: &Metadata<'_>) -> bool {
    metadata.is_span() && metadata.target() == SPANS
}

/// A step of the service's own work, which has a name and nothing else to tell.
fn is_step(metadata: &Metadata<'_>) -> bool {
    metadata.is_span()
        && metadata.fields().is_empty()
        && metadata.target().starts_with(concat!(env!("CARGO_CRATE_NAME"), "::"))
}

fn exporter(settings: &TraceSettings) -> Result<opentelemetry_otlp::SpanExporter> {
    let name = "otlp_endpoint";
    let http = reqwest::Client::builder()
        .user_agent(concat!("eavesward/", env!("CARGO_PKG_VERSION")))
        .redirect(Policy::none())
        .no_proxy()
        .timeout(LONGEST)
        .build()
        .context("traces cannot be sent: the TLS roots of this machine cannot be read")?;
    let mut url = settings.endpoint.clone();
    url.path_segments_mut()
        .map_err(|()| anyhow::anyhow!("{name}: it is no address to post to"))?
        .pop_if_empty()
        .extend(["v1", "traces"]);
    opentelemetry_otlp::SpanExporter::builder()
        .with_http()
        .with_http_client(Poster { http, runtime: Handle::current() })
        .with_endpoint(url)
        .with_protocol(Protocol::HttpBinary)
        .with_timeout(LONGEST)
        .with_retry_policy(RetryPolicy::default().with_max_retries(REPEATS))
        .build()
        .context(name)
}

/// Posts from the thread that sends, on the runtime of the service.
#[derive(Debug)]
struct Poster {
    http: reqwest::Client,
    runtime: Handle,
}

#[async_trait]
impl HttpClient for Poster {
    async fn send_bytes(&self, request: Request<Bytes>) -> Result<Response<Bytes>, HttpError> {
        let http = self.http.clone();
        let sent = self.runtime.spawn(async move {
            let mut answer = http.execute(request.try_into()?).await?;
            let mut body = Vec::new();
            while let Some(part) = answer.chunk().await? {
                if body.len() + part.len() > LARGEST_ANSWER {
                    return Err(ResponseBodyTooLarge::new().into());
                }
                body.extend_from_slice(&part);
            }
            let mut read = Response::new(Bytes::from(body));
            *read.status_mut() = answer.status();
            *read.headers_mut() = std::mem::take(answer.headers_mut());
            Ok(read)
        });
        sent.await?
    }
}

/// Says when spans are lost, once and not for each batch.
#[derive(Debug)]
struct Noticed<E> {
    inner: E,
    failing: Mutex<Failing>,
}

impl<E: SpanExporter> SpanExporter for Noticed<E> {
    async fn export(&self, batch: Vec<SpanData>) -> OTelSdkResult {
        let spans = batch.len();
        let done = self.inner.export(batch).await;
        let remark =
            self.failing.lock().unwrap_or_else(PoisonError::into_inner).note(done.is_ok(), spans as u64);
        match (remark, &done) {
            (Some(Remark::Fails { lost }), Err(error)) => {
                tracing::warn!(lost, %error, "the receiver of traces (otlp_endpoint) takes none; requests go on without");
            }
            (Some(Remark::Recovered { lost }), _) => {
                tracing::info!(lost, "the receiver of traces takes them again");
            }
            _ => {}
        }
        done
    }

    fn shutdown_with_timeout(&self, timeout: Duration) -> OTelSdkResult {
        self.inner.shutdown_with_timeout(timeout)
    }

    fn shutdown(&self) -> OTelSdkResult {
        self.inner.shutdown()
    }

    fn force_flush(&self) -> OTelSdkResult {
        self.inner.force_flush()
    }

    fn set_resource(&mut self, resource: &Resource) {
        self.inner.set_resource(resource);
    }
}

/// Draws which traces are sent. A caller that did not record its own part is left out, as it wishes. One that did is
/// drawn like any other: it chooses its trace id and its flags, and must not choose how much is sent.
#[derive(Clone, Debug)]
struct Share(f64);

impl ShouldSample for Share {
    fn should_sample(
        &self,
        parent: Option<&Context>,
        _: TraceId,
        _: &str,
        _: &SpanKind,
        _: &[KeyValue],
        _: &[Link],
    ) -> SamplingResult {
        let parent = parent.map(|cx| cx.span().span_context().clone()).filter(SpanContext::is_valid);
        let own = parent.as_ref().is_some_and(|span| !span.is_remote());
        let wanted = parent.as_ref().is_none_or(SpanContext::is_sampled);
        let sent = wanted && (own || self.0 >= 1.0 || spread() < self.0);
        SamplingResult {
            decision: if sent { SamplingDecision::RecordAndSample } else { SamplingDecision::Drop },
            attributes: Vec::new(),
            trace_state: parent.map(|span| span.trace_state().clone()).unwrap_or_default(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use opentelemetry::trace::{SpanId, TraceFlags, TraceState};

    fn sent(share: f64, parent: Option<(bool, TraceFlags)>) -> bool {
        let cx = parent.map(|(remote, flags)| {
            let trace = TraceId::from(7);
            Context::new().with_remote_span_context(SpanContext::new(
                trace,
                SpanId::from(7),
                flags,
                remote,
                TraceState::default(),
            ))
        });
        let drawn =
            Share(share).should_sample(cx.as_ref(), TraceId::from(7), "request", &SpanKind::Server, &[], &[]);
        drawn.decision == SamplingDecision::RecordAndSample
    }

    #[test]
    fn a_caller_may_leave_itself_out_and_force_nothing() {
        let (yes, no) = (TraceFlags::SAMPLED, TraceFlags::default());
        for (parent, all, none) in [
            (None, true, false),
            (Some((true, yes)), true, false),
            (Some((true, no)), false, false),
            // Within the service the whole trace is sent or none of it, whatever the share.
            (Some((false, yes)), true, true),
            (Some((false, no)), false, false),
        ] {
            assert_eq!((sent(1.0, parent), sent(0.0, parent)), (all, none), "{parent:?}");
        }
        let half = (0..400).filter(|_| sent(0.5, Some((true, yes)))).count();
        // Ten standard deviations of 400 draws.
        assert!((100..300).contains(&half), "{half} of 400");
    }
}
