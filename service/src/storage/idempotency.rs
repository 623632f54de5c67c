//! Answers to requests that may be repeated, by account and `Idempotency-Key`.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::AccountId;
use crate::domain::model::idempotency::{Answer, Attempt, CLAIM_LEASE, Claim, HeldClaim, RETENTION};
use crate::domain::ports::store::idempotency::IdempotencyStore;
use crate::storage::connection::{Database, Tx};
use crate::storage::errors::bad;
use crate::storage::sql::{Sql, sql};
use async_trait::async_trait;
use chrono::{DateTime, TimeDelta, Utc};
use uuid::Uuid;

/// A claim that was given back is stored as one this much older. Versions before leases took over after a minute, so
/// they see the end of such a claim too.
const GIVEN_BACK: TimeDelta = TimeDelta::minutes(2);

#[derive(sqlx::FromRow)]
struct Row {
    fingerprint: Vec<u8>,
    seed: Uuid,
    claimed_at: i64,
    status: Option<i64>,
    etag: Option<String>,
    location: Option<String>,
    body: Option<String>,
}

/// What an attempt does when its key is already there.
enum Verdict {
    Say(Claim),
    /// Completes the first attempt, which was cut off.
    TakeOver,
    /// Starts over: the stored attempt is too old.
    Replace,
}

impl Row {
    fn judge(self, attempt: &Attempt) -> Stored<Verdict> {
        let now = attempt.now.timestamp_micros();
        let age = now - self.claimed_at;
        let older_than = |span: TimeDelta| age > micros(span);
        let same = self.fingerprint == attempt.fingerprint;
        if older_than(RETENTION) && (self.status.is_some() || !same) {
            return Ok(Verdict::Replace);
        }
        if !same {
            return Ok(Verdict::Say(Claim::Mismatch));
        }
        let Some(status) = self.status else {
            // A claim of the future was made by a clock that was ahead, and would block the key until then.
            let runs = (-micros(CLAIM_LEASE)..=micros(CLAIM_LEASE)).contains(&age);
            let left = TimeDelta::microseconds(micros(CLAIM_LEASE) - age);
            return Ok(if runs {
                Verdict::Say(Claim::Running { until: attempt.now + left })
            } else {
                Verdict::TakeOver
            });
        };
        let (Ok(status), Some(body)) = (u16::try_from(status), self.body) else {
            return Err(bad("idempotency", "status", &format!("{}/{}", attempt.account_id, attempt.key)));
        };
        Ok(Verdict::Say(Claim::Answered(Answer { status, etag: self.etag, location: self.location, body })))
    }
}

fn micros(span: TimeDelta) -> i64 {
    span.num_microseconds().unwrap_or(i64::MAX)
}

async fn insert(tx: &mut Tx, attempt: &Attempt) -> Stored<bool> {
    let query = sql("INSERT INTO idempotency (account_id, key, fingerprint, seed, claimed_at) \
         VALUES ($1, $2, $3, $4, $5) ON CONFLICT DO NOTHING")
    .on(attempt.account_id)
    .on(&attempt.key)
    .on(&attempt.fingerprint)
    .on(attempt.seed)
    .on(attempt.now);
    Ok(tx.run(query).await? > 0)
}

async fn restart(tx: &mut Tx, attempt: &Attempt, seed: Uuid) -> Stored<()> {
    let query = sql("UPDATE idempotency SET fingerprint = $1, seed = $2, claimed_at = $3, status = NULL, \
         etag = NULL, location = NULL, body = NULL WHERE account_id = $4 AND key = $5")
    .on(&attempt.fingerprint)
    .on(seed)
    .on(attempt.now)
    .on(attempt.account_id)
    .on(&attempt.key);
    tx.run(query).await.map(drop)
}

fn move_claim(claim: &HeldClaim, to: DateTime<Utc>) -> Sql {
    sql("UPDATE idempotency SET claimed_at = $1 \
         WHERE account_id = $2 AND key = $3 AND claimed_at = $4 AND status IS NULL")
    .on(to)
    .on(claim.account_id)
    .on(&claim.key)
    .on(claim.claimed_at)
}

#[async_trait]
impl IdempotencyStore for Database {
    async fn claim(&self, attempt: &Attempt) -> Stored<Claim> {
        let mut tx = self.unrecorded().begin().await?;
        loop {
            if insert(&mut tx, attempt).await? {
                tx.commit().await?;
                return Ok(Claim::Go { seed: attempt.seed });
            }
            let mut query = sql("SELECT fingerprint, seed, claimed_at, status, etag, location, body \
                 FROM idempotency WHERE account_id = $1 AND key = $2");
            query.push(tx.for_update());
            // Absent if it was removed between the two statements. Then the next pass of the loop inserts it.
            let Some(row) = tx.first::<Row>(query.on(attempt.account_id).on(&attempt.key)).await? else {
                continue;
            };
            let first_seed = row.seed;
            let seed = match row.judge(attempt)? {
                Verdict::Say(claim) => return Ok(claim),
                Verdict::TakeOver => first_seed,
                Verdict::Replace => attempt.seed,
            };
            restart(&mut tx, attempt, seed).await?;
            tx.commit().await?;
            return Ok(Claim::Go { seed });
        }
    }

    async fn renew_claim(&self, claim: &HeldClaim, now: DateTime<Utc>) -> Stored<bool> {
        self.unrecorded().run(move_claim(claim, now)).await.map(|rows| rows > 0)
    }

    async fn release_claim(&self, claim: &HeldClaim) -> Stored<()> {
        self.unrecorded().run(move_claim(claim, claim.claimed_at - GIVEN_BACK)).await.map(drop)
    }

    async fn answer(&self, account: AccountId, key: &str, answer: &Answer) -> Stored<()> {
        let query = sql("UPDATE idempotency SET status = $1, etag = $2, location = $3, body = $4 \
             WHERE account_id = $5 AND key = $6")
        .on(i64::from(answer.status))
        .on(answer.etag.clone())
        .on(answer.location.clone())
        .on(&answer.body)
        .on(account)
        .on(key);
        self.unrecorded().run(query).await.map(drop)
    }

    async fn forget(&self, account: AccountId, key: &str) -> Stored<()> {
        let query = sql("DELETE FROM idempotency WHERE account_id = $1 AND key = $2 AND status IS NULL");
        self.unrecorded().run(query.on(account).on(key)).await.map(drop)
    }

    async fn purge(&self, before: DateTime<Utc>) -> Stored<u64> {
        self.unrecorded().run(sql("DELETE FROM idempotency WHERE claimed_at < $1").on(before)).await
    }
}
