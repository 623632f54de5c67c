//! Calendar feeds.

use crate::domain::base::clock::MOST_AHEAD;
use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, CalendarId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::calendar::Calendar;
use crate::domain::model::quota::Counted;
use crate::domain::ports::store::calendars::CalendarStore;
use crate::storage::connection::Database;
use crate::storage::rows::{CalendarRow, values};
use crate::storage::sql::{Sql, sql};
use async_trait::async_trait;
use chrono::{DateTime, Utc};

const COLUMNS: &str =
    "id, account_id, property_id, name, horizon_days, hash, hint, created_at, last_read_at, revoked_at";

fn select() -> Sql {
    let mut query = sql("SELECT ");
    query.push(COLUMNS).push(" FROM calendars WHERE ");
    query
}

#[async_trait]
impl CalendarStore for Database {
    async fn insert_calendar(&self, calendar: &Calendar) -> Stored<Option<Calendar>> {
        let mut query = sql("INSERT INTO calendars (");
        query.push(COLUMNS).push(") ").bind_rows(&[calendar], |row, calendar| {
            row.on(calendar.id).on(calendar.account_id).on(calendar.property_id).on(&calendar.name);
            row.on(i64::from(calendar.horizon_days)).on(&calendar.hash).on(&calendar.hint);
            row.on(calendar.created_at).on(calendar.last_read_at).on(calendar.revoked_at);
        });
        query.push(" ON CONFLICT (id) DO UPDATE SET hash = excluded.hash, hint = excluded.hint \
                    WHERE calendars.account_id = excluded.account_id AND calendars.revoked_at IS NULL RETURNING ");
        query.push(COLUMNS);
        let mut tx = self.begin().await?;
        let stored = tx.returning::<CalendarRow>(query).await?.pop().map(CalendarRow::read).transpose()?;
        if stored.is_some() {
            self.within_quota(&mut tx, calendar.account_id, Counted::Calendars).await?;
        }
        tx.commit().await?;
        Ok(stored)
    }

    async fn calendars(
        &self,
        account: AccountId,
        page: &PageRequest<DateTime<Utc>>,
    ) -> Stored<Vec<Calendar>> {
        let mut query = select();
        query.push("account_id = ").bind(account);
        if let Some(after) = &page.after {
            query.push(" AND (created_at, id) > (").bind(after.key).push(", ").bind(after.id).push(")");
        }
        query.push(" ORDER BY created_at, id LIMIT ").bind(page.rows());
        values(self.all(query).await?, CalendarRow::read)
    }

    async fn revoke_calendar(&self, account: AccountId, id: CalendarId, now: DateTime<Utc>) -> Stored<bool> {
        let query = sql(
            "UPDATE calendars SET revoked_at = COALESCE(revoked_at, $1) WHERE account_id = $2 AND id = $3",
        );
        Ok(self.run(query.on(now).on(account).on(id)).await? > 0)
    }

    async fn calendar_by_hash(&self, hash: &[u8; 32]) -> Stored<Option<Calendar>> {
        let mut query = select();
        query.push("hash = ").bind(hash);
        self.first::<CalendarRow>(query).await?.map(CalendarRow::read).transpose()
    }

    async fn calendar_was_read(&self, id: CalendarId, now: DateTime<Utc>) -> Stored<()> {
        let query = sql("UPDATE calendars SET last_read_at = $1 WHERE id = $2 \
             AND (COALESCE(last_read_at, $1) <= $1 OR last_read_at > $3)");
        self.run(query.on(now).on(id).on(now + MOST_AHEAD)).await.map(drop)
    }
}
