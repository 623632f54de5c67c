//! Gauges and their rain in the store.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, GaugeId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::gauge::{Gauge, GaugeFacts, RainSpan};
use crate::domain::model::rain::{RainDay, RainKnown, RainRange, RainRead, Upserted};
use crate::domain::ports::store::outcomes::{Deleted, Updated};
use async_trait::async_trait;
use chrono::{DateTime, NaiveDate, Utc};

/// What storing readings came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StoredRain {
    /// How many days it met which way.
    pub upserted: Upserted,
    /// What the record spans now.
    pub span: RainSpan,
}

/// Gauges and their rain.
#[async_trait]
pub trait GaugeStore: Send + Sync {
    /// Adds a gauge; does nothing when the id is there already.
    async fn insert_gauge(&self, gauge: &Gauge) -> Stored<()>;
    /// One gauge with the span of its record.
    async fn gauge(&self, account: AccountId, id: GaugeId) -> Stored<Option<Gauge>>;
    /// The account's gauges by `(name, id)`.
    async fn gauges(&self, account: AccountId, page: &PageRequest<String>) -> Stored<Vec<Gauge>>;
    /// Replaces the facts if the version is current; the systems under it become stale.
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
    /// Upserts readings by date (given by date, without repeats) and keeps the gauge's span up to date. The systems
    /// under the gauge become stale if anything was new or changed. Concurrent upserts to one gauge follow each other.
    /// `None` when there is no such gauge in the account.
    async fn put_rain(&self, account: AccountId, id: GaugeId, days: &[RainDay])
    -> Stored<Option<StoredRain>>;
    /// Readings of a gauge by date, from one day to another, both included.
    async fn rain(
        &self,
        id: GaugeId,
        range: RainRange,
        page: &PageRequest<NaiveDate>,
    ) -> Stored<Vec<RainDay>>;
    /// The whole record of a gauge through a day, by date.
    async fn rain_record(&self, id: GaugeId, through: NaiveDate) -> Stored<Vec<RainDay>>;
    /// What there is of a gauge's record, through a day, beyond what is known: readings after the known ones, or the whole
    /// record when nothing is known or when it did not only grow at its end since.
    async fn rain_since(&self, id: GaugeId, known: Option<RainKnown>, through: NaiveDate)
    -> Stored<RainRead>;
    /// Removes readings; the systems under the gauge become stale. `false` when there is no such gauge.
    async fn delete_rain(
        &self,
        account: AccountId,
        id: GaugeId,
        from: NaiveDate,
        to: NaiveDate,
    ) -> Stored<bool>;
}
