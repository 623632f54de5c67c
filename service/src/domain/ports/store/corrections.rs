//! Undoing what a clock that was ahead has stored.
//!
//! Whatever is stored as "until an instant" is stored with the instant at which it was set. If that lies ahead by more
//! than [`crate::domain::base::clock::MOST_AHEAD`], a clock that was ahead has set it.

use crate::domain::base::error::Stored;
use crate::domain::model::subscription::Subscription;
use async_trait::async_trait;
use chrono::{DateTime, Utc};

/// Corrections after a clock was ahead. Claims and rests need none: a reader ignores those of the future.
#[async_trait]
pub trait CorrectionStore: Send + Sync {
    /// Corrects what was stored by a clock that was ahead, and returns the number of rows:
    ///
    /// - Systems that were refreshed for a day that has not begun are stale.
    /// - Deliveries that wait for their next attempt are due. Announcements that are held back until a date keep it.
    /// - Deliveries that were given up wait again.
    /// - Claims of requests are free. Answers are kept for the usual time from now.
    /// - Entries of the feed are kept for the usual time from now.
    /// - Entries of the audit are as old as now, and keep beside it what the clock had shown.
    /// - Keys that were used in the future were used now.
    async fn undo_future(&self, now: DateTime<Utc>) -> Stored<u64>;
    /// Subscriptions whose next digest was computed at an instant that has not come.
    async fn digests_set_ahead(&self, now: DateTime<Utc>) -> Stored<Vec<Subscription>>;
    /// Replaces the time of a subscription's next digest, unless it or the subscription was changed meanwhile.
    async fn set_next_digest(
        &self,
        subscription: &Subscription,
        next: Option<DateTime<Utc>>,
        now: DateTime<Utc>,
    ) -> Stored<()>;
}
