//! How much each account has of what its quotas count. Triggers keep the counts; a write that counts asks here, before
//! it commits, whether it went too far. Writers of one account wait for each other at the count, so that two of them
//! cannot both take the last place.

use crate::domain::base::error::{StoreError, Stored};
use crate::domain::base::ids::AccountId;
use crate::domain::model::quota::{Counted, Usage};
use crate::domain::ports::store::usage::UsageStore;
use crate::storage::connection::{Database, Tx};
use crate::storage::sql::sql;
use async_trait::async_trait;
use chrono::NaiveDate;
use std::collections::HashMap;

impl Database {
    /// Refuses what a transaction has added if the account now has more of it than it may.
    pub(super) async fn within_quota(&self, tx: &mut Tx, account: AccountId, of: Counted) -> Stored<()> {
        let Some(most) = self.quotas.most(of) else { return Ok(()) };
        let query = sql("SELECT used FROM account_usage WHERE account_id = $1 AND counted = $2");
        let used = tx.first::<(i64,)>(query.on(account).on(of.code())).await?.unwrap_or_default().0;
        if used.max(0).unsigned_abs() > most {
            Err(StoreError::QuotaReached { of: of.code(), most })
        } else {
            Ok(())
        }
    }
}

/// Counts one more thing of a day. What was counted on another day counts for nothing.
pub(super) async fn count_on(tx: &mut Tx, account: AccountId, of: Counted, day: NaiveDate) -> Stored<()> {
    let query = sql("INSERT INTO account_usage (account_id, counted, used, day) VALUES ($1, $2, 1, $3) \
         ON CONFLICT (account_id, counted) DO UPDATE SET day = excluded.day, \
         used = CASE WHEN account_usage.day = excluded.day THEN account_usage.used + 1 ELSE 1 END");
    tx.run(query.on(account).on(of.code()).on(day)).await.map(drop)
}

#[async_trait]
impl UsageStore for Database {
    async fn usage(&self, account: AccountId, today: NaiveDate) -> Stored<Vec<Usage>> {
        let query =
            sql("SELECT counted, used FROM account_usage WHERE account_id = $1 AND COALESCE(day, $2) = $2");
        let rows = self.all::<(String, i64)>(query.on(account).on(today)).await?;
        let used: HashMap<String, i64> = rows.into_iter().collect();
        let usage = |of: &Counted| {
            let used = used.get(of.code()).copied().unwrap_or_default().max(0).unsigned_abs();
            Usage { of: *of, used, most: self.quotas.most(*of) }
        };
        Ok(Counted::ALL.iter().map(usage).collect())
    }
}
