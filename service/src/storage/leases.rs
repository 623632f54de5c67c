//! Claims on rows, the same in each table of work: `refreshes`, `unscored` and `deliveries`.
//!
//! `held_until` says until when a row is held, `held_at` when that was set, and `held_by` by which claim. A
//! worker renews its claims while it works. If it dies, its rows are free when the claim ends. A worker that
//! has lost a row to another claim no longer finds its own claim there, and writes nothing.

use crate::domain::base::clock::MOST_AHEAD;
use crate::domain::base::error::Stored;
use crate::domain::base::ids::ClaimId;
use crate::storage::connection::{Database, Tx, retried};
use crate::storage::sql::{Sql, pieces, sql};
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// The claim of a row that is free.
pub(super) const NOBODY: ClaimId = ClaimId(Uuid::nil());

/// Rows of one statement.
const ROWS: usize = 16;

/// A table with claims, and the column of its rows' ids.
#[derive(Clone, Copy)]
pub(super) struct Work {
    pub table: &'static str,
    pub id: &'static str,
}

/// A claimed row: its id and the claim.
pub(super) type Held = (Uuid, ClaimId);

/// Adds the condition that no claim holds a row. A hold that a clock ahead has set counts for nothing.
pub(super) fn free(query: &mut Sql, now: DateTime<Utc>) {
    query.push("(held_until <= ").bind(now);
    query.push(" OR held_at > ").bind(now + MOST_AHEAD).push(")");
}

impl Work {
    /// Sets until when claimed rows are held, if their claims still hold. `keep` says whether the
    /// claims go on; otherwise they end, and the rows rest until then.
    pub(super) async fn hold(
        self,
        database: &Database,
        held: &[Held],
        now: DateTime<Utc>,
        until: DateTime<Utc>,
        keep: bool,
    ) -> Stored<()> {
        if held.is_empty() {
            return Ok(());
        }
        let mut held = held.to_vec();
        held.sort_unstable();
        retried(async || {
            let mut tx = database.begin().await?;
            self.lock(&mut tx, &held).await?;
            for piece in pieces(&held, ROWS) {
                let mut query = sql("UPDATE ");
                query.push(self.table).push(" SET held_until = ").bind(until);
                query.push(", held_at = ").bind(now);
                if !keep {
                    query.push(", held_by = ").bind(NOBODY);
                }
                query.push(" FROM (").bind_rows(piece, |row, (id, claim)| {
                    row.on(*id).on(*claim);
                });
                query.push(") AS held WHERE ").push(self.table).push(".").push(self.id);
                query.push(" = held.column1 AND ").push(self.table).push(".held_by = held.column2");
                tx.run(query).await?;
            }
            tx.commit().await
        })
        .await
    }

    /// Locks rows in the order of their ids, as everybody does who locks several.
    async fn lock(self, tx: &mut Tx, held: &[Held]) -> Stored<()> {
        if !tx.has_row_locks() {
            return Ok(());
        }
        for piece in held.chunks(ROWS) {
            let ids: Vec<Uuid> = piece.iter().map(|(id, _)| *id).collect();
            let mut query = sql("SELECT ");
            query.push(self.id).push(" FROM ").push(self.table).push(" WHERE ").push(self.id).push(" IN ");
            query.bind_list(&ids).push(" ORDER BY ").push(self.id).push(tx.for_update());
            tx.all::<(Uuid,)>(query).await?;
        }
        Ok(())
    }

    /// When the first held row is free. `which` limits the rows by a condition.
    pub(super) async fn held_until(
        self,
        database: &Database,
        now: DateTime<Utc>,
        which: impl Fn(&mut Sql),
    ) -> Stored<Option<DateTime<Utc>>> {
        let mut query = sql("SELECT MIN(held_until) FROM ");
        query.push(self.table).push(" WHERE ");
        which(&mut query);
        query.push(" AND held_until > ").bind(now);
        let first = database.first::<(Option<i64>,)>(query).await?.and_then(|(first,)| first);
        Ok(first.and_then(DateTime::from_timestamp_micros))
    }
}
