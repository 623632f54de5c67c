//! Structured logs, and traces where the feature `otlp` is built in. What is in neither: keys, database passwords,
//! bodies, notes.

#[cfg(feature = "otlp")]
mod failing;
mod trace_settings;
#[cfg(feature = "otlp")]
mod traces;

use crate::domain::base::trace_context::SPANS;
use anyhow::{Context, Result};
use std::io::IsTerminal as _;
use std::time::Duration;
use tracing::Subscriber;
use tracing_subscriber::layer::SubscriberExt as _;
use tracing_subscriber::registry::LookupSpan;
use tracing_subscriber::util::SubscriberInitExt as _;
use tracing_subscriber::{EnvFilter, Layer, registry};

pub use trace_settings::TraceSettings;

/// Whether this build can send traces.
pub const SENDS_TRACES: bool = cfg!(feature = "otlp");

/// The traces of this process. They are sent for as long as it is there.
#[derive(Debug, Default)]
pub struct Traces {
    #[cfg(feature = "otlp")]
    sending: Option<traces::Sending>,
}

impl Traces {
    /// Sends what is left, and gives up after `longest`.
    #[cfg(feature = "otlp")]
    pub async fn end(self, longest: Duration) {
        if let Some(sending) = self.sending {
            sending.end(longest).await;
        }
    }

    /// Does nothing: this build sends no traces.
    #[cfg(not(feature = "otlp"))]
    #[expect(clippy::unused_async, reason = "a build that sends traces waits here")]
    pub async fn end(self, _: Duration) {}
}

/// Starts logging to standard error, so that standard output stays for what a command prints. Starts sending traces, if
/// there is somebody to send them to; this needs the runtime that the caller runs on.
pub fn start(filter: &str, json: bool, traces: Option<&TraceSettings>) -> Result<Traces> {
    let filter =
        EnvFilter::try_new(filter).with_context(|| format!("log: {filter:?} is not a log filter"))?;
    let filter = filter.add_directive(format!("{SPANS}=off").parse().context("the target of spans")?);
    #[cfg(feature = "otlp")]
    if let Some(settings) = traces {
        let (layer, sending) = traces::layer(settings)?;
        let all = registry().with(lines(json).with_filter(filter)).with(layer);
        all.try_init().context("logging cannot be started")?;
        return Ok(Traces { sending: Some(sending) });
    }
    #[cfg(not(feature = "otlp"))]
    let _ = traces;
    registry().with(filter).with(lines(json)).try_init().context("logging cannot be started")?;
    Ok(Traces::default())
}

fn lines<S>(json: bool) -> Box<dyn Layer<S> + Send + Sync>
where
    S: Subscriber + for<'a> LookupSpan<'a>,
{
    let lines = tracing_subscriber::fmt::layer()
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal());
    if json {
        // Each span once: the list holds the present one, too.
        lines.json().flatten_event(true).with_span_list(false).boxed()
    } else {
        lines.with_target(false).boxed()
    }
}
