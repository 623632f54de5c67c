//! Reads tasks and statuses. [`super::refresh`] writes them.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, SystemId, TaskId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::duty::Duty;
use crate::domain::model::status::Polled;
use crate::domain::model::task::{Counted, MovedTask, NO_DATE, State, Task, TaskCount, TaskFilter};
use crate::domain::ports::store::tasks::{Refreshed, StaleSystem, TaskStore};
use crate::storage::connection::{Database, retried};
use crate::storage::packed::Unpacked;
use crate::storage::refresh;
use crate::storage::rows::{RowRef, TaskRow, values};
use crate::storage::sql::{Sql, sql};
use async_trait::async_trait;
use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

/// Names and the property are joined in: they may change at any time, and a task row is written only when the
/// task changes.
const SELECT: &str = "SELECT t.id, t.account_id, s.property_id, t.system_id, t.component_id, t.kind, t.duty, t.state, \
                      t.sort_on, t.line, t.sequence, t.date_changed_at, f.as_of, f.refreshed_at, f.packed, p.name AS property_name, \
                      s.name AS system_name FROM (SELECT * FROM tasks WHERE ";
const BESIDE: &str = ") t JOIN systems s ON s.id = t.system_id JOIN properties p ON p.id = s.property_id \
                      JOIN forecasts f ON f.system_id = t.system_id ORDER BY t.sort_on, t.id";

fn filter(query: &mut Sql, account: AccountId, filter: &TaskFilter, page: &PageRequest<NaiveDate>) {
    if filter.property_id.is_none() && filter.system_id.is_none() {
        query.push("account_id = ").bind(account);
    } else {
        // Not by the task's own `account_id`: SQLite would then walk all tasks of the account.
        query.push("system_id IN (SELECT id FROM systems WHERE account_id = ").bind(account);
        if let Some(property) = filter.property_id {
            query.push(" AND property_id = ").bind(property);
        }
        if let Some(system) = filter.system_id {
            query.push(" AND id = ").bind(system);
        }
        query.push(")");
    }
    if let Some(kind) = filter.kind {
        query.push(" AND kind = ").bind(kind.code());
    }
    if !filter.states.is_empty() {
        let states: Vec<&str> = filter.states.iter().map(|state| state.code()).collect();
        query.push(" AND state IN ").bind_list(&states);
    }
    // Only the higher of the two lower bounds: SQLite uses the first bound that it meets to walk the index.
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

fn listed(account: AccountId, asked: &TaskFilter, page: &PageRequest<NaiveDate>) -> Sql {
    let mut query = sql(SELECT);
    filter(&mut query, account, asked, page);
    // The page is cut before the joins, so that a database cannot begin with the names.
    query.push(" ORDER BY sort_on, id LIMIT ").bind(page.rows()).push(BESIDE);
    query
}

/// The tasks with these ids that belong to the account.
pub(super) async fn by_id(database: &Database, account: AccountId, ids: &[TaskId]) -> Stored<Vec<Task>> {
    if ids.is_empty() {
        return Ok(Vec::new());
    }
    let mut query = sql(SELECT);
    query.push("account_id = ").bind(account).push(" AND id IN ").bind_list(ids).push(BESIDE);
    values(database.all(query).await?, TaskRow::read)
}

#[async_trait]
impl TaskStore for Database {
    async fn tasks(
        &self,
        account: AccountId,
        asked: &TaskFilter,
        page: &PageRequest<NaiveDate>,
    ) -> Stored<Vec<Task>> {
        values(self.all(listed(account, asked, page)).await?, TaskRow::read)
    }

    async fn moved_tasks(
        &self,
        account: AccountId,
        asked: &TaskFilter,
        page: &PageRequest<NaiveDate>,
    ) -> Stored<Vec<MovedTask>> {
        values(self.all(listed(account, asked, page)).await?, |row: TaskRow| {
            let moves = row.moves()?;
            Ok(MovedTask { task: row.read()?, moves })
        })
    }

    async fn count_tasks(&self, account: AccountId, asked: &TaskFilter) -> Stored<Counted> {
        let all = PageRequest { after: None, limit: 1 };
        let mut by = sql("SELECT state, duty, COUNT(*) FROM tasks WHERE ");
        filter(&mut by, account, asked, &all);
        by.push(" GROUP BY state, duty");
        let mut places = sql("SELECT COUNT(DISTINCT s.id), COUNT(DISTINCT s.property_id) FROM systems s \
             WHERE s.id IN (SELECT system_id FROM tasks WHERE ");
        filter(&mut places, account, asked, &all);
        places.push(")");
        let mut tx = self.begin_reading().await?;
        let rows = tx.all::<(String, String, i64)>(by).await?;
        let (systems, properties) = tx.first::<(i64, i64)>(places).await?.unwrap_or_default();
        tx.commit().await?;
        let place = RowRef { table: "tasks", id: account.0 };
        let tasks = values(rows, |(state, duty, count)| {
            Ok(TaskCount {
                state: place.word("state", State::parse(&state))?,
                duty: place.word("duty", Duty::parse(&duty))?,
                count: count.unsigned_abs(),
            })
        })?;
        Ok(Counted { tasks, systems: systems.unsigned_abs(), properties: properties.unsigned_abs() })
    }

    async fn task(&self, account: AccountId, id: TaskId) -> Stored<Option<Task>> {
        let mut query = sql(SELECT);
        query.push("account_id = ").bind(account).push(" AND id = ").bind(id).push(BESIDE);
        self.first::<TaskRow>(query).await?.map(TaskRow::read).transpose()
    }

    async fn status(&self, account: AccountId, system: SystemId) -> Stored<Option<Polled>> {
        let mut tx = self.begin_reading().await?;
        let query = sql(
            "SELECT f.packed, f.as_of, s.name, r.next_at, r.inputs_version = r.refreshed_version \
             FROM forecasts f JOIN systems s ON s.id = f.system_id JOIN refreshes r ON r.system_id = f.system_id \
             WHERE f.system_id = $1 AND s.account_id = $2",
        );
        let found = tx.first::<(Vec<u8>, i64, String, i64, bool)>(query.on(system).on(account)).await?;
        let Some((packed, as_of, name, next_at, up_to_date)) = found else { return Ok(None) };
        let query = sql("SELECT line, id FROM tasks WHERE system_id = $1").on(system);
        let ids = tx.all::<(i64, Uuid)>(query).await?;
        tx.commit().await?;
        let ids = ids.into_iter().map(|(line, id)| (line as usize, TaskId(id))).collect();
        let as_of = RowRef { table: "forecasts", id: system.0 }.date("as_of", as_of)?;
        let next_at = RowRef { table: "refreshes", id: system.0 }.instant("next_at", next_at)?;
        let status = Unpacked::of(&packed, system.0)?.status(system, name, as_of, &ids)?;
        Ok(Some(Polled { status, ends_at: up_to_date.then_some(next_at) }))
    }

    async fn claim_stale(
        &self,
        now: DateTime<Utc>,
        until: DateTime<Utc>,
        limit: u32,
    ) -> Stored<Vec<StaleSystem>> {
        refresh::claim(self, now, until, limit).await
    }

    async fn finish_refresh(&self, refreshed: &[Refreshed], now: DateTime<Utc>) -> Stored<usize> {
        let offered = tracing::debug_span!("pack").in_scope(|| refresh::offered(refreshed, now))?;
        retried(|| refresh::finish(self, &offered, now)).await
    }

    async fn renew_stale(
        &self,
        claims: &[StaleSystem],
        now: DateTime<Utc>,
        until: DateTime<Utc>,
    ) -> Stored<()> {
        refresh::WORK.hold(self, &refresh::held(claims), now, until, true).await
    }

    async fn release_stale(
        &self,
        claims: &[StaleSystem],
        now: DateTime<Utc>,
        at: DateTime<Utc>,
    ) -> Stored<()> {
        refresh::WORK.hold(self, &refresh::held(claims), now, at, false).await
    }

    async fn stale_held_until(&self, now: DateTime<Utc>) -> Stored<Option<DateTime<Utc>>> {
        let stale = |query: &mut Sql| {
            query.push("refresh_at <= ").bind(now);
        };
        refresh::WORK.held_until(self, now, stale).await
    }

    async fn stale_count(&self, now: DateTime<Utc>) -> Stored<i64> {
        let query = sql("SELECT COUNT(*) FROM refreshes WHERE refresh_at <= $1 AND model_version <= $2");
        let query = query.on(now).on(self.model_version);
        Ok(self.first::<(i64,)>(query).await?.unwrap_or_default().0)
    }
}
