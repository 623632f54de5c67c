use super::RowRef;
use crate::domain::base::error::Stored;
use crate::domain::base::ids::AccountId;
use crate::domain::model::duty::Duty;
use crate::domain::model::duty_settings::{DutySetting, Overrides};
use uuid::Uuid;

#[derive(sqlx::FromRow)]
pub(in crate::storage) struct DutySettingRow {
    account_id: Uuid,
    duty: String,
    ceiling_months: Option<i64>,
    tolerance: Option<f64>,
    lead_days: Option<i64>,
    move_days: Option<i64>,
    version: i64,
    updated_at: i64,
}

impl DutySettingRow {
    /// The setting, with its account.
    pub(in crate::storage) fn read(self) -> Stored<(AccountId, DutySetting)> {
        let place = RowRef { table: "duty_settings", id: self.account_id };
        let count = |column, number: Option<i64>| {
            number.map(|number| place.word(column, u32::try_from(number).ok())).transpose()
        };
        let setting = DutySetting {
            duty: place.word("duty", Duty::parse(&self.duty))?,
            own: Overrides {
                ceiling_months: count("ceiling_months", self.ceiling_months)?,
                tolerance: self.tolerance,
                lead_days: count("lead_days", self.lead_days)?,
                move_days: count("move_days", self.move_days)?,
            },
            version: self.version,
            updated_at: Some(place.instant("updated_at", self.updated_at)?),
        };
        Ok((AccountId(self.account_id), setting))
    }
}
