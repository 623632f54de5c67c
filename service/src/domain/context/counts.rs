//! Counts of what this process has done since its start; the metrics show them.

use std::sync::atomic::{AtomicU64, Ordering};

/// Counts of this process.
#[derive(Debug, Default)]
pub struct Counts {
    refreshed: AtomicU64,
    refresh_failures: AtomicU64,
}

impl Counts {
    /// Adds systems that were refreshed, and those whose refresh failed.
    pub fn add_refreshes(&self, refreshed: usize, failed: usize) {
        self.refreshed.fetch_add(refreshed as u64, Ordering::Relaxed);
        self.refresh_failures.fetch_add(failed as u64, Ordering::Relaxed);
    }

    /// Systems that were refreshed.
    pub fn refreshed(&self) -> u64 {
        self.refreshed.load(Ordering::Relaxed)
    }

    /// Refreshes that failed. A pass that failed as a whole counts once.
    pub fn refresh_failures(&self) -> u64 {
        self.refresh_failures.load(Ordering::Relaxed)
    }
}
