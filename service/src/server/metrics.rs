//! Metrics of the service, in the text format of Prometheus, on an address of their own.
//!
//! Figures of the database are read by a loop and not by the reader: a database that hangs leaves the last ones, and one
//! more metric says how old they are.

use crate::domain::base::clock::Stopwatch;
use crate::domain::context::Context;
use crate::domain::model::figures::StoreFigures;
use crate::gate::Gate;
use crate::http::streams::StreamSlots;
use actix_web::dev::Server;
use actix_web::{App, HttpResponse, HttpServer, web};
use actix_web_prom::{PrometheusMetrics, PrometheusMetricsBuilder};
use anyhow::{Context as _, Result};
use chrono::{DateTime, Utc};
use prometheus::{
    Encoder as _, IntCounter, IntCounterVec, IntGauge, IntGaugeVec, Opts, Registry, TextEncoder,
};
use std::net::{SocketAddr, TcpListener};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::watch;

/// How the name of each metric begins.
const NAMESPACE: &str = "eavesward";
/// How often the figures of the database are read.
const EVERY: Duration = Duration::from_secs(15);
/// The longest time to wait for them.
const LONGEST: Duration = Duration::from_secs(10);

/// What is measured.
pub struct Metrics {
    cx: Context,
    gate: web::Data<Gate>,
    slots: web::Data<StreamSlots>,
    registry: Registry,
    gauges: Gauges,
    counters: Counters,
    read_at: Mutex<Option<Stopwatch>>,
    started: Stopwatch,
}

/// Figures that go up and down.
struct Gauges {
    stale: IntGauge,
    oldest_stale: IntGauge,
    newer_model: IntGauge,
    deliveries: IntGaugeVec,
    feed_entries: IntGauge,
    figures_age: IntGauge,
    connections: IntGaugeVec,
    streams: IntGauge,
}

/// Figures of this process that only go up.
struct Counters {
    refreshed: IntCounter,
    refresh_failures: IntCounter,
    refused: IntCounterVec,
}

fn gauge(registry: &Registry, name: &str, help: &str) -> prometheus::Result<IntGauge> {
    let gauge = IntGauge::with_opts(Opts::new(name, help).namespace(NAMESPACE))?;
    registry.register(Box::new(gauge.clone()))?;
    Ok(gauge)
}

fn gauges(registry: &Registry, name: &str, help: &str, label: &str) -> prometheus::Result<IntGaugeVec> {
    let gauges = IntGaugeVec::new(Opts::new(name, help).namespace(NAMESPACE), &[label])?;
    registry.register(Box::new(gauges.clone()))?;
    Ok(gauges)
}

fn counter(registry: &Registry, name: &str, help: &str) -> prometheus::Result<IntCounter> {
    let counter = IntCounter::with_opts(Opts::new(name, help).namespace(NAMESPACE))?;
    registry.register(Box::new(counter.clone()))?;
    Ok(counter)
}

impl Gauges {
    fn new(registry: &Registry) -> prometheus::Result<Self> {
        Ok(Self {
            stale: gauge(
                registry,
                "stale_systems",
                "Systems whose dates are older than their inputs or their local day, in the whole database",
            )?,
            oldest_stale: gauge(
                registry,
                "oldest_stale_seconds",
                "Seconds since the local day ended of the system that waits longest for a refresh; 0 if none waits",
            )?,
            newer_model: gauge(
                registry,
                "newer_model_systems",
                "Systems that a newer model has refreshed, which this version leaves alone",
            )?,
            deliveries: gauges(
                registry,
                "deliveries",
                "Deliveries that wait to be sent and those that were given up, in the whole database",
                "state",
            )?,
            feed_entries: gauge(
                registry,
                "feed_entries",
                "Entries that the reminders' feeds keep, in the whole database",
            )?,
            figures_age: gauge(
                registry,
                "figures_age_seconds",
                "Seconds since the figures of the whole database were read",
            )?,
            connections: gauges(
                registry,
                "database_connections",
                "Connections of this process to the database",
                "state",
            )?,
            streams: gauge(registry, "streams_open", "Streams of events that this process has open")?,
        })
    }

    fn set(&self, figures: &StoreFigures, now: DateTime<Utc>) {
        let whole = |number: u64| i64::try_from(number).unwrap_or(i64::MAX);
        self.stale.set(whole(figures.stale));
        let waited = figures.stale_since.map_or(0, |since| (now - since).num_seconds().max(0));
        self.oldest_stale.set(waited);
        self.newer_model.set(whole(figures.of_newer_model));
        self.deliveries.with_label_values(&["waiting"]).set(whole(figures.deliveries_waiting));
        self.deliveries.with_label_values(&["parked"]).set(whole(figures.deliveries_parked));
        self.feed_entries.set(whole(figures.feed_entries));
    }
}

impl Counters {
    fn new(registry: &Registry) -> prometheus::Result<Self> {
        let refused = IntCounterVec::new(
            Opts::new(
                "refused_requests_total",
                "Requests that were answered 429, by the bound that they met",
            )
            .namespace(NAMESPACE),
            &["bound"],
        )?;
        registry.register(Box::new(refused.clone()))?;
        let refreshed = "Systems that this process has refreshed since its start";
        let failures =
            "Refreshes of systems that failed in this process since its start; a whole pass counts once";
        Ok(Self {
            refreshed: counter(registry, "refreshed_systems_total", refreshed)?,
            refresh_failures: counter(registry, "refresh_failures_total", failures)?,
            refused,
        })
    }
}

/// Sets a counter to what is counted elsewhere.
fn set(counter: &IntCounter, to: u64) {
    counter.inc_by(to.saturating_sub(counter.get()));
}

impl Metrics {
    /// Makes the metrics, and the counting of requests that goes with them.
    ///
    /// # Errors
    /// If two metrics have one name.
    pub fn new(
        cx: Context,
        gate: web::Data<Gate>,
        slots: web::Data<StreamSlots>,
    ) -> Result<(Self, PrometheusMetrics)> {
        let requests = PrometheusMetricsBuilder::new(NAMESPACE)
            // Unknown paths must not become labels: a caller could create any number of them.
            .mask_unmatched_patterns("unknown")
            .build()
            .map_err(|error| anyhow::anyhow!("metrics cannot be started: {error}"))?;
        let registry = requests.registry.clone();
        let (gauges, counters) = (Gauges::new(&registry)?, Counters::new(&registry)?);
        let (read_at, started) = (Mutex::default(), Stopwatch::start());
        Ok((Self { cx, gate, slots, registry, gauges, counters, read_at, started }, requests))
    }

    /// Reads the figures of the database until `stop` says so.
    pub async fn read(&self, mut stop: watch::Receiver<bool>) {
        while !*stop.borrow() {
            self.read_once().await;
            tokio::select! {
                () = tokio::time::sleep(EVERY) => {}
                _ = stop.changed() => {}
            }
        }
    }

    /// Reads the figures of the database once.
    pub async fn read_once(&self) {
        let now = self.cx.clock.now();
        match tokio::time::timeout(LONGEST, self.cx.store.figures(now)).await {
            Ok(Ok(figures)) => {
                self.gauges.set(&figures, now);
                *self.read_at.lock().unwrap_or_else(PoisonError::into_inner) = Some(Stopwatch::start());
            }
            Ok(Err(error)) => tracing::warn!(error = ?error, "the figures of the database could not be read"),
            Err(_) => tracing::warn!("the figures of the database did not come in time"),
        }
    }

    /// All metrics as text.
    fn text(&self) -> prometheus::Result<Vec<u8>> {
        let read_at = *self.read_at.lock().unwrap_or_else(PoisonError::into_inner);
        let age = read_at.unwrap_or(self.started).elapsed().as_secs();
        self.gauges.figures_age.set(i64::try_from(age).unwrap_or(i64::MAX));
        let (in_use, idle) = self.cx.store.connections();
        for (state, number) in [("in_use", in_use), ("idle", idle)] {
            let number = i64::try_from(number).unwrap_or(i64::MAX);
            self.gauges.connections.with_label_values(&[state]).set(number);
        }
        self.gauges.streams.set(i64::try_from(self.slots.open()).unwrap_or(i64::MAX));
        set(&self.counters.refreshed, self.cx.counts.refreshed());
        set(&self.counters.refresh_failures, self.cx.counts.refresh_failures());
        let streams = ("streams", self.slots.refused());
        for (bound, refused) in self.gate.refused().into_iter().chain([streams]) {
            set(&self.counters.refused.with_label_values(&[bound]), refused);
        }
        let mut text = Vec::new();
        TextEncoder::new().encode(&self.registry.gather(), &mut text)?;
        // Memory, processor time and open files of the process.
        TextEncoder::new().encode(&prometheus::gather(), &mut text)?;
        Ok(text)
    }
}

/// Serves the metrics on an address of their own. Returns the server and the address that it has.
///
/// # Errors
/// If the address is not free.
pub fn serve(metrics: Arc<Metrics>, address: SocketAddr) -> Result<(Server, SocketAddr)> {
    let listener =
        TcpListener::bind(address).with_context(|| format!("metrics_bind: cannot listen on {address}"))?;
    let data = web::Data::from(metrics);
    let make = move || App::new().app_data(data.clone()).route("/metrics", web::get().to(show));
    let server = HttpServer::new(make).workers(1).disable_signals().shutdown_timeout(1).listen(listener)?;
    let found = server.addrs().first().copied().unwrap_or(address);
    Ok((server.run(), found))
}

async fn show(metrics: web::Data<Metrics>) -> HttpResponse {
    match metrics.text() {
        Ok(text) => HttpResponse::Ok().content_type("text/plain; version=0.0.4; charset=utf-8").body(text),
        Err(error) => {
            tracing::error!(error = ?error, "the metrics cannot be written");
            HttpResponse::InternalServerError().finish()
        }
    }
}
