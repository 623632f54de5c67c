//! The work of refreshing: claims stale systems and writes the results.
//!
//! A system is stale from `refresh_at` on. That is 0 once its inputs have changed, else the end of the local
//! day of its last refresh. A claim holds the system as [`super::leases`] says.
//!
//! Most results of a refresh change every day. They go into one packed row for each system
//! ([`super::packed`]). A task's own row holds only what tasks are filtered and sorted by. It is written only
//! when that changes.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, ClaimId, ComponentId, SystemId, TaskId};
use crate::domain::model::duty::Duty;
use crate::domain::model::part::Kind;
use crate::domain::model::reminder::{Reminder, ReminderState, RemovedTask};
use crate::domain::model::task::Task;
use crate::domain::ports::store::tasks::{Refreshed, StaleSystem};
use crate::domain::rules::reminders::decide::decide;
use crate::domain::rules::reminders::entries;
use crate::domain::rules::reminders::inputs::ReminderInputs;
use crate::storage::connection::{Database, Tx};
use crate::storage::errors::to_json;
use crate::storage::leases::{Held, NOBODY, Work, free};
use crate::storage::packed::{lined, pack};
use crate::storage::reminders::append;
use crate::storage::removed_tasks::{self, RemovedTaskRow};
use crate::storage::rows::StoredTask;
use crate::storage::sql::{pieces, sql};
use chrono::{DateTime, NaiveDate, Utc};
use std::collections::{BTreeMap, HashMap, HashSet};
use tracing::Instrument as _;
use uuid::Uuid;

/// Rows of one statement that writes. Longer statements cost more: SQLite's driver looks up each value by its
/// name among all names before it.
const ROWS: usize = 16;
/// Systems of one statement that reads or locks.
const SYSTEMS: usize = 64;

pub(super) const WORK: Work = Work { table: "refreshes", id: "system_id" };

/// The rows of claimed systems.
pub(super) fn held(claims: &[StaleSystem]) -> Vec<Held> {
    claims.iter().map(|claim| (claim.system_id.0, claim.held_by)).collect()
}

pub(super) async fn claim(
    database: &Database,
    now: DateTime<Utc>,
    until: DateTime<Utc>,
    limit: u32,
) -> Stored<Vec<StaleSystem>> {
    let (mut tx, held_by) = (database.begin().await?, ClaimId::new());
    let mut query = sql("WITH picked AS MATERIALIZED (SELECT system_id FROM refreshes WHERE refresh_at <= ");
    query.bind(now).push(" AND model_version <= ").bind(database.model_version).push(" AND ");
    free(&mut query, now);
    query.push(" ORDER BY refresh_at, gauge_id, system_id LIMIT ").bind(i64::from(limit));
    query.push(tx.skip_locked());
    query.push(") UPDATE refreshes SET held_until = ").bind(until).push(", held_at = ").bind(now);
    query.push(", held_by = ").bind(held_by).push(" WHERE system_id IN (SELECT system_id FROM picked) ");
    query.push("RETURNING gauge_id, account_id, system_id, inputs_version");
    let mut rows = tx.returning::<(Uuid, Uuid, Uuid, i64)>(query).await?;
    tx.commit().await?;
    rows.sort_unstable();
    let claims = rows.into_iter().map(|(_, account, system, inputs_version)| StaleSystem {
        account_id: AccountId(account),
        system_id: SystemId(system),
        inputs_version,
        held_by,
    });
    Ok(claims.collect())
}

/// The result of refreshing one system, ready to be written.
pub(super) struct OfferedRefresh<'a> {
    claim: StaleSystem,
    day_at: DateTime<Utc>,
    next_at: DateTime<Utc>,
    as_of: NaiveDate,
    refreshed_at: DateTime<Utc>,
    /// In the order of their lines.
    tasks: Vec<&'a Task>,
    packed: Vec<u8>,
    reminders: &'a ReminderInputs,
}

/// Prepares the results of a refresh at `now`: one for each system, in the order of their ids. Of several for
/// one system, the newest.
pub(super) fn offered(refreshed: &[Refreshed], now: DateTime<Utc>) -> Stored<Vec<OfferedRefresh<'_>>> {
    let mut newest: BTreeMap<SystemId, &Refreshed> = BTreeMap::new();
    for one in refreshed {
        let place = newest.entry(one.claim.system_id).or_insert(one);
        if (one.claim.inputs_version, one.next_at) > (place.claim.inputs_version, place.next_at) {
            *place = one;
        }
    }
    let ready = newest.into_values().map(|one| {
        let tasks = lined(&one.tasks);
        let packed = pack(&one.status, &tasks)?;
        Ok(OfferedRefresh {
            claim: one.claim,
            day_at: one.day_at,
            next_at: one.next_at,
            as_of: one.status.as_of,
            // Each task carries the instant at which it was computed, the same for all tasks of a system.
            refreshed_at: tasks.first().map_or(now, |task| task.refreshed_at),
            tasks,
            packed,
            reminders: &one.reminders,
        })
    });
    ready.collect()
}

/// Writes the results. Returns how many entries were appended to the feeds.
pub(super) async fn finish(
    database: &Database,
    offered: &[OfferedRefresh<'_>],
    now: DateTime<Utc>,
) -> Stored<usize> {
    if offered.is_empty() {
        return Ok(0);
    }
    let mut tx = database.begin().instrument(tracing::debug_span!("wait to write")).await?;
    let told = write(&mut tx, offered, database.model_version, now)
        .instrument(tracing::debug_span!("write"))
        .await?;
    tx.commit().instrument(tracing::debug_span!("commit")).await?;
    Ok(told)
}

async fn write(
    tx: &mut Tx,
    offered: &[OfferedRefresh<'_>],
    model_version: i64,
    now: DateTime<Utc>,
) -> Stored<usize> {
    lock(tx, offered.iter().map(|one| one.claim.system_id).collect()).await?;
    let taken = write_progress(tx, offered, model_version).await?;
    let entries = write_tasks(tx, &taken, now).await?;
    write_forecasts(tx, &taken).await?;
    append(tx, entries).await
}

/// Locks the `refreshes` rows of systems in the order of their ids, if the database can lock single rows.
async fn lock(tx: &mut Tx, mut ids: Vec<SystemId>) -> Stored<()> {
    if !tx.has_row_locks() {
        return Ok(());
    }
    ids.sort_unstable();
    ids.dedup();
    for piece in ids.chunks(SYSTEMS) {
        let mut query = sql("SELECT system_id FROM refreshes WHERE system_id IN ");
        query.bind_list(piece).push(" ORDER BY system_id").push(tx.for_update());
        tx.all::<(Uuid,)>(query).await?;
    }
    Ok(())
}

/// Notes how far systems are refreshed. Returns the results whose claim still holds and that are at least as
/// new as what was written last. Two results from the same inputs differ if the local day ended between them.
async fn write_progress<'a>(
    tx: &mut Tx,
    offered: &'a [OfferedRefresh<'a>],
    model_version: i64,
) -> Stored<Vec<&'a OfferedRefresh<'a>>> {
    let mut taken: HashSet<Uuid> = HashSet::with_capacity(offered.len());
    for piece in pieces(offered, ROWS) {
        // Both databases name the columns of VALUES `column1`, `column2` and so on.
        let mut query =
            sql("UPDATE refreshes SET refreshed_version = done.column3, next_at = done.column4, \
             refresh_at = CASE WHEN inputs_version = done.column3 THEN done.column4 ELSE 0 END, \
             day_at = done.column5, held_until = 0, held_by = ");
        query.bind(NOBODY).push(", model_version = ").bind(model_version).push(" FROM (").bind_rows(
            piece,
            |row, one| {
                row.on(one.claim.system_id)
                    .on(one.claim.account_id)
                    .on(one.claim.inputs_version)
                    .on(one.next_at);
                row.on(one.day_at).on(one.claim.held_by);
            },
        );
        query.push(
            ") AS done WHERE refreshes.system_id = done.column1 AND refreshes.account_id = done.column2 \
             AND held_by = done.column6 AND (refreshed_version < done.column3 \
             OR refreshed_version = done.column3 AND next_at <= done.column4) RETURNING refreshes.system_id",
        );
        taken.extend(tx.returning::<(Uuid,)>(query).await?.into_iter().map(|(id,)| id));
    }
    Ok(offered.iter().filter(|one| taken.contains(&one.claim.system_id.0)).collect())
}

/// A task row to be written.
struct Changed<'a> {
    task: &'a Task,
    line: i64,
    state: ReminderState,
    /// For a task that returns: the next number in the count of its date changes. For others 0.
    sequence: i64,
}

/// Writes the rows of new and changed tasks and removes those of tasks that are gone. Returns the reminders
/// to append.
async fn write_tasks(
    tx: &mut Tx,
    taken: &[&OfferedRefresh<'_>],
    now: DateTime<Utc>,
) -> Stored<BTreeMap<AccountId, Vec<Reminder>>> {
    let mut stored = read_tasks(tx, taken).await?;
    let is_new = |one: &&OfferedRefresh<'_>, task: &Task| {
        stored.get(&one.claim.system_id).is_none_or(|there| !there.contains_key(&task.id))
    };
    let new = taken.iter().flat_map(|one| one.tasks.iter().filter(|task| is_new(one, task)));
    let new: Vec<TaskId> = new.map(|task| task.id).collect();
    let back = removed_tasks::take(tx, &new).await?;
    let mut entries: BTreeMap<AccountId, Vec<Reminder>> = BTreeMap::new();
    let mut changed: Vec<Changed<'_>> = Vec::new();
    let mut gone: Vec<(&OfferedRefresh<'_>, StoredTask)> = Vec::new();
    for &one in taken {
        let mut there = stored.remove(&one.claim.system_id).unwrap_or_default();
        let told = entries.entry(one.claim.account_id).or_default();
        for (&task, line) in one.tasks.iter().zip(1_i64..) {
            let row = there.remove(&task.id);
            let gone = back.get(&task.id);
            let before = match (&row, gone) {
                (Some(row), _) => row.known.state(row.place(), row.sort_on)?,
                (None, Some(gone)) => gone.state()?,
                (None, None) => ReminderState::default(),
            };
            let (state, raised) = decide(&before, &one.reminders.snapshot(task));
            let same = row.is_some_and(|row| {
                let due = i64::from(task.sort_on().to_epoch_days());
                row.state == task.state.code() && row.sort_on == due && row.line == line && before == state
            });
            if !same {
                let sequence = gone.map_or(0, |gone| gone.sequence + 1);
                changed.push(Changed { task, line, state, sequence });
            }
            told.extend(raised.into_iter().map(|raised| entries::of_task(task, raised, now)));
        }
        gone.extend(there.into_values().map(|row| (one, row)));
    }
    put_tasks(tx, &changed, now).await?;
    for (account, entry) in remove_tasks(tx, gone, now).await? {
        entries.entry(account).or_default().push(entry);
    }
    entries.retain(|_, entries| !entries.is_empty());
    Ok(entries)
}

async fn read_tasks(
    tx: &mut Tx,
    taken: &[&OfferedRefresh<'_>],
) -> Stored<HashMap<SystemId, BTreeMap<TaskId, StoredTask>>> {
    #[derive(sqlx::FromRow)]
    struct OfSystem {
        system_id: Uuid,
        #[sqlx(flatten)]
        task: StoredTask,
    }
    let mut stored: HashMap<SystemId, BTreeMap<TaskId, StoredTask>> = HashMap::new();
    let systems: Vec<SystemId> = taken.iter().map(|one| one.claim.system_id).collect();
    for piece in systems.chunks(SYSTEMS) {
        let mut query = sql(
            "SELECT system_id, id, component_id, kind, duty, state, sort_on, sequence, line, since_on, told, \
             done_by, done_on FROM tasks WHERE system_id IN ",
        );
        query.bind_list(piece);
        for OfSystem { system_id, task } in tx.all::<OfSystem>(query).await? {
            stored.entry(SystemId(system_id)).or_default().insert(TaskId(task.id), task);
        }
    }
    Ok(stored)
}

async fn put_tasks(tx: &mut Tx, changed: &[Changed<'_>], now: DateTime<Utc>) -> Stored<()> {
    let told: Vec<Option<String>> =
        changed.iter().map(|one| one.state.told.as_ref().map(to_json).transpose()).collect::<Stored<_>>()?;
    let rows: Vec<(&Changed<'_>, &Option<String>)> = changed.iter().zip(&told).collect();
    for piece in pieces(&rows, ROWS) {
        let mut query = sql(
            "INSERT INTO tasks (id, account_id, system_id, component_id, kind, duty, state, sort_on, line, \
             since_on, told, done_by, done_on, sequence, date_changed_at) ",
        );
        query.bind_rows(piece, |row, (Changed { task, line, state, sequence }, told)| {
            row.on(task.id).on(task.account_id).on(task.system_id).on(task.component_id);
            row.on(task.kind.code()).on(task.duty.code()).on(task.state.code()).on(task.sort_on()).on(*line);
            row.on(state.since).on(told.as_deref());
            row.on(state.done.map(|done| done.visit)).on(state.done.map(|done| done.on));
            row.on(*sequence).on(now);
        });
        // The other columns follow from the id and never change.
        query.push(
            " ON CONFLICT (id) DO UPDATE SET state = excluded.state, sort_on = excluded.sort_on, \
             line = excluded.line, since_on = excluded.since_on, told = excluded.told, \
             done_by = excluded.done_by, done_on = excluded.done_on, \
             sequence = tasks.sequence + CASE WHEN tasks.sort_on = excluded.sort_on THEN 0 ELSE 1 END, \
             date_changed_at = CASE WHEN tasks.sort_on = excluded.sort_on THEN tasks.date_changed_at \
             ELSE excluded.date_changed_at END",
        );
        tx.run(query).await?;
    }
    Ok(())
}

/// Removes the rows of tasks that are gone; usually there are none. Returns a reminder for each removal to
/// report.
async fn remove_tasks(
    tx: &mut Tx,
    gone: Vec<(&OfferedRefresh<'_>, StoredTask)>,
    now: DateTime<Utc>,
) -> Stored<Vec<(AccountId, Reminder)>> {
    // A removal is reported if readers know of the task: a reminder was sent, a visit did it, or its
    // component was replaced. A task that begins after the day of this refresh is not reported, for it will
    // return: the clock was set back, or the time zone changed.
    let (mut told, mut kept) = (Vec::new(), Vec::with_capacity(gone.len()));
    for (one, row) in gone {
        let duty = row.place().word("duty", Duty::parse(&row.duty))?;
        let component_id = ComponentId(row.component_id);
        let replaced = duty.facts().is_replacement && one.reminders.replaced.contains_key(&component_id);
        let as_of = i64::from(one.as_of.to_epoch_days());
        let has_begun = row.known.since_on.is_none_or(|since| since <= as_of);
        if has_begun && (row.known.told.is_some() || row.known.done_by.is_some() || replaced) {
            kept.push(RemovedTaskRow::told(&row, as_of));
            told.push((one, row, duty, component_id));
        } else {
            kept.push(RemovedTaskRow::untold(row));
        }
    }
    removed_tasks::keep(tx, &kept).await?;
    let components: Vec<ComponentId> = told.iter().map(|(.., component_id)| *component_id).collect();
    let mut names: HashMap<Uuid, String> = HashMap::new();
    for piece in components.chunks(SYSTEMS) {
        let mut query = sql("SELECT id, name FROM components WHERE id IN ");
        query.bind_list(piece);
        names.extend(tx.all::<(Uuid, String)>(query).await?);
    }
    let entries = told.into_iter().map(|(one, row, duty, component_id)| {
        let gone = RemovedTask {
            task_id: TaskId(row.id),
            component_id,
            component_name: names.get(&row.component_id).cloned().unwrap_or_default(),
            kind: row.place().word("kind", Kind::parse(&row.kind))?,
            duty,
            done: row.known.done(row.place())?,
        };
        Ok((one.claim.account_id, entries::of_removed(gone, one.reminders, now)))
    });
    entries.collect()
}

async fn write_forecasts(tx: &mut Tx, taken: &[&OfferedRefresh<'_>]) -> Stored<()> {
    for piece in pieces(taken, ROWS) {
        let mut query = sql("INSERT INTO forecasts (system_id, as_of, refreshed_at, packed) ");
        query.bind_rows(piece, |row, one| {
            row.on(one.claim.system_id).on(one.as_of).on(one.refreshed_at).on(one.packed.clone());
        });
        query.push(
            " ON CONFLICT (system_id) DO UPDATE SET as_of = excluded.as_of, \
             refreshed_at = excluded.refreshed_at, packed = excluded.packed",
        );
        tx.run(query).await?;
    }
    Ok(())
}
