//! Figures of the whole database that show whether dates and deliveries go on.

use chrono::{DateTime, Utc};

/// What stands in the database, over all accounts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct StoreFigures {
    /// Systems whose dates are older than their inputs or than their local day.
    pub stale: u64,
    /// When the local day ended of the system that waits longest for that; `None` if none waits.
    pub stale_since: Option<DateTime<Utc>>,
    /// Systems that a newer model has refreshed than that of this version.
    pub of_newer_model: u64,
    /// Deliveries that wait to be sent.
    pub deliveries_waiting: u64,
    /// Deliveries that were given up.
    pub deliveries_parked: u64,
    /// Entries that the reminders' feeds keep.
    pub feed_entries: u64,
}
