//! The audit: lists its entries, and removes old ones. `recorder` writes them.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::AccountId;
use crate::domain::base::paging::PageRequest;
use crate::domain::model::audit::{AuditEntry, AuditFilter};
use crate::domain::ports::store::audit::AuditStore;
use crate::storage::connection::Database;
use crate::storage::rows::{AuditRow, values};
use crate::storage::sql::sql;
use async_trait::async_trait;
use chrono::{DateTime, Utc};

#[async_trait]
impl AuditStore for Database {
    async fn audit(
        &self,
        account: AccountId,
        filter: &AuditFilter,
        page: &PageRequest<DateTime<Utc>>,
    ) -> Stored<Vec<AuditEntry>> {
        let mut query =
            sql("SELECT audit.id, audit.account_id, audit.at, audit.actor, audit.actor_id, keys.name, \
             audit.operation, audit.thing, audit.thing_id, audit.request_id FROM audit \
             LEFT JOIN keys ON keys.id = audit.actor_id AND keys.account_id = audit.account_id \
             WHERE audit.account_id = ");
        query.bind(account);
        if let Some(key) = filter.key {
            query.push(" AND audit.actor_id = ").bind(key);
        }
        if let Some(id) = &filter.thing_id {
            query.push(" AND audit.thing_id = ").bind(id);
        }
        if let Some(from) = filter.from {
            query.push(" AND audit.at >= ").bind(from);
        }
        // Only the lower of the two upper bounds: SQLite uses the first bound that it meets to walk the index.
        let after = page.after.as_ref().filter(|after| filter.until.is_none_or(|until| after.key < until));
        match (after, filter.until) {
            (Some(after), _) => {
                query
                    .push(" AND (audit.at, audit.id) < (")
                    .bind(after.key)
                    .push(", ")
                    .bind(after.id)
                    .push(")");
            }
            (None, Some(until)) => {
                query.push(" AND audit.at < ").bind(until);
            }
            (None, None) => {}
        }
        query.push(" ORDER BY audit.at DESC, audit.id DESC LIMIT ").bind(page.rows());
        values(self.all(query).await?, AuditRow::read)
    }

    async fn oldest_audit(&self) -> Stored<Option<DateTime<Utc>>> {
        let oldest = self.first::<(Option<i64>,)>(sql("SELECT MIN(at) FROM audit")).await?;
        Ok(oldest.and_then(|(at,)| at).and_then(DateTime::from_timestamp_micros))
    }

    async fn forget_audit(&self, before: DateTime<Utc>, most: u32) -> Stored<u64> {
        let mut tx = self.begin().await?;
        // A trigger keeps what is younger.
        tx.run(sql("UPDATE audit_removal SET until = $1 WHERE until < $1").on(before)).await?;
        let mut query =
            sql("DELETE FROM audit WHERE (account_id, at, id) IN (SELECT account_id, at, id FROM audit \
             WHERE at < ");
        query.bind(before).push(" ORDER BY at LIMIT ").bind(i64::from(most)).push(")");
        let rows = tx.run(query).await?;
        tx.commit().await?;
        Ok(rows)
    }
}
