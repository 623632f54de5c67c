//! Rounds that were kept: planned ones and reported ones.

use crate::domain::base::error::{StoreError, Stored};
use crate::domain::base::ids::{AccountId, PropertyId, RoundId, TaskId, VisitId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::property::Position;
use crate::domain::model::round::{Round, RoundFilter, RoundState, RoundTask, TaskOutcome};
use crate::domain::model::task::Task;
use crate::domain::model::visit::Visit;
use crate::domain::ports::store::outcomes::{Cancelled, Finished, Inserted};
use crate::domain::ports::store::rounds::{PlannedTask, RoundStore};
use crate::storage::connection::{Database, Tx, retried};
use crate::storage::rows::{PlannedTaskRow, ROUND_COLUMNS, RoundRow, RoundTaskRow, values};
use crate::storage::sql::{Sql, pieces, sql};
use crate::storage::{tasks, visits};
use async_trait::async_trait;
use chrono::NaiveDate;
use std::collections::HashMap;
use uuid::Uuid;

/// Tasks of one statement.
const PIECE: usize = 256;
/// How often keeping a round is tried while rounds with the same tasks are kept and cancelled.
const ATTEMPTS: usize = 4;

/// Names are joined in, so that they are the current ones.
const TASKS: &str = "SELECT r.round_id, r.task_id, s.property_id, r.system_id, r.component_id, r.duty, r.due_on, \
                     r.is_open, r.visit_id, r.skipped_because, p.name AS property_name, s.name AS system_name, \
                     c.name AS component_name, c.part FROM round_tasks r JOIN systems s ON s.id = r.system_id \
                     JOIN properties p ON p.id = s.property_id JOIN components c ON c.id = r.component_id \
                     WHERE r.round_id IN ";

fn select() -> Sql {
    let mut query = sql("SELECT ");
    query.push(ROUND_COLUMNS).push(" FROM rounds WHERE ");
    query
}

fn one(account: AccountId, id: RoundId) -> Sql {
    let mut query = select();
    query.push("id = ").bind(id).push(" AND account_id = ").bind(account);
    query
}

/// Adds the tasks to their rounds, in the order of the rounds.
async fn with_tasks(tx: &mut Tx, rows: Vec<RoundRow>) -> Stored<Vec<Round>> {
    let ids: Vec<Uuid> = rows.iter().map(|row| row.id).collect();
    let mut tasks: HashMap<Uuid, Vec<RoundTask>> = HashMap::new();
    if !ids.is_empty() {
        let mut query = sql(TASKS);
        query.bind_list(&ids);
        for row in tx.all::<RoundTaskRow>(query).await? {
            tasks.entry(row.round_id).or_default().push(row.read()?);
        }
    }
    rows.into_iter()
        .map(|row| {
            let own = tasks.remove(&row.id).unwrap_or_default();
            row.read(own)
        })
        .collect()
}

async fn insert(tx: &mut Tx, round: &Round) -> Stored<bool> {
    let mut query = sql("INSERT INTO rounds (");
    query.push(ROUND_COLUMNS).push(") ").bind_rows(&[round], |row, round| {
        row.on(round.id).on(round.account_id).on(round.on).on(round.note.clone());
        row.on(round.done.as_ref().map(|done| done.on)).on(round.done.as_ref().map(|done| done.at));
        row.on(round.version).on(round.created_at).on(round.updated_at);
    });
    query.push(" ON CONFLICT (id) DO NOTHING");
    Ok(tx.run(query).await? > 0)
}

/// Adds the tasks of a round that no other planned round holds. Returns how many it added.
async fn insert_tasks(tx: &mut Tx, round: &Round) -> Stored<u64> {
    // In the order of their ids, so that two rounds that share tasks never wait for each other in a circle.
    let mut tasks: Vec<&RoundTask> = round.tasks.iter().collect();
    tasks.sort_unstable_by_key(|task| task.task_id);
    let mut added = 0;
    for piece in pieces(&tasks, PIECE) {
        let mut query = sql(
            "INSERT INTO round_tasks (round_id, task_id, account_id, system_id, component_id, duty, due_on, \
                 is_open) ",
        );
        query.bind_rows(piece, |row, task| {
            row.on(round.id).on(task.task_id).on(round.account_id).on(task.system_id).on(task.component_id);
            row.on(task.duty.code()).on(task.due_on).on(1);
        });
        query.push(" ON CONFLICT (account_id, task_id) WHERE is_open = 1 DO NOTHING");
        added += tx.run(query).await?;
    }
    Ok(added)
}

/// Finds a task of this round that another planned round holds.
async fn taken(tx: &mut Tx, round: &Round) -> Stored<Option<Inserted>> {
    let ids: Vec<TaskId> = round.tasks.iter().map(|task| task.task_id).collect();
    let mut query = sql("SELECT task_id, round_id FROM round_tasks WHERE is_open = 1 AND account_id = ");
    query.bind(round.account_id).push(" AND round_id <> ").bind(round.id).push(" AND task_id IN ");
    query.bind_list(&ids).push(" ORDER BY task_id");
    let found = tx.first::<(Uuid, Uuid)>(query).await?;
    Ok(found.map(|(task, other)| Inserted::Taken { task_id: TaskId(task), round_id: RoundId(other) }))
}

async fn write_outcome(tx: &mut Tx, round: &Round, task: &RoundTask) -> Stored<()> {
    let (visit, because): (Option<VisitId>, Option<String>) = match &task.outcome {
        Some(TaskOutcome::Visited(visit)) => (Some(*visit), None),
        Some(TaskOutcome::Skipped(because)) => (None, because.clone()),
        None => (None, None),
    };
    let query = sql("UPDATE round_tasks SET is_open = 0, visit_id = $1, skipped_because = $2 \
                     WHERE round_id = $3 AND task_id = $4");
    tx.run(query.on(visit).on(because).on(round.id).on(task.task_id)).await.map(drop)
}

/// Whether the open tasks of a round are still those that the reporter saw.
async fn is_as_read(tx: &mut Tx, round: &Round) -> Stored<bool> {
    let mut query = sql("SELECT task_id FROM round_tasks WHERE is_open = 1 AND round_id = ");
    query.bind(round.id).push(" ORDER BY task_id").push(tx.for_update());
    let open: Vec<TaskId> = tx.all::<(Uuid,)>(query).await?.into_iter().map(|(id,)| TaskId(id)).collect();
    let mut seen: Vec<TaskId> = round
        .tasks
        .iter()
        .filter(|task| task.done_elsewhere(round.id).is_none())
        .map(|task| task.task_id)
        .collect();
    seen.sort_unstable();
    Ok(open == seen)
}

/// Tries once to keep a round. `None` if another round held one of its tasks and has gone since.
async fn try_insert(database: &Database, round: &Round) -> Stored<Option<Inserted>> {
    let mut tx = database.begin().await?;
    if !insert(&mut tx, round).await? {
        return Ok(Some(Inserted::Done));
    }
    if insert_tasks(&mut tx, round).await? < round.tasks.len() as u64 {
        return taken(&mut tx, round).await;
    }
    tx.commit().await?;
    Ok(Some(Inserted::Done))
}

#[async_trait]
impl RoundStore for Database {
    async fn planned_tasks(&self, account: AccountId) -> Stored<Vec<PlannedTask>> {
        let query = sql("SELECT t.task_id, t.round_id, r.planned_on, p.time_zone FROM round_tasks t \
                         JOIN rounds r ON r.id = t.round_id JOIN systems s ON s.id = t.system_id \
                         JOIN properties p ON p.id = s.property_id WHERE t.account_id = $1 AND t.is_open = 1");
        values(self.all(query.on(account)).await?, PlannedTaskRow::read)
    }

    async fn positions(
        &self,
        account: AccountId,
        properties: &[PropertyId],
    ) -> Stored<HashMap<PropertyId, Position>> {
        let mut found = HashMap::with_capacity(properties.len());
        for piece in pieces(properties, 1024) {
            let mut query = sql("SELECT id, latitude_deg, longitude_deg FROM properties WHERE account_id = ");
            query.bind(account).push(" AND id IN ").bind_list(piece);
            let rows = self.all::<(Uuid, f64, f64)>(query).await?;
            found.extend(rows.into_iter().map(|(id, latitude_deg, longitude_deg)| {
                (PropertyId(id), Position { latitude_deg, longitude_deg })
            }));
        }
        Ok(found)
    }

    async fn tasks_by_id(&self, account: AccountId, ids: &[TaskId]) -> Stored<Vec<Task>> {
        tasks::by_id(self, account, ids).await
    }

    async fn insert_round(&self, round: &Round) -> Stored<Inserted> {
        // A round that held one of the tasks may be cancelled meanwhile. Then the next attempt succeeds.
        for _ in 0..ATTEMPTS {
            if let Some(kept) = retried(async || try_insert(self, round).await).await? {
                return Ok(kept);
            }
        }
        Err(StoreError::Unavailable("other rounds keep taking the same tasks".into()))
    }

    async fn round(&self, account: AccountId, id: RoundId) -> Stored<Option<Round>> {
        let mut tx = self.begin_reading().await?;
        let rows = tx.all::<RoundRow>(one(account, id)).await?;
        let found = with_tasks(&mut tx, rows).await?.into_iter().next();
        tx.commit().await?;
        Ok(found)
    }

    async fn rounds(
        &self,
        account: AccountId,
        filter: &RoundFilter,
        page: &PageRequest<NaiveDate>,
    ) -> Stored<Vec<Round>> {
        let mut query = select();
        query.push("account_id = ").bind(account);
        match filter.state {
            Some(RoundState::Planned) => {
                query.push(" AND done_at IS NULL");
            }
            Some(RoundState::Done) => {
                query.push(" AND done_at IS NOT NULL");
            }
            None => {}
        }
        // Only the higher of the two lower bounds: SQLite uses the first bound that it meets to walk the
        // index.
        let after = page.after.as_ref().filter(|after| filter.from.is_none_or(|from| after.key >= from));
        match (after, filter.from) {
            (Some(after), _) => {
                query.push(" AND (planned_on, id) > (").bind(after.key).push(", ").bind(after.id).push(")");
            }
            (None, Some(from)) => {
                query.push(" AND planned_on >= ").bind(from);
            }
            (None, None) => {}
        }
        if let Some(to) = filter.to {
            query.push(" AND planned_on <= ").bind(to);
        }
        query.push(" ORDER BY planned_on, id LIMIT ").bind(page.rows());
        let mut tx = self.begin_reading().await?;
        let rows = tx.all::<RoundRow>(query).await?;
        let found = with_tasks(&mut tx, rows).await?;
        tx.commit().await?;
        Ok(found)
    }

    async fn delete_round(&self, account: AccountId, id: RoundId, version: i64) -> Stored<Cancelled> {
        let mut tx = self.begin().await?;
        let mut lock = one(account, id);
        lock.push(tx.for_removal());
        let Some(row) = tx.first::<RoundRow>(lock).await? else { return Ok(Cancelled::Missing) };
        if row.is_done() {
            return Ok(Cancelled::WasDone);
        }
        if row.version != version {
            return Ok(Cancelled::Stale { current: row.version });
        }
        tx.run(sql("DELETE FROM round_tasks WHERE round_id = $1").on(id)).await?;
        tx.run(sql("DELETE FROM rounds WHERE id = $1").on(id)).await?;
        tx.commit().await?;
        Ok(Cancelled::Done)
    }

    async fn finish_round(&self, round: &Round, made: &[Visit]) -> Stored<Finished> {
        // The lower system id first, in the order that all locks follow.
        let mut made: Vec<&Visit> = made.iter().collect();
        made.sort_unstable_by_key(|visit| visit.facts.system_id);
        retried(async || {
            let mut tx = self.begin().await?;
            let mut lock = one(round.account_id, round.id);
            lock.push(tx.for_update());
            let Some(row) = tx.first::<RoundRow>(lock).await? else { return Ok(Finished::Missing) };
            if row.is_done() {
                return Ok(Finished::Before);
            }
            if !is_as_read(&mut tx, round).await? {
                return Ok(Finished::Moved);
            }
            for visit in &made {
                visits::insert(&mut tx, visit).await?;
            }
            for task in &round.tasks {
                write_outcome(&mut tx, round, task).await?;
            }
            let done = sql(
                "UPDATE rounds SET done_on = $1, done_at = $2, version = $3, updated_at = $4 WHERE id = $5",
            )
            .on(round.done.as_ref().map(|done| done.on))
            .on(round.done.as_ref().map(|done| done.at))
            .on(round.version)
            .on(round.updated_at)
            .on(round.id);
            tx.run(done).await?;
            tx.commit().await?;
            Ok(Finished::Done)
        })
        .await
    }
}
