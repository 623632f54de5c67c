//! Subscriptions, and how far each has read its account's feed.

use crate::domain::base::error::{StoreError, Stored};
use crate::domain::base::ids::{AccountId, SubscriptionId, TaskId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::delivery::{DeliveryState, NewDelivery};
use crate::domain::model::quota::Counted;
use crate::domain::model::reminder::{Reminder, ReminderFilter, bits};
use crate::domain::model::signing::SigningSecret;
use crate::domain::model::subscription::{Carries, Subscription};
use crate::domain::ports::store::outcomes::{Deleted, Updated};
use crate::domain::ports::store::subscriptions::{FanOut, MakeDelivery, SealedSecrets, SubscriptionStore};
use crate::storage::connection::{Database, Tx, retried};
use crate::storage::leases::free;
use crate::storage::rows::{
    SUBSCRIPTION_COLUMNS, SubscriptionRow, select_subscriptions, stored_secrets, values,
};
use crate::storage::sql::{Sql, sql};
use crate::storage::stale::explain_miss;
use crate::storage::{deliveries, reminders};
use async_trait::async_trait;
use chrono::{DateTime, Utc};
use std::collections::{BTreeSet, HashMap, HashSet};
use uuid::Uuid;

/// Entries that are read in one transaction.
const ENTRIES: u32 = 500;

fn select() -> Sql {
    let mut query = sql("SELECT ");
    query.push(SUBSCRIPTION_COLUMNS).push(
        ", (SELECT COUNT(*) FROM deliveries d WHERE d.subscription_id = subscriptions.id AND d.state = 'waiting') \
         AS waiting, \
         (SELECT COUNT(*) FROM deliveries d WHERE d.subscription_id = subscriptions.id AND d.state = 'parked') \
         AS parked FROM subscriptions WHERE ",
    );
    query
}

fn version_of(account: AccountId, id: SubscriptionId) -> Sql {
    sql("SELECT version FROM subscriptions WHERE account_id = $1 AND id = $2").on(account).on(id)
}

/// What a subscription carries, column by column.
struct Columns {
    kinds: Option<i64>,
    schedule: Option<String>,
    time_zone: Option<&'static str>,
    zone_given: Option<i64>,
    form: Option<&'static str>,
}

impl Columns {
    fn of(carries: &Carries) -> Self {
        match carries {
            Carries::Reminders { kinds } => {
                let kinds = Some(bits(kinds));
                Self { kinds, schedule: None, time_zone: None, zone_given: None, form: None }
            }
            Carries::Digest(timing) => Self {
                kinds: None,
                schedule: Some(timing.schedule.text().to_owned()),
                time_zone: Some(timing.zone.name()),
                zone_given: Some(timing.zone_given.into()),
                form: Some(timing.form.code()),
            },
        }
    }
}

/// Drops deliveries that a subscription holds back for the tasks of these entries. Returns the tasks that had
/// such a delivery.
async fn drop_held(
    tx: &mut Tx,
    id: SubscriptionId,
    entries: &[Reminder],
    now: DateTime<Utc>,
) -> Stored<HashSet<TaskId>> {
    let tasks: Vec<TaskId> =
        entries.iter().map(|entry| entry.task_id).collect::<BTreeSet<_>>().into_iter().collect();
    if tasks.is_empty() {
        return Ok(HashSet::new());
    }
    let mut query = sql("UPDATE deliveries SET state = ");
    query.bind(DeliveryState::Superseded.code()).push(", next_at = NULL, ended_at = ").bind(now);
    query.push(" WHERE subscription_id = ").bind(id).push(" AND task_id IN ").bind_list(&tasks);
    query.push(" AND state = 'waiting' AND attempts = 0 AND next_at > ").bind(now).push(" RETURNING task_id");
    let dropped = tx.returning::<(Uuid,)>(query).await?;
    Ok(dropped.into_iter().map(|(task,)| TaskId(task)).collect())
}

/// Makes the deliveries of some entries. A later entry about the same task drops a delivery that is still
/// held back. `dropped` names the tasks for which an earlier run's delivery was dropped.
fn make_deliveries(
    entries: &[Reminder],
    mut dropped: HashSet<TaskId>,
    now: DateTime<Utc>,
    make: &MakeDelivery<'_>,
) -> Vec<NewDelivery> {
    let mut made: Vec<NewDelivery> = Vec::new();
    let mut last: HashMap<TaskId, usize> = HashMap::new();
    for entry in entries {
        let task = entry.task_id;
        if let Some(NewDelivery { delivery: before, .. }) =
            last.remove(&task).and_then(|index| made.get_mut(index))
            && before.next_at > Some(now)
        {
            (before.state, before.next_at, before.ended_at) = (DeliveryState::Superseded, None, Some(now));
            dropped.insert(task);
        }
        if let Some(one) = make(entry, dropped.remove(&task)) {
            last.insert(task, made.len());
            made.push(one);
        }
    }
    made
}

#[async_trait]
impl SubscriptionStore for Database {
    async fn insert_subscription(&self, subscription: &Subscription) -> Stored<()> {
        let facts = &subscription.facts;
        let carries = Columns::of(&facts.carries);
        let (secret, before) = stored_secrets(&self.secret_keys, subscription)?;
        let mut query = sql("INSERT INTO subscriptions (");
        query.push(SUBSCRIPTION_COLUMNS).push(", position) SELECT * FROM (");
        query.bind_rows(&[subscription], |row, one| {
            row.on(one.id).on(one.account_id).on(&facts.name).on(facts.url.as_str());
            row.on(facts.property_id)
                .on(facts.system_id)
                .on(facts.lead_days.map(i64::from))
                .on(carries.kinds);
            row.on(carries.schedule.as_deref()).on(carries.time_zone).on(carries.zone_given).on(carries.form);
            row.on(secret.clone());
            row.on(&before);
            row.on(one.paused.as_ref().map(|paused| paused.at));
            row.on(one.paused.as_ref().and_then(|paused| paused.because.as_deref()));
            row.on(one.next_at).on(one.next_set_at).on(one.version).on(one.created_at).on(one.updated_at);
        });
        query.push(") AS given, (SELECT COALESCE((SELECT last FROM feeds WHERE account_id = ");
        query
            .bind(subscription.account_id)
            .push("), 0) AS position) AS feed WHERE TRUE ON CONFLICT (id) DO NOTHING");
        let mut tx = self.begin().await?;
        if tx.run(query).await? > 0 {
            self.within_quota(&mut tx, subscription.account_id, Counted::Subscriptions).await?;
        }
        tx.commit().await
    }

    async fn subscription(&self, account: AccountId, id: SubscriptionId) -> Stored<Option<Subscription>> {
        let mut query = select();
        query.push("account_id = ").bind(account).push(" AND id = ").bind(id);
        self.first::<SubscriptionRow>(query).await?.map(|row| row.read(&self.secret_keys)).transpose()
    }

    async fn subscriptions(
        &self,
        account: AccountId,
        page: &PageRequest<DateTime<Utc>>,
    ) -> Stored<Vec<Subscription>> {
        let mut query = select();
        query.push("account_id = ").bind(account);
        if let Some(after) = &page.after {
            query.push(" AND (created_at, id) > (").bind(after.key).push(", ").bind(after.id).push(")");
        }
        query.push(" ORDER BY created_at, id LIMIT ").bind(page.rows());
        values(self.all(query).await?, |row: SubscriptionRow| row.read(&self.secret_keys))
    }

    async fn every_subscription(&self, after: SubscriptionId, limit: u32) -> Stored<Vec<Subscription>> {
        let mut query = select_subscriptions();
        query.push("id > ").bind(after).push(" ORDER BY id LIMIT ").bind(i64::from(limit));
        values(self.all(query).await?, |row: SubscriptionRow| row.read(&self.secret_keys))
    }

    async fn seal_secrets(&self, subscription: &Subscription) -> Stored<SealedSecrets> {
        let mut fresh = subscription.clone();
        let mut stale = 0;
        let before = fresh.secrets.before.iter_mut().map(|one| &mut one.secret);
        for secret in std::iter::once(&mut fresh.secrets.current).chain(before) {
            let Some((stored, plain)) = secret.stored().zip(secret.bytes()) else { continue };
            if !self.secret_keys.is_current(stored)? {
                *secret = SigningSecret::of(plain.to_vec());
                stale += 1;
            }
        }
        if stale == 0 {
            return Ok(SealedSecrets::default());
        }
        let (secret, before) = match stored_secrets(&self.secret_keys, &fresh) {
            Err(StoreError::NoSecretKey) => return Ok(SealedSecrets { sealed: 0, left: stale }),
            sealed => sealed?,
        };
        let update =
            sql("UPDATE subscriptions SET secret = $1, secrets_before = $2 WHERE id = $3 AND version = $4");
        let done = self.run(update.on(secret).on(before).on(fresh.id).on(fresh.version)).await? > 0;
        Ok(if done {
            SealedSecrets { sealed: stale, left: 0 }
        } else {
            SealedSecrets { sealed: 0, left: stale }
        })
    }

    async fn update_subscription(&self, new: &Subscription) -> Stored<Updated> {
        let facts = &new.facts;
        let (secret, before) = stored_secrets(&self.secret_keys, new)?;
        let carries = Columns::of(&facts.carries);
        // The first value is kept while the times of the digest stay the same, the second replaces it.
        let next_at = "next_at = CASE WHEN schedule IS NOT DISTINCT FROM $7 AND time_zone IS NOT DISTINCT FROM $8 \
                       AND (paused_at IS NULL) = ($13 IS NULL) THEN next_at ELSE $15 END, \
                       next_set_at = CASE WHEN schedule IS NOT DISTINCT FROM $7 AND time_zone IS NOT DISTINCT FROM $8 \
                       AND (paused_at IS NULL) = ($13 IS NULL) THEN next_set_at ELSE $20 END, ";
        let position = "position = CASE WHEN kinds IS NULL AND $6 IS NOT NULL THEN COALESCE((SELECT last FROM feeds \
                        WHERE feeds.account_id = subscriptions.account_id), 0) ELSE position END, ";
        let mut update = sql(
            "UPDATE subscriptions SET name = $1, url = $2, property_id = $3, system_id = $4, lead_days = $5, \
             kinds = $6, schedule = $7, time_zone = $8, zone_given = $9, form = $10, secret = $11, \
             secrets_before = $12, paused_at = $13, paused_because = $14, updated_at = $16, ",
        );
        update.push(next_at).push(position).push(
            "failures = 0, failing_since = NULL, failed_at = NULL, rest_until = 0, version = version + 1 WHERE account_id = $17 AND id = $18 AND version = $19",
        );
        let update = update
            .on(&facts.name)
            .on(facts.url.as_str())
            .on(facts.property_id)
            .on(facts.system_id)
            .on(facts.lead_days.map(i64::from))
            .on(carries.kinds)
            .on(carries.schedule.as_deref())
            .on(carries.time_zone)
            .on(carries.zone_given)
            .on(carries.form)
            .on(secret)
            .on(before)
            .on(new.paused.as_ref().map(|paused| paused.at))
            .on(new.paused.as_ref().and_then(|paused| paused.because.as_deref()))
            .on(new.next_at)
            .on(new.updated_at)
            .on(new.account_id)
            .on(new.id)
            .on(new.version)
            .on(new.next_set_at);
        let go_on = sql(
            "UPDATE deliveries SET due_at = $1 WHERE subscription_id = $2 AND next_at IS NOT NULL \
             AND due_at < $1 AND EXISTS (SELECT 1 FROM subscriptions s WHERE s.id = $2 AND s.paused_at IS NOT NULL \
             AND s.version = $3)",
        );
        let go_on = go_on.on(new.updated_at).on(new.id).on(new.version);
        let mut tx = self.begin().await?;
        if new.paused.is_none() {
            tx.run(go_on).await?;
        }
        if tx.run(update).await? == 0 {
            return explain_miss(&mut tx, version_of(new.account_id, new.id)).await;
        }
        tx.commit().await?;
        Ok(Updated::Done)
    }

    async fn delete_subscription(
        &self,
        account: AccountId,
        id: SubscriptionId,
        version: i64,
    ) -> Stored<Deleted> {
        let mut tx = self.begin().await?;
        let mut lock = version_of(account, id);
        lock.push(tx.for_removal());
        match tx.first::<(i64,)>(lock).await? {
            None => return Ok(Deleted::Missing),
            Some((current,)) if current != version => return Ok(Deleted::Stale { current }),
            Some(_) => {}
        }
        tx.run(sql("DELETE FROM subscriptions WHERE account_id = $1 AND id = $2").on(account).on(id)).await?;
        tx.commit().await?;
        Ok(Deleted::Done)
    }

    async fn behind_feeds(&self, after: Option<AccountId>, limit: u32) -> Stored<Vec<Subscription>> {
        let mut query = sql("SELECT ");
        query
            .push(SUBSCRIPTION_COLUMNS)
            .push(", CAST(0 AS BIGINT) AS waiting, CAST(0 AS BIGINT) AS parked FROM ");
        query.push("(SELECT subscriptions.*, ROW_NUMBER() OVER (PARTITION BY account_id ORDER BY position, id) AS turn ");
        query.push(
            "FROM subscriptions WHERE kinds IS NOT NULL AND paused_at IS NULL AND position < (SELECT last ",
        );
        query.push("FROM feeds WHERE feeds.account_id = subscriptions.account_id)) AS behind ");
        query.push("ORDER BY turn, account_id <= ").bind(after.unwrap_or(AccountId(Uuid::nil())));
        query.push(", account_id LIMIT ").bind(i64::from(limit));
        values(self.all(query).await?, |row: SubscriptionRow| row.read(&self.secret_keys))
    }

    async fn fan_out(
        &self,
        subscription: &Subscription,
        now: DateTime<Utc>,
        make: &MakeDelivery<'_>,
    ) -> Stored<Option<FanOut>> {
        // Entries of every kind: one that the subscription does not send may still cancel one that it holds
        // back.
        let filter = ReminderFilter { kinds: Vec::new(), ..subscription.filter() };
        retried(async || {
            let mut tx = self.begin().await?;
            let mut query = sql("SELECT position FROM subscriptions WHERE paused_at IS NULL AND id = ");
            query.bind(subscription.id).push(" AND version = ").bind(subscription.version);
            query.push(tx.skip_locked());
            let Some((position,)) = tx.first::<(i64,)>(query).await? else { return Ok(None) };
            let stretch =
                reminders::stretch(&mut tx, subscription.account_id, &filter, position, ENTRIES).await?;
            let dropped = drop_held(&mut tx, subscription.id, &stretch.entries, now).await?;
            let made = make_deliveries(&stretch.entries, dropped, now, make);
            deliveries::insert(&mut tx, &made).await?;
            let query = sql("UPDATE subscriptions SET position = $1 WHERE id = $2");
            tx.run(query.on(stretch.through).on(subscription.id)).await?;
            tx.commit().await?;
            Ok(Some(FanOut { written: made.len(), more: stretch.entries.len() >= ENTRIES as usize }))
        })
        .await
    }

    async fn due_digests(&self, now: DateTime<Utc>) -> Stored<Vec<Subscription>> {
        let mut query = select_subscriptions();
        query.push("paused_at IS NULL AND next_at <= ").bind(now).push(" ORDER BY next_at, id LIMIT 100");
        values(self.all(query).await?, |row: SubscriptionRow| row.read(&self.secret_keys))
    }

    async fn put_digest(
        &self,
        subscription: &Subscription,
        was_due: DateTime<Utc>,
        digest: &NewDelivery,
        next: Option<DateTime<Utc>>,
    ) -> Stored<bool> {
        let mut tx = self.begin().await?;
        let query =
            sql("UPDATE subscriptions SET next_at = $1, next_set_at = $5 WHERE id = $2 AND next_at = $3 \
             AND version = $4 AND paused_at IS NULL RETURNING id");
        let query = query.on(next).on(subscription.id).on(was_due).on(subscription.version);
        let query = query.on(digest.delivery.created_at);
        if tx.returning::<(Uuid,)>(query).await?.is_empty() {
            return Ok(false);
        }
        let mut overtake = sql("UPDATE deliveries SET state = ");
        overtake.bind(DeliveryState::Superseded.code()).push(", next_at = NULL, ended_at = ");
        overtake.bind(digest.delivery.created_at).push(" WHERE subscription_id = ").bind(subscription.id);
        overtake.push(" AND content = 'digest' AND next_at IS NOT NULL AND ");
        free(&mut overtake, digest.delivery.created_at);
        // Not the digest itself: made a second time it has the same id, and a superseded row would not be
        // written again.
        overtake.push(" AND id <> ").bind(digest.delivery.id);
        tx.run(overtake).await?;
        deliveries::insert(&mut tx, std::slice::from_ref(digest)).await?;
        tx.commit().await?;
        Ok(true)
    }
}
