use super::RowRef;
use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, PropertyId};
use crate::domain::model::property::{Months, Property, PropertyFacts};
use uuid::Uuid;

/// The columns of a [`PropertyRow`].
pub(in crate::storage) const PROPERTY_COLUMNS: &str = "id, account_id, name, latitude_deg, longitude_deg, elevation_m, time_zone, temperatures, evaporation_mm_per_day, \
     notes, version, created_at, updated_at";

#[derive(sqlx::FromRow)]
pub(in crate::storage) struct PropertyRow {
    id: Uuid,
    account_id: Uuid,
    name: String,
    latitude_deg: f64,
    longitude_deg: f64,
    elevation_m: f64,
    time_zone: String,
    temperatures: Option<String>,
    evaporation_mm_per_day: Option<String>,
    notes: Option<String>,
    version: i64,
    created_at: i64,
    updated_at: i64,
}

impl PropertyRow {
    pub(in crate::storage) fn read(self) -> Stored<Property> {
        let place = RowRef { table: "properties", id: self.id };
        let temperatures = self.temperatures.map(|text| place.json("temperatures", &text)).transpose()?;
        let evaporation = self.evaporation_mm_per_day.map(|text| place.json("evaporation_mm_per_day", &text));
        let months = Months {
            temperatures: temperatures.unwrap_or_default(),
            evaporation_mm_per_day: evaporation.transpose()?,
        };
        Ok(Property {
            id: PropertyId(self.id),
            account_id: AccountId(self.account_id),
            facts: PropertyFacts {
                name: self.name,
                latitude_deg: self.latitude_deg,
                longitude_deg: self.longitude_deg,
                elevation_m: self.elevation_m,
                time_zone: place.word("time_zone", self.time_zone.parse().ok())?,
                months,
                notes: self.notes,
            },
            version: self.version,
            created_at: place.instant("created_at", self.created_at)?,
            updated_at: place.instant("updated_at", self.updated_at)?,
        })
    }
}
