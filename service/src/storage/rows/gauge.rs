use super::RowRef;
use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, GaugeId};
use crate::domain::model::gauge::{Gauge, GaugeFacts, RainSpan};
use uuid::Uuid;

/// The columns of a [`GaugeRow`].
pub(in crate::storage) const GAUGE_COLUMNS: &str = "id, account_id, name, latitude_deg, longitude_deg, normals, \
                                                    first_day, last_day, days, version, created_at, updated_at";

#[derive(sqlx::FromRow)]
pub(in crate::storage) struct GaugeRow {
    id: Uuid,
    account_id: Uuid,
    name: String,
    latitude_deg: f64,
    longitude_deg: f64,
    normals: Option<String>,
    first_day: Option<i64>,
    last_day: Option<i64>,
    days: i64,
    version: i64,
    created_at: i64,
    updated_at: i64,
}

impl GaugeRow {
    pub(in crate::storage) fn read(self) -> Stored<Gauge> {
        let place = RowRef { table: "gauges", id: self.id };
        let normals = self.normals.map(|text| place.json("normals", &text)).transpose()?;
        Ok(Gauge {
            id: GaugeId(self.id),
            account_id: AccountId(self.account_id),
            facts: GaugeFacts {
                name: self.name,
                latitude_deg: self.latitude_deg,
                longitude_deg: self.longitude_deg,
                normals,
            },
            span: RainSpan {
                from: place.date_if("first_day", self.first_day)?,
                through: place.date_if("last_day", self.last_day)?,
                days: self.days,
            },
            version: self.version,
            created_at: place.instant("created_at", self.created_at)?,
            updated_at: place.instant("updated_at", self.updated_at)?,
        })
    }
}
