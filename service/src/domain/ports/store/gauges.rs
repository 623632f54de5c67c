//! Rain gauges and their readings in the store.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, GaugeId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::gauge::{Gauge, GaugeFacts, RainSpan};
use crate::domain::model::rain::{RainDay, RainKnown, RainRange, RainRead, Upserted};
use crate::domain::ports::store::outcomes::{Deleted, Updated};
use async_trait::async_trait;
use chrono::{DateTime, NaiveDate, Utc};

/// The result of storing readings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StoredRain {
    /// How many days were new, changed or the same.
    pub upserted: Upserted,
    /// What the record spans now.
    pub span: RainSpan,
}

/// Rain gauges and their readings.
#[async_trait]
pub trait GaugeStore: Send + Sync {
    /// Adds a rain gauge; does nothing if the id exists already.
    async fn insert_gauge(&self, gauge: &Gauge) -> Stored<()>;
    /// One rain gauge with the span of its record.
    async fn gauge(&self, account: AccountId, id: GaugeId) -> Stored<Option<Gauge>>;
    /// The account's rain gauges by `(name, id)`.
    async fn gauges(&self, account: AccountId, page: &PageRequest<String>) -> Stored<Vec<Gauge>>;
    /// Replaces the facts if the version is current. The systems of this gauge become stale.
    async fn update_gauge(
        &self,
        account: AccountId,
        id: GaugeId,
        version: i64,
        facts: &GaugeFacts,
        now: DateTime<Utc>,
    ) -> Stored<Updated>;
    /// Removes it with its record if the version is current and no system uses it.
    async fn delete_gauge(&self, account: AccountId, id: GaugeId, version: i64) -> Stored<Deleted>;
    /// Inserts or updates readings and keeps the gauge's span up to date. `days` is sorted by date, without
    /// repeats. The gauge's systems become stale if anything was new or changed. Concurrent calls for one gauge run
    /// one after the other. `None` if the account has no such gauge.
    async fn put_rain(&self, account: AccountId, id: GaugeId, days: &[RainDay])
    -> Stored<Option<StoredRain>>;
    /// Readings of a rain gauge by date, from one day to another, both included.
    async fn rain(
        &self,
        id: GaugeId,
        range: RainRange,
        page: &PageRequest<NaiveDate>,
    ) -> Stored<Vec<RainDay>>;
    /// The whole record of a rain gauge through a day, by date.
    async fn rain_record(&self, id: GaugeId, through: NaiveDate) -> Stored<Vec<RainDay>>;
    /// The part of a rain gauge's record, through a day, that the caller does not know yet. It is the whole record
    /// if nothing is known, or if the record did more than grow at its end.
    async fn rain_since(&self, id: GaugeId, known: Option<RainKnown>, through: NaiveDate)
    -> Stored<RainRead>;
    /// Removes readings. The gauge's systems become stale. `false` if there is no such gauge.
    async fn delete_rain(
        &self,
        account: AccountId,
        id: GaugeId,
        from: NaiveDate,
        to: NaiveDate,
    ) -> Stored<bool>;
}
