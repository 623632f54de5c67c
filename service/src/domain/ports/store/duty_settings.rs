//! The account's own figures for duties in the store.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::AccountId;
use crate::domain::model::duty::Duty;
use crate::domain::model::duty_settings::{DutySetting, Overrides};
use crate::domain::ports::store::outcomes::Updated;
use async_trait::async_trait;
use chrono::{DateTime, Utc};

/// What accounts have set for duties.
#[async_trait]
pub trait DutySettingStore: Send + Sync {
    /// Everything that the account ever set, in no order. It includes duties that were set back to their defaults.
    async fn duty_settings(&self, account: AccountId) -> Stored<Vec<DutySetting>>;
    /// Replaces what is set for a duty if the version is current. The version is 0 for a duty that was never set.
    /// All systems of the account become stale.
    async fn put_duty_setting(
        &self,
        account: AccountId,
        duty: Duty,
        version: i64,
        own: Overrides,
        now: DateTime<Utc>,
    ) -> Stored<Updated>;
}
