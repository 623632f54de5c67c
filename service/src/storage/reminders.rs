//! The feeds of reminders. A refresh appends entries in its own transaction.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, FIRST_GENERATION};
use crate::domain::model::reminder::{FeedPage, FeedRange, Reminder, ReminderFilter, bits};
use crate::domain::ports::store::reminders::ReminderStore;
use crate::storage::connection::{Database, Tx, retried};
use crate::storage::errors::to_json;
use crate::storage::rows::{RowRef, values};
use crate::storage::sql::{pieces, sql};
use async_trait::async_trait;
use chrono::{DateTime, Utc};
use std::collections::BTreeMap;
use uuid::Uuid;

/// Rows of one statement that writes.
const ROWS: usize = 16;
/// Entries removed in one transaction.
const FORGOTTEN: i64 = 10_000;

/// Appends entries to feeds. Call this last in a transaction: it locks the feeds until the commit, so that no
/// other transaction appends meanwhile. Accounts are locked in the order of their ids, so that two
/// transactions never wait for each other in a circle.
pub(super) async fn append(tx: &mut Tx, entries: BTreeMap<AccountId, Vec<Reminder>>) -> Stored<usize> {
    let mut count = 0;
    for (account, mut entries) in entries {
        let mut query = sql("INSERT INTO feeds (account_id, last, forgotten) VALUES (");
        query.bind(account).push(", ").bind(entries.len() as i64).push(", 0) ON CONFLICT (account_id) ");
        query.push("DO UPDATE SET last = feeds.last + excluded.last RETURNING last, generation");
        let (last, generation) =
            tx.returning::<(i64, i64)>(query).await?.pop().unwrap_or((0, FIRST_GENERATION));
        for (entry, number) in entries.iter_mut().rev().zip((0..=last).rev()) {
            (entry.number, entry.generation) = (number, generation);
        }
        count += entries.len();
        let rows: Vec<(&Reminder, String)> =
            entries.iter().map(|entry| Ok((entry, to_json(entry)?))).collect::<Stored<_>>()?;
        for piece in pieces(&rows, ROWS) {
            let mut query = sql(
                "INSERT INTO reminders (account_id, number, raised_at, property_id, system_id, covers, entry) ",
            );
            query.bind_rows(piece, |row, (entry, text)| {
                row.on(account).on(entry.number).on(entry.raised_at).on(entry.property_id);
                row.on(entry.system_id).on(entry.bits()).on(text);
            });
            tx.run(query).await?;
        }
    }
    Ok(count)
}

#[async_trait]
impl ReminderStore for Database {
    async fn reminders(
        &self,
        account: AccountId,
        filter: &ReminderFilter,
        stretch: FeedRange,
    ) -> Stored<FeedPage> {
        let mut tx = self.begin_reading().await?;
        let feed = ends(&mut tx, account).await?;
        let FeedEnds { last, forgotten, generation } = feed;
        let after = stretch.after.unwrap_or(last).max(forgotten);
        let entries = between(&mut tx, account, filter, after, &feed, stretch.limit).await?;
        tx.commit().await?;
        Ok(FeedPage { entries, last, forgotten, generation })
    }

    async fn forget_reminders(&self, before: DateTime<Utc>) -> Stored<u64> {
        let query = sql("SELECT DISTINCT account_id FROM reminders WHERE raised_at < $1").on(before);
        let mut gone = 0;
        for (account,) in self.all::<(Uuid,)>(query).await? {
            loop {
                let some = retried(|| forget(self, AccountId(account), before)).await?;
                gone += some;
                if some < FORGOTTEN as u64 {
                    break;
                }
            }
        }
        Ok(gone)
    }
}

/// The ends of a feed; both are 0 while it is empty.
#[derive(sqlx::FromRow)]
struct FeedEnds {
    /// The number of the last entry.
    last: i64,
    /// The number of the last entry that was removed.
    forgotten: i64,
    /// A restored backup begins another one.
    generation: i64,
}

async fn ends(tx: &mut Tx, account: AccountId) -> Stored<FeedEnds> {
    let query = sql("SELECT last, forgotten, generation FROM feeds WHERE account_id = $1").on(account);
    Ok(tx.first(query).await?.unwrap_or(FeedEnds { last: 0, forgotten: 0, generation: FIRST_GENERATION }))
}

/// Entries of a feed with numbers above `after`.
async fn between(
    tx: &mut Tx,
    account: AccountId,
    filter: &ReminderFilter,
    after: i64,
    feed: &FeedEnds,
    limit: u32,
) -> Stored<Vec<Reminder>> {
    let through = feed.last;
    if after >= through {
        return Ok(Vec::new());
    }
    let mut query = sql("SELECT number, entry FROM reminders WHERE account_id = ");
    query.bind(account).push(" AND number > ").bind(after).push(" AND number <= ").bind(through);
    if let Some(property) = filter.property_id {
        query.push(" AND property_id = ").bind(property);
    }
    if let Some(system) = filter.system_id {
        query.push(" AND system_id = ").bind(system);
    }
    if !filter.kinds.is_empty() {
        query.push(" AND (covers & ").bind(bits(&filter.kinds)).push(") <> 0");
    }
    query.push(" ORDER BY number LIMIT ").bind(i64::from(limit));
    entries(account, feed.generation, tx.all(query).await?)
}

/// A run of entries of a feed.
pub(super) struct Stretch {
    /// The entries that the filter lets through.
    pub entries: Vec<Reminder>,
    /// The number of the last entry that was examined.
    pub through: i64,
}

/// A run of entries after a number.
pub(super) async fn stretch(
    tx: &mut Tx,
    account: AccountId,
    filter: &ReminderFilter,
    after: i64,
    limit: u32,
) -> Stored<Stretch> {
    let feed = ends(tx, account).await?;
    let FeedEnds { last, forgotten, .. } = feed;
    let entries = between(tx, account, filter, after.max(forgotten), &feed, limit).await?;
    let full = entries.len() >= limit as usize;
    let at = if full { entries.last().map_or(last, |entry| entry.number) } else { last };
    Ok(Stretch { entries, through: at.max(after) })
}

fn entries(account: AccountId, feed_generation: i64, rows: Vec<(i64, String)>) -> Stored<Vec<Reminder>> {
    let place = RowRef { table: "reminders", id: account.0 };
    values(rows, |(number, text)| {
        let entry: Reminder = place.json("entry", &text)?;
        Ok(Reminder { number, feed_generation, ..entry })
    })
}

/// Removes old entries of one feed, up to the first that is young enough. If the clock was set back, an older
/// entry may follow a younger one. Then the older one waits for the younger one.
async fn forget(database: &Database, account: AccountId, before: DateTime<Utc>) -> Stored<u64> {
    let mut tx = database.begin().await?;
    let mut query = sql("SELECT last, forgotten, generation FROM feeds WHERE account_id = ");
    query.bind(account).push(tx.for_update());
    let Some(FeedEnds { last, forgotten, .. }) = tx.first::<FeedEnds>(query).await? else { return Ok(0) };
    let query = sql("SELECT MIN(number) FROM reminders WHERE account_id = $1 AND raised_at >= $2");
    let young = tx.first::<(Option<i64>,)>(query.on(account).on(before)).await?.and_then(|(number,)| number);
    let through = young.map_or(last, |young| young - 1).min(forgotten + FORGOTTEN);
    let query = sql("DELETE FROM reminders WHERE account_id = $1 AND number <= $2").on(account).on(through);
    let gone = tx.run(query).await?;
    let query = sql("UPDATE feeds SET forgotten = $1 WHERE account_id = $2 AND forgotten < $3");
    tx.run(query.on(through).on(account).on(through)).await?;
    tx.commit().await?;
    Ok(gone)
}
