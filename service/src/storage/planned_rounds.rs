//! Tasks that a visit closes or frees in planned rounds.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::TaskId;
use crate::domain::model::visit::Visit;
use crate::storage::connection::Tx;
use crate::storage::sql::{pieces, sql};
use chrono::{DateTime, NaiveTime, TimeDelta, Utc};
use std::collections::BTreeSet;
use uuid::Uuid;

/// Rows of one statement.
const PIECE: usize = 256;

/// A visit may be logged late: it closes tasks of rounds kept up to this long after it. Judgement: a pile of
/// paper is typed in within a month. A visit of past years means no round of today.
const LOGGED_LATE: TimeDelta = TimeDelta::days(31);

/// What a visit closes in planned rounds: the tasks that it did, in rounds kept by an instant.
struct Closes {
    tasks: BTreeSet<TaskId>,
    kept_by: DateTime<Utc>,
}

impl Closes {
    fn of(visit: &Visit) -> Self {
        let facts = &visit.facts;
        let done = facts.items.iter().filter(|item| item.done && visit.withdrawn.is_none());
        let tasks = done.map(|item| TaskId::of(item.component_id, item.duty)).collect();
        let kept_by = facts.visited_on.and_time(NaiveTime::MIN).and_utc().checked_add_signed(LOGGED_LATE);
        Self { tasks, kept_by: kept_by.unwrap_or(visit.created_at) }
    }
}

/// Closes the tasks that a visit did in planned rounds: they are free for other rounds, and their round does
/// not log them again. A corrected visit closes only what it did not close `before`: a round kept since then
/// plans to do the task once more.
pub(super) async fn close_visited(tx: &mut Tx, visit: &Visit, before: Option<&Visit>) -> Stored<()> {
    let (now, before) = (Closes::of(visit), before.map(Closes::of));
    let knew = |task: &&TaskId| before.as_ref().is_some_and(|before| before.tasks.contains(task));
    let (known, new): (Vec<TaskId>, Vec<TaskId>) = now.tasks.iter().partition(knew);
    close(tx, visit, &new, None, now.kept_by).await?;
    match before {
        Some(before) if before.kept_by < now.kept_by => {
            close(tx, visit, &known, Some(before.kept_by), now.kept_by).await
        }
        _ => Ok(()),
    }
}

/// Closes these tasks in planned rounds kept by `kept_by` and later than `after`.
async fn close(
    tx: &mut Tx,
    visit: &Visit,
    tasks: &[TaskId],
    after: Option<DateTime<Utc>>,
    kept_by: DateTime<Utc>,
) -> Stored<()> {
    for piece in pieces(tasks, PIECE) {
        let mut query = sql("UPDATE round_tasks SET is_open = 0, visit_id = ");
        query.bind(visit.id).push(" WHERE is_open = 1 AND account_id = ").bind(visit.account_id);
        query.push(" AND task_id IN ").bind_list(piece);
        query.push(" AND EXISTS (SELECT 1 FROM rounds r WHERE r.id = round_id AND r.created_at <= ");
        query.bind(kept_by);
        if let Some(after) = after {
            query.push(" AND r.created_at > ").bind(after);
        }
        query.push(")");
        tx.run(query).await?;
    }
    Ok(())
}

/// Opens tasks again that a visit had closed in planned rounds and does not close any more. A task that
/// another planned round holds by now stays with that round. A task that the visit had closed in several
/// rounds opens in the newest.
pub(super) async fn free_visited(tx: &mut Tx, visit: &Visit) -> Stored<()> {
    // Locks the rounds first, as a report of a round does. Otherwise a round could be reported between this
    // check and the update.
    let mut lock = sql("SELECT id FROM rounds WHERE done_at IS NULL AND id IN \
                        (SELECT round_id FROM round_tasks WHERE visit_id = ");
    lock.bind(visit.id).push(") ORDER BY id").push(tx.for_update());
    if tx.all::<(Uuid,)>(lock).await?.is_empty() {
        return Ok(());
    }
    let now = Closes::of(visit);
    let mut query = sql("UPDATE round_tasks SET is_open = 1, visit_id = NULL WHERE visit_id = ");
    query.bind(visit.id).push(
        " AND EXISTS (SELECT 1 FROM rounds r WHERE r.id = round_tasks.round_id AND r.done_at IS NULL \
         AND (r.created_at > ",
    );
    query.bind(now.kept_by);
    let still: Vec<TaskId> = now.tasks.into_iter().collect();
    if still.is_empty() {
        query.push(" OR TRUE");
    } else {
        query.push(" OR round_tasks.task_id NOT IN ").bind_list(&still);
    }
    query.push(
        ")) AND NOT EXISTS (SELECT 1 FROM round_tasks o JOIN rounds r ON r.id = o.round_id \
         WHERE o.account_id = round_tasks.account_id AND o.task_id = round_tasks.task_id AND (o.is_open = 1 \
         OR o.visit_id = round_tasks.visit_id AND r.done_at IS NULL AND o.round_id > round_tasks.round_id))",
    );
    tx.run(query).await.map(drop)
}
