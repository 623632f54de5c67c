//! Visits, and their earlier versions.

use crate::domain::base::error::{StoreError, Stored};
use crate::domain::base::ids::{AccountId, SystemId, VisitId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::visit::{Revision, Visit, VisitFilter};
use crate::domain::ports::store::outcomes::Updated;
use crate::domain::ports::store::visits::VisitStore;
use crate::storage::connection::{Database, Tx, retried};
use crate::storage::errors::{is_taken, to_json};
use crate::storage::planned_rounds::{close_visited, free_visited};
use crate::storage::rows::{RevisionRow, VISIT_COLUMNS, VisitRow, values};
use crate::storage::skill::mark_unscored;
use crate::storage::sql::{Sql, sql};
use crate::storage::stale::{Affected, mark_stale};
use async_trait::async_trait;
use chrono::NaiveDate;

/// How often a correction is tried while new rounds take the tasks that it frees.
const ATTEMPTS: usize = 4;

fn select() -> Sql {
    let mut query = sql("SELECT ");
    query.push(VISIT_COLUMNS).push(" FROM visits WHERE ");
    query
}

fn one(account: AccountId, id: VisitId) -> Sql {
    let mut query = select();
    query.push("id = ").bind(id).push(" AND account_id = ").bind(account);
    query
}

async fn replace(tx: &mut Tx, account: AccountId, new: &Visit) -> Stored<()> {
    let facts = &new.facts;
    let withdrawn = new.withdrawn.as_ref();
    let update = sql("UPDATE visits SET system_id = $1, visited_on = $2, visited_by = $3, items = $4, note = $5, \
         withdrawn_at = $6, withdrawn_because = $7, version = $8, updated_at = $9 WHERE id = $10 AND account_id = $11")
    .on(facts.system_id)
    .on(facts.visited_on)
    .on(facts.visited_by.clone())
    .on(to_json(&facts.items)?)
    .on(facts.note.clone())
    .on(withdrawn.map(|withdrawn| withdrawn.at))
    .on(withdrawn.map(|withdrawn| withdrawn.because.clone()))
    .on(new.version)
    .on(new.updated_at)
    .on(new.id)
    .on(account);
    tx.run(update).await.map(drop)
}

/// Marks the systems of a visit before and after a change: their forecasts are stale and their findings must
/// be scored again. The lower id comes first, in the order that all locks follow.
async fn mark_both(tx: &mut Tx, account: AccountId, mut systems: [SystemId; 2]) -> Stored<()> {
    systems.sort_unstable();
    mark_stale(tx, account, Affected::System(systems[0])).await?;
    if systems[0] != systems[1] {
        mark_stale(tx, account, Affected::System(systems[1])).await?;
        mark_unscored(tx, account, systems[0]).await?;
    }
    mark_unscored(tx, account, systems[1]).await?;
    Ok(())
}

/// Adds a visit if its id is not there yet. Closes the tasks that it did in planned rounds. Marks its system
/// to be forecast and scored again.
pub(super) async fn insert(tx: &mut Tx, visit: &Visit) -> Stored<()> {
    let items = to_json(&visit.facts.items)?;
    let mut query = sql("INSERT INTO visits (");
    query.push(VISIT_COLUMNS).push(") ").bind_rows(&[visit], |row, visit| {
        let (facts, withdrawn) = (&visit.facts, visit.withdrawn.as_ref());
        row.on(visit.id).on(visit.account_id).on(facts.system_id).on(facts.visited_on);
        row.on(facts.visited_by.clone()).on(items.clone()).on(facts.note.clone());
        row.on(withdrawn.map(|withdrawn| withdrawn.at));
        row.on(withdrawn.map(|withdrawn| withdrawn.because.clone()));
        row.on(visit.version).on(visit.created_at).on(visit.updated_at);
    });
    query.push(" ON CONFLICT (id) DO NOTHING");
    if tx.run(query).await? > 0 {
        close_visited(tx, visit, None).await?;
        mark_stale(tx, visit.account_id, Affected::System(visit.facts.system_id)).await?;
        mark_unscored(tx, visit.account_id, visit.facts.system_id).await?;
    }
    Ok(())
}

async fn try_update(database: &Database, account: AccountId, version: i64, new: &Visit) -> Stored<Updated> {
    let mut tx = database.begin().await?;
    let mut lock = one(account, new.id);
    lock.push(tx.for_update());
    let Some(row) = tx.first::<VisitRow>(lock).await? else { return Ok(Updated::Missing) };
    let old = row.read()?;
    if old.version != version {
        return Ok(Updated::Stale { current: old.version });
    }
    let keep =
        sql("INSERT INTO visit_revisions (visit_id, version, replaced_at, visit) VALUES ($1, $2, $3, $4)");
    tx.run(keep.on(old.id).on(old.version).on(new.updated_at).on(to_json(&old)?)).await?;
    replace(&mut tx, account, new).await?;
    free_visited(&mut tx, new).await?;
    close_visited(&mut tx, new, Some(&old)).await?;
    mark_both(&mut tx, account, [old.facts.system_id, new.facts.system_id]).await?;
    tx.commit().await?;
    Ok(Updated::Done)
}

#[async_trait]
impl VisitStore for Database {
    async fn insert_visit(&self, visit: &Visit) -> Stored<()> {
        retried(async || {
            let mut tx = self.begin().await?;
            insert(&mut tx, visit).await?;
            tx.commit().await
        })
        .await
    }

    async fn visit(&self, account: AccountId, id: VisitId) -> Stored<Option<Visit>> {
        self.first::<VisitRow>(one(account, id)).await?.map(VisitRow::read).transpose()
    }

    async fn visits(
        &self,
        account: AccountId,
        filter: &VisitFilter,
        page: &PageRequest<NaiveDate>,
    ) -> Stored<Vec<Visit>> {
        let mut query = select();
        query.push("account_id = ").bind(account);
        if let Some(system) = filter.system_id {
            query.push(" AND system_id = ").bind(system);
        }
        if let Some(from) = filter.from {
            query.push(" AND visited_on >= ").bind(from);
        }
        // Only the lower of the two upper bounds: SQLite uses the first bound that it meets to walk the
        // index.
        let after = page.after.as_ref().filter(|after| filter.to.is_none_or(|to| after.key <= to));
        match (after, filter.to) {
            (Some(after), _) => {
                query.push(" AND (visited_on, id) < (").bind(after.key).push(", ").bind(after.id).push(")");
            }
            (None, Some(to)) => {
                query.push(" AND visited_on <= ").bind(to);
            }
            (None, None) => {}
        }
        if !filter.include_withdrawn {
            query.push(" AND withdrawn_at IS NULL");
        }
        query.push(" ORDER BY visited_on DESC, id DESC LIMIT ").bind(page.rows());
        values(self.all(query).await?, VisitRow::read)
    }

    async fn update_visit(&self, account: AccountId, version: i64, new: &Visit) -> Stored<Updated> {
        // A round kept at the same moment may take a task that this frees. The next attempt sees that round.
        for _ in 0..ATTEMPTS {
            match retried(async || try_update(self, account, version, new).await).await {
                Err(error) if is_taken(&error) => {}
                done => return done,
            }
        }
        Err(StoreError::Unavailable("other rounds keep taking the same tasks".into()))
    }

    async fn revisions(&self, id: VisitId) -> Stored<Vec<Revision>> {
        let query = sql(
            "SELECT visit_id, replaced_at, visit FROM visit_revisions WHERE visit_id = $1 ORDER BY version",
        );
        values(self.all(query.on(id)).await?, RevisionRow::read)
    }
}
