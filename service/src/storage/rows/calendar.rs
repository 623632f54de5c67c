use super::RowRef;
use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, CalendarId, PropertyId};
use crate::domain::model::calendar::Calendar;
use uuid::Uuid;

#[derive(sqlx::FromRow)]
pub(in crate::storage) struct CalendarRow {
    id: Uuid,
    account_id: Uuid,
    property_id: Option<Uuid>,
    name: String,
    horizon_days: i64,
    hash: Vec<u8>,
    hint: String,
    created_at: i64,
    last_read_at: Option<i64>,
    revoked_at: Option<i64>,
}

impl CalendarRow {
    pub(in crate::storage) fn read(self) -> Stored<Calendar> {
        let place = RowRef { table: "calendars", id: self.id };
        Ok(Calendar {
            id: CalendarId(self.id),
            account_id: AccountId(self.account_id),
            property_id: self.property_id.map(PropertyId),
            name: self.name,
            horizon_days: place.word("horizon_days", u32::try_from(self.horizon_days).ok())?,
            hash: place.word("hash", self.hash.try_into().ok())?,
            hint: self.hint,
            created_at: place.instant("created_at", self.created_at)?,
            last_read_at: place.instant_if("last_read_at", self.last_read_at)?,
            revoked_at: place.instant_if("revoked_at", self.revoked_at)?,
        })
    }
}
