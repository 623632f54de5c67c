//! Settings of the traces.

use url::Url;

/// Where traces go, and how many of them.
#[derive(Clone, Debug)]
pub struct TraceSettings {
    /// The receiver of OTLP over HTTP. `/v1/traces` is added to it.
    pub endpoint: Url,
    /// The share of traces that is sent, from 0 to 1.
    pub sampled_share: f64,
}
