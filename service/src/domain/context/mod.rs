//! What every use case needs: the store, the clock, wake-ups and the cache of rain gauges.

pub mod counts;
pub mod gauge_cache;
pub mod key_uses;

use crate::domain::base::clock::{Clock, latest_date};
use crate::domain::base::error::Result;
use crate::domain::context::counts::Counts;
use crate::domain::context::gauge_cache::GaugeCache;
use crate::domain::context::key_uses::KeyUses;
use crate::domain::model::audit::Act;
use crate::domain::model::gauge::Gauge;
use crate::domain::ports::store::Store;
use crate::domain::rules::forecast::gauge_model::GaugeModel;
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{Notify, watch};

/// How long things are kept.
#[derive(Clone, Copy, Debug)]
pub struct Retention {
    /// Entries of the reminders' feed.
    pub reminders: TimeDelta,
    /// Entries of the audit.
    pub audit: TimeDelta,
}

impl Default for Retention {
    fn default() -> Self {
        Self { reminders: TimeDelta::days(90), audit: TimeDelta::days(400) }
    }
}

/// The store, the clock and what wakes the job loop.
#[derive(Clone)]
pub struct Context {
    /// Where all data is kept.
    pub store: Arc<dyn Store>,
    /// What time it is.
    pub clock: Arc<dyn Clock>,
    /// Notified after a write that makes forecasts stale, so that the job loop does not wait for its next pass.
    pub job_wakeup: Arc<Notify>,
    /// Counts up when this process has written something that readers wait for, such as a refresh. A waiting reader
    /// also polls now and then, because another replica may have written it.
    pub written: watch::Sender<u64>,
    /// Counts up when this process has revoked a key. A waiting request then checks its key.
    pub keys_revoked: watch::Sender<u64>,
    /// When keys were used, until it is written.
    pub key_uses: Arc<KeyUses>,
    /// How often a request that waits for the reminders' feed polls it.
    pub poll_interval: Duration,
    /// How often a worker renews its claims.
    pub lease_renewed_every: Duration,
    /// Becomes true when the service shuts down. Waiting requests then return what they have.
    pub closing: watch::Sender<bool>,
    /// How long things are kept.
    pub retention: Retention,
    /// Whether subscriptions may send to addresses that are not public or not encrypted.
    pub local_webhooks: bool,
    /// What refreshes keep in memory of the rain gauges.
    pub gauges: Arc<GaugeCache>,
    /// What this process has done since its start.
    pub counts: Arc<Counts>,
}

impl Context {
    /// A context over a store and a clock.
    pub fn new(store: Arc<dyn Store>, clock: Arc<dyn Clock>) -> Self {
        let (written, closing) = (watch::Sender::new(0), watch::Sender::new(false));
        let (keys_revoked, key_uses) = (watch::Sender::new(0), Arc::default());
        let (job_wakeup, retention, gauges) = (Arc::new(Notify::new()), Retention::default(), Arc::default());
        // Judgement: readers seldom wait for a write by another replica, and one second is soon enough.
        let poll_interval = Duration::from_secs(1);
        // A claim holds for ten seconds: four renewals may fail.
        let lease_renewed_every = Duration::from_secs(2);
        Self {
            store,
            clock,
            job_wakeup,
            written,
            keys_revoked,
            key_uses,
            poll_interval,
            lease_renewed_every,
            closing,
            retention,
            local_webhooks: false,
            gauges,
            counts: Arc::default(),
        }
    }

    /// The same for one act, which is recorded with what it changes.
    #[must_use]
    pub fn acting(&self, act: Arc<Act>) -> Self {
        Self { store: self.store.acting(act, Arc::clone(&self.clock)), ..self.clone() }
    }

    /// Tells the job loop that something is stale.
    pub fn wake_jobs(&self) {
        self.job_wakeup.notify_one();
    }

    /// Tells waiting requests that there is something new to read.
    pub fn notify_readers(&self) {
        self.written.send_modify(|count| *count = count.wrapping_add(1));
    }

    /// Tells waiting requests that a key was revoked.
    pub fn notify_key_holders(&self) {
        self.keys_revoked.send_modify(|count| *count = count.wrapping_add(1));
    }
}

/// The latest civil date on earth. A later day has not begun anywhere.
pub(crate) fn latest_today(cx: &Context) -> NaiveDate {
    latest_date(cx.clock.now())
}

/// The model of a rain gauge through the latest local date of all zones, so that any of its systems can use it.
pub(crate) async fn gauge_model(cx: &Context, gauge: &Gauge, now: DateTime<Utc>) -> Result<Arc<GaugeModel>> {
    let through = latest_date(now);
    let read = async |known| cx.store.rain_since(gauge.id, known, through).await;
    cx.gauges.gauge_model(gauge, through, read).await
}
