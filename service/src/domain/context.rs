//! What every use case needs at hand.

use crate::domain::clock::Clock;
use crate::domain::ground_cache::GroundCache;
use crate::domain::store::Store;
use std::sync::Arc;
use tokio::sync::Notify;

/// The store, the clock and the bell that wakes the job loop.
#[derive(Clone)]
pub struct Context {
    /// Where everything is kept.
    pub store: Arc<dyn Store>,
    /// What time it is.
    pub clock: Arc<dyn Clock>,
    /// Rung after a write that makes forecasts stale, so that the job loop need not wait for its next round.
    pub bell: Arc<Notify>,
    /// What refreshes keep in memory of the gauges.
    pub grounds: Arc<GroundCache>,
}

impl Context {
    /// A context over a store and a clock.
    pub fn new(store: Arc<dyn Store>, clock: Arc<dyn Clock>) -> Self {
        Self { store, clock, bell: Arc::new(Notify::new()), grounds: Arc::default() }
    }

    /// Tells the job loop that something is stale.
    pub fn ring(&self) {
        self.bell.notify_one();
    }
}
