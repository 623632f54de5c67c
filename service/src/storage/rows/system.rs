use super::RowRef;
use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, GaugeId, PropertyId, SystemId};
use crate::domain::model::system::{System, SystemFacts};
use uuid::Uuid;

/// The columns of a [`SystemRow`].
pub(in crate::storage) const SYSTEM_COLUMNS: &str = "id, account_id, property_id, gauge_id, name, roof, commissioned_on, demand_l_per_day, retired_on, version, \
     created_at, updated_at";

#[derive(sqlx::FromRow)]
pub(in crate::storage) struct SystemRow {
    id: Uuid,
    account_id: Uuid,
    property_id: Uuid,
    gauge_id: Uuid,
    name: String,
    roof: String,
    commissioned_on: i64,
    demand_l_per_day: f64,
    retired_on: Option<i64>,
    version: i64,
    created_at: i64,
    updated_at: i64,
}

impl SystemRow {
    pub(in crate::storage) fn read(self) -> Stored<System> {
        let place = RowRef { table: "systems", id: self.id };
        Ok(System {
            id: SystemId(self.id),
            account_id: AccountId(self.account_id),
            facts: SystemFacts {
                property_id: PropertyId(self.property_id),
                gauge_id: GaugeId(self.gauge_id),
                name: self.name,
                roof: place.json("roof", &self.roof)?,
                commissioned_on: place.date("commissioned_on", self.commissioned_on)?,
                demand_l_per_day: self.demand_l_per_day,
                retired_on: place.date_if("retired_on", self.retired_on)?,
            },
            version: self.version,
            created_at: place.instant("created_at", self.created_at)?,
            updated_at: place.instant("updated_at", self.updated_at)?,
        })
    }
}
