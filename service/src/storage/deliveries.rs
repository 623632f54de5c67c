//! Deliveries: written, claimed, attempted, and their outcome.

use crate::domain::base::clock::MOST_AHEAD;
use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, ClaimId, DeliveryId, SubscriptionId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::delivery::{
    AttemptOutcome, Body, ClaimedDelivery, Content, Delivery, DeliveryState, LoggedDelivery, NewDelivery,
};
use crate::domain::model::quota::Counted;
use crate::domain::model::subscription::{Subscription, gone};
use crate::domain::ports::store::deliveries::{
    AttemptedDelivery, ClaimedDeliveries, DeliveryStore, DueReceiver,
};
use crate::domain::rules::retry;
use crate::storage::connection::{Database, Tx, retried};
use crate::storage::leases::{Held, NOBODY, Work, free};
use crate::storage::rows::{
    AttemptRow, DELIVERY_COLUMNS, DeliveryRow, LetterRow, SubscriptionRow, select_subscriptions, values,
};
use crate::storage::sql::{Sql, pieces, sql};
use crate::storage::usage::count_on;
use async_trait::async_trait;
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// Rows of one statement that writes.
const ROWS: usize = 16;
/// Deliveries removed in one transaction.
const FORGOTTEN: i64 = 5_000;

fn select() -> Sql {
    let mut query = sql("SELECT ");
    query.push(DELIVERY_COLUMNS).push(" FROM deliveries WHERE ");
    query
}

const WORK: Work = Work { table: "deliveries", id: "id" };

/// The rows of claimed deliveries.
fn held(claims: &[(DeliveryId, ClaimId)]) -> Vec<Held> {
    claims.iter().map(|(id, claim)| (id.0, *claim)).collect()
}

/// Adds deliveries whose ids are not there yet, and returns how many.
pub(super) async fn insert(tx: &mut Tx, new: &[NewDelivery]) -> Stored<u64> {
    let mut added = 0;
    for piece in pieces(new, ROWS) {
        let mut query = sql("INSERT INTO deliveries (");
        query.push(DELIVERY_COLUMNS).push(", set_at, media_type, body) ").bind_rows(
            piece,
            |row, NewDelivery { delivery: one, body }| {
                row.on(one.id).on(one.account_id).on(one.subscription_id).on(one.content.code());
                row.on(one.number).on(one.task_id);
                row.on(one.state.code()).on(i64::from(one.attempts)).on(one.next_at).on(one.due_at);
                row.on(one.created_at)
                    .on(one.ended_at)
                    .on(one.created_at)
                    .on(&body.media_type)
                    .on(&body.text);
            },
        );
        query.push(" ON CONFLICT (id) DO NOTHING");
        added += tx.run(query).await?;
    }
    Ok(added)
}

/// Adds the conditions for due deliveries (`d`) of a subscription (`s`) to a WHERE that has begun.
fn due(query: &mut Sql, now: DateTime<Utc>) {
    query.push("d.next_at <= ").bind(now).push(" AND ");
    free(query, now);
    query.push(" AND (d.content = 'test' OR s.paused_at IS NULL AND (s.rest_until <= ").bind(now);
    // A clock that was ahead has set it.
    query.push(" OR s.rest_set_at > ").bind(now + MOST_AHEAD).push("))");
}

#[async_trait]
impl DeliveryStore for Database {
    async fn insert_delivery(&self, delivery: &Delivery, body: &Body) -> Stored<()> {
        let mut tx = self.begin().await?;
        let new = NewDelivery { delivery: delivery.clone(), body: body.clone() };
        if insert(&mut tx, &[new]).await? > 0 && delivery.content == Content::Test {
            let (account, day) = (delivery.account_id, delivery.created_at.date_naive());
            count_on(&mut tx, account, Counted::TestMessages, day).await?;
            self.within_quota(&mut tx, account, Counted::TestMessages).await?;
        }
        tx.commit().await
    }

    async fn due_receivers(&self, now: DateTime<Utc>, limit: u32) -> Stored<Vec<DueReceiver>> {
        // Asks subscription by subscription, so that deliveries of paused or resting ones are not scanned.
        let mut query =
            sql("SELECT s.account_id, s.id FROM subscriptions s WHERE EXISTS (SELECT 1 FROM deliveries d \
             WHERE d.subscription_id = s.id AND ");
        due(&mut query, now);
        query.push(") LIMIT ").bind(i64::from(limit));
        let rows = self.all::<(Uuid, Uuid)>(query).await?;
        let receivers = rows.into_iter().map(|(account, id)| DueReceiver {
            account_id: AccountId(account),
            subscription_id: SubscriptionId(id),
        });
        Ok(receivers.collect())
    }

    async fn claim_deliveries(
        &self,
        id: SubscriptionId,
        now: DateTime<Utc>,
        until: DateTime<Utc>,
        limit: u32,
    ) -> Stored<Option<ClaimedDeliveries>> {
        retried(|| claim(self, id, now, until, limit)).await
    }

    async fn renew_deliveries(
        &self,
        claims: &[(DeliveryId, ClaimId)],
        now: DateTime<Utc>,
        until: DateTime<Utc>,
    ) -> Stored<()> {
        WORK.hold(self, &held(claims), now, until, true).await
    }

    async fn release_deliveries(
        &self,
        claims: &[(DeliveryId, ClaimId)],
        now: DateTime<Utc>,
        at: DateTime<Utc>,
    ) -> Stored<()> {
        WORK.hold(self, &held(claims), now, at, false).await
    }

    async fn finish_deliveries(
        &self,
        subscription: &Subscription,
        finished: &[AttemptedDelivery<'_>],
        now: DateTime<Utc>,
    ) -> Stored<()> {
        retried(|| finish(self, subscription, finished, now)).await
    }

    async fn deliveries(
        &self,
        account: AccountId,
        id: SubscriptionId,
        state: Option<DeliveryState>,
        page: &PageRequest<DateTime<Utc>>,
    ) -> Stored<Vec<Delivery>> {
        let mut query = select();
        query.push("account_id = ").bind(account).push(" AND subscription_id = ").bind(id);
        if let Some(state) = state {
            query.push(" AND state = ").bind(state.code());
        }
        if let Some(after) = &page.after {
            query.push(" AND (created_at, id) < (").bind(after.key).push(", ").bind(after.id).push(")");
        }
        query.push(" ORDER BY created_at DESC, id DESC LIMIT ").bind(page.rows());
        values(self.all(query).await?, DeliveryRow::read)
    }

    async fn delivery(&self, account: AccountId, id: DeliveryId) -> Stored<Option<LoggedDelivery>> {
        let mut tx = self.begin_reading().await?;
        let mut query = select();
        query.push("account_id = ").bind(account).push(" AND id = ").bind(id);
        let Some(row) = tx.first::<DeliveryRow>(query).await? else { return Ok(None) };
        let query = sql("SELECT delivery_id, at, milliseconds, status, error FROM delivery_attempts \
             WHERE delivery_id = $1 ORDER BY number");
        let attempts = tx.all::<AttemptRow>(query.on(id)).await?;
        tx.commit().await?;
        let attempts = values(attempts, AttemptRow::read)?;
        Ok(Some(LoggedDelivery { delivery: row.read()?, attempts }))
    }

    async fn send_again(&self, account: AccountId, id: DeliveryId, now: DateTime<Utc>) -> Stored<bool> {
        let query = sql("UPDATE deliveries SET state = 'waiting', attempts = 0, next_at = $1, due_at = $1, \
             set_at = $1, ended_at = NULL, held_until = 0, held_by = $4 WHERE account_id = $2 AND id = $3");
        Ok(self.run(query.on(now).on(account).on(id).on(NOBODY)).await? > 0)
    }

    async fn forget_deliveries(&self, before: DateTime<Utc>, digests_before: DateTime<Utc>) -> Stored<u64> {
        let mut gone = 0;
        loop {
            let query =
                sql("DELETE FROM deliveries WHERE id IN (SELECT id FROM deliveries WHERE ended_at < $1 \
                 OR ended_at < $2 AND content = 'digest' LIMIT $3)");
            let query = query.on(before).on(digests_before).on(FORGOTTEN);
            let some = retried(|| self.run(query.clone())).await?;
            gone += some;
            if some < FORGOTTEN as u64 {
                return Ok(gone);
            }
        }
    }
}

/// What is stored about a receiver's recent failures.
#[derive(sqlx::FromRow)]
struct ReceiverRow {
    failures: i64,
    failing_since: Option<i64>,
    failed_at: Option<i64>,
    rest_until: i64,
    rest_set_at: i64,
    paused_at: Option<i64>,
    version: i64,
}

/// Whether the last attempt was made so shortly before that the service was not off.
fn lately(last: DateTime<Utc>, now: DateTime<Utc>) -> bool {
    now - last <= retry::TRIED_AT_LEAST_EVERY && last <= now + MOST_AHEAD
}

impl ReceiverRow {
    /// Since when a receiver that fails now has been failing. A gap between attempts longer than
    /// [`retry::TRIED_AT_LEAST_EVERY`] means that the service was off, so the count begins now. So it does if the
    /// last attempt was made by a clock that was ahead.
    fn failing_since(&self, now: DateTime<Utc>) -> DateTime<Utc> {
        let [since, last] =
            [self.failing_since, self.failed_at].map(|at| DateTime::from_timestamp_micros(at?));
        match (since, last) {
            (Some(since), Some(last)) if lately(last, now) => since,
            _ => now,
        }
    }
}

async fn claim(
    database: &Database,
    id: SubscriptionId,
    now: DateTime<Utc>,
    until: DateTime<Utc>,
    limit: u32,
) -> Stored<Option<ClaimedDeliveries>> {
    let (mut tx, held_by) = (database.begin().await?, ClaimId::new());
    let mut query = sql("WITH picked AS MATERIALIZED (SELECT d.id FROM deliveries d \
         JOIN subscriptions s ON s.id = d.subscription_id WHERE d.subscription_id = ");
    query.bind(id).push(" AND ");
    due(&mut query, now);
    query.push(" ORDER BY d.next_at, d.number, d.id LIMIT ").bind(i64::from(limit));
    if tx.has_row_locks() {
        query.push(" FOR NO KEY UPDATE OF d SKIP LOCKED");
    }
    query.push(") UPDATE deliveries SET held_until = ").bind(until).push(", held_at = ").bind(now);
    query.push(", held_by = ").bind(held_by).push(" WHERE id IN (SELECT id FROM picked) RETURNING ");
    query.push(DELIVERY_COLUMNS).push(", media_type, body");
    let mut rows = values(tx.returning::<LetterRow>(query).await?, LetterRow::read)?;
    if rows.is_empty() {
        return Ok(None);
    }
    rows.sort_unstable_by_key(|one| (one.delivery.number, one.delivery.created_at, one.delivery.id));
    let mut query = select_subscriptions();
    query.push("id = ").bind(id);
    let Some(subscription) = tx.first::<SubscriptionRow>(query).await? else { return Ok(None) };
    let subscription = subscription.read(&database.secret_keys)?;
    tx.commit().await?;
    let claimed =
        rows.into_iter().map(|NewDelivery { delivery, body }| ClaimedDelivery { delivery, body, held_by });
    Ok(Some(ClaimedDeliveries { subscription, deliveries: claimed.collect() }))
}

async fn finish(
    database: &Database,
    subscription: &Subscription,
    finished: &[AttemptedDelivery<'_>],
    now: DateTime<Utc>,
) -> Stored<()> {
    let mut tx = database.begin().await?;
    // Locks the subscription first. A transaction that removes it waits for this one, or has ended and this
    // one finds nothing.
    let mut query = sql(
        "SELECT failures, failing_since, failed_at, rest_until, rest_set_at, paused_at, version FROM subscriptions WHERE id = ",
    );
    query.bind(subscription.id).push(tx.for_update());
    let Some(known) = tx.first::<ReceiverRow>(query).await? else { return Ok(()) };
    // In the order in which claims are renewed, so that neither waits for the other.
    let mut in_order: Vec<&AttemptedDelivery<'_>> = finished.iter().collect();
    in_order.sort_unstable_by_key(|one| one.claimed.delivery.id);
    let mut own = Vec::with_capacity(finished.len());
    for one in in_order {
        if log(&mut tx, one.claimed, &one.outcome, now).await? {
            own.push(&one.outcome);
        }
    }
    if known.version == subscription.version && !own.is_empty() {
        after(&mut tx, subscription, &own, &known, now).await?;
    }
    tx.commit().await
}

/// Notes what the answers mean for the receiver: it works, it rests, or it is gone.
async fn after(
    tx: &mut Tx,
    subscription: &Subscription,
    finished: &[&AttemptOutcome],
    known: &ReceiverRow,
    now: DateTime<Utc>,
) -> Stored<()> {
    let all_failed = finished.iter().all(|one| one.failed);
    let gone_now = finished.iter().any(|one| one.gone);
    let failures = if all_failed { known.failures + finished.len() as i64 } else { 0 };
    let failing_since = all_failed.then(|| known.failing_since(now).timestamp_micros());
    let asked = finished.iter().filter_map(|one| one.rest_until).max();
    let rest =
        retry::rest(u32::try_from(failures).unwrap_or(u32::MAX), now).filter(|_| all_failed).max(asked);
    let rest = rest.map_or(0, |until| until.timestamp_micros());
    // A test message that fails does not shorten the rest that the receiver asked for.
    let asked_before =
        if known.rest_set_at > (now + MOST_AHEAD).timestamp_micros() { 0 } else { known.rest_until };
    let rest = if all_failed { rest.max(asked_before) } else { rest };
    let query = sql(
        "UPDATE subscriptions SET failures = $1, rest_until = $2, rest_set_at = $3, failing_since = $4, \
         failed_at = $5 WHERE id = $6",
    );
    let query = query.on(failures).on(rest).on(now).on(failing_since);
    tx.run(query.on(all_failed.then_some(now)).on(subscription.id)).await?;
    let long_ago = (now - retry::TRIED_FOR).timestamp_micros();
    let dead = failing_since.is_some_and(|since| since <= long_ago);
    if dead && !gone_now && known.paused_at.is_none() {
        // A receiver that has failed for days is tried with a few deliveries only. The time of the other
        // deliveries runs out, too. While the subscription is paused, no time runs out.
        let mut park = sql("UPDATE deliveries SET state = ");
        park.bind(DeliveryState::Parked.code()).push(", next_at = NULL, ended_at = ").bind(now);
        park.push(" WHERE subscription_id = ")
            .bind(subscription.id)
            .push(" AND next_at IS NOT NULL AND due_at <= ");
        park.bind(long_ago).push(" AND ");
        free(&mut park, now);
        tx.run(park).await?;
    }
    if gone_now {
        let paused = gone(now);
        let query =
            sql("UPDATE subscriptions SET paused_at = $1, paused_because = $2, version = version + 1, \
             updated_at = $3 WHERE id = $4 AND paused_at IS NULL");
        tx.run(query.on(paused.at).on(paused.because.as_deref()).on(now).on(subscription.id)).await?;
    }
    Ok(())
}

/// Logs an attempt and what follows for its delivery. Returns whether the claim was still held. If it was not,
/// only an arrival changes the delivery.
async fn log(
    tx: &mut Tx,
    claimed: &ClaimedDelivery,
    outcome: &AttemptOutcome,
    now: DateTime<Utc>,
) -> Stored<bool> {
    let id = claimed.delivery.id;
    let mut query = sql("SELECT held_by FROM deliveries WHERE id = ");
    query.bind(id).push(tx.for_update());
    let own = tx.first::<(Uuid,)>(query).await? == Some((claimed.held_by.0,));
    let mut query = sql("UPDATE deliveries SET state = ");
    query.bind(outcome.state.code()).push(", attempts = attempts + 1, next_at = ").bind(outcome.next_at);
    query.push(", set_at = ").bind(now).push(", held_until = 0, held_by = ").bind(NOBODY);
    query.push(", ended_at = ").bind(outcome.next_at.is_none().then_some(now));
    // A delivery that continues after a pause has its full time from the end of the pause.
    query.push(", due_at = CASE WHEN due_at < ").bind(outcome.first_at).push(" THEN ").bind(outcome.first_at);
    query.push(" ELSE due_at END WHERE id = ").bind(id);
    if own || outcome.state == DeliveryState::Delivered {
        tx.run(query).await?;
    }
    let attempt = &outcome.attempt;
    let mut query = sql(
        "INSERT INTO delivery_attempts (delivery_id, number, at, milliseconds, status, error) \
         SELECT d.id, (SELECT COALESCE(MAX(a.number), 0) + 1 FROM delivery_attempts a WHERE a.delivery_id = d.id), ",
    );
    query.bind(attempt.at).push(", ").bind(attempt.milliseconds).push(", ");
    // PostgreSQL reads a bare parameter in a SELECT as text.
    query.push("CAST(").bind(attempt.status.map(i64::from)).push(" AS BIGINT), CAST(");
    query.bind(attempt.error.as_deref()).push(" AS TEXT) FROM deliveries d WHERE d.id = ").bind(id);
    tx.run(query).await?;
    Ok(own)
}
