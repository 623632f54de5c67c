//! What accounts have set for duties.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::AccountId;
use crate::domain::model::duty::Duty;
use crate::domain::model::duty_settings::{DutySetting, Overrides};
use crate::domain::ports::store::duty_settings::DutySettingStore;
use crate::domain::ports::store::outcomes::Updated;
use crate::storage::connection::{Database, retried};
use crate::storage::rows::{DutySettingRow, values};
use crate::storage::sql::{Sql, sql};
use crate::storage::stale::{Affected, explain_miss, mark_stale};
use async_trait::async_trait;
use chrono::{DateTime, Utc};

/// Selects the settings of several accounts; the caller adds the list of accounts.
pub(super) fn select() -> Sql {
    sql(
        "SELECT account_id, duty, ceiling_months, tolerance, lead_days, move_days, version, updated_at FROM duty_settings \
         WHERE account_id IN ",
    )
}

#[async_trait]
impl DutySettingStore for Database {
    async fn duty_settings(&self, account: AccountId) -> Stored<Vec<DutySetting>> {
        let mut query = select();
        query.bind_list(&[account]);
        values(self.all(query).await?, |row: DutySettingRow| Ok(row.read()?.1))
    }

    async fn put_duty_setting(
        &self,
        account: AccountId,
        duty: Duty,
        version: i64,
        own: Overrides,
        now: DateTime<Utc>,
    ) -> Stored<Updated> {
        let write = if version == 0 {
            sql("INSERT INTO duty_settings \
                 (ceiling_months, tolerance, lead_days, move_days, updated_at, account_id, duty, version) \
                 VALUES ($1, $2, $3, $4, $5, $6, $7, $8 + 1) ON CONFLICT DO NOTHING")
        } else {
            sql(
                "UPDATE duty_settings SET ceiling_months = $1, tolerance = $2, lead_days = $3, move_days = $4, \
                 updated_at = $5, version = version + 1 WHERE account_id = $6 AND duty = $7 AND version = $8",
            )
        };
        let write = write
            .on(own.ceiling_months.map(i64::from))
            .on(own.tolerance)
            .on(own.lead_days.map(i64::from))
            .on(own.move_days.map(i64::from))
            .on(now)
            .on(account)
            .on(duty.code())
            .on(version);
        retried(async || {
            let mut tx = self.begin().await?;
            if tx.run(write.clone()).await? == 0 {
                let current = sql("SELECT version FROM duty_settings WHERE account_id = $1 AND duty = $2");
                return Ok(match explain_miss(&mut tx, current.on(account).on(duty.code())).await? {
                    // No setting was ever stored: that counts as version 0.
                    Updated::Missing => Updated::Stale { current: 0 },
                    other => other,
                });
            }
            mark_stale(&mut tx, account, Affected::Account).await?;
            tx.commit().await?;
            Ok(Updated::Done)
        })
        .await
    }
}
