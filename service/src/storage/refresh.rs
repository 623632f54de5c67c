//! The work of refreshing: who takes which system, and what is written in the end.
//!
//! A system is stale from `refresh_at` on: 0 once its inputs have changed, else the end of the local day it was last
//! refreshed for. A claim holds it until `held_until`; a claimer that dies loses it then.

use crate::domain::ids::{AccountId, SystemId, TaskId};
use crate::domain::store::{Refreshed, StaleSystem, Stored};
use crate::domain::task::Task;
use crate::storage::connection::{Database, Tx};
use crate::storage::errors::to_json;
use crate::storage::sql::{pieces, sql};
use chrono::{DateTime, Utc};
use std::collections::{BTreeMap, HashMap, HashSet};
use uuid::Uuid;

/// Rows of one statement that writes. Longer ones cost more: SQLite's driver looks every value up by its name, among all
/// names before it.
const ROWS: usize = 16;
/// Systems of one statement that reads or locks.
const SYSTEMS: usize = 256;

pub(super) async fn claim(
    database: &Database,
    now: DateTime<Utc>,
    until: DateTime<Utc>,
    limit: u32,
) -> Stored<Vec<StaleSystem>> {
    let mut tx = database.begin().await?;
    let mut query = sql("WITH picked AS MATERIALIZED (SELECT id FROM systems WHERE refresh_at <= ");
    query.bind(now).push(" AND held_until <= ").bind(now);
    query.push(" ORDER BY refresh_at, gauge_id, id LIMIT ").bind(i64::from(limit));
    query.push(tx.for_whoever_comes_first());
    query.push(") UPDATE systems SET held_version = inputs_version, held_until = ").bind(until);
    query.push(" WHERE id IN (SELECT id FROM picked) RETURNING gauge_id, account_id, id, inputs_version");
    let mut rows = tx.all::<(Uuid, Uuid, Uuid, i64)>(query).await?;
    tx.commit().await?;
    rows.sort_unstable();
    let claims = rows.into_iter().map(|(_, account, system, inputs_version)| StaleSystem {
        account_id: AccountId(account),
        system_id: SystemId(system),
        inputs_version,
    });
    Ok(claims.collect())
}

/// Where the refreshing of a system stands.
#[derive(sqlx::FromRow)]
struct Progress {
    id: Uuid,
    account_id: Uuid,
    inputs_version: i64,
    refreshed_version: i64,
    next_at: i64,
}

impl Progress {
    /// Whether a refresh is at least as new as the one that was written last. Two on the same inputs differ when the day
    /// ended between them.
    fn takes(&self, refreshed: &Refreshed) -> bool {
        let offered = (refreshed.claim.inputs_version, refreshed.next_at.timestamp_micros());
        self.account_id == refreshed.claim.account_id.0 && offered >= (self.refreshed_version, self.next_at)
    }
}

/// Locks systems by id and reads where they stand.
async fn lock(tx: &mut Tx, ids: &[SystemId]) -> Stored<Vec<Progress>> {
    let mut all = Vec::with_capacity(ids.len());
    for piece in ids.chunks(SYSTEMS) {
        let mut query =
            sql("SELECT id, account_id, inputs_version, refreshed_version, next_at FROM systems \
             WHERE id IN ");
        query.bind_list(piece).push(" ORDER BY id").push(tx.for_change());
        all.append(&mut tx.all(query).await?);
    }
    Ok(all)
}

pub(super) async fn finish(database: &Database, refreshed: &[Refreshed]) -> Stored<()> {
    // By id, each system once: the newest of several.
    let mut offered: BTreeMap<SystemId, &Refreshed> = BTreeMap::new();
    for one in refreshed {
        let place = offered.entry(one.claim.system_id).or_insert(one);
        if (one.claim.inputs_version, one.next_at) > (place.claim.inputs_version, place.next_at) {
            *place = one;
        }
    }
    if offered.is_empty() {
        return Ok(());
    }
    let mut tx = database.begin().await?;
    let ids: Vec<SystemId> = offered.keys().copied().collect();
    let mut taken: Vec<(Progress, &Refreshed)> = Vec::with_capacity(ids.len());
    for progress in lock(&mut tx, &ids).await? {
        if let Some(refreshed) = offered.get(&SystemId(progress.id)).filter(|one| progress.takes(one)) {
            taken.push((progress, refreshed));
        }
    }
    if taken.is_empty() {
        return Ok(());
    }
    let tasks: Vec<&Task> = taken.iter().flat_map(|(_, one)| &one.tasks).collect();
    remove_others(&mut tx, &taken, &tasks).await?;
    write_tasks(&mut tx, &tasks).await?;
    write_statuses(&mut tx, &taken).await?;
    write_progress(&mut tx, &taken).await?;
    tx.commit().await
}

/// Removes the rows of these systems that are not written anew. Usually there are none.
async fn remove_others(tx: &mut Tx, taken: &[(Progress, &Refreshed)], tasks: &[&Task]) -> Stored<()> {
    let mut by_account: HashMap<AccountId, Vec<SystemId>> = HashMap::new();
    for (_, one) in taken {
        by_account.entry(one.claim.account_id).or_default().push(one.claim.system_id);
    }
    let written: HashSet<TaskId> = tasks.iter().map(|task| task.id).collect();
    let mut gone: Vec<TaskId> = Vec::new();
    for (account, systems) in by_account {
        for piece in systems.chunks(SYSTEMS) {
            let mut query = sql("SELECT id FROM tasks WHERE account_id = ");
            query.bind(account).push(" AND system_id IN ").bind_list(piece);
            let stored = tx.all::<(Uuid,)>(query).await?;
            gone.extend(stored.into_iter().map(|(id,)| TaskId(id)).filter(|id| !written.contains(id)));
        }
    }
    for piece in gone.chunks(SYSTEMS) {
        let mut query = sql("DELETE FROM tasks WHERE id IN ");
        query.bind_list(piece);
        tx.run(query).await?;
    }
    Ok(())
}

async fn write_tasks(tx: &mut Tx, tasks: &[&Task]) -> Stored<()> {
    for piece in pieces(tasks, ROWS) {
        let mut rows = Vec::with_capacity(piece.len());
        for task in piece {
            rows.push((task, to_json(&task.forecast)?));
        }
        let mut query =
            sql("INSERT INTO tasks (id, account_id, property_id, system_id, component_id, kind, duty, \
             state, sort_on, forecast, as_of, refreshed_at) ");
        query.bind_rows(&rows, |row, (task, forecast)| {
            row.on(task.id).on(task.account_id).on(task.property_id).on(task.system_id).on(task.component_id);
            row.on(task.kind.code()).on(task.duty.code()).on(task.state.code()).on(task.sort_on());
            row.on(forecast).on(task.as_of).on(task.refreshed_at);
        });
        query.push(
            " ON CONFLICT (id) DO UPDATE SET property_id = excluded.property_id, system_id = excluded.system_id, \
             kind = excluded.kind, state = excluded.state, sort_on = excluded.sort_on, \
             forecast = excluded.forecast, as_of = excluded.as_of, refreshed_at = excluded.refreshed_at",
        );
        tx.run(query).await?;
    }
    Ok(())
}

async fn write_statuses(tx: &mut Tx, taken: &[(Progress, &Refreshed)]) -> Stored<()> {
    for piece in pieces(taken, ROWS) {
        let mut rows = Vec::with_capacity(piece.len());
        for (_, one) in piece {
            rows.push((one.claim, to_json(&one.status)?));
        }
        let mut query = sql("INSERT INTO statuses (system_id, account_id, status) ");
        query.bind_rows(&rows, |row, (claim, status)| {
            row.on(claim.system_id).on(claim.account_id).on(status);
        });
        query.push(" ON CONFLICT (system_id) DO UPDATE SET status = excluded.status");
        tx.run(query).await?;
    }
    Ok(())
}

async fn write_progress(tx: &mut Tx, taken: &[(Progress, &Refreshed)]) -> Stored<()> {
    for piece in pieces(taken, ROWS) {
        // Both databases name the columns of VALUES like this.
        let mut query = sql("UPDATE systems SET refreshed_version = done.column2, next_at = done.column3, \
             refresh_at = done.column4, \
             held_until = CASE WHEN held_version = done.column2 THEN 0 ELSE held_until END FROM (");
        query.bind_rows(piece, |row, (progress, one)| {
            let claim = one.claim;
            let changed = progress.inputs_version != claim.inputs_version;
            let refresh_at = if changed { 0 } else { one.next_at.timestamp_micros() };
            row.on(claim.system_id).on(claim.inputs_version).on(one.next_at).on(refresh_at);
        });
        query.push(") AS done WHERE systems.id = done.column1");
        tx.run(query).await?;
    }
    Ok(())
}

pub(super) async fn release(database: &Database, claims: &[StaleSystem], at: DateTime<Utc>) -> Stored<()> {
    if claims.is_empty() {
        return Ok(());
    }
    let mut tx = database.begin().await?;
    let mut ids: Vec<SystemId> = claims.iter().map(|claim| claim.system_id).collect();
    ids.sort_unstable();
    ids.dedup();
    lock(&mut tx, &ids).await?;
    for piece in pieces(claims, ROWS) {
        // Only where the claim still stands: not where another has it by now, or has refreshed it.
        let mut query = sql("UPDATE systems SET held_until = ");
        query.bind(at).push(" FROM (").bind_rows(piece, |row, claim| {
            row.on(claim.system_id).on(claim.account_id).on(claim.inputs_version);
        });
        query.push(") AS given WHERE systems.id = given.column1 AND systems.account_id = given.column2");
        query.push(" AND systems.held_version = given.column3 AND systems.held_until > 0");
        tx.run(query).await?;
    }
    tx.commit().await
}
