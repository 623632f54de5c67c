//! Forecasts that findings answered, and the list of systems to score.
//!
//! A change of a system's visits puts the system on the list `unscored`. A process claims it, scores all its
//! findings and writes the answers in one transaction. A process whose claim was taken over writes nothing
//! ([`super::leases`]).

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, AnswerId, ClaimId, SystemId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::duty::Duty;
use crate::domain::model::skill::{AnswerChanges, Answered, DutySkill, LooksHash, Shares, SkillFilter};
use crate::domain::ports::store::skill::{SkillStore, Unscored};
use crate::storage::connection::{Database, Tx};
use crate::storage::errors::{bad, to_json};
use crate::storage::leases::{Held, NOBODY, Work, free};
use crate::storage::rows::{ANSWERED_COLUMNS, AnsweredRow, StoredAnswer, values};
use crate::storage::sql::{Sql, pieces, sql};
use async_trait::async_trait;
use chrono::{DateTime, NaiveDate, Utc};
use std::collections::BTreeMap;
use uuid::Uuid;

/// Rows of one statement that writes.
const ROWS: usize = 16;
/// Ids of one statement that removes.
const SOUGHT: usize = 64;

/// Puts a system on the list, free to be claimed. A claim that is held now ends, because its result would be
/// out of date.
pub(super) async fn mark_unscored(tx: &mut Tx, account: AccountId, system: SystemId) -> Stored<()> {
    let mark = sql("INSERT INTO unscored (system_id, account_id, changes, held_until) \
         SELECT id, account_id, 1, 0 FROM systems WHERE id = $1 AND account_id = $2 \
         ON CONFLICT (system_id) DO UPDATE SET changes = unscored.changes + 1, held_until = 0, held_by = $3");
    tx.run(mark.on(system).on(account).on(NOBODY)).await.map(drop)
}

/// Adds the conditions of a filter, except its last day, to a WHERE that has begun.
fn narrow(query: &mut Sql, filter: &SkillFilter) {
    if let Some(system) = filter.system_id {
        query.push(" AND system_id = ").bind(system);
    }
    if let Some(duty) = filter.duty {
        query.push(" AND duty = ").bind(duty.code());
    }
    if let Some(from) = filter.from {
        query.push(" AND visited_on >= ").bind(from);
    }
}

const WORK: Work = Work { table: "unscored", id: "system_id" };

/// The rows of claimed systems.
fn held(claims: &[Unscored]) -> Vec<Held> {
    claims.iter().map(|claim| (claim.system_id.0, claim.held_by)).collect()
}

async fn write(tx: &mut Tx, claim: &Unscored, new: &[Answered], now: DateTime<Utc>) -> Stored<()> {
    let texts =
        new.iter().map(|answered| to_json(&StoredAnswer::of(answered))).collect::<Stored<Vec<_>>>()?;
    let rows: Vec<(&Answered, String)> = new.iter().zip(texts).collect();
    for piece in pieces(&rows, ROWS) {
        let mut insert = sql(
            "INSERT INTO answered (id, account_id, system_id, duty, visited_on, history, below, inside, above, middle, \
             log_ratio, kept_at, answer) ",
        );
        insert.bind_rows(piece, |row, (answered, text)| {
            let Shares { below, inside, above } = answered.shares;
            row.on(answered.id).on(claim.account_id).on(claim.system_id).on(answered.duty.code());
            row.on(answered.visited_on).on(&answered.history.0).on(below).on(inside).on(above);
            row.on(answered.middle()).on(answered.log_ratio()).on(now).on(text);
        });
        tx.run(insert).await?;
    }
    Ok(())
}

/// The sums of one duty, as the database adds them up.
#[derive(sqlx::FromRow)]
struct Sums {
    duty: String,
    answered: i64,
    below: f64,
    inside: f64,
    above: f64,
    middles: f64,
    measured: i64,
    log_ratios: Option<f64>,
}

#[async_trait]
impl SkillStore for Database {
    async fn skill(&self, account: AccountId, filter: &SkillFilter) -> Stored<Vec<DutySkill>> {
        let mut query =
            sql("SELECT duty, COUNT(*) AS answered, SUM(below) AS below, SUM(inside) AS inside, \
             SUM(above) AS above, SUM(middle) AS middles, COUNT(log_ratio) AS measured, \
             SUM(log_ratio) AS log_ratios FROM answered WHERE account_id = ");
        query.bind(account);
        narrow(&mut query, filter);
        if let Some(to) = filter.to {
            query.push(" AND visited_on <= ").bind(to);
        }
        query.push(" GROUP BY duty");
        values(self.all(query).await?, |row: Sums| {
            Ok(DutySkill {
                duty: Duty::parse(&row.duty).ok_or_else(|| bad("answered", "duty", &account))?,
                answered: row.answered,
                sums: Shares { below: row.below, inside: row.inside, above: row.above },
                middles: row.middles,
                measured: row.measured,
                log_ratios: row.log_ratios.unwrap_or(0.0),
            })
        })
    }

    async fn answers(
        &self,
        account: AccountId,
        filter: &SkillFilter,
        page: &PageRequest<NaiveDate>,
    ) -> Stored<Vec<Answered>> {
        let mut query = sql("SELECT ");
        query.push(ANSWERED_COLUMNS).push(" FROM answered WHERE account_id = ").bind(account);
        narrow(&mut query, filter);
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
        query.push(" ORDER BY visited_on DESC, id DESC LIMIT ").bind(page.rows());
        values(self.all(query).await?, AnsweredRow::read)
    }

    async fn claim_unscored(
        &self,
        now: DateTime<Utc>,
        until: DateTime<Utc>,
        limit: u32,
    ) -> Stored<Vec<Unscored>> {
        let (mut tx, held_by) = (self.begin().await?, ClaimId::new());
        let mut query = sql("WITH picked AS MATERIALIZED (SELECT system_id FROM unscored WHERE ");
        free(&mut query, now);
        query.push(" ORDER BY held_until, system_id LIMIT ").bind(i64::from(limit));
        query.push(tx.skip_locked());
        query.push(") UPDATE unscored SET held_until = ").bind(until).push(", held_at = ").bind(now);
        query.push(", held_by = ").bind(held_by);
        query.push(
            " WHERE system_id IN (SELECT system_id FROM picked) RETURNING account_id, system_id, changes",
        );
        let rows = tx.returning::<(Uuid, Uuid, i64)>(query).await?;
        tx.commit().await?;
        let claims = rows.into_iter().map(|(account, system, changes)| Unscored {
            account_id: AccountId(account),
            system_id: SystemId(system),
            changes,
            held_by,
        });
        Ok(claims.collect())
    }

    async fn histories(&self, system: SystemId) -> Stored<BTreeMap<AnswerId, LooksHash>> {
        let query = sql("SELECT id, history FROM answered WHERE system_id = $1").on(system);
        let rows = self.all::<(Uuid, Vec<u8>)>(query).await?;
        let read = |(id, history): (Uuid, Vec<u8>)| {
            let history = history.try_into().map_err(|_| bad("answered", "history", &id))?;
            Ok((AnswerId(id), LooksHash(history)))
        };
        rows.into_iter().map(read).collect()
    }

    async fn finish_scoring(
        &self,
        claim: &Unscored,
        answers: &AnswerChanges,
        now: DateTime<Utc>,
    ) -> Stored<()> {
        let mut tx = self.begin().await?;
        let mut done = sql("DELETE FROM unscored WHERE system_id = ");
        done.bind(claim.system_id).push(" AND account_id = ").bind(claim.account_id);
        done.push(" AND held_by = ").bind(claim.held_by).push(" AND changes = ").bind(claim.changes);
        if tx.run(done).await? == 0 {
            return Ok(());
        }
        let gone: Vec<AnswerId> =
            answers.gone.iter().copied().chain(answers.new.iter().map(|new| new.id)).collect();
        for piece in pieces(&gone, SOUGHT) {
            let mut delete = sql("DELETE FROM answered WHERE id IN ");
            delete.bind_list(piece).push(" AND system_id = ").bind(claim.system_id);
            tx.run(delete).await?;
        }
        write(&mut tx, claim, &answers.new, now).await?;
        tx.commit().await
    }

    async fn renew_unscored(
        &self,
        claims: &[Unscored],
        now: DateTime<Utc>,
        until: DateTime<Utc>,
    ) -> Stored<()> {
        WORK.hold(self, &held(claims), now, until, true).await
    }

    async fn release_unscored(
        &self,
        claims: &[Unscored],
        now: DateTime<Utc>,
        at: DateTime<Utc>,
    ) -> Stored<()> {
        WORK.hold(self, &held(claims), now, at, false).await
    }

    async fn unscored_held_until(&self, now: DateTime<Utc>) -> Stored<Option<DateTime<Utc>>> {
        let all = |query: &mut Sql| {
            query.push("TRUE");
        };
        WORK.held_until(self, now, all).await
    }

    async fn unscored_count(&self) -> Stored<i64> {
        let count = self.first::<(i64,)>(sql("SELECT COUNT(*) FROM unscored")).await?;
        Ok(count.map_or(0, |(count,)| count))
    }
}
