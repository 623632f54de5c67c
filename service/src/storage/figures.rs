//! Figures of the whole database.

use crate::domain::base::error::Stored;
use crate::domain::model::figures::StoreFigures;
use crate::domain::ports::store::figures::FigureStore;
use crate::storage::connection::Database;
use crate::storage::sql::sql;
use async_trait::async_trait;
use chrono::{DateTime, Utc};

fn count(number: i64) -> u64 {
    number.max(0).unsigned_abs()
}

#[async_trait]
impl FigureStore for Database {
    async fn figures(&self, now: DateTime<Utc>) -> Stored<StoreFigures> {
        let mut tx = self.begin_reading().await?;
        let stale = sql("SELECT COUNT(*), MIN(CASE WHEN refresh_at > 0 THEN refresh_at END) FROM refreshes \
             WHERE refresh_at <= $1");
        let (stale, since) = tx.first::<(i64, Option<i64>)>(stale.on(now)).await?.unwrap_or_default();
        let newer = sql("SELECT COUNT(*) FROM refreshes WHERE model_version > $1").on(self.model_version);
        let (of_newer_model,) = tx.first::<(i64,)>(newer).await?.unwrap_or_default();
        // By subscription, because that is how the index is made.
        let deliveries = sql("SELECT d.state, COUNT(*) FROM subscriptions s JOIN deliveries d \
             ON d.subscription_id = s.id AND d.state IN ('waiting', 'parked') GROUP BY d.state");
        let deliveries = tx.all::<(String, i64)>(deliveries).await?;
        let of_state = |state: &str| {
            deliveries.iter().find(|(word, _)| word == state).map_or(0, |(_, number)| count(*number))
        };
        let feeds = sql("SELECT CAST(COALESCE(SUM(last - forgotten), 0) AS BIGINT) FROM feeds");
        let (feed_entries,) = tx.first::<(i64,)>(feeds).await?.unwrap_or_default();
        tx.commit().await?;
        Ok(StoreFigures {
            stale: count(stale),
            stale_since: since.and_then(DateTime::from_timestamp_micros),
            of_newer_model: count(of_newer_model),
            deliveries_waiting: of_state("waiting"),
            deliveries_parked: of_state("parked"),
            feed_entries: count(feed_entries),
        })
    }

    fn connections(&self) -> (u64, u64) {
        let (all, idle) = self.pool_size();
        (all.saturating_sub(idle), idle)
    }
}
