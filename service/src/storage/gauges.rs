//! Rain gauges. Their readings are in [`super::rain`].

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, GaugeId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::gauge::{Gauge, GaugeFacts};
use crate::domain::model::quota::Counted;
use crate::domain::model::rain::{RainDay, RainKnown, RainRange, RainRead};
use crate::domain::ports::store::gauges::{GaugeStore, StoredRain};
use crate::domain::ports::store::outcomes::{Deleted, Updated};
use crate::storage::connection::{Database, retried};
use crate::storage::errors::to_json;
use crate::storage::rain;
use crate::storage::rows::{GAUGE_COLUMNS, GaugeRow, values};
use crate::storage::sql::{Sql, sql};
use crate::storage::stale::{Affected, explain_miss, mark_stale, page_by_name};
use async_trait::async_trait;
use chrono::{DateTime, NaiveDate, Utc};

fn select() -> Sql {
    let mut query = sql("SELECT ");
    query.push(GAUGE_COLUMNS).push(" FROM gauges WHERE ");
    query
}

fn version_of(account: AccountId, id: GaugeId) -> Sql {
    sql("SELECT version FROM gauges WHERE account_id = $1 AND id = $2").on(account).on(id)
}

fn normals(facts: &GaugeFacts) -> Stored<Option<String>> {
    facts.normals.as_ref().map(to_json).transpose()
}

#[async_trait]
impl GaugeStore for Database {
    async fn insert_gauge(&self, gauge: &Gauge) -> Stored<()> {
        let normals = normals(&gauge.facts)?;
        let mut query = sql("INSERT INTO gauges (");
        query.push(GAUGE_COLUMNS).push(") ").bind_rows(&[gauge], |row, gauge| {
            let (facts, span) = (&gauge.facts, &gauge.span);
            row.on(gauge.id).on(gauge.account_id).on(&facts.name);
            row.on(facts.latitude_deg).on(facts.longitude_deg).on(normals.clone());
            row.on(span.from).on(span.through).on(span.days);
            row.on(gauge.version).on(gauge.created_at).on(gauge.updated_at);
        });
        query.push(" ON CONFLICT (id) DO NOTHING");
        let mut tx = self.begin().await?;
        if tx.run(query).await? > 0 {
            self.within_quota(&mut tx, gauge.account_id, Counted::Gauges).await?;
        }
        tx.commit().await
    }

    async fn gauge(&self, account: AccountId, id: GaugeId) -> Stored<Option<Gauge>> {
        let mut query = select();
        query.push("account_id = ").bind(account).push(" AND id = ").bind(id);
        self.first::<GaugeRow>(query).await?.map(GaugeRow::read).transpose()
    }

    async fn gauges(&self, account: AccountId, page: &PageRequest<String>) -> Stored<Vec<Gauge>> {
        let mut query = select();
        query.push("account_id = ").bind(account);
        page_by_name(&mut query, page);
        values(self.all(query).await?, GaugeRow::read)
    }

    async fn update_gauge(
        &self,
        account: AccountId,
        id: GaugeId,
        version: i64,
        facts: &GaugeFacts,
        now: DateTime<Utc>,
    ) -> Stored<Updated> {
        let update =
            sql("UPDATE gauges SET name = $1, latitude_deg = $2, longitude_deg = $3, normals = $4, \
             updated_at = $5, version = version + 1 WHERE account_id = $6 AND id = $7 AND version = $8")
            .on(&facts.name)
            .on(facts.latitude_deg)
            .on(facts.longitude_deg)
            .on(normals(facts)?)
            .on(now)
            .on(account)
            .on(id)
            .on(version);
        retried(async || {
            let mut tx = self.begin().await?;
            if tx.run(update.clone()).await? == 0 {
                return explain_miss(&mut tx, version_of(account, id)).await;
            }
            mark_stale(&mut tx, account, Affected::Gauge(id)).await?;
            tx.commit().await?;
            Ok(Updated::Done)
        })
        .await
    }

    async fn delete_gauge(&self, account: AccountId, id: GaugeId, version: i64) -> Stored<Deleted> {
        let mut tx = self.begin().await?;
        let mut lock = version_of(account, id);
        lock.push(tx.for_removal());
        match tx.first::<(i64,)>(lock).await? {
            None => return Ok(Deleted::Missing),
            Some((current,)) if current != version => return Ok(Deleted::Stale { current }),
            Some(_) => {}
        }
        let count = sql("SELECT COUNT(*) FROM systems WHERE account_id = $1 AND gauge_id = $2");
        let (systems,) = tx.first::<(i64,)>(count.on(account).on(id)).await?.unwrap_or_default();
        if systems > 0 {
            return Ok(Deleted::InUse { systems });
        }
        // This also removes the readings (ON DELETE CASCADE).
        tx.run(sql("DELETE FROM gauges WHERE account_id = $1 AND id = $2").on(account).on(id)).await?;
        tx.commit().await?;
        Ok(Deleted::Done)
    }

    async fn put_rain(
        &self,
        account: AccountId,
        id: GaugeId,
        days: &[RainDay],
    ) -> Stored<Option<StoredRain>> {
        retried(|| rain::put(self, account, id, days)).await
    }

    async fn rain(
        &self,
        id: GaugeId,
        range: RainRange,
        page: &PageRequest<NaiveDate>,
    ) -> Stored<Vec<RainDay>> {
        rain::page(self, id, range, page).await
    }

    async fn rain_record(&self, id: GaugeId, through: NaiveDate) -> Stored<Vec<RainDay>> {
        rain::record(self, id, through).await
    }

    async fn rain_since(
        &self,
        id: GaugeId,
        known: Option<RainKnown>,
        through: NaiveDate,
    ) -> Stored<RainRead> {
        rain::since(self, id, known, through).await
    }

    async fn delete_rain(
        &self,
        account: AccountId,
        id: GaugeId,
        from: NaiveDate,
        to: NaiveDate,
    ) -> Stored<bool> {
        retried(|| rain::delete(self, account, id, from, to)).await
    }
}
