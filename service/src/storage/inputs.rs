//! Reads what forecasts need, for many systems at once.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, GaugeId, PropertyId, SystemId};
use crate::domain::model::component::Component;
use crate::domain::model::duty_settings::{DutySetting, DutySettings};
use crate::domain::model::gauge::Gauge;
use crate::domain::model::inputs::Inputs;
use crate::domain::model::property::Property;
use crate::domain::model::system::System;
use crate::domain::model::visit::Visit;
use crate::storage::connection::{AnyRow, Database, Tx};
use crate::storage::rows::{
    ComponentRow, DutySettingRow, GAUGE_COLUMNS, GaugeRow, PROPERTY_COLUMNS, PropertyRow, SYSTEM_COLUMNS,
    SystemRow, VISIT_COLUMNS, VisitRow, values,
};
use crate::storage::sql::{Bind, Sql, sql};
use crate::storage::{components, duty_settings};
use std::collections::{HashMap, HashSet};
use std::hash::Hash;
use std::sync::Arc;

/// Systems of one batch of queries: the databases limit the number of values in a statement.
const SYSTEMS: usize = 4096;

fn select(columns: &'static str, from: &'static str) -> Sql {
    let mut query = sql("SELECT ");
    query.push(columns).push(from);
    query
}

/// Runs a query that ends with a list of ids, and reads its rows.
async fn found<R: AnyRow, T, I: Bind + Copy>(
    tx: &mut Tx,
    mut query: Sql,
    ids: &[I],
    order: &'static str,
    read: impl Fn(R) -> Stored<T>,
) -> Stored<Vec<T>> {
    query.bind_list(ids).push(order);
    values(tx.all(query).await?, read)
}

/// Each value once.
fn distinct<T: Eq + Hash + Copy>(all: impl Iterator<Item = T>) -> Vec<T> {
    let mut seen = HashSet::new();
    all.filter(|value| seen.insert(*value)).collect()
}

/// Groups rows by key. The order within a group is kept.
fn grouped<K: Eq + Hash, T>(rows: Vec<T>, key: impl Fn(&T) -> K) -> HashMap<K, Vec<T>> {
    let mut groups: HashMap<K, Vec<T>> = HashMap::new();
    for row in rows {
        groups.entry(key(&row)).or_default().push(row);
    }
    groups
}

/// The duty settings of each account, shared by all its systems.
fn by_account(rows: Vec<(AccountId, DutySetting)>) -> HashMap<AccountId, Arc<DutySettings>> {
    let groups = grouped(rows, |(account, _)| *account).into_iter();
    let own =
        |rows: Vec<(AccountId, DutySetting)>| rows.into_iter().map(|(_, set)| (set.duty, set.own)).collect();
    groups.map(|(account, rows)| (account, Arc::new(own(rows)))).collect()
}

pub(super) async fn read(database: &Database, asked: &[(AccountId, SystemId)]) -> Stored<Vec<Inputs>> {
    let mut all = Vec::with_capacity(asked.len());
    if asked.is_empty() {
        return Ok(all);
    }
    let mut tx = database.begin_reading().await?;
    for piece in asked.chunks(SYSTEMS) {
        all.append(&mut read_piece(&mut tx, piece).await?);
    }
    tx.commit().await?;
    Ok(all)
}

async fn read_piece(tx: &mut Tx, asked: &[(AccountId, SystemId)]) -> Stored<Vec<Inputs>> {
    let ids: Vec<SystemId> = asked.iter().map(|(_, id)| *id).collect();
    let query = select(SYSTEM_COLUMNS, " FROM systems WHERE id IN ");
    let mut systems: Vec<System> = found(tx, query, &ids, "", SystemRow::read).await?;
    let wanted: HashSet<(AccountId, SystemId)> = asked.iter().copied().collect();
    systems.retain(|system| wanted.contains(&(system.account_id, system.id)));
    if systems.is_empty() {
        return Ok(Vec::new());
    }
    let accounts = distinct(systems.iter().map(|system| system.account_id));
    let ids: Vec<SystemId> = systems.iter().map(|system| system.id).collect();
    let property_ids: Vec<PropertyId> = distinct(systems.iter().map(|system| system.facts.property_id));
    let gauge_ids: Vec<GaugeId> = distinct(systems.iter().map(|system| system.facts.gauge_id));

    let query = select(PROPERTY_COLUMNS, " FROM properties WHERE id IN ");
    let properties: Vec<Property> = found(tx, query, &property_ids, "", PropertyRow::read).await?;
    let query = select(GAUGE_COLUMNS, " FROM gauges WHERE id IN ");
    let gauges: Vec<Gauge> = found(tx, query, &gauge_ids, "", GaugeRow::read).await?;
    // The indexes begin with the account.
    let mut query = components::select();
    query.push("account_id IN ").bind_list(&accounts).push(" AND system_id IN ");
    let components: Vec<Component> =
        found(tx, query, &ids, " ORDER BY system_id, created_at, id", ComponentRow::read).await?;
    let mut query = select(VISIT_COLUMNS, " FROM visits WHERE withdrawn_at IS NULL AND account_id IN ");
    query.bind_list(&accounts).push(" AND system_id IN ");
    let visits: Vec<Visit> =
        found(tx, query, &ids, " ORDER BY system_id, visited_on, id", VisitRow::read).await?;

    let settings: Vec<(AccountId, DutySetting)> =
        found(tx, duty_settings::select(), &accounts, "", DutySettingRow::read).await?;
    let settings = by_account(settings);

    let properties: HashMap<_, _> = properties.into_iter().map(|row| (row.id, row)).collect();
    let gauges: HashMap<_, _> = gauges.into_iter().map(|row| (row.id, row)).collect();
    let mut components = grouped(components, |row| row.system_id);
    let mut visits = grouped(visits, |row| row.facts.system_id);
    let mut systems: HashMap<_, _> = systems.into_iter().map(|row| (row.id, row)).collect();
    // In the order asked for. Foreign keys ensure that property and gauge exist.
    Ok(asked
        .iter()
        .filter_map(|(_, id)| {
            let system = systems.remove(id)?;
            Some(Inputs {
                property: properties.get(&system.facts.property_id)?.clone(),
                gauge: gauges.get(&system.facts.gauge_id)?.clone(),
                components: components.remove(id).unwrap_or_default(),
                visits: visits.remove(id).unwrap_or_default(),
                duty_settings: settings.get(&system.account_id).cloned().unwrap_or_default(),
                system,
            })
        })
        .collect())
}
