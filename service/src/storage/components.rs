//! Components: adding, changing, replacing and taking them out.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, ComponentId, SystemId};
use crate::domain::model::component::{Component, ComponentFacts};
use crate::domain::ports::store::outcomes::Updated;
use crate::storage::connection::{Database, Tx};
use crate::storage::errors::to_json;
use crate::storage::rows::{COMPONENT_COLUMNS, ComponentRow, values};
use crate::storage::sql::{Sql, pieces, sql};
use crate::storage::stale::{Affected, explain_miss, mark_stale};
use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

/// Rows of one INSERT.
const ROWS: usize = 128;
/// Systems of one SELECT: the databases limit the number of values in a statement.
const SYSTEMS: usize = 4096;

pub(super) fn select() -> Sql {
    let mut query = sql("SELECT ");
    query.push(COMPONENT_COLUMNS).push(" FROM components WHERE ");
    query
}

/// Inserts components whose ids are not there yet. Returns how many it inserted.
pub(super) async fn insert(tx: &mut Tx, account: AccountId, components: &[Component]) -> Stored<u64> {
    let mut inserted = 0;
    for piece in pieces(components, ROWS) {
        let parts =
            piece.iter().map(|component| to_json(&component.facts.part)).collect::<Stored<Vec<_>>>()?;
        let rows: Vec<(&Component, &String)> = piece.iter().zip(&parts).collect();
        let mut query = sql("INSERT INTO components (");
        query.push(COMPONENT_COLUMNS).push(", account_id) ").bind_rows(&rows, |row, (component, part)| {
            let facts = &component.facts;
            row.on(component.id).on(component.system_id).on(&facts.name).on(*part);
            row.on(facts.installed_on)
                .on(facts.last_served_on)
                .on(component.removed_on)
                .on(component.replaces);
            row.on(component.version).on(component.created_at).on(component.updated_at).on(account);
        });
        query.push(" ON CONFLICT (id) DO NOTHING");
        inserted += tx.run(query).await?;
    }
    Ok(inserted)
}

pub(super) async fn of(
    database: &Database,
    account: AccountId,
    systems: &[SystemId],
) -> Stored<Vec<Component>> {
    let mut found = Vec::new();
    for piece in systems.chunks(SYSTEMS) {
        let mut query = select();
        query.push("account_id = ").bind(account).push(" AND system_id IN ").bind_list(piece);
        query.push(" ORDER BY system_id, created_at, id");
        found.append(&mut values(database.all(query).await?, ComponentRow::read)?);
    }
    Ok(found)
}

pub(super) async fn one(
    database: &Database,
    account: AccountId,
    id: ComponentId,
) -> Stored<Option<Component>> {
    let mut query = select();
    query.push("id = ").bind(id).push(" AND account_id = ").bind(account);
    database.first::<ComponentRow>(query).await?.map(ComponentRow::read).transpose()
}

pub(super) async fn add(database: &Database, account: AccountId, component: &Component) -> Stored<()> {
    let mut tx = database.begin().await?;
    // This also says whether the system belongs to the account.
    if mark_stale(&mut tx, account, Affected::System(component.system_id)).await? == 0 {
        return Ok(());
    }
    if insert(&mut tx, account, std::slice::from_ref(component)).await? == 0 {
        return Ok(());
    }
    tx.commit().await
}

pub(super) async fn update(
    database: &Database,
    account: AccountId,
    id: ComponentId,
    version: i64,
    facts: &ComponentFacts,
    now: DateTime<Utc>,
) -> Stored<Updated> {
    let update = sql("UPDATE components SET name = $1, part = $2, installed_on = $3, last_served_on = $4, \
         updated_at = $5, version = version + 1 WHERE id = $6 AND account_id = $7 AND version = $8 \
         RETURNING system_id")
    .on(&facts.name)
    .on(to_json(&facts.part)?)
    .on(facts.installed_on)
    .on(facts.last_served_on)
    .on(now)
    .on(id)
    .on(account)
    .on(version);
    let mut tx = database.begin().await?;
    let Some((system,)) = tx.returning::<(Uuid,)>(update).await?.pop() else {
        let current = sql("SELECT version FROM components WHERE id = $1 AND account_id = $2");
        return explain_miss(&mut tx, current.on(id).on(account)).await;
    };
    mark_stale(&mut tx, account, Affected::System(SystemId(system))).await?;
    tx.commit().await?;
    Ok(Updated::Done)
}

/// Takes a component out. Puts `new` in its place if there is one.
pub(super) async fn take_out(
    database: &Database,
    account: AccountId,
    old: &Component,
    new: Option<&Component>,
    on: NaiveDate,
    now: DateTime<Utc>,
) -> Stored<bool> {
    let update = sql("UPDATE components SET removed_on = $1, updated_at = $2, version = version + 1 \
         WHERE id = $3 AND account_id = $4 AND version = $5 RETURNING system_id")
    .on(on)
    .on(now)
    .on(old.id)
    .on(account)
    .on(old.version);
    let mut tx = database.begin().await?;
    let Some((system,)) = tx.returning::<(Uuid,)>(update).await?.pop() else { return Ok(false) };
    if let Some(new) = new {
        insert(&mut tx, account, std::slice::from_ref(new)).await?;
    }
    mark_stale(&mut tx, account, Affected::System(SystemId(system))).await?;
    tx.commit().await?;
    Ok(true)
}
