//! Systems. Their components are in [`super::components`].

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, ComponentId, SystemId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::component::{Component, ComponentFacts};
use crate::domain::model::inputs::Inputs;
use crate::domain::model::quota::Counted;
use crate::domain::model::system::{System, SystemFacts, SystemFilter};
use crate::domain::ports::store::outcomes::Updated;
use crate::domain::ports::store::systems::SystemStore;
use crate::storage::connection::Database;
use crate::storage::errors::to_json;
use crate::storage::rows::{SYSTEM_COLUMNS, SystemRow, values};
use crate::storage::sql::{Sql, sql};
use crate::storage::stale::{Affected, explain_miss, mark_stale, page_by_name};
use crate::storage::{components, inputs};
use async_trait::async_trait;
use chrono::{DateTime, NaiveDate, Utc};

fn select() -> Sql {
    let mut query = sql("SELECT ");
    query.push(SYSTEM_COLUMNS).push(" FROM systems WHERE ");
    query
}

fn insert(system: &System) -> Stored<Sql> {
    let roof = to_json(&system.facts.roof)?;
    let mut query = sql("INSERT INTO systems (");
    query.push(SYSTEM_COLUMNS).push(") ").bind_rows(&[system], |row, system| {
        let facts = &system.facts;
        row.on(system.id).on(system.account_id).on(facts.property_id).on(facts.gauge_id).on(&facts.name);
        row.on(roof.clone()).on(facts.commissioned_on).on(facts.demand_l_per_day).on(facts.retired_on);
        row.on(system.version).on(system.created_at).on(system.updated_at);
    });
    query.push(" ON CONFLICT (id) DO NOTHING");
    Ok(query)
}

#[async_trait]
impl SystemStore for Database {
    async fn insert_system(&self, system: &System, components: &[Component]) -> Stored<()> {
        let mut tx = self.begin().await?;
        if tx.run(insert(system)?).await? == 0 {
            return Ok(());
        }
        self.within_quota(&mut tx, system.account_id, Counted::Systems).await?;
        let refresh = sql(
            "INSERT INTO refreshes (gauge_id, system_id, account_id, inputs_version, refreshed_version, \
             next_at, refresh_at, held_until, held_version) VALUES ($1, $2, $3, 1, 0, 0, 0, 0, 0)",
        );
        tx.run(refresh.on(system.facts.gauge_id).on(system.id).on(system.account_id)).await?;
        components::insert(&mut tx, system.account_id, components).await?;
        tx.commit().await
    }

    async fn system(&self, account: AccountId, id: SystemId) -> Stored<Option<System>> {
        let mut query = select();
        query.push("account_id = ").bind(account).push(" AND id = ").bind(id);
        self.first::<SystemRow>(query).await?.map(SystemRow::read).transpose()
    }

    async fn systems(
        &self,
        account: AccountId,
        filter: &SystemFilter,
        page: &PageRequest<String>,
    ) -> Stored<Vec<System>> {
        let mut query = select();
        query.push("account_id = ").bind(account);
        if let Some(property) = filter.property_id {
            query.push(" AND property_id = ").bind(property);
        }
        if let Some(gauge) = filter.gauge_id {
            query.push(" AND gauge_id = ").bind(gauge);
        }
        page_by_name(&mut query, page);
        values(self.all(query).await?, SystemRow::read)
    }

    async fn update_system(
        &self,
        account: AccountId,
        id: SystemId,
        version: i64,
        facts: &SystemFacts,
        now: DateTime<Utc>,
    ) -> Stored<Updated> {
        let mut tx = self.begin().await?;
        let update = sql("UPDATE systems SET property_id = $1, gauge_id = $2, name = $3, roof = $4, \
             commissioned_on = $5, demand_l_per_day = $6, retired_on = $7, updated_at = $8, version = version + 1 \
             WHERE account_id = $9 AND id = $10 AND version = $11")
        .on(facts.property_id)
        .on(facts.gauge_id)
        .on(&facts.name)
        .on(to_json(&facts.roof)?)
        .on(facts.commissioned_on)
        .on(facts.demand_l_per_day)
        .on(facts.retired_on)
        .on(now)
        .on(account)
        .on(id)
        .on(version);
        if tx.run(update).await? == 0 {
            let current = sql("SELECT version FROM systems WHERE account_id = $1 AND id = $2");
            return explain_miss(&mut tx, current.on(account).on(id)).await;
        }
        let follow = sql("UPDATE refreshes SET gauge_id = $1 WHERE system_id = $2 AND gauge_id <> $1");
        tx.run(follow.on(facts.gauge_id).on(id)).await?;
        mark_stale(&mut tx, account, Affected::System(id)).await?;
        tx.commit().await?;
        Ok(Updated::Done)
    }

    async fn components(&self, account: AccountId, system: SystemId) -> Stored<Vec<Component>> {
        self.components_of(account, &[system]).await
    }

    async fn components_of(&self, account: AccountId, systems: &[SystemId]) -> Stored<Vec<Component>> {
        components::of(self, account, systems).await
    }

    async fn component(&self, account: AccountId, id: ComponentId) -> Stored<Option<Component>> {
        components::one(self, account, id).await
    }

    async fn insert_component(&self, account: AccountId, component: &Component) -> Stored<()> {
        components::add(self, account, component).await
    }

    async fn update_component(
        &self,
        account: AccountId,
        id: ComponentId,
        version: i64,
        facts: &ComponentFacts,
        now: DateTime<Utc>,
    ) -> Stored<Updated> {
        components::update(self, account, id, version, facts, now).await
    }

    async fn replace_component(
        &self,
        account: AccountId,
        old: &Component,
        new: &Component,
        on: NaiveDate,
    ) -> Stored<bool> {
        components::take_out(self, account, old, Some(new), on, new.created_at).await
    }

    async fn retire_component(
        &self,
        account: AccountId,
        old: &Component,
        on: NaiveDate,
        now: DateTime<Utc>,
    ) -> Stored<bool> {
        components::take_out(self, account, old, None, on, now).await
    }

    async fn inputs(&self, systems: &[(AccountId, SystemId)]) -> Stored<Vec<Inputs>> {
        inputs::read(self, systems).await
    }
}
