//! Properties.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, PropertyId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::property::{Property, PropertyFacts, Temperatures};
use crate::domain::model::quota::Counted;
use crate::domain::ports::store::outcomes::{Deleted, Updated};
use crate::domain::ports::store::properties::PropertyStore;
use crate::storage::connection::{Database, retried};
use crate::storage::errors::to_json;
use crate::storage::rows::{PROPERTY_COLUMNS, PropertyRow, values};
use crate::storage::sql::{Sql, sql};
use crate::storage::stale::{Affected, explain_miss, mark_stale, page_by_name};
use async_trait::async_trait;
use chrono::{DateTime, Utc};

fn select() -> Sql {
    let mut query = sql("SELECT ");
    query.push(PROPERTY_COLUMNS).push(" FROM properties WHERE ");
    query
}

fn version_of(account: AccountId, id: PropertyId) -> Sql {
    sql("SELECT version FROM properties WHERE account_id = $1 AND id = $2").on(account).on(id)
}

/// Temperatures and evaporation as they are stored; absent if none were given.
fn months(facts: &PropertyFacts) -> Stored<[Option<String>; 2]> {
    let temperatures = Some(&facts.months.temperatures).filter(|given| **given != Temperatures::default());
    let evaporation = facts.months.evaporation_mm_per_day.as_ref();
    Ok([temperatures.map(to_json).transpose()?, evaporation.map(to_json).transpose()?])
}

#[async_trait]
impl PropertyStore for Database {
    async fn insert_property(&self, property: &Property) -> Stored<()> {
        let [temperatures, evaporation] = months(&property.facts)?;
        let mut query = sql("INSERT INTO properties (");
        query.push(PROPERTY_COLUMNS).push(") ").bind_rows(&[property], |row, property| {
            let facts = &property.facts;
            row.on(property.id).on(property.account_id).on(&facts.name);
            row.on(facts.latitude_deg).on(facts.longitude_deg).on(facts.elevation_m);
            row.on(facts.time_zone.name())
                .on(temperatures.clone())
                .on(evaporation.clone())
                .on(facts.notes.clone());
            row.on(property.version).on(property.created_at).on(property.updated_at);
        });
        query.push(" ON CONFLICT (id) DO NOTHING");
        let mut tx = self.begin().await?;
        if tx.run(query).await? > 0 {
            self.within_quota(&mut tx, property.account_id, Counted::Properties).await?;
        }
        tx.commit().await
    }

    async fn property(&self, account: AccountId, id: PropertyId) -> Stored<Option<Property>> {
        let mut query = select();
        query.push("account_id = ").bind(account).push(" AND id = ").bind(id);
        self.first::<PropertyRow>(query).await?.map(PropertyRow::read).transpose()
    }

    async fn properties(&self, account: AccountId, page: &PageRequest<String>) -> Stored<Vec<Property>> {
        let mut query = select();
        query.push("account_id = ").bind(account);
        page_by_name(&mut query, page);
        values(self.all(query).await?, PropertyRow::read)
    }

    async fn properties_of(&self, account: AccountId, ids: &[PropertyId]) -> Stored<Vec<Property>> {
        if ids.is_empty() {
            return Ok(Vec::new());
        }
        let mut query = select();
        query.push("account_id = ").bind(account).push(" AND id IN ").bind_list(ids);
        values(self.all(query).await?, PropertyRow::read)
    }

    async fn update_property(
        &self,
        account: AccountId,
        id: PropertyId,
        version: i64,
        facts: &PropertyFacts,
        now: DateTime<Utc>,
    ) -> Stored<Updated> {
        let [temperatures, evaporation] = months(facts)?;
        let update = sql(
            "UPDATE properties SET name = $1, latitude_deg = $2, longitude_deg = $3, elevation_m = $4, time_zone = $5, \
             temperatures = $6, evaporation_mm_per_day = $7, notes = $8, updated_at = $9, version = version + 1 \
             WHERE account_id = $10 AND id = $11 AND version = $12",
        )
        .on(&facts.name)
        .on(facts.latitude_deg)
        .on(facts.longitude_deg)
        .on(facts.elevation_m)
        .on(facts.time_zone.name())
        .on(temperatures)
        .on(evaporation)
        .on(facts.notes.clone())
        .on(now)
        .on(account)
        .on(id)
        .on(version);
        retried(async || {
            let mut tx = self.begin().await?;
            if tx.run(update.clone()).await? == 0 {
                return explain_miss(&mut tx, version_of(account, id)).await;
            }
            mark_stale(&mut tx, account, Affected::Property(id)).await?;
            tx.commit().await?;
            Ok(Updated::Done)
        })
        .await
    }

    async fn delete_property(&self, account: AccountId, id: PropertyId, version: i64) -> Stored<Deleted> {
        let mut tx = self.begin().await?;
        let mut lock = version_of(account, id);
        lock.push(tx.for_removal());
        match tx.first::<(i64,)>(lock).await? {
            None => return Ok(Deleted::Missing),
            Some((current,)) if current != version => return Ok(Deleted::Stale { current }),
            Some(_) => {}
        }
        let count = sql("SELECT COUNT(*) FROM systems WHERE account_id = $1 AND property_id = $2");
        let (systems,) = tx.first::<(i64,)>(count.on(account).on(id)).await?.unwrap_or_default();
        if systems > 0 {
            return Ok(Deleted::InUse { systems });
        }
        tx.run(sql("DELETE FROM properties WHERE account_id = $1 AND id = $2").on(account).on(id)).await?;
        tx.commit().await?;
        Ok(Deleted::Done)
    }
}
