//! Tasks and statuses as they are read. How they are written is in [`super::refresh`].

use crate::domain::ids::{AccountId, SystemId, TaskId};
use crate::domain::paging::PageAsked;
use crate::domain::status::Status;
use crate::domain::store::{Refreshed, StaleSystem, Stored, TaskFilter, TaskStore};
use crate::domain::task::{NO_DATE, Task};
use crate::storage::connection::{Database, retried};
use crate::storage::errors::from_json;
use crate::storage::refresh;
use crate::storage::rows::{TaskRow, values};
use crate::storage::sql::{Sql, sql};
use async_trait::async_trait;
use chrono::{DateTime, NaiveDate, Utc};

/// Names are read from where they stand: a task is written once a day, a name may change at any time.
const SELECT: &str = "SELECT t.id, t.account_id, t.property_id, t.system_id, t.component_id, t.kind, t.duty, t.state, \
                      t.sort_on, t.forecast, t.as_of, t.refreshed_at, p.name AS property_name, s.name AS system_name \
                      FROM (SELECT * FROM tasks WHERE account_id = ";
const NAMES: &str = ") t JOIN systems s ON s.id = t.system_id JOIN properties p ON p.id = t.property_id \
                     ORDER BY t.sort_on, t.id";

fn filter(query: &mut Sql, filter: &TaskFilter, page: &PageAsked<NaiveDate>) {
    if let Some(property) = filter.property_id {
        query.push(" AND property_id = ").bind(property);
    }
    if let Some(system) = filter.system_id {
        query.push(" AND system_id = ").bind(system);
    }
    if let Some(kind) = filter.kind {
        query.push(" AND kind = ").bind(kind.code());
    }
    if !filter.states.is_empty() {
        let states: Vec<&str> = filter.states.iter().map(|state| state.code()).collect();
        query.push(" AND state IN ").bind_list(&states);
    }
    // One lower bound only, the higher of the two: SQLite walks the index by the first that it meets.
    let after = page.after.as_ref().filter(|after| filter.from.is_none_or(|from| after.key >= from));
    match (after, filter.from) {
        (Some(after), _) => {
            query.push(" AND (sort_on, id) > (").bind(after.key).push(", ").bind(after.id).push(")");
        }
        (None, Some(from)) => {
            query.push(" AND sort_on >= ").bind(from);
        }
        (None, None) => {}
    }
    match filter.to.filter(|to| *to < NO_DATE) {
        Some(to) => {
            query.push(" AND sort_on <= ").bind(to);
        }
        None if filter.from.is_some() || filter.to.is_some() => {
            query.push(" AND sort_on < ").bind(NO_DATE);
        }
        None => {}
    }
}

#[async_trait]
impl TaskStore for Database {
    async fn tasks(
        &self,
        account: AccountId,
        asked: &TaskFilter,
        page: &PageAsked<NaiveDate>,
    ) -> Stored<Vec<Task>> {
        let mut query = sql(SELECT);
        query.bind(account);
        filter(&mut query, asked, page);
        // The page is cut before the names are looked up, so that a database cannot begin with the names.
        query.push(" ORDER BY sort_on, id LIMIT ").bind(page.rows()).push(NAMES);
        values(self.all(query).await?, TaskRow::read)
    }

    async fn task(&self, account: AccountId, id: TaskId) -> Stored<Option<Task>> {
        let mut query = sql(SELECT);
        query.bind(account).push(" AND id = ").bind(id).push(NAMES);
        self.first::<TaskRow>(query).await?.map(TaskRow::read).transpose()
    }

    async fn status(&self, account: AccountId, system: SystemId) -> Stored<Option<Status>> {
        let query = sql("SELECT statuses.status, systems.name FROM statuses \
             JOIN systems ON systems.id = statuses.system_id \
             WHERE statuses.system_id = $1 AND systems.account_id = $2");
        let Some((text, name)) = self.first::<(String, String)>(query.on(system).on(account)).await? else {
            return Ok(None);
        };
        let status: Status = from_json(&text, "statuses", "status", &system)?;
        Ok(Some(Status { system_name: name, ..status }))
    }

    async fn claim_stale(
        &self,
        now: DateTime<Utc>,
        until: DateTime<Utc>,
        limit: u32,
    ) -> Stored<Vec<StaleSystem>> {
        refresh::claim(self, now, until, limit).await
    }

    async fn finish_refresh(&self, refreshed: &[Refreshed], _now: DateTime<Utc>) -> Stored<()> {
        // Each task carries the instant it was computed at.
        retried(|| refresh::finish(self, refreshed)).await
    }

    async fn release_stale(&self, claims: &[StaleSystem], at: DateTime<Utc>) -> Stored<()> {
        retried(|| refresh::release(self, claims, at)).await
    }

    async fn stale_count(&self, now: DateTime<Utc>) -> Stored<i64> {
        let query = sql("SELECT COUNT(*) FROM systems WHERE refresh_at <= $1").on(now);
        Ok(self.first::<(i64,)>(query).await?.unwrap_or_default().0)
    }
}
