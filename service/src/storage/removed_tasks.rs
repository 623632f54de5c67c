//! Removed tasks, with what their readers know. A task that returns continues from there.
//!
//! A task returns when its component is put back into service. It also returns when the local day begins
//! again, because a clock was set back or the property's time zone changed. No reminder is then sent twice.
//! The count of date changes continues, because calendars accept an event only if it is newer than the one
//! they have.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::TaskId;
use crate::domain::model::reminder::ReminderState;
use crate::storage::connection::Tx;
use crate::storage::rows::{RowRef, StoredReminderState, StoredTask};
use crate::storage::sql::{pieces, sql};
use std::collections::HashMap;
use uuid::Uuid;

/// Rows of one statement.
const ROWS: usize = 64;

/// A removed task.
#[derive(sqlx::FromRow)]
pub(super) struct RemovedTaskRow {
    task_id: Uuid,
    sort_on: i64,
    /// How often its date had changed.
    pub(super) sequence: i64,
    #[sqlx(flatten)]
    known: StoredReminderState,
}

impl RemovedTaskRow {
    /// A task whose removal is reported to its readers on this day. From then on they know nothing of it.
    /// Reminders of earlier days count as sent.
    pub(super) fn told(row: &StoredTask, day: i64) -> Self {
        let known = StoredReminderState { since_on: Some(day), ..StoredReminderState::default() };
        Self { task_id: row.id, sort_on: row.sort_on, sequence: row.sequence, known }
    }

    /// A task whose removal is not reported.
    pub(super) fn untold(row: StoredTask) -> Self {
        Self { task_id: row.id, sort_on: row.sort_on, sequence: row.sequence, known: row.known }
    }

    /// What its readers know of it.
    pub(super) fn state(&self) -> Stored<ReminderState> {
        self.known.state(RowRef { table: "gone_tasks", id: self.task_id }, self.sort_on)
    }
}

/// Removes the rows of tasks and keeps these rows instead.
pub(super) async fn keep(tx: &mut Tx, gone: &[RemovedTaskRow]) -> Stored<()> {
    for piece in pieces(gone, ROWS) {
        let mut query =
            sql("INSERT INTO gone_tasks (task_id, sort_on, sequence, since_on, told, done_by, done_on) ");
        query.bind_rows(piece, |row, RemovedTaskRow { task_id, sort_on, sequence, known }| {
            row.on(*task_id).on(*sort_on).on(*sequence).on(known.since_on).on(known.told.as_deref());
            row.on(known.done_by).on(known.done_on);
        });
        query.push(
            " ON CONFLICT (task_id) DO UPDATE SET sort_on = excluded.sort_on, sequence = excluded.sequence, \
             since_on = excluded.since_on, told = excluded.told, done_by = excluded.done_by, \
             done_on = excluded.done_on",
        );
        tx.run(query).await?;
        let ids: Vec<Uuid> = piece.iter().map(|one| one.task_id).collect();
        let mut query = sql("DELETE FROM tasks WHERE id IN ");
        query.bind_list(&ids);
        tx.run(query).await?;
    }
    Ok(())
}

/// Removes and returns the rows of tasks that are back.
pub(super) async fn take(tx: &mut Tx, new: &[TaskId]) -> Stored<HashMap<TaskId, RemovedTaskRow>> {
    let mut back = HashMap::new();
    // In a fleet's first refresh all tasks are new, and there is nothing to look for.
    let any = sql("SELECT sequence FROM gone_tasks LIMIT 1");
    if new.is_empty() || tx.first::<(i64,)>(any).await?.is_none() {
        return Ok(back);
    }
    for piece in new.chunks(ROWS) {
        let mut query = sql(
            "SELECT task_id, sort_on, sequence, since_on, told, done_by, done_on FROM gone_tasks WHERE task_id IN ",
        );
        query.bind_list(piece);
        let found = tx.all::<RemovedTaskRow>(query).await?;
        if found.is_empty() {
            continue;
        }
        let ids: Vec<Uuid> = found.iter().map(|one| one.task_id).collect();
        let mut query = sql("DELETE FROM gone_tasks WHERE task_id IN ");
        query.bind_list(&ids);
        tx.run(query).await?;
        back.extend(found.into_iter().map(|one| (TaskId(one.task_id), one)));
    }
    Ok(back)
}
