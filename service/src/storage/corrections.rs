//! Undoes what a clock that was ahead has stored.

use crate::domain::base::clock::MOST_AHEAD;
use crate::domain::base::error::Stored;
use crate::domain::context::key_uses::minute;
use crate::domain::model::delivery::DeliveryState;
use crate::domain::model::idempotency::CLAIM_LEASE;
use crate::domain::model::subscription::Subscription;
use crate::domain::ports::store::corrections::CorrectionStore;
use crate::storage::connection::{Database, retried};
use crate::storage::rows::{SubscriptionRow, select_subscriptions, values};
use crate::storage::sql::{Sql, sql};
use async_trait::async_trait;
use chrono::{DateTime, TimeDelta, Utc};

/// A local day is never shorter. A system whose day has not begun is stale at the earliest after this time.
const SHORTEST_DAY: TimeDelta = TimeDelta::hours(22);

/// Systems that were refreshed for a day that has not begun.
fn stale_again(now: DateTime<Utc>) -> Sql {
    let mut query = sql("UPDATE refreshes SET refresh_at = 0, next_at = 0 WHERE refresh_at > ");
    // The index by this instant leaves few rows.
    query.bind(now + SHORTEST_DAY).push(" AND day_at > ").bind(now + MOST_AHEAD);
    query
}

/// Deliveries that wait for an attempt. One that was never tried and is held back beyond the instant at which it was
/// stored waits for a date, whatever the clock was.
fn due_again(now: DateTime<Utc>) -> Sql {
    let mut query = sql("UPDATE deliveries SET due_at = CASE WHEN due_at > ");
    query.bind(now).push(" THEN ").bind(now).push(" ELSE due_at END, next_at = ").bind(now);
    query.push(", set_at = ").bind(now).push(" WHERE next_at > ").bind(now);
    query.push(" AND set_at > ").bind(now + MOST_AHEAD).push(" AND (attempts > 0 OR next_at <= set_at)");
    query
}

/// Deliveries that were given up, because their time seemed to be over.
fn waiting_again(now: DateTime<Utc>) -> Sql {
    let mut query = sql("UPDATE deliveries SET state = ");
    query.bind(DeliveryState::Waiting.code()).push(", attempts = 0, ended_at = NULL, next_at = ").bind(now);
    query.push(", due_at = ").bind(now).push(", set_at = ").bind(now);
    query.push(" WHERE state = ").bind(DeliveryState::Parked.code());
    query.push(" AND ended_at > ").bind(now + MOST_AHEAD);
    query
}

/// Deliveries that ended are kept for the usual time.
fn ended_now(now: DateTime<Utc>) -> Sql {
    let mut query = sql("UPDATE deliveries SET ended_at = ");
    query.bind(now).push(" WHERE ended_at > ").bind(now + MOST_AHEAD);
    query
}

/// Repeated requests: one that was not answered can be taken over, an answer is kept for the usual time.
fn claimed_now(now: DateTime<Utc>) -> Sql {
    let mut query = sql("UPDATE idempotency SET claimed_at = CASE WHEN status IS NULL THEN ");
    query.bind(now - CLAIM_LEASE - TimeDelta::seconds(1)).push(" ELSE ").bind(now);
    query.push(" END WHERE claimed_at > ").bind(now + MOST_AHEAD);
    query
}

/// Entries of the feed are kept for the usual time.
fn raised_now(now: DateTime<Utc>) -> Sql {
    let mut query = sql("UPDATE reminders SET raised_at = ");
    query.bind(now).push(" WHERE raised_at > ").bind(now + MOST_AHEAD);
    query
}

/// Entries of the audit. What the clock showed stays beside; a trigger lets nothing else change.
fn recorded_now(now: DateTime<Utc>) -> Sql {
    let mut query = sql("UPDATE audit SET clock_at = COALESCE(clock_at, at), at = ");
    query.bind(now).push(" WHERE at > ").bind(now + MOST_AHEAD);
    query
}

/// The last uses of keys. They were used at some time before now.
fn used_now(now: DateTime<Utc>) -> Sql {
    let mut query = sql("UPDATE keys SET last_used_at = ");
    query.bind(minute(now)).push(" WHERE last_used_at > ").bind(now + MOST_AHEAD);
    query
}

#[async_trait]
impl CorrectionStore for Database {
    async fn undo_future(&self, now: DateTime<Utc>) -> Stored<u64> {
        let mut rows = 0;
        for correct in [
            stale_again,
            due_again,
            waiting_again,
            ended_now,
            claimed_now,
            raised_now,
            recorded_now,
            used_now,
        ] {
            rows += retried(|| self.run(correct(now))).await?;
        }
        Ok(rows)
    }

    async fn digests_set_ahead(&self, now: DateTime<Utc>) -> Stored<Vec<Subscription>> {
        let mut query = select_subscriptions();
        query.push("next_at IS NOT NULL AND next_set_at > ").bind(now + MOST_AHEAD).push(" ORDER BY id");
        values(self.all(query).await?, |row: SubscriptionRow| row.read(&self.secret_keys))
    }

    async fn set_next_digest(
        &self,
        subscription: &Subscription,
        next: Option<DateTime<Utc>>,
        now: DateTime<Utc>,
    ) -> Stored<()> {
        let query =
            sql("UPDATE subscriptions SET next_at = $1, next_set_at = $2 WHERE id = $3 AND version = $4 \
             AND next_set_at = $5");
        let query = query.on(next).on(now).on(subscription.id).on(subscription.version);
        self.run(query.on(subscription.next_set_at)).await.map(drop)
    }
}
